"""The picture in cells of a terminal: strokes as braille dots or as plain ASCII lines, places as signs, the lit one ringed.

`still_cells` is what stays from light to light and is made once for a map, a size and a view; `ring_cells` is what one lit or
offered place lays over it. A cell is a sign and a role; a theme gives each role its colour. Of the layers the uppermost role
names the cell, and dots of the layers below stay in it.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise

from probe.document.model import Kind, PixelState, PlayfieldMap, Position
from probe.document.model.shape import Point, Shape, ShapeKind
from probe.document.outside_text import visible
from probe.frozen import frozen
from probe.playfield.strokes import MOVING_PARTS, strokes_of
from probe.playfield.window import Layout, Window

Cell = tuple[str, str]
"""A sign and its role."""
Rows = dict[int, dict[int, Cell]]
"""Row → column → cell."""

SIGNS: Mapping[Kind, str] = {
    Kind.INSERT: "o",
    Kind.BUMPER: "⊚",
    Kind.GENERAL: "+",
    Kind.FLASHER: "✦",
    Kind.BACKBOX: "▭",
    Kind.BUTTON: "▵",
    Kind.SIGN: "#",
    Kind.OTHER: "?",
}
GUESS_SIGN = "◌"
NO_PIXEL_SIGN = "⋅"
DARK_SIGN = "✕"
CHANGED_SIGN = "!"
LIT_SIGN = "◉"
OFFERED_SIGN = "?"
PANEL_NAME = "backbox"
_ARROWS = "▸◂▴▾"
PLAIN_SIGNS: Mapping[str, str] = {
    "⊚": "O",
    "✦": "*",
    "▭": "=",
    "▵": "u",
    GUESS_SIGN: "~",
    NO_PIXEL_SIGN: "_",
    DARK_SIGN: "x",
    LIT_SIGN: "@",
    "▸": ">",
    "◂": "<",
    "▴": "^",
    "▾": "v",
}
"""The same in ASCII."""

ROLES = (
    "field",
    "part",
    "grid",
    "route",
    "number",
    "other",
    "none",
    "guess",
    "here",
    "changed",
    "trouble",
    "off",
    "colour",
    "held",
    "shape",
    "ring",
    "offered",
    "lit",
    "mark",
    "label",
)
"""From the lowest to the uppermost."""
RANK: Mapping[str, int] = {role: rank for rank, role in enumerate(ROLES)}
_CLEARED_BY_RING = frozenset({"field", "part", "grid", "route", "number"})

_BRAILLE = 0x2800
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
FINE_MM, MIDDLE_MM = 5.2, 9.2
"""At so many mm a dot or fewer, tier 2 or tier 1 of a shape is drawn too."""
GRID_MM = 50.0
_COARSE_KINDS = frozenset(
    {
        ShapeKind.OUTLINE,
        ShapeKind.APRON,
        ShapeKind.FLIPPER,
        ShapeKind.SLINGSHOT,
        ShapeKind.SHOOTER_LANE,
        ShapeKind.BUMPER,
        ShapeKind.PANEL,
    }
)


def plain_sign(sign: str) -> str:
    """A sign in ASCII."""
    return PLAIN_SIGNS.get(sign, sign)


class Dots:
    """Dots of braille characters, by cell."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self.bits: dict[tuple[int, int], int] = {}

    def put(self, across: float, down: float) -> None:
        """Set the dot nearest to a point."""
        u, v = math.floor(across + 0.5), math.floor(down + 0.5)
        column, row = u >> 1, v >> 2
        if 0 <= column < self.columns and 0 <= row < self.rows:
            key = column, row
            self.bits[key] = self.bits.get(key, 0) | _DOTS[v & 3][u & 1]

    def line(self, start: Point, end: Point, *, every: int = 1) -> None:
        """Set the dots of a straight line, or every so many of them. What lies outside is cut first."""
        cut = _cut(start, end, self.columns * 2.0, self.rows * 4.0)
        if cut is None:
            return
        (x0, y0), (x1, y1) = cut
        steps = max(1, math.ceil(max(abs(x1 - x0), abs(y1 - y0))))
        for k in range(0, steps + 1, every):
            self.put(x0 + (x1 - x0) * k / steps, y0 + (y1 - y0) * k / steps)

    def fill(self, points: Sequence[Point]) -> None:
        """Set the dots inside a closed line."""
        low = max(0, math.floor(min(y for _, y in points)))
        high = min(self.rows * 4, math.ceil(max(y for _, y in points)))
        for v in range(low, high + 1):
            crossings = sorted(
                ax + (v - ay) * (bx - ax) / (by - ay)
                for (ax, ay), (bx, by) in pairwise(points)
                if (ay <= v) != (by <= v)
            )
            for left, right in zip(crossings[::2], crossings[1::2], strict=False):
                for u in range(max(0, math.floor(left + 0.5)), min(self.columns * 2, math.floor(right + 0.5)) + 1):
                    self.put(u, v)


