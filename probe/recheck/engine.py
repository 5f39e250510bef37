"""The recheck itself: what is believed, what to do next, when it is proved.

`Recheck` is immutable.  `next_step()` gives the action worth most; `answered()` gives the next state; going back is
keeping the earlier one.  Nothing here knows a screen, a wire or a clock.

    state = Recheck.start(Setup.unchanged(100))
    while (action := state.next_step().action) is not None:
        state = state.answered(action, ask_the_person(action))
    state.result()

How an action is chosen
* A pixel that is very probably new is lit and named at once: it has to be named anyhow, so the answer costs nothing
  more, and it settles where the new run is.
* Otherwise whole maps are drawn from the posterior.  What a map would show in a look, and where it puts a number, is
  certain; so the spread of outcomes over the drawn maps is the expected information of the action.  It is divided by
  the human time (`costs`) and the best one wins.
* A look is always predicted from the most likely map and has a new code, so that "all as shown" is proof of the whole
  map and "differs" finds the next edit.

When it stops: the most likely map's exact posterior, less the share of doubt that unlisted rearrangements keep, is above
`confidence`.  An answer that does not fit is never averaged in: either hypotheses that explain it take over, or the
look stays under a hypothesis that says "this answer was wrong", `doubts()` names it, and the next actions ask again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from probe.inference.entropy import binary_entropy_bits, entropy_bits
from probe.inference.questions import Question, best_question
from probe.recheck.align import Forward, chance_of_map, forward, sample_paths, steps
from probe.recheck.costs import look_seconds, probe_seconds
from probe.recheck.evidence import Evidence
from probe.recheck.frames import LOOK_CLEAN, build_look, look_outcomes, numbers_at
from probe.recheck.hypotheses import Hypothesis, first_hypothesis, from_look, from_probe, random_runs, random_swaps
from probe.recheck.model import (
    END,
    NEW,
    Action,
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    Floats,
    Ints,
    Look,
    NothingLit,
    NotSure,
    Observation,
    Probe,
    Setup,
)
from probe.recheck.result import Doubt, Result, build_result

DRAWS = 192
MOST_HYPOTHESES = 32
MOST_PROPOSED = 32
MOST_FLOATING = 8
MOST_FROM_LOOK = 5
MOST_BASES = 4
SIGNS_BEFORE = 6
NEARLY = 0.03
"""This near to the confidence asked for, the best map's chance is summed over all hypotheses instead of drawn ones."""
MOST_FROM_OTHERS = 8
MOST_EXPLAINED = 2
WORTH_DOUBTING = 1e-3
"""A look's answer is doubted only together with hypotheses of at least this chance."""
WORTH_KEEPING = 12.0
"""Hypotheses this far (natural logarithm) below the best are dropped."""
UNLISTED_SWAPS = 2000
UNLISTED_RUNS = 100
PROBE_CANDIDATES = 48
LIKELY_NEW = 0.8
SURPRISE = -6.0
PROOF_STAGE = 0.9
"""From this chance of the best map on, what is left is proof, and a look will be needed anyhow: a probe is asked only
if it is expected to tell more than the look, not merely because it is quicker."""
REVISIONS = 2
"""How often contradicted answers are looked at again for another explanation, after each answer."""
HALF = 12
WIDEST = 128


@dataclass(frozen=True, kw_only=True)
class Options:
    """confidence: stop when the whole map is right with at least this chance.  looks: use look frames, not only probes.
    clean_looks: at least so many looks have to have found the final map as shown; two are a frame and another code."""

    confidence: float = 0.9965
    looks: bool = True
    clean_looks: int = 2
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Step:
    """What to do next; action None means finished.  naming: the action names a new pixel, which has to be done anyhow.
    expected_bits and seconds are of this action."""

    action: Action | None
    naming: bool = False
    expected_bits: float = 0.0
    seconds: float = 0.0


