"""Where a newly named place may be: from its words, the drawn shapes, and the pixels before it along the chain.

Always marked as a guess: a position that a person has to confirm. How parts are called and where lights sit beside them is
common practice, no source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence

from probe.document.model import Kind, PlayfieldMap, Position
from probe.document.model.shape import Point, Shape, ShapeKind
from probe.frozen import frozen
from probe.playfield.field import above_field, shapes_of
from probe.playfield.strokes import extent_of, placing

_TAKEN_MM = 12.0
_ASIDE_MM = 28.0
_USUAL_STEP_MM = 40.0
_WIRE_SHARE = 0.75
"""Of the wire between two pixels about a quarter is slack and depth. Common practice, no source."""

_WORDS = re.compile(r"[^\W\d_]+|\d+")
_SIDES = {"left": (-1, 0), "right": (1, 0), "upper": (0, 1), "top": (0, 1), "lower": (0, -1), "bottom": (0, -1)}
_SIDES |= {"middle": (0, 0), "centre": (0, 0), "center": (0, 0)}


@frozen
class _Site:
    """A spot on a shape where light commonly is; `number` counts like ones, from 1."""

    words: frozenset[str]
    point: Point
    number: int = 0
    lesser: frozenset[str] = frozenset()

    def score(self, words: set[str]) -> int:
        """How well a label's words name it; words that many parts share count half."""
        return 2 * len(words & self.words) + len(words & self.lesser)


def words_of(text: str) -> tuple[str, ...]:
    """Words and numbers of a label, in lower case and in the singular."""
    found = (word.casefold() for word in _WORDS.findall(text))
    return tuple(
        word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word for word in found
    )


def guess_position(
    map_: PlayfieldMap,
    label: str,
    *,
    kind: Kind | None = None,
    area: str = "",
    before: Sequence[Position] = (),
    continues_row: bool = False,
    spacing_mm: float | None = None,
) -> Position:
    """A position for a place with that label, marked as a guess.

    `before`: positions of the pixels before it along the chain, the nearest first; with `continues_row` the place goes on
    with the row that they began. `spacing_mm`: wire between two pixels. The first of these that gives one decides: the row;
    a shape that the label's words name; the step along the chain; the middle of the places of its area; the middle of
    the field.
    """
    beyond = kind is Kind.BACKBOX
    point = _in_row(map_, before, beyond=beyond) if continues_row else None
    if point is None and not beyond:
        point = _by_words(map_, label)
    if point is None:
        point = _along(map_, before, spacing_mm, beyond=beyond)
    if point is None:
        point = _of_area(map_, area) or _anywhere(map_, label, beyond=beyond)
    x, y = _set_apart(map_, point, beyond=beyond)
    return Position(x_mm=round(x, 1), y_mm=round(y, 1), guessed=True)


def _in_row(map_: PlayfieldMap, before: Sequence[Position], *, beyond: bool) -> Point | None:
    """As far on from the last as that is from the one before it."""
    if len(before) < 2:
        return None
    last, first = before[:2]
    x, y = 2 * last.x_mm - first.x_mm, 2 * last.y_mm - first.y_mm
    left, near, right, far = _bounds(map_, beyond=beyond)
    return (x, y) if left <= x <= right and near <= y <= far and (x, y) != (last.x_mm, last.y_mm) else None


def _by_words(map_: PlayfieldMap, label: str) -> Point | None:
    said = words_of(label)
    words, number = set(said), next((int(word) for word in reversed(said) if word.isdigit() and len(word) < 4), 0)
    sites = [(site.score(words), site) for shape in shapes_of(map_) for site in _sites(shape)]
    most = max((score for score, _ in sites), default=0)
    if most == 0:
        return None
    fitting = [site for score, site in sites if score == most]
    fitting = _on_side(map_, words, fitting)
    numbered = [site for site in fitting if site.number == number and number]
    free = [site for site in numbered or fitting if not _is_taken(map_, site.point)]
    chosen = (free or numbered or fitting)[0]
    return chosen.point


def _on_side(map_: PlayfieldMap, words: set[str], sites: list[_Site]) -> list[_Site]:
    """Those on the side that the words name, if there are some."""
    middle_x, middle_y = map_.machine.width_mm / 2, map_.machine.length_mm / 2
    for word in words & _SIDES.keys():
        across, along = _SIDES[word]
        if across:
            some = [site for site in sites if (site.point[0] - middle_x) * across > 0]
        elif along:
            some = [site for site in sites if (site.point[1] - middle_y) * along > 0]
        else:
            some = [site for site in sites if abs(site.point[0] - middle_x) < middle_x / 2]
        sites = some or sites
    return sites


def _sites(shape: Shape) -> Iterator[_Site]:
    """Where light commonly is at a shape, with the words people use for it."""
    named = frozenset(words_of(shape.name)) - _SIDES.keys()
    place = placing(shape)
    for words, points in _spots(shape):
        many = len(points) > 1
        lesser = frozenset({"lane"} if shape.kind in (ShapeKind.LANE_GUIDE, ShapeKind.SHOOTER_LANE) else ())
        for number, point in enumerate(points, start=1):
            yield _Site(frozenset(words) | (named - lesser), place(point), number if many else 0, lesser)


