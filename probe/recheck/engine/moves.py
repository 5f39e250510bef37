"""Edits of a whole map: every single one of each kind, weighed by all answers at once.

A kind is a function that yields `Edits`: the arrays of its edits' places and sizes, what each costs in the prior, and
how the answers weigh it (`evidence.Along`).  The likeliest become maps, which are then weighed exactly; the weight of
the others is summed as what is left unseen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from probe.recheck.engine.evidence import BAND, CLIP, WHOLE, Along, Evidence
from probe.recheck.engine.model import (
    END,
    FURTHER,
    NEW,
    SILENT,
    Bools,
    Floats,
    Ints,
    NotSure,
    Observation,
    Prior,
    Probe,
)
from probe.recheck.engine.world import NEW_SPOT, NO_LIGHT, World, is_new

SHORT_RUN = 20
LONGEST_INSERT = 24
NEAR_BY = 24
"""A pixel in and one out at most this far apart are one edit."""
NEARLY = 20.0
"""Edits this far (natural logarithm) below the best become no maps."""
CLOSE = 9.0
BEST = 30
"""So many edits of each kind become maps if they are as CLOSE to the best, FEW of the others and of rare kinds."""
FEW = 12
NOTHING = -30.0
"""Edits this unlikely against the map itself count for nothing."""
NEVER = -1e3
FLAT = 1e-9
"""No answer speaks for or against an edit of at most so much weight: what is left of rounding."""
LONGEST_EXCHANGED = 60
"""In a chain longer than WHOLE, runs that are exchanged apart."""
MANY = 400
"""So many of two runs exchanged: where both begin is known long before where they end."""
MOST_FAR = 8
"""So many runs are tried as moved far, wherever to or from."""
MOST_PAIRS = 100
"""So many pairs of beginnings are tried for two runs exchanged."""
NEAR_SWAP = 9
"""Half of the single pixels exchanged are at most this far apart."""
DRAWN_PAIRS = 6000
MOST_STARTS = 120
"""So many numbers of another chain are tried as what comes here."""
SAMPLES = 800
"""Exchanges drawn at random to see what all answers would have let pass."""
MOST_FITTED = 16_000
"""So many maps are made to agree with what single lights showed: a person who errs in one answer of twenty was seen to lead to
nearly as many, others to a third."""


@dataclass(frozen=True)
class Edited:
    """Edits of one map, all weights against its own.  maps: shape (n, numbers); log_prior: what each adds, shape (n,);
    score: that and how the tables weigh it, which say more of an edit that explains a part.  unseen: weight of the edits
    that became no maps, by the first number that they change, shape (numbers + 1,).  alike: weight of pixels dead,
    exchanged, moved or reversed that change nothing that was answered."""

    maps: Ints
    log_prior: Floats
    score: Floats
    unseen: Floats
    alike: float


class Edits:
    """Those of some edits of one kind that are more than NOTHING.

    where: arrays alike, the first number that changes first.  build: the items of one edited map, in parts.  limit: so
    many become maps at most.  shown: one that no answer speaks for or against becomes no map, as a further picture tells,
    not thinking: the weight of those is `alike`.
    """

    def __init__(
        self,
        weight: Floats,
        log_prior: Floats,
        where: tuple[Ints, ...],
        build: Callable[..., list[Ints]],
        *,
        limit: int = BEST,
        shown: bool = False,
    ) -> None:
        total = weight + log_prior
        flat = (np.abs(weight) < FLAT) & shown
        at = np.flatnonzero((total > NOTHING) & ~flat)
        self.total, self.log_prior, self.where = total[at], log_prior[at], [array[at] for array in where]
        self.build, self.limit, self.alike = build, limit, float(np.exp(log_prior[flat]).sum())

    def maps(self, chosen: Ints, width: int) -> tuple[Ints, Floats, Floats]:
        """The maps of the chosen edits that have room in so many numbers, their log_prior and total."""
        found = np.full((chosen.size, width), END, dtype=np.int64)
        fits = np.ones(chosen.size, dtype=bool)
        for row, where in enumerate(zip(*(array[chosen].tolist() for array in self.where), strict=True)):
            made = np.concatenate(self.build(*where))
            fits[row] = len(made) <= width
            found[row, : len(made)] = made[:width]
        return found[fits], self.log_prior[chosen[fits]], self.total[chosen[fits]]


def single_edits(world: World, map_: Ints, evidence: Evidence, *, looks: bool, rng: np.random.Generator) -> Edited:
    """Every single edit of a map; looks: False leaves out what only pictures could show."""
    along = Along(evidence, map_)
    kinds = [*_spliced(along), *_taken_out(along), *_in_and_out(along), *_elsewhere(along), *_dead(along)]
    unseen = np.zeros(along.width + 1)
    if looks:
        kinds += _reordered(along, rng)
        unseen[: along.length] += _unlisted(along, rng) / max(1, along.length)
    least = max((float(kind.total.max()) for kind in kinds if kind.total.size), default=0.0) - NEARLY
    found = [_other_end(along)]
    for kind in kinds:
        chosen = np.flatnonzero(kind.total >= least)
        likely = kind.total[chosen]
        limit = min(kind.limit, max(FEW, int(np.count_nonzero(likely >= least + NEARLY - CLOSE))))
        if chosen.size > limit:
            luck = likely + 0.01 * rng.random(chosen.size)  # of those that are equal any, not the first
            chosen = chosen[np.argpartition(luck, -limit)[-limit:]]
        rest = np.exp(np.minimum(kind.total, 30.0))
        rest[chosen] = 0.0
        unseen += np.bincount(kind.where[0], rest, minlength=along.width + 1)
        found.append(kind.maps(chosen, along.width))
    maps, priors, scores = zip(*found[1:], found[0], strict=True)
    alike = sum(kind.alike for kind in kinds)
    return Edited(np.vstack(maps), np.concatenate(priors), np.concatenate(scores), unseen, alike)


def chance_left_alike(world: World, map_: Ints, evidence: Evidence, *, rng: np.random.Generator) -> float:
    """What `single_edits` gives as alike, and nothing else."""
    along = Along(evidence, map_)
    return sum(kind.alike for kind in (*_dead(along), *_reordered(along, rng)))


def _reordered(t: Along, rng: np.random.Generator) -> list[Edits]:
    """The same pixels in another order, of every kind."""
    return [*_swapped(t, rng), *_rearranged(t), *_moved_far(t), *_exchanged(t)]


_pairs = lru_cache(maxsize=8)(np.triu_indices)
"""All pairs of whole numbers below the first argument at least so far apart."""


def _grid(*axes: Ints) -> list[Ints]:
    return [x.ravel() for x in np.meshgrid(*axes, indexing="ij")]


def _spliced(t: Along) -> Iterator[Edits]:
    """Spliced in: visible, silent, further pixels at a place near by or at one that showed several colours."""
    prior, entries, items, n = t.world.setup.prior, t.world.setup.entries, t.items, t.length
    sizes = np.arange(1, min(LONGEST_INSERT, t.width - n) + 1)
    if not sizes.size:
        return
    at, size, place = _insertions(prior, n, len(sizes))
    moved = t.part(size, at, np.full_like(at, n)) - t.part(0, at, np.full_like(at, n))
    visible = float(np.log(1 - prior.further - prior.silent))
    yield Edits(
        moved + t.fresh[at + size] - t.fresh[at],
        place + size * visible,
        (at, size),
        lambda a, k: [items[:a], np.full(k, NEW), items[a:]],
    )
    few = size <= 3
    at, size, place, moved = at[few], size[few], place[few], moved[few]
    yield Edits(
        moved,
        place + size * np.log(prior.silent),
        (at, size),
        lambda a, k: [items[:a], np.full(k, SILENT), items[a:]],
        limit=FEW,
    )
    crowded = sorted(t.evidence.crowded)
    near = [(where, items[np.clip(where, 0, n - 1)]) for where in (at, at - 1)]
    options = [(x, (w >= 0) & (w < n) & t.shining[np.clip(w, 0, n - 1)], np.log(4)) for w, x in near]
    options += [(np.full_like(at, x), np.ones(at.size, dtype=bool), np.log(2 * entries)) for x in crowded]
    for chosen, fine, cost in options:
        yield Edits(
            (moved + np.where(np.isin(chosen, crowded), -CLIP, 0.0))[fine],
            (place + size * np.log(prior.further) - cost)[fine],
            (at[fine], size[fine], chosen[fine]),
            lambda a, k, x: [items[:a], np.full(k, FURTHER - x), items[a:]],
            limit=FEW,
        )


def _taken_out(t: Along) -> Iterator[Edits]:
    """Taken out (a run to the end: taken out, or the data stop), and replaced."""
    prior, items, n = t.world.setup.prior, t.items, t.length
    a, b, out = _removals(prior, n)
    end = np.full_like(a, n)
    lost = t.gone[b] - t.gone[a] - t.part(0, a, b)
    moved = np.where(b == n, lost, lost + t.part(a - b, b, end) - t.part(0, b, end))
    yield Edits(np.where(b - a < n, moved, NEVER), out, (a, b), lambda a, b: [items[:a], items[b:]])
    few = b - a <= 6
    a, b, lost = a[few], b[few], lost[few]
    yield Edits(
        lost + t.fresh[np.minimum(b, t.width)] - t.fresh[a],
        np.log(prior.another * prior.replaced / n) - (b - a) * np.log(2.0),
        (a, b),
        lambda a, b: [items[:a], np.full(b - a, NEW), items[b:]],
    )


def _in_and_out(t: Along) -> Iterator[Edits]:
    """A pixel in and another out near by: each alone moves all that follows, so that neither looks likely by itself."""
    prior, items, n = t.world.setup.prior, t.items, t.length
    if n >= t.width or n < 2:
        return
    a, b = _runs(n, NEAR_BY)
    b = b - 1
    fine = (a < b) & (b - a <= NEAR_BY)
    a, b = a[fine], b[fine]
    one = np.ones(a.size)
    cost = np.log(1 - prior.further - prior.silent) + _insertion_prior(prior, n, one) + _removal_prior(prior, n, one)
    own = t.part(0, a, b + 1)
    yield Edits(
        t.fresh[a + 1] - t.fresh[a] + t.part(1, a, b) - own + t.gone[b + 1] - t.gone[b],
        cost,
        (a, b),
        lambda a, b: [items[:a], np.array([NEW]), items[a:b], items[b + 1 :]],
    )
    yield Edits(
        t.gone[a + 1] - t.gone[a] + t.part(-1, a + 1, b + 1) - own + t.fresh[b + 1] - t.fresh[b],
        cost,
        (a, b),
        lambda a, b: [items[:a], items[a + 1 : b + 1], np.array([NEW]), items[b + 1 :]],
    )


def _elsewhere(t: Along) -> Iterator[Edits]:
    """What was taken out or spliced in, elsewhere: no edit more, so it costs nothing."""
    items, n, entries = t.items, t.length, t.world.setup.entries
    order = np.array(t.world.setup.order)
    place = np.full(entries + 1, -1)
    place[order] = np.arange(len(order))
    old = place[np.where(items >= 0, items % entries, entries)]
    row = np.where(is_new(t.world.setup, order), entries + 1, order)
    lit = t.cells_of(np.arange(n), np.arange(n))
    weights: list[Floats] = []
    moved: list[Ints] = []  # where it begins, where it ends, which pixel is first then; shape (3, n) each
    for a in (np.flatnonzero((old[:-1] >= 0) & (old[1:] > old[:-1] + 1)) + 1).tolist():
        gap, behind = int(old[a - 1]) + 1, int(old[a])  # those between are out
        if (t.at[order[gap:behind]] >= 0).any():
            continue
        for way, there in ((-1, a - 1), (1, a)):
            in_row = np.diff(old[there::way], append=-3) == way
            many = int(np.argmin(in_row)) + 1  # up to the next that was changed
            begin = behind - 1 if way < 0 else gap
            at, pixel = there + way * np.arange(many), begin + way * np.arange(many)
            seen = np.cumsum(t.cells(row[pixel], at) - lit[at])
            back = pixel + (gap - behind if way < 0 else behind - gap)
            missing = np.cumsum(t.evidence.unlit[row[back]] - t.evidence.unlit[row[pixel]])
            k, same = np.arange(1, many + 1), np.zeros(many, dtype=np.int64)
            weights.append(seen + missing)
            moved.append(np.array((a - k, same + a, behind - k) if way < 0 else (same + a, a + k, same + gap)))
    if weights:
        weight = np.concatenate(weights)
        yield Edits(
            weight,
            np.zeros(len(weight)),
            tuple(np.hstack(moved)),
            lambda a, b, at: [items[:a], order[at : at + b - a], items[b:]],
        )
    edge = np.flatnonzero(np.diff(items == NEW, prepend=False, append=False)).reshape(-1, 2)
    runs = [(a - k, a, b) for a, b in edge.tolist() for k in range(1, a + 1)]
    runs += [(a, b, b + k) for a, b in edge.tolist() for k in range(1, n - b + 1)]
    if runs:
        a, b, c = np.array(runs).T
        yield Edits(
            t.part(c - b, a, b) + t.part(a - b, b, c) - t.part(0, a, c),
            np.zeros(len(a)),
            (a, b, c),
            lambda a, b, c: [items[:a], items[b:c], items[a:b], items[c:]],
        )


def _dead(t: Along) -> Iterator[Edits]:
    """No light any more, but the data pass."""
    prior, items, entries = t.world.setup.prior, t.items, t.world.setup.entries
    one = np.flatnonzero(t.shining)
    yield Edits(
        t.gone[one + 1] - t.gone[one] - t.part(0, one, one + 1) + t.evidence.dark_alone[one],
        np.full(one.size, float(np.log(prior.another * prior.dead / t.length))),
        (one,),
        lambda a: [items[:a], items[a : a + 1] + entries, items[a + 1 :]],
        shown=True,
    )


def _swapped(t: Along, rng: np.random.Generator) -> Iterator[Edits]:
    """Two single pixels exchanged, near each other or anywhere.

    All pairs of a chain of up to WHOLE numbers; of a longer one all near pairs, and so many drawn.
    """
    prior, items, n = t.world.setup.prior, t.items, t.length
    if n < 2:
        return
    if n <= WHOLE:
        a, b = _pairs(n, 1)
    else:
        x, more = _grid(np.arange(n), np.arange(1, NEAR_SWAP + 1))
        a, b = np.sort(np.hstack([(x, x + more), rng.integers(0, n, (2, DRAWN_PAIRS))]), axis=0)
        fine = (a != b) & (b < n)
        a, b = a[fine], b[fine]
    near = int(np.count_nonzero(b - a <= NEAR_SWAP))
    share = prior.another * prior.swapped * 0.5
    unlike = (t.rows[a] != t.rows[b]) & (np.minimum(t.rows[a], t.rows[b]) < t.world.setup.entries)
    a, b = a[unlike], b[unlike]
    own = t.cells_of(np.arange(n), np.arange(n))
    yield Edits(
        t.cells_of(a, b) + t.cells_of(b, a) - own[a] - own[b],
        np.log(np.where(b - a <= NEAR_SWAP, share / near, share / max(1, len(unlike) - near))),
        (a, b),
        lambda a, b: [items[:a], items[b : b + 1], items[a + 1 : b], items[a : a + 1], items[b + 1 :]],
        shown=True,
    )


def _rearranged(t: Along) -> Iterator[Edits]:
    """Reversed runs, and two runs side by side exchanged: one of them moved."""
    prior, items, n = t.world.setup.prior, t.items, t.length
    if n <= WHOLE:
        a, b = _pairs(n + 1, 2)
    else:
        pairs = {(x, x + k) for x in t.anchors.tolist() for k in range(2, BAND) if x + k <= n}
        for number, place in t.evidence.met:
            behind = number + int(t.at[place]) + 1
            pairs |= {(x, behind - x) for x in t.anchors.tolist() if t.at[place] >= 0 and x + 2 <= behind - x <= n}
        a, b = np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2).T
    unlike = ~t.uniform(a, b)
    a, b = a[unlike], b[unlike]
    if a.size:
        share, long = prior.another * prior.reversed / n, prior.long / n
        yield Edits(
            t.mirrored(a, b) - t.part(0, a, b),
            np.log(np.where(b - a <= SHORT_RUN, share * ((1 - prior.long) / SHORT_RUN + long), share * long)),
            (a, b),
            lambda a, b: [items[:a], items[a:b][::-1], items[b:]],
            shown=True,
        )
    if not t.anchors.size:
        return
    forward, back, sizes, p, q, cost = _moves(prior, n, t.shifts.tobytes())
    found: list[tuple[Floats, Ints, Ints]] = []
    for a in t.anchors.tolist():
        fits = int(np.searchsorted(sizes, n - a, side="right"))  # so many begin and end in the chain
        weight = t.two_parts(a, forward[:fits], back[:fits], p[:fits], sizes[:fits])
        counts = np.flatnonzero((weight > NOTHING - cost[:fits]) & ~t.uniform(np.array(a), a + sizes[:fits]))
        found.append((weight[counts], np.full(counts.size, a), counts))
    weight, a, row = (np.concatenate(column) for column in zip(*found, strict=True))
    yield Edits(
        weight,
        cost[row],
        (a, p[row], q[row]),
        _side_by_side(items),
        shown=True,
    )


def _moved_far(t: Along) -> Iterator[Edits]:
    """In a chain longer than WHOLE: a short run moved further than the tables of shifts reach, out of where something does not
    fit (what is behind it comes nearer) or in there (what is there goes back)."""
    prior, items, n = t.world.setup.prior, t.items, t.length
    if n <= WHOLE or not t.anchors.size:
        return
    begin, size = _grid(t.anchors, np.arange(1, SHORT_RUN + 1))
    begin, size = begin[begin + size + BAND < n], size[begin + size + BAND < n]
    found: list[tuple[Floats, Ints, Ints, Ints]] = []
    for out in (True, False):
        there = begin + size * out
        near = t.part(size * (1 - 2 * out), there, begin + BAND) - t.part(0, begin, begin + BAND)
        best = np.argsort(-near, kind="stable")[:MOST_FAR]
        for a, k in zip(begin[best].tolist(), size[best].tolist(), strict=True):
            q, i = np.arange(BAND + 1, n - a - k + 1), np.arange(k)[:, None]
            at, to = (a, a + q) if out else (a + q, a)
            between = t.part(-k, a + k, a + k + q) if out else t.part(k, np.full_like(q, a), a + q)
            weight = t.cells(t.rows[at + i], to + i).sum(axis=0) + between - t.part(0, np.full_like(q, a), a + k + q)
            p, q = (np.full_like(q, k), q) if out else (q, np.full_like(q, k))
            found.append((weight, np.full_like(q, a), p, q))
    if found:
        weight, *where = (np.concatenate(column) for column in zip(*found, strict=True))
        yield Edits(
            weight,
            _move_prior(prior, n, where[1], where[2]),
            tuple(where),
            _side_by_side(items),
            shown=True,
        )


def _exchanged(t: Along) -> Iterator[Edits]:
    """Two runs apart exchanged: where the second begins is known from a single light, or its first two pixels may be
    where the first one's were."""
    prior, items, n = t.world.setup.prior, t.items, t.length
    longest = n if n <= WHOLE else LONGEST_EXCHANGED
    pairs: list[tuple[int, int, int]] = []
    for number, place in t.evidence.met:
        for x in t.anchors[(t.anchors <= number) & (t.anchors > number - 8)].tolist() if t.at[place] >= 0 else ():
            first, other = sorted((x, int(t.at[place]) - (number - x)))
            if 0 <= first < other < n:
                pairs.append((first, other, longest - 1))
    pairs = pairs[:12]
    if n <= WHOLE and t.anchors.size:
        x, y = _grid(t.anchors, np.arange(n - 1))
        fine = np.abs(x - y) > 1
        x, y = x[fine], y[fine]
        fits = np.argsort(-t.part(x - y, y, y + 2), kind="stable")[:MOST_PAIRS]
        pairs += [(min(x, y), max(x, y), SHORT_RUN) for x, y in zip(x[fits].tolist(), y[fits].tolist(), strict=True)]
    if not pairs:
        return
    # every factor is at most 1: so what the second run makes at most, of each length, says which are worth the rest
    a, c, most = np.array(pairs).T
    one: Ints = np.array(1)
    pair, q = _grid(np.arange(len(pairs)), np.arange(1, int(most.max()) + 1))
    fine = q <= np.minimum(most, n - c)[pair]
    pair, q = pair[fine], q[fine]
    a, c, most = a[pair], c[pair], np.minimum(most, c - a - 1)[pair]
    least = NOTHING - float(_exchange_prior(prior, n, one, one))
    weight = t.part(a - c, c, c + q) - t.part(0, a, c + q)
    fine = weight > least
    a, c, q, most, weight = a[fine], c[fine], q[fine], most[fine], weight[fine]
    row = np.repeat(np.arange(len(a)), most)
    p = np.arange(len(row)) - np.repeat(np.cumsum(most) - most, most) + 1
    a, c, q = a[row], c[row], q[row]
    weight = weight[row] + t.part(c - a + q - p, a, a + p)
    fine = (weight > least) & ~_alike(t, a, c, p, q)
    a, c, p, q, weight = a[fine], c[fine], p[fine], q[fine], weight[fine]
    yield Edits(
        weight + t.part(q - p, a + p, c),
        _exchange_prior(prior, n, p, q),
        (a, c, p, q),
        lambda a, c, p, q: [items[:a], items[c : c + q], items[a + p : c], items[a : a + p], items[c + q :]],
        limit=MANY,
        shown=True,
    )


