"""Replies to the orders of the features `table`, `play`, `pattern`, `inputs` and `count` (SPEC 5.14 to 5.28)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from typing import TypeVar

from device_protocol.errors import BoardFault
from device_protocol.orders.replies import read_number

Word = TypeVar("Word", bound=Enum)
_CRC = re.compile(r"[0-9A-F]{4}")
_BYTES = re.compile(r"(?:[0-9A-F]{2})+")


class Player(Enum):
    """Who has the pixels (SPEC 13.1)."""

    GAME = "game"
    HOST = "host"


class PatternKind(Enum):
    """What the steps of a pattern are (SPEC 5.22)."""

    WHOLE = "all"
    WALK = "walk"


class PatternLine(Enum):
    """What the data line does between frames (SPEC 5.22)."""

    SEND = "send"
    ONCE = "once"
    TURNS = "turns"


class PatternKeep(Enum):
    """Whether the silence rule ends a pattern (SPEC 5.22)."""

    LIVE = "live"
    HOLD = "hold"


@dataclass(frozen=True, slots=True, kw_only=True)
class TableState:
    """The lamp table that a board holds (SPEC 5.14). `revision` 0: none. Sizes in bytes."""

    revision: int
    length: int
    crc: int
    capacity: int
    staged: int


@dataclass(frozen=True, slots=True)
class BytesStaged:
    """How many bytes of a table are staged (SPEC 5.15)."""

    staged: int


@dataclass(frozen=True, slots=True)
class TableBytes:
    """Part of the table in force (SPEC 5.16)."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Committed:
    """The revision in force (SPEC 5.17)."""

    revision: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayState:
    """Who has the pixels, and what the board can keep (SPEC 5.19): highest lamp number, number of groups, pixels of
    three colours on each output."""

    player: Player
    lamps: int
    groups: int
    pixels: int


@dataclass(frozen=True, slots=True)
class PixelsLit:
    """Pixels that the table gives the lamp or group shown (SPEC 5.20)."""

    pixels: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternState:
    """The pattern that runs on an output (SPEC 5.23). `steps_done`: how many steps have ended."""

    kind: PatternKind
    sending: PatternLine
    keep: PatternKeep
    step_ms: int
    steps_done: int


@dataclass(frozen=True, slots=True)
class NoPattern:
    """No pattern runs on the output (SPEC 5.23)."""


@dataclass(frozen=True, slots=True)
class InputStates:
    """Which lamp inputs are on, from number `first` (SPEC 5.24). `total`: inputs of the board."""

    first: int
    total: int
    on: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class EdgeCounts:
    """How often inputs were seen to go on since the restart, modulo 65,536, from number `first` (SPEC 5.25)."""

    first: int
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LingerSet:
    """The hold-on time of the inputs, ms (SPEC 5.26)."""

    linger_ms: int


@dataclass(frozen=True, slots=True)
class ChainCount:
    """Pixels found by the return wire (SPEC 5.28), least and most; `edges` of the last time."""

    least: int
    most: int
    edges: int


def read_crc(text: str) -> int:
    """A CRC in a reply. Raises BoardFault."""
    if not _CRC.fullmatch(text):
        raise BoardFault(f"checksum {text!r}: 4 upper-case hexadecimal digits")
    return int(text, 16)


def read_bytes(text: str) -> bytes:
    """Bytes in a reply. Raises BoardFault."""
    if not _BYTES.fullmatch(text):
        raise BoardFault(f"bytes {text!r}: two upper-case hexadecimal digits each")
    return bytes.fromhex(text)


def read_bits(text: str, count: int) -> tuple[bool, ...]:
    """The first `count` bits of BITS (SPEC 5.24). Raises BoardFault."""
    data = read_bytes(text)
    if len(data) * 8 < count:
        raise BoardFault(f"{len(data)} bytes of bits where {count} bits belong")
    return tuple(bool(data[place // 8] >> place % 8 & 1) for place in range(count))


def read_word(words: type[Word], text: str, what: str) -> Word:
    """One of the words of an enumeration. Raises BoardFault."""
    for word in words:
        if word.value == text:
            return word
    raise BoardFault(f"{what} {text!r}: none of {', '.join(str(word.value) for word in words)}")


def read_counts(fields: tuple[str, ...]) -> tuple[int, ...]:
    """Numbers, one a field. Raises BoardFault."""
    return tuple(read_number(text, "edge count") for text in fields)
