"""The menu, the pickers and the line of keys: everything there is stands in them, by letter, by arrows and by mouse."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable
from importlib import import_module
from inspect import isclass
from pathlib import Path
from pkgutil import iter_modules
from types import SimpleNamespace
from typing import Any

import pytest
from textual.command import CommandPalette
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static

import probe.ui
from probe.cli.parser import build_parser
from probe.cli.screens import SPLICED_WELCOME
from probe.document.file import demo_map_path, load_map
from probe.task.command import Means, MenuGroup
from probe.ui.app import MAKERS
from probe.ui.dialog import Dialog
from probe.ui.files import FileScreen, export_forms
from probe.ui.keys import IN_THE_SHELL, OF_PROGRAM, VERBS, all_keys
from probe.ui.menu import SCREENS, ChoiceScreen, MenuScreen, PickerScreen, menu_choices
from probe.ui.signs import SignsScreen
from probe.ui.start import PortScreen
from probe.ui.widgets.key_line import KeyLine
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of
from tests.ui.test_walk_screen import small


def below(scope: str) -> Any:
    """A screen as the menu sees it."""
    commands = {row.id: row for row in all_keys() if row.scope == scope}
    return SimpleNamespace(commands=commands, why_not=lambda row: "")


@pytest.mark.parametrize("scope", sorted(MAKERS))
def test_every_command_is_in_the_menu_of_its_screen(scope: str) -> None:
    app: Any = SimpleNamespace(why_not=lambda row: "")
    found = {choice.command.id for group in MenuGroup for choice in menu_choices(app, below(scope), group)}
    wanted = {row.id for row in all_keys() if row.scope in (scope, "app")} - {"app.leave"}
    assert wanted <= found
    assert any(choice.command.means is Means.BACK for choice in menu_choices(app, below(scope), MenuGroup.HERE))


@pytest.mark.parametrize("scope", sorted(MAKERS))
def test_the_groups_are_the_same_on_every_screen(scope: str) -> None:
    app: Any = SimpleNamespace(why_not=lambda row: "")
    for group in MenuGroup:
        if group is not MenuGroup.HERE:
            rows = [choice.command.id for choice in menu_choices(app, below(scope), group)]
            assert rows == [choice.command.id for choice in menu_choices(app, None, group)]
    assert scope in SCREENS


def test_every_verb_of_the_command_line_has_a_place_or_a_reason() -> None:
    (verbs,) = [action.choices for action in build_parser()._actions if isinstance(action, argparse._SubParsersAction)]
    known = {row.id for row in all_keys()}
    assert set(verbs) == set(VERBS)
    for verb, place in VERBS.items():
        assert place in known or len(place.split()) > 3, f"{verb}: neither a command nor a reason"
    assert set(IN_THE_SHELL) <= {row.id for row in OF_PROGRAM}


async def opened(stage: Stage, *keys: str) -> ChoiceScreen:
    """The frame that the keys open."""
    await stage.lit()
    await stage.pilot.press(*keys)
    await stage.pilot.pause()
    screen = stage.app.screen
    assert isinstance(screen, ChoiceScreen)
    return screen


@pytest.mark.slow
async def test_what_cannot_be_done_now_says_why_and_stays(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        screen = await opened(stage, "f10", "3")
        assert "Walk a chain" in text_of(stage.app)
        assert "you are there" in text_of(stage.app)
        await stage.pilot.press("w")
        await stage.pilot.pause()
        assert stage.app.screen is screen
        assert "Walk a chain: you are there" in text_of(stage.app)
        await stage.pilot.press("j", "7")
        await stage.pilot.pause()
        assert stage.app.screen is screen, "a letter that means nothing goes nowhere"
        assert stage.walk.typed == ""
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert not isinstance(stage.app.screen, ChoiceScreen)


def test_every_screen_over_another_is_one_that_closes_once() -> None:
    rooms = [import_module(f"probe.ui.{room.name}") for room in iter_modules(probe.ui.__path__)]
    over = {one for room in rooms for one in vars(room).values() if isclass(one) and issubclass(one, ModalScreen)}
    ours = {one for one in over if one.__module__.startswith("probe.")}
    assert len(ours) > 6
    assert all(issubclass(one, Dialog) for one in ours)


@pytest.mark.slow
@pytest.mark.parametrize("asks", [SignsScreen, PortScreen, lambda: FileScreen("Export", export_forms())])
async def test_a_key_that_comes_when_it_has_closed_does_not_close_the_screen_below(
    open_app: OpenApp, asks: Callable[[], Dialog[Any]]
) -> None:
    async with open_app(small()) as stage:
        below, answers = stage.app.screen, list[object]()
        screen = asks()
        await stage.app.push_screen(screen, answers.append)
        screen.dismiss(None)
        screen.dismiss(None)
        await stage.pilot.pause()
        assert stage.app.screen is below
        assert answers == [None]


@pytest.mark.slow
async def test_keys_typed_fast_close_the_menu_once(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        below = stage.app.screen
        screen = await opened(stage, "f10")
        screen.action_back()
        screen.action_back()
        screen.choose(next(choice for choice in screen.choices if not choice.why_not))
        await stage.pilot.pause()
        assert stage.app.screen is below


@pytest.mark.slow
async def test_the_menu_by_mouse(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        screen = await opened(stage, "f10")
        assert isinstance(screen, MenuScreen)
        assert screen.opened.value == "Here"
        await stage.pilot.click("#choice-head", offset=(12, 0))
        await stage.pilot.pause()
        assert screen.opened.value == "Map"
        at = next(n for n, choice in enumerate(screen.choices) if choice.command.id == "app.table")
        await stage.pilot.click("#choices", offset=(6, at))
        await stage.pilot.pause()
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "table"


@pytest.mark.slow
async def test_the_wheel_scrolls_the_menu(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        screen = await opened(stage, "f10")
        rows = screen.query_one(OptionList)
        assert rows.max_scroll_y > 0
        await stage.pilot._post_mouse_events([_wheel()], "#choices", offset=(4, 4))
        await stage.pilot.pause(0.3)
        assert rows.scroll_target_y > 0


def _wheel() -> Any:
    from textual.events import MouseScrollDown

    return MouseScrollDown


@pytest.mark.slow
async def test_a_picker_by_letter_by_arrows_and_by_mouse(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        for number, how in enumerate(("letter", "arrows", "mouse")):
            screen = await opened(stage, "f5")
            assert isinstance(screen, PickerScreen)
            at = next(n for n, choice in enumerate(screen.choices) if choice.command.id == "walk.say.REPEATER")
            if how == "letter":
                await stage.pilot.press("r")
            elif how == "arrows":
                await stage.pilot.press(*["down"] * at, "enter")
            else:
                await stage.pilot.click("#choices", offset=(6, at))
            await stage.lit()
            await stage.app.settled()
            assert stage.walk.map.chains[0].pixels[number].state.value == "repeater", how


@pytest.mark.slow
async def test_the_light_picker_stays_open(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        before = stage.walk.level
        screen = await opened(stage, "ctrl+l", "up")
        assert isinstance(screen, PickerScreen)
        assert stage.walk.level > before
        assert f"level {stage.walk.level}" in text_of(stage.app)
        await stage.pilot.press("down", "down", "escape")
        await stage.lit()
        assert stage.walk.level < before


@pytest.mark.slow
async def test_the_line_of_keys_can_be_clicked(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        line = stage.app.screen.query_one(KeyLine)
        left = 0
        for hint in line.hints:
            if hint.key == "F10":
                break
            left += hint.cells + 2
        await stage.pilot.click("#keys", offset=(left + 1, 0))
        await stage.pilot.pause()
        assert isinstance(stage.app.screen, MenuScreen)
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        await stage.pilot.click("#keys", offset=(1 + len(line.hints[0].key + line.hints[0].words) + 4, 0))
        await stage.lit()
        await stage.app.settled()
        assert stage.walk.map.chains[0].pixels[0].state.value == "dark", "F2 Nothing lit"


@pytest.mark.slow
async def test_keys_pressed_at_once_reach_the_picker(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press(*to("walk.say.SPARE"))
        await stage.lit()
        await stage.app.settled()
        assert stage.walk.map.chains[0].pixels[0].state.value == "spare"
        assert stage.walk.typed == ""


async def written(stage: Stage, path: Path) -> str:
    """What is in a file, once it is there."""
    for _ in range(100):
        await stage.pilot.pause(0.05)
        if text := _text_in(path):
            return text
    raise AssertionError(text_of(stage.app))


def _text_in(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.exists() else ""


@pytest.mark.slow
async def test_export_is_written_from_inside_and_never_over_the_map(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        before = stage.path.read_bytes()
        await stage.pilot.press(*to("app.export"), "h")
        await stage.pilot.pause()
        line = stage.app.screen.query_one(Input)
        wanted = Path(line.value)
        assert wanted.parent == stage.path.parent
        line.value = str(stage.path)
        await stage.pilot.press("enter")
        await stage.pilot.pause()
        assert "the map itself" in text_of(stage.app)
        line.value = str(wanted)
        await stage.pilot.press("enter")
        assert "#ifndef" in await written(stage, wanted)
        assert stage.path.read_bytes() == before


@pytest.mark.slow
async def test_the_sheet_is_written_from_inside_and_esc_goes_back_step_by_step(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.sheet"))
        await stage.pilot.pause()
        await stage.pilot.click("#choices", offset=(6, 0))
        await stage.pilot.pause()
        wanted = Path(stage.app.screen.query_one(Input).value)
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert not stage.app.screen.query_one(Input).display
        await stage.pilot.press("s", "enter")
        assert "<html" in await written(stage, wanted)


@pytest.mark.slow
async def test_what_belongs_to_another_screen_is_done_there(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press("ctrl+t")
        await stage.pilot.pause()
        await stage.pilot.press(*to("walk.needs"))
        await stage.pilot.pause(0.3)
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "walk"
        assert "What comes next" in text_of(stage.app)


@pytest.mark.slow
async def test_another_map_saves_leaves_and_says_what_to_go_on_with(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.another"))
        for _ in range(100):
            await stage.pilot.pause(0.05)
            if not stage.app.is_running:
                break
        assert stage.app.then == ("home",)
        assert stage.app.document.is_saved


@pytest.mark.slow
async def test_help_begins_with_a_paragraph_for_this_screen(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press("f1")
        await stage.pilot.pause()
        shown = " ".join(text_of(stage.app).replace("│", " ").split())
        assert "say what lights, and the answer is saved" in shown
        assert "Asked now: What lights?" in shown


async def test_the_palette_opens_once_also_under_the_menu(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await opened(stage, "ctrl+p", "f10")
        await stage.pilot.press("ctrl+p", "ctrl+p")
        await stage.pilot.pause()
        assert [type(screen) for screen in stage.app.screen_stack].count(CommandPalette) == 1


async def test_what_is_done_in_the_shell_says_its_whole_command(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await opened(stage, "f10", "5", "i")
        shown = " ".join(text_of(stage.app).replace("│", " ").split())
        assert IN_THE_SHELL["app.lamp_file"] in shown, "uncut"


async def test_arrows_go_row_by_row_and_say_why_a_row_cannot_be_done(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        screen = await opened(stage, "f10", "3")
        note = screen.query_one("#choice-note", Static)
        assert screen.choices[0].why_not
        assert screen.at == 1, "the first that can be done is marked"
        order = [*range(screen.at, len(screen.choices)), *range(screen.at)]
        for at in order:
            assert screen.at == at, "each row in turn"
            assert str(note.render()) == screen.choices[at].why_not
            await stage.pilot.press("down")
            await stage.pilot.pause()
        assert screen.choices[0].why_not == "you are there"
        await stage.pilot.press("up")
        assert screen.at == order[-1]
        await stage.pilot.press("end")
        assert screen.at == len(screen.choices) - 1
        assert str(note.render()) == IN_THE_SHELL["app.board_check"]


async def test_a_row_done_in_the_shell_says_so_in_few_words(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        screen = await opened(stage, "f10", "3")
        at = next(n for n, choice in enumerate(screen.choices) if choice.command.id == "app.board_check")
        row = str(screen.query_one(OptionList).get_option_at_index(at).prompt)
        assert row.endswith(" in the shell"), "the command itself has its own line below"
        assert screen.choices[at].command.words in row


@pytest.mark.slow
async def test_why_a_row_cannot_be_done_is_seen_below_the_longest_menu_on_a_small_terminal(open_app: OpenApp) -> None:
    async with open_app(small(), size=(80, 24)) as stage:
        screen = await opened(stage, "f10", "2")
        await stage.pilot.press("h")
        await stage.pilot.pause()
        note, box = screen.query_one("#choice-note"), screen.query_one("#choice-box")
        assert IN_THE_SHELL["app.photo"] in str(note.render())
        assert box.content_region.contains_region(note.region)
        assert note.region.height
        assert screen.region.contains_region(box.region)


@pytest.mark.parametrize("words", [SPLICED_WELCOME], ids=["spliced demo"])
def test_a_way_through_the_menu_that_is_said_is_there(words: str) -> None:
    said = re.search("F10, (.+), “(.+)”", words)
    assert said is not None
    app: Any = SimpleNamespace(why_not=lambda row: "")
    assert said[2] in [choice.command.words for choice in menu_choices(app, None, MenuGroup(said[1]))]


@pytest.mark.parametrize("letter", ["n", "N"])
async def test_a_letter_does_its_row_with_shift_too(letter: str, open_app: OpenApp) -> None:
    whole = load_map(demo_map_path())
    async with open_app(whole, whole) as stage:
        await stage.lit()
        await stage.pilot.press("f10", "3", letter)
        await stage.app.settled()
        await stage.pilot.pause(0.2)
        top = stage.app.runtime.top
        assert top is not None
        assert top.name == "find"


@pytest.mark.parametrize(("columns", "beside"), [(80, 0), (120, 22)])
async def test_no_single_letters_stand_beside_a_frame(columns: int, beside: int, open_app: OpenApp) -> None:
    async with open_app(small(), small(), size=(columns, 24)) as stage:
        await opened(stage, "f5")
        frame = stage.app.screen.query_one("#choice-box").region
        assert (frame.x, columns - frame.right) == (beside, beside)
