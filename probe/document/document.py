"""The one open map, for screens and command line alike: current map, save state, undo and redo, what is pending, revisions.

A `Document` has its file locked from before it is read until `release`. It has no thread: `commit` only records; whoever
owns it fetches a `SaveJob` with `save_job`, runs it where it may block, and reports the outcome with `finished`. Every change
of the map gives it a new `version`; `saved_version` is the newest one that is on disk.

Undo goes back over what this session committed, whichever task did it. Beyond that it takes back whole revisions, each
as a revision of its own, and asks first: the same call twice in a row.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from platformdirs import user_state_path

from probe.document.change_words import change_lines, pixel_fields_words
from probe.document.diff import Cache, ConflictError, diff
from probe.document.file.atomic import create_beside
from probe.document.file.disk import Disk
from probe.document.file.errors import CannotSaveError, ChangedElsewhereError, StorageError
from probe.document.file.layout import Renderer
from probe.document.file.map_file import MapFile
from probe.document.model import PixelState, PlayfieldMap, Revision, shown_number
from probe.document.model.change import What, fields_of
from probe.document.revisions import (
    NoRevisionError,
    NothingToUndoError,
    base_of,
    close,
    closed_apart,
    last_redoable,
    last_undoable,
    next_number,
    recorded,
    session_closed,
    session_reason,
    undo,
)
from probe.frozen import frozen

MOST_UNDO = 500
"""Commits that can be taken back one by one within a session; older ones are in the revisions."""
_MOST_RESCUED_LINES = 100_000
_SHARED_MEMORY = Path("/dev/shm")

Direction = Literal["undo", "redo"]


def now_text() -> str:
    """The time as revisions hold it: RFC 3339, UTC, whole seconds."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@frozen
class Saved:
    """No save has failed since the last one that succeeded."""


@frozen
class Unsaved:
    """The last save failed. `why` says what to do, in a sentence.

    `in_conflict`: somebody else changed the file, and `why` begins with the cure; `Document.save_over` and `save_as` are
    the ways out.
    """

    why: str
    in_conflict: bool = False


@frozen
class Travelled:
    """What undo or redo came to. `words`: of the commit gone over, else why nothing changed.

    `where`: where the person was then, as it was given to `commit`, `undo` or `redo`; None beyond the session.
    """

    changed: bool
    words: str
    where: object | None = None


@frozen
class Rescue:
    """Where the unsaved map is now, if it could be written anywhere. `lines`: what to print for the person.

    Without a path the lines are the unsaved answers themselves. Both are empty if nothing was unsaved.
    """

    path: Path | None = None
    lines: tuple[str, ...] = ()


@frozen
class _UndoEntry:
    """One commit that can be gone back over, or forward to: the map there, its words, where the person was."""

    map: PlayfieldMap
    words: str
    where: object | None


@dataclass
class SaveJob:
    """The work of putting one version of the map on disk. `run` blocks; it touches nothing that the document reads.

    `file` is the file it goes to; one that is not there yet is made. `moves`: the document goes on in that file. `over`:
    somebody else's version is replaced, and kept beside it.
    """

    version: int
    map: PlayfieldMap
    path: Path
    file: MapFile | None
    moves: bool
    over: bool
    disk: Disk | None

    def run(self) -> None:
        """Save; when this returns the map is there to stay. Safe on another thread. Raises StorageError, OSError."""
        file = self.file if self.file is not None else MapFile.claim(self.path, over=self.over, disk=self.disk)
        try:
            file.save(self.map, over=self.over)
        except BaseException:
            if self.file is None:
                file.close()
            raise
        self.file = file


class Scope:
    """What one task does, from `Document.scope` to `end`."""

    def __init__(self, document: Document, name: str, since: PlayfieldMap | None) -> None:
        self.name = name
        self._document = document
        self._since = since
        self._over = False

    def end(self, reason: str = "") -> None:
        """Make one revision of what was changed since the scope began; before it one of what was pending then.

        Neither if nothing was changed. There is nothing of the session to undo afterwards. A second call does nothing.
        """
        if not self._over:
            self._over = True
            self._document._end_scope(self._since, reason)


