"""What holds of the screen of every task: why no board is there stands once and whole; what its keys do, and what its rows are
called, is not cut."""

from __future__ import annotations

import pytest
from textual.widgets import Static

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.task.command import Means
from probe.task.views import FormView
from probe.ui.command_screen import CommandScreen
from probe.ui.form_screen import EntryList
from probe.ui.task_screen import ItemList
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, Stage, text_of
from tests.ui.test_clicks import TASKS, opened


@pytest.fixture(scope="module")
def whole() -> PlayfieldMap:
    return load_map(demo_map_path("kelp_forest.json"))


def said_on(screen: CommandScreen) -> list[str]:
    """Every text that stands on a screen, each as one line."""
    texts = [str(shown.visual) for shown in screen.query(Static) if shown.is_on_screen and shown.visual]
    for items in screen.query(ItemList):
        texts += [str(items.get_option_at_index(row).prompt) for row in range(items.option_count)]
    return [" ".join(text.split()) for text in texts]


@pytest.mark.parametrize("task", first_now(TASKS, now=4))
async def test_what_a_key_does_and_why_no_board_is_there_is_said_whole(
    task: str, open_app: OpenApp, whole: PlayfieldMap
) -> None:
    async with open_app(whole) as stage:
        screen = await opened(stage, task)
        keys_are_said_where_there_is_room_for_them(stage, screen)
        await trouble_is_said_once(stage, screen)


def keys_are_said_where_there_is_room_for_them(stage: Stage, screen: CommandScreen) -> None:
    for width in (22, 30, 56):
        for rows in (3, 10, 40):
            lines = screen.keys_here(rows, width).plain.split("\n")
            assert len(lines) <= rows
            assert max(len(line) for line in lines) <= width
            if not lines[-1].endswith("all keys"):
                words = " ".join(" ".join(line.split()) for line in lines)
                for command in screen.commands.values():
                    if command.shown is True and screen._applies(command) and command.means is not Means.BACK:
                        assert command.words in words, command.id
    listed = [line.split("  ")[-1].strip() for line in screen.keys_here(99, 200).plain.split("\n")]
    state = stage.app.runtime.seen(screen.open_task)
    for command in screen.commands.values():
        if callable(command.shown) and not command.shown(state) and command.words in listed:
            assert command.words in [row.words for row in screen.commands.values() if row is not command], command


async def trouble_is_said_once(stage: Stage, screen: CommandScreen) -> None:
    stage.port.unplug()
    for _ in range(200):
        await stage.pilot.pause(0.02)
        if stage.app.runtime.board.trouble:
            break
    await stage.app.settled()
    await stage.pilot.pause()
    trouble = stage.app.runtime.board.trouble
    what = trouble.partition(". Likely cause")[0]
    texts = said_on(screen)
    said = [text for text in texts if what in text]
    view = screen.current_view()
    assert len(said) <= 1, texts
    if view.board and not view.message:
        assert any(trouble in text for text in said), texts


MOST_OF_A_LABEL = 25
"""Cells of a row's name that stand beside its value on the narrowest screen."""


@pytest.mark.parametrize("task", ["power_up", "power", "settings", "batches"])
async def test_what_a_row_of_a_form_is_called_is_whole(task: str, open_app: OpenApp, whole: PlayfieldMap) -> None:
    name = "batch" if task == "batches" else task
    async with open_app(whole) as stage:
        screen = await opened(stage, name)
        view = screen.current_view()
        assert isinstance(view, FormView)
        rows = screen.query_one(EntryList)
        for entry, row in zip(view.entries, range(rows.option_count), strict=True):
            if len(entry.label) <= MOST_OF_A_LABEL:
                assert entry.label in str(rows.get_option_at_index(row).prompt), text_of(stage.app)
