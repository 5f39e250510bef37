"""Lines of text that ask for a layout only if their height may change, and of which only rows that differ are drawn again."""

from __future__ import annotations

from rich.cells import cell_len
from textual.content import Content
from textual.geometry import Region
from textual.visual import Visual
from textual.widgets import Static


class TextBlock(Static):
    """As wide as it is let, as high as its lines."""

    def __init__(self, *, id: str, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._text = Content("")
        self._rows: list[Content] = []
        self._put_without_layout = False

    @property
    def visual(self) -> Visual:
        """The text."""
        return self._text

    def put(self, text: Content) -> None:
        """Show a text; with one line a row, in as many rows as before, nothing moves."""
        before, self._rows = self._rows, text.split("\n", allow_blank=True)
        self._text = text
        width, height = self.size
        if len(before) == len(self._rows) == height and all(
            "\t" not in row.plain and cell_len(row.plain) <= width for row in (*before, *self._rows)
        ):
            pairs = enumerate(zip(before, self._rows, strict=True))
            differing = [Region(0, at, width, 1) for at, (old, new) in pairs if not old.is_same(new)]
            if differing:
                self._put_without_layout = True
                self.refresh(*differing)
        else:
            self._put_without_layout = False
            self.refresh(layout=True)

    def on_resize(self) -> None:
        """At another width the text may be higher than that which the layout was made for."""
        if self._put_without_layout:
            self._put_without_layout = False
            self.refresh(layout=True)
