"""Hypothesis strategies for the values of the protocol."""

from __future__ import annotations

from itertools import permutations

from hypothesis import strategies as st

from device_protocol.orders import (
    Alive,
    CommitTable,
    CountChain,
    Darken,
    EraseTable,
    Identify,
    LightGroup,
    LightLamp,
    LightPixel,
    LightRange,
    Linger,
    Order,
    Paint,
    Palette,
    PatternKeep,
    PatternKind,
    PatternLine,
    Play,
    Player,
    ReadEdges,
    ReadInputs,
    ReadOutputState,
    ReadPattern,
    ReadTable,
    ReadTableState,
    RunPattern,
    SetupOutput,
    Show,
    Silence,
    WatchInputs,
    WriteTable,
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


@st.composite
def patterns(draw: st.DrawFn) -> RunPattern:
    kind = draw(st.sampled_from(PatternKind))
    colours = tuple(draw(st.lists(RGBW, min_size=1, max_size=kind.colours.most)))
    step_ms, sending, keep = (
        draw(each) for each in (st.integers(167, 60_000), st.sampled_from(PatternLine), st.sampled_from(PatternKeep))
    )
    return RunPattern(draw(OUTPUT), kind, colours, step_ms, sending, keep)


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
    patterns(),
    st.builds(ReadPattern, OUTPUT),
    st.builds(CountChain, OUTPUT, st.integers(1, 65_535), st.integers(1, 8)),
    st.builds(ReadTableState),
    st.builds(WriteTable, st.integers(0, 999), st.binary(min_size=1, max_size=16)),
    st.builds(ReadTable, st.integers(0, 999), st.integers(1, 64)),
    st.builds(CommitTable, st.integers(5, 65_535), st.integers(0, 0xFFFF), st.integers(1, 999_999_999)),
    st.builds(EraseTable),
    st.builds(Play, st.none() | st.sampled_from(Player)),
    st.builds(LightLamp, st.integers(0, 65_535), VALUE),
    st.builds(LightGroup, st.integers(0, 63), VALUE),
    st.builds(ReadInputs, st.integers(1, 255)),
    st.builds(ReadEdges, st.integers(1, 255)),
    st.builds(Linger, st.integers(1, 250)),
    st.builds(WatchInputs, st.booleans()),
)
