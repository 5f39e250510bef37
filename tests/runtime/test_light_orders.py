"""Light as orders: the fewest that show it, and none that asks for more than the ceiling leaves."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.current import exceeds_ceiling, need_ma
from device_protocol.errors import HostFault
from device_protocol.orders import LightPixel, LightRange, Order, Paint, Palette, RunPattern, Show
from device_protocol.values import DARK, Colour
from probe.document.model import Chain
from probe.document.operations import add_chain, new_map
from probe.runtime.light_orders import part_orders, parts_of, setup_for
from probe.task.light import BoardPattern, Dark, Outputs, OutputSetup, Pixels
from tests.support.boards import identity

WHITE, RED, GREEN = Colour(255, 255, 255), Colour(255, 0, 0), Colour(0, 255, 0)
SIXTY = OutputSetup(60, "GRB", 2_000, 300)


def shown(orders: list[Order], count: int) -> list[Colour]:
    """What a chain of so many pixels shows after these orders."""
    palette: dict[int, Colour] = {}
    picture = [DARK] * count
    painted: list[Colour] = []
    for order in orders:
        match order:
            case LightPixel(_, number, colour):
                picture = [colour if n == number else DARK for n in range(count)]
            case LightRange(_, first, many, colour):
                picture = [colour if first <= n < first + many else DARK for n in range(count)]
            case Palette(_, first, entries):
                palette |= dict(enumerate(entries, first))
            case Paint(_, _, numbers):
                painted += [palette.get(number, DARK) for number in numbers]
            case Show():
                picture = painted
            case _:
                raise AssertionError(order)
    return picture


@pytest.mark.parametrize(
    ("part", "lacking", "kinds"),
    [
        (Pixels.one(0, 5, RED), (), [LightPixel]),
        (Pixels.run(0, 5, 8, RED), (), [LightRange]),
        (Pixels.run(0, 5, 8, RED), ("range",), [LightPixel]),
        (Pixels(0, 5, (RED, GREEN)), (), [Palette, Paint, Show]),
    ],
)
def test_the_fewest_orders_are_sent(part: Pixels, lacking: tuple[str, ...], kinds: list[type]) -> None:
    board = identity(features=identity().features - set(lacking))
    orders = part_orders(part, board, SIXTY)
    assert [type(order) for order in orders] == kinds
    many = 1 if lacking else len(part.colours)
    assert shown(orders, 60) == [DARK] * 5 + list(part.colours[:many]) + [DARK] * (55 - many)


def test_what_is_dark_is_no_part_of_it() -> None:
    dark, red = Pixels(1, 0, (DARK, DARK)), Pixels.one(0, 0, RED)
    assert parts_of(Dark()) == parts_of(dark) == {}
    assert parts_of(Outputs((red, dark))) == {0: red}


colours = st.builds(Colour, *[st.integers(0, 255)] * 3)
lit = st.one_of(
    st.builds(Pixels.one, st.just(0), st.integers(0, 59), colours),
    st.builds(Pixels.run, st.just(0), st.integers(0, 29), st.integers(1, 30), colours),
    st.builds(Pixels, st.just(0), st.integers(0, 20), st.lists(st.sampled_from([RED, GREEN, WHITE, DARK]), min_size=2, max_size=40).map(tuple)),
).filter(lambda part: not part.is_dark)  # fmt: skip


@given(part=lit, ceiling_ma=st.integers(1, 4000), idle_ua=st.integers(0, 3000), channel_ua=st.integers(1, 30_000))
def test_nothing_asked_is_above_the_ceiling(part: Pixels, ceiling_ma: int, idle_ua: int, channel_ua: int) -> None:
    board = identity(idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma)
    figures: Mapping[str, int] = {"idle_ua": idle_ua, "channel_ua": channel_ua, "ceiling_ma": ceiling_ma}
    asked = [DARK] * part.first + list(part.colours) + [DARK] * (60 - part.first - len(part.colours))
    try:
        sent = shown(part_orders(part, board, OutputSetup(60, "GRB", ceiling_ma, 300)), 60)
    except HostFault:
        assert exceeds_ceiling(asked, **figures)
        return
    assert not exceeds_ceiling(sent, **figures)
    if not exceeds_ceiling(asked, **figures):
        assert sent == asked, "what fits is not touched"
    assert [c.is_dark for c in sent] == [c.is_dark for c in asked], "nothing lit goes dark unsaid"


@pytest.mark.parametrize(("ceiling_ma", "value"), [(100, 68), (1_000, 255)])
def test_the_idle_current_of_the_whole_chain_is_kept_back(ceiling_ma: int, value: int) -> None:
    """84 pixels of 1 mA leave 16 of 100 mA: 68 / 255 of 60 mA."""
    (order,) = part_orders(Pixels.one(0, 3, WHITE), identity(), OutputSetup(84, "GRB", ceiling_ma, 300))
    assert isinstance(order, LightPixel)
    assert abs(order.colour.red - value) <= 1
    assert need_ma([DARK] * 83 + [order.colour], idle_ua=1_000, channel_ua=20_000) <= ceiling_ma


def test_a_ceiling_that_dark_pixels_use_up_is_said() -> None:
    with pytest.raises(HostFault, match="ceiling"):
        part_orders(Pixels.one(0, 3, WHITE), identity(), OutputSetup(84, "GRB", 50, 300))


def test_an_output_that_is_not_set_up_has_as_many_pixels_as_the_board_keeps() -> None:
    board = identity(ceiling_ma=310, pixels=300)
    (order,) = part_orders(Pixels.one(0, 3, WHITE), board, None)
    assert isinstance(order, LightPixel)
    assert 300 + 60 * order.colour.total / 3 / 255 <= 310.5
    (order,) = part_orders(Pixels.one(0, 3, WHITE), board, OutputSetup(10, "GRB", 310, 300))
    assert order == LightPixel(0, 3, WHITE)


@pytest.mark.parametrize("map_ma", [200, 100_000])
def test_the_lower_of_both_ceilings_holds(map_ma: int) -> None:
    """40 pixels, half of them white, would need 1640 mA."""
    board = identity(ceiling_ma=600)
    chain = Chain(id="k", name="Kelp", output=0, count=40, ceiling_ma=map_ma)
    part = Pixels(0, 0, (WHITE,) * 20 + (RED,) * 20)
    setup = setup_for(0, add_chain(new_map("Kelp Forest"), chain), board, part)
    assert setup is not None
    assert setup.ceiling_ma == min(map_ma, 600)
    need = need_ma(shown(part_orders(part, board, setup), 40), idle_ua=board.idle_ua, channel_ua=board.channel_ua)
    assert setup.ceiling_ma - 30 <= need <= setup.ceiling_ma, "dimmed just enough"


def test_a_pattern_is_dimmed_for_as_many_pixels_as_it_lights() -> None:
    setup = OutputSetup(50, "GRB", 1_100, 300)
    (whole,) = part_orders(BoardPattern(0, (WHITE, RED), 1_000), identity(), setup)
    assert isinstance(whole, RunPattern)
    assert whole.colours[1] == RED, "50 red pixels take 1050 mA"
    assert 0 < whole.colours[0].total < WHITE.total
    (walk,) = part_orders(BoardPattern(0, (WHITE,), 400, walk=True), identity(), setup)
    assert isinstance(walk, RunPattern)
    assert walk.colours == (WHITE,)


@given(st.integers(1, 200), st.integers(1, 3_000))
def test_a_pattern_never_exceeds_the_ceiling(count: int, ceiling_ma: int) -> None:
    try:
        (order,) = part_orders(BoardPattern(0, (WHITE,), 1_000), identity(), OutputSetup(count, "GRB", ceiling_ma, 300))
    except HostFault:
        assert exceeds_ceiling([Colour(1, 0, 0)] * count, idle_ua=1_000, channel_ua=20_000, ceiling_ma=ceiling_ma)
        return
    assert isinstance(order, RunPattern)
    picture = [order.colours[0]] * count
    assert not exceeds_ceiling(picture, idle_ua=1_000, channel_ua=20_000, ceiling_ma=ceiling_ma)
