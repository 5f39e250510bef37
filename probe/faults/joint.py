"""Four faults that look alike - everything after k dark - and the readings and jumpers that separate them; and the
sheet for the moment of repair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from probe.document.model import PlayfieldMap, shown_number
from probe.document.model.harness import Batch
from probe.document.wiring import joint_at


class Suspected(StrEnum):
    """What can be wrong between k and k+1; the names are those of the causes."""

    JOINT_OPEN = "joint-open"
    OUTPUT_DEAD = "k-output-dead"
    NEXT_DEAD = "next-dead"
    NEXT_BACKWARDS = "next-backwards"


class JointTest(StrEnum):
    """A test at the joint; the names are those of the observations."""

    ARROW = "arrow-next"
    DOUT = "dout-k"
    DIN = "din-next"
    OHMS = "joint-ohms"
    JUMPER_K = "jumper-k"
    JUMPER_NEXT = "jumper-next"


CHEAPEST_FIRST = tuple(JointTest)

EXPECTED: Mapping[JointTest, Mapping[Suspected, frozenset[str]]] = {
    JointTest.ARROW: {
        Suspected.JOINT_OPEN: frozenset({"yes"}),
        Suspected.OUTPUT_DEAD: frozenset({"yes"}),
        Suspected.NEXT_DEAD: frozenset({"yes"}),
        Suspected.NEXT_BACKWARDS: frozenset({"no"}),
    },
    # Backwards: two outputs fight on one wire, so that k's pad may or may not move.
    JointTest.DOUT: {
        Suspected.JOINT_OPEN: frozenset({"moves"}),
        Suspected.OUTPUT_DEAD: frozenset({"still"}),
        Suspected.NEXT_DEAD: frozenset({"moves"}),
        Suspected.NEXT_BACKWARDS: frozenset({"moves", "still"}),
    },
    JointTest.DIN: {
        Suspected.JOINT_OPEN: frozenset({"still"}),
        Suspected.OUTPUT_DEAD: frozenset({"still"}),
        Suspected.NEXT_DEAD: frozenset({"moves"}),
        Suspected.NEXT_BACKWARDS: frozenset({"still"}),
    },
    JointTest.OHMS: {
        Suspected.JOINT_OPEN: frozenset({"open"}),
        Suspected.OUTPUT_DEAD: frozenset({"closed"}),
        Suspected.NEXT_DEAD: frozenset({"closed"}),
        Suspected.NEXT_BACKWARDS: frozenset({"open"}),
    },
    # Backwards: k+1's DIN pad holds the wire to k+2, so that data put there reaches the rest.
    JointTest.JUMPER_K: {
        Suspected.JOINT_OPEN: frozenset({"yes"}),
        Suspected.OUTPUT_DEAD: frozenset({"yes"}),
        Suspected.NEXT_DEAD: frozenset({"no"}),
        Suspected.NEXT_BACKWARDS: frozenset({"yes", "no"}),
    },
    JointTest.JUMPER_NEXT: {
        Suspected.JOINT_OPEN: frozenset({"no"}),
        Suspected.OUTPUT_DEAD: frozenset({"no"}),
        Suspected.NEXT_DEAD: frozenset({"yes"}),
        Suspected.NEXT_BACKWARDS: frozenset({"no"}),
    },
}


def remaining(results: Mapping[JointTest, str]) -> tuple[Suspected, ...]:
    """The suspects that every result allows; empty when the results contradict each other."""
    return tuple(
        suspect for suspect in Suspected if all(result in EXPECTED[test][suspect] for test, result in results.items())
    )


def next_test(results: Mapping[JointTest, str], *, skipped: Sequence[JointTest] = ()) -> JointTest | None:
    """The cheapest test not yet made that strikes out a suspect whatever its result; else one that may; else None."""
    left = remaining(results)
    if len(left) < 2:
        return None
    may = None
    for test in CHEAPEST_FIRST:
        if test in results or test in skipped:
            continue
        outcomes = {result for suspect in left for result in EXPECTED[test][suspect]}
        kept = [sum(result in EXPECTED[test][suspect] for suspect in left) for result in outcomes]
        if max(kept) < len(left):
            return test
        if min(kept) < len(left) and may is None:
            may = test
    return may


class Function(StrEnum):
    """What a wire carries."""

    FIVE = "5 V"
    GROUND = "GND"
    DATA = "data"


@dataclass(frozen=True)
class JointWire:
    """One wire of a joint. Colours as the harness sheet gives them, empty where it does not."""

    function: Function
    leaving_colour: str = ""
    arriving_colour: str = ""


def joint_sheet(k: int, wires: Sequence[JointWire] = ()) -> tuple[str, ...]:
    """Lines to have at hand while the joint between k (-1: the board) and k+1 is remade, function before colour.

    Functions without a wire in `wires` are listed without colours. Raises ValueError when a function is there twice.
    """
    by_function: dict[Function, JointWire] = {}
    for wire in wires:
        if wire.function in by_function:
            raise ValueError(f"the joint has two wires for {wire.function}")
        by_function[wire.function] = wire
    start = "the board" if k < 0 else shown_number(k)
    end = shown_number(k + 1)
    lines = [f"Joint between {start} and {end}. Power off and unplugged."]
    for function in Function:
        wire = by_function.get(function, JointWire(function))
        leaving = _end(
            f"the wire leaving {start}", "DOUT" if function is Function.DATA else function, wire.leaving_colour
        )
        arriving = _end(
            f"the wire arriving at {end}", "DIN" if function is Function.DATA else function, wire.arriving_colour
        )
        lines.append(f"{function}: {leaving} to {arriving}")
        if wire.leaving_colour and wire.arriving_colour and wire.leaving_colour != wire.arriving_colour:
            lines.append(
                f"   the colours differ: {wire.leaving_colour} to {wire.arriving_colour} is right for {function}"
            )
    lines.append("Read the pads: data leaves at DOUT and arrives at DIN; the arrow points away from the board.")
    return tuple(lines)


def _end(which: str, pad: str, colour: str) -> str:
    return f"{which} (pad {pad}, {colour})" if colour else f"{which} (pad {pad}, colour not noted)"


def joint_wires(map_: PlayfieldMap, chain_id: str, k: int) -> tuple[JointWire, ...]:
    """The wires of the joint between k (-1: the board) and k+1 with the colours that the map's harness notes.

    Empty when the map does not hold that joint.
    """
    chain = map_.chain(chain_id)
    if not -1 <= k < len(chain.pixels) - 1:
        return ()
    joint = joint_at(chain, k + 1)
    batches = {batch.id: batch for batch in map_.batches}
    leaving = batches.get(chain.pixels[k].batch or "") if k >= 0 else None
    arriving = batches.get(chain.pixels[k + 1].batch or "")
    return (
        JointWire(
            Function.FIVE,
            joint.leaving_5v or _own(leaving, "five_volt"),
            joint.arriving_5v or _own(arriving, "five_volt"),
        ),
        JointWire(
            Function.GROUND,
            joint.leaving_ground or _own(leaving, "ground"),
            joint.arriving_ground or _own(arriving, "ground"),
        ),
        JointWire(
            Function.DATA,
            joint.leaving_data or _own(leaving, "data_out"),
            joint.arriving_data or _own(arriving, "data_in"),
        ),
    )


def _own(batch: Batch | None, wire: str) -> str:
    return "" if batch is None else str(getattr(batch, wire))
