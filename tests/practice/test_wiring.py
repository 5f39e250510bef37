"""The model wiring: a sound chain looks and measures right, planted faults look as physics says, nothing comes from the
fault tables."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import probe.practice
from device_protocol.values import DARK
from probe.faults.meter import judge, parse_readings
from probe.faults.tables import load
from probe.patterns.pictures import RED, WHITE, whole
from probe.practice.behaviour import HIGHEST_V, IDLE_A, TINT_V, Now, Quality, head_signal, rails, shares_ground, view
from probe.practice.eyes import Eyes
from probe.practice.person import SimulatedPerson
from probe.practice.plant import PLANTERS, plant, plant_any, sound
from probe.practice.wiring import Chip, Flex, Head, ModelJoint, ModelSupply, ModelWiring
from tests.support.examples import examples, first_now

K = load()
HERE = Path(probe.practice.__file__).parent


def planted_sound(seed: int) -> SimulatedPerson:
    """A person at a chain without faults."""
    nothing = plant([], seed=seed)
    return SimulatedPerson(replace(nothing, after_work=False), seed=seed)


@pytest.mark.parametrize("seed", first_now(range(12), now=3))
def test_a_sound_chain_gives_the_normal_answer_to_everything_but_circumstances(seed: int) -> None:
    person = planted_sound(seed)
    person.k = 10
    for observation in K.observations:
        if observation.id in ("direct-3v3", "lead-long", "supply-kind"):
            continue
        person.k = 10
        reply = person.answer(observation)
        answer = reply.answer
        if reply.typed:
            ranges = K.ranges[observation.meter]
            answer = str(judge(parse_readings(reply.typed, ranges), ranges).answer)
        assert answer is not None
        assert observation.answer(answer).normal, f"{observation.id}: {answer} {reply.typed}"


@pytest.fixture(scope="module")
def usual() -> SimulatedPerson:
    """Somebody at a sound chain, to compare with; shared, because walking a chain takes long."""
    return planted_sound(0)


@pytest.mark.parametrize("cause", first_now(sorted(PLANTERS), now=20))
def test_every_planted_fault_changes_some_answer(cause: str, usual: SimulatedPerson) -> None:
    planted = plant([cause], seed=0)
    person = SimulatedPerson(planted, seed=0)
    person.answer(K.observation("look"))
    k = person.k
    different = []
    for observation in K.observations:
        person.k = usual.k = k
        here, there = person.answer(observation), usual.answer(observation)
        one, two = here.answer, there.answer
        if observation.meter and here.typed and there.typed:
            ranges = K.ranges[observation.meter]
            one, two = (str(judge(parse_readings(r.typed, ranges), ranges).answer) for r in (here, there))
        if one != two and observation.id not in ("after-work", "heat"):
            different.append(observation.id)
    assert different, f"{cause} looks like a sound chain"


@pytest.mark.parametrize("file", sorted(HERE.glob("*.py")), ids=lambda path: path.name)
def test_the_model_does_not_know_the_fault_finder(file: Path) -> None:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    imported = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    imported |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert not [name for name in imported if name.startswith("probe.faults")]


def test_the_model_reads_questions_but_no_likelihoods() -> None:
    for file in HERE.glob("*.py"):
        assert "likelihood" not in file.read_text(encoding="utf-8").lower()


def chain_of(count: int, ohm: float, **supply: float) -> ModelWiring:
    """Identical joints with `ohm` in each rail."""
    joints = (ModelJoint(five_ohm=ohm, ground_ohm=ohm),) * count
    wiring = ModelWiring(chips=(Chip(),) * count, joints=joints, supply=ModelSupply(source_ohm=1e-6))
    return replace(wiring, supply=replace(wiring.supply, **supply))  # type: ignore[arg-type]


def test_the_fall_along_a_dark_chain_follows_the_triangle_sum() -> None:
    """Derived: last pixel's drop = 2 r i N(N+1)/2 for N equal loads fed at one end."""
    count, ohm = 40, 0.01
    found = rails(chain_of(count, ohm), whole(DARK, count))
    assert 5.0 - found.volts[-1] == pytest.approx(2 * ohm * IDLE_A * count * (count + 1) / 2, rel=1e-3)
    assert found.lift[-1] == pytest.approx(ohm * IDLE_A * count * (count + 1) / 2, rel=1e-3)


