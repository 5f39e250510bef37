"""Whites to be made: duties against a colour library and published values, words before numbers, balance by batch."""

from __future__ import annotations

import math

import numpy as np
import pytest

from device_protocol.values import Colour
from probe.document.lamp_table import BULB_WHITE, balanced, lamp_table
from probe.document.model import Chain, Lamp, Pixel, PixelState, Place, PlayfieldMap
from probe.document.model.harness import Batch
from probe.document.operations import new_map
from probe.harness.base import PowerError
from probe.harness.entries import Key, change
from probe.lighting.advice import advise, table, tint_at, warmths
from probe.lighting.levels import shown_on
from probe.lighting.plastics import (
    WHITES_K,
    PixelDiodes,
    Tint,
    black_body,
    bulb_seen,
    cannot,
    colour_words,
    duty_for,
    seen,
    tristimulus,
    white_duty,
)

# Linear duty for a white with 405/690/190 mcd, worked outside this program
PUBLISHED = {2_700: (255, 191, 18), 2_856: (255, 201, 22), 4_000: (254, 255, 52)}


@pytest.mark.parametrize("kelvin", PUBLISHED)
def test_duties_for_whites(kelvin: int) -> None:
    found = white_duty(kelvin)
    assert (found.red, found.green, found.blue) == pytest.approx(PUBLISHED[kelvin], abs=2)


def test_duty_for_d65_and_the_levels_it_comes_to() -> None:
    """x, y of D65: CIE 15; 200/255/88 and 1074 mcd worked outside this program."""
    found = duty_for(0.3127, 0.3290)
    assert found is not None
    assert (found.red, found.green, found.blue) == pytest.approx((200, 255, 88), abs=2)
    assert seen(found).mcd == pytest.approx(1074, rel=0.01)
    assert seen(Colour(255, 191, 18)).mcd == pytest.approx(935, rel=0.005)


@pytest.mark.slow  # the library takes seconds to load
@pytest.mark.parametrize("row", [row for row in table() if row.about == "warmth"], ids=lambda row: row.match)
def test_whites_of_the_table_have_their_temperature_by_the_library(row: object) -> None:
    import colour

    found = seen(row.colour)  # type: ignore[attr-defined]
    uv = colour.xy_to_UCS_uv(np.array([found.x, found.y]))
    kelvin, duv = colour.temperature.uv_to_CCT(uv, method="Ohno 2013")
    assert kelvin == pytest.approx(WHITES_K[row.match], rel=0.03)  # type: ignore[attr-defined]
    assert abs(duv) < 0.005


@pytest.mark.slow
def test_all_in_full_is_no_white_by_the_library() -> None:
    """(0.256, 0.212): below the black bodies, farther from them than any white."""
    import colour

    found = seen(Colour(255, 255, 255))
    _, duv = colour.temperature.uv_to_CCT(colour.xy_to_UCS_uv(np.array([found.x, found.y])), method="Ohno 2013")
    assert duv < -0.02


def test_a_colour_outside_the_part_is_refused() -> None:
    assert duty_for(0.30, 0.005) is None
    assert duty_for(0.05, 0.30) is None
    with pytest.raises(ValueError, match="no white"):
        white_duty(900, part=PixelDiodes(dominant_nm=(605.0, 523.5, 466.0)))


def test_another_part_wants_another_duty() -> None:
    bluish = PixelDiodes(mcd=(405.0, 690.0, 380.0, 1_200.0))
    assert white_duty(2_700, part=bluish).blue == pytest.approx(white_duty(2_700).blue / 2, abs=1)


def test_words_come_before_numbers() -> None:
    assert colour_words(Colour(255, 191, 18)) == "as a bulb"
    assert colour_words(Colour(128, 96, 9)) == "as a bulb"
    assert colour_words(Colour(254, 255, 52)) == "neutral"
    assert colour_words(Colour(200, 255, 88)) == "daylight"
    assert colour_words(Colour(255, 0, 0), Tint.RED) == "the plastic's own colour"
    assert colour_words(Colour(255, 0, 0), Tint.GREEN) == "red"
    assert colour_words(Colour(255, 255, 255)) == "bluish white"
    assert colour_words(Colour(0, 0, 0)) == "dark"


