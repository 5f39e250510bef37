"""The playfield drawn in cells: places at their positions, by sign and colour; the lit one unmistakable."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from probe.maps.model import Kind, PixelState, PlayfieldMap, Position

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
LIT_SIGN = "◉"
MARK_SIGN = "+"


@dataclass(frozen=True)
class Spot:
    """One thing to draw: position in mm, its sign, and how (`plain`, `dark`, `lit`, `seen`, `mark`, `guess`)."""

    position: Position
    sign: str
    look: str


def look_of_places(m: PlayfieldMap) -> dict[str, tuple[str, str]]:
    """Sign and look of every place that has a position, by place id: dark and dead ones are marked `x`."""
    trouble = {
        pixel.place
        for chain in m.chains
        for pixel in chain.pixels
        if pixel.place and pixel.state in (PixelState.DARK, PixelState.DEAD)
    }
    lit_by = m.pixels_at
    looks = {}
    for place in m.places:
        if place.position is None:
            continue
        if place.id in trouble:
            looks[place.id] = ("x", "dark")
        elif place.id not in lit_by:
            looks[place.id] = (SIGNS[place.kind], "unseen")
        else:
            looks[place.id] = (SIGNS[place.kind], "guess" if place.position.guessed else "plain")
    return looks


_ORDER = {"unseen": 0, "guess": 1, "plain": 2, "dark": 3, "seen": 4, "lit": 5, "mark": 6}
_STYLES = {
    "unseen": Style(dim=True),
    "guess": Style(color="#56B4E9", dim=True),
    "plain": Style(color="#56B4E9"),
    "dark": Style(color="#D55E00", bold=True),
    "seen": Style(color="#F0E442", bold=True, reverse=True),
    "lit": Style(color="#F0E442", bold=True, reverse=True),
    "mark": Style(bold=True, reverse=True),
}


class PlayfieldPicture(Widget):
    """The picture. `from_below` mirrors left and right, as one sees it with the playfield raised."""

    DEFAULT_CSS = "PlayfieldPicture { width: 1fr; height: 1fr; }"

    def __init__(self) -> None:
        super().__init__(id="picture")
        self._map: PlayfieldMap | None = None
        self._overlay: tuple[Spot, ...] = ()
        self._extent_mm = (514.35, 1066.8)
        self.from_below = False
        self._base: dict[int, dict[int, tuple[str, str]]] = {}
        self._base_for: tuple[object, ...] | None = None

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
        self._map, self._overlay = m, spots
        self.refresh()

    def flip(self) -> None:
        """See it from the other side."""
        self.from_below = not self.from_below
        self.refresh()

    def cell_of(self, position: Position) -> tuple[int, int]:
        """Column and row of a position."""
        width, height = max(1, self.size.width - 2), max(1, self.size.height - 2)
        across = min(1.0, max(0.0, position.x_mm / self._extent_mm[0]))
        up = min(1.0, max(0.0, position.y_mm / self._extent_mm[1]))
        if self.from_below:
            across = 1 - across
        return 1 + round(across * (width - 1)), 1 + round((1 - up) * (height - 1))

    def position_of(self, column: int, row: int) -> Position:
        """The position in mm of a cell."""
        width, height = max(2, self.size.width - 2), max(2, self.size.height - 2)
        across = min(1.0, max(0.0, (column - 1) / (width - 1)))
        if self.from_below:
            across = 1 - across
        up = 1 - min(1.0, max(0.0, (row - 1) / (height - 1)))
        return Position(x_mm=round(across * self._extent_mm[0], 1), y_mm=round(up * self._extent_mm[1], 1))

    def _lay_out(self) -> None:
        """Put the places of the map into cells, once for each map and size; what matters more covers what less."""
        m = self._map
        if m is None:
            return
        key = (m.places, m.chains, self.size, self.from_below, self._extent_mm)
        old = self._base_for
        if old is not None and old[0] is key[0] and old[1] is key[1] and old[2:] == key[2:]:
            return
        self._base_for = key
        rows: dict[int, dict[int, tuple[str, str]]] = {}
        looks = look_of_places(m)
        across, up = self.size.width - 3, self.size.height - 3
        width_mm, top_mm = self._extent_mm
        for place in m.places:
            look = looks.get(place.id)
            if look is None or place.position is None:
                continue
            share = min(1.0, max(0.0, place.position.x_mm / width_mm))
            column = 1 + round((1 - share if self.from_below else share) * across)
            row = 1 + round((1 - min(1.0, max(0.0, place.position.y_mm / top_mm))) * up)
            cells = rows.setdefault(row, {})
            before = cells.get(column)
            if before is None or _ORDER[before[1]] <= _ORDER[look[1]]:
                cells[column] = look
        self._base = rows

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
        cells = dict(self._base.get(y, {}))
        for spot in self._overlay:
            column, row = self.cell_of(spot.position)
            if row == y and (column not in cells or _ORDER[cells[column][1]] <= _ORDER[spot.look]):
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
