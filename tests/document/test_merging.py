"""Two people's work made one map: nothing only one changed is lost, what both changed is asked."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.edits import Insert, MoveRun, Remove, Reverse, Swap, apply_edits
from probe.document.follow import MOVED_FEED
from probe.document.merging import Merged, Side, _with_unlike_names, merge, merge_maps, shared_base
from probe.document.model import Chain, Machine, Pixel, PixelState, Place, PlayfieldMap, shown_number
from probe.document.model.evenings import WorkMoment
from probe.document.model.game import Proof, Verdict
from probe.document.model.harness import JoinedTo, Joint, Judged, Metered, MeterReading
from probe.document.model.planning import ChosenCut, ChosenSplice, PlanRules
from probe.document.needs import write_line
from probe.document.operations import add_place, assign_place, fresh_pixels, new_map, replace_chain, set_note
from probe.document.photos import attach
from probe.document.revisions import changed_in, is_verified, revised, undo
from probe.document.wiring import add_feed, add_supply, feed_number, is_blank, joint_at, joints_in_order, put_joint
from tests.document.strategies import maps, places, proofs, readings, texts
from tests.support.examples import examples

NOW = "2026-03-01T19:30:00Z"
CONTENT = [name for name in PlayfieldMap.model_fields if name not in ("revisions", "pending", "bookmark")]


def content(map_: PlayfieldMap) -> dict[str, Any]:
    return {name: getattr(map_, name) for name in CONTENT}


@pytest.mark.slow
@settings(max_examples=examples(60))
@given(maps(), maps())
def test_what_only_one_side_changed_is_taken_whole(base: PlayfieldMap, changed: PlayfieldMap) -> None:
    for merged in (merge(base, changed, base), merge(base, base, changed), merge(base, changed, changed)):
        assert content(merged.map) == content(changed)
        assert merged.conflicts == ()
    assert merge(base, changed, base).map == changed


@st.composite
def worked_on(draw: st.DrawFn, base: PlayfieldMap, who: str) -> PlayfieldMap:
    """A map after some work of one person: places renamed and added, pixels placed, noted, spliced in, taken out; proofs."""
    map_ = base
    update: dict[str, Any] = {}
    update["machine"] = draw(st.sampled_from([base.machine, Machine(name=f"{who}'s")]))
    listed = [p.model_copy(update={"note": draw(texts)}) if draw(st.booleans()) else p for p in base.places]
    taken = {place.id for place in base.places}
    listed += [draw(places).model_copy(update={"id": f"{who}-{n}"}) for n in range(draw(st.integers(0, 2)))]
    listed += [p for p in [draw(places)] if draw(st.booleans()) and p.id not in taken]
    chains = []
    for chain in base.chains:
        pixels = [p.model_copy(update={"note": draw(texts)}) if draw(st.booleans()) else p for p in chain.pixels]
        if draw(st.booleans()):
            at = draw(st.integers(0, len(pixels)))
            pixels[at:at] = fresh_pixels(chain, draw(st.integers(1, 2)))
        elif draw(st.booleans()) and pixels:
            pixels.pop(draw(st.integers(0, len(pixels) - 1)))
        elif draw(st.booleans()):
            pixels = list(draw(st.permutations(pixels)))
        chains.append(chain.model_copy(update={"pixels": tuple(pixels)}))
    update["chains"], update["places"] = tuple(chains), tuple(listed)
    update["proofs"] = (*base.proofs, *draw(st.lists(proofs, max_size=1)))
    update["readings"] = (*base.readings, *draw(st.lists(readings, max_size=1)))
    return map_.model_copy(update=update)


@st.composite
def three(draw: st.DrawFn) -> tuple[PlayfieldMap, PlayfieldMap, PlayfieldMap]:
    base = draw(maps())
    return base, draw(worked_on(base, "anna")), draw(worked_on(base, "ben"))


def named_alike(map_: PlayfieldMap) -> dict[str, Any]:
    """What a map holds but for the ids that tell two new things of one name apart, and orders nobody relies on."""
    plain = map_.model_dump(mode="json", include=set(CONTENT))
    label = {place.id: (place.label, place.area) for place in map_.places}
    for chain in plain["chains"]:
        for pixel in chain["pixels"]:
            pixel["place"] = label.get(pixel["place"])
            pixel.pop("id")
    for chain, held in zip(plain["chains"], map_.chains, strict=True):
        number = {pixel.id: at for at, pixel in enumerate(held.pixels)}
        for joint in chain.get("joints", ()):
            joint["after"] = number.get(joint.get("after"), joint.get("after"))
            joint["before"] = number.get(joint["before"], joint["before"])
    for entry in (*plain.get("readings", ()), *plain.get("observations", ())):
        for name in ("place", "to"):
            if name in entry:
                entry[name] = label.get(entry[name], entry[name])
    for place in plain["places"]:
        place.pop("id")
    plain["places"] = sorted(map(repr, plain["places"]))
    return plain


@pytest.mark.slow
@settings(max_examples=examples(80))
@given(three())
def test_without_conflicts_it_does_not_matter_whose_is_ours(
    sides: tuple[PlayfieldMap, PlayfieldMap, PlayfieldMap],
) -> None:
    base, ours, theirs = sides
    one, other = merge(base, ours, theirs), merge(base, theirs, ours)
    assert len(one.conflicts) == len(other.conflicts)
    if not one.conflicts:
        assert named_alike(one.map) == named_alike(other.map)
        assert len(one.told) == len(other.told)


def written(map_: PlayfieldMap) -> set[str]:
    """Entries of the logs but for places, which may have another id in a merged map."""
    logs = [*map_.proofs, *map_.readings, *map_.observations]
    return {repr(entry.model_dump(exclude={"place", "to"})) for entry in logs}


@pytest.mark.slow
@settings(max_examples=examples(80))
@given(three(), st.booleans())
def test_no_answer_of_either_side_is_lost(
    sides: tuple[PlayfieldMap, PlayfieldMap, PlayfieldMap], for_theirs: bool
) -> None:
    base, ours, theirs = sides
    count = len(merge(base, ours, theirs).conflicts)
    side = Side.THEIRS if for_theirs else Side.OURS
    found = merge(base, ours, theirs, choices=dict.fromkeys(range(count), side))
    assert len(found.conflicts) == count, "conflicts do not depend on how they are decided"
    found.map.check_references()
    labels = Counter(place.label for place in found.map.places)
    for map_ in (ours, theirs):
        assert Counter(p.label for p in map_.places) <= labels
        assert written(map_) - written(found.map) == set()
    for chain in found.map.chains:
        was = {p.id: p for p in base.chain(chain.id).pixels}
        one = {p.id: p for p in ours.chain(chain.id).pixels}
        two = {p.id: p for p in theirs.chain(chain.id).pixels}
        spliced = sum(map_ not in was for map_ in one) + sum(key not in was for key in two)
        shared_splice = sum(key not in was and key in one for key in two)
        new = sum(pixel.id not in was for pixel in chain.pixels)
        assert spliced - shared_splice <= new <= spliced
        for pixel in chain.pixels:
            if pixel.id in was and pixel.id in one and pixel.id in two:
                changed = [s[pixel.id].note for s in (one, two) if s[pixel.id].note != was[pixel.id].note]
                assert pixel.note in (changed or [was[pixel.id].note])
                if len(set(changed)) == 2:
                    assert pixel.note == (two if for_theirs else one)[pixel.id].note


# -- by example -----------------------------------------------------------------------------------------------------


def kelp() -> PlayfieldMap:
    """Six pixels at six places, in one revision."""
    map_ = new_map("Kelp Forest")
    made = map_.model_copy(update={"chains": (Chain(id="a", name="Playfield", output=0, count=6),)})
    chain = made.chain("a")
    made = replace_chain(made, chain.model_copy(update={"pixels": fresh_pixels(chain, 6)}))
    for number in range(6):
        made, place = add_place(made, f"Reef lane {number}", area="lanes")
        made = assign_place(made, "a", number, place.id)
    return revised(map_, made, time=NOW, reason="Walked")


def with_note(map_: PlayfieldMap, number: int, note: str) -> PlayfieldMap:
    return revised(map_, set_note(map_, "a", number, note), time=NOW, reason=f"Note {note}")


def spliced(map_: PlayfieldMap, at: int, count: int = 1) -> PlayfieldMap:
    chain = map_.chain("a")
    pixels = (*chain.pixels[:at], *fresh_pixels(chain, count), *chain.pixels[at:])
    made = replace_chain(map_, chain.model_copy(update={"pixels": pixels, "count": len(pixels)}))
    return revised(map_, made, time=NOW, reason=f"Spliced at {at}")


def merged(ours: PlayfieldMap, theirs: PlayfieldMap, **choices: Any) -> Merged:
    return merge_maps(ours, theirs, base=shared_base(ours, theirs), time=NOW, name="theirs.json", **choices)


def ids(map_: PlayfieldMap) -> list[str]:
    return [pixel.id for pixel in map_.chain("a").pixels]


def test_two_splices_at_different_spots_are_two_though_they_have_one_id() -> None:
    base = kelp()
    ours, theirs = spliced(base, 2), spliced(base, 4)
    assert set(ids(ours)) == set(ids(theirs))
    found = merged(ours, theirs)
    assert found.conflicts == ()
    chain = found.map.chain("a")
    assert [p.state for p in chain.pixels].count(PixelState.UNSEEN) == 2
    assert [n for n, p in enumerate(chain.pixels) if p.state is PixelState.UNSEEN] == [2, 5]
    assert chain.count == 8


def test_two_splices_at_one_spot_are_asked_unless_they_are_the_same() -> None:
    base = kelp()
    assert len(merged(spliced(base, 2), spliced(base, 2)).map.chain("a").pixels) == 7
    found = merged(spliced(base, 2), spliced(base, 2, count=2))
    assert [c.about for c in found.conflicts] == ["Playfield, order of pixels: new ones of both sides after a-1"]
    assert len(found.map.chain("a").pixels) == 9


def test_a_pixel_both_took_out_is_out() -> None:
    base = kelp()

    def without_a_pixel(note_at: int) -> PlayfieldMap:
        chain = set_note(base, "a", note_at, "seen").chain("a")
        left = tuple(pixel for n, pixel in enumerate(chain.pixels) if n != 2)
        return replace_chain(base, chain.model_copy(update={"pixels": left, "count": len(left)}))

    ours, theirs = without_a_pixel(0), without_a_pixel(4)
    found = merge(base, ours, theirs)
    assert found.conflicts == ()
    assert ids(found.map) == ids(ours) == ids(theirs)
    assert [pixel.note for pixel in found.map.chain("a").pixels] == ["seen", "", "", "seen", ""]


def test_a_chain_walked_further_on_both_sides_goes_on_once() -> None:
    base = kelp()
    ours, theirs = spliced(base, 6, count=2), spliced(base, 6, count=3)
    found = merged(ours, theirs)
    assert found.conflicts == ()
    assert ids(found.map) == ids(theirs)


def test_new_places_of_one_name_are_one_and_of_one_id_but_two_names_are_two() -> None:
    base = kelp()
    ours, _ = add_place(base, "Otter gate")
    same, _ = add_place(base, "otter  GATE")
    assert len(merge(base, ours, same).map.places) == 7
    other = base.model_copy(update={"places": (*base.places, Place(id="otter-gate", label="Urchin target"))})
    other = assign_place(other, "a", 3, "otter-gate")
    found = merge(base, ours, other).map
    assert sorted(p.label for p in found.places)[:2] == ["Otter gate", "Reef lane 0"]
    assert len(found.places) == 8
    place = found.place_of(found.chain("a").pixels[3])
    assert place is not None
    assert place.label == "Urchin target"


def test_a_place_taken_out_here_and_lit_there_is_kept() -> None:
    base = kelp()
    chain = base.chain("a")
    bare = replace_chain(
        base,
        chain.model_copy(update={"pixels": tuple(Pixel(id=p.id) if n == 0 else p for n, p in enumerate(chain.pixels))}),
    )
    ours = bare.model_copy(update={"places": bare.places[1:]})
    theirs = assign_place(base, "a", 3, base.places[0].id)
    found = merge(base, ours, theirs)
    found.map.check_references()
    assert found.map.chain("a").pixels[3].place == base.places[0].id
    assert found.map.chain("a").pixels[0].place is None


def test_a_conflict_names_the_pixel_and_is_decided_by_its_number() -> None:
    base = kelp()
    ours, theirs = with_note(with_note(base, 1, "cold joint"), 4, "b"), with_note(with_note(base, 1, "fine"), 2, "t")
    found = merged(ours, theirs)
    assert [(c.about, c.base, c.ours, c.theirs) for c in found.conflicts] == [
        ("Playfield, pixel 1: note", "empty", "cold joint", "fine")
    ]
    notes = [p.note for p in found.map.chain("a").pixels]
    assert notes == ["", "cold joint", "t", "", "b", ""]
    other = merged(ours, theirs, choices={0: Side.THEIRS})
    assert [p.note for p in other.map.chain("a").pixels] == ["", "fine", "t", "", "b", ""]


def test_a_pixel_is_placed_by_one_side_whole() -> None:
    """State and place belong together: a mix of both sides would say what nobody said."""
    base = kelp()
    chain = base.chain("a")
    free = replace_chain(base, chain.model_copy(update={"pixels": (Pixel(id="a-0"), *chain.pixels[1:])}))
    dark = Pixel(id="a-0", state=PixelState.DARK, place=base.places[2].id)
    ours = replace_chain(free, chain.model_copy(update={"pixels": (dark, *chain.pixels[1:])}))
    theirs = assign_place(free, "a", 0, base.places[0].id)
    for side, wanted in ((Side.OURS, ours), (Side.THEIRS, theirs)):
        found = merge(free, ours, theirs, choices={0: side})
        assert len(found.conflicts) == 1
        assert found.map.chain("a").pixels[0] == wanted.chain("a").pixels[0]


def test_it_is_one_revision_that_names_theirs_and_can_be_undone() -> None:
    base = kelp()
    ours, theirs = with_note(base, 1, "ours"), with_note(base, 2, "theirs")
    made = merged(ours, theirs).map
    assert [r.reason for r in made.revisions] == ["Walked", "Note ours", "Merged theirs.json"]
    assert made.revisions[-1].changes[0] == f"theirs, {NOW}: Note theirs"
    back = undo(made, time=NOW)
    assert content(back) == content(ours)


def test_what_was_seen_to_be_right_before_the_other_side_rewired_does_not_count() -> None:
    base = kelp()
    ours = spliced(base, 0)
    chain = base.chain("a")
    seen = replace_chain(
        base, chain.model_copy(update={"pixels": tuple(p.model_copy(update={"verified": 2}) for p in chain.pixels)})
    )
    proof = Proof(lamp=5, verdict=Verdict.RIGHT, time=NOW, revision=2, pixels="x")
    theirs = revised(base, seen.model_copy(update={"proofs": (proof,)}), time=NOW, reason="Rechecked")
    made = merged(ours, theirs).map
    assert not any(is_verified(p, changed_in(made, "a")) for p in made.chain("a").pixels)
    assert [p.revision for p in made.proofs] == [1]
    # and where nobody rewired, it does count, in the revision of the merge
    noted = with_note(base, 0, "x")
    made = merged(with_note(noted, 1, "y"), theirs).map
    assert {p.verified for p in made.chain("a").pixels} == {4}
    assert [p.revision for p in made.proofs] == [4]


def test_a_rewiring_of_theirs_makes_ours_unverified() -> None:
    base = kelp()
    chain = base.chain("a")
    seen = replace_chain(
        base, chain.model_copy(update={"pixels": tuple(p.model_copy(update={"verified": 2}) for p in chain.pixels)})
    )
    ours = revised(base, seen, time=NOW, reason="Rechecked")
    made = merged(ours, spliced(base, 3)).map
    assert changed_in(made, "a") == 3
    assert not any(is_verified(p, 3) for p in made.chain("a").pixels)


def test_without_a_shared_beginning_all_that_differs_is_asked() -> None:
    ours, theirs = kelp(), new_map("Kelp Forest")
    theirs, _ = add_place(theirs, "Reef lane 0", area="upper")
    theirs, _ = add_place(theirs, "Otter gate")
    theirs = theirs.model_copy(update={"revisions": ()})
    assert shared_base(ours, revised(new_map("Other"), theirs, time=NOW, reason="x")) is None
    found = merge_maps(ours, theirs, base=None, time=NOW, name="t")
    assert found.conflicts == ()
    assert [p.label for p in found.map.places][-2:] == ["Reef lane 0", "Otter gate"]
    other = merge_maps(
        ours, theirs.model_copy(update={"machine": Machine(name="Other")}), base=None, time=NOW, name="t"
    )
    assert [(c.ours, c.theirs) for c in other.conflicts] == [("Kelp Forest", "Other")]


def test_proofs_of_both_sides_stay_by_time() -> None:
    base = kelp()
    early, late = (
        Proof(lamp=5, verdict=v, time=t, revision=1)
        for v, t in ((Verdict.WRONG, "2026-01"), (Verdict.RIGHT, "2026-02"))
    )
    ours, theirs = base.model_copy(update={"proofs": (late,)}), base.model_copy(update={"proofs": (early,)})
    assert merged(ours, theirs).map.proofs == (early, late)
    assert merged(ours, ours).map.proofs == (late,)
    assert merged(ours, theirs).map.revisions == base.revisions, "only what is written of a map's content is a revision"


def test_meter_readings_of_both_sides_stay_by_time() -> None:
    before = MeterReading(chain="playfield", what=Metered.POLARITY, judged=Judged.GOOD, time="2026-01-01T18:00:00Z")
    ours_read = MeterReading(
        chain="playfield", what=Metered.OHMS, value=320.0, judged=Judged.GOOD, time="2026-01-03T18:00:00Z"
    )
    theirs_read = MeterReading(
        chain="playfield", what=Metered.FUSE, value=5.0, judged=Judged.LOOK, time="2026-01-02T18:00:00Z"
    )
    base = kelp().model_copy(update={"meter": (before,)})
    ours, theirs = (base.model_copy(update={"meter": (before, read)}) for read in (ours_read, theirs_read))
    for found in (merge(base, ours, theirs), merge(base, theirs, ours)):
        assert found.map.meter == (before, theirs_read, ours_read)
        assert not found.conflicts


def test_entries_that_are_alike_are_kept_as_often_as_the_side_that_has_more() -> None:
    base = kelp()
    proof = Proof(lamp=5, verdict=Verdict.RIGHT, time=NOW, revision=1)
    ours, theirs = (base.model_copy(update={"proofs": (proof,) * count}) for count in (1, 2))
    assert merge(base, ours, theirs).map.proofs == merge(base, theirs, ours).map.proofs == (proof, proof)


# -- joints ---------------------------------------------------------------------------------------------------------

noted_of_a_joint = st.fixed_dictionaries(
    {},
    optional={
        "note": st.sampled_from(["cold", "redo"]),
        "length_mm": st.sampled_from([None, 40.0, 95.5]),
        "checked": st.booleans(),
        "leaving_data": st.sampled_from(["", "green", "white"]),
        "five_volt_open": st.booleans(),
        "data_to": st.sampled_from(JoinedTo),
    },
)
numbers = st.integers(0, 4)
edits = st.one_of(
    st.builds(Insert, chain=st.just("a"), after=st.none() | numbers, count=st.integers(1, 2)),
    st.builds(lambda number: Remove(chain="a", first=number, last=number), numbers),
    st.builds(lambda one: Swap(chain="a", one=one, other=one + 1), st.integers(0, 3)),
    st.builds(lambda first: Reverse(chain="a", first=first, last=first + 2), st.integers(0, 2)),
)


@st.composite
def soldered(draw: st.DrawFn, base: PlayfieldMap, most: int) -> PlayfieldMap:
    """The map after at most so many changes of the wiring, and notes of some joints."""
    made_on = draw(st.sampled_from(["", "2026-03-01", "2026-03-02"]))
    made = apply_edits(base, draw(st.lists(edits, max_size=most)), made_on=made_on)
    for number in range(len(made.chain("a").pixels)):
        if draw(st.booleans()):
            joint = joint_at(made.chain("a"), number).model_copy(update=draw(noted_of_a_joint))
            made = put_joint(made, "a", joint)
    return made


@st.composite
def two_who_soldered(draw: st.DrawFn) -> tuple[PlayfieldMap, PlayfieldMap, PlayfieldMap]:
    base = draw(soldered(kelp(), 0))
    return base, draw(soldered(base, 2)), draw(soldered(base, 2))


@pytest.mark.slow
@settings(max_examples=examples(120))
@given(two_who_soldered())
def test_joints_do_not_depend_on_whose_is_ours(sides: tuple[PlayfieldMap, PlayfieldMap, PlayfieldMap]) -> None:
    base, ours, theirs = sides
    one, other = merge(base, ours, theirs), merge(base, theirs, ours)
    assert sorted(c.about.partition(":")[2] for c in one.conflicts) == sorted(
        c.about.partition(":")[2] for c in other.conflicts
    )
    if not one.conflicts:
        assert named_alike(one.map) == named_alike(other.map)
        assert len(one.told) == len(other.told)


def laid(chain: Chain) -> dict[tuple[str | None, str], Joint]:
    return {(joint.after, joint.before): joint for joint in joints_in_order(chain)}


@pytest.mark.slow
@settings(max_examples=examples(200))
@given(two_who_soldered(), st.sampled_from(Side))
def test_no_joint_is_lost_unless_its_wire_was_opened_or_it_is_told(
    sides: tuple[PlayfieldMap, PlayfieldMap, PlayfieldMap], side: Side
) -> None:
    """What each side noted stands in the map, or was asked, or the other opened that wire; and what is new is told."""
    base, ours, theirs = sides
    theirs = _with_unlike_names(base, ours, theirs)
    found = merge(base, ours, theirs, choices=dict.fromkeys(range(500), side))
    chain = found.map.chain("a")
    made, was = laid(chain), laid(base.chain("a"))
    assert {(j.after, j.before) for j in chain.joints} <= set(made), "a joint lies between neighbours"
    mine, other = laid(ours.chain("a")), laid(theirs.chain("a"))
    asked = {conflict.about for conflict in found.conflicts}
    told = list(found.told)
    for ends, joint in made.items():
        line = f"Playfield, joint from {_number(chain, ends[0])} to {_number(chain, ends[1])}: "
        if ends in mine and ends in other:
            for name in Joint.model_fields:
                values = {getattr(side[ends], name) for side in (mine, other)}
                about = (
                    f"Playfield, joint from {_number(ours.chain('a'), ends[0])} to {_number(ours.chain('a'), ends[1])}"
                )
                assert getattr(joint, name) in values
                if len(values) == 2 and ends in was and getattr(was[ends], name) not in values:
                    assert f"{about}: {name.replace('_', ' ')}" in asked
                elif len(values) == 2 and ends in was:
                    assert getattr(joint, name) != getattr(was[ends], name)
        elif ends in mine or ends in other:
            source = mine.get(ends) or other[ends]
            assert joint.note == source.note
            if ends in was:
                assert not joint.checked
                assert any(entry.startswith(line) and "had opened it" in entry for entry in told)
            else:
                assert joint == source
        else:
            assert not joint.checked
            assert joint.five_volt_to is joint.ground_to is joint.data_to is JoinedTo.NOT_LOOKED
            assert any(entry.startswith(line) and "in neither map" in entry for entry in told)
    for who, wires, held in (("ours", mine, ours), ("theirs", other, theirs)):
        for ends, joint in wires.items():
            if ends not in made and joint != was.get(ends) and not is_blank(joint):
                numbers = [_number(held.chain("a"), end) for end in ends]
                title = f"Playfield, joint from {numbers[0]} to {numbers[1]} as {who} counts"
                assert any(entry.startswith(title) for entry in told)


def _number(chain: Chain, pixel: str | None) -> str:
    if pixel is None:
        return "the board"
    return shown_number(next(number for number, held in enumerate(chain.pixels) if held.id == pixel))


def test_a_splice_beside_a_pixel_that_the_other_took_out() -> None:
    """The splice's far joint is kept; the one towards the pixel that is out is new to both, from the lengths that agree."""
    base = kelp()
    for number, length_mm in enumerate((300.0, 40.0, 50.0, 60.0, 70.0, 80.0)):
        base = put_joint(base, "a", joint_at(base.chain("a"), number).model_copy(update={"length_mm": length_mm}))
    ours = apply_edits(base, [Insert(chain="a", after=2)], made_on="2026-03-01")
    new = ours.chain("a").pixels[3].id
    for at, length_mm in ((3, 35.0), (4, 25.0)):
        update = {"length_mm": length_mm, "checked": True, "leaving_data": "green"}
        ours = put_joint(ours, "a", joint_at(ours.chain("a"), at).model_copy(update=update))
    theirs = apply_edits(base, [Remove(chain="a", first=2, last=2)], made_on="2026-03-02")
    for one, other, whose in ((ours, theirs, "ours"), (theirs, ours, "theirs")):
        found = merge(base, one, other)
        assert found.conflicts == ()
        chain = found.map.chain("a")
        assert ids(found.map) == ["a-0", "a-1", new, "a-3", "a-4", "a-5"]
        assert [joint.length_mm for joint in joints_in_order(chain)] == [300.0, 40.0, None, 25.0, 70.0, 80.0]
        far = joint_at(chain, 3)
        assert (far.checked, far.made_on) == (True, "2026-03-01")
        near = joint_at(chain, 2)
        assert (near.checked, near.made_on) == (False, "")
        gone = f"as {whose} counts: no longer there; {whose} noted"
        by = ("85 mm", "55 mm") if whose == "ours" else ("55 mm", "85 mm")
        assert any(
            line == "Playfield, joint from 1 (2nd) to 2 (3rd): in neither map, and nobody has looked at it; "
            f"length: by ours {by[0]}, by theirs {by[1]}"
            for line in found.told
        )
        assert any(
            line.startswith(f"Playfield, joint from 2 (3rd) to 3 (4th) {gone} leaving data green, length 35 mm")
            for line in found.told
        )
        assert len(found.told) == 3


