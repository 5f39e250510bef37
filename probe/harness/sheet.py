"""The harness sheet: every joint of a map by wire function, with the colour each side happens to have.

Colours come from the batch of each pixel, unless the joint notes its own. The board's lead has no batch: what is noted of
the first joint, or nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from probe.document.model import Chain, PlayfieldMap, shown_number
from probe.document.model import harness as noted
from probe.document.model.harness import JoinedTo
from probe.document.wiring import joints_in_order
from probe.harness.base import plain
from probe.harness.cautions import Moment, cautions
from probe.harness.harness import (
    Connection,
    Fixing,
    Joint,
    JointProblem,
    JointSide,
    Severity,
    WireEnd,
    WireFunction,
    arriving_side,
    check_joint,
    joining_lines,
    leaving_side,
)
from probe.harness.words import Section

_FUNCTIONS = {
    JoinedTo.FIVE_VOLT: WireFunction.FIVE_VOLT,
    JoinedTo.GROUND: WireFunction.GROUND,
    JoinedTo.DATA_IN: WireFunction.DATA_IN,
    JoinedTo.DATA_OUT: WireFunction.DATA_OUT,
}


def sheet(m: PlayfieldMap, chain: Chain) -> tuple[Joint, ...]:
    """The joint arriving at each pixel the map holds, in order."""
    batches = {batch.id: batch for batch in m.batches}
    made: list[Joint] = []
    for number, joint in enumerate(joints_in_order(chain)):
        before = chain.pixels[number - 1] if number else None
        arriving = arriving_side(batches.get(chain.pixels[number].batch or ""), pixel=number)
        leaving = leaving_side(
            batches.get(before.batch or "") if before is not None else None, pixel=number - 1 if number else None
        )
        made.append(_joint(joint, leaving, arriving))
    return tuple(made)


def _joint(joint: noted.Joint, leaving: JointSide, arriving: JointSide) -> Joint:
    leaving = _recoloured(leaving, (joint.leaving_5v, joint.leaving_ground, joint.leaving_data))
    arriving = _recoloured(arriving, (joint.arriving_5v, joint.arriving_ground, joint.arriving_data))
    found = (joint.five_volt_to, joint.ground_to, joint.data_to)
    if JoinedTo.DATA_OUT in found:  # the pixel is turned round: its data out is at this end
        wires = (*arriving.wires[:2], arriving.wires[2].model_copy(update={"function": WireFunction.DATA_OUT}))
        arriving = arriving.model_copy(update={"wires": wires})
    return Joint(
        leaving=leaving,
        arriving=arriving,
        connections=_connections(found, leaving, arriving),
        length_m=None if joint.length_mm is None else joint.length_mm / 1000,
        fixing=joint.fixing,
        made_on=joint.made_on,
        checked=joint.checked,
        note=joint.note,
    )


def _recoloured(side: JointSide, colours: tuple[str, str, str]) -> JointSide:
    wires = tuple(
        WireEnd(function=wire.function, colour=colour or wire.colour)
        for wire, colour in zip(side.wires, colours, strict=True)
    )
    return side.model_copy(update={"wires": wires})


def _connections(
    found: tuple[JoinedTo, JoinedTo, JoinedTo], leaving: JointSide, arriving: JointSide
) -> tuple[Connection, ...] | None:
    """What is joined to what; None if nobody has looked. A wire nobody looked at counts as joined by function."""
    if all(target is JoinedTo.NOT_LOOKED for target in found):
        return None
    at = {wire.function: index for index, wire in enumerate(arriving.wires)}
    links = []
    for index, target in enumerate(found):
        if target is JoinedTo.NOT_LOOKED:
            links.append(Connection(leaving=index, arriving=index))
        elif target is not JoinedTo.NOTHING and _FUNCTIONS[target] in at:
            links.append(Connection(leaving=index, arriving=at[_FUNCTIONS[target]]))
    return tuple(links)


def problems(m: PlayfieldMap, chain: Chain, number: int) -> tuple[JointProblem, ...]:
    """What is wrong or unknown at one joint. A 5 V wire left open on purpose is no fault."""
    view = sheet_joint(m, chain, number)
    meant_open = next(j for k, j in enumerate(joints_in_order(chain)) if k == number).five_volt_open
    return _problems(view, meant_open=meant_open)


def sheet_joint(m: PlayfieldMap, chain: Chain, number: int) -> Joint:
    """One joint of the sheet."""
    return sheet(m, chain)[number]


def _problems(view: Joint, *, meant_open: bool) -> tuple[JointProblem, ...]:
    found = check_joint(view)
    if meant_open:
        found = tuple(p for p in found if not (p.code == "open" and p.text.startswith(WireFunction.FIVE_VOLT)))
    return found


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One joint of the sheet, what is wrong with it, and how it reads."""

    number: int
    view: Joint
    problems: tuple[JointProblem, ...]
    five_volt_open: bool

    @property
    def ends(self) -> str:
        """`board to 0` or `14 to 15`."""
        return f"{'board' if self.number == 0 else self.number - 1} to {self.number}"

    @property
    def refused(self) -> bool:
        """Whether it must not be powered like this."""
        return any(problem.severity is Severity.REFUSE for problem in self.problems)

    @property
    def flag(self) -> str:
        """One word: what the sheet makes of it."""
        if self.refused:
            return "REFUSE"
        if self.problems:
            return "ask"
        return "checked" if self.view.checked else "by function"

    @property
    def joining(self) -> tuple[str, ...]:
        """What to join to what. Where the 5 V wire is left open, that line says so."""
        lines = joining_lines(self.view)
        if not self.five_volt_open:
            return lines
        return (lines[0], f"leave the 5 V wire of {self.view.leaving.who} open: two supplies meet here", lines[2])


