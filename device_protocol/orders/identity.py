"""Who the board is and that the host is there: `id`, `alive`, `silence` (SPEC 5.1 to 5.3, 5.6, 5.10)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import ClassVar

from device_protocol.errors import BoardFault
from device_protocol.orders.base import (
    ArgumentReader,
    Fields,
    Order,
    Reply,
    check_within,
    exactly,
    read_limit,
    read_number,
)
from device_protocol.values import (
    CEILING_MA,
    COLOUR_CHANNEL_UA,
    IDLE_UA,
    LINE_BYTES,
    OUTPUTS,
    PIXELS,
    REVISION,
    SILENCE_MS,
    UPTIME_MS,
    Bounds,
)

PROTOCOL_VERSION = 1
FEATURES = ("setup", "range", "silence", "paint", "button", "table", "play", "pattern", "inputs", "count", "readback")
"""Names of features in the order of SPEC section 6."""
_BOARD = re.compile(r"[a-z0-9-]{1,24}")
_BUILD = re.compile(r"[a-z0-9.-]{1,16}")
_NUMBERS = {
    "line": LINE_BYTES,
    "outputs": OUTPUTS,
    "pixels": PIXELS,
    "ceiling": CEILING_MA,
    "channel": COLOUR_CHANNEL_UA,
    "idle": IDLE_UA,
    "silence": SILENCE_MS,
    "uptime": UPTIME_MS,
    "table": REVISION,
}
"""Keys of the identity whose value is a number, and what SPEC 5.3 allows."""


class RestartCause(Enum):
    """Why a board restarted (SPEC 7.2)."""

    POWER = "power"
    EXTERNAL = "external"
    BROWNOUT = "brownout"
    WATCHDOG = "watchdog"
    UNKNOWN = "unknown"

    @classmethod
    def from_text(cls, text: str) -> RestartCause:
        """A cause that this version does not know is UNKNOWN."""
        return next((cause for cause in cls if cause.value == text), cls.UNKNOWN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity(Reply):
    """What a board says of itself (SPEC 5.3). Keys that this version does not know are kept in `extra`."""

    proto: int
    board: str
    build: str
    line: int
    outputs: int
    pixels: int
    ceiling_ma: int
    channel_ua: int
    idle_ua: int
    silence_ms: int
    uptime_ms: int
    cause: RestartCause
    table: int
    features: frozenset[str]
    extra: Mapping[str, str] = field(default_factory=dict, hash=False)

    def has(self, feature: str | None) -> bool:
        """True when the board has `feature`; None stands for what every board has."""
        return feature is None or feature in self.features

    def fields(self) -> Fields:
        known = tuple(name for name in FEATURES if name in self.features)
        values: dict[str, object] = {
            "proto": self.proto,
            "board": self.board,
            "build": self.build,
            "line": self.line,
            "outputs": self.outputs,
            "pixels": self.pixels,
            "ceiling": self.ceiling_ma,
            "channel": self.channel_ua,
            "idle": self.idle_ua,
            "silence": self.silence_ms,
            "uptime": self.uptime_ms,
            "cause": self.cause.value,
            "table": self.table,
            "features": ",".join((*known, *sorted(self.features - set(known)))) or "none",
            **self.extra,
        }
        return tuple(f"{key}={value}" for key, value in values.items())


class OtherVersionFault(BoardFault):
    """The board speaks another version of the protocol."""


def _number(key: str, text: str) -> int:
    # uptime has up to ten digits: it wraps at 2^32
    return read_limit(text, f"{key} of the identity", _NUMBERS[key], digits=10 if key == "uptime" else 9)


def parse_identity(fields: Fields) -> Identity:
    """Read the fields of a reply to `id`, in any order.

    Raises BoardFault when one is missing or unreadable, BeyondLimitsFault when one is beyond what SPEC 5.3 allows,
    OtherVersionFault when the board is of another version, whose bounds are not known here.
    """
    values: dict[str, str] = {}
    for text in fields:
        key, equals, value = text.partition("=")
        if not equals or key in values:
            raise BoardFault(f"field {text!r} of the identity: key=value, each key once (SPEC 5.3)")
        values[key] = value
    try:
        proto = read_number(values.pop("proto"), "proto of the identity")
        if proto != PROTOCOL_VERSION:
            raise OtherVersionFault(f"the board speaks version {proto} of the protocol, this is {PROTOCOL_VERSION}")
        numbers = {key: _number(key, values.pop(key)) for key in _NUMBERS}
        board, build = values.pop("board"), values.pop("build")
        cause, features = RestartCause.from_text(values.pop("cause")), values.pop("features")
    except KeyError as error:
        raise BoardFault(f"the identity lacks {error.args[0]} (SPEC 5.3)") from None
    if not _BOARD.fullmatch(board):
        raise BoardFault(f"board {board[:40]!r} of the identity: 1 to 24 of a-z 0-9 - (SPEC 5.3)")
    if not _BUILD.fullmatch(build):
        raise BoardFault(f"build {build[:40]!r} of the identity: 1 to 16 of a-z 0-9 . - (SPEC 5.3)")
    return Identity(
        proto=proto,
        board=board,
        build=build,
        line=numbers["line"],
        outputs=numbers["outputs"],
        pixels=numbers["pixels"],
        ceiling_ma=numbers["ceiling"],
        channel_ua=numbers["channel"],
        idle_ua=numbers["idle"],
        silence_ms=numbers["silence"],
        uptime_ms=numbers["uptime"],
        cause=cause,
        table=numbers["table"],
        features=frozenset() if features == "none" else frozenset(features.split(",")),
        extra=values,
    )


@dataclass(frozen=True, slots=True)
class Identify(Order):
    """`id` (SPEC 5.1). Reply: Identity."""

    WORD: ClassVar[str] = "id"

    def parse_reply(self, fields: Fields) -> Identity:
        return parse_identity(fields)


@dataclass(frozen=True, slots=True)
class Alive(Order):
    """`alive` (SPEC 5.6): the host is still there."""

    WORD: ClassVar[str] = "alive"


@dataclass(frozen=True, slots=True)
class SilenceSet(Reply):
    """The silence time as it now holds, ms (SPEC 5.10)."""

    silence_ms: int


@dataclass(frozen=True, slots=True)
class Silence(Order):
    """`silence` (SPEC 5.10): after how long without an order the board goes dark. Reply: SilenceSet."""

    silence_ms: int
    WORD: ClassVar[str] = "silence"
    FEATURE: ClassVar[str | None] = "silence"
    TAKES: ClassVar[Bounds] = Bounds(1, 1)

    def __post_init__(self) -> None:
        check_within(self.silence_ms, SILENCE_MS, "silence time in ms")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Silence:
        return cls(arguments.number(SILENCE_MS))

    def parse_reply(self, fields: Fields) -> SilenceSet:
        held = read_number(exactly(fields, "MS")[0], "silence time")
        if held != self.silence_ms:
            raise BoardFault(f"the board set a silence time of {held} ms, {self.silence_ms} was asked")
        return SilenceSet(held)
