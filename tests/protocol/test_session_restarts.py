"""The host's half: settings and what becomes of them, restarts heard and inferred, notices, the keep-alive."""

from __future__ import annotations

import pytest

from device_protocol.events import Identified, Interrupted, InterruptReason, OrderAnswered
from device_protocol.framing import encode_order, seal
from device_protocol.orders import (
    Alive,
    ButtonNotice,
    DarkNotice,
    Identify,
    LightPixel,
    Order,
    OutputSettings,
    ReadOutputState,
    RestartCause,
    RestartNotice,
    SetupOutput,
    Silence,
    UnknownNotice,
)
from device_protocol.session import HostSession
from tests.protocol.hosting import LIGHT, RED, connected, exchange


def test_settings_are_kept_until_the_board_restarts() -> None:
    session, board = connected()
    exchange(session, board, SetupOutput(0, 84, "GRB", 1000))
    assert session.settings == {0: OutputSettings(count=84, byte_order="GRB", latch_us=300, ceiling_ma=1000)}
    assert session.receive_data(board.restart(RestartCause.BROWNOUT, 5), 5) == [RestartNotice(RestartCause.BROWNOUT)]
    assert session.settings == {}
    assert session.ready


def test_a_restart_makes_the_order_in_flight_void() -> None:
    session, board = connected()
    session.send(LIGHT, 0)
    assert session.receive_data(board.restart(RestartCause.WATCHDOG, 5), 5) == [
        RestartNotice(RestartCause.WATCHDOG),
        Interrupted(LIGHT, InterruptReason.RESTARTED),
    ]
    assert session.ready
    assert session.receive_data(seal("<02 ok"), 6) == []


@pytest.mark.parametrize("order", [Identify(), Alive()])
def test_orders_that_need_no_setting_are_asked_again_after_a_restart(order: Order) -> None:
    session, board = connected()
    session.send(order, 0)
    assert session.receive_data(board.restart(RestartCause.POWER, 5), 5) == [RestartNotice(RestartCause.POWER)]
    data, _ = session.tick(5)
    (event,) = session.receive_data(board.receive_data(data, 5), 5)
    assert isinstance(event, OrderAnswered)


def test_a_board_that_has_just_started_is_asked_at_once_who_it_is() -> None:
    session, board = HostSession(), connected()[1]
    session.connect(0)
    assert session.receive_data(board.restart(RestartCause.POWER, 5), 5) == []
    assert session.next_deadline_ms() == 5
    data, _ = session.tick(5)
    (event,) = session.receive_data(board.receive_data(data, 6), 6)
    assert isinstance(event, Identified)


def test_every_restart_counts_though_they_look_alike() -> None:
    session, board = connected()
    for now_ms in (10, 20):
        assert session.receive_data(board.restart(RestartCause.POWER, now_ms), now_ms) == [
            RestartNotice(RestartCause.POWER)
        ]


def test_notices() -> None:
    session, board = connected()
    assert session.receive_data(board.press_button(0), 0) == [ButtonNotice(1, presses=1)]
    lost = board.press_button(0) + board.press_button(0)
    assert lost.count(b"\n") == 2
    fourth = board.press_button(0)
    assert session.receive_data(fourth, 0) == [ButtonNotice(4, presses=3)]
    assert session.receive_data(fourth, 0) == []  # a copy
    assert session.receive_data(board.restart(RestartCause.POWER, 1), 1) == [RestartNotice(RestartCause.POWER)]
    assert session.receive_data(board.press_button(1), 1) == [ButtonNotice(1, presses=1)]
    assert session.receive_data(seal("~02 glow bright"), 1) == [UnknownNotice("glow", ("bright",))]
    assert session.receive_data(seal("~03 dark silence"), 1) == [DarkNotice()]


def test_a_notice_before_the_reply_is_told_before_it() -> None:
    session, board = connected()
    exchange(session, board, LIGHT)
    order = LightPixel(0, 15, RED)
    said = board.receive_data(session.send(order, 6000), 6000)
    first, second = session.receive_data(said, 6000)
    assert first == DarkNotice()
    assert isinstance(second, OrderAnswered)


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
    exchange(session, board, SetupOutput(0, 84, "GRB", 1000))
    board.restart(RestartCause.BROWNOUT, 1000)
    session.receive_data(b"~0\xff restarted brown", 1000)
    assert session.keep_alive_order() == Alive()  # the line has not ended yet
    session.receive_data(b"out*1234\n", 1001)
    due = session.keep_alive_due_ms()
    assert due is not None
    assert due <= 1100
    assert session.keep_alive_order() == ReadOutputState(0)
    first, second = exchange(session, board, session.keep_alive_order(), 1100)
    assert first == RestartNotice(RestartCause.UNKNOWN, inferred=True)
    assert isinstance(second, OrderAnswered)
    assert session.settings == {}
    assert session.keep_alive_order() == Alive()


def test_a_restart_that_was_not_heard_shows_in_the_uptime() -> None:
    session, board = connected()
    board.tick(60_000)
    board.restart(RestartCause.WATCHDOG, 60_000)
    session.receive_data(b"\xff\n", 60_000)
    assert session.keep_alive_order() == Identify()
    first, second = exchange(session, board, Identify(), 60_500)
    assert first == RestartNotice(RestartCause.WATCHDOG, inferred=True)
    assert isinstance(second, OrderAnswered)


def test_no_restart_is_inferred_from_a_board_that_runs_on() -> None:
    session, board = connected()
    for now_ms in (1000, 3_600_000, 2**32 + 5, 2**33):
        session.receive_data(b"\xff\n", now_ms)
        (event, *more) = exchange(session, board, Identify(), now_ms)
        assert isinstance(event, OrderAnswered | DarkNotice)
        assert not any(isinstance(one, RestartNotice) for one in more)
