"""The recheck on screen, by scripted keys, on the simulated board with planted rewiring."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from device_protocol.board import ChainWiring, SimulatedBoard
from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.model.open_recheck import counted
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.document.revisions import verified_count
from probe.recheck.find import NumberSearch
from probe.recheck.keys import Quick, SayQuick
from probe.recheck.state import Rechecking, RecheckStage
from probe.task.events import Choose, Take, Typed
from tests.recheck.test_recheck import CHAIN, REWIRED
from tests.support.examples import first_now, in_groups
from tests.support.keys import to
from tests.support.rechecker import Key, agrees, keys_for, new_pixels, seen, wiring_of_chain
from tests.ui.conftest import OpenApp, text_of
from tests.ui.conftest import Stage as Opened
from tests.ui.test_walk_screen import HOSTILE

_KEYS = {Quick.NOTHING_LIT: "f2", Quick.EXTRA_LIGHT: "f3", Quick.NOT_SURE: "f4"}


def presses(key: Key) -> list[str]:
    """The keyboard's keys for an input."""
    match key:
        case Take():
            return ["enter"]
        case SayQuick(answer):
            return [_KEYS[answer]]
        case Choose(by):
            tens, ones = divmod(abs(by), 10)
            return ["pagedown" if by > 0 else "pageup"] * tens + ["down" if by > 0 else "up"] * ones
        case Typed(text):
            return ["space" if c == " " else c for c in text]
        case _:
            raise AssertionError(key)


def state_of(stage: Opened) -> Rechecking:
    top = stage.app.runtime.top
    assert top is not None
    assert top.name == "recheck"
    state: Rechecking = stage.app.runtime.seen(top)
    return state


async def asked(stage: Opened) -> Rechecking:
    """Wait until something is asked, and lit if it has to be."""
    for _ in range(1500):
        await stage.pilot.pause(0.01)
        await stage.app.settled()
        state = state_of(stage)
        if (
            state.stage in (RecheckStage.OFFER, RecheckStage.DECLARE, RecheckStage.DONE, RecheckStage.SAVED)
            and not state.unsaved
        ):
            await stage.pilot.pause()
            return state
        if state.is_lit:
            await stage.pilot.pause()
            return state
    raise AssertionError(f"nothing was asked: {text_of(stage.app)}")


def shining(board: SimulatedBoard, chain: Chain) -> dict[str, list[int]]:
    return seen((place, light) for place, light in board.lit())


async def recheck(stage: Opened, *, most: int = 80) -> list[str]:
    """Open the recheck from the walk and answer until the map is kept; what was asked, in order."""
    await stage.lit()
    await stage.pilot.press(*to("app.recheck"))
    await stage.pilot.pause()
    asked_for: list[str] = []
    for _ in range(most):
        state = await asked(stage)
        if state.stage is RecheckStage.SAVED:
            return asked_for
        asked_for.append(state.stage.name)
        for key in keys_for(state, shining(stage.board, state.here)):
            await stage.pilot.press(*presses(key))
        await stage.pilot.pause()
    raise AssertionError(f"not finished: {asked_for}")


def wirings(map_: PlayfieldMap, rewire: str) -> Sequence[ChainWiring]:
    return [
        REWIRED[rewire](wiring_of_chain(map_, chain)) if chain.id == CHAIN else wiring_of_chain(map_, chain)
        for chain in map_.chains
    ]


@pytest.mark.slow
@pytest.mark.parametrize(
    "rewire",
    first_now(["two spliced in", "nothing", "a run taken out", "a run reversed", "one at each of three"]),
)
async def test_the_map_comes_right_by_keys(open_app: OpenApp, rewire: str) -> None:
    map_ = load_map(demo_map_path())
    real = wirings(map_, rewire)
    async with open_app(map_, wirings=real) as stage:
        await recheck(stage)
        shown = text_of(stage.app)
        assert "sure that every number is right" in shown
        await stage.pilot.press("enter")
        await stage.lit()
        await stage.app.settled()
    after = load_map(stage.path)
    assert agrees(after, CHAIN, real[0]) == []
    assert after.chain("backbox") == map_.chain("backbox")
    assert after.revisions[-1].reason.startswith("Rechecked Playfield")
    assert verified_count(after, after.chain(CHAIN)) > len(real[0]) * 0.8


