"""Exit codes of the command, and how trouble is reported on the error stream."""

from __future__ import annotations

import sys
from enum import IntEnum


class Exit(IntEnum):
    """What the command's exit code means."""

    FINE = 0
    FINDINGS = 1
    """`check`: there are faults in the map; `diff`: the maps differ."""
    USAGE = 2
    """The command line cannot be understood."""
    FILE = 3
    """A file cannot be read, written or understood. Nothing was changed."""
    BOARD = 4
    """A port or board gives trouble."""
    INTERNAL = 5
    """A fault of this program; details are in the log."""
    RESCUED = 6
    """Something could not be saved, and is only in the rescue copy, or only on the error stream: the message names which."""
    STOPPED = 130
    """Stopped with Ctrl+C. The full-screen program, ended by any signal n with all saved, gives 128 + n."""


def complain(what: str) -> None:
    """Say on the error stream what is wrong."""
    print(f"playfield-probe: {what}", file=sys.stderr)
