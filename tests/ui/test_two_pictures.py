"""A recheck's look on a wide screen: as the map says beside as it is said, or in the demo beside what is lit; the line below
says what is lit at the marked row."""

from __future__ import annotations

from textwrap import wrap

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.recheck.colours import look_spots
from probe.recheck.state import RecheckStage
from probe.task.events import Choose, Take
from probe.ui.task_screen import SEEN_ROWS, under_the_glass
from probe.ui.widgets.picture import PlayfieldPicture
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, Stage, text_of
from tests.ui.test_recheck_screen import asked, state_of, wirings

KELP = load_map(demo_map_path())


async def to_a_look(stage: Stage) -> None:
    await stage.lit()
    stage.app.runtime.open("recheck", ("playfield", ()))
    await stage.pilot.pause(0.1)
    stage.app.runtime.dispatch(Take())
    for _ in range(20):
        state = await asked(stage)
        if state.stage is RecheckStage.LOOK:
            return
        stage.app.runtime.dispatch(Take())
    raise AssertionError(text_of(stage.app))


@pytest.mark.parametrize("size", first_now([(120, 40), (80, 24), (200, 60)]))
@pytest.mark.parametrize("truth", [KELP, None], ids=["demo", "real board"])
async def test_both_sides_stand_beside_each_other_where_there_is_width(
    size: tuple[int, int], truth: PlayfieldMap | None, open_app: OpenApp
) -> None:
    async with open_app(KELP, truth, size=size, wirings=wirings(KELP, "two swapped")) as stage:
        await to_a_look(stage)
        stage.app.runtime.dispatch(Choose(5))
        await stage.pilot.pause(0.2)
        second = [each for each in stage.app.screen.query("#picture-second") if each.display]
        assert bool(second) is (size[0] >= 120)
        if second:
            picture = second[0]
            assert isinstance(picture, PlayfieldPicture)
            assert picture.words == ("Under the glass (demo)" if truth is not None else "As you say")
            assert stage.app.screen.query_one("#picture", PlayfieldPicture).words == "Map says"
            told = [spot for spot in picture._spots if spot.look != "mark"]
            seen = stage.app.seen()
            assert len(told) == (len(seen) if truth is not None else 4), "rows above the marked one are as listed"
        item = state_of(stage).item
        assert item is not None
        assert state_of(stage).entries is not None
        place = state_of(stage).entries.place(item.entries[0])  # type: ignore[union-attr]
        assert place is not None
        line = " ".join(str(stage.app.screen.query_one("#seen").render()).split())
        shines = dict(stage.app.seen()).get(place.id, "dark")
        assert (f"Under the glass, {place.label}: {shines}" in line) is (truth is not None)


def test_the_line_says_what_is_lit_at_the_place_and_how_many_others() -> None:
    place, other = KELP.places[0], KELP.places[1]
    both = ((place.id, "red"), (place.id, "blue"), (other.id, "white"))
    assert (
        str(under_the_glass(KELP, both, place.id)) == f"Under the glass, {place.label}: red and blue; 1 other place lit"
    )
    assert str(under_the_glass(KELP, both[2:], place.id)) == f"Under the glass, {place.label}: dark; 1 other place lit"
    assert str(under_the_glass(KELP, both[:1], place.id)).endswith(": red; nothing else is lit")
    assert str(under_the_glass(None, both, place.id)) == ""
    assert str(under_the_glass(KELP, ())) == "Under the glass: nothing lit"
    ordered = str(under_the_glass(KELP, (), ordered=True))
    assert ordered == "Under the glass: dark, though the board lights the pixel", (
        "no contradiction to what is said to be lit"
    )
    assert len(wrap(ordered, 31)) <= SEEN_ROWS, "whole beside the question on the smallest screen"


async def test_each_look_is_drawn_anew_on_its_own_side(open_app: OpenApp) -> None:
    async with open_app(KELP, KELP, size=(120, 40), wirings=wirings(KELP, "two swapped")) as stage:
        await to_a_look(stage)
        drawn = []
        for _ in range(3):
            await stage.pilot.pause(0.1)
            state = state_of(stage)
            assert state.stage is RecheckStage.LOOK
            wanted = look_spots(KELP, state.shown)
            picture = stage.app.screen.query_one("#picture", PlayfieldPicture)
            assert picture._spots[: len(wanted)] == wanted, "the map's side is of this look, not of the one before"
            drawn.append(wanted)
            stage.app.runtime.dispatch(Take())
            await asked(stage)
        assert len(set(drawn)) == 3


@pytest.mark.parametrize("width", [24, 36, 44, 78])
@pytest.mark.parametrize("lit", [1, 2, 3, 4, 80])
@pytest.mark.parametrize("colours", [("red",), ("red", "blue", "yellow")])
def test_what_is_lit_is_said_within_two_rows_and_what_is_left_out_shows(
    width: int, lit: int, colours: tuple[str, ...]
) -> None:
    seen = tuple((place.id, colours[n % len(colours)]) for n, place in enumerate(KELP.places[:lit]))
    line = str(under_the_glass(KELP, seen, width=width))
    assert len(wrap(line, width)) <= SEEN_ROWS
    named = [place.label for place in KELP.places[:lit] if place.label in line]
    assert len(named) == lit or f"({lit} lit)" in line, "how many comes first where not all are named"
    assert line.endswith("…") or len(named) in (0, lit)
