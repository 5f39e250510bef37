"""Lines of text that ask for a layout only if their height may change, and of which only rows that differ are drawn again."""

from __future__ import annotations

from rich.cells import cell_len
from rich.segment import Segment
from textual.content import Content
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.visual import Visual
from textual.widgets import Static


class TextBlock(Static):
    """As wide as it is let, as high as its lines."""

    def __init__(self, *, id: str, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._text: Content | None = Content("")
        self._rows: list[Content] = []
        self._put_at: Size | None = None
        """The size at which rows were put that asked for no layout."""
        self._strips: dict[int, Strip] = {}

    @property
    def visual(self) -> Visual:
        """The text."""
        if self._text is None:
            self._text = Content("\n").join(self._rows)
        return self._text

    def put(self, *lines: Content) -> None:
        """Show lines; in as many rows as before, each on one, nothing moves."""
        rows = [
            row for line in lines for row in (line.split("\n", allow_blank=True) if "\n" in line.plain else (line,))
        ]
        before, self._rows = self._rows, rows
        differing = [at for at, row in enumerate(rows) if at >= len(before) or not before[at].is_same(row)]
        if not differing and len(rows) == len(before):
            return
        self._text = None
        width, height = self.size
        if len(before) == len(rows) == height and all(
            "\t" not in row.plain and cell_len(row.plain) <= width for row in (*before, *rows)
        ):
            for at in differing:
                self._strips.pop(at, None)
            self._put_at = self.size
            self.refresh(*(Region(0, at, width, 1) for at in differing))
        else:
            self._put_at = None
            self._strips.clear()
            self.refresh(layout=True)

    def notify_style_update(self) -> None:
        """Another theme: every row is drawn anew."""
        super().notify_style_update()
        self._strips.clear()

    def render_line(self, y: int) -> Strip:
        """One row. As long as each line has a row of its own, only those that differ are made again."""
        if self._put_at != self.size or y >= len(self._rows) or self.text_selection is not None:
            return super().render_line(y)  # also where it was resized, and has not heard of it yet
        found = self._strips.get(y)
        if found is None:
            base, row, x = self.visual_style, self._rows[y], 0
            segments = []
            for text, style in row.render(base, end="", parse_style=self.app.stylesheet.parse_style):
                segments.append(Segment(text, style.rich_style_with_offset(x, y)))  # where a selection finds it
                x += len(text)
            found = self._strips[y] = Strip(segments, row.cell_length)
        return found

    def on_resize(self) -> None:
        """At another width the text may be higher than that which the layout was made for."""
        if self._put_at not in (None, self.size):
            self._put_at = None
            self._strips.clear()
            self.refresh(layout=True)