def test_a_second_feed_at_the_far_end_cuts_the_worst_fall_to_about_a_quarter() -> None:
    """Derived: fed at both ends the drop is about one quarter."""
    count = 50
    picture = whole(WHITE.at(60), count)
    one = 5.0 - rails(chain_of(count, 0.01), picture).volts.min()
    two = 5.0 - rails(chain_of(count, 0.01, far_feed=True), picture).volts.min()
    assert two / one == pytest.approx(0.25, abs=0.05)


def test_current_is_kept_at_every_joint() -> None:
    count = 30
    wiring = chain_of(count, 0.02)
    found = rails(wiring, whole(RED.at(200), count))
    taken = found.joint_a - np.append(found.joint_a[1:], 0.0)
    assert (taken > 0).all()
    assert found.joint_a[0] == pytest.approx(taken.sum())


@pytest.mark.slow
@settings(max_examples=examples(25), deadline=None)
@given(st.sampled_from(sorted(PLANTERS)), st.sampled_from(sorted(PLANTERS)), st.integers(0, 10_000))
def test_two_faults_at_once_never_break_the_model(one: str, two: str, seed: int) -> None:
    planted = plant([one, two], seed=seed, count=20)
    person = SimulatedPerson(planted, seed=seed)
    for observation in K.observations:
        reply = person.answer(observation)
        if reply.typed:
            parse_readings(reply.typed, K.ranges[observation.meter])
        elif reply.answer is not None:
            observation.index(reply.answer)


def test_the_same_seed_plants_the_same_fault() -> None:
    weights = K.weights
    assert plant_any(weights, seed=5) == plant_any(weights, seed=5)
    assert len({plant_any(weights, seed=s).causes for s in range(40)}) > 10
    assert len(set(plant_any(weights, seed=5, faults=2).causes)) == 2


def test_unknown_faults_and_short_chains_are_refused() -> None:
    with pytest.raises(ValueError, match="no fault 'gremlins'"):
        plant(["gremlins"], seed=1)
    with pytest.raises(ValueError, match="at least 20"):
        plant([], seed=1, count=5)
    with pytest.raises(ValueError, match="both have to be the same"):
        ModelWiring(chips=(Chip(),), joints=())


def test_an_open_joint_is_dark_after_k_and_a_dead_led_only_at_one_place() -> None:
    planted = plant(["joint-open"], seed=3)
    k = planted.places[0]
    assert k is not None
    seen = view(planted.wiring, whole(RED.at(12), planted.wiring.count)).pixels
    assert [not pixel.dark for pixel in seen] == [number <= k for number in range(len(seen))]
    planted = plant(["led-dead"], seed=3)
    seen = view(planted.wiring, whole(RED.at(12), planted.wiring.count)).pixels
    assert sum(pixel.dark for pixel in seen) == 1


@pytest.mark.slow
def test_wrong_answers_come_at_the_rate_asked_for() -> None:
    planted = plant(["order-wrong"], seed=1)
    right = SimulatedPerson(planted, seed=1)
    wrong = SimulatedPerson(planted, seed=1, wrong=1.0)
    for observation in K.observations:
        if not observation.meter and not observation.needs_k:
            assert wrong.answer(observation).answer != right.answer(observation).answer
    with pytest.raises(ValueError, match="from 0 to 1"):
        SimulatedPerson(planted, seed=1, wrong=2.0)


def test_eyes_see_the_sound_chain_as_it_is() -> None:
    eyes = Eyes(plant([], seed=9), rng=Random(1))
    assert eyes.look() == "none"
    assert eyes.walk() == "right"
    assert sound(30, Random(2)).count == 30