def test_a_feed_at_a_pixel_that_the_other_took_out_is_moved_and_told() -> None:
    base = kelp()
    ours, supply = add_supply(base, "5 V")
    ours, _ = add_feed(ours, "a", 2, supply=supply.id, name="Middle")
    theirs = apply_edits(base, [Remove(chain="a", first=2, last=2)])
    for one, other in ((ours, theirs), (theirs, ours)):
        found = merge(base, one, other)
        assert feed_number(found.map, found.map.feeds[0]) == 2
        assert found.map.feeds[0].note == MOVED_FEED
        assert any(line.startswith("Feed Middle: ") for line in found.told)


def test_lines_and_photos_of_both_are_kept_though_each_program_gave_them_one_id() -> None:
    base = kelp()
    ours = write_line(base, "Buy fuses", moment=WorkMoment.BEFORE_POWER)
    theirs = write_line(base, "Tin the braid", moment=WorkMoment.BEFORE_POWER)
    assert ours.worklist[0].id == theirs.worklist[0].id
    ours, theirs = attach(ours, "eel.jpg", place="Reef lane 1"), attach(theirs, "eel.png", pixel="a:2")
    found = merge(base, ours, theirs)
    assert found.conflicts == ()
    assert {line.words for line in found.map.worklist} == {"Buy fuses", "Tin the braid"}
    assert {photo.file for photo in found.map.photos} == {"eel.jpg", "eel.png"}
    same = merge(base, ours, ours.model_copy(update={"machine": base.machine}))
    assert len(same.map.worklist) == 1


