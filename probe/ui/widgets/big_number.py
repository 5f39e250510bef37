"""A number that can be read from two metres."""

from __future__ import annotations

from textual.content import Content

from probe.ui.widgets.text_block import TextBlock

_FONT = {
    "0": ("01110", "10001", "10011", "10101", "11001", "10001", "01110"),
    "1": ("00100", "01100", "00100", "00100", "00100", "00100", "01110"),
    "2": ("01110", "10001", "00001", "00110", "01000", "10000", "11111"),
    "3": ("01110", "10001", "00001", "00110", "00001", "10001", "01110"),
    "4": ("00010", "00110", "01010", "10010", "11111", "00010", "00010"),
    "5": ("11111", "10000", "11110", "00001", "00001", "10001", "01110"),
    "6": ("00110", "01000", "10000", "11110", "10001", "10001", "01110"),
    "7": ("11111", "00001", "00010", "00100", "01000", "01000", "01000"),
    "8": ("01110", "10001", "10001", "01110", "10001", "10001", "01110"),
    "9": ("01110", "10001", "10001", "01111", "00001", "00010", "01100"),
    " ": ("00000",) * 7,
}
HEIGHT = 7


def big_rows(text: str, *, plain_ascii: bool = False, times: int = 1) -> list[str]:
    """Rows of cells for a string of digits: seven, or `times` as many; each dot is two cells wide, or `times` as many.

    `#` instead of blocks if `plain_ascii`.
    """
    dot, gap = ("##" if plain_ascii else "██") * times, "  " * times
    return [
        gap.join(
            "".join(dot if bit == "1" else gap for bit in _FONT.get(character, _FONT[" "])[row]) for character in text
        )
        for row in range(HEIGHT)
        for _ in range(times)
    ]


class BigNumber(TextBlock):
    """The number that is lit, in blocks; hollow while the board has not confirmed it."""

    def __init__(self, *, plain_ascii: bool = False) -> None:
        super().__init__(id="big-number")
        self._plain_ascii = plain_ascii

    def show(self, number: int, *, lit: bool, times: int = 1) -> None:
        """Draw a number, larger by `times`; `lit` only after the board has said so."""
        rows = big_rows(str(number), plain_ascii=self._plain_ascii, times=times)
        if not lit:
            rows = [row.replace("█", "░").replace("#", ".") for row in rows]
        self.set_class(lit, "lit")
        self.put(*map(Content, rows))
