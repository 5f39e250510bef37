"""The game's lamps and inputs: who has the pixels, lamps and groups by the table, inputs (SPEC 5.19 to 5.21, 5.24 to 5.27)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import ClassVar

from device_protocol.errors import BoardFault, ErrorCode, Refusal
from device_protocol.orders.base import (
    ANY_NUMBER,
    FROM_ONE,
    ArgumentReader,
    Fields,
    Order,
    Reply,
    check_within,
    exactly,
    read_limit,
    read_number,
    read_word,
)
from device_protocol.values import GROUPS, INPUTS, LAMPS, LEVEL, LINGER_MS, PIXELS, Bounds, bits_text, parse_bits

INPUTS_A_REPLY = 64
EDGES_A_REPLY = 8
EDGES = Bounds(0, 65_535)
"""Edges are counted modulo 65,536 (SPEC 5.25)."""


class Player(Enum):
    """Who has the pixels (SPEC 13.1)."""

    GAME = "game"
    HOST = "host"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayState(Reply):
    """Who has the pixels, and what the board can keep (SPEC 5.19): highest lamp number, number of groups, pixels of
    three colours on each output."""

    player: Player
    lamps: int
    groups: int
    pixels: int


@dataclass(frozen=True, slots=True)
class Play(Order):
    """`play` (SPEC 5.19): who has the pixels; None only asks. Reply: PlayState."""

    player: Player | None = None
    WORD: ClassVar[str] = "play"
    FEATURE: ClassVar[str | None] = "play"
    TAKES: ClassVar[Bounds] = Bounds(0, 1)
    CLOCKS_OUT: ClassVar[bool] = True

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Play:
        return cls(arguments.word(Player) if arguments.left else None)

    def parse_reply(self, fields: Fields) -> PlayState:
        who, lamps, groups, pixels = exactly(fields, "WHO LAMPS GROUPS PIXELS")
        player = read_word(Player, who, "player")
        if self.player not in (None, player):
            raise BoardFault(f"the {player.value} has the pixels, not as was asked")
        return PlayState(
            player=player,
            lamps=read_limit(lamps, "lamps", LAMPS),
            groups=read_limit(groups, "groups", GROUPS),
            pixels=read_limit(pixels, "pixels for the game", Bounds(0, PIXELS.most)),
        )


@dataclass(frozen=True, slots=True)
class PixelsLit(Reply):
    """Pixels that the table gives the lamp or group shown (SPEC 5.20)."""

    pixels: int


@dataclass(frozen=True, slots=True)
class LightLamp(Order):
    """`lamp` (SPEC 5.20): the pixels that the board's table gives a lamp, nothing else. Reply: PixelsLit."""

    lamp: int
    level: int = LEVEL.most
    WORD: ClassVar[str] = "lamp"
    FEATURE: ClassVar[str | None] = "play"
    TAKES: ClassVar[Bounds] = Bounds(2, 2)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.lamp, ANY_NUMBER, "lamp")
        check_within(self.level, LEVEL, "level")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> LightLamp:
        return cls(arguments.number(), arguments.number(LEVEL))

    def parse_reply(self, fields: Fields) -> PixelsLit:
        return PixelsLit(read_number(exactly(fields, "PIXELS")[0], "pixels"))


@dataclass(frozen=True, slots=True)
class LightGroup(Order):
    """`group` (SPEC 5.21): the same for a group. Reply: PixelsLit."""

    group: int
    level: int = LEVEL.most
    WORD: ClassVar[str] = "group"
    FEATURE: ClassVar[str | None] = "play"
    TAKES: ClassVar[Bounds] = Bounds(2, 2)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.group, ANY_NUMBER, "group")
        check_within(self.level, LEVEL, "level")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> LightGroup:
        return cls(arguments.number(), arguments.number(LEVEL))

    def parse_reply(self, fields: Fields) -> PixelsLit:
        return PixelsLit(read_number(exactly(fields, "PIXELS")[0], "pixels"))


# --- inputs ---


@dataclass(frozen=True, slots=True)
class InputStates(Reply):
    """Which lamp inputs are on, from number `first` (SPEC 5.24). `total`: inputs of the board."""

    first: int
    total: int
    on: tuple[bool, ...]

    def fields(self) -> Fields:
        return (str(self.total), bits_text(self.on))


