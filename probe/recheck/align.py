"""Banded alignment of new numbers to a predicted order: exact sums over every edit script of the model.

Model.  New numbers are gone through one by one.  `position` is where in the order the next old pixel is taken from.
Before each new number
* with `p_insert` a run of new pixels begins (each further one with `insertion_goes_on`),
* otherwise an old pixel follows; before it, with `p_remove`, a run of old ones is missing.
After the last number what is left of the order is removed likewise.  Missing pixels are only taken out directly before
an old pixel or the end, so every map has exactly one script and the chance of a map is the chance of its path.
Swaps, reversed and moved runs are not steps of the path: they are other orders, and each order is a hypothesis of its
own (see `hypotheses`).  That keeps the constraint that a pixel is in one place only, which jumps inside a path lose.

States of one number: MATCH(d) and NEW(d), d = band offset; position minus number = d - half.  Transitions do not depend
on the number, because the factor of a missing pixel is divided out of every match and multiplied in once for the
whole order.  One step is then one small matrix product for all hypotheses together.

A pixel may have gone dark and still pass data: each match is a mixture of "gives light" and "gives none".
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from probe.recheck.model import END, NEW, Bools, Floats, Ints, Prior

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
class Cells:
    """Evidence for H orders.

    match: shape (H, J, D) natural logarithms, number j being the entry at position j + d - half, relative to that entry
    being missing; -inf outside the order.  new: shape (H, J); behind: shape (J,) for a number behind the end.
    lengths: shape (H,), length of each order.  tail_new, tail_none: shape (H,), factor (natural logarithm) of ending
    in a new pixel or not.
    known_length: the chain has exactly J numbers.
    """

    match: Floats
    new: Floats
    behind: Floats
    lengths: Ints
    tail_new: Floats
    tail_none: Floats
    known_length: bool


@dataclass(frozen=True)
class Forward:
    """Forward pass.  Row r is after r numbers.

    states, before: shape (J + 1, H, 2 D): scaled chances after and before the evidence of that number.
    log_scale: shape (J + 1, H).  log_end: shape (J + 1, H): logarithm of everything that ends after r numbers.
    log_total: shape (H,): logarithm of the likelihood of all evidence.
    """

    states: Floats
    before: Floats
    log_scale: Floats
    log_end: Floats
    log_total: Floats
    end_weights: Floats
    evidence: Floats
    steps: Steps


def _end_weights(cells: Cells, moves: Steps) -> Floats:
    """Shape (J + 1, H, 2 D): chance to end after r numbers in each state, tail evidence included."""
    hypotheses, numbers, width = cells.match.shape
    offsets = np.arange(width) - moves.half
    left = cells.lengths[None, :, None] - (np.arange(numbers + 1)[:, None, None] + offsets[None, None, :])
    fits = (left >= 0) & (left < moves.end.shape[1])
    index = np.where(fits, left, 0)
    weights = np.empty((numbers + 1, hypotheses, 2 * width))
    weights[:, :, :width] = np.where(fits, moves.end[0][index], 0.0) * np.exp(cells.tail_none)[None, :, None]
    weights[:, :, width:] = np.where(fits, moves.end[1][index], 0.0) * np.exp(cells.tail_new)[None, :, None]
    return weights


def forward(cells: Cells, moves: Steps) -> Forward:
    """Sum over all scripts, for all orders at once.  Time is J small matrix products."""
    hypotheses, numbers, width = cells.match.shape
    top = np.maximum(cells.match.max(axis=2), cells.new)
    evidence = np.empty((numbers, hypotheses, 2 * width))
    evidence[:, :, :width] = np.exp(cells.match - top[:, :, None]).transpose(1, 0, 2)
    evidence[:, :, width:] = np.exp(cells.new - top).T[:, :, None]
    states = np.zeros((numbers + 1, hypotheses, 2 * width))
    before = np.zeros_like(states)
    states[0, :, moves.half] = 1.0
    sums = np.empty((numbers, hypotheses))
    matrix = moves.matrix
    for r in range(numbers):
        ahead = before[r + 1]
        now = states[r + 1]
        np.matmul(states[r], matrix, out=ahead)
        np.multiply(ahead, evidence[r], out=now)
        total = now.sum(axis=1)
        if not total.all():
            np.maximum(total, TINY, out=total)
        now /= total[:, None]
        sums[r] = total
    log_scale = np.zeros((numbers + 1, hypotheses))
    np.cumsum(np.log(np.maximum(sums, TINY)) + top.T, axis=0, out=log_scale[1:])
    weights = _end_weights(cells, moves)
    behind = np.zeros(numbers + 1)
    behind[:-1] = np.cumsum(cells.behind[::-1])[::-1]
    with np.errstate(divide="ignore"):
        log_end = np.log((states * weights).sum(axis=2)) + log_scale + behind[:, None]
    log_end[0] = -np.inf  # a chain has at least one pixel
    if cells.known_length:
        log_end[:-1] = -np.inf
    log_total = np.logaddexp.reduce(log_end, axis=0)
    return Forward(
        states=states,
        before=before,
        log_scale=log_scale,
        log_end=log_end,
        log_total=log_total,
        end_weights=weights,
        evidence=evidence,
        steps=moves,
    )


def marginals(cells: Cells, run: Forward, *, hypothesis: int = 0) -> tuple[Floats, Floats]:
    """Posterior of each number under one order, by forward and backward pass.

    Returns (states, ended): states of shape (J, 2 D), the chance of MATCH(d) and NEW(d); ended of shape (J,), the
    chance that the number is behind the end.  Each row of both together adds up to 1.
    """
    numbers, width = cells.match.shape[1:]
    h = hypothesis
    top = np.maximum(cells.match[h].max(axis=1), cells.new[h])
    behind = np.zeros(numbers + 1)
    behind[:-1] = np.cumsum(cells.behind[::-1])[::-1]
    ahead = np.zeros(2 * width)
    scale = -np.inf
    states = np.zeros((numbers, 2 * width))
    for r in range(numbers, 0, -1):
        here = np.zeros(2 * width)
        if r == numbers or not cells.known_length:
            here = run.end_weights[r, h]
        end_scale = float(behind[r])
        level = max(scale, end_scale)
        joined = ahead * np.exp(scale - level) + here * np.exp(end_scale - level)
        largest = max(float(joined.max()), TINY)
        back, back_scale = joined / largest, level + float(np.log(largest))
        weight = run.log_scale[r, h] + back_scale - run.log_total[h]
        states[r - 1] = run.states[r, h] * back * np.exp(weight)
        ahead = run.steps.matrix @ (run.evidence[r - 1, h] * back)
        scale = back_scale + float(top[r - 1])
    return states, np.clip(1.0 - states.sum(axis=1), 0.0, 1.0)


@dataclass(frozen=True)
class Paths:
    """Sampled scripts of one order: offsets of shape (n, J) (band offset of a match, or NEW, or END), and the natural
    logarithm of each path's posterior chance under that order, shape (n,)."""

    offsets: Ints
    log_chance: Floats


