"""Rules for the sources: a portable core, one home for it, the sketch builds as the board IDE builds it."""

from __future__ import annotations

import csv
import re
import subprocess
from pathlib import Path

import pytest

from tests.firmware import build
from tests.firmware.build import FIRMWARE, ROOT, SKETCH
from tests.firmware.orders import lone_pixel, order, read_answer
from tests.firmware.simulated_avr import SimulatedAvr
from tests.support.examples import first_now
from tests.support.tools import require

CORE = SKETCH / "src" / "core"
PORTABLE_HEADERS = {"stdbool.h", "stdint.h", "stddef.h", "string.h"}


def includes(path: Path) -> set[str]:
    """Headers that a source takes from outside its own tree."""
    return set(re.findall(r"^\s*#\s*include\s*<([^>]+)>", path.read_text(), re.MULTILINE))


@pytest.mark.parametrize("path", sorted(CORE.iterdir()), ids=lambda path: path.name)
def test_core_knows_no_hardware_and_allocates_nothing(path: Path) -> None:
    text = path.read_text()
    assert includes(path) <= PORTABLE_HEADERS
    assert not re.search(r"\b(malloc|calloc|realloc|free|alloca)\s*\(", text)
    assert "SPDX-License-Identifier: MIT" in text
    for match in re.finditer(r"^(?:static )?[a-z][\w ]*[ *]\w+\([^;]*\)\n\{", text, re.MULTILINE):
        before = text[: match.start()].rstrip()
        assert before.endswith("*/"), f"{path.name}: {match[0].splitlines()[0]}: say in one sentence what it does"


@pytest.mark.slow
@pytest.mark.parametrize("compiler", first_now(["gcc", "clang"]))
@pytest.mark.parametrize("standard", first_now(["c99", "c11"]))
def test_core_compiles_without_a_warning(compiler: str, standard: str, tmp_path: Path) -> None:
    require(compiler)
    for source in sorted(CORE.glob("*.c")):
        done = subprocess.run(
            [compiler, f"-std={standard}", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Werror", "-O2",
             "-ffreestanding", "-c", str(source), "-o", str(tmp_path / "core.o")],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr


@pytest.mark.slow
def test_core_compiles_as_cpp_too(tmp_path: Path) -> None:
    require("g++")
    for source in sorted(CORE.glob("*.c")):
        done = subprocess.run(
            ["g++", "-std=c++17", "-x", "c++", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror", "-O2", "-c",
             str(source), "-o", str(tmp_path / "core.o")],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr


@pytest.mark.slow
def test_static_analysis_finds_nothing(tmp_path: Path) -> None:
    require("gcc", "cppcheck")
    for source in sorted(CORE.glob("*.c")):
        done = subprocess.run(
            ["gcc", "-std=c99", "-fanalyzer", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-O1", "-c", str(source),
             "-o", str(tmp_path / "core.o")],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
    done = subprocess.run(
        ["cppcheck", "--quiet", "--enable=warning,performance,portability", "--std=c99", "--error-exitcode=1",
         "--suppress=toomanyconfigs", f"-I{CORE}", str(CORE), str(FIRMWARE / "ports" / "host" / "pp_host.c")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_error_names_are_those_of_the_list() -> None:
    with (ROOT / "device_protocol" / "error_codes.csv").open(encoding="utf-8", newline="") as file:
        listed = {int(row["code"]): row["name"] for row in csv.DictReader(file)}
    codes = dict(re.findall(r"^\s*(PP_[A-Z_]+) = (\d+)", (CORE / "pp_internal.h").read_text(), re.MULTILINE))
    named = re.findall(r"\{(PP_[A-Z_]+), \"([a-z-]+)\"\}", (CORE / "pp_reply.c").read_text())
    assert {int(codes[symbol]): name for symbol, name in named} == listed


@pytest.mark.slow
@pytest.mark.parametrize(
    ("config", "reason"),
    first_now(
        [
            ({"PP_OUTPUTS": 0}, "PP_OUTPUTS"),
            ({"PP_PIXELS": 70_000}, "PP_PIXELS"),
            ({"PP_LINE": 63}, "PP_LINE"),
            ({"PP_LINE": 256}, "PP_LINE"),
            ({"PP_PIXELS": 65_535, "PP_CHANNEL_UA": 20_000}, "4,294 A"),
            ({"PP_BOARD_NAME": "'\"a-name-of-more-than-24-bytes\"'"}, "pp_board_name_fits"),
        ],
        several=True,
    ),
    ids=["no-output", "pixels", "short-line", "long-line", "need-overflows", "name"],
)
def test_a_build_outside_the_limits_is_refused(config: dict[str, object], reason: str) -> None:
    with pytest.raises(build.BuildError, match=reason):
        build.build_host(config)


@pytest.mark.slow
def test_the_largest_build_passes_the_limits() -> None:
    config = {"PP_OUTPUTS": 16, "PP_PIXELS": 50_000, "PP_LINE": 255, "PP_CEILING_MA": 4_000_000}
    assert build.build_host(config).exists()


def test_no_second_copy_of_the_core() -> None:
    names = [path.name for path in FIRMWARE.rglob("*.[ch]")]
    assert len(names) == len(set(names))


@pytest.mark.slow
def test_the_sketch_runs_as_the_board_ide_builds_it(tmp_path: Path) -> None:
    elf = build.build_sketch(tmp_path)
    flash, ram = build.sizes(elf)
    assert flash < 32_256  # what the IDE's boards.txt leaves beside the bootloader
    with SimulatedAvr(elf, paused=True, outputs=2) as chip:
        line = chip.receive_line(200)
        assert line is not None
        assert read_answer(line).fields == ("restarted", "power")
        assert chip.frame(0).data == chip.frame(1).data == bytes(1500)
        chip.feed(order(1, "light 0 7 102030"))
        line = chip.receive_line(200)
        assert line is not None
        assert read_answer(line).good
        assert chip.frame(0).data == lone_pixel(500, 7, b"\x20\x10\x30")
        chip.press()
        line = chip.receive_line(10)
        assert line is not None
        assert read_answer(line).fields == ("button", "1")
        times = chip.timing(0)
        assert times.t0h == (312.5, 312.5)
        assert times.gap is not None
        assert times.gap[1] < 5000
        assert chip.status()["stack_free"] >= 128
        assert ram < 1400