def test_photos_and_rules_go_with_a_place_and_a_pixel_that_get_another_id() -> None:
    base = kelp()
    ours, _ = add_place(spliced(base, 2), "Otter gate")
    theirs = spliced(base, 4)
    theirs = theirs.model_copy(update={"places": (*theirs.places, Place(id="otter-gate", label="Urchin target"))})
    theirs = attach(attach(theirs, "gate.jpg", place="Urchin target"), "joint.jpg", pixel="a:4")
    pairs = (("otter-gate", "reef-lane-0"),)
    cut = ChosenCut(after=0, places=("otter-gate",))
    rules = PlanRules(pinned=pairs, splice=ChosenSplice(chain="a", pixels=7, cuts=(cut,)))
    found = merge(base, ours, theirs.model_copy(update={"plan_rules": rules})).map
    target = next(place.id for place in found.places if place.label == "Urchin target")
    assert target != "otter-gate"
    assert found.plan_rules is not None
    assert found.plan_rules.splice is not None
    assert found.plan_rules.pinned == ((target, "reef-lane-0"),)
    assert found.plan_rules.splice.cuts[0].places == (target,)
    assert found.photos[0].place == target
    assert found.photos[1].pixel == found.chain("a").pixels[5].id


def test_what_was_told_is_kept_in_the_revision_of_the_merge() -> None:
    base = kelp()
    found = merged(
        spliced(base, 3), revised(base, apply_edits(base, [Remove(chain="a", first=2, last=2)]), time=NOW, reason="Out")
    )
    assert len(found.told) == 1
    assert found.told[0] in found.map.revisions[-1].changes


