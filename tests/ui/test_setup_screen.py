"""The set-up of a new map on screen, driven by keys, against a simulated board."""

from __future__ import annotations

from dataclasses import replace

import pytest

from device_protocol.board import ChainWiring
from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.mapping.new_map import SetupStage
from probe.mapping.walk_keys import SetUpChain
from probe.mapping.walk_view import COMMANDS as WALK_COMMANDS
from probe.task.views import Pane, TaskView
from probe.ui.task_screen import TaskScreen
from tests.ui.conftest import OpenApp, Stage, text_of


@pytest.mark.slow
async def test_a_new_map_is_set_up_and_walked(open_app: OpenApp) -> None:
    wiring = ChainWiring.of_places(f"a:{n}" for n in range(12))
    async with open_app(None, wirings=[wiring]) as stage:
        await stage.pilot.pause(0.2)
        assert "Which machine is this?" in text_of(stage.app)
        await stage.pilot.press(*"Kelp", "space", *"Forest", "enter")
        for _ in range(100):
            await stage.pilot.pause(0.02)
            if "● lit" in text_of(stage.app):
                break
        assert "Does anything light?" in text_of(stage.app)
        assert len(stage.board.lit()) == 8
        await stage.pilot.press("enter")
        await stage.app.settled()
        await stage.pilot.pause(0.1)
        assert "Which colour do you see?" in text_of(stage.app)
        for _ in range(6):
            await stage.app.settled()
            if "how many pixels" in text_of(stage.app):
                break
            colour = stage.board.shown(0)[0]
            at = 0 if colour.red else 1 if colour.green else 2
            await stage.pilot.press(*["down"] * at, "enter")
            await stage.pilot.pause(0.1)
        assert stage.board.lit() == ()
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.1)
        await stage.pilot.press(*"12", "enter")
        await stage.pilot.pause(0.1)
        await stage.pilot.press("enter", "enter")
        await stage.lit()
        assert "0 (1st) of 12" in text_of(stage.app)
    (chain,) = load_map(stage.path).chains
    assert (chain.name, chain.count, chain.order) == ("Playfield", 12, "GRB")


async def until(stage: Stage, words: str) -> str:
    """Wait for words on the screen."""
    for _ in range(200):
        await stage.pilot.pause(0.02)
        if words in text_of(stage.app):
            break
    assert words in text_of(stage.app)
    return text_of(stage.app)


async def test_in_the_demo_the_set_up_says_what_is_lit(open_app: OpenApp) -> None:
    """Which colour is asked there: without a word on it nobody could answer."""
    truth = load_map(demo_map_path())
    async with open_app(None, truth) as stage:
        await stage.pilot.press(*"Kelp", "enter")
        shown = await until(stage, "lit), all")
        assert "Shooter lane glow 1" in " ".join(shown.split())
        await stage.pilot.press("y")
        await until(stage, "Which colour do you see?")
        await until(stage, "lit), all")


@pytest.mark.slow
async def test_esc_at_the_first_question_leads_home(open_app: OpenApp) -> None:
    async with open_app(None) as stage:
        await until(stage, "Which machine is this?")
        await stage.pilot.press("escape")
        await stage.pilot.pause(0.2)
        assert stage.app.then == ("home",)
        assert stage.app.is_ending


async def test_while_a_board_is_awaited_every_way_on_is_said_whole(open_app: OpenApp) -> None:
    """At 80 columns the ways on were cut off the question."""
    async with open_app(None, paper=True) as stage:
        stage.app.runtime.layers[-1].state = replace(
            stage.app.runtime.layers[-1].state, stage=SetupStage.BOARD, draft=new_map("Kelp"), paper=False
        )
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        screen.redraw()
        words = " ".join((await until(stage, "Waiting for a board")).split())
        assert "F6: another port. P: on paper." in words
        footer = text_of(stage.app).splitlines()[-1]
        assert "F6 Another port" in footer
        assert "Take" not in footer, "there is nothing to take"


async def test_what_comes_is_whole_from_the_first_picture_on(open_app: OpenApp) -> None:
    async with open_app(None, wirings=[ChainWiring.of_places(["a", "b"])], size=(120, 40)) as stage:
        await stage.pilot.pause(0.1)
        lines = [line.text.strip() for pane in _panes(stage) for line in pane.lines if not line.wrap]
        assert len(lines) > 7
        text = text_of(stage.app)
        assert [line for line in lines if line not in text] == []
        await stage.pilot.resize_terminal(200, 60)
        await stage.pilot.resize_terminal(110, 40)
        await stage.pilot.pause(0.1)
        assert [line for line in lines if line not in text_of(stage.app)] == []


def _panes(stage: Stage) -> tuple[Pane, ...]:
    screen = stage.app.screen
    assert isinstance(screen, TaskScreen)
    view = screen.current_view()
    assert isinstance(view, TaskView)
    assert view.panes is not None
    return view.panes(20)


def one_chain() -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="playfield", name="Playfield", output=0))
    return set_count(map_, "playfield", 2)


async def test_another_chain_is_set_up_from_the_walk_and_is_walked(open_app: OpenApp) -> None:
    wirings = [ChainWiring.of_places(["a", "b"]), ChainWiring.of_places(["c", "d", "e"])]
    async with open_app(one_chain(), wirings=wirings) as stage:
        await until(stage, "LIT")
        assert stage.app.runtime.layers[-1].task.name == "walk"
        stage.app.runtime.dispatch(SetUpChain())
        await until(stage, "Output 1")
        await stage.pilot.press("3")  # as the chain before
        await until(stage, "do you know how many")
        await stage.pilot.press("1")
        await until(stage, "type the number")
        await stage.pilot.press(*"3", "enter")
        await until(stage, "Its name?")
        await stage.pilot.press(*"Upper", "enter")
        await until(stage, "0 (1st) of 3   ● LIT")
        assert [layer.task.name for layer in stage.app.runtime.layers] == ["walk"]
        assert [(c.name, c.output, c.length) for c in stage.app.document.map.chains] == [
            ("Playfield", 0, 2),
            ("Upper", 1, 3),
        ]
        walk = next(row for row in WALK_COMMANDS if row.id == "walk.chain")
        assert stage.app.why_not(walk), "every output of the board has a chain"


@pytest.mark.parametrize("paper", [False, True])
async def test_esc_at_its_first_question_leads_back_to_the_walk_as_it_was(open_app: OpenApp, paper: bool) -> None:
    async with open_app(one_chain(), wirings=[ChainWiring.of_places(["a", "b"])] * 2, paper=paper) as stage:
        before = stage.app.runtime.layers[-1].state
        stage.app.runtime.dispatch(SetUpChain())
        await until(stage, "Output 1")
        await stage.pilot.press("escape")
        await stage.pilot.pause(0.2)
        (layer,) = stage.app.runtime.layers
        assert layer.task.name == "walk"
        assert (layer.state.chain, layer.state.number) == (before.chain, before.number)
        assert stage.app.document.map.chains == one_chain().chains
        assert not stage.app.is_ending
