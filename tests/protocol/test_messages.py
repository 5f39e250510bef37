"""Orders, replies and notices as values."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.errors import BoardFault, HostFault
from device_protocol.framing import LineReader, NoticeLine, encode_order, parse_order
from device_protocol.orders import (
    ORDER_TYPES,
    Alive,
    ArgumentLimits,
    ArgumentReader,
    ButtonNotice,
    Darken,
    DarkNotice,
    Done,
    Identify,
    Identity,
    LightPixel,
    LightRange,
    Notice,
    Order,
    OtherVersionFault,
    OutputSettings,
    OutputState,
    Paint,
    Palette,
    ReadOutputState,
    Reply,
    RestartCause,
    RestartNotice,
    SetupOutput,
    Show,
    Silence,
    SilenceSet,
    Staged,
    UnknownNotice,
    parse_identity,
    parse_notice,
)
from device_protocol.values import DARK, Colour, decode_runs, encode_runs, expand_runs, parse_number
from tests.protocol.strategies import BYTE_ORDERS, ORDERS, RGBW

RED = Colour(0x20, 0, 0)
GENEROUS = ArgumentLimits(
    chains=((65_535, 4),) * 16,
    pixels=65_535,
    ceiling_ma=4_000_000,
    table_capacity=65_535,
    table_length=65_535,
    inputs=255,
)
"""A board that allows whatever the SPEC allows."""


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (Identify(), "id"),
        (LightPixel(0, 14, RED), "light 0 14 200000"),
        (LightPixel(3, 0, Colour(1, 2, 3, 4)), "light 3 0 01020304"),
        (Darken(1), "dark 1"),
        (Darken(), "dark all"),
        (Alive(), "alive"),
        (SetupOutput(0, 84, "GRB", 1000), "setup 0 84 GRB 300 1000"),
        (SetupOutput(0, 84, "RGBW", 1000, latch_us=280), "setup 0 84 RGBW 280 1000"),
        (ReadOutputState(2), "state 2"),
        (LightRange(0, 3, 9, RED), "range 0 3 9 200000"),
        (Silence(60_000), "silence 60000"),
        (Palette(0, 12, (RED, DARK, RED, RED)), "palette 0 12 200000 000000 200000 200000"),
        (Paint(0, 5, (0,) * 12 + (1, 2, 2, 2)), "paint 0 5 a12bc3"),
        (Paint(0, 0, tuple(range(16))), "paint 0 0 abcdefghijklmnop"),
        (Show(0), "show 0"),
    ],
)
def test_orders_as_written(order: Order, words: str) -> None:
    assert " ".join((order.WORD, *order.arguments())) == words


@given(ORDERS)
def test_every_order_passes_the_checks_of_a_line(order: Order) -> None:
    (raw,) = LineReader(1000).feed(encode_order(order.line(0x5A)))
    line = parse_order(raw)
    assert (line.seq, line.word, line.arguments) == (0x5A, order.WORD, order.arguments())
    assert ORDER_TYPES[line.word] is type(order)
    assert len(line.arguments) in order.TAKES
    assert type(order).read(ArgumentReader(line.arguments, GENEROUS)) == order


@pytest.mark.parametrize(
    "make",
    [
        lambda: Colour(256, 0, 0),
        lambda: Colour(0, -1, 0),
        lambda: LightPixel(-1, 0, RED),
        lambda: LightPixel(0, -1, RED),
        lambda: LightPixel(0, 1_000_000_000, RED),
        lambda: Darken(-1),
        lambda: SetupOutput(0, 0, "GRB", 1000),
        lambda: SetupOutput(0, 1, "GRG", 1000),
        lambda: SetupOutput(0, 1, "grb", 1000),
        lambda: SetupOutput(0, 1, "GRB", 0),
        lambda: SetupOutput(0, 1, "GRB", 1, latch_us=279),
        lambda: SetupOutput(0, 1, "GRB", 1, latch_us=1001),
        lambda: LightRange(0, 0, 0, RED),
        lambda: Silence(499),
        lambda: Silence(60_001),
        lambda: Palette(0, 0, (RED,)),
        lambda: Palette(0, 16, (RED,)),
        lambda: Palette(0, 15, (RED, RED)),
        lambda: Palette(0, 1, ()),
        lambda: Palette(0, 1, (RED,) * 5),
        lambda: Paint(0, 0, ()),
        lambda: Paint(0, 0, (16,)),
        lambda: Paint(0, 0, (-1,)),
    ],
)
def test_what_no_board_can_do_is_our_fault(make: Any) -> None:
    with pytest.raises(HostFault):
        make()


@pytest.mark.parametrize(
    ("order", "fields", "reply"),
    [
        (LightPixel(0, 1, RED), "", Done()),
        (
            SetupOutput(0, 84, "GRB", 1000),
            "84 GRB 300 1000",
            OutputSettings(count=84, byte_order="GRB", latch_us=300, ceiling_ma=1000),
        ),
        (
            ReadOutputState(0),
            "84 GRBW 280 900 3 92",
            OutputState(
                settings=OutputSettings(count=84, byte_order="GRBW", latch_us=280, ceiling_ma=900), lit=3, need_ma=92
            ),
        ),
        (Silence(700), "700", SilenceSet(700)),
        (Paint(0, 3, (1, 1)), "5", Staged(5)),
        (Show(0), "", Done()),
    ],
)
def test_replies(order: Order, fields: str, reply: Reply) -> None:
    assert order.parse_reply(tuple(fields.split())) == reply
    assert reply.fields() == tuple(fields.split())


@pytest.mark.parametrize(
    ("order", "fields"),
    [
        (LightPixel(0, 1, RED), "1"),
        (Alive(), "x"),
        (SetupOutput(0, 84, "GRB", 1000), "84 GRB 300"),
        (SetupOutput(0, 84, "GRB", 1000), "83 GRB 300 1000"),
        (SetupOutput(0, 84, "GRB", 1000), "84 RGB 300 1000"),
        (SetupOutput(0, 84, "GRB", 1000), "84 GRB 300 1001"),
        (ReadOutputState(0), "84 GRX 300 1000 0 0"),
        (ReadOutputState(0), "84 GRB 300 1000 0 -1"),
        (ReadOutputState(0), "84 GRB 300 1000 0"),
        (Silence(700), "701"),
        (Paint(0, 3, (1, 1)), "4"),
        (Paint(0, 3, (1, 1)), ""),
        (Identify(), ""),
        (Identify(), "proto=1 proto=1"),
        (Identify(), "proto"),
    ],
)
def test_replies_that_do_not_answer_the_order(order: Order, fields: str) -> None:
    with pytest.raises(BoardFault):
        order.parse_reply(tuple(fields.split()))


def test_identity_is_read_and_unknown_keys_are_kept() -> None:
    board = ProtocolBoard(BoardConfig(outputs=3, pixels=300, features=("setup", "paint"), board="reef-1"))
    identity = parse_identity((*board.identity().fields(), "lamps=64", "mood=a=b"))
    assert (identity.proto, identity.board, identity.outputs, identity.pixels) == (1, "reef-1", 3, 300)
    assert (identity.ceiling_ma, identity.channel_ua, identity.idle_ua) == (2000, 20_000, 1000)
    assert (identity.silence_ms, identity.uptime_ms, identity.cause) == (5000, 0, RestartCause.POWER)
    assert identity.features == {"setup", "paint"}
    assert identity.has(None)
    assert identity.has("paint")
    assert not identity.has("range")
    assert identity.extra == {"lamps": "64", "mood": "a=b"}


@given(st.permutations(ProtocolBoard().identity().fields()))
def test_identity_is_read_in_any_order(fields: list[str]) -> None:
    assert isinstance(parse_identity(tuple(fields)), Identity)


@pytest.mark.parametrize("field", ProtocolBoard().identity().fields())
def test_identity_that_lacks_a_key_is_refused(field: str) -> None:
    fields = [one for one in ProtocolBoard().identity().fields() if one != field]
    with pytest.raises(BoardFault, match=field.split("=")[0]):
        parse_identity(tuple(fields))


STATED = {
    "line": (64, 255),
    "outputs": (1, 16),
    "pixels": (1, 65_535),
    "ceiling": (1, 4_000_000),
    "channel": (0, 1_000_000),
    "idle": (0, 1_000_000),
    "silence": (500, 60_000),
    "uptime": (0, 4_294_967_295),
    "table": (0, 999_999_999),
}
"""SPEC 5.3; `silence` from 4.2, `table` from 2.7."""


def _with(key: str, value: object) -> tuple[str, ...]:
    return tuple(
        f"{key}={value}" if field.startswith(f"{key}=") else field for field in ProtocolBoard().identity().fields()
    )


@pytest.mark.parametrize(("key", "bounds"), STATED.items())
def test_what_a_board_states_is_believed_within_the_bounds_of_the_spec(key: str, bounds: tuple[int, int]) -> None:
    least, most = bounds
    for value in bounds:
        assert f"{key}={value}" in parse_identity(_with(key, value)).fields()
    for value in {least - 1, most + 1, max(most + 1, 999_999_999), 10**10}:
        with pytest.raises(BoardFault, match=key):
            parse_identity(_with(key, value))


@pytest.mark.parametrize(
    ("key", "value"),
    [("board", "a" * 25), ("board", ""), ("board", "Reef"), ("build", "1" * 17), ("build", ""), ("build", "v_1")],
)
def test_names_of_a_board_keep_to_the_spec(key: str, value: str) -> None:
    with pytest.raises(BoardFault, match=key):
        parse_identity(_with(key, value))


def test_another_version_is_told_apart_from_a_wrong_identity() -> None:
    with pytest.raises(OtherVersionFault, match="version 2"):
        parse_identity(("proto=2", "outputs=999999999"))


def test_identity_without_features_and_of_an_unknown_cause() -> None:
    fields = [field.replace("cause=power", "cause=moonlight") for field in ProtocolBoard().identity().fields()]
    fields = ["features=none" if field.startswith("features=") else field for field in fields]
    fields = ["uptime=4294967295" if field.startswith("uptime=") else field for field in fields]
    identity = parse_identity(tuple(fields))
    assert (identity.features, identity.cause, identity.uptime_ms) == (frozenset(), RestartCause.UNKNOWN, 2**32 - 1)


@pytest.mark.parametrize(
    ("line", "notice"),
    [
        (NoticeLine(0, "restarted", ("brownout",)), RestartNotice(RestartCause.BROWNOUT)),
        (NoticeLine(0, "restarted", ("tide",)), RestartNotice(RestartCause.UNKNOWN)),
        (NoticeLine(0, "restarted"), RestartNotice(RestartCause.UNKNOWN)),
        (NoticeLine(3, "button", ("7",)), ButtonNotice(7)),
        (NoticeLine(3, "button", ("seven",)), UnknownNotice("button", ("seven",))),
        (NoticeLine(3, "button"), UnknownNotice("button", ())),
        (NoticeLine(4, "dark", ("silence",)), DarkNotice()),
        (NoticeLine(4, "dark", ("moon",)), UnknownNotice("dark", ("moon",))),
        (NoticeLine(5, "glow", ("1", "2")), UnknownNotice("glow", ("1", "2"))),
    ],
)
def test_notices(line: NoticeLine, notice: Notice) -> None:
    assert parse_notice(line) == notice
    assert parse_notice(notice.line(line.seq)) == notice


@given(RGBW, st.sampled_from(BYTE_ORDERS))
def test_colours_survive_text_and_wire(colour: Colour, byte_order: str) -> None:
    assert Colour.from_text(colour.text) == colour
    on_wire = colour if "W" in byte_order else Colour(colour.red, colour.green, colour.blue)
    assert Colour.from_wire(colour.wire(byte_order), byte_order) == on_wire


@given(st.lists(st.integers(0, 15), min_size=1, max_size=400))
def test_runs_survive_the_line(entries: list[int]) -> None:
    assert expand_runs(decode_runs(encode_runs(entries))) == entries


def test_long_runs_are_split() -> None:
    assert encode_runs([0] * 65_535) == "a65535"
    assert encode_runs([0] * 65_536) == "a65535a"
    assert encode_runs([1] * 140_000) == "b65535b65535b8930"


@pytest.mark.parametrize("text", ["", "q", "A", "a1", "a0", "a02", "a65536", "3a", "a-3", "a 3", "a\n", "a٣"])
def test_runs_of_a_wrong_form(text: str) -> None:
    with pytest.raises(ValueError, match="run"):
        decode_runs(text)


@given(st.text(max_size=12))
def test_numbers_have_one_form(text: str) -> None:
    """Whatever is read as a number is written back the same; no sign, no space, no digits of other scripts."""
    try:
        value = parse_number(text)
    except ValueError:
        return
    assert str(value) == text
    assert 0 <= value <= 999_999_999


@pytest.mark.parametrize("text", ["", "+1", "-1", "01", "1 ", " 1", "1_0", "٣", "1000000000", "0x1", "1e3", "1\n"])
def test_numbers_of_a_wrong_form(text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        parse_number(text)