def _cut(start: Point, end: Point, width: float, height: float) -> tuple[Point, Point] | None:
    """The part of a line that lies in a box from -1 to its size (Liang and Barsky 1984, from memory); None if none does."""
    (x0, y0), (x1, y1) = start, end
    dx, dy = x1 - x0, y1 - y0
    first, last = 0.0, 1.0
    for step, room in ((-dx, x0 + 1), (dx, width - x0), (-dy, y0 + 1), (dy, height - y0)):
        if step == 0:
            if room < 0:
                return None
        elif step < 0:
            first = max(first, room / step)
        else:
            last = min(last, room / step)
    if first > last:
        return None
    return (x0 + dx * first, y0 + dy * first), (x0 + dx * last, y0 + dy * last)


# -- shapes ---------------------------------------------------------------------------------------------------------------


def tier_of(mm_per_dot: float) -> int:
    """The finest tier of a shape's strokes that is drawn at that scale."""
    return 2 if mm_per_dot <= FINE_MM else 1 if mm_per_dot <= MIDDLE_MM else 0


def shape_cells(shapes: Iterable[Shape], window: Window, *, plain: bool = False) -> dict[tuple[int, int], Cell]:
    """The shapes in a window, by (column, row) within it."""
    shapes = [shape for shape in shapes if _meets(shape, window)]
    return _plain_shapes(shapes, window) if plain else _braille_shapes(shapes, window)


def _meets(shape: Shape, window: Window) -> bool:
    left, near, right, far = window.box
    return any(
        left - 50 <= x <= right + 50 and near - 50 <= y <= far + 50
        for stroke in strokes_of(shape)
        for x, y in stroke.points
    )


def _braille_shapes(shapes: Iterable[Shape], window: Window) -> dict[tuple[int, int], Cell]:
    tier = tier_of(window.mm_per_dot)
    drawn = {role: Dots(window.columns, window.rows) for role in ("field", "part")}
    for shape in shapes:
        dots = drawn["part" if shape.kind in MOVING_PARTS else "field"]
        for stroke in strokes_of(shape):
            if stroke.tier > tier:
                continue
            points = [window.dot(*point) for point in stroke.points]
            if stroke.fill:
                dots.fill(points)
            for start, end in pairwise(points):
                dots.line(start, end, every=2 if stroke.dotted else 1)
    cells: dict[tuple[int, int], Cell] = {
        at: (chr(_BRAILLE + bits), "field") for at, bits in drawn["field"].bits.items()
    }
    for at, bits in drawn["part"].bits.items():
        cells[at] = (chr(_BRAILLE + (bits | bits_of(cells.get(at)))), "part")
    return cells


def bits_of(cell: Cell | None) -> int:
    """The dots of a braille cell; 0 for another one."""
    code = ord(cell[0][0]) - _BRAILLE if cell is not None and cell[0] else 0
    return code if 0 <= code < 256 else 0


def _plain_shapes(shapes: Iterable[Shape], window: Window) -> dict[tuple[int, int], Cell]:
    """The same strokes as `- _ | / \\`; where the cells are coarse only what can be told from noise."""
    mm = window.mm_per_dot
    tier = min(1, tier_of(mm))
    coarse = mm > MIDDLE_MM
    cells: dict[tuple[int, int], str] = {}
    for shape in shapes:
        if coarse and shape.kind not in _COARSE_KINDS:
            continue
        if shape.kind is ShapeKind.BUMPER and mm > FINE_MM:
            cells |= _plain_bumper(shape, window, coarse=coarse)
            continue
        for stroke in strokes_of(shape):
            if stroke.tier <= tier:
                _plain_stroke([window.dot(*point) for point in stroke.points], window, cells)
    return {
        at: (sign, "field") for at, sign in cells.items() if 0 <= at[0] < window.columns and 0 <= at[1] < window.rows
    }


