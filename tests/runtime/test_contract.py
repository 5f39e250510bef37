"""The promises of the runtime, held for every task alike: saved then lit, lit means confirmed, light is a value, nothing dropped.

A task is in `TASKS` with a few events that make it light at least two things and change the map at least once. Every rule is
run over every task; what the rules say is independent of what a task is for.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from device_protocol.board import BoardConfig
from device_protocol.orders import ButtonNotice, Darken, PlayNotice, ReadTableState, SetupOutput
from device_protocol.values import Colour
from probe.cli.screens import wiring_of
from probe.document.document import Document, SaveJob, Unsaved
from probe.document.file.disk import Disk
from probe.document.file.map_file import load_map
from probe.document.model import PlayfieldMap
from probe.link import NoticeArrived
from probe.link.errors import LinkErrorKind
from probe.link.events import ConnectReason
from probe.runtime.runtime import OpenTask, Runtime
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Alternate, Dark, HandsOff, Light, Outputs, Pixels, lights_something
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import TaskView
from tests.runtime.contract_tasks import TASKS, Played
from tests.support.examples import share
from tests.support.scripted_board import ScriptedBoard, Trouble, may_light

CONFIG = BoardConfig(outputs=2, pixels=120, play_pixels=100, inputs=16)
AT_EVERY_TURN = 3
"""Each rule is held at every turn by every third task, and each task by every third rule; by all with what is slow."""
_RULES = count()


def _each(names: Iterable[str]) -> pytest.MarkDecorator:
    turn = next(_RULES)
    values = [
        name if (at + turn) % AT_EVERY_TURN == 0 else pytest.param(name, marks=pytest.mark.slow)
        for at, name in enumerate(names)
    ]
    return pytest.mark.parametrize("name", values)


def for_each_task() -> pytest.MarkDecorator:
    """A rule for all of them."""
    return _each(TASKS)


def for_each_that_changes_the_map() -> pytest.MarkDecorator:
    """A rule of what is saved."""
    return _each(name for name, played in TASKS.items() if played.changes_map)


class SlowDocument(Document):
    """A document whose saves can be slow, fail, or wait for the test."""

    delay_s = 0.0
    failures = 0
    hangs: threading.Event | None = None
    """The disk answers nothing until this is set."""
    saves = 0

    def save_job(self) -> SaveJob | None:
        job = super().save_job()
        if job is not None:
            job.run = partial(self._run, job.run)  # type: ignore[method-assign]
        return job

    def _run(self, run: Callable[[], None]) -> None:
        self.saves += 1
        time.sleep(self.delay_s)
        if self.hangs is not None:
            assert self.hangs.wait(30)
        if self.failures:
            self.failures -= 1
            raise OSError(28, "No space left on device")
        run()


@dataclass
class Bench:
    """A runtime at a scripted board, with one task under test on top of a task that keeps the stack from being empty."""

    runtime: Runtime
    board: ScriptedBoard
    document: SlowDocument
    played: Played
    faults: list[Exception] = field(default_factory=list)
    claims: list[str] = field(default_factory=list)
    rings: list[str] = field(default_factory=list)
    """A line each time the bell rang."""

    @property
    def top(self) -> OpenTask:
        top = self.runtime.top
        assert top is not None
        return top

    @property
    def state(self) -> Any:
        return self.runtime.seen(self.top)

    @property
    def wanted(self) -> Light:
        wanted: Light = self.top.task.light(self.state)
        return wanted

    def looked(self) -> None:
        """Whenever something is drawn: what is said to be lit is what the pixels show, dimmed or not."""
        lit = self.runtime.board.lit
        if lit is None or not self.runtime.board.here:
            return
        for output, wanted in _lit_pixels(lit).items():
            pixels = self.board.device.shown(output)
            really = {n for n, colour in enumerate(pixels) if not colour.is_dark}
            wanted = {n for n in wanted if n < len(pixels)}  # a number behind the last pixel may be asked about too
            if really != wanted:
                self.claims.append(f"said lit: output {output} {sorted(wanted)}; lit: {sorted(really)}")

    async def play(self, *, settle: bool = True) -> None:
        """The task's own events, one after another."""
        for event in self.played.events(self.runtime, lambda: self.state):
            self.runtime.dispatch(event)
            if settle:
                await self.settled()

    async def settled(self) -> None:
        async with asyncio.timeout(10):
            await self.runtime.settled()

    def hold(self) -> None:
        """Every promise that can be looked at from outside."""
        assert not self.faults, self.faults
        assert not self.board.broken, self.board.broken
        assert not self.claims, self.claims


