"""The physical chain: which pixel takes which bytes, and what work on the harness makes of it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.board import ChainWiring, PhysicalPixel, PixelChain
from device_protocol.values import DARK, Colour
from tests.protocol.strategies import BYTE_ORDERS, RGBW

A, B, C, D = (Colour(number, number + 16, number + 32) for number in range(1, 5))
CHAIN = ChainWiring.of_places(["a", "b", "c", "d"])


def _frame(*colours: Colour, byte_order: str = "GRB") -> bytes:
    return b"".join(colour.wire(byte_order) for colour in colours)


def _held(wiring: ChainWiring, *frames: bytes) -> list[Colour]:
    chain = PixelChain(wiring)
    for frame in frames:
        chain.take_frame(frame)
    return [colour for _, colour in chain.shown()]


def test_each_pixel_takes_its_own_and_passes_the_rest_on() -> None:
    assert _held(CHAIN, _frame(A, B, C, D)) == [A, B, C, D]
    assert _held(CHAIN, _frame(A, B, C, D, A, B)) == [A, B, C, D]


def test_pixels_beyond_a_shorter_frame_keep_their_colour() -> None:
    assert _held(CHAIN, _frame(A, B, C, D), _frame(D, DARK)) == [D, DARK, C, D]
    assert _held(CHAIN, _frame(A, B, C, D), _frame(D)[:2]) == [A, B, C, D]


def test_a_dead_output_cuts_off_the_rest() -> None:
    assert _held(CHAIN.with_dead_output(1), _frame(A, B, C, D)) == [A, B, DARK, DARK]


def test_a_missing_pixel_opens_the_chain() -> None:
    assert _held(CHAIN.missing(1), _frame(A, B, C, D)) == [A, DARK, DARK, DARK]


def test_a_pixel_without_light_still_counts() -> None:
    assert _held(CHAIN.without_light(1), _frame(A, B, C, D)) == [A, DARK, C, D]


def test_a_dead_die_lacks_its_colour() -> None:
    wiring = ChainWiring((PhysicalPixel("a", dead_colours="RB"),))
    assert _held(wiring, _frame(Colour(1, 2, 3))) == [Colour(0, 2, 0)]


def test_four_colour_chips_driven_with_three_bytes_show_shifted_colours() -> None:
    """Red in every pixel, sent as GRB: chips that take GRBW come out of step by a byte from pixel to pixel."""
    wiring = ChainWiring.of_places("abcd", byte_order="GRBW")
    red = Colour(9, 0, 0)
    assert _held(wiring, _frame(red, red, red, red)) == [
        Colour(9, 0, 0),  # 00 09 00 | 00
        Colour(0, 9, 0, 9),  # 09 00 00 09: green, and white of the third's red
        Colour(0, 0, 9),  # 00 00 09 00
        DARK,  # twelve bytes are three such pixels
    ]


def test_mixed_chips_take_as_many_bytes_as_they_have_colours() -> None:
    wiring = ChainWiring((PhysicalPixel("a", "RGBW"), PhysicalPixel("b", "BGR"), PhysicalPixel("c", "RGB")))
    assert _held(wiring, bytes(range(1, 11))) == [Colour(1, 2, 3, 4), Colour(7, 6, 5), Colour(8, 9, 10)]


@given(st.lists(RGBW, max_size=20), st.sampled_from(BYTE_ORDERS))
def test_a_sound_chain_shows_what_is_sent(colours: list[Colour], byte_order: str) -> None:
    sent = colours if "W" in byte_order else [Colour(c.red, c.green, c.blue) for c in colours]
    wiring = ChainWiring.of_places([None] * len(colours), byte_order=byte_order)
    assert _held(wiring, _frame(*sent, byte_order=byte_order)) == sent


def _places(wiring: ChainWiring) -> str:
    return "".join(pixel.place or "-" for pixel in wiring)


def test_work_on_the_harness() -> None:
    new = PhysicalPixel("x")
    assert _places(CHAIN.spliced_in(0, new)) == "xabcd"
    assert _places(CHAIN.spliced_in(2, new, PhysicalPixel(None))) == "abx-cd"
    assert _places(CHAIN.spliced_in(4, new)) == "abcdx"
    assert _places(CHAIN.removed(1)) == "acd"
    assert _places(CHAIN.removed(1, 3)) == "a"
    assert _places(CHAIN.reversed_run(1, 3)) == "adcb"
    assert _places(CHAIN.swapped(0, 3)) == "dbca"
    assert _places(CHAIN.moved(0, 2, 1)) == "cabd"
    assert _places(CHAIN.moved(2, 2, 0)) == "cdab"
    assert _places(CHAIN) == "abcd"
    assert len(CHAIN) == 4
    assert CHAIN[2].place == "c"


@pytest.mark.parametrize(
    "work",
    [
        lambda: CHAIN.spliced_in(5, PhysicalPixel("x")),
        lambda: CHAIN.spliced_in(-1, PhysicalPixel("x")),
        lambda: CHAIN.removed(4),
        lambda: CHAIN.removed(2, 3),
        lambda: CHAIN.reversed_run(-1, 2),
        lambda: CHAIN.swapped(0, 4),
        lambda: CHAIN.without_light(4),
        lambda: CHAIN.moved(0, 2, 3),
    ],
)  # fmt: skip
def test_work_on_pixels_that_are_not_there(work: object) -> None:
    assert callable(work)
    with pytest.raises(IndexError, match="of a chain of"):
        work()


@given(st.integers(0, 4), st.integers(0, 4))
def test_reversing_twice_and_splicing_then_removing_change_nothing(at: int, count: int) -> None:
    count = min(count, 4 - at)
    assert CHAIN.reversed_run(at, count).reversed_run(at, count) == CHAIN
    assert CHAIN.spliced_in(at, *[PhysicalPixel("x")] * count).removed(at, count) == CHAIN


def test_a_byte_order_that_is_none() -> None:
    with pytest.raises(ValueError, match="byte order"):
        PhysicalPixel("a", "GRR")
