"""The log of evenings: what was done, how long, what was left then. Computed from the map's revisions and dated records.

An evening is what lies less than `PAUSE_H` hours apart. Time spent is from its first dated record to its last: what came before
the first answer was saved is not known, so that it is "at least".
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from probe.document.local_time import local_date, moment_of
from probe.document.model import PlayfieldMap, Revision
from probe.document.needs import WorkItem, open_items, worklist
from probe.document.plural import many
from probe.document.revisions import NoRevisionError, at_revision
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means
from probe.task.light import AsBelow, Light
from probe.task.screen import Details
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.task.views import Line, Pane, Row, RowsView

PAUSE_H = 5
"""A longer pause ends an evening. Own choice, no source."""
_MOST_LEFT = 12
COLUMNS = ("Evening", "Time", "Done", "Left then")


@dataclass(frozen=True)
class Evening:
    """One evening. `day` is that of its first record, in the computer's time zone; `minutes` are those spent at least;
    `left` is None where a map of then is not known.
    """

    day: str
    minutes: int
    revisions: tuple[Revision, ...]
    proved: int
    readings: int
    left: tuple[WorkItem, ...] | None

    @property
    def done(self) -> tuple[str, ...]:
        """What was done, a line each."""
        lines = [revision.reason for revision in self.revisions]
        lines += [f"{many(self.proved, 'lamp')} looked at in the game"] if self.proved else []
        lines += [f"{many(self.readings, 'reading')} of evenness"] if self.readings else []
        return tuple(lines)

    @property
    def date(self) -> str:
        """Its day as screens and papers show dates."""
        return local_date(self.day)

    @property
    def time(self) -> str:
        """Time spent in words."""
        return _duration(self.minutes)


def _duration(minutes: int) -> str:
    if not minutes:
        return "time not known"  # nothing but one moment was saved
    return f"{minutes // 60} h {minutes % 60:02d}" if minutes >= 60 else f"{minutes} min"


def _at_least(minutes: int) -> str:
    return f"{_duration(minutes)} at least" if minutes else _duration(0)


def evenings(map_: PlayfieldMap) -> tuple[Evening, ...]:
    """Every evening, the first one first. Records whose time is no date are passed over."""
    dated: list[tuple[datetime, str, object]] = []
    for kind, records in (("revision", map_.revisions), ("proof", map_.proofs), ("reading", map_.readings)):
        for record in records:
            when = moment_of(record.time, zone=UTC)
            if when is not None:
                dated.append((when, kind, record))
    dated.sort(key=lambda entry: entry[0])
    runs: list[list[tuple[datetime, str, object]]] = []
    for entry in dated:
        if runs and entry[0] - runs[-1][-1][0] < timedelta(hours=PAUSE_H):
            runs[-1].append(entry)
        else:
            runs.append([entry])
    return tuple(_evening(map_, run) for run in runs)


def _evening(map_: PlayfieldMap, run: list[tuple[datetime, str, object]]) -> Evening:
    revisions = tuple(record for _, _, record in run if isinstance(record, Revision))
    kinds = [kind for _, kind, _ in run]
    left: tuple[WorkItem, ...] | None = None
    if revisions:
        try:
            left = open_items(worklist(at_revision(map_, revisions[-1].number)))
        except NoRevisionError:
            left = None
    first = run[0][0]
    spent = run[-1][0] - first
    return Evening(
        day=(moment_of(first.isoformat()) or first).strftime("%Y-%m-%d"),
        minutes=round(spent.total_seconds() / 60),
        revisions=revisions,
        proved=kinds.count("proof"),
        readings=kinds.count("reading"),
        left=left,
    )


def evening_data(evening: Evening) -> dict[str, Any]:
    """An evening as JSON."""
    return {
        "day": evening.day,
        "minutes_at_least": evening.minutes,
        "done": list(evening.done),
        "revisions": [revision.number for revision in evening.revisions],
        "left": None if evening.left is None else [item.need.words for item in evening.left],
    }


def evening_lines(evening: Evening) -> Iterator[str]:
    """An evening in lines, as the page and the command say it."""
    yield f"{evening.date}, {_at_least(evening.minutes)}"
    yield from (f"  {line}" for line in evening.done)
    if evening.left is None:
        return
    yield f"  left then: {many(len(evening.left), 'line')}"
    yield from (f"    {item.need.words}" for item in evening.left[:_MOST_LEFT])
    if len(evening.left) > _MOST_LEFT:
        yield f"    and {len(evening.left) - _MOST_LEFT} more"


@dataclass(frozen=True)
class ChooseEvening:
    """A certain row."""

    at: int


COMMANDS = (
    Command("log.details", Means.DO, "All of it", Details(), shown=True),
    Command("log.revisions", Means.MORE, "Revisions", ev.GoOpen("revisions"), shown=True),
    Command("log.retry", Means.AGAIN, "Save again", ev.Retry()),
    Command("log.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)


@dataclass(frozen=True, eq=False)
class _Log:
    map: PlayfieldMap

    @cached_property
    def evenings(self) -> tuple[Evening, ...]:
        return tuple(reversed(evenings(self.map)))


@dataclass(frozen=True, kw_only=True)
class EveningLog(TaskState):
    """The state. The last evening comes first."""

    log: _Log
    at: int = 0


class LogTask(Task[EveningLog]):
    """What was done, evening by evening."""

    name = "log"
    commands = COMMANDS
    own_revision = False

    def step(self, s: EveningLog, event: object, now_s: float) -> Next[EveningLog] | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Choose(by):
                return _at(s, s.at + by), ()
            case ChooseEvening(at):
                return _at(s, at), ()
            case ev.GoOpen(task):
                return s, (fx.Open(task),)
            case ev.TaskClosed() | ev.MapChanged():
                return _at(s, s.at), ()
            case _:
                return None

    def seen(self, s: EveningLog, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> EveningLog:
        """With the evenings of the map as it is now."""
        s = super().seen(s, map_, board, unsaved)
        return s if s.log.map is s.map else replace(s, log=_Log(s.map))

    def light(self, s: EveningLog) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: EveningLog) -> RowsView:
        """The evenings; below them all of the one in hand."""
        listed = s.log.evenings
        here = listed[min(s.at, len(listed) - 1)] if listed else None
        lines = tuple(evening_lines(here)) if here is not None else ("No evening is in this map yet.",)
        total = sum(evening.minutes for evening in listed)
        return RowsView(
            f"{s.map.machine.name} · log of evenings",
            COLUMNS,
            tuple(Row(at, _cells(evening)) for at, evening in enumerate(listed)),
            board=s.board.words,
            at=min(s.at, max(0, len(listed) - 1)),
            beside=tuple(Line(line) for line in lines[:3]),
            details=tuple(Line(line) for line in lines),
            message=s.message,
            unsaved=s.unsaved,
            progress=f" {many(len(listed), 'evening')}, {_at_least(total)}",
            choose=lambda key: ChooseEvening(key),  # type: ignore[arg-type]
            panes=tuple(_panes(here)) if here is not None else (),
        )

    def where(self, s: EveningLog) -> object:
        """The row in hand."""
        return s.at


def _panes(evening: Evening) -> Iterator[Pane]:
    """What was changed that evening, revision by revision, and what was left then."""
    lines = []
    for revision in evening.revisions:
        lines.append(Line(f"{revision.number}  {revision.reason}", "bold", wrap=True))
        lines += [Line(f"   {words}", wrap=True) for words in revision.changes]
    yield Pane("Done that evening", tuple(lines) or tuple(Line(words, wrap=True) for words in evening.done))
    if evening.left:
        yield Pane("Left then", tuple(Line(item.need.words, wrap=True) for item in evening.left))


def make(opened: Opened) -> tuple[LogTask, EveningLog]:
    """The log of the open map."""
    assert opened.map is not None, "the log is opened with a map"
    return LogTask(), EveningLog(map=opened.map, log=_Log(opened.map))


def _at(s: EveningLog, at: int) -> EveningLog:
    return replace(s, at=max(0, min(len(s.log.evenings) - 1, at)))


def _cells(evening: Evening) -> tuple[str, ...]:
    left = "not known" if evening.left is None else str(len(evening.left))
    return (evening.date, evening.time, "; ".join(evening.done), left)
