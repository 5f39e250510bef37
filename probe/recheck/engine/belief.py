"""What a recheck believes: weighed hypotheses, maps drawn from them, the best map and how sure it is.

Immutable: `with_hypotheses` and `widened_if_needed` give new beliefs.  Nothing here decides what to ask.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from probe.recheck.engine.align import Forward, chance_of_map, forward, steps
from probe.recheck.engine.evidence import Evidence
from probe.recheck.engine.hypotheses import Hypothesis, random_runs, random_swaps
from probe.recheck.engine.model import (
    END,
    NEW,
    Answer,
    AtNewPlace,
    AtPlace,
    Floats,
    Ints,
    Look,
    NothingLit,
    NotSure,
    Observation,
    Probe,
    Setup,
)
from probe.recheck.engine.result import Doubt
from probe.recheck.engine.sampling import sample_paths

DRAWS = 192
"""Maps drawn from the posterior for each choice."""
MOST_HYPOTHESES = 32
"""Hypotheses carried from answer to answer."""
WORTH_DOUBTING = 1e-3
"""Hypotheses below this chance are not drawn from, and no look is doubted together with them."""
WORTH_KEEPING = 12.0
"""Hypotheses this far (natural logarithm) below the best are dropped."""
NEARLY = 0.03
"""This near to the confidence asked for, the best map's chance is summed over all hypotheses instead of drawn ones."""
UNLISTED_SWAPS = 2000
UNLISTED_RUNS = 100
"""Swaps, and reversed or moved runs, drawn from the prior to see what all answers would have let pass."""
WIDEST = 64
"""The band is not widened beyond this half-width."""
EDGE = 6
"""Room that a widened band leaves beyond the shift it was widened for."""
ALIKE = 3
"""Shifts of two numbers that differ by no more than this count as the same long run, with small edits between."""


@dataclass(frozen=True, kw_only=True)
class Options:
    """confidence: stop when the whole map is right with at least this chance.  looks: use look frames, not only probes.
    clean_looks: at least so many looks have to have found the final map as shown; two are a frame and another code.
    confidence_after_finds, clean_looks_after_finds: the same once something was found that nobody had stated: where
    one thing was overlooked there may be more, and what is hard to see is proved with a look more (probes alone cannot)."""

    confidence: float = 0.9965
    clean_looks: int = 2
    confidence_after_finds: float = 0.9995
    clean_looks_after_finds: int = 3
    looks: bool = True
    seed: int = 0


@dataclass(frozen=True)
class Draws:
    """Maps drawn from the posterior.

    maps, positions: shape (n, J); source: hypothesis of each, shape (n,).  best: the most likely map, shape (J,);
    best_positions: where in its order each number stands, -1 for new and behind the end; best_hypothesis: its
    hypothesis, a floating run being placed; best_chance: its posterior chance.
    """

    maps: Ints
    positions: Ints
    source: Ints
    best: Ints
    best_positions: Ints
    best_hypothesis: Hypothesis
    best_chance: float


