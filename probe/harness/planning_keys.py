"""What a person may do while power is planned and the harness noted: events, and the commands that stand for them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

from probe.cautions import Moment
from probe.harness.power_up import held_back
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command, Means, change_rows


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
        *change_rows(scope),
        Command(f"{scope}.cautions", Means.MORE, "Cautions", se.ReadCautions(moment), shown=True, letter="c"),
        Command(f"{scope}.leave", Means.BACK, "Back", ev.Leave()),
    )


def _entries(scope: str) -> tuple[Command, ...]:
    return (
        Command(f"{scope}.take", Means.DO, "Change", ev.Take(), shown=True),
        Command(f"{scope}.step.1", Means.RIGHT, "The next value, or a step up", StepEntry(1)),
        Command(f"{scope}.step.-1", Means.LEFT, "The value before, or a step down", StepEntry(-1)),
    )


def _reading(scope: str) -> tuple[Command, ...]:
    return (
        Command(f"{scope}.read.1", Means.ONWARD, "Read on", se.ReadOn(1)),
        Command(f"{scope}.read.-1", Means.BEFORE, "Read back", se.ReadOn(-1)),
    )


POWER = (
    *_entries("power"),
    *_reading("power"),
    Command("power.load", Means.MORE, "Load", NextLoad(), shown=True, letter="l"),
    Command("power.feed", Means.ADD, "Add feed", OpenLine(LineUse.FEED), shown=True, letter="f"),
    Command("power.levels", Means.MORE, "Levels of places", OpenLine(LineUse.LEVELS), letter="v"),
    Command("power.supply", Means.ADD, "Add supply", OpenLine(LineUse.SUPPLY), letter="s"),
    Command("power.next_chain", Means.NEXT_KIND, "Next chain", PlanNextChain()),
    Command("power.remove", Means.TAKE_OUT, "Take out this feed or supply", RemoveEntry()),
    *_shared("power", Moment.PLANNING),
)

POWER_UP = (
    Command("power_up.take", Means.DO, "Type the reading", ev.Take(), shown=True),
    *_reading("power_up"),
    Command(
        "power_up.faults", Means.MORE, "Find a fault", ev.GoOpen("faults"), letter="f",
        shown=lambda s: held_back(s.map, s.chain), when=lambda s: held_back(s.map, s.chain),
    ),
    Command("power_up.next_chain", Means.NEXT_KIND, "Next chain", PlanNextChain()),
    *_shared("power_up", Moment.OPENING),
)  # fmt: skip

HARNESS = (
    Command("harness.take", Means.DO, "Open", ev.Take(), shown=True),
    Command("harness.batches", Means.MORE, "Batches", OpenBatches(), shown=True, letter="o"),
    Command(
        "harness.give_batch",
        Means.MORE,
        "Set the batch of pixels",
        OpenLine(LineUse.BATCH_OF_PIXELS),
        shown=True,
        letter="b",
    ),
    Command("harness.next_flag", Means.NEXT_OPEN, "Next remark", NextFlag(), shown=True),
    Command("harness.next_chain", Means.NEXT_KIND, "Next chain", PlanNextChain()),
    *_shared("harness", Moment.OPENING),
)

JOINT = (
    *_entries("joint"),
    Command("joint.neighbour.1", Means.ONWARD, "Next joint", NextJoint(1), shown=True),
    Command("joint.neighbour.-1", Means.BEFORE, "Joint before", NextJoint(-1)),
    Command("joint.read", Means.NEXT_PANE, "To the text and back", se.NextPane()),
    *_shared("joint", Moment.OPENING),
)

BATCH = (
    *_entries("batch"),
    *_reading("batch"),
    Command("batch.add", Means.ADD, "Add batch", OpenLine(LineUse.BATCH), shown=True),
    Command("batch.bench", Means.MORE, "Bench test", ev.GoOpen("bench"), shown=True, letter="b"),
    Command("batch.remove", Means.TAKE_OUT, "Take out this batch", RemoveEntry(), shown=True, short="Take out"),
    *_shared("batch", Moment.PLANNING),
)
