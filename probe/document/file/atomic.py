"""Replacing a file so that at every moment, power cuts included, the old or the new one is there, whole.

The new content goes to a temporary file beside it, is synced, read back, and takes the name in one rename. The old file first gets
a second name, `NAME~`, so that it stays. Temporary names are `.NAME.PID.new` and `.NAME.PID.old`: what a crash leaves
behind is never read, and `remove_leftovers` takes it away. A name that would get too long with what is put around it is
cut, and a digest of the whole put in its place (`named_after`).
"""

from __future__ import annotations

import errno
import itertools
import os
import re
from collections.abc import Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from probe.document.file.disk import Disk, FileFacts, longest_name

_DIGEST = 8
_TEMPORARY = 24
"""Bytes to keep free around a name for a temporary one, whatever the number of the process."""


def named_after(path: Path, head: str, tail: str, *, name: str | None = None, room: int = 0) -> Path:
    """The name beside a file that has `head` and `tail` around the file's own name (or `name`), as short as it has to be.

    `room`: bytes to keep for head and tail, if more than they have.
    """
    own = path.name if name is None else name
    longest = longest_name(path.parent) - max(room, len(os.fsencode(head + tail)))
    whole = os.fsencode(own)
    if len(whole) > longest:
        kept = whole[: max(0, longest - _DIGEST - 1)].decode(errors="ignore")
        own = f"{kept}-{sha256(whole).hexdigest()[:_DIGEST]}"
    return path.with_name(f"{head}{own}{tail}")


def previous_name(path: Path) -> Path:
    """Where the file before the last save is kept: `kelp.json` → `kelp.json~`."""
    return named_after(path, "", "~")


def _temporary(path: Path, suffix: str) -> Path:
    return named_after(path, ".", f".{os.getpid()}.{suffix}", room=_TEMPORARY)


def _write_new(disk: Disk, path: Path, data: bytes, like: FileFacts | None) -> None:
    """Create a file with that content, on the medium when this returns. What has that name already is replaced."""
    disk.remove(path)
    _create(disk, path, data, like)


def _create(disk: Disk, path: Path, data: bytes, like: FileFacts | None, *, mode: int = 0o666) -> None:
    """Create a file with that content that must not be there yet, on the medium and read back when this returns."""
    descriptor = disk.create(path, mode if like is None else 0o600)
    try:
        if like is not None:
            disk.take_access(descriptor, like)
        disk.write(descriptor, data)
        disk.sync(descriptor)
    finally:
        disk.close(descriptor)
    if disk.read(path) != data:
        raise OSError(errno.EIO, "what was written is read back differently", str(path))


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


def _beside(path: Path, word: str) -> Iterator[Path]:
    """Names beside a file that it may get too: `kelp.WORD.json`, `kelp.WORD-2.json`, and so on."""
    for count in itertools.count(1):
        yield named_after(path, "", f".{word}{'' if count == 1 else f'-{count}'}{path.suffix}", name=path.stem)


def create_beside(disk: Disk, path: Path, word: str, data: bytes, *, like: FileFacts | None = None) -> Path:
    """Make a new file beside a path, named after it: `kelp.json` → `kelp.WORD.json`, or `kelp.WORD-2.json` if that is there.

    Nothing is written over. Only its owner may read it, unless it is to be `like` another. Raises OSError.
    """
    for made in _beside(path, word):
        with suppress(FileExistsError):
            _create(disk, made, data, like, mode=0o600)
            disk.sync_folder(path.parent)
            return made
    raise AssertionError("names never end")


def keep_beside(disk: Disk, path: Path, word: str) -> Path:
    """Give a file that is about to be replaced a second name that stays, as `create_beside` does. Raises OSError.

    A name that holds the same content already does as well.
    """
    for kept in _beside(path, word):
        if disk.facts(kept) is not None:
            if disk.read(kept) == disk.read(path):
                return kept
            continue
        with suppress(FileExistsError):
            try:
                disk.link(path, kept)
            except FileExistsError:
                raise
            except OSError:
                _create(disk, kept, disk.read(path), disk.facts(path))
            disk.sync_folder(path.parent)
            return kept
    raise AssertionError("names never end")


def remove_leftovers(disk: Disk, path: Path) -> tuple[str, ...]:
    """Remove temporary files that a crash left beside a file. Only for the one who has the file locked.

    Returns the names removed. A file that cannot be removed is harmless and stays.
    """
    head = named_after(path, ".", "", room=_TEMPORARY).name
    pattern = re.compile(rf"{re.escape(head)}\.\d+\.(new|old)")
    removed = []
    for name in disk.names(path.parent):
        if pattern.fullmatch(name):
            with suppress(OSError):
                disk.remove(path.with_name(name))
                removed.append(name)
    return tuple(removed)
