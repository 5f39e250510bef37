"""The one door for text that comes from people, files and boards: nothing in it is ever taken for markup or control."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.content import Content
from textual.filter import LineFilter

from probe.document.outside_text import JOINER, is_unsafe, visible

if TYPE_CHECKING:
    from rich.table import Table

_SHORT_WORD = 3


def cut(text: str, width: int) -> str:
    """The text made visible and cut to `width` cells, with `…` where something is missing."""
    line = visible(text)
    if cell_len(line) <= width:
        return line
    kept = ""
    for character in line:
        if cell_len(kept + character) > width - 1:
            break
        kept += character
    return kept + "…"


def cut_inside(text: str, width: int) -> str:
    """As `cut`, but a short last word, such as the number in "Otter bonus 10", stays: "Otte…10"."""
    line = visible(text)
    last = line.rpartition(" ")[2]
    if cell_len(line) <= width or last == line or not cell_len(last) <= min(_SHORT_WORD, width - 2):
        return cut(line, width)
    head = cut(line, width - cell_len(last))
    return head + last


def plain(text: str, style: str = "", *, width: int | None = None) -> Content:
    """Outside text as content for a widget: safe whatever it holds. `style` is ours, never from outside."""
    shown = visible(text) if width is None else cut(text, width)
    return Content(shown).stylize(style) if style else Content(shown)


def listed(rows: Iterable[tuple[str, str]], *, gap: int = 1) -> Table:
    """Texts behind their marks, each (mark, text); what is folded stays behind its mark, `gap` blanks from it."""
    from rich.table import Table
    from rich.text import Text

    grid = Table.grid(padding=(0, gap, 0, 0))
    for mark, text in rows:
        grid.add_row(Text(mark), Text(text))
    return grid


def wrapped(text: str, width: int) -> list[str]:
    """Lines of at most `width` cells, broken only where two spaces part what belongs together."""
    lines: list[str] = []
    for word in text.split("  "):
        if lines and cell_len(lines[-1]) + 2 + cell_len(word) <= width:
            lines[-1] += f"  {word}"
        else:
            lines.append(word)
    return lines


class Harmless(LineFilter):
    """The last door before the terminal, for whatever did not come through the one above: each line that any widget draws."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """See LineFilter. The width stays."""
        return [segment if segment.text.isprintable() else _harmless(segment) for segment in segments]


HARMLESS = Harmless()


def _harmless(segment: Segment) -> Segment:
    kept = "".join(" " * cell_len(c) if is_unsafe(c) and c != JOINER else c for c in segment.text)
    return Segment(kept, segment.style, segment.control)
