"""A lamp list merged into a map: nothing is lost unasked, and every change is told."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.joining import apply_merge, merge_lamps, row_title
from probe.document.model import Kind, Lamp
from probe.document.operations import add_place, new_map, set_lamps
from tests.document.strategies import lamps

OLD = (
    Lamp(number=1, name="Reef lane 1", area="Reef", insert_colour="white", kind=Kind.INSERT),
    Lamp(number=2, name="Reef lane 2", area="Reef"),
    Lamp(name="Reef glow 1", area="Reef", group="string 1"),
)


def test_the_same_list_changes_nothing() -> None:
    merge = merge_lamps(OLD, OLD)
    assert merge.lamps == OLD
    assert merge.lines == ()


def test_new_changed_and_kept_rows_are_told() -> None:
    new = [Lamp(number=2, name="Reef lane two", driver="Q2"), Lamp(number=9, name="Tilt")]
    merge = merge_lamps(OLD, new)
    assert merge.lines == (
        "~ lamp 2 “Reef lane 2”: name: “Reef lane 2” → “Reef lane two”; driver: nothing → “Q2”",
        "+ lamp 9 “Tilt”",
    )
    assert [row_title(lamp) for lamp in merge.lamps] == [
        "lamp 2 “Reef lane two”", "lamp 9 “Tilt”", "lamp 1 “Reef lane 1”", "“Reef glow 1” in “string 1”",
    ]  # fmt: skip
    assert merge.lamps[0].area == "Reef", "an empty cell keeps what was known"
    assert merge.kept == 2


def test_replacing_drops_what_the_file_does_not_have() -> None:
    merge = merge_lamps(OLD, OLD[:1], replace=True)
    assert merge.lamps == OLD[:1]
    assert merge.lines == ("- lamp 2 “Reef lane 2”", "- “Reef glow 1” in “string 1”")


def test_places_follow_a_group_that_was_renamed() -> None:
    map_ = set_lamps(new_map("Kelp Forest"), OLD)
    map_, place = add_place(map_, "Reef glow 1", area="Reef", group="string 1")
    merge = merge_lamps(OLD, [Lamp(name="Reef glow 1", area="Reef", group="string 4")])
    assert apply_merge(map_, merge).place_by_id[place.id].group == "string 4"


@pytest.mark.slow
@given(st.lists(lamps, max_size=6), st.lists(lamps, max_size=6))
def test_every_row_of_the_file_is_there_and_no_old_one_is_lost(old: list[Lamp], new: list[Lamp]) -> None:
    merge = merge_lamps(old, new)
    assert [lamp.number for lamp in merge.lamps[: len(new)]] == [lamp.number for lamp in new]
    assert len(merge.lamps) == len(new) + merge.kept
    assert merge.kept <= len(old) <= merge.kept + len(new)
    again = merge_lamps(merge.lamps, merge.lamps)
    assert again.lamps == merge.lamps
    assert again.lines == ()
