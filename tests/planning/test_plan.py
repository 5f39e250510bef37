"""Plans of the demonstration: what the issue of planning asks for, and that a plan makes a map that checks clean."""

from __future__ import annotations

import pytest

from probe.document.checks import check_map
from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.document.model.planning import PlanRules
from probe.planning.plan import (
    Plan,
    PlanError,
    bare_of,
    brief_of,
    compared,
    fewest_cuts,
    first_plan,
    improved_plan,
    nearest_plan,
    parts_of,
    plan_now,
    planned_feeds,
    spare_seats,
    with_plan,
)

DEMO = load_map(demo_map_path())


def now() -> Plan:
    found = plan_now(brief_of(DEMO, tidy=False))
    assert found is not None
    return found


@pytest.mark.slow
def test_the_demonstration_as_it_is() -> None:
    # 7.232 m and 6.178 m: computed by another program from the same positions and keep-outs
    plan = now()
    assert (len(plan.brief.seats), plan.visits) == (80, 9)
    assert plan.way_mm == pytest.approx(7_231.5, abs=1)
    assert nearest_plan(plan.brief).way_mm == pytest.approx(6_178.3, abs=1)
    assert parts_of(DEMO) == ("playfield", "backbox")
    assert not plan.brief.doubts


@pytest.mark.slow
def test_the_first_plan_is_short_already() -> None:
    plan = improved_plan(first_plan(brief_of(DEMO, tidy=False)), pieces=16)
    assert plan.way_mm <= 0.72 * now().way_mm
    assert plan.bound_mm > 0.9 * 5_026.93
    assert plan.bound_mm <= 5_026.94


@pytest.mark.slow
def test_least_wire_is_proved_and_as_short_as_asked_for() -> None:
    plan = improved_plan(first_plan(brief_of(DEMO, tidy=False)), pieces=400)
    assert plan.proved
    assert plan.way_mm == pytest.approx(5_026.93, abs=0.01)  # proved by another program too
    assert plan.way_mm <= 0.70 * now().way_mm
    assert plan.way_mm <= 0.82 * nearest_plan(plan.brief).way_mm


@pytest.mark.slow
def test_the_tidy_plan_enters_no_area_more_often_than_the_demonstration() -> None:
    plan = improved_plan(first_plan(brief_of(DEMO)), pieces=60)
    assert plan.visits <= now().visits
    assert plan.way_mm <= 0.75 * now().way_mm


@pytest.mark.slow
def test_a_plan_from_places_alone_makes_a_map_with_nothing_to_find() -> None:
    brief = brief_of(DEMO)
    fresh = bare_of(DEMO, brief)
    plan = first_plan(brief_of(fresh))
    made = with_plan(fresh, plan)
    found = {finding.code for finding in check_map(made) if finding.where.chain == "playfield"}
    assert found <= {"unfinished"}
    assert [p.place for p in made.chain("playfield").pixels] == [plan.brief.seats[s].place for s in plan.order[0]]
    assert all(pixel.verified == 0 for pixel in made.chain("playfield").pixels)
    with pytest.raises(PlanError, match="has a pixel already"):
        with_plan(DEMO, first_plan(brief))


def feeds_at(plan: Plan, *, ceiling_ma: int, volt: float = 5.0) -> list[tuple[str, float, float]]:
    """Planned feeds of the demonstration at another ceiling and supply: chain, lowest pixel's volts before and after."""
    chains = tuple(chain.model_copy(update={"ceiling_ma": ceiling_ma}) for chain in DEMO.chains)
    supplies = (DEMO.supplies[0].model_copy(update={"volt": volt}),)
    found = planned_feeds(DEMO.model_copy(update={"chains": chains, "supplies": supplies}), plan)
    assert len({feed.pixel for feed in found}) == len(found)
    return [(feed.chain, feed.before.volt, feed.after.volt) for feed in found]