class Document:
    """The one open map. Made by `open`, `new` or `in_memory`; every change of the map goes through it."""

    def __init__(
        self, map_: PlayfieldMap | None, path: str, file: MapFile | None, disk: Disk | None, now: Callable[[], str]
    ) -> None:
        self.path = path
        """The file's path as it was named; empty in memory."""
        self.version = 0
        """Grows with every change of the map; 0 while there is none."""
        self.saved_version = 0
        """The newest version that is on disk."""
        self.save: Saved | Unsaved = Saved()
        self.notices: tuple[str, ...] = file.notices if file is not None else ()
        """What the person should know of how the file was read, in sentences."""
        self.theirs: Path | None = None
        """Where the last `save_over` kept the version of somebody else."""
        self._map = map_
        self._saved_map = map_
        self._file = file
        self._next: MapFile | None = None
        self._over = False
        self._disk = disk
        self._now = now
        self._job: SaveJob | None = None
        self._failed_version = -1
        self._past: list[_UndoEntry] = []
        self._future: list[_UndoEntry] = []
        self._question: Direction | None = None
        self._cache: Cache = {}
        self._base: PlayfieldMap | None = None
        self._beyond: tuple[tuple[Revision, ...], bool, bool] | None = None
        if map_ is not None:
            self.version = self.saved_version = 1
            self._rest_on(map_)

    @classmethod
    def open(
        cls,
        path: str | os.PathLike[str],
        *,
        disk: Disk | None = None,
        now_text: Callable[[], str] = now_text,
        wait_s: float = 0.0,
    ) -> Document:
        """Lock a map file, then read it. Waits at most `wait_s` for another program to let go of it.

        Raises FileInUseError, CannotReadError, DamagedFileError, NewerFileError, CannotSaveError (no lock possible);
        the file is left as it is in every case.
        """
        file = MapFile.open(path, disk=disk, wait_s=wait_s)
        return cls(file.map, os.fspath(path), file, disk, now_text)

    @classmethod
    def new(
        cls, path: str | os.PathLike[str], *, disk: Disk | None = None, now_text: Callable[[], str] = now_text
    ) -> Document:
        """A document without a map yet. The first save makes the file, and fails if there is one by then."""
        return cls(None, os.fspath(path), None, disk, now_text)

    @classmethod
    def in_memory(cls, map_: PlayfieldMap | None = None, *, now_text: Callable[[], str] = now_text) -> Document:
        """A document that is nowhere on disk, and so counts as saved at any time."""
        return cls(map_, "", None, None, now_text)

    # -- the map ----------------------------------------------------------------------------------------------------

    @property
    def has_map(self) -> bool:
        """Whether there is a map yet."""
        return self._map is not None

    @property
    def map(self) -> PlayfieldMap:
        """The map as it is now. Raises LookupError while there is none."""
        if self._map is None:
            raise LookupError("this document has no map yet")
        return self._map

    @property
    def is_saved(self) -> bool:
        """Whether the map as it is now is on disk."""
        return self.saved_version == self.version

    def commit(self, map_: PlayfieldMap, words: str = "", where: object | None = None) -> None:
        """Take a changed map over, with its pending changes recorded. A map that holds the same changes nothing.

        `words` and `where` (where the person was) are what `undo` gives back. A map that brings revisions of its own
        starts a new session: what was committed before is undone as revisions. Answers of a recheck that is not finished
        are no change of the map's content, and the recheck's own to take back: `undo` and `redo` leave them as they are.
        Where the walk goes on is none either: an answer that a pixel has already is no step to undo.
        """
        before = self._map
        if map_ is before or map_ == before:
            return
        if before is None or (map_.revisions is not before.revisions and map_.revisions != before.revisions):
            self._start_session(map_)
            return
        self._question = None
        if _says_the_same(before, map_):
            self._become(map_)
            return
        assert self._base is not None
        self._past.append(_UndoEntry(before, words, where))
        del self._past[:-MOST_UNDO]
        self._future.clear()
        self._become(recorded(self._base, map_, cache=self._cache))

    def _become(self, map_: PlayfieldMap) -> None:
        self._map = map_
        self.version += 1
        if not self.path:
            self.saved_version, self._saved_map = self.version, map_

    def _start_session(self, map_: PlayfieldMap) -> None:
        """Go on from a map whose last revision is another one: nothing before it is undone commit by commit."""
        self._question = None
        self._past.clear()
        self._future.clear()
        self._rest_on(map_)
        self._become(map_)

    def _rest_on(self, map_: PlayfieldMap) -> None:
        """Count what is pending from the last revision of this map on. Raises ValueError, in a sentence, if it cannot be."""
        try:
            self._base = base_of(map_)
        except ValueError as error:
            what = "the pending changes of this map do not fit what it holds, so that they cannot be taken back"
            raise ValueError(f"{what}: leave them out of `pending`") from error
        self._cache.clear()

    # -- undo and redo ----------------------------------------------------------------------------------------------

    @property
    def can_undo(self) -> bool:
        """Whether `undo` has anything to take back, in this session or beyond it."""
        return bool(self._past) or self._can_beyond("undo")

    @property
    def can_redo(self) -> bool:
        """Whether `redo` has anything to do again, in this session or beyond it."""
        return bool(self._future) or self._can_beyond("redo")

    def _can_beyond(self, direction: Direction) -> bool:
        map_ = self._map
        if map_ is None:
            return False
        if map_.pending:
            return direction == "undo"
        if self._beyond is None or self._beyond[0] is not map_.revisions:
            self._beyond = (map_.revisions, last_undoable(map_) is not None, last_redoable(map_) is not None)
        _, undoable, redoable = self._beyond
        return undoable if direction == "undo" else redoable

    def undo(self, where: object | None = None) -> Travelled:
        """Take the last commit back; beyond this session the last revision, if asked twice in a row.

        `where`: where the person is now, for a later `redo`.
        """
        return self._travel("undo", self._past, self._future, where)

    def redo(self, where: object | None = None) -> Travelled:
        """Do the last undone commit again; beyond this session the last undone revision, if asked twice in a row."""
        return self._travel("redo", self._future, self._past, where)

    def forget_question(self) -> None:
        """The next `undo` or `redo` beyond this session asks again."""
        self._question = None

    def _travel(
        self, direction: Direction, back: list[_UndoEntry], forth: list[_UndoEntry], where: object | None
    ) -> Travelled:
        if not back:
            return self._travel_beyond(direction)
        self._question = None
        entry = back.pop()
        forth.append(_UndoEntry(self.map, entry.words, where))
        rechecks = self.map.rechecks
        kept = entry.map if entry.map.rechecks is rechecks else entry.map.model_copy(update={"rechecks": rechecks})
        self._become(kept)
        return Travelled(True, entry.words, entry.where)

    def _travel_beyond(self, direction: Direction) -> Travelled:
        map_ = self._map
        asked, self._question = self._question, None
        redo = direction == "redo"
        if map_ is None or (redo and map_.pending):
            return Travelled(False, f"nothing to {direction}")
        time = self._now()
        try:
            travelled = undo(session_closed(map_, time=time), time=time, redo=redo)
        except NothingToUndoError:
            return Travelled(False, f"nothing to {direction}")
        except (NoRevisionError, ConflictError) as error:
            return Travelled(False, str(error))
        if asked != direction:
            self._question = direction
            return Travelled(False, f"nothing of this session is left: {self._question_words(map_, redo)}")
        self._start_session(travelled)
        return Travelled(True, travelled.revisions[-1].reason)

    @staticmethod
    def _question_words(map_: PlayfieldMap, redo: bool) -> str:
        if map_.pending:
            number, reason = next_number(map_), session_reason(map_)
        else:
            revision = last_redoable(map_) if redo else last_undoable(map_)
            assert revision is not None
            number, reason = revision.number, revision.reason
            if redo:
                number = revision.undoes or number
                reason = next((r.reason for r in map_.revisions if r.number == number), reason)
        what = f"do revision {number} ({reason}) again" if redo else f"take back revision {number} ({reason})"
        return f"the same key once more to {what}"

    # -- sessions and scopes ----------------------------------------------------------------------------------------

    def scope(self, name: str) -> Scope:
        """Begin what one task does: it becomes one revision when the scope ends."""
        return Scope(self, name, self._map)

    def _end_scope(self, since: PlayfieldMap | None, reason: str) -> None:
        map_ = self._map
        self._question = None
        if map_ is None:
            return
        time = self._now()
        if since is None:  # the map was made here: this is what its history begins with
            ended = map_.model_copy(update={"pending": ()}) if not map_.revisions and map_.pending else map_
        elif map_.revisions == since.revisions:
            ended = closed_apart(since, map_, time=time, reason=reason)
        else:  # the task made a revision itself; what it did after that is one more
            ended = close(map_, time=time, reason=reason or session_reason(map_))
        if ended is not map_:
            self._start_session(ended)

    def close(self, reason: str = "") -> None:
        """Make one revision of what is pending. Without a reason, it is made from what changed."""
        map_ = self._map
        if map_ is None or not map_.pending:
            return
        self._question = None
        self._start_session(close(map_, time=self._now(), reason=reason or session_reason(map_)))

    # -- saving -----------------------------------------------------------------------------------------------------

    def save_job(self) -> SaveJob | None:
        """The work of saving the map as it is now; `finished` has to be called once it is done.

        None if all is saved, while another job is out, or if the last save failed and neither a commit nor `retry`,
        `save_as` or `save_over` came since.
        """
        moves = self._next is not None
        if self._map is None or not self.path or self._job is not None:
            return None
        if (self.is_saved and not moves and not self._over) or self._failed_version >= self.version:
            return None
        file = self._next or self._file
        path = Path(self.path) if file is None else file.path
        self._job = SaveJob(self.version, self._map, path, file, moves, self._over, self._disk)
        return self._job

    def finished(self, job: SaveJob, error: Exception | None) -> None:
        """Report how a job ended: `error` is what its `run` raised. Raises ValueError for a job that is not out."""
        if job is not self._job:
            raise ValueError("this save job is not the one that is out")
        self._job = None
        if job.moves and job.file is self._next:
            self._next = None
        if job.over:
            self._over = False
        if error is not None:
            self._failed(job, error)
            return
        assert job.file is not None
        if job.moves:
            if self._file is not None:
                self._file.close()
            self.path = str(job.file.path)
        self._file = job.file
        self.theirs = job.file.theirs or self.theirs
        self.saved_version, self._saved_map = job.version, job.map
        self._failed_version = -1
        self.save = Saved()

    def _failed(self, job: SaveJob, error: Exception) -> None:
        if job.moves and job.file is not None:
            job.file.close()
        was_in_conflict = isinstance(self.save, Unsaved) and self.save.in_conflict
        in_conflict = isinstance(error, ChangedElsewhereError) or ((job.moves or job.over) and was_in_conflict)
        words = str(error) if isinstance(error, StorageError) else f"{job.path} could not be saved: {error!r}"
        self.save = Unsaved(words, in_conflict)
        self._failed_version = job.version

    def retry(self) -> None:
        """Let `save_job` try again after a failure."""
        self._failed_version = -1

    def save_now(self) -> None:
        """Save here and now what is unsaved, as the command line does. Raises StorageError."""
        self.retry()
        while (job := self.save_job()) is not None:
            try:
                job.run()
            except Exception as error:
                self.finished(job, error)
                raise
            self.finished(job, None)

    def save_as(self, path: str | os.PathLike[str]) -> None:
        """Go on in a new file, which the next save makes; the old one stays as it is.

        Raises StorageError at once if there is such a file already, or none can be made there.
        """
        self.go_on_in(self.claim(path))

    def claim(self, path: str | os.PathLike[str]) -> MapFile:
        """The first half of `save_as`, for where it must not block: safe on another thread. Raises StorageError."""
        self._must_be_a_file()
        return MapFile.claim(path, disk=self._disk)

    def go_on_in(self, file: MapFile) -> None:
        """The second half: the next save makes this file, which `claim` gave."""
        self._drop_next()
        self._next, self._over = file, False
        self.retry()

    def save_over(self) -> None:
        """Let the next save overwrite what somebody else wrote; theirs is kept beside it, see `theirs`.

        Raises StorageError if this document has no file.
        """
        self._must_be_a_file()
        self._drop_next()
        self._over = True
        self.retry()

    def _must_be_a_file(self) -> None:
        if not self.path or self._map is None:
            raise CannotSaveError(Path(self.path or "."), "there is no map to be saved", "Nothing has to be done")

    def _drop_next(self) -> None:
        if self._next is not None and (self._job is None or self._job.file is not self._next):
            self._next.close()
        self._next = None

    def release(self) -> None:
        """Let go of the file. What was saved stays; a second call does nothing."""
        self._drop_next()
        if self._file is not None:
            self._file.close()

    # -- rescue -----------------------------------------------------------------------------------------------------

    def rescue(self, reason: str, *, folders: Sequence[Path] | None = None) -> Rescue:
        """Write an unsaved map where it can be found again: a map file like any other, in the first folder that takes it.

        `reason` is why it could not be saved, in a sentence. `folders`: the user's state folder, the temporary one and
        shared memory, if not given. Raises nothing: in the worst case the answers are in the lines.
        """
        if self._map is None or self.is_saved:
            return Rescue()
        refused: list[str] = []
        for folder in rescue_folders() if folders is None else folders:
            try:
                path = self.rescue_into(folder)
            except OSError as error:
                refused.append(f"{folder}: {error.strerror or error}")
            else:
                return Rescue(path, self.rescued_lines(reason, path))
        return Rescue(None, self.unsaved_lines(reason, refused))

    def rescue_into(self, folder: Path) -> Path:
        """Write the map as it is now into this folder, under a name that is free. Raises OSError; LookupError without a map."""
        disk = self._disk or Disk()
        stamp = "".join(c for c in self._now() if c.isalnum())
        content = Renderer().render(self.map, check=False)
        disk.make_folder(folder)
        return create_beside(disk, folder / Path(self.path).name, f"rescue-{stamp}", content)

    def rescued_lines(self, reason: str, path: Path) -> tuple[str, ...]:
        """Lines for the person about a copy that `rescue_into` wrote."""
        return (
            f"NOT SAVED in {self.path}: {reason}",
            f"The whole map, with every answer, is in {path}: open it there, or copy it back",
        )

    def unsaved_lines(self, reason: str, refused: Sequence[str]) -> tuple[str, ...]:
        """The unsaved answers themselves, where no folder took a copy; `refused`: why, folder by folder."""
        head = f"NOT SAVED in {self.path}: {reason}. No copy could be written either ({'; '.join(refused)})"
        return (head, "What was not saved:", *_answers(self._saved_map, self.map))