def _plain_bumper(shape: Shape, window: Window, *, coarse: bool) -> dict[tuple[int, int], str]:
    across, down = window.dot(shape.x_mm, shape.y_mm)
    c, r = math.floor((across + 0.5) / 2), math.floor((down + 0.5) / 4)
    if coarse:
        return {(c - 1, r): "(", (c + 1, r): ")"}
    above = {(c - 1, r - 1): ".", (c, r - 1): "-", (c + 1, r - 1): "."}
    below = {(c - 1, r + 1): "'", (c, r + 1): "-", (c + 1, r + 1): "'"}
    return {(c - 2, r): "(", (c + 2, r): ")", **above, **below}


def _plain_stroke(points: Sequence[Point], window: Window, cells: dict[tuple[int, int], str]) -> None:
    for start, end in pairwise(points):
        cut = _cut(start, end, window.columns * 2.0, window.rows * 4.0)
        if cut is None:
            continue
        (x0, y0), (x1, y1) = cut
        dx, dy = x1 - x0, y1 - y0
        steep = abs(dy) / (abs(dx) + 1e-9)
        sign = "-" if steep < 0.55 else "|" if steep > 3.2 else "\\" if dx * dy > 0 else "/"
        steps = max(1, math.ceil(max(abs(dx) / 2, abs(dy) / 4) * 2))
        for k in range(steps + 1):
            u, v = x0 + dx * k / steps, y0 + dy * k / steps
            at = math.floor((u + 0.5) / 2), math.floor((v + 0.5) / 4)
            drawn = "_" if sign == "-" and (v + 0.5) % 4 >= 2.6 else sign
            if cells.get(at, "-") in "-_":
                cells[at] = drawn


# -- places ---------------------------------------------------------------------------------------------------------------


@frozen
class PlaceSign:
    """How a place stands in the picture."""

    place: str
    position: Position
    sign: str
    role: str
    label: str


def rewired_in(map_: PlayfieldMap) -> dict[str, int]:
    """For each chain id that was rewired, the last revision in which it was."""
    last: dict[str, int] = {}
    for revision in map_.revisions:
        for chain in revision.rewired:
            last[chain] = max(last.get(chain, 0), revision.number)
    return last


def place_signs(map_: PlayfieldMap, *, chain: str | None = None) -> tuple[PlaceSign, ...]:
    """Sign and role of every place that has a position, in the map's order.

    `chain`: the one in hand; places of the others are dimmer. A dark or dead pixel, one not looked at since its chain
    was rewired, no pixel at all, and a position that is a guess have signs of their own, the first of these first.
    """
    rewired = rewired_in(map_)
    state: dict[str, str] = {}
    here: set[str] = set()
    for chain_id, _, pixel in map_.walk_pixels():
        if pixel.place is None:
            continue
        if chain is None or chain_id == chain:
            here.add(pixel.place)
        if pixel.state in (PixelState.DARK, PixelState.DEAD):
            state[pixel.place] = "trouble"
        elif pixel.verified < rewired.get(chain_id, 0):
            state.setdefault(pixel.place, "changed")
        else:
            state.setdefault(pixel.place, "")
    found = []
    for place in map_.places:
        if place.position is None:
            continue
        match state.get(place.id):
            case "trouble":
                sign, role = DARK_SIGN, "trouble"
            case None:
                sign, role = NO_PIXEL_SIGN, "none"
            case "changed":
                sign, role = CHANGED_SIGN, "changed"
            case _ if place.position.guessed:
                sign, role = GUESS_SIGN, "guess"
            case _:
                sign, role = SIGNS[place.kind], "here" if place.id in here else "other"
        found.append(PlaceSign(place.id, place.position, sign, role, place.label))
    return tuple(found)


def route_points(map_: PlayfieldMap, chain: str | None = None) -> tuple[tuple[Position, ...], ...]:
    """For each chain (or for one) the positions it passes, in its own order; places without a position are skipped."""
    at = {place.id: place.position for place in map_.places if place.position is not None}
    return tuple(
        tuple(at[pixel.place] for pixel in each.pixels if pixel.place is not None and pixel.place in at)
        for each in map_.chains
        if chain is None or each.id == chain
    )


# -- the still picture ------------------------------------------------------------------------------------------------------


