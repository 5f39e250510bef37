"""One program at a time: a lock beside the file, and a note of who holds it.

The lock is `.NAME.lock`, held through the operating system, so that a crash lets go of it; the file itself stays, which
is harmless. `.NAME.holder` names who holds it, for the message that a second program shows.
"""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from probe.document.file.atomic import named_after
from probe.document.file.errors import CannotSaveError, FileInUseError
from probe.document.local_time import local_minute

_LOOK_AGAIN_S = 0.05
_BUSY = (BlockingIOError, PermissionError)
"""What the second who asks is answered: EWOULDBLOCK by flock(2), EACCES by `_locking` of Windows."""

if sys.platform == "win32":  # pragma: no cover
    import msvcrt

    def _hold(descriptor: int) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

    def _let_go(descriptor: int) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_UNLCK, 1)
else:
    import fcntl

    def _hold(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _let_go(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_UN)


def _opened(path: Path) -> int:
    """The file of the lock, as a descriptor that nobody inherits. Raises OSError."""
    return os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o644)


class ExclusiveLock:
    """Holds a file against other programs, from construction to `release`."""

    def __init__(self, path: Path, *, wait_s: float = 0.0) -> None:
        """`path` is the real file. Raises FileInUseError if it is held, CannotSaveError if no lock can be made."""
        self._holder = named_after(path, ".", ".holder")
        self._descriptor: int | None = None
        try:
            held = self._take(named_after(path, ".", ".lock"), wait_s)
        except OSError as error:
            hint = "Nothing could be saved there: check the folder's permissions, or copy the file to one of your own"
            what = f"no lock can be made beside it, the system says: {error.strerror or error}"
            raise CannotSaveError(path, what, hint) from error
        if not held:
            hint = "Close it there first. To read only, export or check the map: that needs no lock"
            raise FileInUseError(path, f"it is open in {self._who()}", hint)
        note = {
            "process": os.getpid(),
            "computer": socket.gethostname(),
            "since": datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        }
        with suppress(OSError):
            self._holder.write_text(json.dumps(note), encoding="utf-8")

    def _take(self, path: Path, wait_s: float) -> bool:
        """Whether the lock is ours, within that time. Raises OSError where none can be made."""
        until = time.monotonic() + wait_s
        while True:
            descriptor = _opened(path)
            try:
                _hold(descriptor)
                removed = os.fstat(descriptor).st_nlink == 0  # by somebody, after we opened it: it keeps nobody away
            except _BUSY:
                os.close(descriptor)
                if time.monotonic() >= until:
                    return False
                time.sleep(_LOOK_AGAIN_S)
                continue
            except BaseException:
                os.close(descriptor)
                raise
            if not removed:
                self._descriptor = descriptor
                return True
            os.close(descriptor)

    def _who(self) -> str:
        try:
            note = json.loads(self._holder.read_text(encoding="utf-8"))
            process, computer, since = int(note["process"]), str(note["computer"]), local_minute(str(note["since"]))
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            return "another program"
        if process == os.getpid() and computer == socket.gethostname():
            return f"this same program, since {since}"
        return f"process {process} on computer {computer!r}, since {since}"

    def release(self) -> None:
        """Let go of the file. A second call does nothing."""
        if self._descriptor is not None:
            with suppress(OSError):
                self._holder.unlink(missing_ok=True)
            with suppress(OSError):
                _let_go(self._descriptor)
            os.close(self._descriptor)
            self._descriptor = None
