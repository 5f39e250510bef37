"""Power with the parts as they are: colours at the ceiling, fuses and plugs, one fuse open, meter readings, 12 V parts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model import Chain, Pixel, PixelState, PlayfieldMap
from probe.document.model.harness import Batch, Connector, Feed, JoinedTo, Joint, Judged, Metered, MeterReading, Supply
from probe.document.operations import add_chain, new_map, replace_chain
from probe.document.wiring import put_joint
from probe.harness.checks import Weight, findings
from probe.harness.copper import FUSE_COLD_OHM, PLUGS, WireKind, fuse_ohm
from probe.harness.entries import Key, change, joint_entries, new_feed
from probe.harness.from_map import compute, plan_of
from probe.harness.joints import sheet_rows
from probe.harness.pixels import PIXEL_KINDS, head_reminders, logic_level, pixel_kind, usb_alone
from probe.harness.plan import ChainPlan, FeedPlan, LoadState, Measured, PixelRun, PowerPlan, SupplyPlan
from probe.harness.report import circuit, report
from probe.harness.words import as_data, power_sections
from tests.harness.spice import pixel_volts

THIN, THICK = WireKind(awg=22), WireKind(awg=18)
AMBER, WHITE = (255, 96, 0, 0), (255, 255, 255, 0)


def plan(*runs: PixelRun, feeds: tuple[FeedPlan, ...] | None = None, **changes: object) -> PowerPlan:
    chain = ChainPlan(name="reef", runs=runs or (PixelRun(kind="WS2812B", count=40),), wire=THIN, spacing_m=0.1)
    values: dict[str, object] = {
        "chains": (chain,),
        "feeds": feeds
        or (FeedPlan(name="head", chain="reef", pixel=0, supply="main", wire=THICK, length_m=0.5, fuse_a=5),),
        "supplies": (SupplyPlan(name="main", volt=chain.kinds[0][0].nominal_volt),),
        **changes,
    }
    return PowerPlan.model_validate(values)


def two_ends(**changes: object) -> PowerPlan:
    feeds = tuple(
        FeedPlan(name=name, chain="reef", pixel=at, supply="main", wire=THICK, length_m=0.5, fuse_a=fuse)
        for name, at, fuse in (("head", 0, 5.0), ("tail", 39, 3.0))
    )
    return plan(feeds=feeds, **changes)


def in_map(chip: str = "ws2812b", **changes: object) -> PlayfieldMap:
    pixels = tuple(Pixel(id=f"k-{n}", state=PixelState.SPARE) for n in range(20))
    chain = Chain(id="k", name="Kelp", output=0, count=20, chip=chip, pixels=pixels, **changes)  # type: ignore[arg-type]
    return add_chain(new_map("Kelp Forest"), chain)


# -- colours at the ceiling ---------------------------------------------------------------------------------------


def test_all_amber_costs_less_than_all_white_and_a_data_fault_is_white_all_the_same() -> None:
    """20 mA a colour and 1 mA dark: amber 255 + 96 of 765 is 27.5 mA of light, white 60."""
    amber, white = (report(plan(PixelRun(kind="WS2812B-V5", count=10, colour=c))) for c in (AMBER, WHITE))
    state = LoadState.CEILING
    assert amber.state(state).total_a == pytest.approx(10 * (0.0006 + 0.012 * 351 / 255))
    assert white.state(state).total_a == pytest.approx(10 * (0.0006 + 0.036))
    for state in (LoadState.FULL_WHITE,):
        assert amber.state(state).total_a == pytest.approx(white.state(state).total_a)
    assert amber.feeds[0].fault_a == pytest.approx(white.feeds[0].fault_a)


def test_the_ceiling_level_cuts_each_colour_and_a_missing_channel_counts_nothing() -> None:
    kind = pixel_kind("WS2812B")
    assert PixelRun(kind="WS2812B", colour=(255, 96, 0, 255)).share(kind, 128) == pytest.approx((128 + 96) / 765)
    rgbw = pixel_kind("SK6812-RGBW")
    assert PixelRun(kind="SK6812-RGBW", colour=(0, 0, 0, 255)).share(rgbw, 255) == pytest.approx(1 / 4)
    assert PixelRun(kind="SK6812-RGBW", level=255).share(rgbw, 255) == pytest.approx(1)


# -- fuses and plugs ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("load_a", "fuse_a", "mv"),
    # worked from typical cold resistances of blade fuses (sheets of 2025 as quoted in a test report)
    [(2, 3, 62.2), (2.5, 5, 44.6), (5, 10, 38.5), (7.5, 15, 36.0), (10, 20, 33.8)],
)
def test_drop_in_a_cold_fuse(load_a: float, fuse_a: float, mv: float) -> None:
    assert 1000 * load_a * fuse_ohm(rating_a=fuse_a, hot=False) == pytest.approx(mv, abs=0.06)


# at its rated current, from memory
@pytest.mark.parametrize(("fuse_a", "mv"), [(5, 128), (7.5, 116), (10, 109), (15, 102), (20, 98)])
def test_drop_in_a_fuse_at_its_rated_current(fuse_a: float, mv: float) -> None:
    assert 1000 * fuse_a * fuse_ohm(rating_a=fuse_a) == pytest.approx(mv, rel=0.04)


def test_a_warm_fuse_and_a_large_one() -> None:
    assert fuse_ohm(rating_a=5, ambient_c=50) == pytest.approx(1.1 * fuse_ohm(rating_a=5, ambient_c=25))
    assert fuse_ohm(rating_a=6) < fuse_ohm(rating_a=5)
    assert fuse_ohm(rating_a=60) < fuse_ohm(rating_a=40) < fuse_ohm(rating_a=30)


@given(st.floats(0.5, 60), st.floats(0.5, 60))
def test_a_larger_fuse_never_has_more_resistance(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert fuse_ohm(rating_a=high, hot=False) <= fuse_ohm(rating_a=low, hot=False) * (1 + 1e-9)
    assert fuse_ohm(rating_a=low, hot=False) <= FUSE_COLD_OHM[1.0] / min(low, 1.0) * (1 + 1e-9)


def test_the_fuse_of_a_feed_costs_volts_and_plugs_do_in_both_wires() -> None:
    small, large, plugged = (
        report(plan(feeds=(FeedPlan(name="head", chain="reef", pixel=0, supply="main", wire=THICK, length_m=0.5, **extra),)))
        for extra in ({"fuse_a": 2}, {"fuse_a": 10}, {"fuse_a": 10, "connector": "2.5 mm crimp"})
    )  # fmt: skip
    volts = [r.state(LoadState.CEILING).lowest.volt for r in (small, large, plugged)]
    amps = large.state(LoadState.CEILING).feeds[0].plus_a
    assert volts[1] - volts[0] == pytest.approx((0.0535 - 0.0077) * 1.4 * 1.02 * amps, rel=0.03)
    assert volts[1] - volts[2] == pytest.approx(2 * 0.020 * amps, rel=0.03)


def test_plugs_by_their_ratings() -> None:
    """2.5 mm crimp 3 A, 2.54 mm square pin 2.5 A (PS-10-07 2018), 3.96 mm 7 A (its push-wire version)."""
    assert {name: plug.rating_a for name, plug in PLUGS.items()} == {
        "2.5 mm crimp": 3, "2.54 mm square pin": 2.5, "3.96 mm crimp": 7, "3.96 mm square pin": 7,
    }  # fmt: skip
    assert set(PLUGS) == {c.value for c in Connector} - {"", "none"}
    base = report(plan())
    feed = base.feeds[0]
    for amps, expected in ((3.0, []), (3.01, ["plug-overload"])):
        loaded = replace(base, feeds=(replace(feed, fault_a=amps, plug=PLUGS["2.5 mm crimp"]),))
        assert [f.code for f in findings(loaded) if f.code.startswith("plug")] == expected
        joint = replace(base, chains=(replace(base.chains[0], plug_a=amps, plug=PLUGS["2.5 mm crimp"]),))
        assert [f.code for f in findings(joint) if f.code.startswith("plug")] == expected


# -- any one fuse open --------------------------------------------------------------------------------------------


def test_one_fuse_open_is_the_plan_without_its_plus_wire_and_with_its_ground(tmp_path: Path) -> None:
    made = two_ends()
    found = report(made)
    assert [one.feed for one in found.fuse_open] == ["head", "tail"]
    net = circuit(made, LoadState.CEILING)
    for number, one in enumerate(found.fuse_open):
        taps = tuple(replace(t, plus_ohm=1e12) if k == number else t for k, t in enumerate(net.taps))
        (volts,) = pixel_volts(tmp_path, ladders=net.ladders, taps=taps, sources=net.sources)
        assert one.lowest is not None
        assert one.lowest.volt == pytest.approx(float(volts.min()), abs=2e-4)
        assert float(volts[one.lowest.pixel]) == pytest.approx(float(volts.min()), abs=1e-6)
        assert one.lowest.volt < found.state(LoadState.CEILING).lowest.volt
        assert one.hottest_c > made.ambient_c
        assert one.next_feed != one.feed
    assert found.worst_fuse_open is not None
    assert found.worst_fuse_open.lowest == min((f.lowest for f in found.fuse_open if f.lowest), key=lambda p: p.volt)


def test_a_fuse_that_alone_feeds_a_piece_leaves_it_dark() -> None:
    cut = plan().chains[0].model_copy(update={"plus_cut_after": (19,)})
    made = two_ends(chains=(cut,))
    assert [(f.lowest, f.dark) for f in report(made).fuse_open] == [(None, (0, 19)), (None, (20, 39))]
    assert report(plan()).fuse_open[0].dark == (0, 39)
    text = "\n".join(line for s in power_sections(compute(in_map())) for line in s.lines)
    assert "any one fuse open: board end of Kelp feeds Kelp alone from pixel 0 (1st) to 19 (20th): dark" in text


def test_a_second_fuse_that_would_open_is_found() -> None:
    """40 pixels draw some 2 A; with the 5 A fuse open all of it goes through 1 A."""
    feeds = tuple(
        FeedPlan(name=name, chain="reef", pixel=at, supply="main", wire=THICK, length_m=0.5, fuse_a=fuse)
        for name, at, fuse in (("head", 0, 5.0), ("tail", 39, 1.0))
    )
    found = [(f.where, f.code) for f in findings(report(plan(feeds=feeds))) if f.code == "fuse-cascade"]
    assert found == [("head", "fuse-cascade")]
    assert not [f for f in findings(report(two_ends())) if f.code == "fuse-cascade"]


# -- meter readings -----------------------------------------------------------------------------------------------


def reading(what: Metered, value: float, pixels: int = 20) -> MeterReading:
    return MeterReading(chain="k", what=what, value=value, judged=Judged.GOOD, time="2025-04-03", pixels=pixels)


def test_two_readings_take_the_place_of_the_catalogue() -> None:
    """20 pixels: 14 mA dark, 254 mA all red: 0.7 mA and 12 mA a colour, whatever the sheet says."""
    map_ = in_map().model_copy(update={"meter": (reading(Metered.DARK_MA, 14), reading(Metered.RED_MA, 254))})
    made = plan_of(map_).plan.chains[0]
    kind = made.kinds[0][0]
    assert kind.idle_a == pytest.approx(0.0007)
    assert kind.channel_a == pytest.approx(0.012)
    assert not any(text.startswith("current") for text in kind.assumed)
    text = "\n".join(line for s in power_sections(compute(map_)) for line in s.lines)
    assert "(a pixel's current measured in the chain)" in text
    assert ", current]" not in text
    without = "\n".join(line for s in power_sections(compute(in_map())) for line in s.lines)
    assert "(a pixel's current assumed: measure dark and all red)" in without
    assert ", current]" in without or "current, " in without


def of_batches(*readings: tuple[float, float, int] | None, judged: Judged = Judged.GOOD) -> PlayfieldMap:
    """The chain's pixels shared out among batches of 5, each with its readings on the bench: dark mA, red mA, pixels."""
    batches = []
    for k, each in enumerate(readings):
        batch = Batch(id=f"b{k}", name=f"Reel {k}")
        if each is not None:
            dark, red, count = each
            found = {"bench_dark_ma": dark, "bench_red_ma": red, "bench_pixels": count, "bench_judged": judged}
            batch = batch.model_copy(update=found)
        batches.append(batch)
    map_ = in_map(wire="22 AWG", spacing_mm=100.0)
    chain = map_.chain("k")
    pixels = tuple(p.model_copy(update={"batch": f"b{n // 5}"}) for n, p in enumerate(chain.pixels))
    return replace_chain(map_, chain.model_copy(update={"pixels": pixels})).model_copy(
        update={"batches": tuple(batches)}
    )


