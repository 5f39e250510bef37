"""The playfield drawn in cells: shapes, places by sign and role, the lit one unmistakable."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from enum import Enum
from itertools import groupby
from operator import itemgetter
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from probe.document.model import Machine, Place, PlayfieldMap, Position
from probe.document.model.shape import Shape
from probe.playfield import cells as ce
from probe.playfield.field import above_field, shapes_of
from probe.playfield.window import Box, Layout, area_box, lay_out, zoom_box
from probe.task.views import Spot
from probe.ui.text import plain

RINGED = {"lit": True, "seen": True, "offered": False}
"""Looks that a ring is drawn around, a whole one or a broken one; as long as there are few of them."""
MOST_RINGS = 3
_ROLES = {"plain": "here", "dark": "trouble", "seen": "lit"}
_LEAST = (5, 3)
_BLANK = (" ", "")


def legend(kinds: Iterable[str], *, plain: bool = False) -> str:
    """What the signs mean, for the kinds that occur: `o insert  + general  ✕ dark  ! changed  ⋅ no pixel  ◉ lit`."""
    occurring = set(kinds)
    found = [f"{sign} {kind.value}" for kind, sign in ce.SIGNS.items() if kind.value in occurring]
    found += [f"{ce.GUESS_SIGN} guessed", f"{ce.DARK_SIGN} dark", f"{ce.CHANGED_SIGN} changed"]
    found += [f"{ce.NO_PIXEL_SIGN} no pixel", f"{ce.LIT_SIGN} lit"]
    return "  ".join(ce.plain_sign(word[0]) + word[1:] if plain else word for word in found)


def _drawn_alike(before: tuple[Place, ...], after: tuple[Place, ...]) -> bool:
    """Whether two lists of places look the same in the picture, such as after a change of a level or a label."""
    return len(before) == len(after) and all(
        a is b or (a.id == b.id and a.position == b.position and a.kind is b.kind)
        for a, b in zip(before, after, strict=True)
    )


class Zoom(Enum):
    """How much of the playfield is drawn; the value is the word for it."""

    WHOLE = "whole"
    HALF = "half"
    AREA = "area"


class PlayfieldPicture(Widget):
    """The picture, in a frame that says the side it is seen from. Cells count from the frame's corner.

    What stays from light to light is made once for a map, a size and a view; a change of what is lit draws only the rows
    of the old and the new ring again.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"picture--{role}" for role in ce.ROLES}
    DEFAULT_CSS = "PlayfieldPicture { width: 1fr; height: 1fr; border: round; border-title-align: center; }"

    def __init__(self, id: str = "picture") -> None:
        super().__init__(id=id)
        self.words = ""
        self._map: PlayfieldMap | None = None
        self._spots: tuple[Spot, ...] = ()
        self._shape: Shape | None = None
        self.plain_ascii = False
        self.from_below = False
        self.zoom = Zoom.WHOLE
        self.show_route = False
        self.show_grid = False
        self.area: str | None = None
        self.chain: str | None = None
        self._layout = Layout(())
        self._layout_for: tuple[object, ...] = ()
        self._below: ce.Layers = ()
        self._below_for: tuple[object, ...] = ()
        self._still: ce.Rows = {}
        self._still_for: tuple[object, ...] = ()
        self._still_places: tuple[Place, ...] = ()
        self._over: ce.Rows = {}
        self._lines: dict[int, tuple[list[ce.Cell], list[tuple[int, Segment]]]] = {}
        self._strips: dict[int, Strip] = {}
        self._styles: dict[str, Style] = {}
        self._say_side()

    # -- what is drawn ----------------------------------------------------------------------------------------------

    def show(self, map_: PlayfieldMap, spots: Iterable[Spot] = (), shape: Shape | None = None) -> None:
        """Draw this map, and `spots` above it. What lies beyond the field, such as a backbox, stands beside it.

        `shape`: one of its shapes that is drawn brightest.
        """
        given = tuple(spots)
        if map_ is self._map and given == self._spots and shape == self._shape:
            return
        self._map, self._spots, self._shape = map_, given, shape
        self._refresh_changed()

    def use_plain_ascii(self, plain: bool) -> None:
        """Draw with ASCII signs only, or with all signs."""
        if plain != self.plain_ascii:
            self.plain_ascii = plain
            self._below_for = self._still_for = ()
            self._refresh_changed()

    def flip(self) -> None:
        """See it from the other side."""
        self.from_below = not self.from_below
        self._say_side()
        self._refresh_changed()

    def entitle(self, words: str) -> None:
        """What stands above it; the side that it is seen from then stands below."""
        if words != self.words:
            self.words = words
            self._say_side()

    def next_zoom(self) -> None:
        """Whole, half, area; where the area of what is lit is not known, whole again."""
        zooms = list(Zoom)
        self.zoom = zooms[(zooms.index(self.zoom) + 1) % len(zooms)]
        if self.zoom is Zoom.AREA and self._map is not None and self._zoom_box(self._map) is None:
            self.zoom = Zoom.WHOLE
        self._say_side()
        self._refresh_changed()

    def draw_also(
        self, *, area: str | None = None, route: bool = False, grid: bool = False, chain: str | None = None
    ) -> bool:
        """Draw only the area of that name (None: the whole playfield), the route with its numbers, the grid; the chain in
        hand brighter than others. Whether the area differs from before."""
        other = area != self.area
        wanted = (area, route, grid, chain)
        if wanted != (self.area, self.show_route, self.show_grid, self.chain):
            self.area, self.show_route, self.show_grid, self.chain = wanted
            self._refresh_changed()
        return other

    def _say_side(self) -> None:
        side = "from below" if self.from_below else "from above"
        side = side if self.zoom is Zoom.WHOLE else f"{side} · {self.zoom.value}"
        self.border_title, self.border_subtitle = (plain(self.words), side) if self.words else (side, "")

    def notify_style_update(self) -> None:
        """Another theme: every row is drawn anew."""
        super().notify_style_update()
        self._strips.clear()
        self._lines.clear()
        self._styles.clear()

    # -- cells and positions ------------------------------------------------------------------------------------------

    @property
    def layout_now(self) -> Layout:
        """The windows of the picture as they lie in its cells."""
        map_, size = self._map or _NO_MAP, self.size
        beyond = any(above_field(map_, spot.position) for spot in self._spots)
        box = self._zoom_box(map_)
        key = (map_.places, map_.shapes, map_.machine, size.width, size.height, self.from_below, self.area, box, beyond)
        if not _same(key, self._layout_for):
            follow = [spot.position for spot in self._spots if spot.look in RINGED]
            self._layout = lay_out(map_, size.width, size.height, from_below=self.from_below, box=box, follow=follow)
            self._layout_for = key
        return self._layout

    def _zoom_box(self, map_: PlayfieldMap) -> Box | None:
        """The part of the playfield that is drawn; None for all of it."""
        if self.area is not None:
            return area_box(map_, self.area)
        if self.zoom is Zoom.WHOLE:
            return None
        ringed = [spot.position for spot in self._spots if spot.look in RINGED or spot.look == "mark"]
        middle = Position(x_mm=map_.machine.width_mm / 2, y_mm=map_.machine.length_mm / 2)
        around = ringed[0] if ringed else middle
        if above_field(map_, around):
            return None
        if self.zoom is Zoom.HALF:
            return zoom_box(map_, around)
        place = min(
            (place for place in map_.places if place.position is not None and place.area),
            key=lambda place: _apart(place.position, around),
            default=None,
        )
        return area_box(map_, place.area) if place is not None else None

    def cell_of(self, position: Position) -> tuple[int, int]:
        """Column and row of a position, from the frame's corner."""
        column, row = self.layout_now.nearest(position).cell(position)
        return column + self.gutter.left, row + self.gutter.top

    def position_of(self, column: int, row: int) -> Position:
        """The position in mm of a cell that is counted from the frame's corner."""
        column, row = column - self.gutter.left, row - self.gutter.top
        return self.layout_now.window_at(column, row).position(column, row)

    def beside(self, cell: tuple[int, int], across: int, down: int) -> tuple[int, int]:
        """The cell so many columns to the right and rows down, kept inside the frame."""
        left, top = self.gutter.left, self.gutter.top
        column, row = cell
        return (
            min(left + self.size.width - 1, max(left, column + across)),
            min(top + self.size.height - 1, max(top, row + down)),
        )

    # -- drawing ------------------------------------------------------------------------------------------------------

    def on_resize(self) -> None:
        """The cells are others now."""
        self._refresh_changed()

    def _refresh_changed(self) -> None:
        """Make the cells anew where something they show changed, and draw the rows that differ."""
        map_, size = self._map, self.size
        if map_ is None or size.width < _LEAST[0] or size.height < _LEAST[1]:
            return
        layout = self.layout_now
        before, over = self._still, self._over
        self._make_still(map_, layout)
        self._over = self._spot_cells(map_, layout)
        rows = set(range(size.height)) if before is not self._still else over.keys() | self._over.keys()
        changed = {
            row
            for row in rows
            if before.get(row) != self._still.get(row)
            or over.get(row) != self._over.get(row)
            or row not in self._strips
        }
        for row in changed:
            self._strips.pop(row, None)
        if changed:
            self.refresh(*(Region(0, row, size.width, 1) for row in sorted(changed)))

    def _make_still(self, map_: PlayfieldMap, layout: Layout) -> None:
        below_key = (map_.shapes, map_.machine, layout, self.show_grid)
        if not _same(below_key, self._below_for):
            self._below = ce.drawn_cells(shapes_of(map_), layout, grid=self.show_grid, plain=self.plain_ascii)
            self._below_for = below_key
        key = (map_.chains, map_.revisions, self._below, self.show_route, self.chain)
        alike = self._still_places is map_.places or _drawn_alike(self._still_places, map_.places)
        self._still_places = map_.places
        if alike and _same(key, self._still_for):
            return
        self._still_for = key
        self._lines.clear()
        self._still = ce.still_cells(
            map_, self._below, layout, chain=self.chain, route=self.show_route, plain=self.plain_ascii
        )

    def _spot_cells(self, map_: PlayfieldMap, layout: Layout) -> ce.Rows:
        """What the spots lay over the still picture, the more important above."""
        ringed = [spot for spot in self._spots if spot.look in RINGED]
        few = len(ringed) <= MOST_RINGS
        rows = self._shape_cells(layout)
        signs = [layout.nearest(spot.position).cell(spot.position) for spot in ringed] if few else []
        labels: ce.Rows = {}
        for spot in sorted(self._spots, key=lambda spot: ce.RANK.get(_ROLES.get(spot.look, spot.look), 0)):
            window = layout.window_of(spot.position)
            if window is None and spot.look != "mark":
                continue
            if few and spot.look in RINGED:
                ring = ce.ring_cells(
                    self._still,
                    layout,
                    spot.position,
                    label=spot.label,
                    lit=RINGED[spot.look],
                    plain=self.plain_ascii,
                    others=signs,
                )
                rows = ce.over(rows, ring)
                labels = ce.over(labels, ce.of_role(ring, "label"))
                continue
            column, row = (window or layout.nearest(spot.position)).cell(spot.position)
            role = _ROLES.get(spot.look, spot.look)
            sign = ce.plain_sign(spot.sign) if self.plain_ascii else spot.sign
            rows.setdefault(row, {})[column] = (sign, role if role in ce.RANK else "here")
        for column, row in signs:  # no ring covers a label, no label the sign of what is lit or offered
            labels.get(row, {}).pop(column, None)
        return ce.over(rows, labels)

    def _shape_cells(self, layout: Layout) -> ce.Rows:
        """The cells of the shape in hand, as they are below but brighter."""
        rows: ce.Rows = {}
        if self._shape is not None:
            for window in layout.windows:
                for column, row in ce.shape_cells((self._shape,), window, plain=self.plain_ascii):
                    sign, role = self._still.get(row, {}).get(column, _BLANK)
                    if role in ("field", "part"):
                        rows.setdefault(row, {})[column] = (sign, "shape")
        return rows

    def render_line(self, y: int) -> Strip:
        """One row of the picture; the frame is drawn around it."""
        width, height = self.size.width, self.size.height
        base = self._styles.get("")
        if base is None:
            base = self._styles[""] = self.rich_style
        if self._map is None or width < _LEAST[0] or height < _LEAST[1]:
            return Strip.blank(width, base)
        found = self._strips.get(y)
        if found is None or found.cell_length != width:
            if y not in self._strips and not self._still:
                self._refresh_changed()
            found = self._strips[y] = self._strip(y, width, base)
        return found

    def _strip(self, y: int, width: int, base: Style) -> Strip:
        """A row: what is still of it is kept in runs of one role, and only those under what lies over it are cut."""
        kept = self._lines.get(y)
        if kept is None or len(kept[0]) != width:
            row = self._still.get(y, {})
            still = [row.get(column, _BLANK) for column in range(width)]
            kept = self._lines[y] = (still, list(self._runs(still, base)))
        cells, runs = kept
        over = {column: cell for column, cell in self._over.get(y, {}).items() if 0 <= column < width}
        if not over:
            return Strip([run for _, run in runs], width)
        low, high = min(over), max(over) + 1
        before, after = [], []
        for start, run in runs:
            end = start + len(run.text)
            if end <= low:
                before.append(run)
            elif start < low:
                before.append(Segment(run.text[: low - start], run.style))
            if start >= high:
                after.append(run)
            elif end > high:
                after.append(Segment(run.text[high - start :], run.style))
        middle = cells[low:high]
        for column, cell in over.items():
            middle[column - low] = cell
        return Strip([*before, *(run for _, run in self._runs(middle, base)), *after], width)

    def _runs(self, cells: list[ce.Cell], base: Style) -> Iterator[tuple[int, Segment]]:
        """Neighbours of one role as one piece, each with its first column. A sign is one cell wide, or two and the next is empty."""
        start = 0
        for role, of_role in groupby(cells, key=itemgetter(1)):
            text = "".join([sign for sign, _ in of_role])
            yield start, Segment(text, self._style(role, base) if role else base)
            start += len(text)

    def _style(self, role: str, base: Style) -> Style:
        found = self._styles.get(role)
        if found is None:
            found = self._styles[role] = base + self.get_component_rich_style(f"picture--{role}", partial=True)
        return found


def _apart(one: Position | None, other: Position) -> float:
    return math.inf if one is None else math.dist((one.x_mm, one.y_mm), (other.x_mm, other.y_mm))


def _same(one: tuple[object, ...], other: tuple[object, ...]) -> bool:
    """Whether two keys are alike, large parts by identity first."""
    return len(one) == len(other) and all(
        a is b or (not isinstance(a, tuple) and a == b) for a, b in zip(one, other, strict=True)
    )


_NO_MAP = PlayfieldMap(machine=Machine(name="-"))
