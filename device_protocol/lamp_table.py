"""The lamp table as bytes (SPEC section 12): which pixels belong to which lamp or group, with level and colour.

    table = LampTable(outputs=(TableOutput(0, 84, "GRB", 450),), entries=(TableEntry(Lamp(1), 0, 3, Colour(255, 180, 80)),))
    image = encode_table(table)
    decode_table(image) == table

Values are duties: whoever makes the table has applied gamma (SPEC 12.1); nothing here or on a board does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from device_protocol.errors import HostFault
from device_protocol.values import (
    GROUPS,
    LAMPS,
    LATCH_US,
    LEVEL,
    OUTPUTS,
    PIXELS,
    Colour,
    is_byte_order,
)

FORMAT = 1
MOST_COLOURS = 15
LAMP_LAST = LAMPS.most
GROUP_LAST = GROUPS.most - 1
PIXEL_LAST = 4_095
"""A table cannot name a pixel beyond this one."""
FADE_UNIT_MS = 4
LATCH_UNIT_US = 4
OWN_COLOUR = 15
"""Colour number that says: the colour follows."""
_HEAD = 5
_LETTERS = "RGBW"


class TableFormatError(ValueError):
    """Bytes that are no lamp table. `at`: offset of the record in which the reading ended."""

    def __init__(self, at: int, reason: str) -> None:
        super().__init__(f"byte {at} of the table: {reason}")
        self.at = at


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLimits:
    """What a board can keep (SPEC 12.3, 12.6): outputs, largest count, highest lamp number, number of groups, pixels of
    three colours that a table can name on each output."""

    outputs: int = OUTPUTS.most
    count: int = PIXELS.most
    lamps: int = LAMP_LAST
    groups: int = GROUP_LAST + 1
    pixels: int = PIXEL_LAST + 1

    def pixels_of(self, chain: TableOutput) -> int:
        """How many pixels of that chain a table can name."""
        return self.pixels if len(chain.byte_order) == 3 else self.pixels * 3 // 4


ANY_BOARD = TableLimits(pixels=(PIXEL_LAST + 1) * 4 // 3 + 1)


@dataclass(frozen=True, slots=True, order=True)
class TableLamp:
    """One of the game's lamps, by its number."""

    number: int

    def __post_init__(self) -> None:
        if not 0 <= self.number <= LAMP_LAST:
            raise HostFault(f"lamp {self.number}: 0 to {LAMP_LAST}")


@dataclass(frozen=True, slots=True, order=True)
class TableGroup:
    """Places without a lamp number, by their group's number. `starts_dark`: the board's own program lights it."""

    number: int
    starts_dark: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.number <= GROUP_LAST:
            raise HostFault(f"group {self.number}: 0 to {GROUP_LAST}")


