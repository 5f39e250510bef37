"""Replies to orders as values, and how their fields are read (SPEC section 5)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from device_protocol.errors import BoardFault
from device_protocol.values import is_byte_order, parse_number

PROTOCOL_VERSION = 1
FEATURES = ("setup", "range", "silence", "paint", "button", "table", "play", "pattern", "inputs", "count")
"""Names of features in the order of SPEC section 6."""


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


@dataclass(frozen=True, slots=True)
class Done:
    """A reply without fields."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputSettings:
    """Settings of one output as they hold on the board (SPEC 5.7)."""

    count: int
    byte_order: str
    latch_us: int
    ceiling_ma: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputState:
    """Settings of one output, and what is lit on it (SPEC 5.8)."""

    settings: OutputSettings
    lit: int
    need_ma: int


@dataclass(frozen=True, slots=True)
class SilenceSet:
    """The silence time as it now holds, ms (SPEC 5.10)."""

    silence_ms: int


@dataclass(frozen=True, slots=True)
class Staged:
    """How many pixels of the picture are staged (SPEC 5.12)."""

    pixels: int


def read_number(text: str, what: str) -> int:
    """A number in a reply. Raises BoardFault naming `what`."""
    try:
        return parse_number(text)
    except ValueError as error:
        raise BoardFault(f"{what}: {error}") from None


def exactly(fields: tuple[str, ...], names: str) -> tuple[str, ...]:
    """The fields, when there are as many as `names` has words. Raises BoardFault."""
    wanted = names.split()
    if len(fields) != len(wanted):
        raise BoardFault(f"reply with {len(fields)} fields where {len(wanted)} belong ({names})")
    return fields


def read_settings(fields: tuple[str, ...]) -> OutputSettings:
    """COUNT ORDER LATCH CEILING of a reply. Raises BoardFault."""
    count, byte_order, latch, ceiling = fields
    if not is_byte_order(byte_order):
        raise BoardFault(f"byte order {byte_order!r}: not a permutation of RGB or RGBW")
    return OutputSettings(
        count=read_number(count, "count"),
        byte_order=byte_order,
        latch_us=read_number(latch, "latch time"),
        ceiling_ma=read_number(ceiling, "ceiling"),
    )


_IDENTITY_NUMBERS = {
    "proto": "proto",
    "line": "line",
    "outputs": "outputs",
    "pixels": "pixels",
    "ceiling": "ceiling_ma",
    "channel": "channel_ua",
    "idle": "idle_ua",
    "silence": "silence_ms",
    "uptime": "uptime_ms",
    "table": "table",
}


def parse_identity(fields: tuple[str, ...]) -> Identity:
    """Read the fields of a reply to `id`, in any order. Raises BoardFault when one is missing or unreadable."""
    values: dict[str, str] = {}
    for text in fields:
        key, equals, value = text.partition("=")
        if not equals or key in values:
            raise BoardFault(f"field {text!r} of the identity: key=value, each key once (SPEC 5.3)")
        values[key] = value
    try:
        numbers: dict[str, int] = {}
        for key, name in _IDENTITY_NUMBERS.items():
            text = values.pop(key)
            # uptime has up to ten digits: it wraps at 2^32
            if key == "uptime" and text.isascii() and text.isdecimal() and len(text) <= 10:
                numbers[name] = int(text)
            else:
                numbers[name] = read_number(text, f"{key} of the identity")
        board, build = values.pop("board"), values.pop("build")
        cause, features = RestartCause.from_text(values.pop("cause")), values.pop("features")
    except KeyError as error:
        raise BoardFault(f"the identity lacks {error.args[0]} (SPEC 5.3)") from None
    if numbers["outputs"] < 1 or numbers["pixels"] < 1 or numbers["line"] < 64:
        raise BoardFault("the identity states no usable outputs, pixels or line length (SPEC 5.3)")
    return Identity(
        proto=numbers["proto"],
        board=board,
        build=build,
        line=numbers["line"],
        outputs=numbers["outputs"],
        pixels=numbers["pixels"],
        ceiling_ma=numbers["ceiling_ma"],
        channel_ua=numbers["channel_ua"],
        idle_ua=numbers["idle_ua"],
        silence_ms=numbers["silence_ms"],
        uptime_ms=numbers["uptime_ms"],
        cause=cause,
        table=numbers["table"],
        features=frozenset() if features == "none" else frozenset(features.split(",")),
        extra=values,
    )
