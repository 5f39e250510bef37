"""The demo's simulated game: targets are pressed and its lamp test runs, and watch sees it as it would a real one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from probe.cli.parser import build_parser
from probe.cli.screens import Opening
from probe.document.settings import Settings
from probe.game.keys import LampTest, PressTarget
from probe.game.watch import Watch, make
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import Opened
from probe.ui.app import ProbeApp
from probe.ui.launch import LaunchOptions
from tests.runtime.contract_tasks import with_lamps
from tests.support.played import Played
from tests.ui.conftest import text_of


def watch(*, simulated: bool) -> Played[Watch]:
    task, state = make(Opened(map=with_lamps(), simulated_game=simulated))
    return Played(task, state)


def test_a_target_is_picked_and_every_lamp_of_it_is_pressed() -> None:
    play = watch(simulated=True)
    place = play.map.places[1]
    play(PressTarget())
    assert play.opened[-1].task == "pick"
    assert play.state.pressing
    s = play(ev.TaskClosed("pick", place.id))
    assert [effect for effect in play.effects if isinstance(effect, fx.PlayGame)] == [fx.PlayGame(place.lamps[0])]
    assert not s.pressing
    assert s.learning is None, "nothing is learned by it"
    play(PressTarget(), ev.TaskClosed("pick", None))
    assert len([effect for effect in play.effects if isinstance(effect, fx.PlayGame)]) == 1


def test_with_a_real_game_there_is_nothing_to_press() -> None:
    play = watch(simulated=False)
    play(PressTarget(), LampTest())
    assert not play.opened
    assert not [effect for effect in play.effects if isinstance(effect, fx.PlayGame)]
    shown = [c.id for c in play.task.commands if c.when is not None and c.when(play.state)]
    assert not {"watch.press", "watch.lamp_test"} & set(shown)


@pytest.mark.slow
async def test_the_demo_lets_everything_of_watch_be_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))
    arguments = build_parser().parse_args(["demo", "--complete", "--keep", str(tmp_path / "kept.json")])
    opening = Opening(arguments, Settings(signs="fine"))
    app = ProbeApp(LaunchOptions(), opening.open_demo(), opening)

    def state() -> Watch:
        layer = next(layer for layer in app.runtime.layers if layer.name == "watch")
        seen: Watch = app.runtime.seen(layer)
        return seen

    async def until(pilot: Any, true: Callable[[], object]) -> None:
        for _ in range(400):
            await pilot.pause(0.02)
            if true():
                return
        raise AssertionError(text_of(app))

    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: app.runtime.board.here)
        app.runtime.open("watch")
        await until(pilot, lambda: any(layer.name == "watch" for layer in app.runtime.layers) and state().total)
        place = next(place for place in state().map.places if place.lamps)
        app.runtime.dispatch(PressTarget())
        app.runtime.dispatch(ev.Typed(place.label))
        app.runtime.dispatch(ev.Take())
        await until(pilot, lambda: any(c.number == place.lamps[0] for c in state().changes))
        await until(pilot, lambda: not state().on[place.lamps[0] - 1])
        app.runtime.dispatch(LampTest())
        await until(pilot, lambda: len({c.number for c in state().changes}) >= 3)
        app.runtime.dispatch(LampTest())
        await until(pilot, lambda: not any(state().on))
        await app.action_quit()
