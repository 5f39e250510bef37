"""Joints and feeds after every kind of renumbering."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.checks import check_map
from probe.document.follow import MOVED_FEED, follow
from probe.document.model import Chain, Pixel, PlayfieldMap
from probe.document.model.harness import Fixing, JoinedTo, Joint, Supply
from probe.document.operations import add_chain, new_map, replace_chain
from probe.document.wiring import add_feed, joint_at, joints_in_order, put, put_joint

NAMES = "abcdef"


def laid(names: Sequence[str] = NAMES, length_mm: float | None = 100.0) -> PlayfieldMap:
    """A chain of pixels with every joint noted: the one arriving at `c` has the colour `to c`, and so on."""
    map_ = add_chain(
        new_map("Kelp Forest"), Chain(id="k", name="Kelp", output=0, pixels=tuple(Pixel(id=n) for n in names))
    )
    map_ = put(map_, Supply(id="main", name="Main"))
    for number, name in enumerate(names):
        joint = joint_at(map_.chain("k"), number)
        told: dict[str, object] = {
            "leaving_data": f"from {joint.after}",
            "arriving_data": f"to {name}",
            "data_to": JoinedTo.DATA_IN,
        }
        told |= {"checked": True, "fixing": Fixing.STAPLE, "length_mm": length_mm}
        map_ = put_joint(map_, "k", joint.model_copy(update=told))
    return map_


def reordered(map_: PlayfieldMap, names: Sequence[str], made_on: str = "2025-03-16") -> PlayfieldMap:
    """The chain with these pixels in this order, wiring brought in line."""
    held = {pixel.id: pixel for pixel in map_.chain("k").pixels}
    pixels = tuple(held.get(name, Pixel(id=name)) for name in names)
    return follow(map_, replace_chain(map_, map_.chain("k").model_copy(update={"pixels": pixels})), made_on=made_on)


def shape(map_: PlayfieldMap) -> list[tuple[str, float | None, bool]]:
    """(ends, length, checked) of each joint in order."""
    return [(f"{j.after or '.'}{j.before}", j.length_mm, j.checked) for j in joints_in_order(map_.chain("k"))]


def test_a_splice_splits_a_stretch() -> None:
    map_ = reordered(laid(), "abxcdef")
    assert shape(map_) == [
        (".a", 100, True), ("ab", 100, True), ("bx", 50, False), ("xc", 50, False), ("cd", 100, True), ("de", 100, True),
        ("ef", 100, True),
    ]  # fmt: skip
    first, second = joint_at(map_.chain("k"), 2), joint_at(map_.chain("k"), 3)
    assert (first.leaving_data, first.arriving_data, first.data_to) == ("from b", "", JoinedTo.NOT_LOOKED)
    assert (second.leaving_data, second.arriving_data) == ("", "to c")
    assert first.made_on == second.made_on == "2025-03-16"
    assert first.fixing is Fixing.STAPLE
    assert [s[1] for s in shape(reordered(laid(), "abxyzcdef"))][2:6] == [25, 25, 25, 25]


def test_a_splice_at_either_end() -> None:
    assert shape(reordered(laid("ab"), "xab"))[:2] == [(".x", 50, False), ("xa", 50, False)]
    map_ = reordered(laid("ab"), "abx")
    assert shape(map_)[2] == ("bx", None, False)
    assert shape(reordered(laid("ab"), "abxy"))[3] == ("xy", None, False)


def test_taking_out_makes_one_stretch_of_two() -> None:
    map_ = reordered(laid(), "abdef")
    assert shape(map_)[2] == ("bd", 200, False)
    joint = joint_at(map_.chain("k"), 2)
    assert (joint.leaving_data, joint.arriving_data) == ("from b", "to d")
    assert shape(reordered(laid(), "aef"))[1] == ("ae", 400, False)
    assert shape(reordered(laid(), "bcdef"))[0] == (".b", 200, False)
    assert [ends for ends, _, _ in shape(reordered(laid(), "abcde"))] == [".a", "ab", "bc", "cd", "de"]
    assert reordered(laid(), "").chain("k").joints == ()


def test_a_replaced_pixel_keeps_the_lengths_on_both_sides() -> None:
    map_ = laid()
    map_ = put_joint(map_, "k", joint_at(map_.chain("k"), 2).model_copy(update={"length_mm": 30.0}))
    assert [s[1] for s in shape(reordered(map_, "abxdef"))][2:4] == [30, 100]


def test_a_turned_stretch_keeps_its_lengths_inside() -> None:
    map_ = laid()
    for number in range(6):
        map_ = put_joint(map_, "k", joint_at(map_.chain("k"), number).model_copy(update={"length_mm": number * 10.0}))
    map_ = reordered(map_, "adcbef")
    assert [(ends, length) for ends, length, _ in shape(map_)] == [
        (".a", 0), ("ad", None), ("dc", 30), ("cb", 20), ("be", None), ("ef", 50),
    ]  # fmt: skip
    turned = joint_at(map_.chain("k"), 2)
    assert (turned.leaving_data, turned.arriving_data) == ("from d", "to c"), "wires belong to the pixel's ends"
    assert not turned.checked


def test_moved_and_swapped_pixels() -> None:
    moved = reordered(laid(), "acdebf")
    assert [(e, le) for e, le, _ in shape(moved)] == [
        (".a", 100), ("ac", None), ("cd", 100), ("de", 100), ("eb", None), ("bf", None),
    ]  # fmt: skip
    swapped = reordered(laid(), "abdcef")
    assert [(e, c) for e, _, c in shape(swapped)] == [
        (".a", True), ("ab", True), ("bd", False), ("dc", False), ("ce", False), ("ef", True),
    ]  # fmt: skip


def test_an_open_five_volt_wire_stays_open_once() -> None:
    map_ = laid()
    map_ = put_joint(map_, "k", joint_at(map_.chain("k"), 2).model_copy(update={"five_volt_open": True}))
    for names in ("abxcdef", "abdef", "acdef", "abxdef"):
        opened = [j for j in reordered(map_, names).chain("k").joints if j.five_volt_open]
        assert len(opened) == 1, names


def test_a_feed_travels_with_its_pixel_and_finds_another_when_it_goes() -> None:
    map_, _ = add_feed(laid(), "k", 2, supply="main", name="Middle", note="behind the sling")
    assert reordered(map_, "xabcdefy").feeds == map_.feeds
    gone = reordered(map_, "abdef").feeds[0]
    assert (gone.pixel, gone.note) == ("d", f"behind the sling; {MOVED_FEED}")
    assert reordered(map_, "abxdef").feeds[0].pixel == "x"
    assert reordered(map_, "ab").feeds[0].pixel == "b"
    assert reordered(map_, "def").feeds[0].pixel == "d"


def test_nothing_noted_stays_nothing_noted() -> None:
    pixels = tuple(Pixel(id=name) for name in NAMES)
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="k", name="Kelp", output=0, pixels=pixels))
    assert reordered(map_, "badc", made_on="").chain("k").joints == ()


def test_spacing_stands_in_for_lengths_that_are_not_noted() -> None:
    map_ = laid(length_mm=None)
    map_ = replace_chain(map_, map_.chain("k").model_copy(update={"spacing_mm": 60.0}))
    assert shape(reordered(map_, "acdef"))[1] == ("ac", 120, False)
    assert [length for _, length, _ in shape(reordered(map_, "axbcdef"))][1:3] == [30, 30]


orders = st.lists(st.sampled_from("abcdefxyz"), unique=True, max_size=9)


@given(orders)
def test_whatever_the_change_the_joints_are_those_of_neighbours(names: list[str]) -> None:
    before = laid()
    map_ = reordered(before, names)
    assert not [f for f in check_map(map_) if f.code in ("joint-lost", "feed-lost")]
    old = list(NAMES)
    for joint in map_.chain("k").joints:
        if joint.checked:
            at = old.index(joint.before)
            assert joint.after == (old[at - 1] if at else None), "only a joint that stayed is still checked"
        assert joint.leaving_data in ("", f"from {joint.after}")
        assert joint.arriving_data in ("", f"to {joint.before}")
    assert follow(before, map_, made_on="2026-01-01") == map_


@given(st.lists(st.tuples(st.booleans(), st.floats(0, 0.999)), max_size=10))
def test_splices_and_removals_keep_the_length_between_those_that_stay(edits: list[tuple[bool, float]]) -> None:
    """The wire between `a` and `f`, which stay, is as long as ever, however it is cut and joined between them."""
    map_, fresh = laid(), iter("ghijklmnopqrstuvwxyz")
    for insert, share in edits:
        names = [pixel.id for pixel in map_.chain("k").pixels]
        inner = len(names) - 1
        at = 1 + int(share * inner)
        if insert:
            map_ = reordered(map_, [*names[:at], next(fresh), *names[at:]])
        elif names[at] != "f":
            map_ = reordered(map_, names[:at] + names[at + 1 :])
    total = [joint.length_mm for joint in list(joints_in_order(map_.chain("k")))[1:]]
    assert sum(length for length in total if length is not None) == pytest.approx(500)
    assert None not in total


def test_a_chain_of_another_map_is_left_alone() -> None:
    map_ = laid()
    other = Joint(after="q", before="r", note="kept")
    changed = replace_chain(map_, map_.chain("k").model_copy(update={"joints": (*map_.chain("k").joints, other)}))
    assert follow(map_, changed) == changed
    assert [f.code for f in check_map(changed)].count("joint-lost") == 1
