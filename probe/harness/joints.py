"""Joints by wire function, whatever colours the wires happen to have; and the harness sheet made of them.

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

from probe.document.model import Chain, PlayfieldMap
from probe.document.model.harness import Batch, Fixing, JoinedTo, Joint, WireFunction
from probe.document.outside_text import spaced
from probe.document.wiring import joint_at, joints_in_order
from probe.harness.base import Frozen
from probe.harness.pixels import nominal_volt_of

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
    """The wires on one side of a joint. `pixel` None is the board's side; `batch`: that of the pixels it came with."""

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


class JointView(Frozen):
    """A joint as the wires at its two sides, computed from the map's record and the batches.

    connections: what is joined to what as found or made; None while nobody has looked, meaning "join by function".
    five_volt_open: the plus wire is left open on purpose. volts: what the plus wire carries. length_m: wire between the two pixels, one way; None unknown.
    checked: seen or metered since the last change.
    """

    leaving: JointSide
    arriving: JointSide
    connections: tuple[Connection, ...] | None = None
    five_volt_open: bool = False
    length_m: float | None = Field(default=None, ge=0)
    fixing: Fixing = Fixing.UNKNOWN
    made_on: str = ""
    checked: bool = False
    note: str = ""
    volts: str = "5 V"

    def word(self, function: WireFunction) -> str:
        """A wire's function in words, its plus by the part's own volts."""
        return self.volts if function is WireFunction.FIVE_VOLT else function.value

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


def joint_side(
    batch: Batch | None, *, pixel: int | None, data: WireFunction, noted: tuple[str, ...] = ("", "", "")
) -> JointSide:
    """One side of a joint, at a pixel of a batch (None: not known). `data`: how data runs there.

    noted: colours of the 5 V, ground and data wires that go before the batch's.
    """
    own = ("", "", "")
    if batch is not None:
        own = (batch.five_volt, batch.ground, batch.data_in if data is WireFunction.DATA_IN else batch.data_out)
    wires = tuple(
        WireEnd(function=function, colour=colour or usual or None)
        for function, colour, usual in zip((WireFunction.FIVE_VOLT, WireFunction.GROUND, data), noted, own, strict=True)
    )
    return JointSide(pixel=pixel, batch=batch.name if batch else "", wires=wires)


def joint_view(map_: PlayfieldMap, chain: Chain, number: int, joint: Joint | None = None) -> JointView:
    """The joint arriving at a pixel that the map holds. Raises IndexError for any other.

    Colours come from the batch of each pixel, unless the joint notes its own. The board's lead has no batch: what is
    noted of the first joint, or nothing. `joint`: its record, if it is at hand.
    """
    joint = joint_at(chain, number) if joint is None else joint
    leaving = joint_side(
        map_.batch_of(chain.pixels[number - 1]) if number else None,
        pixel=number - 1 if number else None,
        data=WireFunction.DATA_OUT,
        noted=(joint.leaving_5v, joint.leaving_ground, joint.leaving_data),
    )
    arriving = joint_side(
        map_.batch_of(chain.pixels[number]),
        pixel=number,
        data=WireFunction.DATA_IN,
        noted=(joint.arriving_5v, joint.arriving_ground, joint.arriving_data),
    )
    found = (joint.five_volt_to, joint.ground_to, joint.data_to)
    if JoinedTo.DATA_OUT in found:  # the pixel is turned round: its data out is at this end
        wires = (*arriving.wires[:2], arriving.wires[2].model_copy(update={"function": WireFunction.DATA_OUT}))
        arriving = arriving.model_copy(update={"wires": wires})
    return JointView(
        leaving=leaving,
        arriving=arriving,
        connections=_connections(found, arriving),
        five_volt_open=joint.five_volt_open,
        length_m=None if joint.length_mm is None else joint.length_mm / 1000,
        fixing=joint.fixing,
        made_on=joint.made_on,
        checked=joint.checked,
        note=joint.note,
        volts=f"{nominal_volt_of(chain.chip):g} V",
    )


