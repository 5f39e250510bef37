"""What the picture draws, as cells: the chains' route in braille dots or plain signs, numbers, the grid. No widget here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from probe.document.model import Kind, PixelState, PlayfieldMap, Position

SIGNS: Mapping[Kind, str] = {
    Kind.INSERT: "o",
    Kind.BUMPER: "O",
    Kind.GENERAL: "·",
    Kind.FLASHER: "*",
    Kind.BACKBOX: "=",
    Kind.BUTTON: "u",
    Kind.SIGN: "#",
    Kind.OTHER: "?",
}
DARK_SIGN = "x"
CHANGED_SIGN = "!"
UNSEEN_SIGN = "_"
_ASCII = {"·": ".", "◉": "@", "×": "x"}
_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
BRAILLE = 0x2800

Rows = dict[int, dict[int, tuple[str, str]]]
"""Row → column → (sign, look)."""


def ascii_sign(sign: str) -> str:
    """The same in plain ASCII."""
    return _ASCII.get(sign, sign)


def rewired_in(m: PlayfieldMap) -> dict[str, int]:
    """For each chain id that was rewired, the last revision in which it was."""
    last: dict[str, int] = {}
    for revision in m.revisions:
        for chain in revision.rewired:
            last[chain] = max(last.get(chain, 0), revision.number)
    return last


def look_of_places(m: PlayfieldMap) -> dict[str, tuple[str, str]]:
    """Sign and look of every place that has a position, by place id.

    A dark or dead pixel, one not looked at since its chain was rewired, and no pixel at all have signs of their own.
    """
    rewired = rewired_in(m)
    trouble: set[str] = set()
    changed: set[str] = set()
    for chain in m.chains:
        since = rewired.get(chain.id, 0)
        for pixel in chain.pixels:
            if pixel.place is None:
                continue
            if pixel.state in (PixelState.DARK, PixelState.DEAD):
                trouble.add(pixel.place)
            elif pixel.verified < since:
                changed.add(pixel.place)
    lit_by = m.pixels_at
    looks = {}
    for place in m.places:
        if place.position is None:
            continue
        if place.id in trouble:
            looks[place.id] = (DARK_SIGN, "dark")
        elif place.id not in lit_by:
            looks[place.id] = (UNSEEN_SIGN, "unseen")
        elif place.id in changed:
            looks[place.id] = (CHANGED_SIGN, "changed")
        else:
            looks[place.id] = (SIGNS[place.kind], "guess" if place.position.guessed else "plain")
    return looks


@dataclass(frozen=True)
class View:
    """The part of the playfield that is drawn, in mm, on a field of cells; the first cell is column and row 1."""

    left_mm: float
    near_mm: float
    right_mm: float
    far_mm: float
    columns: int
    rows: int
    from_below: bool = False

    def share(self, position: Position) -> tuple[float, float]:
        """Where a position lies: 0 to 1 from the left and from the far edge, as drawn; beyond where it is outside."""
        across = (position.x_mm - self.left_mm) / max(1e-6, self.right_mm - self.left_mm)
        down = (self.far_mm - position.y_mm) / max(1e-6, self.far_mm - self.near_mm)
        return (1 - across if self.from_below else across), down

    def inside(self, position: Position) -> bool:
        """Whether a position is in the view."""
        return self.left_mm <= position.x_mm <= self.right_mm and self.near_mm <= position.y_mm <= self.far_mm

    def cell(self, position: Position) -> tuple[int, int]:
        """Column and row of a position; the nearest one of the field for one outside."""
        across, down = self.share(position)
        across, down = min(1.0, max(0.0, across)), min(1.0, max(0.0, down))
        return 1 + round(across * (self.columns - 1)), 1 + round(down * (self.rows - 1))

    def position(self, column: int, row: int) -> Position:
        """The position in mm of a cell."""
        across = min(1.0, max(0.0, (column - 1) / max(1, self.columns - 1)))
        down = min(1.0, max(0.0, (row - 1) / max(1, self.rows - 1)))
        if self.from_below:
            across = 1 - across
        x = self.left_mm + across * (self.right_mm - self.left_mm)
        return Position(x_mm=round(x, 1), y_mm=round(self.far_mm - down * (self.far_mm - self.near_mm), 1))

    def dot(self, position: Position) -> tuple[int, int]:
        """Column and row of a position in braille dots, two across and four down a cell; may lie outside."""
        across, down = self.share(position)
        x = (across * (self.columns - 1) + 0.5) * 2
        y = (down * (self.rows - 1) + 0.5) * 4
        far = 8_000
        return round(max(-far, min(far, x))), round(max(-far, min(far, y)))


@lru_cache(maxsize=20_000)
def _line(x0: int, y0: int, x1: int, y1: int) -> tuple[tuple[int, int, int], ...]:
    """The dots between two, as (column, row, bits) of cells counted from 0 (Bresenham 1965)."""
    cells: dict[tuple[int, int], int] = {}
    dx, dy = abs(x1 - x0), -abs(y1 - y0)
    sx, sy = (1 if x0 < x1 else -1), (1 if y0 < y1 else -1)
    error = dx + dy
    while True:
        key = x0 >> 1, y0 >> 2
        cells[key] = cells.get(key, 0) | _DOTS[x0 & 1][y0 & 3]
        if (x0, y0) == (x1, y1):
            break
        twice = 2 * error
        if twice >= dy:
            error += dy
            x0 += sx
        if twice <= dx:
            error += dx
            y0 += sy
    return tuple((column, row, bits) for (column, row), bits in cells.items())


def route_points(m: PlayfieldMap) -> tuple[tuple[Position, ...], ...]:
    """For each chain the positions it passes, in its own order; places without a position are skipped."""
    at = {place.id: place.position for place in m.places if place.position is not None}
    return tuple(
        tuple(at[pixel.place] for pixel in chain.pixels if pixel.place is not None and pixel.place in at)
        for chain in m.chains
    )


def route_cells(routes: Sequence[Sequence[Position]], view: View, *, plain: bool) -> Rows:
    """The route of every chain: braille dots, or `.` in plain ASCII."""
    bits: dict[tuple[int, int], int] = {}
    for route in routes:
        spots = [(view.dot(position), view.inside(position)) for position in route]
        for (before, near), (after, also) in pairwise(spots):
            if near or also:
                for column, row, dots in _line(*before, *after):
                    key = (column, row)
                    bits[key] = bits.get(key, 0) | dots
    rows: Rows = {}
    for (column, row), dots in bits.items():
        if 0 <= column < view.columns and 0 <= row < view.rows:
            rows.setdefault(row + 1, {})[column + 1] = ("." if plain else chr(BRAILLE + dots), "route")
    return rows


def place_cells(m: PlayfieldMap, view: View) -> dict[str, tuple[int, int]]:
    """Column and row of every place in the view, by id."""
    return {
        place.id: view.cell(place.position)
        for place in m.places
        if place.position is not None and view.inside(place.position)
    }


def number_cells(m: PlayfieldMap, at: Mapping[str, tuple[int, int]], columns: int, taken: Rows) -> Rows:
    """Numbers of pixels beside their places (`at`: cells by id) where there is room: tens, then fives, then the rest."""
    ranked: tuple[list[tuple[int, tuple[int, int]]], ...] = ([], [], [])
    for chain in m.chains:
        for number, pixel in enumerate(chain.pixels):
            if pixel.place is not None and pixel.place in at:
                rank = 0 if number % 10 == 0 else 1 if number % 5 == 0 else 2
                ranked[rank].append((number, at[pixel.place]))
    rows: Rows = {}
    used = {(row, column) for row, cells in taken.items() for column in cells}
    for number, (column, row) in (item for rank in ranked for item in rank):
        text = str(number)
        size = len(text)
        for first in (column + 1, column - size):
            beyond = first + size if first > column else first - 1
            if first < 1 or first + size - 1 > columns or (row, first) in used or (row, beyond) in used:
                continue
            span = [(row, c) for c in range(first - 1, first + size + 1) if c != column]
            if used.isdisjoint(span):
                into = rows.setdefault(row, {})
                for offset, digit in enumerate(text):
                    into[first + offset] = (digit, "number")
                    used.add((row, first + offset))
                break
    return rows


def grid_cells(view: View, step_mm: float) -> Rows:
    """Letters along the near edge and numbers along the left one, at the middles of the squares."""
    rows: Rows = {}
    for index in range(int(view.left_mm // step_mm), int(view.right_mm // step_mm) + 1):
        middle = Position(x_mm=min(4_999.0, (index + 0.5) * step_mm), y_mm=view.near_mm)
        if 0 <= index < 26 and view.inside(middle):
            column, row = view.cell(middle)
            rows.setdefault(row, {})[column] = (chr(65 + index), "grid")
    edge = view.right_mm if view.from_below else view.left_mm
    for index in range(int(view.near_mm // step_mm), int(view.far_mm // step_mm) + 1):
        middle = Position(x_mm=edge, y_mm=min(4_999.0, (index + 0.5) * step_mm))
        if index >= 0 and view.inside(middle):
            column, row = view.cell(middle)
            for offset, digit in enumerate(str(index + 1)):
                rows.setdefault(row, {}).setdefault(column + offset, (digit, "grid"))
    return rows


def layered(layers: Iterable[Rows]) -> Rows:
    """Layers on top of each other: the later covers the earlier."""
    found: Rows = {}
    for layer in layers:
        for row, cells in layer.items():
            found.setdefault(row, {}).update(cells)
    return found