def test_joints_and_feeds_of_a_renamed_pixel_go_with_it() -> None:
    base = kelp()
    theirs = spliced(base, 4)
    chain = theirs.chain("a")
    new = chain.pixels[4].id
    theirs = replace_chain(theirs, chain.model_copy(update={"joints": (Joint(after="a-3", before=new, note="mine"),)}))
    found = merge(base, spliced(base, 2), theirs).map.chain("a")
    joint = found.joints[0]
    assert [p.id for p in found.pixels].index(joint.before) == [p.id for p in found.pixels].index("a-3") + 1


def without(map_: PlayfieldMap, number: int) -> PlayfieldMap:
    return apply_edits(map_, [Remove(chain="a", first=number, last=number)])


def test_a_joint_that_the_other_side_opened_is_to_be_looked_at_again() -> None:
    """Theirs moved a pixel into a stretch, ours took that pixel out: the stretch is whole, but it had been opened."""
    base = kelp()
    theirs = apply_edits(base, [MoveRun(chain="a", first=5, last=5, after=1)])
    ours = without(base, 5)
    sound = {"checked": True, "data_to": JoinedTo.DATA_OUT, "note": "good"}
    ours = put_joint(ours, "a", joint_at(ours.chain("a"), 2).model_copy(update=sound))
    for one, other, opener in ((ours, theirs, "theirs"), (theirs, ours, "ours")):
        found = merge(base, one, other)
        joint = joint_at(found.map.chain("a"), 2)
        assert (joint.note, joint.checked, joint.data_to) == ("good", False, JoinedTo.NOT_LOOKED)
        assert f"Playfield, joint from 1 (2nd) to 2 (3rd): {opener} had opened it. Look at it again" in found.told