def sample_paths(
    run: Forward, *, hypothesis: int, count: int, rng: np.random.Generator
) -> Paths:
    """Draw whole scripts from the posterior of one order, with the exact chance of each.

    Going backward, the chance to have stayed on one diagonal is known beforehand for every cell; so a draw jumps from
    edit to edit by bisection instead of going number by number.
    """
    width = run.states.shape[2] // 2
    numbers = run.states.shape[0] - 1
    h = hypothesis
    matrix = run.steps.matrix
    states, before = run.states[:, h], run.before[:, h]
    stay_step = float(matrix[0, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        stay = states[:-1, :width] * stay_step / before[1:, :width]
        log_stay = np.log(np.nan_to_num(stay, nan=0.0))
    np.clip(log_stay, -700.0, 0.0, out=log_stay)
    total_stay = np.zeros((numbers + 1, width))
    np.cumsum(log_stay, axis=0, out=total_stay[1:])  # row r: logarithm of staying through steps 0..r-1

    end_chance = np.exp(run.log_end[:, h] - run.log_total[h])
    row = rng.choice(numbers + 1, size=count, p=end_chance / end_chance.sum())
    log_chance = np.log(end_chance[row])
    offsets = np.full((count, numbers), END, dtype=np.int64)
    last = states[row] * run.end_weights[row, h]
    state, picked = _draw(last, rng)
    log_chance += picked
    live = np.arange(count)
    while live.size:
        r, s = row[live], state[live]
        is_match = s < width
        # matches: slide down the diagonal to the step that was not a stay
        for_match = live[is_match]
        if for_match.size:
            rm, sm = row[for_match], state[for_match]
            goal = total_stay[rm, sm] - np.log(rng.random(for_match.size))
            low, high = np.zeros(for_match.size, dtype=np.int64), rm.copy()
            while np.any(low < high):  # least k with total_stay[k] <= goal
                middle = (low + high) // 2
                fits = total_stay[middle, sm] <= goal
                high = np.where(fits, middle, high)
                low = np.where(fits, low, middle + 1)
            low = np.maximum(low, 1)  # row 0 is the start; the first number's own step is drawn below
            log_chance[for_match] += total_stay[rm, sm] - total_stay[low, sm]
            for index, start, stop, offset in zip(
                for_match.tolist(), low.tolist(), rm.tolist(), sm.tolist(), strict=True
            ):
                offsets[index, start - 1 : stop] = offset
            row[for_match] = low
        for_new = live[~is_match]
        offsets[for_new, r[~is_match] - 1] = NEW
        r = row[live]
        inner = r > 1
        live = live[inner]
        if not live.size:
            break
        r, s = row[live], state[live]
        came = states[r - 1] * matrix[:, s].T
        matches = s < width
        came[matches] = _without_stay(came[matches], s[matches])
        full = before[r, s]
        previous, picked = _draw(came, rng, total=full)
        log_chance[live] += picked
        state[live] = previous
        row[live] = r - 1
    return Paths(offsets=offsets, log_chance=log_chance)


def _without_stay(came: Floats, at: Ints) -> Floats:
    came[np.arange(len(at)), at] = 0.0
    return came


def _draw(weights: Floats, rng: np.random.Generator, *, total: Floats | None = None) -> tuple[Ints, Floats]:
    """One column per row by weight, and the logarithm of weight / total (total: the row's own sum by default)."""
    running = np.cumsum(weights, axis=1)
    sums = running[:, -1]
    picked = (running < (rng.random(len(weights)) * sums)[:, None]).sum(axis=1)
    picked = np.minimum(picked, weights.shape[1] - 1)
    whole = sums if total is None else total
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.log(weights[np.arange(len(weights)), picked] / whole)
    return picked.astype(np.int64), chance


def maps_of(paths: Paths, order: Ints, *, half: int) -> Ints:
    """Maps of sampled paths: shape (n, J); the entry, NEW or END for each number."""
    numbers = paths.offsets.shape[1]
    position = np.arange(numbers)[None, :] + paths.offsets - half
    matched: Bools = paths.offsets >= 0
    safe = np.clip(np.where(matched, position, 0), 0, len(order) - 1)
    return np.where(matched, order[safe], paths.offsets)
