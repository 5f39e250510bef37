"""Replacing a file so that at every moment, power cuts included, the old or the new one is there, whole.

The new content goes to a temporary file beside it, is synced, and takes the name in one rename. The old file first gets
a second name, `NAME~`, so that it stays. Temporary names are `.NAME.PID.new` and `.NAME.PID.old`: what a crash leaves
behind is never read, and `remove_leftovers` takes it away.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from probe.document.file.disk import Disk, FileFacts


def previous_name(path: Path) -> Path:
    """Where the file before the last save is kept: `kelp.json` → `kelp.json~`."""
    return path.with_name(path.name + "~")


def _temporary(path: Path, suffix: str) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.{suffix}")


def _write_new(disk: Disk, path: Path, data: bytes, like: FileFacts | None) -> None:
    """Create a file with that content, on the medium when this returns."""
    disk.remove(path)
    descriptor = disk.create(path, 0o666 if like is None else 0o600)
    try:
        if like is not None:
            disk.take_access(descriptor, like)
        disk.write(descriptor, data)
        disk.sync(descriptor)
    finally:
        disk.close(descriptor)


def _keep_previous(disk: Disk, path: Path, facts: FileFacts) -> None:
    spare = _temporary(path, "old")
    try:
        disk.remove(spare)
        try:
            disk.link(path, spare)
        except OSError:
            # Some file systems (memory sticks) know no second names: copy instead.
            _write_new(disk, spare, disk.read(path), facts)
        disk.rename(spare, previous_name(path))
    finally:
        # A rename between two names of one file does nothing and leaves both.
        with suppress(OSError):
            disk.remove(spare)


def replace_file(disk: Disk, path: Path, data: bytes, *, keep_previous: bool) -> None:
    """Give a file new content in one step, durable when this returns. Owner and permissions stay.

    `path` must not be a symbolic link (resolve it first), or the link itself is replaced. Raises OSError; the file then
    holds the old content, or, if only the last sync failed, perhaps the new one.
    """
    old = disk.facts(path)
    temporary = _temporary(path, "new")
    try:
        _write_new(disk, temporary, data, old)
        if old is not None and keep_previous:
            _keep_previous(disk, path, old)
        disk.rename(temporary, path)
    except BaseException:
        with suppress(OSError):
            disk.remove(temporary)
        raise
    disk.sync_folder(path.parent)


def remove_leftovers(disk: Disk, path: Path) -> tuple[str, ...]:
    """Remove temporary files that a crash left beside a file. Only for the one who has the file locked.

    Returns the names removed. A file that cannot be removed is harmless and stays.
    """
    pattern = re.compile(rf"\.{re.escape(path.name)}\.\d+\.(new|old)")
    removed = []
    for name in disk.names(path.parent):
        if pattern.fullmatch(name):
            with suppress(OSError):
                disk.remove(path.with_name(name))
                removed.append(name)
    return tuple(removed)
