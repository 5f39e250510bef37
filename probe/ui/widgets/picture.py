"""The playfield drawn in cells: places at their positions, by sign and colour; the lit one unmistakable."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from probe.document.model import Place, PlayfieldMap, Position
from probe.task.views import LIT_SIGN, MARK_SIGN, Spot
from probe.ui.widgets.picture_layers import (
    CHANGED_SIGN,
    DARK_SIGN,
    SIGNS,
    UNSEEN_SIGN,
    Rows,
    View,
    ascii_sign,
    grid_cells,
    layered,
    look_of_places,
    number_cells,
    place_cells,
    route_cells,
    route_points,
)

MARGIN_MM = 40.0
GRID_MM = 50.0

__all__ = ["LIT_SIGN", "MARK_SIGN", "SIGNS", "PlayfieldPicture", "Spot", "legend", "look_of_places"]


_ORDER = {
    "grid": 0,
    "route": 1,
    "number": 2,
    "unseen": 3,
    "guess": 4,
    "plain": 5,
    "changed": 6,
    "dark": 7,
    "off": 8,
    "light-red": 8,
    "light-yellow": 8,
    "light-blue": 8,
    "light-white": 8,
    "held": 8,
    "seen": 9,
    "lit": 10,
    "mark": 11,
}
_STYLES = {
    "grid": Style(dim=True),
    "route": Style(color="#0072B2"),
    "number": Style(dim=True),
    "unseen": Style(dim=True),
    "guess": Style(color="#56B4E9", dim=True),
    "plain": Style(color="#56B4E9"),
    "changed": Style(color="#E69F00", bold=True),
    "dark": Style(color="#D55E00", bold=True),
    "off": Style(dim=True),
    "light-red": Style(color="#D55E00", bold=True),
    "light-yellow": Style(color="#F0E442", bold=True),
    "light-blue": Style(color="#56B4E9", bold=True),
    "light-white": Style(color="#FFFFFF", bold=True),
    "held": Style(color="#56B4E9", bold=True, reverse=True),
    "seen": Style(color="#F0E442", bold=True, reverse=True),
    "lit": Style(color="#F0E442", bold=True, reverse=True),
    "mark": Style(bold=True, reverse=True),
}


def legend(kinds: Iterable[str], *, plain: bool = False) -> str:
    """What the signs mean, for the kinds that occur: `o insert  · general  x dark  ! changed  _ no pixel  ◉ lit`."""
    occurring = set(kinds)
    found = [f"{sign} {kind.value}" for kind, sign in SIGNS.items() if kind.value in occurring]
    found += [f"{DARK_SIGN} dark", f"{CHANGED_SIGN} changed", f"{UNSEEN_SIGN} no pixel", f"{LIT_SIGN} lit"]
    return "  ".join(ascii_sign(word[0]) + word[1:] if plain else word for word in found)


def _drawn_alike(before: tuple[Place, ...], after: tuple[Place, ...]) -> bool:
    """Whether two lists of places look the same in the picture, such as after a change of a level or a label."""
    return len(before) == len(after) and all(
        a is b or (a.id == b.id and a.position == b.position and a.kind is b.kind)
        for a, b in zip(before, after, strict=True)
    )


class PlayfieldPicture(Widget):
    """The picture. `from_below` mirrors left and right, as one sees it with the playfield raised."""

    DEFAULT_CSS = "PlayfieldPicture { width: 1fr; height: 1fr; }"

    def __init__(self, *, plain_ascii: bool = False) -> None:
        super().__init__(id="picture")
        self._map: PlayfieldMap | None = None
        self._overlay: tuple[Spot, ...] = ()
        self._extent_mm = (514.35, 1066.8)
        self.plain_ascii = plain_ascii
        self.from_below = False
        self.show_route = False
        self.show_grid = False
        self.area: str | None = None
        self._base: Rows = {}
        self._base_for: tuple[object, ...] | None = None
        self._base_places: tuple[Place, ...] = ()
        self._under: Rows = {}
        self._under_for: tuple[object, ...] | None = None
        self._box: tuple[float, float, float, float] | None = None
        self._box_for: tuple[object, str] | None = None

    def show(self, m: PlayfieldMap, overlay: Iterable[Spot] = ()) -> None:
        """Draw this map, and `overlay` above it. What lies above the playfield, such as a backbox, is made room for."""
        spots = tuple(overlay)
        old = self._map
        same = old is not None and old.places is m.places and old.chains is m.chains and old.machine is m.machine
        if same and spots == self._overlay:
            return
        if old is None or old.places is not m.places or old.machine is not m.machine:
            tops = [p.position.y_mm for p in m.places if p.position is not None]
            self._extent_mm = (m.machine.width_mm, max([m.machine.length_mm, *tops]))
        rows = None if not same else {self.cell_of(s.position)[1] for s in {*spots} ^ {*self._overlay}}
        self._map, self._overlay = m, spots
        if rows is None:
            self.refresh()
        else:
            self._refresh_rows(rows)

    def _refresh_rows(self, rows: Iterable[int]) -> None:
        """Draw only these rows again."""
        if self.size.width:
            self.refresh(*(Region(0, row, self.size.width, 1) for row in sorted(rows)))

    def flip(self) -> None:
        """See it from the other side."""
        self.from_below = not self.from_below
        self.refresh()

    def draw_also(self, *, area: str | None = None, route: bool = False, grid: bool = False) -> bool:
        """Draw only the area of that name (None: the whole playfield), the route of the chains with their numbers, the
        letters and numbers of the grid. Whether the area differs from before."""
        other = area != self.area
        if (area, route, grid) != (self.area, self.show_route, self.show_grid):
            self.area, self.show_route, self.show_grid = area, route, grid
            self.refresh()
        return other

    @property
    def view(self) -> View:
        """What is drawn, and on how many cells."""
        columns, rows = max(1, self.size.width - 2), max(1, self.size.height - 2)
        box = self._area_box()
        left, near, right, far = box or (0.0, 0.0, *self._extent_mm)
        return View(left, near, right, far, columns, rows, self.from_below)

    def _area_box(self) -> tuple[float, float, float, float] | None:
        m = self._map
        if m is None or self.area is None:
            return None
        if self._box_for is None or self._box_for[0] is not m.places or self._box_for[1] != self.area:
            self._box, self._box_for = self._box_of(m), (m.places, self.area)
        return self._box

    def _box_of(self, m: PlayfieldMap) -> tuple[float, float, float, float] | None:
        spots = [p.position for p in m.places if p.area == self.area and p.position is not None]
        if not spots:
            return None
        xs, ys = [s.x_mm for s in spots], [s.y_mm for s in spots]
        return min(xs) - MARGIN_MM, min(ys) - MARGIN_MM, max(xs) + MARGIN_MM, max(ys) + MARGIN_MM

    def cell_of(self, position: Position) -> tuple[int, int]:
        """Column and row of a position."""
        return self.view.cell(position)

    def position_of(self, column: int, row: int) -> Position:
        """The position in mm of a cell."""
        return self.view.position(column, row)

    def beside(self, cell: tuple[int, int], across: int, down: int) -> tuple[int, int]:
        """The cell so many columns to the right and rows down, kept inside the frame."""
        column, row = cell
        return (
            min(self.size.width - 2, max(1, column + across)),
            min(self.size.height - 2, max(1, row + down)),
        )

    def _lay_out(self) -> None:
        """Put the places of the map into cells, once for each map and view; what matters more covers what less."""
        m = self._map
        if m is None:
            return
        view = self.view
        key = (m.chains, m.revisions, view, self.show_route, self.show_grid)
        old = self._base_for
        same = old is not None and old[0] is key[0] and old[1] is key[1] and old[2:] == key[2:]
        if same and (self._base_places is m.places or _drawn_alike(self._base_places, m.places)):
            self._base_places = m.places
            return
        self._base_for, self._base_places = key, m.places
        rows: Rows = {}
        looks = look_of_places(m)
        at = place_cells(m, view)
        for place_id, (column, row) in at.items():
            look = looks[place_id]
            cells = rows.setdefault(row, {})
            before = cells.get(column)
            if before is None or _ORDER[before[1]] <= _ORDER[look[1]]:
                cells[column] = (ascii_sign(look[0]), look[1]) if self.plain_ascii else look
        self._base = rows
        self._lay_under(m, view, at)

    def _lay_under(self, m: PlayfieldMap, view: View, at: Mapping[str, tuple[int, int]]) -> None:
        """Grid, route and numbers, each over the one before; kept until a position, the order or the view changes."""
        routes = route_points(m) if self.show_route else ()
        key = (routes, view, self.show_route, self.show_grid)
        if self._under_for == key:
            return
        layers: list[Rows] = [grid_cells(view, GRID_MM)] if self.show_grid else []
        if self.show_route:
            layers += [route_cells(routes, view, plain=self.plain_ascii), number_cells(m, at, view.columns, self._base)]
        self._under, self._under_for = layered(layers), key

    def render_line(self, y: int) -> Strip:
        """One row of the picture, the frame included."""
        self._lay_out()
        width, height = self.size.width, self.size.height
        base = self.rich_style
        if width < 3 or height < 3:
            return Strip.blank(width, base)
        edge = base + Style(dim=True)
        if y in (0, height - 1):
            title = "from below" if self.from_below else "from above"
            line = f"+{(' ' + title + ' ' if y == 0 else ''):-^{width - 2}}+"
            return Strip([Segment(line[:width], edge)], width)
        cells = self._under.get(y, {}) | self._base.get(y, {})
        view = self.view
        for spot in self._overlay:
            column, row = view.cell(spot.position)
            if row == y and (view.inside(spot.position) or spot.look == "mark"):
                before = cells.get(column)
                if before is None or _ORDER[before[1]] <= _ORDER[spot.look]:
                    cells[column] = (spot.sign, spot.look)
        segments = [Segment("|", edge)]
        column = 1
        for at in sorted(c for c in cells if 1 <= c < width - 1):
            if at > column:
                segments.append(Segment(" " * (at - column), base))
            sign, look = cells[at]
            segments.append(Segment(sign, base + _STYLES[look]))
            column = at + 1
        segments.append(Segment(" " * max(0, width - 1 - column), base))
        segments.append(Segment("|", edge))
        return Strip(segments, width)
