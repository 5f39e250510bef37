"""Parts of the screens by themselves: what is drawn again, what stands where there is room, where a click lands."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from rich.style import Style
from textual.app import App, ComposeResult
from textual.content import Content
from textual.widgets import DataTable, Static

from probe.document.file import demo_map_path, load_map
from probe.document.operations import new_map
from probe.runtime.runtime import Work
from probe.task.events import GoTowards
from probe.task.task import BoardView
from probe.task.views import LIT_SIGN, Line, Spot, TaskView
from probe.ui.ascii_only import WholeCells, to_blocks
from probe.ui.command_screen import Aside, CommandScreen
from probe.ui.footer import GAP, KeyHint, fitted
from probe.ui.form_screen import FormScreen
from probe.ui.rows_screen import RowsScreen
from probe.ui.waiting import HOW_FAR_AFTER_S, work_words
from probe.ui.widgets.big_number import HEIGHT, BigNumber
from probe.ui.widgets.key_line import KeyLine
from probe.ui.widgets.picture import MOST_RINGS, PlayfieldPicture, Zoom
from tests.support.keys import to
from tests.ui.conftest import OpenApp, text_of

WHOLE = load_map(demo_map_path())
HALF = load_map(demo_map_path("kelp_forest_half.json"))
WORDS = ("Take", "Nothing lit", "Hidden", "Same place", "Menu", "Back")
HINTS = [
    KeyHint(key, words, words) for key, words in zip(("Enter", "F2", "F3", "Space", "F10", "Esc"), WORDS, strict=True)
]


async def test_a_line_of_which_only_the_style_differs_is_drawn_again(open_app: OpenApp) -> None:
    async with open_app(HALF, HALF) as stage:
        await stage.lit()
        screen = stage.app.screen
        assert isinstance(screen, CommandScreen)
        for style in ("bold", "dim"):
            screen.put("prompt", Content.styled("What lights?", style))
            shown = screen.query_one("#prompt", Static).visual
            assert isinstance(shown, Content)
            assert shown.is_same(Content.styled("What lights?", style))


@pytest.mark.slow
@pytest.mark.parametrize(("size", "named"), [((80, 24), False), ((179, 30), True)])
async def test_lamps_are_named_in_their_panel_only_where_a_name_has_room(
    size: tuple[int, int], named: bool, open_app: OpenApp
) -> None:
    async with open_app(WHOLE, WHOLE, size=size, config={"inputs": 64}) as stage:
        await stage.lit()
        stage.app.runtime.open("watch")
        for _ in range(100):
            await stage.pilot.pause(0.02)
            if re.search(r"\b1·", text_of(stage.app)):
                break
        row = next(line for line in text_of(stage.app).splitlines() if re.search(r"\b1·", line))
        assert ("1·La" in row) == named, row


@pytest.mark.parametrize("vertical", [True, False])
@pytest.mark.parametrize("position", [0.0, 3.3, 7.9, 12.0])
def test_scroll_bars_in_ascii_hold_no_part_of_a_cell(vertical: bool, position: float) -> None:
    bar = WholeCells.render_bar(
        size=11, virtual_size=33, window_size=11, position=position, thickness=1, vertical=vertical
    )
    assert {segment.text.strip() for segment in bar.segments} <= {""}


@pytest.mark.parametrize("width", [30, 40, 60, 80, 100])
def test_a_footer_is_never_wider_than_the_screen_and_keeps_the_way_back(width: int) -> None:
    shown = fitted(HINTS, width)
    assert shown[-1].key == "Esc"
    assert sum(hint.cells for hint in shown) + GAP * (len(shown) - 1) <= width
    assert shown[:-1] == HINTS[: len(shown) - 1], "what stands earlier stays longer"


async def test_every_key_of_the_footer_does_its_own_where_it_is_clicked(
    open_app: OpenApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with open_app(HALF, HALF) as stage:
        await stage.lit()
        done: list[str] = []

        async def note(action: str, *_: object) -> bool:
            done.append(action)
            return True

        monkeypatch.setattr(stage.app, "run_action", note)
        line = stage.app.screen.query_one(KeyLine)
        hints, left = line.hints, 0
        assert len(hints) == 6
        for hint in hints:
            for x in (left, left + hint.cells - 1):
                done.clear()
                await stage.pilot.click(line, offset=(x, 0))
                assert hint.action in done, (hint, x)
            left += hint.cells + GAP


@pytest.mark.parametrize(("size", "times"), [((200, 60), 2), pytest.param((120, 40), 1, marks=pytest.mark.slow)])
async def test_the_number_is_twice_as_large_on_a_large_terminal(
    size: tuple[int, int], times: int, open_app: OpenApp
) -> None:
    async with open_app(HALF, HALF, size=size) as stage:
        await stage.lit()
        number = stage.app.screen.query_one(BigNumber)
        rows = str(number.visual).splitlines()
        assert len(rows) == HEIGHT * times
        assert number.size.height >= len(rows), "and it is whole"


@pytest.mark.slow
async def test_labels_of_a_form_are_whole(open_app: OpenApp) -> None:
    async with open_app(WHOLE, WHOLE) as stage:
        await stage.lit()
        stage.app.runtime.open("power_up", "playfield")
        await stage.pilot.pause(0.1)
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.1)
        assert "volts at the first pixel" in text_of(stage.app)


@pytest.mark.slow
async def test_why_there_is_no_board_stands_there_once(open_app: OpenApp, monkeypatch: pytest.MonkeyPatch) -> None:
    async with open_app(HALF, HALF) as stage:
        await stage.lit()
        screen, seen = stage.app.screen, stage.app.runtime.seen
        assert isinstance(screen, CommandScreen)
        trouble = "no answer from the board: is its firmware on it?"
        lost = BoardView(None, "no answer from the board", trouble)
        monkeypatch.setattr(stage.app.runtime, "seen", lambda shown: replace(seen(shown), board=lost))
        head, message = screen.head_and_message(TaskView("Kelp Forest", board=lost.words), 80)
        assert (head.plain, message.plain) == (" Kelp Forest   no board", trouble)
        head, message = screen.head_and_message(TaskView("Kelp Forest", board=lost.words, message="noted"), 80)
        assert (head.plain, message.plain) == (" Kelp Forest   no answer from the board", "noted")
        view = TaskView("Kelp Forest", board=lost.words, empty=(Line(trouble),))
        head, message = screen.head_and_message(view, 80)
        assert (head.plain, message.plain) == (" Kelp Forest   no board", "")


@pytest.mark.parametrize(("signs", "ends"), [("fine", " …"), ("ascii", " >")])
async def test_a_key_that_opens_a_list_is_told_from_others(signs: Any, ends: str, open_app: OpenApp) -> None:
    async with open_app(HALF, WHOLE, size=(80, 24)) as stage:
        stage.app.options = replace(stage.app.options, signs=signs)
        stage.app._filter_signs()
        stage.app.runtime.open("settings")
        await stage.pilot.pause(0.1)
        words = [hint.words for hint in stage.app.screen.query_one(KeyLine).hints if hint.action.startswith("picker(")]
        assert words
        assert all(word.endswith(ends) for word in words)


@pytest.mark.slow
async def test_a_curve_has_the_whole_width_and_digits_are_named_among_the_keys(open_app: OpenApp) -> None:
    async with open_app(WHOLE, WHOLE, size=(200, 60)) as stage:
        await stage.lit()
        stage.app.runtime.open("power", "playfield")
        await stage.pilot.pause(0.1)
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.2)
        assert isinstance(stage.app.screen, FormScreen)
        assert not stage.app.screen.query_one(Aside).is_at_side
        stage.app.runtime.open("guide")
        await stage.pilot.pause(0.2)
        assert re.search(r"1-9 +The row that stands beside it", text_of(stage.app))


@pytest.mark.slow
async def test_a_step_that_leaves_its_picker_open_is_said_there(open_app: OpenApp) -> None:
    async with open_app(HALF, HALF) as stage:
        await stage.lit()
        await stage.pilot.press("ctrl+l", "up")
        await stage.pilot.pause(0.1)
        note = str(stage.app.screen.query_one("#choice-note", Static).visual)
        assert note
        assert note == stage.walk.message, "the walk's own line lies below the picker"


@pytest.mark.slow
async def test_a_click_on_a_heading_sorts_by_that_column(open_app: OpenApp) -> None:
    async with open_app(WHOLE, WHOLE) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.table"))
        await stage.pilot.pause()
        screen = stage.app.screen
        assert isinstance(screen, RowsScreen)
        table = screen.query_one(DataTable)
        before, second = screen._view, table.ordered_columns[0].get_render_width(table) + 2
        assert before is not None
        assert before.sort == 0
        await stage.pilot.click(table, offset=(second, 0))
        await stage.pilot.pause(0.1)
        assert screen._view is not None
        assert screen._view.sort == 1


@pytest.mark.slow
async def test_another_theme_reaches_a_picture_that_did_not_change(open_app: OpenApp) -> None:
    async with open_app(HALF, HALF) as stage:
        await stage.lit()
        picture = stage.app.screen.query_one("#picture", PlayfieldPicture)

        def colours() -> set[Style | None]:
            return {segment.style for y in range(picture.size.height) for segment in picture.render_line(y)}

        before = colours()
        stage.app.theme = "light-room"
        await stage.pilot.pause(0.1)
        assert not before & colours()


class _Picture(App[None]):
    """Nothing but a picture."""

    def compose(self) -> ComposeResult:
        yield PlayfieldPicture()


async def test_more_lights_than_can_be_told_apart_have_no_rings() -> None:
    async with _Picture().run_test(size=(56, 36)) as pilot:
        picture = pilot.app.query_one(PlayfieldPicture)
        at = [place.position for place in WHOLE.places if place.position is not None and place.kind.value == "insert"]
        for count, ringed in ((MOST_RINGS, True), (MOST_RINGS + 1, False)):
            picture.show(WHOLE, [Spot(position, LIT_SIGN, "lit") for position in at[: 8 * count : 8]])
            roles = {role for row in picture._over.values() for _, role in row.values()}
            assert ("ring" in roles) == ringed
            assert "lit" in roles


async def test_where_no_area_is_known_the_picture_goes_from_half_to_whole() -> None:
    async with _Picture().run_test(size=(36, 24)) as pilot:
        picture = pilot.app.query_one(PlayfieldPicture)
        for map_, zooms in (
            (HALF, [Zoom.HALF, Zoom.AREA, Zoom.WHOLE]),
            (new_map("Night Ferry"), [Zoom.HALF, Zoom.WHOLE]),
        ):
            picture.show(map_)
            for zoom in zooms:
                picture.next_zoom()
                assert picture.zoom is zoom


@pytest.mark.slow
async def test_arrows_in_a_picture_from_below_go_where_they_point(open_app: OpenApp) -> None:
    async with open_app(WHOLE, WHOLE) as stage:
        await stage.lit()
        stage.app.runtime.open("shapes")
        await stage.pilot.pause(0.1)
        screen = stage.app.screen
        assert isinstance(screen, CommandScreen)
        heard: list[object] = []
        top = stage.app.runtime.top
        assert top is not None
        step = top.task.step

        def hear(s: Any, event: object, now_s: float) -> Any:
            heard.append(event)
            return step(s, event, now_s)

        top.task.step = hear  # type: ignore[method-assign]
        for flipped in (False, True):
            screen.dispatch(GoTowards(1, 0))
            assert getattr(heard[-1], "from_below", None) is flipped
            screen.query_one("#picture", PlayfieldPicture).flip()


def test_how_long_it_takes_is_said_after_a_while_only() -> None:
    assert " s" not in work_words(Work("looking for ports", HOW_FAR_AFTER_S - 0.1)).partition("…")[0]
    assert f", {HOW_FAR_AFTER_S:.0f} s" in work_words(Work("looking for ports", HOW_FAR_AFTER_S))


@pytest.mark.parametrize(
    ("dots", "sign"), [("⠁", "▘"), ("⠐", "▝"), ("⠄", "▖"), ("⡀", "▖"), ("⢀", "▗"), ("⠀", " "), ("⣿", "█")]
)
def test_each_quarter_of_a_block_holds_its_dots(dots: str, sign: str) -> None:
    """Dots 1 2 3 7 stand at the left from above, 4 5 6 8 at the right (Unicode, Braille Patterns: U+2800 + bits)."""
    assert to_blocks(dots) == sign
