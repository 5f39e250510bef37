"""The list of revisions on screen: read, compared and gone back to by keys."""

from __future__ import annotations

import pytest

from probe.document.diff import diff
from probe.document.document import SaveJob
from probe.document.edits import Insert, Remove, renumber
from probe.document.file import load_map
from probe.document.file.errors import CannotSaveError
from probe.document.local_time import local_minute
from probe.document.model import PlayfieldMap
from probe.document.revisions import at_revision
from tests.support.examples import first_now, in_groups
from tests.support.keys import to
from tests.ui.conftest import OpenApp, text_of
from tests.ui.test_power_screens import press
from tests.ui.test_walk_screen import HOSTILE, small

TIME = "2026-03-01T19:30:00Z"


def with_history(*reasons: str) -> PlayfieldMap:
    map_ = small()
    map_ = renumber(map_, [Insert(chain="a", after=2, count=2)], time=TIME, reason="lit the reef better")
    map_ = renumber(map_, [Remove(chain="a", first=0, last=0)], time="2026-03-02T20:00:00Z", reason="took one out")
    for reason in reasons:
        map_ = renumber(map_, [Insert(chain="a", after=0)], time=TIME, reason=reason)
    return map_


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40)]))
async def test_read_compare_and_go_back(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = with_history()
    async with open_app(map_, size=size) as stage:
        await stage.lit()
        shown = await press(stage, *to("app.table"), *to("app.revisions"))
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "revisions"
        when = [local_minute(time) for time in ("2026-03-02T20:00:00Z", "2026-03-01T19:30:00Z")]
        for words in (f"2  {when[0]:<18}  took one out", f"1  {when[1]:<18}  lit the reef better"):
            assert words in shown, words
        assert "From revision 1 to revision 2" in shown
        assert "taken out: was 0" in shown
        assert "0 of 7 verified since revision 2" in shown
        assert "new: 3–4 after" in await press(stage, "down")
        shown = await press(stage, *to("revisions.mark"), "up")
        assert "◂    1" in shown, "what is compared with is marked"
        shown = await press(stage, "down", "down")
        assert "From before the first revision to revision 1" in shown
        shown = await press(stage, "up", *to("revisions.mark"), "enter")
        assert "Enter once more" in shown
        assert load_map(stage.path) == map_
        shown = await press(stage, "enter")
        assert "Back to revision 1, lit the reef better" in shown
        saved = load_map(stage.path)
        assert diff(saved, at_revision(map_, 1)) == ()
        assert len(saved.revisions) == 3
        await press(stage, "escape")
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "walk"
        assert stage.app.document.map == saved
        await stage.lit()
        await press(stage, "ctrl+z", "ctrl+z")
    assert diff(load_map(stage.path), map_) == (), "the walk takes even that back"


@pytest.mark.slow
async def test_from_the_walks_list_and_the_open_session(open_app: OpenApp) -> None:
    map_ = with_history()
    async with open_app(map_) as stage:
        await stage.lit()
        await press(stage, *to("walk.say.SPARE"))
        shown = await press(stage, "escape", "2", "r")
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "revisions"
        assert "Walked: Playfield (open session)" in shown
        assert "From revision 2 to now" in shown
        await press(stage, "ctrl+z")
        saved = load_map(stage.path)
        assert [r.reason for r in saved.revisions[2:]] == ["Walked: Playfield", "Undone: revision 3, Walked: Playfield"]
        await press(stage, "ctrl+y", "escape")
        await stage.lit()
        await press(stage, *to("walk.say.SPARE"))
    after = load_map(stage.path)
    assert [r.number for r in after.revisions] == [1, 2, 3, 4, 5, 6], "the walk went on from there"


@pytest.mark.slow
async def test_looking_changes_nothing(open_app: OpenApp) -> None:
    map_ = with_history()
    async with open_app(map_) as stage:
        await stage.lit()
        await press(
            stage,
            *to("app.table"),
            *to("app.revisions"),
            "down",
            *to("revisions.mark"),
            "up",
            "pagedown",
            "pageup",
            "escape",
        )
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "walk"
    assert load_map(stage.path) == map_


@pytest.mark.parametrize("reasons", first_now(in_groups(HOSTILE, of=7)), ids=str)
async def test_hostile_reasons(open_app: OpenApp, reasons: tuple[str, ...]) -> None:
    async with open_app(with_history(*reasons)) as stage:
        await stage.lit()
        await press(stage, *to("app.table"), *to("app.revisions"), "enter")
        for _ in reasons:
            shown = await press(stage, "down")
            assert "\x1b" not in shown
            assert "\u202e" not in shown
        shown = await press(stage, "enter", "enter")
        assert "Back to revision 2" in shown


@pytest.mark.slow
async def test_a_full_disk_is_told_and_tried_again(open_app: OpenApp, monkeypatch: pytest.MonkeyPatch) -> None:
    map_ = with_history()
    async with open_app(map_) as stage:
        await stage.lit()
        await press(stage, *to("app.table"), *to("app.revisions"))

        def full(_: SaveJob) -> None:
            raise CannotSaveError(stage.path, "the disk is full", "make room")

        with monkeypatch.context() as broken:
            broken.setattr(SaveJob, "run", full)
            assert "NOT SAVED" in await press(stage, "ctrl+z")
        assert "NOT SAVED" not in await press(stage, "ctrl+r")
        assert len(load_map(stage.path).revisions) == 3


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (40, 12), (20, 5)]))
async def test_every_size_draws(open_app: OpenApp, size: tuple[int, int]) -> None:
    async with open_app(with_history(*["one more"] * 40), size=size) as stage:
        await stage.lit()
        await press(stage, *to("app.table"), *to("app.revisions"), *["down"] * 12)
        await stage.pilot.resize_terminal(80, 24)
        shown = await press(stage)
        assert "▸   30" in shown


async def test_without_a_board_everything_is_drawn_at_once(open_app: OpenApp) -> None:
    async with open_app(with_history(), paper=True) as stage:
        await stage.pilot.pause(0.2)
        assert "○ on paper" in text_of(stage.app)
        assert "took one out" in await press(stage, *to("app.table"), *to("app.revisions"))
