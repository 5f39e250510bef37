"""Colours seen bare and behind plastics, against a colour library and worked values.

The insert table was computed outside this program (Gaussian diodes, logistic edges); its edges are judgement, so it shows
that the model is what it says, not that plastics are so.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.values import Colour
from probe.lighting.plastics import (
    COMMON_PART,
    WAVELENGTHS_NM,
    Strength,
    Tint,
    black_body,
    bulb_seen,
    diode,
    hue_word,
    insert_tint,
    primaries,
    seen,
    seen_words,
    strength,
    surviving,
    tint_of,
    tristimulus,
)

RED, GREEN, BLUE, WHITE = Colour(255, 0, 0), Colour(0, 255, 0), Colour(0, 0, 255), Colour(255, 255, 255)
YELLOW = Colour(255, 128, 0)
LOOK = {"red": RED, "yellow": Colour(255, 255, 0), "blue": BLUE, "white": WHITE}


def _by_library(light: tuple[float, ...]) -> tuple[float, float]:
    """x, y from the library's tables of the CIE 1931 observer."""
    import colour  # which takes seconds to load: what asks it is slow

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    rows = np.array([cmfs[nm] for nm in WAVELENGTHS_NM])
    total = np.array(light) @ rows
    return float(total[0] / total.sum()), float(total[1] / total.sum())


@pytest.mark.slow
@pytest.mark.parametrize("kelvin", [2000, 2700, 2856, 4000, 6500])
def test_a_black_body_is_where_the_library_has_it(kelvin: int) -> None:
    import colour

    x, y, z = tristimulus(black_body(kelvin))
    assert (x / (x + y + z), y / (x + y + z)) == pytest.approx(_by_library(black_body(kelvin)), abs=0.004)
    uv = colour.temperature.CCT_to_uv(np.array([kelvin, 0.0]), method="Ohno 2013")
    assert _by_library(black_body(kelvin)) == pytest.approx(colour.UCS_uv_to_xy(uv), abs=0.002)


@pytest.mark.slow
@pytest.mark.parametrize(("nm", "width"), [(622.5, 20), (523.5, 34), (466, 26), (590, 15)])
def test_diodes_by_the_librarys_observer(nm: float, width: float) -> None:
    x, y, z = tristimulus(diode(nm, width))
    assert (x / (x + y + z), y / (x + y + z)) == pytest.approx(_by_library(diode(nm, width)), abs=0.012)


def test_the_primaries_and_their_white() -> None:
    # Worked outside: Gaussians at 622.5, 523.5, 466 nm, widths 20, 34, 26, 405/690/190 mcd
    for one, expected in (
        (RED, (0.693, 0.307)), (GREEN, (0.140, 0.759)), (BLUE, (0.132, 0.050)), (WHITE, (0.256, 0.212)),
        (YELLOW, (0.552, 0.423)), (Colour(255, 64, 0), (0.612, 0.373)),
    ):  # fmt: skip
        found = seen(one)
        assert (found.x, found.y) == pytest.approx(expected, abs=0.002)
    assert seen(WHITE).mcd == pytest.approx(1285)
    assert seen(WHITE).hue == "bluish white"


# mcd behind it of R, G, B, white 255/255/255, yellow R + G/2; and the share of a 2700 K bulb that passes
INSERTS = {
    Tint.RED: (227, 3, 0.8, 230, 228, 0.164),
    Tint.AMBER: (283, 15, 1, 299, 291, 0.405),
    Tint.YELLOW: (304, 339, 5, 648, 473, 0.671),
    Tint.GREEN: (6, 298, 14, 318, 155, 0.227),
    Tint.BLUE: (3, 15, 67, 85, 11, 0.018),
    Tint.OPAL: (182, 310, 86, 578, 338, 0.45),
}


@pytest.mark.parametrize("tint", INSERTS)
def test_light_behind_the_inserts(tint: Tint) -> None:
    *mcd, bulb = INSERTS[tint]
    for one, expected in zip((RED, GREEN, BLUE, WHITE, YELLOW), mcd, strict=True):
        assert seen(one, tint).mcd == pytest.approx(expected, rel=0.02, abs=0.6)
    assert bulb_seen(tint).mcd / 1000 == pytest.approx(bulb, abs=0.003)


@pytest.mark.parametrize(
    ("one", "tint", "xy", "hue"),
    [
        (WHITE, Tint.AMBER, (0.671, 0.309), "red"),
        (YELLOW, Tint.AMBER, (0.689, 0.311), "red"),
        (RED, Tint.AMBER, (0.693, 0.307), "red"),
        (WHITE, Tint.YELLOW, (0.511, 0.427), "yellow"),
        (WHITE, Tint.GREEN, (0.152, 0.574), "green"),
        (WHITE, Tint.BLUE, (0.137, 0.057), "blue"),
        (WHITE, Tint.OPAL, (0.256, 0.212), "bluish white"),
        (Colour(255, 191, 18), Tint.OPAL, (0.460, 0.411), "warm white"),
    ],
)
def test_chromaticity_and_name_behind_the_inserts(one: Colour, tint: Tint, xy: tuple[float, float], hue: str) -> None:
    found = seen(one, tint)
    assert (found.x, found.y) == pytest.approx(xy, abs=0.003)
    assert found.hue == hue