def _lit_pixels(light: Light) -> dict[int, set[int]]:
    match light:
        case Dark():
            return {0: set(), 1: set()}
        case Pixels():
            lit = {light.first + at for at, colour in enumerate(light.colours) if not colour.is_dark}
            return {0: set(), 1: set(), light.output: lit}
        case Outputs(parts):
            found: dict[int, set[int]] = {0: set(), 1: set()}
            for part in parts:
                found |= {output: numbers for output, numbers in _lit_pixels(part).items() if output == part.output}
            return found
        case _:
            return {}


Opening = Callable[..., Awaitable[Bench]]


@pytest.fixture
def bench(tmp_path: Path) -> Any:
    """Make a bench for a task: `await bench("walk", script={3: (Trouble.RESTART, False)})`."""
    made: list[Bench] = []

    async def make(
        name: str, *, script: Any = None, board: bool = True, disk: Disk | None = None, played: Played | None = None
    ) -> Bench:
        one = played or TASKS[name]
        map_ = one.map()
        path = tmp_path / "map.json"
        first = Document.new(path)
        first.commit(map_)
        first.save_now()
        first.release()
        document = SlowDocument.open(path, disk=disk)
        assert isinstance(document, SlowDocument)
        real = one.wired() if one.wired is not None else map_
        line = ScriptedBoard(tuple(wiring_of(real, chain) for chain in real.chains), config=CONFIG, script=script)
        faults: list[Exception] = []
        rings: list[str] = []
        runtime = Runtime(
            document, {**one.makers(), "below": make_below}, on_fault=faults.append, bell=lambda: rings.append("bell")
        )
        found = Bench(runtime, line, document, one, faults, rings=rings)
        runtime._on_change = found.looked
        line.on_event = runtime.link_event
        line.saved = lambda: document.is_saved
        made.append(found)
        runtime.start()
        runtime.open("below")
        runtime.open(one.name, one.facts(map_))
        if board:
            runtime.attach(line)
            line.connect()
        await found.settled()
        return found

    yield make
    for each in made:
        each.document.release()


@dataclass(frozen=True, kw_only=True)
class BelowState(TaskState):
    """Nothing of its own; remembers what it was told."""

    told: tuple[object, ...] = ()


class Below(Task[BelowState]):
    """A task that lies below the one under test, with a light of its own."""

    name = "below"
    own_revision = False

    def step(self, s: BelowState, event: object, now_s: float) -> Next[BelowState] | None:
        if isinstance(event, ev.TaskClosed):
            return BelowState(map=s.map, told=(*s.told, event)), ()
        return None

    def light(self, s: BelowState) -> Light:
        return Pixels.one(0, 1, Colour(8, 8, 8))

    def view(self, s: BelowState) -> TaskView:
        return TaskView("below")


def make_below(opened: Opened) -> tuple[Below, BelowState]:
    assert opened.map is not None
    return Below(), BelowState(map=opened.map)


# -- 1: saved, then lit ----------------------------------------------------------------------------------------------


@for_each_task()
async def test_nothing_lights_before_the_answer_is_on_disk(bench: Any, name: str) -> None:
    one = await bench(name)
    before = one.document.version
    await one.play()
    assert (one.document.version > before) is one.played.changes_map, "the script changes the map"
    lit = sum(may_light(order) for order in one.board.orders)
    assert lit >= one.played.lights, "the script lights at least two things"
    assert lit == 0 or not one.played.dark, "and nothing, where nothing is to be lit"
    assert one.document.is_saved
    one.hold()


@for_each_task()
@pytest.mark.parametrize("settle", [True, False], ids=["one at a time", "queued"])
async def test_slow_saves_hold_the_light_back(bench: Any, name: str, settle: bool) -> None:
    one = await bench(name)
    one.document.delay_s = 0.03
    await one.play(settle=settle)
    await one.settled()
    assert one.document.is_saved
    one.hold()
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)


