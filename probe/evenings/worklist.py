"""The worklist: all that is left, by "before power / power on / game on" and by area, so that one pose serves many.

Computed from the map, its plan and its harness; a person adds lines and ticks off. A computed line that was ticked off is open
again once what it was computed from has changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from pydantic import ValidationError

from probe.document.local_time import local_minute
from probe.document.model import PlayfieldMap
from probe.document.model.evenings import WorkMoment
from probe.document.model.record import MAX_TEXT
from probe.document.needs import Need, WorkItem, open_items, take_out_line, tick, worklist, write_line
from probe.document.plural import many
from probe.harness.checks import Weight
from probe.harness.from_map import compute
from probe.harness.joints import JointSeverity, sheet_rows
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means, change_rows
from probe.task.light import AsBelow, Light
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.task.views import MARK_SIGN, Line, Row, RowsView, Spot, in_hand

COLUMNS = ("", "When", "Area", "What")


@dataclass(frozen=True)
class AddLine:
    """Begin to write a line of one's own."""


@dataclass(frozen=True)
class TickOff:
    """Tick the line in hand off, or open it again. `time`: now, RFC 3339 UTC."""

    time: str = ""


@dataclass(frozen=True)
class RemoveLine:
    """Take a line of one's own out."""


@dataclass(frozen=True)
class ChooseLine:
    """A certain row."""

    at: int


def _writing(s: Worklist) -> bool:
    return s.typed is not None


def _listing(s: Worklist) -> bool:
    return s.typed is None


