"""Joints by function, and the sheet that follows insertions, removals and turned stretches."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from probe.power.base import PowerError
from probe.power.harness import (
    MATES,
    BatchColours,
    Connection,
    Fixing,
    Joint,
    JointProblem,
    JointSide,
    Severity,
    WireEnd,
    WireFunction,
    check_harness,
    check_joint,
    join_by_function,
    joining_lines,
)
from probe.power.harness_edit import lay_chain, splice_in, take_out, turn_round

V, G, IN, OUT = WireFunction.FIVE_VOLT, WireFunction.GROUND, WireFunction.DATA_IN, WireFunction.DATA_OUT
BOARD = BatchColours(name="lead", five_volt="red", ground="black", data_out="yellow")
FIRST = BatchColours(name="bag 1", five_volt="red", ground="white", data_in="green", data_out="green")
SECOND = BatchColours(name="bag 2", five_volt="brown", ground="blue", data_in="yellow", data_out="white")
TODAY = datetime.date(2024, 5, 4)


def codes(problems: tuple[JointProblem, ...]) -> set[str]:
    return {problem.code for problem in problems}


def mixed(**changes: Any) -> Joint:
    """Pixel 14 of one batch to pixel 15 of another."""
    return Joint(leaving=FIRST.leaving(pixel=14), arriving=SECOND.arriving(pixel=15), **changes)


def test_two_batches_joined_by_function_are_right() -> None:
    """Different colours, like functions: the normal case."""
    joint = join_by_function(mixed())
    assert check_joint(joint) == ()
    assert joint.connections is not None
    assert len(joint.connections) == 3


def test_what_to_join_is_told_by_function_and_colour() -> None:
    assert joining_lines(mixed()) == (
        "join ground of pixel 14 (its white) to ground of pixel 15 (its blue)",
        "join 5 V of pixel 14 (its red) to 5 V of pixel 15 (its brown)",
        "join data out of pixel 14 (its green) to data in of pixel 15 (its yellow)",
    )
    head = Joint(leaving=BOARD.leaving(pixel=None), arriving=FIRST.arriving(pixel=0))
    assert joining_lines(head)[2] == "join data out of the board (its yellow) to data in of pixel 0 (its green)"
    bare = Joint(leaving=JointSide(pixel=0), arriving=BatchColours(name="x").arriving(pixel=1))
    assert joining_lines(bare)[1] == (
        "join 5 V of pixel 0 (not on the sheet) to 5 V of pixel 1 (its wire of unnoted colour)"
    )


def test_matching_colours_on_unlike_functions_are_refused() -> None:
    """White is ground on one side and data on the other: joined by colour it must be caught."""
    other = BatchColours(name="bag 3", five_volt="white", ground="red", data_in="green")
    joint = Joint(
        leaving=FIRST.leaving(pixel=3),
        arriving=other.arriving(pixel=4),
        connections=(
            Connection(leaving=0, arriving=1),
            Connection(leaving=1, arriving=0),
            Connection(leaving=2, arriving=2),
        ),
    )
    problems = check_joint(joint)
    assert [p.code for p in problems] == ["unlike", "unlike"]
    assert all(p.severity is Severity.REFUSE for p in problems)
    assert "5 V of pixel 3 (its red) is joined to ground of pixel 4 (its red)" in problems[0].text
    assert "The colours match, the functions do not" in problems[0].text
    assert "do not power it" in problems[0].text


@given(
    pairs=st.permutations([0, 1, 2]),
    colours=st.lists(st.sampled_from(["red", "blue", "white"]), min_size=6, max_size=6),
)
def test_only_like_functions_pass_whatever_the_colours(pairs: list[int], colours: list[str]) -> None:
    left = tuple(WireEnd(function=f, colour=c) for f, c in zip((V, G, OUT), colours[:3], strict=True))
    right = tuple(WireEnd(function=f, colour=c) for f, c in zip((V, G, IN), colours[3:], strict=True))
    joint = Joint(
        leaving=JointSide(pixel=0, wires=left),
        arriving=JointSide(pixel=1, wires=right),
        connections=tuple(Connection(leaving=k, arriving=p) for k, p in enumerate(pairs)),
    )
    refused = [p for p in check_joint(joint) if p.severity is Severity.REFUSE]
    wrong = sum(1 for k, p in enumerate(pairs) if MATES[left[k].function] is not right[p].function)
    assert len(refused) == wrong
    assert check_joint(join_by_function(joint)) == tuple(p for p in check_joint(joint) if p.code == "same-colour")


def test_a_turned_pixel_shows() -> None:
    joint = Joint(leaving=FIRST.leaving(pixel=0), arriving=FIRST.leaving(pixel=1))
    problems = check_joint(joint)
    assert {"turned", "missing"} <= codes(problems)
    assert any("look at the arrow" in p.text for p in problems)
    through = join_by_function(mixed()).model_copy(update={"arriving": FIRST.leaving(pixel=15)})
    assert "unlike" in codes(check_joint(through))


def test_what_the_sheet_does_not_say_is_asked() -> None:
    unnoted = Joint(leaving=FIRST.leaving(pixel=0), arriving=BatchColours(name="x", ground="black").arriving(pixel=1))
    assert codes(check_joint(unnoted)) == {"no-colour"}
    assert all(p.severity is Severity.ASK for p in check_joint(unnoted))
    same = Joint(
        leaving=FIRST.leaving(pixel=0),
        arriving=BatchColours(name="x", five_volt="Black ", ground="black", data_in="red").arriving(pixel=1),
    )
    assert codes(check_joint(same)) == {"same-colour"}
    assert codes(check_joint(Joint(leaving=JointSide(pixel=0), arriving=FIRST.arriving(pixel=1)))) == {"missing"}


def test_open_and_doubled_wires() -> None:
    joint = join_by_function(mixed())
    assert joint.connections is not None
    assert codes(check_joint(joint.model_copy(update={"connections": joint.connections[:2]}))) == {"open"}
    twice = (*joint.connections[:2], Connection(leaving=1, arriving=2))
    assert codes(check_joint(joint.model_copy(update={"connections": twice}))) == {"unlike", "several", "open"}
    two_grounds = JointSide(pixel=15, wires=(*SECOND.arriving(pixel=15).wires, WireEnd(function=G, colour="grey")))
    assert "twice" in codes(check_joint(joint.model_copy(update={"arriving": two_grounds})))
    with pytest.raises(ValidationError, match="joint 14 to 15"):
        mixed(connections=(Connection(leaving=7, arriving=0),))


def test_names_cannot_break_a_line() -> None:
    joint = Joint(
        leaving=JointSide(pixel=0, wires=(WireEnd(function=G, colour="bl\nack\x1b[2J"),)), arriving=JointSide(pixel=1)
    )
    assert joining_lines(joint)[0] == "join ground of pixel 0 (its bl ack [2J) to ground of pixel 1 (not on the sheet)"


def harness(count: int = 5, length_m: float | None = 0.1) -> tuple[Joint, ...]:
    batches = tuple(FIRST if k % 2 else SECOND for k in range(count))
    return lay_chain(batches, board=BOARD, length_m=length_m)


def test_laid_chain_is_in_order() -> None:
    joints = harness()
    assert [j.name for j in joints] == ["joint board to 0", *(f"joint {k} to {k + 1}" for k in range(4))]
    assert codes(check_harness(joints)) == set()
    assert codes(check_harness(tuple(join_by_function(j) for j in joints))) == set()
    assert "order" in codes(check_harness((joints[0], joints[2], joints[1])))


def test_a_splice_splits_a_stretch() -> None:
    joints = tuple(j.model_copy(update={"checked": True, "fixing": Fixing.STAPLE}) for j in harness())
    new = splice_in(joints, at=2, batch=SECOND, made_on=TODAY, before_m=0.03)
    assert len(new) == 6
    assert codes(check_harness(new)) == set()
    assert (new[2].leaving, new[2].arriving) == (joints[2].leaving, SECOND.arriving(pixel=2))
    assert new[3].leaving == SECOND.leaving(pixel=2)
    assert new[3].arriving.wires == joints[2].arriving.wires
    assert [new[2].length_m, new[3].length_m] == pytest.approx([0.03, 0.07])
    assert (new[2].made_on, new[2].checked, new[2].fixing) == (TODAY, False, Fixing.STAPLE)
    assert new[:2] == joints[:2]
    assert all(j.checked for j in new[4:])
    half = splice_in(joints, at=0, batch=FIRST)
    assert (half[0].leaving, half[0].length_m, half[1].length_m) == (BOARD.leaving(pixel=None), 0.05, 0.05)
    unknown = splice_in(harness(length_m=None), at=1, batch=FIRST)
    assert (unknown[1].length_m, unknown[2].length_m) == (None, None)


def test_a_splice_at_the_end_adds_a_joint() -> None:
    new = splice_in(harness(), at=5, batch=FIRST, before_m=0.2)
    assert len(new) == 6
    assert (new[5].leaving.pixel, new[5].arriving.pixel, new[5].length_m) == (4, 5, 0.2)
    assert {p.code for p in check_harness(new)} == {"no-colour"}  # nobody noted the last pixel's loose ends
    assert len(splice_in((), at=0, batch=FIRST)) == 1


def test_a_removal_merges_two_stretches() -> None:
    joints = harness()
    new = take_out(joints, at=2, made_on=TODAY)
    assert len(new) == 4
    assert codes(check_harness(new)) == set()
    assert new[2].leaving == joints[2].leaving
    assert new[2].arriving.wires == joints[3].arriving.wires
    assert new[2].length_m == pytest.approx(0.2)
    assert (new[2].made_on, new[2].connections, new[2].checked) == (TODAY, None, False)
    assert take_out(joints, at=2, length_m=0.12)[2].length_m == 0.12
    assert take_out(joints, at=4) == joints[:4]
    assert take_out(joints[:1], at=0) == ()


@given(count=st.integers(1, 12), data=st.data())
def test_splice_and_removal_undo_each_other(count: int, data: st.DataObject) -> None:
    joints = harness(count)
    at = data.draw(st.integers(0, count))
    back = take_out(splice_in(joints, at=at, batch=FIRST), at=at)
    assert [(j.leaving, j.arriving) for j in back] == [(j.leaving, j.arriving) for j in joints]
    assert [j.length_m for j in back] == pytest.approx([j.length_m for j in joints])


@given(count=st.integers(1, 12), edits=st.lists(st.tuples(st.booleans(), st.floats(0, 0.999)), max_size=12))
def test_sheet_stays_in_order_through_any_changes(count: int, edits: list[tuple[bool, float]]) -> None:
    joints = harness(count)
    for insert, share in edits:
        if insert:
            joints = splice_in(joints, at=int(share * (len(joints) + 1)), batch=SECOND)
        elif joints:
            joints = take_out(joints, at=int(share * len(joints)))
    assert "order" not in codes(check_harness(joints))
    assert not any(p.severity is Severity.REFUSE for p in check_harness(joints))


def test_a_turned_stretch() -> None:
    joints = tuple(j.model_copy(update={"length_m": k / 10}) for k, j in enumerate(harness(6)))
    new = turn_round(joints, first=1, last=3, made_on=TODAY)
    assert len(new) == 6
    assert not any(p.severity is Severity.REFUSE for p in check_harness(new))
    assert [j.length_m for j in new] == [0.0, None, 0.3, 0.2, None, 0.5]
    # Between new pixels 1 and 2 lies the old stretch 2 to 3, its wires where they were, its data turned.
    assert new[2].leaving.wire(OUT) == WireEnd(function=OUT, colour=joints[3].arriving.wires[2].colour)
    assert new[2].leaving.wire(V) == joints[3].arriving.wire(V)
    assert (new[0], new[5]) == (joints[0], joints[5])
    assert new[1].leaving == joints[1].leaving
    assert new[4].arriving == joints[4].arriving
    again = turn_round(new, first=1, last=3)
    assert [(j.leaving, j.arriving) for j in again] == [(j.leaving, j.arriving) for j in joints]
    assert turn_round(joints, first=2, last=2) == joints


def test_a_turned_end_of_chain() -> None:
    new = turn_round(harness(4), first=2, last=3)
    assert len(new) == 4
    assert not any(p.severity is Severity.REFUSE for p in check_harness(new))
    assert new[2].arriving.wire(IN) == WireEnd(function=IN, colour=None)


def test_wrong_numbers_are_refused() -> None:
    joints = harness()
    attempts: tuple[Callable[[], object], ...] = (
        lambda: splice_in(joints, at=6, batch=FIRST),
        lambda: take_out(joints, at=5),
        lambda: take_out(joints, at=-1),
        lambda: turn_round(joints, first=3, last=1),
        lambda: turn_round(joints, first=0, last=5),
    )
    for wrong in attempts:
        with pytest.raises(PowerError, match=r"Correct the number|Exchange"):
            wrong()


def test_joints_survive_json() -> None:
    joint = join_by_function(mixed(length_m=0.12, fixing=Fixing.CLIP, made_on=TODAY, note="by the shooter lane"))
    assert Joint.model_validate_json(joint.model_dump_json()) == joint
