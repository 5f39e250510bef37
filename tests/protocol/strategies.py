"""Hypothesis strategies for the values of the protocol."""

from __future__ import annotations

from itertools import permutations

from hypothesis import strategies as st

from device_protocol.orders import (
    Alive,
    Darken,
    Identify,
    LightPixel,
    LightRange,
    Order,
    Paint,
    Palette,
    ReadOutputState,
    SetupOutput,
    Show,
    Silence,
)
from device_protocol.values import Colour

BYTE_ORDERS = ["".join(letters) for word in ("RGB", "RGBW") for letters in permutations(word)]
VALUE = st.integers(0, 255)
RGB = st.builds(Colour, VALUE, VALUE, VALUE)
RGBW = st.builds(Colour, VALUE, VALUE, VALUE, VALUE)
OUTPUT = st.integers(0, 15)
PIXEL = st.integers(0, 999)


@st.composite
def palettes(draw: st.DrawFn) -> Palette:
    colours = tuple(draw(st.lists(RGBW, min_size=1, max_size=4)))
    return Palette(draw(OUTPUT), draw(st.integers(1, 16 - len(colours))), colours)


ORDERS: st.SearchStrategy[Order] = st.one_of(
    st.builds(Identify),
    st.builds(LightPixel, OUTPUT, PIXEL, RGBW),
    st.builds(Darken, st.none() | OUTPUT),
    st.builds(Alive),
    st.builds(
        SetupOutput,
        output=OUTPUT,
        count=st.integers(1, 65_535),
        byte_order=st.sampled_from(BYTE_ORDERS),
        ceiling_ma=st.integers(1, 99_999),
        latch_us=st.integers(280, 1000),
    ),
    st.builds(ReadOutputState, OUTPUT),
    st.builds(LightRange, OUTPUT, PIXEL, st.integers(1, 1000), RGBW),
    st.builds(Silence, st.integers(500, 60_000)),
    palettes(),
    st.builds(Paint, OUTPUT, PIXEL, st.lists(st.integers(0, 15), min_size=1, max_size=60).map(tuple)),
    st.builds(Show, OUTPUT),
)