def test_a_batch_measured_on_the_bench_takes_the_place_of_the_catalogue_for_its_pixels() -> None:
    """10 of reel 0 on the bench: 6 mA dark, 126 mA red: 0.6 and 12 mA each; 4 of reel 2: 4 and 52 mA, 1 and 12 mA.

    Dark: 5 x 0.6 + 15 x 1 = 18 mA. Full white, with 20 mA from memory for the other ten: 5 x 36.6 + 5 x 37 + 10 x 61 mA.
    """
    map_ = of_batches((6, 126, 10), None, (4, 52, 4), None)
    chain = plan_of(map_).plan.chains[0]
    assert chain.per_pixel("idle_a") == pytest.approx([0.0006] * 5 + [0.001] * 15)
    assert chain.per_pixel("channel_a") == pytest.approx([0.012] * 5 + [0.020] * 5 + [0.012] * 5 + [0.020] * 5)
    power = compute(map_)
    assert power.solved is not None
    white = power.solved[1].state(LoadState.FULL_WHITE)
    assert white.total_a == pytest.approx(5 * 0.0366 + 5 * 0.037 + 10 * 0.061)
    words = "(current of pixels: 10 measured on the bench, 10 assumed: measure dark and all red)"
    lines = [line for s in power_sections(power) for line in s.lines]
    assert any(words in line for line in lines)
    assert any(a.text.startswith("the current of 10 pixels is in no sheet") for a in power.assumed)
    assert as_data(power)["chains"][0]["current_from"] == {"measured on the bench": 10, "assumed": 10}