@dataclass(frozen=True)
class Belief:
    """Hypotheses with the logarithm of each one's weight, and where its alignment stands (forward pass and row)."""

    setup: Setup
    options: Options
    evidence: Evidence
    hypotheses: tuple[Hypothesis, ...]
    log_weights: tuple[float, ...]
    runs: tuple[tuple[Forward, int], ...]
    surprises: tuple[int, ...] = ()
    """Indexes of answers that were very unlikely when they were given."""

    @property
    def observations(self) -> tuple[Observation, ...]:
        """Everything asked and answered so far."""
        return self.evidence.observations

    @cached_property
    def weights(self) -> Floats:
        """Posterior of each hypothesis; adds up to 1."""
        w = np.exp(np.array(self.log_weights) - max(self.log_weights))
        return np.asarray(w / w.sum(), dtype=np.float64)

    @cached_property
    def lit_alone(self) -> frozenset[int]:
        """Numbers that were asked about by a probe."""
        return frozenset(seen.action.number for seen in self.observations if isinstance(seen.action, Probe))

    @cached_property
    def named(self) -> dict[int, int]:
        """Numbers that were answered with "a new place", and the index of the observation that did so last."""
        found: dict[int, int] = {}
        for index, seen in enumerate(self.observations):
            if isinstance(seen.action, Probe):
                if isinstance(seen.answer, AtNewPlace):
                    found[seen.action.number] = index
                elif not isinstance(seen.answer, NotSure):
                    found.pop(seen.action.number, None)
        return found

    @cached_property
    def draws(self) -> Draws:
        rng = np.random.default_rng([self.options.seed, len(self.observations), 7])
        least = np.where(self.weights > WORTH_DOUBTING, 2, 0)
        counts = np.maximum(np.round(self.weights * DRAWS).astype(np.int64), least)
        counts[int(self.weights.argmax())] += 1
        for h, one in enumerate(self.hypotheses):
            if one.arranged == 0:
                counts[h] = max(counts[h], 2)
        maps, positions, source, spots = [], [], [], []
        chances: dict[bytes, dict[tuple[int, bytes], float]] = {}
        declared = np.array(sorted(self.setup.declared_new), dtype=np.int64)
        where: dict[bytes, tuple[int, int]] = {}
        row = 0
        for h in np.flatnonzero(counts).tolist():
            paths = sample_paths(self.runs[h][0], row=self.runs[h][1], count=int(counts[h]), rng=rng)
            # a declared new pixel and one that was not declared are the same thing on the playfield
            drawn = np.where(np.isin(paths.maps, declared), NEW, paths.maps) if declared.size else paths.maps
            for k, chance in enumerate((np.exp(paths.log_chance) * self.weights[h]).tolist()):
                key = drawn[k].tobytes()
                script = (h, paths.maps[k].tobytes())
                per = chances.setdefault(key, {})
                if script not in per:
                    per[script] = chance
                    known = where.get(key)
                    if known is None or self.weights[known[1]] < self.weights[h]:
                        where[key] = (row + k, h)
            row += len(drawn)
            maps.append(drawn)
            positions.append(paths.positions)
            spots.append(paths.spot)
            source.append(np.full(len(drawn), h, dtype=np.int64))
        all_maps, all_positions = np.concatenate(maps), np.concatenate(positions)
        best = max(chances, key=lambda key: sum(chances[key].values()))
        at, origin = where[best]
        return Draws(
            maps=all_maps,
            positions=all_positions,
            source=np.concatenate(source),
            best=all_maps[at],
            best_positions=all_positions[at],
            best_hypothesis=self.hypotheses[origin].placed(int(np.concatenate(spots)[at])),
            best_chance=self.chance_of(all_maps[at]) if declared.size else sum(chances[best].values()),
        )

    def chance_of(self, found: Ints) -> float:
        """Posterior chance of one map, all hypotheses and all scripts that make it summed."""
        declared = np.array(sorted(self.setup.declared_new), dtype=np.int64)
        done: dict[int, Floats] = {}
        total = 0.0
        for weight, (run, row) in zip(self.weights.tolist(), self.runs, strict=True):
            if id(run) not in done:
                done[id(run)] = np.exp(chance_of_map(run, found, counts_as_new=declared))
            total += weight * float(done[id(run)][row])
        return min(total, 1.0)

    @property
    def best_map(self) -> Ints:
        """The most likely map: shape (numbers,), entry, NEW or END."""
        return self.draws.best

    @property
    def as_predicted(self) -> bool:
        """Whether the best map is the one that was predicted before anything was asked."""
        declared = self.setup.declared_new
        predicted = [NEW if entry in declared else entry for entry in self.setup.order]
        found = self.best_map
        return bool(np.array_equal(found[found != END], predicted))

    @property
    def goal(self) -> float:
        """The confidence asked for, given what was found."""
        options = self.options
        return options.confidence if self.as_predicted or not options.looks else options.confidence_after_finds

    @cached_property
    def dark_chance(self) -> Floats:
        """For each number of the best map, the chance that it gives no light any more."""
        return self.evidence.dark_chance(self.best_map, void=self.draws.best_hypothesis.void)

    @cached_property
    def unlisted(self) -> float:
        """Share of doubt for rearrangements that are no hypothesis yet but that all answers would have let pass."""
        draws = self.draws
        base = draws.best_hypothesis
        prior = self.setup.prior
        if prior.rearranged <= 0.0:
            return 0.0
        rng = np.random.default_rng([self.options.seed, len(self.observations), 11])
        best, positions = draws.best, draws.best_positions
        matched = np.flatnonzero(best >= 0)
        if len(matched) < 2:
            return 0.0
        kinds = self._kinds()
        pairs = matched[random_swaps(length=len(matched), count=UNLISTED_SWAPS, rng=rng)]
        kind = kinds[best[pairs]]
        odds_of_swap = np.exp(np.minimum(self.evidence.swap_scores(best, pairs, void=base.void), 0.0))
        swaps = (odds_of_swap * (kind[:, 0] != kind[:, 1])).mean()
        orders = random_runs(np.array(base.order, dtype=np.int64), prior, count=UNLISTED_RUNS, rng=rng)
        shown = orders[:, np.clip(positions, 0, len(base.order) - 1)]
        maps = np.where((best >= 0)[None, :], shown, best[None, :])
        changed = ((kinds[maps] != kinds[best][None, :]) & (best >= 0)[None, :]).any(axis=1)
        scores = self.evidence.map_scores(np.vstack([best[None, :], maps]), void=base.void)
        runs = (np.exp(np.minimum(scores[1:] - scores[0], 0.0)) * changed).mean()
        odds = prior.swap * float(swaps) + (prior.reversal + prior.move) * float(runs)
        doubt = odds / max(1e-3, 1.0 - prior.rearranged)
        return doubt / (1.0 + doubt)

    def _kinds(self) -> Ints:
        """For each entry a number that is the same for entries which no eye can tell apart; shape (entries,)."""
        kinds = np.arange(self.setup.entries)
        kinds[[not seen for seen in self.setup.has_place]] = -1
        for group in self.setup.alike:
            kinds[list(group)] = group[0]
        return kinds

    @cached_property
    def confidence(self) -> float:
        """Chance that the best map is right everywhere: exact for the listed hypotheses, less the unlisted doubt."""
        dark = self.dark_chance
        chance = self.draws.best_chance
        if self.goal - NEARLY < chance < self.goal:
            chance = max(chance, self.chance_of(self.best_map))  # hypotheses too light to draw from agree as well
        return float(chance * (1.0 - self.unlisted) * np.prod(np.maximum(dark, 1.0 - dark)))

    def doubts(self, *, least: float = 0.02) -> tuple[Doubt, ...]:
        """Answers that are probably wrong, with that chance: what contradicts the rest and is to be asked again."""
        found: list[Doubt] = []
        for index, seen in enumerate(self.observations):
            if isinstance(seen.action, Look):
                chance = float(sum(w for w, h in zip(self.weights, self.hypotheses, strict=True) if index in h.void))
            else:
                chance = self._probe_doubt(seen.action.number, seen.answer)
            if chance >= least:
                found.append(Doubt(index=index, chance=chance))
        return tuple(found)

    def _probe_doubt(self, number: int, answer: Answer) -> float:
        column = self.draws.maps[:, number]
        if isinstance(answer, AtPlace):
            agrees = np.isin(column, self.setup.like(answer.place))
        elif isinstance(answer, AtNewPlace):
            agrees = column == NEW
        elif isinstance(answer, NotSure):
            return 0.0
        else:
            unseen = np.array([e for e in range(self.setup.entries) if not self.setup.has_place[e]], dtype=np.int64)
            agrees = (column == END) | np.isin(column, unseen)
            if self.dark_chance[number] > 0.5:
                return 0.0
        weight = self.draw_weights
        return float(1.0 - weight[agrees].sum())

    @cached_property
    def draw_weights(self) -> Floats:
        source = self.draws.source
        counts = np.bincount(source, minlength=len(self.hypotheses))
        weights = self.weights[source] / counts[source]
        return np.asarray(weights / weights.sum(), dtype=np.float64)

    def contradicts(self, seen: Observation) -> bool:
        """Whether a probe's answer does not fit the best map."""
        assert isinstance(seen.action, Probe)
        value = int(self.best_map[seen.action.number])
        if isinstance(seen.answer, AtPlace):
            return value not in self.setup.like(seen.answer.place)
        if isinstance(seen.answer, AtNewPlace):
            return value != NEW
        if isinstance(seen.answer, NothingLit):
            unseen = value >= 0 and not self.setup.has_place[value]
            return value != END and not unseen and self.dark_chance[seen.action.number] <= 0.5
        return False

    def with_hypotheses(self, more: list[Hypothesis]) -> Self:
        """Weigh more hypotheses against all answers, and keep the ones that count."""
        known = {h.key for h in self.hypotheses}
        unique = list({h.key: h for h in more if h.key not in known}.values())
        if not unique:
            return self
        cells, constant, final = self.evidence.cells([h.variant() for h in unique])
        moves = steps(self.setup.prior, expected_length=len(self.setup.order), half=self.evidence.half)
        run = forward(cells, moves)
        weighed = list(zip(self.log_weights, self.hypotheses, self.runs, strict=True))
        for at, one in enumerate(unique):
            row = int(final[at])
            log_weight = float(run.log_total[row] + constant[at] + one.log_prior)
            weighed.append((log_weight, one, (run, row)))
        weighed.sort(key=lambda entry: -entry[0])
        kept = [entry for entry in weighed[:MOST_HYPOTHESES] if entry[0] > weighed[0][0] - WORTH_KEEPING]
        plain = next((entry for entry in weighed if entry[1].arranged == 0), None)
        if plain is not None and plain not in kept:
            kept.append(plain)  # the start for other explanations
        return replace(
            self,
            hypotheses=tuple(entry[1] for entry in kept),
            log_weights=tuple(entry[0] for entry in kept),
            runs=tuple(entry[2] for entry in kept),
        )

    def weight_of(self, some: list[Hypothesis]) -> float:
        """Natural logarithm of the joint weight of these hypotheses, -inf when none is left."""
        keys = {h.key for h in some}
        found = [w for w, h in zip(self.log_weights, self.hypotheses, strict=True) if h.key in keys]
        return float(np.logaddexp.reduce(np.array(found))) if found else -np.inf

    def widened_if_needed(self) -> Self:
        """A wider band when the best map runs along its edge, or when two numbers were seen outside of it alike."""
        half = self.evidence.half
        positions = self.draws.best_positions
        used = (positions - np.arange(len(positions)) + half)[positions >= 0]
        wanted = half
        if used.size and not 3 <= used.min() <= used.max() <= 2 * half - 3:
            wanted = 2 * half
        wanted = max(wanted, self._shift_outside() + EDGE)
        wanted = min(WIDEST, wanted)
        if wanted <= half:
            return self
        empty = replace(self, evidence=self.evidence.widened(half=wanted), hypotheses=(), log_weights=(), runs=())
        return empty.with_hypotheses(list(self.hypotheses))

    def _shift_outside(self) -> int:
        """A shift that the band cannot hold but that two numbers were seen with alike, or 0.

        One such number alone is a swap, or a mistake; two may be a moved run, yet a long run of new or missing pixels
        has to be thinkable before it can be ruled out.
        """
        where = {entry: position for position, entry in enumerate(self.setup.order)}
        shifts: dict[int, int] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe) and isinstance(seen.answer, AtPlace) and seen.answer.place in where:
                shifts[seen.action.number] = where[seen.answer.place] - seen.action.number
        far = [s for s in shifts.values() if self.evidence.half - EDGE // 2 < abs(s) <= WIDEST - EDGE]
        return max((abs(s) for s in far if sum(abs(s - other) <= ALIKE for other in far) > 1), default=0)
