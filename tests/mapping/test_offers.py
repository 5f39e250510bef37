"""Labels that are offered: patterns, abbreviations, the lamp list."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model import Chain, Kind, Lamp, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, set_lamps
from probe.mapping.offers import Surroundings, abbreviates, next_in_pattern, offers, other_side


def chain_of(*labels: str, count: int = 20) -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0, count=count))
    map_ = set_count(map_, "a", count)
    for number, label in enumerate(labels):
        map_, place = add_place(map_, label, area="Reef")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


@pytest.mark.parametrize(
    ("last", "before", "following"),
    [
        ("Reef lane 2", None, "Reef lane 3"),
        ("Reef lane 2", "Reef lane 1", "Reef lane 3"),
        ("Reef lane 3", "Reef lane 4", "Reef lane 2"),
        ("Reef lane 1", "Reef lane 2", None),
        ("GI 09", None, "GI 10"),
        ("Otter bonus 2X", None, "Otter bonus 3X"),
        ("Rollover A", None, "Rollover B"),
        ("Rollover Z", None, None),
        ("Shoot again", None, None),
        ("Reef lane 0", "Reef lane 1", None),
    ],
)
def test_pattern(last: str, before: str | None, following: str | None) -> None:
    assert next_in_pattern(last, before) == following


def test_other_side_keeps_the_case() -> None:
    assert other_side("Left outlane") == "Right outlane"
    assert other_side("Kelp ramp RIGHT") == "Kelp ramp LEFT"
    assert other_side("Leftover kelp") is None


@pytest.mark.parametrize("typed", ["r", "reef", "reef l", "re l 3", "rl3", "RL3", "reeflane3"])
def test_abbreviations(typed: str) -> None:
    assert abbreviates(typed, "Reef lane 3")


@pytest.mark.parametrize("typed", ["", "x", "lane reef", "rl4", "reef lane 33"])
def test_not_abbreviations(typed: str) -> None:
    assert not abbreviates(typed, "Reef lane 3")


@given(st.text(max_size=60), st.text(max_size=60))
def test_abbreviating_never_fails_and_a_label_shortens_itself(typed: str, label: str) -> None:
    abbreviates(typed, label)
    assert abbreviates(label, label) or not label.split()


def test_after_reef_lane_2_comes_reef_lane_3() -> None:
    found = offers(Surroundings(chain_of("Reef lane 1", "Reef lane 2"), "a", 2), "")
    assert found[0].label == "Reef lane 3"
    assert found[0].place is None


def test_a_place_with_two_pixels_makes_a_habit() -> None:
    map_ = chain_of()
    for number, label in enumerate(["Bumper 1", "Bumper 1", "Bumper 2"]):
        known = next((p for p in map_.places if p.label == label), None)
        if known is None:
            map_, known = add_place(map_, label, kind=Kind.BUMPER)
        map_ = assign_place(map_, "a", number, known.id)
    first = offers(Surroundings(map_, "a", 3), "")[0]
    assert (first.label, first.place) == ("Bumper 2", "bumper-2")


def test_the_lamp_list_decides_what_comes_next() -> None:
    lamps = [Lamp(number=n, name=name) for n, name in [(7, "Reef lane 1"), (8, "Reef lane 2"), (9, "Otter bonus")]]
    map_ = set_lamps(chain_of("Reef lane 1", "Reef lane 2"), lamps)
    found = offers(Surroundings(map_, "a", 2), "")
    assert found[0].label == "Otter bonus"
    assert found[0].lamps == (9,)
    assert all(o.label != "Reef lane 3" for o in found), "a lamp list without it: the pattern must not invent it"


def test_what_is_typed_can_always_be_taken_as_it_is() -> None:
    map_ = set_lamps(chain_of("Reef lane 1"), [Lamp(number=1, name="Kelp target 1")])
    around = Surroundings(map_, "a", 1)
    assert offers(around, "kelp")[0].label == "Kelp target 1"
    assert "kelp" in [o.label for o in offers(around, "kelp")]
    assert offers(around, "Kelp forest")[0].label == "Kelp forest"
    assert offers(around, "Kelpt target 1")[0].label == "Kelpt target 1"
    assert "Kelp target 1" in [o.label for o in offers(around, "Kelpt target 1")], "a slip of the finger is caught"


def test_a_label_that_exists_means_that_place() -> None:
    map_ = chain_of("Reef lane 1", "Otter bonus")
    found = offers(Surroundings(map_, "a", 2), "reef LANE 1")
    assert found[0].place == "reef-lane-1"


@given(st.text(min_size=1, max_size=500).filter(str.strip))
def test_any_text_is_offered_or_is_an_existing_place(text: str) -> None:
    map_ = chain_of("[/x]", "=1+1", "Reef lane 1")
    found = offers(Surroundings(map_, "a", 3), text)
    assert found
    assert len(found) <= 8


def test_a_part_of_the_last_label_is_enough() -> None:
    around = Surroundings(chain_of("Otter bonus 7"), "a", 1)
    assert offers(around, "10")[0].label == "Otter bonus 10"
    assert "Otter spinner" in [o.label for o in offers(around, "spinner")]
    around = Surroundings(chain_of("Anemone bumper"), "a", 1)
    assert "Starfish bumper" in [o.label for o in offers(around, "Starfish")]


def test_the_other_side_is_offered_when_its_turn_comes() -> None:
    map_ = chain_of("Right outlane", "Right return lane", "Shoot again")
    assert [o.label for o in offers(Surroundings(map_, "a", 3), "")] == ["Left return lane", "Left outlane"]