@for_each_that_changes_the_map()
async def test_a_failed_save_stops_the_light_until_it_is_saved(bench: Any, name: str) -> None:
    one = await bench(name)
    one.document.failures = 10_000
    await one.play()
    if not one.played.changes_map:
        return
    assert isinstance(one.document.save, Unsaved)
    assert "NOT SAVED" in str(one.state.unsaved) or one.state.unsaved, "the task's view says so"
    lit = len([order for order in one.board.orders if may_light(order)])
    await one.settled()
    one.hold()
    assert len([order for order in one.board.orders if may_light(order)]) == lit
    one.document.failures = 0
    one.runtime.dispatch(ev.Retry())
    await one.settled()
    assert one.document.is_saved
    assert one.state.unsaved == ""
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


@for_each_task()
async def test_a_save_replaced_by_a_later_one(bench: Any, name: str) -> None:
    """Two changes while a save is out: the light waits for the later one too."""
    one = await bench(name)
    one.document.delay_s = 0.02
    for turn in range(3):
        map_ = one.document.map
        noted = map_.machine.model_copy(update={"note": f"turn {turn}"})
        one.document.commit(map_.model_copy(update={"machine": noted}))
        one.runtime.dispatch(ev.Retry())
        await asyncio.sleep(0.005)
    await one.play(settle=False)
    await one.settled()
    assert one.document.is_saved
    one.hold()


@for_each_that_changes_the_map()
@pytest.mark.parametrize("later", [False, True], ids=["before the save", "during the save"])
async def test_a_lost_board_drops_no_save(bench: Any, name: str, later: bool) -> None:
    """What was answered goes to disk all the same, and no board is waited for."""
    one = await bench(name)
    one.document.delay_s = 0.03
    version, saves = one.document.version, one.document.saves
    for event in one.played.events(one.runtime, lambda: one.state):
        one.runtime.dispatch(event)
        if one.document.version != version:
            break
        await one.settled()
    assert one.document.version != version
    if later:
        for _ in range(1_000):
            if one.document.saves != saves:
                break
            await asyncio.sleep(0.001)
        assert one.document.saves != saves
    one.board.lose()
    await one.settled()
    assert one.runtime.board.identity is None
    assert one.document.is_saved
    assert load_map(one.document.path) == one.document.map
    one.hold()


@for_each_task()
async def test_darkening_is_never_held_back(bench: Any, name: str) -> None:
    one = await bench(name)
    one.document.failures = 10_000
    await one.play()
    one.board.orders.clear()
    await one.runtime.darken()
    assert any(type(order).__name__ == "Darken" for order in one.board.orders)
    assert one.board.device.lit() == ()
    one.hold()


@for_each_task()
async def test_taken_is_said_when_it_is_on_disk(bench: Any, name: str) -> None:
    one = await bench(name)
    one.document.delay_s = 0.05
    version = one.document.version
    for event in one.played.events(one.runtime, lambda: one.state):
        one.runtime.dispatch(event)
        if one.document.version != version:
            assert one.top.state.message == "" or one.document.is_saved
            break
        await one.settled()
    await one.settled()
    one.hold()


# -- 2: lit means confirmed ------------------------------------------------------------------------------------------


_ORDERS: dict[str, int] = {}
"""How many orders a run of each task gives: the same each time."""


async def _orders_of_a_run(bench: Any, name: str) -> int:
    if name in _ORDERS:
        return _ORDERS[name]
    one = await bench(name)
    await one.play()
    _ORDERS[name] = len(one.board.orders)
    await one.runtime.end()
    one.document.release()
    return _ORDERS[name]


@for_each_task()
@pytest.mark.parametrize("trouble", list(Trouble), ids=lambda trouble: trouble.name.lower())
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
async def test_trouble_at_every_order(bench: Any, tmp_path: Path, name: str, trouble: Trouble, after: bool) -> None:
    """After every await of the runtime: nothing stale is believed lit, and light comes back by itself."""
    total = min(await _orders_of_a_run(bench, name), 24)
    first = 2 * list(Trouble).index(trouble) + after  # at every turn each order meets one trouble or another
    for number in share(range(1, total + 1), first=first):
        (tmp_path / "map.json").unlink(missing_ok=True)
        one = await bench(name, script={number: (trouble, after)})
        await one.play()
        await _back(one)
        one.hold()
        assert one.board.happened, f"order {number} was never sent"
        if trouble is Trouble.REFUSAL and one.runtime.board.refused:
            assert not one.top.task.is_lit(one.state)
            one.runtime.dispatch(ev.Retry())
            await one.settled()
        if lights_something(one.wanted) and not isinstance(one.wanted, HandsOff):
            assert one.top.task.is_lit(one.state), f"light comes back after {trouble.name} at order {number}"
        one.hold()
        await one.runtime.end()
        one.document.release()