@dataclass(frozen=True, slots=True)
class ReadInputs(Order):
    """`inputs` (SPEC 5.24): which lamp inputs are on, up to 64 from `first`. Reply: InputStates."""

    first: int = 1
    WORD: ClassVar[str] = "inputs"
    FEATURE: ClassVar[str | None] = "inputs"
    TAKES: ClassVar[Bounds] = Bounds(1, 1)

    def __post_init__(self) -> None:
        check_within(self.first, FROM_ONE, "first input")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> ReadInputs:
        return cls(arguments.number(Bounds(1, arguments.limits.inputs)))

    def parse_reply(self, fields: Fields) -> InputStates:
        total_text, bits = exactly(fields, "TOTAL BITS")
        total = read_limit(total_text, "inputs", INPUTS)
        if total < self.first:
            raise BoardFault(f"{total} inputs, though {self.first} was asked for")
        try:
            return InputStates(self.first, total, parse_bits(bits, min(INPUTS_A_REPLY, total + 1 - self.first)))
        except ValueError as error:
            raise BoardFault(str(error)) from None


@dataclass(frozen=True, slots=True)
class EdgeCounts(Reply):
    """How often inputs were seen to go on since the restart, modulo 65,536, from number `first` (SPEC 5.25)."""

    first: int
    counts: tuple[int, ...]

    def fields(self) -> Fields:
        return tuple(map(str, self.counts))


@dataclass(frozen=True, slots=True)
class ReadEdges(Order):
    """`edges` (SPEC 5.25): how often inputs went on, up to 8 from `first`. Reply: EdgeCounts."""

    first: int = 1
    WORD: ClassVar[str] = "edges"
    FEATURE: ClassVar[str | None] = "inputs"
    TAKES: ClassVar[Bounds] = Bounds(1, 1)

    def __post_init__(self) -> None:
        check_within(self.first, FROM_ONE, "first input")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> ReadEdges:
        return cls(arguments.number(Bounds(1, arguments.limits.inputs)))

    def parse_reply(self, fields: Fields) -> EdgeCounts:
        if not 1 <= len(fields) <= EDGES_A_REPLY:
            raise BoardFault(f"{len(fields)} edge counts: 1 to {EDGES_A_REPLY}")
        return EdgeCounts(self.first, tuple(read_number(text, "edge count", EDGES) for text in fields))


@dataclass(frozen=True, slots=True)
class LingerSet(Reply):
    """The hold-on time of the inputs, ms (SPEC 5.26)."""

    linger_ms: int


@dataclass(frozen=True, slots=True)
class Linger(Order):
    """`linger` (SPEC 5.26): hold-on time of the inputs, for pulsed drivers. Reply: LingerSet."""

    linger_ms: int
    WORD: ClassVar[str] = "linger"
    FEATURE: ClassVar[str | None] = "inputs"
    TAKES: ClassVar[Bounds] = Bounds(1, 1)

    def __post_init__(self) -> None:
        check_within(self.linger_ms, LINGER_MS, "hold-on time in ms")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Linger:
        return cls(arguments.number(LINGER_MS))

    def parse_reply(self, fields: Fields) -> LingerSet:
        held = read_number(exactly(fields, "MS")[0], "hold-on time")
        if held != self.linger_ms:
            raise BoardFault(f"the board set a hold-on time of {held} ms, {self.linger_ms} was asked")
        return LingerSet(held)


@dataclass(frozen=True, slots=True)
class WatchInputs(Order):
    """`watch` (SPEC 5.27): notices of inputs that change, on or off."""

    on: bool
    WORD: ClassVar[str] = "watch"
    FEATURE: ClassVar[str | None] = "inputs"
    TAKES: ClassVar[Bounds] = Bounds(1, 1)

    def arguments(self) -> Fields:
        return ("on" if self.on else "off",)

    @classmethod
    def read(cls, arguments: ArgumentReader) -> WatchInputs:
        text = arguments.text()
        if text not in ("on", "off"):
            raise Refusal(ErrorCode.BAD_VALUE)
        return cls(text == "on")
