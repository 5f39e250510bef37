"""The map as plain tables: by lamp, by pixel, by place; wires to cut, parts, seats to drill. Not read back.

Pixels are written as output:number, both from 0. Level and colour are the map's (steps even to the eye, colour at full
level); `duty` is what the pixel is sent. Texts are safe to open in a spreadsheet (`cells`).
"""

from __future__ import annotations

from collections.abc import Iterable

from probe.document.joining import lamps_lighting, places_of_lamp
from probe.document.lamp_table import TablePixel, lamp_table, light_of, pixels_of
from probe.document.model import Place, PlayfieldMap, shown_number
from probe.document.operations import folded
from probe.export.cells import guard, table_text
from probe.harness.from_map import compute
from probe.harness.parts import cut_list, parts_list

LAMP_COLUMNS = (
    "lamp", "name", "area", "kind", "driver", "row", "column", "insert_colour", "group", "places", "pixels",
    "levels", "colours", "note",
)  # fmt: skip
PIXEL_COLUMNS = (
    "chain", "output", "number", "shown", "state", "place", "area", "kind", "lamps", "group", "level", "colour", "duty",
    "verified", "note",
)  # fmt: skip
PLACE_COLUMNS = (
    "place", "area", "kind", "x_mm", "y_mm", "lamps", "lamp_names", "group", "pixels", "level", "colour", "duty", "note",
)  # fmt: skip
CUT_COLUMNS = ("where", "function", "gauge", "colour", "length_mm", "first_label", "last_label", "assumed")
PARTS_COLUMNS = ("part", "quantity", "unit", "why")
SEAT_COLUMNS = (
    "area", "place", "kind", "x_mm", "from_right_mm", "y_mm", "guessed", "depth_mm", "diffuser", "insert_colour",
    "pixels", "note",
)  # fmt: skip


def pixel_list(pixels: Iterable[TablePixel]) -> str:
    """`0:14 0:15`."""
    return " ".join(f"{pixel.output}:{pixel.number}" for pixel in pixels)


def _spaced(values: Iterable[object]) -> str:
    return " ".join(dict.fromkeys(str(value) for value in values))


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def write_by_lamp(map_: PlayfieldMap) -> str:
    """One record for each row of the lamp list, then each lamp number and group that only places name."""
    rows: list[tuple[str, ...]] = [LAMP_COLUMNS]
    table, lighting = lamp_table(map_), lamps_lighting(map_)
    for lamp in map_.lamps:
        places = places_of_lamp(map_, lamp)
        own = ("" if lamp.number is None else str(lamp.number), guard(lamp.name), guard(lamp.area), lamp.kind.value)
        drive = (guard(lamp.driver), _shown(lamp.row), _shown(lamp.column), guard(lamp.insert_colour))
        rows.append((*own, *drive, guard(lamp.group), *_lights(map_, places), guard(lamp.note)))
    listed = {lamp.number for lamp in map_.lamps}
    for row in table.lamps:
        if row.number not in listed:
            places = [place for place in map_.places if row.number in lighting[place.id]]
            rows.append((str(row.number), *[""] * 8, *_lights(map_, places), ""))
    grouped = {folded(lamp.group) for lamp in map_.lamps if lamp.number is None}
    for group in table.groups:
        if folded(group.name) not in grouped:
            places = [place for place in map_.places if folded(place.group) == folded(group.name)]
            rows.append(("", *[""] * 7, guard(group.name), *_lights(map_, places), ""))
    return table_text(rows)


def _lights(map_: PlayfieldMap, places: list[Place]) -> tuple[str, str, str, str]:
    pixels = pixels_of(map_, places)
    names = guard("; ".join(place.label for place in places))
    levels, colours = (pixel.level for pixel in pixels), (pixel.colour.text for pixel in pixels)
    return names, pixel_list(pixels), _spaced(levels), _spaced(colours)


