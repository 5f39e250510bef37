"""Whole plans: currents per pixel, feed and supply, fuses, findings, suggestions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from probe.harness.base import PowerError
from probe.harness.checks import Weight, findings
from probe.harness.copper import FuseVerdict, WireKind
from probe.harness.plan import (
    ChainPlan,
    FeedPlan,
    GroundJoin,
    LoadState,
    NamedPixel,
    OddJoint,
    PixelRun,
    PowerPlan,
    SupplyPlan,
)
from probe.harness.report import PowerReport, report, state_report, suggest_feed
from tests.harness.copper import awg_one_way_ohm_per_m
from tests.support.examples import examples

THIN, THICK = WireKind(awg=22), WireKind(awg=18)


def chain(name: str = "reef", **changes: Any) -> ChainPlan:
    values: dict[str, Any] = {
        "name": name,
        "runs": (PixelRun(kind="WS2812B-V5", count=60),),
        "wire": THIN,
        "spacing_m": 0.1,
        **changes,
    }
    return ChainPlan(**values)


def feed(name: str = "board end", **changes: Any) -> FeedPlan:
    values: dict[str, Any] = {
        "name": name, "chain": "reef", "pixel": 0, "supply": "main", "wire": THICK, "length_m": 0.5, **changes,
    }  # fmt: skip
    return FeedPlan(**values)


def plan(**changes: Any) -> PowerPlan:
    values: dict[str, Any] = {
        "chains": (chain(),),
        "feeds": (feed(),),
        "supplies": (SupplyPlan(name="main"),),
        **changes,
    }
    return PowerPlan(**values)


def codes(result: PowerReport) -> dict[str, Weight]:
    return {finding.code: finding.weight for finding in findings(result)}


def test_currents_in_the_three_states() -> None:
    """60 V5 pixels (sheet: 12 mA a channel, 0.6 mA idle), place level 102, output ceiling 700 mA."""
    run = PixelRun(kind="WS2812B-V5", count=60, level=102)
    without = report(plan(chains=(chain(runs=(run,)),)))
    assert without.state(LoadState.CEILING).total_a == pytest.approx(60 * (0.0006 + 0.036 * 0.4))
    assert without.state(LoadState.TYPICAL).total_a == pytest.approx(60 * (0.0006 + 0.036 * 0.4 / 3))
    assert without.state(LoadState.FULL_WHITE).total_a == pytest.approx(60 * 0.0366, rel=1e-6)
    capped = report(plan(chains=(chain(runs=(run,), ceiling_ma=700),)))
    assert capped.state(LoadState.CEILING).total_a == pytest.approx(0.7)
    assert capped.feeds[0].planned_a == pytest.approx(0.7)
    assert capped.feeds[0].fault_a == pytest.approx(60 * 0.0366)
    lower = report(plan(chains=(chain(runs=(run,)),), ceiling_level=51))
    assert lower.state(LoadState.CEILING).total_a == pytest.approx(60 * (0.0006 + 0.036 * 0.2))
    assert lower.state(LoadState.FULL_WHITE).total_a == pytest.approx(60 * 0.0366, rel=1e-6)


def test_board_current_counts_for_the_supply_not_the_feed() -> None:
    result = report(plan(supplies=(SupplyPlan(name="main", board_a=0.06),)))
    state = result.state(LoadState.CEILING)
    assert state.supplies[0].load_a == pytest.approx(state.feeds[0].plus_a + 0.06)


def test_uniform_chain_against_the_closed_form() -> None:
    """Drop to pixel N-1: feed (2 l r + 3 A fuse, hot at 30 C, + holder) I N + 2 (r s + joint) i N (N-1)/2, copper at 20 C."""
    result = state_report(plan(copper_c=20.0), LoadState.CEILING)
    i, n = 0.0366, 60
    lead = 2 * 0.5 * awg_one_way_ohm_per_m(awg=18, stranded=True) + 1.4 * 0.0311 * 1.02 + 0.004
    section = 2 * (0.1 * awg_one_way_ohm_per_m(awg=22, stranded=True) + 0.002)
    expected = 5 - i * n * lead - section * i * n * (n - 1) / 2
    assert expected > 3.7  # the closed form holds while all regulate
    assert result.lowest.volt == pytest.approx(expected, abs=1e-9)
    assert result.lowest.pixel == 59


@pytest.mark.parametrize(
    ("awg", "count", "drop_volt"),
    # Common practice figures for 0.10 m spacing and 20 mA a pixel: 2 r s i N (N+1)/2 with r of 53 and 134 mohm/m.
    [(22, 50, 0.27), (26, 50, 0.68), (22, 100, 1.07)],
)
def test_rule_of_thumb_drops(awg: int, count: int, drop_volt: float) -> None:
    """Wire resistance behind it: HyperPhysics table, 22 AWG 53 and 26 AWG 134 mohm/m."""
    wire = WireKind(awg=awg, stranded=False)
    one = chain(runs=(PixelRun(kind="WS2812B", count=count),), wire=wire, joint_ohm=0, ceiling_ma=count * 20)
    head = feed(wire=wire, length_m=0.1, contact_ohm=0)
    state = state_report(plan(chains=(one,), feeds=(head,), copper_c=20), LoadState.CEILING)
    assert 5 - state.lowest.volt == pytest.approx(drop_volt, abs=0.006)


def test_real_lengths_and_one_spacing_agree() -> None:
    same = chain(spacing_m=None, section_m=(0.1,) * 59)
    a, b = (state_report(plan(chains=(c,)), LoadState.CEILING) for c in (chain(), same))
    assert np.allclose(a.chains[0].volt, b.chains[0].volt)
    longer = chain(spacing_m=None, section_m=(0.1,) * 30 + (1.5,) + (0.1,) * 28)
    far = state_report(plan(chains=(longer,)), LoadState.CEILING)
    assert far.lowest.volt < a.lowest.volt


def test_mixed_kinds_and_levels_per_pixel() -> None:
    runs = (PixelRun(kind="WS2812B-V5", count=2, level=0), PixelRun(kind="SK6812-RGBW", count=1, level=255))
    state = state_report(plan(chains=(chain(runs=runs),)), LoadState.CEILING)
    assert state.chains[0].current_a == pytest.approx([0.0006, 0.0006, 0.001 + 4 * 0.012])


def test_thinner_ground_wire_shows() -> None:
    both = state_report(plan(), LoadState.CEILING).lowest.volt
    poor = state_report(plan(chains=(chain(ground_wire=WireKind(awg=26)),)), LoadState.CEILING).lowest.volt
    assert poor < both


def test_odd_joint_is_found() -> None:
    """Trade mark of a bad joint: more than 0.1 V across it under load."""
    bad = chain(odd_joints=(OddJoint(after_pixel=20, plus_ohm=0.3),), ceiling_ma=1200)
    result = report(plan(chains=(bad,)))
    joint = result.state(LoadState.CEILING).worst_joint
    assert joint is not None
    assert joint.after_pixel == 20
    assert joint.joint_volt == pytest.approx(39 * 0.020 * 0.304, rel=1e-6)
    assert joint.joint_watt == pytest.approx((39 * 0.020) ** 2 * 0.304, rel=1e-6)
    assert joint.section_volt > joint.joint_volt
    assert codes(result)["bad-joint"] is Weight.WARNING
    assert "between pixels 20 and 21" in next(f.text for f in findings(result) if f.code == "bad-joint")


def test_no_joint_resistance_no_worst_joint() -> None:
    assert state_report(plan(chains=(chain(joint_ohm=0),)), LoadState.CEILING).worst_joint is None
    single = chain(runs=(PixelRun(kind="WS2812B"),))
    assert state_report(plan(chains=(single,)), LoadState.CEILING).worst_joint is None


def test_too_low_and_near_the_line() -> None:
    """4.5 V is the sheets' least test voltage; 4.7 V the usual warning."""
    low = report(plan())
    assert low.state(LoadState.CEILING).lowest.volt < 4.5
    assert codes(low)["too-low"] is Weight.STOP
    near = report(plan(chains=(chain(ceiling_ma=800),)))
    assert 4.5 < near.state(LoadState.CEILING).lowest.volt < 4.7
    assert codes(near)["near-line"] is Weight.WARNING
    assert codes(near)["low-at-white"] is Weight.NOTE
    good = report(plan(chains=(chain(ceiling_ma=200),)))
    assert not {"too-low", "near-line"} & set(codes(good))


