"""One language of keys: every command of every task against the one table of keys, and against what the terminal library
calls the keys."""

from __future__ import annotations

import string
from collections import Counter
from collections.abc import Iterator, Mapping
from importlib.resources import files

import pytest
from textual.keys import _character_to_key

from probe.document.settings import RENAMED_COMMANDS
from probe.task import events as ev
from probe.task.command import PICKERS, Command, Means, MenuGroup
from probe.ui.app import MAKERS
from probe.ui.help import ABOUT
from probe.ui.key_table import key_table
from probe.ui.keys import NOT_TO_BE_TAKEN, all_keys, key_name, keys_of, program_bindings, typing_key, while_empty
from probe.ui.menu import letters
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp
from tests.ui.test_walk_screen import small

SCOPES = sorted({row.scope for row in all_keys()} - {"app"})
TAKEN_BY_OTHERS = {"f11", "f12", *(f"ctrl+{letter}" for letter in "bascwhijmdkuexv")}
"""By multiplexers, flow control, line editing, the clipboard and window managers."""


def rows_of(scope: str) -> list[Command]:
    """The commands of a task."""
    return [row for row in all_keys() if row.scope == scope]


def twice(names: Iterator[str]) -> list[str]:
    """What is there more than once."""
    return [name for name, times in Counter(names).items() if times > 1]


@pytest.mark.parametrize("character", string.ascii_letters + string.digits + string.punctuation)
def test_what_types_a_character_is_a_typing_key(character: str) -> None:
    assert typing_key(_character_to_key(character))


@pytest.mark.parametrize("key", ["f1", "f12", "ctrl+z", "pageup", "pagedown", "alt+a", "shift+f4"])
def test_keys_that_type_nothing(key: str) -> None:
    assert not typing_key(key)


def test_a_key_has_one_meaning() -> None:
    assert not twice(key for means in Means for key in means.keys)
    assert not twice(means.words for means in Means)
    meaning = {key: means for means in Means for key in means.keys}
    for row in all_keys():
        for key in row.keys:
            assert meaning.get(key, row.means) is row.means, (row.id, key)


def test_no_key_that_terminals_keep_for_themselves_and_none_of_punctuation() -> None:
    for row in all_keys():
        for key in row.keys:
            assert key not in TAKEN_BY_OTHERS, row.id
            assert not key.startswith("alt+"), row.id
            assert key not in {_character_to_key(sign) for sign in string.punctuation}, row.id


def test_every_task_has_commands_and_every_scope_is_a_task() -> None:
    assert set(SCOPES) == set(MAKERS)


@pytest.mark.parametrize("scope", SCOPES)
def test_no_two_commands_of_a_scope_share_a_key(scope: str) -> None:
    rows = rows_of(scope)
    assert not twice(row.id for row in rows)
    # those that share one are for different states; that no state has both is held over the footers' states
    assert not twice(key for row in rows for key in row.keys if row.when is None)
    always = {key for row in rows if row.when is None for key in row.keys}
    assert not always & {key for row in rows if row.when is not None for key in row.keys}
    for means in PICKERS:
        listed = [row for row in rows if row.means is means and row.in_picker]
        alone = [row for row in rows if row.means is means and not row.in_picker]
        assert not twice(row.letter for row in listed), means
        assert len(alone) <= 1, means
        assert not (alone and listed), "one key would open the picker and do something else"


@pytest.mark.parametrize("scope", SCOPES)
def test_esc_is_one_step_back(scope: str) -> None:
    (back,) = [row for row in rows_of(scope) if row.means is Means.BACK]
    assert back.event == ev.Leave()
    assert back.keys == ("escape",)
    assert back.when is None


def test_events_that_all_tasks_know_have_one_meaning() -> None:
    meaning: Mapping[type, Means] = {
        ev.Undo: Means.UNDO,
        ev.Redo: Means.REDO,
        ev.Retry: Means.AGAIN,
        ev.Leave: Means.BACK,
        ev.NextChain: Means.NEXT_KIND,
    }
    for row in all_keys():
        expected = meaning.get(type(row.event), row.means)
        assert row.means in (expected, Means.TABLE if row.id == "table.back" else expected), row.id