def sheet_rows(m: PlayfieldMap, chain: Chain) -> tuple[SheetRow, ...]:
    """The sheet of a chain."""
    return tuple(
        SheetRow(number, view, _problems(view, meant_open=joint.five_volt_open), joint.five_volt_open)
        for number, (view, joint) in enumerate(zip(sheet(m, chain), joints_in_order(chain), strict=True))
    )


def refusals(m: PlayfieldMap) -> int:
    """How many joints of the map must not be powered as they are."""
    return sum(row.refused for chain in m.chains for row in sheet_rows(m, chain))


def _detail(row: SheetRow) -> str:
    view = row.view
    parts = []
    if view.length_m is not None:
        parts.append(f"{view.length_m * 1000:g} mm")
    if view.fixing is not Fixing.UNKNOWN:
        parts.append(view.fixing.value)
    if view.made_on:
        parts.append(f"made {view.made_on}")
    batches = list(dict.fromkeys(plain(side.batch) for side in (view.leaving, view.arriving) if side.batch))
    if batches:
        parts.append(" to ".join(batches))
    if view.checked:
        parts.append("checked")
    if view.note:
        parts.append(plain(view.note))
    return "; ".join(parts)


def _row_lines(m: PlayfieldMap, chain: Chain, row: SheetRow) -> Iterator[str]:
    place = m.place_of(chain.pixels[row.number])
    name = f" ({plain(place.label)})" if place is not None else ""
    detail = _detail(row)
    yield f"joint {row.ends}{name}" + (f": {detail}" if detail else "")
    yield from (f"  {line}" for line in row.joining)
    for problem in row.problems:
        yield f"  {'REFUSED' if problem.severity is Severity.REFUSE else 'ask'}: {problem.text}"


def batch_lines(m: PlayfieldMap) -> tuple[str, ...]:
    """Colour code of each batch."""
    lines = []
    for batch in m.batches:
        wires = (("5 V", batch.five_volt), ("ground", batch.ground), ("data in", batch.data_in))
        code = ", ".join(f"{what} {plain(colour) or '?'}" for what, colour in (*wires, ("data out", batch.data_out)))
        lines.append(f"{plain(batch.name)}: {code}")
    return tuple(lines)


def harness_sheet_lines(m: PlayfieldMap) -> tuple[Section, ...]:
    """The whole sheet: cautions first, then colour codes, then the joints of each chain."""
    found = [Section("Before you open a joint", tuple(caution.text for caution in cautions(Moment.OPENING)))]
    if m.batches:
        found.append(Section("Colour codes (they join nothing: functions do)", batch_lines(m)))
    for chain in m.chains:
        lines = tuple(line for row in sheet_rows(m, chain) for line in _row_lines(m, chain, row))
        title = f"Joints of {plain(chain.name)}, output {chain.output}"
        found.append(Section(title, lines or ("no pixels yet",)))
    return tuple(found)


def harness_data(m: PlayfieldMap) -> list[dict[str, object]]:
    """The sheet as plain values for JSON."""
    return [
        {
            "chain": chain.id,
            "pixel": row.number,
            "shown": shown_number(row.number),
            "flag": row.flag,
            "join": list(row.joining),
            "problems": [{"severity": p.severity.value, "code": p.code, "text": p.text} for p in row.problems],
            "length_mm": None if row.view.length_m is None else row.view.length_m * 1000,
            "fixing": row.view.fixing.value,
            "made_on": row.view.made_on,
            "checked": row.view.checked,
            "batches": [row.view.leaving.batch, row.view.arriving.batch],
        }
        for chain in m.chains
        for row in sheet_rows(m, chain)
    ]