def _side_by_side(items: Ints) -> Callable[..., list[Ints]]:
    """Builds a map with p items from a on and the q behind them exchanged."""
    return lambda a, p, q: [items[:a], items[a + p : a + p + q], items[a : a + p], items[a + p + q :]]


def _alike(t: Along, a: Ints, c: Ints, p: Ints, q: Ints) -> Bools:
    """Whether so many numbers from a and from c are seen alike, so that their exchange changes nothing."""
    both = (p == q) & t.uniform(a, a + p) & t.uniform(c, c + q) & (t.spots[a] == t.spots[c])
    return np.asarray(both | t.uniform(a, c + q))


@lru_cache(maxsize=8)
def _runs(n: int, longest: int) -> tuple[Ints, Ints]:
    """All runs [a, b) up to a length, and those that reach the end."""
    a, k = _grid(np.arange(n), np.arange(1, longest + 1))
    fine = a + k <= n
    tail = np.arange(n - longest)
    return np.concatenate([a[fine], tail]), np.concatenate([(a + k)[fine], np.full(len(tail), n)])


@lru_cache(maxsize=8)
def _moves(prior: Prior, n: int, of: bytes) -> tuple[Ints, Ints, Ints, Ints, Ints, Floats]:
    """Two runs side by side exchanged, by their sizes p and q, the shortest together first: rows of the shifts in a table
    of these, both sizes together, the sizes, and what each costs."""
    shifts = np.frombuffer(of, dtype=np.int64)
    back, forward = _grid(np.flatnonzero(shifts < 0)[::-1], np.flatnonzero(shifts > 0))
    sizes = shifts[forward] - shifts[back]
    order = np.argsort(sizes, kind="stable")
    order = order[sizes[order] <= n]
    p, q = -shifts[back[order]], shifts[forward[order]]
    return forward[order] * (n + 1), back[order] * (n + 1), sizes[order], p, q, _move_prior(prior, n, p, q)


