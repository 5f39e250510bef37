"""One program at a time: a lock beside the file, and a note of who holds it.

The lock is `.NAME.lock`, held through the operating system, so that a crash lets go of it; the file itself stays, which
is harmless. `.NAME.holder` names who holds it, for the message that a second program shows.
"""

from __future__ import annotations

import json
import os
import socket
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from probe.document.file.atomic import named_after
from probe.document.file.errors import CannotSaveError, FileInUseError


class ExclusiveLock:
    """Holds a file against other programs, from construction to `release`."""

    def __init__(self, path: Path, *, wait_s: float = 0.0) -> None:
        """`path` is the real file. Raises FileInUseError if it is held, CannotSaveError if no lock can be made."""
        self._holder = named_after(path, ".", ".holder")
        self._lock = FileLock(named_after(path, ".", ".lock"), timeout=wait_s, thread_local=False)
        try:
            self._lock.acquire()
        except Timeout as error:
            hint = "Close it there first. To read only, export or check the map: that needs no lock"
            raise FileInUseError(path, f"it is open in {self._who()}", hint) from error
        except OSError as error:
            hint = "Nothing could be saved there: check the folder's permissions, or copy the file to one of your own"
            what = f"no lock can be made beside it, the system says: {error.strerror or error}"
            raise CannotSaveError(path, what, hint) from error
        note = {
            "process": os.getpid(),
            "computer": socket.gethostname(),
            "since": datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        }
        with suppress(OSError):
            self._holder.write_text(json.dumps(note), encoding="utf-8")

    def _who(self) -> str:
        try:
            note = json.loads(self._holder.read_text(encoding="utf-8"))
            process, computer, since = int(note["process"]), str(note["computer"]), str(note["since"])
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            return "another program"
        if process == os.getpid() and computer == socket.gethostname():
            return f"this same program, since {since}"
        return f"process {process} on computer {computer!r}, since {since}"

    def release(self) -> None:
        """Let go of the file. A second call does nothing."""
        if self._lock.is_locked:
            with suppress(OSError):
                self._holder.unlink(missing_ok=True)
            self._lock.release()
