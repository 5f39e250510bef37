"""The harness: joints between pixels by wire function, whatever colours the wires happen to have.

Batches of pixels come with different colour codes, so colour joins nothing here. A joint connects the wires LEAVING one
pixel to the wires ARRIVING at the next, function to function: 5 V to 5 V, ground to ground, data out to data in.
Colours are what the person sees and are printed beside the functions; `check_joint` refuses unlike functions even where
the colours match.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Self

from pydantic import Field, model_validator

from probe.document.model.harness import Batch
from probe.document.model.harness import Fixing as Fixing
from probe.document.model.harness import WireFunction as WireFunction
from probe.harness.base import Frozen, plain

# A wire leaving a pixel -> the wire arriving at the next one that it belongs to.
MATES: Final[dict[WireFunction, WireFunction]] = {
    WireFunction.FIVE_VOLT: WireFunction.FIVE_VOLT,
    WireFunction.GROUND: WireFunction.GROUND,
    WireFunction.DATA_OUT: WireFunction.DATA_IN,
}
ARRIVING: Final = tuple(MATES.values())


class WireEnd(Frozen):
    """One wire at a joint: function, and colour as written by the person (None: not noted)."""

    function: WireFunction
    colour: str | None = None


class JointSide(Frozen):
    """The wires on one side of a joint. `pixel` None is the board's side; `batch` says which pixels it came with."""

    pixel: int | None = Field(default=None, ge=0)
    batch: str = ""
    wires: tuple[WireEnd, ...] = ()

    def wire(self, function: WireFunction) -> WireEnd | None:
        """The wire with that function, if noted."""
        return next((wire for wire in self.wires if wire.function is function), None)

    @property
    def who(self) -> str:
        """`pixel 14` or `the board`."""
        return "the board" if self.pixel is None else f"pixel {self.pixel}"


class Connection(Frozen):
    """Two wires joined: positions in the `wires` of the leaving and of the arriving side."""

    leaving: int = Field(ge=0)
    arriving: int = Field(ge=0)


class Joint(Frozen):
    """A joint and the stretch of wire it belongs to.

    connections: what is joined to what as found or made; None while nobody has looked, meaning "join by function".
    length_m: wire between the two pixels, one way; None unknown. checked: seen or metered since the last change.
    """

    leaving: JointSide
    arriving: JointSide
    connections: tuple[Connection, ...] | None = None
    length_m: float | None = Field(default=None, ge=0)
    fixing: Fixing = Fixing.UNKNOWN
    made_on: str = ""
    checked: bool = False
    note: str = ""

    @model_validator(mode="after")
    def _indices(self) -> Self:
        for link in self.connections or ():
            if link.leaving >= len(self.leaving.wires) or link.arriving >= len(self.arriving.wires):
                raise ValueError(f"{self.name}: a connection names a wire that is not on the sheet")
        return self

    @property
    def name(self) -> str:
        """`joint board to 0` or `joint 14 to 15`."""
        ends = ["board" if side.pixel is None else str(side.pixel) for side in (self.leaving, self.arriving)]
        return f"joint {ends[0]} to {ends[1]}"


def arriving_side(batch: Batch | None, *, pixel: int) -> JointSide:
    """The wires by which data comes to a pixel of this batch (None: the batch is not known), in its colours."""
    return _side(batch, pixel, WireFunction.DATA_IN, batch.data_in if batch else "")


def leaving_side(batch: Batch | None, *, pixel: int | None) -> JointSide:
    """The wires by which data leaves it (pixel None: the board's lead)."""
    return _side(batch, pixel, WireFunction.DATA_OUT, batch.data_out if batch else "")


def _side(batch: Batch | None, pixel: int | None, data: WireFunction, colour: str) -> JointSide:
    wires = (
        WireEnd(function=WireFunction.FIVE_VOLT, colour=(batch.five_volt if batch else "") or None),
        WireEnd(function=WireFunction.GROUND, colour=(batch.ground if batch else "") or None),
        WireEnd(function=data, colour=colour or None),
    )
    return JointSide(pixel=pixel, batch=batch.name if batch else "", wires=wires)


class Severity(StrEnum):
    """REFUSE: must not be powered. ASK: cannot be told from the sheet."""

    REFUSE = "refuse"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class JointProblem:
    """Something wrong or unknown at a joint."""

    severity: Severity
    code: str
    joint: str
    text: str


def same_colour(first: str | None, second: str | None) -> bool:
    """Whether two noted colours read the same (case and spaces aside)."""
    if first is None or second is None:
        return False
    return " ".join(first.casefold().split()) == " ".join(second.casefold().split())


