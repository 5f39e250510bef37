"""Where to cut in: the frontier equals trying everything; the change is declared as a person would say it."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document import operations as op
from probe.document.checks import check_map
from probe.document.edit_text import parse_edit, parse_edits
from probe.document.edits import Remove, apply_edit, apply_edits
from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, PixelState, PlayfieldMap, Position
from probe.planning.plan import PlanError
from probe.planning.splice import (
    Splice,
    declared_repair,
    declared_words,
    frontier,
    missing_places,
    repaired,
    repairs,
    slacks,
    splice_words,
    spliced,
)
from probe.planning.words import MOST_SPLICES, thinned
from tests.support.examples import examples

DEMO = load_map(demo_map_path())


def laid(points: list[tuple[float, float]], missing: list[tuple[float, float]]) -> tuple[PlayfieldMap, list[str]]:
    """A chain along these points, and places without a pixel."""
    map_ = op.add_chain(op.new_map("Kelp Forest"), Chain(id="k", name="Kelp", output=0))
    for number, (x, y) in enumerate(points):
        map_, place = op.add_place(map_, f"lit {number}", position=Position(x_mm=x, y_mm=y))
        map_ = op.assign_place(map_, "k", number, place.id)
    names = []
    for number, (x, y) in enumerate(missing):
        map_, place = op.add_place(map_, f"missing {number}", position=Position(x_mm=x, y_mm=y))
        names.append(place.id)
    return op.set_count(map_, "k", len(points)), names


def all_ways(
    points: list[tuple[float, float]], entry: tuple[float, float], missing: list[tuple[float, float]]
) -> set[tuple[float, int, int]]:
    """Wire, joints and shifted numbers of every way to splice that is not beaten, by trying all."""
    line = [entry, *points]
    found: set[tuple[float, int, int]] = set()
    for gaps in product(range(len(line)), repeat=len(missing)):
        wire, cuts = 0.0, 0
        for gap in set(gaps):
            own = [missing[k] for k, g in enumerate(gaps) if g == gap]
            end = line[gap + 1] if gap + 1 < len(line) else None
            there = 0.0 if end is None else float(np.hypot(*np.subtract(line[gap], end)))
            cuts += end is not None
            best = min(
                sum(
                    float(np.hypot(*np.subtract(a, b)))
                    for a, b in zip((line[gap], *order), (*order, *([] if end is None else [end])), strict=False)
                )
                for order in permutations(own)
            )
            wire += best - there
        shifted = len(points) - min(gaps)
        found.add((round(wire, 4), len(missing) + cuts, shifted))
    return {
        one
        for one in found
        if not any(other != one and all(o <= n + 1e-9 for o, n in zip(other, one, strict=True)) for other in found)
    }


spots = st.tuples(st.integers(0, 500), st.integers(0, 1_000))


@pytest.mark.slow
@settings(max_examples=examples(40), deadline=None)
@given(st.lists(spots, min_size=2, max_size=7, unique=True), st.lists(spots, min_size=1, max_size=3, unique=True))
def test_the_frontier_is_what_trying_all_finds(
    points: list[tuple[float, float]], missing: list[tuple[float, float]]
) -> None:
    map_, names = laid(points, missing)
    entry = (map_.machine.width_mm / 2, map_.machine.length_mm)
    found = frontier(map_, "k", names)
    expected = all_ways(points, entry, missing)
    mine = {(round(s.wire_mm, 4), s.joints, s.shifted) for s in found}
    for wire, joints, shifted in expected:
        assert any(abs(w - wire) < 2e-3 and (j, n) == (joints, shifted) for w, j, n in mine), (expected, mine)
    for wire, joints, shifted in mine:
        assert any(abs(w - wire) < 2e-3 and (j, n) == (joints, shifted) for w, j, n in expected), (expected, mine)


@pytest.mark.slow
def test_six_places_of_the_demonstration() -> None:
    six = [place.id for place in DEMO.places if place.label in (
        "Kelp target 3", "Reef lane 2", "Urchin glow 3", "Otter bonus 20", "Wreck lock 2", "Trench eel 2")]  # fmt: skip
    numbers = sorted((DEMO.pixels_at[name][0][1] for name in six), reverse=True)
    map_ = apply_edits(DEMO, [Remove(chain="playfield", first=n, last=n) for n in numbers])
    kept = map_.chain("playfield").pixels
    assert set(missing_places(map_, "playfield")) == set(six)
    found = frontier(map_, "playfield", six)
    assert found[-1].shifted == 0
    assert found[-1].cuts[0].after == len(kept) - 1
    assert found[0].wire_mm < 0.4 * found[-1].wire_mm
    assert [s.wire_mm for s in found] == sorted(s.wire_mm for s in found)
    assert len(found) < 300
    for splice in (*found[:3], found[-1]):
        made = spliced(map_, splice, made_on="2025-05-02")
        assert _places(made) != _places(map_)
        assert {place for cut in splice.cuts for place in cut.places} == set(six)
        assert made.chain("playfield").length == len(kept) + 6
        assert not [f for f in check_map(made) if f.code in ("wire-too-short", "joint-lost", "place-without-pixels")]
        assert _places(made)[: splice.before] == _places(map_)[: splice.before]
        assert splice.before == len(kept) or _places(made)[splice.before] in six
        assert len(splice_words(map_, splice)) == len(splice.cuts)


def _places(map_: PlayfieldMap) -> list[str | None]:
    return [pixel.place for pixel in map_.chain("playfield").pixels]


@pytest.mark.slow
@settings(max_examples=examples(20), deadline=None)
@given(st.lists(spots, min_size=2, max_size=7, unique=True), st.lists(spots, min_size=1, max_size=3, unique=True))
def test_what_is_declared_in_words_is_the_change_that_is_made(
    points: list[tuple[float, float]], missing: list[tuple[float, float]]
) -> None:
    map_, names = laid(points, missing)
    for splice in frontier(map_, "k", names):
        by_words = map_
        for words in declared_words(splice):
            by_words = apply_edit(by_words, parse_edit(by_words, words))
        made = spliced(map_, splice)
        assert [p.id for p in by_words.chain("k").pixels if p.id in _ids(map_)] == _ids(map_)
        assert len(by_words.chain("k").pixels) == len(made.chain("k").pixels)
        fresh = [n for n, p in enumerate(by_words.chain("k").pixels) if p.id not in _ids(map_)]
        assert fresh == [n for n, p in enumerate(made.chain("k").pixels) if p.place in names]


def _ids(map_: PlayfieldMap) -> list[str]:
    return [pixel.id for pixel in map_.chain("k").pixels]


def test_what_cannot_be_spliced_says_why() -> None:
    map_, _ = laid([(0, 0), (100, 0)], [])
    map_, place = op.add_place(map_, "Nowhere")
    with pytest.raises(PlanError, match="Nowhere has no position"):
        frontier(map_, "k", [place.id])
    with pytest.raises(PlanError, match="8 at a time"):
        frontier(map_, "k", [place.id] * 9)


@pytest.mark.slow
def test_a_dead_pixel_is_replaced_first() -> None:
    dead = next(n for n, p in enumerate(DEMO.chain("playfield").pixels) if p.state == "dead")
    found = repairs(DEMO, "playfield", dead)
    assert (found[0].shifted, found[0].place_lit) == (0, True)
    assert found[-1].what.startswith("bypass it")
    assert not found[-1].place_lit
    assert any("spare" in repair.what for repair in found)
    (leave, *_), last = repairs(DEMO, "playfield", 83), repairs(DEMO, "playfield", 83)[-1]
    assert leave.joints == 1
    assert (last.joints, last.shifted) == (0, 0)


@pytest.mark.parametrize("dead", [0, 2, 5])
@pytest.mark.parametrize("spare", [None, 0, 1, 3, 4, 5])
def test_a_repair_that_is_soldered_is_as_it_was_announced(dead: int, spare: int | None) -> None:
    """Numbers that shift, whether the place stays lit, and the words that declare it, for each repair."""
    map_, _ = laid([(x, 0.0) for x in range(0, 600, 100)], [])
    map_ = op.set_state(map_, "k", dead, PixelState.DEAD)
    if spare is not None:
        map_ = op.set_state(map_, "k", spare, PixelState.SPARE)
    place = map_.chain("k").pixels[dead].place
    if spare == dead or place is None:
        return
    found = repairs(map_, "k", dead)
    assert [repair.what.split()[0] for repair in found] == [
        "replace",
        *["use"] * (spare is not None),
        "leave" if dead == 5 else "bypass",
    ]
    before = _ids(map_)
    gone = before[dead]
    for repair in found:
        made = repaired(map_, "k", dead, repair, made_on="2026-03-01")
        after = _ids(made)
        assert gone not in after
        moved = [pixel for pixel in after if pixel in before and after.index(pixel) != before.index(pixel)]
        if repair.seat is not None:
            assert spare is not None
            assert after[repair.seat] == before[spare]
            others = [pixel for pixel in moved if pixel != before[spare]]
            assert len(others) <= repair.shifted <= len(others) + 1
        else:
            assert len(moved) == repair.shifted
        lit = [n for n, pixel in enumerate(made.chain("k").pixels) if pixel.place == place]
        assert lit == ([] if not repair.place_lit else [dead if repair.seat is None else repair.seat])
        assert all(made.chain("k").pixels[n].state is PixelState.PLACED for n in lit)
        assert parse_edits(map_, declared_repair(repair)) == repair.edits
        assert [p.place for p in made.chain("k").pixels if p.id in before and p.id != before[spare or 0]] == [
            p.place for p in map_.chain("k").pixels if p.id in after and p.id != before[spare or 0]
        ]


def test_the_wire_of_the_demonstration_is_long_enough_everywhere() -> None:
    for chain in DEMO.chains:
        found: tuple[object, ...] = slacks(DEMO, chain.id)
        assert len(found) > 10
        short = [slack for slack in slacks(DEMO, chain.id) if slack.slack_mm < 0]
        assert not short, short


def test_a_splice_says_where_in_words() -> None:
    map_, names = laid([(0, 0), (100, 0), (200, 0)], [(150, 10)])
    (splice, *_) = frontier(map_, "k", names)
    assert isinstance(splice, Splice)
    assert splice_words(map_, splice) == ("between 1 (2nd) lit 1 and 2 (3rd) lit 2: missing 0",)
    assert declared_words(splice) == ("1 new after #1",)
    assert (splice.joints, splice.shifted, splice.before) == (2, 1, 2)


def test_a_few_of_a_long_frontier_are_shown_and_its_ends_are_among_them() -> None:
    rng = np.random.default_rng(4)
    points = [(float(x), float(y)) for x, y in rng.uniform((0, 0), (500, 1_000), (60, 2))]
    missing = [(float(x), float(y)) for x, y in rng.uniform((0, 0), (500, 1_000), (5, 2))]
    map_, names = laid(points, missing)
    found = frontier(map_, "k", names)
    assert len(found) > MOST_SPLICES
    few = thinned(found)
    assert 3 <= len(few) <= MOST_SPLICES
    assert few[0] == found[0]
    assert min(s.shifted for s in few) == min(s.shifted for s in found)
    assert min(s.joints for s in few) == min(s.joints for s in found)
