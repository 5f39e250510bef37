"""Finding the count and the byte order of a chain from a person's answers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.board import ChainWiring, PhysicalPixel, PixelChain
from device_protocol.values import Colour
from probe.mapping.searches import (
    RGB_ORDERS,
    RGBW_ORDERS,
    CountSearch,
    OrderSearch,
    SeenColour,
    colour_of,
    expected,
    stream,
)
from tests.support.examples import first_now

LIMIT = 1_000


def questions_to_find(count: int, dark: frozenset[int] = frozenset(), span: int = 8) -> tuple[int, int]:
    search, asked = CountSearch(limit=LIMIT, span=span), 0
    while search.count is None:
        lit = range(search.first, search.first + search.lit)
        assert lit.stop <= LIMIT
        search = search.answered(something_lit=any(n < count and n not in dark for n in lit))
        asked += 1
        assert asked < 40
    return search.count, asked


@given(st.integers(1, LIMIT))
def test_any_count_is_found_within_twice_its_logarithm(count: int) -> None:
    # Bentley & Yao, "An almost optimal algorithm for unbounded searching", IPL 5 (1976): galloping, then halving,
    # about 2 log2 n questions (from memory). A step more for the ends.
    found, asked = questions_to_find(count)
    assert found == count
    assert asked <= 2 * math.ceil(math.log2(count + 1)) + 2


@given(st.integers(12, LIMIT), st.data())
def test_a_few_dark_pixels_do_not_pass_for_the_end(count: int, data: st.DataObject) -> None:
    first = data.draw(st.integers(0, count - 9))
    run = data.draw(st.integers(1, 7))
    assert questions_to_find(count, dark=frozenset(range(first, first + run)))[0] == count


@given(st.integers(1, LIMIT))
def test_a_board_that_lights_one_pixel_at_a_time(count: int) -> None:
    assert questions_to_find(count, span=1)[0] == count


# What the eye sees when red, green, blue is ordered of a board set to G-R-B: derived from the byte stream, a published
# one-page table of the trade agrees.
@pytest.mark.parametrize(
    ("real", "red", "green", "blue"),
    [
        ("GRB", "R", "G", "B"),
        ("RGB", "G", "R", "B"),
        ("BRG", "R", "B", "G"),
        ("GBR", "B", "G", "R"),
        ("BGR", "G", "B", "R"),
        ("RBG", "B", "R", "G"),
    ],
)
def test_six_orders_by_what_is_seen(real: str, red: str, green: str, blue: str) -> None:
    letters = {"R": SeenColour.RED, "G": SeenColour.GREEN, "B": SeenColour.BLUE}
    seen = [expected(meant, "GRB", real) for meant in (SeenColour.RED, SeenColour.GREEN, SeenColour.BLUE)]
    assert seen == [letters[red], letters[green], letters[blue]]


def test_rgbw_driven_as_rgb_shows_a_repeating_run() -> None:
    assert expected(SeenColour.RED, "GRB", "GRBW") is SeenColour.SEVERAL


@pytest.mark.parametrize("real", first_now(RGB_ORDERS + RGBW_ORDERS, now=14))
def test_every_order_is_found_from_a_physical_chain(real: str) -> None:
    """The answers come from the simulated chips taking their own bits of the stream, not from the search's table."""
    search, asked = OrderSearch(), 0
    while search.found is None:
        chain = PixelChain(ChainWiring(tuple(PhysicalPixel(f"p{i}", real) for i in range(12))))
        chain.take_frame(stream(colour_of(search.shown), 12, search.sent))
        shown = {colour for pixel, colour in chain.shown()}
        # a frame may end inside a chip of another width: those past its end stay dark and are not looked at
        reached = 12 * len(search.sent) // len(real)
        shown = {colour for _, colour in chain.shown()[:reached]}
        search = search.answered(_eye(shown))
        asked += 1
        assert asked <= 8
    assert search.found == real


def _eye(colours: set[Colour]) -> SeenColour:
    if len(colours) > 1:
        return SeenColour.SEVERAL
    colour = next(iter(colours))
    lit = [bool(colour.red), bool(colour.green), bool(colour.blue), bool(colour.white)]
    if sum(lit) == 0:
        return SeenColour.NOTHING
    if sum(lit) > 1:
        return SeenColour.SEVERAL
    return (SeenColour.RED, SeenColour.GREEN, SeenColour.BLUE, SeenColour.WHITE)[lit.index(True)]


def test_answers_that_fit_nothing_start_again() -> None:
    search = OrderSearch().answered(SeenColour.NOTHING)
    assert search.contradicted
    assert search.found is None
    assert len(search.left) == 30