def test_what_one_side_measured_of_a_joint_that_both_made_is_taken() -> None:
    base = put_joint(kelp(), "a", Joint(after="a-1", before="a-2", length_mm=50.0))
    base = put_joint(base, "a", Joint(after="a-2", before="a-3", length_mm=40.0))
    theirs = without(base, 2)
    assert joint_at(theirs.chain("a"), 2).length_mm == 90.0
    ours = put_joint(theirs, "a", joint_at(theirs.chain("a"), 2).model_copy(update={"length_mm": 70.0}))
    for one, other in ((ours, theirs), (theirs, ours)):
        found = merge(base, one, other.model_copy(update={"machine": Machine(name="Kelp Forest", note="x")}))
        assert found.conflicts == ()
        assert joint_at(found.map.chain("a"), 2).length_mm == 70.0


def test_a_joint_noted_between_pixels_that_only_the_other_made_neighbours_is_told() -> None:
    base = kelp()
    chain = base.chain("a")
    stray = Joint(after="a-1", before="a-3", note="early")
    ours = replace_chain(base, chain.model_copy(update={"joints": (stray,)}))
    found = merge(base, ours, without(base, 2))
    assert found.told == ("Playfield, joint from 1 (2nd) to 2 (3rd): ours noted note early before it was there",)
    assert [joint.before for joint in found.map.chain("a").joints].count("a-3") <= 1


