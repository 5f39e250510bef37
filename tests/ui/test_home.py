"""Home: what the map used last needs, other maps, a new one, the demo; one key each."""

from __future__ import annotations

import asyncio
import re
import threading
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import OptionList

from probe.document.checks import check_map
from probe.document.file import demo_map_path, load_map
from probe.ui.app import ProbeApp
from probe.ui.launch import LaunchOptions, Session
from probe.ui.start import HomeScreen, PortChoice, PortScreen
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


async def answered(app: ProbeApp, pilot: Pilot[str]) -> None:
    """Wait until what is being opened is there, or refused."""
    for _ in range(500):
        await pilot.pause(0.01)
        if app._opening is None:
            return
    raise AssertionError("still opening")


@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (200, 60)]))
async def test_it_shows_needs_maps_and_the_way_out(size: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        text = text_of(app)
        assert "Kelp Forest needs, most useful first" in text
        assert re.search("1  Walk Playfield +41 pixels unseen", text)
        assert "night ferry.json" in text
        assert "The demo" in text
        assert "Leave" in text
        done: list[object] = []
        monkeypatch.setattr(app, "open_file", lambda path, need=None: done.append(need))
        home = app.screen
        assert isinstance(home, HomeScreen)
        for number, need in enumerate(home._needs, 1):
            await pilot.press(str(number))
            assert done.pop() is need, "a digit does its own row"


async def test_where_there_are_rows_nothing_of_what_a_map_needs_is_cut() -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        screen = app.screen
        assert isinstance(screen, HomeScreen)
        text = " ".join(" ".join(line.strip("│ ").split("│")[0] for line in text_of(app).splitlines()).split())
        assert len(screen._needs) > 3
        assert "⏎" not in text, "a note in a second row is no line end made visible"
        for need in screen._needs:
            assert need.words in text
            assert " ".join(need.detail.split()) in text


async def test_a_small_terminal_too_shows_the_whole_note_while_rows_are_free(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = load_map(demo_map_path("kelp_forest.json"))
    monkeypatch.setattr(Opens, "look", lambda self, path: whole)
    for size, cut_off in (((80, 24), False), ((80, 19), True)):
        app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            shown = text_of(app)
            text = " ".join(" ".join(line.strip("│ ") for line in shown.splitlines()).split())
            home = app.screen
            assert isinstance(home, HomeScreen)
            assert max(len(need.words) + len(need.detail) for need in home._needs) > 70
            assert ("…" in text) == cut_off, shown
            assert "Leave the program" in text or cut_off
            if not cut_off:
                for need in home._needs:
                    assert " ".join(need.detail.split()) in text


async def test_every_row_has_one_key_and_trouble_stays_at_home() -> None:
    opener = Opens()
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("1")
        await answered(app, pilot)
        assert isinstance(app.screen, HomeScreen)
        assert "is not there" in text_of(app)
        for key in ("d", "m", "enter"):
            await pilot.press(key)
            await answered(app, pilot)
        assert opener.asked == ["/maps/kelp.json", "demo", "/maps/kelp.json", "/maps/kelp.json"]


@pytest.mark.slow
async def test_the_file_line_takes_letters_and_esc_leads_back_out_of_it() -> None:
    opener = Opens()
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", *"d1q.json", "enter")
        await answered(app, pilot)
        assert opener.asked == ["d1q.json"]
        assert "Esc Back" in text_of(app)
        await pilot.press("escape")
        assert "Esc How to leave" in text_of(app)
        await pilot.press("d")
        await answered(app, pilot)
        assert opener.asked == ["d1q.json", "demo"]


class Slow(Opens):
    """A disk and a system that take their time, until they are let."""

    def __init__(self) -> None:
        super().__init__()
        self.let = threading.Event()
        self.closed = threading.Event()

    def open_file(self, path: str) -> Session:
        self.asked.append(path)
        self.let.wait(20)
        return ClosesLoudly(self.closed)

    def ports(self) -> list[PortChoice]:
        self.let.wait(20)
        return [PortChoice(None, "paper")]


class ClosesLoudly(Session):
    """A session that says that it was closed."""

    def __init__(self, closed: threading.Event) -> None:
        super().__init__(paper=True)
        object.__setattr__(self, "shut", closed)

    def close(self) -> None:
        super().close()
        self.shut.set()  # type: ignore[attr-defined]


@pytest.mark.slow
async def test_a_slow_file_says_so_and_esc_stops_it_with_nothing_left_open() -> None:
    opener = Slow()
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("1")
        for _ in range(500):
            await pilot.pause(0.02)
            if "Reading kelp.json" in text_of(app):
                break
        assert "Esc stops it" in text_of(app)
        await pilot.press("escape")
        await pilot.pause(0.1)
        assert isinstance(app.screen, HomeScreen), "the first Esc stops, and does not leave"
        assert "stopped; nothing was changed" in text_of(app)
        opener.let.set()
        assert await asyncio.to_thread(opener.closed.wait, 10), "what was opened too late is closed again"
        await pilot.pause(0.05)
        assert isinstance(app.screen, HomeScreen)


@pytest.mark.slow
async def test_slow_ports_say_so_and_an_address_can_be_typed_meanwhile() -> None:
    opener, picked = Slow(), []  # type: ignore[var-annotated]
    app = ProbeApp(LaunchOptions(start_here=True), Session(), opener)
    async with app.run_test(size=(80, 24)) as pilot:
        app.push_screen(PortScreen(), picked.append)
        for _ in range(500):
            await pilot.pause(0.02)
            if "Looking for ports" in text_of(app):
                break
        assert "Esc goes back" in text_of(app)
        opener.let.set()
        for _ in range(500):
            await pilot.pause(0.02)
            if "paper" in text_of(app):
                break
        assert "Looking for ports" not in text_of(app)
        await pilot.press("enter")
        await pilot.pause(0.05)
        assert picked == [PortChoice(None, "paper")]


async def test_a_large_terminal_shows_how_far_the_map_is_and_its_picture() -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        text = text_of(app)
        assert re.search("Playfield .* 43 of 84 pixels seen", text)
        assert "from above" in text
        assert "Enter Open" in text
        await pilot.resize_terminal(80, 24)
        await pilot.pause(0.2)
        text = text_of(app)
        assert "43 of 84" not in text
        assert "3  " in text, "as many lines as there is room for"
        assert "The whole worklist" in text


async def test_what_does_not_agree_is_named_where_there_are_rows_and_what_is_left_out_is_counted() -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
    found = check_map(HALF)
    async with app.run_test(size=(200, 60)) as pilot:
        await pilot.pause()
        text = text_of(app)
        assert "What does not agree" in text
        assert f"{found[0].what[:1].upper()}{found[0].what[1:]}"[:60] in text
        shown = sum(f"{f.what[:1].upper()}{f.what[1:]}"[:60] in text for f in found)
        assert 10 <= shown < len(found)
        assert f"and {len(found) - shown} more" in text
        await pilot.resize_terminal(120, 40)
        await pilot.pause(0.2)
        assert "What does not agree" not in text_of(app)


async def test_how_the_work_goes_is_folded_behind_its_numbers() -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), NoOpener())
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        rows = [row.partition("│")[2].partition("│")[0] for row in text_of(app).splitlines()]
        first = next(i for i, row in enumerate(rows) if row.startswith(" 1  A new map"))
        last = next(i for i, row in enumerate(rows) if row.startswith(" 5  "))
        assert last - first > 4, "some steps are longer than a row"
        for row in rows[first : last + 1]:
            assert re.match(r" [\d ]  \S", row), row


async def test_a_small_terminal_lists_three_needs_and_the_way_to_the_rest() -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), Opens())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        home = app.screen
        assert isinstance(home, HomeScreen)
        assert len(home._left) > 3
        listed = home.query_one("#needs", OptionList)
        rows = [str(listed.get_option_at_index(n).prompt) for n in range(listed.option_count)]
        assert len(rows) == 4
        assert f"{len(home._left) - 3} more line" in rows[3]
