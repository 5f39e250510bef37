"""Lengths and positions as a person types them: tape measure in inches or millimetres, and squares of a grid.

Tape: `260 mm`, `26 cm`, `10 1/4"`, `10-1/4 in`, `10¼`, `1' 2 1/2"`, `10.25`. A bare number is in the unit chosen.
A position is two lengths: from the left edge, then from the edge nearest to the player (`10 1/4, 22 1/2`). A comma may
be the decimal sign where a semicolon stands between the two (`26,5; 57`).
A grid square is a letter across and a number up: `C7`. Squares are 50 mm wide, counted from the near left corner.
"""

from __future__ import annotations

import re
import unicodedata
from enum import StrEnum
from fractions import Fraction

from probe.document.model import Machine, Position

MM_PER_INCH = Fraction(254, 10)
"""Exact since 1959 (international inch)."""
GRID_MM = 50.0
LONGEST_MM = 5_000
MOST_SIGNS = 40


class LengthError(ValueError):
    """What was typed is no length or position; the text says what would be."""


class Unit(StrEnum):
    """What a bare number means."""

    MM = "mm"
    INCH = "in"


_NUMBER = r"\d{1,6}(?:\.\d{1,6})?|\.\d{1,6}"
_AMOUNT = (
    rf"(?:(?P<whole>\d{{1,6}})(?:\s*-\s*|\s+))?(?P<over>\d{{1,6}})\s*/\s*(?P<under>\d{{1,6}})|(?P<decimal>{_NUMBER})"
)
_PART = re.compile(rf"\s*(?:{_AMOUNT})\s*(?P<unit>mm|cm|m|inches|inch|in|ft|feet|''|'|\")?\s*", re.ASCII)
_IN_MM = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "''": MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "feet": 12 * MM_PER_INCH,
    "'": 12 * MM_PER_INCH,
}
_SIGNS = str.maketrans({"″": '"', "′": "'", "“": '"', "”": '"', "’": "'", "‘": "'", "⁄": "/", "–": "-", "−": "-"})
_HINT = 'type it as 260 mm, 26 cm, 10 1/4", 10.25 in or 1\' 2 1/2"'


def _plain(text: str) -> str:
    spaced = re.sub(r"([\u00bc-\u00be\u2150-\u215e])", r" \1 ", text)
    folded = unicodedata.normalize("NFKC", spaced).translate(_SIGNS).casefold()
    return re.sub(r"(?<=\d),(?=\d)", ".", folded).strip()


def parse_length(text: str, unit: Unit = Unit.MM) -> float:
    """A length in mm, rounded to 0.01. Raises LengthError."""
    shown = text[:MOST_SIGNS]
    if len(text) > MOST_SIGNS:
        raise LengthError(f"{shown!r}… is too long for a length: {_HINT}")
    rest = _plain(text)
    if not rest:
        raise LengthError(f"no length: {_HINT}")
    total, at, feet = Fraction(0), 0, False
    while at < len(rest):
        found = _PART.match(rest, at)
        if found is None or found.end() == at or (at and not feet):
            raise LengthError(f"{shown!r} is not a length: {_HINT}")
        named = found["unit"]
        if feet and named in ("'", "ft", "feet", "mm", "cm", "m"):
            raise LengthError(f"{shown!r} is not a length: after feet come inches")
        if found["under"]:
            if int(found["under"]) == 0:
                raise LengthError(f"{shown!r} divides by 0: {_HINT}")
            amount = int(found["whole"] or 0) + Fraction(int(found["over"]), int(found["under"]))
        else:
            amount = Fraction(found["decimal"])
        total += amount * _IN_MM[named or ("in" if feet else unit.value)]
        feet = named in ("'", "ft", "feet")
        at = found.end()
    if total > LONGEST_MM:
        raise LengthError(f"{shown!r} is {float(total):.0f} mm: more than {LONGEST_MM} mm. Check the unit")
    return round(float(total), 2)


def shown_length(mm: float, unit: Unit = Unit.MM) -> str:
    """A length as it is written: `260 mm`, or `10 1/4 in` to the nearest sixteenth."""
    if unit is Unit.MM:
        return f"{mm:.0f} mm"
    sixteenths = round(abs(mm) / float(MM_PER_INCH) * 16)
    sign = "-" if mm < 0 and sixteenths else ""
    whole, part = divmod(sixteenths, 16)
    if not part:
        return f"{sign}{whole} in"
    share = Fraction(part, 16)
    fraction = f"{share.numerator}/{share.denominator}"
    return f"{sign}{whole} {fraction} in" if whole else f"{sign}{fraction} in"


_SQUARE = re.compile(r"\s*([a-z])\s*(\d{1,3})\s*", re.ASCII | re.IGNORECASE)


def grid_square(position: Position) -> str:
    """The square a position lies in; empty for one left of or nearer than the corner."""
    column, row = int(position.x_mm // GRID_MM), int(position.y_mm // GRID_MM)
    return f"{chr(65 + column)}{row + 1}" if 0 <= column < 26 and row >= 0 else ""


def parse_square(text: str) -> Position | None:
    """The middle of a square such as `C7`, None if the text is none."""
    found = _SQUARE.fullmatch(text)
    if found is None or int(found[2]) < 1:
        return None
    x_mm = (ord(found[1].upper()) - 65 + 0.5) * GRID_MM
    y_mm = (int(found[2]) - 0.5) * GRID_MM
    return Position(x_mm=x_mm, y_mm=y_mm) if y_mm <= LONGEST_MM else None


def parse_position(text: str, machine: Machine, unit: Unit = Unit.MM, *, from_below: bool = False) -> Position:
    """A grid square, or two lengths with a comma, a semicolon or `x` between them. Raises LengthError.

    `from_below`: the first length is taken from the edge at the left hand of somebody who looks from below.
    """
    square = parse_square(text)
    if square is not None:
        position = square
    else:
        parts = re.split(";" if ";" in text else r",|[×]|\s+x\s+", text)
        if len(parts) != 2:
            raise LengthError(
                f"{text[:MOST_SIGNS]!r}: type a square (C7) or two lengths with a comma: from the left edge, "
                "from the edge nearest to you"
            )
        position = Position(x_mm=parse_length(parts[0], unit), y_mm=parse_length(parts[1], unit))
    if position.x_mm > machine.width_mm + GRID_MM or position.y_mm > 2 * machine.length_mm:
        raise LengthError(
            f"{position.x_mm:.0f}, {position.y_mm:.0f} mm lies beside a playfield of {machine.width_mm:.0f} × "
            f"{machine.length_mm:.0f} mm: check the unit and the order (from the left, then from near you)"
        )
    if from_below and square is None:
        return Position(x_mm=round(machine.width_mm - position.x_mm, 2), y_mm=position.y_mm)
    return position