Layers = tuple[dict[tuple[int, int], Cell], ...]
"""For each window of a layout its cells, by (column, row) within it."""


def drawn_cells(shapes: Sequence[Shape], layout: Layout, *, grid: bool = False, plain: bool = False) -> Layers:
    """What stays as long as shapes, size and view do: the shapes and the grid."""
    return tuple(
        shape_cells(shapes, window, plain=plain) | (_grid(window) if grid else {}) for window in layout.windows
    )


def still_cells(
    map_: PlayfieldMap,
    drawn: Layers,
    layout: Layout,
    *,
    chain: str | None = None,
    route: bool = False,
    plain: bool = False,
) -> Rows:
    """All that stays from light to light: over the shapes the route with its numbers, and the places."""
    signs = place_signs(map_, chain=chain)
    rows: Rows = {}
    for window, below in zip(layout.windows, drawn, strict=True):
        cells = dict(below)
        if route:
            _lay_route(cells, route_points(map_, chain), window, plain=plain)
        taken: dict[tuple[int, int], str] = {}
        at: dict[str, tuple[int, int]] = {}
        for place in signs:
            if layout.window_of(place.position) is not window:
                continue
            column, row = window.cell(place.position)
            key = column - window.column, row - window.row
            at[place.place] = key
            if RANK[taken.get(key, "field")] <= RANK[place.role]:
                taken[key] = place.role
                cells[key] = (plain_sign(place.sign) if plain else place.sign, place.role)
        if route:
            cells |= _numbers(map_, at, window, taken, chain)
        if window is not layout.windows[0]:
            _name_panel(cells, window)
        for (column, row), cell in cells.items():
            rows.setdefault(row + window.row, {})[column + window.column] = cell
    return rows


def _name_panel(cells: dict[tuple[int, int], Cell], window: Window) -> None:
    """What stands beside the field is named, where a row above it is free."""
    top = min((row for _, row in cells), default=0) - 1
    start = (window.columns - len(PANEL_NAME)) // 2
    if top >= 0 and start >= 0:
        cells |= {(start + at, top): (sign, "number") for at, sign in enumerate(PANEL_NAME)}


