"""For fonts that lack signs: what is drawn is put into ASCII, or into block signs, of the same width, last of all."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter
from textual.scrollbar import ScrollBarRender

_SIGNS = {
    **dict.fromkeys("─━╌┄═╍┅", "-"),
    **dict.fromkeys("│┃╎┆║▏▕▎▍▌▐", "|"),
    **dict.fromkeys("█▓▇▆▅▄▃▀■▉▊▋", "#"),
    **dict.fromkeys("▒░▂", ":"),
    **dict.fromkeys("▁▔", "_"),
    **dict.fromkeys("●⬤•◉★", "*"),
    "◆": "&",  # not the sign of ●: a colour's word stands beside it in lists, but not in the picture
    **dict.fromkeys("○◌◯◇☐", "o"),
    **dict.fromkeys("▸▶►→›»", ">"),
    **dict.fromkeys("◂◀◄←‹«", "<"),
    **dict.fromkeys("▲↑△", "^"),
    **dict.fromkeys("▼↓▽", "v"),
    **dict.fromkeys("–—−‐‑", "-"),
    **dict.fromkeys("‘’′", "'"),
    **dict.fromkeys("“”″„", '"'),
    **dict.fromkeys("µμ", "u"),
    **dict.fromkeys("×✕✗✘", "x"),
    **dict.fromkeys("✓✔", "+"),
    **dict.fromkeys("·∙⋅", "."),
    "…": "~",  # a full stop would say that nothing is missing
    "¹": "*",  # a footnote
    "²": "2",  # mm²
    "³": "3",
    "±": "~",
    "≤": "<",
    "≥": ">",
    "≈": "~",
    "Ω": "R",
    "°": "o",
    "\N{NO-BREAK SPACE}": " ",
    "\N{THIN SPACE}": " ",
    "\N{NARROW NO-BREAK SPACE}": " ",
}


@lru_cache(4096)
def _ascii_sign(sign: str) -> str:
    width = cell_len(sign)
    if width == 0:
        return ""
    if sign in _SIGNS:
        return _SIGNS[sign] * width
    name = unicodedata.name(sign, "")
    if name.startswith("BOX DRAWINGS"):
        return "+"
    if name.startswith(("BLOCK", "QUADRANT", "BRAILLE", "LOWER", "UPPER", "LEFT", "RIGHT")) and sign >= "\u2500":
        return "#" if sign != "\N{BRAILLE PATTERN BLANK}" else " "
    plain = "".join(c for c in unicodedata.normalize("NFKD", sign) if c.isascii() and c.isprintable())
    return plain if len(plain) == width else "?" * width


def to_ascii(text: str) -> str:
    """`text` in ASCII, as wide as before."""
    return text if text.isascii() else "".join(c if c.isascii() else _ascii_sign(c) for c in text)


_QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""By which of the quarters are filled: 1 upper left, 2 upper right, 4 lower left, 8 lower right."""
_BRAILLE = 0x2800
_QUARTER_DOTS = ((1, 0x03), (2, 0x18), (4, 0x44), (8, 0xA0))
"""Each quarter, and the dots of a braille sign that lie in it."""
_FINE = {"⊚": "O", "✦": "*", "⋅": "·"}


@lru_cache(512)
def _block_sign(sign: str) -> str:
    dots = ord(sign) - _BRAILLE
    if not 0 <= dots <= 0xFF:
        return _FINE.get(sign, sign)
    return _QUADRANTS[sum(quarter for quarter, mask in _QUARTER_DOTS if dots & mask)]


def to_blocks(text: str) -> str:
    """`text` without braille signs: block signs with a quarter filled where any of its dots is."""
    return text if text.isascii() else "".join(c if c.isascii() else _block_sign(c) for c in text)


class BlocksOnly(LineFilter):
    """For fonts without braille: lines of dots become lines of blocks."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """See LineFilter."""
        return [
            segment if segment.text.isascii() else Segment(to_blocks(segment.text), segment.style, segment.control)
            for segment in segments
        ]


class AsciiOnly(LineFilter):
    """Puts what is drawn into ASCII."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """See LineFilter."""
        return [
            segment if segment.text.isascii() else Segment(to_ascii(segment.text), segment.style, segment.control)
            for segment in segments
        ]


class WholeCells(ScrollBarRender):
    """Scroll bars that begin and end with whole cells: part of a cell would be a sign."""

    VERTICAL_BARS = (" ",)  # type: ignore[assignment]
    HORIZONTAL_BARS = (" ",)  # type: ignore[assignment]
