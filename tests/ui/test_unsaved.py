"""Answers that could not be saved, at the keyboard: each way out, and nothing lost in any."""

from __future__ import annotations

import errno
import os
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from textual.events import Key

from probe.document.file import load_map
from probe.document.file.disk import Disk
from probe.ui.command_screen import message_line
from probe.ui.unsaved import UnsavedScreen
from tests.ui.conftest import OpenApp, Stage, text_of
from tests.ui.test_walk_screen import small

LABEL = "Otter"


def has_label(path: Path, label: str = LABEL) -> bool:
    return any(place.label == label for place in load_map(path).places)


async def press(stage: Stage, *keys: str) -> str:
    await stage.pilot.press(*keys)
    await stage.app.settled()
    await stage.pilot.pause()
    return text_of(stage.app)


def unwrapped(shown: str) -> str:
    """A sentence in a box on one line, wherever it was wrapped."""
    return " ".join(shown.replace("│", " ").split())


async def asked(stage: Stage, *, is_asked: bool = True) -> str:
    """Wait until the question is there, or gone; what the screen shows."""
    for _ in range(500):
        await stage.pilot.pause(0.01)
        screen = stage.app.screen
        if isinstance(screen, UnsavedScreen):
            if is_asked and not screen._busy:
                return text_of(stage.app)
        elif not is_asked:
            return text_of(stage.app)
    raise AssertionError(text_of(stage.app))


async def ended(stage: Stage) -> None:
    for _ in range(500):
        await stage.pilot.pause(0.01)
        if stage.app.endings.ended is not None:
            return
    raise AssertionError("it goes on")


def replace(path: Path) -> bytes:
    """Another program writes another content."""
    theirs = path.read_bytes().replace(b"Kelp Forest", b"Kelp Meadow", 1)
    assert theirs != path.read_bytes()
    path.write_bytes(theirs)
    return theirs


