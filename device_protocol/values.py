"""Values that stand on a line: numbers, colours and byte orders (SPEC 2.7, 5.7)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from device_protocol.errors import HostFault

_NUMBER = re.compile(r"0|[1-9][0-9]{0,8}")
_COLOUR = re.compile(r"[0-9A-F]{6}(?:[0-9A-F]{2})?")

LATCH_US_LEAST = 280
LATCH_US_MOST = 1_000
LATCH_US_DEFAULT = 300
SILENCE_MS_LEAST = 500
SILENCE_MS_MOST = 60_000
SILENCE_MS_DEFAULT = 5_000
PALETTE_LAST = 15
"""Highest palette entry; entry 0 is dark."""


@dataclass(frozen=True, slots=True, order=True)
class Colour:
    """Duty of each colour of a pixel, 0 to 255. `white` counts on four-colour pixels only."""

    red: int
    green: int
    blue: int
    white: int = 0

    def __post_init__(self) -> None:
        for value in (self.red, self.green, self.blue, self.white):
            if not 0 <= value <= 255:
                raise HostFault(f"colour value {value}: 0 to 255")

    @classmethod
    def from_text(cls, text: str) -> Colour:
        """Read `RRGGBB` or `RRGGBBWW`, upper case. Raises ValueError."""
        if not _COLOUR.fullmatch(text):
            raise ValueError(f"colour {text!r}: 6 or 8 upper-case hexadecimal digits")
        return cls(*bytes.fromhex(text))

    @property
    def text(self) -> str:
        """As on the line: 6 digits, 8 where white is not 0."""
        short = f"{self.red:02X}{self.green:02X}{self.blue:02X}"
        return short if self.white == 0 else f"{short}{self.white:02X}"

    @property
    def is_dark(self) -> bool:
        """True when every colour is 0."""
        return self.total == 0

    @property
    def total(self) -> int:
        """Sum of the values, for the current ceiling (SPEC 4.4)."""
        return self.red + self.green + self.blue + self.white

    def wire(self, byte_order: str) -> bytes:
        """The bytes for a pixel that takes its colours in `byte_order`, such as "GRB" or "RGBW"."""
        values = {"R": self.red, "G": self.green, "B": self.blue, "W": self.white}
        return bytes(values[letter] for letter in byte_order)

    @classmethod
    def from_wire(cls, data: bytes, byte_order: str) -> Colour:
        """The colour that a pixel of `byte_order` shows for `data`, which has one byte for each letter."""
        values = dict(zip(byte_order, data, strict=True))
        return cls(values["R"], values["G"], values["B"], values.get("W", 0))


DARK = Colour(0, 0, 0)


def parse_number(text: str) -> int:
    """Read a decimal number of SPEC 2.7. Raises ValueError."""
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"number {text!r}: decimal, no sign, no leading zeros, at most 9 digits")
    return int(text)


def is_byte_order(text: str) -> bool:
    """True for a permutation of RGB or of RGBW."""
    return sorted(text) in (["B", "G", "R"], ["B", "G", "R", "W"])