def test_feeds_are_added_to_a_planned_chain_until_its_lowest_pixel_has_19_of_20_volts_of_the_supply() -> None:
    plan = first_plan(brief_of(DEMO))
    (only,) = feeds_at(plan, ceiling_ma=450)
    assert only[0] == "Playfield"
    assert 4.70 < only[1] < 4.75 < only[2]
    assert len(feeds_at(plan, ceiling_ma=440)) == 1, "4.747 V"
    assert feeds_at(plan, ceiling_ma=430) == [], "the lowest pixel has 4.753 V"
    (only,) = feeds_at(plan, ceiling_ma=600, volt=5.5)
    assert 4.75 < only[1] < 0.95 * 5.5 < only[2], "it is a share, not so many volts"
    many = feeds_at(plan, ceiling_ma=4_800)
    assert len(many) == 4, "as many as are looked for"
    assert all(before < 4.75 for _, before, _ in many)
    assert [before for _, before, _ in many[1:]] == pytest.approx([after for *_, after in many[:-1]])


def test_a_lower_pixel_in_a_chain_that_is_not_planned_hides_no_feed() -> None:
    plan = first_plan(brief_of(DEMO))
    chains = [chain for chain, _, _ in feeds_at(plan, ceiling_ma=4_800)]
    assert chains == ["Playfield"] * 4  # the backbox, which keeps its one feed, falls below after the first


def test_several_chains_are_balanced() -> None:
    brief = brief_of(DEMO, chains=3)
    plan = first_plan(brief)
    sizes = [len(seats) for seats in plan.order]
    assert sum(sizes) == 80
    assert max(sizes) <= 27 + 2
    assert brief.chains[0] == "playfield"
    small = DEMO.model_copy(update={"plan_rules": PlanRules(largest_chain=25)})
    with pytest.raises(PlanError, match="more than 3 chains of 25 carry"):
        brief_of(small, chains=3)
    with pytest.raises(PlanError, match=r"^0 chains for 80 seats: plan 1 to"):
        brief_of(DEMO, chains=0)


def test_pins_and_bans_hold() -> None:
    rules = PlanRules(pinned=(("otter-jackpot", "shooter-lane-glow-1"),), forbidden=(("reef-lane-1", "reef-lane-2"),))
    plan = first_plan(brief_of(DEMO.model_copy(update={"plan_rules": rules})))
    pairs = {frozenset((s.before.place, s.seat.place)) for s in plan.stretches if s.before is not None}
    assert frozenset(("otter-jackpot", "shooter-lane-glow-1")) in pairs
    assert frozenset(("reef-lane-1", "reef-lane-2")) not in pairs
    assert not plan.broken_rules


def test_two_plans_are_compared_and_spares_sit_apart() -> None:
    one, other = now(), first_plan(brief_of(DEMO, tidy=False))
    rows = {what: (a, b) for what, a, b in compared(one, other)}
    assert rows["way"][0] == "7.23 m"
    assert rows["areas entered"][0] == "9"
    spares = spare_seats(other, 3)
    assert len({label for _, _, label in spares}) == 3
    assert all(chain == "playfield" for chain, _, _ in spares)


@pytest.mark.slow
def test_strips_of_a_longer_pitch_need_no_more_cuts() -> None:
    brief = brief_of(DEMO, tidy=False)
    found = [fewest_cuts(brief, pitch_mm=pitch, pieces=30)[:2] for pitch in (120.0, 200.0)]
    assert all(bound <= cuts <= bound + 1 for cuts, bound in found)
    assert found[1][0] <= found[0][0]


def test_a_map_without_positions_is_told_what_to_do() -> None:
    places = tuple(place.model_copy(update={"position": None}) for place in DEMO.places)
    bare: PlayfieldMap = DEMO.model_copy(update={"places": places})
    with pytest.raises(PlanError, match="put places into the picture first"):
        brief_of(bare)
