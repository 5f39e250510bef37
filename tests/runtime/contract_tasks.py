"""The tasks that the contract is run over: how each is opened, and events that make it light and change the map."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from probe.document.model import Chain, Kind, PlayfieldMap, Position
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, update_place
from probe.runtime.runtime import Maker, Runtime

Events = Callable[[Runtime, Callable[[], Any]], Iterator[object]]


@dataclass(frozen=True)
class Played:
    """`events` gives what a person does, one event after another, looking at the state; `moves` are keys that only move the light.

    `lights`: how many orders that may light something it gives at least. `dark`: it lights nothing at all, and only
    changes the map. `changes_map`: whether it changes the map at all.
    `wired`: the map that the board is wired as, if it is not the task's own.
    `undoes_map`: whether undo in it goes over changes of the map (else over answers that it keeps to itself).
    """

    name: str
    map: Callable[[], PlayfieldMap]
    makers: Callable[[], Mapping[str, Maker]]
    events: Events
    facts: Callable[[PlayfieldMap], object] = lambda map_: None
    moves: tuple[object, ...] = ()
    lights: int = 2
    dark: bool = False
    changes_map: bool = True
    undoes_map: bool = True
    wired: Callable[[], PlayfieldMap] | None = None


def two_chains() -> PlayfieldMap:
    """Six pixels on output 0 of which three are named, four on output 1."""
    map_ = new_map("Kelp Forest")
    for output, (name, count) in enumerate([("playfield", 6), ("backbox", 4)]):
        map_ = set_count(add_chain(map_, Chain(id=name, name=name.title(), output=output)), name, count)
    for number in range(3):
        map_, place = add_place(map_, f"Reef lane {number + 1}", position=Position(x_mm=100 + 50 * number, y_mm=300))
        map_ = assign_place(map_, "playfield", number, place.id)
    return map_


def _walk() -> Played:
    from probe.mapping.walk import make
    from probe.mapping.walk_keys import GoTo, Move, Say
    from probe.mapping.walk_state import OneKey
    from probe.task.events import Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield GoTo(3, "playfield")
        yield Typed("Otter")
        yield Take()
        yield Say(OneKey.NOTHING_LIT)
        yield GoTo(0, "backbox")
        yield Typed("Eel")
        yield Take()

    return Played("walk", two_chains, lambda: {"walk": make}, events, moves=(Move(1), Move(1), Move(-1)))


def _recheck() -> Played:
    from probe.recheck.keys import Quick, SayQuick
    from probe.recheck.state import RecheckStage
    from probe.recheck.task import RecheckFacts, make
    from probe.task.events import ChangeLevel, Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Typed("1 new after Reef lane 2")
        yield Take("2026-03-01T19:30:00Z")
        yield Take("2026-03-01T19:30:00Z")
        for _ in range(3):  # each counts once its question is lit
            s = state()
            unnamed = s.stage is RecheckStage.PROBE and s.naming
            if unnamed:
                yield Typed("Otter")
            yield Take("2026-03-01T19:30:00Z") if unnamed else SayQuick(Quick.NOT_SURE)

    levels = (ChangeLevel(1), ChangeLevel(1), ChangeLevel(-1))
    facts = RecheckFacts("playfield")
    return Played("recheck", two_chains, lambda: {"recheck": make}, events, lambda _: facts, levels, undoes_map=False)


def _find() -> Played:
    from probe.recheck.find import make
    from probe.recheck.keys import Quick, SayColour, SayQuick
    from probe.task.events import ChangeLevel

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield SayQuick(Quick.NOT_SURE)
        yield SayColour(1)
        yield SayColour(0)

    levels = (ChangeLevel(1), ChangeLevel(1), ChangeLevel(-1))
    where = ("playfield", 0)
    return Played(
        "find", two_chains, lambda: {"find": make}, events, lambda _: where, levels, undoes_map=False, changes_map=False
    )


def _faults() -> Played:
    from probe.faults.commands import SayYesNo, StepPattern
    from probe.faults.search import make
    from probe.task.events import Choose, Leave, Take

    now = "2025-03-16T20:00:00Z"

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        keys = [item.key for item in state().items]
        yield Choose(keys.index("flex") - state().place)
        yield Take(now)
        yield SayYesNo(yes=True, time=now)
        yield SayYesNo(yes=False, time=now)
        yield Leave()
        yield Take(now)
        yield Choose(1)
        yield Take(now)
        yield Take(now)

    return Played(
        "faults",
        two_chains,
        lambda: {"faults": make},
        events,
        # the shorter chain: a question lights as many pixels on every output, and only what is there can be confirmed
        facts=lambda map_: (map_.chains[-1].id, 0),
        moves=(StepPattern(1), StepPattern(1), StepPattern(-1)),
    )


def with_lamps() -> PlayfieldMap:
    """The places of two chains switched by lamps 1 to 3 of the game."""
    map_ = two_chains()
    for number, place in enumerate(map_.places, start=1):
        map_ = update_place(map_, place.model_copy(update={"lamps": (number,)}))
    return map_


def _board() -> Played:
    from probe.game.keys import CompareTables, HandOver, WriteWhole
    from probe.game.sync import make

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield WriteWhole()
        yield HandOver(True)
        yield CompareTables()
        yield HandOver(False)
        yield HandOver(True)

    moves = (HandOver(True), HandOver(False), HandOver(True))
    return Played("board", with_lamps, lambda: {"board": make}, events, moves=moves, changes_map=False)


def _watch() -> Played:
    from probe.game.keys import ChangeLinger, Mismatch
    from probe.game.watch import LearnLamp, make
    from probe.task.events import GameInputs, Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield GameInputs(1, (True, *[False] * 15))
        yield Mismatch("2025-04-05T20:15:00Z")
        yield Typed("both on")
        yield Take("2025-04-05T20:15:01Z")
        yield LearnLamp(state().map.places[2].id, 9)

    moves = (ChangeLinger(1), ChangeLinger(-1))
    return Played("watch", with_lamps, lambda: {"watch": make}, events, moves=moves, lights=0)


def _prove() -> Played:
    from probe.document.model.game import Verdict
    from probe.game.keys import NextLamp, SayVerdict
    from probe.game.prove import make

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield SayVerdict(Verdict.RIGHT, "2025-04-05T20:15:00Z")
        yield SayVerdict(Verdict.WRONG, "2025-04-05T20:15:01Z")
        yield NextLamp(-1)

    moves = (NextLamp(1), NextLamp(1), NextLamp(-1))
    return Played("prove", with_lamps, lambda: {"prove": make}, events, moves=moves)


def _pick() -> Played:
    from probe.game.pick import PickFacts, make
    from probe.task.events import Choose, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Typed("reef")
        yield Choose(1)

    facts = PickFacts("Which place is that lamp?")
    return Played("pick", two_chains, lambda: {"pick": make}, events, lambda map_: facts, lights=1, changes_map=False)


def _lamps() -> Played:
    from probe.document.model import Lamp
    from probe.game.keys import MoveLamp
    from probe.game.lamps import ChooseLamp, JoinTo, PutLamp, make

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield PutLamp(Lamp(number=8, name="Match"), None)
        yield PutLamp(Lamp(number=9, name="Tilt"), None)
        yield MoveLamp(-1)
        yield JoinTo(state().map.places[0].id)

    moves = (ChooseLamp(1), ChooseLamp(0))
    return Played("lamps", with_lamps, lambda: {"lamps": make}, events, moves=moves, lights=1)


def _lamp() -> Played:
    from probe.game.lamp_form import LampFacts, make
    from probe.task.events import Choose, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Typed("12")
        yield Choose(1)

    facts = LampFacts(None)
    return Played("lamp", two_chains, lambda: {"lamp": make}, events, lambda map_: facts, lights=1, changes_map=False)


def _planning(name: str) -> Played:
    from probe.harness import planning

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        task: Any = runtime.top and runtime.top.task
        yield from _PLANNED[name](task, state)

    maker: Maker = getattr(planning, f"make_{name}")
    return Played(name, two_chains, lambda: {name: maker}, events, lambda map_: ("playfield", 1), lights=0, dark=True)


def _entry(task: Any, state: Any, field: str) -> Iterator[object]:
    """The entry of that field is in hand."""
    from probe.harness.planning_keys import PickEntry

    yield PickEntry(next(e.key for e in task.entries(state()) if e.key is not None and e.key.field == field))


def _plan_power(task: Any, state: Any) -> Iterator[object]:
    from probe.harness.planning_keys import LineUse, OpenLine, RemoveEntry, StepEntry
    from probe.task.events import Take, Typed

    yield from _entry(task, state, "wire")
    yield StepEntry(1)
    yield Take()
    yield Typed("0.5 mm2")
    yield Take()
    yield OpenLine(LineUse.FEED)
    yield Typed("4")
    yield Take()
    yield StepEntry(1)
    yield RemoveEntry()
    yield OpenLine(LineUse.LEVELS)
    yield Typed("all 90")
    yield Take()


def _note_harness(task: Any, state: Any) -> Iterator[object]:
    from probe.harness.planning_keys import LineUse, NextFlag, OpenLine, PickJoint
    from probe.task.events import Take, Typed

    yield PickJoint(2)
    yield OpenLine(LineUse.BATCH_OF_PIXELS)
    yield Typed("2 second reel")
    yield Take()
    yield NextFlag()


def _note_joint(task: Any, state: Any) -> Iterator[object]:
    from probe.harness.planning_keys import NextJoint
    from probe.task.events import Take, Typed

    yield from _entry(task, state, "length_mm")
    for _ in range(2):
        yield Take()
        yield Typed("70")
        yield Take()
        yield NextJoint(1)


def _power_up() -> Played:
    from probe.harness.planning import make_power_up
    from probe.harness.planning_keys import PlanNextChain
    from probe.task.events import Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        for text in ("5.0", "open", "3", "4.98", "4.96", "6", "126", "300"):
            yield Take()
            yield Typed(text)
            yield Take("2026-03-01T19:30:00Z")

    moves = (PlanNextChain(), PlanNextChain())
    makers = {"power_up": make_power_up}
    return Played("power_up", two_chains, lambda: makers, events, lambda map_: ("playfield", 1), moves, lights=4)


def _note_batch(task: Any, state: Any) -> Iterator[object]:
    from probe.harness.planning_keys import LineUse, OpenLine
    from probe.task.events import Take, Typed

    yield OpenLine(LineUse.BATCH)
    yield Typed("Loose")
    yield Take()
    yield Take()
    yield Typed("pink")
    yield Take()


def _revisions() -> Played:
    from probe.document.edits import Insert, renumber
    from probe.mapping.history import Mark, Travel, make
    from probe.task.events import Choose, Take

    now = "2026-03-01T19:30:00Z"

    def revised() -> PlayfieldMap:
        map_ = renumber(two_chains(), [Insert(chain="playfield", after=1, count=2)], time=now, reason="two new")
        return renumber(map_, [Insert(chain="backbox", after=0, count=1)], time=now, reason="one new")

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Mark()
        yield Choose(1)
        yield Travel(now)
        yield Travel(now, redo=True)
        yield Choose(3)
        yield Take(now)
        yield Take(now)

    return Played(
        "revisions", revised, lambda: {"revisions": make}, events, lights=0, dark=True, undoes_map=False,
        moves=(Choose(1), Choose(-1)),
    )  # fmt: skip


def _table() -> Played:
    from probe.mapping.table import EditRows, MarkRow, PickRow, SearchFor, SortBy, make
    from probe.mapping.table_edit import Column
    from probe.task.events import Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield PickRow(("playfield", 2))
        yield Take()
        yield SearchFor("reef")
        yield SortBy()
        yield MarkRow()
        yield MarkRow()
        yield EditRows(Column.AREA)
        yield Typed("Reef")
        yield Take()
        yield EditRows(Column.STATE)
        yield Typed("dark")
        yield Take()
        yield EditRows(Column.NAME)
        yield Typed("Otter")
        yield Take()

    return Played(
        "table", two_chains, lambda: {"table": make}, events, lambda map_: ("playfield", 0), lights=0,
        moves=(PickRow(("playfield", 1)), PickRow(("playfield", 2))),
    )  # fmt: skip


def _shapes() -> Played:
    from probe.lighting.shapes import AddShape, ClickShape, StepField, TakeOutShape, make
    from probe.task.events import Choose, GoTowards, Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield ClickShape(150, 160)
        yield Take()
        yield Take()
        yield GoTowards(1, 0)
        yield Take()
        yield Choose(4)
        yield StepField(1)
        yield Take()
        yield Typed("12")
        yield Take()
        yield AddShape()
        yield Take()
        yield Take()
        yield TakeOutShape()

    return Played(
        "shapes", two_chains, lambda: {"shapes": make}, events, lights=0,
        moves=(Choose(1), Choose(1), Choose(-1)),
    )  # fmt: skip


def _settings() -> Played:
    from probe.program.settings import SETTINGS, PickSetting, StepSetting, make
    from probe.task.events import Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield StepSetting(1)
        yield PickSetting("brightness_percent")
        yield Take()
        yield Typed("40")
        yield Take()

    return Played(
        "settings", two_chains, lambda: {"settings": make}, events, lights=0, changes_map=False, undoes_map=False,
        moves=tuple(PickSetting(setting.name) for setting in SETTINGS[:3]),
    )  # fmt: skip


def _guide() -> Played:
    from probe.program.guide import make
    from probe.task.events import Choose, Take

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Choose(1)
        yield Take()

    return Played(
        "guide", two_chains, lambda: {"guide": make}, events, lights=0, changes_map=False, undoes_map=False,
        moves=(Choose(1), Choose(1), Choose(-1)),
    )  # fmt: skip


def _bench() -> Played:
    from probe.harness.bench import make
    from probe.task.events import Choose, Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        for text in ("second reel", "6", "open"):
            yield Typed(text)
            yield Take()
        yield Choose(1)
        yield Take()  # four values a pixel
        yield Choose(1)
        yield Take()  # green first
        yield Take()  # then red
        yield Take()  # then blue
        yield Take()  # all light
        for text in ("6", "126"):
            yield Typed(text)
            yield Take("2026-03-01T19:30:00Z")
        yield Take()
        yield Take("2026-03-01T19:45:00Z")

    def strip() -> PlayfieldMap:
        """Pixels of four colours: what the fourth value lights is then the first of them."""
        map_ = two_chains()
        return map_.model_copy(update={"chains": tuple(c.model_copy(update={"order": "GRBW"}) for c in map_.chains)})

    return Played("bench", strip, lambda: {"bench": make}, events, lights=4)


_PLANNED = {
    "power": _plan_power,
    "harness": _note_harness,
    "joint": _note_joint,
    "batch": _note_batch,
}


def glowing() -> PlayfieldMap:
    """Six places of general illumination in a row on output 0, and four pixels without a place on output 1."""
    map_ = new_map("Kelp Forest")
    for output, (name, count) in enumerate([("playfield", 6), ("backbox", 4)]):
        map_ = set_count(add_chain(map_, Chain(id=name, name=name.title(), output=output)), name, count)
    for number in range(6):
        position = Position(x_mm=50 + 70 * number, y_mm=300)
        map_, place = add_place(map_, f"Glow {number + 1}", kind=Kind.GENERAL, position=position)
        map_ = assign_place(map_, "playfield", number, place.id)
    return map_


def _evenness() -> Played:
    from probe.document.model.light import Rating
    from probe.lighting.even_keys import MoveStop, Rate, ToggleAlone
    from probe.lighting.even_walk import make

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Rate(Rating.FAIR, "2025-04-05T20:15:00Z")
        yield ToggleAlone()
        yield MoveStop(2)
        yield ToggleAlone()
        yield Rate(Rating.HOT, "2025-04-05T20:15:01Z")
        yield ToggleAlone()

    moves = (ToggleAlone(), MoveStop(1), MoveStop(-1))
    return Played("evenness", glowing, lambda: {"evenness": make}, events, moves=moves)


def _setup() -> Played:
    from probe.mapping.new_map import SetupStage, make
    from probe.task.events import Choose, Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Take()  # something lights
        yield Choose(-1)  # not sure of the colour: the usual byte order
        yield Take()
        yield Take()  # the count is known
        yield Typed("6")
        yield Take()
        yield Typed("Playfield")
        yield Take()
        yield Take()  # the ceiling as suggested: the chain is set up, the next output's pixels light
        if state().stage is SetupStage.CHAIN:
            yield Take()

    return Played(
        "setup", lambda: new_map("Kelp Forest"), lambda: {"setup": make}, events, moves=(Choose(1), Choose(-1)),
        wired=two_chains,
    )  # fmt: skip


def _picture() -> Played:
    from probe.lighting.picture import make
    from probe.lighting.picture_keys import (
        ComparePlaces,
        EntryUse,
        MovePlace,
        NextLitMode,
        OpenEntry,
        StepLevel,
        StepPlace,
        TakeEntry,
    )
    from probe.task.events import Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield StepLevel(-13)
        yield MovePlace(120, 400)
        yield StepPlace(1)
        yield OpenEntry(EntryUse.COLOUR)
        yield Typed("warm")
        yield TakeEntry()
        yield ComparePlaces()
        yield StepPlace(1)
        yield NextLitMode()
        yield NextLitMode()
        yield StepLevel(-13)

    moves = (StepPlace(1), NextLitMode(), StepPlace(-1))
    return Played("picture", glowing, lambda: {"picture": make}, events, lambda map_: ("playfield", 0), moves)


def _worklist() -> Played:
    from probe.evenings.worklist import AddLine, ChooseLine, TickOff, make
    from probe.task.events import Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        for words in ("order fuses", "look at the eel"):
            yield AddLine()
            yield Typed(words)
            yield Take()
        yield TickOff("2026-03-01T19:30:00Z")

    moves = (ChooseLine(1), ChooseLine(0))
    return Played("worklist", with_lamps, lambda: {"worklist": make}, events, moves=moves, lights=1)


def _log() -> Played:
    from probe.evenings.log import ChooseEvening, make
    from probe.task.events import Choose

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Choose(1)
        yield ChooseEvening(0)

    return Played("log", with_lamps, lambda: {"log": make}, events, moves=(Choose(1),), lights=1, changes_map=False)


def _restore() -> Played:
    from probe.evenings.restore import make
    from probe.task.events import Choose, Take

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Choose(1)
        yield Take()
        yield Choose(1)

    return Played(
        "restore", with_lamps, lambda: {"restore": make}, events, moves=(Choose(1),), lights=1, changes_map=False
    )


def _plan() -> Played:
    from probe.planning.keys import (
        DragSeat,
        ForbidStretch,
        LiftRules,
        MoveInOrder,
        NextEntry,
        PlanMode,
        SeatAt,
        ShowPlanMode,
        TakeInHand,
        TidyOrLeast,
    )
    from probe.planning.task import make
    from probe.task.events import Choose, Take

    def lacking() -> PlayfieldMap:
        map_, _ = add_place(two_chains(), "Reef lane 4", position=Position(x_mm=160, y_mm=330))
        return map_

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield Choose(1)
        yield Take()
        yield Choose(1)
        yield ForbidStretch()
        yield LiftRules()
        yield TidyOrLeast()
        yield MoveInOrder(1)
        yield TakeInHand()
        yield SeatAt(250.0, 500.0)
        yield DragSeat(250.0, 500.0, 100.0, 300.0)
        yield NextEntry()
        yield ShowPlanMode(PlanMode.DEAD)
        yield ShowPlanMode(PlanMode.SLACK)
        yield ShowPlanMode(PlanMode.SPLICE)
        yield Choose(1)
        yield Take("2026-03-01T19:30:00Z")
        yield ShowPlanMode(PlanMode.ORDER)

    return Played("plan", lacking, lambda: {"plan": make}, events, lights=0, dark=True, moves=(Choose(1), Choose(-1)))


TASKS: dict[str, Played] = {
    "worklist": _worklist(),
    "log": _log(),
    "restore": _restore(),
    "setup": _setup(),
    "walk": _walk(),
    "recheck": _recheck(),
    "find": _find(),
    "faults": _faults(),
    "board": _board(),
    "watch": _watch(),
    "prove": _prove(),
    "pick": _pick(),
    "lamps": _lamps(),
    "lamp": _lamp(),
    "revisions": _revisions(),
    "table": _table(),
    "shapes": _shapes(),
    "settings": _settings(),
    "guide": _guide(),
    **{name: _planning(name) for name in _PLANNED},
    "power_up": _power_up(),
    "bench": _bench(),
    "plan": _plan(),
    "evenness": _evenness(),
    "picture": _picture(),
}