@dataclass(frozen=True, slots=True)
class TableOutput:
    """What the board has to know of a chain to light it without a host. `latch_us` is rounded up to steps of 4 us."""

    output: int
    count: int
    byte_order: str
    ceiling_ma: int
    latch_us: int = 300

    def __post_init__(self) -> None:
        if not 0 <= self.output < OUTPUTS.most:
            raise HostFault(f"output {self.output}: 0 to {OUTPUTS.most - 1}")
        if self.count not in PIXELS:
            raise HostFault(f"count {self.count} of output {self.output}: {PIXELS}")
        if not is_byte_order(self.byte_order):
            raise HostFault(f"byte order {self.byte_order!r}: a permutation of RGB or RGBW")
        if not 1 <= self.ceiling_ma <= 65_535:
            raise HostFault(f"ceiling of {self.ceiling_ma} mA on output {self.output}: 1 to 65535")
        if self.latch_us not in LATCH_US:
            raise HostFault(f"latch time of {self.latch_us} us: {LATCH_US}")
        object.__setattr__(self, "latch_us", -(-self.latch_us // LATCH_UNIT_US) * LATCH_UNIT_US)


@dataclass(frozen=True, slots=True)
class TableEntry:
    """One pixel of a lamp or group: `colour` in duties, `level` 0 to 255 dims it."""

    whose: TableLamp | TableGroup
    output: int
    pixel: int
    colour: Colour
    level: int = 255

    def __post_init__(self) -> None:
        if not 0 <= self.output < OUTPUTS.most:
            raise HostFault(f"output {self.output}: 0 to {OUTPUTS.most - 1}")
        if not 0 <= self.pixel <= PIXEL_LAST:
            raise HostFault(f"pixel {self.pixel}: a table names pixels 0 to {PIXEL_LAST}")
        if self.level not in LEVEL:
            raise HostFault(f"level {self.level}: {LEVEL}")


@dataclass(frozen=True, slots=True)
class BoardLampTable:
    """A whole table. `rise_ms` and `fall_ms` are time constants, rounded to steps of 4 ms, at most 1,020."""

    outputs: tuple[TableOutput, ...] = ()
    entries: tuple[TableEntry, ...] = ()
    rise_ms: int = 0
    fall_ms: int = 0
    _by_number: dict[int, TableOutput] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("rise_ms", "fall_ms"):
            units = round(getattr(self, name) / FADE_UNIT_MS)
            if not 0 <= units <= 255:
                raise HostFault(f"{name} {getattr(self, name)}: 0 to {255 * FADE_UNIT_MS}")
            object.__setattr__(self, name, units * FADE_UNIT_MS)
        for record in self.outputs:
            if record.output in self._by_number:
                raise HostFault(f"output {record.output} has two records")
            self._by_number[record.output] = record
        dark_starts: dict[int, bool] = {}
        for entry in self.entries:
            chain = self._by_number.get(entry.output)
            if chain is None:
                raise HostFault(f"an entry names output {entry.output}, which has no record")
            if entry.pixel >= chain.count:
                raise HostFault(f"an entry names pixel {entry.pixel} of output {entry.output}, which has {chain.count}")
            if isinstance(entry.whose, TableGroup):
                known = dark_starts.setdefault(entry.whose.number, entry.whose.starts_dark)
                if known != entry.whose.starts_dark:
                    raise HostFault(f"group {entry.whose.number} both starts lit and starts dark")

    def chain(self, output: int) -> TableOutput | None:
        """The record of an output, None if there is none."""
        return self._by_number.get(output)

    def of(self, whose: TableLamp | TableGroup) -> tuple[TableEntry, ...]:
        """The entries of a lamp, or of a group by its number."""
        return tuple(
            entry for entry in self.entries if type(entry.whose) is type(whose) and entry.whose.number == whose.number
        )

    def lamps(self) -> tuple[int, ...]:
        """Numbers of the lamps that have pixels, in order."""
        return tuple(sorted({entry.whose.number for entry in self.entries if isinstance(entry.whose, TableLamp)}))

    def groups(self) -> tuple[int, ...]:
        """Numbers of the groups that have pixels, in order."""
        return tuple(sorted({entry.whose.number for entry in self.entries if isinstance(entry.whose, TableGroup)}))


def _order_byte(byte_order: str) -> int:
    return sum(_LETTERS.index(letter) << 2 * place for place, letter in enumerate(byte_order))


def encode_table(table: BoardLampTable) -> bytes:
    """The image of a table: the same table gives the same bytes. Entries keep their order; sort them by lamp, then by
    output and pixel, for the shortest image. Colours used most get a record, the rest stand in their entries."""
    uses = Counter(entry.colour for entry in table.entries)
    ranked = sorted((colour for colour, times in uses.items() if times > 1), key=lambda colour: (-uses[colour], colour))
    palette = ranked[:MOST_COLOURS]
    number_of = {colour: number for number, colour in enumerate(palette)}
    image = bytearray(
        (FORMAT, len(table.outputs), len(palette), table.rise_ms // FADE_UNIT_MS, table.fall_ms // FADE_UNIT_MS)
    )
    for chain in table.outputs:
        image += bytes((16 * len(chain.byte_order) + chain.output, _order_byte(chain.byte_order)))
        image += chain.count.to_bytes(2, "big") + chain.ceiling_ma.to_bytes(2, "big")
        image.append(chain.latch_us // LATCH_UNIT_US)
    for colour in palette:
        image += _colour_bytes(colour)
    whose: TableLamp | TableGroup | None = None
    lamp, place, level = 0, (0, -1), 255
    for entry in table.entries:
        control = number_of.get(entry.colour, OWN_COLOUR)
        rest = b""
        if entry.whose != whose:
            whose = entry.whose
            if isinstance(whose, TableGroup):
                control |= 3 << 6
                rest += bytes((whose.number | 0x80 * whose.starts_dark,))
            elif whose.number == lamp + 1:
                control |= 1 << 6
            else:
                control |= 2 << 6
                rest += whose.number.to_bytes(2, "big")
            if isinstance(whose, TableLamp):
                lamp = whose.number
        if (entry.output, entry.pixel) != (place[0], place[1] + 1):
            control |= 1 << 5
            rest += (4096 * entry.output + entry.pixel).to_bytes(2, "big")
        place = entry.output, entry.pixel
        if entry.level != level:
            control |= 1 << 4
            rest += bytes((entry.level,))
            level = entry.level
        if control & 15 == OWN_COLOUR:
            rest += _colour_bytes(entry.colour)
        image.append(control)
        image += rest
    return bytes(image)


def _colour_bytes(colour: Colour) -> bytes:
    return bytes((colour.red, colour.green, colour.blue, colour.white))


class _ImageReader:
    """Takes bytes off an image; `record` is the offset of the record being read."""

    def __init__(self, image: bytes) -> None:
        self.image = image
        self.at = self.record = 0

    def take(self, count: int) -> bytes:
        taken = self.image[self.at : self.at + count]
        if len(taken) < count:
            raise self.fault("the image ends within a record")
        self.at += count
        return taken

    def number(self) -> int:
        return int.from_bytes(self.take(2), "big")

    def fault(self, reason: str) -> TableFormatError:
        return TableFormatError(self.record, reason)


def _read_output(reader: _ImageReader, limits: TableLimits) -> TableOutput:
    first, order = reader.take(2)
    count, ceiling_ma = reader.number(), reader.number()
    (latch,) = reader.take(1)
    colours, output = divmod(first, 16)
    letters = "".join(_LETTERS[order >> 2 * place & 3] for place in range(colours)) if colours in (3, 4) else ""
    if not is_byte_order(letters) or _order_byte(letters) != order:
        raise reader.fault(f"no byte order: {first:#04x} {order:#04x}")
    if output >= limits.outputs or count > limits.count:
        raise reader.fault(f"output {output} with {count} pixels is not on this board")
    try:
        return TableOutput(output, count, letters, ceiling_ma, latch * LATCH_UNIT_US)
    except HostFault as fault:
        raise reader.fault(str(fault)) from None


def _read_entries(
    reader: _ImageReader, chains: dict[int, TableOutput], colours: list[Colour], limits: TableLimits
) -> Iterator[TableEntry]:
    whose: TableLamp | TableGroup | None = None
    lamp, output, pixel, level = 0, 0, -1, 255
    while reader.at < len(reader.image):
        reader.record = reader.at
        (control,) = reader.take(1)
        match control >> 6:
            case 1:
                lamp += 1
            case 2:
                lamp = reader.number()
            case 3:
                (byte,) = reader.take(1)
                if byte & 0x40:
                    raise reader.fault(f"group {byte:#04x}: bit 6 is 0")
                whose = TableGroup(byte & 63, bool(byte & 0x80))
        if control >> 6 in (1, 2):
            if lamp > LAMP_LAST:
                raise reader.fault(f"lamp above {LAMP_LAST}")
            whose = TableLamp(lamp)
        if whose is None:
            raise reader.fault("the first entry names no lamp or group")
        if whose.number > (limits.lamps if isinstance(whose, TableLamp) else limits.groups - 1):
            raise reader.fault(f"this board cannot keep {whose}")
        if control & 0x20:
            output, pixel = divmod(reader.number(), 4096)
        else:
            pixel += 1
        if output not in chains:
            raise reader.fault(f"output {output} has no record")
        if pixel >= chains[output].count or pixel > PIXEL_LAST:
            raise reader.fault(f"output {output} has no pixel {pixel}")
        if pixel >= limits.pixels_of(chains[output]):
            raise reader.fault(f"the game on this board cannot light pixel {pixel} of output {output}")
        if control & 0x10:
            (level,) = reader.take(1)
        if control & 15 == OWN_COLOUR:
            colour = Colour(*reader.take(4))
        elif control & 15 < len(colours):
            colour = colours[control & 15]
        else:
            raise reader.fault(f"there is no colour {control & 15}")
        yield TableEntry(whose, output, pixel, colour, level)


def decode_table(image: bytes, limits: TableLimits = ANY_BOARD) -> BoardLampTable:
    """Read an image for a board with these limits. Raises TableFormatError."""
    reader = _ImageReader(image)
    form, outputs, colour_count, rise, fall = reader.take(_HEAD)
    if form != FORMAT:
        raise reader.fault(f"format {form}, this version knows {FORMAT}")
    if outputs > OUTPUTS.most or colour_count > MOST_COLOURS:
        raise reader.fault(
            f"{outputs} output and {colour_count} colour records: at most {OUTPUTS.most} and {MOST_COLOURS}"
        )
    chains: dict[int, TableOutput] = {}
    for _ in range(outputs):
        reader.record = reader.at
        chain = _read_output(reader, limits)
        if chain.output in chains:
            raise reader.fault(f"output {chain.output} has two records")
        chains[chain.output] = chain
    colours = []
    for _ in range(colour_count):
        reader.record = reader.at
        colours.append(Colour(*reader.take(4)))
    entries = list(_read_entries(reader, chains, colours, limits))
    # one entry that says so makes its group start dark
    dark = {entry.whose.number for entry in entries if isinstance(entry.whose, TableGroup) and entry.whose.starts_dark}
    settled = (
        replace(entry, whose=TableGroup(entry.whose.number, entry.whose.number in dark))
        if isinstance(entry.whose, TableGroup)
        else entry
        for entry in entries
    )
    return BoardLampTable(tuple(chains.values()), tuple(settled), rise * FADE_UNIT_MS, fall * FADE_UNIT_MS)