def _connections(found: tuple[JoinedTo, ...], arriving: JointSide) -> tuple[Connection, ...] | None:
    """What is joined to what; None if nobody has looked. A wire nobody looked at counts as joined by function."""
    if all(target is JoinedTo.NOT_LOOKED for target in found):
        return None
    at = {wire.function.value: index for index, wire in enumerate(arriving.wires)}
    ends = ((index, index if to is JoinedTo.NOT_LOOKED else at.get(to.value)) for index, to in enumerate(found))
    return tuple(Connection(leaving=index, arriving=end) for index, end in ends if end is not None)


# -- checks ------------------------------------------------------------------------------------------------------


class JointSeverity(StrEnum):
    """REFUSE: must not be powered. ASK: the sheet cannot settle it."""

    REFUSE = "refuse"
    ASK = "ask"


ASK, REFUSE = JointSeverity.ASK, JointSeverity.REFUSE


@dataclass(frozen=True, slots=True)
class JointProblem:
    """Something wrong or unknown at a joint."""

    severity: JointSeverity
    code: str
    joint: str
    text: str


def same_colour(first: str | None, second: str | None) -> bool:
    """Whether two noted colours read the same (case and spaces aside)."""
    if first is None or second is None:
        return False
    return " ".join(first.casefold().split()) == " ".join(second.casefold().split())


def check_joint(joint: JointView) -> tuple[JointProblem, ...]:
    """Everything wrong or unknown with a joint; empty if each function meets its like once and all is noted.

    Colour never makes a joint right or wrong. It is mentioned where it misleads: equal colours on unlike functions. A
    plus wire left open on purpose is no fault.
    """
    found = [*_side_problems(joint, joint.leaving, tuple(MATES)), *_side_problems(joint, joint.arriving, ARRIVING)]
    if joint.connections is not None:
        found += _connection_problems(joint)
    return tuple(found)


def _side_problems(joint: JointView, side: JointSide, expected: tuple[WireFunction, ...]) -> list[JointProblem]:
    found = []
    which = "leaving" if side is joint.leaving else "arriving at"
    for function in expected:
        count = sum(1 for wire in side.wires if wire.function is function)
        if count == 0:
            text = f"the {joint.word(function)} wire {which} {side.who} is not on the sheet"
            found.append(JointProblem(ASK, "missing", joint.name, text))
        elif count > 1:
            text = f"{count} wires {which} {side.who} are both called {joint.word(function)}: find out which is which with a meter"
            found.append(JointProblem(REFUSE, "twice", joint.name, text))
    for wire in side.wires:
        if wire.function not in expected:
            text = (
                f"the {_coloured(wire)} wire {which} {side.who} is {joint.word(wire.function)}: "
                "the pixel seems turned round; look at the arrow printed on it"
            )
            found.append(JointProblem(REFUSE, "turned", joint.name, text))
    silent = [joint.word(wire.function) for wire in side.wires if wire.colour is None]
    if silent:
        *most, last = silent
        wires = f"the {', '.join(most)} and {last} wires" if most else f"the {last} wire"
        text = f"nobody has noted the colour of {wires} {which} {side.who}"
        found.append(JointProblem(ASK, "no-colour", joint.name, text))
    noted = [wire for wire in side.wires if wire.colour is not None]
    for k, wire in enumerate(noted):
        if any(same_colour(wire.colour, other.colour) for other in noted[:k]):
            text = f"two wires {which} {side.who} are {_coloured(wire)}: tell them apart with a meter, power off"
            found.append(JointProblem(ASK, "same-colour", joint.name, text))
    return found