@pytest.mark.parametrize(
    ("first_v", "quality"), [(4.6, Quality.GOOD), (4.7, Quality.GOOD), (4.8, Quality.WILD), (5.0, Quality.WILD)]
)
def test_a_level_of_3v3_is_enough_only_while_the_first_pixel_is_low_enough(first_v: float, quality: Quality) -> None:
    """WS2812B sheet: a 1 has to reach 0.7 VDD, so that 3.3 V serves below 4.71 V and not at 5 V."""
    wiring = chain_of(20, 0.001)
    wiring = replace(wiring, head=replace(wiring.head, logic_v=3.3), settings=replace(wiring.settings, count=20))
    assert head_signal(wiring, whole(DARK, 20), first_v).quality is quality
    newer = wiring.with_chip(0, replace(wiring.chips[0], high_v=2.7))
    assert head_signal(newer, whole(DARK, 20), first_v).quality is Quality.GOOD


@pytest.mark.parametrize(("ground_ohm", "steady"), [(5.0, True), (20.0, False)])
def test_a_ground_that_lifts_by_more_than_a_diode_disturbs_the_data_behind_it(ground_ohm: float, steady: bool) -> None:
    """Some 60 mA through the joint: 0.3 V does no harm, above 0.8 V low is no longer low."""
    wiring = chain_of(10, 0.001)
    wiring = replace(wiring, settings=replace(wiring.settings, count=10))
    wiring = wiring.with_joint(5, replace(wiring.joints[5], ground_ohm=ground_ohm))
    picture = whole(WHITE.at(60), 10)
    assert abs(rails(wiring, picture).lift[5]) == pytest.approx(0.06 * ground_ohm, rel=0.3)
    pixels = view(wiring, picture).pixels
    assert all(pixel.steady for pixel in pixels[:5])
    assert [pixel.steady for pixel in pixels[5:]] == [steady] * 5


@pytest.mark.parametrize("seed", range(8))
def test_volts_that_fall_at_one_joint_are_an_edge_and_all_along_the_chain_a_fade(seed: int) -> None:
    planted = plant(["five-joint-high"], seed=seed)
    eyes = Eyes(planted, rng=Random(1))
    assert eyes.look() in ("to-k-dark", "to-k-odd")
    assert eyes.k == planted.places[0]
    assert Eyes(plant(["sag-far-end"], seed=seed), rng=Random(1)).look() == "fades"


@pytest.mark.parametrize(("cause", "share"), [("joint-open", 0.85), ("led-dead", 0.25)])
def test_faults_of_work_begin_mostly_after_work_and_others_when_they_like(cause: str, share: float) -> None:
    """What the model assumes, by judgement."""
    after = [plant([cause], seed=seed, count=20).after_work for seed in range(400)]
    assert sum(after) / len(after) == pytest.approx(share, abs=0.07)


# Faults by their electronics


def at(cause: str, seed: int = 3) -> SimulatedPerson:
    """Somebody who has looked at a chain with that fault. Seed 3 leaves open what electricity leaves open in the middle."""
    person = SimulatedPerson(plant([cause], seed=seed), seed=seed)
    person.look()
    return person


def reads(person: SimulatedPerson, asked: str) -> str:
    reply = person.answer(K.observation(asked))
    if not reply.typed:
        return str(reply.answer)
    ranges = K.ranges[K.observation(asked).meter]
    return str(judge(parse_readings(reply.typed, ranges), ranges).answer)


def test_a_tail_fed_backwards_clamps_the_rail_and_reads_below_zero_at_its_end() -> None:
    """5 V and GND crossed at a joint: substrate diodes from GND to VDD conduct, about 0.7 V (electronics, no source)."""
    for seed in range(8):
        planted = plant(["joint-five-gnd"], seed=seed)
        start = planted.wiring.reversed_from
        assert start is not None
        volts = rails(planted.wiring, whole(RED.at(12), 50)).volts
        assert (volts[start:] < 0).all()
        assert (volts[start:] >= -0.9).all()
        assert volts[start - 1] < 3.0
        person = at("joint-five-gnd", seed)
        assert reads(person, "volts-last") == "reversed"
        assert reads(person, "pads-joints") == "five-gnd"