@dataclass(frozen=True)
class _Draws:
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
class Recheck:
    """State of one chain's recheck."""

    setup: Setup
    options: Options
    evidence: Evidence
    hypotheses: tuple[Hypothesis, ...]
    log_weights: tuple[float, ...]
    runs: tuple[tuple[Forward, int], ...]
    surprises: tuple[int, ...] = ()
    """Indexes of answers that were very unlikely when they were given."""

    @staticmethod
    def start(setup: Setup, options: Options | None = None) -> Recheck:
        """Nothing asked yet."""
        length = len(setup.order)
        half = HALF if setup.new_count is None else max(HALF, abs(setup.new_count - length) + 12)
        evidence = Evidence(setup, half=half)
        first = first_hypothesis(setup)
        empty = Recheck(
            setup=setup, options=options or Options(), evidence=evidence, hypotheses=(), log_weights=(), runs=()
        )
        return empty._with([first])

    # ---- belief ---------------------------------------------------------------------------------------------

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
    def _draws(self) -> _Draws:
        rng = np.random.default_rng([self.options.seed, len(self.observations), 7])
        counts = np.maximum(np.round(self.weights * DRAWS).astype(np.int64), (self.weights > WORTH_DOUBTING).astype(np.int64) * 2)
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
        return _Draws(
            maps=all_maps,
            positions=all_positions,
            source=np.concatenate(source),
            best=all_maps[at],
            best_positions=all_positions[at],
            best_hypothesis=self.hypotheses[origin].placed(int(np.concatenate(spots)[at])),
            best_chance=self._chance_of(all_maps[at]) if declared.size else sum(chances[best].values()),
        )

    def _chance_of(self, found: Ints) -> float:
        """Posterior chance of one map, all hypotheses and all scripts that make it summed."""
        declared = np.array(sorted(self.setup.declared_new), dtype=np.int64)
        done: dict[int, Floats] = {}
        total = 0.0
        for weight, (run, row) in zip(self.weights.tolist(), self.runs, strict=True):
            if id(run) not in done:
                done[id(run)] = np.exp(chance_of_map(run, found, counts_as_new=declared))
            total += weight * float(np.nan_to_num(done[id(run)][row]))
        return min(total, 1.0)

    @property
    def best_map(self) -> Ints:
        """The most likely map: shape (numbers,), entry, NEW or END."""
        return self._draws.best

    @cached_property
    def dark_chance(self) -> Floats:
        """For each number of the best map, the chance that it gives no light any more."""
        return self.evidence.dark_chance(self.best_map, void=self._draws.best_hypothesis.void)

    @cached_property
    def unlisted(self) -> float:
        """Share of doubt for rearrangements that are no hypothesis yet but that all answers would have let pass."""
        draws = self._draws
        base = draws.best_hypothesis
        prior = self.setup.prior
        if prior.rearranged <= 0.0:
            return 0.0
        rng = np.random.default_rng([self.options.seed, len(self.observations), 11])
        best, positions = draws.best, draws.best_positions
        matched = np.flatnonzero(best >= 0)
        if len(matched) < 2:
            return 0.0
        pairs = matched[random_swaps(length=len(matched), count=UNLISTED_SWAPS, rng=rng)]
        swaps = np.exp(np.minimum(self.evidence.swap_scores(best, pairs, void=base.void), 0.0)).mean()
        orders = random_runs(np.array(base.order, dtype=np.int64), prior, count=UNLISTED_RUNS, rng=rng)
        shown = orders[:, np.clip(positions, 0, len(base.order) - 1)]
        maps = np.where((best >= 0)[None, :], shown, best[None, :])
        changed = (maps != best[None, :]).any(axis=1)
        scores = self.evidence.map_scores(np.vstack([best[None, :], maps]), void=base.void)
        runs = (np.exp(np.minimum(scores[1:] - scores[0], 0.0)) * changed).mean()
        odds = prior.swap * float(swaps) + (prior.reversal + prior.move) * float(runs)
        doubt = odds / max(1e-3, 1.0 - prior.rearranged)
        return doubt / (1.0 + doubt)

    @cached_property
    def confidence(self) -> float:
        """Chance that the best map is right everywhere: exact for the listed hypotheses, less the unlisted doubt."""
        dark = self.dark_chance
        chance = self._draws.best_chance
        if self.options.confidence - NEARLY < chance < self.options.confidence:
            chance = max(chance, self._chance_of(self.best_map))  # hypotheses too light to draw from agree as well
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
        column = self._draws.maps[:, number]
        if isinstance(answer, AtPlace):
            agrees = column == answer.place
        elif isinstance(answer, AtNewPlace):
            agrees = column == NEW
        elif isinstance(answer, NotSure):
            return 0.0
        else:
            unseen = np.array([e for e in range(self.setup.entries) if not self.setup.has_place[e]], dtype=np.int64)
            agrees = (column == END) | np.isin(column, unseen)
            if self.dark_chance[number] > 0.5:
                return 0.0
        weight = self._draw_weights
        return float(1.0 - weight[agrees].sum())

    @cached_property
    def _draw_weights(self) -> Floats:
        source = self._draws.source
        counts = np.bincount(source, minlength=len(self.hypotheses))
        weights = self.weights[source] / counts[source]
        return np.asarray(weights / weights.sum(), dtype=np.float64)

    # ---- what next ------------------------------------------------------------------------------------------

    def unnamed(self) -> tuple[int, ...]:
        """Numbers of the best map that are new and have no name yet."""
        best = self.best_map
        return tuple(n for n in np.flatnonzero(best == NEW).tolist() if n not in self.named)

    def next_step(self) -> Step:
        """The action with the most expected information per second of human time, or a finished step."""
        naming = self._naming()
        if naming is not None:
            return naming
        again = self._ask_again()
        if again is not None:
            return again
        if self.confidence >= self.options.confidence:
            stuck = self._beside_contradiction()
            if stuck is not None:
                return stuck
            left = self.unnamed()
            if not left and self.options.looks and self.clean_looks() < self.options.clean_looks:
                return self._proof()
            if not left:
                return Step(action=None)
            return Step(action=Probe(number=left[0]), naming=True, seconds=probe_seconds(predicted=0.0))
        questions = self._probe_questions()
        if self.options.looks:
            looks = self._look_questions()
            if self._draws.best_chance >= PROOF_STAGE:
                most = max(look.expected_bits for look in looks)
                questions = [q for q in questions if q.expected_bits > most]
            questions += looks
        best = best_question(questions)
        if best is None or best.expected_bits < 1e-6:
            return self._proof()
        return Step(action=best.key, expected_bits=best.expected_bits, seconds=best.seconds)

    def _proof(self) -> Step:
        """Everything drawn agrees, yet the confidence is not reached: one more proof by looking, or by probing."""
        if self.options.looks:
            return Step(action=self.look(), seconds=look_seconds(places=len(self.setup.order), differs=0.0))
        asked = [o.action.number for o in self.observations if isinstance(o.action, Probe)]
        counts = np.bincount(np.array(asked, dtype=np.int64), minlength=len(self.best_map))[: len(self.best_map)]
        counts = np.where(self.best_map == END, counts.max() + 1, counts)
        return Step(action=Probe(number=int(counts.argmin())), seconds=probe_seconds(predicted=1.0))

    def clean_looks(self) -> int:
        """How many looks found all as shown that the best map would indeed show like that."""
        best = self.best_map[None, :]
        at = numbers_at(best, self.setup.entries)
        unlit = self.best_map[(self.dark_chance > 0.5) & (self.best_map >= 0)]
        at[0, unlit] = -1  # gives no light any more: its place is dark, as the look said
        return sum(
            isinstance(seen.action, Look)
            and isinstance(seen.answer, AllAsShown)
            and int(look_outcomes(seen.action, best, at)[0]) == LOOK_CLEAN
            for seen in self.observations
        )

    def look(self, *, turn: int | None = None) -> Look:
        """The look frame for the best map; turn: which code (default: one that was not used yet)."""
        base = self._draws.best_hypothesis
        used = len(self.evidence.look_indexes)
        return build_look(
            self.setup,
            self.best_map,
            order=base.order,
            named=self.named,
            dark=self.dark_chance > 0.5,
            turn=used if turn is None else turn,
            seed=self.options.seed,
        )

    def _new_share(self) -> Floats:
        return np.asarray(self._draw_weights @ (self._draws.maps == NEW), dtype=np.float64)

    def _naming(self) -> Step | None:
        share = self._new_share()
        asked = {o.action.number for o in self.observations if isinstance(o.action, Probe)}
        for number in self.unnamed():
            if share[number] >= LIKELY_NEW and number not in asked:
                return Step(
                    action=Probe(number=number), naming=True, seconds=probe_seconds(predicted=float(share[number]))
                )
        return None

    def _ask_again(self) -> Step | None:
        """The question behind an answer that contradicts the best map, or came as a surprise, if it was asked only once.

        A lie nearly always surprises, and one that happens to fit some rearrangement would decide the map alone.
        A look that differed at a place is asked again as a probe of the number predicted there: that answer is
        decisive, while another look could be overlooked again.
        """
        best = self.best_map
        void = self._draws.best_hypothesis.void
        asked: dict[int, list[int]] = {}
        for index, seen in enumerate(self.observations):
            if isinstance(seen.action, Probe) and not isinstance(seen.answer, NotSure):
                asked.setdefault(seen.action.number, []).append(index)
        for index, seen in enumerate(self.observations):
            number: int | None = None
            if isinstance(seen.action, Look):
                if index in void and isinstance(seen.answer, Differs):
                    there = np.flatnonzero(best == seen.answer.place)
                    if there.size and not any(i > index for i in asked.get(int(there[0]), [])):
                        number = int(there[0])
            elif len(asked.get(seen.action.number, [])) == 1 and (
                index in self.surprises or self._contradicts(seen)
            ):
                number = seen.action.number
            if number is not None:
                return Step(action=Probe(number=number), seconds=probe_seconds(predicted=0.5))
        return None

    def _beside_contradiction(self) -> Step | None:
        """The nearest number not asked yet, while a number that gave the same answer twice contradicts the best map.

        Such answers are not to be outvoted: either their explanation is found or the stretch is stepped through.
        """
        answers: dict[int, list[Observation]] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe) and not isinstance(seen.answer, NotSure):
                answers.setdefault(seen.action.number, []).append(seen)
        for number, given in answers.items():
            twice = any(sum(o.answer == one.answer for o in given) > 1 and self._contradicts(one) for one in given)
            if twice:
                length = int(np.count_nonzero(self.best_map != END))
                free = [n for n in range(length) if n not in answers]
                if free:
                    nearest = min(free, key=lambda n: (abs(n - number), n))
                    return Step(action=Probe(number=nearest), seconds=probe_seconds(predicted=0.5))
        return None

    def _contradicts(self, seen: Observation) -> bool:
        """Whether a probe's answer does not fit the best map."""
        assert isinstance(seen.action, Probe)
        value = int(self.best_map[seen.action.number])
        if isinstance(seen.answer, AtPlace):
            return value != seen.answer.place
        if isinstance(seen.answer, AtNewPlace):
            return value != NEW
        if isinstance(seen.answer, NothingLit):
            unseen = value >= 0 and not self.setup.has_place[value]
            return value != END and not unseen and self.dark_chance[seen.action.number] <= 0.5
        return False

    def _unsure(self) -> dict[int, int]:
        count: dict[int, int] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe) and isinstance(seen.answer, NotSure):
                count[seen.action.number] = count.get(seen.action.number, 0) + 1
        return count

    def _probe_questions(self) -> list[Question[Action]]:
        maps, weight = self._draws.maps, self._draw_weights
        varies = np.flatnonzero((maps != maps[0]).any(axis=0))
        if not varies.size:
            return []
        if varies.size > PROBE_CANDIDATES:
            jumps = np.diff(self._draws.positions[:, varies] - varies[None, :], axis=1, prepend=0) != 0
            order = np.argsort(-(weight @ jumps), kind="stable")[: PROBE_CANDIDATES // 2]
            spread = np.linspace(0, varies.size - 1, PROBE_CANDIDATES // 2).astype(np.int64)
            varies = varies[np.unique(np.concatenate([order, spread]))]
        fresh = self._new_share()
        unsure = self._unsure()
        made: list[Question[Action]] = []
        for number in varies.tolist():
            _, inverse = np.unique(maps[:, number], return_inverse=True)
            shares = np.bincount(inverse.ravel(), weights=weight)
            bits = entropy_bits(shares) * 0.5 ** unsure.get(number, 0)
            seconds = probe_seconds(predicted=float(shares.max())) * (1.0 - float(fresh[number]))
            made.append(Question(key=Probe(number=number), expected_bits=bits, seconds=max(seconds, 0.1)))
        return made

    def _look_questions(self) -> list[Question[Action]]:
        maps, weight = self._draws.maps, self._draw_weights
        at = numbers_at(maps, self.setup.entries)
        frame = self.look()
        outcome = look_outcomes(frame, maps, at)
        _, inverse = np.unique(outcome, return_inverse=True)
        shares = np.bincount(inverse.ravel(), weights=weight)
        differs = float(weight[outcome >= 0].sum())
        seconds = look_seconds(places=len(frame.places), differs=differs)
        return [Question(key=frame, expected_bits=entropy_bits(shares) + self._unlisted_bits(), seconds=seconds)]

    def _unlisted_bits(self) -> float:
        """A look also speaks on rearrangements that are no hypothesis yet."""
        return binary_entropy_bits(self.unlisted) if self._draws.best_chance >= PROOF_STAGE else 0.0

    # ---- answers --------------------------------------------------------------------------------------------

    def answered(self, action: Action, answer: Answer) -> Recheck:
        """The state after an answer.

        Raises TypeError for an answer of the wrong kind and ValueError for a place that was not on the list.
        """
        observation = Observation(action=action, answer=answer)
        evidence = self.evidence.with_answer(observation)
        index = len(self.observations)
        kept = list(self.hypotheses)
        extra: list[Hypothesis] = []
        top = self._draws.best_hypothesis
        if isinstance(action, Look) and not isinstance(answer, NotSure):
            extra += [
                replace(h, void=h.void | {index}) for h, w in zip(kept, self.weights, strict=True) if w > WORTH_DOUBTING
            ]
            if isinstance(answer, Differs):
                proposed = from_look(top, self.setup.prior, place=answer.place, floating=False)
                base = _Base(top, self._draws.best, self._draws.best_positions)
                extra += _best_proposed(proposed, evidence, base)[:MOST_FROM_LOOK]
        elif isinstance(answer, AtPlace):
            assert isinstance(action, Probe)
            extra += self._from_probe(action.number, answer.place, evidence)
        state = replace(self, evidence=evidence, hypotheses=(), log_weights=(), runs=())._with(kept + extra)
        before = float(np.logaddexp.reduce(np.array(self.log_weights)))
        if state.weight_of(kept) - before < SURPRISE and not isinstance(answer, NotSure):
            state = replace(state, surprises=(*self.surprises, index))
            state = state._with(
                [replace(h, void=h.void | {i}) for h in state.hypotheses[:3] for i in evidence.look_indexes]
            )
        for _ in range(REVISIONS):
            proposed = state._explanations()
            if not proposed:
                break
            state = state._with(proposed)
        return state._widened_if_needed()

    def _with(self, more: list[Hypothesis]) -> Recheck:
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

    def _explanations(self) -> list[Hypothesis]:
        """Rearrangements that would make sense of answers which the best map calls wrong."""
        top = self._draws.best_hypothesis
        known = {h.key for h in self.hypotheses}
        proposed: dict[object, Hypothesis] = {}
        explained = 0
        for index, seen in reversed(list(enumerate(self.observations))):
            made: list[Hypothesis] = []
            if explained >= MOST_EXPLAINED:
                break
            if isinstance(seen.action, Look):
                if index in top.void and isinstance(seen.answer, Differs):
                    base = replace(top, void=top.void - {index})
                    made = from_look(base, self.setup.prior, place=seen.answer.place, floating=True)
                    start = _Base(self._draws.best_hypothesis, self._draws.best, self._draws.best_positions)
                    made = _best_proposed(made, self.evidence, start)
            elif isinstance(seen.answer, AtPlace) and self._contradicts(seen):
                made = self._from_probe(seen.action.number, seen.answer.place, self.evidence)
            explained += bool(made)
            proposed.update((h.key, h) for h in made if h.key not in known)
        return list(proposed.values())

    def weight_of(self, some: list[Hypothesis]) -> float:
        """Natural logarithm of the joint weight of these hypotheses, -inf when none is left."""
        keys = {h.key for h in some}
        found = [w for w, h in zip(self.log_weights, self.hypotheses, strict=True) if h.key in keys]
        return float(np.logaddexp.reduce(np.array(found))) if found else -np.inf

    def _bases(self, number: int) -> list[_Base]:
        """Maps to start proposals from, for an answer about one number.

        The best map, a drawn one with the fewest rearrangements (so that a wrong turn can be left again), and drawn
        ones in which the number stands elsewhere.  Of each also the straight version: no edits from shortly before
        that number on, because what the alignment made of the first signs is probably wrong.
        """
        draws = self._draws
        arranged = np.array([h.arranged for h in self.hypotheses])[draws.source]
        order = np.argsort(-self._draw_weights, kind="stable")
        plain = order[arranged[order] == 0][:1]
        drawn = [_Base(draws.best_hypothesis, draws.best, draws.best_positions)]
        for row in [*plain.tolist(), *order.tolist()]:
            hypothesis = self.hypotheses[int(draws.source[row])]
            if not hypothesis.floating:
                drawn.append(_Base(hypothesis, draws.maps[row], draws.positions[row]))
        bases: dict[tuple[int, int, bool], _Base] = {}
        for base in drawn:
            straight = base.straight(max(0, number - SIGNS_BEFORE))
            bases.setdefault((straight.taken_from(number), base.hypothesis.arranged, True), straight)
            bases.setdefault((base.taken_from(number), base.hypothesis.arranged, False), base)
            if len(bases) >= MOST_BASES:
                break
        return list(bases.values())

    def _from_probe(self, number: int, entry: int, evidence: Evidence) -> list[Hypothesis]:
        """Rearrangements that put this entry at this number."""
        if self._draws.best[number] == entry:
            return []
        found: list[Hypothesis] = []
        for base in self._bases(number):
            at = base.taken_from(number)
            void_sets = {base.hypothesis.void, frozenset[int](), *(frozenset({i}) for i in base.hypothesis.void)}
            for void in sorted(void_sets, key=lambda v: (len(v), sorted(v))):
                start = replace(base.hypothesis, void=void)
                made = from_probe(start, self.setup.prior, position=at, entry=entry)
                most = MOST_PROPOSED if not found else MOST_FROM_OTHERS
                found += _best_proposed(made, evidence, base, most=most)
        return found

    def _widened_if_needed(self) -> Recheck:
        """A wider band when the best map runs along its edge."""
        half = self.evidence.half
        positions = self._draws.best_positions
        used = (positions - np.arange(len(positions)) + half)[positions >= 0]
        if half >= WIDEST or not used.size or 3 <= used.min() <= used.max() <= 2 * half - 3:
            return self
        wide = self.evidence.widened(half=min(WIDEST, half * 2))
        empty = replace(self, evidence=wide, hypotheses=(), log_weights=(), runs=())
        return empty._with(list(self.hypotheses))

    def result(self) -> Result:
        """The map as found, with what is verified and how sure it is."""
        return build_result(
            setup=self.setup,
            found=self.best_map,
            declared=(self.best_map == NEW) & (self._draws.best_positions >= 0),
            maps=self._draws.maps,
            weights=self._draw_weights,
            dark=self.dark_chance,
            confidence=self.confidence,
            observations=self.observations,
            doubted=frozenset(d.index for d in self.doubts()),
            named=self.named,
        )



@dataclass(frozen=True)
class _Base:
    """A map to start proposals from: its hypothesis, the map and the positions in the order, both of shape (J,)."""

    hypothesis: Hypothesis
    found: Ints
    positions: Ints

    def taken_from(self, number: int) -> int:
        """Where in the order a number is taken from; for a new pixel, where the next old one is."""
        later = self.positions[number:]
        later = later[later >= 0]
        return int(later[0]) if later.size else len(self.hypothesis.order)

    def straight(self, number: int) -> _Base:
        """The same without edits from this number on."""
        length = len(self.hypothesis.order)
        ahead = self.taken_from(number) + np.arange(len(self.found) - number)
        positions = self.positions.copy()
        positions[number:] = np.where(ahead < length, ahead, -1)
        order = np.array(self.hypothesis.order, dtype=np.int64)
        found = self.found.copy()
        found[number:] = np.where(ahead < length, order[np.minimum(ahead, length - 1)], END)
        return _Base(self.hypothesis, found, positions)


def _best_proposed(
    proposed: list[Hypothesis], evidence: Evidence, base: _Base, *, most: int = MOST_PROPOSED
) -> list[Hypothesis]:
    """The proposals that fit all answers best when everything else stays as in the base."""
    if len(proposed) <= 2:
        return proposed
    matched = base.positions >= 0
    longest = max(len(p.order) for p in proposed)
    orders = np.full((len(proposed), max(longest, int(base.positions.max(initial=0)) + 1)), END, dtype=np.int64)
    for row, one in enumerate(proposed):
        orders[row, : len(one.order)] = one.order
    maps = np.where(matched[None, :], orders[:, np.where(matched, base.positions, 0)], base.found[None, :])
    scores = evidence.map_scores(maps, void=proposed[0].void)
    scores = scores + np.array([p.log_prior + evidence.elsewhere_bonus(p.floating, void=p.void) for p in proposed])
    ranked = np.argsort(-scores, kind="stable").tolist()
    # a floating run stands for all its spots, so it is ranked among its like
    floating = [i for i in ranked if proposed[i].floating][:MOST_FLOATING]
    fixed = [i for i in ranked if not proposed[i].floating][:most]
    return [proposed[i] for i in ranked if i in floating or i in fixed]