def _connection_problems(joint: JointView) -> list[JointProblem]:
    found = []
    assert joint.connections is not None
    for link in joint.connections:
        out, into = joint.leaving.wires[link.leaving], joint.arriving.wires[link.arriving]
        if MATES.get(out.function) is into.function:
            continue
        text = (
            f"{joint.word(out.function)} of {joint.leaving.who} (its {_coloured(out)}) is joined to "
            f"{joint.word(into.function)} of "
            f"{joint.arriving.who} (its {_coloured(into)})"
        )
        if same_colour(out.colour, into.colour):
            text += ". The colours match, the functions do not: the two batches have different colour codes"
        if {out.function, into.function} == {WireFunction.FIVE_VOLT, WireFunction.GROUND}:
            text += ". This puts the supply the wrong way round or shorts it: do not power it"
        found.append(JointProblem(REFUSE, "unlike", joint.name, text + "."))
    for end, side in (("leaving", joint.leaving), ("arriving", joint.arriving)):
        for index, wire in enumerate(side.wires):
            times = sum(1 for link in joint.connections if getattr(link, end) == index)
            text = f"{joint.word(wire.function)} of {side.who} (its {_coloured(wire)}) is joined to "
            if times > 1:
                found.append(JointProblem(REFUSE, "several", joint.name, f"{text}{times} wires"))
            elif times == 0 and not (joint.five_volt_open and wire.function is WireFunction.FIVE_VOLT):
                found.append(JointProblem(REFUSE, "open", joint.name, text + "nothing"))
    return found


def joining_lines(joint: JointView) -> tuple[str, ...]:
    """What to join to what, ground first: `join ground of pixel 14 (its white) to ground of pixel 15 (its black)`.

    The order is that of joining; take apart the other way round. Wires that are not on the sheet say so.
    """
    lines = []
    for function in (WireFunction.GROUND, WireFunction.FIVE_VOLT, WireFunction.DATA_OUT):
        if joint.five_volt_open and function is WireFunction.FIVE_VOLT:
            lines.append(f"leave the {joint.volts} wire of {joint.leaving.who} open: two supplies meet here")
            continue
        mate = MATES[function]
        lines.append(
            f"join {joint.word(function)} of {joint.leaving.who} ({_its(joint.leaving.wire(function))}) "
            f"to {joint.word(mate)} of {joint.arriving.who} ({_its(joint.arriving.wire(mate))})"
        )
    return tuple(lines)


def _its(wire: WireEnd | None) -> str:
    if wire is None:
        return "not on the sheet"
    return "colour not noted" if not spaced(wire.colour or "").strip() else f"its {_coloured(wire)}"


def _coloured(wire: WireEnd) -> str:
    return spaced(wire.colour or "").strip() or "wire of unnoted colour"


# -- the sheet ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One joint of the sheet, what is wrong with it, and how it reads."""

    number: int
    view: JointView
    problems: tuple[JointProblem, ...]

    @property
    def ends(self) -> str:
        """`board to 0` or `14 to 15`."""
        return f"{'board' if self.number == 0 else self.number - 1} to {self.number}"

    @property
    def refused(self) -> bool:
        """Whether it must not be powered like this."""
        return any(problem.severity is JointSeverity.REFUSE for problem in self.problems)

    @property
    def flag(self) -> str:
        """What the sheet makes of it, in a word or three."""
        if self.refused:
            return "REFUSE"
        if self.problems:
            return "ask"
        return "checked" if self.view.checked else "not checked"

    @property
    def joining(self) -> tuple[str, ...]:
        """What to join to what."""
        return joining_lines(self.view)


def sheet_rows(map_: PlayfieldMap, chain: Chain) -> tuple[SheetRow, ...]:
    """The joint arriving at each pixel the map holds, in order."""
    views = (joint_view(map_, chain, number, joint) for number, joint in enumerate(joints_in_order(chain)))
    return tuple(SheetRow(number, view, check_joint(view)) for number, view in enumerate(views))


def refusals(map_: PlayfieldMap) -> int:
    """How many joints of the map must not be powered as they are."""
    return sum(row.refused for chain in map_.chains for row in sheet_rows(map_, chain))
