"""The map file: opened exclusively, saved whole and at once; where the demonstration maps are."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from types import TracebackType
from typing import Self

import probe
from probe.document.file.atomic import keep_beside, previous_name, remove_leftovers, replace_file
from probe.document.file.disk import Disk
from probe.document.file.errors import CannotSaveError, ChangedElsewhereError, UnsoundMapError
from probe.document.file.layout import Renderer
from probe.document.file.lock import ExclusiveLock
from probe.document.file.reading import map_hint, parse_map, read_bytes, read_map
from probe.document.model import FORMAT_VERSION, PlayfieldMap

_HINTS = {
    errno.ENOSPC: "The disk is full: make room, then save again",
    errno.EDQUOT: "Your share of the disk is used up: make room, then save again",
    errno.EROFS: "The disk cannot be written to: save elsewhere",
    errno.EACCES: "You have no right to write there: check the folder's permissions",
    errno.EPERM: "You have no right to write there: check the folder's permissions",
    errno.ENOENT: "There is no such folder: make it, put its disk back, or name another",
    errno.EIO: "The disk fails: save on another one now",
}


_THEIRS = "theirs"
_CHANGED = "another program wrote this file since it was opened here"
_CURE = "Save over it (theirs is then kept beside it as {}.theirs{}) or under another name"


def saving_error(path: Path, error: OSError, *, of_map: bool = False) -> CannotSaveError:
    """The system's refusal to save, with its likely cure. `of_map`: a map that is open, and not lost by this."""
    hint = _HINTS.get(error.errno or 0, "Try again, or save elsewhere")
    if of_map:
        hint += ". The map is still in memory"
    return CannotSaveError(path, f"it could not be saved, the system says: {error.strerror or error}", hint)


def load_map(path: str | os.PathLike[str], *, disk: Disk | None = None) -> PlayfieldMap:
    """Read a map without locking it: to show, check or export. Raises StorageError (see `MapFile.open`)."""
    disk = disk or Disk()
    where = Path(path)
    return parse_map(where, read_bytes(disk, where), map_hint(disk, where))


def save_copy(path: str | os.PathLike[str], content: bytes, *, disk: Disk | None = None) -> None:
    """Write any file (an export) so that it is there whole or not at all. Follows a symbolic link.

    Raises CannotSaveError.
    """
    where = Path(os.path.realpath(path))
    try:
        replace_file(disk or Disk(), where, content, keep_previous=False)
    except OSError as error:
        raise saving_error(where, error) from error