@pytest.mark.parametrize(
    ("cause", "drop", "no_drop"),
    [("joint-data-gnd", "ground-joint-drop", "five-drop"), ("joint-data-five", "five-drop", "ground-joint-drop")],
)
def test_a_rail_through_a_data_pin_starves_the_tail_and_stops_the_data(cause: str, drop: str, no_drop: str) -> None:
    for seed in range(8):
        planted = plant([cause], seed=seed)
        place = planted.places[0]
        assert place is not None
        volts = rails(planted.wiring, whole(RED.at(12), 50)).volts
        assert (volts[: place + 1] > 4.5).all()
        assert (volts[place + 1 :] < volts[place] - 0.2).all()
        seen = view(planted.wiring, whole(RED.at(12), 50)).pixels
        assert all(pixel.dark for pixel in seen[place + 1 :])
        assert not any(pixel.dark for pixel in seen[: place + 1])
    person = at(cause)
    assert person.k == plant([cause], seed=3).places[0]
    assert (reads(person, drop), reads(person, no_drop), reads(person, "joint-ohms")) == ("large", "small", "open")
    assert reads(person, "pads-next") == reads(person, "pads-joints") == cause.removeprefix("joint-")


@pytest.mark.parametrize(("cause", "diode_v"), [("joint-data-gnd", 0.0), ("joint-data-five", 0.6)])
def test_the_drop_over_a_data_pin_is_its_ohms_times_the_tails_idle_current(cause: str, diode_v: float) -> None:
    """40 ohm of a CMOS output, 1 mA for each dark pixel, 0.6 V for a protection diode (electronics, no source)."""
    short = 0
    for seed in range(40):
        planted = plant([cause], seed=seed)
        place = planted.places[0]
        assert place is not None
        tail = 50 - place - 1
        if tail > 15:
            continue
        short += 1
        volts = rails(planted.wiring, whole(DARK, 50)).volts
        assert volts[place] - volts[place + 1] == pytest.approx(40 * 0.001 * tail + diode_v, abs=0.05)
    assert short >= 3


@pytest.mark.slow
def test_a_charger_that_is_the_only_ground_cures_while_it_is_plugged() -> None:
    seen = {at("ground-by-charger", seed).look() for seed in range(12)}
    assert "comes-goes" in seen
    assert seen & {"random", "nothing"}
    for seed in range(12):
        person = at("ground-by-charger", seed)
        assert reads(person, "charger") == "cures"
        assert reads(person, "ground-ohms") == "apart"
        assert reads(person, "ground-drop") == ("joined" if person.now.charger else "apart")
    assert reads(at("no-common-ground"), "charger") == "no"


def test_behind_a_supply_of_its_own_without_ground_the_data_is_wild_and_the_volts_are_right() -> None:
    person = at("section-ground-apart")
    assert person.look() == "to-k-odd"
    assert (reads(person, "volts-last"), reads(person, "ground-joint-drop"), reads(person, "five-drop")) == (
        "good",
        "large",
        "small",
    )
    assert reads(person, "supplies-ground") == "apart"


def test_an_open_fuse_leaves_the_supply_standing_and_the_chain_without_volts() -> None:
    person = at("fuse-open")
    assert (person.look(), reads(person, "volts-first"), reads(person, "supply-open")) == ("nothing", "none", "good")
    assert (reads(person, "fuse-ohms"), reads(person, "supply-lamp"), reads(person, "supply-ohms")) == (
        "open",
        "on",
        "free",
    )
    assert reads(at("no-5v"), "supply-lamp") == "off"


