"""What a person can do in a recheck and in the search for a place's number, beyond what all tasks know; and the commands."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from probe.task import events as ev
from probe.task.command import Command
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


RECHECK = (
    Command("recheck.take", ("enter",), "Take", ev.Take(), shown=True),
    Command("recheck.say.NOTHING_LIT", ("f2",), "Nothing lit", SayQuick(Quick.NOTHING_LIT), shown=True),
    Command("recheck.say.EXTRA_LIGHT", ("f3",), "Light elsewhere", SayQuick(Quick.EXTRA_LIGHT), shown=True),
    Command("recheck.say.NOT_SURE", ("f4",), "Not sure", SayQuick(Quick.NOT_SURE), shown=True),
    Command("recheck.choose.1", ("down",), "Next line", ev.Choose(1)),
    Command("recheck.choose.-1", ("up",), "Line before", ev.Choose(-1)),
    Command("recheck.choose.10", ("pagedown",), "Ten lines on", ev.Choose(10)),
    Command("recheck.choose.-10", ("pageup",), "Ten lines back", ev.Choose(-10)),
    Command("recheck.undo", ("ctrl+z",), "Undo", ev.Undo(), shown=True),
    Command("recheck.level.1", ("plus",), "Brighter", ev.ChangeLevel(1), empty=True),
    Command("recheck.level.-1", ("minus",), "Dimmer", ev.ChangeLevel(-1), empty=True),
    Command("recheck.flip", ("comma",), "Picture from above or below", FlipPicture(), empty=True),
    Command("recheck.eyes", ("f6",), "Demo: what is lit under the glass", UnderTheGlass()),
    Command("recheck.singles", ("f8",), "Single pixels only, no pictures", Singles()),
    Command("recheck.next_chain", ("ctrl+o",), "Next chain, before the first question", ev.NextChain()),
    Command("recheck.retry", ("ctrl+r",), "Save and light again", ev.Retry()),
    Command("recheck.leave", ("escape",), "Empty the line, or back", ev.Leave()),
)

FIND = (
    Command("find.take", ("enter",), "Take", ev.Take(), shown=True),
    Command("find.say.NOTHING_LIT", ("f2", "0"), "Dark", SayQuick(Quick.NOTHING_LIT), shown=True),
    Command("find.say.NOT_SURE", ("f4",), "Not sure", SayQuick(Quick.NOT_SURE), shown=True),
    Command("find.colour.0", ("1", "r"), "Red", SayColour(0)),
    Command("find.colour.1", ("2", "y"), "Yellow", SayColour(1)),
    Command("find.colour.2", ("3", "b"), "Blue", SayColour(2)),
    Command("find.colour.3", ("4", "w"), "White", SayColour(3)),
    Command("find.choose.1", ("down", "right", "pagedown"), "Next colour", ev.Choose(1)),
    Command("find.choose.-1", ("up", "left", "pageup"), "Colour before", ev.Choose(-1)),
    Command("find.undo", ("ctrl+z",), "Undo", ev.Undo(), shown=True),
    Command("find.next_chain", ("ctrl+o",), "Next chain", ev.NextChain(), shown=True),
    Command("find.level.1", ("plus",), "Brighter", ev.ChangeLevel(1)),
    Command("find.level.-1", ("minus",), "Dimmer", ev.ChangeLevel(-1)),
    Command("find.flip", ("comma",), "Picture from above or below", FlipPicture()),
    Command("find.retry", ("ctrl+r",), "Light again", ev.Retry()),
    Command("find.leave", ("escape",), "Back", ev.Leave()),
)