def test_a_bulb_behind_amber_is_amber_and_a_white_of_three_is_not() -> None:
    found = bulb_seen(Tint.AMBER)
    assert (found.x, found.y) == pytest.approx((0.613, 0.385), abs=0.003)
    assert found.hue == "amber"
    assert seen(Colour(0, 0, 0, 255), Tint.AMBER).hue == "amber"
    best = max((seen(Colour(r, g, 0), Tint.AMBER) for r in (1, 64, 255) for g in (0, 64, 255)), key=lambda s: s.y)
    assert best.mcd < 30 or best.hue != "amber"  # only green alone comes near, and that is dim


# Signal-light regions of the CIE diagram (aeronautical ground lights, CIE 1983): red y <= 0.335; yellow y >= 0.382
@pytest.mark.parametrize(
    ("one", "name"), [(RED, "red"), (Colour(255, 64, 0), "red-orange"), (GREEN, "green"), (BLUE, "blue")]
)
def test_names_agree_with_signal_lights(one: Colour, name: str) -> None:
    assert seen(one).hue == name
    if name != "red-orange":
        return
    assert 0.335 < seen(one).y < 0.382  # too red for yellow, too yellow for red


def test_what_is_dark_behind_what() -> None:
    assert strength(GREEN, Tint.RED) is Strength.DARK
    assert strength(RED, Tint.GREEN) is Strength.DARK
    assert strength(RED, Tint.BLUE) is Strength.DARK
    assert strength(BLUE, Tint.BLUE) is Strength.DIM
    assert strength(GREEN, Tint.BLUE) is Strength.DIM
    assert strength(Colour(0, 0, 0), None) is Strength.DARK


def _groups(tint: Tint | None) -> list[set[str]]:
    return [{one.word for one in group} for group in seen_words(LOOK, tint)]


def test_which_words_survive() -> None:
    assert surviving(LOOK, None) == set(LOOK)
    assert surviving(LOOK, Tint.OPAL) == set(LOOK)
    assert _groups(Tint.RED) == [{"red", "yellow", "white"}, {"blue"}]
    assert surviving(LOOK, Tint.RED) == set()
    assert _groups(Tint.AMBER) == [{"red", "yellow", "white"}, {"blue"}]
    assert _groups(Tint.BLUE) == [{"red"}, {"yellow"}, {"blue", "white"}]
    assert surviving(LOOK, Tint.YELLOW) == {"red"}  # white and yellow look alike
    assert {"red", "white"} & surviving(LOOK, Tint.GREEN) == set()
    assert {w.word: w.words for g in seen_words(LOOK, Tint.GREEN) for w in g}["red"] == "as good as dark"


@given(st.sampled_from(list(Tint)), st.integers(1, 255), st.integers(0, 255), st.integers(0, 255), st.integers(0, 255))
def test_a_plastic_only_takes_light_away_and_level_changes_no_hue(tint: Tint, r: int, g: int, b: int, w: int) -> None:
    one = Colour(r, g, b, w)
    bare, behind = seen(one), seen(one, tint)
    assert 0 < behind.mcd < bare.mcd
    doubled = seen(Colour(r // 2 * 2, g // 2 * 2, b // 2 * 2, w // 2 * 2), tint)
    halved = seen(Colour(r // 2, g // 2, b // 2, w // 2), tint)
    if not math.isnan(halved.x):
        assert (halved.x, halved.y) == pytest.approx((doubled.x, doubled.y), abs=1e-9)
        assert doubled.mcd == pytest.approx(2 * halved.mcd)


@given(st.floats(0.01, 0.73), st.floats(0.01, 0.83))
def test_every_chromaticity_has_a_name(x: float, y: float) -> None:
    assert hue_word(x, y)


def test_no_light_has_no_name() -> None:
    assert seen(Colour(0, 0, 0)).hue == ""
    assert hue_word(math.nan, math.nan) == ""


def test_tints_as_lamp_lists_write_them() -> None:
    assert tint_of("Dark red") is Tint.RED
    assert tint_of("clear red") is Tint.RED
    assert tint_of("white") is Tint.OPAL
    assert tint_of("orange/amber") is Tint.AMBER
    assert tint_of("red or green") is None
    assert tint_of("") is None
    assert tint_of("mauve") is None
    assert insert_tint(["red", "", "dark red"]) is Tint.RED
    assert insert_tint(["red", "blue"]) is None


def test_light_of_a_part_is_what_its_sheet_says() -> None:
    assert [row[1] for row in primaries()] == pytest.approx(COMMON_PART.mcd)


def test_a_temperature_that_is_none() -> None:
    with pytest.raises(ValueError, match="500 to"):
        black_body(20)
