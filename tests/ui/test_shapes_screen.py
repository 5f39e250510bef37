"""Shapes on screen: picked by a click, moved by arrows, drawn where they would be; zoom and route of every picture."""

from __future__ import annotations

import pytest

from probe.document.file import demo_map_path, load_map
from probe.lighting.shapes import middle_of
from probe.mapping.walk_keys import GoTo
from probe.task import screen as se
from probe.ui.task_screen import TaskScreen
from probe.ui.widgets.picture import PlayfieldPicture, Zoom
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, text_of

KELP = load_map(demo_map_path("kelp_forest.json"))


@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (200, 60)]))
async def test_a_click_picks_and_arrows_move(size: tuple[int, int], open_app: OpenApp) -> None:
    async with open_app(KELP, size=size) as stage:
        await stage.lit()
        stage.app.runtime.open("shapes")
        await stage.pilot.pause(0.2)
        picture = stage.app.screen.query_one(PlayfieldPicture)
        n = next(n for n, shape in enumerate(KELP.shapes) if shape.name == "left flipper")
        await stage.pilot.click(PlayfieldPicture, offset=picture.cell_of(middle_of(KELP.shapes[n])))
        await stage.pilot.pause(0.1)
        top = stage.app.runtime.top
        assert top is not None
        assert stage.app.runtime.seen(top).chosen == n
        await stage.pilot.press("enter", "enter", "f5", "l", "escape", "up", "up")
        await stage.pilot.pause(0.1)
        assert picture._shape is not None
        assert picture._shape.y_mm == KELP.shapes[n].y_mm + 50, "it is drawn where it would be"
        await stage.pilot.press("enter")
        await stage.app.settled()
        assert stage.app.document.map.shapes[n].y_mm == KELP.shapes[n].y_mm + 50
        await stage.pilot.press("ctrl+z")
        await stage.app.settled()
        assert stage.app.document.map.shapes == KELP.shapes
        assert "Left flipper" in text_of(stage.app) or "left flipper" in text_of(stage.app)


@pytest.mark.slow
async def test_zoom_goes_whole_half_area_and_follows_what_is_lit(open_app: OpenApp) -> None:
    async with open_app(KELP, size=(120, 40)) as stage:
        await stage.lit()
        stage.app.runtime.dispatch(GoTo(30))
        await stage.lit()
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        picture = screen.query_one(PlayfieldPicture)
        whole = picture.layout_now.windows[0].mm_per_dot
        scales = []
        for zoom in (Zoom.HALF, Zoom.AREA, Zoom.WHOLE):
            screen.run_command(se.NextZoom())
            await stage.pilot.pause(0.1)
            assert picture.zoom is zoom
            window = picture.layout_now.windows[0]
            scales.append(window.mm_per_dot)
            place = stage.walk.place
            if zoom is not Zoom.WHOLE:
                assert place is not None
                assert place.position is not None
                assert window.inside(place.position), "the lit place is in it"
                assert zoom.value in str(picture.border_title)
        assert scales[0] < whole
        assert scales[1] < whole
        assert scales[2] == whole


async def test_the_route_is_drawn_on_request(open_app: OpenApp) -> None:
    async with open_app(KELP, size=(120, 40)) as stage:
        await stage.lit()
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        picture = screen.query_one(PlayfieldPicture)
        for shown in (True, False):
            screen.run_command(se.ShowRoute())
            await stage.pilot.pause(0.1)
            roles = {role for row in picture._still.values() for _, role in row.values()}
            assert ("route" in roles) is shown


async def test_each_row_of_the_list_says_where_that_shape_stands(open_app: OpenApp) -> None:
    async with open_app(KELP) as stage:
        await stage.lit()
        stage.app.runtime.open("shapes")
        await stage.pilot.pause(0.2)
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        rows = [(line.text, line.note) for line in screen.current_view().items]  # type: ignore[union-attr]
        assert len(set(rows)) == len(rows) > 20, "two walls are told apart by where they begin"
