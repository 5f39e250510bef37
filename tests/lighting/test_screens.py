"""The picture and the walk for evenness on screen, driven by keys, on a simulated board."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from textual.widgets import Input

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap, Revision
from probe.document.model.light import Rating
from probe.document.operations import set_state, update_place
from probe.lighting.even_walk import EvenWalk
from probe.lighting.picture_keys import PickPlace
from probe.lighting.picture_state import PictureState
from probe.playfield.cells import CHANGED_SIGN, DARK_SIGN, NO_PIXEL_SIGN, place_signs, route_points
from probe.ui.files import screen_svg
from probe.ui.task_screen import TaskScreen
from probe.ui.widgets.picture import PlayfieldPicture, legend
from tests.sheet.test_sheet import HOSTILE
from tests.support.examples import first_now
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of

DEMO = load_map(demo_map_path())


async def shown(stage: Stage) -> TaskScreen:
    """The picture, opened from the walk, with its place lit."""
    await stage.lit()
    await stage.pilot.press(*to("app.picture"))
    await settled(stage)
    screen = stage.app.screen
    assert isinstance(screen, TaskScreen)
    assert screen.open_task.name == "picture"
    return screen


def work(stage: Stage) -> PictureState:
    """The picture, as it is seen now."""
    top = stage.app.runtime.top
    assert top is not None
    picture = stage.app.runtime.seen(top)
    assert isinstance(picture, PictureState)
    return picture


async def settled(stage: Stage) -> None:
    """Wait until the board has done everything and the screen shows it."""
    for _ in range(3):
        await stage.pilot.pause(0.02)
        await stage.app.settled()
    await stage.pilot.pause()


def even(stage: Stage) -> EvenWalk:
    """The walk for evenness, as it is seen now."""
    top = stage.app.runtime.top
    assert top is not None
    walk = stage.app.runtime.seen(top)
    assert isinstance(walk, EvenWalk)
    return walk


def seen(stage: Stage) -> set[str]:
    """Ids of the places that light under the glass."""
    return {place for place, _ in stage.app.seen()}


@pytest.mark.slow
async def test_arrows_pick_a_place_and_light_it(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        first = work(stage).place
        assert seen(stage) == {first}
        await stage.pilot.press("up")
        await settled(stage)
        assert work(stage).place != first
        assert seen(stage) == {work(stage).place}
        assert "LIT" in text_of(stage.app)
        assert "◉" in text_of(stage.app)


@pytest.mark.slow
async def test_a_click_picks_the_place_under_it_above_and_below(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        screen = await shown(stage)
        picture = screen.query_one(PlayfieldPicture)
        wanted = DEMO.place_by_id["dive-again"]
        assert wanted.position is not None
        for below in (False, True):
            if below:
                await stage.pilot.press(*to("picture.flip"))
                await stage.pilot.pause()
            column, row = picture.cell_of(wanted.position)
            await stage.pilot.click(PlayfieldPicture, offset=(column, row))
            await settled(stage)
            assert work(stage).place == "dive-again"
            assert seen(stage) == {"dive-again"}
            await stage.pilot.press("pagedown")
            await settled(stage)
        assert "from below" in text_of(stage.app)


@pytest.mark.slow
async def test_from_below_the_left_arrow_goes_to_what_is_drawn_at_the_left(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        await stage.pilot.press(*to("picture.flip"))
        stage.app.runtime.dispatch(PickPlace("dive-again"))
        await settled(stage)
        await stage.pilot.press("left")
        await settled(stage)
        here = work(stage).here
        assert here is not None
        assert here.position is not None
        there = DEMO.place_by_id["dive-again"].position
        assert there is not None
        assert here.position.x_mm > there.x_mm


@pytest.mark.slow
async def test_a_position_by_pointing_by_grid_and_by_tape(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        screen = await shown(stage)
        place = work(stage).place
        assert place is not None
        await stage.pilot.press(*to("picture.point"), *["up"] * 5, *["left"] * 5, "enter")
        await settled(stage)
        pointed = work(stage).map.place_by_id[place].position
        before = DEMO.place_by_id[place].position
        assert pointed is not None
        assert before is not None
        assert pointed.y_mm > before.y_mm
        assert pointed.x_mm < before.x_mm
        for text, wanted in (("C7", (125.0, 325.0)), ('10 1/4", 5 in', (260.35, 127.0))):
            await stage.pilot.press(*to("picture.ask.POSITION"))
            await stage.pilot.pause()
            screen.query_one("#entry", Input).value = text
            await stage.pilot.press("enter")
            await settled(stage)
            position = work(stage).map.place_by_id[place].position
            assert position is not None
            assert (position.x_mm, position.y_mm) == wanted
        on_disk = load_map(stage.path)
        assert on_disk.place_by_id[place].position == position


@pytest.mark.slow
async def test_levels_travel_back_to_the_walk_and_to_disk(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        place = work(stage).place
        assert place is not None
        await stage.pilot.press("ctrl+l", "down", "down", "w", "escape")
        await settled(stage)
        changed = work(stage).map.place_by_id[place]
        await stage.pilot.press("escape")
        await stage.lit()
        assert isinstance(stage.app.screen, TaskScreen)
        assert stage.walk.map.place_by_id[place] == changed
        assert load_map(stage.path).place_by_id[place] == changed
        assert changed.colour


@pytest.mark.slow
async def test_lighting_all_stays_under_the_ceiling_and_says_so(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        await stage.pilot.press("ctrl+l", "a", "a", "escape")
        await settled(stage)
        assert len(seen(stage)) > 80
        words = " ".join(text_of(stage.app).split())
        assert "of 450 mA" in words
        assert "by the ceiling" in words


@pytest.mark.slow
async def test_comparing_alternates_on_the_board(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        held = work(stage).place
        await stage.pilot.press(*to("picture.compare"), "up", *to("picture.compare"))
        await settled(stage)
        other = work(stage).place
        found = []
        for _ in range(4):
            found.append(frozenset(seen(stage)))
            await stage.pilot.pause(0.5)
            await settled(stage)
        assert {frozenset({held}), frozenset({other})} == set(found)


@pytest.mark.slow
async def test_with_steady_only_comparing_lights_both(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40), steady_only=True) as stage:
        await shown(stage)
        held = work(stage).place
        await stage.pilot.press(*to("picture.compare"), "up", *to("picture.compare"))
        await settled(stage)
        assert seen(stage) == {held, work(stage).place}


@pytest.mark.slow
async def test_zoom_route_grid_and_kinds_by_sign_and_word(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        screen = await shown(stage)
        assert not any(arrow in text_of(stage.app) for arrow in "◂▴▾")
        await stage.pilot.press(*to("picture.route"), *to("picture.grid"))
        await stage.pilot.pause()
        text = text_of(stage.app)
        assert any(arrow in text for arrow in "◂▴▾")
        assert "10" in text
        for word in ("o insert", "⊚ bumper", "✕ dark", "! changed", "⋅ no pixel"):
            assert word in " ".join(text.split())
        stage.app.runtime.dispatch(PickPlace("otter-bonus-3"))
        await settled(stage)
        await stage.pilot.press(*to("picture.zoom"))
        await settled(stage)
        assert "Otter den" in text_of(stage.app).splitlines()[0]
        picture = screen.query_one(PlayfieldPicture)
        inside = [p for p in DEMO.places if p.position is not None and picture.layout_now.window_of(p.position)]
        assert {p.area for p in inside} >= {"Otter den"}
        assert len(inside) < 40
        await stage.pilot.press(*to("picture.zoom"))
        await settled(stage)
        assert "whole playfield" in text_of(stage.app)


@pytest.mark.slow
async def test_plain_ascii_draws_plain_ascii(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40), signs="ascii") as stage:
        screen = await shown(stage)
        await stage.pilot.press(*to("picture.route"), *to("picture.grid"))
        await settled(stage)
        picture = screen.query_one(PlayfieldPicture)
        strips = [picture.render_line(y) for y in range(picture.size.height)]
        drawn = "".join(segment.text for strip in strips for segment in strip)
        assert drawn.isascii()
        assert "@" in drawn


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (60, 20)]))
async def test_hostile_labels_and_sizes(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = DEMO
    labels = (*HOSTILE, "[/x]", "[bold]b[/]", "$text", "trailing \\")
    for place, label in zip(DEMO.places, labels, strict=False):
        map_ = update_place(map_, place.model_copy(update={"label": label, "area": label[:60], "group": label[:60]}))
    async with open_app(map_, map_, size=size) as stage:
        screen = await shown(stage)
        for place in map_.places[: len(labels)]:
            stage.app.runtime.dispatch(PickPlace(place.id))
            await stage.pilot.pause()
            await stage.pilot.press(*to("picture.zoom"))
        await stage.pilot.press(*to("picture.advice"), *to("picture.whole"), *to("picture.compare"))
        await settled(stage)
        text = text_of(stage.app)
        assert "\x1b" not in text
        assert "\u202e" not in text
        assert screen.is_current


@pytest.mark.slow
async def test_losing_the_board_is_a_state_and_the_place_lights_again(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        place = work(stage).place
        stage.port.unplug()
        for _ in range(200):
            await stage.pilot.pause(0.02)
            if not work(stage).board.here:
                break
        assert "no board" in text_of(stage.app)
        await stage.pilot.press(*to("picture.level.-1"), "escape")
        stage.port.plug()
        for _ in range(400):
            await stage.pilot.pause(0.02)
            if work(stage).lit_places:
                break
        assert seen(stage) == {place}


@pytest.mark.slow
async def test_the_walk_for_evenness_from_ratings_to_trims(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(120, 40)) as stage:
        await shown(stage)
        await stage.pilot.press(*to("app.evenness"))
        await settled(stage)
        assert len(seen(stage)) == 25
        count = len(even(stage).stops)
        rating = {0: "f2", 1: "f3"}
        for number in range(count):
            await stage.pilot.press(rating.get(number % 9, "enter"))
        await settled(stage)
        assert even(stage).done
        for _ in range(400):
            await stage.pilot.pause(0.05)
            if even(stage).suggestion is not None:
                break
        assert even(stage).suggestion is not None
        await stage.pilot.pause()
        text = " ".join(text_of(stage.app).split())
        assert "Emin/Eavg" in text
        assert "By the light model" in text
        await stage.pilot.press("pagedown")  # reads on, and does not leave the result
        await settled(stage)
        assert even(stage).done
        await stage.pilot.press("enter")
        await settled(stage)
        trimmed = even(stage).map
        assert even(stage).trimmed
        await stage.pilot.press("escape")
        await settled(stage)
        await stage.pilot.press("escape")
        await stage.lit()
        assert stage.walk.map.readings == trimmed.readings
        on_disk = load_map(stage.path)
        assert len(on_disk.readings) == count
        assert {r.rating for r in on_disk.readings} == set(Rating)
        assert any(a.level != b.level for a, b in zip(on_disk.places, DEMO.places, strict=True))


@pytest.mark.slow
async def test_typed_readings(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(80, 24)) as stage:
        await shown(stage)
        await stage.pilot.press(*to("app.evenness"))
        await settled(stage)
        await stage.pilot.press("8", "5", "enter")
        await settled(stage)
        assert even(stage).map.readings[-1].value == 85
        assert stage.app.screen.query_one("#entry", Input).value == ""


@pytest.mark.slow
async def test_no_general_illumination_to_walk_is_said(open_app: OpenApp) -> None:
    bare = DEMO.model_copy(update={"places": tuple(p.model_copy(update={"position": None}) for p in DEMO.places)})
    async with open_app(bare, bare, size=(80, 24)) as stage:
        await shown(stage)
        await stage.pilot.press(*to("app.evenness"))
        await settled(stage)
        assert stage.app.runtime.top is not None
        assert stage.app.runtime.top.name == "picture"
        assert "two places of general illumination" in " ".join(text_of(stage.app).split())


@pytest.mark.slow
async def test_a_screen_is_saved_as_a_picture_that_needs_no_network(open_app: OpenApp) -> None:
    async with open_app(DEMO, DEMO, size=(80, 24)) as stage:
        await shown(stage)
        await stage.pilot.press(*to("app.save_picture"))
        await stage.pilot.pause()
        await stage.pilot.press(*to("app.save_picture"))
        await stage.pilot.pause()
        made = sorted(stage.path.parent.glob("map-screen-*.svg"))
        assert [path.name for path in made] == ["map-screen-1.svg", "map-screen-2.svg"]
        svg = made[0].read_text(encoding="utf-8")
        ElementTree.fromstring(svg)
        assert "Kelp" in svg
        outside = svg.replace('xmlns="http://www.w3.org/2000/svg"', "").replace("<!-- Generated with Rich", "")
        assert "@font-face" not in outside
        assert "url(http" not in outside
        assert "href" not in outside
        assert screen_svg(stage.app).startswith("<svg")


def changed_map() -> PlayfieldMap:
    revision = Revision(number=9, time="2025-05-01T00:00:00Z", reason="one more", rewired=("playfield",))
    map_ = DEMO.model_copy(update={"revisions": (*DEMO.revisions, revision)})
    return set_state(map_, "playfield", 3, DEMO.chains[0].pixels[77].state)


def test_dark_changed_and_without_pixel_are_told_by_sign() -> None:
    looks = {place.place: (place.sign, place.role) for place in place_signs(changed_map())}
    assert looks["launch-arrow"] == (DARK_SIGN, "trouble")
    assert looks["dive-again"] == (CHANGED_SIGN, "changed")
    assert {place.sign for place in place_signs(DEMO) if place.role == "here"} == {"o", "⊚", "+", "✦", "▭"}
    map_ = DEMO.model_copy(update={"chains": ()})
    assert {place.sign for place in place_signs(map_)} == {NO_PIXEL_SIGN}
    assert "✕ dark" in legend(["insert"])
    assert legend(["general"], plain=True).isascii()


def test_the_route_joins_places_in_the_chain_s_order() -> None:
    routes = route_points(DEMO)
    at = {place.id: place.position for place in DEMO.places}
    named = [at[pixel.place] for pixel in DEMO.chains[0].pixels if pixel.place is not None]
    assert list(routes[0]) == named
