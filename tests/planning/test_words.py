"""Plans, splices and slack in words, for a map with two short chains, one feed, and no lengths noted."""

from __future__ import annotations

import shlex
from itertools import combinations
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document import operations as op
from probe.document.file import load_map
from probe.document.model import Chain, PixelState, PlayfieldMap, Position
from probe.document.model.evenings import WorkMoment
from probe.document.model.planning import PlanRules
from probe.document.needs import needs
from probe.document.wiring import add_feed, add_supply, joint_at, put_joint
from probe.export.sheet import sheet_html
from probe.harness.from_map import compute
from probe.harness.parts import parts_list
from probe.planning.plan import brief_of, cut_mm, first_plan
from probe.planning.splice import Repair, Splice, SpliceCut, frontier, slacks, spliced
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
    assert (
        repair_line(Repair("replace it", None, 1, shifted, True, ()))
        == f"replace it (wire not known, 1 joint, {words})"
    )


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
    assert page.count("no feed noted</b>") == 1
    assert "<bdi>Right chain</bdi>: output 1, 1 pixel ws2812b" in page
    gone = map_.feeds[0].model_copy(update={"pixel": "cut-out"})
    page = sheet_html(map_.model_copy(update={"feeds": (gone,)}))
    assert page.count("<b>no feed noted</b>: ") == 2
    assert "to no pixel of this map" in page


@pytest.mark.parametrize(("name", "lengths"), [("Left chain", (4, 1)), ("Right chain", (3, 2))])
def test_what_a_splice_says_to_run_afterwards_makes_that_change(
    name: str, lengths: tuple[int, int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    map_ = two_short_chains()
    file = tmp_path / "map.json"
    file.write_text(map_.model_dump_json(), encoding="utf-8")
    assert main(["plan", str(file), "--splice", "--chain", name]) == Exit.FINE
    line = next(line for line in capsys.readouterr().out.splitlines() if "afterwards: " in line)
    program, *words = shlex.split(line.partition("afterwards: ")[2])
    assert program == "playfield-probe"
    assert main([str(file) if word == "MAP" else word for word in words]) == Exit.FINE
    after = load_map(file)
    assert (len(after.chain("left").pixels), len(after.chain("right").pixels)) == lengths


def test_wire_to_cut_is_the_way_both_seats_and_the_loop_rounded_up() -> None:
    # hand-made: 101 + 2 × 12 + 25 = 150; one more begins the next ten
    rules = PlanRules(seating_mm=12, loop_mm=25, rounding_mm=10)
    assert (cut_mm(rules, 101.0), cut_mm(rules, 102.0), cut_mm(rules, 111.0)) == (150, 160, 160)


def test_a_change_of_area_costs_what_the_rules_say_and_staying_costs_nothing() -> None:
    map_ = two_short_chains()
    for place in map_.places:
        map_ = op.update_place(map_, place.model_copy(update={"area": "Reef" if "left" in place.id else "Cove"}))
    tidy, least = brief_of(map_).network.between_mm, brief_of(map_, tidy=False).network.between_mm
    areas = [seat.area for seat in brief_of(map_).seats]
    rules = map_.plan_rules or PlanRules()
    for a, b in combinations(range(5), 2):
        assert tidy[a, b] - least[a, b] == pytest.approx(rules.area_change_mm if areas[a] != areas[b] else 0.0)


def test_a_splice_to_plan_is_work_before_power() -> None:
    need = next(need for need in needs(two_short_chains()) if need.task == "plan")
    assert need.moment is WorkMoment.BEFORE_POWER


def test_a_pin_ties_the_last_pixel_of_one_place_to_the_first_of_the_other() -> None:
    map_ = op.add_chain(op.new_map("Pinned"), Chain(id="k", name="Kelp", output=0))
    for number, name in enumerate(("one", "one", "other", "other")):
        if name not in map_.place_by_id:
            map_, _ = op.add_place(map_, name, position=Position(x_mm=100.0 * number + 50, y_mm=50.0))
        map_ = op.assign_place(map_, "k", number, name)
    map_ = map_.model_copy(update={"plan_rules": PlanRules(pinned=(("one", "other"),))})
    brief = brief_of(map_)
    assert [(seat.place, seat.index) for seat in brief.seats] == [("one", 0), ("one", 1), ("other", 0), ("other", 1)]
    pinned = {tuple(pair) for pair in zip(*(brief.network.between_mm < -1_000).nonzero(), strict=True)}
    assert pinned == {(1, 2), (2, 1)}
    assert map_.plan_rules is not None
    # two chains may carry twice their share of two, unless an output carries no more than two
    free = map_.plan_rules.model_copy(update={"spare_percent": 100})
    assert brief_of(map_.model_copy(update={"plan_rules": free}), chains=2).network.largest == 4
    one_each = map_.plan_rules.model_copy(update={"largest_chain": 2, "spare_percent": 100})
    assert brief_of(map_.model_copy(update={"plan_rules": one_each}), chains=2).network.largest == 2


def test_pixels_that_are_dark_are_to_be_replaced_as_dead_ones_are() -> None:
    map_ = op.set_state(op.set_state(two_short_chains(), "left", 0, PixelState.DARK), "left", 1, PixelState.DEAD)
    rows = {row.part: row for row in parts_list(map_, compute(map_))}
    assert rows["pixel, to replace"].quantity == 2


def test_a_pixel_without_a_position_between_two_needs_both_of_its_seats_too() -> None:
    map_ = two_short_chains()
    place = map_.place_by_id["left-lamp-2"]
    map_ = op.update_place(map_, place.model_copy(update={"position": None}))
    for number in (1, 2):
        map_ = put_joint(map_, "left", joint_at(map_.chain("left"), number).model_copy(update={"length_mm": 80.0}))
    # hand-made: 100 mm from the first lamp to the third, and 12 mm up into a seat four times
    (slack,) = slacks(map_, "left")
    assert (slack.first, slack.last, slack.wire_mm, slack.needed_mm) == (0, 2, 160, 148)


def test_every_new_pixel_of_a_splice_at_two_points_has_its_own_place() -> None:
    map_, places = two_short_chains(), []
    for name in ("one", "two", "three"):
        map_, place = op.add_place(map_, name)
        places.append(place.id)
    splice = Splice("left", (SpliceCut(0, (places[0], places[1])), SpliceCut(1, (places[2],))), 0.0, 5, 2, 1)
    after = spliced(map_, splice)
    there = [pixel.place for pixel in after.chain("left").pixels]
    assert there == ["left-lamp-1", "one", "two", "left-lamp-2", "three", "left-lamp-3"]
