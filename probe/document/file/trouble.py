"""Where faults of this program are written down."""

from __future__ import annotations

import sys
import traceback
from datetime import UTC, datetime
from pathlib import Path

from platformdirs import user_log_path

from probe.document.outside_text import escaped

MOST_BYTES = 1_000_000
"""A log that has grown beyond this begins anew."""


def log_trouble(error: BaseException) -> Path | None:
    """Append an exception with its traceback to the log; returns the log's path.

    None when it cannot be written: the traceback is then on standard error. Both are read on terminals, and what is raised
    may quote text from outside: control characters are escaped.
    """
    lines = "".join(traceback.format_exception(error)).split("\n")
    text = "\n".join(map(escaped, lines))
    try:
        where = user_log_path("playfield-probe", appauthor=False, ensure_exists=True) / "trouble.log"
        fresh = where.exists() and where.stat().st_size > MOST_BYTES
        with where.open("w" if fresh else "a", encoding="utf-8", errors="backslashreplace") as file:
            file.write(f"{datetime.now(UTC).isoformat(timespec='seconds')}\n")
            file.write(text)
    except OSError:
        if sys.stderr is not None:
            sys.stderr.write(
                text.encode(sys.stderr.encoding or "utf-8", "backslashreplace").decode(sys.stderr.encoding or "utf-8")
            )
        return None
    return where


def fault_sentence(error: BaseException) -> str:
    """Log it, and say so in a sentence for the person."""
    where = log_trouble(error)
    details = f"Details are in {where}" if where is not None else "Details are above"
    return f"a fault of this program ended it. Your map file is as it was last saved. {details}"
