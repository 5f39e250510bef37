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
the confidence asked for.  An answer that does not fit is never averaged in: either hypotheses that explain it take over, or the
look stays under a hypothesis that says "this answer was wrong", `doubts()` names it, and the next actions ask again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from probe.inference.entropy import binary_entropy_bits, entropy_bits
from probe.inference.questions import Question, best_question
from probe.recheck.engine.belief import WORTH_DOUBTING, Belief, Options
from probe.recheck.engine.costs import look_seconds, probe_seconds
from probe.recheck.engine.evidence import Evidence
from probe.recheck.engine.frames import LOOK_CLEAN, build_look, look_outcomes, numbers_at
from probe.recheck.engine.hypotheses import Hypothesis, first_hypothesis
from probe.recheck.engine.model import (
    END,
    NEW,
    Action,
    AllAsShown,
    Answer,
    AtPlace,
    Differs,
    Floats,
    Look,
    NotSure,
    Observation,
    Probe,
    Setup,
)
from probe.recheck.engine.proposals import explanations, from_differing_look, from_probed_place
from probe.recheck.engine.result import Result, build_result

PROBE_CANDIDATES = 48
"""Most numbers that are weighed as probes for each choice."""
LIKELY_NEW = 0.8
"""A number that is new with this chance is lit to be named."""
SURPRISE = -6.0
"""An answer is a surprise when its chance (natural logarithm) under all hypotheses was below this."""
PROOF_STAGE = 0.9
"""From this chance of the best map on, what is left is proof, and a look will be needed anyhow: a probe is asked only
if it is expected to tell more than the look, not merely because it is quicker."""
MOST_ASKED = 5
"""A number is not asked more often than this only because its answers differ."""
MOST_LOOKS_ALIKE = 5
"""After so many looks in a row with the same answer a pixel is lit alone instead: the one asked least."""
REVISIONS = 2
"""How often contradicted answers are looked at again for another explanation, after each answer."""
HALF = 12
"""Half-width of the band at the start: so many pixels more or less at any spot, without a rearrangement."""


@dataclass(frozen=True, kw_only=True)
class RecheckStep:
    """What to do next; action None means finished.  naming: the action names a new pixel, which has to be done anyhow.
    expected_bits and seconds are of this action."""

    action: Action | None
    naming: bool = False
    expected_bits: float = 0.0
    seconds: float = 0.0


