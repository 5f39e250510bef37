"""Levels even to the eye, and the duty a pixel gets for one: the only place where this program computes gamma.

A level is 0 to 255 in equal steps of CIE 1976 lightness L* (level 255: L* 100). The light of a pixel is proportional to
its duty, so duty follows from the level by the inverse of L*: that is the whole gamma of this project. It is applied
once, when a level of the map becomes a colour order or a board plays a table; colours on the line (SPEC 5.7) and
the colours of a map "at full level" are duty and are never bent again.

Formula: CIE 15, lightness of a surface of luminance Y relative to white Yn (here: a pixel at full duty).
"""

from __future__ import annotations

from typing import Final

from device_protocol.values import Colour

_KNEE: Final = (6 / 29) ** 3
_SLOPE: Final = 841 / 108


def lightness(y: float, *, white: float = 100.0) -> float:
    """L* (0 to 100) of luminance `y` relative to `white`, both in the same unit. Raises ValueError below 0."""
    if y < 0 or white <= 0:
        raise ValueError(f"luminance {y} of white {white}: neither may be negative, nor white be 0")
    t = y / white
    f = t ** (1 / 3) if t > _KNEE else _SLOPE * t + 4 / 29
    return 116 * f - 16


def luminance(l_star: float, *, white: float = 100.0) -> float:
    """Luminance of lightness L*: the inverse of `lightness`. Raises ValueError below 0."""
    if l_star < 0:
        raise ValueError(f"lightness {l_star}: not below 0")
    f = (l_star + 16) / 116
    return white * (f**3 if f > 6 / 29 else (f - 4 / 29) / _SLOPE)


def _duty(level: int) -> int:
    # A lit level never falls to duty 0: a place that is set to glow must not go dark.
    return max(1, round(255 * luminance(100 * level / 255) / 100)) if level else 0


DUTY: Final[tuple[int, ...]] = tuple(_duty(level) for level in range(256))
"""Duty 0 to 255 for each level: never falling, 0 for level 0 only."""


def level_for_duty(duty: float) -> int:
    """The level whose light comes nearest to a duty of 0 to 255 (not rounded)."""
    if duty <= 0:
        return 0
    return max(1, min(255, round(255 * lightness(100 * min(duty, 255.0) / 255) / 100)))


def at_level(colour: Colour, level: int) -> Colour:
    """A colour given at full level, at this level: each value times DUTY[level] / 255, halves rounded up.

    Where everything would round to 0, the strongest values become 1. Raises ValueError for a level outside 0 to 255.
    """
    if not 0 <= level <= 255:
        raise ValueError(f"level {level}: 0 to 255")
    duty = DUTY[level]
    full = (colour.red, colour.green, colour.blue, colour.white)
    values = [(value * duty * 2 + 255) // 510 for value in full]
    if duty and not any(values):
        values = [int(value == max(full) > 0) for value in full]
    return Colour(*values)


def srgb_to_linear(value: float) -> float:
    """Light (0 to 1) of an 8-bit sRGB value 0 to 255, as in a photograph (IEC 61966-2-1)."""
    if not 0 <= value <= 255:
        raise ValueError(f"picture value {value}: 0 to 255")
    v = value / 255
    return v / 12.92 if v <= 0.04045 else float(((v + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(light: float) -> int:
    """The 8-bit sRGB value whose light comes nearest to `light` (0 to 1), for a colour that a screen shows."""
    v = min(1.0, max(0.0, light))
    return round(255 * (12.92 * v if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055))