def test_figures_that_rest_on_measured_batches_are_not_marked_and_those_on_memory_are() -> None:
    rests = ("all supplies: ", "supply 5 V supply: ", "feed board end", "chain Kelp: ", "largest pixel of Kelp", "  fuse ", "5 V supply, 5 V",
             "  USB alone", "  hottest wire", "  thinnest wire")  # fmt: skip
    for readings, marked in (((6, 126, 10), False), (None, True)):
        power = compute(of_batches(*[readings] * 4))
        lines = [line for s in power_sections(power) for line in s.lines]
        for start in rests:
            found = [line for line in lines if line.startswith(start)]
            assert found, start
            assert all(
                ("current]" in line or "current, " in line.rpartition("[assumed: ")[2]) is marked for line in found
            ), found
        assert any("a pixel's current measured on the bench" in line for line in lines) is not marked


def test_readings_of_the_fitted_chain_come_before_those_of_the_bench() -> None:
    """14 and 254 mA in the chain; the batches keep their proportions: 8 to 16 mA a colour."""
    map_ = of_batches((10, 90, 10), (10, 170, 10), (10, 90, 10), (10, 170, 10))
    map_ = map_.model_copy(update={"meter": (reading(Metered.DARK_MA, 14), reading(Metered.RED_MA, 254))})
    chain = plan_of(map_).plan.chains[0]
    assert chain.per_pixel("channel_a") == pytest.approx(([0.008] * 5 + [0.016] * 5) * 2)
    assert chain.per_pixel("idle_a") == pytest.approx([0.0007] * 20)
    assert as_data(compute(map_))["chains"][0]["current_from"] == {"measured in the chain": 20}