def test_the_far_end_without_its_feed_fades_and_a_whole_fuse_cures_it() -> None:
    person = at("section-feed-open")
    assert person.look() in ("fades", "to-k-odd", "to-k-dark")
    assert (reads(person, "fuse-ohms"), reads(person, "far-feed")) == ("open", "yes")


def test_a_piece_the_wrong_way_round_is_not_a_single_pixel_the_wrong_way_round() -> None:
    piece, single = at("segment-reversed"), at("next-backwards")
    assert (piece.look(), single.look()) == ("to-k-dark", "to-k-dark")
    assert (reads(piece, "arrow-next"), reads(single, "arrow-next")) == ("run", "no")
    assert (reads(piece, "jumper-k"), reads(single, "jumper-k")) == ("no", "yes")


@pytest.mark.slow
def test_loose_power_darkens_and_loose_data_disturbs_a_held_frame() -> None:
    power = [at("power-joint-loose", seed) for seed in range(8)]
    assert {reads(person, "hold-flex") for person in power} == {"dark"}
    assert "dark" not in {reads(at("joint-loose", seed), "hold-flex") for seed in range(8)}


def test_three_colours_among_four_shift_the_rest_the_other_way() -> None:
    """Three bytes taken where four were sent: after it red shows as blue, green as red, blue as white ([D] byte streams)."""
    planted = plant(["rgb-among-rgbw"], seed=3)
    place = planted.places[0]
    assert place is not None
    seen = view(planted.wiring, whole(RED.at(12), 50)).pixels
    assert {"".join(sorted(pixel.colour.letters)) for pixel in seen[: place + 1]} == {"R"}
    assert {"".join(sorted(pixel.colour.letters)) for pixel in seen[place + 2 :]} == {"B"}
    person = at("rgb-among-rgbw")
    assert person.k == place + 1  # it takes its own three bytes, and looks right itself
    assert (person.look(), reads(person, "dies")) == ("swap-to-end", "fewer")
    assert reads(at("odd-width"), "dies") == "more"


def test_twelve_volt_parts_stay_dark_at_five() -> None:
    person = at("part-12v")
    assert (person.look(), reads(person, "volts-first"), reads(person, "papers")) == ("nothing", "good", "volts")


def test_a_leak_goes_with_the_light_it_comes_from() -> None:
    assert (at("light-leaks").look(), reads(at("light-leaks"), "cover")) == ("two-places", "gone")
    assert (at("data-teed").look(), reads(at("data-teed"), "cover")) == ("two-places", "stays")


@pytest.mark.parametrize(
    ("cause", "reading"),
    [
        ("data-ground-swapped", "apart"),
        ("polarity-swapped", "apart"),
        ("data-five-swapped", "joined"),
        ("no-5v", "joined"),
    ],
)
def test_grounds_meet_unless_a_plug_leads_the_boards_ground_elsewhere(cause: str, reading: str) -> None:
    assert reads(at(cause), "ground-ohms") == reading


@pytest.mark.parametrize(
    ("cause", "asked", "shown"),
    [
        ("next-input-shorted", "jumper-next", "no"),
        ("next-input-shorted", "probe-next", "right"),
        ("next-dead", "jumper-next", "yes"),
        ("first-input-shorted", "jumper-first", "no"),
        ("first-input-shorted", "probe-first", "right"),
        ("first-input-dead", "jumper-first", "yes"),
        ("fuse-open", "probe-first", "dark"),
        ("head-data-open", "probe-first", "dark"),
        ("wrong-end", "probe-first", "right"),
        ("ground-link", "ground-links", "more"),
        ("coil-noise", "ground-links", "one"),
        ("joint-plug-off", "joint-ohms", "open"),
        ("joint-plug-off", "five-drop", "large"),
        ("joint-plug-off", "volts-last", "none"),
        ("head-data-leaks", "probe-first", "cures"),
        ("head-data-leaks", "head-to-rail", "touches"),
        ("head-data-shorted", "probe-first", "dark"),
        ("five-joint-high", "fade-edge", "edge"),
        ("sag-far-end", "fade-edge", "gradual"),
        ("section-ground-open", "volts-last", "low"),
        ("section-ground-open", "far-feed", "yes"),
        ("section-short", "supply-ohms", "short"),
        ("section-short", "fuse-ohms", "open"),
        ("section-short", "volts-last", "none"),
        ("pixel-power-open", "volts-last", "good"),
        ("pixel-power-open", "jumper-next", "yes"),
        ("pixel-power-open", "probe-next", "right"),
        ("five-joint-open", "volts-last", "low"),
    ],
)
def test_a_burnt_input_holds_its_wire_down_and_a_good_pixel_shows_what_arrives(
    cause: str, asked: str, shown: str
) -> None:
    assert reads(at(cause), asked) == shown


