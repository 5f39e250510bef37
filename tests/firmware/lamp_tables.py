"""Lamp tables for the firmware tests: a small one, and one made of the demonstration map."""

from __future__ import annotations

import json
from collections.abc import Collection

from device_protocol.framing import crc16
from device_protocol.lamp_table import (
    BoardLampTable,
    TableEntry,
    TableGroup,
    TableLamp,
    TableOutput,
    encode_table,
)
from device_protocol.orders import table_orders
from device_protocol.values import Colour
from tests.firmware.build import ROOT

SMALL = BoardLampTable(
    outputs=(TableOutput(0, 12, "GRB", 450),),
    entries=(
        TableEntry(TableLamp(1), 0, 3, Colour(255, 180, 64), 128),
        TableEntry(TableLamp(2), 0, 4, Colour(0, 255, 0)),
        TableEntry(TableLamp(2), 0, 5, Colour(0, 255, 0)),
        TableEntry(TableLamp(3), 0, 0, Colour(0, 255, 0), 40),
        TableEntry(TableLamp(5), 0, 9, Colour(0, 40, 0)),
        TableEntry(TableLamp(6), 0, 8, Colour(40, 0, 0)),
        TableEntry(TableLamp(8), 0, 7, Colour(40, 40, 0)),
        TableEntry(TableGroup(0), 0, 11, Colour(0, 0, 40)),
    ),
)
OTHER = BoardLampTable(
    outputs=(TableOutput(0, 12, "GRB", 450),), entries=(TableEntry(TableLamp(1), 0, 6, Colour(9, 9, 9)),)
)

SHIFT_REGISTERS = {"PP_OUTPUTS": 1, "PP_AVR_SHIFT": 1, "PP_INPUTS": 60, "PP_PIXELS": 84}
"""Build of a board whose inputs come through eight 74HC165, four of their inputs unused."""
SIXTY_LAMPS = BoardLampTable(
    outputs=(TableOutput(0, 84, "GRB", 2000),),
    entries=tuple(TableEntry(TableLamp(number), 0, number + 5, Colour(0, 7, 0)) for number in range(1, 61)),
)
"""Its table: lamp n lights pixel n + 5."""


def levels_of(on: Collection[int]) -> bytes:
    """What the registers see when these of 64 active-low inputs are on."""
    return sum(1 << number - 1 for number in range(1, 65) if number not in on).to_bytes(8, "little")


def order_texts(table: BoardLampTable, revision: int) -> list[str]:
    """The orders that put a table into a board, without number and CRC."""
    return [" ".join((order.WORD, *order.arguments())) for order in table_orders(encode_table(table), revision)]


def state_text(table: BoardLampTable, revision: int) -> tuple[str, str, str]:
    """REVISION LENGTH CRC as `table` states them."""
    image = encode_table(table)
    return str(revision), str(len(image)), f"{crc16(image):04X}"


def lit_pixels(frame: bytes, colours: int = 3) -> dict[int, bytes]:
    """Pixels of a frame that are not dark, with their wire bytes."""
    pixels = [frame[at : at + colours] for at in range(0, len(frame), colours)]
    return {number: data for number, data in enumerate(pixels) if any(data)}


def demo_table() -> BoardLampTable:
    """Kelp Forest, with levels that all differ so that the image is as long as it gets."""
    read = json.loads((ROOT / "demo_maps" / "kelp_forest.json").read_text(encoding="utf-8"))
    places = {place["id"]: place for place in read["places"]}
    groups = sorted({place["group"] for place in places.values() if place.get("group")})
    entries = []
    for chain in read["chains"]:
        for number, pixel in enumerate(chain["pixels"]):
            place = places.get(pixel.get("place"), {})
            level = 100 + (37 * number) % 150
            colour = Colour(255, (number % 9) * 20, 40)
            entries += [
                TableEntry(TableLamp(lamp), chain["output"], number, colour, level) for lamp in place.get("lamps", ())
            ]
            if place.get("group"):
                group = TableGroup(groups.index(place["group"]))
                entries.append(TableEntry(group, chain["output"], number, colour, level))
    outputs = tuple(
        TableOutput(chain["output"], chain["count"], chain["order"], 2000, chain["latch_us"])
        for chain in read["chains"]
    )

    def place_of(entry: TableEntry) -> tuple[bool, int, int, int]:
        return isinstance(entry.whose, TableGroup), entry.whose.number, entry.output, entry.pixel

    return BoardLampTable(outputs=outputs, entries=tuple(sorted(entries, key=place_of)))
