"""Prints what the program costs: `python -m tests.bench [PART …]`.

Without a part: start and walk, the page of times. The others are studies: recheck (1,000 runs a case: more than an hour),
power, faults, light, planning, picture. Figures and ratios only; nothing is asserted. Other options go to the parts, `--quick` to those
that know it.
"""

from __future__ import annotations

import importlib
import platform
import sys
from importlib.metadata import version
from pathlib import Path

PAGE = ("start", "walk")
PARTS = (*PAGE, "recheck", "power", "faults", "light", "planning", "picture")
KNOW_QUICK = (*PAGE, "recheck", "planning", "picture")


def _machine() -> str:
    model = "unknown processor"
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if line.startswith("model name")
        ]
        model = f"{len(names)} × {names[0]}" if names else model
    return f"{platform.system()} {platform.machine()}, {model}, Python {platform.python_version()}, textual {version('textual')}"


def main(argv: list[str]) -> int:
    """Run the parts named, or the page of times."""
    print(f"machine: {_machine()}")
    named = [word for word in argv if word in PARTS]
    options = [word for word in argv if word not in PARTS]
    for part in named or PAGE:
        print(f"\n== {part} ==")
        given = [word for word in options if word != "--quick" or part in KNOW_QUICK]
        importlib.import_module(f"tests.bench_{part}").run(given)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