class MapFile:
    """A map file that this program has to itself until `close`.

    `map` is the map as last read or saved, `path` the real file behind any symbolic link, `leftovers` what was cleared
    away of a crash, `notices` what the person should know of the upgrade of an older file, `theirs` where the last save over somebody else's version kept it. A context manager.
    """

    def __init__(self, path: Path, lock: ExclusiveLock, disk: Disk) -> None:
        self.path = path
        self.map: PlayfieldMap
        self.leftovers: tuple[str, ...] = ()
        self.theirs: Path | None = None
        self.notices: tuple[str, ...] = ()
        self._lock = lock
        self._disk = disk
        self._renderer = Renderer()
        self._identity: tuple[int, int, int] | None = None
        self._content = b""
        self._version = FORMAT_VERSION
        self._durable = True
        self._closed = False
        self._unprimed = False

    @classmethod
    def open(cls, path: str | os.PathLike[str], *, disk: Disk | None = None, wait_s: float = 0.0) -> MapFile:
        """Lock and read a map; `.map` holds it. Waits at most `wait_s` for another program to let go of it.

        Raises FileInUseError, CannotReadError, DamagedFileError, NewerFileError, CannotSaveError (no lock possible);
        the file is left as it is in every case.
        """
        disk = disk or Disk()
        where = Path(os.path.realpath(path))
        read_bytes(disk, Path(path))  # before the lock, which would litter a folder for a misspelt name
        file = cls(where, ExclusiveLock(where, wait_s=wait_s), disk)
        try:
            file._identity = file._look()
            file._content = read_bytes(disk, where)
            found = read_map(Path(path), file._content, map_hint(disk, where))
            file.map, file.notices, file._version = found.map, found.notices, found.version
            file._unprimed = True
            file.leftovers = remove_leftovers(disk, where)
        except BaseException:
            file.close()
            raise
        return file

    @classmethod
    def create(cls, path: str | os.PathLike[str], map_: PlayfieldMap, *, disk: Disk | None = None) -> MapFile:
        """Lock a new file and save a map in it. Raises CannotSaveError if there is a file already, or as `save`."""
        file = cls.claim(path, disk=disk)
        try:
            file.save(map_)
        except BaseException:
            file.close()
            raise
        return file

    @classmethod
    def claim(cls, path: str | os.PathLike[str], *, over: bool = False, disk: Disk | None = None) -> MapFile:
        """Lock a file that is to be made by the first `save`, its folder as well; it has no `map` yet.

        Raises FileInUseError, CannotSaveError; also if there is a file already, unless it is to be saved `over`.
        """
        disk = disk or Disk()
        where = Path(os.path.realpath(path))
        try:
            disk.make_folder(where.parent)
        except OSError as error:
            raise saving_error(where, error, of_map=True) from error
        file = cls(where, ExclusiveLock(where), disk)
        try:
            if not over:
                file._refuse_if_there()
        except BaseException:
            file.close()
            raise
        return file

    @property
    def previous(self) -> Path:
        """Where the file before the last save is kept."""
        return previous_name(self.path)

    def save(self, map_: PlayfieldMap, *, over: bool = False) -> None:
        """Put a map on disk; when this returns it is there to stay. A map equal to the one on disk writes nothing.

        A file of an earlier version of the format is kept beside it, as `NAME.v1.json`.

        If somebody else changed the content meanwhile, `over=True` replaces it and keeps theirs beside it: `theirs` is
        its path, `NAME.theirs.json` or the next name that is free. Raises ChangedElsewhereError without it;
        CannotSaveError; UnsoundMapError for a map that could not be read again. The old file is then whole and in place.
        """
        if self._closed:
            raise CannotSaveError(self.path, "the file was closed", "Open it again")
        try:
            if self._unprimed:  # records that came out of a file need no second check
                self._renderer.render(self.map, check=False)
                self._unprimed = False
            content = self._renderer.render(map_)
        except ValueError as error:
            todo = "This is a fault of the program: undo the last step. The file on disk is as it was"
            raise UnsoundMapError(self.path, f"the map breaks its own rules: {error}", todo) from error
        try:
            there, theirs = self._changed_elsewhere(content)
            if theirs and not over:
                raise ChangedElsewhereError(self.path, _CHANGED, _CURE.format(self.path.stem, self.path.suffix))
            if theirs:
                self.theirs = keep_beside(self._disk, self.path, _THEIRS)
            if there and not theirs and self._version < FORMAT_VERSION and map_ == self.map:
                return  # an older file is only written anew with the first change
            if there and not theirs and self._version < FORMAT_VERSION:
                keep_beside(self._disk, self.path, f"v{self._version}")
            if not there or theirs or not self._durable or content != self._content:
                replace_file(self._disk, self.path, content, keep_previous=True)
                self._identity = self._look()
        except OSError as error:
            self._after_failure(content)
            raise saving_error(self.path, error, of_map=True) from error
        self._content, self._durable, self._version = content, True, FORMAT_VERSION
        self.map = map_

    def _changed_elsewhere(self, ours: bytes) -> tuple[bool, bool]:
        """Whether the file is there, and whether its content is neither what it was nor `ours`: a touch is no change."""
        now = self._look()
        if now is None or now == self._identity:
            return now is not None, False
        content = self._disk.read(self.path)
        if content == ours:
            self._content = ours
            self._durable = False  # whoever wrote it, it is not known to be on the medium
        elif content != self._content or self._identity is None:
            return True, True
        self._identity = now
        return True, False

    def _after_failure(self, content: bytes) -> None:
        """If the new content took the name after all (only the last sync failed), it was us who changed the file."""
        try:
            if self._disk.read(self.path) == content:
                self._identity = self._look()
                self._content, self._durable = content, False  # on the name, yet perhaps not on the medium
        except OSError:
            pass

    def _refuse_if_there(self) -> None:
        if self._look() is not None:
            raise ChangedElsewhereError(self.path, "there is a file already", "Open it, or choose another name")

    def _look(self) -> tuple[int, int, int] | None:
        facts = self._disk.facts(self.path)
        return None if facts is None else facts.identity

    def close(self) -> None:
        """Let go of the file. What was saved stays; a second call does nothing."""
        self._closed = True
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


COMPLETE = "kelp_forest.json"
HALF = "kelp_forest_half.json"
LAMPS = "kelp_forest_lamps.csv"
_PACKAGE = Path(probe.__file__).parent


def demo_map_path(name: str = COMPLETE) -> Path:
    """The path of a demonstration file. Raises FileNotFoundError naming the places that were searched."""
    searched = [_PACKAGE / "demo_maps" / name, _PACKAGE.parent / "demo_maps" / name]
    for path in searched:
        if path.is_file():
            return path
    places = " and ".join(str(path.parent) for path in searched)
    raise FileNotFoundError(f"no demonstration file {name!r} in {places}: install the program again")
