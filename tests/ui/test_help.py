"""F1 on every screen: its keys and the cautions; F1 or Esc closes it, and the screen is as it was."""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import replace

import pytest
from textual.screen import ModalScreen, Screen

import probe.ui
from probe.cautions import HELP
from probe.document.file import demo_map_path, load_map
from probe.mapping.walk_state import start
from probe.mapping.walk_view import view
from probe.ui.command_screen import CommandScreen
from probe.ui.help import HelpScreen, prose
from probe.ui.keys import all_keys
from probe.ui.start import PortChoice, PortScreen
from tests.support.boards import identity
from tests.support.examples import first_now
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of

OPENED = {
    "walk": (),
    "what next": ("escape",),
    "table": to("app.table"),
    "revisions": to("app.table") + to("app.revisions"),
    "power": to("app.power"),
    "harness": to("app.harness"),
    "fault finder": to("app.faults"),
    "recheck": to("app.recheck"),
    "find": to("app.find"),
    "lamps": to("app.lamps"),
    "picture": to("app.picture"),
    "evenness": to("app.evenness"),
}
BASES = {"LineScreen", "GameScreen", "PlanningScreen", "EntriesScreen", "HelpScreen"}


def own_screens() -> list[type[Screen[object]]]:
    found = []
    for module in pkgutil.iter_modules(probe.ui.__path__, "probe.ui."):
        for name, each in vars(importlib.import_module(module.name)).items():
            if isinstance(each, type) and issubclass(each, Screen) and each.__module__ == module.name:
                found += [each] if name not in BASES else []
    return found


@pytest.mark.parametrize("screen", own_screens(), ids=lambda screen: screen.__name__)
def test_every_screen_has_keys_of_its_own_in_the_help(screen: type[Screen[object]]) -> None:
    if issubclass(screen, CommandScreen):  # its keys are those of the task that it shows
        assert not any(row.scope == "" for row in all_keys())
        return
    scope = getattr(screen, "KEY_SCOPE", "")
    asks = issubclass(screen, ModalScreen) or screen.__name__ in ("HomeScreen", "SettingScreen")
    assert asks or any(row.scope == scope for row in all_keys()), "its keys are in no scope of the table"


async def opened(stage: Stage, keys: tuple[str, ...]) -> None:
    await stage.lit()
    for key in keys:
        await stage.pilot.press(key)
        await stage.pilot.pause(0.2)
    if type(stage.app.screen).__name__ == "CautionScreen":
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.2)


@pytest.mark.slow
@pytest.mark.parametrize("name", first_now(OPENED, now=5))
async def test_f1_helps(name: str, open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path())
    async with open_app(map_, map_, size=(120, 60)) as stage:
        await opened(stage, OPENED[name])
        below = stage.app.screen
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.2)
        assert isinstance(stage.app.screen, HelpScreen)
        shown = text_of(stage.app)
        assert "Keys" in shown
        await stage.pilot.press("end")
        await stage.pilot.pause(0.2)
        assert "Cautions" in text_of(stage.app)
        scope = getattr(below, "KEY_SCOPE", "")
        for row in [row for row in all_keys() if row.scope == scope][:6]:
            assert row.words[:30] in shown
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.2)
        assert stage.app.screen is below


@pytest.mark.slow
async def test_a_caution_that_is_folded_stays_behind_its_mark(open_app: OpenApp) -> None:
    async with open_app(load_map(demo_map_path())) as stage:
        await stage.pilot.press("f1", "end")
        await stage.pilot.pause(0.1)
        words = stage.app.screen.query_one("#help-cautions")
        rows = [words.render_line(y).text.rstrip() for y in range(words.size.height)]
        assert sum(row.startswith("  - ") for row in rows) == len(HELP)
        assert len(rows) > len(HELP), "some are folded"
        assert all(row.startswith(("  - ", "    ")) for row in rows if row)


