"""What came over the line, counted: tells a wrong speed from another device from a noisy wire."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class LineVerdict(Enum):
    """What the counts look like. A guess for the person to start from, not a proof."""

    SILENT = "silent"  # not one byte
    WRONG_SPEED = "wrong speed"  # bytes, many of them no text, no line that could be read
    OTHER_DEVICE = "other device"  # text, but not of this protocol
    ECHO = "echo"  # our own orders come back: a loop, or a terminal program at the far end
    NOISY = "noisy"  # the board is there, one line in five or more is damaged
    SOUND = "sound"


@dataclass(frozen=True, slots=True)
class LineStatistics:
    """Counts since the session last connected."""

    bytes_received: int = 0
    text_bytes: int = 0
    readable_lines: int = 0
    unreadable_lines: int = 0
    echoed_lines: int = 0
    asked_again: int = 0
    damaged_orders: int = 0

    @property
    def verdict(self) -> LineVerdict:
        """See LineVerdict. Limits (a quarter no text; one line in five) are judgement, no source."""
        if self.bytes_received == 0:
            return LineVerdict.SILENT
        if self.readable_lines == 0:
            if self.echoed_lines:
                return LineVerdict.ECHO
            strange = self.bytes_received - self.text_bytes
            return LineVerdict.WRONG_SPEED if strange * 4 > self.bytes_received else LineVerdict.OTHER_DEVICE
        damaged = self.unreadable_lines + self.damaged_orders
        return LineVerdict.NOISY if damaged * 4 > self.readable_lines else LineVerdict.SOUND


def count_text_bytes(data: bytes) -> int:
    """Bytes that can stand in a text line: 0x20 to 0x7E, CR, LF, tab."""
    return sum(0x20 <= byte <= 0x7E or byte in (0x09, 0x0A, 0x0D) for byte in data)
