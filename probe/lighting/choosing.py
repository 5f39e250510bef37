"""Choosing a place: in the order of the chains, by a point of the playfield, or the next one in a direction."""

from __future__ import annotations

import math

from probe.document.model import Place, PlayfieldMap


def in_order(map_: PlayfieldMap) -> tuple[str, ...]:
    """Every place: those with pixels along the chains, then the rest."""
    found = dict.fromkeys(pixel.place for _, _, pixel in map_.walk_pixels() if pixel.place is not None)
    found.update(dict.fromkeys(place.id for place in map_.places))
    return tuple(found)


def nearest(map_: PlayfieldMap, x_mm: float, y_mm: float) -> str | None:
    """The place nearest to a point, None if no place has a position."""
    spots = [(place.position, place.id) for place in map_.places if place.position is not None]
    if not spots:
        return None
    return min(spots, key=lambda s: (math.hypot(s[0].x_mm - x_mm, s[0].y_mm - y_mm), s[1]))[1]


def towards(map_: PlayfieldMap, place: Place, across: int, up: int) -> str | None:
    """The next place in a direction: the nearest, counting what it lies aside two times more; None if there is none."""
    if place.position is None:
        return None
    best: tuple[float, str] | None = None
    for other in map_.places:
        if other.position is None or other.id == place.id:
            continue
        dx, dy = other.position.x_mm - place.position.x_mm, other.position.y_mm - place.position.y_mm
        ahead, aside = (dx * across, abs(dy)) if across else (dy * up, abs(dx))
        if ahead <= 0:
            continue
        cost = (ahead + 2 * aside, other.id)
        if best is None or cost < best:
            best = cost
    return best[1] if best else None