def write_by_pixel(map_: PlayfieldMap) -> str:
    """One record for each pixel of each chain, by output and number."""
    rows: list[tuple[str, ...]] = [PIXEL_COLUMNS]
    for chain in sorted(map_.chains, key=lambda chain: chain.output):
        for number, pixel in enumerate(chain.pixels):
            place = map_.place_of(pixel)
            where = (guard(chain.name), str(chain.output), str(number), shown_number(number), pixel.state.value)
            named = ("", "", "", "", "", "", "", "")
            if place is not None:
                lamps = " ".join(map(str, place.lamps))
                text = (guard(place.label), guard(place.area), place.kind.value, lamps, guard(place.group))
                named = (*text, *_light(map_, place))
            rows.append((*where, *named, str(pixel.verified), guard(pixel.note)))
    return table_text(rows)


def write_by_place(map_: PlayfieldMap) -> str:
    """One record for each place, in the map's order."""
    rows: list[tuple[str, ...]] = [PLACE_COLUMNS]
    names = {lamp.number: lamp.name for lamp in reversed(map_.lamps) if lamp.number is not None}
    for place in map_.places:
        spot = place.position
        at = ("", "") if spot is None else (repr(spot.x_mm), repr(spot.y_mm))
        lamps = " ".join(map(str, place.lamps))
        called = guard("; ".join(names[number] for number in place.lamps if number in names))
        pixels = pixel_list(pixels_of(map_, [place]))
        text = (guard(place.label), guard(place.area), place.kind.value, *at, lamps, called, guard(place.group))
        rows.append((*text, pixels, *_light(map_, place), guard(place.note)))
    return table_text(rows)


def _light(map_: PlayfieldMap, place: Place) -> tuple[str, str, str]:
    level, colour = light_of(map_, place)
    return str(level), colour.text, TablePixel(0, 0, level, colour).duty.text


def write_cuts(map_: PlayfieldMap) -> str:
    """One record for each wire to cut, with the labels of both ends."""
    rows: list[tuple[str, ...]] = [CUT_COLUMNS]
    for cut in cut_list(map_):
        texts = (guard(cut.where), cut.function, cut.gauge, guard(cut.colour), f"{cut.length_mm:g}")
        rows.append((*texts, guard(cut.first_label), guard(cut.last_label), "yes" if cut.assumed else ""))
    return table_text(rows)


def write_parts(map_: PlayfieldMap) -> str:
    """One record for each part to have at hand."""
    rows: list[tuple[str, ...]] = [PARTS_COLUMNS]
    rows += [(guard(r.part), f"{r.quantity:g}", r.unit, guard(r.why)) for r in parts_list(map_, compute(map_))]
    return table_text(rows)


def seats(map_: PlayfieldMap) -> list[Place]:
    """Places with a position, area by area from the player on, in each from the near edge: as one drills them."""
    placed = [place for place in map_.places if place.position is not None]
    near: dict[str, float] = {}
    for place in placed:
        assert place.position is not None
        near[place.area] = min(near.get(place.area, place.position.y_mm), place.position.y_mm)

    def order(place: Place) -> tuple[float, str, float, float, str]:
        assert place.position is not None
        return near[place.area], place.area, place.position.y_mm, place.position.x_mm, place.id

    return sorted(placed, key=order)


def write_seats(map_: PlayfieldMap) -> str:
    """One record for each place that has a position: where to drill, from both edges, and what sits there how deep."""
    rows: list[tuple[str, ...]] = [SEAT_COLUMNS]
    colours = {lamp.number: lamp.insert_colour for lamp in reversed(map_.lamps) if lamp.number is not None}
    for place in seats(map_):
        spot = place.position
        assert spot is not None
        colour = "; ".join(dict.fromkeys(colours[n] for n in place.lamps if colours.get(n)))
        at = (
            f"{spot.x_mm:g}",
            f"{map_.machine.width_mm - spot.x_mm:g}",
            f"{spot.y_mm:g}",
            "yes" if spot.guessed else "",
        )
        seat = (_shown(place.depth_mm), "yes" if place.diffuser else "", guard(colour))
        texts = (guard(place.area), guard(place.label), place.kind.value)
        rows.append((*texts, *at, *seat, pixel_list(pixels_of(map_, [place])), guard(place.note)))
    return table_text(rows)
