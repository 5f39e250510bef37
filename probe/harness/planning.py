"""Planning power and keeping the harness sheet: tasks on one state. Only the first power-up lights anything.

The power plan and the harness sheet are one visit, whichever comes first: the other one lies over it, and the menu goes back and
forth. A joint and the batches lie over the sheet. What all of them changed is one revision.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import ClassVar

from probe.cautions import Moment
from probe.document.local_time import local_date
from probe.document.model import PlayfieldMap, shown_number
from probe.document.model.harness import Fixing, Metered, MeterReading
from probe.document.outside_text import spaced
from probe.document.plural import many
from probe.harness import entries as en
from probe.harness.base import PowerError
from probe.harness.entries import Key, PlanEntry
from probe.harness.from_map import MapPower, compute
from probe.harness.joints import JointSeverity, JointSide, SheetRow, sheet_rows
from probe.harness.plan import LoadState
from probe.harness.planning_keys import (
    BATCH,
    HARNESS,
    JOINT,
    POWER,
    POWER_UP,
    LineUse,
    NextFlag,
    NextJoint,
    NextLoad,
    OpenBatches,
    OpenLine,
    PickEntry,
    PickJoint,
    PlanNextChain,
    RemoveEntry,
    StepEntry,
)
from probe.harness.power_up import (
    OFF,
    STAGES,
    UNITS,
    barred,
    bench_words,
    holds,
    judge,
    last_readings,
    note,
    stage_light,
    why_barred,
)
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Dark, Light
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.task.views import FigureRow, FormEntry, FormView, Line, Pane, Row, RowsView, Spot, in_hand

LOADS = (LoadState.CEILING, LoadState.TYPICAL, LoadState.FULL_WHITE)
_MOST_NAME = 24
_COLUMNS = ("Joint", "State", "plus/ground/data out", "plus/ground/data in", "mm", "Held", "Made", "Batches")
_READ_FIRST = "Unplugged at the wall, charge drained, pixel supply off? F5, C says all cautions."
_POWERED = "The machine stays unplugged. Smell, heat, ticking: pixel supply off and unplugged at once. F5, C says all cautions."
_BATCHES = (
    "Pixels bought together have one colour code. Another batch may have another one: that is normal, and colours join "
    "nothing here.",
    "Find out with a meter and by the arrow printed on the pixel which wire does what. Do not trust the colours.",
    "F7 adds a batch. Back in the sheet, F5, B says which pixels are of it.",
)


# -- the state ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Figures:
    """What follows from one map, computed at first use, once however often it is drawn."""

    map: PlayfieldMap
    _rows: dict[str, tuple[SheetRow, ...]] = field(default_factory=dict)

    @cached_property
    def power(self) -> MapPower:
        """The plan and its figures."""
        return compute(self.map)

    @cached_property
    def report(self) -> tuple[Line, ...]:
        """The figures in words."""
        from probe.harness.words import power_sections

        return tuple(line for part in power_sections(self.power) for line in _titled(part.title, part.lines))

    def rows(self, chain: str) -> tuple[SheetRow, ...]:
        """The joints of a chain."""
        if chain not in self._rows:
            self._rows[chain] = sheet_rows(self.map, self.map.chain(chain))
        return self._rows[chain]


@dataclass(frozen=True)
class TypingIn:
    """The open line: its words, the map that comes of a text (with the entry that was made), the message then.

    `offered`: the text stood there made visible, since it cannot be shown as it is; left like that it stays as it was.
    """

    prompt: str
    meant: Callable[[PlayfieldMap, str], tuple[PlayfieldMap, Key | None]]
    text: str = ""
    hint: str = ""
    words: str = ""
    select: bool = True
    offered: str = ""


@dataclass(frozen=True, kw_only=True)
class PlanningState(TaskState):
    """`at` is the key of the entry in hand, `row` where it stood; `number` the joint in hand. `over`: another of these
    tasks lies below, and goes on when this one is left."""

    chain: str
    figures: Figures
    load: LoadState = LoadState.CEILING
    at: Key | None = None
    row: int = 0
    number: int = 0
    line: TypingIn | None = None
    over: bool = False


@dataclass(frozen=True)
class PlanningFacts:
    """Opened over another of these tasks: the chain and the joint in hand."""

    chain: str
    number: int = 0


@dataclass(frozen=True)
class PlanningLeft:
    """Where the person is now. `all`: back to where the visit began, not to the task below."""

    chain: str
    number: int
    all: bool = False


def _titled(title: str, lines: tuple[str, ...]) -> list[Line]:
    return [Line(title, "bold"), *(Line(line, wrap=True) for line in lines), Line("")]


def _short(name: str) -> str:
    return name if len(name) <= _MOST_NAME else name[: _MOST_NAME - 1] + "…"


# -- the step that all four share ---------------------------------------------------------------------------------------


class PlanningTask(Task[PlanningState]):
    """What the four have in common: entries, the line to type in, chains, and the way back."""

    other: ClassVar[str] = ""
    """The task on the other side of the visit."""

    def entries(self, s: PlanningState) -> tuple[PlanEntry, ...]:
        """What can be changed here."""
        del s
        return ()

    def in_hand(self, s: PlanningState) -> PlanEntry | None:
        """The entry in hand; the one that stands in its place where it is gone."""
        found = self.entries(s)
        keyed = [entry for entry in found if entry.key is not None]
        here = next((entry for entry in keyed if entry.key == s.at), None)
        return here or next((e for e in found[s.row :] if e.key is not None), keyed[0] if keyed else None)

    def seen(self, s: PlanningState, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> PlanningState:
        """With the figures of the map as it is now; on its first chain if its own is gone."""
        s = super().seen(s, map_, board, unsaved)
        if s.figures.map is s.map:
            return s
        chain = s.chain if s.chain in s.map.chain_by_id or not s.map.chains else s.map.chains[0].id
        return replace(s, figures=Figures(s.map), chain=chain)

    def step(self, s: PlanningState, event: object, now_s: float) -> Next[PlanningState] | None:
        """The state after an event, and what is to be done. A refused entry changes nothing but the message."""
        try:
            return self._step(s, event)
        except PowerError as error:
            return replace(s, message=str(error)), (fx.Bell(),)

    def _step(self, s: PlanningState, event: object) -> Next[PlanningState] | None:
        match event:
            case PickEntry(Key() as key):
                return self._at(s, key), ()
            case ev.Typed(text) if s.line is not None:
                return replace(s, line=replace(s.line, text=text)), ()
            case ev.Take() if s.line is not None:
                return self._entered(s, s.line)
            case ev.Take():
                return self._open(s)
            case ev.Leave() if s.line is not None:
                return replace(s, line=None), ()
            case ev.Leave() if s.over:
                return s, (fx.Close(PlanningLeft(s.chain, s.number, all=bool(self.other))),)
            case StepEntry(by, key):
                key = key if isinstance(key, Key) else self._key(s)
                return (s, ()) if key is None else self._became(s, en.step(s.map, key, by))
            case RemoveEntry(key):
                key = key if isinstance(key, Key) else self._key(s)
                words = "taken out: Ctrl+Z brings it back"
                return (s, ()) if key is None else self._became(s, en.remove(s.map, key), words=words)
            case OpenLine(asked):
                return self._asked(s, asked), ()
            case PlanNextChain():
                names = [chain.id for chain in s.map.chains]
                chain = names[(names.index(s.chain) + 1) % len(names)]
                words = "" if len(names) > 1 else "there is one chain"
                number = s.number if chain == s.chain else 0
                return replace(s, chain=chain, number=number, message=words), ()
            case NextLoad():
                load = LOADS[(LOADS.index(s.load) + 1) % len(LOADS)]
                return replace(s, load=load, message=f"shown: {load}"), ()
            case ev.GoOpen(self.other) if s.over:
                return s, (fx.Close(PlanningLeft(s.chain, s.number)),)
            case ev.GoOpen("faults"):
                return replace(s, message=""), (fx.Open("faults", (s.chain,)),)
            case ev.GoOpen(task):
                return replace(s, message=""), (fx.Open(task, PlanningFacts(s.chain, s.number)),)
            case ev.TaskClosed(result=PlanningLeft(chain, number, all_)):
                s = replace(s, chain=chain, number=number, message="")
                if not all_:
                    return s, ()
                return s, (fx.Close(PlanningLeft(chain, number, all=True) if s.over else None),)
            case _:
                return None

    def _key(self, s: PlanningState) -> Key | None:
        entry = self.in_hand(s)
        return entry.key if entry is not None else None

    def _at(self, s: PlanningState, key: Key) -> PlanningState:
        keys = [entry.key for entry in self.entries(s)]
        return replace(s, at=key, row=keys.index(key)) if key in keys else s

    def _open(self, s: PlanningState) -> Next[PlanningState]:
        """The line for the entry in hand."""
        entry = self.in_hand(s)
        if entry is None or entry.key is None:
            return s, ()
        key = entry.key
        line = TypingIn(entry.label, lambda map_, text: (en.change(map_, key, text), None), entry.typed, entry.hint)
        return self._typing(self._at(s, key), line), ()

    def _typing(self, s: PlanningState, line: TypingIn) -> PlanningState:
        shown = spaced(line.text)
        offered = shown if shown != line.text else ""
        hint = line.hint if line.text else ""
        return replace(s, line=replace(line, text=shown, offered=offered), message=hint)

    def _asked(self, s: PlanningState, asked: LineUse) -> PlanningState:
        match asked:
            case LineUse.FEED:
                from probe.harness.words import suggestion_line

                best = s.figures.power.suggestion
                made = s.figures.power.made
                here = best is not None and made is not None and best.chain == made.chain_names.get(s.chain)
                line = TypingIn(
                    "Feed at pixel",
                    lambda map_, text: en.new_feed(map_, s.chain, text),
                    str(best.pixel) if best is not None and here else "",
                    suggestion_line(s.figures.power) if here else "the pixel's number, from 0",
                    "feed added: say where from",
                )
            case LineUse.SUPPLY:
                hint = "such as: supply in the cabinet"
                line = TypingIn("Supply's name", en.new_supply, "", hint, "supply added: enter its rating")
            case LineUse.LEVELS:
                line = TypingIn(
                    "Pixels and level of their places",
                    lambda map_, text: (en.set_levels(map_, s.chain, text), None),
                    "",
                    "14 128, or 10-20 64, or all 200; - forgets",
                    "levels noted",
                )
            case LineUse.BATCH:
                added = "batch added: enter the colours of its wires"
                line = TypingIn("Batch's name", en.new_batch, "", "such as: first reel", added)
            case LineUse.BATCH_OF_PIXELS:
                line = TypingIn(
                    "Batch of pixels",
                    lambda map_, text: (en.set_batch(map_, s.chain, text), None),
                    f"{s.number} ",
                    "pixels and batch: 14 second reel, or 10-20 second reel, or all first reel; - takes it away",
                    "batch noted",
                    select=False,
                )
        return self._typing(s, line)

    def _entered(self, s: PlanningState, line: TypingIn) -> Next[PlanningState]:
        if line.offered and line.text == line.offered:
            return replace(s, line=None, message=""), ()
        map_, made = line.meant(s.map, line.text)
        return self._became(replace(s, line=None), map_, made, line.words)

    def _became(
        self, s: PlanningState, map_: PlayfieldMap, made: Key | None = None, words: str = ""
    ) -> Next[PlanningState]:
        s = replace(s, message=words)
        if map_ == s.map:
            return s, ()
        entry = self.in_hand(s)
        if entry is not None and entry.key is not None:
            s = self._at(s, entry.key)
        if made is not None:
            s = self._at(replace(s, map=map_, figures=Figures(map_)), made)
        return s, (fx.Commit(map_),)

    # -- what is to be seen ---------------------------------------------------------------------------------------------

    def _head(self, s: PlanningState, what: str) -> str:
        chains = s.map.chains
        chain = s.map.chain(s.chain)
        at = f" · {chains.index(chain) + 1} of {len(chains)} (F6)" if len(chains) > 1 else ""
        return f"{what} · {_short(chain.name)}{at}"

    def form(
        self,
        s: PlanningState,
        head: str,
        text: tuple[Line, ...],
        figure: Callable[..., tuple[FigureRow, ...]] | None = None,
    ) -> FormView:
        """The entries at the left, a text at the right."""
        line = s.line
        return FormView(
            head,
            tuple(FormEntry(e.key, e.label, e.value, e.assumed, e.hint) for e in self.entries(s)),
            at=self._key(s),
            figure=figure,
            text=text,
            prompt=f"{line.prompt}:" if line is not None else "",
            typed=line.text if line is not None else None,
            hint=line.hint if line is not None else "",
            select=line is not None and line.select,
            message=s.message,
            unsaved=s.unsaved,
            choose=PickEntry,
        )


# -- the power plan -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Curve:
    """Voltage along a chain as rows of characters."""

    figures: Figures
    chain: str
    load: LoadState

    def __call__(self, width: int, height: int, *, plain_ascii: bool) -> tuple[FigureRow, ...]:
        """`height` rows, `width` cells wide; one row that says why there is no picture."""
        from probe.harness.picture import AXIS_WIDTH, picture, profile_of, thinned

        made = self.figures.power.made
        name = "" if made is None else made.chain_names.get(self.chain, "")
        try:
            profile = thinned(profile_of(self.figures.power, name, self.load), columns=width - AXIS_WIDTH)
            drawn = picture(profile, width=width, height=height, ascii_only=plain_ascii)
        except (PowerError, ValueError) as error:
            return (((f"no picture: {error}", ""),),)
        return tuple(tuple((span.text, span.role.value) for span in row) for row in drawn.rows)


class PowerTask(PlanningTask):
    """Plan the power of one chain at a time: voltage along it, what can be changed, and what it comes to, live."""

    name = "power"
    commands = POWER
    read_first = Moment.PLANNING
    other = "harness"

    def entries(self, s: PlanningState) -> tuple[PlanEntry, ...]:
        """Everything that bears on the power of the chain."""
        return en.power_entries(s.map, s.chain)

    def view(self, s: PlanningState) -> FormView:
        """The curve above, the figures at the right."""
        from probe.harness.words import verdict

        head = f"{self._head(s, 'Power')} · {verdict(s.figures.power)}"
        return self.form(s, head, s.figures.report, Curve(s.figures, s.chain, s.load))


# -- first power-up -----------------------------------------------------------------------------------------------------


class PowerUpTask(PlanningTask):
    """First power-up of one chain, in stages: what to measure, the reading typed, what it means. Where a board is connected it
    lights what the stage needs: the first pixel, the last, all red, all as the ceiling lets them."""

    name = "power_up"
    commands = POWER_UP
    read_first = Moment.OPENING

    def entries(self, s: PlanningState) -> tuple[PlanEntry, ...]:
        """One entry for each stage, with its last reading."""
        found = last_readings(s.map, s.chain)
        return tuple(
            PlanEntry(
                what.value,
                _reading_words(found.get(what)),
                Key(MeterReading, s.chain, what.value),
                hint=f"a number in {UNITS[what]}",
            )
            for what in Metered
        )

    def _stage(self, s: PlanningState) -> Metered:
        key = self._key(s)
        return Metered(key.field) if key is not None else Metered.POLARITY

    def _open(self, s: PlanningState) -> Next[PlanningState]:
        what = self._stage(s)
        stopped = barred(s.map, s.chain, what)
        if stopped is not None:
            raise PowerError(why_barred(stopped))
        line = TypingIn(what.value, lambda map_, text: (map_, None), "", f"a number in {UNITS[what]}")
        return self._typing(self._at(s, Key(MeterReading, s.chain, what.value)), line), ()

    def _step(self, s: PlanningState, event: object) -> Next[PlanningState] | None:
        match event:
            case ev.Take(time) if s.line is not None:
                what = self._stage(s)
                map_, words = note(s.map, s.figures.power, s.chain, what, s.line.text, time)
                order = list(Metered)
                stopped = holds(map_.meter[-1])
                following = what if stopped else order[min(order.index(what) + 1, len(order) - 1)]
                s = self._at(replace(s, line=None), Key(MeterReading, s.chain, following.value))
                return replace(s, message=words), (
                    fx.Commit(map_, f"{what.value}: {words}"),
                    *((fx.Bell(),) if stopped else ()),
                )
            case StepEntry() | RemoveEntry():
                return s, ()
            case _:
                return super()._step(s, event)

    def light(self, s: PlanningState) -> Light:
        """What the stage in hand needs."""
        return stage_light(s.map, s.chain, self._stage(s), s.board.identity)[0]

    def view(self, s: PlanningState) -> FormView:
        """What to do at this stage, and what is lit for it."""
        what = self._stage(s)
        wanted, why = stage_light(s.map, s.chain, what, s.board.identity)
        if isinstance(wanted, Dark):
            lit = why or "Nothing is lit."
        elif not s.board.here:
            lit = "No board: light it by hand, or connect one."
        else:
            lit = "Lit now." if self.is_lit(s) else s.board.refused or "Not lit yet."
        text = (
            Line(lit, "bold", wrap=True),
            Line(_READ_FIRST if what in OFF else _POWERED, "bold", wrap=True),
            Line(""),
            *_titled(what.value, (STAGES[what],)),
            *self._last_reading(s, what),
            *_titled(
                "A batch on the bench",
                ("Each new batch is tested loose, before it is fitted: Bench test in the menu.",),
            ),
        )
        return replace(self.form(s, self._head(s, "First power-up"), text), panes=tuple(self._panes(s, what)))

    def _panes(self, s: PlanningState, what: Metered) -> Iterator[Pane]:
        """What was read so far, and what comes after the stage in hand, each with its caution."""
        found = last_readings(s.map, s.chain)
        read = [
            Line(f"{stage.value}: {_reading_words(found[stage])}", note=local_date(found[stage].time), wrap=True)
            for stage in Metered
            if stage in found
        ]
        yield Pane("Read so far", tuple(read) or (Line("Nothing yet: the first stage comes first."),))
        later = list(Metered)[list(Metered).index(what) + 1 :]
        if later:
            lines = [
                line for stage in later for line in (Line(stage.value, "bold"), Line(f"  {STAGES[stage]}", wrap=True))
            ]
            yield Pane("Then", (Line(_POWERED, "bold", wrap=True), *lines))

    def _last_reading(self, s: PlanningState, what: Metered) -> list[Line]:
        """The last reading of a stage: when, and what it means by the plan as it is now."""
        reading = last_readings(s.map, s.chain).get(what)
        if reading is None:
            return []
        try:
            now = judge(s.figures.power, s.chain, what, reading.value)
            means = now.why if now.judged is reading.judged else f"by the plan as it is now {now.judged}: {now.why}"
        except PowerError as error:
            means = str(error)
        return _titled(f"Measured {local_date(reading.time)}".strip(), (f"{_reading_words(reading)}; {means}",))


def _reading_words(reading: MeterReading | None) -> str:
    """Short enough for the list: the reading's day and what it means stand beside it."""
    if reading is None:
        return "not measured"
    value = "open" if reading.value is None else f"{reading.value:g} {UNITS[reading.what]}"
    return f"{reading.judged}: {value}"


