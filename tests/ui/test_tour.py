"""The tour of the demo: it goes on with what is tried, can be passed over and ended, and changes nothing."""

from __future__ import annotations

import pytest

from probe.document.file import demo_map_path, load_map
from probe.mapping.tour import STOPS, Sight, Tour, look, skip
from probe.ui.tour import TourLine
from tests.support.examples import first_now
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of

HALF = "kelp_forest_half.json"


def at(stage: Stage) -> int:
    """The stop that the tour is at, from 1; 0 when there is none."""
    for screen in stage.app.screen_stack:
        for line in screen.query(TourLine):
            return line.tour.at + 1
    return 0


async def until_at(stage: Stage, stop: int) -> None:
    for _ in range(60):
        await stage.pilot.pause(0.05)
        if at(stage) == stop:
            return
    raise AssertionError(f"the tour is at {at(stage)}, not {stop}:\n{text_of(stage.app)}")


@pytest.mark.slow
async def test_it_goes_on_with_what_is_tried(open_app: OpenApp) -> None:
    truth = load_map(demo_map_path())
    async with open_app(load_map(demo_map_path(HALF)), truth, tour=True) as stage:
        await stage.lit()
        await until_at(stage, 1)
        assert "Tour 1 of 7" in text_of(stage.app)
        await stage.pilot.press(*"Otter", "enter")
        await until_at(stage, 2)
        for label in ("Eel", "Crab"):
            await stage.lit()
            await stage.pilot.press(*label, "enter")
        await until_at(stage, 3)
        await stage.lit()
        await stage.pilot.press("pageup")
        await until_at(stage, 4)
        await stage.pilot.press("f1")
        await stage.pilot.pause(0.5)
        await stage.pilot.press("escape")
        await until_at(stage, 5)
        await stage.pilot.press(*to("app.table"))
        await stage.pilot.pause(0.5)
        await stage.pilot.press("escape")
        await until_at(stage, 6)
        await stage.pilot.press("escape")
        await stage.pilot.pause(0.5)
        await stage.pilot.press("escape")
        await until_at(stage, 7)
        await stage.pilot.press(*to("app.tour"))
        await until_at(stage, 0)


@pytest.mark.slow
async def test_it_can_be_ended_and_begun_again(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path(HALF))
    async with open_app(map_, load_map(demo_map_path())) as stage:
        await stage.lit()
        assert at(stage) == 0
        await stage.pilot.press(*to("app.tour"))
        await until_at(stage, 1)
        await stage.pilot.press(*to("app.end_tour"))
        await until_at(stage, 0)
        await stage.app.settled()
    assert load_map(stage.path).chains == map_.chains


@pytest.mark.slow
async def test_with_a_real_board_it_says_where_the_tour_is(open_app: OpenApp) -> None:
    async with open_app(load_map(demo_map_path(HALF))) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.tour"))
        await stage.pilot.pause(0.2)
        assert at(stage) == 0
        assert "demo --tour" in " ".join(text_of(stage.app).replace("│", " ").split())


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (40, 12), (20, 5)]))
async def test_every_sentence_fits(open_app: OpenApp, size: tuple[int, int]) -> None:
    async with open_app(load_map(demo_map_path(HALF)), load_map(demo_map_path()), tour=True, size=size) as stage:
        await stage.lit()
        for number, stop in enumerate(STOPS, start=1):
            await until_at(stage, number)
            if size == (80, 24):
                shown = " ".join(text_of(stage.app).split())
                assert stop.words.split()[-1] in shown
                assert "LIT" in shown
                assert "T next, E end)" in shown
            await stage.pilot.press(*to("app.tour"))
        await until_at(stage, 0)


def test_what_was_tried_counts_when_the_walk_is_back() -> None:
    start = Sight("a", 5, 5, "WalkScreen")
    tour = look(skip(skip(skip(Tour()))), start)
    assert tour.at == 3
    tour = look(tour, Sight("a", 5, 5, "HelpScreen"))
    assert tour.at == 3
    tour = look(tour, start)
    assert tour.at == 4


def test_looking_alone_changes_nothing() -> None:
    sight = Sight("a", 5, 5, "WalkScreen")
    tour = look(Tour(), sight)
    assert look(tour, sight) == tour
    over = Tour(len(STOPS))
    assert over.over
    assert look(over, sight) == over
    assert over.words == ""
