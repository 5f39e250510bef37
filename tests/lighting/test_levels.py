"""Levels and colours of places and groups; what a chain shows within its ceiling; advice."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.current import need_ma
from device_protocol.lightness import DUTY, at_level
from device_protocol.values import Colour
from probe.document.board_table import board_table
from probe.document.file import demo_map_path, load_map
from probe.document.lamp_table import lamp_table
from probe.document.model import Chain, Kind, Pixel, PixelState, PlayfieldMap
from probe.document.model.light import Fade
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, update_place
from probe.lighting.advice import advise, table, warmths
from probe.lighting.levels import (
    PLANNED_CHANNEL_UA,
    PLANNED_IDLE_UA,
    colour_of,
    follow_group,
    group_of,
    members,
    places_lit,
    set_fade,
    set_group_light,
    set_light,
    shown_on,
)

DEMO = load_map(demo_map_path())


def chain_of(count: int, *, ceiling_ma: int = 450) -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, ceiling_ma=ceiling_ma))
    map_ = set_count(map_, "a", count)
    for number in range(count):
        map_, place = add_place(map_, f"Glow {number}", group="Glow" if number % 2 else "")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


def test_a_place_comes_before_its_group() -> None:
    map_ = chain_of(4)
    first, second = map_.places[1], map_.places[3]
    map_ = set_group_light(map_, "glow", level=128, colour="FFB46B")
    assert colour_of(map_, first) == at_level(Colour.from_text("FFB46B"), 128)
    map_ = set_light(map_, first.id, level=64, colour="")
    assert colour_of(map_, map_.place_by_id[first.id]) == at_level(Colour.from_text("FFB46B"), 64)
    assert colour_of(map_, second) == at_level(Colour.from_text("FFB46B"), 128)
    map_, changed = follow_group(map_, "Glow")
    assert changed == 1
    assert colour_of(map_, map_.place_by_id[first.id]) == at_level(Colour.from_text("FFB46B"), 128)
    assert {place.id for place in members(map_, "GLOW")} == {first.id, second.id}
    assert group_of(map_, "glow") is not None
    assert len(map_.groups) == 1
    with pytest.raises(ValueError, match="no group"):
        set_group_light(map_, " ", level=1, colour="")


def test_levels_and_fade_travel_into_the_table() -> None:
    place = DEMO.places[2]
    map_ = set_light(DEMO, place.id, level=100, colour="FF8020")
    row = lamp_table(map_).lamp(place.lamps[0])
    assert row is not None
    assert {(pixel.level, pixel.colour.text) for pixel in row.pixels} == {(100, "FF8020")}
    faded = board_table(set_fade(map_, Fade(rise_ms=40, fall_ms=100))).table
    assert (faded.rise_ms, faded.fall_ms) == (40, 100)
    assert (board_table(set_fade(map_, None)).table.rise_ms, board_table(map_).table.fall_ms) == (0, 0)


levels = st.lists(st.integers(0, 255), min_size=1, max_size=40)


@given(levels, st.integers(1, 3_000))
def test_what_is_shown_never_exceeds_the_ceiling_or_the_palette(wanted: list[int], ceiling_ma: int) -> None:
    map_ = chain_of(len(wanted), ceiling_ma=ceiling_ma)
    for place, level in zip(map_.places, wanted, strict=True):
        map_ = set_light(map_, place.id, level=level, colour="")
    shown = shown_on(map_, map_.chains[0], places_lit(map_, map_.places))
    lit = {colour for colour in shown.colours if not colour.is_dark}
    assert len(lit) <= 15
    assert len(shown.colours) == len(wanted)
    need = need_ma(shown.colours, idle_ua=PLANNED_IDLE_UA, channel_ua=PLANNED_CHANNEL_UA)
    assert shown.need_ma == need
    assert not lit or need <= ceiling_ma
    asked = [DUTY[level] for level in wanted]
    if shown.dimmed_percent == 100 and shown.merged == 0:
        assert [colour.red for colour in shown.colours] == asked
    for level, colour in zip(wanted, shown.colours, strict=True):
        assert level or colour.is_dark


def test_a_board_s_own_figures_count_where_one_is_there() -> None:
    map_ = chain_of(3, ceiling_ma=60)
    shown = shown_on(map_, map_.chains[0], places_lit(map_, map_.places))
    assert shown.estimated
    assert shown.asked_ma == 3 + 180
    assert shown.need_ma <= 60
    assert 0 < shown.dimmed_percent < 100


def test_advice_says_where_it_comes_from() -> None:
    assert all(row.provenance and row.advice for row in table())
    assert {row.match for row in table() if row.about == "kind"} == {kind.value for kind in Kind}
    assert [row.match for row in warmths()] == ["candle", "bulb", "neutral", "daylight"]
    shares = [row.colour.blue / row.colour.red for row in warmths()]
    assert shares == sorted(shares)


def test_advice_by_insert_then_by_kind() -> None:
    red = next(place for place in DEMO.places if place.id == "right-outlane-pearl")
    assert "pink" in advise(DEMO, red).advice
    glow = next(place for place in DEMO.places if place.kind is Kind.GENERAL)
    assert advise(DEMO, glow).match == "general"
    odd = update_place(DEMO, red.model_copy(update={"lamps": (9_000,)}))
    assert advise(odd, odd.place_by_id[red.id]).match == "insert"
    lamps = tuple(lamp.model_copy(update={"insert_colour": "neutral bumper"}) for lamp in DEMO.lamps)
    named = DEMO.model_copy(update={"lamps": lamps})
    assert advise(named, named.place_by_id[red.id]).match == "insert", "an insert's colour that the table does not have"


@pytest.mark.parametrize("often", [40, 42])
def test_of_two_colours_that_become_one_the_more_used_stays(often: int) -> None:
    far_apart = [Colour(16 * n, 255 - 16 * n, (97 * n) % 256) for n in range(14)]
    alike = [Colour(0, 0, 40), Colour(0, 0, 42)]
    wanted = far_apart + alike + [Colour(0, 0, often)] * 3
    pixels = tuple(Pixel(id=f"p{n}", state=PixelState.PLACED, place=f"l{n}") for n in range(len(wanted)))
    chain = Chain(id="a", name="A", output=0, count=len(pixels), pixels=pixels, ceiling_ma=60_000)
    shown = shown_on(new_map("Kelp Forest"), chain, {f"l{n}": colour for n, colour in enumerate(wanted)})
    assert (shown.merged, shown.dimmed_percent) == (1, 100)
    assert shown.colours == (*far_apart, *[Colour(0, 0, often)] * 5)