# -- the harness sheet --------------------------------------------------------------------------------------------------


def _colours(side: JointSide) -> str:
    return "/".join(wire.colour or "?" for wire in side.wires)


def _joint_lines(row: SheetRow) -> tuple[Line, ...]:
    """What to join, and what is wrong."""
    refused = [p.text for p in row.problems if p.severity is JointSeverity.REFUSE]
    asked = [p.text for p in row.problems if p.severity is not JointSeverity.REFUSE]
    return (
        *(Line(f"REFUSED: {text}", "bold reverse", wrap=True) for text in refused),
        *(Line(line, wrap=True) for line in row.joining),
        *(Line(f"ask: {text}", wrap=True) for text in asked),
    )


def _row(number: int, row: SheetRow) -> Row:
    view = row.view
    batches = list(dict.fromkeys(side.batch for side in (view.leaving, view.arriving) if side.batch))
    cells = (
        row.ends,
        row.flag,
        _colours(view.leaving),
        _colours(view.arriving),
        "" if view.length_m is None else f"{view.length_m * 1000:g}",
        "" if view.fixing is Fixing.UNKNOWN else view.fixing.value,
        view.made_on,
        " > ".join(batches),
    )
    return Row(number, tuple(_short(cell) for cell in cells), "bold reverse" if row.refused else "", styled=1)