@lru_cache(maxsize=24)
def _insertions(prior: Prior, n: int, longest: int) -> tuple[Ints, Ints, Floats]:
    """All places of a run spliced in, its sizes, and what each costs."""
    at, size = _grid(np.arange(n + 1), np.arange(1, longest + 1))
    return at, size, _insertion_prior(prior, n, size)


@lru_cache(maxsize=24)
def _removals(prior: Prior, n: int) -> tuple[Ints, Ints, Floats]:
    """All runs that may be taken out, and what each costs; one to the end may also be there without data."""
    a, b = _pairs(n + 1, 1) if n <= WHOLE else _runs(n, BAND)
    out = _removal_prior(prior, n, b - a)
    return a, b, np.where(b == n, np.logaddexp(out, np.log(prior.another * prior.stops / n)), out)


# -- what each costs: log prior of one edit more, of this kind, here ---------------------------------------------------


def _insertion_prior(prior: Prior, n: int, size: Ints | Floats) -> Floats:
    """A run of so many pixels spliced in at one of n + 1 positions."""
    geometric = 0.98 * (1 - prior.goes_on) * prior.goes_on ** (size - 1.0) + 0.02 / LONGEST_INSERT
    return np.asarray(np.log(prior.another * prior.insertion * geometric / (n + 1)))


