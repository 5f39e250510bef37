"""The lamp table as bytes: there and back, every rule of SPEC section 12, and how small it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.errors import HostFault
from device_protocol.lamp_table import (
    BoardLampTable,
    TableEntry,
    TableFormatError,
    TableGroup,
    TableLamp,
    TableLimits,
    TableOutput,
    decode_table,
    encode_table,
)
from device_protocol.values import Colour
from tests.protocol.strategies import BYTE_ORDERS

COLOUR = st.builds(Colour, *[st.sampled_from([0, 1, 90, 255])] * 4)


@st.composite
def tables(draw: st.DrawFn) -> BoardLampTable:
    """Tables of every shape: shuffled entries, many colours, groups that start dark."""
    numbers = draw(st.lists(st.integers(0, 15), min_size=1, max_size=4, unique=True))
    outputs = tuple(
        TableOutput(
            number,
            draw(st.integers(1, 65_535)),
            draw(st.sampled_from(BYTE_ORDERS)),
            draw(st.integers(1, 65_535)),
            draw(st.integers(280, 1_000)),
        )
        for number in numbers
    )
    dark = draw(st.sets(st.integers(0, 63)))
    whose = st.one_of(
        st.builds(TableLamp, st.one_of(st.integers(0, 6), st.integers(0, 65_535))),
        st.integers(0, 63).map(lambda number: TableGroup(number, number in dark)),
    )
    entries = []
    for _ in range(draw(st.integers(0, 30))):
        chain = draw(st.sampled_from(outputs))
        pixel = draw(st.integers(0, min(chain.count, 4_096) - 1))
        entries.append(TableEntry(draw(whose), chain.output, pixel, draw(COLOUR), draw(st.integers(0, 255))))
    return BoardLampTable(outputs, tuple(entries), draw(st.integers(0, 1_020)), draw(st.integers(0, 1_020)))


def read(image: bytes) -> BoardLampTable | None:
    """The table, None when the bytes are refused for a record within them."""
    try:
        return decode_table(image)
    except TableFormatError as error:
        if not 0 <= error.at <= len(image):
            raise
        return None


@pytest.mark.slow
@given(tables())
def test_there_and_back(table: BoardLampTable) -> None:
    image = encode_table(table)
    assert decode_table(image) == table
    assert encode_table(decode_table(image)) == image, "the same table gives the same bytes"


@given(st.binary(max_size=60))
def test_any_bytes_are_a_table_or_refused(data: bytes) -> None:
    table = read(data)
    assert table is None or decode_table(encode_table(table)) == table


@pytest.mark.slow
@given(tables(), st.data())
def test_a_table_cut_short_never_reads_beyond_its_end(table: BoardLampTable, pick: st.DataObject) -> None:
    image = encode_table(table)
    short = image[: pick.draw(st.integers(0, len(image) - 1))]
    found = read(short)
    # a group that starts dark may have said so in an entry that is gone
    pixels = [(entry.output, entry.pixel, entry.level, entry.colour) for entry in table.entries]
    if found is not None:
        read_pixels = [(entry.output, entry.pixel, entry.level, entry.colour) for entry in found.entries]
        assert read_pixels == pixels[: len(read_pixels)]


def test_the_bytes_are_those_of_the_spec() -> None:
    table = BoardLampTable(
        outputs=(TableOutput(0, 12, "GRB", 450),),
        entries=(
            TableEntry(TableLamp(1), 0, 3, Colour(255, 180, 64), 128),
            TableEntry(TableLamp(2), 0, 4, Colour(0, 255, 0)),
            TableEntry(TableLamp(2), 0, 5, Colour(0, 255, 0)),
            TableEntry(TableLamp(64), 0, 0, Colour(0, 255, 0)),
            TableEntry(TableGroup(5, True), 0, 11, Colour(0, 255, 0)),
        ),
        rise_ms=40,
        fall_ms=101,
    )
    assert encode_table(table) == bytes.fromhex(
        "01 01 01 0A 19"  # format, outputs, colours, rise, fall in units of 4 ms
        "30 21 000C 01C2 4B"  # three colours on output 0, G R B, 12 pixels, 450 mA, 75 x 4 us
        "00 FF 00 00"  # colour 0
        "7F 0003 80 FF B4 40 00"  # next lamp (1), this pixel, this level, this colour
        "50 FF"  # next lamp (2), next pixel, this level, colour 0
        "00"  # the same lamp, next pixel
        "A0 0040 0000"  # lamp 64, this pixel
        "E0 85 000B"  # group 5, which starts dark, this pixel
    )
    assert decode_table(encode_table(table)).fall_ms == 100


def test_one_entry_makes_its_group_start_dark() -> None:
    image = bytes.fromhex("01 01 00 00 00 30 21 000C 01C2 4B") + bytes.fromhex(
        "CF 03 01020300 4F 01020300 CF 83 01020300"
    )
    assert {entry.whose for entry in decode_table(image).entries} == {TableGroup(3, True), TableLamp(1)}


def test_limits_of_a_board() -> None:
    table = BoardLampTable((TableOutput(1, 90, "RGBW", 450),), (TableEntry(TableLamp(9), 1, 80, Colour(1, 2, 3)),))
    image = encode_table(table)
    assert decode_table(image, TableLimits(outputs=2, count=90, lamps=9, groups=1, pixels=108)) == table
    for limits, at in (
        (TableLimits(outputs=1), 5),
        (TableLimits(count=89), 5),
        (TableLimits(lamps=8), 12),
        (TableLimits(pixels=107), 12),  # of four colours three quarters of it: 80
    ):
        with pytest.raises(TableFormatError) as caught:
            decode_table(image, limits)
        assert caught.value.at == at


@pytest.mark.parametrize(
    "make",
    [
        lambda: TableLamp(-1),
        lambda: TableLamp(65_536),
        lambda: TableGroup(64),
        lambda: TableOutput(16, 1, "RGB", 1),
        lambda: TableOutput(0, 0, "RGB", 1),
        lambda: TableOutput(0, 1, "RGBB", 1),
        lambda: TableOutput(0, 1, "RGB", 0),
        lambda: TableOutput(0, 1, "RGB", 1, 279),
        lambda: TableEntry(TableLamp(1), 0, 4_096, Colour(0, 0, 0)),
        lambda: TableEntry(TableLamp(1), 0, 0, Colour(0, 0, 0), 256),
        lambda: BoardLampTable(rise_ms=1_023),
        lambda: BoardLampTable((TableOutput(0, 1, "RGB", 1),) * 2),
        lambda: BoardLampTable((), (TableEntry(TableLamp(1), 0, 0, Colour(0, 0, 0)),)),
        lambda: BoardLampTable((TableOutput(0, 1, "RGB", 1),), (TableEntry(TableLamp(1), 0, 1, Colour(0, 0, 0)),)),
    ],
)
def test_what_no_table_can_say_is_our_fault(make: object) -> None:
    assert callable(make)
    with pytest.raises(HostFault):
        make()