async def _back(one: Bench) -> None:
    for _ in range(200):
        await one.settled()
        if one.board.identity is not None:
            break
        await asyncio.sleep(0.002)
    await one.settled()


@for_each_task()
async def test_lost_means_dark_on_the_screen_at_once(bench: Any, name: str) -> None:
    one = await bench(name)
    await one.play()
    one.board.lose()
    assert one.runtime.board.lit is None
    assert not one.top.task.is_lit(one.state)
    assert one.state.board.trouble, "and why is said"
    one.board.connect()
    await one.settled()
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


@for_each_task()
async def test_a_board_that_comes_later_is_lit(bench: Any, name: str) -> None:
    one = await bench(name, board=False)
    assert not one.top.task.is_lit(one.state)
    one.runtime.attach(one.board)
    one.board.connect()
    await one.settled()
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


# -- 3: light is a value ---------------------------------------------------------------------------------------------


@for_each_task()
async def test_what_is_wanted_no_more_is_never_sent(bench: Any, name: str) -> None:
    """Keys faster than the line: only the light that is wanted in the end has to be shown."""
    one = await bench(name)
    one.board.pause_s = 0.02
    before = len(one.board.orders)
    for _ in range(3):
        for event in one.played.moves:
            one.runtime.dispatch(event)
    await one.settled()
    assert len(one.board.orders) - before <= 4 + 3 * len(one.played.moves)
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


@for_each_task()
async def test_an_output_is_driven_as_the_map_says_while_its_light_stays(bench: Any, name: str) -> None:
    """Another byte order and a lower ceiling: the output is set up anew and lit again, though the task wants the same."""
    one = await bench(name)
    await one.play()
    map_, wanted = one.document.map, one.wanted
    changed = tuple(c.model_copy(update={"order": "BRG", "ceiling_ma": 90}) for c in map_.chains)
    one.document.commit(map_.model_copy(update={"chains": changed}))
    one.board.orders.clear()
    one.runtime.dispatch(ev.MapChanged(""))
    await one.settled()
    if isinstance(one.wanted, Pixels) and one.wanted.setup is None and not one.wanted.is_dark:
        assert one.top.task.is_lit(one.state)
        setups = [(o.output, o.byte_order, o.ceiling_ma) for o in one.board.orders if isinstance(o, SetupOutput)]
        assert (one.wanted.output, "BRG", 90) in setups
    elif wanted == Dark():
        assert not any(may_light(order) for order in one.board.orders)
    one.hold()


@for_each_task()
async def test_two_pictures_in_turn_are_lit_once_both_are_confirmed(bench: Any, name: str) -> None:
    one = await bench(name)
    light = Alternate(Pixels.one(0, 0, Colour(9, 9, 9)), Dark(), 0.02)

    class Blinking(type(one.top.task)):  # type: ignore[misc]
        def light(self, s: Any) -> Light:
            return light

    one.top.task = Blinking()
    one.runtime.dispatch(ev.LineTrouble())
    await asyncio.sleep(0.05)
    assert one.runtime.board.lit is None
    async with asyncio.timeout(3):
        while one.runtime.board.lit != light:  # noqa: ASYNC110 - it blinks by its own clock
            await asyncio.sleep(0.01)
    one.hold()
    one.board.restart()
    assert one.runtime.board.lit is None


@for_each_task()
async def test_after_somebody_else_was_at_the_board_nothing_is_believed_lit(bench: Any, name: str) -> None:
    """A count by the return wire, a check of the board: meanwhile nothing is ordered, afterwards everything is ordered anew."""
    one = await bench(name)
    own = type(one.top.task)
    away = True

    class Away(own):  # type: ignore[misc, valid-type]
        def light(self, s: Any) -> Light:
            return HandsOff() if away else own.light(self, s)

    one.top.task = Away()
    one.board.orders.clear()
    one.runtime.dispatch(ev.LineTrouble())
    await one.settled()
    assert one.board.orders == []
    assert one.runtime.board.lit is None
    away = False
    one.runtime.dispatch(ev.LineTrouble())
    await one.settled()
    assert one.board.orders[:1] == [Darken()]
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