def _removal_prior(prior: Prior, n: int, size: Ints | Floats) -> Floats:
    """A run of so many pixels taken out of n."""
    out = (1 - prior.long) * 0.85 * 0.15 ** (size - 1.0) + prior.long / n
    return np.asarray(np.log(prior.another * prior.removal * out / n))


def _move_prior(prior: Prior, n: int, p: Ints, q: Ints) -> Floats:
    """Two runs of so many pixels side by side exchanged: the shorter one moved; two single pixels most often."""
    shorter = np.arange(n + 1)
    share = (1 - prior.long) * (shorter <= SHORT_RUN) / (SHORT_RUN * n) + prior.long / (n * n)
    cost = np.log(prior.another * prior.moved * share / n)
    both_single = np.log(prior.another * prior.moved * (share[1] + 0.2) / n)
    return np.where((p == 1) & (q == 1), both_single, cost[np.minimum(p, q)])


def _exchange_prior(prior: Prior, n: int, p: Ints, q: Ints) -> Floats:
    long, short = prior.long / (n * n), 0.35 / SHORT_RUN**2
    share = np.log(np.array([long, short + long, 0.5 / SHORT_RUN + short + long]))
    both = (p <= SHORT_RUN) & (q <= SHORT_RUN)
    return np.asarray(np.log(prior.another * prior.exchanged * 2 / (n * n)) + share[both * (1 + (p == q))])


