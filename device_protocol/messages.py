"""Orders, replies and notices as values (SPEC sections 5 and 7).

Each order knows its words, the feature it belongs to, and how to read its reply. Making one checks what holds for every
board; what depends on the board in hand (outputs, count, ceiling) is the board's to refuse.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import ClassVar

from device_protocol.errors import BoardFault, HostFault
from device_protocol.framing import NoticeLine, OrderLine
from device_protocol.runs import encode_runs
from device_protocol.values import (
    LATCH_US_DEFAULT,
    LATCH_US_LEAST,
    LATCH_US_MOST,
    PALETTE_LAST,
    SILENCE_MS_LEAST,
    SILENCE_MS_MOST,
    Colour,
    is_byte_order,
    parse_number,
)

PROTOCOL_VERSION = 1
FEATURES = ("setup", "range", "silence", "paint", "button")
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


# --- replies ---------------------------------------------------------------------------------------------------------


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
class Settings:
    """Settings of one output as they hold on the board (SPEC 5.7)."""

    count: int
    byte_order: str
    latch_us: int
    ceiling_ma: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputState:
    """Settings of one output, and what is lit on it (SPEC 5.8)."""

    settings: Settings
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


Reply = Done | Identity | Settings | OutputState | SilenceSet | Staged


def _number(text: str, what: str) -> int:
    try:
        return parse_number(text)
    except ValueError as error:
        raise BoardFault(f"{what}: {error}") from None


def _exactly(fields: tuple[str, ...], names: str) -> tuple[str, ...]:
    wanted = names.split()
    if len(fields) != len(wanted):
        raise BoardFault(f"reply with {len(fields)} fields where {len(wanted)} belong ({names})")
    return fields


def _settings(fields: tuple[str, ...]) -> Settings:
    count, byte_order, latch, ceiling = fields
    if not is_byte_order(byte_order):
        raise BoardFault(f"byte order {byte_order!r}: not a permutation of RGB or RGBW")
    return Settings(
        count=_number(count, "count"),
        byte_order=byte_order,
        latch_us=_number(latch, "latch time"),
        ceiling_ma=_number(ceiling, "ceiling"),
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
                numbers[name] = _number(text, f"{key} of the identity")
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


# --- orders ----------------------------------------------------------------------------------------------------------


def _between(value: int, least: int, most: int, what: str) -> None:
    if not least <= value <= most:
        raise HostFault(f"{what} {value}: {least} to {most}")


_MOST_NUMBER = 999_999_999


@dataclass(frozen=True, slots=True)
class Order:
    """What all orders share. `words` gives the WORD and its ARGUMENTS as on the line."""

    WORD: ClassVar[str] = ""
    FEATURE: ClassVar[str | None] = None
    CLOCKS_OUT: ClassVar[bool] = False
    """True when carrying it out sends a frame, so that the reply comes later."""

    def arguments(self) -> tuple[str, ...]:
        """ARGUMENTS as on the line."""
        return ()

    def parse_reply(self, fields: tuple[str, ...]) -> Reply:
        """Read the FIELDS of this order's `ok`. Raises BoardFault."""
        _exactly(fields, "")
        return Done()

    def line(self, seq: int) -> OrderLine:
        """The order as a line with sequence number `seq`."""
        return OrderLine(seq, self.WORD, self.arguments())


@dataclass(frozen=True, slots=True)
class Identify(Order):
    """`id` (SPEC 5.1). Reply: Identity."""

    WORD: ClassVar[str] = "id"

    def parse_reply(self, fields: tuple[str, ...]) -> Identity:
        return parse_identity(fields)


@dataclass(frozen=True, slots=True)
class Light(Order):
    """`light` (SPEC 5.4): one pixel in a colour, the rest of the chain dark."""

    output: int
    pixel: int
    colour: Colour
    WORD: ClassVar[str] = "light"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")
        _between(self.pixel, 0, _MOST_NUMBER, "pixel")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.pixel), self.colour.text)


@dataclass(frozen=True, slots=True)
class Dark(Order):
    """`dark` (SPEC 5.5): a chain dark, or every chain when `output` is None."""

    output: int | None = None
    WORD: ClassVar[str] = "dark"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        if self.output is not None:
            _between(self.output, 0, _MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return ("all" if self.output is None else str(self.output),)


@dataclass(frozen=True, slots=True)
class Alive(Order):
    """`alive` (SPEC 5.6): the host is still there."""

    WORD: ClassVar[str] = "alive"


@dataclass(frozen=True, slots=True)
class Setup(Order):
    """`setup` (SPEC 5.7): count, byte order, latch time and ceiling of an output. Reply: Settings."""

    output: int
    count: int
    byte_order: str
    ceiling_ma: int
    latch_us: int = LATCH_US_DEFAULT
    WORD: ClassVar[str] = "setup"
    FEATURE: ClassVar[str | None] = "setup"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")
        _between(self.count, 1, _MOST_NUMBER, "count")
        _between(self.ceiling_ma, 1, _MOST_NUMBER, "ceiling in mA")
        _between(self.latch_us, LATCH_US_LEAST, LATCH_US_MOST, "latch time in us")
        if not is_byte_order(self.byte_order):
            raise HostFault(f"byte order {self.byte_order!r}: a permutation of RGB or RGBW")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.count), self.byte_order, str(self.latch_us), str(self.ceiling_ma))

    def parse_reply(self, fields: tuple[str, ...]) -> Settings:
        settings = _settings(_exactly(fields, "COUNT ORDER LATCH CEILING"))
        if settings != self.settings:
            raise BoardFault(f"the board set up {settings}, {self.settings} was asked")
        return settings

    @property
    def settings(self) -> Settings:
        """What holds on the board once this is answered."""
        return Settings(
            count=self.count, byte_order=self.byte_order, latch_us=self.latch_us, ceiling_ma=self.ceiling_ma
        )


