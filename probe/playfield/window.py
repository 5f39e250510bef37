"""Which part of a playfield is drawn on which cells, in true proportions: one scale for both directions.

A cell of a terminal is taken as two dots wide and four high, and a dot as square, as the dots of braille characters are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from probe.document.model import PlayfieldMap, Position
from probe.document.model.shape import Point, ShapeKind
from probe.frozen import frozen
from probe.playfield.field import above_field, shapes_of
from probe.playfield.strokes import extent_of

LEAST_PANEL_COLUMNS = 12
ZOOM_MM = 630.0
_PANEL_MARGIN_MM = 40.0
_AREA_MARGIN_MM = 40.0
Box = tuple[float, float, float, float]
"""Left, near, right and far edge in mm."""


@frozen
class Window:
    """A box of the playfield in mm, drawn on `columns` × `rows` cells of which the first is (`column`, `row`).

    The box is centred where the cells leave room. `from_below` mirrors left and right.
    """

    box: Box
    columns: int
    rows: int
    column: int = 0
    row: int = 0
    from_below: bool = False

    @property
    def mm_per_dot(self) -> float:
        """Millimetres between the middles of two neighbouring dots."""
        left, near, right, far = self.box
        return max((right - left) / max(1, self.columns * 2 - 1), (far - near) / max(1, self.rows * 4 - 1), 1e-3)

    def dot(self, x_mm: float, y_mm: float) -> Point:
        """Where a point lies, in dots to the right and down from the middle of the window's first dot."""
        left, near, right, far = self.box
        mm = self.mm_per_dot
        across = (right - x_mm if self.from_below else x_mm - left) / mm
        spare_across = self.columns * 2 - 1 - (right - left) / mm
        spare_down = self.rows * 4 - 1 - (far - near) / mm
        return across + spare_across / 2, (far - y_mm) / mm + spare_down / 2

    def inside(self, position: Position) -> bool:
        """Whether a position is in the box."""
        left, near, right, far = self.box
        return left <= position.x_mm <= right and near <= position.y_mm <= far

    def cell(self, position: Position) -> tuple[int, int]:
        """Column and row of a position; the nearest ones of the window for a position outside."""
        across, down = self.dot(position.x_mm, position.y_mm)
        column = min(self.columns - 1, max(0, math.floor((across + 0.5) / 2)))
        row = min(self.rows - 1, max(0, math.floor((down + 0.5) / 4)))
        return self.column + column, self.row + row

    def holds(self, column: int, row: int) -> bool:
        """Whether a cell is one of the window's."""
        return self.column <= column < self.column + self.columns and self.row <= row < self.row + self.rows

    def position(self, column: int, row: int) -> Position:
        """The position of a cell's middle, kept inside the box; mm, to a tenth."""
        left, near, right, far = self.box
        mm = self.mm_per_dot
        across = ((column - self.column) * 2 + 0.5) - (self.columns * 2 - 1 - (right - left) / mm) / 2
        down = ((row - self.row) * 4 + 1.5) - (self.rows * 4 - 1 - (far - near) / mm) / 2
        x = right - across * mm if self.from_below else left + across * mm
        x, y = min(right, max(left, x)), min(far, max(near, far - down * mm))
        return Position(x_mm=round(x, 1), y_mm=round(y, 1))


def columns_for(width_mm: float, length_mm: float, rows: int) -> int:
    """Columns that a field takes which is drawn as high as `rows` cells."""
    return max(1, math.ceil(((rows * 4 - 1) * width_mm / length_mm + 1) / 2))


def panel_box(map_: PlayfieldMap) -> Box | None:
    """The box of what lies beyond the far edge: the map's panel shapes and places there; None if there is nothing."""
    boxes = [extent_of(shape) for shape in shapes_of(map_) if shape.kind is ShapeKind.PANEL]
    spots = [p.position for p in map_.places if p.position is not None and above_field(map_, p.position)]
    if spots:
        margin = _PANEL_MARGIN_MM
        xs, ys = [s.x_mm for s in spots], [s.y_mm for s in spots]
        near = max(map_.machine.length_mm, min(ys) - margin)
        boxes.append((min(xs) - margin, near, max(xs) + margin, max(ys) + margin))
    if not boxes:
        return None
    lefts, nears, rights, fars = zip(*boxes, strict=True)
    return min(lefts), min(nears), max(rights), max(fars)


def area_box(map_: PlayfieldMap, area: str) -> Box | None:
    """The box around the places of an area; None if none of them has a position."""
    spots = [p.position for p in map_.places if p.area == area and p.position is not None]
    if not spots:
        return None
    xs, ys = [s.x_mm for s in spots], [s.y_mm for s in spots]
    margin = _AREA_MARGIN_MM
    return min(xs) - margin, min(ys) - margin, max(xs) + margin, max(ys) + margin


def zoom_box(map_: PlayfieldMap, around: Position) -> Box:
    """A box of `ZOOM_MM` height that holds a position. It moves on in half boxes, not at every step."""
    width, length = map_.machine.width_mm, map_.machine.length_mm
    high = min(ZOOM_MM, length)
    wide = min(width, high * width / length * 1.2)
    left = _stepped(around.x_mm, wide, width)
    near = _stepped(around.y_mm, high, length)
    return left, near, left + wide, near + high


def _stepped(at: float, size: float, whole: float) -> float:
    if size >= whole:
        return 0.0
    half = size / 2
    steps = max(0, math.floor((at - half / 2) / half))
    return max(0.0, min(whole - size, steps * half))


@frozen
class Layout:
    """The windows of one picture: the field (or a part of it), and the panel beside it where there is one."""

    windows: tuple[Window, ...]

    def window_of(self, position: Position) -> Window | None:
        """The window that a position is drawn in."""
        return next((window for window in self.windows if window.inside(position)), None)

    def nearest(self, position: Position) -> Window:
        """The window that a position is drawn in, or the first one."""
        return self.window_of(position) or self.windows[0]

    def window_at(self, column: int, row: int) -> Window:
        """The window that a cell belongs to, or the nearest one."""
        return next((window for window in self.windows if window.holds(column, row)), self.windows[0])


def lay_out(
    map_: PlayfieldMap,
    columns: int,
    rows: int,
    *,
    from_below: bool = False,
    box: Box | None = None,
    follow: Sequence[Position] = (),
) -> Layout:
    """The windows of a map's picture on so many cells; `box` alone where it is given.

    Beside the field the panel is drawn where at least `LEAST_PANEL_COLUMNS` are left for it; where they are not, it
    takes the field's place as long as everything in `follow` lies there.
    """
    columns, rows = max(1, columns), max(1, rows)
    if box is not None:
        return Layout((Window(box, columns, rows, from_below=from_below),))
    width, length = map_.machine.width_mm, map_.machine.length_mm
    whole = (0.0, 0.0, width, length)
    panel = panel_box(map_)
    if panel is None:
        return Layout((Window(whole, columns, rows, from_below=from_below),))
    taken = min(columns, columns_for(width, length, rows))
    left = columns - taken - 1
    if left >= LEAST_PANEL_COLUMNS:
        high = min(rows, max(3, rows * 2 // 3))
        field = Window(whole, taken, rows, from_below=from_below)
        return Layout((field, Window(panel, left, high, column=taken + 1, from_below=from_below)))
    if follow and all(above_field(map_, position) for position in follow):
        return Layout((Window(panel, columns, rows, from_below=from_below),))
    return Layout((Window(whole, columns, rows, from_below=from_below),))
