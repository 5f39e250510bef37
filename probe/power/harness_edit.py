"""Keeping the list of joints true when pixels are spliced in, taken out or a stretch is turned round.

A chain's joints are a tuple: entry k is the joint arriving at pixel k (entry 0 comes from the board). Each function
takes such a tuple and returns a new one. Joints that are new or remade have no connections and are not checked.
"""

from __future__ import annotations

import datetime
from typing import Final

from probe.power.base import PowerError
from probe.power.harness import BatchColours, Fixing, Joint, JointSide, WireEnd, WireFunction

_SWAPPED: Final = {WireFunction.DATA_IN: WireFunction.DATA_OUT, WireFunction.DATA_OUT: WireFunction.DATA_IN}


def lay_chain(
    batches: tuple[BatchColours, ...], *, board: BatchColours, length_m: float | None = None
) -> tuple[Joint, ...]:
    """Joints of a new chain: pixel k is of `batches[k]`, all to be joined by function."""
    joints = []
    for number, batch in enumerate(batches):
        leaving = board.leaving(pixel=None) if number == 0 else batches[number - 1].leaving(pixel=number - 1)
        joints.append(Joint(leaving=leaving, arriving=batch.arriving(pixel=number), length_m=length_m))
    return tuple(joints)


def splice_in(
    joints: tuple[Joint, ...],
    *,
    at: int,
    batch: BatchColours,
    made_on: datetime.date | None = None,
    before_m: float | None = None,
    after_m: float | None = None,
) -> tuple[Joint, ...]:
    """A new pixel that gets number `at`; later pixels count one up.

    The stretch arriving at the old pixel `at` is split in two. Without lengths both halves get half of it (None stays
    None); with one given the other gets the rest, not less than 0. At the end of the chain one joint is added.
    """
    _check_number(at, count=len(joints) + 1, what="new pixel number")
    head = joints[:at]
    new_in = batch.arriving(pixel=at)
    if at == len(joints):
        leaving = _last_leaving(joints, batch)
        tail: tuple[Joint, ...] = ()
        length = before_m
        split: tuple[Joint, ...] = (Joint(leaving=leaving, arriving=new_in, length_m=length, made_on=made_on),)
        return (*head, *split, *tail)
    old = joints[at]
    first_m, second_m = _split_length(old.length_m, before_m=before_m, after_m=after_m)
    split = (
        Joint(
            leaving=old.leaving, arriving=new_in, length_m=first_m, fixing=old.fixing, made_on=made_on, note=old.note
        ),
        Joint(
            leaving=batch.leaving(pixel=at),
            arriving=_numbered(old.arriving, at + 1),
            length_m=second_m,
            fixing=old.fixing,
            made_on=made_on,
        ),
    )
    return (*head, *split, *(_shifted(joint, by=1) for joint in joints[at + 1 :]))


def take_out(
    joints: tuple[Joint, ...], *, at: int, made_on: datetime.date | None = None, length_m: float | None = None
) -> tuple[Joint, ...]:
    """Pixel `at` removed; later pixels count one down.

    The two stretches beside it become one: the wires leaving the pixel before meet those arriving at the pixel after.
    Its length is `length_m` if given, else the sum of both. The last pixel's joint is dropped.
    """
    _check_number(at, count=len(joints), what="pixel number")
    if at == len(joints) - 1:
        return joints[:at]
    before, after = joints[at], joints[at + 1]
    known = before.length_m is not None and after.length_m is not None
    total = (before.length_m or 0.0) + (after.length_m or 0.0) if known else None
    merged = Joint(
        leaving=before.leaving,
        arriving=_numbered(after.arriving, at),
        length_m=total if length_m is None else length_m,
        fixing=before.fixing if before.fixing is after.fixing else Fixing.UNKNOWN,
        made_on=made_on,
        note="; ".join(note for note in (before.note, after.note) if note),
    )
    return (*joints[:at], merged, *(_shifted(joint, by=-1) for joint in joints[at + 2 :]))


