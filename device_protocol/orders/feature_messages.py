"""Orders of the features `table`, `play`, `pattern`, `inputs` and `count` (SPEC 5.14 to 5.28)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from device_protocol.errors import BoardFault
from device_protocol.framing import crc16
from device_protocol.orders.base import MOST_NUMBER, Order, between
from device_protocol.orders.feature_replies import (
    BytesStaged,
    ChainCount,
    Committed,
    EdgeCounts,
    InputStates,
    LingerSet,
    NoPattern,
    PatternKeep,
    PatternKind,
    PatternLine,
    PatternState,
    PixelsLit,
    Player,
    PlayState,
    TableBytes,
    TableState,
    read_bits,
    read_bytes,
    read_counts,
    read_crc,
    read_word,
)
from device_protocol.orders.replies import exactly, read_number
from device_protocol.values import Colour

WRITE_MOST = 16
"""Bytes in one `write` (SPEC 5.15)."""
READ_MOST = 64
"""Bytes in one `read` (SPEC 5.16)."""
STEP_MS_LEAST = 167
STEP_MS_MOST = 60_000
LINGER_MS_MOST = 250
COUNT_TIMES_MOST = 8
INPUTS_A_REPLY = 64
EDGES_A_REPLY = 8


@dataclass(frozen=True, slots=True)
class ReadTableState(Order):
    """`table` (SPEC 5.14): revision, length and checksum of the lamp table held. Reply: TableState."""

    WORD: ClassVar[str] = "table"
    FEATURE: ClassVar[str | None] = "table"

    def parse_reply(self, fields: tuple[str, ...]) -> TableState:
        revision, length, crc, capacity, staged = exactly(fields, "REVISION LENGTH CRC CAPACITY STAGED")
        return TableState(
            revision=read_number(revision, "revision"),
            length=read_number(length, "length"),
            crc=read_crc(crc),
            capacity=read_number(capacity, "capacity"),
            staged=read_number(staged, "staged"),
        )


@dataclass(frozen=True, slots=True)
class WriteTable(Order):
    """`write` (SPEC 5.15): stages 1 to 16 bytes of an image from `offset`. Reply: BytesStaged."""

    offset: int
    data: bytes
    WORD: ClassVar[str] = "write"
    FEATURE: ClassVar[str | None] = "table"

    def __post_init__(self) -> None:
        between(self.offset, 0, MOST_NUMBER, "offset")
        between(len(self.data), 1, WRITE_MOST, "bytes in one piece")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.offset), self.data.hex().upper())

    def parse_reply(self, fields: tuple[str, ...]) -> BytesStaged:
        staged = read_number(exactly(fields, "STAGED")[0], "staged")
        if staged != self.offset + len(self.data):
            raise BoardFault(f"the board staged {staged} bytes, {self.offset + len(self.data)} were sent")
        return BytesStaged(staged)


@dataclass(frozen=True, slots=True)
class ReadTable(Order):
    """`read` (SPEC 5.16): 1 to 64 bytes of the table in force. Reply: TableBytes."""

    offset: int
    count: int
    WORD: ClassVar[str] = "read"
    FEATURE: ClassVar[str | None] = "table"

    def __post_init__(self) -> None:
        between(self.offset, 0, MOST_NUMBER, "offset")
        between(self.count, 1, READ_MOST, "bytes in one piece")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.offset), str(self.count))

    def parse_reply(self, fields: tuple[str, ...]) -> TableBytes:
        data = read_bytes(exactly(fields, "BYTES")[0])
        if len(data) != self.count:
            raise BoardFault(f"the board read {len(data)} bytes, {self.count} were asked")
        return TableBytes(data)


@dataclass(frozen=True, slots=True)
class CommitTable(Order):
    """`commit` (SPEC 5.17): the staged bytes become the table in force. Reply: Committed."""

    length: int
    crc: int
    revision: int
    WORD: ClassVar[str] = "commit"
    FEATURE: ClassVar[str | None] = "table"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.length, 5, MOST_NUMBER, "length")
        between(self.crc, 0, 0xFFFF, "checksum")
        between(self.revision, 1, MOST_NUMBER, "revision")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.length), f"{self.crc:04X}", str(self.revision))

    def parse_reply(self, fields: tuple[str, ...]) -> Committed:
        revision = read_number(exactly(fields, "REVISION")[0], "revision")
        if revision != self.revision:
            raise BoardFault(f"the board committed revision {revision}, {self.revision} was asked")
        return Committed(revision)


@dataclass(frozen=True, slots=True)
class EraseTable(Order):
    """`erase` (SPEC 5.18): no table is held."""

    WORD: ClassVar[str] = "erase"
    FEATURE: ClassVar[str | None] = "table"
    CLOCKS_OUT: ClassVar[bool] = True


def table_orders(image: bytes, revision: int) -> list[Order]:
    """The orders that put an image (`lamp_table.encode_table`) into a board, with that revision."""
    pieces: Iterator[tuple[int, bytes]] = (
        (offset, image[offset : offset + WRITE_MOST]) for offset in range(0, len(image), WRITE_MOST)
    )
    return [*(WriteTable(offset, data) for offset, data in pieces), CommitTable(len(image), crc16(image), revision)]


def table_read_orders(length: int) -> list[Order]:
    """The orders that read a table of so many bytes back."""
    return [ReadTable(offset, min(READ_MOST, length - offset)) for offset in range(0, length, READ_MOST)]


@dataclass(frozen=True, slots=True)
class Play(Order):
    """`play` (SPEC 5.19): who has the pixels; None only asks. Reply: PlayState."""

    player: Player | None = None
    WORD: ClassVar[str] = "play"
    FEATURE: ClassVar[str | None] = "play"
    CLOCKS_OUT: ClassVar[bool] = True

    def arguments(self) -> tuple[str, ...]:
        return () if self.player is None else (self.player.value,)

    def parse_reply(self, fields: tuple[str, ...]) -> PlayState:
        who, lamps, groups, pixels = exactly(fields, "WHO LAMPS GROUPS PIXELS")
        player = read_word(Player, who, "player")
        if self.player not in (None, player):
            raise BoardFault(f"the {player.value} has the pixels, not as was asked")
        return PlayState(
            player=player,
            lamps=read_number(lamps, "lamps"),
            groups=read_number(groups, "groups"),
            pixels=read_number(pixels, "pixels"),
        )


@dataclass(frozen=True, slots=True)
class LightLamp(Order):
    """`lamp` (SPEC 5.20): the pixels that the board's table gives a lamp, nothing else. Reply: PixelsLit."""

    lamp: int
    level: int = 255
    WORD: ClassVar[str] = "lamp"
    FEATURE: ClassVar[str | None] = "play"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.lamp, 0, MOST_NUMBER, "lamp")
        between(self.level, 0, 255, "level")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.lamp), str(self.level))

    def parse_reply(self, fields: tuple[str, ...]) -> PixelsLit:
        return PixelsLit(read_number(exactly(fields, "PIXELS")[0], "pixels"))


