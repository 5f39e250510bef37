"""Two maps compared, and the way back."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.diff import NOT_COMPARED, ConflictError, diff, expanded, revert
from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, Pixel, PlayfieldMap
from probe.document.model.change import What
from probe.document.model.harness import Power
from probe.document.model.light import Fade
from probe.document.model.record import Record
from probe.document.operations import add_chain, add_place, assign_place, new_map
from tests.document.strategies import maps
from tests.support.examples import examples


def same_content(one: PlayfieldMap, other: PlayfieldMap) -> bool:
    """Whether two maps say the same in what a diff compares."""
    return one.model_copy(update={name: getattr(other, name) for name in NOT_COMPARED}) == other


@pytest.mark.slow
@settings(max_examples=examples(60))
@given(maps(), maps())
def test_revert_is_the_way_back_between_any_two_maps(before: PlayfieldMap, after: PlayfieldMap) -> None:
    changes = diff(before, after)
    assert same_content(revert(after, changes), before)
    assert (changes == ()) == same_content(before, after)


@pytest.mark.slow
@settings(max_examples=examples(60))
@given(maps(), st.data())
def test_revert_restores_every_order(map_: PlayfieldMap, data: st.DataObject) -> None:
    update: dict[str, object] = {}
    for field in ("places", "lamps", "supplies", "feeds", "batches", "groups"):
        update[field] = tuple(data.draw(st.permutations(getattr(map_, field))))
    chains = [c.model_copy(update={"pixels": tuple(data.draw(st.permutations(c.pixels)))}) for c in map_.chains]
    update["chains"] = tuple(data.draw(st.permutations(chains)))
    after = map_.model_copy(update=update)
    assert same_content(revert(after, diff(map_, after)), map_)


@given(st.lists(st.integers(0, 30), unique=True, min_size=1), st.data())
def test_orders_are_said_in_runs(numbers: list[int], data: st.DataObject) -> None:
    old = [f"p{n}" for n in range(31)]
    new = [f"p{n}" for n in numbers]
    for index in sorted(data.draw(st.sets(st.integers(0, len(new)))), reverse=True):
        new.insert(index, f"new{index}")
    before, after = (
        add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, pixels=tuple(Pixel(id=i) for i in ids)))
        for ids in (old, new)
    )
    changes = diff(before, after)
    order = next((c.order for c in changes if c.what is What.ORDER), "0-30")
    slots = expanded(order)
    assert [None if slot is None else old[slot] for slot in slots] == [i if i in old else None for i in new]
    assert same_content(revert(after, changes), before)


def test_what_was_changed_by_hand_is_not_overwritten() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, pixels=(Pixel(id="p"),)))
    map_, place = add_place(map_, "Reef lane 1")
    after = assign_place(map_, "a", 0, place.id)
    changes = diff(map_, after)
    m2, other = add_place(after, "Reef lane 2")
    by_hand = assign_place(m2, "a", 0, other.id)
    with pytest.raises(ConflictError, match="pixel p of chain a"):
        revert(by_hand, changes)
    assert revert(by_hand, changes, strict=False).chain("a").pixels[0].place is None


@pytest.mark.parametrize(
    ("field", "one", "other"),
    [("power", Power(copper_c=50.0), Power(copper_c=60.0)), ("fade", Fade(rise_ms=10), Fade(rise_ms=20))],
)
def test_what_there_is_one_of_is_not_overwritten_either(field: str, one: Record, other: Record) -> None:
    map_ = new_map("Kelp Forest")
    after = map_.model_copy(update={field: one})
    changes = diff(map_, after)
    assert revert(after, changes) == map_
    with pytest.raises(ConflictError):
        revert(after.model_copy(update={field: other}), changes)


def test_every_field_of_a_map_is_compared_or_said_not_to_be() -> None:
    full = {"machine", "chains", "places", "shapes", "lamps", "power", "fade", "supplies", "feeds", "batches", "groups"}
    full |= {"keep_outs", "plan_rules"}
    full |= {"worklist", "photos"}
    assert full | NOT_COMPARED == set(PlayfieldMap.model_fields), (
        "a new field has to be undone too, or be named as a log"
    )


def test_what_a_record_keeps_of_itself_is_no_change() -> None:
    map_ = load_map(demo_map_path())
    chains = tuple(chain.model_copy() for chain in map_.chains)
    assert chains[0].answered == map_.chains[0].length
    assert diff(map_, map_.model_copy(update={"chains": chains})) == ()
    assert diff(map_.model_copy(update={"chains": chains}), map_) == ()
