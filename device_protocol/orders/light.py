"""What a chain is and what it shows: settings, pixels, painted pictures (SPEC 5.4, 5.5, 5.7 to 5.9, 5.11 to 5.13)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from device_protocol.errors import BoardFault, ErrorCode, HostFault, Refusal
from device_protocol.orders.base import (
    ANY_NUMBER,
    FROM_ONE,
    ArgumentReader,
    Fields,
    Order,
    OutputOrder,
    Reply,
    check_within,
    exactly,
    read_number,
)
from device_protocol.values import (
    CEILING_MA,
    LATCH_US,
    LATCH_US_DEFAULT,
    PALETTE_LAST,
    PIXELS,
    Bounds,
    Colour,
    decode_runs,
    encode_runs,
    expand_runs,
    is_byte_order,
    parse_bytes,
)

PALETTE = Bounds(1, PALETTE_LAST)
COLOURS_A_LINE = Bounds(1, 4)
"""Colours in one `palette` or `run`."""


@dataclass(frozen=True, slots=True)
class LightPixel(OutputOrder):
    """`light` (SPEC 5.4): one pixel in a colour, the rest of the chain dark."""

    pixel: int
    colour: Colour
    WORD: ClassVar[str] = "light"
    TAKES: ClassVar[Bounds] = Bounds(3, 3)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.pixel, ANY_NUMBER, "pixel")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> LightPixel:
        output = arguments.output()
        return cls(output, arguments.pixel(output), arguments.colour(output))


@dataclass(frozen=True, slots=True)
class LightRange(OutputOrder):
    """`range` (SPEC 5.9): `count` pixels from `first` in a colour, the rest of the chain dark."""

    first: int
    count: int
    colour: Colour
    WORD: ClassVar[str] = "range"
    FEATURE: ClassVar[str | None] = "range"
    TAKES: ClassVar[Bounds] = Bounds(4, 4)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.first, ANY_NUMBER, "first pixel")
        check_within(self.count, FROM_ONE, "count")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> LightRange:
        output = arguments.output()
        first, count = arguments.pixel(output), arguments.number(FROM_ONE)
        arguments.check_run(output, first + count)
        return cls(output, first, count, arguments.colour(output))


@dataclass(frozen=True, slots=True)
class Darken(Order):
    """`dark` (SPEC 5.5): a chain dark, or every chain when `output` is None."""

    output: int | None = None
    WORD: ClassVar[str] = "dark"
    TAKES: ClassVar[Bounds] = Bounds(1, 1)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        if self.output is not None:
            check_within(self.output, ANY_NUMBER, "output")

    def arguments(self) -> Fields:
        return ("all" if self.output is None else str(self.output),)

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Darken:
        return cls(None if arguments.skip("all") else arguments.output())


# --- settings ---


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputSettings(Reply):
    """Settings of one output as they hold on the board (SPEC 5.7)."""

    count: int
    byte_order: str
    latch_us: int
    ceiling_ma: int

    @classmethod
    def from_fields(cls, fields: Fields) -> OutputSettings:
        """COUNT ORDER LATCH CEILING of a reply. Raises BoardFault."""
        count, byte_order, latch, ceiling = fields
        if not is_byte_order(byte_order):
            raise BoardFault(f"byte order {byte_order!r}: not a permutation of RGB or RGBW")
        return cls(
            count=read_number(count, "count", PIXELS),
            byte_order=byte_order,
            latch_us=read_number(latch, "latch time", LATCH_US),
            ceiling_ma=read_number(ceiling, "ceiling", CEILING_MA),
        )


@dataclass(frozen=True, slots=True)
class SetupOutput(OutputOrder):
    """`setup` (SPEC 5.7): count, byte order, latch time and ceiling of an output. Reply: OutputSettings."""

    count: int
    byte_order: str
    ceiling_ma: int
    latch_us: int = LATCH_US_DEFAULT
    WORD: ClassVar[str] = "setup"
    FEATURE: ClassVar[str | None] = "setup"
    TAKES: ClassVar[Bounds] = Bounds(5, 5)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.count, FROM_ONE, "count")
        check_within(self.ceiling_ma, FROM_ONE, "ceiling in mA")
        check_within(self.latch_us, LATCH_US, "latch time in us")
        if not is_byte_order(self.byte_order):
            raise HostFault(f"byte order {self.byte_order!r}: a permutation of RGB or RGBW")

    def arguments(self) -> Fields:
        return (str(self.output), str(self.count), self.byte_order, str(self.latch_us), str(self.ceiling_ma))

    @classmethod
    def read(cls, arguments: ArgumentReader) -> SetupOutput:
        output, count, byte_order = arguments.output(), arguments.pixel_count(), arguments.byte_order()
        latch_us = arguments.number(LATCH_US)
        return cls(output, count, byte_order, arguments.number(Bounds(1, arguments.limits.ceiling_ma)), latch_us)

    def parse_reply(self, fields: Fields) -> OutputSettings:
        settings = OutputSettings.from_fields(exactly(fields, "COUNT ORDER LATCH CEILING"))
        if settings != self.settings:
            raise BoardFault(f"the board set up {settings}, {self.settings} was asked")
        return settings

    @property
    def settings(self) -> OutputSettings:
        """What holds on the board once this is answered."""
        return OutputSettings(
            count=self.count, byte_order=self.byte_order, latch_us=self.latch_us, ceiling_ma=self.ceiling_ma
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputState(Reply):
    """Settings of one output, and what is lit on it (SPEC 5.8)."""

    settings: OutputSettings
    lit: int
    need_ma: int

    def fields(self) -> Fields:
        return (*self.settings.fields(), str(self.lit), str(self.need_ma))


@dataclass(frozen=True, slots=True)
class ReadOutputState(OutputOrder):
    """`state` (SPEC 5.8). Reply: OutputState."""

    WORD: ClassVar[str] = "state"
    FEATURE: ClassVar[str | None] = "setup"

    def parse_reply(self, fields: Fields) -> OutputState:
        *settings, lit, need = exactly(fields, "COUNT ORDER LATCH CEILING LIT NEED")
        held = OutputSettings.from_fields(tuple(settings))
        return OutputState(
            settings=held,
            lit=read_number(lit, "pixels lit", Bounds(0, PIXELS.most)),
            need_ma=read_number(need, "need"),
        )


@dataclass(frozen=True, slots=True)
class PixelBytes(Reply):
    """What went out for a pixel in the last picture, in wire order (SPEC 5.29); None: the board does not hold it."""

    data: bytes | None

    def fields(self) -> Fields:
        return ("none",) if self.data is None else (self.data.hex().upper(),)


@dataclass(frozen=True, slots=True)
class ReadBack(OutputOrder):
    """`readback` (SPEC 5.29): the bytes that went out for a pixel. Reply: PixelBytes."""

    pixel: int
    WORD: ClassVar[str] = "readback"
    FEATURE: ClassVar[str | None] = "readback"
    TAKES: ClassVar[Bounds] = Bounds(2, 2)

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.pixel, ANY_NUMBER, "pixel")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> ReadBack:
        output = arguments.output()
        return cls(output, arguments.pixel(output))

    def parse_reply(self, fields: Fields) -> PixelBytes:
        text = exactly(fields, "BYTES")[0]
        if text == "none":
            return PixelBytes(None)
        try:
            data = parse_bytes(text)
        except ValueError as error:
            raise BoardFault(str(error)) from None
        if len(data) not in (3, 4):
            raise BoardFault(f"{len(data)} bytes for a pixel: 3 or 4")
        return PixelBytes(data)


# --- painted pictures ---


@dataclass(frozen=True, slots=True)
class Palette(OutputOrder):
    """`palette` (SPEC 5.11): 1 to 4 palette entries from number `first`."""

    first: int
    colours: tuple[Colour, ...]
    WORD: ClassVar[str] = "palette"
    FEATURE: ClassVar[str | None] = "paint"
    TAKES: ClassVar[Bounds] = Bounds(3, 6)

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(len(self.colours), COLOURS_A_LINE, "number of palette colours")
        check_within(self.first, Bounds(1, PALETTE_LAST + 1 - len(self.colours)), "first palette entry")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Palette:
        output, first = arguments.output(), arguments.number(PALETTE)
        if first + arguments.left - 1 not in PALETTE:
            raise Refusal(ErrorCode.BAD_VALUE)
        return cls(output, first, arguments.colours(output))


@dataclass(frozen=True, slots=True)
class Staged(Reply):
    """How many pixels of the picture are staged (SPEC 5.12)."""

    pixels: int


@dataclass(frozen=True, slots=True)
class Paint(OutputOrder):
    """`paint` (SPEC 5.12): stages palette `entries` (one for each pixel) from pixel `offset`. Reply: Staged."""

    offset: int
    entries: tuple[int, ...]
    WORD: ClassVar[str] = "paint"
    FEATURE: ClassVar[str | None] = "paint"
    TAKES: ClassVar[Bounds] = Bounds(3, 3)

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.offset, ANY_NUMBER, "offset")
        if not self.entries:
            raise HostFault("paint without a pixel: at least one entry")
        check_within(min(self.entries), Bounds(0, PALETTE_LAST), "palette entry")
        check_within(max(self.entries), Bounds(0, PALETTE_LAST), "palette entry")

    def arguments(self) -> Fields:
        return (str(self.output), str(self.offset), encode_runs(self.entries))

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Paint:
        output = arguments.output()
        offset = arguments.pixel(output)
        try:
            runs = decode_runs(arguments.text())
        except ValueError:
            raise Refusal(ErrorCode.BAD_VALUE) from None
        arguments.check_run(output, offset + sum(length for _, length in runs))
        return cls(output, offset, tuple(expand_runs(runs)))

    def parse_reply(self, fields: Fields) -> Staged:
        staged = read_number(exactly(fields, "STAGED")[0], "staged")
        if staged != self.offset + len(self.entries):
            raise BoardFault(f"the board staged {staged} pixels, {self.offset + len(self.entries)} were sent")
        return Staged(staged)


@dataclass(frozen=True, slots=True)
class Show(OutputOrder):
    """`show` (SPEC 5.13): the staged picture."""

    WORD: ClassVar[str] = "show"
    FEATURE: ClassVar[str | None] = "paint"
    CLOCKS_OUT: ClassVar[bool] = True
