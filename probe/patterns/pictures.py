"""Pictures: what every pixel of one chain has to show."""

from __future__ import annotations

from device_protocol.current import current_ua
from device_protocol.values import DARK, Colour

Picture = tuple[Colour, ...]

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
        picture_sum = lighting * colour.at(middle).total
        if current_ua(count=0, colour_sum=picture_sum, idle_ua=0, channel_ua=channel_ua) <= room_ua:
            low = middle
        else:
            high = middle - 1
    return low if room_ua > 0 else 0
