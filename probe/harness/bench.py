"""A batch on the bench, before it is fitted: its width and order of colours, whether all light, its current, a burn-in.

A task. It lights a loose strip or string on one output of the board, asks what is seen, takes two readings of the meter and
judges them, and keeps what came of it with the batch, dated. Width and order are found byte by byte, whatever the map says of
the chain: what the person sees is the answer.

Limits that come from no sheet are common practice, no source: a fuse of 1 A, a third to three times the catalogue's current,
half level for an hour. Which byte is which: SPEC 4.7; three bytes a pixel or four: pixels keep as many as they take (SPEC 15.1).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import Final

from pydantic import ValidationError

from device_protocol.current import current_ua
from device_protocol.values import Colour
from probe.cautions import Moment
from probe.document.model.harness import Batch, Judged, Metered
from probe.document.model.record import storable
from probe.document.outside_text import spaced
from probe.document.wiring import add_batch, batch_named, put
from probe.harness.base import PowerError
from probe.harness.pixels import PIXEL_KINDS, nominal_volt_of
from probe.harness.power_up import Judgement, bench_words, judge_ohms, read_value
from probe.task import effects as fx
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command, Means, change_rows
from probe.task.light import Dark, Light, OutputSetup, Pixels
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, Pane, TaskView

FUSE_MA: Final = 1_000
MOST_PIXELS: Final = 40
"""All red they draw 840 mA by the catalogue: below the fuse."""
SHOWN: Final = 96
"""Duty at which a colour is told apart and does not dazzle at arm's length."""
HALF: Final = 128
BURN_STEP_S: Final = 60.0
BURN_S: Final = 3_600.0
_COLOURS: Final = {"R": "red", "G": "green", "B": "blue", "W": "white"}
_BURN: Final = (Colour(HALF, HALF, HALF), Colour(HALF, 0, 0), Colour(0, HALF, 0), Colour(0, 0, HALF))
_BYTES: Final = (Colour(SHOWN, 0, 0), Colour(0, SHOWN, 0), Colour(0, 0, SHOWN), Colour(0, 0, 0, SHOWN))
"""The first byte of a pixel alone, the second, third, fourth, where the output is set up as RGB or RGBW."""


class BenchStage(Enum):
    """What is asked, in the order of danger."""

    NAME = auto()
    COUNT = auto()
    OHMS = auto()
    WIDTH = auto()
    BYTE = auto()
    ALL = auto()
    DARK_MA = auto()
    RED_MA = auto()
    BURN_IN = auto()
    TOUCH = auto()
    DONE = auto()


_TYPED: Final = {
    BenchStage.NAME: "Batch:",
    BenchStage.COUNT: f"Pixels on the bench, 1 to {MOST_PIXELS}:",
    BenchStage.OHMS: "Ohms, plus to ground:",
    BenchStage.DARK_MA: "mA, all dark:",
    BenchStage.RED_MA: "mA, all red:",
}
_ROWS_OF_STEPS: Final = 23
"""Rows in which all the steps stand whole in a pane of a large terminal."""
_ASKED: Final = {
    BenchStage.NAME: "Which batch is on the bench? Type its name, or take one that is noted. It is best written on the bag.",
    BenchStage.COUNT: "Loose pixels on short wires, a supply of their own with a fuse of 1 A in its plus, nothing of the game "
    "near. The chain that is fitted unplugged from this output; ground of supply and board joined. How many pixels?",
    BenchStage.OHMS: "Supply off and unplugged: ohms from plus to ground. Wait until it stands still. Type them, or `open`",
    BenchStage.WIDTH: "Supply on. One value is sent, the fourth. What lights? Smell, heat or a tick: unplug at once",
    BenchStage.BYTE: "",
    BenchStage.ALL: "All are sent the same dim white. Do all light, and alike?",
    BenchStage.DARK_MA: "Supply off, the meter in series with its plus, in the 10 A socket; supply on. Nothing is lit: how many mA?",
    BenchStage.RED_MA: "The same, with all of them full red",
    BenchStage.BURN_IN: "White, red, green and blue at half level, a minute each. Stay in the room. Enter ends it",
    BenchStage.TOUCH: "Now touch each, one finger, and look along them",
    BenchStage.DONE: "Kept with the batch. Supply off before anything is unplugged. Mark the bag with the batch's name",
}


@dataclass(frozen=True)
class NextOutput:
    """Another output of the board."""