class Full:
    """A disk on which nothing can be made in one folder, as long as `is_full`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
        self.is_full = False
        create: Callable[[Disk, Path, int], int] = Disk.create

        def planted(disk: Disk, path: Path, mode: int) -> int:
            if self.is_full and path.parent == folder:
                raise OSError(errno.ENOSPC, "No space left on device")
            return create(disk, path, mode)

        monkeypatch.setattr(Disk, "create", planted)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Full:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return Full(monkeypatch, tmp_path)


@asynccontextmanager
async def with_an_answer(open_app: OpenApp, trouble: Callable[[Path], object]) -> AsyncIterator[Stage]:
    """An answer is given after the trouble began."""
    async with open_app(small(), size=(100, 30)) as stage:
        await stage.lit()
        trouble(stage.path)
        await press(stage, *LABEL, "enter")
        yield stage


@pytest.mark.slow
async def test_a_touch_by_another_program_is_no_trouble(open_app: OpenApp) -> None:
    async with with_an_answer(open_app, lambda path: os.utime(path, ns=(1, 1))) as stage:
        assert "NOT SAVED" not in text_of(stage.app)
        assert has_label(stage.path)
        await stage.pilot.press("ctrl+q")
        await ended(stage)
    assert stage.app.endings.ended is not None
    assert not stage.app.endings.ended.unsaved


async def test_the_message_begins_with_the_cure_and_its_key(open_app: OpenApp) -> None:
    async with with_an_answer(open_app, replace) as stage:
        shown = [line for line in text_of(stage.app).splitlines() if "NOT SAVED" in line]
        assert shown[0].strip().startswith("Ctrl+R saves again, or elsewhere")


@pytest.mark.slow
async def test_saving_over_keeps_theirs_beside_it(open_app: OpenApp) -> None:
    written: list[bytes] = []
    async with with_an_answer(open_app, lambda path: written.append(replace(path))) as stage:
        await stage.pilot.press("ctrl+r")
        assert "Save over" in await asked(stage)
        assert not has_label(stage.path), "nothing is overwritten before it was chosen"
        await stage.pilot.press("o")
        shown = await asked(stage, is_asked=False)
        assert has_label(stage.path)
        assert (stage.path.parent / "map.theirs.json").read_bytes() == written[0]
        await stage.app.settled()
        assert "NOT SAVED" not in text_of(stage.app)
        assert shown


@pytest.mark.slow
@pytest.mark.parametrize("why", ["replaced", "full"])
async def test_saving_under_another_name(open_app: OpenApp, disk: Full, tmp_path: Path, why: str) -> None:
    def trouble(path: Path) -> None:
        disk.is_full = why == "full"
        if why == "replaced":
            replace(path)

    async with with_an_answer(open_app, trouble) as stage:
        before = stage.path.read_bytes()
        await stage.pilot.press("ctrl+r")
        await asked(stage)
        await stage.pilot.press("a")
        line = stage.app.screen.query_one("#unsaved-name")
        assert line.has_focus
        other = tmp_path / "elsewhere" / "kelp [/x].json"
        taken = tmp_path / "taken.json"
        taken.write_text("somebody's")
        line.value = str(taken)  # type: ignore[attr-defined]
        await stage.pilot.press("enter")
        assert "there is a file already" in unwrapped(await asked(stage))
        assert taken.read_text() == "somebody's"
        await stage.pilot.press("2")
        line.value = str(other)  # type: ignore[attr-defined]
        await stage.pilot.press("enter")
        await asked(stage, is_asked=False)
        assert has_label(other)
        assert stage.path.read_bytes() == before
        await press(stage, *"Eel", "enter")
        assert has_label(other, "Eel"), "it goes on in the other file"
        assert stage.app.opener.remembered == str(other)  # type: ignore[attr-defined]


@pytest.mark.slow
async def test_trying_again_once_there_is_room(open_app: OpenApp, disk: Full) -> None:
    def trouble(path: Path) -> None:
        disk.is_full = True

    async with with_an_answer(open_app, trouble) as stage:
        assert "NOT SAVED" in text_of(stage.app)
        await stage.pilot.press("ctrl+r")
        shown = await asked(stage)
        assert "The disk is full" in unwrapped(shown)
        assert "Save over" not in shown
        assert "Leave" not in shown
        await stage.pilot.press("1")
        await asked(stage)  # still full: asked again
        disk.is_full = False
        await stage.pilot.press("enter")
        await asked(stage, is_asked=False)
        assert has_label(stage.path)


@pytest.mark.slow
async def test_leaving_asks_and_esc_goes_back_to_light(open_app: OpenApp, disk: Full) -> None:
    def trouble(path: Path) -> None:
        disk.is_full = True

    async with with_an_answer(open_app, trouble) as stage:
        await stage.pilot.press("ctrl+q")
        await asked(stage)
        assert not stage.board.lit(), "it is dark while it asks"
        await stage.pilot.press("escape")
        await asked(stage, is_asked=False)
        assert stage.app.endings.begun is None
        disk.is_full = False
        await press(stage, "ctrl+r")
        await stage.lit()
        assert stage.board.lit()
        assert has_label(stage.path)


async def test_esc_held_down_on_the_question_gives_nothing_up(open_app: OpenApp, disk: Full) -> None:
    def trouble(path: Path) -> None:
        disk.is_full = True

    async with with_an_answer(open_app, trouble) as stage:
        await stage.pilot.press("ctrl+q")
        await asked(stage)
        for _ in range(13):  # keys come faster than screens are made
            stage.app.post_message(Key("escape", None))
        await stage.pilot.pause(0.3)
        assert stage.app.is_running
        assert stage.app.endings.ended is None
        assert any(place.label == LABEL for place in stage.app.document.map.places)
        disk.is_full = False
        await stage.pilot.press("ctrl+q")
        await ended(stage)
    assert has_label(stage.path)


@pytest.mark.slow
@pytest.mark.parametrize("key", ["l", "ctrl+q"])
async def test_leaving_with_a_rescue_copy(open_app: OpenApp, disk: Full, tmp_path: Path, key: str) -> None:
    def trouble(path: Path) -> None:
        disk.is_full = True

    async with with_an_answer(open_app, trouble) as stage:
        await stage.pilot.press("ctrl+q")
        await asked(stage)
        await stage.pilot.press(key)
        await ended(stage)
    outcome = stage.app.endings.ended
    assert outcome is not None
    assert outcome.unsaved
    (copy,) = (tmp_path / "state" / "playfield-probe").glob("*rescue*")
    assert has_label(copy)
    assert any(str(copy) in line for line in outcome.lines)
    assert not has_label(stage.path)


async def test_leaving_saves_under_another_name_and_ends(open_app: OpenApp, tmp_path: Path) -> None:
    async with with_an_answer(open_app, replace) as stage:
        await stage.pilot.press("ctrl+q")
        await asked(stage)
        await stage.pilot.press("a", "enter")
        await ended(stage)
    outcome = stage.app.endings.ended
    assert outcome is not None
    assert not outcome.unsaved
    assert has_label(tmp_path / "map-2.json")


@pytest.mark.slow
async def test_a_file_replaced_after_the_last_save_is_asked_about_too(open_app: OpenApp) -> None:
    """What leaving itself would write, the revision of what is pending, is not saved over another content either."""
    async with open_app(small(), size=(100, 30)) as stage:
        await stage.lit()
        await press(stage, *LABEL, "enter")
        theirs = replace(stage.path)
        await stage.pilot.press("ctrl+q")
        await asked(stage)
        assert stage.path.read_bytes() == theirs
        await stage.pilot.press("o")
        await ended(stage)
    assert stage.app.endings.ended is not None
    assert not stage.app.endings.ended.unsaved
    assert has_label(stage.path)
    assert load_map(stage.path).revisions


@pytest.mark.slow
async def test_room_made_before_leaving_saves_without_a_question(open_app: OpenApp, disk: Full) -> None:
    def trouble(path: Path) -> None:
        disk.is_full = True

    async with with_an_answer(open_app, trouble) as stage:
        disk.is_full = False
        await stage.pilot.press("ctrl+q")
        await ended(stage)
    assert stage.app.endings.ended is not None
    assert not stage.app.endings.ended.unsaved
    assert has_label(stage.path)


def test_that_the_map_is_not_saved_comes_before_whatever_else_is_said() -> None:
    line = message_line("the disk is full", "Reef lane 1 is saved", "Ctrl+R").plain
    assert line.startswith("Ctrl+R saves again")
    assert "the disk is full" in line
    assert message_line("", "Reef lane 1 is saved", "Ctrl+R").plain == "Reef lane 1 is saved"
