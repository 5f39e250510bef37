"""Colours and pictures: what every pixel of one chain is told to show."""

from __future__ import annotations

from typing import NamedTuple

from device_protocol.current import current_ua


class Colour(NamedTuple):
    """Levels 0 to 255 of red, green, blue and white."""

    red: int
    green: int
    blue: int
    white: int = 0

    @property
    def letters(self) -> frozenset[str]:
        """Which of R, G, B, W are lit."""
        return frozenset(letter for letter, level in zip("RGBW", self, strict=True) if level)

    def at(self, level: int) -> Colour:
        """The same hue with its largest level set to `level` (0 to 255)."""
        top = max(self)
        if top == 0:
            return self
        return Colour(*(round(value * level / top) for value in self))

    def digits(self, *, colours: int = 3) -> str:
        """`RRGGBB`, or `RRGGBBWW` with `colours` 4, as the line protocol writes it.

        Raises ValueError when white is lit and only three colours can be written.
        """
        if colours == 3 and self.white:
            raise ValueError("a three-colour pixel cannot show white of its own: set white to 0")
        return "".join(f"{value:02X}" for value in self[:colours])


Picture = tuple[Colour, ...]

DARK = Colour(0, 0, 0)
RED = Colour(255, 0, 0)
GREEN = Colour(0, 255, 0)
BLUE = Colour(0, 0, 255)
WHITE = Colour(255, 255, 255)


def whole(colour: Colour, count: int) -> Picture:
    """Every pixel in one colour."""
    return (colour,) * count


def single(number: int, colour: Colour, count: int) -> Picture:
    """One pixel lit, the rest dark. Raises ValueError when the chain has no such pixel."""
    if not 0 <= number < count:
        raise ValueError(f"pixel {number} is not in a chain of {count}")
    return (DARK,) * number + (colour,) + (DARK,) * (count - number - 1)


def level_under_ceiling(
    colour: Colour,
    *,
    count: int,
    ceiling_ma: int,
    channel_ua: int,
    idle_ua: int,
    lit: int | None = None,
    share: float = 1.0,
) -> int:
    """The highest level (0 to 255) at which `lit` pixels of that hue (all of them if None) stay under `share` of what
    the ceiling leaves above the idle current of `count` pixels. 0 when the dark chain alone uses it up."""
    lighting = count if lit is None else lit
    room_ua = (ceiling_ma * 1_000 - count * idle_ua) * share
    low, high = 0, 255
    while low < high:
        middle = (low + high + 1) // 2
        picture_sum = lighting * sum(colour.at(middle))
        if current_ua(count=0, colour_sum=picture_sum, idle_ua=0, channel_ua=channel_ua) <= room_ua:
            low = middle
        else:
            high = middle - 1
    return low if room_ua > 0 else 0