@for_each_task()
async def test_pixels_that_the_game_took_back_are_not_believed_lit(bench: Any, name: str) -> None:
    one = await bench(name)
    one.board.orders.clear()
    one.runtime.link_event(NoticeArrived(PlayNotice()))
    assert one.runtime.board.lit is None
    await one.settled()
    assert one.board.orders, "it is ordered anew"
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


@for_each_task()
async def test_a_ceiling_that_leaves_no_light_is_said_and_not_tried_and_dark_is_always_allowed(
    bench: Any, name: str
) -> None:
    """Dark pixels alone need more than 1 mA: nothing is tried, why is said, and what is to be dark still goes dark."""
    one = await bench(name)
    await one.play()
    map_ = one.document.map
    one.document.commit(
        map_.model_copy(update={"chains": tuple(c.model_copy(update={"ceiling_ma": 1}) for c in map_.chains)})
    )
    one.runtime.dispatch(ev.MapChanged(""))
    one.board.restart()
    one.board.orders.clear()
    await one.settled()
    wanted = one.wanted
    if isinstance(wanted, Pixels) and wanted.setup is None and not wanted.is_dark:
        assert "ceiling" in one.state.board.refused
        assert not one.top.task.is_lit(one.state)
        assert one.rings
        assert not any(may_light(order) for order in one.board.orders)
    elif wanted == Dark():
        assert one.top.task.is_lit(one.state)
        assert one.state.board.refused == ""
    one.board.orders.clear()
    await one.runtime.prepare_to_leave(1.0)
    assert Darken() in one.board.orders
    assert one.board.device.lit() == ()
    one.hold()


# -- questions -------------------------------------------------------------------------------------------------------


class Asking(Below):
    """Asks when it is told to, and keeps what it hears."""

    name = "asking"

    def step(self, s: BelowState, event: object, now_s: float) -> Next[BelowState] | None:
        if isinstance(event, (ev.Answered, ev.NotAnswered)):
            return BelowState(map=s.map, told=(*s.told, event)), ()
        if event == "ask":
            return s, (fx.Ask((ReadTableState(), ReadTableState()), f"question {len(s.told)}"),)
        return None


def make_asking(opened: Opened) -> tuple[Asking, BelowState]:
    assert opened.map is not None
    return Asking(), BelowState(map=opened.map)


@pytest.mark.parametrize("trouble", [None, *Trouble])
@pytest.mark.parametrize("number", [4, 5])
async def test_a_question_is_answered_exactly_once(bench: Any, trouble: Trouble | None, number: int) -> None:
    played = Played("asking", TASKS["walk"].map, lambda: {"asking": make_asking}, lambda runtime, state: iter(()))
    script = {} if trouble is None else {number: (trouble, False)}
    one = await bench("asking", script=script, played=played)
    before = len(one.board.orders)
    one.runtime.dispatch("ask")
    await _back(one)
    assert [type(event) for event in one.top.state.told] == [
        ev.Answered if trouble is None or not one.board.happened else type(one.top.state.told[0])
    ]
    asked = [order for order in one.board.orders[before:] if isinstance(order, ReadTableState)]
    assert len(asked) <= 2, "never repeated unasked"
    one.runtime.dispatch("ask")
    await one.settled()
    assert len(one.top.state.told) == 2
    one.hold()


async def test_questions_that_wait_when_the_board_goes_are_answered_too(bench: Any) -> None:
    played = Played("asking", TASKS["walk"].map, lambda: {"asking": make_asking}, lambda runtime, state: iter(()))
    one = await bench("asking", played=played)
    for _ in range(3):
        one.runtime.dispatch("ask")
    one.board.lose()
    await one.settled()
    assert len(one.top.state.told) == 3
    assert all(isinstance(event, ev.NotAnswered) for event in one.top.state.told)
    one.runtime.dispatch("ask")
    await one.settled()
    assert isinstance(one.top.state.told[3], ev.NotAnswered)