def _says_the_same(before: PlayfieldMap, after: PlayfieldMap) -> bool:
    """Whether nothing was changed but answers of unfinished rechecks, and where the walk goes on."""
    names = PlayfieldMap.model_fields.keys() - {"rechecks", "bookmark"}
    both = ((getattr(before, name), getattr(after, name)) for name in names)
    return all(one is other or one == other for one, other in both)


def _answers(before: PlayfieldMap | None, after: PlayfieldMap) -> tuple[str, ...]:
    """What `after` holds that `before` does not, so that it can be typed in again: every pixel, then the rest."""
    known = {} if before is None else {(chain_id, pixel.id): pixel for chain_id, _, pixel in before.walk_pixels()}
    lines: list[str] = []
    for chain in after.chains:
        for number, pixel in enumerate(chain.pixels):
            old = known.get((chain.id, pixel.id))
            if old != pixel and (old is not None or pixel.state is not PixelState.UNSEEN or pixel.note):
                lines.append(f"{chain.name} {shown_number(number)}: {pixel_fields_words(after, fields_of(pixel))}")
    if before is not None:
        rest = [change for change in diff(before, after) if change.what is not What.PIXEL]
        lines += change_lines(before, after, rest, most=_MOST_RESCUED_LINES)
    return tuple(lines)


def rescue_folders() -> tuple[Path, ...]:
    """Where a rescued map may go, in this order: the user's state folder, the temporary one, shared memory."""
    state = user_state_path("playfield-probe", appauthor=False)
    try:
        temporary = [Path(tempfile.gettempdir())]
    except OSError:  # none can be written to
        temporary = []
    return (state, *temporary, _SHARED_MEMORY)