def test_findings_are_sorted_by_weight() -> None:
    weights = [f.weight for f in findings(report(plan(supplies=(SupplyPlan(name="main", volt=5.6, rating_a=2.5),))))]
    order = [Weight.STOP, Weight.WARNING, Weight.NOTE]
    assert weights == sorted(weights, key=order.index)
    assert {Weight.STOP, Weight.WARNING, Weight.NOTE} == set(weights)


def test_fuse_covers_a_data_fault() -> None:
    """22 AWG behind 18 AWG: the chain's wire limits (3.5 A guidance); 2.196 A full white x 1.25 = 2.745, so 3 A."""
    one = report(plan(chains=(chain(ceiling_ma=500),))).feeds[0]
    assert (one.fuse.rating_a, one.fuse.verdict, one.thinnest) == (3.0, FuseVerdict.FITS, "22 AWG")
    thin = report(plan(chains=(chain(wire=WireKind(awg=24), ceiling_ma=500),)))
    assert thin.feeds[0].fuse.verdict is FuseVerdict.CEILING_ONLY
    assert codes(thin)["fuse-ceiling-only"] is Weight.WARNING
    never = report(plan(chains=(chain(wire=WireKind(awg=26)),)))
    assert codes(never)["no-fuse-fits"] is Weight.STOP
    foil = report(plan(chains=(chain(wire=WireKind(one_way_ohm_per_m=0.0308)),)))
    assert codes(foil)["wire-rating-unknown"] is Weight.STOP
    ground = report(plan(chains=(chain(ground_wire=WireKind(awg=24), ceiling_ma=500),))).feeds[0]
    assert (ground.thinnest, ground.fuse.verdict) == ("24 AWG", FuseVerdict.CEILING_ONLY)
    lead = report(plan(feeds=(feed(wire=WireKind(awg=28)),))).feeds[0]
    assert lead.thinnest == "28 AWG"
    rated = report(plan(chains=(chain(wire=WireKind(one_way_ohm_per_m=0.0308, rating_a=5)),)))
    assert rated.feeds[0].fuse.rating_a == 3


