"""The worklist, the log and the way back after a board died, by keys."""

from __future__ import annotations

import pytest

from probe.document.file import demo_map_path, load_map
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, Stage, text_of

DEMO = load_map(demo_map_path())


async def settle(stage: Stage) -> None:
    for _ in range(4):
        await stage.pilot.pause(0.05)
        await stage.app.settled()


async def menu(stage: Stage, group: str, letter: str) -> None:
    await stage.lit()
    await stage.pilot.press("f10", group, letter)
    for _ in range(200):
        await settle(stage)
        top = stage.app.runtime.top
        if top is not None and top.name != "walk":
            return


@pytest.mark.slow
async def test_a_line_is_typed_kept_and_ticked_off(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO) as stage:
        await menu(stage, "2", "l")
        assert "Replace the dead pixel Playfield 77" in text_of(stage.app)
        await stage.pilot.press("f7", *"order", "space", *"fuses", "down", "enter")
        await settle(stage)
        (line,) = stage.app.document.map.worklist
        assert (line.words, line.moment.value, line.done) == ("order fuses", "power on", "")
        await stage.pilot.press("space")
        await settle(stage)
        assert sum(bool(item.done) for item in stage.app.document.map.worklist) == 1
        assert "ticked off" in text_of(stage.app)
        await stage.pilot.press("ctrl+z")
        await settle(stage)
        assert not any(item.done for item in stage.app.document.map.worklist)
        await stage.pilot.press("escape")
        await settle(stage)
        assert "What lights?" in text_of(stage.app)
    assert len(load_map(stage.path).worklist) == 1


@pytest.mark.parametrize(
    ("group", "letter", "wanted"),
    first_now([("2", "e", "log of evenings"), ("5", "n", "a new board")], several=True),
)
async def test_log_and_restore_are_in_the_menu_and_esc_leads_back(
    open_app: OpenApp, group: str, letter: str, wanted: str
) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await menu(stage, group, letter)
        if "nterstand" in text_of(stage.app) or "wall" in text_of(stage.app):
            await stage.pilot.press("enter")
            await settle(stage)
        assert wanted in text_of(stage.app)
        await stage.pilot.press("escape")
        await settle(stage)
        assert "What lights?" in text_of(stage.app)


@pytest.mark.slow
async def test_a_table_that_was_written_is_done_on_the_way_back_after_a_board_died(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO) as stage:
        await menu(stage, "5", "n")
        await stage.pilot.press("enter", "3")
        await settle(stage)
        await stage.pilot.press("f5", "w")
        for _ in range(200):
            await settle(stage)
            if "written, read back, the same" in text_of(stage.app):
                break
        await stage.pilot.press("escape")
        await settle(stage)
        assert "✓ 3  Put the table into the board" in text_of(stage.app)


async def test_a_line_of_the_boards_configuration_is_folded_behind_its_beginning(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO) as stage:
        await menu(stage, "5", "n")
        await stage.pilot.press("enter")
        await settle(stage)
        rows = text_of(stage.app).splitlines()
        (first,) = (at for at, row in enumerate(rows) if "PP_CEILING_MA" in row)
        starts = [len(row) - len(row.lstrip()) for row in rows[first : first + 3]]
        assert starts[1] > starts[0] == starts[2], rows[first : first + 3]