def test_every_command_has_a_key_a_letter_or_a_place_in_the_menu() -> None:
    for row in all_keys():
        assert row.keys or row.letter, row.id
        if row.means is Means.IN_MENU or row.group is not MenuGroup.HERE:
            assert row.letter, row.id
        assert row.words, row.id


@pytest.mark.parametrize("group", [group for group in MenuGroup if group is not MenuGroup.HERE])
def test_letters_of_a_group_of_the_menu_differ(group: MenuGroup) -> None:
    assert not twice(row.letter for row in all_keys() if row.group is group)


@pytest.mark.parametrize("scope", SCOPES)
def test_letters_of_a_screens_commands_differ_and_none_without_a_key_lacks_one(scope: str) -> None:
    rows = [row for row in rows_of(scope) if row.group is MenuGroup.HERE]
    given = letters(rows)
    assert not twice(letter for letter in given if letter)
    assert all(letter or row.keys for row, letter in zip(rows, given, strict=True))


def test_settings_add_a_key_and_never_take_the_way_out() -> None:
    row = next(row for row in all_keys() if row.id == "walk.undo")
    assert keys_of(row, {"walk.undo": "ctrl+g"}) == ("ctrl+g", "ctrl+z")
    assert keys_of(row, {"walk.undo": "escape, f1,enter"}) == ("ctrl+z",)
    assert {"escape", "enter", "f1"} == NOT_TO_BE_TAKEN


def test_earlier_names_of_commands_lead_to_ones_that_are_there() -> None:
    known = {row.id for row in all_keys()}
    assert set(RENAMED_COMMANDS.values()) <= known
    assert not set(RENAMED_COMMANDS) & known


def test_the_programs_bindings_are_its_commands() -> None:
    bound = {binding.id for binding in program_bindings()}
    assert bound == {row.id for row in all_keys() if row.scope == "app" and row.means is not Means.PALETTE}


def test_keys_are_named_as_they_are_printed() -> None:
    names = [key_name(key) for key in ("ctrl+z", "f10", "escape", "shift+tab", "space", "pagedown", "delete", "s")]
    assert names == ["Ctrl+Z", "F10", "Esc", "Shift+Tab", "Space", "PageDown", "Delete", "S"]


def test_delete_and_letters_act_only_where_nothing_is_typed() -> None:
    for row in all_keys():
        for key in row.keys:
            if key in ("delete", "space", "left", "right") or len(key) == 1:
                assert while_empty(key), row.id


@pytest.mark.slow
async def test_space_repeats_the_last_place_while_nothing_is_typed(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press(*"Otter", "enter")
        await stage.lit()
        await stage.pilot.press("space")
        await stage.lit()
        await stage.pilot.press(*"Eel", "space", *"one", "enter")
        await stage.lit()
        await stage.app.settled()
        chain = stage.walk.map.chains[0]
        assert chain.pixels[1].place == chain.pixels[0].place
        assert stage.walk.map.place_by_id[chain.pixels[2].place or ""].label == "Eel one"


@pytest.mark.slow
@pytest.mark.parametrize(
    "over", first_now([("escape", "f1"), ("f10",), ("ctrl+l", "up"), ("escape",), ("f1",), ("f5",)], now=3)
)
async def test_the_program_can_be_left_from_what_lies_over_a_screen(over: tuple[str, ...], open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        for key in over:
            await stage.pilot.press(key)
            await stage.pilot.pause(0.1)
        await stage.pilot.press("ctrl+q")
        await stage.pilot.pause(0.3)
        assert not stage.app.is_running


def test_the_guides_page_of_keys_is_made_from_the_commands() -> None:
    page = files("probe").joinpath("guide", "keys.md").read_text(encoding="utf-8")
    assert page == key_table(), "python -m probe.ui.key_table > probe/guide/keys.md"
    assert all(row.words in page for row in all_keys() if row.id != "app.leave")
    assert set(ABOUT) == set(MAKERS)
