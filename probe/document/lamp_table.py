"""What each lamp and group of the game lights, by the map: the one source of every table that leaves the program.

A pixel belongs to a lamp through its place (`Place.lamps`), to a group through `Place.group`. Pixels that are dark or
dead now are in the table all the same: once repaired they light. A place without a lamp but with a group is always on,
unless a row of general illumination has both a number and that group: then that lamp switches the whole group, as one
relay does.

Level and colour of a pixel are its place's; where the place has none, its group's; else the defaults below. They are
values of the map, in steps even to the eye; the duty that a pixel gets is `device_protocol.lightness` of them, and that is
what every table holds that leaves the program (SPEC 12.1).
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass

from device_protocol.lightness import at_level
from device_protocol.values import Colour
from probe.document.joining import lamps_lighting
from probe.document.model import Pixel, Place, PlayfieldMap
from probe.document.operations import folded
from probe.frozen import frozen

DEFAULT_LEVEL = 255
DEFAULT_COLOUR = Colour(255, 255, 255)


@dataclass(frozen=True, slots=True, order=True)
class TablePixel:
    """One pixel of a row: output of the board, number from 0, level 0 to 255, and colour at full level."""

    output: int
    number: int
    level: int = DEFAULT_LEVEL
    colour: Colour = DEFAULT_COLOUR

    @property
    def duty(self) -> Colour:
        """What the pixel is sent when its lamp is full on."""
        return at_level(self.colour, self.level)


@frozen
class LampRow:
    """A lamp number of the game, the names it has in the list, and its pixels by output and number."""

    number: int
    names: tuple[str, ...]
    pixels: tuple[TablePixel, ...]


@frozen
class GroupRow:
    """A group of places, and its pixels. `always_on` are those that no lamp of the game switches."""

    name: str
    pixels: tuple[TablePixel, ...]
    always_on: tuple[TablePixel, ...]


@frozen
class LampTable:
    """Every lamp by number, every group in the map's order. `revision` is the map's, 0 before the first."""

    revision: int
    lamps: tuple[LampRow, ...]
    groups: tuple[GroupRow, ...]

    def lamp(self, number: int) -> LampRow | None:
        """The row of a lamp number, or None."""
        return next((row for row in self.lamps if row.number == number), None)

    def group(self, name: str) -> GroupRow | None:
        """The row of a group, or None."""
        return next((row for row in self.groups if folded(row.name) == folded(name)), None)


def revision_of(map_: PlayfieldMap) -> int:
    """Number of the last closed change, or of the one that will close what is pending; 0 before the first."""
    return (map_.revisions[-1].number if map_.revisions else 0) + (1 if map_.pending else 0)


def light_of(map_: PlayfieldMap, place: Place) -> tuple[int, Colour]:
    """Level and colour of a place: its own, else its group's, else the defaults."""
    group = next((g for g in map_.groups if folded(g.name) == folded(place.group)), None) if place.group else None
    level = place.level if place.level is not None else group.level if group is not None else None
    colour = place.colour or (group.colour if group is not None else "")
    return (
        DEFAULT_LEVEL if level is None else level,
        Colour.from_text(colour) if colour else DEFAULT_COLOUR,
    )


BULB_WHITE = Colour(255, 191, 18)
"""The white of a bulb of 2,700 K with common parts (405, 690 and 190 mcd of red, green and blue)."""


def balanced(map_: PlayfieldMap, pixel: Pixel, colour: Colour) -> Colour:
    """A colour as a pixel's batch has to be sent it to look like that of common parts; as it is where no white is noted.

    Each of red, green and blue in the proportion that the batch's white has to `BULB_WHITE`; where one would be above
    full, all are lowered alike.
    """
    batch = map_.batch_of(pixel)
    if batch is None or not batch.white:
        return colour
    white = Colour.from_text(batch.white)
    pairs = ((white.red, BULB_WHITE.red), (white.green, BULB_WHITE.green), (white.blue, BULB_WHITE.blue))
    wanted = [v * own / common for v, (own, common) in zip((colour.red, colour.green, colour.blue), pairs, strict=True)]
    most = max(1.0, max(wanted) / 255)
    red, green, blue = (round(value / most) for value in wanted)
    return Colour(red, green, blue, round(colour.white / most))


def pixels_of(map_: PlayfieldMap, places: Iterable[Place]) -> tuple[TablePixel, ...]:
    """Pixels of some places, each once, by output and number."""
    found: dict[tuple[int, int], TablePixel] = {}
    for place in places:
        level, colour = light_of(map_, place)
        for chain, number in map_.pixels_at.get(place.id, ()):
            output = map_.chain(chain).output
            own = balanced(map_, map_.chain(chain).pixels[number], colour)
            found.setdefault((output, number), TablePixel(output, number, level, own))
    return tuple(found[key] for key in sorted(found))


def group_names(map_: PlayfieldMap) -> tuple[str, ...]:
    """Every group that a place, a row of the lamp list or a setting names, as first spelled."""
    named = [group.name for group in map_.groups]
    named += [lamp.group for lamp in map_.lamps] + [place.group for place in map_.places]
    found: dict[str, str] = {}
    for name in named:
        if name.strip():
            found.setdefault(folded(name), name)
    return tuple(found.values())


def lamp_table(map_: PlayfieldMap) -> LampTable:
    """The table of a map. Lamps of the list without a pixel have a row without pixels."""
    names: dict[int, list[str]] = {}
    for lamp in map_.lamps:
        if lamp.number is not None:
            names.setdefault(lamp.number, []).append(lamp.name)
    serving: dict[int, list[Place]] = {number: [] for number in names}
    grouped: dict[str, list[Place]] = {}
    lighting = lamps_lighting(map_)
    for place in map_.places:
        for number in lighting[place.id]:
            serving.setdefault(number, []).append(place)
        if place.group.strip():
            grouped.setdefault(folded(place.group), []).append(place)
    lamps = tuple(
        LampRow(number, tuple(names.get(number, ())), pixels_of(map_, serving[number])) for number in sorted(serving)
    )
    groups = []
    for name in group_names(map_):
        places = grouped.get(folded(name), [])
        always = pixels_of(map_, [place for place in places if not lighting[place.id]])
        groups.append(GroupRow(name, pixels_of(map_, places), always))
    return LampTable(revision_of(map_), lamps, tuple(groups))


def fingerprint(pixels: Iterable[TablePixel]) -> str:
    """8 hexadecimal digits that change when a row's pixels, levels or colours do (CRC-32)."""
    text = " ".join(f"{p.output}:{p.number}:{p.level}:{p.colour.text}" for p in pixels)
    return f"{zlib.crc32(text.encode()):08x}"