@pytest.mark.parametrize(("readings", "judged"), [((6, 126, 10), Judged.STOP), ((20, 20, 10), Judged.LOOK)])
def test_a_bench_test_that_stopped_or_shows_no_light_gives_no_current(
    readings: tuple[float, float, int], judged: Judged
) -> None:
    made = plan_of(of_batches(*[readings] * 4, judged=judged)).plan.chains[0]
    assert made.per_pixel("channel_a") == pytest.approx([0.020] * 20)


def test_readings_of_another_length_count_by_the_pixel() -> None:
    readings = (reading(Metered.DARK_MA, 7, 10), reading(Metered.RED_MA, 127, 10))
    made = plan_of(in_map().model_copy(update={"meter": readings})).plan.chains[0]
    assert made.kinds[0][0].channel_a == pytest.approx(0.012)


@pytest.mark.parametrize(
    "readings",
    [
        (reading(Metered.DARK_MA, 14),),
        (reading(Metered.DARK_MA, 14), reading(Metered.RED_MA, 10)),
        (reading(Metered.DARK_MA, 14, 20), reading(Metered.RED_MA, 254, 10)),
    ],
)
def test_readings_that_do_not_belong_together_are_left_out(readings: tuple[MeterReading, ...]) -> None:
    assert plan_of(in_map().model_copy(update={"meter": readings})).plan.chains[0].measured is None


