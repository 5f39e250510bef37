"""What a map notes of light beyond level and colour: how lamps warm and cool, and what was seen of evenness."""

from enum import StrEnum

from pydantic import Field

from probe.document.model.record import Identifier, Record, Text

BULB_RISE_MS = 40
BULB_FALL_MS = 100
"""Time constants that look like a small filament lamp warming and cooling. Common practice, no source: change by eye."""


class Fade(Record):
    """Time constants with which the board lets lamps glow up and down, like bulbs; 0: at once (SPEC 12.2, 13.6)."""

    rise_ms: int = Field(default=BULB_RISE_MS, ge=0, le=1_020)
    fall_ms: int = Field(default=BULB_FALL_MS, ge=0, le=1_020)


class Rating(StrEnum):
    """How light or dark a place, or the gap between two, is to the eye."""

    DARK = "dark"
    FAIR = "fair"
    HOT = "hot"


class Measure(StrEnum):
    """What a reading's number is: illuminance, or the value of a phone's picture, 0 to 255."""

    LUX = "lux"
    CAMERA = "camera"


class Reading(Record):
    """One stop of a walk for evenness. `round` 1 is the first walk. `to` None: the place itself, else the gap to that one.

    One of `rating` and `value` is given. `level` and `to_level` are those of the places when it was taken.
    """

    round: int = Field(ge=1, le=9_999)
    place: Identifier
    to: Identifier | None = None
    rating: Rating | None = None
    value: float | None = Field(default=None, ge=0, le=1_000_000, allow_inf_nan=False)
    measure: Measure = Measure.LUX
    level: int = Field(default=255, ge=0, le=255)
    to_level: int | None = Field(default=None, ge=0, le=255)
    time: Text = ""
