"""Builds what the firmware tests run, once for each state of the sources.

Results lie in the folder named by the environment variable PLAYFIELD_PROBE_BUILD, or in one of the system's temporary
folder, under a name made of sources, settings and compiler, so that a change of any of them builds anew.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from filelock import FileLock

from device_protocol.orders import FEATURES
from tests.support.tools import ARDUINO_CORE, SIMAVR_HEADERS, require

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = ROOT / "device_protocol" / "firmware"
SKETCH = FIRMWARE / "sketch" / "playfield_probe"
HARNESS = Path(__file__).resolve().parent / "simavr_harness"

FEATURE_FLAGS = FEATURES
ONE_OUTPUT: Mapping[str, object] = {"PP_OUTPUTS": 1, "PP_PIXELS": 1000}
"""The board that most conversations ask for."""


class BuildError(RuntimeError):
    """A build failed; the text is what the tools said."""


def build_folder() -> Path:
    """Where results are kept between runs."""
    named = os.environ.get("PLAYFIELD_PROBE_BUILD")
    folder = Path(named) if named else Path(tempfile.gettempdir()) / f"playfield-probe-build-{os.getuid()}"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _run(*command: str | Path, cwd: Path | None = None) -> str:
    done = subprocess.run([str(part) for part in command], cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise BuildError(f"{' '.join(map(str, command))}\n{done.stdout}{done.stderr}")
    return done.stdout


def _sources(*folders: Path) -> list[Path]:
    suffixes = {".c", ".h", ".ino", ""}
    return sorted(
        path for folder in folders for path in folder.rglob("*") if path.is_file() and path.suffix in suffixes
    )


def _folder_for(kind: str, sources: Iterable[Path], settings: str, compiler: str) -> Path:
    digest = hashlib.sha256()
    for path in sources:
        digest.update(str(path.relative_to(ROOT)).encode())
        digest.update(path.read_bytes())
    digest.update(settings.encode())
    digest.update(_run(compiler, "--version").encode())
    return build_folder() / f"{kind}-{digest.hexdigest()[:16]}"


def config_flags(config: Mapping[str, object]) -> str:
    """`{"PP_PIXELS": 300}` as `-DPP_PIXELS=300`."""
    return " ".join(f"-D{name}={value}" for name, value in sorted(config.items()))


def config_for(board: Mapping[str, str]) -> dict[str, object]:
    """Settings of board_config.h for the `board` step of a conversation."""
    config: dict[str, object] = {
        "PP_OUTPUTS": board["outputs"],
        "PP_PIXELS": board["pixels"],
        "PP_LINE": board["line"],
        "PP_CEILING_MA": board["ceiling"],
        "PP_CHANNEL_UA": board["channel"],
        "PP_IDLE_UA": board["idle"],
    }
    wanted = board["features"]
    named = FEATURE_FLAGS if wanted == "all" else () if wanted == "none" else tuple(wanted.split(","))
    return config | {f"PP_FEATURE_{name.upper()}": int(name in named) for name in FEATURE_FLAGS}


def _make(target: str, result: str, compiler: str, config: Mapping[str, object]) -> Path:
    flags = config_flags(config)
    folder = _folder_for(target, _sources(FIRMWARE), flags, compiler)
    with FileLock(f"{folder}.lock"):
        if not (folder / result).exists():
            _run("make", target, f"BUILD={folder}", f"CONFIG={flags}", cwd=FIRMWARE)
    return folder / result


def build_avr(config: Mapping[str, object] | None = None) -> Path:
    """The AVR firmware as `make avr` builds it (ELF)."""
    require("make", "avr-gcc", "avr-size")
    return _make("avr", "playfield_probe.hex", "avr-gcc", config or {}).with_suffix(".elf")


def build_avr_image(config: Mapping[str, object] | None = None) -> Path:
    """The same as bytes of the flash, for simulators that read no ELF."""
    elf = build_avr(config)
    image = elf.with_suffix(".image")
    with FileLock(f"{elf.parent}.lock"):
        if not image.exists():
            _run("avr-objcopy", "-O", "binary", "-R", ".eeprom", elf, image)
    return image


def build_rp2040(config: Mapping[str, object] | None = None) -> Path:
    """The core on a bare RP2040 as `make rp2040` builds it, as bytes of the flash."""
    require("make", "arm-none-eabi-gcc")
    return _make("rp2040", "rp2040.bin", "arm-none-eabi-gcc", config or {})


def build_host(config: Mapping[str, object] | None = None) -> Path:
    """The board as a program, with AddressSanitizer and UBSan."""
    require("make", "clang")
    return _make("host", "board_host", "clang", config or {})


MACHINES = {
    "big-endian 32-bit MIPS": ("mips-linux-gnu", "qemu-mips", ()),
    "Thumb code of a 32-bit ARM": ("arm-linux-gnueabi", "qemu-arm", ("-mthumb", "-march=armv7-a", "-mfloat-abi=soft")),
}
"""Machines unlike this one that the core is run on: Debian's name, qemu's user-mode emulator, compiler flags."""


def build_for_machine(name: str, config: Mapping[str, object]) -> Path:
    """The board program for such a machine, as a command that runs it here."""
    triplet, emulator, flags = MACHINES[name]
    compiler = f"{triplet}-gcc"
    require(compiler, emulator)
    sources = _sources(FIRMWARE)
    settings = config_flags(config)
    folder = _folder_for(f"machine-{emulator}", sources, f"{settings} {flags}", compiler)
    command = folder / "board_host"
    with FileLock(f"{folder}.lock"):
        if not command.exists():
            folder.mkdir(exist_ok=True)
            program = folder / "board_host.elf"
            _run(
                compiler, "-std=c99", "-O2", "-Wall", "-Wextra", "-Werror", *flags, *settings.split(),
                "-o", program, *sorted((SKETCH / "src" / "core").glob("*.c")),
                FIRMWARE / "ports" / "host" / "pp_host.c", FIRMWARE / "ports" / "host" / "board_host.c",
            )  # fmt: skip
            command.write_text(f'#!/bin/sh\nexec {emulator} -L /usr/{triplet} "{program}" "$@"\n')
            command.chmod(0o755)
    return command


def build_fuzzer(config: Mapping[str, object] | None = None) -> Path:
    """The libFuzzer target, with AddressSanitizer and UBSan."""
    require("make", "clang")
    return _make("fuzz", "fuzz_board", "clang", config or {})


def build_harness() -> Path:
    """The program that runs an AVR ELF on a simulated chip."""
    require("gcc", str(SIMAVR_HEADERS))
    sources = _sources(HARNESS)
    folder = _folder_for("harness", sources, "", "gcc")
    program = folder / "simavr_harness"
    with FileLock(f"{folder}.lock"):
        if not program.exists():
            folder.mkdir(exist_ok=True)
            partial = program.with_suffix(".partial")
            _run(
                "gcc", "-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror", f"-I{SIMAVR_HEADERS}", "-o", partial,
                *[path for path in sources if path.suffix == ".c"],
                "-lsimavr", "-lelf", "-lutil",
            )  # fmt: skip
            partial.rename(program)
    return program


def build_probe_program(name: str, text: str) -> Path:
    """A small AVR program of a test's own (ELF)."""
    require("avr-gcc")
    folder = build_folder() / f"{name}-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
    elf = folder / f"{name}.elf"
    with FileLock(f"{folder}.lock"):
        if not elf.exists():
            folder.mkdir(exist_ok=True)
            (folder / f"{name}.c").write_text(text)
            _run("avr-gcc", "-mmcu=atmega328p", "-DF_CPU=16000000UL", "-Os", "-o", elf, folder / f"{name}.c")
    return elf


