"""The playfield as an SVG 1.1 picture for paper: places by shape and word, numbers, the route of each chain with arrows.

Black on white; nothing rests on colour. Text from outside is cleaned and escaped. Same map, same bytes. Units in the
drawing are mm of the playfield.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from enum import Enum
from itertools import pairwise
from xml.sax.saxutils import escape

from probe.document.model import Kind, PixelState, Place, PlayfieldMap, Position, ShapeKind
from probe.document.plural import many
from probe.export.sheet_text import clean
from probe.playfield import shapes_of, strokes_of
from probe.playfield.field import above_field
from probe.playfield.strokes import MOVING_PARTS, extent_of

MARGIN = 24.0
FONT = 13.0
KEY_ROW = 20.0
_DASHES = ("", "14 6", "4 5", "18 5 4 5", "10 4 2 4 2 4", "2 8")
_CHARACTER = 0.6 * FONT
_HALO = 'stroke="#fff" stroke-width="3.5" paint-order="stroke" stroke-linejoin="round"'
_NAMES = {
    Kind.INSERT: "insert",
    Kind.BUMPER: "bumper",
    Kind.GENERAL: "general",
    Kind.FLASHER: "flasher",
    Kind.BACKBOX: "backbox",
    Kind.BUTTON: "button",
    Kind.SIGN: "sign",
    Kind.OTHER: "other",
}


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")


def shape(kind: Kind, x: float, y: float, *, unseen: bool = False) -> str:
    """The sign of a kind at a point: outlines, so that it reads on any printer. Dashed where no pixel lights it."""
    look = 'fill="#fff" stroke="#000" stroke-width="2"' + (' stroke-dasharray="3 2"' if unseen else "")
    match kind:
        case Kind.INSERT:
            return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="6" {look}/>'
        case Kind.BUMPER:
            inner = f'<circle cx="{_n(x)}" cy="{_n(y)}" r="6" {look}/>'
            return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="12" {look}/>{inner}'
        case Kind.GENERAL:
            dot = look.replace('fill="#fff"', 'fill="#000"') if not unseen else look
            return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4" {dot}/>'
        case Kind.FLASHER:
            points = []
            for k in range(16):
                r = 10 if k % 2 == 0 else 5
                a = math.pi * k / 8
                points.append(f"{_n(x + r * math.sin(a))},{_n(y - r * math.cos(a))}")
            return f'<polygon points="{" ".join(points)}" {look}/>'
        case Kind.BACKBOX:
            return f'<rect x="{_n(x - 6)}" y="{_n(y - 6)}" width="12" height="12" {look}/>'
        case Kind.BUTTON:
            return f'<path d="M{_n(x - 7)},{_n(y + 5)} v-4 a7,7 0 0 1 14,0 v4 z" {look}/>'
        case Kind.SIGN:
            return f'<rect x="{_n(x - 10)}" y="{_n(y - 5)}" width="20" height="10" {look}/>'
        case Kind.OTHER:
            return f'<path d="M{_n(x)},{_n(y - 7)} l7,7 l-7,7 l-7,-7 z" {look}/>'


def cross(x: float, y: float) -> str:
    """Over a place whose pixel is dark or dead."""
    return (
        f'<path d="M{_n(x - 9)},{_n(y - 9)} l18,18 M{_n(x + 9)},{_n(y - 9)} l-18,18" '
        'stroke="#000" stroke-width="3" fill="none"/>'
    )


class DrawnPart(Enum):
    """What of the map is drawn. The value is the word under the picture."""

    WHOLE = "playfield"
    PLAYFIELD = "playfield alone"
    ABOVE = "beyond the playfield"


def beyond(map_: PlayfieldMap, place: Place) -> bool:
    """Whether a place lies beyond the far edge of the playfield, such as in a backbox."""
    return place.position is not None and above_field(map_, place.position)


def parts_of(map_: PlayfieldMap) -> tuple[DrawnPart, ...]:
    """The pictures that a page needs: the whole, or the playfield and what lies beyond it, each as large as it can be."""
    return (
        (DrawnPart.PLAYFIELD, DrawnPart.ABOVE)
        if any(beyond(map_, place) for place in map_.places)
        else (DrawnPart.WHOLE,)
    )


def picture_svg(
    map_: PlayfieldMap,
    *,
    from_below: bool = False,
    route: bool = True,
    inline: bool = False,
    part: DrawnPart = DrawnPart.WHOLE,
) -> str:
    """The picture as a complete document; `inline`: as an element for an HTML page. Places without a position are left out
    (the key gives their number)."""
    return Picture(map_, from_below=from_below, route=route, part=part).document(inline=inline)


class Picture:
    """One picture, laid out; `width` and `height` are its own units, mm of the playfield."""

    def __init__(self, map_: PlayfieldMap, *, from_below: bool, route: bool, part: DrawnPart) -> None:
        self.map, self.from_below, self.with_route, self.part = map_, from_below, route, part
        wanted = {DrawnPart.WHOLE: (True, False), DrawnPart.PLAYFIELD: (False,), DrawnPart.ABOVE: (True,)}[part]
        self.places = [p for p in map_.places if p.position is not None and beyond(map_, p) in wanted]
        self.drawn = {place.id for place in self.places}
        spots = [place.position for place in self.places if place.position is not None]
        edge_mm = map_.machine.length_mm
        beyond_too = any(beyond(map_, place) for place in self.places)
        self.shapes = [
            s for s in shapes_of(map_) if (beyond_too if s.kind is ShapeKind.PANEL else part is not DrawnPart.ABOVE)
        ]
        lefts, nears, rights, fars = zip(*map(extent_of, self.shapes), strict=True) if self.shapes else ((),) * 4
        self.left = min([0.0, *lefts, *(p.x_mm for p in spots)])
        self.right = max([map_.machine.width_mm, *rights, *(p.x_mm for p in spots)])
        self.near = min([edge_mm if part is DrawnPart.ABOVE else 0.0, *nears, *(p.y_mm for p in spots)])
        self.far = max([edge_mm, *fars, *(p.y_mm for p in spots)])
        self.lines: dict[str, list[tuple[float, float, float, float]]] = {}
        self.width = self.right - self.left + 2 * MARGIN
        self.base = self.far - self.near + 2 * MARGIN
        self.taken = _Boxes()
        self.kinds = [kind for kind in Kind if any(p.kind is kind for p in self.places)]
        self.key = self._key()
        self.height = self.base + KEY_ROW * len(self.key) + 10

    def xy(self, position: Position) -> tuple[float, float]:
        return self.xy_mm(position.x_mm, position.y_mm)

    def xy_mm(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        x = x_mm - self.left
        if self.from_below:
            x = self.right - self.left - x
        return MARGIN + x, MARGIN + self.far - y_mm

    def document(self, *, inline: bool, width_mm: float | None = None) -> str:
        """The picture's text. `width_mm`: how wide it is on paper (default: as wide as what it shows)."""
        height = self.height
        scale, unit = (1.0, "") if width_mm is None else (width_mm / self.width, "mm")
        side = "from below (mirrored)" if self.from_below else "from above"
        title = f"{clean(self.map.machine.name)}, {side}"
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" viewBox="0 0 {_n(self.width)} {_n(height)}" '
            f'width="{_n(self.width * scale)}{unit}" height="{_n(height * scale)}{unit}" font-family="sans-serif" font-size="{_n(FONT)}" '
            'role="img">'
        )
        parts = [
            *([] if inline else ['<?xml version="1.0" encoding="UTF-8"?>']),
            head,
            f"<title>{escape(title)}</title>",
            f'<rect width="{_n(self.width)}" height="{_n(height)}" fill="#fff"/>',
            *self._shapes(),
            *self._edges(side),
            *(self._routes() if self.with_route else []),
            *self._places(),
            *self._numbers(),
        ]
        for row, line in enumerate(self.key):
            y = self.base + KEY_ROW * (row + 0.5)
            parts += self._key_row(line, y)
        return "\n".join([*parts, "</svg>"]) + "\n"

    def _shapes(self) -> list[str]:
        """The drawn playfield, light enough that places and numbers stand out: the strokes that the screen draws too."""
        parts = []
        for shape in self.shapes:
            look = 'stroke="#888"' if shape.kind in MOVING_PARTS else 'stroke="#bbb"'
            for stroke in strokes_of(shape):
                spots = (self.xy_mm(x, y) for x, y in stroke.points)
                line = " L".join(f"{_n(x)},{_n(y)}" for x, y in spots)
                fill = "#eee" if stroke.fill else "none"
                dotted = ' stroke-dasharray="2 3"' if stroke.dotted else ""
                parts.append(f'<path d="M{line}" fill="{fill}" {look} stroke-width="1"{dotted}/>')
        return parts

    def _edges(self, side: str) -> list[str]:
        """The playfield's outline and where the player stands; beyond it, the far edge alone."""
        x0, y1 = self.xy(Position(x_mm=0, y_mm=0))
        x1, y0 = self.xy(Position(x_mm=self.map.machine.width_mm, y_mm=self.map.machine.length_mm))
        left, right = min(x0, x1), max(x0, x1)
        words = f'<text x="{_n(self.width / 2)}" y="{{}}" text-anchor="middle">{{}}</text>'
        if self.part is DrawnPart.ABOVE:
            edge = f'<path d="M{_n(left)},{_n(y0)} H{_n(right)}" stroke="#000" stroke-width="1.5"/>'
            return [edge, words.format(_n(y0 + 17), f"far edge of the playfield, {escape(side)}")]
        return [
            f'<rect x="{_n(left)}" y="{_n(y0)}" width="{_n(right - left)}" height="{_n(y1 - y0)}" fill="none" '
            'stroke="#000" stroke-width="1.5"/>',
            words.format(_n(y1 + 17), f"player, {escape(side)}"),
        ]

    def _routes(self) -> list[str]:
        parts = []
        for index, chain in enumerate(self.map.chains):
            named = []
            for pixel in chain.pixels:
                place = self.map.place_of(pixel)
                if place is not None and place.position is not None and place.id in self.drawn:
                    named.append((place.id, self.xy(place.position)))
            named = [item for at, item in enumerate(named) if at == 0 or item[1] != named[at - 1][1]]
            if not named:
                continue
            spots = [spot for _, spot in named]
            for (one, a), (other, b) in pairwise(named):
                for name in (one, other):
                    self.lines.setdefault(name, []).append((*a, *b))
            dash = _DASHES[index % len(_DASHES)]
            points = " ".join(f"{_n(x)},{_n(y)}" for x, y in spots)
            parts.append(
                f'<polyline points="{points}" fill="none" stroke="#777" stroke-width="1.6"'
                + (f' stroke-dasharray="{dash}"' if dash else "")
                + "/>"
            )
            parts += [_arrow(a, b) for a, b in pairwise(spots) if math.dist(a, b) > 26]
            x, y = spots[0]
            parts.append(f'<path d="M{_n(x - 15)},{_n(y + 15)} l9,-2 l-7,-7 z" fill="#000"/>')
        return parts

    def _places(self) -> list[str]:
        trouble = {
            pixel.place
            for _, _, pixel in self.map.walk_pixels()
            if pixel.place and pixel.state in (PixelState.DARK, PixelState.DEAD)
        }
        parts = []
        for place in self.places:
            assert place.position is not None
            x, y = self.xy(place.position)
            reach = 12 if place.kind is Kind.BUMPER else 8
            self.taken.add((x - reach, y - reach, x + reach, y + reach))
            drawn = shape(place.kind, x, y, unseen=place.id not in self.map.pixels_at)
            if place.id in trouble:
                drawn += cross(x, y)
            parts.append(f"<g><title>{escape(clean(place.label))}</title>{drawn}</g>")
        return parts

    def _numbers(self) -> list[str]:
        """Numbers beside their places, where they hide no other; those that find no room stand close all the same."""
        parts = []
        for place in self.places:
            pixels = self.map.pixels_at.get(place.id, ())
            if place.position is None or not pixels:
                continue
            text = self._number_text(pixels)
            x, y = self.xy(place.position)
            cx, cy = self._room(place, x, y, len(text) * _CHARACTER)
            parts.append(f'<text x="{_n(cx)}" y="{_n(cy)}" {_HALO}>{escape(text)}</text>')
        return parts

    def _number_text(self, pixels: Sequence[tuple[str, int]]) -> str:
        letters = {chain.id: chr(97 + at % 26) for at, chain in enumerate(self.map.chains)}
        return ",".join(f"{letters[c] if c != self.map.chains[0].id else ''}{n}" for c, n in pixels)

    def _room(self, place: Place, x: float, y: float, long: float) -> tuple[float, float]:
        out = 16 if place.kind is Kind.BUMPER else 9
        high = FONT * 0.75
        spots = (
            (x + out, y + high / 2),
            (x - out - long, y + high / 2),
            (x - long / 2, y - out),
            (x - long / 2, y + out + high),
            (x + out * 0.7, y - out * 0.7),
            (x + out * 0.7, y + out * 0.7 + high),
            (x - out * 0.7 - long, y - out * 0.7),
            (x - out * 0.7 - long, y + out * 0.7 + high),
        )
        best, least = spots[0], math.inf
        for px, py in spots:
            box = (px, py - high, px + long, py)
            outside = max(0.0, 2 - box[0]) + max(0.0, box[2] - self.width + 2)
            cost = outside * 50 + self.taken.overlap(box)
            cost += sum(12.0 for line in self.lines.get(place.id, ()) if _crosses(line, box))
            if cost < least:
                best, least = (px, py), cost
            if cost == 0:
                break
        self.taken.add((best[0], best[1] - high, best[0] + long, best[1]))
        return best

    def _key(self) -> list[list[tuple[str, str]]]:
        """Rows of (drawing at 0,0, words)."""
        items = [(shape(kind, 0, 0), _NAMES[kind]) for kind in self.kinds]
        items.append((shape(Kind.INSERT, 0, 0, unseen=True), "no pixel yet"))
        items.append((cross(0, 0), "dark or dead"))
        if self.with_route:
            for index, chain in enumerate(self.map.chains):
                if not any(pixel.place in self.drawn for pixel in chain.pixels):
                    continue
                dash = _DASHES[index % len(_DASHES)]
                dashed = f' stroke-dasharray="{dash}"' if dash else ""
                letter = f" ({chr(97 + index % 26)} before its numbers)" if index else ""
                line = f'<path d="M-12,0 h26" stroke="#777" stroke-width="2" fill="none"{dashed}/>'
                items.append((line, f"{clean(chain.name)[:40]}{letter}"))
        missing = sum(place.position is None for place in self.map.places)
        if missing and self.part is not DrawnPart.ABOVE:
            items.append(("", f"{many(missing, 'place')} {'has' if missing == 1 else 'have'} no position"))
        rows: list[list[tuple[str, str]]] = [[]]
        used = MARGIN
        for item in items:
            length = 40 + len(item[1]) * _CHARACTER
            if used + length > self.width and rows[-1]:
                rows.append([])
                used = MARGIN
            rows[-1].append(item)
            used += length
        return rows

    def _key_row(self, row: Sequence[tuple[str, str]], y: float) -> list[str]:
        parts, x = [], MARGIN
        for drawn, words in row:
            parts.append(f'<g transform="translate({_n(x + 6)},{_n(y)}) scale(0.85)">{drawn}</g>')
            parts.append(f'<text x="{_n(x + 20)}" y="{_n(y + 4.5)}">{escape(words)}</text>')
            x += 40 + len(words) * _CHARACTER
        return parts


