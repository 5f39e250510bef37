"""Tools that tests need beside Python: without one a test is skipped by name on a person's machine, and fails in CI."""

from __future__ import annotations

import shutil
from pathlib import Path

SIMAVR_HEADERS = Path("/usr/include/simavr")
ARDUINO_CORE = Path("/usr/share/arduino/hardware/arduino/avr")

PACKAGES = {
    "avr-gcc": "gcc-avr avr-libc",
    "avr-size": "binutils-avr",
    "arm-none-eabi-gcc": "gcc-arm-none-eabi libnewlib-arm-none-eabi",
    "arm-linux-gnueabi-gcc": "gcc-arm-linux-gnueabi libc6-dev-armel-cross",
    "mips-linux-gnu-gcc": "gcc-mips-linux-gnu libc6-dev-mips-cross",
    "qemu-mips": "qemu-user",
    "qemu-arm": "qemu-user",
    "cppcheck": "cppcheck",
    "clang": "clang libclang-rt-14-dev",
    "gcc": "gcc",
    "g++": "g++",
    "git": "git",
    "make": "make",
    "cc": "gcc",
    "chromium": "chromium",
    "pdfinfo": "poppler-utils",
    "pdftotext": "poppler-utils",
    "ngspice": "ngspice",
    "node": "nodejs",
    "npm": "npm",
    "socat": "socat",
    str(SIMAVR_HEADERS): "libsimavr-dev libelf-dev",
    str(ARDUINO_CORE): "arduino-core-avr",
}
"""What each tool or folder comes with on Debian."""


class MissingToolError(RuntimeError):
    """A tool that the tests need is not on this machine; the text names it and its Debian packages."""


def require(*tools: str) -> None:
    """Raise MissingToolError unless every tool (a command, or an absolute path) is there."""
    for tool in tools:
        if not (Path(tool).exists() if tool.startswith("/") else shutil.which(tool)):
            raise MissingToolError(f"{tool} is missing (Debian: {PACKAGES.get(tool, tool)})")
