"""The host's half, step by step."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol import (
    Alive,
    Answered,
    Blame,
    BoardConfig,
    ButtonPressed,
    Colour,
    Connected,
    Dark,
    ErrorCode,
    Event,
    GaveUp,
    GaveUpReason,
    HostFault,
    HostSession,
    Identify,
    Interrupted,
    InterruptReason,
    Light,
    LineVerdict,
    Misanswered,
    Order,
    Paint,
    Phase,
    ProtocolBoard,
    Range,
    Refused,
    RestartCause,
    Restarted,
    Settings,
    Setup,
    Show,
    Silence,
    State,
    UnknownNotice,
    Unreadable,
    WentDark,
    picture_orders,
)
from device_protocol.errors import blame_of
from device_protocol.framing import encode_order, seal

RED = Colour(0x20, 0, 0)
LIGHT = Light(0, 14, RED)
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


def connected(config: BoardConfig | None = None, *, first_seq: int = 1) -> tuple[HostSession, ProtocolBoard]:
    board = ProtocolBoard(config)
    board.tick(0)
    session = HostSession(first_seq=first_seq)
    (event,) = session.receive_data(board.receive_data(session.connect(0), 0), 0)
    assert isinstance(event, Connected)
    assert event.identity == session.identity
    return session, board


def exchange(session: HostSession, board: ProtocolBoard, order: Order, now_ms: float = 0) -> list[Event]:
    return session.receive_data(board.receive_data(session.send(order, now_ms), now_ms), now_ms)


def test_connecting_begins_with_a_line_end_and_asks_who_is_there() -> None:
    assert HostSession().phase is Phase.CLOSED
    session = HostSession()
    assert session.connect(0) == b"\n" + encode_order(Identify().line(1))
    assert session.phase is Phase.CONNECTING
    assert not session.ready


def test_orders_are_numbered_and_answered() -> None:
    session, board = connected(first_seq=254)
    assert session.ready
    for seq in (255, 0, 1):
        data = session.send(LIGHT, 0)
        assert data == encode_order(LIGHT.line(seq))
        assert session.receive_data(board.receive_data(data, 0), 0) == [Answered(LIGHT, LIGHT.parse_reply(()), 1)]


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
    with pytest.raises(HostFault, match="wait for Connected"):
        session.send(LIGHT, 0)


def test_orders_that_this_board_cannot_take_are_not_sent() -> None:
    session, _ = connected(BoardConfig(features=("paint",), line=64))
    with pytest.raises(HostFault, match="feature range"):
        session.send(Range(0, 0, 2, RED), 0)
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
    for order, wait_ms in [(Alive(), 250), (LIGHT, 300), (Dark(1), 300), (Dark(), 350), (State(0), 250)]:
        session.send(order, 0)
        assert session.next_deadline_ms() == wait_ms
        session.receive_data(board.receive_data(encode_order(order.line(session._seq - 1)), 0), 0)
    exchange(session, board, Setup(0, 84, "GRB", 1000))
    session.send(Dark(0), 0)
    assert session.next_deadline_ms() == pytest.approx(254.2)


def test_answer_to_an_earlier_copy_is_ignored() -> None:
    session, board = connected()
    first = session.send(LIGHT, 0)
    again, _ = session.tick(300)
    replies = board.receive_data(first + again, 300)
    assert replies.count(b"\n") == 2
    (event,) = session.receive_data(replies, 300)
    assert event == Answered(LIGHT, LIGHT.parse_reply(()), 2)
    session.send(Dark(), 300)
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
    assert isinstance(event, Answered)
    assert event.asks == 2


def test_an_answer_right_behind_a_complaint_counts() -> None:
    """The complaint was about noise before the order, or an earlier copy: asking again would only add to it."""
    session, _ = connected()
    session.send(LIGHT, 0)
    seq = session._seq - 1
    (event,) = session.receive_data(seal("!-- 10 malformed") + seal(f"<{seq:02X} ok"), 5)
    assert isinstance(event, Answered)
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
        (Light(0, 1000, RED), ErrorCode.NO_SUCH_PIXEL, Blame.SETTINGS),
        (Light(7, 0, RED), ErrorCode.NO_SUCH_OUTPUT, Blame.SETTINGS),
        (Light(0, 0, Colour(0, 0, 0, 1)), ErrorCode.BAD_VALUE, Blame.HOST),
        (Show(0), ErrorCode.INCOMPLETE, Blame.HOST),
        (Setup(0, 1001, "GRB", 10), ErrorCode.TOO_MANY_PIXELS, Blame.SETTINGS),
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
    (event,) = exchange(session, board, Range(0, 0, 1000, Colour(255, 255, 255)))
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
    assert isinstance(event, Answered)


@pytest.mark.parametrize("fields", ["84 GRB 300 999", "83 GRB 300 1000", "84 GRB 300", "x y z 0"])
def test_an_answer_that_makes_no_sense_is_no_success(fields: str) -> None:
    session, _ = connected()
    order = Setup(0, 84, "GRB", 1000)
    session.send(order, 0)
    (event,) = session.receive_data(seal(f"<02 ok {fields}"), 0)
    assert isinstance(event, Misanswered)
    assert event.order == order
    assert session.ready
    assert session.settings == {}


def test_settings_are_kept_until_the_board_restarts() -> None:
    session, board = connected()
    exchange(session, board, Setup(0, 84, "GRB", 1000))
    assert session.settings == {0: Settings(count=84, byte_order="GRB", latch_us=300, ceiling_ma=1000)}
    assert session.receive_data(board.restart(RestartCause.BROWNOUT, 5), 5) == [Restarted(RestartCause.BROWNOUT)]
    assert session.settings == {}
    assert session.ready


def test_a_restart_makes_the_order_in_flight_void() -> None:
    session, board = connected()
    session.send(LIGHT, 0)
    assert session.receive_data(board.restart(RestartCause.WATCHDOG, 5), 5) == [
        Restarted(RestartCause.WATCHDOG),
        Interrupted(LIGHT, InterruptReason.RESTARTED),
    ]
    assert session.ready
    assert session.receive_data(seal("<02 ok"), 6) == []


@pytest.mark.parametrize("order", [Identify(), Alive()])
def test_orders_that_need_no_setting_are_asked_again_after_a_restart(order: Order) -> None:
    session, board = connected()
    session.send(order, 0)
    assert session.receive_data(board.restart(RestartCause.POWER, 5), 5) == [Restarted(RestartCause.POWER)]
    data, _ = session.tick(5)
    (event,) = session.receive_data(board.receive_data(data, 5), 5)
    assert isinstance(event, Answered)


def test_every_restart_counts_though_they_look_alike() -> None:
    session, board = connected()
    for now_ms in (10, 20):
        assert session.receive_data(board.restart(RestartCause.POWER, now_ms), now_ms) == [
            Restarted(RestartCause.POWER)
        ]


def test_notices() -> None:
    session, board = connected()
    assert session.receive_data(board.press_button(0), 0) == [ButtonPressed(1, presses=1)]
    lost = board.press_button(0) + board.press_button(0)
    assert lost.count(b"\n") == 2
    fourth = board.press_button(0)
    assert session.receive_data(fourth, 0) == [ButtonPressed(4, presses=3)]
    assert session.receive_data(fourth, 0) == []  # a copy
    assert session.receive_data(board.restart(RestartCause.POWER, 1), 1) == [Restarted(RestartCause.POWER)]
    assert session.receive_data(board.press_button(1), 1) == [ButtonPressed(1, presses=1)]
    assert session.receive_data(seal("~02 glow bright"), 1) == [UnknownNotice("glow", ("bright",))]
    assert session.receive_data(seal("~03 dark silence"), 1) == [WentDark()]


def test_a_notice_before_the_reply_is_told_before_it() -> None:
    session, board = connected()
    exchange(session, board, LIGHT)
    order = Light(0, 15, RED)
    said = board.receive_data(session.send(order, 6000), 6000)
    first, second = session.receive_data(said, 6000)
    assert first == WentDark()
    assert isinstance(second, Answered)


def test_garbage_is_told_and_harms_nothing() -> None:
    session, board = connected()
    data = session.send(LIGHT, 0)
    events = session.receive_data(b"\x00\xff\x80\nhello\n" + b"x" * 300 + b"\n<02 ok*0000\n", 0)
    assert [type(event) for event in events] == [Unreadable] * 4
    (event,) = session.receive_data(board.receive_data(data, 0), 0)
    assert isinstance(event, Answered)


@given(st.lists(st.sampled_from(_HEARD), max_size=12), st.lists(st.integers(1, 30), max_size=30))
def test_pieces_do_not_matter(heard: list[bytes], sizes: list[int]) -> None:
    """Whole or in pieces, what comes from the board tells the same."""
    data = b"".join(heard)
    whole, _ = connected()
    pieces, _ = connected()
    whole.send(LIGHT, 0)
    pieces.send(LIGHT, 0)
    expected = whole.receive_data(data, 0)
    got: list[Event] = []
    for size in sizes:
        got += pieces.receive_data(data[:size], 0)
        data = data[size:]
    got += [event for place in range(len(data)) for event in pieces.receive_data(data[place : place + 1], 0)]
    assert [str(event) for event in got] == [str(event) for event in expected]
    assert pieces.statistics == whole.statistics
    assert pieces.phase is whole.phase


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
    assert isinstance(event, Connected)
    assert event.identity.cause is RestartCause.EXTERNAL


def test_replies_left_over_from_another_host_do_not_connect() -> None:
    session = HostSession(first_seq=1)
    session.connect(0)
    assert session.receive_data(seal("<01 ok") + seal("!01 31 no-such-pixel") + seal("<02 ok"), 0) == []
    assert session.phase is Phase.CONNECTING


def test_another_version_is_told() -> None:
    session = HostSession()
    board = ProtocolBoard()
    fields = " ".join(board.identity_fields()).replace("proto=1", "proto=2")
    session.connect(0)
    (event,) = session.receive_data(seal(f"<01 ok {fields}"), 0)
    assert isinstance(event, GaveUp)
    assert event.reason is GaveUpReason.OTHER_VERSION


@pytest.mark.parametrize(
    ("heard", "verdict"),
    [
        (b"", LineVerdict.SILENT),
        (bytes(range(0x80, 0xE0)), LineVerdict.WRONG_SPEED),
        (b"Welcome to the weather station\r\nType help\r\n", LineVerdict.OTHER_DEVICE),
        (b"\n" + encode_order(Identify().line(1)), LineVerdict.ECHO),
        (seal("~00 restarted power"), LineVerdict.SOUND),
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


def test_keep_alive_is_due_after_a_third_of_the_silence_time() -> None:
    session, board = connected()
    assert session.keep_alive_due_ms() == pytest.approx(5000 / 3)
    exchange(session, board, Silence(900), 100)
    assert session.keep_alive_due_ms() == pytest.approx(400)
    session.send(session.keep_alive_order(), 400)
    assert session.keep_alive_due_ms() is None
    session.receive_data(board.receive_data(encode_order(Alive().line(3)), 400), 400)
    assert session.keep_alive_due_ms() == pytest.approx(700)
    session.receive_data(board.restart(RestartCause.POWER, 500), 500)
    assert session.keep_alive_due_ms() == pytest.approx(400 + 5000 / 3)


def test_a_restart_that_was_not_heard_shows_in_the_settings() -> None:
    session, board = connected()
    exchange(session, board, Setup(0, 84, "GRB", 1000))
    board.restart(RestartCause.BROWNOUT, 1000)
    session.receive_data(b"~0\xff restarted brown", 1000)
    assert session.keep_alive_order() == Alive()  # the line has not ended yet
    session.receive_data(b"out*1234\n", 1001)
    due = session.keep_alive_due_ms()
    assert due is not None
    assert due <= 1100
    assert session.keep_alive_order() == State(0)
    first, second = exchange(session, board, session.keep_alive_order(), 1100)
    assert first == Restarted(RestartCause.UNKNOWN, inferred=True)
    assert isinstance(second, Answered)
    assert session.settings == {}
    assert session.keep_alive_order() == Alive()


def test_a_restart_that_was_not_heard_shows_in_the_uptime() -> None:
    session, board = connected()
    board.tick(60_000)
    board.restart(RestartCause.WATCHDOG, 60_000)
    session.receive_data(b"\xff\n", 60_000)
    assert session.keep_alive_order() == Identify()
    first, second = exchange(session, board, Identify(), 60_500)
    assert first == Restarted(RestartCause.WATCHDOG, inferred=True)
    assert isinstance(second, Answered)


def test_no_restart_is_inferred_from_a_board_that_runs_on() -> None:
    session, board = connected()
    for now_ms in (1000, 3_600_000, 2**32 + 5, 2**33):
        session.receive_data(b"\xff\n", now_ms)
        (event, *more) = exchange(session, board, Identify(), now_ms)
        assert isinstance(event, Answered | WentDark)
        assert not any(isinstance(one, Restarted) for one in more)


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
    assert isinstance(event, Connected)


def test_a_picture_through_the_session() -> None:
    session, board = connected(BoardConfig(pixels=6))
    picture = [RED, Colour(0, 0, 9), RED, RED, Colour(0, 0, 0), Colour(0, 7, 0)]
    for order in picture_orders(0, picture, line_limit=96):
        (event,) = exchange(session, board, order)
        assert isinstance(event, Answered)
    assert board.outputs[0].picture == picture