def test_amber_behind_amber_needs_a_white_diode() -> None:
    words = cannot(Colour(255, 191, 18), Tint.AMBER)
    assert "shows red, where a bulb shows amber" in words
    assert "four-colour" in words
    assert cannot(Colour(0, 0, 0, 255), Tint.AMBER) == ""
    for tint in (Tint.RED, Tint.YELLOW, Tint.GREEN, Tint.BLUE, Tint.OPAL, Tint.CLEAR, None):
        assert cannot(Colour(255, 191, 18), tint) == "", tint


def test_yellow_behind_yellow_is_red_and_green_in_full() -> None:
    row = next(row for row in table() if (row.about, row.match) == ("insert", "yellow"))
    assert math.dist(seen(row.colour, Tint.YELLOW).uv, bulb_seen(Tint.YELLOW).uv) < 0.01
    assert seen(Colour(255, 191, 18), Tint.YELLOW).hue == "orange"


def _map(insert: str, *, white: str = "") -> PlayfieldMap:
    place = Place(id="p", label="Reef", lamps=(3,), colour="FFBF12", level=255)
    pixels = (
        Pixel(id="a-0", state=PixelState.PLACED, place="p"),
        Pixel(id="a-1", state=PixelState.PLACED, place="p", batch="late"),
    )
    return new_map("Kelp Forest").model_copy(
        update={
            "places": (place,),
            "lamps": (Lamp(number=3, name="Reef", insert_colour=insert),),
            "chains": (Chain(id="a", name="A", output=0, count=2, pixels=pixels, ceiling_ma=4_000),),
            "batches": (Batch(id="late", name="Late", white=white),),
        }
    )  # fmt: skip


def test_the_plastic_comes_from_the_lamp_list() -> None:
    map_ = _map("dark amber")
    assert tint_at(map_, map_.places[0]) is Tint.AMBER
    assert "four-colour" in advise(map_, map_.places[0]).advice
    assert [row.match for row in warmths()] == list(WHITES_K)


def test_a_batch_is_balanced_in_the_table_and_in_the_picture() -> None:
    """A batch whose blue is twice as strong and whose red is weak: its white as a bulb was found at FFA009."""
    map_ = _map("", white="FFA009")
    first, second = lamp_table(map_).lamps[0].pixels
    assert first.colour == BULB_WHITE
    assert second.colour == Colour(255, 160, 9)
    shown = shown_on(map_, map_.chains[0], {"p": Colour(128, 96, 9)}).colours
    assert shown == (Colour(128, 96, 9), Colour(128, 80, 4))


def test_balance_never_goes_above_full_and_keeps_the_proportion() -> None:
    map_ = _map("", white="80BF12")  # red twice as strong as common
    pixel = map_.chains[0].pixels[1]
    assert balanced(map_, pixel, Colour(255, 191, 18)) == Colour(128, 191, 18)
    strong = _map("", white="FFFF12")  # green weak: 255 where common parts want 191
    assert balanced(strong, pixel, Colour(255, 255, 255)) == Colour(191, 255, 191)
    assert balanced(map_, map_.chains[0].pixels[0], Colour(1, 2, 3)) == Colour(1, 2, 3)


def test_a_batchs_white_is_entered_as_a_colour() -> None:
    map_ = change(_map(""), Key(Batch, "late", "white"), "#ffa009")
    assert map_.batches[0].white == "FFA009"
    with pytest.raises(PowerError):
        change(map_, Key(Batch, "late", "white"), "warmish")


def test_a_black_body_below_the_visible_is_still_light() -> None:
    assert tristimulus(black_body(1_900.0))[1] > 0
