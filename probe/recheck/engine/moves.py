"""Edits of a whole map: every single one of each kind, weighed by all answers at once.

A picture's likelihood is a product over places, and an edit moves runs of the chain by a shift each.  So with one table
of sums along the chain for every shift, the weight of any edit is a few differences: of all insertions, removals,
replacements, reversals, and exchanges of runs that begin near something that did not fit.  The best of each kind become
maps, which are then weighed exactly (`world.log_likelihood`); the weight of the others is summed as what is left unseen.
The tables take a place with several pixels as if each shone alone; only the exact weighing knows better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    COLOURS,
    END,
    FURTHER,
    NEW,
    SILENT,
    AllAsShown,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Floats,
    Ints,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    OtherChain,
    Prior,
    Probe,
    Setup,
)
from probe.recheck.engine.world import World, _bits, colours_of, length_of, listed

CLIP = -14.0
"""An answer that cannot be meant counts as this in the tables: about what a wrong answer costs."""
SHORT_RUN = 20
LONGEST_INSERT = 24
WHOLE = 220
"""Up to so many numbers every shift is in the tables; beyond, shifts up to BAND and those that a single light showed."""
BAND = 40
NEAR_BY = 24
"""A pixel in and one out at most this far apart are one edit."""
NEARLY = 20.0
"""Edits this far (natural logarithm) below the best become no maps."""
BEST = 30
"""So many edits of each kind become maps."""
MOST_PAIRS = 100
"""So many pairs of beginnings are tried for two runs exchanged."""
NEAR_SWAP = 9
"""Half of the single pixels exchanged are at most this far apart."""
DRAWN_PAIRS = 6000
SAMPLES = 800
"""Exchanges drawn at random to see what all answers would have let pass."""


@dataclass(frozen=True)
class Edited:
    """Edits of one map.  maps: shape (n, numbers); log_prior: what each adds to the map's own, shape (n,); unseen: the
    weight, against the map's own, of all the edits that did not become maps, by the first number that they change; shape
    (numbers + 1,).  alike: the weight of pixels dead, exchanged, moved or
    reversed that change nothing that was answered."""

    maps: Ints
    log_prior: Floats
    unseen: Floats
    alike: float = 0.0


class _Tables:
    """Sums of log factors along the chain, for every shift."""

    def __init__(self, world: World, map_: Ints, seen: Sequence[Observation]) -> None:
        self.world, self.setup = world, world.setup
        self.width = len(map_)
        self.length = length_of(map_)
        self.items = map_[: self.length]
        entries = self.setup.entries
        self.at = {int(v) % entries if v >= 0 else -1: n for n, v in enumerate(self.items.tolist())}
        shone = (self.items >= 0) & (self.items < entries)
        further = self.items <= FURTHER
        self.rows = np.where(shone, self.items, np.where(self.items == NEW, entries + 1, entries))
        self.rows[further] = FURTHER - self.items[further]
        declared = np.isin(self.items, sorted(self.setup.declared_new))
        self.rows[declared] = entries + 1
        self.looks: list[tuple[Floats, Ints]] = []
        self.missing = np.zeros(self.length)
        self.new_at = np.zeros(self.width)
        self.probes: list[tuple[int, Floats]] = []
        self.anchors: set[int] = set()
        self.met: list[tuple[int, int]] = []
        """(number, place) where a single light was seen."""
        self.crowded: set[int] = set()
        self.other: list[tuple[int, int]] = []
        for one in seen:
            if isinstance(one.answer, NotSure | NewPlaceDiffers):
                continue
            if isinstance(one.action, Look):
                self._look(one.action, one)
            elif isinstance(one.action, Probe):
                self._probe(one.action.number, one)
        shifts = range(-self.length, self.width) if self.length <= WHOLE else self._shifts()
        self.shifts = np.array(sorted(shifts), dtype=np.int64)
        self.whole = self.length <= WHOLE
        self.index = np.full(self.length + self.width + 2, -1, dtype=np.int64)
        self.index[self.shifts + self.length] = np.arange(len(self.shifts))
        cells = self._cells(np.arange(self.length)[None, :] + self.shifts[:, None])
        self.flat = np.concatenate([np.zeros((len(self.shifts), 1)), np.cumsum(cells, axis=1)], axis=1).ravel()
        self.gone = np.concatenate([[0.0], np.cumsum(self.missing)])
        self.fresh = np.concatenate([[0.0], np.cumsum(self.new_at)])

    def _look(self, look: Look, one: Observation) -> None:
        world, entries = self.world, self.setup.entries
        person, answer = self.setup.person, one.answer
        lines = listed(world, look)
        miss = float(np.log(person.look_miss))
        table = np.zeros((entries + 2, COLOURS + 1))
        stop = len(lines.places)
        named: dict[int, int] = {}
        if isinstance(answer, Differs):
            for said in answer.seen:
                named[lines.position[int(world.spot[said.place])]] = _bits(said.colours)
                if bin(_bits(said.colours)).count("1") > 1:
                    self.crowded.add(said.place)
            stop = max(named) + 1
            for said in answer.seen:
                self._anchor(self._near(lines.places, lines.position[int(world.spot[said.place])]))
        elif isinstance(answer, OtherChain):
            at = len(self.items)
            if answer.place is not None:
                stop = lines.position[int(world.spot[answer.place])]
                at = self._near(lines.places, stop)
            self._anchor(at)
            self.other.append((answer.chain, at))
        several = {group[0]: group for group in self.setup.alike}
        for at, (place, want) in enumerate(zip(lines.places[:stop].tolist(), lines.want.tolist(), strict=False)):
            for entry in several.get(place, (place,)):
                bits = world.seen_bits[entry]
                if at in named:
                    fits = (bits & ~named[at]) == 0 if entry != place or place in several else bits == named[at]
                    if place in self.crowded:
                        fits = (bits & ~named[at]) == 0
                    table[entry] = np.where(fits & ((bits != want) | (place in self.crowded)), 0.0, CLIP)
                else:
                    table[entry] = np.where((bits & ~want) == 0 if place in several else bits == want, 0.0, miss)
        colours = colours_of(look, self.width)
        if isinstance(answer, AllAsShown):
            lit = colours != COLOURS
            lit[[n for n in look.named if n < self.width]] = False
            self.new_at += np.where(lit, miss, 0.0)
            table[entries + 1, :COLOURS] = miss
        elif isinstance(answer, ExtraLight):
            self._anchor(self.length)
        self.looks.append((table, colours))
        alive = self.rows < entries
        self.missing[alive] += table[self.rows[alive], COLOURS]

    def _near(self, places: Ints, position: int) -> int:
        """Where the map has the place at this position of a list, or the next before it that it has."""
        for place in places[position::-1].tolist():
            if place in self.at:
                return self.at[place]
        return 0

    def _anchor(self, at: int) -> None:
        self.anchors.update(range(max(0, at - 5), min(self.length, at + 2) + 1))

    def _probe(self, number: int, one: Observation) -> None:
        """Factors of every item, then of a new and of a silent pixel, at the number that was lit."""
        world, entries = self.world, self.setup.entries
        spots = np.append(world.spot, [-2, -1])
        said = -2
        if isinstance(one.answer, AtNewPlace):
            said = -1
        elif isinstance(one.answer, AtPlace):
            said = int(world.spot[one.answer.place])
            self.met.append((number, said))
        factor = np.where(spots == said, 0.0, CLIP)
        if said >= 0:
            factor[(spots >= 0) & (np.abs(spots - said) <= 2) & (spots != said)] = -6.0
        factor[entries + 1] = 0.0 if said != -2 else factor[entries + 1] / 2  # it may be a further or a silent one
        self.probes.append((number, factor))
        if number < self.width:
            self.new_at[number] += factor[entries + 1]
        mine = factor[self.rows[number]] if number < self.length else 0.0
        if mine < 0.0:
            self._anchor(number)
            if said in self.at:
                self._anchor(self.at[said])

    def _shifts(self) -> set[int]:
        found = set(range(-BAND, BAND + 1))
        for number, place in self.met:
            if place in self.at:
                found.update(range(number - self.at[place] - 6, number - self.at[place] + 7))
        for length in range(1, self.length):
            if length > BAND and length % 97 == 0:
                found.add(-length)
        return {s for s in found if -self.length <= s < self.width}

    def _cells(self, numbers: Ints) -> Floats:
        """Log factor of item i (last axis) at these numbers."""
        rows = np.broadcast_to(self.rows, numbers.shape)
        outside = (numbers < 0) | (numbers >= self.width)
        clipped = np.where(outside, 0, numbers)
        found = np.zeros(numbers.shape)
        for table, colours in self.looks:
            lit = np.where(outside, COLOURS, colours[clipped])
            found += table.ravel()[rows * (COLOURS + 1) + lit]
        for number, factor in self.probes:
            found += np.where(numbers == number, factor[rows], 0.0)
        return found

    def cells_of(self, items: Ints, numbers: Ints) -> Floats:
        """Log factors of single items at single numbers; shapes alike."""
        found = np.zeros(items.shape)
        rows = self.rows[items]
        for table, colours in self.looks:
            found += table[rows, colours[numbers]]
        for number, factor in self.probes:
            found += np.where(numbers == number, factor[rows], 0.0)
        return found

    def part(self, shift: Ints | int, a: Ints, b: Ints) -> Floats:
        """Sum over items a..b-1 moved by a shift; far below zero for a shift that has no table."""
        row = np.asarray(shift) + self.length
        if self.whole:
            row = np.minimum(row, len(self.shifts) - 1) * (self.length + 1)
            return np.asarray(self.flat[row + b] - self.flat[row + a])
        at = self.index[np.clip(row, 0, len(self.index) - 1)]
        row = at * (self.length + 1)
        return np.where(at >= 0, self.flat[row + b] - self.flat[row + a], -1e3)

    def mirrored(self, a: Ints, b: Ints) -> Floats:
        """Sum over items a..b-1 in reverse order at the same numbers."""
        turns, where = np.unique(a + b - 1, return_inverse=True)
        cells = self._cells(turns[:, None] - np.arange(self.length)[None, :])
        sums = np.concatenate([np.zeros((len(turns), 1)), np.cumsum(cells, axis=1)], axis=1)
        return np.asarray(sums[where, b] - sums[where, a])


def single_edits(
    world: World, map_: Ints, seen: Sequence[Observation], *, looks: bool, rng: np.random.Generator
) -> Edited:
    """Every single edit of a map, weighed by these answers; looks: False leaves out what only pictures could show."""
    t = _Tables(world, map_, seen)
    prior, setup = world.setup.prior, world.setup
    n, width = t.length, t.width
    maps: list[Ints] = []
    priors: list[float] = []
    unseen, peak, alike = np.zeros(width + 1), 0.0, 0.0
    log_more = float(np.log(prior.another))

    def keep(
        weight: Floats, log_prior: Floats, make: list[Ints], build: object, limit: int = BEST, *, shown: bool = False
    ) -> None:
        nonlocal peak, alike
        total = weight + log_prior
        if shown:  # what no answer speaks for or against is no map: it is told by a further picture, not by thinking
            flat = np.abs(weight) < 1e-9
            alike += float(np.exp(total[flat]).sum())
            total, log_prior, make = total[~flat], log_prior[~flat], [array[~flat] for array in make]
        peak = max(peak, float(total.max())) if total.size else peak
        if total.size > limit:
            best = np.argpartition(total, -limit)[-limit:]
            rest = np.ones(total.size, dtype=bool)
            rest[best] = False
            unseen[:] += np.bincount(make[0][rest], np.exp(np.minimum(total[rest], 30.0)), minlength=width + 1)
        else:
            best = np.arange(total.size)
        for i in best.tolist():
            if total[i] < peak - NEARLY:
                continue
            made = build(*(int(array[i]) for array in make))  # type: ignore[operator]
            if len(made) > width:
                continue
            maps.append(np.concatenate([made, np.full(width - len(made), END)]))
            priors.append(float(log_prior[i]))

    items = t.items
    # spliced in: visible, silent, further pixels at a place near by
    sizes = np.arange(1, min(LONGEST_INSERT, width - n) + 1)
    if sizes.size:
        at, size = (x.ravel() for x in np.meshgrid(np.arange(n + 1), sizes, indexing="ij"))
        place = log_more + _insertion_prior(prior, n, size)
        end = np.full_like(at, n)
        moved = t.part(size, at, end) - t.part(0, at, end)
        visible = float(np.log(1 - prior.further - prior.silent))
        keep(
            moved + t.fresh[at + size] - t.fresh[at],
            place + size * visible,
            [at, size],
            lambda a, k: np.concatenate([items[:a], np.full(k, NEW), items[a:]]),
        )
        few = size <= 3
        keep(
            moved[few],
            (place + size * np.log(prior.silent))[few],
            [at[few], size[few]],
            lambda a, k: np.concatenate([items[:a], np.full(k, SILENT), items[a:]]),
            limit=BEST // 2,
        )
        shining = (items >= 0) & (items < setup.entries)
        shining[shining] &= world.spot[items[shining]] >= 0
        for side in (0, -1, None):
            targets = sorted(t.crowded) if side is None else [None]
            for target in targets:
                where = at + (side or 0)
                fine = few & (where >= 0) & (where < n)
                chosen = items[np.clip(where, 0, n - 1)]
                fine &= shining[np.clip(where, 0, n - 1)] | (target is not None)
                if target is not None:
                    chosen = np.full_like(chosen, target)
                bonus = np.where(np.isin(chosen, sorted(t.crowded)), -CLIP, 0.0)
                cost = place + size * np.log(prior.further) - np.log(4 if target is None else 2 * setup.entries)
                keep(
                    (moved + bonus)[fine],
                    cost[fine],
                    [at[fine], size[fine], chosen[fine]],
                    lambda a, k, x: np.concatenate([items[:a], np.full(k, FURTHER - x), items[a:]]),
                    limit=BEST // 2,
                )
    # taken out (a run to the end: taken out, or the data stop), replaced, dead
    a, b = np.triu_indices(n + 1, 1) if n <= WHOLE else _runs(n, BAND)
    size = b - a
    end = np.full_like(a, n)
    out_prior = _removal_prior(prior, n, size)
    out_prior = np.where(b == n, np.logaddexp(out_prior, np.log(prior.stops / n)), out_prior) + log_more
    lost = t.gone[b] - t.gone[a] - t.part(0, a, b)
    fine = size < n
    keep(
        np.where(b == n, lost, lost + t.part(-size, b, end) - t.part(0, b, end))[fine],
        out_prior[fine],
        [a[fine], b[fine]],
        lambda a, b: np.concatenate([items[:a], items[b:]]),
    )
    few = size <= 6
    keep(
        (lost + t.fresh[np.minimum(b, width)] - t.fresh[a])[few],
        (log_more + np.log(prior.replaced / n) - size * np.log(2.0))[few],
        [a[few], b[few]],
        lambda a, b: np.concatenate([items[:a], np.full(b - a, NEW), items[b:]]),
    )
    _in_and_out(t, prior, n, keep, log_more)
    one = np.flatnonzero((items >= 0) & (items < setup.entries))
    one = one[np.array([world.spot[items[i]] >= 0 for i in one.tolist()], dtype=bool)] if one.size else one
    if one.size:
        keep(
            t.gone[one + 1] - t.gone[one] - t.part(0, one, one + 1),
            np.full(one.size, log_more + float(np.log(prior.dead / n))),
            [one],
            lambda a: np.concatenate([items[:a], [items[a] + setup.entries], items[a + 1 :]]),
            shown=True,
        )
    if looks:
        _swapped(t, prior, n, keep, rng)
        _rearranged(t, prior, n, keep)
        unseen[:n] += _unlisted(t, prior, n, rng) / n
    _other_end(t, world, maps, priors, log_more)
    made = np.array(maps, dtype=np.int64).reshape(len(maps), width)
    return Edited(made, np.array(priors), unseen, alike)


def _in_and_out(t: _Tables, prior: Prior, n: int, keep: object, log_more: float) -> None:
    """A pixel in and another out near by: each alone moves all that follows, so that neither looks likely by itself."""
    if n >= t.width or n < 2:
        return
    items = t.items
    a, b = _runs(n, NEAR_BY)
    b = b - 1
    fine = (a < b) & (b - a <= NEAR_BY)
    a, b = a[fine], b[fine]
    one = np.ones(a.size)
    visible = float(np.log(1 - prior.further - prior.silent))
    cost = 2 * log_more + visible + _insertion_prior(prior, n, one) + _removal_prior(prior, n, one)
    keep(  # type: ignore[operator]
        t.fresh[a + 1] - t.fresh[a] + t.part(1, a, b) - t.part(0, a, b + 1) + t.gone[b + 1] - t.gone[b],
        cost,
        [a, b],
        lambda a, b: np.concatenate([items[:a], [NEW], items[a:b], items[b + 1 :]]),
    )
    keep(  # type: ignore[operator]
        t.gone[a + 1] - t.gone[a] + t.part(-1, a + 1, b + 1) - t.part(0, a, b + 1) + t.fresh[b + 1] - t.fresh[b],
        cost,
        [a, b],
        lambda a, b: np.concatenate([items[:a], items[a + 1 : b + 1], [NEW], items[b + 1 :]]),
    )


def _runs(n: int, longest: int) -> tuple[Ints, Ints]:
    """All runs [a, b) up to a length, and those that reach the end."""
    a, k = (x.ravel() for x in np.meshgrid(np.arange(n), np.arange(1, longest + 1), indexing="ij"))
    fine = a + k <= n
    tail = np.arange(n - longest)
    return np.concatenate([a[fine], tail]), np.concatenate([(a + k)[fine], np.full(len(tail), n)])


def _rearranged(t: _Tables, prior: Prior, n: int, keep: object) -> None:
    """Reversed runs, two runs side by side exchanged, two runs apart exchanged."""
    items, width = t.items, t.width
    log_more = float(np.log(prior.another))
    anchors = np.array(sorted(t.anchors)[:48], dtype=np.int64)
    if n <= WHOLE:
        a, b = np.triu_indices(n + 1, 2)
    else:
        pairs = {(x, x + k) for x in anchors.tolist() for k in range(2, BAND) if x + k <= n}
        for number, place in t.met:
            turn = number + t.at.get(place, -9 * width)
            pairs |= {(x, turn + 1 - x) for x in anchors.tolist() if x + 2 <= turn + 1 - x <= n}
        a, b = np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2).T
    if a.size:
        size = b - a
        share = (1 - prior.long) * (size <= SHORT_RUN) / SHORT_RUN + prior.long / n
        keep(  # type: ignore[operator]
            t.mirrored(a, b) - t.part(0, a, b),
            log_more + np.log(prior.reversed * share / n),
            [a, b],
            lambda a, b: np.concatenate([items[:a], items[a:b][::-1], items[b:]]),
            shown=True,
        )
    if not anchors.size:
        return
    ups = t.shifts[t.shifts > 0]
    downs = -t.shifts[t.shifts < 0]
    p, q = (x.ravel() for x in np.meshgrid(downs, ups, indexing="ij"))
    fine = p + q <= n - anchors[0]
    p, q = p[fine], q[fine]
    a = np.repeat(anchors, p.size)
    p, q = np.tile(p, anchors.size), np.tile(q, anchors.size)
    fine = a + p + q <= n
    a, p, q = a[fine], p[fine], q[fine]
    if a.size:
        keep(  # type: ignore[operator]
            t.part(q, a, a + p) + t.part(-p, a + p, a + p + q) - t.part(0, a, a + p + q),
            log_more + _move_prior(prior, n, p, q),
            [a, p, q],
            lambda a, p, q: np.concatenate([items[:a], items[a + p : a + p + q], items[a : a + p], items[a + p + q :]]),
            shown=True,
        )
    # apart: where the second begins is known from a single light, or both are of one length
    rows: list[tuple[Ints, ...]] = []
    for number, place in t.met:
        if place not in t.at:
            continue
        near = anchors[(anchors <= number) & (anchors > number - 8)]
        second = t.at[place] - (number - near)
        for x, y in zip(near.tolist(), second.tolist(), strict=True):
            for first, other in ((x, y), (y, x)):
                if not 0 <= first < other < n:
                    continue
                p, q = (z.ravel() for z in np.meshgrid(np.arange(1, other - first), np.arange(1, n - other + 1)))
                if n > WHOLE:
                    close = np.abs(q - p) <= BAND
                    p, q = p[close][:200_000], q[close][:200_000]
                rows.append((np.full_like(p, first), np.full_like(p, other), p, q))
    rows = rows[:12]
    if n <= WHOLE:
        # else every second run whose first two pixels may be where the first one's were
        x, y = (z.ravel() for z in np.meshgrid(anchors, np.arange(n - 1), indexing="ij"))
        fine = np.abs(x - y) > 1
        x, y = x[fine], y[fine]
        fits = np.argsort(-t.part(x - y, y, y + 2), kind="stable")[:MOST_PAIRS]
        x, y = x[fits], y[fits]
        sizes = np.arange(1, SHORT_RUN + 1)
        shape = (len(x), SHORT_RUN, SHORT_RUN)
        first = np.broadcast_to(np.minimum(x, y)[:, None, None], shape).ravel()
        other = np.broadcast_to(np.maximum(x, y)[:, None, None], shape).ravel()
        p = np.broadcast_to(sizes[None, :, None], shape).ravel()
        q = np.broadcast_to(sizes[None, None, :], shape).ravel()
        fine = (first + p < other) & (other + q <= n)
        rows.append((first[fine], other[fine], p[fine], q[fine]))
    if rows:
        a, c, p, q = (np.concatenate([row[i] for row in rows]) for i in range(4))
        keep(  # type: ignore[operator]
            _exchange(t, a, c, p, q),
            log_more + _exchange_prior(prior, n, p, q),
            [a, c, p, q],
            lambda a, c, p, q: np.concatenate(
                [items[:a], items[c : c + q], items[a + p : c], items[a : a + p], items[c + q :]]
            ),
            shown=True,
        )


def _swapped(t: _Tables, prior: Prior, n: int, keep: object, rng: np.random.Generator) -> None:
    """Two single pixels exchanged, near each other or anywhere.

    All pairs of a chain of up to WHOLE numbers; of a longer one all near pairs, and so many drawn.
    """
    if n < 2:
        return
    if n <= WHOLE:
        a, b = np.triu_indices(n, 1)
    else:
        x = np.concatenate([np.repeat(np.arange(n), NEAR_SWAP), rng.integers(0, n, DRAWN_PAIRS)])
        y = np.concatenate(
            [x[: n * NEAR_SWAP] + np.tile(np.arange(1, NEAR_SWAP + 1), n), rng.integers(0, n, DRAWN_PAIRS)]
        )
        fine = (x != y) & (y < n)
        a, b = np.minimum(x, y)[fine], np.maximum(x, y)[fine]
    near = b - a <= NEAR_SWAP
    share = 0.5 * near / near.sum() + 0.5 * ~near / max(1, int((~near).sum()))
    log_prior = float(np.log(prior.another * prior.swapped)) + np.log(share)
    own = t.cells_of(np.arange(n), np.arange(n))
    weight = t.cells_of(a, b) + t.cells_of(b, a) - own[a] - own[b]
    fine = (t.rows[a] != t.rows[b]) & (np.minimum(t.rows[a], t.rows[b]) < t.setup.entries)
    items = t.items
    keep(  # type: ignore[operator]
        weight[fine],
        log_prior[fine],
        [a[fine], b[fine]],
        lambda a, b: np.concatenate([items[:a], [items[b]], items[a + 1 : b], [items[a]], items[b + 1 :]]),
        shown=True,
    )


def _exchange(t: _Tables, a: Ints, c: Ints, p: Ints, q: Ints) -> Floats:
    weight = t.part(a - c, c, c + q) + t.part(q - p, a + p, c) + t.part(c - a + q - p, a, a + p) - t.part(0, a, c + q)
    return np.asarray(weight)


def _insertion_prior(prior: Prior, n: int, size: Ints | Floats) -> Floats:
    """Log prior of a run of so many pixels spliced in at one of n + 1 positions."""
    geometric = 0.98 * (1 - prior.goes_on) * prior.goes_on ** (size - 1.0) + 0.02 / LONGEST_INSERT
    return np.asarray(np.log(prior.insertion * geometric / (n + 1)))


def _removal_prior(prior: Prior, n: int, size: Ints | Floats) -> Floats:
    """Log prior of a run of so many pixels taken out of n."""
    out = (1 - prior.long) * 0.85 * 0.15 ** (size - 1.0) + prior.long / n
    return np.asarray(np.log(prior.removal * out / n))


def _move_prior(prior: Prior, n: int, p: Ints, q: Ints) -> Floats:
    smaller = np.minimum(p, q)
    share = (1 - prior.long) * (smaller <= SHORT_RUN) / (SHORT_RUN * n) + prior.long / (n * n)
    share = np.where((p == 1) & (q == 1), share + 0.2, share)
    return np.asarray(np.log(prior.moved * share / n))


def _exchange_prior(prior: Prior, n: int, p: Ints, q: Ints) -> Floats:
    both = (p <= SHORT_RUN) & (q <= SHORT_RUN)
    share = 0.5 * (p == q) * both / SHORT_RUN + 0.35 * both / SHORT_RUN**2 + prior.long / (n * n)
    return np.asarray(np.log(prior.exchanged * share * 2 / (n * n)))


def _unlisted(t: _Tables, prior: Prior, n: int, rng: np.random.Generator) -> float:
    """Weight of the exchanges and moves anywhere that no list holds, from draws of the prior."""
    if n < 4:
        return 0.0
    longest = max(1, min(SHORT_RUN, n // 3))
    p, q = (rng.integers(1, longest + 1, SAMPLES) for _ in range(2))
    q = np.where(rng.random(SAMPLES) < 0.5, p, q)
    a = rng.integers(0, n, SAMPLES)
    c = rng.integers(0, n, SAMPLES)
    a, c = np.minimum(a, c), np.maximum(a, c)
    fine = (a + p <= c) & (c + q <= n)
    a, c, p, q = a[fine], c[fine], p[fine], q[fine]
    if not a.size:
        return 0.0
    apart = np.exp(np.minimum(_exchange(t, a, c, p, q), 0.0)).mean()
    q = c - a - p  # the run [a, a + p) moved to c
    side = q >= 1
    a, p, q = a[side], p[side], q[side]
    moved = 0.0
    if a.size:
        weight = t.part(q, a, a + p) + t.part(-p, a + p, a + p + q) - t.part(0, a, a + p + q)
        moved = float(np.exp(np.minimum(weight, 0.0)).mean())
    return prior.another * (prior.exchanged * float(apart) + prior.moved * moved)


def _other_end(t: _Tables, world: World, maps: list[Ints], priors: list[float], log_more: float) -> None:
    """The chain goes on as another one: only where an answer says so."""
    setup, prior = world.setup, world.setup.prior
    chain_of = {e: (c, j) for c, chain in enumerate(setup.foreign) for j, e in enumerate(chain)}
    starts: set[tuple[int, int, int]] = set()
    for chain, at in t.other:
        count = len(setup.foreign[chain])
        starts |= {(chain, i, j) for i in range(max(0, at - 2), at + 1) for j in range(0, count, max(1, count // 12))}
    for number, place in t.met:
        if place not in chain_of:
            continue
        chain, j = chain_of[place]
        near = {number} | {i for i in t.anchors if i <= number} | {at for _, at in t.other if at <= number} | {0}
        starts |= {(chain, i, j - (number - i)) for i in near if j - (number - i) >= 0}
    for chain, i, j in sorted(starts):
        made = np.concatenate([t.items[:i], np.array(setup.foreign[chain][j:], dtype=np.int64)])[: t.width]
        maps.append(np.concatenate([made, np.full(t.width - len(made), END)]))
        priors.append(log_more + float(np.log(prior.other_end / (t.length * max(1, len(setup.foreign[chain]))))))


def fitted_to_probes(
    setup: Setup, world: World, maps: Ints, log_prior: Floats, seen: Sequence[Observation]
) -> tuple[Ints, Floats, Ints]:
    """Beside every map, the one in which a pixel that was lit alone is what the answer says: new, further, silent, dead.

    The last of the result says which row each comes from.
    """
    prior = setup.prior
    visible = 1 - prior.further - prior.silent
    source = np.arange(len(maps))
    for one in seen:
        if not isinstance(one.action, Probe) or isinstance(one.answer, NotSure) or one.action.number >= maps.shape[1]:
            continue
        number = one.action.number
        value = maps[:, number]
        spliced = (value == NEW) | (value == SILENT) | (value <= FURTHER) | np.isin(value, sorted(setup.declared_new))
        shines = (value >= 0) & (value < setup.entries) & ~spliced
        changed = np.zeros(len(maps), dtype=bool)
        becomes, more = value.copy(), np.zeros(len(maps))
        if isinstance(one.answer, AtPlace):
            target = FURTHER - int(world.spot[one.answer.place])
            changed = spliced & (value != target)
            beside = maps[:, max(0, number - 3) : number + 4]
            near = ((beside == FURTHER - target) | (beside == target)).any(axis=1)
            share = np.where(near, 0.25, 0.5 / setup.entries)
            becomes, more = np.full_like(value, target), np.log(prior.further / visible * share)
        elif isinstance(one.answer, AtNewPlace):
            changed = spliced & (value < 0) & (value != NEW)
            becomes = np.full_like(value, NEW)
            more = np.full(len(maps), -float(np.log(prior.further / visible)))
        elif isinstance(one.answer, NothingLit):
            spot = np.full(len(maps), -2, dtype=np.int64)
            spot[shines] = world.spot[value[shines]]
            changed = (spliced & (value != SILENT)) | (spot >= 0)
            becomes = np.where(spliced, SILENT, value + setup.entries)
            died = float(np.log(prior.another * prior.dead / max(1, len(setup.order))))
            more = np.asarray(np.where(spliced, float(np.log(prior.silent / visible)), died), dtype=np.float64)
        if changed.any():
            extra = maps[changed].copy()
            extra[:, number] = becomes[changed]
            maps = np.vstack([maps, extra])
            source = np.concatenate([source, source[changed]])
            log_prior = np.concatenate([log_prior, (log_prior + more)[changed]])
    return maps, log_prior, source


__all__ = ["UNLIT", "Edited", "fitted_to_probes", "single_edits"]
