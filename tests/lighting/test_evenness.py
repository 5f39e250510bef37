"""The light model fitted to readings, and what it suggests."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, Kind, PlayfieldMap, Position
from probe.document.model.light import Rating, Reading
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, update_place
from probe.lighting.evenness import Stop, evenness, fit, lit_places, scene, stops
from probe.lighting.levels import places_lit, set_light, shown_on
from probe.lighting.suggest import SeatWork, Sureness, apply, suggest, sureness
from tests.support.examples import first_now

DEMO = load_map(demo_map_path())


def row(gaps_mm: list[float], *, ceiling_ma: int = 20_000, level: int = 200) -> PlayfieldMap:
    """General illumination in a row, with these distances."""
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, ceiling_ma=ceiling_ma))
    map_ = set_count(map_, "a", len(gaps_mm) + 1)
    x = 50.0
    for number, gap in enumerate([*gaps_mm, 0.0]):
        spot = Position(x_mm=x, y_mm=300.0)
        map_, place = add_place(map_, f"Glow {number}", kind=Kind.GENERAL, position=spot)
        map_ = update_place(map_, place.model_copy(update={"depth_mm": 60.0}))
        map_ = set_light(assign_place(map_, "a", number, place.id), place.id, level=level, colour="")
        x += gap
    return map_


def readings(
    map_: PlayfieldMap,
    gain: NDArray[np.float64] | None = None,
    *,
    noise: float = 0.0,
    seed: int = 1,
    keep: int | None = None,
) -> dict[Stop, Reading]:
    """What a meter would read, with pixels that give this much of what the model says."""
    here = scene(map_)
    rng = np.random.default_rng(seed)
    gains = np.ones(len(here.places)) if gain is None else gain
    light = here.light() @ (gains * here.lamps_cd)
    found = {}
    for stop, lux in list(zip(here.stops, light, strict=True))[:keep]:
        value = float(lux * np.exp(noise * rng.standard_normal()))
        levels = [place.level or 0 for place in here.places if place.id in stop]
        found[stop] = Reading(round=1, place=stop[0], to=stop[1], value=value, level=levels[0])
    return found


def truth(map_: PlayfieldMap, gain: NDArray[np.float64]) -> float:
    """Uniformity as it would really be."""
    here = scene(map_)
    found = evenness((here.light() @ (gain * here.lamps_cd)).tolist())
    assert found is not None
    return found.uniformity


def test_stops_are_places_and_gaps_of_general_illumination() -> None:
    order = stops(DEMO)
    alone = {place for place, to in order if to is None}
    assert alone == {place.id for place in lit_places(DEMO)}
    assert all(DEMO.place_by_id[place].kind is Kind.GENERAL for place in alone)
    gaps = [stop for stop in order if stop[1] is not None]
    assert {stop[0] for stop in gaps} | {stop[1] for stop in gaps} <= alone
    assert len(set(order)) == len(order)


def test_each_pixel_of_a_place_gives_its_light() -> None:
    map_ = set_count(row([70.0] * 3), "a", 5)
    two = assign_place(map_, "a", 4, map_.places[1].id)
    lamps = scene(two).lamps_cd
    assert lamps[1] == pytest.approx(2 * lamps[0])
    assert lamps[1] == pytest.approx(2 * scene(map_).lamps_cd[1])


@pytest.mark.slow
def test_readings_count_for_the_levels_at_which_they_were_taken() -> None:
    """Levels changed since then change no gain."""
    map_ = row([70.0] * 5)
    taken = readings(map_, np.array([1.0, 0.5, 1.0, 1.0, 2.0, 1.0]))
    later = set_light(map_, map_.places[1].id, level=90, colour="")
    assert fit(later, taken).gain == pytest.approx(fit(map_, taken).gain)
    here = scene(later, levels={place.id: 200 for place in later.places})
    assert here.lamps_cd == pytest.approx(scene(map_).lamps_cd)


def test_a_fit_finds_the_weak_and_the_strong_pixel() -> None:
    map_ = row([70.0] * 7)
    gain = np.array([1.0, 1.0, 0.4, 1.0, 1.0, 2.0, 1.0, 1.0])
    fitted = fit(map_, readings(map_, gain, noise=0.03))
    relative = fitted.gain / np.median(fitted.gain)
    assert int(np.argmin(relative)) == 2
    assert int(np.argmax(relative)) == 5
    assert relative[2] < 0.7
    assert relative[5] > 1.4
    assert fitted.misfit < 1.5
    assert fitted.coverage == 1.0


@pytest.mark.slow
def test_trims_make_it_more_even_in_truth_and_take_the_bright_one_down() -> None:
    map_ = row([70.0] * 7)
    gain = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 2.5, 1.0, 1.0])
    found = suggest(map_, fit(map_, readings(map_, gain, noise=0.02)))
    assert found.outcome.after.uniformity > found.outcome.before.uniformity
    assert found.outcome.low <= found.outcome.after.uniformity + 0.1
    assert found.outcome.sure is Sureness.SURE
    bright = next(trim for trim in found.trims if trim.place == map_.places[5].id)
    assert bright.level < bright.was
    trimmed = apply(map_, found.trims)
    assert truth(trimmed, gain) > truth(map_, gain) + 0.05
    assert trimmed.place_by_id[bright.place].level == bright.level


@pytest.mark.slow
def test_an_even_row_is_left_nearly_alone() -> None:
    map_ = row([40.0] * 7)
    found = suggest(map_, fit(map_, readings(map_)))
    assert found.outcome.after.uniformity >= found.outcome.before.uniformity - 0.02
    assert found.outcome.after.mean >= 0.5 * found.outcome.before.mean


@pytest.mark.slow
def test_a_wide_gap_asks_for_a_pixel_there() -> None:
    map_ = row([60.0, 60.0, 240.0, 60.0, 60.0])
    found = suggest(map_, fit(map_, readings(map_, noise=0.02)))
    assert found.changes
    best = found.changes[0]
    assert best.outcome.after.uniformity > found.outcome.after.uniformity
    pixels = [change for change in found.changes if change.work is SeatWork.PIXEL]
    assert pixels
    assert {pixels[0].place, pixels[0].to} == {map_.places[2].id, map_.places[3].id}
    assert "add a pixel between Glow 2 and Glow 3" in pixels[0].words(map_)


@pytest.mark.parametrize(
    "gaps_mm", first_now([[40.0] * 7, [70.0] * 6, [70.0, 70.0, 150.0, 70.0], [90.0, 60.0, 90.0, 60.0]])
)
def test_work_is_asked_for_only_where_it_helps_a_tenth_more_than_trims(gaps_mm: list[float]) -> None:
    map_ = row(gaps_mm)
    found = suggest(map_, fit(map_, readings(map_)))
    assert all(change.outcome.after.uniformity > 1.1 * found.outcome.after.uniformity for change in found.changes)


@pytest.mark.slow
def test_a_bare_pixel_just_below_the_surface_asks_for_a_diffuser_and_a_deeper_seat_behind_an_insert_only() -> None:
    map_ = row([90.0] * 5)  # so wide that dimming it leaves its neighbourhood dark
    map_ = update_place(map_, map_.places[2].model_copy(update={"depth_mm": 12.0}))
    found = suggest(map_, fit(map_, readings(map_, noise=0.02)))
    works = {(change.work, change.place) for change in found.changes}
    assert all(work is not SeatWork.DEEPER for work, _ in works)
    assert (SeatWork.DIFFUSER, map_.places[2].id) in works


@pytest.mark.slow
@pytest.mark.parametrize(("depth_mm", "nearer_mm"), [(9.0, None), (9.8, 6.1)])
def test_no_seat_is_advised_nearer_to_the_surface_than_a_pixel_is_high(
    depth_mm: float, nearer_mm: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """6 mm: common practice, no source. Shallower is 1/1.6 of the depth: 5.6 mm for 9 mm, 6.1 mm for 9.8 mm."""
    monkeypatch.setattr("probe.lighting.suggest.MOST_TRIED", 50)  # all of them, not the best few
    map_ = row([90.0] * 5)
    for number, place in enumerate(map_.places):
        map_ = update_place(map_, place.model_copy(update={"depth_mm": depth_mm if number == 2 else 6.0}))
    found = suggest(map_, fit(map_, readings(map_)))
    offered = [change for change in found.changes if change.work is SeatWork.SHALLOWER]
    assert [change.place for change in offered] == ([map_.places[2].id] if nearer_mm else [])
    for change in offered:
        assert change.depth_mm == pytest.approx(nearer_mm, abs=0.05)


@pytest.mark.slow
def test_trims_stay_within_the_ceiling() -> None:
    map_ = row([70.0] * 7, ceiling_ma=60)
    gain = np.array([1.0, 1.0, 0.5, 1.0, 1.0, 2.0, 1.0, 1.0])
    found = suggest(map_, fit(map_, readings(map_, gain)))
    trimmed = apply(map_, found.trims)
    shown = shown_on(trimmed, trimmed.chains[0], places_lit(trimmed, trimmed.places))
    assert found.dimmed_percent < 100
    assert shown.need_ma <= 60
    assert shown.dimmed_percent >= 85  # levels are rounded: a little dimming may be left


@pytest.mark.slow
def test_little_read_is_said_to_be_a_guess_and_touches_little() -> None:
    order = stops(DEMO)[:4]
    rated = zip(order, (Rating.DARK, Rating.FAIR, Rating.HOT, Rating.FAIR), strict=True)
    given = {s: Reading(round=1, place=s[0], to=s[1], rating=r) for s, r in rated}
    fitted = fit(DEMO, given)
    found = suggest(DEMO, fitted)
    assert found.outcome.sure is Sureness.GUESS
    near = {name for stop in order for name in stop if name is not None}
    assert {trim.place for trim in found.trims} <= near


@pytest.mark.slow
def test_ratings_alone_are_never_sure() -> None:
    map_ = row([70.0] * 7)
    given = {s: Reading(round=1, place=s[0], to=s[1], rating=Rating.FAIR) for s in stops(map_)}
    given[map_.places[3].id, None] = Reading(round=1, place=map_.places[3].id, rating=Rating.HOT)
    fitted = fit(map_, given)
    assert fitted.rated_only
    assert suggest(map_, fitted).outcome.sure is not Sureness.SURE


def test_sureness_in_words() -> None:
    assert sureness(1.0) is Sureness.SURE
    assert sureness(0.9) is Sureness.LIKELY
    assert sureness(0.5) is Sureness.GUESS
    assert sureness(1.0, trust=0.7) is Sureness.LIKELY
    assert sureness(1.0, trust=0.2) is Sureness.GUESS


@pytest.mark.slow
def test_the_same_readings_give_the_same_answer() -> None:
    map_ = row([70.0, 50.0, 90.0, 60.0])
    given = readings(map_, noise=0.1)
    assert suggest(map_, fit(map_, given)) == suggest(map_, fit(map_, given))


def test_too_little_is_refused_in_words() -> None:
    map_ = row([70.0] * 3)
    with pytest.raises(ValueError, match="three stops"):
        fit(map_, readings(map_, keep=2))
    assert fit(map_, readings(map_, keep=3)).scene.places
    with pytest.raises(ValueError, match="two places"):
        scene(new_map("Kelp Forest"))
