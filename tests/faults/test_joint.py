"""Splitting what looks alike at one joint, against the model wiring, and the sheet for its repair."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model import Chain, Pixel
from probe.document.model.harness import Joint
from probe.document.operations import add_chain, new_map
from probe.faults.joint import EXPECTED, JointTest, Suspected, joint_sheet, next_test, remaining
from probe.faults.meter import judge, parse_readings
from probe.faults.tables import load
from probe.practice.person import SimulatedPerson
from probe.practice.plant import plant
from tests.support.examples import first_now

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


@pytest.mark.parametrize("suspect", first_now(list(Suspected)))
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


@pytest.mark.parametrize("suspect", first_now(list(Suspected), now=2))
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
    # at DOUT one of three may stay whatever it shows; DIN parts a dead one from the two backwards for sure
    assert next_test({JointTest.JUMPER_K: "no"}, skipped=[JointTest.ARROW]) is JointTest.DIN


def test_contradicting_results_leave_no_suspect() -> None:
    assert remaining({JointTest.ARROW: "no", JointTest.JUMPER_NEXT: "yes"}) == ()


@given(st.sampled_from(list(Suspected)), st.sets(st.sampled_from(list(JointTest))), st.data())
def test_the_planted_one_is_never_struck_out(suspect: Suspected, skipped: set[JointTest], data: st.DataObject) -> None:
    results: dict[JointTest, str] = {}
    while (test := next_test(results, skipped=sorted(skipped))) is not None:
        results[test] = data.draw(st.sampled_from(sorted(EXPECTED[test][suspect])))
        assert suspect in remaining(results)
    assert len(results) <= len(JointTest)


def sheet_of(k: int, joint: Joint) -> tuple[str, ...]:
    """The sheet of one joint in a chain of 20."""
    pixels = tuple(Pixel(id=f"p{n}") for n in range(20))
    chain = Chain(id="a", name="Playfield", output=0, pixels=pixels, joints=(joint,))
    return joint_sheet(add_chain(new_map("Kelp Forest"), chain), "a", k)


def test_the_sheet_names_function_before_colour_on_both_sides() -> None:
    joint = Joint(
        after="p14", before="p15", leaving_5v="red", arriving_5v="red", leaving_data="green", arriving_data="white"
    )
    lines = sheet_of(14, joint)
    text = "\n".join(lines)
    assert "the wire leaving 14 (15th) (pad DOUT, green) to the wire arriving at 15 (16th) (pad DIN, white)" in text
    assert "the colours differ: green to white is right for data" in text
    assert "5 V: the wire leaving 14 (15th) (pad 5 V, red)" in text
    assert "the colours differ: red" not in text
    assert "colour not noted" in text
    assert "Power off and unplugged" in lines[0]
    assert [line.split(":")[0] for line in lines[1:5]] == ["5 V", "GND", "data", "   the colours differ"]


def test_the_sheet_begins_at_the_board_and_goes_on_past_what_the_map_holds() -> None:
    lead = sheet_of(-1, Joint(before="p0", leaving_data="green"))
    assert "the board" in lead[0]
    assert "the wire leaving the board (pad DOUT, green)" in lead[3]
    assert sum("colour not noted" in line for line in sheet_of(19, Joint(before="p0", leaving_data="green"))) == 3
