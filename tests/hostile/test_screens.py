"""No screen lets a control character from outside through to the terminal, and none needs the last door for that."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.widgets import Input

from probe.document.file import load_map
from probe.document.model import PlayfieldMap
from probe.document.operations import new_map
from probe.task import events as ev
from probe.ui.app import MAKERS, ProbeApp
from probe.ui.launch import LaunchOptions, Session
from probe.ui.text import HARMLESS, Harmless
from tests.hostile.test_output import hostile_map
from tests.hostile.texts import ALL_ESCAPES, ESCAPES, unsafe_in
from tests.ui.conftest import NoOpener, OpenApp, open_app, text_of

__all__ = ["hostile_map", "open_app"]
MARKUP = "[/x][b]"
KEYS = ["down", "pagedown", "enter", "down", "enter", "escape", "f1", "escape", "f10", "escape"]


@pytest.fixture
def caught(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What only the last door has kept back: texts that came by another way than the one for outside text."""
    found: list[str] = []
    apply = Harmless.apply

    def noted(self: Harmless, segments: list[Segment], background: Color) -> list[Segment]:
        found.extend(segment.text for segment in segments if unsafe_in(segment.text, lines=False))
        return apply(self, segments, background)

    monkeypatch.setattr(Harmless, "apply", noted)
    return found


@pytest.fixture
def hostile(hostile_map: Path) -> PlayfieldMap:
    map_ = load_map(hostile_map)
    machine = map_.machine.model_copy(update={"name": MARKUP + map_.machine.name})
    return map_.model_copy(update={"machine": machine})


@pytest.mark.slow
@pytest.mark.parametrize("task", sorted(MAKERS.keys() - {"pick"}))
async def test_every_task_on_a_hostile_map(
    task: str,
    hostile: PlayfieldMap,
    open_app: OpenApp,
    caught: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    async with open_app(hostile, hostile, size=(120, 40)) as stage:
        stage.app.runtime.dispatch(ev.GoOpen(task))
        typed: set[str] = set()  # a text in a field of entry stays exact, but for what Textual leaves out
        for key in (None, *KEYS):
            if stage.app.return_code is not None:
                break
            if key is not None:
                await stage.pilot.press(key)
            await stage.pilot.pause()
            assert not unsafe_in(text_of(stage.app), lines=False)
            typed |= {re.sub(r"[\a\b\v\f\r]", "", field.value) for field in stage.app.screen.query(Input)}
        assert all(any(text.strip() in value for value in typed) for text in caught)


class Recent(NoOpener):
    """Its one map used before is hostile."""

    def __init__(self, map_: PlayfieldMap, path: str) -> None:
        self.map, self.path = map_, path

    def recent(self) -> list[str]:
        return [self.path, self.path + "2"]

    def look(self, path: str) -> PlayfieldMap | None:
        return self.map


async def test_the_first_screen_with_a_hostile_map_used_last(caught: list[str], tmp_path: Path) -> None:
    opener = Recent(
        new_map(MARKUP + ALL_ESCAPES), str(tmp_path / (MARKUP.replace("/", "") + ESCAPES["OSC 52"] + ".json"))
    )
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        assert "[/x]" in text_of(app)
        assert not unsafe_in(text_of(app), lines=False)
        assert not caught


def test_the_last_door_keeps_the_width() -> None:
    kept = HARMLESS.apply([Segment(f"字{ALL_ESCAPES}\ue000"), Segment("🏴\u200d☠ \xa0é⠿")], Color(0, 0, 0))
    assert not unsafe_in(kept[0].text)
    assert kept[0].text.startswith("字acb")
    assert cell_len(kept[0].text) == cell_len(f"字{ALL_ESCAPES}\ue000")
    assert kept[1].text == "🏴\u200d☠ \xa0é⠿"