def test_the_later_look_at_a_pixel_counts_where_both_looked() -> None:
    base = kelp()

    def looked(number: int) -> PlayfieldMap:
        chain = base.chain("a")
        pixels = tuple(pixel.model_copy(update={"verified": number}) for pixel in chain.pixels)
        return replace_chain(base, chain.model_copy(update={"pixels": pixels}))

    for one, other in ((2, 5), (5, 2)):
        found = merge(base, looked(one), looked(other))
        assert found.conflicts == ()
        assert {pixel.verified for pixel in found.map.chain("a").pixels} == {5}


def test_what_theirs_saw_before_theirs_was_rewired_does_not_count() -> None:
    base = kelp()
    chain = base.chain("a")
    pixels = tuple(pixel.model_copy(update={"verified": 2}) for pixel in chain.pixels)
    seen = revised(base, replace_chain(base, chain.model_copy(update={"pixels": pixels})), time=NOW, reason="Rechecked")
    theirs = revised(seen, without(seen, 5), time=NOW, reason="Out")
    made = merged(with_note(base, 0, "x"), theirs).map
    assert {pixel.verified for pixel in made.chain("a").pixels} == {0}


def test_an_entry_that_one_side_took_back_does_not_come_back() -> None:
    wrong, right = (Proof(lamp=5, verdict=v, time=NOW, revision=1) for v in (Verdict.WRONG, Verdict.RIGHT))
    base = kelp().model_copy(update={"proofs": (wrong,)})
    ours = base.model_copy(update={"proofs": ()})
    theirs = base.model_copy(update={"proofs": (wrong, right)})
    assert merge(base, ours, theirs).map.proofs == merge(base, theirs, ours).map.proofs == (right,)


def test_a_pixel_that_one_took_out_and_the_other_noted_is_asked_and_can_come_back() -> None:
    base = kelp()
    ours, theirs = without(base, 2), set_note(base, "a", 2, "flickers")
    for side, wanted in ((Side.OURS, 5), (Side.THEIRS, 6)):
        found = merge(base, ours, theirs, choices={0: side})
        assert [conflict.about for conflict in found.conflicts] == ["Playfield, pixel 2 of theirs"]
        assert len(found.map.chain("a").pixels) == wanted
        assert found.map.chain("a").count == wanted
        assert [p.id for p in found.map.chain("a").pixels if p.note == "flickers"] == ["a-2"] * (wanted - 5)
