"""The commands of a fault search, and the events that no other task knows. Light to import: the table of keys holds them."""

from __future__ import annotations

from dataclasses import dataclass

from probe.task import events as ev
from probe.task.command import Command
from probe.task.screen import ReadOn


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


COMMANDS = (
    Command("faults.take", ("enter",), "Take", ev.Take(), shown=True),
    Command("faults.unsure", ("f2", "question_mark"), "Not sure", Unsure(), shown=True, empty=True),
    Command("faults.heat", ("f3",), "Heat, smell", Heat(), shown=True),
    Command("faults.choose.1", ("down", "pagedown"), "Next answer", ev.Choose(1)),
    Command("faults.choose.-1", ("up", "pageup"), "Answer before", ev.Choose(-1)),
    Command("faults.yes", ("y",), "Yes", SayYesNo(yes=True), empty=True),
    Command("faults.no", ("n",), "No", SayYesNo(yes=False), empty=True),
    Command("faults.step.1", ("right",), "Next step of the pattern, other settings", StepPattern(1), empty=True),
    Command("faults.step.-1", ("left",), "Step before", StepPattern(-1), empty=True),
    Command("faults.read.1", ("f6",), "Read on", ReadOn(1), shown=True),
    Command("faults.read.-1", ("f5",), "Read back", ReadOn(-1)),
    Command("faults.undo", ("ctrl+z",), "Undo", ev.Undo(), shown=True),
    Command("faults.retry", ("ctrl+r",), "Save and light again", ev.Retry()),
    Command("faults.leave", ("escape",), "Back", ev.Leave()),
)
