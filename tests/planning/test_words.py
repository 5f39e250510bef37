"""Plans, splices and slack in words, for a map with two short chains, one feed, and no lengths noted."""

from __future__ import annotations

import pytest

from probe.document import operations as op
from probe.document.model import Chain, PlayfieldMap, Position
from probe.document.wiring import add_feed, add_supply, joint_at, put_joint
from probe.export.sheet import sheet_html
from probe.harness.from_map import compute
from probe.harness.parts import parts_list
from probe.planning.plan import brief_of, first_plan
from probe.planning.splice import Repair, Splice, frontier, slacks
from probe.planning.words import headline, plan_lines, repair_line, slack_summary, splice_figures


def two_short_chains() -> PlayfieldMap:
    """Three pixels and one, a lamp without any; one of the chains has a feed."""
    map_ = op.new_map("Two short chains")
    for name, output, count in (("left", 0, 3), ("right", 1, 1)):
        map_ = op.add_chain(map_, Chain(id=name, name=f"{name.capitalize()} chain", output=output))
        for at in range(count):
            spot = Position(x_mm=100.0 + 50 * at + 200 * output, y_mm=200.0)
            map_, place = op.add_place(map_, f"{name} lamp {at + 1}", position=spot)
            map_ = op.assign_place(map_, name, at, place.id)
    map_, _ = op.add_place(map_, "Lone lamp", position=Position(x_mm=180.0, y_mm=260.0))
    map_, supply = add_supply(map_, "supply")
    return add_feed(map_, "left", 0, supply=supply.id, name="left start")[0]


def test_where_no_length_is_noted_nobody_says_that_the_wire_is_long_enough() -> None:
    map_ = two_short_chains()
    assert slack_summary(slacks(map_, "left")).startswith("Not known: nowhere is a length noted")
    map_ = put_joint(map_, "left", joint_at(map_.chain("left"), 1).model_copy(update={"length_mm": 74.0}))
    # 50 mm of way, and 12 mm up into each of the two seats: just enough, and no more
    assert slack_summary(slacks(map_, "left")) == "The wire is long enough everywhere that a length is noted."
    map_ = put_joint(map_, "left", joint_at(map_.chain("left"), 1).model_copy(update={"length_mm": 73.0}))
    assert slack_summary(slacks(map_, "left")) == "1 of 1 stretch is too short."
    map_ = put_joint(map_, "left", joint_at(map_.chain("left"), 2).model_copy(update={"length_mm": 73.0}))
    assert slack_summary(slacks(map_, "left")) == "2 of 2 stretches are too short."


def test_a_splice_before_the_first_pixel_or_after_the_last_has_right_words() -> None:
    map_ = two_short_chains()
    found = [splice_figures(one) for one in frontier(map_, "left", ["lone-lamp"])]
    # hand-made: after the last one (200, 200) to (180, 260) is 63 mm; before the first all three shift
    assert found[-1] == "63 mm more wire, 1 joint, no number shifts"
    assert splice_figures(Splice("left", (), 30.0, 2, 3, 0)) == "30 mm more wire, 2 joints, 3 numbers shift"
    assert (
        splice_figures(Splice("left", (), 30.0, 2, 1, 2)) == "30 mm more wire, 2 joints, 1 number shifts, none below 2"
    )


@pytest.mark.parametrize(
    ("shifted", "words"), [(0, "no number shifts"), (1, "1 number shifts"), (2, "2 numbers shift")]
)
def test_a_repair_counts_in_words(shifted: int, words: str) -> None:
    assert repair_line(Repair("replace it", None, 1, shifted, True)) == f"replace it (wire not known, 1 joint, {words})"


def test_a_plan_names_chains_as_the_map_does() -> None:
    map_ = two_short_chains()
    plan = first_plan(brief_of(map_))
    assert headline(plan).startswith("3 + 2 pixels, way ")
    lines = plan_lines(map_, plan, None)
    assert "  one at the first pixel of each chain: Left chain, Right chain" in lines
    assert any(line.startswith("Right chain: 2 stretches, ") for line in lines)
    assert not any(line.startswith(("left:", "right:")) for line in lines)


def test_the_papers_say_what_is_missing() -> None:
    map_ = two_short_chains()
    rows = {row.part: row for row in parts_list(map_, compute(map_))}
    assert rows["pixel ws2812b"].quantity == 4
    assert rows["pixel, to add"].quantity == 1
    page = sheet_html(map_)
    assert "<b>no feed noted</b>: <bdi>Right chain</bdi>" in page
    assert "<bdi>Right chain</bdi>: output 1, 1 pixel ws2812b" in page