class AskingAtOnce(Asking):
    """Asks as soon as it hears that a board is there."""

    def step(self, s: BelowState, event: object, now_s: float) -> Next[BelowState] | None:
        if isinstance(event, ev.BoardChanged) and s.board.here and not s.told:
            return replace(s, told=("asked",)), (fx.Ask((ReadTableState(),), "at once"),)
        if isinstance(event, (ev.Answered, ev.NotAnswered)):
            return replace(s, told=(*s.told, event)), ()
        return None


async def test_what_is_asked_of_a_board_that_just_came_is_answered_by_it(bench: Any) -> None:
    def make(opened: Opened) -> tuple[AskingAtOnce, BelowState]:
        assert opened.map is not None
        return AskingAtOnce(), BelowState(map=opened.map)

    played = Played("asking", TASKS["walk"].map, lambda: {"asking": make}, lambda runtime, state: iter(()))
    one = await bench("asking", played=played)
    assert [type(event) for event in one.top.state.told[1:]] == [ev.Answered]


# -- 4: nothing is dropped; undo, redo, retry, leave are alike in all --------------------------------------------------


@for_each_task()
async def test_leaving_makes_one_revision_and_gives_the_light_back(bench: Any, name: str) -> None:
    one = await bench(name)
    before = len(one.document.map.revisions)
    task = one.top.task
    await one.play()
    changed = one.document.map
    for _ in range(12):
        if one.top.name == "below":
            break
        one.runtime.dispatch(ev.Leave())
        await one.settled()
    assert one.top.name == "below", "Esc leads back, again and again"
    assert one.runtime.board.lit == Pixels.one(0, 1, Colour(8, 8, 8)), "the light of the task below returns by itself"
    if task.own_revision:
        assert len(one.document.map.revisions) > before or one.document.map.pending == ()
    assert one.document.is_saved
    assert _answers(one.document.map) == _answers(changed)
    one.hold()


def _answers(map_: PlayfieldMap) -> object:
    pixels = [chain.pixels for chain in map_.chains]
    wiring = [(chain.wire, chain.joints) for chain in map_.chains]
    harness = (wiring, map_.feeds, map_.supplies, map_.batches, map_.power, map_.meter)
    return (map_.places, pixels, map_.lamps, map_.machine, map_.proofs, map_.observations, map_.readings, harness)


@_each(name for name, played in TASKS.items() if played.undoes_map)
async def test_undo_takes_back_and_redo_does_again(bench: Any, name: str) -> None:
    one = await bench(name)
    before = _answers(one.document.map)
    await one.play()
    after = _answers(one.document.map)
    for _ in range(40):
        if _answers(one.document.map) == before:
            break
        one.runtime.dispatch(ev.Undo())
        await one.settled()
    assert _answers(one.document.map) == before
    for _ in range(40):
        if _answers(one.document.map) == after:
            break
        one.runtime.dispatch(ev.Redo())
        await one.settled()
    assert _answers(one.document.map) == after
    assert one.document.is_saved
    one.hold()


@for_each_task()
async def test_the_end_is_dark_and_saved(bench: Any, name: str) -> None:
    one = await bench(name)
    one.document.delay_s = 0.02
    await one.play(settle=False)
    changed = _answers(one.document.map)
    await one.runtime.end()
    assert one.board.device.lit() == ()
    assert one.document.is_saved
    assert _answers(one.document.map) == changed
    assert one.document.map.pending == ()
    one.hold()


@for_each_task()
async def test_nothing_counts_once_the_end_has_begun(bench: Any, name: str) -> None:
    one = await bench(name)
    await one.runtime.darken()
    top, state, version = one.top, one.top.state, one.document.version
    one.board.orders.clear()
    for event in (*one.played.moves, ev.Undo(), ev.Leave()):
        one.runtime.dispatch(event)
    await asyncio.sleep(0.01)
    assert (one.top, one.top.state, one.document.version) == (top, state, version)
    assert one.board.orders == []
    assert one.board.device.lit() == ()


@for_each_task()
async def test_a_task_whose_cautions_are_declined_is_left_at_once(bench: Any, name: str) -> None:
    one = await bench(name)
    before = _answers(one.document.map)
    one.runtime.dispatch(ev.Declined())
    await one.settled()
    assert one.top.name == "below"
    assert _answers(one.document.map) == before
    one.hold()


