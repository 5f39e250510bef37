"""The one door for text that comes from people, files and boards: nothing in it is ever taken for markup or control."""

from __future__ import annotations

import unicodedata

from rich.cells import cell_len
from textual.content import Content

_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_LINE_ENDS = {"\n": "⏎", "\r": "␍", "\t": "→", "\u2028": "⏎", "\u2029": "⏎", "\x85": "⏎"}
_SHORT_WORD = 3


def visible(text: str) -> str:
    """The text on one line, with every control character made visible, and none left that moves or reorders others."""
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    code = ord(character)
    if character in _LINE_ENDS:
        return _LINE_ENDS[character]
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "␡"
    if character in _BIDI or unicodedata.category(character) in ("Cc", "Cs", "Co", "Cn"):
        return f"‹{code:X}›"
    if unicodedata.category(character) == "Cf" and character != "\u200d":
        return ""
    return character


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