async def test_a_wide_terminal_shows_all_of_the_help_at_once(open_app: OpenApp) -> None:
    async with open_app(load_map(demo_map_path()), size=(200, 60)) as stage:
        await opened(stage, ("f1",))
        shown = text_of(stage.app)
        for word in ("Take", "Nothing lit", "Leave the program", "It cannot see your wiring."):
            assert word in shown, "the first key and the last, and the last caution"
        await stage.pilot.resize_terminal(80, 24)
        await stage.pilot.pause(0.2)
        rows = text_of(stage.app).splitlines()
        assert any(row.strip("│ ").split() == ["F2", "Nothing", "lit"] for row in rows), "one column where it is narrow"


@pytest.mark.slow
async def test_f1_helps_before_there_is_a_map(open_app: OpenApp) -> None:
    async with open_app(None, None, start_here=True) as stage:
        await stage.pilot.pause(0.2)
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.2)
        assert "Choose from the list" in text_of(stage.app)
    async with open_app(None, None, paper=True) as stage:
        await stage.pilot.pause(0.2)
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.2)
        assert "This output again" in text_of(stage.app)


async def test_f1_helps_while_a_port_is_picked(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path())
    async with open_app(map_, map_, make_link=None) as stage:
        await stage.pilot.pause(0.2)
        assert type(stage.app.screen).__name__ == "PortScreen"
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.2)
        shown = text_of(stage.app)
        assert "Look again" in shown
        await stage.pilot.press("escape")
        await stage.pilot.pause(0.2)
        assert type(stage.app.screen).__name__ == "PortScreen"


@pytest.mark.slow
async def test_help_names_each_key_once_and_only_ours(open_app: OpenApp) -> None:
    async with open_app(load_map(demo_map_path())) as stage:
        await opened(stage, ("ctrl+t", "f1"))
        shown, _, footer = text_of(stage.app).rpartition("\n")
        assert shown.count("Esc ") == footer.count("Esc ") == 1
        for not_ours in ("Focus Next", "Focus Previous", "Copy selected text"):
            assert not_ours not in shown


@pytest.mark.slow
async def test_what_is_typed_at_the_list_of_ports_goes_to_the_line(open_app: OpenApp) -> None:
    async with open_app(load_map(demo_map_path())) as stage:
        await stage.lit()
        picked: list[PortChoice | None] = []
        await stage.app.push_screen(PortScreen([PortChoice(None, "paper")]), picked.append)
        await stage.pilot.press(*"loop", "colon", "slash", "slash", "enter")
        await stage.pilot.pause()
        assert [choice.address for choice in picked if choice] == ["loop://"]


@pytest.mark.parametrize("rows", [24, 40])
async def test_help_says_what_the_signs_in_the_picture_mean(rows: int, open_app: OpenApp) -> None:
    async with open_app(load_map(demo_map_path()), size=(80, rows)) as stage:
        await opened(stage, to("app.picture"))
        legend = " ".join(str(stage.app.screen.query_one("#legend").visual).split())  # type: ignore[attr-defined]
        assert ("◉ lit" in legend) is (rows == 40), "on a low screen the picture has the room"
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.2)
        words = " ".join(line.strip(" │▏▕┃▊▎█") for line in text_of(stage.app).splitlines())
        assert "Signs in the picture: o insert" in " ".join(words.split())


def test_the_paragraph_says_what_keeps_the_light_off() -> None:
    walk = start(load_map(demo_map_path()))
    there = replace(walk.board, identity=identity())
    refused = replace(there, refused="the light wanted is above this board's ceiling")
    said = {
        "no board": prose("walk", replace(walk, board=replace(walk.board, trouble="nothing at that port")), None),
        "refused": prose("walk", replace(walk, board=refused), None),
        "not on disk": prose("walk", replace(walk, board=there, unsaved="the disk is full"), None),
        "asked": prose("walk", replace(walk, board=there), view(replace(walk, board=there))),
    }
    assert "No board answers now" in said["no board"]
    assert "The board refused: the light wanted is above this board's ceiling." in said["refused"]
    assert "not on disk yet: Ctrl+R" in said["not on disk"]
    assert "Asked now: What lights?" in said["asked"]
    for other in ("No board answers", "refused", "not on disk"):
        assert other not in said["asked"]
