"""Operations change what they say and nothing else, whatever their order."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from pydantic import ValidationError

from probe.document import operations as op
from probe.document.model import Chain, Lamp, Pixel, PixelState, Place, PlayfieldMap, shown_number, storable
from tests.document.strategies import labels, positions, texts

CHAINS = ("playfield", "backbox")
numbers = st.integers(0, 20)
chain_ids = st.sampled_from(CHAINS)


def pixels_of(map_: PlayfieldMap) -> dict[tuple[str, int], Pixel]:
    return {(chain, number): pixel for chain, number, pixel in map_.walk_pixels()}


class MapOperations(RuleBasedStateMachine):
    """Random operations; a small model of states and places beside the map says what has to come out."""

    @initialize()
    def start(self) -> None:
        self.map = op.new_map("Kelp Forest")
        self.expected: dict[tuple[str, int], tuple[PixelState, str | None, str]] = {}
        self.place_labels: dict[str, str] = {}
        for output, name in enumerate(CHAINS):
            self.map = op.add_chain(self.map, Chain(id=name, name=name, output=output))

    def change(self, map_: PlayfieldMap, *touched: tuple[str, int]) -> None:
        """Take a new map over; all pixels that were there and not named are the very same objects."""
        before, after = pixels_of(self.map), pixels_of(map_)
        for key, pixel in before.items():
            assert key in after
            if key not in touched:
                assert after[key] is pixel
            else:
                assert after[key].id == pixel.id
        for key in after.keys() - before.keys() - set(touched):
            assert after[key] == Pixel(id=after[key].id)
        self.map = map_

    def known(self, key: tuple[str, int]) -> tuple[PixelState, str | None, str]:
        return self.expected.get(key, (PixelState.UNSEEN, None, ""))

    @rule(label=labels, area=texts, position=st.none() | positions)
    def add_place(self, label: str, area: str, position: None) -> None:
        map_, place = op.add_place(self.map, label, area=area, position=position)
        assert place.id not in self.place_labels
        assert map_.chains is self.map.chains
        self.place_labels[place.id] = label
        self.change(map_)

    @precondition(lambda self: self.place_labels)
    @rule(chain=chain_ids, number=numbers, data=st.data())
    def assign(self, chain: str, number: int, data: st.DataObject) -> None:
        place = data.draw(st.sampled_from(sorted(self.place_labels)))
        self.change(op.assign_place(self.map, chain, number, place), (chain, number))
        self.expected[chain, number] = (PixelState.PLACED, place, self.known((chain, number))[2])

    @rule(chain=chain_ids, number=numbers, state=st.sampled_from(PixelState))
    def set_state(self, chain: str, number: int, state: PixelState) -> None:
        _, place, note = self.known((chain, number))
        if state is PixelState.PLACED and place is None:
            with pytest.raises(ValueError, match="has no place yet"):
                op.set_state(self.map, chain, number, state)
            return
        self.change(op.set_state(self.map, chain, number, state), (chain, number))
        self.expected[chain, number] = (state, None if state in op.STATES_WITHOUT_PLACE else place, note)

    @rule(chain=chain_ids, number=numbers, note=texts)
    def set_note(self, chain: str, number: int, note: str) -> None:
        self.change(op.set_note(self.map, chain, number, note), (chain, number))
        state, place, _ = self.known((chain, number))
        self.expected[chain, number] = (state, place, note)

    @rule(chain=chain_ids, count=st.none() | st.integers(1, 25))
    def set_count(self, chain: str, count: int | None) -> None:
        self.change(op.set_count(self.map, chain, count))
        assert self.map.chain(chain).count == count
        assert len(self.map.chain(chain).pixels) >= (count or 0)

    @rule(chain=chain_ids, number=numbers)
    def set_bookmark(self, chain: str, number: int) -> None:
        self.change(op.set_bookmark(self.map, chain, number))

    @precondition(lambda self: self.place_labels)
    @rule(data=st.data())
    def drop_place(self, data: st.DataObject) -> None:
        place = data.draw(st.sampled_from(sorted(self.place_labels)))
        used = any(place == held for _, held, _ in self.expected.values())
        self.change(op.drop_unused_place(self.map, place))
        assert (place in self.map.place_by_id) is used
        if not used:
            del self.place_labels[place]

    @rule(reason=texts)
    def add_revision(self, reason: str) -> None:
        self.change(op.add_revision(self.map, time="2025-03-02T16:40:00Z", reason=reason))
        assert [r.number for r in self.map.revisions] == list(range(1, len(self.map.revisions) + 1))

    @invariant()
    def map_is_sound(self) -> None:
        if not hasattr(self, "map"):
            return
        assert PlayfieldMap.model_validate_json(self.map.model_dump_json()) == self.map
        assert {p.id: p.label for p in self.map.places} == self.place_labels
        for (chain, number), pixel in pixels_of(self.map).items():
            assert (pixel.state, pixel.place, pixel.note) == self.known((chain, number))
        for chain_record in self.map.chains:
            assert len({p.id for p in chain_record.pixels}) == len(chain_record.pixels)


TestMapOperations = MapOperations.TestCase


@given(st.lists(labels, max_size=30))
def test_slugs_are_identifiers_and_unlike(names: list[str]) -> None:
    taken: set[str] = set()
    for name in names:
        made = op.slug(name, taken)
        assert made not in taken
        assert Place(id=made, label=name).id == made
        taken.add(made)


def test_copies_forget_what_was_cached() -> None:
    map_, place = op.add_place(op.new_map("Kelp Forest"), "Reef lane 1")
    map_ = op.add_chain(map_, Chain(id="playfield", name="Playfield", output=0))
    assert map_.pixels_at == {}
    m2 = op.assign_place(map_, "playfield", 3, place.id)
    assert m2.pixels_at == {"reef-lane-1": (("playfield", 3),)}
    assert map_.pixels_at == {}


def test_wrong_requests_are_refused_and_nothing_changes() -> None:
    map_ = op.add_chain(op.new_map("Kelp Forest"), Chain(id="playfield", name="Playfield", output=0))
    with pytest.raises(ValueError, match="choose another id"):
        op.add_chain(map_, Chain(id="playfield", name="Again", output=1))
    with pytest.raises(KeyError):
        op.assign_place(map_, "playfield", 0, "nowhere")
    with pytest.raises(KeyError):
        op.set_bookmark(map_, "cellar", 0)
    with pytest.raises(KeyError):
        op.update_place(map_, Place(id="nowhere", label="x"))
    with pytest.raises(ValidationError):
        op.add_place(map_, "")
    with pytest.raises(ValidationError):
        op.add_place(map_, "x" * 2_001)
    with pytest.raises(ValidationError):
        op.set_count(map_, "playfield", 0)
    assert map_.chain("playfield").pixels == ()


def test_a_lone_surrogate_becomes_a_replacement_character() -> None:
    assert storable("reef\udc80") == "reef\ufffd"
    map_, place = op.add_place(op.new_map("Kelp\ud800"), "reef\udc80")
    assert (map_.machine.name, place.label) == ("Kelp\ufffd", "reef\ufffd")


def test_lowering_the_count_keeps_the_pixels() -> None:
    map_ = op.add_chain(op.new_map("Kelp Forest"), Chain(id="playfield", name="Playfield", output=0))
    map_ = op.set_count(map_, "playfield", 10)
    map_ = op.set_note(map_, "playfield", 9, "the last one")
    map_ = op.set_count(map_, "playfield", 5)
    assert map_.chain("playfield").pixels[9].note == "the last one"
    assert map_.chain("playfield").length == 10


def test_lamps_are_replaced_as_a_whole() -> None:
    map_ = op.set_lamps(op.new_map("Kelp Forest"), [Lamp(number=1, name="Reef lane 1")])
    assert [lamp.name for lamp in map_.lamps] == ["Reef lane 1"]
    assert op.set_lamps(map_, []).lamps == ()


@pytest.mark.parametrize(
    ("number", "text"),
    [(0, "0 (1st)"), (1, "1 (2nd)"), (2, "2 (3rd)"), (3, "3 (4th)"), (10, "10 (11th)"), (11, "11 (12th)"),
     (12, "12 (13th)"), (14, "14 (15th)"), (20, "20 (21st)"), (110, "110 (111th)"), (111, "111 (112th)"),
     (120, "120 (121st)")],
)  # fmt: skip
def test_numbers_are_shown_with_the_count_a_person_makes(number: int, text: str) -> None:
    assert shown_number(number) == text
