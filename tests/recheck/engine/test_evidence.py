"""The tables that weigh every edit at once against the exact weighing of each edited map."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from probe.recheck.engine import NEW, Options, Probe, Recheck, Setup
from probe.recheck.engine.evidence import BEFORE, CLIP, WHOLE, Along, Evidence
from probe.recheck.engine.model import (
    END,
    FURTHER,
    SILENT,
    AllAsShown,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Ints,
    Observation,
)
from probe.recheck.engine.moves import _moved_far, single_edits
from probe.recheck.engine.world import IMPOSSIBLE, NEW_SPOT, NO_LIGHT, Maps, World, log_likelihood, picture_of
from tests.recheck.engine.worlds import unchanged

COUNT, WIDTH = 20, 30


def base() -> Ints:
    """A chain with a named new pixel at 8 and one that is not named at 12."""
    found = np.full(WIDTH, END, dtype=np.int64)
    found[: COUNT + 2] = [*range(8), NEW, *range(8, 11), NEW, *range(11, COUNT)]
    return found


def answers(world: World) -> list[Observation]:
    """What fits that map: a picture as shown, one of the old chain that differs, single lights."""
    map_ = base()
    old = Recheck.start(world.setup, Options(seed=5)).look(turn=1)
    shown = picture_of(world, map_, named={8: 0}, turn=0, seed=5)
    place = 8  # at number 9 now
    return [
        Observation(action=old, answer=Differs.at(place, old.colours[9])),
        Observation(action=Probe(number=8), answer=AtNewPlace()),
        Observation(action=Probe(number=15), answer=AtPlace(13)),
        Observation(action=shown, answer=AllAsShown()),
    ]


@pytest.mark.parametrize("count", range(1, 5))
def test_the_tables_weigh_an_edit_as_the_exact_weighing_does(count: int) -> None:
    """Of the map's own weight: equal where the edit may be meant, far below where it cannot be.

    Left out are further pixels, as the tables take each pixel of a place as if it shone alone, and maps that have nothing
    at a number lit alone, as the tables know only where pixels go, or a new pixel there, which may be a further one.
    """
    world = World(unchanged(COUNT))
    seen, map_ = answers(world)[:count], base()
    edited = single_edits(world, map_, Evidence(world, WIDTH, seen), looks=True, rng=np.random.default_rng(0))
    table = edited.score - edited.log_prior
    empty = np.isin(edited.maps[:, [8, 15]], [END, SILENT]).any(axis=1) | (edited.maps[:, 15] == NEW)
    kept = ~(edited.maps <= FURTHER).any(axis=1) & ~empty
    maps, table = Maps(world, edited.maps[kept]), table[kept]
    assert len(maps) > 100
    exact = np.zeros(len(maps))
    impossible = np.zeros(len(maps), dtype=bool)
    for one in seen:
        meant, _ = log_likelihood(one, maps)
        own = float(log_likelihood(one, Maps(world, map_[None, :]))[0][0])
        assert own > -0.2, "the map fits what was answered"
        impossible |= meant < IMPOSSIBLE / 2
        exact += meant - own
    assert table[~impossible] == pytest.approx(
        exact[~impossible], abs=0.9
    )  # a neighbour is a round figure in the tables
    assert (table[impossible] <= CLIP / 2 + 0.1).all()


def test_what_was_taken_out_or_spliced_in_costs_nothing_elsewhere() -> None:
    """A map without 9 and 10 and with two new pixels before 15: every other place of the gap and of the run is a map at no
    cost more, weighed by the tables as exactly; far ones too, where no answer speaks against them."""
    world = World(unchanged(COUNT))

    def wired(gap: int, run: int) -> list[int]:
        """Without the old pixels gap and gap + 1, new ones at the numbers run and run + 1."""
        old = [n for n in range(COUNT) if n not in (gap, gap + 1)]
        return [*old[:run], NEW, NEW, *old[run:]]

    def padded(map_: list[int]) -> Ints:
        return np.array(map_ + [END] * (WIDTH - len(map_)), dtype=np.int64)

    picture = picture_of(world, padded(wired(8, 13)), named=(), turn=0, seed=5)
    seen = [Observation(action=picture, answer=AllAsShown())]
    map_ = padded(wired(9, 13))
    edited = single_edits(world, map_, Evidence(world, WIDTH, seen), looks=True, rng=np.random.default_rng(0))
    free = np.flatnonzero(edited.log_prior == 0.0)
    listed = {tuple(edited.maps[row].tolist()): float(edited.score[row]) for row in free}
    likely = [wired(9 + by, 13) for by in (-3, -2, -1, 1, 2, 3)] + [wired(9, 13 + by) for by in (-2, -1, 1, 2)]
    # between the two the tables list what comes near to the best
    assert tuple(padded(wired(8, 13)).tolist()) == max(listed, key=lambda one: listed[one])
    assert sum(tuple(padded(one).tolist()) in listed for one in likely) >= 4
    for one, score in listed.items():
        assert sorted(x for x in one if x >= 0) == sorted(set(one) - {NEW, END}), "no old pixel twice"
        assert (one.count(NEW), sum(x != END for x in one)) == (2, COUNT)
        maps = Maps(world, np.array([one, map_.tolist()]))
        meant, _ = log_likelihood(seen[0], maps)
        assert score == pytest.approx(float(meant[0] - meant[1]), abs=1e-6)
    unsaid = single_edits(world, map_, Evidence(world, WIDTH, []), looks=True, rng=np.random.default_rng(0))
    anywhere = {tuple(map_.tolist()) for map_ in unsaid.maps[unsaid.log_prior == 0.0]}
    assert any(tuple(padded(wired(9 + by, 13)).tolist()) in anywhere for by in range(-9, -5))
    assert any(tuple(padded(wired(9, 13 + by)).tolist()) in anywhere for by in range(-13, -5))


def test_no_edit_has_an_old_pixel_twice() -> None:
    """Also where a run was moved, so that what seems to be missing before it is behind it."""
    world = World(unchanged(COUNT))
    map_ = np.full(WIDTH, END, dtype=np.int64)
    map_[:COUNT] = [*range(5), *range(8, 13), *range(5, 8), *range(13, COUNT)]
    edited = single_edits(world, map_, Evidence(world, WIDTH, []), looks=True, rng=np.random.default_rng(0))
    assert len(edited.maps) > 20
    for one in edited.maps.tolist():
        old = [value % COUNT for value in one if value >= 0]
        assert len(old) == len(set(old)), one


def test_a_light_at_another_chain_s_place_is_a_light_off_the_list() -> None:
    setup = replace(unchanged(10), order=tuple(range(8)), foreign=((8, 9),))
    world = World(setup)
    map_ = np.full((2, 14), END, dtype=np.int64)
    map_[:, :8] = range(8)
    map_[1, 8:10] = (8, 9)  # it goes on as the other chain
    look = picture_of(world, map_[0], named={}, turn=0, seed=1)
    assert not {8, 9} & set(look.places)
    meant, _ = log_likelihood(Observation(action=look, answer=AllAsShown()), Maps(world, map_))
    assert meant[1] - meant[0] == pytest.approx(2 * np.log(setup.person.look_miss))


def test_every_value_of_a_map_is_seen_where_the_model_says() -> None:
    """A further pixel at the place of the one it names, each another; dead, silent and behind the end nowhere."""
    world = World(Setup(order=tuple(range(6)), has_place=(True, True, False, True, True, True), alike=((3, 4),)))
    places = [0, 1, NO_LIGHT, 3, 3, 5]
    assert world.spots(np.arange(6)).tolist() == places
    assert world.spots(FURTHER - np.arange(6)).tolist() == places
    assert world.spots(np.arange(6, 12)).tolist() == [NO_LIGHT] * 6
    assert world.spots(np.array([NEW, SILENT, END])).tolist() == [NEW_SPOT, NO_LIGHT, NO_LIGHT]


def test_two_runs_exchanged_that_say_less_than_the_map_itself_become_maps_too() -> None:
    """All listed places as shown and a light off the list: every exchange says less than the map, by one overlooked place
    for each that changes, and the likeliest become maps."""
    count = 6
    world, map_ = World(unchanged(count)), np.full(count + 6, END, dtype=np.int64)
    map_[:count] = range(count)
    seen = Observation(action=picture_of(world, map_, named={}, turn=0, seed=5), answer=ExtraLight())
    evidence = Evidence(world, len(map_), [seen])
    near = set(Along(evidence, map_).anchors.tolist())
    assert near == set(range(count - BEFORE, count + 1))
    edited = single_edits(world, map_, evidence, looks=True, rng=np.random.default_rng(0))
    there = {tuple(one) for one in edited.maps.tolist()}
    own = log_likelihood(seen, Maps(world, map_[None, :]))[0][0]
    overlooked = []
    for a, b, c, d in combinations(range(count + 1), 4):
        made = map_.copy()
        made[:count] = np.concatenate([map_[:a], map_[c:d], map_[b:c], map_[a:b], map_[d:count]])
        if near & {a, c} and max(b - a, d - c) > 1 and tuple(made.tolist()) in there:
            less = own - log_likelihood(seen, Maps(world, made[None, :]))[0][0]
            overlooked.append(less / -np.log(world.setup.person.look_miss))
    assert len(overlooked) >= 3, "of all but two single pixels, which another kind of edit has too"
    assert overlooked == pytest.approx([2.0] * len(overlooked))


def test_what_changes_nothing_that_is_seen_is_no_edit() -> None:
    """New pixels without a name exchanged, moved or reversed among themselves; with others they are edits."""
    count, width = 9, 15
    world, map_ = World(unchanged(count)), np.full(width, END, dtype=np.int64)
    map_[: count + 5] = [*range(4), NEW, NEW, NEW, *range(4, 7), NEW, NEW, 7, 8]
    evidence = Evidence(world, width, [])
    along = Along(evidence, map_)
    a, b = (axis.ravel() for axis in np.triu_indices(count + 6, 1))
    fine = b <= along.length
    a, b = a[fine], b[fine]
    for x, y, alike in zip(a.tolist(), b.tolist(), along.uniform(a, b).tolist(), strict=True):
        assert alike == (len(set(world.spots(map_[x:y]).tolist())) == 1), (x, y)
    edited = single_edits(world, map_, evidence, looks=True, rng=np.random.default_rng(0))
    own, keys_ = world.key(map_), [world.key(one) for one in edited.maps]
    same = [one for one, key in zip(edited.maps.tolist(), keys_, strict=True) if key == own]
    assert all(one == map_.tolist() or one.count(NEW) == 5 for one in same)
    few = np.full(width, END, dtype=np.int64)
    few[:8] = NEW
    only = World(unchanged(1))
    look = Observation(action=picture_of(only, few, named={}, turn=0, seed=1), answer=ExtraLight())
    evidence = Evidence(only, width, [look])
    assert Along(evidence, few).anchors.size
    alone = single_edits(only, few, evidence, looks=True, rng=np.random.default_rng(0))
    assert alone.alike == 0.0, "new pixels alone have nothing to be exchanged with"


def test_a_run_moved_far_is_weighed_as_its_map_is_both_ways() -> None:
    """Out of where something does not fit, and in there. The map itself is worse than the tables say: by as much for all."""
    count = WHOLE + 40
    world, map_ = World(unchanged(count)), np.full(count + 26, END, dtype=np.int64)
    map_[:count] = range(count)
    look = picture_of(world, map_, named={}, turn=0, seed=2)
    other = next(colour for colour in range(4) if colour != look.expected[100])
    seen = [Observation(action=look, answer=Differs.at(100, other))]
    along = Along(Evidence(world, len(map_), seen), map_)
    (found,) = _moved_far(along)
    p, q = found.where[1:]
    for way in (p < q, p > q):
        maps, priors, totals = found.maps(np.flatnonzero(way), len(map_))
        meant = log_likelihood(seen[0], Maps(world, np.vstack([map_, maps])))[0]
        explain = (meant[1:] - meant[0]) > -IMPOSSIBLE / 2
        assert np.count_nonzero(explain) >= 20
        less = (meant[1:] - meant[0] - totals + priors)[explain]
        noticed = np.log1p(-world.setup.person.look_miss)
        assert less == pytest.approx(np.full(less.size, CLIP - IMPOSSIBLE + noticed), abs=1e-6)