BENCH: Final = (
    Command("bench.take", Means.DO, "Take", ev.Take(), shown=True),
    Command("bench.choose.1", Means.DOWN, "Next", ev.Choose(1)),
    Command("bench.choose.-1", Means.UP, "Before", ev.Choose(-1)),
    Command(
        "bench.output", Means.NEXT_KIND, "Next output", NextOutput(),
        shown=lambda s: s.stage is BenchStage.COUNT, when=lambda s: s.stage is BenchStage.COUNT,
    ),
    *change_rows("bench", again="Save and light again"),
    Command("bench.cautions", Means.MORE, "Cautions", se.ReadCautions(Moment.POWERING), shown=True, letter="c"),
    Command("bench.leave", Means.BACK, "Back", ev.Leave()),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Bench(TaskState):
    """`order`: letters found so far, byte by byte; `white`: whether a fourth byte lit the first pixel. `lit_s`: how long the
    burn-in was seen to be lit."""

    stage: BenchStage = BenchStage.NAME
    batch: str = ""
    count: int = 10
    output: int = 0
    white: bool = False
    order: str = ""
    dark_ma: float = 0.0
    typed: str = ""
    chosen: int = 0
    lit_s: float = 0.0
    flaw: str = ""
    """What was not as it should be, so far."""

    @property
    def record(self) -> Batch | None:
        """The batch on the bench, if it is still in the map."""
        return self.map.batch_by_id.get(self.batch)

    @property
    def kind_name(self) -> str:
        """The pixel kind that the map gives the batch, else its first chain."""
        record = self.record
        chip = record.chip if record is not None and record.chip is not None else None
        named = chip or (self.map.chains[0].chip if self.map.chains else "")
        return next((name for name in PIXEL_KINDS if name.lower() == named.lower()), "WS2812B")

    @property
    def letters(self) -> str:
        """Colours that may still come."""
        return "".join(c for c in ("RGBW" if self.white else "RGB") if c not in self.order)

    @property
    def items(self) -> tuple[str, ...]:
        """The answers there are."""
        match self.stage:
            case BenchStage.NAME:
                return tuple(spaced(batch.name) for batch in self.map.batches)
            case BenchStage.WIDTH:
                return (
                    "the second pixel, in a colour: three values for each pixel",
                    "the first pixel, white or a colour: four values for each pixel",
                    "nothing, or something else",
                )
            case BenchStage.BYTE:
                return (*(f"the first pixel, {_COLOURS[c]}" for c in self.letters), "nothing, or something else")
            case BenchStage.ALL:
                return ("all, and alike", "one or more dark", "one or more in another colour or much dimmer")
            case BenchStage.TOUCH:
                return ("all lit, none hot", "one is hot", "one went dark or changed its colour")
            case _:
                return ()


_N = Next[Bench]


class BenchTask(Task[Bench]):
    """One batch, from ohms to burn-in."""

    name = "bench"
    commands = BENCH
    read_first = Moment.POWERING
    ticks = True

    def step(self, s: Bench, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Typed(text) if s.stage in _TYPED:
                return replace(s, typed=text, message=""), ()
            case ev.Choose(by) if s.items:
                chosen = (s.chosen + by) % len(s.items)
                typed = s.items[chosen] if s.stage is BenchStage.NAME else s.typed
                return replace(s, chosen=chosen, typed=typed), ()
            case ev.TakeRow(row) if row < len(s.items) and s.stage not in _TYPED:
                return self._take(replace(s, chosen=row), "")
            case NextOutput() if s.stage is BenchStage.COUNT:
                outputs = s.board.identity.outputs if s.board.identity is not None else 1
                return replace(s, output=(s.output + 1) % outputs), ()
            case ev.Take(time):
                return self._take(s, time)
            case ev.Tick() if s.stage is BenchStage.BURN_IN and self.is_lit(s):
                return replace(s, lit_s=s.lit_s + 0.5), ()
            case ev.Leave() if s.stage not in (BenchStage.NAME, BenchStage.DONE):
                return _back(s), ()
            case _:
                return None

    def light(self, s: Bench) -> Light:
        """What the question needs: dark until ohms are known to be no short."""
        wide = "RGBW" if s.stage is BenchStage.WIDTH or s.white else "RGB"
        order = (
            s.order if s.stage in (BenchStage.ALL, BenchStage.RED_MA, BenchStage.BURN_IN, BenchStage.TOUCH) else wide
        )
        ceiling = FUSE_MA if s.board.identity is None else min(FUSE_MA, s.board.identity.ceiling_ma)
        setup = OutputSetup(s.count, order, ceiling, 300)
        match s.stage:
            case BenchStage.WIDTH:
                return Pixels.one(s.output, 0, _BYTES[3], setup=setup)
            case BenchStage.BYTE:
                return Pixels.one(s.output, 0, _BYTES[len(s.order)], setup=setup)
            case BenchStage.ALL:
                return Pixels.run(s.output, 0, s.count, Colour(SHOWN // 2, SHOWN // 2, SHOWN // 2), setup=setup)
            case BenchStage.RED_MA:
                return Pixels.run(s.output, 0, s.count, Colour(255, 0, 0), setup=setup)
            case BenchStage.BURN_IN:
                colour = _BURN[int(s.lit_s / BURN_STEP_S) % len(_BURN)]
                return Pixels.run(s.output, 0, s.count, colour, setup=setup)
            case BenchStage.TOUCH:
                return Pixels.run(s.output, 0, s.count, _BURN[0], setup=setup)
            case _:
                return Dark()

    def _take(self, s: Bench, time: str) -> _N:
        if not isinstance(self.light(s), Dark) and not self.is_lit(s):
            return replace(s, message="nothing is lit yet: an answer counts once the board has lit it"), (fx.Bell(),)
        try:
            return _answered(s, time)
        except PowerError as error:
            return replace(s, message=str(error)), (fx.Bell(),)

    def view(self, s: Bench) -> TaskView:
        """The question, its answers, what was found so far."""
        record = s.record
        asked = _ASKED[s.stage]
        if s.stage is BenchStage.BYTE:
            asked = f"Value {len(s.order) + 1} of the first pixel alone is sent. What lights?"
        if s.stage is BenchStage.BURN_IN:
            asked += f". Lit for {int(s.lit_s / 60)} of {int(BURN_S / 60)} minutes"
        volts = f"{nominal_volt_of(s.kind_name):g} V"
        found = [
            Line(f"output {s.output}, {s.count} pixels, computed as {s.kind_name} ({volts})", "dim"),
            *((Line(f"order {s.order}", "dim"),) if s.order else ()),
            *((Line(bench_words(record), wrap=True),) if record is not None and record.bench_pixels else ()),
        ]
        return TaskView(
            head=f"{s.map.machine.name} · bench test of a batch{f': {spaced(record.name)}' if record is not None else ''}",
            board=s.board.words,
            above=(Line(asked, "bold", wrap=True), Line("")),
            prompt=_TYPED.get(s.stage, ""),
            typed=s.typed if s.stage in _TYPED else None,
            items=tuple(Line(item) for item in s.items),
            chosen=min(s.chosen, max(0, len(s.items) - 1)),
            below=tuple(found),
            message="; ".join(word for word in (s.board.refused, s.message) if word),
            unsaved=s.unsaved,
            panes=lambda rows: tuple(_panes(s, rows)),
        )

    def where(self, s: Bench) -> object:
        """The stage."""
        return s.stage


def _panes(s: Bench, rows: int) -> Iterator[Pane]:
    """What was found so far, and the steps that follow, with what to heed; these only where no caution would be cut."""
    found = [
        *((Line(f"batch {spaced(s.record.name)}"),) if s.record is not None else ()),
        *((Line(f"{s.count} pixels on output {s.output}"),) if s.stage.value > BenchStage.COUNT.value else ()),
        *((Line("plus to ground: no short"),) if s.stage.value > BenchStage.OHMS.value else ()),
        *((Line("four values for each pixel" if s.white else "three values for each pixel"),) if s.order else ()),
        *((Line(f"order {s.order}"),) if s.order else ()),
        *((Line(f"{s.dark_ma:g} mA, all dark"),) if s.stage.value > BenchStage.DARK_MA.value else ()),
        *((Line(f"not as it should be: {spaced(s.flaw)}", "bold", wrap=True),) if s.flaw else ()),
    ]
    yield Pane("Found so far", tuple(found) or (Line("Nothing yet."),))
    later = [_ASKED[stage] for stage in BenchStage if stage.value > s.stage.value and _ASKED[stage]]
    if later and rows >= _ROWS_OF_STEPS:
        yield Pane("Then", tuple(Line(f"▸ {words}", wrap=True) for words in later))


def make(opened: Opened) -> tuple[BenchTask, Bench]:
    """The bench test; the facts may name a batch by its id."""
    assert opened.map is not None, "a batch belongs to a map"
    map_ = opened.map
    batch = map_.batch_by_id.get(opened.facts) if isinstance(opened.facts, str) else None
    output = map_.chains[0].output if map_.chains else 0
    named = batch or (map_.batches[-1] if map_.batches else None)
    at = map_.batches.index(named) if named is not None else 0
    return BenchTask(), Bench(map=map_, output=output, typed=spaced(named.name) if named is not None else "", chosen=at)


def _on(s: Bench, stage: BenchStage, message: str = "") -> Bench:
    typed = str(s.count) if stage is BenchStage.COUNT else ""
    return replace(s, stage=stage, typed=typed, chosen=0, message=message)


def _back(s: Bench) -> Bench:
    """One question back; its answer is asked again."""
    if s.stage is BenchStage.BYTE and s.order:
        return _on(replace(s, order=s.order[:-1]), BenchStage.BYTE)
    before = list(BenchStage)[list(BenchStage).index(s.stage) - 1]
    if before is BenchStage.BYTE:
        s = replace(s, order=s.order[:-2])
    return _on(replace(s, flaw="" if s.stage is BenchStage.DARK_MA else s.flaw), before)


def _answered(s: Bench, time: str) -> _N:
    match s.stage:
        case BenchStage.NAME:
            return _named(s)
        case BenchStage.COUNT:
            text = s.typed.strip()
            count = int(text) if text.isascii() and text.isdecimal() and len(text) < 6 else 0
            if not 1 <= count <= MOST_PIXELS:
                raise PowerError(f"{text[:20]!r} is not understood: a number of pixels, 1 to {MOST_PIXELS}.")
            identity = s.board.identity
            if identity is not None:
                figures = {"idle_ua": identity.idle_ua, "channel_ua": identity.channel_ua}
                need = current_ua(count=count, colour_sum=255 * count, **figures)
                if need > 1000 * min(FUSE_MA, identity.ceiling_ma):
                    raise PowerError(
                        f"this board's ceiling would dim {count} red pixels and spoil the reading: take fewer."
                    )
            return _on(replace(s, count=count), BenchStage.OHMS), ()
        case BenchStage.OHMS:
            found = judge_ohms(read_value(Metered.OHMS, s.typed))
            if found.judged is Judged.GOOD:
                return _on(s, BenchStage.WIDTH, found.why), ()
            return replace(s, typed="", message=f"{found.judged}: {found.why}"), (fx.Bell(),)
        case BenchStage.WIDTH:
            if s.chosen == 2:
                return replace(s, message=_NOTHING), (fx.Bell(),)
            return _on(replace(s, white=s.chosen == 1, order=""), BenchStage.BYTE), ()
        case BenchStage.BYTE:
            return _byte_seen(s)
        case BenchStage.ALL:
            return _on(replace(s, flaw="" if s.chosen == 0 else s.items[s.chosen]), BenchStage.DARK_MA), ()
        case BenchStage.DARK_MA:
            dark = read_value(Metered.DARK_MA, s.typed)
            assert dark is not None
            return _on(replace(s, dark_ma=dark), BenchStage.RED_MA), ()
        case BenchStage.RED_MA:
            return _current_read(s, time)
        case BenchStage.BURN_IN:
            return _on(s, BenchStage.TOUCH), ()
        case BenchStage.TOUCH:
            return _touched(s, time)
        case _:
            return s, (fx.Close(s.batch),)


_NOTHING = (
    "data goes into the end with the arrow pointing away; ground joined? volts at the first pixel? Mend it, then look again. "
    "A kind that this board's signal does not drive lights nothing"
)


def _named(s: Bench) -> _N:
    name = storable(s.typed).strip()
    if not name:
        raise PowerError("a batch needs a name: the one on its bag.")
    known = batch_named(s.map, name)
    if known is not None:
        return _on(replace(s, batch=known.id), BenchStage.COUNT), ()
    try:
        map_, batch = add_batch(s.map, name)
    except ValidationError:
        raise PowerError(f"{name[:20]!r} is no name for a batch: shorter, on one line.") from None
    return _on(replace(s, batch=batch.id), BenchStage.COUNT, "batch added"), (fx.Commit(map_, "batch added"),)


def _byte_seen(s: Bench) -> _N:
    if s.chosen == len(s.letters):
        return replace(s, message=_NOTHING), (fx.Bell(),)
    s = replace(s, order=s.order + s.letters[s.chosen])
    if len(s.letters) > 1:
        return _on(s, BenchStage.BYTE), ()
    s = replace(s, order=s.order + s.letters)
    made, effects = _keep(_on(s, BenchStage.ALL), bench_order=s.order, bench_pixels=s.count)
    expected = s.map.chains[0].order if s.map.chains else s.order
    unlike = "" if s.order == expected else f"; the chain {spaced(s.map.chains[0].name)} is set up as {expected}"
    return replace(made, message=f"order {s.order}{unlike}"), effects


def judge_current(kind_name: str, *, pixels: int, dark_ma: float, red_ma: float) -> Judgement:
    """What two readings of a batch mean against the catalogue's figures of a kind, for each pixel."""
    kind = PIXEL_KINDS[kind_name]
    if red_ma > FUSE_MA:
        return Judgement(Judged.STOP, f"above the fuse of {FUSE_MA / 1000:g} A: off and unplug; look for a short")
    if red_ma <= dark_ma:
        return Judgement(Judged.LOOK, "red draws no more than dark: is it lit, is the meter in the plus wire?")
    for what, each, listed in (
        ("dark", dark_ma / pixels, 1000 * kind.idle_a),
        ("red", (red_ma - dark_ma) / pixels, 1000 * kind.channel_a),
    ):
        if not listed / 3 <= each <= 3 * listed:
            return Judgement(
                Judged.LOOK, f"{what} is {each:.2g} mA a pixel, listed are {listed:.2g}: another kind of pixel?"
            )
    return Judgement(
        Judged.GOOD, f"{dark_ma / pixels:.2g} mA dark and {(red_ma - dark_ma) / pixels:.2g} mA for red, each pixel"
    )


def _current_read(s: Bench, time: str) -> _N:
    red = read_value(Metered.RED_MA, s.typed)
    assert red is not None
    found = judge_current(s.kind_name, pixels=s.count, dark_ma=s.dark_ma, red_ma=red)
    words = f"{found.judged}: {found.why}"
    kept = {"bench_dark_ma": s.dark_ma, "bench_red_ma": red, "bench_on": time[:10], "bench_judged": found.judged}
    if found.judged is Judged.STOP:
        made, effects = _keep(replace(s, stage=BenchStage.OHMS, typed="", message=words), **kept, bench_flaw=found.why)
        return made, (*effects, fx.Bell())
    flaw = _with_flaw(s, found.why if found.judged is Judged.LOOK else "")
    s = replace(_on(s, BenchStage.BURN_IN, words), flaw=flaw, lit_s=0.0)
    return _keep(s, **kept | {"bench_judged": Judged.LOOK if flaw else Judged.GOOD, "bench_flaw": flaw})


def _touched(s: Bench, time: str) -> _N:
    flaw = _with_flaw(s, "" if s.chosen == 0 else s.items[s.chosen])
    judged = Judged.STOP if s.chosen == 1 else Judged.LOOK if flaw else Judged.GOOD
    minutes = int(s.lit_s / 60)
    done, effects = _keep(
        _on(s, BenchStage.DONE), bench_minutes=minutes, bench_judged=judged, bench_flaw=flaw, bench_on=time[:10]
    )
    advice = {
        Judged.GOOD: "good: fit them",
        Judged.LOOK: "look: take out what differs, or keep the batch apart",
        Judged.STOP: "stop: off and unplug; do not fit what gets hot",
    }[judged]
    return replace(done, message=f"{advice}{'' if not flaw else f' ({flaw})'}"), effects


def _with_flaw(s: Bench, more: str) -> str:
    return "; ".join(part for part in (s.flaw, more) if part)


def _keep(s: Bench, **fields: object) -> _N:
    """The result with the batch, in the map."""
    record = s.record
    if record is None:
        raise PowerError("this batch is no longer in the map: begin again.")
    made = Batch.model_validate(record.model_dump() | {k: v for k, v in fields.items() if v != "" or k == "bench_flaw"})
    return s, (fx.Commit(put(s.map, made), f"bench test of {spaced(record.name)}"),)
