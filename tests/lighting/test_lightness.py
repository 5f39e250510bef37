"""Levels even to the eye: CIE lightness, sRGB, duty; against published values and an outside implementation."""

from __future__ import annotations

import warnings
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.lightness import (
    DUTY,
    at_level,
    level_for_duty,
    lightness,
    linear_to_srgb,
    luminance,
    srgb_to_linear,
)
from device_protocol.values import DARK, Colour

# colour-science 0.4.7, documentation of lightness_CIE1976 (12.197... is its example) and the formula of CIE 15 for the rest
LIGHTNESS = [
    (0.0, 0.0),
    (0.8856451679, 8.0),
    (1.0, 8.991442),
    (10.0, 37.842430),
    (10.08, 37.985629),
    (12.19722535, 41.5278758),
    (18.0, 49.496108),
    (18.4187, 50.0001),
    (20.0, 51.837212),
    (50.0, 76.069261),
    (100.0, 100.0),
]
# IEC 61966-2-1, worked with colour-science 0.4.7
SRGB = [
    (0, 0.0),
    (1, 0.000303527),
    (10, 0.003035270),
    (11, 0.003346536),
    (64, 0.051269),
    (128, 0.215861),
    (188, 0.502886),
    (200, 0.577580),
    (255, 1.0),
]


@pytest.mark.parametrize(("y", "l_star"), LIGHTNESS)
def test_lightness_is_the_published_one(y: float, l_star: float) -> None:
    assert lightness(y) == pytest.approx(l_star, abs=1e-4)
    assert luminance(l_star) == pytest.approx(y, abs=1e-3)


def test_white_may_be_another() -> None:
    # colour-science 0.4.7, documentation of lightness_CIE1976 with Y_n 95
    assert lightness(12.19722535, white=95) == pytest.approx(42.5199307, abs=1e-6)
    assert luminance(42.5199307, white=95) == pytest.approx(12.19722535, abs=1e-6)


def _library() -> Any:
    """colour-science, which takes seconds to load: what asks it is slow."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says at import which drawing library it misses
        import colour
    return colour


@pytest.mark.slow
@given(st.floats(0, 100))
def test_lightness_is_that_of_colour_science(y: float) -> None:
    colour_science = _library()
    assert lightness(y) == pytest.approx(float(colour_science.lightness(y, method="CIE 1976")), abs=1e-9)
    assert luminance(lightness(y)) == pytest.approx(y, abs=1e-9)


@pytest.mark.parametrize(("value", "light"), SRGB)
def test_srgb_is_the_published_one(value: int, light: float) -> None:
    assert srgb_to_linear(value) == pytest.approx(light, abs=1e-6)
    assert linear_to_srgb(light) == value


@pytest.mark.slow
@given(st.integers(0, 255))
def test_srgb_is_that_of_colour_science(value: int) -> None:
    colour_science = _library()
    assert srgb_to_linear(value) == pytest.approx(float(colour_science.eotf(value / 255, "sRGB")), abs=1e-7)
    assert linear_to_srgb(srgb_to_linear(value)) == value


def test_equal_steps_of_level_are_equal_steps_of_lightness() -> None:
    assert DUTY[0] == 0
    assert DUTY[255] == 255
    assert all(a <= b for a, b in pairwise(DUTY))
    assert min(DUTY[1:]) == 1
    # 8 bits of duty are coarse at the dark end; from level 64 on each level is within 1 of L* of what it should be
    for level in range(64, 256):
        assert lightness(100 * DUTY[level] / 255) == pytest.approx(100 * level / 255, abs=1.0)


@given(st.integers(1, 255))
def test_a_level_comes_back_from_its_duty(level: int) -> None:
    assert DUTY[level_for_duty(DUTY[level])] == DUTY[level]


def test_a_duty_is_trimmed_as_a_makers_bin_asks() -> None:
    # Worked example from a WS2812B V5 sheet: red bin 300 to 500 mcd, ratio 0.60, L* 100 against 81.8, duty 255 -> 153.
    assert lightness(60.0) == pytest.approx(81.8, abs=0.1)
    assert abs(DUTY[level_for_duty(153)] - 153) <= 1


colours = st.builds(Colour, *[st.integers(0, 255)] * 4)


@given(colours, st.integers(0, 255))
def test_a_colour_at_a_level(colour: Colour, level: int) -> None:
    made = at_level(colour, level)
    assert made.is_dark == (colour.is_dark or level == 0)
    for full, value in zip(_values(colour), _values(made), strict=True):
        assert value <= full
        assert value == pytest.approx(full * DUTY[level] / 255, abs=1.0)
    assert at_level(colour, 255) == colour
    assert at_level(colour, 0) == DARK


def _values(colour: Colour) -> tuple[int, int, int, int]:
    return colour.red, colour.green, colour.blue, colour.white


def test_what_is_out_of_range_is_refused() -> None:
    for wrong in (
        lambda: lightness(-1),
        lambda: luminance(-1),
        lambda: srgb_to_linear(256),
        lambda: at_level(DARK, 256),
        lambda: lightness(1, white=0),
    ):
        with pytest.raises(ValueError):
            wrong()
