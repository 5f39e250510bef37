"""What a person can do on the walk for evenness beyond what all tasks know, and its commands. Times are RFC 3339 UTC text."""

from __future__ import annotations

from dataclasses import dataclass

from probe.document.model.light import Measure, Rating
from probe.task import events as ev
from probe.task.command import Command
from probe.task.screen import FlipPicture, ReadOnOr


@dataclass(frozen=True)
class Rate:
    """How this stop is to the eye."""

    rating: Rating
    time: str = ""


@dataclass(frozen=True)
class MoveStop:
    """On or back by stops, without a reading."""

    by: int = 1


@dataclass(frozen=True)
class JumpToStop:
    """To the stop with this place, chosen in the picture."""

    place: str


@dataclass(frozen=True)
class ChangeMeasure:
    """Numbers are lux, or values of a phone's picture."""

    measure: Measure | None = None


@dataclass(frozen=True)
class ToggleAlone:
    """Light the places of this stop alone, to see which they are; or all again."""


@dataclass(frozen=True)
class Finish:
    """Look at what the readings say; or back to the walk."""


@dataclass(frozen=True)
class NewRound:
    """Walk again, to see what a change has brought."""


COMMANDS = (
    Command("evenness.rate.DARK", ("f2",), "Dark", Rate(Rating.DARK), shown=True),
    Command("evenness.rate.FAIR", ("f3",), "Fair", Rate(Rating.FAIR), shown=True),
    Command("evenness.rate.HOT", ("f4",), "Hot", Rate(Rating.HOT), shown=True),
    Command("evenness.take", ("enter",), "Take the reading, or the trims", ev.Take()),
    Command("evenness.finish", ("f5",), "Result", Finish(), shown=True),
    Command("evenness.alone", ("f6",), "Which?", ToggleAlone(), shown=True),
    Command("evenness.measure", ("f7",), "Numbers are lux or camera values", ChangeMeasure()),
    Command("evenness.new_round", ("f8",), "Walk again", NewRound()),
    Command("evenness.flip", ("f9",), "Picture from above or below", FlipPicture()),
    Command("evenness.move.1", ("pagedown", "down"), "Next stop", ReadOnOr(MoveStop(1), 1)),
    Command("evenness.move.-1", ("pageup", "up"), "Stop before", ReadOnOr(MoveStop(-1), -1)),
    Command("evenness.undo", ("ctrl+z",), "Undo", ev.Undo()),
    Command("evenness.retry", ("ctrl+r",), "Save and light again", ev.Retry()),
    Command("evenness.leave", ("escape",), "Out of the line, or back", ev.Leave()),
)