def _unlisted(t: Along, rng: np.random.Generator) -> float:
    """Weight of the exchanges and moves anywhere that no list holds, from draws of the prior."""
    prior, n = t.world.setup.prior, t.length
    if n < 4:
        return 0.0

    def mean(a: Ints, c: Ints, p: Ints, q: Ints) -> float:
        """Of so many numbers from a and from c exchanged."""
        weight = (
            t.part(a - c, c, c + q) + t.part(q - p, a + p, c) + t.part(c - a + q - p, a, a + p) - t.part(0, a, c + q)
        )
        counts = np.where(_alike(t, a, c, p, q), 0.0, np.exp(np.minimum(weight, 0.0)))
        return float(counts.mean()) if a.size else 0.0

    p, q = (rng.integers(1, max(1, min(SHORT_RUN, n // 3)) + 1, SAMPLES) for _ in range(2))
    q = np.where(rng.random(SAMPLES) < 0.5, p, q)
    a, c = np.sort(rng.integers(0, n, (2, SAMPLES)), axis=0)
    fine = (a + p <= c) & (c + q <= n)
    a, c, p, q = a[fine], c[fine], p[fine], q[fine]
    side = c > a + p  # the run [a, a + p) moved to c
    moved = mean(a[side], (a + p)[side], p[side], (c - a - p)[side])
    return prior.another * (prior.exchanged * mean(a, c, p, q) + prior.moved * moved)


def _other_end(t: Along) -> tuple[Ints, Floats, Floats]:
    """The chain goes on as another one: only where an answer says so."""
    setup = t.world.setup
    chain_of = {e: (c, j) for c, chain in enumerate(setup.foreign) for j, e in enumerate(chain)}
    others = [(chain, t.length if at is None else t.before(lines, at)) for chain, lines, at in t.evidence.other]
    starts: set[tuple[int, int, int]] = set()
    for chain, at in others:
        some = range(0, len(setup.foreign[chain]), 1 + len(setup.foreign[chain]) // MOST_STARTS)
        starts |= {(chain, i, j) for i in range(max(0, at - 2), at + 1) for j in some}
    for number, place in t.evidence.met:
        if place in chain_of:
            chain, j = chain_of[place]
            near = {number, 0, *(i for i in (*t.anchors.tolist(), *(at for _, at in others)) if i <= number)}
            starts |= {(chain, i, j - (number - i)) for i in near if j - (number - i) >= 0}
    maps, priors = np.full((len(starts), t.width), END, dtype=np.int64), np.zeros(len(starts))
    fits = np.ones(len(starts), dtype=bool)
    for row, (chain, i, j) in enumerate(sorted(starts)):
        made = np.concatenate([t.items[:i], np.array(setup.foreign[chain][j:], dtype=np.int64)])[: t.width]
        maps[row, : len(made)] = made
        fits[row] = len(np.unique(made[made >= 0])) == np.count_nonzero(made >= 0)
        priors[row] = np.log(setup.prior.another * setup.prior.other_end / (t.length * len(setup.foreign[chain])))
    return maps[fits], priors[fits], priors[fits]


def fitted_to_probes(
    world: World, maps: Ints, log_prior: Floats, seen: Sequence[Observation]
) -> tuple[Ints, Floats, Ints]:
    """Beside every map, the one in which a pixel that was lit alone is what the answer says: new, further, silent, dead.

    The last of the result says which row each comes from. Answers that contradict each other would double the maps each time:
    beside those given stand at most so many, the likeliest ones, that all are `MOST_FITTED`.
    """
    given = len(maps)
    setup, prior = world.setup, world.setup.prior
    visible = 1 - prior.further - prior.silent
    source: Ints = np.arange(len(maps))
    for one in seen:
        if not isinstance(one.action, Probe) or isinstance(one.answer, NotSure) or one.action.number >= maps.shape[1]:
            continue
        number, said = one.action.number, world.lit_at(one.answer)
        value = maps[:, number]
        spliced = is_new(setup, value) | (value == SILENT) | (value <= FURTHER)
        more: Floats = np.zeros(len(maps))
        if said >= 0:
            becomes = np.full_like(value, FURTHER - said)
            changed = spliced & (value != becomes)
            beside = maps[:, max(0, number - 3) : number + 4]
            near = ((beside == FURTHER - becomes[0]) | (beside == becomes[0])).any(axis=1)
            more = np.log(prior.further / visible * np.where(near, 0.25, 0.5 / setup.entries))
        elif said == NEW_SPOT:
            becomes = np.full_like(value, NEW)
            changed = spliced & (value < 0) & (value != NEW)
            more -= np.log(prior.further / visible)
        else:
            becomes = np.where(spliced, SILENT, value + setup.entries)
            changed = (spliced & (value != SILENT)) | (~spliced & (world.spots(value) != NO_LIGHT))
            died = np.log(prior.another * prior.dead / len(setup.order))
            more = np.asarray(np.where(spliced, np.log(prior.silent / visible), died), dtype=np.float64)
        if changed.any():
            extra = maps[changed].copy()
            extra[:, number] = becomes[changed]
            maps = np.vstack([maps, extra])
            source = np.concatenate([source, source[changed]])
            log_prior = np.concatenate([log_prior, (log_prior + more)[changed]])
        if len(maps) > max(given, MOST_FITTED):
            likeliest = np.argsort(-log_prior[given:], kind="stable")[: max(0, MOST_FITTED - given)]
            rows = np.concatenate([np.arange(given), given + np.sort(likeliest)])
            maps, source, log_prior = maps[rows], source[rows], log_prior[rows]
    return maps, log_prior, source
