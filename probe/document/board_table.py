"""The map's lamp table as the board keeps it (SPEC section 12), and the way back to words. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from device_protocol import lamp_table as board
from device_protocol.errors import HostFault
from device_protocol.framing import crc16
from device_protocol.lightness import DUTY
from device_protocol.values import Colour
from probe.document.lamp_table import LampTable, TablePixel, lamp_table
from probe.document.model import PlayfieldMap

WHOLE = 255


class TableTooLargeError(ValueError):
    """The map has something that no board's table can hold; the text says what, and what to do."""


@dataclass(frozen=True, slots=True)
class BoardTable:
    """A table ready for a board. `groups`: the map's group names by the number they have on the board."""

    revision: int
    table: board.BoardLampTable
    image: bytes
    groups: tuple[str, ...]

    @property
    def crc(self) -> int:
        """The checksum that the board states for it (SPEC 5.14)."""
        return crc16(self.image)


def board_table(map_: PlayfieldMap) -> BoardTable:
    """The table of a map. Same map, same bytes. Raises TableTooLargeError."""
    rows = lamp_table(map_)
    if len(rows.groups) > board.GROUP_LAST + 1:
        what = f"the map has {len(rows.groups)} groups, a board's table holds {board.GROUP_LAST + 1}"
        raise TableTooLargeError(f"{what}. Join some of them")
    outputs = tuple(
        board.TableOutput(chain.output, chain.length, chain.order, min(chain.ceiling_ma, 65_535), chain.latch_us)
        for chain in sorted(map_.chains, key=lambda chain: chain.output)
        if chain.length
    )
    try:
        fade = {} if map_.fade is None else {"rise_ms": map_.fade.rise_ms, "fall_ms": map_.fade.fall_ms}
        table = board.BoardLampTable(outputs, tuple(_entries(rows)), **fade)
    except HostFault as fault:
        raise TableTooLargeError(f"{fault}. Correct the map, then make its table again") from fault
    names = tuple(group.name for group in rows.groups)
    return BoardTable(max(1, rows.revision), table, board.encode_table(table), names)


def _entries(rows: LampTable) -> Iterator[board.TableEntry]:
    for lamp in rows.lamps:
        for pixel in lamp.pixels:
            yield _entry(board.TableLamp(lamp.number), pixel)
    for number, group in enumerate(rows.groups):
        for pixel in group.always_on:
            yield _entry(board.TableGroup(number), pixel)


def _entry(whose: board.TableLamp | board.TableGroup, pixel: TablePixel) -> board.TableEntry:
    """The entry of a pixel. Colour and level stay apart, so that few colours do for many levels, if the product holds."""
    level = DUTY[pixel.level]
    if _dimmed(pixel.colour, level) == pixel.duty:
        return board.TableEntry(whose, pixel.output, pixel.number, pixel.colour, level)
    return board.TableEntry(whose, pixel.output, pixel.number, pixel.duty, WHOLE)


def _dimmed(colour: Colour, level: int) -> Colour:
    """What a board makes of colour and level (SPEC 13.7)."""
    return Colour(*((v * level + 127) // 255 for v in (colour.red, colour.green, colour.blue, colour.white)))


def duties(table: board.BoardLampTable, whose: board.TableLamp | board.TableGroup) -> dict[tuple[int, int], Colour]:
    """What a board lights for a lamp or group full on: (output, pixel) → duty, before its ceiling."""
    found: dict[tuple[int, int], Colour] = {}
    for entry in table.of(whose):
        new, old = _dimmed(entry.colour, entry.level), found.get((entry.output, entry.pixel), Colour(0, 0, 0))
        found[entry.output, entry.pixel] = Colour(
            max(new.red, old.red), max(new.green, old.green), max(new.blue, old.blue), max(new.white, old.white)
        )
    return found


def differences(here: BoardTable, held: board.BoardLampTable, *, limit: int = 200) -> tuple[str, ...]:
    """Lines that say what a board's table has unlike ours, lamp by lamp; none if both light the same."""
    lines = []
    ours = {record.output: record for record in here.table.outputs}
    theirs = {record.output: record for record in held.outputs}
    for output in sorted(ours.keys() | theirs.keys()):
        if ours.get(output) != theirs.get(output):
            lines.append(
                f"output {output}: the map has {_chain(ours.get(output))}, the board {_chain(theirs.get(output))}"
            )
    if (here.table.rise_ms, here.table.fall_ms) != (held.rise_ms, held.fall_ms):
        lines.append(f"fading: the map has {here.table.rise_ms} and {here.table.fall_ms} ms, "
                     f"the board {held.rise_ms} and {held.fall_ms} ms")  # fmt: skip
    for number in sorted({*here.table.lamps(), *held.lamps()}):
        lines += _unlike(f"lamp {number}", here.table, held, board.TableLamp(number))
    for number in sorted({*here.table.groups(), *held.groups()}):
        name = here.groups[number] if number < len(here.groups) else str(number)
        lines += _unlike(f"group {name}", here.table, held, board.TableGroup(number))
    if len(lines) > limit:
        lines = [*lines[:limit], f"and {len(lines) - limit} more"]
    return tuple(lines)


def _chain(record: board.TableOutput | None) -> str:
    if record is None:
        return "no chain"
    return f"{record.count} pixels {record.byte_order}, {record.ceiling_ma} mA"


def _unlike(
    title: str, here: board.BoardLampTable, held: board.BoardLampTable, whose: board.TableLamp | board.TableGroup
) -> Iterator[str]:
    ours, theirs = duties(here, whose), duties(held, whose)
    if ours.keys() != theirs.keys():
        yield f"{title}: the map has {_pixels(ours)}, the board {_pixels(theirs)}"
    elif ours != theirs:
        yield f"{title}: other level or colour at {_pixels(at for at in ours if ours[at] != theirs[at])}"


def _pixels(found: Iterable[tuple[int, int]]) -> str:
    return ", ".join(f"{output}:{number}" for output, number in sorted(found)) or "no pixel"
