"""The map table on screen: rows are marked and changed in place by keys; the table keeps where it was scrolled to."""

from __future__ import annotations

import pytest

from probe.document.file import demo_map_path, load_map
from probe.mapping.table import COLUMNS
from probe.task import events as ev
from probe.ui.rows_screen import RowTable
from probe.ui.widgets.picture import PlayfieldPicture
from tests.runtime.contract_tasks import two_chains
from tests.support.keys import to
from tests.ui.conftest import OpenApp, text_of


async def test_rows_are_marked_and_changed_by_keys(open_app: OpenApp) -> None:
    async with open_app(two_chains(), size=(80, 24)) as stage:
        await stage.lit()
        stage.app.runtime.dispatch(ev.GoOpen("table"))
        await stage.pilot.pause(0.2)
        await stage.pilot.press("home", "space", "space")
        await stage.pilot.pause(0.1)
        assert text_of(stage.app).count("■") == 2
        screen = stage.app.screen
        screen.action_command("table.edit.AREA")  # type: ignore[attr-defined]
        await stage.pilot.pause(0.1)
        await stage.pilot.press(*"Kelp", "enter")
        await stage.app.settled()
        await stage.pilot.pause(0.1)
        assert [place.area for place in stage.app.document.map.places] == ["Kelp", "Kelp", ""]
        assert "■" not in text_of(stage.app)
        await stage.pilot.press("ctrl+z")
        await stage.app.settled()
        assert [place.area for place in stage.app.document.map.places] == ["", "", ""]
        await stage.pilot.press("ctrl+y", "escape")
        await stage.app.settled()
        (made,) = stage.app.document.map.revisions
        assert len(made.changes) == 2, "one revision for all that was changed in the table"


@pytest.mark.parametrize("columns", [80, 120, 200])
async def test_a_column_that_is_cut_or_out_of_sight_is_named_and_can_be_brought_in(
    columns: int, open_app: OpenApp
) -> None:
    map_ = load_map(demo_map_path("kelp_forest_half.json"))
    async with open_app(map_, size=(columns, 24)) as stage:
        await stage.lit()
        stage.app.runtime.dispatch(ev.GoOpen("table"))
        await stage.pilot.pause(0.2)
        table = stage.app.screen.query_one(RowTable)
        seen = set()
        for _ in COLUMNS:
            text = text_of(stage.app)
            heading = text.splitlines()[1].split()
            said = next((line for line in text.splitlines() if "More columns" in line), "")
            for name in COLUMNS:
                assert (name in heading and name not in said) or name in said, f"{name}: {text}"
            assert bool(said) is (table.max_scroll_x > 0)
            assert ("←" in said) is (table.scroll_x > 0), "each at its own side"
            seen |= {name for name in COLUMNS if name not in said}
            await stage.pilot.press("right")
            await stage.pilot.pause(0.05)
        assert seen == set(COLUMNS)


async def test_esc_closes_the_search_and_brings_all_rows_back(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path())
    async with open_app(map_, size=(120, 40)) as stage:
        await stage.lit()
        stage.app.runtime.dispatch(ev.GoOpen("table"))
        await stage.pilot.pause(0.1)
        screen = stage.app.screen
        table = screen.query_one(RowTable)
        every = table.row_count
        await stage.pilot.press(*to("table.search"), *"otter", "enter")
        await stage.pilot.pause(0.1)
        assert 0 < table.row_count < every
        await stage.pilot.press("down", "escape")
        await stage.pilot.pause(0.1)
        assert stage.app.screen is screen, "one step back is the search"
        assert table.row_count == every
        assert table.has_focus


async def test_findings_are_folded_and_leave_the_marked_row_in_sight_and_a_large_terminal_shows_its_place(
    open_app: OpenApp,
) -> None:
    map_ = load_map(demo_map_path("kelp_forest_half.json"))
    async with open_app(map_, size=(80, 24)) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.table"), *to("table.findings"))
        await stage.pilot.pause(0.2)
        rows = text_of(stage.app).splitlines()
        here = stage.app.screen._view.at[1]  # type: ignore[attr-defined]
        assert any(row.startswith(f" Playfield {here} (") for row in rows[1:12]), "the marked row, in the table"
        found = next(i for i, row in enumerate(rows) if "findings" in row)
        assert rows[found + 1].startswith("   hint: ")
        assert rows[found + 2].startswith("     the end of"), "what is folded stands behind its line"
        await stage.pilot.resize_terminal(200, 60)
        await stage.pilot.press(*to("table.findings"), "home")
        await stage.pilot.pause(0.2)
        picture = stage.app.screen.query_one(PlayfieldPicture)
        assert picture.region.height > 25
        assert picture.region.bottom < 59, "above message and footer"
        place = next(place for place in map_.places if place.position is not None)
        number = next(n for n, pixel in enumerate(map_.chains[0].pixels) if pixel.place == place.id)
        await stage.pilot.press(*["down"] * number)
        await stage.pilot.pause(0.2)
        assert [spot.position for spot in picture._spots] == [place.position] * 2
        assert "lit" not in {spot.look for spot in picture._spots}, "nothing says that it is lit"
