"""The two compiled boards as `tests.protocol.conversation.BoardUnderTest`."""

from __future__ import annotations

from tests.firmware.host_board import HostBoard
from tests.firmware.simulated_avr import SimulatedAvr

INPUT_PINS = ("C0", "C1", "C2", "C3", "C4", "C5", "D6", "D7")
"""Lamp inputs 1 to 8 of the default build."""
PRESS_MS = 60
"""Longer than the longest debounce time (SPEC 7.3)."""


class HostUnderTest:
    """The core as a host program, just started."""

    def __init__(self, board: HostBoard) -> None:
        self._board = board
        self._waiting = bytearray()
        self._board.start("power")

    def _next_line(self) -> bytes | None:
        self._waiting += self._board.take_sent()
        line, found, rest = bytes(self._waiting).partition(b"\n")
        if not found:
            return None
        self._waiting = bytearray(rest)
        return line

    def send(self, data: bytes) -> None:
        """See BoardUnderTest."""
        self._board.send(data)

    def receive_line(self, timeout_ms: float) -> bytes | None:
        """See BoardUnderTest. All that an order brings about is said at once: time passes only if there is nothing."""
        line = self._next_line()
        if line is None and timeout_ms < 100:
            self._board.advance(timeout_ms)
            line = self._next_line()
        return line

    def advance(self, ms: float) -> None:
        """See BoardUnderTest."""
        self._board.advance(ms)

    def press(self) -> None:
        """See BoardUnderTest."""
        self._board.set_button(True)
        self._board.advance(PRESS_MS)
        self._board.set_button(False)
        self._board.advance(PRESS_MS)

    def set_input(self, number: int, on: bool) -> None:
        """See BoardUnderTest."""
        self._board.set_input(number, on)

    def lose_bytes(self) -> None:
        """See BoardUnderTest."""
        self._board.lose_bytes()

    def last_frame(self, output: int) -> bytes | None:
        """See BoardUnderTest."""
        pixels, _, data = self._board.frame(output)
        return data if pixels else None


class AvrUnderTest:
    """The AVR firmware on a paused simulated chip, just powered up."""

    def __init__(self, chip: SimulatedAvr) -> None:
        self._chip = chip

    def send(self, data: bytes) -> None:
        """See BoardUnderTest. The bytes take their time on the line."""
        self._chip.feed(data)

    def receive_line(self, timeout_ms: float) -> bytes | None:
        """See BoardUnderTest."""
        return self._chip.receive_line(timeout_ms)

    def advance(self, ms: float) -> None:
        """See BoardUnderTest."""
        self._chip.run(ms)

    def press(self) -> None:
        """See BoardUnderTest."""
        self._chip.press(ms=PRESS_MS)

    def set_input(self, number: int, on: bool) -> None:
        """See BoardUnderTest. The game's output pulls the pin to ground."""
        self._chip.set_pin(INPUT_PINS[number - 1], int(not on))

    def lose_bytes(self) -> None:
        """See BoardUnderTest."""
        self._chip.lose_byte()

    def last_frame(self, output: int) -> bytes | None:
        """See BoardUnderTest."""
        frame = self._chip.frame(output)
        assert frame.spare_bits == 0
        return frame.data if frame.frames else None
