"""A host session in conversation with the Python board."""

from __future__ import annotations

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.events import Identified, SessionEvent
from device_protocol.orders import LightPixel, Order
from device_protocol.session import HostSession
from device_protocol.values import Colour

RED = Colour(0x20, 0, 0)


LIGHT = LightPixel(0, 14, RED)


def connected(config: BoardConfig | None = None, *, first_seq: int = 1) -> tuple[HostSession, ProtocolBoard]:
    board = ProtocolBoard(config)
    board.tick(0)
    session = HostSession(first_seq=first_seq)
    (event,) = session.receive_data(board.receive_data(session.connect(0), 0), 0)
    assert isinstance(event, Identified)
    assert event.identity == session.identity
    return session, board


def exchange(session: HostSession, board: ProtocolBoard, order: Order, now_ms: float = 0) -> list[SessionEvent]:
    return session.receive_data(board.receive_data(session.send(order, now_ms), now_ms), now_ms)
