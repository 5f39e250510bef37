"""Faults that look alike - everything after k dark - and the readings and jumpers that separate them; and the
sheet for the moment of repair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum

from probe.document.model import PlayfieldMap, shown_number
from probe.harness.joints import joint_view
from probe.harness.pixels import nominal_volt_of


class Suspected(StrEnum):
    """What can be wrong between k and k+1; the names are those of the causes."""

    JOINT_OPEN = "joint-open"
    OUTPUT_DEAD = "k-output-dead"
    NEXT_DEAD = "next-dead"
    NEXT_BACKWARDS = "next-backwards"
    PIECE_REVERSED = "segment-reversed"


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
        Suspected.PIECE_REVERSED: frozenset({"run"}),
    },
    # Backwards: two outputs fight on one wire, so that k's pad may or may not move.
    JointTest.DOUT: {
        Suspected.JOINT_OPEN: frozenset({"moves"}),
        Suspected.OUTPUT_DEAD: frozenset({"still"}),
        Suspected.NEXT_DEAD: frozenset({"moves"}),
        Suspected.NEXT_BACKWARDS: frozenset({"moves", "still"}),
        Suspected.PIECE_REVERSED: frozenset({"moves", "still"}),
    },
    JointTest.DIN: {
        Suspected.JOINT_OPEN: frozenset({"still"}),
        Suspected.OUTPUT_DEAD: frozenset({"still"}),
        Suspected.NEXT_DEAD: frozenset({"moves"}),
        Suspected.NEXT_BACKWARDS: frozenset({"still"}),
        Suspected.PIECE_REVERSED: frozenset({"still"}),
    },
    JointTest.OHMS: {
        Suspected.JOINT_OPEN: frozenset({"open"}),
        Suspected.OUTPUT_DEAD: frozenset({"closed"}),
        Suspected.NEXT_DEAD: frozenset({"closed"}),
        Suspected.NEXT_BACKWARDS: frozenset({"open"}),
        Suspected.PIECE_REVERSED: frozenset({"open"}),
    },
    # Backwards: k+1's DIN pad holds the wire to k+2, so that data put there reaches the rest.
    JointTest.JUMPER_K: {
        Suspected.JOINT_OPEN: frozenset({"yes"}),
        Suspected.OUTPUT_DEAD: frozenset({"yes"}),
        Suspected.NEXT_DEAD: frozenset({"no"}),
        Suspected.NEXT_BACKWARDS: frozenset({"yes", "no"}),
        Suspected.PIECE_REVERSED: frozenset({"no"}),
    },
    JointTest.JUMPER_NEXT: {
        Suspected.JOINT_OPEN: frozenset({"no"}),
        Suspected.OUTPUT_DEAD: frozenset({"no"}),
        Suspected.NEXT_DEAD: frozenset({"yes"}),
        Suspected.NEXT_BACKWARDS: frozenset({"no"}),
        Suspected.PIECE_REVERSED: frozenset({"no"}),
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


_PADS = (("GND", "GND", "GND"), ("data", "DOUT", "DIN"))
"""What a wire beside plus carries, and the pads it leaves and arrives at, in the order of a joint's wires."""


def joint_sheet(map_: PlayfieldMap, chain_id: str, k: int) -> tuple[str, ...]:
    """Lines to have at hand while the joint between k (-1: the board) and k+1 is remade, function before colour.

    Colours are those of the harness sheet; none where the map does not hold that joint.
    """
    chain = map_.chain(chain_id)
    colours = [("", "")] * 3
    if -1 <= k < len(chain.pixels) - 1:
        view = joint_view(map_, chain, k + 1)
        sides = zip(view.leaving.wires, view.arriving.wires, strict=True)
        colours = [(leaving.colour or "", arriving.colour or "") for leaving, arriving in sides]
    start = "the board" if k < 0 else shown_number(k)
    end = shown_number(k + 1)
    lines = [f"Joint between {start} and {end}. Power off and unplugged."]
    volts = f"{nominal_volt_of(chain.chip):g} V"
    for (function, out, into), (leaving, arriving) in zip(((volts,) * 3, *_PADS), colours, strict=True):
        lines.append(
            f"{function}: the wire leaving {start} (pad {out}, {leaving or 'colour not noted'}) "
            f"to the wire arriving at {end} (pad {into}, {arriving or 'colour not noted'})"
        )
        if leaving and arriving and leaving != arriving:
            lines.append(f"   the colours differ: {leaving} to {arriving} is right for {function}")
    lines.append("Read the pads: data leaves at DOUT and arrives at DIN; the arrow points away from the board.")
    return tuple(lines)