def test_fault_current_does_not_count_on_sag() -> None:
    """The fuse is computed as if the wire did not drop the volts: N x full white."""
    long = chain(runs=(PixelRun(kind="WS2812B", count=150),))
    result = report(plan(chains=(long,)))
    assert result.feeds[0].fault_a == pytest.approx(150 * 0.061)
    assert result.state(LoadState.FULL_WHITE).total_a < 0.9 * 150 * 0.061


def test_supply_findings() -> None:
    """NEC 80 % rule for supplies."""
    draw = report(plan()).state(LoadState.CEILING).total_a
    assert "supply-above-80" in codes(report(plan(supplies=(SupplyPlan(name="main", rating_a=draw / 0.85),))))
    assert "supply-above-80" not in codes(report(plan(supplies=(SupplyPlan(name="main", rating_a=draw / 0.75),))))
    assert (
        codes(report(plan(supplies=(SupplyPlan(name="main", rating_a=draw / 1.1),))))["supply-overload"] is Weight.STOP
    )
    usb = report(plan(supplies=(SupplyPlan(name="main", is_usb=True),)))
    assert codes(usb)["usb-overload"] is Weight.STOP
    assert any("USB" in r.part for r in usb.chains[0].reminders)
    high = report(plan(supplies=(SupplyPlan(name="main", volt=5.4),)))
    assert codes(high)["volts-too-high"] is Weight.STOP
    assert codes(report(plan(supplies=(SupplyPlan(name="main", volt=4.2),))))["volts-too-low"] is Weight.STOP
    assert report(plan()).supplies[0].size_a == 3


def test_two_supplies_on_one_wire() -> None:
    supplies = (SupplyPlan(name="main", volt=5.2), SupplyPlan(name="second", volt=4.9))
    feeds = (feed(), feed("far end", pixel=59, supply="second"))
    light = chain(runs=(PixelRun(kind="WS2812B", count=60, level=2),))
    joined = codes(report(plan(chains=(light,), supplies=supplies, feeds=feeds)))
    assert joined["supplies-joined"] is Weight.WARNING
    assert joined["fed-backwards"] is Weight.STOP
    cut = light.model_copy(update={"plus_cut_after": (29,)})
    apart = report(plan(chains=(cut,), supplies=supplies, feeds=feeds))
    assert not {"supplies-joined", "fed-backwards"} & set(codes(apart))
    assert apart.chains[0].logic.supply_volt == 5.2, "the first pixel may see the higher one"
    loads = [s.load_a for s in apart.state(LoadState.CEILING).supplies]
    assert loads[0] == pytest.approx(loads[1], rel=1e-6)


def test_ground_join_of_two_supplies() -> None:
    supplies = (SupplyPlan(name="main"), SupplyPlan(name="second"))
    chains = (chain(), chain("kelp"))
    feeds = (feed(), feed("kelp feed", chain="kelp", supply="second"))
    join = GroundJoin(first="main", second="second", wire=THICK, length_m=1)
    apart = state_report(plan(chains=chains, supplies=supplies, feeds=feeds), LoadState.CEILING)
    joined = state_report(plan(chains=chains, supplies=supplies, feeds=feeds, ground_joins=(join,)), LoadState.CEILING)
    assert np.allclose(apart.chain("kelp").volt, joined.chain("kelp").volt)


