"""Lines: cut from the stream, taken apart, put together."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.errors import BoardFault, ErrorCode, HostFault
from device_protocol.framing import (
    REPLY_LIMIT,
    ErrorLine,
    LineReader,
    NoticeLine,
    OrderLine,
    OrderLineFault,
    RawLine,
    ReplyLine,
    encode_board_line,
    encode_order,
    parse_board_line,
    parse_order,
    seal,
)

HOSTILE = b"\x00\t\r\n\r\n\x7f\xff +-*>?<!~019aAzZ"
PART = st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E, exclude_characters="*"), min_size=1, max_size=9)
PARTS = st.lists(PART, max_size=5).map(tuple)
WORD = st.text("abcdefghijklmnopqrstuvwxyz", min_size=1, max_size=12)
SEQ = st.integers(0, 255)
STREAM = st.one_of(st.binary(max_size=200), st.lists(st.sampled_from(list(HOSTILE)), max_size=200).map(bytes))


@given(STREAM, st.integers(1, 40), st.lists(st.integers(0, 200), max_size=10))
def test_pieces_do_not_matter(data: bytes, limit: int, cuts: list[int]) -> None:
    """Byte by byte, in any pieces and whole: the same lines, and never more held than the limit and one CR."""
    whole = LineReader(limit).feed(data)
    bytewise, pieces = LineReader(limit), LineReader(limit)
    one_by_one = []
    for place in range(len(data)):
        one_by_one += bytewise.feed(data[place : place + 1])
        assert bytewise.pending <= limit + 1
    in_pieces = []
    edges = [0, *sorted(cut for cut in cuts if cut < len(data)), len(data)]
    for start, end in pairwise(edges):
        in_pieces += pieces.feed(data[start:end])
    assert whole == one_by_one == in_pieces


@given(STREAM, st.integers(1, 40))
def test_lines_are_what_splitting_says(data: bytes, limit: int) -> None:
    """Against a plain reading of SPEC 2.2 to 2.4 on the whole text."""
    expected: list[bytes | ErrorCode] = []
    for line in data.split(b"\n")[:-1]:
        text = line.removesuffix(b"\r")
        if len(text) > limit:
            expected.append(ErrorCode.OVERLONG)
        elif any(byte < 0x20 or byte > 0x7E for byte in text):
            expected.append(ErrorCode.FORBIDDEN_BYTE)
        elif text:
            expected.append(text)
    got = [raw.fault if raw.fault is not None else raw.data for raw in LineReader(limit).feed(data)]
    assert got == expected


def test_reader_holds_no_more_than_a_line() -> None:
    reader = LineReader(64)
    for _ in range(1000):
        assert reader.feed(b"x" * 1000) == []
    assert reader.pending == 65
    assert reader.feed(b"\n") == [RawLine(b"x" * 64, ErrorCode.OVERLONG)]


def test_lost_bytes_mark_the_line_in_which_they_were_lost() -> None:
    reader = LineReader(64)
    assert reader.feed(b"one\ntw") == [RawLine(b"one")]
    reader.mark_lost()
    assert reader.feed(b"o\nthree\n") == [RawLine(b"two", ErrorCode.LOST_BYTES), RawLine(b"three")]
    reader.mark_lost()
    assert reader.feed(b"\nfour\n") == [RawLine(b"", ErrorCode.LOST_BYTES), RawLine(b"four")]


@given(SEQ, WORD, PARTS)
def test_orders_survive_the_line(seq: int, word: str, arguments: tuple[str, ...]) -> None:
    order = OrderLine(seq, word, arguments)
    (raw,) = LineReader(1000).feed(encode_order(order))
    assert parse_order(raw) == order


@given(
    st.one_of(
        st.builds(ReplyLine, SEQ, PARTS),
        st.builds(ErrorLine, st.none() | SEQ, st.integers(0, 99), PART, PARTS),
        st.builds(NoticeLine, SEQ, WORD, PARTS),
    )
)
def test_board_lines_survive_the_line(line: ReplyLine | ErrorLine | NoticeLine) -> None:
    (raw,) = LineReader(1000).feed(encode_board_line(line))
    assert parse_board_line(raw) == line


@given(STREAM)
def test_nothing_makes_the_parsers_fail_otherwise(data: bytes) -> None:
    for raw in LineReader(REPLY_LIMIT).feed(data + b"\n"):
        with pytest.raises(OrderLineFault):
            parse_order(raw)
        with pytest.raises(BoardFault):
            parse_board_line(raw)


@pytest.mark.parametrize(
    "line", [OrderLine(256, "id"), OrderLine(-1, "id"), OrderLine(1, "Id"), OrderLine(1, ""), OrderLine(1, "x" * 13)]
    + [OrderLine(1, "light", (part,)) for part in ("", "a b", "*", "\n", "é", "\x7f")],
)  # fmt: skip
def test_what_cannot_stand_on_a_line_is_our_fault(line: OrderLine) -> None:
    with pytest.raises(HostFault):
        encode_order(line)


@pytest.mark.parametrize(
    "body",
    ["<-- ok", "<01 yes", "<01 ok ", "!01 1 x", "!01 100 x", "!01 31", "~-- button 1", "~01 Button", ">01 id", "hello"],
)
def test_shapes_that_are_none_of_ours(body: str) -> None:
    (raw,) = LineReader(REPLY_LIMIT).feed(seal(body))
    with pytest.raises(BoardFault):
        parse_board_line(raw)


def test_unknown_code_is_kept_as_a_number() -> None:
    (raw,) = LineReader(REPLY_LIMIT).feed(seal("!0A 57 strange"))
    line = parse_board_line(raw)
    assert isinstance(line, ErrorLine)
    assert (line.number, line.name, line.code) == (57, "strange", None)