def check_joint(joint: Joint) -> tuple[JointProblem, ...]:
    """Everything wrong or unknown with a joint; empty if each function meets its like once and all is noted.

    Colour never makes a joint right or wrong. It is mentioned where it misleads: equal colours on unlike functions.
    """
    found = [*_side_problems(joint, joint.leaving, tuple(MATES)), *_side_problems(joint, joint.arriving, ARRIVING)]
    if joint.connections is not None:
        found += _connection_problems(joint)
    return tuple(found)


def _side_problems(joint: Joint, side: JointSide, expected: tuple[WireFunction, ...]) -> list[JointProblem]:
    found = []
    which = "leaving" if side is joint.leaving else "arriving at"
    for function in expected:
        count = sum(1 for wire in side.wires if wire.function is function)
        if count == 0:
            text = f"the {function} wire {which} {side.who} is not on the sheet"
            found.append(JointProblem(Severity.ASK, "missing", joint.name, text))
        elif count > 1:
            text = f"{count} wires {which} {side.who} are both called {function}: find out which is which with a meter"
            found.append(JointProblem(Severity.REFUSE, "twice", joint.name, text))
    for wire in side.wires:
        if wire.function not in expected:
            text = (
                f"the {_coloured(wire)} wire {which} {side.who} is {wire.function}: "
                "the pixel seems turned round; look at the arrow printed on it"
            )
            found.append(JointProblem(Severity.REFUSE, "turned", joint.name, text))
    silent = [wire.function.value for wire in side.wires if wire.colour is None]
    if silent:
        *most, last = silent
        wires = f"the {', '.join(most)} and {last} wires" if most else f"the {last} wire"
        text = f"nobody has noted the colour of {wires} {which} {side.who}"
        found.append(JointProblem(Severity.ASK, "no-colour", joint.name, text))
    noted = [wire for wire in side.wires if wire.colour is not None]
    for k, wire in enumerate(noted):
        if any(same_colour(wire.colour, other.colour) for other in noted[:k]):
            text = f"two wires {which} {side.who} are {_coloured(wire)}: tell them apart with a meter, power off"
            found.append(JointProblem(Severity.ASK, "same-colour", joint.name, text))
    return found


def _connection_problems(joint: Joint) -> list[JointProblem]:
    found = []
    assert joint.connections is not None
    for link in joint.connections:
        out, into = joint.leaving.wires[link.leaving], joint.arriving.wires[link.arriving]
        if MATES.get(out.function) is into.function:
            continue
        text = (
            f"{out.function} of {joint.leaving.who} (its {_coloured(out)}) is joined to {into.function} of "
            f"{joint.arriving.who} (its {_coloured(into)})"
        )
        if same_colour(out.colour, into.colour):
            text += ". The colours match, the functions do not: the two batches have different colour codes"
        if {out.function, into.function} == {WireFunction.FIVE_VOLT, WireFunction.GROUND}:
            text += ". This puts the supply the wrong way round or shorts it: do not power it"
        found.append(JointProblem(Severity.REFUSE, "unlike", joint.name, text + "."))
    for end, wires in (("leaving", joint.leaving.wires), ("arriving", joint.arriving.wires)):
        for index, wire in enumerate(wires):
            times = sum(1 for link in joint.connections if getattr(link, end) == index)
            side = joint.leaving if end == "leaving" else joint.arriving
            if times == 0:
                text = f"{wire.function} of {side.who} (its {_coloured(wire)}) is joined to nothing"
                found.append(JointProblem(Severity.REFUSE, "open", joint.name, text))
            elif times > 1:
                text = f"{wire.function} of {side.who} (its {_coloured(wire)}) is joined to {times} wires"
                found.append(JointProblem(Severity.REFUSE, "several", joint.name, text))
    return found


def joining_lines(joint: Joint) -> tuple[str, ...]:
    """What to join to what, ground first: `join ground of pixel 14 (its white) to ground of pixel 15 (its black)`.

    The order is that of joining; take apart the other way round. Wires that are not on the sheet say so.
    """
    lines = []
    for function in (WireFunction.GROUND, WireFunction.FIVE_VOLT, WireFunction.DATA_OUT):
        mate = MATES[function]
        lines.append(
            f"join {function} of {joint.leaving.who} ({_its(joint.leaving.wire(function))}) "
            f"to {mate} of {joint.arriving.who} ({_its(joint.arriving.wire(mate))})"
        )
    return tuple(lines)


def _its(wire: WireEnd | None) -> str:
    if wire is None:
        return "not on the sheet"
    return "colour not noted" if not plain(wire.colour or "").strip() else f"its {_coloured(wire)}"


def _coloured(wire: WireEnd) -> str:
    return (
        "wire of unnoted colour"
        if wire.colour is None or not plain(wire.colour).strip()
        else plain(wire.colour).strip()
    )
