"""Looking through a map's revisions: what each changed, what differs between any two, and back to one of them.

An activity: frozen state, pure step. Nothing is ever taken out of the history: going back is a revision too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

from probe.document.diff import ConflictError, diff
from probe.document.model import PlayfieldMap, Revision
from probe.document.revisions import (
    NoRevisionError,
    at_revision,
    back_to,
    last_redoable,
    last_undoable,
    session_closed,
    session_reason,
    undo,
)
from probe.document.telling import told
from probe.task.steps import BoardView, Effect, News, NotSaved, RingBell, Saved, SaveMap, board_view

NOW = -1
"""In the place of a revision's number: the map as it is, changes of the open session included."""
MOST_LINES = 2_000


@dataclass(frozen=True)
class Choose:
    """Another line of the list."""

    by: int


@dataclass(frozen=True)
class Mark:
    """Compare with this one from now on, or with the one before again."""


@dataclass(frozen=True)
class GoBack:
    """Back to the chosen one; asked for twice. `time`: RFC 3339 UTC text."""

    time: str


@dataclass(frozen=True)
class Travel:
    """Undo the last revision that holds, or with `redo` do the last undone one again."""

    time: str
    redo: bool = False


@dataclass(frozen=True)
class Retry:
    """Save again."""


Key = Choose | Mark | GoBack | Travel | Retry
_Next = tuple["History", tuple[Effect, ...]]


@dataclass(frozen=True)
class Line:
    """One line of the list. `number`: of a revision, 0 for before the first one, or NOW."""

    number: int
    time: str
    reason: str
    summary: str


@dataclass(frozen=True)
class History:
    """The state. `marked`: the number to compare with; `asked`: the number that going back to was asked for once."""

    map: PlayfieldMap
    at: int = 0
    marked: int | None = None
    asked: int | None = None
    message: str = ""
    unsaved: str = ""
    board: BoardView = field(default_factory=BoardView)

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """The open session if there is one, then the revisions, the last one first, then the map before them."""
        m = self.map
        found = [Line(r.number, r.time, r.reason, _summary(r)) for r in reversed(m.revisions)]
        if m.pending:
            count = len(m.pending)
            records = f"{count} record{'' if count == 1 else 's'}"
            found.insert(0, Line(NOW, "", f"{session_reason(m)} (open session)", records))
        return (*found, Line(0, "", "Before the first revision", ""))

    @property
    def line(self) -> Line:
        """The chosen line."""
        return self.lines[min(self.at, len(self.lines) - 1)]

    @property
    def pair(self) -> tuple[int, int]:
        """The numbers compared, the older one first."""
        here = self.line.number
        if self.marked is not None and self.marked != here:
            ranks = {line.number: rank for rank, line in enumerate(self.lines)}
            older, newer = sorted((self.marked, here), key=lambda number: -ranks[number])
            return older, newer
        below = self.lines[min(self.at + 1, len(self.lines) - 1)]
        return below.number, here

    @cached_property
    def told(self) -> tuple[str, ...]:
        """What differs between the two, line by line; or why that cannot be said."""
        older, newer = self.pair
        if older == newer:
            return ()
        revision = next((r for r in self.map.revisions if r.number == newer), None)
        if revision is not None and not revision.diff and self.marked is None:
            return (*revision.changes, "(this revision says only this much)")
        try:
            before, after = _map_at(self.map, older), _map_at(self.map, newer)
        except NoRevisionError as error:
            return (str(error),)
        return told(before, after, diff(before, after), most=MOST_LINES) or ("No difference.",)


def _summary(revision: Revision) -> str:
    """What a revision changed, short enough for a list."""
    if not revision.changes:
        return ""
    more = len(revision.changes) - 1
    return revision.changes[0] + (f" (+{more})" if more else "")


def _map_at(m: PlayfieldMap, number: int) -> PlayfieldMap:
    return m if number == NOW else at_revision(m, number)


def pair_words(state: History) -> str:
    """What is compared, as a heading."""
    older, newer = state.pair
    if older == newer:
        return "There is nothing before this"
    names = {NOW: "now", 0: "before the first revision"}
    before, after = (names.get(number, f"revision {number}") for number in (older, newer))
    return f"From {before} to {after}"


def start(m: PlayfieldMap) -> History:
    """The last line chosen, nothing marked."""
    return History(m)


def step(state: History, given: Key | News, now_s: float) -> _Next:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Choose(by):
            at = max(0, min(len(state.lines) - 1, state.at + by))
            return replace(state, at=at, asked=None, message=""), ()
        case Mark():
            number = state.line.number
            return replace(state, marked=None if state.marked == number else number, asked=None, message=""), ()
        case GoBack(time):
            return _go_back(state, time)
        case Travel(time, redo):
            return _travel(state, time, redo=redo)
        case Retry():
            return replace(state, message=""), (SaveMap(state.map),)
        case Saved():
            return replace(state, unsaved=""), ()
        case NotSaved(why):
            return replace(state, unsaved=why), (RingBell(),)
        case _:
            board = board_view(state.board, given)
            return (state if board is state.board else replace(state, board=board)), ()


def _go_back(state: History, time: str) -> _Next:
    number = state.line.number
    if number == NOW or (number and number == state.map.revisions[-1].number and not state.map.pending):
        return replace(state, message="this is what the map says now"), ()
    if state.asked != number:
        where = f"revision {number}" if number else "before the first revision"
        words = f"Enter once more: the map as it was at {where}, as a new revision."
        return replace(state, asked=number, message=words), ()
    closed = session_closed(state.map, time=time)
    return _changed(state, closed, lambda m: back_to(m, number, time=time), same="the map says the same already")


def _travel(state: History, time: str, *, redo: bool) -> _Next:
    closed = session_closed(state.map, time=time)
    if (last_redoable if redo else last_undoable)(closed) is None:
        words = "nothing was undone that could be done again" if redo else "there is no revision that can be undone"
        return replace(state, message=words), (RingBell(),)
    return _changed(state, closed, lambda m: undo(m, time=time, redo=redo), same="")


def _changed(
    state: History, closed: PlayfieldMap, change: Callable[[PlayfieldMap], PlayfieldMap], *, same: str
) -> _Next:
    """Change the map with its session closed; if that cannot be, the session stays open."""
    try:
        m = change(closed)
    except (NoRevisionError, ConflictError) as error:
        return replace(state, asked=None, message=str(error)), (RingBell(),)
    if m is closed:
        return replace(state, asked=None, message=same), ()
    words = m.revisions[-1].reason
    return replace(state, map=m, at=0, marked=None, asked=None, message=words), (SaveMap(m),)
