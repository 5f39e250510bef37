"""Pictures: current, dimming, and the orders that show them."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.current import (
    current_ua,
    dim_to_ceiling,
    exceeds_ceiling,
    most_colour_sum,
    need_ma,
    need_ua,
)
from device_protocol.errors import HostFault
from device_protocol.framing import encode_order
from device_protocol.orders import (
    Darken,
    LightPixel,
    LightRange,
    Order,
    Paint,
    Show,
    palette_of,
    picture_orders,
)
from device_protocol.values import DARK, Colour
from tests.protocol.strategies import RGB, RGBW

RED, BLUE = Colour(0x20, 0, 0), Colour(0, 0, 0x20)
PICTURE = st.lists(RGBW | st.just(DARK), min_size=1, max_size=60)


@given(PICTURE, st.integers(0, 5000), st.integers(0, 60_000))
def test_need_is_that_of_the_formula(colours: list[Colour], idle_ua: int, channel_ua: int) -> None:
    """SPEC 4.4 in exact fractions."""
    total = sum(colour.red + colour.green + colour.blue + colour.white for colour in colours)
    need = len(colours) * idle_ua + ceil(Fraction(channel_ua * total, 255))
    assert need_ua(colours, idle_ua=idle_ua, channel_ua=channel_ua) == need
    assert need_ma(colours, idle_ua=idle_ua, channel_ua=channel_ua) == ceil(Fraction(need, 1000))


def test_need_of_known_pictures() -> None:
    white = Colour(255, 255, 255)
    assert need_ma([white], idle_ua=1000, channel_ua=20_000) == 61
    assert need_ua([DARK] * 100, idle_ua=1000, channel_ua=20_000) == 100_000
    assert need_ua([Colour(1, 0, 0)], idle_ua=0, channel_ua=20_000) == 79  # 78.43 rounded up


def test_current_of_a_colour_sum() -> None:
    """need_uA = count x idle + channel x sum / 255, the division rounded up (SPEC 4.4)."""
    assert current_ua(count=64, idle_ua=1000, channel_ua=20_000, colour_sum=0) == 64_000
    assert current_ua(count=1, idle_ua=600, channel_ua=12_000, colour_sum=1) == 600 + 48
    assert current_ua(count=2, idle_ua=1000, channel_ua=20_000, colour_sum=1) == 2_000 + 79
    with pytest.raises(HostFault):
        current_ua(count=1, idle_ua=-1, channel_ua=20_000, colour_sum=0)


@given(st.integers(1, 300), st.integers(0, 2000), st.integers(0, 30_000), st.integers(1, 20_000))
def test_the_greatest_colour_sum_fits_and_one_more_does_not(
    count: int, idle_ua: int, channel_ua: int, ceiling_ma: int
) -> None:
    figures = {"count": count, "idle_ua": idle_ua, "channel_ua": channel_ua}
    most = most_colour_sum(ceiling_ma=ceiling_ma, **figures)
    if count * idle_ua > ceiling_ma * 1000:
        assert most == 0
    elif channel_ua == 0:
        assert most == count * 4 * 255
    else:
        assert current_ua(colour_sum=most, **figures) <= ceiling_ma * 1000 < current_ua(colour_sum=most + 1, **figures)


@given(PICTURE, st.integers(0, 2000), st.integers(1, 60_000), st.integers(1, 4000))
def test_dimming_fits_keeps_what_is_lit_and_wastes_little(
    colours: list[Colour], idle_ua: int, channel_ua: int, ceiling_ma: int
) -> None:
    def too_much(picture: list[Colour] | tuple[Colour, ...]) -> bool:
        return exceeds_ceiling(picture, idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma)

    try:
        dimmed = dim_to_ceiling(colours, idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma)
    except HostFault:
        # then one step of light in each lit pixel is too much as well
        assert too_much([Colour(0 if colour.is_dark else 1, 0, 0) for colour in colours])
        return
    assert not too_much(dimmed)
    assert [colour.is_dark for colour in dimmed] == [colour.is_dark for colour in colours]
    for old, new in zip(colours, dimmed, strict=True):
        for before, after in zip(
            (old.red, old.green, old.blue, old.white), (new.red, new.green, new.blue, new.white), strict=True
        ):
            assert after <= before
    if not too_much(colours):
        assert list(dimmed) == colours
    else:
        # rounding down loses less than one step of each colour: a step more everywhere would not fit
        total = sum(colour.total for colour in dimmed) + 4 * sum(not colour.is_dark for colour in dimmed)
        assert len(colours) * idle_ua + ceil(Fraction(channel_ua * total, 255)) > ceiling_ma * 1000 - channel_ua


def _shown_by(orders: list[Order], count: int, *, line: int, four: bool) -> tuple[Colour, ...]:
    byte_order = "GRBW" if four else "GRB"
    config = BoardConfig(pixels=count, line=line, byte_order=byte_order, ceiling_ma=99_999)
    board = SimulatedBoard(config, [ChainWiring.of_places([None] * count, byte_order=byte_order)])
    board.tick(0)
    for number, order in enumerate(orders):
        answer = board.receive_data(encode_order(order.line(number % 256)), 0)
        assert answer.startswith(b"<"), (order, answer)
    return board.shown(0)


@st.composite
def painted(draw: st.DrawFn) -> tuple[list[Colour], bool]:
    four = draw(st.booleans())
    colours = draw(st.lists(RGBW if four else RGB, min_size=1, max_size=15))
    runs = draw(st.lists(st.tuples(st.sampled_from([DARK, *colours]), st.integers(1, 30)), min_size=1, max_size=50))
    return [colour for colour, length in runs for _ in range(length)], four


@pytest.mark.slow
@given(painted(), st.integers(64, 255))
def test_any_picture_is_shown_as_it_is(picture: tuple[list[Colour], bool], line: int) -> None:
    colours, four = picture
    orders = picture_orders(0, colours, line_limit=line)
    assert all(len(encode_order(order.line(0xFF))) - 1 <= line for order in orders)
    assert _shown_by(orders, len(colours), line=line, four=four) == tuple(colours)


def test_a_picture_without_runs_is_split_over_lines() -> None:
    colours = [Colour(number * 7 % 16, 0, 0) for number in range(1000)]
    orders = picture_orders(0, colours, line_limit=64)
    assert len(palette_of(colours)) == 15
    assert sum(isinstance(order, Paint) for order in orders) == ceil(1000 / (64 - len(">00 paint 0 999 *0000")))
    assert isinstance(orders[-1], Show)
    assert _shown_by(orders, len(colours), line=64, four=False) == tuple(colours)


def test_simple_pictures_take_one_order() -> None:
    assert picture_orders(1, [DARK] * 9) == [Darken(1)]
    assert picture_orders(1, [DARK, RED, DARK]) == [LightPixel(1, 1, RED)]
    assert picture_orders(1, [DARK, RED, RED, DARK]) == [LightRange(1, 1, 2, RED)]
    assert picture_orders(0, [RED] * 5) == [LightRange(0, 0, 5, RED)]
    assert [order.WORD for order in picture_orders(0, [RED, BLUE])] == ["palette", "paint", "show"]
    assert [order.WORD for order in picture_orders(0, [RED, DARK, RED])] == ["palette", "paint", "show"]


def test_pictures_on_boards_with_less() -> None:
    without_range = picture_orders(0, [RED, RED], features=["paint"])
    assert [order.WORD for order in without_range] == ["palette", "paint", "show"]
    assert picture_orders(0, [RED, DARK], features=[]) == [LightPixel(0, 0, RED)]
    with pytest.raises(HostFault, match="paint"):
        picture_orders(0, [RED, RED], features=[])


def test_pictures_that_cannot_be() -> None:
    with pytest.raises(HostFault, match="16 colours"):
        picture_orders(0, [Colour(value, 0, 0) for value in range(1, 17)])
    with pytest.raises(HostFault, match="pixel"):
        picture_orders(0, [])
    with pytest.raises(HostFault, match="line limit"):
        picture_orders(0, [RED, BLUE], line_limit=63)


def test_dimming_below_the_dimmest_says_so() -> None:
    with pytest.raises(HostFault, match="need 11 mA"):
        dim_to_ceiling([RED] + [DARK] * 9, idle_ua=1000, channel_ua=20_000, ceiling_ma=9)


def test_the_ceiling_is_kept_to_the_last_microampere() -> None:
    """SPEC 4.4: exceeded when need_uA > ceiling_mA x 1000."""
    assert not exceeds_ceiling([Colour(1, 0, 0)], idle_ua=999, channel_ua=255, ceiling_ma=1)
    assert exceeds_ceiling([Colour(2, 0, 0)], idle_ua=999, channel_ua=255, ceiling_ma=1)
    assert not exceeds_ceiling([DARK], idle_ua=2_000, channel_ua=255, ceiling_ma=1)
