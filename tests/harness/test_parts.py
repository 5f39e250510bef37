"""Wires to cut with the labels of both ends, and every part counted."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings

from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.model.harness import Batch, Feed, Fixing, Joint, Supply
from probe.document.operations import fresh_pixels, new_map
from probe.harness.from_map import (
    ASSUMED_FEED_MM,
    ASSUMED_FEED_WIRE,
    ASSUMED_SPACING_MM,
    compute,
    feeds_of,
    plan_of,
)
from probe.harness.parts import cut_list, parts_list, wire_needed
from tests.document.strategies import maps
from tests.support.examples import examples

DEMO = load_map(demo_map_path())


def small() -> PlayfieldMap:
    """Three pixels of two batches, one feed, one joint noted, 5 V left open before the last."""
    chain = Chain(id="a", name="Reef", output=2, count=3, wire="22 AWG", ground_wire="20 AWG", spacing_mm=80)
    first, second, third = (
        p.model_copy(update={"batch": b}) for p, b in zip(fresh_pixels(chain, 3), "rrs", strict=True)
    )
    joints = (
        Joint(before="a-0", length_mm=500, fixing=Fixing.CLIP),
        Joint(after="a-1", before="a-2", length_mm=120, five_volt_open=True),
    )
    chain = chain.model_copy(update={"pixels": (first, second, third), "joints": joints})
    batches = (
        Batch(id="r", name="Reel", five_volt="red", ground="black", data_in="green", data_out="blue"),
        Batch(id="s", name="Strip", five_volt="red", ground="white", data_in="green", data_out="green"),
    )
    feed = Feed(id="f", name="Head", chain="a", pixel="a-0", supply="s", wire="18 AWG", length_mm=600, fuse_a=3)
    return new_map("Kelp").model_copy(
        update={"chains": (chain,), "batches": batches, "feeds": (feed,), "supplies": (Supply(id="s", name="Brick"),)}
    )


def test_every_wire_has_its_gauge_colour_length_and_both_labels() -> None:
    rows = [(c.gauge, c.colour, c.length_mm, c.first_label, c.last_label) for c in cut_list(small())]
    assert rows == [
        ("18 AWG", "", 600, "Brick 5 V (fuse)", "2:0 5 V"),
        ("18 AWG", "", 600, "Brick ground", "2:0 ground"),
        ("20 AWG", "black", 500, "board ground 2", "2:0 ground"),
        ("22 AWG", "green", 500, "board data out 2", "2:0 data in"),
        ("22 AWG", "red", 80, "2:0 5 V", "2:1 5 V"),
        ("20 AWG", "black", 80, "2:0 ground", "2:1 ground"),
        ("22 AWG", "blue to green", 80, "2:0 data out", "2:1 data in"),
        ("20 AWG", "black to white", 120, "2:1 ground", "2:2 ground"),
        ("22 AWG", "blue to green", 120, "2:1 data out", "2:2 data in"),
    ]
    assert not any(cut.assumed for cut in cut_list(small()))


def test_what_is_not_noted_is_marked_as_assumed() -> None:
    map_ = new_map("Kelp").model_copy(update={"chains": (Chain(id="a", name="A", output=0, count=2),)})
    cuts = cut_list(map_)
    assert all(cut.assumed for cut in cuts)
    assert {cut.length_mm for cut in cuts} == {ASSUMED_SPACING_MM, ASSUMED_FEED_MM}
    assert [cut.last_label for cut in cuts][-1] == "0:1 data in"


def feed_ends(map_: PlayfieldMap) -> list[tuple[str, float, str, str]]:
    """The feeds of the cut list: name, mm, where from, where to; each has a wire for 5 V and one for ground."""
    cuts = [cut for cut in cut_list(map_) if cut.where.startswith("feed ")]
    assert [cut.function for cut in cuts] == ["5 V", "ground"] * (len(cuts) // 2)
    return [
        (cut.where.removeprefix("feed "), cut.length_mm, cut.first_label, cut.last_label)
        for cut in cuts
        if cut.function == "5 V"
    ]


def two_chains() -> PlayfieldMap:
    """The small map with a second chain, which nobody noted a feed for."""
    map_ = small()
    other = Chain(id="b", name="Kelp", output=5, wire="22 AWG", spacing_mm=50)
    other = other.model_copy(update={"pixels": fresh_pixels(other, 4)})
    whole = map_.chain("a").model_copy(update={"joints": ()})
    return map_.model_copy(update={"chains": (whole, other)})


def test_a_chain_without_a_feed_is_cut_and_counted_the_one_that_the_plan_takes() -> None:
    map_ = two_chains()
    assert feed_ends(map_) == [
        ("Head", 600, "Brick 5 V (fuse)", "2:0 5 V"),
        ("board end of Kelp", ASSUMED_FEED_MM, "Brick 5 V (fuse)", "5:0 5 V"),
    ]
    assert [cut.assumed for cut in cut_list(map_) if cut.where == "feed board end of Kelp"] == [True, True]
    assert {c.gauge for c in cut_list(map_) if c.where == "feed board end of Kelp"} == {ASSUMED_FEED_WIRE}
    rows = {row.part: row.quantity for row in parts_list(map_, compute(map_))}
    assert (rows["fuse holder"], rows["connector, 2 pins, with its counterpart"]) == (2, 2)
    fuses = sum(row.quantity for row in parts_list(map_, compute(map_)) if row.part.startswith("blade fuse"))
    assert fuses == 4, "two feeds, and as many spare"


def test_a_feed_whose_pixel_is_gone_is_cut_no_more_than_the_plan_has_it() -> None:
    map_ = two_chains()
    gone = map_.feeds[0].model_copy(update={"id": "g", "name": "Tail", "pixel": "a-9", "length_mm": 1_700.0})
    kept = map_.model_copy(update={"feeds": (gone, *map_.feeds)})
    assert [name for name, *_ in feed_ends(kept)] == ["Head", "board end of Kelp"]
    only = map_.model_copy(update={"feeds": (gone,)})
    assert feed_ends(only)[0] == ("board end of Reef", ASSUMED_FEED_MM, "Brick 5 V (fuse)", "2:0 5 V")
    assert any("left out" in assumed.text for assumed in plan_of(only).assumed)
    lost = map_.feeds[0].model_copy(update={"supply": "sold"})
    assert feed_ends(map_.model_copy(update={"feeds": (lost,)}))[0][2] == "Brick 5 V (fuse)"


def test_a_large_capacitor_is_spared_where_the_feed_that_is_taken_comes_from_usb() -> None:
    usb = two_chains().model_copy(update={"supplies": (Supply(id="s", name="Laptop", usb=True),), "feeds": ()})
    assert not any("1000 µF" in row.part for row in parts_list(usb, compute(usb)))


def test_without_a_supply_the_one_that_is_taken_is_counted() -> None:
    bare = two_chains().model_copy(update={"supplies": (), "feeds": ()})
    found = {row.part: row for row in parts_list(bare, compute(bare))}
    assert found["supply 5 V: 5 V supply"].why.startswith("none is noted; the plan wants")
    assert {end[2] for end in feed_ends(bare)} == {"5 V supply 5 V (fuse)"}


def test_metres_add_up() -> None:
    cuts = cut_list(small())
    needed = wire_needed(cuts)
    assert sum(metres for *_, metres in needed) == pytest.approx(sum(c.length_mm for c in cuts) / 1000)
    assert {(g, c): m for g, c, m in needed}["22 AWG", "blue to green"] == pytest.approx(0.2)


def test_parts_are_counted() -> None:
    map_ = small()
    found = {row.part: (row.quantity, row.unit) for row in parts_list(map_, compute(map_))}
    assert found["blade fuse 3 A"] == (2, "")
    assert found["fuse holder"] == (1, "")
    assert found["connector, 2 pins, with its counterpart"] == (1, "")
    assert found["resistor 300 to 500 Ω"] == (1, "")
    assert found["capacitor 1000 µF, 6.3 V or more"] == (1, "")
    assert found["capacitor 100 nF"] == (3, "")
    assert found["heat-shrink tubing"] == (0.2, "m"), "nine wires, 20 mm each, up to the next 0.1 m"
    assert found["wire 18 AWG, colour not noted"] == (1.4, "m"), "1.2 m and a tenth, up to the next 0.1 m"
    assert found["clip"] == (1, "")
    assert found["staple or cable clip"] == (4 + 3 + 1 + 1, "")
    kinds = [(row.quantity, row.why) for row in parts_list(map_, compute(map_)) if row.part == "pixel ws2812b"]
    assert kinds == [(2, "from Reel"), (1, "from Strip")]


def test_no_large_capacitor_where_a_chain_runs_from_usb() -> None:
    map_ = small()
    usb = map_.model_copy(update={"supplies": (Supply(id="s", name="Laptop", usb=True),)})
    assert not any("1000 µF" in row.part for row in parts_list(usb, compute(usb)))


def test_a_fuse_that_is_not_noted_is_the_plans() -> None:
    map_ = small()
    chain = map_.chain("a").model_copy(update={"joints": ()})
    feed = map_.feeds[0].model_copy(update={"fuse_a": None})
    open_map = map_.model_copy(update={"feeds": (feed,), "chains": (chain,)})
    power = compute(open_map)
    assert power.report is not None
    wanted = power.report.feeds[0].fuse.rating_a
    assert f"blade fuse {wanted:g} A" in {row.part for row in parts_list(open_map, power)}


def test_the_demo_counts_every_pixel_once() -> None:
    rows = parts_list(DEMO, compute(DEMO))
    assert sum(row.quantity for row in rows if row.part.startswith("pixel ws")) == 108
    stretches = {cut.where for cut in cut_list(DEMO) if not cut.where.startswith("feed")}
    assert len(stretches) == 108


@pytest.mark.slow
@pytest.mark.long
@settings(max_examples=examples(40))
@given(maps())
def test_any_map_has_a_list_and_a_count(map_: PlayfieldMap) -> None:
    cuts = cut_list(map_)
    assert all(math.isfinite(cut.length_mm) and cut.first_label and cut.last_label for cut in cuts)
    ends = [
        (cut.where, cut.function, cut.last_label)
        for cut in cuts
        if ":" in cut.last_label and not cut.where.startswith(("feed", "grounds of the supplies"))
    ]
    joints = sum(chain.length for chain in map_.chains)
    assert len(ends) <= 3 * joints
    if any(chain.length for chain in map_.chains):  # the plan and the list rest on the same feeds
        feeds = [(f"feed {feed.name}", feed.length_m * 1_000) for feed in plan_of(map_).plan.feeds]
        cut = [(c.where, c.length_mm) for c in cuts if c.where.startswith("feed ") and c.function == "5 V"]
        assert [name for name, _ in cut] == [name for name, _ in feeds]
        assert [mm for _, mm in cut] == pytest.approx([mm for _, mm in feeds])
        assert len(feeds_of(map_)) == len(feeds)
    for row in parts_list(map_, compute(map_), cuts=cuts):
        assert row.quantity > 0
        assert row.part
