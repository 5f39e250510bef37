"""Prints what the program costs: `python -m tests.bench [PART …]`, parts: walk, recheck, power, faults, light. No part: all.

Figures and ratios only; nothing is asserted. Other options go to the parts; `--quick` to those that take longer than two
minutes (the recheck with its 1,000 runs a case takes more than an hour).
"""

from __future__ import annotations

import importlib
import platform
import sys
from importlib.metadata import version
from pathlib import Path

PARTS = ("walk", "recheck", "power", "faults", "light")
KNOW_QUICK = ("walk", "recheck")


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
    """Run the parts named, or all there are."""
    print(f"machine: {_machine()}")
    named = [word for word in argv if word in PARTS]
    options = [word for word in argv if word not in PARTS]
    for part in named or PARTS:
        if not (Path(__file__).parent / f"bench_{part}.py").exists():
            continue
        print(f"\n== {part} ==")
        given = [word for word in options if word != "--quick" or part in KNOW_QUICK]
        importlib.import_module(f"tests.bench_{part}").run(given)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
