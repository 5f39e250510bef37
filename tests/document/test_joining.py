"""Places find their rows of the lamp list by name, and never a wrong number or side."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.joining import (
    LEAST_LIKENESS,
    SURE_LIKENESS,
    alike,
    has_job,
    join,
    join_all,
    open_rows,
    places_of_lamp,
    propose,
    unjoin,
)
from probe.document.lamp_table import lamp_table
from probe.document.model import Lamp, PlayfieldMap
from probe.document.operations import add_place, new_map, set_lamps, update_place
from tests.document.strategies import maps


def with_places(*labels: str, lamps: list[Lamp]) -> PlayfieldMap:
    map_ = new_map("Kelp Forest")
    for label in labels:
        map_, _ = add_place(map_, label)
    return set_lamps(map_, lamps)


@pytest.mark.parametrize(
    ("label", "name"),
    [
        ("Reef lane 1", "REEF LANE 1"),
        ("reef lane 01", "Reef lane 1"),
        ("L outlane pearl", "Left outlane pearl"),
        ("Kelp tgt 3", "Kelp target 3"),
        ("Otter bonus 2x", "Otter Bonus 2X"),
        ("Jackpot urchin", "Urchin jackpot"),
        ("Extra dve", "Extra dive"),
        ("Whirl pool", "Whirlpool"),
    ],
)
def test_one_name_written_in_two_ways(label: str, name: str) -> None:
    (match,) = propose(with_places(label, lamps=[Lamp(number=1, name=name), Lamp(number=2, name="Game over")]))
    assert match.lamp.number == 1
    assert match.sure


@pytest.mark.parametrize(
    ("label", "name"),
    [
        ("Reef lane 1", "Reef lane 2"),
        ("Left outlane", "Right outlane"),
        ("Upper glow", "Lower glow"),
        ("Rollover A", "Rollover B"),
        ("Otter bonus 10", "Otter bonus 1"),
        ("Tilt", "Match"),
    ],
)
def test_numbers_and_sides_never_contradict(label: str, name: str) -> None:
    assert propose(with_places(label, lamps=[Lamp(number=1, name=name)])) == ()


def test_two_that_are_as_near_are_not_sure() -> None:
    map_ = with_places("Wreck lock", lamps=[Lamp(number=1, name="Wreck locks"), Lamp(number=2, name="Wreck lock!")])
    map_ = set_lamps(map_, [Lamp(number=1, name="Wreck look"), Lamp(number=2, name="Wreck loch")])
    (match,) = propose(map_)
    assert not match.sure


def test_areas_decide_between_equal_names() -> None:
    map_ = new_map("Kelp Forest")
    map_, _ = add_place(map_, "Arrow", area="Trench")
    map_, _ = add_place(map_, "Arrow", area="Wreck")
    map_ = set_lamps(map_, [Lamp(number=1, name="Arrow", area="Wreck"), Lamp(number=2, name="Arrow", area="Trench")])
    assert [(match.place, match.lamp.number) for match in propose(map_)] == [("arrow", 2), ("arrow-2", 1)]


def test_the_demo_joins_itself_again_without_a_question() -> None:
    whole = load_map(demo_map_path("kelp_forest.json"))
    map_ = whole
    for place in map_.places:
        map_ = update_place(map_, place.model_copy(update={"lamps": (), "group": ""}))
    assert len(open_rows(map_)) == 95
    matches = propose(map_)
    assert len(matches) == 95
    assert all(match.sure for match in matches)
    assert lamp_table(join_all(map_, matches)).lamps == lamp_table(whole).lamps
    assert not open_rows(join_all(map_, matches))


def test_a_lamp_has_several_places_and_a_place_several_lamps() -> None:
    both = [Lamp(number=41, name="Left sign", driver="Q20"), Lamp(number=42, name="Right sign", driver="Q20")]
    map_ = with_places("Left sign", "Sign post", lamps=both)
    map_ = join(join(map_, "left-sign", both[0]), "sign-post", both[0])
    map_ = join(map_, "sign-post", both[1])
    assert [place.id for place in places_of_lamp(map_, both[0])] == ["left-sign", "sign-post"]
    assert map_.place_by_id["sign-post"].lamps == (41, 42)
    assert join(map_, "sign-post", both[1]) is map_
    map_ = unjoin(map_, "sign-post", both[0])
    assert map_.place_by_id["sign-post"].lamps == (42,)


def test_what_is_always_on_joins_by_its_group() -> None:
    row = Lamp(name="Apron glow", group="second string", area="Apron")
    map_ = with_places("apron glw", lamps=[row])
    map_ = join(map_, "apron-glw", row)
    place = map_.places[0]
    assert (place.label, place.group, place.area, place.lamps) == ("Apron glow", "second string", "Apron", ())
    assert has_job(place)
    assert not open_rows(map_)
    assert open_rows(unjoin(map_, place.id, row)) == (row,)


@pytest.mark.slow
@given(maps())
def test_no_map_breaks_it_and_each_row_and_place_is_used_once(map_: PlayfieldMap) -> None:
    matches = propose(map_)
    assert len({match.place for match in matches}) == len(matches)
    assert len({id(match.lamp) for match in matches}) == len(matches)
    assert all(not has_job(map_.place_by_id[match.place]) for match in matches)
    after = join_all(map_, matches)
    assert all(has_job(after.place_by_id[match.place]) for match in matches)


@given(st.text(max_size=30), st.text(max_size=30))
def test_likeness_is_between_0_and_100_and_the_same_both_ways(one: str, two: str) -> None:
    assert 0 <= alike(one, "", two) <= 100
    assert alike(one, "", two) == alike(two, "", one)
    assert alike(one, "", one) == 100


@pytest.mark.parametrize(
    ("label", "name", "sure"),
    [
        ("Whirlpool", "Whirlpools", True),
        ("Kelp target", "Kelp tarrget", True),
        ("Whirlpool", "Whirling pool", False),
        ("Otter bonus", "Otter boost", False),
        ("Anchor chain", "Anchor claim", False),
        ("Kelp forest", "Kelp floor", False),
    ],
)
def test_sure_begins_at_90_of_100(label: str, name: str, sure: bool) -> None:
    """What is only rather alike, with no rival, is proposed and has to be confirmed."""
    likeness = alike(label, "", name)
    assert likeness >= SURE_LIKENESS if sure else LEAST_LIKENESS <= likeness < SURE_LIKENESS, likeness
    map_, _ = add_place(new_map("Kelp Forest"), label)
    map_ = set_lamps(map_, [Lamp(number=1, name=name)])
    (match,) = propose(map_)
    assert match.sure is sure
    assert match.likeness == likeness


def test_the_likeness_from_which_a_join_needs_no_confirmation() -> None:
    assert (LEAST_LIKENESS, SURE_LIKENESS) == (72.0, 90.0)