@dataclass(frozen=True)
class Recheck(Belief):
    """State of one chain's recheck."""

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
        return empty.with_hypotheses([first])

    def unnamed(self) -> tuple[int, ...]:
        """Numbers of the best map that are new and have no name yet."""
        best = self.best_map
        return tuple(n for n in np.flatnonzero(best == NEW).tolist() if n not in self.named)

    def next_step(self) -> RecheckStep:
        """The action with the most expected information per second of human time, or a finished step."""
        naming = self._naming()
        if naming is not None:
            return naming
        again = self._believed_dark() or self._ask_again()
        if again is not None:
            return again
        if self.confidence >= self.goal:
            stuck = self._beside_contradiction()
            if stuck is not None:
                return stuck
            left = self.unnamed()
            looks = self.options.clean_looks if self.as_predicted else self.options.clean_looks_after_finds
            if not left and self.options.looks and self.clean_looks() < looks:
                return self._proof()
            if not left:
                return RecheckStep(action=None)
            return RecheckStep(action=Probe(number=left[0]), naming=True, seconds=probe_seconds(predicted=0.0))
        questions = self._probe_questions()
        if self.options.looks:
            frames = self._look_questions()
            if self.draws.best_chance >= PROOF_STAGE:
                most = max(frame.expected_bits for frame in frames)
                questions = [q for q in questions if q.expected_bits > most]
            questions += frames
        best = best_question(questions)
        if best is None or best.expected_bits < 1e-6 or self._looks_in_vain():
            return self._proof()
        return RecheckStep(action=best.key, expected_bits=best.expected_bits, seconds=best.seconds)

    def _proof(self) -> RecheckStep:
        """Everything drawn agrees, yet the confidence is not reached: one more proof by looking, or by probing."""
        if self.options.looks and not self._looks_in_vain():
            return RecheckStep(action=self.look(), seconds=look_seconds(places=len(self.setup.order), differs=0.0))
        asked = [o.action.number for o in self.observations if isinstance(o.action, Probe)]
        counts = np.bincount(np.array(asked, dtype=np.int64), minlength=len(self.best_map))[: len(self.best_map)]
        counts = np.where(self.best_map == END, counts.max() + 1, counts)
        return RecheckStep(action=Probe(number=int(counts.argmin())), seconds=probe_seconds(predicted=1.0))

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
        base = self.draws.best_hypothesis
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
        return np.asarray(self.draw_weights @ (self.draws.maps == NEW), dtype=np.float64)

    def _naming(self) -> RecheckStep | None:
        share = self._new_share()
        for number in self.unnamed():
            if share[number] >= LIKELY_NEW and number not in self.lit_alone:
                return RecheckStep(
                    action=Probe(number=number), naming=True, seconds=probe_seconds(predicted=float(share[number]))
                )
        return None

    def _believed_dark(self) -> RecheckStep | None:
        """A pixel that is believed to give no light any more is lit once, alone.

        A place that is dark in a look may as well have lost its pixel to a new one elsewhere; lit alone, one answer
        tells the two apart, and a pixel that stopped shining has to be recorded as such anyhow.
        """
        believed = np.flatnonzero((self.dark_chance > 0.5) & (self.best_map >= 0))
        for number in believed.tolist():
            if number not in self.lit_alone:
                return RecheckStep(action=Probe(number=number), seconds=probe_seconds(predicted=0.5))
        return None

    def _looks_in_vain(self) -> bool:
        """Whether the last answers were all looks with one and the same answer: the next one would say it again."""
        last = [seen.answer for seen in self.observations[-MOST_LOOKS_ALIKE:] if isinstance(seen.action, Look)]
        return len(last) == MOST_LOOKS_ALIKE and all(answer == last[0] for answer in last)

    def _ask_again(self) -> RecheckStep | None:
        """The question behind an answer that contradicts the best map, or came as a surprise, if it was asked only once,
        or that was answered differently each time.

        A lie nearly always surprises, and one that happens to fit some rearrangement would decide the map alone.
        A look that differed at a place is asked again as a probe of the number predicted there: that answer is
        decisive, while another look could be overlooked again.
        """
        best = self.best_map
        void = self.draws.best_hypothesis.void
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
            elif not isinstance(seen.answer, NotSure) and self._open(asked[seen.action.number]):
                number = seen.action.number
            if number is not None:
                return RecheckStep(action=Probe(number=number), seconds=probe_seconds(predicted=0.5))
        return None

    def _open(self, indexes: list[int]) -> bool:
        """Whether the answers about one number leave it open: a single doubtful one, or several without a majority."""
        first = indexes[0]
        if len(indexes) == 1:
            return first in self.surprises or self.contradicts(self.observations[first])
        answers = [self.observations[i].answer for i in indexes]
        most = max(answers.count(answer) for answer in answers)
        return 2 * most <= len(answers) and len(answers) < MOST_ASKED

    def _beside_contradiction(self) -> RecheckStep | None:
        """The nearest number not asked yet, while a number that gave the same answer twice contradicts the best map.

        Such answers are not to be outvoted: either their explanation is found or the stretch is stepped through.
        """
        answers: dict[int, list[Observation]] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe) and not isinstance(seen.answer, NotSure):
                answers.setdefault(seen.action.number, []).append(seen)
        for number, given in answers.items():
            twice = any(sum(o.answer == one.answer for o in given) > 1 and self.contradicts(one) for one in given)
            if twice:
                length = int(np.count_nonzero(self.best_map != END))
                free = [n for n in range(length) if n not in answers]
                if free:
                    nearest = min(free, key=lambda n: (abs(n - number), n))
                    return RecheckStep(action=Probe(number=nearest), seconds=probe_seconds(predicted=0.5))
        return None

    def _unsure(self) -> dict[int, int]:
        count: dict[int, int] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe) and isinstance(seen.answer, NotSure):
                count[seen.action.number] = count.get(seen.action.number, 0) + 1
        return count

    def _probe_questions(self) -> list[Question[Action]]:
        maps, weight = self.draws.maps, self.draw_weights
        varies = np.flatnonzero((maps != maps[0]).any(axis=0))
        if not varies.size:
            return []
        if varies.size > PROBE_CANDIDATES:
            jumps = np.diff(self.draws.positions[:, varies] - varies[None, :], axis=1, prepend=0) != 0
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
        maps, weight = self.draws.maps, self.draw_weights
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
        return binary_entropy_bits(self.unlisted) if self.draws.best_chance >= PROOF_STAGE else 0.0

    def answered(self, action: Action, answer: Answer) -> Recheck:
        """The state after an answer.

        Raises TypeError for an answer of the wrong kind and ValueError for a place that was not on the list.
        """
        observation = Observation(action=action, answer=answer)
        evidence = self.evidence.with_answer(observation)
        index = len(self.observations)
        kept = list(self.hypotheses)
        extra: list[Hypothesis] = []
        if isinstance(action, Look) and not isinstance(answer, NotSure):
            extra += [
                replace(h, void=h.void | {index}) for h, w in zip(kept, self.weights, strict=True) if w > WORTH_DOUBTING
            ]
            if isinstance(answer, Differs):
                extra += from_differing_look(self, answer.place, evidence)
        elif isinstance(action, Probe) and isinstance(answer, AtPlace):
            extra += from_probed_place(self, action.number, self.setup.like(answer.place), evidence)
        state = replace(self, evidence=evidence, hypotheses=(), log_weights=(), runs=()).with_hypotheses(kept + extra)
        before = float(np.logaddexp.reduce(np.array(self.log_weights)))
        if state.weight_of(kept) - before < SURPRISE and not isinstance(answer, NotSure):
            state = replace(state, surprises=(*self.surprises, index))
            state = state.with_hypotheses(
                [replace(h, void=h.void | {i}) for h in state.hypotheses[:3] for i in evidence.look_indexes]
            )
        for _ in range(REVISIONS):
            proposed = explanations(state)
            if not proposed:
                break
            state = state.with_hypotheses(proposed)
        return state.widened_if_needed()

    def result(self) -> Result:
        """The map as found, with what is verified and how sure it is."""
        return build_result(
            setup=self.setup,
            found=self.best_map,
            declared=(self.best_map == NEW) & (self.draws.best_positions >= 0),
            maps=self.draws.maps,
            weights=self.draw_weights,
            dark=self.dark_chance,
            confidence=self.confidence,
            observations=self.observations,
            doubted=frozenset(d.index for d in self.doubts()),
            named=self.named,
        )
