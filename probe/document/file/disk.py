"""Everything storage asks of the file system, in one object, so that a test can let any single call fail."""

from __future__ import annotations

import os
import stat
import sys
from contextlib import suppress
from pathlib import Path

from probe.frozen import frozen

if sys.platform == "darwin":  # pragma: no cover
    import fcntl


@frozen
class FileFacts:
    """What the file system reports of a file. While `identity` is the same, nobody has written the content."""

    regular: bool
    mode: int
    user: int
    group: int
    size: int
    identity: tuple[int, int, int]


def _facts(found: os.stat_result) -> FileFacts:
    return FileFacts(
        regular=stat.S_ISREG(found.st_mode),
        mode=stat.S_IMODE(found.st_mode),
        user=found.st_uid,
        group=found.st_gid,
        size=found.st_size,
        identity=(found.st_ino, found.st_size, found.st_mtime_ns),
    )


_USUAL_LONGEST_NAME = 255


def longest_name(folder: Path) -> int:
    """How many bytes a file's name may have in a folder; the usual limit if the system does not say."""
    try:
        return os.pathconf(folder, "PC_NAME_MAX")
    except (AttributeError, OSError, ValueError):
        return _USUAL_LONGEST_NAME


class Disk:
    """The real disk. Every method raises OSError as the system does."""

    def facts(self, path: Path) -> FileFacts | None:
        """Facts of a file (of the target, if it is a symbolic link), or None if there is nothing."""
        try:
            return _facts(path.stat())
        except FileNotFoundError:
            return None

    def read(self, path: Path) -> bytes:
        """The whole file."""
        return path.read_bytes()

    def names(self, folder: Path) -> list[str]:
        """Names in a folder, sorted."""
        return sorted(path.name for path in folder.iterdir())

    def make_folder(self, folder: Path) -> None:
        """Create a folder and those above it; no error if it is there."""
        folder.mkdir(parents=True, exist_ok=True)

    def create(self, path: Path, mode: int) -> int:
        """Create a file that must not exist yet, for writing. Returns a descriptor."""
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
        return os.open(path, flags, mode)

    def take_access(self, descriptor: int, like: FileFacts) -> None:
        """Give the open file the owner and the permissions of another. Owner and group as far as we are allowed to."""
        if sys.platform == "win32":  # pragma: no cover
            return
        with suppress(PermissionError):
            os.fchown(descriptor, like.user, like.group)
        os.fchmod(descriptor, like.mode)

    def write(self, descriptor: int, data: bytes) -> None:
        """Write all of it."""
        view = memoryview(data)
        while view:
            view = view[os.write(descriptor, view) :]

    def sync(self, descriptor: int) -> None:
        """Wait until the content is on the medium."""
        if sys.platform == "darwin":  # pragma: no cover
            # fsync on macOS stops at the drive's own cache.
            with suppress(OSError):
                fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
                return
        os.fsync(descriptor)

    def close(self, descriptor: int) -> None:
        """Close it."""
        os.close(descriptor)

    def link(self, path: Path, new: Path) -> None:
        """A second name for the same file. Raises OSError where the file system has no such thing."""
        os.link(path, new)

    def rename(self, path: Path, new: Path) -> None:
        """Rename, replacing what has that name, in one step."""
        path.replace(new)

    def remove(self, path: Path) -> None:
        """Remove a file; no error if there is none."""
        path.unlink(missing_ok=True)

    def sync_folder(self, folder: Path) -> None:
        """Wait until the names in a folder are on the medium."""
        if sys.platform == "win32":  # pragma: no cover
            return  # folders cannot be opened there; the rename is journalled
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