def turn_round(
    joints: tuple[Joint, ...], *, first: int, last: int, made_on: datetime.date | None = None
) -> tuple[Joint, ...]:
    """Pixels `first` to `last` now run the other way: the old `last` is number `first`.

    The stretches between them keep their wires and lengths, but data passes them backwards: at every end what was data
    in is data out, colours staying with the wires. The joints to the neighbours outside are new, of unknown length.
    """
    _check_number(first, count=len(joints), what="first pixel")
    _check_number(last, count=len(joints), what="last pixel")
    if last < first:
        raise PowerError(f"the stretch {first} to {last} ends before it starts. Exchange the two numbers.")
    if first == last:
        return joints
    new: list[Joint] = []
    # The wires that used to leave the last pixel now bring data to it.
    exit_side = joints[last + 1].leaving if last + 1 < len(joints) else None
    entry = _flipped(exit_side, first) if exit_side is not None else _like_arriving(joints[last].arriving, first)
    new.append(Joint(leaving=joints[first].leaving, arriving=entry, made_on=made_on))
    for number in range(first + 1, last + 1):
        old = joints[last - (number - first) + 1]
        new.append(
            Joint(
                leaving=_flipped(old.arriving, number - 1),
                arriving=_flipped(old.leaving, number),
                length_m=old.length_m,
                fixing=old.fixing,
                made_on=old.made_on,
                note=old.note,
            )
        )
    if last + 1 < len(joints):
        old = joints[last + 1]
        new.append(Joint(leaving=_flipped(joints[first].arriving, last), arriving=old.arriving, made_on=made_on))
    return (*joints[:first], *new, *joints[last + 2 :])


def _check_number(number: int, *, count: int, what: str) -> None:
    if not 0 <= number < count:
        raise PowerError(f"{what} {number} is not in 0 to {count - 1}. Correct the number.")


def _numbered(side: JointSide, pixel: int) -> JointSide:
    return side.model_copy(update={"pixel": pixel})


def _shifted(joint: Joint, *, by: int) -> Joint:
    """The same joint after the renumbering."""
    sides = {
        name: _numbered(side, side.pixel + by)
        for name, side in (("leaving", joint.leaving), ("arriving", joint.arriving))
        if side.pixel is not None
    }
    return joint.model_copy(update=sides)


def _last_leaving(joints: tuple[Joint, ...], batch: BatchColours) -> JointSide:
    """Wires leaving the present last pixel: nobody noted them, so functions with no colours; for an empty chain, the
    board's."""
    if not joints:
        return _like_leaving(None, "")
    last = joints[-1].arriving
    return _like_leaving(last.pixel, last.batch)


def _like_leaving(pixel: int | None, batch: str) -> JointSide:
    functions = (WireFunction.FIVE_VOLT, WireFunction.GROUND, WireFunction.DATA_OUT)
    return JointSide(pixel=pixel, batch=batch, wires=tuple(WireEnd(function=f) for f in functions))


def _like_arriving(side: JointSide, pixel: int) -> JointSide:
    """Wires with functions but no colours, at a pixel end that had no joint before."""
    functions = (WireFunction.FIVE_VOLT, WireFunction.GROUND, WireFunction.DATA_IN)
    return JointSide(pixel=pixel, batch=side.batch, wires=tuple(WireEnd(function=f) for f in functions))


def _flipped(side: JointSide, pixel: int) -> JointSide:
    """The same wires with data running the other way."""
    wires = tuple(w.model_copy(update={"function": _SWAPPED.get(w.function, w.function)}) for w in side.wires)
    return JointSide(pixel=pixel, batch=side.batch, wires=wires)


def _split_length(
    total_m: float | None, *, before_m: float | None, after_m: float | None
) -> tuple[float | None, float | None]:
    if before_m is None and after_m is None:
        half = None if total_m is None else total_m / 2
        return half, half
    if before_m is not None and after_m is not None:
        return before_m, after_m
    rest = None if total_m is None else max(0.0, total_m - (before_m or 0.0) - (after_m or 0.0))
    return (before_m, rest) if before_m is not None else (rest, after_m)
