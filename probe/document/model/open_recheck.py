"""A recheck that is not finished, as the map keeps it: what was said, every question and its answer.

Nothing of it holds for the map before the recheck is finished. `rests_on` shows whether the chain is still what the
answers were given about.
"""

from enum import StrEnum
from typing import Annotated

from pydantic import Field, StringConstraints

from probe.document.local_time import local_minute
from probe.document.model.change import NumberRuns
from probe.document.model.record import Identifier, Record, Text
from probe.document.plural import many

MOST_NUMBERS = 65_535
MOST_ANSWERS = 10_000
Signs = Annotated[str, StringConstraints(pattern=r"^[rybw.]*$", max_length=MOST_NUMBERS)]
"""Colours, a letter each: red, yellow, blue, white, `.` dark."""
Sign = Annotated[str, StringConstraints(pattern=r"^(\.|[rybw]{0,4})$")]
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{16}$")]
Number = Annotated[int, Field(ge=0, le=MOST_NUMBERS)]


class Said(StrEnum):
    """What was answered. The value is also the word for it."""

    AS_SHOWN = "as shown"
    DIFFERS = "differs"
    NEW_DIFFERS = "new differs"
    ELSEWHERE = "light elsewhere"
    AT_PLACE = "at place"
    NEW_PLACE = "new place"
    NOTHING_LIT = "nothing lit"
    NOT_SURE = "not sure"
    DATA_STOP = "data stop"
    TAKEN_OUT = "taken out"
    OTHER_CHAIN = "other chain"
    AREA_DIFFERS = "area differs"


class PlaceShows(Record):
    """A place (entry) and the colours seen there, a letter each, `.` dark."""

    place: Number
    colour: Sign


class RecheckAnswer(Record):
    """One question and its answer.

    With `number` that one pixel was lit; with `number` and `colours` it was asked whether the data stop there. Else the whole chain: `colours` by number; `places` (entries, in the order of
    the list) with the colours `expected` there; `named`: numbers whose new place was on the list too. `place` is the
    entry pointed at (of an area that differs: its first place that does), `new` a new pixel's number (of another chain's places: which of the other chains, in their order), `colour` what was seen (several pixels: several letters), `more` further
    places named in the same answer. `label` and `known` name the place of a new
    pixel, `known` by its id. `naming`: asked only for that name. `forced` is written no longer.
    """

    said: Said
    number: Number | None = None
    colours: Signs = ""
    places: NumberRuns = ""
    expected: Signs = ""
    named: NumberRuns = ""
    place: Number | None = None
    new: Number | None = None
    colour: Sign = ""
    more: tuple[PlaceShows, ...] = Field(default=(), max_length=2)
    label: Text = ""
    known: Identifier | None = None
    naming: bool = False
    forced: NumberRuns = ""


class OpenRecheck(Record):
    """The recheck of one chain that can be gone on with. `begun` is RFC 3339 UTC text.

    `declared`: the changes that were said, in words. `most_numbers`: pixels the board could light. `looks`: pictures are
    used, not only single pixels. `rests_on`: digest of the chain that was asked about, said changes included.
    """

    chain: Identifier
    begun: Text
    rests_on: Digest
    declared: tuple[Text, ...] = ()
    most_numbers: int | None = Field(default=None, ge=1)
    looks: bool = True
    answers: tuple[RecheckAnswer, ...] = Field(default=(), max_length=MOST_ANSWERS)


def counted(kept: OpenRecheck) -> str:
    """How much was said and answered, in words."""
    named = sum(row.naming for row in kept.answers)
    words = answers_words(len(kept.answers) - named, named)
    if kept.declared:
        words += f", {many(len(kept.declared), 'change')} said"
    return words


def answers_words(answers: int, named: int) -> str:
    """So many answers, and so many new pixels named beside them, in words."""
    words = many(answers, "answer")
    return words + (f", {many(named, 'new pixel')} named" if named else "")


def begun_words(kept: OpenRecheck) -> str:
    """When it was begun, as a person reads it; outside text, so of any form."""
    return f"begun {local_minute(kept.begun[:32])}" if kept.begun else "begun earlier"
