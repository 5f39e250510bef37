"""Values that stand on a line: numbers and their bounds, colours and byte orders (SPEC 2.7, 5.3, 5.7)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from typing import NamedTuple

from device_protocol.errors import HostFault

_NUMBER = re.compile(r"0|[1-9][0-9]{0,8}")
_COLOUR = re.compile(r"[0-9A-F]{6}(?:[0-9A-F]{2})?")
_BYTES = re.compile(r"(?:[0-9A-F]{2})+")
_CRC = re.compile(r"[0-9A-F]{4}")
_RUN = re.compile(r"([a-p])([0-9]{0,9})")
_RUNS = re.compile(r"(?:[a-p](?:[1-9][0-9]{0,4})?)+")

MOST_NUMBER = 999_999_999
"""Numbers on a line have at most 9 digits (SPEC 2.7)."""


class Bounds(NamedTuple):
    """The least and the greatest value that the SPEC allows, both included."""

    least: int
    most: int

    def __contains__(self, value: object) -> bool:
        return isinstance(value, int) and self.least <= value <= self.most

    def __str__(self) -> str:
        return f"{self.least} to {self.most}"


# What a board states of itself (SPEC 5.3, 5.14, 5.19, 5.24). The host believes nothing beyond these.
LINE_BYTES = Bounds(64, 255)
OUTPUTS = Bounds(1, 16)
PIXELS = Bounds(1, 65_535)
CEILING_MA = Bounds(1, 4_000_000)
COLOUR_CHANNEL_UA = Bounds(0, 1_000_000)
IDLE_UA = Bounds(0, 1_000_000)
SILENCE_MS = Bounds(500, 60_000)
UPTIME_MS = Bounds(0, 2**32 - 1)
REVISION = Bounds(0, MOST_NUMBER)
TABLE_BYTES = Bounds(0, 65_535)
LAMPS = Bounds(0, 65_535)
GROUPS = Bounds(0, 64)
INPUTS = Bounds(1, 255)

LATCH_US = Bounds(280, 1_000)
LATCH_US_DEFAULT = 300
SILENCE_MS_DEFAULT = 5_000
STEP_MS = Bounds(167, 60_000)
"""Length of a pattern's step (SPEC 5.22)."""
LINGER_MS = Bounds(1, 250)
LINGER_MS_DEFAULT = 25
COUNT_TIMES = Bounds(1, 8)
LEVEL = Bounds(0, 255)
RUN_MOST = 65_535
PALETTE_LAST = 15
"""Highest palette entry; entry 0 is dark."""


@cache
def _level_places(byte_order: str) -> tuple[int, ...]:
    """Which of a colour's levels each letter of a byte order means."""
    return tuple("RGBW".index(letter) for letter in byte_order)


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

    @property
    def levels(self) -> tuple[int, int, int, int]:
        """Red, green, blue and white."""
        return self.red, self.green, self.blue, self.white

    @property
    def letters(self) -> frozenset[str]:
        """Which of R, G, B, W are lit."""
        return frozenset(letter for letter, level in zip("RGBW", self.levels, strict=True) if level)

    def at(self, level: int) -> Colour:
        """The same hue with its largest level set to `level` (0 to 255)."""
        top = max(self.levels)
        return self if top == 0 else Colour(*(round(value * level / top) for value in self.levels))

    def wire(self, byte_order: str) -> bytes:
        """The bytes for a pixel that takes its colours in `byte_order`, such as "GRB" or "RGBW"."""
        levels = self.levels
        return bytes([levels[at] for at in _level_places(byte_order)])

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


def parse_bytes(text: str) -> bytes:
    """Read bytes of two upper-case hexadecimal digits each, at least one (SPEC 5.15). Raises ValueError."""
    if not _BYTES.fullmatch(text):
        raise ValueError(f"bytes {text!r}: two upper-case hexadecimal digits each")
    return bytes.fromhex(text)


def parse_crc(text: str) -> int:
    """Read a checksum of 4 upper-case hexadecimal digits (SPEC 5.14). Raises ValueError."""
    if not _CRC.fullmatch(text):
        raise ValueError(f"checksum {text!r}: 4 upper-case hexadecimal digits")
    return int(text, 16)


def bits_text(states: Sequence[bool]) -> str:
    """States as BITS of SPEC 5.24: the first in the lowest bit of the first byte."""
    data = bytearray(-(-len(states) // 8))
    for place, on in enumerate(states):
        data[place // 8] |= on << place % 8
    return data.hex().upper()


def parse_bits(text: str, count: int | None = None) -> tuple[bool, ...]:
    """The first `count` states of BITS; all there are if None. Raises ValueError."""
    data = parse_bytes(text)
    wanted = 8 * len(data) if count is None else count
    if len(data) * 8 < wanted:
        raise ValueError(f"{len(data)} bytes of bits where {wanted} bits belong")
    return tuple(bool(data[place // 8] >> place % 8 & 1) for place in range(wanted))


# RUNS of `paint`: palette entries, run-length coded (SPEC 5.12). `a12bc3`: 12 dark, one of entry 1, 3 of entry 2.


def split_runs(entries: Sequence[int]) -> Iterator[tuple[int, int]]:
    """(palette entry, how many) for each run; none is longer than RUN_MOST."""
    for entry, group in groupby(entries):
        length = sum(1 for _ in group)
        while length > 0:
            yield entry, min(length, RUN_MOST)
            length -= RUN_MOST


def run_text(entry: int, length: int) -> str:
    """One run as on the line."""
    letter = chr(ord("a") + entry)
    return letter if length == 1 else f"{letter}{length}"


def encode_runs(entries: Sequence[int]) -> str:
    """Palette entries (0 to 15) as RUNS."""
    return "".join(run_text(entry, length) for entry, length in split_runs(entries))


def decode_runs(text: str) -> list[tuple[int, int]]:
    """(palette entry, how many) for each run in RUNS. Raises ValueError on a wrong form."""
    if not _RUNS.fullmatch(text):
        raise ValueError(f"runs {text[:20]!r}: letters a to p, each with a number 2 to {RUN_MOST} or none")
    runs = []
    for letter, digits in _RUN.findall(text):
        length = int(digits) if digits else 1
        if length > RUN_MOST or digits == "1":
            raise ValueError(f"run {letter}{digits}: a number is 2 to {RUN_MOST}")
        runs.append((ord(letter) - ord("a"), length))
    return runs


def expand_runs(runs: Iterable[tuple[int, int]]) -> list[int]:
    """One palette entry for each pixel."""
    return [entry for entry, length in runs for _ in range(length)]
