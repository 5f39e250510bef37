"""Which keys type, and which act: the table of keys against what Textual calls the keys."""

from __future__ import annotations

import string

import pytest
from textual.keys import _character_to_key

from probe.ui.help import key_name
from probe.ui.keys import all_keys, typing_key, while_empty
from tests.ui.conftest import OpenApp
from tests.ui.test_walk_screen import small


@pytest.mark.parametrize("character", string.ascii_letters + string.digits + string.punctuation)
def test_what_types_a_character_is_a_typing_key(character: str) -> None:
    assert typing_key(_character_to_key(character))


@pytest.mark.parametrize("key", ["f1", "f12", "ctrl+z", "pageup", "pagedown", "alt+a", "shift+f4"])
def test_keys_that_type_nothing(key: str) -> None:
    assert not typing_key(key)


def test_single_signs_of_the_walk_act_while_the_line_is_empty() -> None:
    acting = while_empty("walk")
    for row in all_keys():
        if row.scope == "walk" and row.empty_only:
            for key in row.keys:
                if len(key_name(key)) == 1:
                    assert acting[key] == row.action, key


async def test_the_full_stop_repeats_the_last_place(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press(*"Otter", "enter")
        await stage.lit()
        await stage.pilot.press("full_stop")
        await stage.lit()
        await stage.app.settled()
        chain = stage.walk.map.chains[0]
        assert chain.pixels[1].place == chain.pixels[0].place


@pytest.mark.parametrize("over", [("escape",), ("f1",), ("escape", "f1")])
async def test_the_program_can_be_left_from_what_lies_over_a_screen(over: tuple[str, ...], open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        for key in over:
            await stage.pilot.press(key)
            await stage.pilot.pause(0.1)
        await stage.pilot.press("ctrl+q")
        await stage.pilot.pause(0.3)
        assert not stage.app.is_running