async def test_a_flood_of_events_drops_nothing(bench: Any) -> None:
    """Ten thousand facts of the line between two answers: every answer counts, in order, and the light follows."""
    one = await bench("walk")
    for _ in range(10_000):
        one.runtime.dispatch(ev.LineTrouble())
    await one.play()
    one.hold()
    assert one.document.is_saved


def test_every_task_of_the_program_is_in_the_list() -> None:
    from probe.ui.app import MAKERS

    assert set(MAKERS) <= set(TASKS), "every task is held to the contract"


async def test_after_a_restart_outputs_are_set_up_anew_before_they_are_lit(bench: Any) -> None:
    one = await bench("walk")
    one.board.orders.clear()
    one.board.restart()
    await _back(one)
    orders = list(one.board.orders)
    lights = [at for at, order in enumerate(orders) if may_light(order)]
    setups = [at for at, order in enumerate(orders) if isinstance(order, SetupOutput)]
    assert lights
    assert setups
    assert min(setups) < min(lights)
    one.hold()


@for_each_task()
async def test_ready_to_leave_is_all_dark_with_a_revision_and_staying_lights_again(bench: Any, name: str) -> None:
    one = await bench(name)
    await one.play()
    one.board.orders.clear()
    revisions = len(one.document.map.revisions)
    pending = one.top.scope is not None and one.played.changes_map and one.played.undoes_map
    await one.runtime.prepare_to_leave(1.0)
    assert Darken() in one.board.orders
    assert one.board.device.lit() == ()
    assert one.document.map.pending == ()
    if pending and one.document.version != one.document.saved_version:
        assert len(one.document.map.revisions) > revisions
    assert await one.runtime.saved_within(5.0)
    one.runtime.stay()
    await one.settled()
    assert one.top.task.is_lit(one.state) or not lights_something(one.wanted)
    one.hold()


# -- facts of the line and of the disk, as they are said ----------------------------------------------------------------


@for_each_task()
async def test_a_lost_board_rings_once_and_not_at_every_attempt_to_find_it(bench: Any, name: str) -> None:
    one = await bench(name)
    one.rings.clear()
    one.board.lose()
    await one.settled()
    assert one.rings == ["bell"]
    for _ in range(3):
        one.board.lose(LinkErrorKind.NO_SUCH_PORT)
        await one.settled()
    one.board.connect(ConnectReason.AGAIN)
    await one.settled()
    assert one.rings == ["bell"]
    one.board.lose()
    await one.settled()
    assert one.rings == ["bell", "bell"]
    one.hold()


async def test_a_notice_of_the_button_is_at_least_one_press(bench: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Presses whose notice was lost count too; a total that went back (a restart nobody saw) is one press, never none."""
    one = await bench("walk")
    seen: list[object] = []
    monkeypatch.setattr(one.runtime, "dispatch", seen.append)
    for total in (1, 4, 4, 2, 3):
        one.runtime.link_event(NoticeArrived(ButtonNotice(total)))
    assert seen == [ev.StepButton(times) for times in (1, 3, 1, 1, 1)]
    seen.clear()
    one.board.restart()
    one.runtime.link_event(NoticeArrived(ButtonNotice(2)))
    assert [event for event in seen if isinstance(event, ev.StepButton)] == [ev.StepButton(2)]


@for_each_that_changes_the_map()
async def test_whether_all_is_saved_within_a_time_also_on_a_disk_that_hangs_or_fails(bench: Any, name: str) -> None:
    one = await bench(name)
    one.document.hangs = threading.Event()
    saved = one.document.saved_version
    for event in one.played.events(one.runtime, lambda: one.state):
        one.runtime.dispatch(event)
        if one.document.version != saved:
            break
        await one.settled()
    try:
        assert await one.runtime.saved_within(0.01) is None, "the disk has not answered"
        assert not one.document.is_saved
    finally:
        one.document.hangs.set()
    assert await one.runtime.saved_within(10.0) is True
    await one.settled()
    one.document.failures = 1
    machine = one.document.map.machine.model_copy(update={"name": "Kelp Forest again"})
    one.document.commit(one.document.map.model_copy(update={"machine": machine}), "renamed")
    assert await one.runtime.saved_within(10.0) is False
    assert await one.runtime.saved_within(10.0) is True
    await one.settled()
    one.hold()
