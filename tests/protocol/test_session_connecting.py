"""The host's half: connecting, what the line looks like, closing."""

from __future__ import annotations

import pytest

from device_protocol.board import ProtocolBoard
from device_protocol.events import (
    GaveUp,
    GaveUpReason,
    Identified,
    Interrupted,
    InterruptReason,
    Misanswered,
)
from device_protocol.framing import LineVerdict, encode_order, seal
from device_protocol.orders import Identify, RestartCause
from device_protocol.session import HostSession, Phase
from tests.protocol.hosting import LIGHT, connected


def test_connecting_begins_with_a_line_end_and_asks_who_is_there() -> None:
    assert HostSession().phase is Phase.CLOSED
    session = HostSession()
    assert session.connect(0) == b"\n" + encode_order(Identify().line(1))
    assert session.phase is Phase.CONNECTING
    assert not session.ready


def test_connecting_takes_five_seconds_of_silence() -> None:
    session = HostSession()
    asked = session.connect(100)
    times = []
    while (deadline := session.next_deadline_ms()) is not None:
        data, events = session.tick(deadline)
        times.append(deadline)
        if events:
            (event,) = events
            assert isinstance(event, GaveUp)
            assert event.order == Identify()
            assert event.statistics.verdict is LineVerdict.SILENT
            break
        assert data == asked
    assert times[-1] >= 5100
    assert times[-1] <= 5400
    assert len(times) >= 15
    assert session.phase is Phase.LOST


def test_connecting_to_a_board_that_is_starting() -> None:
    session = HostSession()
    session.connect(0)
    for _ in range(5):
        session.tick(session.next_deadline_ms() or 0)
    board = ProtocolBoard(now_ms=1500, cause=RestartCause.EXTERNAL)
    assert session.receive_data(board.tick(1500), 1500) == []  # part of connecting, not an event of its own
    assert session.next_deadline_ms() == 1500
    data, _ = session.tick(1500)
    (event,) = session.receive_data(board.receive_data(data, 1500), 1500)
    assert isinstance(event, Identified)
    assert event.identity.cause is RestartCause.EXTERNAL


def test_replies_left_over_from_another_host_do_not_connect() -> None:
    session = HostSession(first_seq=1)
    session.connect(0)
    assert session.receive_data(seal("<01 ok") + seal("!01 31 no-such-pixel") + seal("<02 ok"), 0) == []
    assert session.phase is Phase.CONNECTING


def test_another_version_is_told() -> None:
    session = HostSession()
    board = ProtocolBoard()
    fields = " ".join(board.identity().fields()).replace("proto=1", "proto=2")
    session.connect(0)
    (event,) = session.receive_data(seal(f"<01 ok {fields}"), 0)
    assert isinstance(event, GaveUp)
    assert event.reason is GaveUpReason.OTHER_VERSION


def test_a_board_that_states_more_than_the_spec_allows_is_not_used() -> None:
    session = HostSession()
    fields = " ".join(ProtocolBoard().identity().fields()).replace("outputs=1 ", "outputs=999999999 ")
    session.connect(0)
    (event,) = session.receive_data(seal(f"<01 ok {fields}"), 0)
    assert isinstance(event, GaveUp)
    assert event.reason is GaveUpReason.BEYOND_LIMITS
    assert session.phase is Phase.LOST
    assert "outputs of the identity 999999999: 1 to 16" in str(event.fault)
    assert session.identity is None


def test_a_board_that_turns_into_something_else_is_not_believed() -> None:
    session, board = connected()
    before = session.identity
    for changed in ("outputs=999999999 ", "outputs=17 "):
        fields = " ".join(board.identity().fields()).replace("outputs=1 ", changed)
        seq = session.send(Identify(), 0)[1:3].decode()
        (event,) = session.receive_data(seal(f"<{seq} ok {fields}"), 0)
        assert isinstance(event, Misanswered)
        assert session.identity == before


@pytest.mark.parametrize(
    ("heard", "verdict"),
    [
        (b"", LineVerdict.SILENT),
        (bytes(range(0x80, 0xE0)), LineVerdict.WRONG_SPEED),
        (b"Welcome to the weather station\r\nType help\r\n", LineVerdict.OTHER_DEVICE),
        (b"\n" + encode_order(Identify().line(1)), LineVerdict.ECHO),
        (seal("~00 restarted power"), LineVerdict.SOUND),
        (seal("~00 restarted power") * 9 + b"\xff\n", LineVerdict.SOUND),
        (seal("~00 restarted power") * 3 + b"\xff\n", LineVerdict.NOISY),
        (seal("~00 restarted power") + b"\xff\xfe\n\n!-- 1\n", LineVerdict.NOISY),
    ],
)
def test_what_the_line_looks_like(heard: bytes, verdict: LineVerdict) -> None:
    session = HostSession()
    session.connect(0)
    session.receive_data(heard, 0)
    assert session.statistics.verdict is verdict
    session.close()
    session.connect(0)
    assert session.statistics.verdict is LineVerdict.SILENT


def test_closing_makes_the_order_in_flight_void() -> None:
    session, _ = connected()
    session.send(LIGHT, 0)
    assert session.close() == [Interrupted(LIGHT, InterruptReason.CLOSED)]
    assert session.phase is Phase.CLOSED
    assert session.close() == []
    assert session.tick(1e9) == (b"", [])


def test_half_a_line_from_before_does_not_spoil_the_next_connection() -> None:
    session, board = connected()
    session.receive_data(b"<02 o", 0)
    session.close()
    (event,) = session.receive_data(board.receive_data(session.connect(0), 0), 0)
    assert isinstance(event, Identified)