class HarnessTask(PlanningTask):
    """The sheet of one chain: every joint by wire function, what is wrong with it, and its colours."""

    name = "harness"
    commands = HARNESS
    read_first = Moment.OPENING
    other = "power"

    def _step(self, s: PlanningState, event: object) -> Next[PlanningState] | None:
        rows = s.figures.rows(s.chain)
        match event:
            case ev.Take() if s.line is None:
                return (s, (fx.Open("joint", PlanningFacts(s.chain, s.number)),)) if rows else (s, ())
            case PickJoint(number):
                return replace(s, number=number), ()
            case OpenBatches():
                return replace(s, message=""), (fx.Open("batch", PlanningFacts(s.chain, s.number)),)
            case NextFlag():
                order = [*range(s.number + 1, len(rows)), *range(min(s.number + 1, len(rows)))]
                found = next((at for at in order if rows[at].refused), None)
                if found is None:
                    found = next((at for at in order if rows[at].problems), None)
                if found is None:
                    return s, (fx.Notify("Every joint joins like to like, and all is noted."),)
                return replace(s, number=found), ()
            case _:
                return super()._step(s, event)

    def view(self, s: PlanningState) -> RowsView:
        """The joints, and the one in hand in words."""
        rows = s.figures.rows(s.chain)
        refused = sum(row.refused for row in rows)
        ask = sum(bool(row.problems) and not row.refused for row in rows)
        line = s.line
        return RowsView(
            f"{self._head(s, 'Harness')} · {many(len(rows), 'joint')} · {refused} refused · {ask} to ask",
            _COLUMNS,
            tuple(_row(number, row) for number, row in enumerate(rows)),
            at=s.number,
            prompt=f"{line.prompt}:" if line is not None else "",
            typed=line.text if line is not None else None,
            beside=self._beside(s, rows),
            message=s.message,
            unsaved=s.unsaved,
            choose=lambda key: PickJoint(key),  # type: ignore[arg-type]
            spots=self._spots(s, rows),
        )

    @staticmethod
    def _spots(s: PlanningState, rows: tuple[SheetRow, ...]) -> tuple[Spot, ...]:
        return in_hand(s.map.place_at(s.map.chain(s.chain), rows[s.number].number)) if 0 <= s.number < len(rows) else ()

    @staticmethod
    def _beside(s: PlanningState, rows: tuple[SheetRow, ...]) -> tuple[Line, ...]:
        if not 0 <= s.number < len(rows):
            return (Line("This chain has no pixels in the map yet: walk it first, or enter its count."),)
        row = rows[s.number]
        place = s.map.place_of(s.map.chain(s.chain).pixels[row.number])
        title = f"joint {row.ends}" + (f" · at pixel {shown_number(row.number)}, {place.label}" if place else "")
        if row.view.note:
            title += f" · {row.view.note}"
        return (Line(title, "bold", wrap=True), *_joint_lines(row))


