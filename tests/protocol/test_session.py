"""The host's half: orders and their answers, what is asked again, refusals, garbage."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.board import BoardConfig
from device_protocol.errors import Blame, ErrorCode, HostFault, blame_of
from device_protocol.events import (
    GaveUp,
    GaveUpReason,
    Identified,
    Misanswered,
    OrderAnswered,
    Refused,
    SessionEvent,
    Unreadable,
)
from device_protocol.framing import encode_order, seal
from device_protocol.orders import (
    Alive,
    Darken,
    LightPixel,
    LightRange,
    Order,
    Paint,
    ReadOutputState,
    SetupOutput,
    Show,
    picture_orders,
)
from device_protocol.session import HostSession, Phase
from device_protocol.values import Colour
from tests.protocol.hosting import LIGHT, RED, connected, exchange

_HEARD = [
    seal("<02 ok"),
    seal("<01 ok"),
    seal("!-- 11 checksum"),
    seal("!02 32 ceiling need=9 ceiling=8"),
    seal("~00 restarted power"),
    seal("~01 button 1"),
    seal("~02 button 3"),
    b"\n",
    b"\r\n",
    b"\x00\xff<~!\n",
    b"half a line",
    b"x" * 300,
]
"""What may come from a board while LIGHT, the second order, is in flight."""


def test_orders_are_numbered_and_answered() -> None:
    session, board = connected(first_seq=254)
    assert session.ready
    for seq in (255, 0, 1):
        data = session.send(LIGHT, 0)
        assert data == encode_order(LIGHT.line(seq))
        assert session.receive_data(board.receive_data(data, 0), 0) == [OrderAnswered(LIGHT, LIGHT.parse_reply(()), 1)]


def test_one_order_at_a_time() -> None:
    session, _ = connected()
    session.send(LIGHT, 0)
    with pytest.raises(HostFault, match="one at a time"):
        session.send(LIGHT, 0)
    with pytest.raises(HostFault, match="one at a time"):
        session.connect(0)


def test_no_orders_before_the_board_is_known() -> None:
    session = HostSession()
    with pytest.raises(HostFault, match="connect"):
        session.send(LIGHT, 0)
    with pytest.raises(HostFault, match="connect"):
        session.check(LIGHT)
    session.connect(0)
    with pytest.raises(HostFault, match="wait for Identified"):
        session.send(LIGHT, 0)


def test_orders_that_this_board_cannot_take_are_not_sent() -> None:
    session, _ = connected(BoardConfig(features=("paint",), line=64))
    with pytest.raises(HostFault, match="feature range"):
        session.send(LightRange(0, 0, 2, RED), 0)
    with pytest.raises(HostFault, match="board takes 64"):
        session.send(Paint(0, 0, (1, 2) * 40), 0)
    assert session.ready  # nothing was sent
    session.check(Show(0))


def test_silence_is_asked_again_three_times_then_given_up() -> None:
    session, _ = connected(BoardConfig(pixels=100))
    line = session.send(LIGHT, 1000)
    now_ms = 1000.0
    for _ in range(3):
        deadline = session.next_deadline_ms()
        assert deadline == now_ms + 255  # 250 ms and 50 us for each of 100 pixels (SPEC 3.9)
        assert session.tick(deadline - 1) == (b"", [])
        now_ms = deadline
        assert session.tick(now_ms) == (b"\n" + line, [])  # the same bytes, an LF before them
    data, (event,) = session.tick(now_ms + 255)
    assert data == b""
    assert isinstance(event, GaveUp)
    assert (event.order, event.reason, event.asks) == (LIGHT, GaveUpReason.NO_ANSWER, 4)
    assert session.phase is Phase.LOST
    assert session.next_deadline_ms() is None
    with pytest.raises(HostFault, match="lost"):
        session.send(LIGHT, 9000)
    session.connect(9000)


def test_how_long_an_answer_is_awaited() -> None:
    session, board = connected(BoardConfig(outputs=2, pixels=1000))
    for order, wait_ms in [(Alive(), 250), (LIGHT, 300), (Darken(1), 300), (Darken(), 350), (ReadOutputState(0), 250)]:
        session.send(order, 0)
        assert session.next_deadline_ms() == wait_ms
        session.receive_data(board.receive_data(encode_order(order.line(session._seq - 1)), 0), 0)
    exchange(session, board, SetupOutput(0, 84, "GRB", 1000))
    session.send(Darken(0), 0)
    assert session.next_deadline_ms() == pytest.approx(254.2)


def test_answer_to_an_earlier_copy_is_ignored() -> None:
    session, board = connected()
    first = session.send(LIGHT, 0)
    again, _ = session.tick(300)
    replies = board.receive_data(first + again, 300)
    assert replies.count(b"\n") == 2
    (event,) = session.receive_data(replies, 300)
    assert event == OrderAnswered(LIGHT, LIGHT.parse_reply(()), 2)
    session.send(Darken(), 300)
    assert session.receive_data(replies, 300) == []
    assert session.phase is Phase.ASKING


def test_damaged_order_is_asked_again_without_waiting_for_the_deadline() -> None:
    session, board = connected()
    line = session.send(LIGHT, 0)
    assert session.receive_data(board.receive_data(line.replace(b"14", b"15"), 5), 5) == []
    deadline = session.next_deadline_ms()
    assert deadline is not None
    assert 5 < deadline < 100
    data, events = session.tick(deadline)
    assert (data, events) == (line, [])
    (event,) = session.receive_data(board.receive_data(data, deadline), deadline)
    assert isinstance(event, OrderAnswered)
    assert event.asks == 2


def test_an_answer_right_behind_a_complaint_counts() -> None:
    """The complaint was about noise before the order, or an earlier copy: asking again would only add to it."""
    session, _ = connected()
    session.send(LIGHT, 0)
    seq = session._seq - 1
    (event,) = session.receive_data(seal("!-- 10 malformed") + seal(f"<{seq:02X} ok"), 5)
    assert isinstance(event, OrderAnswered)
    assert session.tick(10_000) == (b"", [])


def test_a_board_that_keeps_complaining_is_given_up() -> None:
    session, _ = connected()
    session.send(LIGHT, 0)
    asks = 1
    for _ in range(100):
        session.receive_data(seal("!-- 11 checksum"), 0)
        deadline = session.next_deadline_ms()
        assert deadline is not None
        data, events = session.tick(deadline)
        if events:
            (event,) = events
            assert isinstance(event, GaveUp)
            assert (event.reason, event.asks) == (GaveUpReason.DAMAGED, asks)
            break
        assert data == encode_order(LIGHT.line(2))
        asks += 1
    assert asks == 12


@pytest.mark.parametrize(
    ("order", "code", "blame"),
    [
        (LightPixel(0, 1000, RED), ErrorCode.NO_SUCH_PIXEL, Blame.SETTINGS),
        (LightPixel(7, 0, RED), ErrorCode.NO_SUCH_OUTPUT, Blame.SETTINGS),
        (LightPixel(0, 0, Colour(0, 0, 0, 1)), ErrorCode.BAD_VALUE, Blame.HOST),
        (Show(0), ErrorCode.INCOMPLETE, Blame.HOST),
        (SetupOutput(0, 1001, "GRB", 10), ErrorCode.TOO_MANY_PIXELS, Blame.SETTINGS),
    ],
)
def test_refusals(order: Order, code: ErrorCode, blame: Blame) -> None:
    session, board = connected()
    (event,) = exchange(session, board, order)
    assert isinstance(event, Refused)
    assert (event.order, event.code, event.blame) == (order, code, blame)
    assert session.ready


def test_refusals_carry_their_numbers() -> None:
    session, board = connected()
    (event,) = exchange(session, board, LightRange(0, 0, 1000, Colour(255, 255, 255)))
    assert isinstance(event, Refused)
    assert (event.code, event.field("need"), event.field("ceiling")) == (ErrorCode.CEILING, 61_000, 2000)
    assert event.field("staged") is None
    (event,) = exchange(session, board, Paint(0, 3, (1,)))
    assert isinstance(event, Refused)
    assert (event.code, event.field("staged")) == (ErrorCode.OUT_OF_STEP, 0)


def test_unknown_code_is_a_refusal_of_the_board() -> None:
    session, _ = connected()
    session.send(LIGHT, 0)
    (event,) = session.receive_data(seal("!02 57 moonlight"), 0)
    assert isinstance(event, Refused)
    assert (event.code, event.blame, event.error.number) == (None, Blame.BOARD, 57)


def test_every_code_has_a_blame() -> None:
    assert {blame_of(code) for code in ErrorCode} == set(Blame)


def test_not_ready_is_waited_for_then_told() -> None:
    session, board = connected()
    board.not_ready = True
    now_ms = 0.0
    data = session.send(LIGHT, now_ms)
    for _ in range(3):
        assert session.receive_data(board.receive_data(data, now_ms), now_ms) == []
        now_ms += 250
        data, events = session.tick(now_ms)
        assert not events
    (event,) = session.receive_data(board.receive_data(data, now_ms), now_ms)
    assert isinstance(event, Refused)
    assert event.code is ErrorCode.NOT_READY


def test_not_ready_for_a_while_only() -> None:
    session, board = connected()
    board.not_ready = True
    assert exchange(session, board, LIGHT) == []
    board.not_ready = False
    data, _ = session.tick(250)
    (event,) = session.receive_data(board.receive_data(data, 250), 250)
    assert isinstance(event, OrderAnswered)


@pytest.mark.parametrize("fields", ["84 GRB 300 999", "83 GRB 300 1000", "84 GRB 300", "x y z 0"])
def test_an_answer_that_makes_no_sense_is_no_success(fields: str) -> None:
    session, _ = connected()
    order = SetupOutput(0, 84, "GRB", 1000)
    session.send(order, 0)
    (event,) = session.receive_data(seal(f"<02 ok {fields}"), 0)
    assert isinstance(event, Misanswered)
    assert event.order == order
    assert session.ready
    assert session.settings == {}


def test_garbage_is_told_and_harms_nothing() -> None:
    session, board = connected()
    data = session.send(LIGHT, 0)
    events = session.receive_data(b"\x00\xff\x80\nhello\n" + b"x" * 300 + b"\n<02 ok*0000\n", 0)
    assert [type(event) for event in events] == [Unreadable] * 4
    (event,) = session.receive_data(board.receive_data(data, 0), 0)
    assert isinstance(event, OrderAnswered)


@given(st.lists(st.sampled_from(_HEARD), max_size=12), st.lists(st.integers(1, 30), max_size=30))
def test_pieces_do_not_matter(heard: list[bytes], sizes: list[int]) -> None:
    """Whole or in pieces, what comes from the board tells the same."""
    data = b"".join(heard)
    whole, _ = connected()
    pieces, _ = connected()
    whole.send(LIGHT, 0)
    pieces.send(LIGHT, 0)
    expected = whole.receive_data(data, 0)
    got: list[SessionEvent] = []
    for size in sizes:
        got += pieces.receive_data(data[:size], 0)
        data = data[size:]
    got += [event for place in range(len(data)) for event in pieces.receive_data(data[place : place + 1], 0)]
    assert [str(event) for event in got] == [str(event) for event in expected]
    assert pieces.statistics == whole.statistics
    assert pieces.phase is whole.phase


def test_a_picture_through_the_session() -> None:
    session, board = connected(BoardConfig(pixels=6))
    picture = [RED, Colour(0, 0, 9), RED, RED, Colour(0, 0, 0), Colour(0, 7, 0)]
    for order in picture_orders(0, picture, line_limit=96):
        (event,) = exchange(session, board, order)
        assert isinstance(event, OrderAnswered)
    assert board.outputs[0].picture == picture


def test_a_refusal_of_an_earlier_copy_is_ignored() -> None:
    """SPEC 3.3: only the number of the order in flight counts."""
    session, _ = connected()
    session.send(LIGHT, 0)
    assert session.receive_data(seal("!01 31 no-such-pixel"), 0) == []
    (event,) = session.receive_data(seal("!02 31 no-such-pixel"), 0)
    assert isinstance(event, Refused)


def test_half_a_line_from_before_does_not_spoil_the_first_answer_after_connecting_again() -> None:
    session, board = connected()
    session.receive_data(b"<07 ok half a li", 0)
    asked = session.connect(10)
    events = session.receive_data(board.receive_data(asked, 10), 10)
    assert [type(event) for event in events] == [Identified]
    assert session.ready


def test_after_a_line_that_could_not_be_read_the_board_is_asked_at_once() -> None:
    session, board = connected()
    exchange(session, board, LIGHT, 5_000)
    quiet = session.keep_alive_due_ms()
    assert quiet is not None
    session.receive_data(b"\xff\n", 5_000)
    due = session.keep_alive_due_ms()
    assert due is not None
    assert due == pytest.approx(5_020, abs=1)
    assert due < quiet


def test_an_order_as_long_as_the_boards_line_is_sent_and_one_byte_more_is_not() -> None:
    length = len(encode_order(LIGHT.line(0))) - 1
    session, _ = connected()
    assert session.identity is not None
    for line, taken in ((length, True), (length - 1, False)):
        session._board.identity = replace(session.identity, line=line)
        if taken:
            session.check(LIGHT)
        else:
            with pytest.raises(HostFault, match=f"{length} bytes long, the board takes {line}"):
                session.check(LIGHT)
