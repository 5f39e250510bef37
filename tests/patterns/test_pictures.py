"""Colours, pictures and levels under the ceiling."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.current import current_ua
from device_protocol.values import DARK, Colour
from probe.patterns.pictures import RED, WHITE, level_under_ceiling, single


@pytest.mark.parametrize(("count", "level"), [(50, 36), (100, 15), (150, 8), (200, 5), (300, 1), (400, 0)])
def test_white_that_usb_can_feed(count: int, level: int) -> None:
    """Derived: 500 mA of USB less margin and a 60 mA board leave 390 mA; 1 mA idle and 16 mA a colour (WS2813-Mini
    sheet: 16 mA) give these equal-white levels (300 pixels: 1.59; rounding up would break the ceiling)."""
    assert level_under_ceiling(WHITE, count=count, ceiling_ma=390, channel_ua=16_000, idle_ua=1_000) == level


@given(
    st.integers(1, 400),
    st.integers(1, 5_000),
    st.integers(1_000, 20_000),
    st.integers(0, 2_000),
    st.sampled_from([WHITE, RED, Colour(255, 176, 0)]),
    st.floats(0.01, 1.0),
)
def test_the_level_stays_under_the_ceiling_and_one_more_would_not(
    count: int, ceiling_ma: int, channel_ua: int, idle_ua: int, colour: Colour, share: float
) -> None:
    level = level_under_ceiling(
        colour, count=count, ceiling_ma=ceiling_ma, channel_ua=channel_ua, idle_ua=idle_ua, share=share
    )
    room = (ceiling_ma * 1_000 - count * idle_ua) * share

    def light(of: int) -> int:
        return current_ua(count=0, colour_sum=count * colour.at(of).total, channel_ua=channel_ua, idle_ua=0)

    assert level == 0 or light(level) <= room
    assert level == 255 or light(level + 1) > room


def test_a_colour_as_the_line_writes_it_what_is_lit_and_dimmed() -> None:
    assert Colour(32, 0, 255).text == "2000FF"
    assert Colour(1, 2, 3, 4).text == "01020304"
    assert Colour(1, 0, 0, 9).letters == {"R", "W"}
    assert Colour(100, 50, 0).at(10) == Colour(10, 5, 0)
    assert DARK.at(255) == DARK


def test_single_refuses_a_pixel_beyond_the_chain() -> None:
    assert single(1, RED, 3) == (DARK, RED, DARK)
    with pytest.raises(ValueError, match="pixel 3"):
        single(3, RED, 3)
