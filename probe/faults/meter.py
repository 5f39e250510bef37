"""Readings as a person types them, and what they mean by documented ranges (`data/ranges.csv`).

A reading near an edge between two ranges speaks for both; one that no range covers settles nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass


class ReadingError(ValueError):
    """What was typed is not a reading. The text says what is expected."""


@dataclass(frozen=True)
class MeterRange:
    """Readings from `low` (included) to `high` mean `answer`; `tolerance` widens the doubt at both edges."""

    answer: str
    low: float
    high: float
    tolerance: float
    source: str


@dataclass(frozen=True)
class Ranges:
    """All ranges of one measurement. `unit` is V or ohm. With `readings` 2 the difference of the two is judged."""

    id: str
    unit: str
    readings: int
    parts: tuple[MeterRange, ...]


@dataclass(frozen=True)
class MeterVerdict:
    """What a reading means: shares of answers, adding up to 1; empty when it settles nothing."""

    shares: tuple[tuple[str, float], ...]

    @property
    def answer(self) -> str | None:
        """The one answer the reading gives, or None in doubt."""
        return self.shares[0][0] if len(self.shares) == 1 else None


_READING = re.compile(
    r"(?P<sign>[-+\N{MINUS SIGN}]?)\s*(?P<digits>\d+(?:[.,]\d*)?|[.,]\d+)"
    r"\s*(?P<scale>[mkM\N{MICRO SIGN}u]?)\s*(?P<unit>[vV]|ohms?|Ohms?|[\N{OHM SIGN}\N{GREEK CAPITAL LETTER OMEGA}R])?"
)
_SCALES = {"": 1.0, "m": 1e-3, "k": 1e3, "M": 1e6, "u": 1e-6, "\N{MICRO SIGN}": 1e-6}


def parse_reading(text: str, unit: str) -> float:
    """A reading such as `4.93`, `4,93 V`, `-120 mV`, `0.47k`, `2.2 Mohm`, or `OL` for open (ohms only).

    Returns volts or ohms; infinity for open. Raises ReadingError.
    """
    typed = text.strip()
    if unit == "ohm" and re.fullmatch(r"(?i)o\.?l\.?|open|inf|over", typed):
        return math.inf
    match = _READING.fullmatch(typed)
    expected = "volts, such as 4.93 or 120 mV" if unit == "V" else "ohms, such as 330, 4.7k or OL for open"
    if match is None:
        raise ReadingError(f"{typed!r} is not a reading in {expected}")
    given = match["unit"]
    if given is not None and (given in "vV") != (unit == "V"):
        raise ReadingError(f"{typed!r} has another unit: this question wants {expected}")
    value = float(match["digits"].replace(",", ".")) * _SCALES[match["scale"]]
    if unit == "ohm" and match["sign"] not in ("", "+") and value:
        raise ReadingError(f"{typed!r}: ohms are never below zero; is there still voltage? Power off and unplug")
    return -value if match["sign"] in ("-", "\N{MINUS SIGN}") else value


def parse_readings(text: str, ranges: Ranges) -> tuple[float, ...]:
    """As many readings as the measurement has, separated by `;`, `/` or blanks (`1.42 / 0.01`). Raises ReadingError."""
    if ranges.readings == 1:
        return (parse_reading(text, ranges.unit),)
    parts = [part for part in re.split(r"\s*[;/]\s*", text.strip()) if part]
    if len(parts) == 1:
        parts = parts[0].split()
    if len(parts) != ranges.readings:
        raise ReadingError(f"{text!r}: this question wants {ranges.readings} readings, such as 1.42 / 0.01")
    return tuple(parse_reading(part, ranges.unit) for part in parts)


def judge(readings: Sequence[float], ranges: Ranges) -> MeterVerdict:
    """What readings mean. Volts across a drop or a change are judged without sign, volts of a supply with it.

    Raises ReadingError when the number of readings is wrong.
    """
    if len(readings) != ranges.readings:
        raise ReadingError(f"{ranges.id} wants {ranges.readings} readings, not {len(readings)}")
    value = abs(readings[0] - readings[1]) if ranges.readings == 2 else readings[0]
    if min(part.low for part in ranges.parts) >= 0:
        value = abs(value)
    shares: dict[str, float] = {}
    for part in ranges.parts:
        share = _share(value, part)
        if share > 0:
            shares[part.answer] = share
    total = sum(shares.values())
    return MeterVerdict(tuple((answer, share / total) for answer, share in shares.items()) if total else ())


def _share(value: float, part: MeterRange) -> float:
    """1 well inside a range, 0 well outside, in a straight line between over twice the tolerance at each edge."""
    if math.isinf(value):
        return 1.0 if math.isinf(part.high) and value > 0 else 0.0
    if part.tolerance == 0:
        return 1.0 if part.low <= value < part.high else 0.0
    rise = (value - part.low) / (2 * part.tolerance) + 0.5
    fall = (part.high - value) / (2 * part.tolerance) + 0.5
    return max(0.0, min(1.0, rise, fall))