def test_timing_and_data_level_findings() -> None:
    """WS2812B V5 sheet timing: 1101 pixels at 30 frames/s; WS2812B sheet: 0.7 VDD."""
    long = chain(runs=(PixelRun(kind="WS2812B-V5", count=1102, level=0),), spacing_m=0.01)
    result = report(plan(chains=(long,)))
    assert codes(result)["too-long"] is Weight.WARNING
    assert result.chains[0].largest_pixels == 1101
    old = report(plan(chains=(chain(runs=(PixelRun(kind="WS2812B", count=10),)),)))
    assert codes(old)["data-level"] is Weight.WARNING
    assert codes(old)["assumed"] is Weight.NOTE
    assert "data-level" not in codes(report(plan()))


def test_ceiling_eaten_by_dark_pixels() -> None:
    """60 V5 pixels idle at 0.6 mA each (sheet): 36 mA."""
    result = report(plan(chains=(chain(ceiling_ma=30),)))
    assert codes(result)["ceiling-below-idle"] is Weight.STOP
    assert result.state(LoadState.CEILING).total_a == pytest.approx(0.036)


def test_warm_wire_is_reported() -> None:
    hot = report(
        plan(chains=(chain(runs=(PixelRun(kind="WS2812B", count=200),), spacing_m=0.01, wire=WireKind(awg=24)),))
    )
    assert codes(hot)["warm-wire"] is Weight.WARNING
    assert hot.chains[0].hottest_wire_c > 60
    alone, bundled = (report(plan(wires_in_bundle=count)) for count in (1, 6))
    assert bundled.feeds[0].wire_c > alone.feeds[0].wire_c + 1
    assert bundled.chains[0].hottest_wire_c > alone.chains[0].hottest_wire_c + 1


@pytest.mark.slow
def test_suggested_feed_is_the_best_of_all_places() -> None:
    """Against trying every single place."""
    wanted = plan(chains=(chain(runs=(PixelRun(kind="WS2812B-V5", count=120, level=60),)),))
    found = suggest_feed(wanted)
    assert found is not None
    best = max(
        state_report(
            wanted.model_copy(update={"feeds": (feed(), feed("more", pixel=p))}), LoadState.CEILING
        ).lowest.volt
        for p in range(120)
    )
    by_hand = wanted.model_copy(update={"feeds": (feed(), feed("more", pixel=found.pixel))})
    assert state_report(by_hand, LoadState.CEILING).lowest.volt == pytest.approx(best, abs=1e-9)
    assert found.after.volt == pytest.approx(best, abs=1e-9)
    assert found.before.pixel == 119
    assert 70 < found.pixel < 100


@pytest.mark.parametrize(("pixel", "joined"), [(29, True), (30, False)])
def test_the_5_v_wire_is_cut_behind_the_pixel_that_is_named(pixel: int, joined: bool) -> None:
    supplies = (SupplyPlan(name="main"), SupplyPlan(name="second"))
    feeds = (feed(), feed("middle", pixel=pixel, supply="second"), feed("far end", pixel=59, supply="second"))
    found = codes(report(plan(chains=(chain(plus_cut_after=(29,)),), supplies=supplies, feeds=feeds)))
    assert ("supplies-joined" in found) is joined


def test_suggestion_never_joins_two_supplies() -> None:
    supplies = (SupplyPlan(name="main"), SupplyPlan(name="second"))
    feeds = (feed(), feed("far end", pixel=59, supply="second", length_m=3))
    cut = chain(plus_cut_after=(29,))
    found = suggest_feed(plan(chains=(cut,), supplies=supplies, feeds=feeds))
    assert found is not None
    assert (found.supply, found.pixel >= 30) == ("second", True)


def test_a_suggested_feed_comes_from_the_nearest_ones_supply() -> None:
    """The nearest feed's supply, and leads like the best feed's, whichever supply that has."""
    supplies = (SupplyPlan(name="main"), SupplyPlan(name="second"))
    feeds = (feed(), feed("far end", pixel=59, supply="second", length_m=9))
    found = suggest_feed(plan(supplies=supplies, feeds=feeds))
    assert found is not None
    assert found.pixel > 30
    assert found.supply == "second"
    by_hand = plan(supplies=supplies, feeds=(*feeds, feed("more", pixel=found.pixel, supply="second")))
    assert state_report(by_hand, LoadState.CEILING).lowest.volt == pytest.approx(found.after.volt, abs=1e-9)