def _spots(shape: Shape) -> Iterator[tuple[tuple[str, ...], Sequence[Point]]]:
    """Spots in the shape's own mm, unturned."""
    s = shape.sizes
    match shape.kind:
        case ShapeKind.FLIPPER:
            yield ("flipper",), [(0.0, 5.0), (s["length_mm"] * 0.5, 12.0)]
        case ShapeKind.SLINGSHOT:
            yield ("sling", "slingshot"), [(10.0, 5.0), (4.0, s["height_mm"] * 0.62), (22.0, 30.0)]
        case ShapeKind.LANE_GUIDE:
            yield ("return", "inlane"), [(20.0, s["height_mm"] * 0.45)]
            yield ("outlane",), [(-20.0, s["height_mm"] * 0.45), (-28.0, -8.0)]
        case ShapeKind.SHOOTER_LANE:
            middle = -s["width_mm"] / 2
            at = (0.28, 0.72, 1.0, 0.5)
            yield ("shooter", "launch", "plunger"), [(middle, s["straight_mm"] * share) for share in at]
        case ShapeKind.BUMPER:
            yield ("bumper", "pop"), [(0.0, 0.0)]
        case ShapeKind.DROP_TARGETS:
            yield ("target", "drop"), [(14.0, s["pitch_mm"] * k) for k in range(int(s["count"]))]
        case ShapeKind.STANDING_TARGETS:
            yield ("target", "standing", "standup"), [(-16.0, s["pitch_mm"] * k) for k in range(int(s["count"]))]
        case ShapeKind.ROLLOVER_LANES:
            count = int(s["count"])
            spots = [((k - (count - 1) / 2) * s["pitch_mm"], s["length_mm"] / 2) for k in range(count)]
            yield ("rollover", "lane"), spots
        case ShapeKind.SPINNER:
            yield ("spinner",), [(0.0, -22.0)]
        case ShapeKind.SAUCER:
            yield ("saucer", "hole", "eject"), [(0.0, 0.0)]
        case ShapeKind.RAMP:
            yield ("ramp",), [*shape.points[:1], *shape.points[-1:]]
        case ShapeKind.APRON:
            yield ("apron", "drain"), [(s["width_mm"] / 2 + 16, s["drain_height_mm"] + 40)]
        case _:
            return


def _along(map_: PlayfieldMap, before: Sequence[Position], spacing_mm: float | None, *, beyond: bool) -> Point | None:
    """One step on along the chain: as the last step went, as long as the wire reaches."""
    if not before or above_field(map_, before[0]) is not beyond:
        return None
    here = before[0]
    reach = spacing_mm * _WIRE_SHARE if spacing_mm else _USUAL_STEP_MM
    dx, dy = reach, 0.0
    if len(before) > 1:
        dx, dy = here.x_mm - before[1].x_mm, here.y_mm - before[1].y_mm
        long = math.hypot(dx, dy)
        if long < 1:
            dx, dy = reach, 0.0
        elif long > reach:
            dx, dy = dx * reach / long, dy * reach / long
    left, near, right, far = _bounds(map_, beyond=beyond)
    for turned in ((dx, dy), (-dy, dx), (dy, -dx), (-dx, -dy)):
        x, y = here.x_mm + turned[0], here.y_mm + turned[1]
        if left <= x <= right and near <= y <= far:
            return x, y
    return here.x_mm, here.y_mm


def _bounds(map_: PlayfieldMap, *, beyond: bool) -> tuple[float, float, float, float]:
    width, length = map_.machine.width_mm, map_.machine.length_mm
    if not beyond:
        return 12.0, 12.0, width - 12.0, length - 12.0
    for shape in shapes_of(map_):
        if shape.kind is ShapeKind.PANEL:
            return extent_of(shape)
    return 12.0, length + 40.0, width - 12.0, length + 540.0


def _of_area(map_: PlayfieldMap, area: str) -> Point | None:
    spots = [p.position for p in map_.places if area and p.area == area and p.position is not None]
    if not spots:
        return None
    return sum(s.x_mm for s in spots) / len(spots), sum(s.y_mm for s in spots) / len(spots)


def _anywhere(map_: PlayfieldMap, label: str, *, beyond: bool) -> Point:
    left, near, right, far = _bounds(map_, beyond=beyond)
    x, y = (left + right) / 2, (near + far) / 2
    for word in set(words_of(label)) & _SIDES.keys():
        across, along = _SIDES[word]
        x += across * (right - left) / 4
        y += along * (far - near) / 4
    return x, y


def _positions(map_: PlayfieldMap) -> Iterable[Position]:
    return (place.position for place in map_.places if place.position is not None)


def _is_taken(map_: PlayfieldMap, point: Point) -> bool:
    return any(math.hypot(p.x_mm - point[0], p.y_mm - point[1]) < _TAKEN_MM for p in _positions(map_))


def _set_apart(map_: PlayfieldMap, point: Point, *, beyond: bool) -> Point:
    """The point, or the nearest free one around it that is on the field."""
    left, near, right, far = _bounds(map_, beyond=beyond)
    x = min(right, max(left, point[0]))
    y = min(far, max(near, point[1]))
    if not _is_taken(map_, (x, y)):
        return x, y
    for ring in (1, 2, 3):
        for step in range(8):
            turn = math.pi * step / 4
            other = (x + ring * _ASIDE_MM * math.cos(turn), y + ring * _ASIDE_MM * math.sin(turn))
            if left <= other[0] <= right and near <= other[1] <= far and not _is_taken(map_, other):
                return other
    return x, y