@dataclass(frozen=True, slots=True)
class LightGroup(Order):
    """`group` (SPEC 5.21): the same for a group. Reply: PixelsLit."""

    group: int
    level: int = 255
    WORD: ClassVar[str] = "group"
    FEATURE: ClassVar[str | None] = "play"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.group, 0, MOST_NUMBER, "group")
        between(self.level, 0, 255, "level")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.group), str(self.level))

    def parse_reply(self, fields: tuple[str, ...]) -> PixelsLit:
        return PixelsLit(read_number(exactly(fields, "PIXELS")[0], "pixels"))


@dataclass(frozen=True, slots=True)
class RunPattern(Order):
    """`run` (SPEC 5.22): steps on the board's own clock. Answered when step 0 is lit."""

    output: int
    kind: PatternKind
    colours: tuple[Colour, ...]
    step_ms: int = 1_000
    sending: PatternLine = PatternLine.SEND
    keep: PatternKeep = PatternKeep.LIVE
    WORD: ClassVar[str] = "run"
    FEATURE: ClassVar[str | None] = "pattern"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.output, 0, MOST_NUMBER, "output")
        between(self.step_ms, STEP_MS_LEAST, STEP_MS_MOST, "length of a step in ms")
        most = 1 if self.kind is PatternKind.WALK else 4
        between(len(self.colours), 1, most, f"colours of the pattern {self.kind.value}")

    def arguments(self) -> tuple[str, ...]:
        words = (self.kind.value, self.sending.value, self.keep.value)
        return (str(self.output), *words, str(self.step_ms), *(colour.text for colour in self.colours))


