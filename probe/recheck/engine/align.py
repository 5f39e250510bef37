"""Banded alignment of new numbers to a predicted order: exact sums over every edit script of the model.

Model.  New numbers are gone through one by one.  `position` is where in the order the next old pixel is taken from.
Before each new number
* with `p_insert` a run of new pixels begins (each further one with `insertion_goes_on`),
* otherwise an old pixel follows; before it, with `p_remove`, a run of old ones is missing.
After the last number what is left of the order is removed likewise.  Missing pixels are only taken out directly before
an old pixel or the end, so every map has exactly one script and the chance of a map is the chance of its path.
Swaps, reversed and moved runs are not steps of the path: they are other orders, and each order is a hypothesis of its
own (see `hypotheses`).  That keeps the constraint that a pixel is in one place only, which jumps inside a path lose.
One kind is summed here: a run that was moved to an unknown spot.  The order lacks the run; one alignment row stands
for "not passed yet" and a second one for "passed", and a link from the first to the second takes the whole run at once.

States of one number: MATCH(d) and NEW(d), d = band offset; position minus number = d - half.  Transitions do not depend
on the number, because the factor of a missing pixel is divided out of every match and multiplied in once for the
whole order.  One step is then one small matrix product for all hypotheses together.

A pixel may have gone dark and still pass data: each match is a mixture of "gives light" and "gives none".
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from probe.recheck.engine.model import END, NEW, Floats, Ints, Prior

TINY = 1e-300


def missing_run(prior: Prior, *, longest: int) -> Floats:
    """Chance of each length 0..longest of a missing run, given that one begins; shape (longest + 1,), [0] is 0."""
    lengths = np.arange(longest + 1)
    short = (1.0 - prior.removal_goes_on) * prior.removal_goes_on ** np.maximum(lengths - 1, 0)
    run = (1.0 - prior.long_removal) * short + prior.long_removal / max(longest, 1)
    run[0] = 0.0
    return np.asarray(run, dtype=np.float64)


@dataclass(frozen=True)
class Steps:
    """Chances of the path's steps.

    matrix: shape (2 D, 2 D), rows from, columns to; D = 2 half + 1; states MATCH(0..D-1), NEW(0..D-1).
    end: shape (2, longest + 1): chance to end after MATCH / NEW when that many old pixels are left over.
    """

    matrix: Floats
    end: Floats
    half: int


@lru_cache(maxsize=64)
def steps(prior: Prior, *, expected_length: int, half: int) -> Steps:
    """Transition chances for a chain that is predicted to have `expected_length` numbers, band half-width `half`."""
    p_insert = min(0.3, prior.insertion_sites / (expected_length + 1))
    p_remove = min(0.3, prior.removal_sites / max(expected_length, 1))
    go_on = prior.insertion_goes_on
    width = 2 * half + 1
    run = missing_run(prior, longest=2 * half)
    take = p_remove * run
    take[0] = 1.0 - p_remove
    match = np.zeros((width, width))
    for r in range(width):
        match += take[r] * np.eye(width, k=r)
    back = np.eye(width, k=-1)
    matrix = np.zeros((2 * width, 2 * width))
    matrix[:width, :width] = (1.0 - p_insert) * match
    matrix[:width, width:] = p_insert * back
    matrix[width:, :width] = (1.0 - go_on) * match
    matrix[width:, width:] = go_on * back
    end = np.stack([(1.0 - p_insert) * take, (1.0 - go_on) * take])
    return Steps(matrix=matrix, end=end, half=half)


@dataclass(frozen=True)
class Links:
    """Moved runs: row `source[k]` takes its run and goes on as row `target[k]`; all arrays of shape (K,) but the last.

    length: pixels in the run.  chance: natural logarithm of the chance of each single spot.
    evidence: shape (K, J + 1), factor of the run beginning at each number (-inf where it does not fit).
    run: for each link the entries of the run in the order in which they are passed.
    """

    source: Ints
    target: Ints
    length: Ints
    chance: Floats
    evidence: Floats
    run: tuple[Ints, ...]


@dataclass(frozen=True)
class Cells:
    """Evidence for R alignment rows.

    match: shape (R, J, D) natural logarithms, number j being entry index[r, j, d], relative to that entry being
    missing; -inf outside the order.  new: shape (R, J); behind: shape (J,) for a number behind the end.
    lengths: shape (R,): how many numbers take the row's order to its end without new or missing pixels.
    tail_new, tail_none: shape (R,), factor (natural logarithm) of ending in a new pixel or not.
    begins: shape (R,), whether a path may begin in the row (targets of links do not).
    known_length: the chain has exactly J numbers.
    """

    match: Floats
    index: tuple[Ints, ...]
    new: Floats
    behind: Floats
    lengths: Ints
    tail_new: Floats
    tail_none: Floats
    begins: npt.NDArray[np.bool_]
    links: Links | None
    known_length: bool


@dataclass(frozen=True)
class Forward:
    """Forward pass.  Row index 0 of the first axis is before the first number, n after n numbers.

    states, before: shape (J + 1, R, 2 D): scaled chances after and before the evidence of that number.
    linked: shape (J + 1, R, D): share of a MATCH state that came in by a link, or None without links.
    log_scale, log_end: shape (J + 1, R); log_end: logarithm of everything that ends after n numbers.
    log_total: shape (R,): logarithm of the likelihood of all evidence.  end_weights: chances to end from each state,
    for `end_least` and more numbers.  top: shape (J, R), what the evidence was scaled by.
    """

    states: Floats
    before: Floats
    linked: Floats | None
    log_scale: Floats
    log_end: Floats
    log_total: Floats
    end_weights: Floats
    end_least: int
    evidence: Floats
    top: Floats
    steps: Steps
    cells: Cells


def _end_weights(cells: Cells, moves: Steps) -> tuple[Floats, int]:
    """Chance to end after n numbers in each state, tail evidence included, and the least n for which there is any.

    Shape (J + 1 - least, R, 2 D).
    """
    rows, numbers, width = cells.match.shape
    least = numbers if cells.known_length else max(1, min(numbers, int(cells.lengths.min()) - 3 * moves.half))
    offsets = np.arange(width) - moves.half
    left = cells.lengths[None, :, None] - (np.arange(least, numbers + 1)[:, None, None] + offsets[None, None, :])
    fits = (left >= 0) & (left < moves.end.shape[1])
    index = np.where(fits, left, 0)
    weights = np.empty((numbers + 1 - least, rows, 2 * width))
    weights[:, :, :width] = np.where(fits, moves.end[0][index], 0.0) * np.exp(cells.tail_none)[None, :, None]
    weights[:, :, width:] = np.where(fits, moves.end[1][index], 0.0) * np.exp(cells.tail_new)[None, :, None]
    return weights, least


def leaving(moves: Steps) -> Floats:
    """Chances, after a match and after a new pixel, that a link may be taken; shape (2,).

    A run is taken where an old pixel could follow: no run of new pixels begins or goes on.
    """
    width = 2 * moves.half + 1
    begins, goes_on = moves.matrix[:width, width:], moves.matrix[width:, width:]
    return 1.0 - np.array([begins.sum(axis=1).max(), goes_on.sum(axis=1).max()])


class _Linker:
    """Adds what comes in by links, number by number, with the scales of both rows."""

    def __init__(self, links: Links, moves: Steps, rows: int, numbers: int) -> None:
        width = 2 * moves.half + 1
        self.links, self.width = links, width
        self.linked = np.zeros((numbers + 1, rows, width))
        self.leave = leaving(moves)

    def add(self, n: int, states: Floats, now: Floats, scale: Floats, base: Floats) -> None:
        """Put the runs that end with number n - 1 into `now`, which stands on the scale `base` (changed in place)."""
        links, width = self.links, self.width
        begin = n - links.length
        k = np.flatnonzero(begin >= 0)
        if not k.size:
            return
        begin = begin[k]
        factor = links.chance[k] + links.evidence[k, begin]
        k, begin, factor = k[factor > -1e300], begin[factor > -1e300], factor[factor > -1e300]
        if not k.size:
            return
        source, target = links.source[k], links.target[k]
        from_row = states[begin, source]
        inflow = from_row[:, :width] * self.leave[0] + from_row[:, width:] * self.leave[1]
        logs = scale[begin, source] + factor
        empty = now[target].sum(axis=1) <= 0.0
        base[target[empty]] = logs[empty]
        difference = logs - base[target]
        lift = np.maximum(difference, 0.0)
        now[target] *= np.exp(-lift)[:, None]
        base[target] += lift
        inflow *= np.exp(difference - lift)[:, None]
        now[target, :width] += inflow
        total = now[target, :width]
        self.linked[n, target] = np.where(total > 0.0, inflow / np.where(total > 0.0, total, 1.0), 0.0)


def forward(cells: Cells, moves: Steps) -> Forward:
    """Sum over all scripts, for all rows at once.  Time is J small matrix products."""
    rows, numbers, width = cells.match.shape
    top = np.maximum(cells.match.max(axis=2), cells.new).T
    top = np.where(np.isfinite(top), top, 0.0)
    evidence = np.empty((numbers, rows, 2 * width))
    evidence[:, :, :width] = np.exp(cells.match.transpose(1, 0, 2) - top[:, :, None])
    evidence[:, :, width:] = np.exp(cells.new.T - top)[:, :, None]
    states = np.empty((numbers + 1, rows, 2 * width))
    states[0] = 0.0
    before = np.empty_like(states)
    before[0] = 0.0
    states[0, cells.begins, moves.half] = 1.0
    log_scale = np.zeros((numbers + 1, rows))
    linker = _Linker(cells.links, moves, rows, numbers) if cells.links is not None else None
    sums = np.empty((numbers, rows))
    matrix = moves.matrix
    for n in range(1, numbers + 1):
        ahead, now = before[n], states[n]
        np.matmul(states[n - 1], matrix, out=ahead)
        np.multiply(ahead, evidence[n - 1], out=now)
        if linker is not None:
            base = log_scale[n - 1] + top[n - 1]
            linker.add(n, states, now, log_scale, base)
        total = now.sum(axis=1)
        if not total.all():
            total[total <= 0.0] = 1.0  # nothing gets here (yet): the row stays empty
        now /= total[:, None]
        sums[n - 1] = total
        if linker is not None:
            log_scale[n] = base + np.log(total)
    if linker is None:
        np.cumsum(np.log(sums) + top, axis=0, out=log_scale[1:])
    weights, least = _end_weights(cells, moves)
    behind = np.zeros(numbers + 1)
    behind[:-1] = np.cumsum(cells.behind[::-1])[::-1]
    log_end = np.full((numbers + 1, rows), -np.inf)
    with np.errstate(divide="ignore"):
        log_end[least:] = np.log((states[least:] * weights).sum(axis=2)) + log_scale[least:] + behind[least:, None]
    return Forward(
        states=states,
        before=before,
        linked=linker.linked if linker is not None else None,
        log_scale=log_scale,
        log_end=log_end,
        log_total=np.logaddexp.reduce(log_end, axis=0),
        end_weights=weights,
        end_least=least,
        evidence=evidence,
        top=top,
        steps=moves,
        cells=cells,
    )


def marginals(run: Forward, *, row: int = 0) -> tuple[Floats, Floats]:
    """Posterior of each number in one row without links, by forward and backward pass.

    Returns (states, ended): states of shape (J, 2 D), the chance of MATCH(d) and NEW(d); ended of shape (J,), the
    chance that the number is behind the end.  Each number's chances add up to 1.
    """
    cells = run.cells
    numbers, width = cells.match.shape[1:]
    behind = np.zeros(numbers + 1)
    behind[:-1] = np.cumsum(cells.behind[::-1])[::-1]
    ahead = np.zeros(2 * width)
    scale = -np.inf
    states = np.zeros((numbers, 2 * width))
    for n in range(numbers, 0, -1):
        here = np.zeros(2 * width)
        if n >= run.end_least:
            here = run.end_weights[n - run.end_least, row]
        end_scale = float(behind[n])
        level = max(scale, end_scale)
        joined = ahead * np.exp(scale - level) + here * np.exp(end_scale - level)
        largest = max(float(joined.max()), TINY)
        back, back_scale = joined / largest, level + float(np.log(largest))
        weight = run.log_scale[n, row] + back_scale - run.log_total[row]
        states[n - 1] = run.states[n, row] * back * np.exp(weight)
        ahead = run.steps.matrix @ (run.evidence[n - 1, row] * back)
        scale = back_scale + float(run.top[n - 1, row])
    return states, np.clip(1.0 - states.sum(axis=1), 0.0, 1.0)


def chance_of_map(run: Forward, found: Ints, *, counts_as_new: Ints) -> Floats:
    """Natural logarithm of the posterior chance of one map of shape (J,) in each row; shape (R,).

    counts_as_new: entries that the map calls NEW as well, so that several scripts make the same map; all are summed.
    """
    cells = run.cells
    end = int(np.count_nonzero(found != END))
    shown = found[:end]
    match = np.full((len(cells.index), end, cells.match.shape[2]), -np.inf)
    for row, index in enumerate(cells.index):
        allowed = index[:end] == shown[:, None]
        if counts_as_new.size:
            allowed |= (shown == NEW)[:, None] & np.isin(index[:end], counts_as_new)
        match[row] = np.where(allowed, cells.match[row, :end], -np.inf)
    links = cells.links
    if links is not None:
        evidence = links.evidence[:, : end + 1].copy()
        for k, passed in enumerate(links.run):
            values = np.where(np.isin(passed, counts_as_new), NEW, passed)
            fits = np.zeros(end + 1, dtype=np.bool_)
            spots = end - len(passed) + 1
            if spots > 0:
                fits[:spots] = np.all(
                    [shown[t : t + spots] == value for t, value in enumerate(values.tolist())], axis=0
                )
            evidence[k, ~fits] = -np.inf
        links = replace(links, evidence=evidence)
    only = replace(
        cells,
        match=match,
        new=np.where(shown[None, :] == NEW, cells.new[:, :end], -np.inf),
        behind=cells.behind[:end],
        links=links,
        known_length=True,
    )
    with np.errstate(divide="ignore"):
        log_joint = forward(only, run.steps).log_total + float(cells.behind[end:].sum())
    possible = np.isfinite(run.log_total)  # a row that no script can give has no map either
    return np.where(possible, log_joint - np.where(possible, run.log_total, 0.0), -np.inf)