def test_kinds_in_one_chain_keep_their_proportions() -> None:
    runs = (PixelRun(kind="WS2812B", count=10), PixelRun(kind="WS2812-2020", count=10))
    chain = ChainPlan(
        name="reef", runs=runs, wire=THIN, spacing_m=0.1, measured=Measured(dark_a=0.02, red_a=0.12, pixels=20)
    )
    (first, _), (second, _) = chain.kinds
    assert first.channel_a / second.channel_a == pytest.approx(4)
    assert 10 * (first.channel_a + second.channel_a) == pytest.approx(0.1)


# -- what is assumed ----------------------------------------------------------------------------------------------


def test_figures_that_rest_on_something_assumed_say_so() -> None:
    lines = [line for s in power_sections(compute(in_map())) for line in s.lines]
    for start in ("at the ceiling: ", "full white: ", "chain Kelp: ", "board end of Kelp: ", "5 V supply, 5 V: "):
        found = [line for line in lines if line.startswith(start)]
        assert found
        assert all("[assumed: " in line for line in found), found
    map_ = of_batches(*[(6, 126, 10)] * 4).model_copy(
        update={
            "supplies": (Supply(id="s", name="Main"),),
            "feeds": (
                Feed(id="f", name="Head", chain="k", pixel="k-0", supply="s", wire="18 AWG", length_mm=500, fuse_a=3),
            ),
        }
    )
    assert "[assumed" not in "\n".join(line for s in power_sections(compute(map_)) for line in s.lines)


# -- 12 V parts ---------------------------------------------------------------------------------------------------


def test_12_v_parts_are_planned_with_12_v_and_named_so() -> None:
    map_, _ = new_feed(in_map("ws2815"), "k", "0")
    assert [(s.name, s.volt) for s in map_.supplies] == [("12 V supply", 12.0)]
    power = compute(map_)
    assert not power.must_stop
    text = "\n".join(line for s in power_sections(power, with_cautions=False) for line in s.lines)
    assert "USB alone: cannot carry it: these are 12 V pixels" in text
    assert "12 V supply, 12 V" in text
    assert " 5 V wire" not in text
    bare = compute(in_map("ws2815"))
    assert bare.made is not None
    assert bare.made.plan.supplies[0].volt == 12


def test_joints_of_12_v_parts_say_12_v() -> None:
    map_ = in_map("ws2815")
    assert "join 12 V of pixel 3" in " ".join(sheet_rows(map_, map_.chain("k"))[4].joining)
    key = Key(Joint, "k", "five_volt_to", 4)
    wrong = change(map_, key, "12 V")
    entry = next(e for e in joint_entries(wrong, "k", 4) if e.key == key)
    assert (entry.value, entry.typed) == ("12 V", "12 V")
    assert "5 V" not in entry.hint.replace("12 V", "")
    crossed = put_joint(wrong, "k", sheet_joint(wrong).model_copy(update={"five_volt_to": JoinedTo.GROUND}))
    problems = sheet_rows(crossed, crossed.chain("k"))[4].problems
    assert any("12 V of pixel 3" in p.text and "5 V of" not in p.text for p in problems)


def sheet_joint(map_: PlayfieldMap) -> Joint:
    return next(joint for joint in map_.chain("k").joints if joint.before == "k-4")


