"""Orders as values (SPEC section 5); with the replies and notices, all that passes between host and board.

Each order knows its words, the feature it belongs to, and how to read its reply. Making one checks what holds for every
board; what depends on the board in hand (outputs, count, ceiling) is the board's to refuse.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from device_protocol.errors import BoardFault, HostFault
from device_protocol.orders.base import MOST_NUMBER, Order, between
from device_protocol.orders.replies import (
    Identity,
    OutputSettings,
    OutputState,
    SilenceSet,
    Staged,
    exactly,
    parse_identity,
    read_number,
    read_settings,
)
from device_protocol.orders.runs import encode_runs
from device_protocol.values import (
    LATCH_US_DEFAULT,
    LATCH_US_LEAST,
    LATCH_US_MOST,
    PALETTE_LAST,
    SILENCE_MS_LEAST,
    SILENCE_MS_MOST,
    Colour,
    is_byte_order,
)


@dataclass(frozen=True, slots=True)
class Identify(Order):
    """`id` (SPEC 5.1). Reply: Identity."""

    WORD: ClassVar[str] = "id"

    def parse_reply(self, fields: tuple[str, ...]) -> Identity:
        return parse_identity(fields)


@dataclass(frozen=True, slots=True)
class LightPixel(Order):
    """`light` (SPEC 5.4): one pixel in a colour, the rest of the chain dark."""

    output: int
    pixel: int
    colour: Colour
    WORD: ClassVar[str] = "light"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.output, 0, MOST_NUMBER, "output")
        between(self.pixel, 0, MOST_NUMBER, "pixel")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.pixel), self.colour.text)


@dataclass(frozen=True, slots=True)
class Darken(Order):
    """`dark` (SPEC 5.5): a chain dark, or every chain when `output` is None."""

    output: int | None = None
    WORD: ClassVar[str] = "dark"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        if self.output is not None:
            between(self.output, 0, MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return ("all" if self.output is None else str(self.output),)


@dataclass(frozen=True, slots=True)
class Alive(Order):
    """`alive` (SPEC 5.6): the host is still there."""

    WORD: ClassVar[str] = "alive"


@dataclass(frozen=True, slots=True)
class SetupOutput(Order):
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
        between(self.output, 0, MOST_NUMBER, "output")
        between(self.count, 1, MOST_NUMBER, "count")
        between(self.ceiling_ma, 1, MOST_NUMBER, "ceiling in mA")
        between(self.latch_us, LATCH_US_LEAST, LATCH_US_MOST, "latch time in us")
        if not is_byte_order(self.byte_order):
            raise HostFault(f"byte order {self.byte_order!r}: a permutation of RGB or RGBW")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.count), self.byte_order, str(self.latch_us), str(self.ceiling_ma))

    def parse_reply(self, fields: tuple[str, ...]) -> OutputSettings:
        settings = read_settings(exactly(fields, "COUNT ORDER LATCH CEILING"))
        if settings != self.settings:
            raise BoardFault(f"the board set up {settings}, {self.settings} was asked")
        return settings

    @property
    def settings(self) -> OutputSettings:
        """What holds on the board once this is answered."""
        return OutputSettings(
            count=self.count, byte_order=self.byte_order, latch_us=self.latch_us, ceiling_ma=self.ceiling_ma
        )


@dataclass(frozen=True, slots=True)
class ReadOutputState(Order):
    """`state` (SPEC 5.8). Reply: OutputState."""

    output: int
    WORD: ClassVar[str] = "state"
    FEATURE: ClassVar[str | None] = "setup"

    def __post_init__(self) -> None:
        between(self.output, 0, MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output),)

    def parse_reply(self, fields: tuple[str, ...]) -> OutputState:
        *settings, lit, need = exactly(fields, "COUNT ORDER LATCH CEILING LIT NEED")
        return OutputState(
            settings=read_settings(tuple(settings)), lit=read_number(lit, "lit"), need_ma=read_number(need, "need")
        )


@dataclass(frozen=True, slots=True)
class LightRange(Order):
    """`range` (SPEC 5.9): `count` pixels from `first` in a colour, the rest of the chain dark."""

    output: int
    first: int
    count: int
    colour: Colour
    WORD: ClassVar[str] = "range"
    FEATURE: ClassVar[str | None] = "range"
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        between(self.output, 0, MOST_NUMBER, "output")
        between(self.first, 0, MOST_NUMBER, "first pixel")
        between(self.count, 1, MOST_NUMBER, "count")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.first), str(self.count), self.colour.text)


@dataclass(frozen=True, slots=True)
class Silence(Order):
    """`silence` (SPEC 5.10): after how long without an order the board goes dark. Reply: SilenceSet."""

    silence_ms: int
    WORD: ClassVar[str] = "silence"
    FEATURE: ClassVar[str | None] = "silence"

    def __post_init__(self) -> None:
        between(self.silence_ms, SILENCE_MS_LEAST, SILENCE_MS_MOST, "silence time in ms")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.silence_ms),)

    def parse_reply(self, fields: tuple[str, ...]) -> SilenceSet:
        held = read_number(exactly(fields, "MS")[0], "silence time")
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
        between(self.output, 0, MOST_NUMBER, "output")
        between(len(self.colours), 1, 4, "number of palette colours")
        between(self.first, 1, PALETTE_LAST + 1 - len(self.colours), "first palette entry")

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
        between(self.output, 0, MOST_NUMBER, "output")
        between(self.offset, 0, MOST_NUMBER, "offset")
        if not self.entries:
            raise HostFault("paint without a pixel: at least one entry")
        between(min(self.entries), 0, PALETTE_LAST, "palette entry")
        between(max(self.entries), 0, PALETTE_LAST, "palette entry")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output), str(self.offset), encode_runs(self.entries))

    def parse_reply(self, fields: tuple[str, ...]) -> Staged:
        staged = read_number(exactly(fields, "STAGED")[0], "staged")
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
        between(self.output, 0, MOST_NUMBER, "output")

    def arguments(self) -> tuple[str, ...]:
        return (str(self.output),)
