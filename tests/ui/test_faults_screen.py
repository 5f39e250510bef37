"""The fault finder and practice rounds on screen, driven by keys, against simulated boards."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from device_protocol.board import BoardConfig, SimulatedBoard
from probe.cli.screens import wiring_of
from probe.document.file import load_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.model.harness import Batch
from probe.document.operations import add_chain, add_place, assign_place, new_map, replace_chain, set_count
from probe.faults.engine import UNSURE
from probe.faults.knowledge import Hazard
from probe.faults.search import start_practice
from probe.faults.state import FaultSearch, SearchMode, Solution
from probe.faults.tables import load
from probe.link import BoardLink
from probe.link.simulated_wire import SimulatedPort
from probe.practice.round import CHAIN, PracticeRound
from probe.ui.keys import HOME
from probe.ui.practice import PracticeSight
from probe.ui.task_screen import TaskScreen
from tests.faults.searching import Play, board
from tests.support.examples import first_now
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of

K = load()
HOSTILE = ("[/x]", "[bold]no", "\u202ereversed", "two\nlines", "control \x1b[31m \x07", "x" * 300, "$text")
SIZES = ((80, 24), (120, 40), (80, 24), (120, 40), (80, 24), (120, 40), (80, 24))
ROUNDS = [(1, (80, 24)), (2, (120, 40)), (5, (80, 24)), (8, (120, 40)), (11, (80, 24)), (13, (120, 40)), (16, (80, 24))]


def a_map(count: int = 12, *, name: str = "Kelp Forest", chain: str = "Playfield") -> PlayfieldMap:
    map_ = add_chain(new_map(name), Chain(id="a", name=chain, output=0, ceiling_ma=1_500))
    map_ = set_count(map_, "a", count)
    for number in range(count):
        map_, place = add_place(map_, f"Reef lane {number}")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


def in_search(stage: Stage) -> bool:
    screen = stage.app.screen
    return isinstance(screen, TaskScreen) and screen.open_task.name == "faults"


def search_of(stage: Stage) -> FaultSearch:
    screen = stage.app.screen
    assert isinstance(screen, TaskScreen)
    search = stage.app.runtime.seen(screen.open_task)
    assert isinstance(search, FaultSearch)
    return search


async def until(stage: Stage, holds: Callable[[], Any], what: str = "") -> None:
    for _ in range(300):
        await stage.pilot.pause(0.01)
        if holds():
            await stage.pilot.pause()
            return
    raise AssertionError(what or f"not within 3 s:\n{text_of(stage.app)}")


async def press(stage: Stage, *keys: str) -> None:
    await stage.pilot.press(*keys)
    await stage.app.settled()
    await stage.pilot.pause()


async def choose(stage: Stage, key: str) -> None:
    search = search_of(stage)
    keys = [item.key for item in search.items]
    steps = keys.index(key) - search.place
    await press(stage, *(["down"] * steps if steps >= 0 else ["up"] * -steps), "enter")


async def type_line(stage: Stage, text: str) -> None:
    names = {" ": "space", "/": "slash", ".": "full_stop", "-": "minus", ",": "comma"}
    await press(stage, *(names.get(character, character) for character in text), "enter")


def a_round(seed: int) -> PracticeRound:
    return PracticeRound(K.weights, K.observations, seed=seed)


def practice_port(practice: PracticeRound) -> SimulatedPort:
    return SimulatedPort(practice.board, name="practice")


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "size"), first_now(ROUNDS, several=True))
async def test_a_planted_fault_is_found_by_keys(open_app: OpenApp, seed: int, size: tuple[int, int]) -> None:
    practice = a_round(seed)
    port = practice_port(practice)
    make = lambda on_event: BoardLink(port.open, on_event=on_event)  # noqa: E731
    async with open_app(practice.map, size=size, practice=practice, faults_on=CHAIN, make_link=make) as stage:
        if practice.planted.wiring.head.answers:
            await until(stage, lambda: search_of(stage).board.here)
        for _ in range(60):
            search = search_of(stage)
            shown = text_of(stage.app)
            if search.mode is SearchMode.DONE:
                break
            assert "judgement" in shown
            if search.mode is SearchMode.FINDING:
                await choose(stage, next(i.key for i in search.items if i.key.startswith("repair:")))
                await choose(stage, "try")
                continue
            if search.mode is SearchMode.LAST_GOOD:
                k = practice.k
                if k is None or k < 0:
                    await choose(stage, "none")
                else:
                    await type_line(stage, str(k))
                continue
            assert search.question is not None
            reply = practice.answer(search.question.id)
            if reply.typed:
                assert f"The meter reads: {reply.typed}" in shown
                await type_line(stage, reply.typed)
            else:
                await choose(stage, reply.answer or UNSURE)
        shown = text_of(stage.app)
        assert "That was it" in shown
        assert "Planted:" in shown
        assert "Score" in shown
        await choose(stage, "leave")


@pytest.mark.slow
async def test_the_strip_shows_what_the_model_makes_of_the_frames(open_app: OpenApp) -> None:
    practice = next(r for r in map(a_round, range(200)) if r.planted.causes == ("next-dead",))
    k = practice.k
    assert k is not None
    port = practice_port(practice)
    make = lambda on_event: BoardLink(port.open, on_event=on_event)  # noqa: E731
    more = {"practice": practice, "faults_on": CHAIN, "make_link": make, "in_words": False}
    async with open_app(practice.map, **more) as stage:
        await until(stage, lambda: "R" * (k + 1) + "·" * (49 - k) in text_of(stage.app))
        assert "You see" not in text_of(stage.app)
        await choose(stage, "to-k-dark")
        await choose(stage, "halve")
        while search_of(stage).mode is SearchMode.HALVING:
            halving = search_of(stage).halving
            assert halving is not None
            await until(stage, lambda: search_of(stage).is_lit)
            await press(stage, "y" if practice.lights(halving.pixel or 0) == "G" else "n")
        assert search_of(stage).session.k == k


async def test_the_board_runs_the_pattern_and_goes_dark_for_a_repair(open_app: OpenApp) -> None:
    async with open_app(a_map(), faults_on="a") as stage:
        await until(stage, lambda: search_of(stage).board.here)
        await press(stage, "enter")
        await until(stage, lambda: search_of(stage).is_lit)
        running = stage.board.outputs[0].pattern
        assert running is not None
        assert len(stage.board.lit()) == 12
        assert "● The board: dim red" in text_of(stage.app)
        await press(stage, "f3")
        await until(stage, lambda: stage.board.lit() == ())
        assert "Switch the pixel supply off and unplug" in text_of(stage.app)
        assert search_of(stage).session.unsafe


@pytest.mark.slow
async def test_a_lost_board_is_said_and_lit_again_when_it_is_back(open_app: OpenApp) -> None:
    async with open_app(a_map(), faults_on="a") as stage:
        await until(stage, lambda: search_of(stage).board.here)
        await press(stage, "enter")
        await until(stage, lambda: len(stage.board.lit()) == 12)
        stage.port.unplug()
        await until(stage, lambda: not search_of(stage).board.here)
        assert "no board" in text_of(stage.app)
        await press(stage, "down", "down")
        stage.port.plug()
        for _ in range(60):
            await asyncio.sleep(0.1)
            if len(stage.board.lit()) == 12:
                break
        assert len(stage.board.lit()) == 12
        assert search_of(stage).question is not None
        assert search_of(stage).chosen == 2


@pytest.mark.slow
async def test_a_repair_is_kept_in_the_file_and_the_walk_gets_the_map(open_app: OpenApp) -> None:
    async with open_app(a_map(), size=(120, 40)) as stage:
        await stage.lit()
        await press(stage, *to("app.faults"))
        await until(stage, lambda: in_search(stage) and search_of(stage).board.here)
        await press(stage, "enter")
        await choose(stage, "to-k-dark")
        await type_line(stage, "4")
        while search_of(stage).mode is SearchMode.QUESTION:
            question = search_of(stage).question
            assert question is not None
            await choose(stage, "no" if question.id == "arrow-next" else UNSURE)
        await choose(stage, "repair:next-backwards")
        shown = text_of(stage.app)
        assert "pad DOUT, colour not noted" in shown
        assert "unplugged" in shown
        await choose(stage, "cured")
        await until(stage, lambda: load_map(stage.path).revisions != ())
        kept = load_map(stage.path)
        assert "the wrong way round" in kept.revisions[-1].reason
        assert "fault repaired" in kept.chain("a").note
        assert any(item.key == "follow" for item in search_of(stage).items)
        await press(stage, "escape")
        await until(stage, lambda: isinstance(stage.app.screen, TaskScreen) and not in_search(stage))
        assert "fault repaired" in stage.walk.map.chain("a").note


@pytest.mark.slow
async def test_the_recheck_follows_a_repair_also_without_a_walk(open_app: OpenApp) -> None:
    async with open_app(a_map(), faults_on="a") as stage:
        await until(stage, lambda: search_of(stage).board.here)
        await press(stage, "enter")
        await choose(stage, "to-k-dark")
        await type_line(stage, "4")
        while search_of(stage).mode is SearchMode.QUESTION:
            question = search_of(stage).question
            await choose(stage, "no" if question is not None and question.id == "arrow-next" else UNSURE)
        await choose(stage, "repair:next-backwards")
        await choose(stage, "cured")
        await choose(stage, "follow")
        await until(stage, lambda: (top := stage.app.runtime.top) is not None and top.name == "recheck")
        assert load_map(stage.path).chain("a").note.startswith("20")


@pytest.mark.slow
async def test_the_flex_log_and_the_return_wire_reach_the_file(open_app: OpenApp) -> None:
    map_ = a_map(5)
    board = SimulatedBoard(BoardConfig(pixels=200), [wiring_of(map_, map_.chain("a"))], return_wires=(0,))
    port = SimulatedPort(board, name="board with a return wire")
    make = lambda on_event: BoardLink(port.open, on_event=on_event)  # noqa: E731
    async with open_app(map_, faults_on="a", make_link=make) as stage:
        await until(stage, lambda: search_of(stage).board.here)
        await choose(stage, "flex")
        assert "Joint board to 0 (1st)" in text_of(stage.app)
        await press(stage, "n", "n", "y", "n", "n")
        await until(stage, lambda: "reacted" in load_map(stage.path).chain("a").note)
        await choose(stage, "return")
        await until(stage, lambda: "5 pixels found" in text_of(stage.app))
        await choose(stage, "end")
        await until(stage, lambda: any("5 pixels found" in r.reason for r in load_map(stage.path).revisions))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("hostile", "size"), first_now(zip(HOSTILE, SIZES, strict=True), several=True), ids=range(len(HOSTILE))
)
async def test_hostile_text_is_only_text(open_app: OpenApp, hostile: str, size: tuple[int, int]) -> None:
    map_ = a_map(name=hostile, chain=hostile)
    batch = Batch(id="bag", name=hostile, five_volt=hostile, ground=hostile, data_in=hostile, data_out=hostile)
    chain = map_.chain("a")
    pixels = tuple(pixel.model_copy(update={"batch": "bag"}) for pixel in chain.pixels)
    map_ = replace_chain(map_, chain.model_copy(update={"pixels": pixels})).model_copy(update={"batches": (batch,)})
    async with open_app(map_, size=size, faults_on="a") as stage:
        await until(stage, lambda: search_of(stage).board.here)
        await press(stage, "enter")
        await choose(stage, "to-k-dark")
        await type_line(stage, "4")
        while search_of(stage).mode is SearchMode.QUESTION:
            await press(stage, *to("faults.unsure"))
        await choose(stage, next(i.key for i in search_of(stage).items if i.key.startswith("repair:joint-open")))
        assert search_of(stage).mode is SearchMode.REPAIR
        await press(stage, *to("faults.read.1"), *to("faults.read.1"), *to("faults.read.-1"))
        assert "\x1b" not in text_of(stage.app)


@pytest.mark.slow
async def test_typing_where_nothing_is_typed_does_nothing_and_readings_are_corrected(open_app: OpenApp) -> None:
    async with open_app(a_map(), faults_on="a", paper=True) as stage:
        await until(stage, lambda: in_search(stage))
        await press(stage, "1", "2")
        assert search_of(stage).typed == ""
        await press(stage, "enter")
        await choose(stage, "nothing")
        while not search_of(stage).reads_meter:
            await press(stage, *to("faults.unsure"))
        await type_line(stage, "lots")
        assert "is not a reading" in text_of(stage.app)
        await press(stage, "ctrl+z")


async def test_help_names_the_keys_and_the_footer_what_matters(open_app: OpenApp) -> None:
    async with open_app(a_map(), faults_on="a") as stage:
        await until(stage, lambda: in_search(stage))
        footer = text_of(stage.app).splitlines()[-1]
        for words in ("Take", "Not sure", "Heat", "Menu", "Back"):
            assert words in footer
        await press(stage, "f1")
        assert "Heat, smell" in text_of(stage.app)


async def test_below_practice_lies_home(open_app: OpenApp) -> None:
    practice = a_round(1)
    port = practice_port(practice)
    make = lambda on_event: BoardLink(port.open, on_event=on_event)  # noqa: E731
    async with open_app(practice.map, practice=practice, faults_on=CHAIN, make_link=make) as stage:
        await until(stage, lambda: in_search(stage))
        await press(stage, "escape")
        await until(stage, lambda: stage.app.endings.ended is not None)
        assert stage.app.then == (HOME,), "one step back, and not out of the program"


def test_in_practice_an_unplugged_chain_shows_no_light_and_a_remark_stands_on_a_line_of_its_own() -> None:
    pulsing = next(round_ for round_ in map(a_round, range(60, 100)) if "the light pulses" in round_.board.remarks())
    play = Play(start_practice(pulsing.map, CHAIN, Solution((), ()), lambda asked: pulsing.answer(asked).answer))
    play.plug(board())
    sight = PracticeSight(pulsing)
    powered = sight.lines(play.search)
    assert powered[1] == "Beside it: the light pulses"
    assert powered[-1].startswith("Under the glass: ")
    assert max(map(len, powered[1:])) < 79
    off = sight.lines(play.put("supply-ohms").search)
    assert len(off) == 1
    assert off[0].startswith("The meter reads: ")
    unsafe = replace(play.search, session=replace(play.search.session, hazards=frozenset({Hazard.SHORT})))
    assert not any(line.startswith("Under the glass") for line in sight.lines(unsafe))
