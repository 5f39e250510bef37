"""What a person can do in a recheck and in the search for a place's number, beyond what all tasks know; and the commands."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from probe.recheck.state import ASKING, Rechecking
from probe.task import events as ev
from probe.task.command import Command, Means
from probe.task.screen import FlipPicture, UnderTheGlass


class Quick(Enum):
    """Answers of one key. The value is what they mean."""

    NOTHING_LIT = "nothing lit"
    EXTRA_LIGHT = "a light where no place is known"
    NOT_SURE = "not sure"


@dataclass(frozen=True)
class SayQuick:
    """One of the one-key answers."""

    answer: Quick


@dataclass(frozen=True)
class SayColour:
    """The place shows the look colour of this number."""

    number: int


@dataclass(frozen=True)
class Singles:
    """Go on with single pixels only: the pictures cannot be shown or told apart."""


@dataclass(frozen=True)
class PointAtPlace:
    """The place nearest to a point of the picture, in mm, is meant."""

    x_mm: float
    y_mm: float


def _is_asked(s: Rechecking) -> bool:
    return s.stage in ASKING


RECHECK = (
    Command("recheck.take", Means.DO, "Take", ev.Take(), shown=True),
    Command("recheck.say.NOTHING_LIT", Means.NO, "Nothing lit", SayQuick(Quick.NOTHING_LIT), shown=_is_asked),
    Command("recheck.say.EXTRA_LIGHT", Means.YES_BUT, "Light elsewhere", SayQuick(Quick.EXTRA_LIGHT), shown=_is_asked),
    Command("recheck.say.NOT_SURE", Means.NOT_SURE, "Not sure", SayQuick(Quick.NOT_SURE), shown=_is_asked),
    Command("recheck.choose.1", Means.DOWN, "Next line", ev.Choose(1)),
    Command("recheck.choose.-1", Means.UP, "Line before", ev.Choose(-1)),
    Command("recheck.choose.10", Means.ONWARD, "Ten lines on", ev.Choose(10)),
    Command("recheck.choose.-10", Means.BEFORE, "Ten lines back", ev.Choose(-10)),
    Command("recheck.undo", Means.UNDO, "Undo", ev.Undo(), shown=True),
    Command("recheck.level.1", Means.LIGHT, "Brighter", ev.ChangeLevel(1), letter="up", stays=True),
    Command("recheck.level.-1", Means.LIGHT, "Dimmer", ev.ChangeLevel(-1), letter="down", stays=True),
    Command("recheck.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("recheck.eyes", Means.PICTURE, "Demo: what is lit under the glass", UnderTheGlass(), letter="s"),
    Command("recheck.singles", Means.MORE, "Single pixels only, no pictures", Singles(), letter="p"),
    Command("recheck.next_chain", Means.NEXT_KIND, "Next chain, before the first question", ev.NextChain()),
    Command("recheck.retry", Means.AGAIN, "Save and light again", ev.Retry()),
    Command("recheck.leave", Means.BACK, "Back", ev.Leave()),
)

FIND = (
    Command("find.take", Means.DO, "Take", ev.Take(), shown=True),
    Command("find.say.NOTHING_LIT", Means.NO, "Dark", SayQuick(Quick.NOTHING_LIT), shown=True),
    Command("find.say.NOT_SURE", Means.NOT_SURE, "Not sure", SayQuick(Quick.NOT_SURE), shown=True),
    Command("find.colour.0", Means.BY_LETTER, "Red", SayColour(0), letter="1"),
    Command("find.colour.1", Means.BY_LETTER, "Yellow", SayColour(1), letter="2"),
    Command("find.colour.2", Means.BY_LETTER, "Blue", SayColour(2), letter="3"),
    Command("find.colour.3", Means.BY_LETTER, "White", SayColour(3), letter="4"),
    Command("find.choose.1", Means.DOWN, "Next colour", ev.Choose(1)),
    Command("find.choose.-1", Means.UP, "Colour before", ev.Choose(-1)),
    Command("find.undo", Means.UNDO, "Undo", ev.Undo(), shown=True),
    Command("find.next_chain", Means.NEXT_KIND, "Next chain", ev.NextChain(), shown=True),
    Command("find.level.1", Means.LIGHT, "Brighter", ev.ChangeLevel(1), letter="up", stays=True),
    Command("find.level.-1", Means.LIGHT, "Dimmer", ev.ChangeLevel(-1), letter="down", stays=True),
    Command("find.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("find.retry", Means.AGAIN, "Light again", ev.Retry()),
    Command("find.leave", Means.BACK, "Back", ev.Leave()),
)