def build_sketch(work: Path, *, variant: str = "standard", chip: str = "atmega328p", generic: bool = False) -> Path:
    """The sketch folder built as the board IDE does: copied elsewhere, its sources and its own `src/` only, with the
    core library of the IDE for a board with that chip at 16 MHz. Flags are those of that core's platform.txt."""
    require("avr-gcc", str(ARDUINO_CORE))
    copy = work / SKETCH.name
    shutil.copytree(SKETCH, copy)
    core = ARDUINO_CORE / "cores" / "arduino"
    common = (
        "-c", "-g", "-Os", "-w", "-ffunction-sections", "-fdata-sections", "-MMD", "-flto", f"-mmcu={chip}",
        "-DF_CPU=16000000L", "-DARDUINO=10819", "-DARDUINO_AVR_BOARD", "-DARDUINO_ARCH_AVR",
        # a board with USB of its own has these from boards.txt
        "-DUSB_VID=0x2341", "-DUSB_PID=0x8036", '-DUSB_MANUFACTURER="Unknown"', '-DUSB_PRODUCT="board"',
        *(["-DPP_GENERIC=1"] if generic else []),
        # avr-gcc 5.4 does not give this one, which the core's Print.cpp uses
        "-DDECIMAL_DIG=__DECIMAL_DIG__",
        f"-I{core}", f"-I{ARDUINO_CORE / 'variants' / variant}",
    )  # fmt: skip
    for_c = ("avr-gcc", "-std=gnu11", "-fno-fat-lto-objects")
    for_cpp = ("avr-g++", "-std=gnu++11", "-fpermissive", "-fno-exceptions", "-fno-threadsafe-statics")
    # The IDE turns the .ino into a C++ file that begins with the core's header.
    main = work / "sketch.cpp"
    main.write_text(f'#include <Arduino.h>\n#line 1 "{SKETCH.name}.ino"\n' + (copy / f"{SKETCH.name}.ino").read_text())
    shutil.move(main, copy / "sketch.cpp")

    def compiled(sources: Iterable[Path], prefix: str) -> list[Path]:
        objects = []
        for number, source in enumerate(sources):
            objects.append(work / f"{prefix}-{number}-{source.name}.o")
            _run(*(for_c if source.suffix == ".c" else for_cpp), *common, source, "-o", objects[-1])
        return objects

    own = compiled([copy / "sketch.cpp", *sorted((copy / "src").rglob("*.c*"))], "sketch")
    # The core goes into an archive: only what the sketch needs of it is linked, its serial port in particular is not.
    archive = work / "core.a"
    _run("avr-gcc-ar", "rcs", archive, *compiled(sorted(core.glob("*.c*")), "core"))
    elf = work / "sketch.elf"
    _run("avr-gcc", "-w", "-Os", "-g", "-flto", "-fuse-linker-plugin", "-Wl,--gc-sections", f"-mmcu={chip}",
         "-o", elf, *own, archive, "-lm")  # fmt: skip
    return elf


def sizes(elf: Path) -> tuple[int, int]:
    """Bytes of flash (code, constants and initial values) and of RAM (variables) that a firmware takes."""
    require("avr-size")
    text, data, bss = map(int, _run("avr-size", elf).splitlines()[1].split()[:3])
    return text + data, data + bss
