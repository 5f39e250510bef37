"""What a screen beside the walk changes is a revision of its own: with time, reason and diff, and undone later."""

from __future__ import annotations

import re

import pytest

from probe.document.diff import diff
from probe.document.file import load_map
from probe.document.revisions import at_revision
from probe.task.views import FormView
from probe.ui.form_screen import FormScreen
from tests.support.keys import to
from tests.ui.conftest import OpenApp
from tests.ui.test_game_screens import ROOM, demo, shows, to_lamps
from tests.ui.test_power_screens import DEMO, opened, press

NEW = len(DEMO.revisions)


@pytest.mark.slow
async def test_power_edits_are_one_revision_apart_from_the_walk(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await stage.lit()
        await press(
            stage, *to("walk.say.SPARE"), *to("walk.say.SPARE")
        )  # an answer of the walk comes first; pixel 0 was verified, so it is asked twice
        await opened(stage, "power")
        await press(stage, "left", "left")
        crashed = load_map(stage.path)
        assert {c.what.value for c in crashed.pending} == {"chain", "pixel"}, "on disk, if the program is killed here"
        await press(stage, "escape")
        saved = load_map(stage.path)
        assert [r.reason for r in saved.revisions[NEW:]] == ["Walked: Playfield", "Playfield: wire changed"]
        assert saved.pending == ()
        assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", r.time) for r in saved.revisions[NEW:])
        assert saved.revisions[-1].changes == ("Playfield: wire 20 AWG → 24 AWG",)
        assert at_revision(saved, saved.revisions[-2].number).chain("playfield").wire == "20 AWG"
    async with open_app(saved, DEMO) as stage:
        await stage.lit()
        await press(stage, "ctrl+z", "ctrl+z")
        undone = load_map(stage.path)
        assert undone.chain("playfield").wire == "20 AWG"
        assert undone.chain("playfield").pixels[0].state == "spare", "the walk's answer is another revision"
        assert undone.revisions[-1].undoes == saved.revisions[-1].number


async def test_a_feed_that_is_moved_says_so(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        for _ in range(40):
            screen = stage.app.screen
            assert isinstance(screen, FormScreen)
            view = screen.current_view()
            assert isinstance(view, FormView)
            if "pixel" in str(view.at).lower():
                break
            await stage.pilot.press("down")
            await stage.pilot.pause()
        await press(stage, "right", "escape")
    assert [r.reason for r in load_map(stage.path).revisions[NEW:]] == ["Feed Board end moved"]


@pytest.mark.slow
async def test_a_visit_that_changes_nothing_makes_no_revision(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        await press(stage, "left", "ctrl+z", "escape")
        assert load_map(stage.path) == DEMO
        await press(stage, *to("app.harness"), "enter", "escape")
    assert load_map(stage.path) == DEMO


@pytest.mark.slow
async def test_harness_and_power_are_one_visit(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        await press(stage, "left", *to("app.harness"), "enter")
        await press(stage, *to("app.power"), "left", "escape")
        saved = load_map(stage.path)
    assert [r.reason for r in saved.revisions[NEW:]] == ["Playfield: wire changed"]


@pytest.mark.slow
async def test_lamps_are_revisions_and_undone_across_sessions(open_app: OpenApp) -> None:
    map_ = demo()
    async with open_app(map_, map_, size=(120, 40), config=ROOM) as stage:
        await to_lamps(stage)
        await stage.pilot.press(*to("lamps.add"))
        await shows(stage, "A new row")
        await stage.pilot.press(*"70", "down", *"Apron", "enter")
        await shows(stage, "Apron added")
        await stage.pilot.press(*to("app.board"))
        await shows(stage, "the board's lamp table")
        saved = load_map(stage.path)
        assert saved.pending == ()
        assert saved.revisions[-1].reason == "Lamp Apron added"
        await stage.pilot.press("escape")
        await shows(stage, "96 rows")
        await stage.pilot.press("ctrl+z")
        await shows(stage, "nothing of this session is left")
        await stage.pilot.press("escape")
        await stage.lit()
        await press(stage, "ctrl+z", "ctrl+z")
    after = load_map(stage.path)
    assert diff(after, map_) == ()
    assert after.revisions[-1].reason.startswith("Undone: revision")


async def test_leaving_the_program_from_a_visit_keeps_the_reason(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        await press(stage, "left", "ctrl+q")
    saved = load_map(stage.path)
    assert [r.reason for r in saved.revisions[NEW:]] == ["Playfield: wire changed"]
    assert saved.pending == ()
