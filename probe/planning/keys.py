"""What a person may do while chains are planned: events, and the commands that stand for them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

from probe.task import events as ev
from probe.task.command import Command, Means, change_rows
from probe.task.screen import ReadOnOr


class PlanMode(Enum):
    """What is on the screen."""

    ORDER = "order"
    SPLICE = "splice"
    SLACK = "wire"
    DEAD = "dead pixels"


@dataclass(frozen=True)
class ShowPlanMode:
    """Show this."""

    mode: PlanMode


@dataclass(frozen=True)
class MoveInOrder:
    """Move the marked seat along its chain."""

    by: int


@dataclass(frozen=True)
class SeatAt:
    """A point of the picture was chosen: the nearest seat is marked, or the one in hand goes behind it."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class DragSeat:
    """The seat nearest to the first point goes behind the one nearest to the second, however far from it."""

    x_mm: float
    y_mm: float
    to_x_mm: float
    to_y_mm: float


@dataclass(frozen=True)
class TakeInHand:
    """Take the marked seat in hand, or put it back: the next seat chosen is the one it goes behind."""


@dataclass(frozen=True)
class GiveUpSplice:
    """Solder the chosen splice or repair not; others can be chosen again."""


@dataclass(frozen=True)
class NextEntry:
    """Let the wire of the marked chain come in at the next edge or corner."""


@dataclass(frozen=True)
class ForbidStretch:
    """The marked stretch must not be, or may be again."""


@dataclass(frozen=True)
class LiftRules:
    """Take all pins and bans off: a forbidden stretch is in no plan, so it cannot be marked."""


@dataclass(frozen=True)
class TidyOrLeast:
    """Keep areas together, or take the least wire."""


@dataclass(frozen=True)
class OneMoreChain:
    """Plan one chain more, and after the most one again."""


@dataclass(frozen=True)
class KeepToCompare:
    """Keep this plan to compare with."""


@dataclass(frozen=True)
class PlanAnew:
    """Begin anew from the rules."""


@dataclass(frozen=True)
class MakeChains:
    """Take the plan over into the map."""


def _in_order(s: Any) -> bool:
    return s is None or s.mode is PlanMode.ORDER


def _in_splices(s: Any) -> bool:
    return s is not None and s.mode is PlanMode.SPLICE


def _to_choose(s: Any) -> bool:
    return _in_splices(s) and s.asked is None and bool(s.splices)


def _in_chosen(s: Any) -> bool:
    return _in_splices(s) and s.asked is not None


def _in_repairs(s: Any) -> bool:
    return s is not None and s.mode is PlanMode.DEAD and bool(s.repairs)


def _repair_to_choose(s: Any) -> bool:
    return _in_repairs(s) and not s.mending


def _in_repair(s: Any) -> bool:
    return _in_repairs(s) and s.mending


COMMANDS = (
    Command("plan.pin", Means.DO, "Pin this stretch, or take the pin off", ev.Take(), shown=True, when=_in_order, short="Pin"),
    Command("plan.splice", Means.DO, "Choose this splice; once more when it is soldered", ev.Take(), shown=True, when=_to_choose, short="Choose it"),
    Command("plan.soldered", Means.DO, "The splice is soldered: renumber the map and recheck", ev.Take(), shown=True, when=_in_chosen, short="It is soldered"),
    Command("plan.repair", Means.DO, "Choose this repair; once more when it is soldered", ev.Take(), shown=True, when=_repair_to_choose, short="Choose it"),
    Command("plan.repaired", Means.DO, "The repair is soldered: renumber the map and recheck", ev.Take(), shown=True, when=_in_repair, short="It is soldered"),
    Command("plan.choose.1", Means.DOWN, "Next", ev.Choose(1)),
    Command("plan.choose.-1", Means.UP, "The one before", ev.Choose(-1)),
    Command("plan.page.1", Means.ONWARD, "Ten on, or read on", ReadOnOr(ev.Choose(10), 1)),
    Command("plan.page.-1", Means.BEFORE, "Ten back, or read back", ReadOnOr(ev.Choose(-10), -1)),
    Command("plan.later", Means.RIGHT, "This seat one later on the wire", MoveInOrder(1), when=_in_order),
    Command("plan.earlier", Means.LEFT, "This seat one earlier on the wire", MoveInOrder(-1), when=_in_order),
    Command("plan.hand", Means.AS_WELL, "Take this seat in hand: it goes behind the seat that is chosen or clicked next", TakeInHand(), when=_in_order),
    Command("plan.forbid", Means.TAKE_OUT, "Forbid this stretch", ForbidStretch(), shown=True, when=_in_order, short="Forbid"),
    Command("plan.giveup", Means.TAKE_OUT, "A different splice than the chosen one", GiveUpSplice(), shown=True, when=_in_chosen, short="Different one"),
    Command("plan.unrepair", Means.TAKE_OUT, "A different repair than the chosen one", GiveUpSplice(), shown=True, when=_in_repair, short="Different one"),
    Command("plan.part", Means.NEXT_KIND, "Next part or chain", ev.NextChain(), shown=True, short="Next part"),
    Command("plan.order", Means.MORE, "Order of the pixels", ShowPlanMode(PlanMode.ORDER), letter="o"),
    Command("plan.splices", Means.MORE, "Where to splice what lacks a pixel", ShowPlanMode(PlanMode.SPLICE), letter="s"),
    Command("plan.slack", Means.MORE, "Is the wire long enough", ShowPlanMode(PlanMode.SLACK), letter="w"),
    Command("plan.dead", Means.MORE, "What to do about a dead pixel", ShowPlanMode(PlanMode.DEAD), letter="d"),
    Command("plan.entry", Means.MORE, "The wire of this chain comes in at the next edge", NextEntry(), letter="e"),
    Command("plan.lift", Means.MORE, "Take off all pins, and allow what is forbidden", LiftRules(), letter="f"),
    Command("plan.tidy", Means.MORE, "Tidy by area, or least wire", TidyOrLeast(), letter="t"),
    Command("plan.chains", Means.MORE, "One more chain", OneMoreChain(), letter="c"),
    Command("plan.keep", Means.MORE, "Keep this plan to compare with", KeepToCompare(), letter="k"),
    Command("plan.anew", Means.MORE, "Plan anew from the rules", PlanAnew(), letter="a"),
    Command("plan.make", Means.MORE, "Make these chains in the map", MakeChains(), letter="m"),
    *change_rows("plan"),
    Command("plan.leave", Means.BACK, "Back", ev.Leave()),
)  # fmt: skip
