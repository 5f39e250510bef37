"""Orders the chain may have: as predicted, or with something swapped, reversed or moved.

The alignment takes care of new and missing pixels inside any given order.  A rearrangement is another order, with a
prior of its own.  There are far too many to list, so an order becomes a hypothesis when an answer speaks for it:
* a probe that shows a place other than predicted fixes two positions, and few rearrangements fit both;
* a look that differs at a place fixes where something begins.
What has not been listed keeps a weight too: `random_orders` draws rearrangements from the prior, and the share of them
that all answers so far would have let pass is counted as doubt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from probe.recheck.engine.evidence import Variant
from probe.recheck.engine.model import Ints, Prior, Setup

NEAR_SWAP = 8
MOST_INTO_RUN = 10
BEGINS_BEFORE = 5
"""A rearrangement may begin this many places before the one that was seen to differ: colours agree by chance."""


@dataclass(frozen=True)
class Hypothesis:
    """An order of entries.

    floating: entries of one run that was moved to an unknown spot; the order lacks it, the alignment sums over the
    spots.  void: indexes of looks whose answer is taken as wrong.  log_prior: natural logarithm, without the looks
    taken as wrong.  arranged: rearrangements in it.
    """

    order: tuple[int, ...]
    floating: tuple[int, ...]
    void: frozenset[int]
    log_prior: float
    arranged: int = 0

    def variant(self) -> Variant:
        """The same for the evidence."""
        return Variant(
            order=np.array(self.order, dtype=np.int64),
            floating=np.array(self.floating, dtype=np.int64),
            spot_chance=-math.log(len(self.order) + 1.0),
            void=self.void,
        )

    def placed(self, spot: int) -> Hypothesis:
        """The same with the floating run standing at this position of the order."""
        if not self.floating:
            return self
        return replace(self, order=self.order[:spot] + self.floating + self.order[spot:], floating=())

    @property
    def key(self) -> tuple[tuple[int, ...], tuple[int, ...], frozenset[int]]:
        """What makes two hypotheses the same."""
        return self.order, self.floating, self.void


def first_hypothesis(setup: Setup) -> Hypothesis:
    """Everything in the predicted order."""
    rest = max(1e-3, 1.0 - setup.prior.rearranged)
    return Hypothesis(order=setup.order, floating=(), void=frozenset(), log_prior=math.log(rest))


def _moved(order: tuple[int, ...], start: int, length: int, target: int, *, flip: bool = False) -> tuple[int, ...]:
    run = order[start : start + length]
    rest = order[:start] + order[start + length :]
    return rest[:target] + (run[::-1] if flip else run) + rest[target:]


def _reversed(order: tuple[int, ...], start: int, stop: int) -> tuple[int, ...]:
    return order[:start] + order[start:stop][::-1] + order[stop:]


def _swapped(order: tuple[int, ...], a: int, b: int) -> tuple[int, ...]:
    made = list(order)
    made[a], made[b] = made[b], made[a]
    return tuple(made)


def swap_prior(prior: Prior, *, length: int, distance: int) -> float:
    """Chance of one particular swap: near ones likelier, in inverse proportion to the distance."""
    harmonic = math.log(max(length, 2)) + 0.5772
    return prior.swap / (harmonic * distance * max(1, length - distance))


def reversal_prior(prior: Prior, *, length: int) -> float:
    """Chance of one particular reversed run."""
    return prior.reversal / (max(1, length) * prior.longest_run)


def move_prior(prior: Prior, *, length: int) -> float:
    """Chance of one particular moved run with one particular target."""
    return prior.move / (max(1, length) ** 2 * prior.longest_run)


class _Proposer:
    """Collects orders made from one hypothesis, without doubles."""

    def __init__(self, base: Hypothesis) -> None:
        self.base = base
        self.made: dict[tuple[tuple[int, ...], tuple[int, ...]], Hypothesis] = {}

    def add(self, order: tuple[int, ...], chance: float, *, floating: tuple[int, ...] = ()) -> None:
        if (order, floating) == (self.base.order, self.base.floating):
            return
        log_prior = self.base.log_prior + math.log(max(chance, 1e-30))
        known = self.made.get((order, floating))
        if known is None or known.log_prior < log_prior:
            self.made[order, floating] = replace(
                self.base, order=order, floating=floating, log_prior=log_prior, arranged=self.base.arranged + 1
            )

    def float_run(self, start: int, length: int, prior: Prior) -> None:
        order = self.base.order
        if start < 0 or start + length > len(order) or length >= len(order):
            return
        chance = prior.move / prior.longest_run / len(order)
        self.add(order[:start] + order[start + length :], chance, floating=order[start : start + length])

    def result(self) -> list[Hypothesis]:
        return list(self.made.values())


def from_probe(base: Hypothesis, prior: Prior, *, position: int, entry: int) -> list[Hypothesis]:
    """Orders in which `entry` stands at `position`, where another one was predicted."""
    made = _Proposer(base)
    order, length = base.order, len(base.order)
    if entry not in order:
        at = min(position, length)
        made.add((*order[:at], entry, *order[at:]), 1e-3)  # declared as taken out, but still there
        return made.result()
    other = order.index(entry)
    if other == position:
        return []
    if position < length:
        low, high = min(position, other), max(position, other)
        made.add(_swapped(order, low, high), swap_prior(prior, length=length, distance=high - low))
        for wider in range(MOST_INTO_RUN):
            start, stop = low - wider, high + wider + 1
            if start >= 0 and stop <= length and stop - start <= prior.longest_run:
                made.add(_reversed(order, start, stop), reversal_prior(prior, length=length))
        gap = other - position
        if 0 < gap <= prior.longest_run:
            for into in range(min(MOST_INTO_RUN, position) + 1):
                made.float_run(position - into, gap, prior)
    for into in range(MOST_INTO_RUN + 1):
        start = other - into
        if start < 0 or position - into < 0:
            break
        for size in range(into + 1, prior.longest_run + 1):
            if start + size > length:
                break
            # the run lands where the entry now stands, or before it when its old spot was read as a missing run
            for target in (position - into, position - into - size):
                if 0 <= target <= length - size and (target == position - into or other < position):
                    made.add(_moved(order, start, size, target), move_prior(prior, length=length))
    return made.result()


def from_look(base: Hypothesis, prior: Prior, *, place: int, floating: bool) -> list[Hypothesis]:
    """Orders in which something begins at or shortly before the place that differs.

    floating: also runs that were moved from there to an unknown spot.
    """
    made = _Proposer(base)
    if place not in base.order:
        return []
    order, length = base.order, len(base.order)
    position = order.index(place)
    for before in range(BEGINS_BEFORE):
        start = position - before
        if start < 0:
            break
        for size in range(2, prior.longest_run + 1):
            if start + size <= length:
                made.add(_reversed(order, start, start + size), reversal_prior(prior, length=length))
        for size in range(1, prior.longest_run + 1) if floating else ():
            made.float_run(start, size, prior)
    for distance in range(1, NEAR_SWAP + 1):
        if position + distance < length:
            chance = swap_prior(prior, length=length, distance=distance)
            made.add(_swapped(order, position, position + distance), chance)
    return made.result()


def random_swaps(*, length: int, count: int, rng: np.random.Generator) -> Ints:
    """Pairs of positions drawn from the prior for swaps; shape (count, 2)."""
    distance = np.minimum(length - 1, np.exp(rng.random(count) * math.log(length)).astype(np.int64))
    first = (rng.random(count) * (length - distance)).astype(np.int64)
    return np.column_stack([first, first + distance])


def random_runs(order: Ints, prior: Prior, *, count: int, rng: np.random.Generator) -> Ints:
    """Reversed and moved runs of an order drawn from the prior; shape (count, length)."""
    length = len(order)
    made = np.tile(order, (count, 1))
    if length < 2:
        return made
    moved = rng.random(count) < prior.move / max(1e-12, prior.move + prior.reversal)
    for row in range(count):
        size = int(rng.integers(2, max(3, min(prior.longest_run, length // 2) + 1)))
        size = min(size, length)
        start = int(rng.integers(length - size + 1))
        if not moved[row]:
            made[row, start : start + size] = order[start : start + size][::-1]
        else:
            rest = np.delete(order, np.s_[start : start + size])
            target = int(rng.integers(len(rest) + 1))
            made[row] = np.concatenate([rest[:target], order[start : start + size], rest[target:]])
    return made
