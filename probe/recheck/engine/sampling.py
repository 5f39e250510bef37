"""Whole maps drawn from an alignment, each with the exact chance of its script."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.recheck.engine.align import Forward, leaving
from probe.recheck.engine.model import END, NEW, Floats, Ints


@dataclass(frozen=True)
class Paths:
    """Sampled scripts: maps of shape (n, J) (entry, NEW or END); positions of shape (n, J) (where in the order a match
    was taken, a moved run being counted where it was passed; -1 elsewhere); log_chance of shape (n,): natural logarithm
    of each script's posterior chance; spot of shape (n,): position at which a moved run was passed, or -1."""

    maps: Ints
    positions: Ints
    log_chance: Floats
    spot: Ints


def sample_paths(run: Forward, *, row: int, count: int, rng: np.random.Generator) -> Paths:
    """Draw whole scripts that end in one row from the posterior, with the exact chance of each.

    Going backward, the chance to have stayed on one diagonal is known beforehand for every cell; so a draw jumps from
    edit to edit by bisection instead of going number by number.
    """
    sampler = _Sampler(run, row, count, rng)
    return sampler.draw()


class _Sampler:
    def __init__(self, run: Forward, row: int, count: int, rng: np.random.Generator) -> None:
        self.run, self.rng = run, rng
        self.width = run.states.shape[2] // 2
        self.half = run.steps.half
        numbers = run.states.shape[0] - 1
        self.maps = np.full((count, numbers), END, dtype=np.int64)
        self.positions = np.full((count, numbers), -1, dtype=np.int64)
        self.spot = np.full(count, -1, dtype=np.int64)
        self.log_chance = np.zeros(count)
        self.row = row
        self.link = -1
        links = run.cells.links
        if links is not None:
            found = np.flatnonzero(links.target == row)
            self.link = int(found[0]) if found.size else -1

    def draw(self) -> Paths:
        run, rng, count = self.run, self.rng, len(self.log_chance)
        end_chance = np.exp(run.log_end[:, self.row] - run.log_total[self.row])
        at = rng.choice(len(end_chance), size=count, p=end_chance / end_chance.sum())
        self.log_chance += np.log(end_chance[at])
        state, picked = _draw(run.states[at, self.row] * run.end_weights[at - run.end_least, self.row], rng)
        self.log_chance += picked
        every = np.arange(count)
        if self.link < 0:
            self._backward(every, at, state, self.row, shift=0, linked=None)
        else:
            links = run.cells.links
            assert links is not None
            assert run.linked is not None
            length, source = int(links.length[self.link]), int(links.source[self.link])
            at, state = self._backward(every, at, state, self.row, shift=length, linked=run.linked[:, self.row])
            leave = leaving(run.steps)
            from_row = run.states[at - length, source]
            both = np.stack([from_row[every, state] * leave[0], from_row[every, state + self.width] * leave[1]], axis=1)
            kind, picked = _draw(both, rng)
            self.log_chance += picked
            passed = links.run[self.link]
            begin = at - length
            self.spot[:] = begin + state - self.half
            for step in range(length):
                self.maps[every, begin + step] = passed[step]
                self.positions[every, begin + step] = self.spot + step
            live = np.flatnonzero(begin > 0)
            self._backward(live, begin[live], (state + kind * self.width)[live], source, shift=0, linked=None)
        return Paths(maps=self.maps, positions=self.positions, log_chance=self.log_chance, spot=self.spot)

    def _backward(
        self, who: Ints, at: Ints, state: Ints, row: int, *, shift: int, linked: Floats | None
    ) -> tuple[Ints, Ints]:
        """Walk back in one row, to the start or to where a link came in; returns where and in which offset."""
        run, rng, width = self.run, self.rng, self.width
        matrix = run.steps.matrix
        states, before, index = run.states[:, row], run.before[:, row], run.cells.index[row]
        numbers = states.shape[0] - 1
        with np.errstate(divide="ignore", invalid="ignore"):
            stay = states[:-1, :width] * float(matrix[0, 0]) / before[1:, :width]
            if linked is not None:
                stay = stay * (1.0 - linked[1:])
            log_stay = np.log(np.nan_to_num(stay, nan=0.0))
        np.clip(log_stay, -700.0, 0.0, out=log_stay)
        total_stay = np.zeros((numbers + 1, width))
        np.cumsum(log_stay, axis=0, out=total_stay[1:])  # n: logarithm of staying through steps 0..n-1
        at, state = at.copy(), state.copy()
        arrived_at, arrived_state = at.copy(), state.copy()
        live = np.arange(len(who))
        while live.size:
            is_match = state[live] < width
            matched = live[is_match]
            if matched.size:
                low = self._slide(total_stay, at[matched], state[matched])
                self.log_chance[who[matched]] += (
                    total_stay[at[matched], state[matched]] - total_stay[low, state[matched]]
                )
                for one, start, stop, offset in zip(
                    who[matched].tolist(), low.tolist(), at[matched].tolist(), state[matched].tolist(), strict=True
                ):
                    self.maps[one, start - 1 : stop] = index[start - 1 : stop, offset]
                    first = start - 1 + offset - self.half
                    self.positions[one, start - 1 : stop] = np.arange(first, first + stop - start + 1)
                at[matched] = low
            fresh = live[~is_match]
            self.maps[who[fresh], at[fresh] - 1] = NEW
            if linked is None:
                live = live[at[live] > 1]
            if not live.size:
                break
            n, s = at[live], state[live]
            with np.errstate(divide="ignore", invalid="ignore"):
                came = states[n - 1] * matrix[:, s].T / before[n, s][:, None]
            matches = s < width
            came[np.flatnonzero(matches), s[matches]] = 0.0
            if linked is not None:
                share = np.where(matches, linked[n, np.where(matches, s, 0)], 0.0)
                came = np.column_stack([came * (1.0 - share)[:, None], share])
            came = np.nan_to_num(came, nan=0.0, posinf=0.0)
            previous, picked = _draw(came, rng, total=np.ones(len(came)))
            self.log_chance[who[live]] += picked
            crossed = previous == 2 * width
            arrived_at[live[crossed]], arrived_state[live[crossed]] = n[crossed], s[crossed]
            live, previous, n = live[~crossed], previous[~crossed], n[~crossed]
            state[live] = previous
            at[live] = n - 1
        return arrived_at, arrived_state

    def _slide(self, total_stay: Floats, at: Ints, state: Ints) -> Ints:
        """For each match, the earliest number count to which it came along its diagonal without an edit."""
        goal = total_stay[at, state] - np.log(self.rng.random(at.size))
        low, high = np.zeros(at.size, dtype=np.int64), at.copy()
        while np.any(low < high):  # least n with total_stay[n] <= goal
            middle = (low + high) // 2
            fits = total_stay[middle, state] <= goal
            high = np.where(fits, middle, high)
            low = np.where(fits, low, middle + 1)
        return np.maximum(low, 1)  # the first number's own step is drawn, or certain


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
