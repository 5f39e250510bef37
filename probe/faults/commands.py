"""The commands of a fault search, and the events that no other task knows. Light to import: the table of keys holds them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from probe.task import events as ev
from probe.task.command import Command, Means
from probe.task.screen import FlipPicture, NextZoom, ReadOn, UnderTheGlass


@dataclass(frozen=True)
class Unsure:
    """Not sure. `time`: RFC 3339 UTC text, for what is kept."""

    time: str = ""


@dataclass(frozen=True)
class SayYesNo:
    """Yes or no, where the answers are such. `time` as for `Unsure`."""

    yes: bool
    time: str = ""


@dataclass(frozen=True)
class Heat:
    """Heat, smell or ticking: stop."""


@dataclass(frozen=True)
class StepPattern:
    """The next (1) or previous (-1) step of a pattern that waits for a key, or of the settings tried."""

    by: int


def _asks_yes_or_no(s: Any) -> bool:
    return {"yes", "no"} <= {item.key for item in s.items}


COMMANDS = (
    Command("faults.take", Means.DO, "Take", ev.Take(), shown=True),
    Command("faults.no", Means.NO, "No", SayYesNo(yes=False), shown=_asks_yes_or_no, letter="n"),
    Command("faults.heat", Means.YES_BUT, "Heat, smell", Heat(), shown=True),
    Command("faults.unsure", Means.NOT_SURE, "Not sure", Unsure(), shown=True),
    Command("faults.choose.1", Means.DOWN, "Next answer", ev.Choose(1)),
    Command("faults.choose.-1", Means.UP, "Answer before", ev.Choose(-1)),
    Command("faults.yes", Means.BY_LETTER, "Yes", SayYesNo(yes=True), when=_asks_yes_or_no, letter="y"),
    Command("faults.step.1", Means.RIGHT, "Next step of the pattern, other settings", StepPattern(1)),
    Command("faults.step.-1", Means.LEFT, "Step before", StepPattern(-1)),
    Command("faults.read.1", Means.ONWARD, "Read on", ReadOn(1), shown=True),
    Command("faults.read.-1", Means.BEFORE, "Read back", ReadOn(-1)),
    Command("faults.zoom", Means.PICTURE, "Whole, half, area", NextZoom(), letter="z", stays=True),
    Command("faults.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("faults.eyes", Means.PICTURE, "Demo: what is lit under the glass", UnderTheGlass(), letter="s"),
    Command("faults.undo", Means.UNDO, "Undo", ev.Undo()),
    Command("faults.retry", Means.AGAIN, "Save and light again", ev.Retry()),
    Command("faults.leave", Means.BACK, "Back", ev.Leave()),
)
