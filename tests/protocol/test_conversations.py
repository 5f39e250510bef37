"""Every shared conversation, on the board's half in Python."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.orders import FEATURES
from tests.protocol.conversation import Conversation, all_conversations, run_conversation
from tests.support.examples import first_now

CONVERSATIONS = all_conversations()


def config_for(conversation: Conversation) -> BoardConfig:
    """The board that the conversation's first step asks for."""
    asked = conversation.board
    features = asked["features"]
    return BoardConfig(
        outputs=int(asked["outputs"]),
        pixels=int(asked["pixels"]),
        line=int(asked["line"]),
        ceiling_ma=int(asked["ceiling"]),
        channel_ua=int(asked["channel"]),
        idle_ua=int(asked["idle"]),
        features=FEATURES if features == "all" else () if features == "none" else tuple(features.split(",")),
    )


class PythonBoard:
    """`ProtocolBoard` behind the runner's interface. Bytes arrive one at a time when `piecewise`."""

    def __init__(self, config: BoardConfig, *, piecewise: bool) -> None:
        self.board = ProtocolBoard(config)
        self.now_ms = 0.0
        self.piecewise = piecewise
        self._said = bytearray(self.board.tick(0))

    def send(self, data: bytes) -> None:
        pieces = [data[place : place + 1] for place in range(len(data))] if self.piecewise else [data]
        for piece in pieces:
            self._said += self.board.receive_data(piece, self.now_ms)

    def receive_line(self, timeout_ms: float) -> bytes | None:
        if b"\n" not in self._said:
            self.advance(timeout_ms)
        line, end, rest = bytes(self._said).partition(b"\n")
        if not end:
            return None
        self._said = bytearray(rest)
        return line

    def advance(self, ms: float) -> None:
        self.now_ms += ms
        self._said += self.board.tick(self.now_ms)

    def press(self) -> None:
        self._said += self.board.press_button(self.now_ms)

    def set_input(self, number: int, on: bool) -> None:
        self._said += self.board.set_input(number, on, self.now_ms)

    def lose_bytes(self) -> None:
        self.board.mark_lost_bytes()

    def last_frame(self, output: int) -> bytes | None:
        frames = self.board.frames[output]
        return frames[-1] if frames else None


@pytest.mark.parametrize("piecewise", [False, True], ids=["whole", "bytewise"])
@pytest.mark.parametrize("conversation", first_now(CONVERSATIONS), ids=lambda conversation: conversation.name)
def test_board_follows_conversation(conversation: Conversation, piecewise: bool) -> None:
    run_conversation(conversation, PythonBoard(config_for(conversation), piecewise=piecewise))


def test_set_is_there() -> None:
    """The set must not shrink to nothing unnoticed (a moved folder would make the test above pass empty)."""
    assert len(CONVERSATIONS) >= 15
    assert sum(conversation.for_shared_board for conversation in CONVERSATIONS) >= 12