COMMANDS = (
    Command("worklist.take", Means.DO, "Do it", ev.Take(), shown=_listing, when=_listing),
    Command("worklist.keep", Means.DO, "Keep the line", ev.Take(), shown=_writing, when=_writing),
    Command("worklist.tick", Means.AS_WELL, "Tick off", TickOff(), shown=_listing, when=_listing),
    Command("worklist.add", Means.ADD, "Add a line", AddLine(), shown=_listing, when=_listing),
    Command("worklist.choose.1", Means.DOWN, "Next line, or moment", ev.Choose(1), when=_writing),
    Command("worklist.choose.-1", Means.UP, "Line or moment before", ev.Choose(-1), when=_writing),
    Command("worklist.remove", Means.TAKE_OUT, "Take my line out", RemoveLine()),
    *change_rows("worklist"),
    Command("worklist.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)


def harness_needs(map_: PlayfieldMap) -> Iterator[Need]:
    """What the power plan and the joints leave to mend; nothing where nobody noted any of them."""
    noted = map_.feeds or map_.supplies or map_.power is not None
    for finding in compute(map_).findings if noted and map_.chains else ():
        if finding.weight is Weight.NOTE:
            continue
        yield Need(
            "power",
            f"Mend the power plan at {finding.where}",
            finding.text,
            moment=WorkMoment.BEFORE_POWER,
            key=f"power {finding.code} {finding.where}"[:MAX_TEXT],
        )
    for chain in map_.chains:
        if not (map_.batches or chain.joints):
            continue
        for row in sheet_rows(map_, chain):
            worst = [problem for problem in row.problems if problem.severity is JointSeverity.REFUSE]
            if not worst:
                continue
            place = map_.place_of(chain.pixels[row.number])
            yield Need(
                "harness",
                f"Mend the joint {row.ends} of {chain.name}",
                "; ".join(problem.text for problem in worst),
                chain.id,
                row.number,
                moment=WorkMoment.BEFORE_POWER,
                area=place.area if place is not None else "",
                key=f"wires {chain.id} {chain.pixels[row.number].id}",
            )


def all_left(map_: PlayfieldMap) -> tuple[WorkItem, ...]:
    """Every line of a map's worklist. Computes its power plan."""
    return worklist(map_, harness_needs(map_))


def item_data(item: WorkItem) -> dict[str, Any]:
    """A line as JSON."""
    need = item.need
    return {
        "moment": need.moment.value,
        "area": need.area,
        "what": need.words,
        "more": need.detail,
        "task": need.task,
        "chain": need.chain,
        "number": need.number,
        "own": item.own,
        "done": item.done,
    }


def summary(items: tuple[WorkItem, ...]) -> str:
    """How many lines are left, by moment."""
    left = open_items(items)
    counts = [(moment, sum(item.need.moment is moment for item in left)) for moment in WorkMoment]
    parts = ", ".join(f"{count} {moment.value}" for moment, count in counts if count)
    return f"{many(len(left), 'line')} left" + (f": {parts}" if parts else "")


@dataclass(frozen=True, eq=False)
class _List:
    """The lines of one map, computed once however often they are drawn."""

    map: PlayfieldMap

    @cached_property
    def items(self) -> tuple[WorkItem, ...]:
        return all_left(self.map)


@dataclass(frozen=True, kw_only=True)
class Worklist(TaskState):
    """The state. `typed`: the line being written, None while none is; `moment` is the one it is for."""

    listed: _List
    at: int = 0
    typed: str | None = None
    moment: WorkMoment = WorkMoment.BEFORE_POWER

    @property
    def items(self) -> tuple[WorkItem, ...]:
        """All lines."""
        return self.listed.items

    @property
    def item(self) -> WorkItem | None:
        """The one in hand."""
        return self.items[min(self.at, len(self.items) - 1)] if self.items else None


_N = Next[Worklist]


class WorklistTask(Task[Worklist]):
    """What is left."""

    name = "worklist"
    commands = COMMANDS

    def step(self, s: Worklist, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Choose(by) if s.typed is not None:
                moments = tuple(WorkMoment)
                return replace(s, moment=moments[(moments.index(s.moment) + by) % len(moments)]), ()
            case ev.Choose(by):
                return _at(s, s.at + by), ()
            case ChooseLine(at):
                return _at(s, at), ()
            case AddLine():
                moment = s.item.need.moment if s.item is not None else s.moment
                return replace(s, typed="", moment=moment, message=""), ()
            case ev.Typed(text) if s.typed is not None:
                return replace(s, typed=text, message=""), ()
            case ev.Take():
                return _do(s) if s.typed is None else _keep(s, s.typed)
            case TickOff(time):
                return _tick(s, time)
            case RemoveLine():
                return _remove(s)
            case ev.GoOpen(task):
                return s, (fx.Open(task, _where(s)),)
            case ev.TaskClosed():
                return _at(s, s.at), ()
            case ev.Leave() if s.typed is not None:
                return replace(s, typed=None, message=""), ()
            case _:
                return None

    def seen(self, s: Worklist, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> Worklist:
        """With the lines of the map as it is now."""
        s = super().seen(s, map_, board, unsaved)
        return s if s.listed.map is s.map else replace(s, listed=_List(s.map))

    def light(self, s: Worklist) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: Worklist) -> RowsView:
        """The lines; below them all of the one in hand."""
        item = s.item
        beside: tuple[Line, ...] = (Line("Nothing is left. F7 adds a line of your own."),)
        if item is not None:
            ticked = f"ticked off {local_minute(item.done)}" if item.done else ""
            mine = "your own line" if item.own is not None else ""
            more = " · ".join(part for part in (item.need.detail, ticked, mine) if part)
            beside = (Line(item.need.words, "bold", wrap=True), Line(more, wrap=True))
        return RowsView(
            f"{s.map.machine.name} · worklist",
            COLUMNS,
            tuple(Row(at, _cells(item), "dim" if item.done else "") for at, item in enumerate(s.items)),
            board=s.board.words,
            at=min(s.at, max(0, len(s.items) - 1)),
            prompt="To do:" if s.typed is not None else "",
            typed=s.typed,
            items=tuple(Line(moment.value) for moment in WorkMoment) if s.typed is not None else (),
            chosen=tuple(WorkMoment).index(s.moment),
            beside=beside,
            message=s.message,
            unsaved=s.unsaved,
            progress=f" {summary(s.items)}",
            choose=lambda key: ChooseLine(key),  # type: ignore[arg-type]
            spots=_spots(s),
        )

    def where(self, s: Worklist) -> object:
        """The row in hand."""
        return s.at


def make(opened: Opened) -> tuple[WorklistTask, Worklist]:
    """The worklist of the open map."""
    assert opened.map is not None, "the worklist is opened with a map"
    return WorklistTask(), Worklist(map=opened.map, listed=_List(opened.map))


def _at(s: Worklist, at: int) -> Worklist:
    return replace(s, at=max(0, min(len(s.items) - 1, at)))


def _cells(item: WorkItem) -> tuple[str, ...]:
    need = item.need
    return ("✓" if item.done else "☐", need.moment.value, need.area, need.words)


def _spots(s: Worklist) -> tuple[Spot, ...]:
    """Where the line in hand is to be done: the place of its pixel, else every place of its area."""
    need = s.item.need if s.item is not None else Need("", "")
    if need.chain in s.map.chain_by_id and need.number is not None:
        return in_hand(s.map.place_at(s.map.chain(need.chain), need.number))
    places = [place for place in s.map.places if need.area and place.area == need.area]
    return tuple(Spot(place.position, MARK_SIGN, "mark") for place in places if place.position is not None)


def _where(s: Worklist) -> tuple[str, int]:
    """Chain and pixel that the line in hand is about; the beginning of the first chain if it is about none."""
    need = s.item.need if s.item is not None else Need("", "")
    chain = need.chain if need.chain in s.map.chain_by_id else s.map.chains[0].id if s.map.chains else ""
    return chain or "", need.number or 0


def _do(s: Worklist) -> _N:
    """The task of the line in hand, over the list; the walk lies below it."""
    if s.item is None or not s.item.need.task:
        return replace(s, message="this is done by hand: Space ticks it off"), (fx.Bell(),)
    if s.item.need.task == "walk":
        return s, (fx.Close(_where(s)),)
    chain, number = _where(s)
    missing = s.item.need.task == "plan" and s.item.need.number is None
    return replace(s, message=""), (fx.Open(s.item.need.task, (chain, "splice" if missing else number)),)


def _changed(s: Worklist, map_: PlayfieldMap, words: str) -> _N:
    return _at(replace(s, map=map_, listed=_List(map_), message=words), s.at), (fx.Commit(map_, words),)


def _keep(s: Worklist, text: str) -> _N:
    if not text.strip():
        return replace(s, typed=None, message=""), ()
    area = s.item.need.area if s.item is not None else ""
    try:
        map_ = write_line(s.map, text, moment=s.moment, area=area)
    except ValidationError:
        return replace(s, message=f"a line has at most {MAX_TEXT} characters"), (fx.Bell(),)
    return _changed(replace(s, typed=None), map_, f"kept: {text.strip()[:60]}")


def _tick(s: Worklist, time: str) -> _N:
    if s.item is None:
        return s, (fx.Bell(),)
    words = f"{'open again' if s.item.done else 'ticked off'}: {s.item.need.words[:60]}; Ctrl+Z takes it back"
    return _changed(s, tick(s.map, s.item, time=time), words)


def _remove(s: Worklist) -> _N:
    if s.item is None or s.item.own is None:
        return replace(s, message="only a line of your own can be taken out; Space ticks this one off"), (fx.Bell(),)
    return _changed(s, take_out_line(s.map, s.item.own), f"taken out: {s.item.need.words[:60]}; Ctrl+Z brings it back")
