"""What a person may do while power is planned and the harness noted: events, and the commands that stand for them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

from probe.cautions import Moment
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command


class LineUse(Enum):
    """What is typed in the line, where it is not the entry in hand."""

    FEED = auto()
    SUPPLY = auto()
    LEVELS = auto()
    BATCH = auto()
    BATCH_OF_PIXELS = auto()


@dataclass(frozen=True)
class OpenLine:
    """Open the line to type this in."""

    asked: LineUse


@dataclass(frozen=True)
class PickEntry:
    """The entry in hand, by its key."""

    key: object


@dataclass(frozen=True)
class StepEntry:
    """The entry in hand, or the one with that key, one step up (+1) or down (-1)."""

    by: int
    key: object = None


@dataclass(frozen=True)
class RemoveEntry:
    """Take out what the entry in hand, or the one with that key, belongs to."""

    key: object = None


@dataclass(frozen=True)
class PlanNextChain:
    """The next chain of the map."""


@dataclass(frozen=True)
class NextLoad:
    """The next load state."""


@dataclass(frozen=True)
class PickJoint:
    """The joint in hand, by the number of the pixel it arrives at."""

    number: int


@dataclass(frozen=True)
class NextJoint:
    """`by` joints on."""

    by: int


@dataclass(frozen=True)
class NextFlag:
    """On to the next joint that is refused, or else to be asked."""


@dataclass(frozen=True)
class OpenBatches:
    """The colour codes of the batches."""


def _shared(scope: str, moment: Moment) -> tuple[Command, ...]:
    return (
        Command(f"{scope}.undo", ("ctrl+z",), "Undo", ev.Undo()),
        Command(f"{scope}.redo", ("ctrl+y",), "Redo", ev.Redo()),
        Command(f"{scope}.retry", ("ctrl+r",), "Save again", ev.Retry()),
        Command(f"{scope}.cautions", ("f9",), "Cautions", se.ReadCautions(moment), shown=True),
        Command(f"{scope}.leave", ("escape",), "Out of the line, or back", ev.Leave()),
    )


def _entries(scope: str) -> tuple[Command, ...]:
    return (
        Command(f"{scope}.take", ("enter",), "Change", ev.Take(), shown=True),
        Command(f"{scope}.step.1", ("plus",), "A step up, thicker, next", StepEntry(1)),
        Command(f"{scope}.step.-1", ("minus",), "A step down, thinner, before", StepEntry(-1)),
        Command(f"{scope}.read.1", ("pagedown",), "Read on", se.ReadOn(1)),
        Command(f"{scope}.read.-1", ("pageup",), "Read back", se.ReadOn(-1)),
    )


POWER = (
    *_entries("power"),
    Command("power.load", ("f2",), "Load", NextLoad(), shown=True),
    Command("power.feed", ("f3",), "Add feed", OpenLine(LineUse.FEED), shown=True),
    Command("power.levels", ("f4",), "Levels of places", OpenLine(LineUse.LEVELS)),
    Command("power.supply", ("f5",), "Add supply", OpenLine(LineUse.SUPPLY)),
    Command("power.next_chain", ("f6", "ctrl+o"), "Next chain", PlanNextChain()),
    Command("power.remove", ("f8", "delete"), "Take out this feed or supply", RemoveEntry()),
    Command("power.harness", ("f12", "ampersand"), "Harness", ev.GoOpen("harness"), shown=True),
    *_shared("power", Moment.PLANNING),
)

HARNESS = (
    Command("harness.take", ("enter",), "Open", ev.Take(), shown=True),
    Command("harness.batches", ("f2",), "Batches", OpenBatches(), shown=True),
    Command("harness.give_batch", ("f3",), "Give batch", OpenLine(LineUse.BATCH_OF_PIXELS), shown=True),
    Command("harness.next_flag", ("f4",), "Next flag", NextFlag(), shown=True),
    Command("harness.next_chain", ("f6", "ctrl+o"), "Next chain", PlanNextChain()),
    Command("harness.power", ("f12", "exclamation_mark"), "Power plan", ev.GoOpen("power")),
    *_shared("harness", Moment.OPENING),
)

JOINT = (
    *_entries("joint"),
    Command("joint.neighbour.1", ("f2", "right"), "Next joint", NextJoint(1), shown=True),
    Command("joint.neighbour.-1", ("f3", "left"), "Joint before", NextJoint(-1), shown=True),
    *_shared("joint", Moment.OPENING),
)

BATCH = (
    *_entries("batch"),
    Command("batch.add", ("f3",), "Add batch", OpenLine(LineUse.BATCH), shown=True),
    Command("batch.remove", ("f8", "delete"), "Take out this batch", RemoveEntry(), shown=True),
    *_shared("batch", Moment.PLANNING),
)
