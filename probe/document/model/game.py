"""What a map notes of the game's side: groups of places, what was proved in the game, and what was seen otherwise."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field, StringConstraints

from probe.document.model.record import Identifier, Label, Record, Text

LightColour = Annotated[str, StringConstraints(pattern=r"^(?:[0-9A-F]{6}(?:[0-9A-F]{2})?)?$")]
"""A colour at full level as RRGGBB or RRGGBBWW; empty: not given."""


class Group(Record):
    """Light that its places share where they have none of their own. `level` 0 to 255 in steps even to the eye."""

    name: Label
    level: int | None = Field(default=None, ge=0, le=255)
    colour: LightColour = ""
    note: Text = ""


class Verdict(StrEnum):
    """What a person saw when a lamp was lit by its number."""

    RIGHT = "right"
    WRONG = "wrong"
    UNSEEN = "unseen"


class Proof(Record):
    """A lamp or a group lit and looked at. `revision` is the map's then, `pixels` a fingerprint of what the map held.

    One of `lamp` and `group` is given. `by_table`: the board's own table lit it, not pixel numbers from here.
    """

    lamp: int | None = Field(default=None, ge=0, le=9_999)
    group: Text = ""
    verdict: Verdict
    time: Text
    revision: int = Field(ge=0)
    pixels: Text = ""
    by_table: bool = False
    note: Text = ""


class Discrepancy(Record):
    """Something seen in the game that is not what the map predicts. `lamp` was on; `place` is where it was seen, if known."""

    time: Text
    revision: int = Field(ge=0)
    lamp: int | None = Field(default=None, ge=0, le=9_999)
    predicted: Text = ""
    seen: Text = ""
    place: Identifier | None = None