@dataclass(frozen=True, slots=True)
class ReadPattern(Order):
    """`running` (SPEC 5.23): the pattern on an output. Reply: PatternState or NoPattern."""

    output: int
    WORD: ClassVar[str] = "running"
    FEATURE: ClassVar[str | None] = "pattern"

    def __post_init__(self) -> None:
        between(self.output, 0, MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output),)

    def parse_reply(self, fields: tuple[str, ...]) -> PatternState | NoPattern:
        if fields == ("none",):
            return NoPattern()
        kind, line, keep, step, done = exactly(fields, "KIND LINE KEEP STEP DONE")
        return PatternState(
            kind=read_word(PatternKind, kind, "kind"),
            sending=read_word(PatternLine, line, "line"),
            keep=read_word(PatternKeep, keep, "keep"),
            step_ms=read_number(step, "step"),
            steps_done=read_number(done, "steps done"),
        )


@dataclass(frozen=True, slots=True)
class ReadInputs(Order):
    """`inputs` (SPEC 5.24): which lamp inputs are on, up to 64 from `first`. Reply: InputStates."""

    first: int = 1
    WORD: ClassVar[str] = "inputs"
    FEATURE: ClassVar[str | None] = "inputs"

    def __post_init__(self) -> None:
        between(self.first, 1, MOST_NUMBER, "first input")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.first),)

    def parse_reply(self, fields: tuple[str, ...]) -> InputStates:
        total_text, bits = exactly(fields, "TOTAL BITS")
        total = read_number(total_text, "inputs")
        if total < self.first:
            raise BoardFault(f"{total} inputs, though {self.first} was asked for")
        count = min(INPUTS_A_REPLY, total + 1 - self.first)
        return InputStates(self.first, total, read_bits(bits, count))


@dataclass(frozen=True, slots=True)
class ReadEdges(Order):
    """`edges` (SPEC 5.25): how often inputs went on, up to 8 from `first`. Reply: EdgeCounts."""

    first: int = 1
    WORD: ClassVar[str] = "edges"
    FEATURE: ClassVar[str | None] = "inputs"

    def __post_init__(self) -> None:
        between(self.first, 1, MOST_NUMBER, "first input")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.first),)

    def parse_reply(self, fields: tuple[str, ...]) -> EdgeCounts:
        if not 1 <= len(fields) <= EDGES_A_REPLY:
            raise BoardFault(f"{len(fields)} edge counts: 1 to {EDGES_A_REPLY}")
        return EdgeCounts(self.first, read_counts(fields))


@dataclass(frozen=True, slots=True)
class Linger(Order):
    """`linger` (SPEC 5.26): hold-on time of the inputs, for pulsed drivers. Reply: LingerSet."""

    linger_ms: int
    WORD: ClassVar[str] = "linger"
    FEATURE: ClassVar[str | None] = "inputs"

    def __post_init__(self) -> None:
        between(self.linger_ms, 1, LINGER_MS_MOST, "hold-on time in ms")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.linger_ms),)

    def parse_reply(self, fields: tuple[str, ...]) -> LingerSet:
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

    def arguments(self) -> tuple[str, ...]:
        return ("on" if self.on else "off",)


@dataclass(frozen=True, slots=True)
class CountChain(Order):
    """`count` (SPEC 5.28): finds the length of a chain with a return wire. Its output goes dark. Reply: ChainCount."""

    output: int
    sent: int
    times: int = 1
    WORD: ClassVar[str] = "count"
    FEATURE: ClassVar[str | None] = "count"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.output, 0, MOST_NUMBER, "output")
        between(self.sent, 1, MOST_NUMBER, "pixels sent")
        between(self.times, 1, COUNT_TIMES_MOST, "times")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.sent), str(self.times))

    def parse_reply(self, fields: tuple[str, ...]) -> ChainCount:
        least, most, edges = exactly(fields, "LEAST MOST EDGES")
        return ChainCount(read_number(least, "least"), read_number(most, "most"), read_number(edges, "edges"))