@pytest.mark.slow
async def test_changes_said_on_the_screen(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path())
    real = [wiring_of_chain(map_, chain) for chain in map_.chains]
    real[0] = real[0].spliced_in(4, *new_pixels("Otter lamp")).removed(30)
    gone = map_.place_of(map_.chain(CHAIN).pixels[29])
    assert gone is not None
    async with open_app(map_, wirings=real) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.recheck"))
        await stage.pilot.pause()
        for words in ("1 new after Launch arrow", "took out nowhere at all"):
            await stage.pilot.press(*presses(Typed(words)), "enter")
            await stage.pilot.pause()
        assert "has no place" in text_of(stage.app)
        await stage.pilot.press("escape", *presses(Typed(f"took out {gone.label}")), "enter")
        await stage.pilot.pause()
        assert len(state_of(stage).edits) == 2
        await stage.pilot.press("enter")
        for _ in range(20):
            state = await asked(stage)
            if state.stage is RecheckStage.SAVED:
                break
            for key in keys_for(state, shining(stage.board, state.here)):
                await stage.pilot.press(*presses(key))
            await stage.pilot.pause()
        assert state_of(stage).answers <= 4
    assert agrees(load_map(stage.path), CHAIN, real[0]) == []


@pytest.mark.slow
async def test_undo_and_losing_the_board(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path())
    real = wirings(map_, "two spliced in")
    async with open_app(map_, wirings=real) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.recheck"), "enter")
        state = await asked(stage)
        assert state.stage is RecheckStage.LOOK
        first = state.look
        for key in keys_for(state, shining(stage.board, state.here)):
            await stage.pilot.press(*presses(key))
            await stage.pilot.pause()
        state = await asked(stage)
        assert state.stage is RecheckStage.COLOUR
        await stage.pilot.press("escape")
        assert (await asked(stage)).stage is RecheckStage.LOOK
        stage.port.unplug()
        for _ in range(200):
            await stage.pilot.pause(0.05)
            if "no board" in text_of(stage.app):
                break
        await stage.pilot.press("enter")
        await stage.pilot.pause()
        assert state_of(stage).answers == 0, "nothing is answered while nothing is lit"
        stage.port.plug()
        for _ in range(300):
            await stage.pilot.pause(0.05)
            if "● LIT" in text_of(stage.app):
                break
        state = await asked(stage)
        assert state.look == first
        await stage.pilot.press("enter")
        state = await asked(stage)
        assert state.answers == 1
        await stage.pilot.press("ctrl+z")
        state = await asked(stage)
        assert state.answers == 0
        assert state.look == first
        await stage.pilot.press("down", "escape")
        await stage.lit()
    assert load_map(stage.path) == map_, "a recheck that was left changes nothing"


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40)]))
async def test_a_recheck_goes_on_where_it_was(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = load_map(demo_map_path())
    real = wirings(map_, "two spliced in")
    async with open_app(map_, wirings=real, size=size) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.recheck"))
        while not (await asked(stage)).names:
            for key in keys_for(state_of(stage), shining(stage.board, state_of(stage).here)):
                await stage.pilot.press(*presses(key))
            await stage.pilot.pause()
        before = state_of(stage)
        left = load_map(stage.path)
        assert left.rechecks == before.map.rechecks, "on disk before the next question is lit"
        assert left.revisions == map_.revisions
        await stage.pilot.press("ctrl+q")
    assert load_map(stage.path) == left
    async with open_app(left, wirings=real, size=size) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.recheck"))
        assert (await asked(stage)).stage is RecheckStage.OFFER
        shown = text_of(stage.app)
        assert "Go on with it?" in shown
        assert f"Go on: {counted(left.rechecks[0])}" in shown
        await stage.pilot.press("escape")
        await stage.lit()
        assert load_map(stage.path) == left
        await stage.pilot.press(*to("app.recheck"), "enter")
        again = await asked(stage)
        assert (again.action, again.names, again.answers) == (before.action, before.names, before.answers)
        assert "going on after" in text_of(stage.app)
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert any("is kept" in told.message for told in stage.app._notifications)
        await stage.lit()
        await recheck(stage)
        shown = text_of(stage.app)
        assert "pixels seen since the change" in shown
        await stage.pilot.press("enter")
        await stage.lit()
    after = load_map(stage.path)
    assert agrees(after, CHAIN, real[0]) == []
    assert after.rechecks == ()


def small(*labels: str, area: str = "") -> PlayfieldMap:
    map_ = add_chain(new_map(labels[0]), Chain(id="a", name=labels[-1], output=0, count=12))
    map_ = set_count(map_, "a", 12)
    for number in range(12):
        label = labels[number - 5] if 0 <= number - 5 < len(labels) else f"Reef lane {number}"
        map_, place = add_place(map_, label, area=area)
        map_ = assign_place(map_, "a", number, place.id)
    return map_


@pytest.mark.slow
@pytest.mark.parametrize("labels", first_now(in_groups(HOSTILE, of=5)), ids=str)
async def test_hostile_labels(open_app: OpenApp, labels: tuple[str, ...]) -> None:
    map_ = small(*labels, area=labels[-1])
    async with open_app(map_, wirings=[wiring_of_chain(map_, map_.chain("a"))]) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.recheck"))
        await stage.pilot.pause()
        for label in labels:
            await stage.type_and("enter", f"took out {label}")
            if state_of(stage).typed:
                await stage.pilot.press("escape")
        await stage.pilot.press("escape", *to("app.recheck"), "enter")
        await asked(stage)
        for label in labels:
            await stage.type_and("escape", label)
            shown = text_of(stage.app)
            assert "\x1b" not in shown
            assert "\u202e" not in shown
        for _ in range(40):  # the recheck may still be thinking about the last answer
            if len(stage.app.runtime.layers) == 1:
                break
            await stage.pilot.press("escape")
            await stage.pilot.pause(0.05)
        await stage.pilot.press(*to("app.find"))
        await stage.pilot.pause()
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "find"
        assert "\x1b" not in text_of(stage.app)


@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (40, 12), (20, 5)]))
async def test_every_size_draws(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = load_map(demo_map_path())
    async with open_app(map_, size=size) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.recheck"), "enter")
        await asked(stage)
        await stage.pilot.resize_terminal(80, 24)
        await stage.pilot.pause()
        shown = text_of(stage.app)
        assert "All as shown" in shown
        assert "● LIT" in shown
        assert any(word in shown for word in ("◆ red", "▲ yellow", "■ blue", "● white"))


async def test_find_the_number_at_a_place(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path())
    number = 37
    target = map_.chain(CHAIN).pixels[number].place
    assert target is not None
    async with open_app(map_) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.find"))
        looks = 0
        for _ in range(400):
            await stage.pilot.pause(0.01)
            await stage.app.settled()
            top = stage.app.runtime.top
            if top is not None and top.name == "find" and "● LIT" in text_of(stage.app):
                state: NumberSearch = stage.app.runtime.seen(top)
                if state.found is not None:
                    break
                (colour,) = shining(stage.board, state.here)[target]
                await stage.pilot.press(str(colour + 1))
                looks += 1
                await stage.pilot.pause()
        assert looks <= 4, "84 pixels need ⌈log4 84⌉ = 4 looks at most"
        assert f"pixel {number} (38th)" in text_of(stage.app)
        await stage.pilot.press("enter")
        await stage.lit()
        assert stage.walk.number == number
