"""A map's notes as a power plan: what is taken from it, what is assumed, and what only a map can tell."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings

from device_protocol.lightness import DUTY
from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, Pixel, PixelState, PlayfieldMap
from probe.document.model.harness import Batch, Joint, Power, Supply
from probe.document.operations import (
    add_chain,
    add_place,
    assign_place,
    new_map,
    replace_chain,
    set_state,
    update_place,
)
from probe.document.wiring import add_feed, joint_at, put, put_joint
from probe.export.voltage_svg import drawings
from probe.harness.checks import Weight
from probe.harness.from_map import ASSUMED_WIRE, MapPower, compute, plan_of
from probe.harness.picture import profile_of, text_picture, thinned
from probe.harness.plan import LoadState, OddJoint
from probe.harness.words import as_data, power_sections
from tests.document.strategies import maps
from tests.support.examples import examples

DEMO = load_map(demo_map_path())


def bare(count: int = 20, **changes: Any) -> PlayfieldMap:
    """One chain, nothing noted of its wiring."""
    pixels = tuple(Pixel(id=f"k-{n}") for n in range(count))
    return add_chain(
        new_map("Kelp Forest"), Chain(id="k", name="Kelp", output=0, count=count, pixels=pixels, **changes)
    )


def codes(power: MapPower) -> dict[str, Weight]:
    return {finding.code: finding.weight for finding in power.findings}


def test_a_map_without_notes_says_what_is_assumed() -> None:
    made = plan_of(bare())
    told = {(a.where, a.text) for a in made.assumed}
    assert ("Kelp", f"the wire between pixels is not noted: {ASSUMED_WIRE}") in told
    assert ("Kelp", "the wire length between pixels is not noted: 100 mm each") in told
    assert ("Kelp", "no feed is noted: one at pixel 0 from 5 V supply, 500 mm of 18 AWG") in told
    assert ("supplies", "no supply is noted: one of 5 V, as large as it needs to be") in told
    assert not compute(bare()).must_stop


def test_a_whole_map_assumes_nothing_but_the_current_that_no_sheet_gives() -> None:
    power = compute(DEMO)
    assert {(a.where, a.what) for a in power.assumed} == {("Playfield", "current"), ("Backbox", "current")}
    assert not power.must_stop
    assert power.made is not None
    plan = power.made.plan
    assert [(f.name, f.chain, f.pixel, f.length_m, f.wire.awg) for f in plan.feeds] == [
        ("Board end", "Playfield", 0, 0.6, 18), ("Bumper cove", "Playfield", 56, 1.1, 18), ("Neck", "Backbox", 0, 1.4, 18),
    ]  # fmt: skip
    playfield = plan.chain("Playfield")
    lengths = playfield.section_lengths_m()
    assert (len(lengths), lengths[0], lengths[10], lengths[78], lengths[79]) == (83, 0.09, 0.26, 0.12, 0.19)
    assert playfield.data_lead_m == 0.7
    assert playfield.ceiling_ma == 450
    assert plan.drive_volt == 5.0


def test_levels_come_from_places_and_reserves_stay_dark() -> None:
    map_ = bare(6)
    map_, first = add_place(map_, "Reef lane 1")
    map_ = update_place(map_, first.model_copy(update={"level": 100}))
    map_, second = add_place(map_, "Reef lane 2")
    map_ = assign_place(assign_place(map_, "k", 1, first.id), "k", 2, second.id)
    map_ = set_state(set_state(map_, "k", 4, PixelState.SPARE), "k", 5, PixelState.REPEATER)
    assert plan_of(map_).plan.chains[0].shares(255).tolist() == pytest.approx([1, DUTY[100] / 255, 1, 1, 0, 0])


def test_pixel_kinds_of_chain_and_batch() -> None:
    map_ = put(bare(4, chip="ws2812b-v5"), Batch(id="late", name="Late", chip="sk6812"))
    chain = map_.chain("k")
    pixels = (*chain.pixels[:3], chain.pixels[3].model_copy(update={"batch": "late"}))
    made = plan_of(replace_chain(map_, chain.model_copy(update={"pixels": pixels})))
    assert [(kind.name, count) for kind, count in made.plan.chains[0].kinds] == [("WS2812B-V5", 3), ("SK6812", 1)]
    odd = plan_of(bare(4, chip="mystery"))
    assert any("mystery is not known here: computed as WS2812B" in a.text for a in odd.assumed)
    white = plan_of(bare(4, chip="ws2812b", order="GRBW"))
    assert white.plan.chains[0].kinds[0][0].name == "SK6812-RGBW"
    assert any("GRBW does not fit" in a.text for a in white.assumed)


def test_names_that_are_the_same_are_told_apart() -> None:
    map_ = bare()
    map_ = add_chain(map_, map_.chain("k").model_copy(update={"id": "l", "output": 1}))
    map_ = put(put(map_, Supply(id="a", name="Main")), Supply(id="b", name="Main"))
    map_, _ = add_feed(map_, "k", 0, supply="a", name="end")
    map_, _ = add_feed(map_, "l", 0, supply="b", name="end")
    plan = plan_of(map_).plan
    assert [c.name for c in plan.chains] == ["Kelp", "Kelp (2)"]
    assert [f.name for f in plan.feeds] == ["end", "end (2)"]
    assert [f.supply for f in plan.feeds] == ["Main", "Main (2)"]
    assert len(plan.ground_joins) == 1, "grounds are joined, 5 V is not"


def test_what_leads_nowhere_is_left_out_and_said() -> None:
    map_, feed = add_feed(put(bare(), Supply(id="a", name="Main")), "k", 3, supply="a", name="lost")
    gone = map_.model_copy(update={"feeds": (feed.model_copy(update={"pixel": "k-99"}),)})
    assert any(a.where == "lost" and "no longer in the map" in a.text for a in plan_of(gone).assumed)
    orphan = map_.model_copy(update={"feeds": (feed.model_copy(update={"supply": "z"}),)})
    assert plan_of(orphan).plan.feeds[0].supply == "Main"


def test_joints_cut_the_five_volt_wire_and_add_resistance() -> None:
    map_ = put(put(bare(), Supply(id="a", name="A")), Supply(id="b", name="B"))
    map_, _ = add_feed(map_, "k", 0, supply="a", name="first")
    joint = joint_at(map_.chain("k"), 10)
    cut = put_joint(map_, "k", joint.model_copy(update={"five_volt_open": True}))
    lone = compute(cut)
    assert lone.must_stop
    assert lone.trouble
    assert power_sections(lone)[0].lines[0].startswith("STOP")
    assert "states" not in as_data(lone)
    fed, _ = add_feed(cut, "k", 19, supply="b", name="second")
    power = compute(fed)
    assert power.made is not None
    assert power.made.plan.chains[0].plus_cut_after == (9,)
    assert "supplies-joined" not in codes(power)
    joined = compute(add_feed(map_, "k", 19, supply="b", name="second")[0])
    assert codes(joined)["supplies-joined"] is Weight.WARNING
    bad = compute(put_joint(map_, "k", joint.model_copy(update={"extra_mohm": 5_000.0})))
    assert "bad-joint" in codes(bad)
    assert bad.made is not None
    assert bad.made.plan.chains[0].odd_joints == (OddJoint(after_pixel=9, plus_ohm=5.0, ground_ohm=5.0),)
    assert bad.report is not None
    worst = bad.report.state(LoadState.CEILING).worst_joint
    assert worst is not None
    assert worst.after_pixel == 9


@pytest.mark.parametrize(
    ("fuse_a", "expected"),
    [(None, ("fuse-not-noted", Weight.NOTE)), (1.0, None), (20.0, ("fuse-too-large", Weight.STOP)),
     (0.5, ("fuse-too-small", Weight.WARNING))],
)  # fmt: skip
def test_the_fitted_fuse_is_held_against_wire_and_load(
    fuse_a: float | None, expected: tuple[str, Weight] | None
) -> None:
    """450 mA ask for 0.56 A or more; 20 AWG in a bundle is good for 5.5 A (half of the chassis figure, [7])."""
    map_ = put(bare(wire="20 AWG"), Supply(id="a", name="Main"))
    map_, _ = add_feed(map_, "k", 0, supply="a", name="end", wire="18 AWG", length_mm=300.0, fuse_a=fuse_a)
    found = {code: weight for code, weight in codes(compute(map_)).items() if code.startswith("fuse-")}
    assert found == (dict([expected]) if expected else {})


def test_settings_of_the_plan_are_taken_over() -> None:
    map_ = bare().model_copy(update={"power": Power(ceiling_level=51, typical_percent=50, frames_per_s=60.0)})
    plan = plan_of(map_).plan
    assert (plan.ceiling_level, plan.typical_share, plan.frames_per_s) == (51, 0.5, 60.0)


def test_a_map_without_pixels_has_no_plan() -> None:
    power = compute(new_map("Kelp Forest"))
    assert power.must_stop
    assert "no chain with pixels" in power.trouble


def test_the_report_says_everything_asked_for() -> None:
    text = "\n".join(line for s in power_sections(compute(DEMO)) for line in (s.title, *s.lines))
    for words in (
        "at the ceiling: 4.8", "typical play: 4.9", "any one fuse open: ", "with its fuse open: lowest 4.8", "full white: 4.4", "worst joint: ", "one more feed helps most",
        "fuse 5 A (tan)", "Pixel supply, 5 V: ", "at full white", "pixels refresh in", "frames a second",
        "USB alone", "logic level", "1000 µF", "300 to 500 Ω", "Never connect the computer's USB 5 V", "hint, not a licence",
    ):  # fmt: skip
        assert words in text, words


def test_currents_stand_in_the_order_of_their_heading() -> None:
    power = compute(DEMO)
    assert power.report is not None
    heading, supplies, *_ = next(s.lines for s in power_sections(power) if s.title == "Current")
    assert heading == "in A: at the ceiling · typical play · full white (a data fault)"
    order = (LoadState.CEILING, LoadState.TYPICAL, LoadState.FULL_WHITE)
    figures = " · ".join(f"{power.report.state(state).total_a:.2f}" for state in order)
    assert supplies == f"all supplies: {figures} [assumed: current]"


def test_the_data_are_json_without_infinities() -> None:
    data = as_data(compute(DEMO))
    again = json.loads(json.dumps(data, allow_nan=False))
    assert again["states"]["at the ceiling"]["lowest"]["chain"] == "Backbox"
    assert len(again["states"]["full white"]["chains"][0]["volt"]) == 84
    assert [f["fuse_a"] for f in again["feeds"]] == [3.0, 5.0, 2.0]


def test_the_picture_names_the_lowest_pixels_place_and_what_fits() -> None:
    profile = profile_of(compute(DEMO), "Playfield", LoadState.FULL_WHITE)
    assert any(mark.name == "Trench glow 2" for mark in profile.places)
    for columns in (25, 73, 113):
        kept = thinned(profile, columns=columns).places
        assert profile.lowest.pixel in {mark.pixel for mark in kept}
        assert kept == tuple(sorted(kept, key=lambda mark: mark.pixel))
    lines = text_picture(profile, width=80, height=12)
    assert "Board end@0" in lines[-2]
    assert "Trench glow 2@83" in lines[-1]
    assert "4.50" in "\n".join(lines)
    assert all(line.isascii() for line in text_picture(profile, width=80, height=12, ascii_only=True))
    assert [name for name, _ in drawings(compute(DEMO))] == ["Playfield", "Backbox"]


@pytest.mark.slow
@settings(max_examples=examples(60), deadline=None)
@given(maps())
def test_no_map_makes_it_fail(map_: PlayfieldMap) -> None:
    """Whatever names, lengths, lost references and figures a map holds: figures, or words that say why not."""
    small = tuple(c.model_copy(update={"count": min(c.count, 50) if c.count else None}) for c in map_.chains)
    power = compute(map_.model_copy(update={"chains": small}))
    assert (power.report is None) == bool(power.trouble)
    for section in power_sections(power):
        assert all(character >= " " and character != "\x7f" for line in section.lines for character in line)
    json.dumps(as_data(power), allow_nan=False)


def test_a_joint_of_the_board_is_its_lead() -> None:
    map_ = put_joint(bare(), "k", Joint(before="k-0", length_mm=2_000.0))
    power = compute(map_)
    assert power.report is not None
    assert any("2 m data lead" in r.part for r in power.report.chains[0].reminders)
