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


def spots_of(m: PlayfieldMap, lit_place: str | None = None) -> list[Spot]:
    """What a map shows: every place with a position, by kind; dark and dead ones marked `x`."""
    trouble = {
        pixel.place
        for chain in m.chains
        for pixel in chain.pixels
        if pixel.place and pixel.state in (PixelState.DARK, PixelState.DEAD)
    }
    found = []
    for place in m.places:
        if place.position is None:
            continue
        if place.id == lit_place:
            found.append(Spot(place.position, LIT_SIGN, "lit"))
        elif place.id in trouble:
            found.append(Spot(place.position, "x", "dark"))
        elif place.id not in m.pixels_at:
            found.append(Spot(place.position, SIGNS[place.kind], "unseen"))
        else:
            look = "guess" if place.position.guessed else "plain"
            found.append(Spot(place.position, SIGNS[place.kind], look))
    return found


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
        self._spots: tuple[Spot, ...] = ()
        self._extent_mm = (514.35, 1066.8)
        self.from_below = False
        self._rows: dict[int, dict[int, Spot]] = {}
        self._laid_out_for: tuple[int, int] | None = None

    def show(self, m: PlayfieldMap, spots: Iterable[Spot]) -> None:
        """Draw these spots on this machine's playfield (anything above it, such as a backbox, is made room for)."""
        chosen = tuple(spots)
        top = max([m.machine.length_mm, *(s.position.y_mm for s in chosen)])
        extent = (m.machine.width_mm, top)
        if chosen == self._spots and extent == self._extent_mm:
            return
        self._spots, self._extent_mm = chosen, extent
        self._laid_out_for = None
        self.refresh()

    def flip(self) -> None:
        """See it from the other side."""
        self.from_below = not self.from_below
        self._laid_out_for = None
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
        size = (self.size.width, self.size.height)
        if self._laid_out_for == size:
            return
        rows: dict[int, dict[int, Spot]] = {}
        for spot in sorted(self._spots, key=lambda s: _ORDER.get(s.look, 0)):
            column, row = self.cell_of(spot.position)
            rows.setdefault(row, {})[column] = spot
        self._rows, self._laid_out_for = rows, size

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
        cells = self._rows.get(y, {})
        segments = [Segment("|", edge)]
        column = 1
        for at in sorted(c for c in cells if 1 <= c < width - 1):
            if at > column:
                segments.append(Segment(" " * (at - column), base))
            spot = cells[at]
            segments.append(Segment(spot.sign, base + _STYLES.get(spot.look, Style())))
            column = at + 1
        segments.append(Segment(" " * max(0, width - 1 - column), base))
        segments.append(Segment("|", edge))
        return Strip(segments, width)