@dataclass(frozen=True, slots=True)
class State(Order):
    """`state` (SPEC 5.8). Reply: OutputState."""

    output: int
    WORD: ClassVar[str] = "state"
    FEATURE: ClassVar[str | None] = "setup"

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output),)

    def parse_reply(self, fields: tuple[str, ...]) -> OutputState:
        *settings, lit, need = _exactly(fields, "COUNT ORDER LATCH CEILING LIT NEED")
        return OutputState(settings=_settings(tuple(settings)), lit=_number(lit, "lit"), need_ma=_number(need, "need"))


@dataclass(frozen=True, slots=True)
class Range(Order):
    """`range` (SPEC 5.9): `count` pixels from `first` in a colour, the rest of the chain dark."""

    output: int
    first: int
    count: int
    colour: Colour
    WORD: ClassVar[str] = "range"
    FEATURE: ClassVar[str | None] = "range"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")
        _between(self.first, 0, _MOST_NUMBER, "first pixel")
        _between(self.count, 1, _MOST_NUMBER, "count")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.first), str(self.count), self.colour.text)


@dataclass(frozen=True, slots=True)
class Silence(Order):
    """`silence` (SPEC 5.10): after how long without an order the board goes dark. Reply: SilenceSet."""

    silence_ms: int
    WORD: ClassVar[str] = "silence"
    FEATURE: ClassVar[str | None] = "silence"

    def __post_init__(self) -> None:
        _between(self.silence_ms, SILENCE_MS_LEAST, SILENCE_MS_MOST, "silence time in ms")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.silence_ms),)

    def parse_reply(self, fields: tuple[str, ...]) -> SilenceSet:
        held = _number(_exactly(fields, "MS")[0], "silence time")
        if held != self.silence_ms:
            raise BoardFault(f"the board set a silence time of {held} ms, {self.silence_ms} was asked")
        return SilenceSet(held)


@dataclass(frozen=True, slots=True)
class Palette(Order):
    """`palette` (SPEC 5.11): 1 to 4 palette entries from number `first`."""

    output: int
    first: int
    colours: tuple[Colour, ...]
    WORD: ClassVar[str] = "palette"
    FEATURE: ClassVar[str | None] = "paint"

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")
        _between(len(self.colours), 1, 4, "number of palette colours")
        _between(self.first, 1, PALETTE_LAST + 1 - len(self.colours), "first palette entry")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.first), *(colour.text for colour in self.colours))


@dataclass(frozen=True, slots=True)
class Paint(Order):
    """`paint` (SPEC 5.12): stages palette `entries` (one for each pixel) from pixel `offset`. Reply: Staged."""

    output: int
    offset: int
    entries: tuple[int, ...]
    WORD: ClassVar[str] = "paint"
    FEATURE: ClassVar[str | None] = "paint"

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")
        _between(self.offset, 0, _MOST_NUMBER, "offset")
        if not self.entries:
            raise HostFault("paint without a pixel: at least one entry")
        _between(min(self.entries), 0, PALETTE_LAST, "palette entry")
        _between(max(self.entries), 0, PALETTE_LAST, "palette entry")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.offset), encode_runs(self.entries))

    def parse_reply(self, fields: tuple[str, ...]) -> Staged:
        staged = _number(_exactly(fields, "STAGED")[0], "staged")
        if staged != self.offset + len(self.entries):
            raise BoardFault(f"the board staged {staged} pixels, {self.offset + len(self.entries)} were sent")
        return Staged(staged)


@dataclass(frozen=True, slots=True)
class Show(Order):
    """`show` (SPEC 5.13): the staged picture."""

    output: int
    WORD: ClassVar[str] = "show"
    FEATURE: ClassVar[str | None] = "paint"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        _between(self.output, 0, _MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output),)


# --- notices ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Restarted:
    """All is dark, all settings are lost (SPEC 7.2). `inferred`: not told by the board, but seen from its answers."""

    cause: RestartCause
    inferred: bool = False


@dataclass(frozen=True, slots=True)
class ButtonPressed:
    """The step button (SPEC 7.3). `total`: presses since the board's restart.

    `presses`: how many are new; the session counts those in whose notice was lost.
    """

    total: int
    presses: int = 1


@dataclass(frozen=True, slots=True)
class WentDark:
    """The board went dark because the host was silent (SPEC 7.4)."""


@dataclass(frozen=True, slots=True)
class UnknownNotice:
    """A notice that this version does not know (SPEC 7.5)."""

    word: str
    fields: tuple[str, ...]


Notice = Restarted | ButtonPressed | WentDark | UnknownNotice


def parse_notice(line: NoticeLine) -> Notice:
    """Read a notice. Fields that do not fit a known word make it an UnknownNotice."""
    match line.word, line.fields:
        case "restarted", (cause, *_):
            return Restarted(RestartCause.from_text(cause))
        case "restarted", ():
            return Restarted(RestartCause.UNKNOWN)
        case "button", (total, *_):
            try:
                return ButtonPressed(parse_number(total))
            except ValueError:
                return UnknownNotice(line.word, line.fields)
        case "dark", ("silence", *_):
            return WentDark()
        case _:
            return UnknownNotice(line.word, line.fields)