def test_no_suggestion_where_nothing_helps() -> None:
    assert suggest_feed(plan(chains=(chain(runs=(PixelRun(kind="WS2812B-V5", level=1),)),))) is None


@pytest.mark.slow
@settings(max_examples=examples(25), deadline=None)
@given(
    counts=st.lists(st.integers(1, 80), min_size=1, max_size=3),
    levels=st.lists(st.integers(0, 255), min_size=3, max_size=3),
    places=st.lists(st.floats(0, 0.999), min_size=1, max_size=5),
    gauge=st.sampled_from([18, 20, 22, 24, 26]),
)
def test_reports_hang_together(counts: list[int], levels: list[int], places: list[float], gauge: int) -> None:
    """Kirchhoff for pixels, feeds and supplies; more light never raises the lowest pixel."""
    chains = tuple(
        chain(f"c{k}", runs=(PixelRun(kind="WS2812B", count=n, level=levels[k]),), wire=WireKind(awg=gauge))
        for k, n in enumerate(counts)
    )
    feeds = tuple(
        feed(f"f{k}-{j}", chain=f"c{k}", pixel=int(place * n))
        for k, n in enumerate(counts)
        for j, place in enumerate(places)
    )
    result = report(plan(chains=chains, feeds=feeds))
    for state in LoadState:
        one = result.state(state)
        pixels = sum(c.total_a for c in one.chains)
        assert sum(f.plus_a for f in one.feeds) == pytest.approx(pixels, abs=1e-6)
        assert sum(f.ground_a for f in one.feeds) == pytest.approx(pixels, abs=1e-6)
        assert one.total_a == pytest.approx(pixels, abs=1e-6)
        assert one.lowest.volt == min(c.lowest.volt for c in one.chains)
    typical, ceiling, white = (result.state(s).lowest.volt for s in LoadState)
    assert typical >= ceiling - 1e-8
    assert ceiling >= white - 1e-8
    more = suggest_feed(plan(chains=chains, feeds=feeds))
    assert more is None or more.after.volt - more.before.volt >= 1e-3


def test_plans_that_are_none_are_refused() -> None:
    with pytest.raises(PowerError, match=r"reef: pixels 0 to 59 have no feed on their plus wire\. Add a feed"):
        report(plan(feeds=()))
    for changes, words in (
        ({"feeds": (feed(), feed())}, "two of the same feed name: board end"),
        ({"feeds": (feed(chain="kelp"),)}, "no chain 'kelp'. Known: reef"),
        ({"feeds": (feed(supply="big"),)}, "no supply 'big'"),
        ({"feeds": (feed(pixel=60),)}, "reef ends at pixel 59, not 60"),
        ({"supplies": ()}, "supplies"),
        ({"ceiling_level": 256}, "ceiling_level"),
        ({"copper_c": float("nan")}, "copper_c"),
    ):
        with pytest.raises(ValidationError) as problem:
            plan(**changes)
        assert words in str(problem.value)
    for more, words in (
        ({"section_m": (0.1,)}, "either spacing_m or section_m"),
        ({"spacing_m": None}, "either spacing_m or section_m"),
        ({"spacing_m": None, "section_m": (0.1,)}, "60 pixels need 59 section lengths, not 1"),
        ({"plus_cut_after": (59,)}, "no joint after pixel 59"),
        ({"odd_joints": (OddJoint(after_pixel=70),)}, "no joint after pixel 70"),
        ({"places": (NamedPixel(pixel=60, name="kelp arch"),)}, "'kelp arch' is at pixel 60"),
        ({"runs": (PixelRun(kind="WS"),)}, "is not known"),
        ({"runs": ()}, "runs"),
    ):
        with pytest.raises(ValidationError) as problem:
            chain(**more)
        assert words in str(problem.value)


def test_plan_survives_json() -> None:
    wanted = plan(chains=(chain(places=(NamedPixel(pixel=3, name="kelp arch"),), ground_wire=WireKind(area_mm2=0.34)),))
    assert PowerPlan.model_validate_json(wanted.model_dump_json()) == wanted


def test_empty_circuit_of_supplies_only() -> None:
    """A supply that feeds nothing has its volts and no load but the board's."""
    two = plan(supplies=(SupplyPlan(name="main"), SupplyPlan(name="spare", board_a=0.1)))
    state = state_report(two, LoadState.CEILING)
    assert state.supplies[1].load_a == pytest.approx(0.1)
    assert state.supplies[1].terminal_volt == pytest.approx(5.0)
