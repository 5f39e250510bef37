"""Splitting what looks alike at one joint, against the model wiring, and the sheet for its repair."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.faults.joint import EXPECTED, Function, JointTest, JointWire, Suspected, joint_sheet, next_test, remaining
from probe.faults.meter import judge, parse_readings
from probe.faults.tables import load
from probe.practice.person import SimulatedPerson
from probe.practice.plant import plant

K = load()


def result(person: SimulatedPerson, test: JointTest) -> str:
    """What the model wiring answers to a test at its joint."""
    observation = K.observation(test)
    reply = person.answer(observation)
    if not reply.typed:
        assert reply.answer is not None
        return reply.answer
    ranges = K.ranges[observation.meter]
    answer = judge(parse_readings(reply.typed, ranges), ranges).answer
    assert answer is not None
    return answer


@pytest.mark.parametrize("suspect", list(Suspected))
@pytest.mark.parametrize("seed", range(8))
def test_the_four_are_split_in_the_model_wiring(suspect: Suspected, seed: int) -> None:
    planted = plant([suspect], seed=seed)
    person = SimulatedPerson(planted, seed=seed)
    person.answer(K.observation("look"))
    assert person.k == planted.places[0]
    results: dict[JointTest, str] = {}
    while (test := next_test(results)) is not None:
        results[test] = result(person, test)
    assert remaining(results) == (suspect,)
    assert len(results) <= 4


@pytest.mark.parametrize("suspect", list(Suspected))
def test_the_table_agrees_with_the_model_wiring(suspect: Suspected) -> None:
    """The expectations were written down by reasoning; the wiring derives them from volts and bytes."""
    for seed in range(6):
        person = SimulatedPerson(plant([suspect], seed=seed), seed=seed)
        person.answer(K.observation("look"))
        for test in JointTest:
            assert result(person, test) in EXPECTED[test][suspect], test


def test_every_pair_is_separated_by_some_test() -> None:
    for one, two in itertools.combinations(Suspected, 2):
        assert any(not EXPECTED[test][one] & EXPECTED[test][two] for test in JointTest)


def test_the_cheapest_comes_first_and_skipped_tests_are_left_out() -> None:
    assert next_test({}) is JointTest.ARROW
    assert next_test({}, skipped=[JointTest.ARROW]) is not JointTest.ARROW
    assert next_test({JointTest.ARROW: "no"}) is None


def test_contradicting_results_leave_no_suspect() -> None:
    assert remaining({JointTest.ARROW: "no", JointTest.JUMPER_NEXT: "yes"}) == ()


@given(st.sampled_from(list(Suspected)), st.sets(st.sampled_from(list(JointTest))), st.data())
def test_the_planted_one_is_never_struck_out(suspect: Suspected, skipped: set[JointTest], data: st.DataObject) -> None:
    results: dict[JointTest, str] = {}
    while (test := next_test(results, skipped=sorted(skipped))) is not None:
        results[test] = data.draw(st.sampled_from(sorted(EXPECTED[test][suspect])))
        assert suspect in remaining(results)
    assert len(results) <= len(JointTest)


def test_the_sheet_names_function_before_colour_on_both_sides() -> None:
    lines = joint_sheet(14, [JointWire(Function.DATA, "green", "white"), JointWire(Function.FIVE, "red", "red")])
    text = "\n".join(lines)
    assert "the wire leaving 14 (15th) (pad DOUT, green) to the wire arriving at 15 (16th) (pad DIN, white)" in text
    assert "the colours differ: green to white is right for data" in text
    assert "5 V: the wire leaving 14 (15th) (pad 5 V, red)" in text
    assert "colour not noted" in text
    assert "Power off and unplugged" in lines[0]


def test_the_sheet_begins_at_the_board_and_refuses_two_wires_for_one_function() -> None:
    assert "the board" in joint_sheet(-1)[0]
    with pytest.raises(ValueError, match="two wires for data"):
        joint_sheet(3, [JointWire(Function.DATA), JointWire(Function.DATA)])
