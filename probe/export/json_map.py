"""The map as plain JSON for other programs: every pixel with its number and place, every key always there.

This is for reading by others; the map file keeps the map. The schema is `export.schema.json`.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from probe.document.file.layout import render_map
from probe.document.joining import places_of_lamp
from probe.document.json_text import json_line
from probe.document.model import ByteOrder, Kind, Lamp, Pixel, PixelState, Place, PlayfieldMap

EXPORT_NAME = "playfield-probe export"
EXPORT_VERSION = 1


class _Exported(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PixelAddress(_Exported):
    """A pixel: the chain's id, and the number in it from 0."""

    chain: str
    number: int = Field(ge=0)


class ExportedPixel(_Exported):
    """A pixel with all that is known of its place; those are null or empty if it has none."""

    number: int = Field(ge=0)
    id: str
    state: PixelState
    place: str | None
    name: str | None
    area: str
    kind: Kind | None
    x_mm: float | None
    y_mm: float | None
    guessed: bool = Field(description="the position was taken over from a neighbour; nobody has confirmed it")
    lamps: tuple[int, ...]
    verified: int = Field(ge=0, description="revision in which it was last seen to be right, 0 if never")
    note: str


class ExportedChain(_Exported):
    """A chain and its pixels, in the order of their numbers."""

    id: str
    name: str
    output: int = Field(ge=0)
    count: int | None
    order: ByteOrder
    chip: str
    latch_us: int
    ceiling_ma: int
    note: str
    pixels: tuple[ExportedPixel, ...]


class ExportedPlace(_Exported):
    """A place and the pixels that light it."""

    id: str
    name: str
    area: str
    kind: Kind
    x_mm: float | None
    y_mm: float | None
    guessed: bool = Field(description="the position was taken over from a neighbour; nobody has confirmed it")
    lamps: tuple[int, ...]
    group: str
    level: int | None = Field(description="brightness out of 255, null if nobody set it")
    note: str
    pixels: tuple[PixelAddress, ...]


class ExportedLamp(_Exported):
    """A lamp of the game, the places it belongs to and the pixels there. Without a number it belongs to a group."""

    number: int | None
    name: str
    area: str
    kind: Kind
    driver: str
    row: int | None
    column: int | None
    insert_colour: str
    group: str
    note: str
    places: tuple[str, ...]
    pixels: tuple[PixelAddress, ...]


class ExportedMachine(_Exported):
    """The machine; positions are millimetres from the near left corner of the playfield, seen from above."""

    name: str
    width_mm: float
    length_mm: float
    note: str


class ExportedRevision(_Exported):
    """The last change of the map that was closed."""

    number: int
    time: str
    reason: str


class ExportedMap(_Exported):
    """The whole map."""

    format: Literal["playfield-probe export"]
    version: Literal[1]
    machine: ExportedMachine
    revision: ExportedRevision | None
    chains: tuple[ExportedChain, ...]
    places: tuple[ExportedPlace, ...]
    lamps: tuple[ExportedLamp, ...]


def _spot(place: Place | None) -> dict[str, Any]:
    position = place.position if place else None
    return {
        "x_mm": position and float(position.x_mm),
        "y_mm": position and float(position.y_mm),
        "guessed": bool(position and position.guessed),
    }


def _pixel(number: int, pixel: Pixel, place: Place | None) -> dict[str, Any]:
    return {
        "number": number,
        "id": pixel.id,
        "state": pixel.state,
        "place": pixel.place,
        "name": place and place.label,
        "area": place.area if place else "",
        "kind": place and place.kind,
        **_spot(place),
        "lamps": list(place.lamps) if place else [],
        "verified": pixel.verified,
        "note": pixel.note,
    }


def _addresses(map_: PlayfieldMap, place: Place) -> list[dict[str, Any]]:
    return [{"chain": chain, "number": number} for chain, number in map_.pixels_at.get(place.id, ())]


def _place(map_: PlayfieldMap, place: Place) -> dict[str, Any]:
    return {
        "id": place.id,
        "name": place.label,
        "area": place.area,
        "kind": place.kind,
        **_spot(place),
        "lamps": list(place.lamps),
        "group": place.group,
        "level": place.level,
        "note": place.note,
        "pixels": _addresses(map_, place),
    }


def _lamp(map_: PlayfieldMap, lamp: Lamp) -> dict[str, Any]:
    places = places_of_lamp(map_, lamp)
    own = {name: getattr(lamp, name) for name in ExportedLamp.model_fields if name in Lamp.model_fields}
    pixels = [address for place in places for address in _addresses(map_, place)]
    return {**own, "places": [place.id for place in places], "pixels": pixels}


def _list(records: list[dict[str, Any]]) -> str:
    return "[\n" + ",\n".join(json_line(record) for record in records) + "\n]" if records else "[]"


def write_json(map_: PlayfieldMap) -> str:
    """The map as JSON text, one record per line, ending in a line feed; to be saved as UTF-8. Same map, same text."""
    machine = {
        "name": map_.machine.name,
        "width_mm": float(map_.machine.width_mm),
        "length_mm": float(map_.machine.length_mm),
        "note": map_.machine.note,
    }
    last = map_.revisions[-1] if map_.revisions else None
    revision = last and {"number": last.number, "time": last.time, "reason": last.reason}
    chains = []
    for chain in map_.chains:
        own = {name: getattr(chain, name) for name in ExportedChain.model_fields if name != "pixels"}
        pixels = [_pixel(number, pixel, map_.place_of(pixel)) for number, pixel in enumerate(chain.pixels)]
        chains.append(json_line(own)[:-1] + f', "pixels": {_list(pixels)}}}')
    return (
        f'{{\n"format": "{EXPORT_NAME}",\n"version": {EXPORT_VERSION},\n"machine": {json_line(machine)},\n'
        f'"revision": {json_line(revision)},\n'
        f'"chains": [{",".join(chr(10) + chain for chain in chains)}{chr(10) if chains else ""}],\n'
        f'"places": {_list([_place(map_, place) for place in map_.places])},\n'
        f'"lamps": {_list([_lamp(map_, lamp) for lamp in map_.lamps])}\n}}\n'
    )


def shared_copy(map_: PlayfieldMap) -> PlayfieldMap:
    """Machine, lamp list, places with their positions, the drawing, and what wire keeps clear of; no chain, power, light, note, proof or history."""
    places = tuple(
        place.model_copy(update={"note": "", "level": None, "colour": "", "depth_mm": None, "diffuser": False})
        for place in map_.places
    )
    return PlayfieldMap(
        machine=map_.machine.model_copy(update={"note": ""}),
        places=places,
        shapes=map_.shapes,
        keep_outs=map_.keep_outs,
        lamps=tuple(lamp.model_copy(update={"note": ""}) for lamp in map_.lamps),
    )


def write_shared(map_: PlayfieldMap) -> str:
    """That copy as the content of a map file."""
    return render_map(shared_copy(map_)).decode("utf-8")