@pytest.mark.parametrize("name", PIXEL_KINDS)
def test_advice_never_leaves_a_parts_limits(name: str) -> None:
    kind = PIXEL_KINDS[name]
    for drive in (1.8, 2.6, 3.3, 5.0):
        for lift in (0.0, 0.2, 1.0):
            level = logic_level(kind, drive_volt=drive, supply_volt=kind.nominal_volt, ground_lift_volt=lift)
            if "at most" in level.advice:
                assert level.largest_supply_volt is not None
                assert max(kind.low_line_volt, kind.lowest_volt) <= level.largest_supply_volt <= kind.highest_volt
            if "buffer of the HCT" in level.advice:
                assert 5.0 - lift >= kind.high_threshold_volt(supply_volt=kind.nominal_volt)
    assert kind.lowest_volt <= kind.low_line_volt < kind.nominal_volt <= kind.highest_volt
    usb = usb_alone(kind, pixels=5)
    assert usb.fits is (kind.nominal_volt == 5)
    assert (usb.level is None) is (kind.nominal_volt == 12)
    rated = next(r.part for r in head_reminders(kind) if "µF" in r.part and "1000" in r.part)
    assert ("25 V" in rated) is (kind.nominal_volt == 12)


def test_data_of_12_v_parts_has_levels_of_its_own() -> None:
    """WS2815 and WS2811 at 12 V read 3.5 V as 1 and take 5 V at most, whatever their supply (a reseller's page)."""
    for name in ("WS2815", "WS2811-12V"):
        for supply in (11.0, 12.0, 13.0):
            assert pixel_kind(name).high_threshold_volt(supply_volt=supply) == 3.5
        assert not logic_level(pixel_kind(name), drive_volt=12.0, supply_volt=12.0).reads_high
        assert "too high" in logic_level(pixel_kind(name), drive_volt=12.0, supply_volt=12.0).advice
        assert logic_level(pixel_kind(name), drive_volt=5.0, supply_volt=12.0).reads_high


def test_ws2811_at_12_v() -> None:
    """Its application page: 18.5 mA a colour; 2.7 kohm to its own 5 V, so 2.6 mA dark."""
    kind = pixel_kind("WS2811-12V")
    assert kind.channel_a == pytest.approx(0.0185)
    assert kind.idle_a == pytest.approx((12 - 5) / 2700, abs=5e-5)


@pytest.mark.parametrize(
    ("volt", "code"), [(13.0, None), (13.1, "volts-too-high"), (10.7, "volts-too-low"), (5.0, "volts-too-low")]
)
def test_supplies_of_12_v_parts_at_their_limits(volt: float, code: str | None) -> None:
    made = plan(PixelRun(kind="WS2815", count=5), supplies=(SupplyPlan(name="main", volt=volt),))
    found = {f.code for f in findings(report(made)) if f.code.startswith("volts") and f.weight is Weight.STOP}
    assert found == ({code} if code else set())


# -- the ground's lift --------------------------------------------------------------------------------------------


def test_the_ground_at_the_first_pixel_is_lifted_by_the_feeds_current() -> None:
    """V5 part, threshold 2.7 V fixed: 60 pixels white draw 2.2 A through 1 m of thin ground wire."""
    far = FeedPlan(name="head", chain="reef", pixel=0, supply="main", wire=THIN, length_m=1.0, fuse_a=3)
    made = plan(PixelRun(kind="WS2812B-V5", count=60, colour=WHITE), feeds=(far,))
    logic = report(made).chains[0].logic
    amps = 60 * 0.0366
    ohm = made.one_way_ohm_per_m(THIN)
    assert logic.ground_lift_volt == pytest.approx(amps * ohm, rel=0.02)
    assert logic.margin_volt == pytest.approx(3.3 - logic.ground_lift_volt - 2.7)
    dark = plan(PixelRun(kind="WS2812B-V5", count=60, colour=(0, 0, 0, 0)), feeds=(far,))
    assert report(dark).chains[0].logic.ground_lift_volt < 0.01


def test_a_lift_that_eats_the_margin_is_found() -> None:
    kind = pixel_kind("WS2812B-V5")
    assert logic_level(kind, drive_volt=3.3, supply_volt=4.8, ground_lift_volt=0.6).reads_high
    lifted = logic_level(kind, drive_volt=3.3, supply_volt=4.8, ground_lift_volt=0.61)
    assert not lifted.reads_high
    assert "less 0.61 V, by which its ground is lifted" in lifted.advice
    assert as_data(compute(in_map()))["chains"][0]["logic_ground_lift_volt"] >= 0
