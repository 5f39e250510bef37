"""Joints by function, and the sheet that follows insertions, removals and turned stretches."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from probe.document.model.harness import Batch, Fixing, WireFunction
from probe.harness.joints import (
    MATES,
    Connection,
    JointProblem,
    JointSeverity,
    JointSide,
    JointView,
    WireEnd,
    check_joint,
    joining_lines,
    joint_side,
)

V, G, IN, OUT = WireFunction.FIVE_VOLT, WireFunction.GROUND, WireFunction.DATA_IN, WireFunction.DATA_OUT
BOARD = Batch(id="lead", name="lead", five_volt="red", ground="black", data_out="yellow")
FIRST = Batch(id="bag-1", name="bag 1", five_volt="red", ground="white", data_in="green", data_out="green")
SECOND = Batch(id="bag-2", name="bag 2", five_volt="brown", ground="blue", data_in="yellow", data_out="white")
TODAY = "2024-05-04"


def arriving_side(batch: Batch, *, pixel: int) -> JointSide:
    return joint_side(batch, pixel=pixel, data=WireFunction.DATA_IN)


def leaving_side(batch: Batch, *, pixel: int | None) -> JointSide:
    return joint_side(batch, pixel=pixel, data=WireFunction.DATA_OUT)


def join_by_function(joint: JointView) -> JointView:
    """The joint with each function connected to its mate, where both are on the sheet once."""
    links = []
    for index, wire in enumerate(joint.leaving.wires):
        mate = MATES.get(wire.function)
        places = [k for k, other in enumerate(joint.arriving.wires) if other.function is mate]
        alone = sum(1 for other in joint.leaving.wires if other.function is wire.function) == 1
        if len(places) == 1 and alone:
            links.append(Connection(leaving=index, arriving=places[0]))
    return joint.model_copy(update={"connections": tuple(links)})


def codes(problems: tuple[JointProblem, ...]) -> set[str]:
    return {problem.code for problem in problems}


def mixed(**changes: Any) -> JointView:
    """Pixel 14 of one batch to pixel 15 of another."""
    return JointView(leaving=leaving_side(FIRST, pixel=14), arriving=arriving_side(SECOND, pixel=15), **changes)


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
    head = JointView(leaving=leaving_side(BOARD, pixel=None), arriving=arriving_side(FIRST, pixel=0))
    assert joining_lines(head)[2] == "join data out of the board (its yellow) to data in of pixel 0 (its green)"
    bare = JointView(leaving=JointSide(pixel=0), arriving=arriving_side(Batch(id="x", name="x"), pixel=1))
    assert joining_lines(bare)[1] == ("join 5 V of pixel 0 (not on the sheet) to 5 V of pixel 1 (colour not noted)")


def test_matching_colours_on_unlike_functions_are_refused() -> None:
    """White is ground on one side and data on the other: joined by colour it must be caught."""
    other = Batch(id="bag-3", name="bag 3", five_volt="white", ground="red", data_in="green")
    joint = JointView(
        leaving=leaving_side(FIRST, pixel=3),
        arriving=arriving_side(other, pixel=4),
        connections=(
            Connection(leaving=0, arriving=1),
            Connection(leaving=1, arriving=0),
            Connection(leaving=2, arriving=2),
        ),
    )
    problems = check_joint(joint)
    assert [p.code for p in problems] == ["unlike", "unlike"]
    assert all(p.severity is JointSeverity.REFUSE for p in problems)
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
    joint = JointView(
        leaving=JointSide(pixel=0, wires=left),
        arriving=JointSide(pixel=1, wires=right),
        connections=tuple(Connection(leaving=k, arriving=p) for k, p in enumerate(pairs)),
    )
    refused = [p for p in check_joint(joint) if p.severity is JointSeverity.REFUSE]
    wrong = sum(1 for k, p in enumerate(pairs) if MATES[left[k].function] is not right[p].function)
    assert len(refused) == wrong
    assert check_joint(join_by_function(joint)) == tuple(p for p in check_joint(joint) if p.code == "same-colour")


def test_a_turned_pixel_shows() -> None:
    joint = JointView(leaving=leaving_side(FIRST, pixel=0), arriving=leaving_side(FIRST, pixel=1))
    problems = check_joint(joint)
    assert {"turned", "missing"} <= codes(problems)
    assert any("look at the arrow" in p.text for p in problems)
    through = join_by_function(mixed()).model_copy(update={"arriving": leaving_side(FIRST, pixel=15)})
    assert "unlike" in codes(check_joint(through))


def test_what_the_sheet_does_not_say_is_asked() -> None:
    unnoted = JointView(
        leaving=leaving_side(FIRST, pixel=0), arriving=arriving_side(Batch(id="x", name="x", ground="black"), pixel=1)
    )
    assert codes(check_joint(unnoted)) == {"no-colour"}
    assert all(p.severity is JointSeverity.ASK for p in check_joint(unnoted))
    same = JointView(
        leaving=leaving_side(FIRST, pixel=0),
        arriving=arriving_side(Batch(id="x", name="x", five_volt="Black ", ground="black", data_in="red"), pixel=1),
    )
    assert codes(check_joint(same)) == {"same-colour"}
    assert codes(check_joint(JointView(leaving=JointSide(pixel=0), arriving=arriving_side(FIRST, pixel=1)))) == {
        "missing"
    }


def test_open_and_doubled_wires() -> None:
    joint = join_by_function(mixed())
    assert joint.connections is not None
    assert codes(check_joint(joint.model_copy(update={"connections": joint.connections[:2]}))) == {"open"}
    twice = (*joint.connections[:2], Connection(leaving=1, arriving=2))
    assert codes(check_joint(joint.model_copy(update={"connections": twice}))) == {"unlike", "several", "open"}
    two_grounds = JointSide(
        pixel=15, wires=(*arriving_side(SECOND, pixel=15).wires, WireEnd(function=G, colour="grey"))
    )
    assert "twice" in codes(check_joint(joint.model_copy(update={"arriving": two_grounds})))
    with pytest.raises(ValidationError, match="joint 14 to 15"):
        mixed(connections=(Connection(leaving=7, arriving=0),))


def test_names_cannot_break_a_line() -> None:
    joint = JointView(
        leaving=JointSide(pixel=0, wires=(WireEnd(function=G, colour="bl\nack\x1b[2J"),)), arriving=JointSide(pixel=1)
    )
    assert joining_lines(joint)[0] == "join ground of pixel 0 (its bl ack [2J) to ground of pixel 1 (not on the sheet)"


def test_joints_survive_json() -> None:
    joint = join_by_function(mixed(length_m=0.12, fixing=Fixing.CLIP, made_on=TODAY, note="by the shooter lane"))
    assert JointView.model_validate_json(joint.model_dump_json()) == joint
