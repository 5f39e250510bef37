"""Edits of the wiring: what travels, what follows, what is left alone; their words; revisions of them."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.checks import check_map
from probe.document.edit_text import FORMS, EditTextError, parse_edit, parse_edits
from probe.document.edits import (
    Edit,
    EditError,
    Insert,
    MoveRun,
    Remove,
    Replace,
    Reverse,
    Swap,
    apply_edit,
    apply_edits,
    ordered,
    renumber,
)
from probe.document.model import Chain, Pixel, PixelState, PlayfieldMap
from probe.document.model.harness import Batch, Joint
from probe.document.operations import add_chain, add_place, add_revision, assign_place, new_map, set_note, set_state
from probe.document.revisions import (
    at_revision,
    changed_in,
    is_verified,
    last_undoable,
    next_number,
    revised,
    undo,
    verified_count,
)
from tests.document.said import edit_text
from tests.document.test_diff import same_content
from tests.support.examples import examples

NOW = "2026-03-01T19:30:00Z"
STATES = (PixelState.SPARE, PixelState.REPEATER, PixelState.HIDDEN, PixelState.DEAD, PixelState.DARK)


def machine(first: int = 9, second: int = 5) -> PlayfieldMap:
    """Two chains; every pixel has a place or a state, and a note."""
    map_ = new_map("Kelp Forest")
    map_ = map_.model_copy(update={"batches": (Batch(id="new-lot", name="New lot"),)})
    for output, (name, size) in enumerate((("Playfield", first), ("Backbox", second))):
        pixels = tuple(Pixel(id=f"{name.lower()}-{n}", verified=1) for n in range(size))
        joints = tuple(
            Joint(after=pixels[n - 1].id if n else None, before=p.id, length_mm=50, leaving_data=f"wire {n}")
            for n, p in enumerate(pixels)
        )
        map_ = add_chain(
            map_, Chain(id=name.lower(), name=name, output=output, count=size, pixels=pixels, joints=joints)
        )
        for n in range(size):
            if n % 4 == 3:
                map_ = set_state(map_, name.lower(), n, STATES[(n // 4) % len(STATES)])
            else:
                map_, place = add_place(map_, f"{'Reef lane' if output == 0 else 'GI'} {n}")
                map_ = assign_place(map_, name.lower(), n, place.id)
            map_ = set_note(map_, name.lower(), n, f"note {name} {n}")
    return add_revision(map_, time=NOW, reason="first map")


@st.composite
def edits(draw: st.DrawFn, length: int, chain: str = "playfield") -> Edit:
    """Any edit that fits a chain of this length (2 or more)."""
    at = st.integers(0, length - 1)
    first, last = sorted((draw(at), draw(at)))
    kind = draw(st.sampled_from(("insert", "remove", "reverse", "move", "swap", "replace")))
    match kind:
        case "insert":
            after = draw(st.none() | at)
            return Insert(
                chain=chain, after=after, count=draw(st.integers(1, 4)), batch=draw(st.sampled_from((None, "new-lot")))
            )
        case "remove" if last - first + 1 < length:
            return Remove(chain=chain, first=first, last=last)
        case "move" if last - first + 1 < length:
            rest = [n for n in range(length) if not first <= n <= last]
            return MoveRun(chain=chain, first=first, last=last, after=draw(st.none() | st.sampled_from(rest)))
        case "swap" if first != last:
            return Swap(chain=chain, one=first, other=last)
        case "replace":
            return Replace(chain=chain, number=first)
        case _ if first != last:
            return Reverse(chain=chain, first=first, last=last)
        case _:
            return Insert(chain=chain, after=None)


@st.composite
def several(draw: st.DrawFn) -> tuple[Edit, ...]:
    """Some edits, one after the other."""
    length, made = 9, []
    for _ in range(draw(st.integers(1, 4))):
        edit = draw(edits(length))
        length = len(ordered(length, edit))
        made.append(edit)
        if length < 2:
            break
    return tuple(made)


@pytest.mark.slow
@given(several())
def test_pixels_travel_whole_and_other_chains_stay(changes: tuple[Edit, ...]) -> None:
    map_ = machine()
    after = apply_edits(map_, changes)
    old = {p.id: p for p in map_.chain("playfield").pixels}
    for pixel in after.chain("playfield").pixels:
        if pixel.id in old:
            assert pixel == old[pixel.id], "state, place and notes travel with the pixel"
        else:
            assert pixel.verified == 0
    assert after.chain("backbox") is map_.chain("backbox")
    assert after.places is map_.places
    ids = [p.id for p in after.chain("playfield").pixels]
    assert len(set(ids)) == len(ids)
    assert after.chain("playfield").count == len(ids)
    after.check_references()
    assert not [f for f in check_map(after) if f.code in ("joint-lost", "beyond-count")]


@pytest.mark.slow
@given(st.data())
def test_each_edit_orders_as_it_says(data: st.DataObject) -> None:
    length = data.draw(st.integers(2, 12))
    edit = data.draw(edits(length))
    slots = ordered(length, edit)
    old = list(range(length))
    match edit:
        case Insert(after=after, count=count):
            cut = -1 if after is None else after
            assert slots == [*old[: cut + 1], *[None] * count, *old[cut + 1 :]]
        case Remove(first=first, last=last):
            assert slots == [n for n in old if not first <= n <= last]
        case Reverse(first=first, last=last):
            assert slots[first : last + 1] == old[first : last + 1][::-1]
            assert [s for n, s in enumerate(slots) if not first <= n <= last] == [
                n for n in old if not first <= n <= last
            ]
        case MoveRun(first=first, last=last, after=after):
            run = old[first : last + 1]
            at = slots.index(first)
            assert slots[at : at + len(run)] == run
            assert (slots[at - 1] if at else None) == after
        case Swap(one=one, other=other):
            assert (slots[one], slots[other]) == (other, one)
        case Replace(number=number):
            assert slots == [None if n == number else n for n in old]


@pytest.mark.slow
@settings(max_examples=examples(80))
@given(st.lists(several(), min_size=1, max_size=3))
def test_undo_and_redo_go_all_the_way(sessions: list[tuple[Edit, ...]]) -> None:
    map_ = machine()
    states = [map_]
    for changes in sessions:
        try:
            states.append(renumber(states[-1], changes, time=NOW, reason="a change"))
        except EditError:
            continue
    if len(states[-1].revisions) != len(states):
        return  # an edit that changes nothing makes no revision
    now = states[-1]
    for wanted in reversed(states[:-1]):
        now = undo(now, time=NOW)
        assert same_content(now, wanted)
        assert verified_count(now, now.chain("playfield")) == verified_count(wanted, wanted.chain("playfield"))
    assert last_undoable(now) is None
    for wanted in states[1:]:
        now = undo(now, time=NOW, redo=True)
        assert same_content(now, wanted)
        assert changed_in(now, "playfield") == changed_in(wanted, "playfield")
    for number, wanted in enumerate(states, start=1):
        assert same_content(at_revision(now, number), wanted)


@pytest.mark.slow
@given(several())
def test_words_are_read_as_they_were_meant(changes: tuple[Edit, ...]) -> None:
    map_ = machine()
    said: list[str] = []
    now = map_
    for edit in changes:
        said.append(edit_text(now, edit))
        now = apply_edit(now, edit)
    assert parse_edits(map_, said) == changes


def test_a_change_leaves_its_chain_unverified_and_the_other_verified() -> None:
    map_ = machine()
    assert verified_count(map_, map_.chain("playfield")) == 9
    after = renumber(map_, [Insert(chain="playfield", after=3, count=2)], time=NOW, reason="two more")
    assert verified_count(after, after.chain("playfield")) == 0
    assert verified_count(after, after.chain("backbox")) == 5
    number = next_number(after)
    pixels = tuple(p.model_copy(update={"verified": number}) for p in after.chain("playfield").pixels[:6])
    chain = after.chain("playfield").model_copy(update={"pixels": pixels + after.chain("playfield").pixels[6:]})
    seen = after.model_copy(update={"chains": (chain, after.chain("backbox"))})
    proved = revised(after, seen, time=NOW, reason="looked")
    assert verified_count(proved, proved.chain("playfield")) == 6
    assert is_verified(proved.chain("playfield").pixels[0], changed_in(proved, "playfield"))


@pytest.mark.parametrize(
    ("words", "edit"),
    [
        ("3 new after Reef lane 2", Insert(chain="playfield", after=2, count=3)),
        ("  2  NEW pixels before  reef LANE 2", Insert(chain="playfield", after=1, count=2)),
        ("new before Reef lane 0", Insert(chain="playfield", after=None)),
        ("one new after Reef lane 2 with New lot", Insert(chain="playfield", after=2, batch="new-lot")),
        ("Backbox: 2 new at the end", Insert(chain="backbox", after=4, count=2)),
        ("took out GI 2", Remove(chain="backbox", first=2, last=2)),
        ("took out Reef lane 1 to Reef lane 4", Remove(chain="playfield", first=1, last=4)),
        ("took out Reef lane 4 to Reef lane 1", Remove(chain="playfield", first=1, last=4)),
        ("took out playfield: #3", None),
        ("playfield: took out #3", Remove(chain="playfield", first=3, last=3)),
        ("reversed Reef lane 1 to Reef lane 4", Reverse(chain="playfield", first=1, last=4)),
        ("moved GI 0 to GI 1 after GI 4", MoveRun(chain="backbox", first=0, last=1, after=4)),
        ("moved Reef lane 4 before Reef lane 1", MoveRun(chain="playfield", first=4, last=4, after=0)),
        ("moved Reef lane 4 to the start", MoveRun(chain="playfield", first=4, last=4, after=None)),
        ("swapped Reef lane 1 and Reef lane 5", Swap(chain="playfield", one=1, other=5)),
        ("replaced GI 1", Replace(chain="backbox", number=1)),
        ("replaced Reeflane 1", Replace(chain="playfield", number=1)),
        ("took out Reef lane 17", None),
        ("took out #99", None),
        ("swapped Reef lane 1 and GI 2", None),
        ("swapped #1 and #2", None),
        ("swapped Reef lane 1 and Reef lane 1", None),
        ("0 new after GI 1", None),
        ("3 new", None),
        ("", None),
        ("[/x]", None),
        ("took out \x1b[31m", None),
    ],
)
def test_words(words: str, edit: Edit | None) -> None:
    if edit is not None:
        assert parse_edit(machine(), words) == edit
        return
    with pytest.raises(EditTextError) as error:
        parse_edit(machine(), words)
    assert len(str(error.value)) > 20


@pytest.mark.slow
@given(
    st.text(max_size=60)
    | st.lists(
        st.sampled_from(["took", "out", "new", "after", "GI", "1", "to", "and", "#", "3", '"', "Playfield:"])
    ).map(" ".join)
)
def test_any_words_give_an_edit_or_a_clear_error(words: str) -> None:
    map_ = machine()
    complaint, edit = "", None
    try:
        edit = parse_edit(map_, words)
    except EditTextError as error:
        complaint = str(error)
    if edit is None:
        assert complaint
    else:
        apply_edit(map_, edit)


def test_labels_that_hold_the_words_of_the_language() -> None:
    map_ = add_chain(
        new_map("Kelp Forest"), Chain(id="a", name="A", output=0, pixels=tuple(Pixel(id=f"p{n}") for n in range(4)))
    )
    for number, label in enumerate(("Gate to reef", "Fish and chips", "12", "the end")):
        map_, place = add_place(map_, label, area="Upper" if number else "Lower")
        map_ = assign_place(map_, "a", number, place.id)
    assert parse_edit(map_, "swapped Gate to reef and Fish and chips") == Swap(chain="a", one=0, other=1)
    assert parse_edit(map_, "took out Gate to reef to Fish and chips") == Remove(chain="a", first=0, last=1)
    assert parse_edit(map_, 'took out "12"') == Remove(chain="a", first=2, last=2)
    assert parse_edit(map_, "took out 3") == Remove(chain="a", first=3, last=3)


def test_two_places_of_one_name_are_told_apart_by_their_area() -> None:
    map_ = add_chain(
        new_map("Kelp Forest"), Chain(id="a", name="A", output=0, pixels=tuple(Pixel(id=f"p{n}") for n in range(3)))
    )
    for number, area in enumerate(("Left", "Right", "Right")):
        map_, place = add_place(map_, "Glow" if number < 2 else "Lane", area=area)
        map_ = assign_place(map_, "a", number, place.id)
    with pytest.raises(EditTextError, match=r"Glow \(Left\).*Glow \(Right\)"):
        parse_edit(map_, "took out Glow")
    assert parse_edit(map_, "took out glow (right)") == Remove(chain="a", first=1, last=1)


def test_every_form_in_the_help_is_understood() -> None:
    map_ = add_chain(
        new_map("Kelp Forest"), Chain(id="a", name="A", output=0, pixels=tuple(Pixel(id=f"p{n}") for n in range(16)))
    )
    for number in range(16):
        map_, place = add_place(map_, f"Reef lane {number}" if number < 5 else f"GI {number - 2}")
        map_ = assign_place(map_, "a", number, place.id)
    for form in FORMS:
        parse_edit(map_, form)


def test_a_replaced_pixel_is_another_one_at_the_same_place() -> None:
    map_ = machine()
    map_ = set_state(map_, "playfield", 1, PixelState.DEAD)
    after = apply_edit(map_, Replace(chain="playfield", number=1, batch="new-lot"))
    old, new = map_.chain("playfield").pixels[1], after.chain("playfield").pixels[1]
    assert new.id != old.id
    assert (new.place, new.note, new.state, new.batch) == (old.place, old.note, PixelState.PLACED, "new-lot")


def test_ids_are_never_used_again() -> None:
    map_ = machine()
    after = renumber(map_, [Remove(chain="playfield", first=8, last=8)], time=NOW, reason="gone")
    again = renumber(after, [Insert(chain="playfield", after=7)], time=NOW, reason="another")
    assert again.chain("playfield").pixels[8].id != map_.chain("playfield").pixels[8].id