def test_a_supply_that_must_give_more_than_its_limit_collapses_and_a_wide_one_does_not() -> None:
    """50 white pixels take 2.4 A (WS2812B sheet: 16 mA a colour): a limit of 1.8 A pulls 5 V down, one of 10 A does not."""
    white = whole(WHITE, 50)
    weak = rails(chain_of(50, 0.001, limit_a=1.8), white)
    assert weak.collapsed
    assert weak.volts.max() < 4.5
    assert view(chain_of(50, 0.001, limit_a=1.8), white).pulsing
    assert not rails(chain_of(50, 0.001, limit_a=10.0), white).collapsed


def test_a_board_on_the_chains_feed_sags_with_it_and_one_on_its_own_supply_does_not() -> None:
    white = whole(WHITE, 50)
    for kind, sags in (("shared", True), ("usb", True), ("own", False)):
        wiring = chain_of(50, 0.001, source_ohm=0.5)
        found = rails(replace(wiring, supply=replace(wiring.supply, kind=kind)), white)
        assert (found.board_v < 4.5) is sags, kind


def test_grounds_meet_by_a_charger_while_it_is_plugged_and_a_loose_one_opens_where_it_is_touched() -> None:
    by_charger = replace(chain_of(5, 0.01), head=Head(common_ground=False, ground_by_charger=True))
    assert [shares_ground(by_charger, Now(charger=there)) for there in (False, True)] == [False, True]
    loose = replace(chain_of(5, 0.01), head=Head(ground_loose=True), chance=0.6)
    assert [shares_ground(loose, Now(touched=at)) for at in (None, 0, 3)] == [True, False, True]


def test_a_loose_data_joint_opens_where_it_is_touched_and_nowhere_else() -> None:
    wiring = chain_of(8, 0.01).with_joint(4, ModelJoint(flex=Flex.DATA_OPENS))
    lit = {
        at: sum(not pixel.dark for pixel in view(wiring, whole(RED, 8), Now(touched=at)).pixels) for at in (None, 2, 4)
    }
    assert lit == {None: 8, 2: 8, 4: 4}


def test_too_many_volts_make_every_pixel_unsteady() -> None:
    """WS2812B sheet: 5.3 V is the limit."""
    for volts, steady in ((HIGHEST_V - 0.1, True), (HIGHEST_V + 0.1, False)):
        seen = view(chain_of(5, 1e-6, volts=volts), whole(RED.at(9), 5)).pixels
        assert all(pixel.steady is steady for pixel in seen), volts


def test_a_single_colour_is_not_tinted_by_low_volts_and_white_is() -> None:
    low = chain_of(5, 1e-6, volts=TINT_V - 0.2)
    assert not any(pixel.tinted for pixel in view(low, whole(RED.at(9), 5)).pixels)
    assert all(pixel.tinted for pixel in view(low, whole(WHITE.at(9), 5)).pixels)


def test_light_that_leaks_is_seen_at_the_pixel_and_at_the_next() -> None:
    person = at("light-leaks")
    leaks_at = person.w.leaks_at
    assert leaks_at is not None
    assert person.walked(leaks_at)[0] == [leaks_at, leaks_at + 1]