def _arrow(a: tuple[float, float], b: tuple[float, float]) -> str:
    """A small head in the middle of a stretch."""
    length = math.dist(a, b)
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    mx, my = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    tip = f"{_n(mx + 5 * ux)},{_n(my + 5 * uy)}"
    left = f"{_n(mx - 4 * ux - 4 * uy)},{_n(my - 4 * uy + 4 * ux)}"
    right = f"{_n(mx - 4 * ux + 4 * uy)},{_n(my - 4 * uy - 4 * ux)}"
    return f'<path d="M{tip} L{left} L{right} z" fill="#777"/>'


Rectangle = tuple[float, float, float, float]


class _Boxes:
    """Boxes that are taken, sorted into squares so that only those near by are looked at."""

    SQUARE = 40.0

    def __init__(self) -> None:
        self.squares: dict[tuple[int, int], list[Rectangle]] = {}

    def _near(self, box: Rectangle) -> Iterator[tuple[int, int]]:
        for column in range(int(box[0] // self.SQUARE), int(box[2] // self.SQUARE) + 1):
            for row in range(int(box[1] // self.SQUARE), int(box[3] // self.SQUARE) + 1):
                yield column, row

    def add(self, box: Rectangle) -> None:
        for square in self._near(box):
            self.squares.setdefault(square, []).append(box)

    def overlap(self, box: Rectangle) -> float:
        """Area that others take of a box."""
        others = {other for square in self._near(box) for other in self.squares.get(square, ())}
        return sum(sorted(_overlap(box, other) for other in others))


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def _crosses(line: tuple[float, float, float, float], box: tuple[float, float, float, float]) -> bool:
    """Whether a stretch of the route passes through a box (looked at in steps, near enough for paper)."""
    x0, y0, x1, y1 = line
    steps = max(2, int(math.hypot(x1 - x0, y1 - y0) / 4))
    return any(
        box[0] <= x0 + (x1 - x0) * k / steps <= box[2] and box[1] <= y0 + (y1 - y0) * k / steps <= box[3]
        for k in range(min(steps, 24) + 1)
    ) or any(
        box[0] <= x1 - (x1 - x0) * k / steps <= box[2] and box[1] <= y1 - (y1 - y0) * k / steps <= box[3]
        for k in range(min(steps, 24) + 1)
    )