def _grid(window: Window) -> dict[tuple[int, int], Cell]:
    """Letters along the near edge and numbers along the side, at the middles of the grid's squares."""
    left, near, right, far = window.box
    cells: dict[tuple[int, int], Cell] = {}
    for index in range(int(left // GRID_MM), int(right // GRID_MM) + 1):
        middle = (index + 0.5) * GRID_MM
        if 0 <= index < 26 and left <= middle <= right:
            column, _ = window.cell(Position(x_mm=middle, y_mm=near))
            cells[column - window.column, window.rows - 1] = (chr(65 + index), "grid")
    for index in range(int(near // GRID_MM), int(far // GRID_MM) + 1):
        middle = (index + 0.5) * GRID_MM
        if index >= 0 and near <= middle <= far:
            _, row = window.cell(Position(x_mm=left, y_mm=middle))
            for offset, digit in enumerate(str(index + 1)):
                cells.setdefault((offset, row - window.row), (digit, "grid"))
    return cells


def _lay_route(
    cells: dict[tuple[int, int], Cell], routes: Sequence[Sequence[Position]], window: Window, *, plain: bool
) -> None:
    """Every second dot from place to place, an arrow amid each longer run; in ASCII `.` and `> < ^ v`."""
    dots = Dots(window.columns, window.rows)
    arrows: dict[tuple[int, int], str] = {}
    for route in routes:
        for before, after in pairwise(route):
            if not (window.inside(before) or window.inside(after)):
                continue
            start, end = window.dot(before.x_mm, before.y_mm), window.dot(after.x_mm, after.y_mm)
            dots.line(start, end, every=2)
            dx, dy = end[0] - start[0], end[1] - start[1]
            if math.hypot(dx, dy) > 9:
                sign = _ARROWS[(dx < 0) if abs(dx) >= abs(dy) else 2 + (dy > 0)]
                middle = (start[0] + end[0] + 1) / 4, (start[1] + end[1] + 1) / 8
                arrows[math.floor(middle[0]), math.floor(middle[1])] = sign
    for at, bits in dots.bits.items():
        cells[at] = (".", "route") if plain else (chr(_BRAILLE + (bits | bits_of(cells.get(at)))), "route")
    for at, sign in arrows.items():
        if 0 <= at[0] < window.columns and 0 <= at[1] < window.rows:
            cells[at] = (plain_sign(sign) if plain else sign, "route")


def _numbers(
    map_: PlayfieldMap,
    at: Mapping[str, tuple[int, int]],
    window: Window,
    taken: Mapping[tuple[int, int], str],
    chain: str | None,
) -> dict[tuple[int, int], Cell]:
    """Numbers of pixels beside their places where there is room: tens, then fives, then the rest."""
    ranked: tuple[list[tuple[int, tuple[int, int]]], ...] = ([], [], [])
    for each in map_.chains:
        if chain is not None and each.id != chain:
            continue
        for number, pixel in enumerate(each.pixels):
            if pixel.place is not None and pixel.place in at:
                rank = 0 if number % 10 == 0 else 1 if number % 5 == 0 else 2
                ranked[rank].append((number, at[pixel.place]))
    cells: dict[tuple[int, int], Cell] = {}
    used = set(taken)
    for number, (column, row) in (item for rank in ranked for item in rank):
        text = str(number)
        size = len(text)
        for first in (column + 1, column - size):
            beyond = first + size if first > column else first - 1
            if first < 0 or first + size > window.columns or not used.isdisjoint(((first, row), (beyond, row))):
                continue
            span = [(c, row) for c in range(first - 1, first + size + 1) if c != column]
            if used.isdisjoint(span):
                for offset, digit in enumerate(text):
                    cells[first + offset, row] = (digit, "number")
                    used.add((first + offset, row))
                break
    return cells


# -- the place in hand --------------------------------------------------------------------------------------------------------


def ring_cells(
    still: Rows,
    layout: Layout,
    position: Position,
    *,
    label: str = "",
    lit: bool = True,
    plain: bool = False,
    others: Collection[tuple[int, int]] = (),
) -> Rows:
    """What a lit place lays over the still picture: its sign, a full ring with rays, its label beside it.

    Not `lit`, only offered: a broken ring and a question mark. The ring clears lines inside it, never places. `others`: columns
    and rows that the label keeps clear of where it can.
    """
    window = layout.nearest(position)
    column, row = window.cell(position)
    rows: Rows = {}
    if plain:
        _plain_ring(rows, window, column, row)
    else:
        _dotted_ring(rows, still, window, column, row, lit=lit)
    sign = LIT_SIGN if lit else OFFERED_SIGN
    rows.setdefault(row, {})[column] = (plain_sign(sign) if plain else sign, "lit" if lit else "offered")
    if label:
        across = max(each.column + each.columns for each in layout.windows)
        words = f" {label} " if lit else f" {label}? "
        _lay_label(rows, window, column, row, words, gap=_gap(window), across=across, others=others)
    return rows


def _gap(window: Window) -> int:
    return 6 if window.mm_per_dot < 6 else 4


def _plain_ring(rows: Rows, window: Window, column: int, row: int) -> None:
    around = ((-2, 0, "("), (2, 0, ")"), (-1, 0, " "), (1, 0, " "))
    above = ((-1, -1, "."), (0, -1, "-"), (1, -1, "."), (-1, 1, "'"), (0, 1, "-"), (1, 1, "'"))
    for across, down, sign in (*around, *above):
        if window.holds(column + across, row + down):
            rows.setdefault(row + down, {})[column + across] = (sign, "ring")


_RING_STEPS = 56


def _ring_dots(*, fine: bool, lit: bool) -> Iterator[Point]:
    """Dots of the ring around the middle: larger, with long rays, where the drawing is fine."""
    radius = 6.6 if fine else 5.4
    for k in range(_RING_STEPS):
        if lit or (k // 4) % 2 == 0:
            turn = 2 * math.pi * k / _RING_STEPS
            yield radius * math.cos(turn), radius * math.sin(turn)
    for k in range(12 if lit else 0):
        turn = math.pi * k / 6
        for reach in (9.4, 11.0) if fine else (7.6,):
            yield reach * math.cos(turn), reach * math.sin(turn)


_REACH = 8
"""Cells from the middle that no ring goes beyond."""


@lru_cache(maxsize=4)
def _ring(*, fine: bool, lit: bool) -> tuple[tuple[int, int, str], ...]:
    """The ring as (columns right, rows down, sign) from the middle's cell; a blank clears a line inside it."""
    dots = Dots(2 * _REACH + 1, 2 * _REACH + 1)
    for right, lower in _ring_dots(fine=fine, lit=lit):
        dots.put(_REACH * 2 + 0.5 + right, _REACH * 4 + 1.5 + lower)
    radius = 7.6 if fine else 6.4
    inside = {
        (across + _REACH, down + _REACH)
        for across in range(-4, 5)
        for down in range(-2, 3)
        if math.hypot(across * 2, down * 4) < radius
    }
    return tuple(
        (column - _REACH, row - _REACH, chr(_BRAILLE + bits) if (bits := dots.bits.get((column, row), 0)) else " ")
        for column, row in sorted(inside | dots.bits.keys())
    )


def _dotted_ring(rows: Rows, still: Rows, window: Window, column: int, row: int, *, lit: bool) -> None:
    left, top = window.column, window.row
    right, bottom = left + window.columns, top + window.rows
    here = RANK["here"]
    for across, down, sign in _ring(fine=window.mm_per_dot < 6, lit=lit):
        at, y = column + across, row + down
        if not (left <= at < right and top <= y < bottom):
            continue
        under = still.get(y, _EMPTY).get(at)
        if under is None:
            if sign != " ":
                rows.setdefault(y, {})[at] = (sign, "ring")
        elif under[1] in _CLEARED_BY_RING or (sign != " " and RANK[under[1]] < here):
            rows.setdefault(y, {})[at] = (sign, "ring")


_EMPTY: dict[int, Cell] = {}


def _lay_label(
    rows: Rows,
    window: Window,
    column: int,
    row: int,
    text: str,
    *,
    gap: int,
    across: int,
    others: Collection[tuple[int, int]],
) -> None:
    """Right of the ring, else left of it, else over the row above or below, moved aside for `others`; cut only at the frame,
    `across` cells wide.
    """
    low, high = window.column, window.column + window.columns
    signs = _cells_of(text)
    size = len(signs)
    if size > window.columns:
        low, high = 0, across
    middle = max(low, min(high - size, column - size // 2))
    seats = [(column + gap, row)] if column + gap + size <= high else []
    seats += [(column - gap - size + 1, row)] if column - gap - size + 1 >= low else []
    beyond = [row + by for by in (-_LABEL_ROWS, _LABEL_ROWS) if window.row <= row + by < window.row + window.rows]
    beyond = beyond or [row + _LABEL_ROWS]
    seats += [(middle, y) for y in beyond]
    aside = [(start, y) for x, y in others if y in beyond for start in (x + 1, x - size)]
    seats += [at for at in aside if low <= at[0] <= high - size]
    seats += [at for at in aside if 0 <= at[0] <= across - size]
    free = (at for at in seats if not any(y == at[1] and at[0] <= x < at[0] + size for x, y in others))
    start, y = next(free, seats[0])
    low, high = min(low, max(0, start)), max(high, min(across, start + size))
    left = max(low - start, 0)
    shown = signs[left : max(high - start, 0)]
    if shown and not shown[0]:  # the frame cuts through a wide sign
        shown[0] = " "
    if shown and signs[left + len(shown) :][:1] == [""]:
        shown[-1] = " "
    for at, sign in enumerate(shown, start + left):
        rows.setdefault(y, {})[at] = (sign, "label")


_LABEL_ROWS = 3
"""Rows between a place and a label that has no room beside it."""


def _cells_of(text: str) -> list[str]:
    """A sign for each cell of outside text: after a wide sign one that is empty; what has no width goes with the sign before."""
    signs: list[str] = []
    for character in visible(text):
        if unicodedata.combining(character) or unicodedata.category(character) in ("Mn", "Me", "Cf"):
            if signs:
                signs[-1 if signs[-1] else -2] += character
            continue
        signs.append(character)
        if unicodedata.east_asian_width(character) in "WF":
            signs.append("")
    return signs


def over(below: Rows, above: Rows) -> Rows:
    """Two layers as one: the second covers the first."""
    return {row: below.get(row, {}) | above.get(row, {}) for row in below.keys() | above.keys()}


def of_role(rows: Rows, role: str) -> Rows:
    """The cells of a layer that have this role."""
    return {row: {column: cell for column, cell in cells.items() if cell[1] == role} for row, cells in rows.items()}