class JointTask(PlanningTask):
    """One joint: what to join to what, and everything noted of it."""

    name = "joint"
    commands = JOINT
    own_revision = False

    def entries(self, s: PlanningState) -> tuple[PlanEntry, ...]:
        """Everything noted of the joint."""
        return en.joint_entries(s.map, s.chain, s.number) if s.map.chain(s.chain).pixels else ()

    def seen(self, s: PlanningState, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> PlanningState:
        """At a joint that there is."""
        s = super().seen(s, map_, board, unsaved)
        number = max(0, min(s.number, len(s.map.chain(s.chain).pixels) - 1))
        return s if number == s.number else replace(s, number=number)

    def _step(self, s: PlanningState, event: object) -> Next[PlanningState] | None:
        match event:
            case NextJoint(by):
                count = len(s.map.chain(s.chain).pixels)
                number = min(count - 1, max(0, s.number + by))
                at = replace(s.at, number=number) if s.at is not None else None
                return replace(s, number=number, at=at, line=None, message=""), ()
            case _:
                return super()._step(s, event)

    def view(self, s: PlanningState) -> FormView:
        """What to join in which order, and the colours."""
        chain = s.map.chain(s.chain)
        if not chain.pixels:
            return self.form(s, f"Joint of {chain.name}", ())
        row = s.figures.rows(s.chain)[s.number]
        place = s.map.place_of(chain.pixels[s.number])
        head = f"Joint {row.ends} of {chain.name} · {row.flag}" + (f" · {place.label}" if place else "")
        batches = [side.batch or "batch not noted" for side in (row.view.leaving, row.view.arriving)]
        colours = (
            f"leaving ({batches[0]}): {_colours(row.view.leaving)}",
            f"arriving ({batches[1]}): {_colours(row.view.arriving)}",
        )
        text = (
            Line(_READ_FIRST, "bold", wrap=True),
            Line(""),
            *_titled("Join, in this order", ()),
            *_joint_lines(row),
            Line(""),
            *_titled("Colours, which join nothing", colours),
        )
        return self.form(s, head, text)


class BatchTask(PlanningTask):
    """Batches of pixels and the colours of their wires."""

    name = "batch"
    commands = BATCH
    own_revision = False

    def entries(self, s: PlanningState) -> tuple[PlanEntry, ...]:
        """The colour codes."""
        return en.batch_entries(s.map)

    def _step(self, s: PlanningState, event: object) -> Next[PlanningState] | None:
        match event:
            case ev.GoOpen("bench"):
                key = self._key(s)
                return replace(s, message=""), (fx.Open("bench", key.id if key is not None else None),)
            case _:
                return super()._step(s, event)

    def view(self, s: PlanningState) -> FormView:
        """What colours are worth."""
        head = "Batches of pixels and the colours of their wires"
        tested = tuple(f"{spaced(batch.name)}: {bench_words(batch) or 'not yet'}" for batch in s.map.batches)
        text = (*_titled("Colours are only names", _BATCHES), *_titled("On the bench", tested))
        return self.form(s, head, text)


# -- opening ------------------------------------------------------------------------------------------------------------


class _PowerOver(PowerTask):
    own_revision = False


class _HarnessOver(HarnessTask):
    own_revision = False


def _start(opened: Opened) -> PlanningState:
    map_ = opened.map
    if map_ is None or not map_.chains:
        raise ValueError("this map has no chain yet: set one up first")
    match opened.facts:
        case PlanningFacts(chain, number):
            over = True
        case (str() as chain, int() as number):
            over = False
        case _:
            chain, number, over = "", 0, False
    chain = chain if chain in map_.chain_by_id else map_.chains[0].id
    return PlanningState(map=map_, chain=chain, number=number, over=over, figures=Figures(map_))


def make_power(opened: Opened) -> tuple[PlanningTask, PlanningState]:
    """The power plan, beginning with a chain. Raises ValueError for a map without chains."""
    state = _start(opened)
    return (_PowerOver() if state.over else PowerTask()), state


def make_power_up(opened: Opened) -> tuple[PlanningTask, PlanningState]:
    """The first power-up of a chain. Raises ValueError for a map without chains."""
    return PowerUpTask(), _start(opened)


def make_harness(opened: Opened) -> tuple[PlanningTask, PlanningState]:
    """The sheet of a chain, at a joint. Raises ValueError for a map without chains."""
    state = _start(opened)
    return (_HarnessOver() if state.over else HarnessTask()), state


def make_joint(opened: Opened) -> tuple[PlanningTask, PlanningState]:
    """One joint, over the sheet."""
    return JointTask(), replace(_start(opened), over=True)


def make_batch(opened: Opened) -> tuple[PlanningTask, PlanningState]:
    """The batches, over the sheet."""
    return BatchTask(), replace(_start(opened), over=True)
