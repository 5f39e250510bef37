"""Every scene of `tests/scenes.py` is reached; from each, Esc pressed too often traps nobody, loses nothing, and ends dark."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.events import Key

from probe.document.file import load_map
from probe.document.model import PlayfieldMap
from probe.runtime.ending import Reason
from probe.ui.app import ProbeApp
from probe.ui.keys import HOME
from probe.ui.menu import MenuScreen
from probe.ui.start import HomeScreen
from probe.ui.task_screen import TaskScreen
from probe.ui.themes import OURS
from tests.scenes import SCENES, app_for, faint, reach, still, text_lines
from tests.support.examples import first_now

TOO_OFTEN = 13


def _kept(path: Path) -> PlayfieldMap | None:
    """What the map on disk holds, apart from when it was last open."""
    return load_map(path) if path.exists() else None


@pytest.fixture(autouse=True)
def _own_folders(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("PLAYFIELD_PROBE_SETTINGS", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))  # the scene sets them; they are put back after the test


@pytest.mark.parametrize("name", first_now(list(SCENES), now=3))
async def test_esc_too_often_traps_nobody_and_loses_nothing(name: str, tmp_path: Path) -> None:
    scene = SCENES[name]
    app = app_for(scene, tmp_path)
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            await reach(app, pilot, scene)
            shown = "\n".join(text_lines(app))
            assert scene.shows in shown, shown
            await app.settled()
            before = _kept(tmp_path / "kelp.json")
            for _ in range(TOO_OFTEN):  # held down: keys come faster than screens are made
                app.post_message(Key("escape", None))
            await still(app, pilot)
            for pressed in range(6):  # what was held down may have met one screen only
                if not app.is_running or app.is_ending:
                    break
                top = app.runtime.top
                home = isinstance(app.screen, (HomeScreen, MenuScreen)) or (top is not None and top.name == "walk")
                assert home or len(app.runtime.layers) == 1 or pressed < 3, f"still in {app.screen} over {top}"
                await pilot.press("escape")
                await still(app, pilot)
            else:
                await pilot.press("ctrl+q")
                await still(app, pilot)
            assert app.is_ending or not app.is_running or app._exit, "there is a way out"
            ended = app.endings.ended
            assert ended is None or ended.ending.reason is Reason.LEFT, ended
            assert app.seen() == (), "dark"
            after = _kept(tmp_path / "kelp.json")
            if before is not None:
                assert after is not None
                assert (after.places, after.lamps, after.chains) == (before.places, before.lamps, before.chains)
    finally:
        app.session.close()


MOST_ESC = 14
"""More steps back than any scene lies deep: the longest way is that of a new map's questions."""


@pytest.mark.parametrize("name", first_now(list(SCENES), now=1))
async def test_esc_leads_back_step_by_step_and_never_out_of_the_program(name: str, tmp_path: Path) -> None:
    app = app_for(SCENES[name], tmp_path)
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            await reach(app, pilot, SCENES[name])
            left = MOST_ESC
            while left and not _is_bottom(app):
                left -= 1
                await pilot.press("escape")
                await app.settled()
                await pilot.pause()
                if app.is_ending or not app.is_running:
                    assert app.then[:1] == (HOME,), "a task with nothing below it goes on with home"
                    return
            assert left, f"trapped in {app.screen} over {app.runtime.layers}"
            for _ in range(3):
                await pilot.press("escape")
                await app.settled()
                await pilot.pause()
                assert app.is_running
                assert not app.is_ending
                assert _is_bottom(app) or isinstance(app.screen, MenuScreen), app.screen
            if isinstance(app.screen, HomeScreen):
                assert "Ctrl+Q leaves" in "\n".join(text_lines(app)), "how to leave is said"
    finally:
        app.session.close()


def _is_bottom(app: ProbeApp) -> bool:
    """Whether this is home, with no line open, or the walk with nothing typed."""
    if isinstance(app.screen, HomeScreen):
        return not app.screen.query_one("#home-entry").display
    top = app.runtime.top
    return isinstance(app.screen, TaskScreen) and top is not None and top.name == "walk" and not top.state.typed


@pytest.mark.parametrize(
    "keys",
    first_now(
        [("f10", "escape"), ("f1",), ("f10",), ("f5", "escape"), ("ctrl+p", "escape"), ("ctrl+t", "escape")], now=2
    ),
)
async def test_keys_faster_than_screens_are_made(keys: tuple[str, ...], tmp_path: Path) -> None:
    app = app_for(SCENES["walk"], tmp_path)
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            await reach(app, pilot, SCENES["walk"])
            for _ in range(7):
                for key in keys:
                    app.post_message(Key(key, None))
            await still(app, pilot)
            assert app.is_running
            assert not app.is_ending
    finally:
        app.session.close()


READ_IN_EVERY_THEME = (
    "home", "settings", "walk", "log", "worklist", "power", "board", "table", "plan", "faults_2", "setup_3", "export_name",
    "port", "menu", "help", "lamps",
)  # fmt: skip


@pytest.mark.parametrize("name", first_now(READ_IN_EVERY_THEME, now=2))
async def test_what_is_drawn_stands_out_from_its_ground_in_every_theme(name: str, tmp_path: Path) -> None:
    # WCAG 2.2: 4.5:1 for words (1.4.3), 3:1 for signs (1.4.11), measured on every piece of the screen as it is drawn
    app = app_for(SCENES[name], tmp_path)
    try:
        async with app.run_test(size=(120, 40)) as pilot:
            await reach(app, pilot, SCENES[name])
            for theme in OURS:
                app.theme = theme.name
                await pilot.pause(0.1)
                assert faint(app) == [], theme.name
    finally:
        app.session.close()
