"""Sessions, undo over revisions and what is verified, on screen by keys."""

from __future__ import annotations

import pytest

from probe.document.diff import diff
from probe.document.edits import Insert, renumber
from probe.document.file import load_map
from probe.document.revisions import verified_count
from tests.support.keys import to
from tests.ui.conftest import OpenApp, text_of
from tests.ui.test_walk_screen import small


@pytest.mark.slow
async def test_a_walk_becomes_one_revision_and_is_taken_back_later(open_app: OpenApp) -> None:
    map_ = small()
    async with open_app(map_) as stage:
        await stage.lit()
        for label in ("Otter", "Eel"):
            await stage.pilot.press(*label, "enter")
            await stage.lit()
        assert load_map(stage.path).pending, "what a session changed is on disk with every answer"
        await stage.pilot.press("ctrl+q")
    after = load_map(stage.path)
    assert after.pending == ()
    assert [r.reason for r in after.revisions] == ["Walked: Playfield"]
    assert verified_count(after, after.chain("a")) == 2
    async with open_app(after, map_) as stage:
        await stage.lit()
        await stage.pilot.press("ctrl+z")
        await stage.pilot.pause()
        assert "once more" in text_of(stage.app)
        assert "revision 1" in text_of(stage.app)
        await stage.pilot.press("ctrl+z")
        await stage.pilot.pause()
        await stage.app.settled()
        assert diff(load_map(stage.path), map_) == ()
        await stage.lit()
        await stage.pilot.press("ctrl+y")
        await stage.pilot.pause()
        await stage.pilot.press("ctrl+y")
        await stage.pilot.pause()
        await stage.app.settled()
    again = load_map(stage.path)
    assert diff(again, after) == ()
    assert [r.undoes for r in again.revisions] == [None, 1, 2]


async def test_a_finished_chain_closes_its_session(open_app: OpenApp) -> None:
    truth = small()
    blank = truth.model_copy(
        update={"chains": tuple(c.model_copy(update={"pixels": ()}) for c in truth.chains), "places": ()}
    )
    async with open_app(blank, truth) as stage:
        for number in range(6):
            await stage.lit()
            await stage.pilot.press(*f"Lane{number}", "enter")
        await stage.pilot.pause()
        await stage.app.settled()
        saved = load_map(stage.path)
        assert [r.reason for r in saved.revisions] == ["Walked: Playfield"]
        assert saved.pending == ()
        assert verified_count(saved, saved.chain("a")) == 6
    assert len(load_map(stage.path).revisions) == 1


async def test_the_screens_say_what_is_not_verified_since_a_change(open_app: OpenApp) -> None:
    map_ = small()
    pixels = tuple(p.model_copy(update={"verified": 1}) for p in map_.chains[0].pixels)
    map_ = map_.model_copy(update={"chains": (map_.chains[0].model_copy(update={"pixels": pixels}),)})
    map_ = renumber(map_, [Insert(chain="a", after=2)], time="2026-03-01T00:00:00Z", reason="first")
    map_ = renumber(map_, [Insert(chain="a", after=2)], time="2026-03-01T00:00:01Z", reason="second")
    async with open_app(map_) as stage:
        await stage.lit()
        await stage.pilot.press(*to("walk.ask.GOTO"), "0", "enter")
        await stage.lit()
        assert "● LIT   ? not verified" in text_of(stage.app)
        await stage.pilot.press("enter")
        await stage.lit()
        await stage.pilot.press("pageup")
        await stage.lit()
        assert "● LIT   ✓ verified" in text_of(stage.app)
        await stage.pilot.press(*to("app.table"))
        await stage.pilot.pause()
        shown = text_of(stage.app)
        assert "✓" in shown
        assert "? since change" in shown
        assert "? never" in shown
