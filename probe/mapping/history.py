"""Looking through a map's revisions: what each changed, what differs between any two, and back to one of them.

A task. Nothing is ever taken out of the history: going back is a revision too.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

from probe.document.change_words import change_lines
from probe.document.diff import ConflictError, diff
from probe.document.local_time import local_minute
from probe.document.model import Place, PlayfieldMap, Revision
from probe.document.plural import many
from probe.document.revisions import (
    NoRevisionError,
    at_revision,
    back_to,
    changed_in,
    last_redoable,
    last_undoable,
    session_closed,
    session_reason,
    undo,
    verified_count,
)
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means
from probe.task.screen import ReadOn
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, Pane, PictureView, TaskView, in_hand

NOW = -1
"""In the place of a revision's number: the map as it is, changes of the open session included."""
MOST_LINES = 2_000


@dataclass(frozen=True)
class Mark:
    """Compare with this one from now on, or with the one before again."""


@dataclass(frozen=True)
class Travel:
    """Undo the last revision that holds, or with `redo` do the last undone one again."""

    time: str = ""
    redo: bool = False


_Next = Next["History"]

COMMANDS = (
    Command("revisions.go_back", Means.DO, "Go back to this revision", ev.Take(), shown=True, short="Go back to it"),
    Command("revisions.mark", Means.AS_WELL, "Compare", Mark(), shown=True),
    Command("revisions.choose.1", Means.DOWN, "The revision before", ev.Choose(1)),
    Command("revisions.choose.-1", Means.UP, "The revision after", ev.Choose(-1)),
    Command("revisions.read.1", Means.ONWARD, "Read on", ReadOn(1)),
    Command("revisions.read.-1", Means.BEFORE, "Read back", ReadOn(-1)),
    Command("revisions.undo", Means.UNDO, "Undo", Travel(), shown=True),
    Command("revisions.redo", Means.REDO, "Redo", Travel(redo=True)),
    Command("revisions.retry", Means.AGAIN, "Save again", ev.Retry()),
    Command("revisions.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)


@dataclass(frozen=True)
class RevisionLine:
    """One line of the list. `number`: of a revision, 0 for before the first one, or NOW."""

    number: int
    time: str
    reason: str
    summary: str


@dataclass(frozen=True, kw_only=True)
class History(TaskState):
    """The state. `marked`: the number to compare with; `asked`: the number that going back to was asked for once."""

    at: int = 0
    marked: int | None = None
    asked: int | None = None

    @cached_property
    def lines(self) -> tuple[RevisionLine, ...]:
        """The open session if there is one, then the revisions, the last one first, then the map before them."""
        map_ = self.map
        found = [RevisionLine(r.number, r.time, r.reason, _summary(r)) for r in reversed(map_.revisions)]
        if map_.pending:
            count = len(map_.pending)
            records = many(count, "record")
            found.insert(0, RevisionLine(NOW, "", f"{session_reason(map_)} (open session)", records))
        return (*found, RevisionLine(0, "", "Before the first revision", ""))

    @property
    def line(self) -> RevisionLine:
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
    def two(self) -> tuple[PlayfieldMap, PlayfieldMap] | str:
        """The two maps compared, the older one first; or why they are not known."""
        older, newer = self.pair
        try:
            return _map_at(self.map, older), _map_at(self.map, newer)
        except NoRevisionError as error:
            return str(error)

    @cached_property
    def differences(self) -> tuple[str, ...]:
        """What differs between the two, line by line; or why that is not known."""
        older, newer = self.pair
        if older == newer:
            return ()
        revision = next((r for r in self.map.revisions if r.number == newer), None)
        if revision is not None and not revision.diff and self.marked is None:
            return (*revision.changes, "(More was not written down with this revision.)")
        if isinstance(self.two, str):
            return (self.two,)
        before, after = self.two
        return change_lines(before, after, diff(before, after), most=MOST_LINES) or ("No difference.",)

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """The places that are new or different in the newer of the two, or whose pixels are.

        A revision that is kept in words only: those that the words name.
        """
        if not isinstance(self.two, str):
            return changed_places(*self.two)
        _, newer = self.pair
        words = " ".join(r for revision in self.map.revisions if revision.number == newer for r in revision.changes)
        return tuple(p for p in self.map.places if re.search(rf"(?<!\w){re.escape(p.label)}(?!\w)", words))


def changed_places(before: PlayfieldMap, after: PlayfieldMap) -> tuple[Place, ...]:
    """The places of `after` that are new or different, or whose pixels are."""
    pixels = {pixel.id: pixel for chain in before.chains for pixel in chain.pixels}
    touched = {p.place for chain in after.chains for p in chain.pixels if pixels.get(p.id) != p}
    return tuple(p for p in after.places if p.id in touched or before.place_by_id.get(p.id) != p)


def _summary(revision: Revision) -> str:
    """What a revision changed, short enough for a list."""
    if not revision.changes:
        return ""
    more = len(revision.changes) - 1
    return revision.changes[0] + (f" (+{more})" if more else "")


def _map_at(map_: PlayfieldMap, number: int) -> PlayfieldMap:
    return map_ if number == NOW else at_revision(map_, number)


def pair_words(state: History) -> str:
    """What is compared, as a heading."""
    older, newer = state.pair
    if older == newer:
        return "There is nothing before this"
    names = {NOW: "now", 0: "before the first revision"}
    before, after = (names.get(number, f"revision {number}") for number in (older, newer))
    return f"From {before} to {after}"


class HistoryTask(Task[History]):
    """The list of revisions, what differs between two, and back to one."""

    name = "revisions"
    commands = COMMANDS
    own_revision = False

    def step(self, s: History, event: object, now_s: float) -> _Next | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Choose(by):
                at = max(0, min(len(s.lines) - 1, s.at + by))
                return replace(s, at=at, asked=None, message=""), ()
            case Mark():
                number = s.line.number
                return replace(s, marked=None if s.marked == number else number, asked=None, message=""), ()
            case ev.Take(time):
                return _go_back(s, time)
            case Travel(time, redo):
                return _travel(s, time, redo=redo)
            case _:
                return None

    def view(self, s: History) -> TaskView:
        """The list above, what differs below."""
        return TaskView(
            head=f"{s.map.machine.name} · revisions",
            board=s.board.words,
            items=tuple(_row(s, line) for line in s.lines),
            chosen=min(s.at, len(s.lines) - 1),
            details=(Line(pair_words(s), "bold"), *(Line(f"  {words}") for words in s.differences)),
            long=True,
            message=s.message,
            unsaved=s.unsaved,
            progress=_verified(s.map),
            picture=PictureView(
                tuple(spot for place in s.places for spot in in_hand(place)),
                roomy=True,
                seen_on_request=True,
                title=f"Places that changed: {len(s.places)}",
            ),
            panes=lambda _: _panes(s),
        )


def _row(s: History, line: RevisionLine) -> Line:
    number = {NOW: "now", 0: ""}.get(line.number, str(line.number))
    when = local_minute(line.time) if line.time else ""
    words = line.reason + (f" · {line.summary}" if line.summary else "")
    return Line(f"{number:>4}  {when:<18}  {words}", lead="◂ " if line.number == s.marked else "")


def _panes(s: History) -> tuple[Pane, ...]:
    if not s.places:
        return ()
    lines = tuple(Line(place.label, note=place.area) for place in s.places)
    return (Pane("Places that changed", lines),)


def _verified(map_: PlayfieldMap) -> str:
    words = []
    for chain in map_.chains:
        changed = changed_in(map_, chain.id)
        since = f" since revision {changed}" if changed else ""
        words.append(f"{chain.name}: {verified_count(map_, chain)} of {len(chain.pixels)} verified{since}")
    return f" {' · '.join(words)}"


def make(opened: Opened) -> tuple[HistoryTask, History]:
    """The last line chosen, nothing marked."""
    assert opened.map is not None, "revisions are opened with a map"
    return HistoryTask(), History(map=opened.map)


def _go_back(state: History, time: str) -> _Next:
    number = state.line.number
    if number == NOW or (number and number == state.map.revisions[-1].number and not state.map.pending):
        return replace(state, message="this is what the map says now"), ()
    if state.asked != number:
        where = f"revision {number}" if number else "before the first revision"
        words = f"Enter once more: the map as it was at {where}, as a new revision."
        return replace(state, asked=number, message=words), ()
    closed = session_closed(state.map, time=time)
    return _changed(state, closed, lambda map_: back_to(map_, number, time=time), same="the map says the same already")


def _travel(state: History, time: str, *, redo: bool) -> _Next:
    closed = session_closed(state.map, time=time)
    if (last_redoable if redo else last_undoable)(closed) is None:
        words = "nothing was undone that could be done again" if redo else "there is no revision that can be undone"
        return replace(state, message=words), (fx.Bell(),)
    return _changed(state, closed, lambda map_: undo(map_, time=time, redo=redo), same="")


def _changed(
    state: History, closed: PlayfieldMap, change: Callable[[PlayfieldMap], PlayfieldMap], *, same: str
) -> _Next:
    """Change the map with its session closed; if that cannot be, the session stays open."""
    try:
        map_ = change(closed)
    except (NoRevisionError, ConflictError) as error:
        return replace(state, asked=None, message=str(error)), (fx.Bell(),)
    if map_ is closed:
        return replace(state, asked=None, message=same), ()
    words = map_.revisions[-1].reason
    return replace(state, map=map_, at=0, marked=None, asked=None, message=words), (fx.Commit(map_, words),)
