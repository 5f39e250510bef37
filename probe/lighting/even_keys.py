"""What a person can do on the walk for evenness beyond what all tasks know, and its commands. Times are RFC 3339 UTC text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from probe.document.model.light import Measure, Rating
from probe.task import events as ev
from probe.task.command import Command, Means
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


def _is_asked(s: Any) -> bool:
    return not s.done


def _has_trims(s: Any) -> bool:
    return s.suggestion is not None and bool(s.suggestion.trims) and not s.trimmed


def _taken(s: Any) -> str:
    """What Enter does now."""
    if s.done:
        return "Take the trims"
    return "Take" if s.typed.strip() else "Fair"


COMMANDS = (
    Command(
        "evenness.take",
        Means.DO,
        "Fair, or take the reading or the trims",
        ev.Take(),
        shown=lambda s: _is_asked(s) or _has_trims(s),
        short=_taken,
    ),
    Command("evenness.rate.DARK", Means.NO, "Dark", Rate(Rating.DARK), shown=_is_asked),
    Command("evenness.rate.HOT", Means.YES_BUT, "Hot", Rate(Rating.HOT), shown=_is_asked),
    Command("evenness.finish", Means.MORE, "Result", Finish(), shown=True, letter="r"),
    Command(
        "evenness.alone",
        Means.NOT_SURE,
        "Which one is meant: light it alone, or all",
        ToggleAlone(),
    ),
    Command("evenness.measure", Means.MORE, "Numbers are lux or camera values", ChangeMeasure(), letter="m"),
    Command("evenness.new_round", Means.MORE, "Walk again", NewRound(), letter="a"),
    Command("evenness.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("evenness.move.1", Means.ONWARD, "Next stop", ReadOnOr(MoveStop(1), 1)),
    Command("evenness.move.-1", Means.BEFORE, "Stop before", ReadOnOr(MoveStop(-1), -1)),
    Command("evenness.undo", Means.UNDO, "Undo", ev.Undo()),
    Command("evenness.retry", Means.AGAIN, "Save and light again", ev.Retry()),
    Command("evenness.leave", Means.BACK, "Back", ev.Leave()),
)
