"""`python -m tests.hostile [--long] [WORD …]`: try every property, or those with a word in them; one line for each.

`--long` takes slow tests along, all examples, and a million inputs to fuzz: hours.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
PROPERTIES: dict[str, tuple[str, ...]] = {
    "no text from outside steers the terminal, whatever field, heading, path or word it is in": (
        "tests/hostile/test_output.py",
        "tests/hostile/test_screens.py",
        "tests/document/test_outside_text.py",
    ),
    "files and names that cannot be used are refused in words of the file": (
        "tests/hostile/test_files.py",
        "tests/document/file/test_refusals.py",
        "tests/document/file/test_settings.py",
    ),
    "files of any size and depth are read or refused in bounded memory": ("tests/hostile/test_sizes.py",),
    "only documented ports are opened": ("tests/link/test_wires.py", "tests/link/test_ports.py"),
    "tables act on no spreadsheet, and any bytes are read or refused": (
        "tests/export/test_cells.py",
        "tests/export/test_lamp_list.py",
        "tests/export/test_csv_map.py",
    ),
    "any bytes from files and lines do no harm": ("tests/fuzz",),
    "killed at any moment, what was saved is there": (
        "tests/document/file/test_kills.py",
        "tests/hostile/test_kills.py",
    ),
    "power cuts, full disks and touched files lose nothing": (
        "tests/document/file/test_power_cuts.py",
        "tests/document/file/test_map_file.py",
        "tests/ui/test_unsaved.py",
    ),
    "any keys and clicks in any order break nothing": ("tests/hostile/test_keys.py",),
    "ended by any signal, on slow and hung disks, the program saves or rescues": ("tests/cli/test_endings.py",),
    "boards that lie are found out and darken": (
        "tests/hostile/test_boards.py",
        "tests/ui/test_faulty_boards.py",
        "tests/boardcheck/test_broken_boards.py",
    ),
    "lines that lose, damage and double bytes do no harm": (
        "tests/link/test_faulty_wire.py",
        "tests/end_to_end/test_faulty_wire.py",
    ),
    "ports pulled, busy and forbidden have a sentence each": (
        "tests/link/test_serial_wire.py",
        "tests/link/test_errors.py",
        "tests/link/test_diagnosis.py",
    ),
    "a board takes any bytes": ("tests/firmware/test_hostile.py",),
    "a clock that goes back and any time zone change nothing but what is written down": (
        "tests/hostile/test_clocks.py",
    ),
    "archives hold what they should and no more": ("tests/test_archives.py", "tests/test_licences.py"),
}


def tried(tests: tuple[str, ...], *, long: bool) -> tuple[bool, str]:
    """Whether all of the tests hold; how many there were, and which do not."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--no-header", "--tb=no", *tests]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    if long:
        command += ["-m", "slow or not slow", "--hypothesis-profile=full"]
        environment |= {"FUZZ_INPUTS": "1000000", "HOSTILE_S": "600", "RANDOM_KEYS": "5000"}
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, env=environment, check=False)
    lines = done.stdout.splitlines()
    counts = re.sub(r" in [\d.]+s.*|=+ ?", "", lines[-1]) if lines else done.stderr[-200:]
    wrong = [line for line in lines if line.startswith(("FAILED", "ERROR", "SKIPPED"))]
    slow_only = done.returncode == pytest.ExitCode.NO_TESTS_COLLECTED and all((ROOT / test).exists() for test in tests)
    if slow_only and not long:
        return True, "not tried, its tests are slow: take --long"
    return done.returncode == 0, "\n    ".join([counts, *wrong])


def main(words: list[str]) -> int:
    """Try the properties; 1 if one does not hold."""
    long = "--long" in words
    wanted = [word for word in words if word != "--long"]
    broken = 0
    for name, tests in PROPERTIES.items():
        if wanted and not any(word in name for word in wanted):
            continue
        began = time.monotonic()
        holds, found = tried(tests, long=long)
        broken += not holds
        print(
            f"{'BROKEN' if not holds else '-     ' if found.startswith('not tried') else 'holds '} {time.monotonic() - began:7.1f} s  {name}: {found}",
            flush=True,
        )
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
