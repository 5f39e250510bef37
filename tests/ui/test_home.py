"""Home: what the map used last needs, other maps, a new one, the demo; one key each."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.ui.app import ProbeApp
from probe.ui.launch import LaunchOptions, Session
from probe.ui.start import HomeScreen
from tests.support.examples import first_now
from tests.ui.conftest import NoOpener, text_of

HALF = load_map(demo_map_path("kelp_forest_half.json"))


class Opens(NoOpener):
    """Two maps used lately; what is opened is noted and refused."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def recent(self) -> list[str]:
        return ["/maps/kelp.json", "/maps/[/x] night ferry.json"]

    def look(self, path: str):  # type: ignore[no-untyped-def]
        return HALF if Path(path).name == "kelp.json" else None

    def open_file(self, path: str) -> Session:
        self.asked.append(path)
        raise FileNotFoundError(f"{path} is not there")

    def open_demo(self) -> Session:
        self.asked.append("demo")
        raise FileNotFoundError("no demo here")


@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (200, 60)]))
async def test_it_shows_needs_maps_and_the_way_out(size: tuple[int, int]) -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        text = text_of(app)
        assert "Kelp Forest needs, most useful first" in text
        assert "1  Walk Playfield   41 pixels unseen" in text
        assert "night ferry.json" in text
        assert "The demo" in text
        assert "Leave" in text


async def test_every_row_has_one_key_and_trouble_stays_at_home() -> None:
    opener = Opens()
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("1")
        await pilot.pause()
        assert isinstance(app.screen, HomeScreen)
        assert "is not there" in text_of(app)
        await pilot.press("d")
        await pilot.press("m")
        await pilot.press("enter")
        await pilot.pause()
        assert opener.asked == ["/maps/kelp.json", "demo", "/maps/kelp.json", "/maps/kelp.json"]


async def test_the_file_line_takes_letters_and_esc_leads_back_out_of_it() -> None:
    opener = Opens()
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", *"d1q.json", "enter")
        await pilot.pause()
        assert opener.asked == ["d1q.json"]
        await pilot.press("escape")
        await pilot.press("d")
        await pilot.pause()
        assert opener.asked == ["d1q.json", "demo"]
