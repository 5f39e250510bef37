"""The command `playfield-probe`. Textual is imported only when a screen opens."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    from probe.cli.parser import build_parser

    arguments = build_parser().parse_args(argv)
    from probe.cli.run import run

    return run(arguments)


if __name__ == "__main__":
    sys.exit(main())
