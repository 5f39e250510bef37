"""The recheck itself: a belief over whole maps, what to ask next, when nothing more is asked.

    state = Recheck.start(Setup(order=tuple(range(100)), has_place=(True,) * 100))
    while (action := state.next_step().action) is not None:
        state = state.answered(action, ask_the_person(action))
    state.result()

The belief is a weighted set of whole maps.  After every answer the likeliest maps are edited in every way the list of
kinds knows (`moves`), and every map is weighed by every answer (`world`), each answer being meant or, with its own
chance, wrong.  Maps that answer every action alike are one class; confidence is the weight of the best class against
all others, those included that became no map.  What to ask is what is expected to say most about answers: a look at
what the best map predicts, in new colours each time, or one pixel alone.

**It ends.**  `next_step` asks nothing once `most_actions` answers were given: MOST_ANSWERS, and one more for each number
that can be lit, whatever was answered.  Proof: every step that asks is followed by one observation more, and the bound
does not depend on the answers.  Long before, a single light is not asked when every map that counts gives it the same
answer, nor when it was answered twice the same, nor more than MOST_ASKED times; so in practice it ends after a few.
What was not proved by then is stated as the confidence that it has.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from probe.inference.entropy import binary_entropy_bits, entropy_bits
from probe.recheck.engine.costs import look_seconds, probe_seconds
from probe.recheck.engine.evidence import BEFORE, Evidence
from probe.recheck.engine.model import (
    END,
    Action,
    AllAsShown,
    Answer,
    AskStop,
    AtNewPlace,
    AtPlace,
    Bools,
    Floats,
    Ints,
    Look,
    NotSure,
    Observation,
    Probe,
    Setup,
    Stops,
    TakenOut,
)
from probe.recheck.engine.moves import Edited, chance_left_alike, fitted_to_probes, single_edits
from probe.recheck.engine.result import Doubt, Result, build_result
from probe.recheck.engine.world import (
    AS_SHOWN,
    NO_LIGHT,
    Maps,
    World,
    answer_of,
    is_new,
    keys,
    length_of,
    log_likelihood,
    picture_of,
)

MOST_ANSWERS = 40
"""So many answers at most, beside one for each number: see the proof above."""
MOST_ASKED = 3
"""A number is lit alone at most so often."""
MOST_LOOKS_ALIKE = 4
"""After so many looks in a row with the same answer a pixel is lit alone instead."""
ALONE = 0.9
SLACK = 26
"""Numbers considered beyond the predicted end."""
MOST_MAPS = 320
MOST_PARENTS = 3
SETTLED = 0.9
"""While the best map has less, edits begin from the maps before it as well."""
WORTH_KEEPING = 24.0
"""Maps this far (natural logarithm) below the best are dropped."""
LIKELY_NEW = 0.75
"""A number that is new with this chance is lit to be named: that has to be asked anyhow."""
CANDIDATES = 48
NEAR_UNSEEN = 12
MOST_COUNTED = 200
LEFT_ALIKE = 0.0015
"""What no picture shown tells apart is left at this chance: less is not worth another picture."""
WORTH_A_PICTURE = 0.001
MOST_UNSEEN = 2.0
"""What became no map counts at most so much against the best map: the tables are too rough to say more."""
EDITED_TWICE = (6, 3)
"""So many edits of the best map, and of the one that it is an edit of, are edited once more where no single one will do."""
AS_PREDICTED = math.log(0.5)
"""An answer that the best map gives such a chance makes no other map likelier beside it: nothing else is edited."""
PREDICT_BEST = 0.5
PREDICTED = 5
"""So many maps are tried as what a picture predicts, while the best has less than that chance."""
Base = tuple[Ints, float, int]
"""A map that others are edits of, its log prior, and which base it is an edit of itself."""


@dataclass(frozen=True, kw_only=True)
class Options:
    """confidence: stop when the class of the best map has at least this chance.  clean_looks: so many looks must have
    found it as shown since it last changed.  looks: use pictures, not only single lights; without them what only
    pictures could show (dead, exchanged, reversed) is not doubted.  seed: pictures are different for each."""

    confidence: float = 0.9995
    clean_looks: int = 2
    looks: bool = True
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class RecheckStep:
    """What to do next; action None means finished.  naming: the action names a new pixel, which has to be done anyhow.
    expected_bits and seconds are of this action."""

    action: Action | None
    naming: bool = False
    expected_bits: float = 0.0
    seconds: float = 0.0


@dataclass(frozen=True)
class Recheck:
    """State of one chain's recheck; immutable, so that going back is keeping the earlier one.

    maps: shape (n, numbers); log_prior: shape (n,); parents: which earlier map each is an edit of, shape (n,), an index
    into `bases`, maps with their log_prior that further edits may begin from again; meant: shape (observations, n), wrong: the same for a wrong answer,
    shape (observations,).  Sorted, the likeliest first.  unseen: weight of what became no map against the best map.
    alike: weight, against the best map, of its changes that no answer speaks for or against.
    changed_at: how many observations there were when the best class last changed.
    """

    setup: Setup
    options: Options
    observations: tuple[Observation, ...]
    maps: Ints
    log_prior: Floats
    parents: Ints
    bases: tuple[Base, ...]
    meant: Floats
    wrong: Floats
    unseen: Floats
    world: World
    alike: float = 0.0
    changed_at: int = 0
    named: Mapping[int, int] = field(default_factory=dict)
    lit_alone: frozenset[int] = frozenset()

    @staticmethod
    def start(setup: Setup, options: Options | None = None) -> Recheck:
        """Nothing asked yet."""
        options = options or Options()
        length = len(setup.order)
        width = length + SLACK
        if setup.most_numbers is not None:
            width = max(length, min(width, setup.most_numbers))
        first = np.full((1, width), END, dtype=np.int64)
        first[0, :length] = setup.order
        prior = setup.prior
        return Recheck(
            setup=setup,
            options=options,
            observations=(),
            maps=first,
            log_prior=np.array([math.log(1 - prior.another)]),
            parents=np.zeros(1, dtype=np.int64),
            bases=((first[0], math.log(1 - prior.another), 0),),
            meant=np.zeros((0, 1)),
            wrong=np.zeros(0),
            unseen=np.full(width + 1, prior.another / (1 - prior.another) / (width + 1)),
            world=World(setup),
        )

    # -- what is believed -----------------------------------------------------------------------------------------

    @property
    def numbers(self) -> int:
        """How many numbers are considered."""
        return int(self.maps.shape[1])

    @cached_property
    def _totals(self) -> Floats:
        if not len(self.wrong):
            return self.log_prior
        return np.asarray(self.log_prior + np.logaddexp(self.meant, self.wrong[:, None]).sum(axis=0))

    @cached_property
    def weights(self) -> Floats:
        """Chance of every map, what became no map taken into account; shape (n,)."""
        shares = np.exp(self._totals - self._totals.max())
        return np.asarray(shares / (shares.sum() + self.unseen.sum() + self.alike))

    @cached_property
    def classes(self) -> tuple[tuple[float, Ints], ...]:
        """Chance and rows of every class of maps, the likeliest first."""
        rows: dict[bytes, list[int]] = {}
        count = [row for row in range(len(self.maps)) if row == 0 or self.weights[row] > 1e-8]
        for row, key in zip(count, keys(self.world.spots(self.maps[count])), strict=True):
            rows.setdefault(key, []).append(row)
        found = [(float(self.weights[one].sum()), np.array(one)) for one in rows.values()]
        return tuple(sorted(found, key=lambda pair: -pair[0]))

    @cached_property
    def best_map(self) -> Ints:
        """The likeliest map of the likeliest class; shape (numbers,)."""
        return np.asarray(self.maps[int(self.classes[0][1][0])])

    @property
    def confidence(self) -> float:
        """Chance that what can be seen of the chain is as the best map says."""
        return min(1.0, self.classes[0][0])

    @property
    def chance_alike(self) -> float:
        """Chance of a change that none of the pictures shown would show, such as two single pixels exchanged."""
        return self.alike * float(self.weights[int(self.classes[0][1][0])])

    @cached_property
    def settled(self) -> bool:
        """Whether the doubt is small enough.

        What the pictures shown do not tell apart may leave a little more (LEFT_ALIKE), and more yet where the next
        picture would take off less than WORTH_A_PICTURE of it, as behind plastics that let few colours through.
        """
        rest = 1.0 - self.confidence - self.chance_alike
        if rest > 1.0 - self.options.confidence:
            return False
        if self.chance_alike <= LEFT_ALIKE or not self.options.looks:
            return True
        seen = (*self.observations, Observation(action=self.look(), answer=AllAsShown()))
        evidence = Evidence(self.world, self.numbers, seen)
        left = chance_left_alike(self.world, self.best_map, evidence, rng=np.random.default_rng(self.options.seed))
        return self.chance_alike * (1.0 - left / self.alike) < WORTH_A_PICTURE

    @property
    def likely_as_good(self) -> tuple[Ints, ...]:
        """Other maps that no answer can tell from the best one, and that are not much less likely."""
        rows = self.classes[0][1]
        return tuple(self.maps[r] for r in rows[1:].tolist() if self.weights[r] > 0.1 * self.weights[rows[0]])

    @property
    def ends_early(self) -> int | None:
        """The number from which nothing shines though places of the chain are behind; None when nothing is missing there."""
        best = self.best_map
        length = length_of(best)
        base = {e: n for n, e in enumerate(self.setup.order)}
        here = {int(v) % self.setup.entries for v in best[:length].tolist() if v >= 0}
        last = self.setup.order[-1]
        missing = [e for e in self.setup.order if e not in here and self.setup.has_place[e]]
        if last in here or not missing or not self.setup.has_place[last]:
            return None
        behind = max((base[e] for e in here if e in base), default=-1)
        return length if any(base[e] > behind for e in missing) else None

    @property
    def stops(self) -> bool | None:
        """Whether the data stop where the best map ends early; None while nobody said."""
        said = [
            o.answer for o in self.observations if isinstance(o.action, AskStop) and o.action.number == self.ends_early
        ]
        return next((isinstance(a, Stops) for a in reversed(said) if isinstance(a, Stops | TakenOut)), None)

    def unnamed(self) -> tuple[int, ...]:
        """Numbers of the best map that are new and have no name yet."""
        return tuple(n for n in np.flatnonzero(is_new(self.setup, self.best_map)).tolist() if n not in self.named)

    def contradicts(self, index: int) -> bool:
        """Whether an answer is likelier wrong than meant under the best map."""
        return bool(self.meant[index, int(self.classes[0][1][0])] < self.wrong[index])

    def doubts(self, *, least: float = 0.3) -> tuple[Doubt, ...]:
        """The answers that are wrong with at least this chance."""
        if not self.observations:
            return ()
        chance = 1.0 / (1.0 + np.exp(np.clip(self.meant - self.wrong[:, None], -50, 50)))
        shares = self.weights / self.weights.sum()
        each = chance @ shares
        unsure = [isinstance(o.answer, NotSure) or isinstance(o.action, AskStop) for o in self.observations]
        return tuple(Doubt(index=i, chance=float(c)) for i, c in enumerate(each) if c >= least and not unsure[i])

    def clean_looks(self) -> int:
        """Looks since the best class last changed that found all as shown, as the best map would be seen."""
        best = self.world.maps(self.best_map[None, :])
        return sum(
            isinstance(seen.action, Look)
            and isinstance(seen.answer, AllAsShown)
            and int(answer_of(seen.action, best)[0]) == AS_SHOWN
            for seen in self.observations[self.changed_at :]
        )

    # -- what is asked --------------------------------------------------------------------------------------------

    @property
    def most_actions(self) -> int:
        """So many answers are asked for at most."""
        return MOST_ANSWERS + len(self.setup.order)

    def next_step(self) -> RecheckStep:
        """The action with the most expected information for its cost, or a finished step."""
        if len(self.observations) >= self.most_actions:
            return RecheckStep(action=None)
        new = self.weights @ is_new(self.setup, self.maps)
        free = [n for n in self.unnamed() if n not in self.lit_alone]
        for number in free:
            if new[number] >= LIKELY_NEW:
                return self._probe(number, naming=True)
        if self.settled and (
            not self.options.looks or self.clean_looks() >= self.options.clean_looks or self._looks_alike()
        ):
            if free:
                return self._probe(free[0], naming=True)
            ends = self.ends_early
            asked = any(isinstance(o.action, AskStop) for o in self.observations)
            if ends is not None and not asked:
                return RecheckStep(
                    action=AskStop(number=ends, colours=self.look().colours), seconds=probe_seconds(predicted=0.5)
                )
            return RecheckStep(action=None)
        if sum(not self._was_naming(o) for o in self.observations) >= MOST_ANSWERS:
            return self._probe(free[0], naming=True) if free else RecheckStep(action=None)
        best: RecheckStep | None = None
        worth = 0.0
        if self.options.looks and not self._looks_alike():
            # which map the picture predicts is free: the one whose answer says most, the best one when it is nearly sure
            tried = 1 if self.confidence > PREDICT_BEST else PREDICTED
            for _, rows in self.classes[:tried]:
                look = self.look(of=self.maps[int(rows[0])])
                bits = self._bits(look) + self._undiscovered()
                if bits > worth + 0.1 or best is None:
                    seconds = look_seconds(places=len(look.places), differs=0.5)
                    best, worth = RecheckStep(action=look, expected_bits=bits, seconds=seconds), max(bits, 1e-9)
        candidates = self._candidates()
        each = self._probe_bits(candidates) + self._undiscovered_at(candidates)
        for number, bits in zip(candidates.tolist(), each.tolist(), strict=True):
            cost = ALONE if number in self.lit_alone else ALONE + 0.05 - float(new[number])
            if bits > 1e-3 and bits / cost > worth:
                best, worth = replace(self._probe(number), expected_bits=bits), bits / cost
        if best is None and not self.options.looks:
            middle = self._middle()
            return RecheckStep(action=None) if middle is None else self._probe(middle)
        return best or (self._probe(free[0], naming=True) if free else RecheckStep(action=None))

    def _probe(self, number: int, *, naming: bool = False) -> RecheckStep:
        return RecheckStep(action=Probe(number=number), naming=naming, seconds=probe_seconds(predicted=0.5))

    def _was_naming(self, seen: Observation) -> bool:
        return isinstance(seen.action, Probe) and isinstance(seen.answer, AtNewPlace)

    def _looks_alike(self) -> bool:
        last = [o.answer for o in self.observations[-MOST_LOOKS_ALIKE:] if isinstance(o.action, Look)]
        return len(last) == MOST_LOOKS_ALIKE and all(answer == last[0] for answer in last)

    @cached_property
    def _counted(self) -> tuple[Maps, Floats]:
        """The maps that count, and their shares."""
        rows = np.flatnonzero(self.weights > 1e-7)[:MOST_COUNTED]
        return self.world.maps(self.maps[rows]), self.weights[rows] / self.weights[rows].sum()

    def _bits(self, action: Action) -> float:
        """Expected information of an action about its own answer, over the maps that count."""
        maps, shares = self._counted
        _, which = np.unique(answer_of(action, maps), return_inverse=True)
        return float(entropy_bits(np.bincount(which, weights=shares)))

    def _probe_bits(self, numbers: Ints) -> Floats:
        """The same of each of these numbers lit alone."""
        maps, shares = self._counted
        spots = maps.spots[:, numbers] - NO_LIGHT
        width = self.setup.entries - NO_LIGHT
        cells = (spots + np.arange(len(numbers)) * width).ravel()
        chance = np.bincount(cells, np.repeat(shares, len(numbers)), minlength=len(numbers) * width)
        each = -chance * np.log2(np.where(chance > 0, chance, 1.0))
        return np.asarray(each.reshape(len(numbers), width).sum(axis=1))

    def _undiscovered(self) -> float:
        """What a look is expected to say beyond the maps that are listed: where, and a colour."""
        total = float(self.unseen.sum())
        rest = total / (1.0 + total)
        where = float(entropy_bits(self.unseen / total)) if total else 0.0
        return float(binary_entropy_bits(rest)) + rest * (0.7 * where + 1.0)

    def _undiscovered_at(self, numbers: Ints) -> Floats:
        """The same of single lights, which say what: of edits that begin here or little before, and are no listed map."""
        rest = self._unseen_near[numbers] / (1.0 + self.unseen.sum())
        some = np.maximum(rest, 1e-300)
        either = -some * np.log2(some) - (1.0 - rest) * np.log2(1.0 - rest)
        return np.asarray(either + rest * 0.9 * math.log2(len(self.setup.order) + 2))

    def _asked(self) -> dict[int, list[Answer]]:
        found: dict[int, list[Answer]] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe):
                found.setdefault(seen.action.number, []).append(seen.answer)
        return found

    def _candidates(self) -> Ints:
        """Numbers worth lighting alone: those that the maps that count put at different places, and those near which
        most is that became no map."""
        maps, shares = self._counted
        share = shares @ (maps.spots != maps.spots[0])
        near = np.argsort(-self._unseen_near[: self.numbers], kind="stable")[:NEAR_UNSEEN]
        asked = self._asked()
        fine = [
            n
            for n in dict.fromkeys([*near.tolist(), *np.argsort(-share, kind="stable")[: 2 * CANDIDATES].tolist()])
            if len(asked.get(n, ())) < MOST_ASKED and not _twice(asked.get(n, []))
        ]
        return np.array(fine[:CANDIDATES], dtype=np.int64)

    @cached_property
    def _unseen_near(self) -> Floats:
        """By number, the weight of what became no map and begins there or little before: that changes what is lit there."""
        total = np.concatenate([np.zeros(BEFORE + 1), np.cumsum(self.unseen)])
        return np.asarray(total[BEFORE + 1 :] - total[: -BEFORE - 1])

    def _middle(self) -> int | None:
        """Without pictures: the number in the middle of the longest stretch that nobody lit."""
        length = length_of(self.best_map)
        marks = sorted({-1, length, *(n for n in self._asked() if n < length)})
        if length - 1 not in marks:
            return length - 1
        if length not in self._asked() and length < self.numbers:
            return length
        gap, start = max((b - a, a) for a, b in pairwise(marks))
        return start + gap // 2 if gap > 1 else None

    def look(self, *, turn: int | None = None, of: Ints | None = None) -> Look:
        """The picture of a map (default: the best); turn: which code (default: one that was not used yet)."""
        used = sum(isinstance(o.action, Look) for o in self.observations)
        return picture_of(
            self.world,
            self.best_map if of is None else of,
            named=self.named,
            turn=used if turn is None else turn,
            seed=self.options.seed,
        )

    # -- what is answered -----------------------------------------------------------------------------------------

    def answered(self, action: Action, answer: Answer) -> Recheck:
        """The state after an answer. Raises TypeError or ValueError for one that cannot be."""
        seen = Observation(action=action, answer=answer)
        most = self.numbers if self.setup.most_numbers is None else max(self.numbers, self.setup.most_numbers)
        if isinstance(action, Probe) and not 0 <= action.number < most:
            raise ValueError(f"number {action.number} is outside the numbers 0..{most - 1}")
        before = self.world.key(self.best_map)
        meant, wrong = log_likelihood(seen, self.world.maps(self.maps))
        as_predicted = float(meant[0]) > AS_PREDICTED
        named = dict(self.named)
        lit = self.lit_alone
        if isinstance(action, Probe):
            lit = lit | {action.number}
            if isinstance(answer, AtNewPlace):
                named[action.number] = len(self.observations)
            elif isinstance(answer, AtPlace):
                named.pop(action.number, None)
        state = replace(
            self,
            observations=(*self.observations, seen),
            meant=np.vstack([self.meant, meant[None, :]]),
            wrong=np.append(self.wrong, wrong),
            named=named,
            lit_alone=lit,
        )
        if not isinstance(answer, NotSure) and not isinstance(action, AskStop):
            state = state._pruned()
            done: dict[tuple[bytes, tuple[int, ...]], Edited] = {}
            expected = (self.maps[0], float(self.log_prior[0]), int(self.parents[0]))
            state = state._expanded(done, bases=0 if as_predicted else 1, expected=expected)
            if state.contradicts(len(state.observations) - 1):
                state = state._expanded(done, bases=3, twice=True)
        if state.world.key(state.best_map) != before:
            state = replace(state, changed_at=len(state.observations))
        return state

    def _pruned(self) -> Recheck:
        """The likeliest maps, sorted."""
        totals = self._totals
        order = np.argsort(-totals, kind="stable")[:MOST_MAPS]
        order = order[totals[order] > totals[order[0]] - WORTH_KEEPING]
        return replace(
            self,
            maps=self.maps[order],
            log_prior=self.log_prior[order],
            parents=self.parents[order],
            meant=self.meant[:, order],
        )

    def _expanded(
        self,
        done: dict[tuple[bytes, tuple[int, ...]], Edited],
        *,
        bases: int,
        expected: Base | None = None,
        twice: bool = False,
    ) -> Recheck:
        """With every single edit of the likeliest maps; more bases: also of the maps that those are edits of.

        expected: the map that was best before the answer: what it lacks may be one edit, though by chance another map
        that was listed fits as well.
        twice: and with every edit of the edits that explain most: two that hide each other are likely only together.
        done: what was edited since the last answer.
        """
        state = self._widened()
        maps, priors, parents = [state.maps], [state.log_prior], [state.parents]
        unseen, alike = np.zeros(0), -math.inf
        rng = np.random.default_rng([state.options.seed, len(state.observations)])
        known, begin = state._beginnings(bases, expected)
        plan = state._plan(begin, earlier_wrong=bases > 2)
        evidence = {
            chosen: Evidence(state.world, state.numbers, [state.observations[i] for i in chosen])
            for chosen in {chosen for _, chosen in plan}
        }
        for order, (base, chosen) in enumerate(plan):
            map_, log_prior, _ = known[base]
            edited = done.get((map_.tobytes(), chosen))
            if edited is None:
                edited = single_edits(state.world, map_, evidence[chosen], looks=state.options.looks, rng=rng)
                done[map_.tobytes(), chosen] = edited
                maps.append(edited.maps)
                priors.append(log_prior + edited.log_prior)
                parents.append(np.full(len(edited.maps), base))
            if order == 0:
                unseen, alike = state._against_all(known[base], edited)
            if twice and order < len(EDITED_TWICE):
                for row in np.argsort(-edited.score, kind="stable")[: EDITED_TWICE[order]].tolist():
                    known.append((edited.maps[row], float(log_prior + edited.log_prior[row]), base))
                    plan.append((len(known) - 1, chosen))
        found, prior, source = fitted_to_probes(
            state.world, np.vstack(maps), np.concatenate(priors), state.observations
        )
        state = replace(state, bases=tuple(known))
        return state._with(found, prior, np.concatenate(parents)[source], unseen, alike)

    def _beginnings(self, bases: int, expected: Base | None) -> tuple[list[Base], list[int]]:
        """All bases, and which of them are edited: the likeliest maps, what was expected, and what the best is an edit of."""
        known = list(self.bases)
        begin: list[int] = []
        for row in range(min(max(1, bases), len(self.maps))):
            if row > 1 and self.weights[row] < 1e-4 * self.weights[0]:
                break
            known.append((self.maps[row], float(self.log_prior[row]), int(self.parents[row])))
            begin.append(len(known) - 1)
        if not bases:
            return known, begin
        if expected is not None and not np.array_equal(expected[0], self.maps[0, : len(expected[0])]):
            wider = np.full(self.numbers - len(expected[0]), END, dtype=np.int64)
            known.append((np.concatenate([expected[0], wider]), *expected[1:]))
            begin.append(len(known) - 1)
        above = int(self.parents[0])
        while len(begin) < bases + MOST_PARENTS and above not in begin:
            begin.append(above)
            above = known[above][2]
        if 0 not in begin and self.weights[0] < SETTLED:
            begin.append(0)
        return known, begin

    def _plan(self, begin: list[int], *, earlier_wrong: bool) -> list[tuple[int, tuple[int, ...]]]:
        """Which base is edited by which answers: each by all of them; and, as an answer may have been wrong, some without
        those that seem so, or without earlier pictures."""
        every = tuple(range(len(self.observations)))
        meant = tuple(i for i in every if i == every[-1] or not self._doubted[i])
        plan = [*((base, every) for base in begin), *((base, meant) for base in begin[:2])]
        if earlier_wrong:
            recent = tuple(i for i in every if i == every[-1] or isinstance(self.observations[i].action, Probe))
            plan += [(begin[0], recent), (0, recent)]
        return list(dict.fromkeys(plan))

    def _against_all(self, base: Base, edited: Edited) -> tuple[Floats, float]:
        """Logarithms of an edited map's unseen and alike on the scale of all totals.

        The tables say too little of how bad a map is that an answer contradicts: so what they leave unseen is measured
        on the edit that they like best, if they like one better than the map itself.
        """
        own = self._total_of(base[0], base[1])
        best = int(edited.score.argmax()) if edited.score.size else 0
        measure = own
        if edited.score.size and edited.score[best] > 0.0:
            one = self._total_of(edited.maps[best], base[1] + float(edited.log_prior[best]))
            measure = one - float(edited.score[best])
        return np.log(np.maximum(edited.unseen, 1e-300)) + measure, math.log(max(edited.alike, 1e-300)) + own

    def _total_of(self, map_: Ints, log_prior: float) -> float:
        """Log weight of one map by all answers."""
        maps = self.world.maps(map_[None, :])
        each = [
            np.logaddexp(log_likelihood(o, maps)[0][0], w) for o, w in zip(self.observations, self.wrong, strict=True)
        ]
        return log_prior + float(sum(each))

    @cached_property
    def _doubted(self) -> Bools:
        """Answers that are rather wrong than meant, by all maps."""
        chance = 1.0 / (1.0 + np.exp(np.clip(self.meant - self.wrong[:, None], -50, 50)))
        return np.asarray(chance @ self.weights > 0.5 * self.weights.sum())

    def _widened(self) -> Recheck:
        """With more numbers when the best map nears the end of those considered."""
        if length_of(self.maps[0]) + SLACK // 2 <= self.numbers:
            return self
        most = self.setup.most_numbers
        width = self.numbers + SLACK if most is None else max(self.numbers, min(self.numbers + SLACK, most))
        more = np.full((len(self.maps), width - self.numbers), END, dtype=np.int64)
        wider = np.full(width - self.numbers, END, dtype=np.int64)
        bases = tuple((np.concatenate([map_, wider]), weight, above) for map_, weight, above in self.bases)
        unseen = np.concatenate([self.unseen, np.zeros(len(wider))])
        return replace(self, maps=np.hstack([self.maps, more]), bases=bases, unseen=unseen)

    def _with(self, maps: Ints, log_prior: Floats, parents: Ints, unseen: Floats, alike: float) -> Recheck:
        """These maps, each once, weighed by all answers; the ones that are here already keep their weights."""
        old = len(self.maps)
        seen: dict[bytes, int] = {}
        keep: list[int] = []
        for row in range(len(maps)):
            at = seen.setdefault(maps[row].tobytes(), row)
            if at == row:
                keep.append(row)
            elif log_prior[row] > log_prior[at]:
                log_prior[at], parents[at] = log_prior[row], parents[row]
        fresh = [row for row in keep if row >= old]
        kept = [row for row in keep if row < old]
        meant = np.empty((len(self.observations), len(keep)))
        meant[:, : len(kept)] = self.meant[:, kept]
        new = self.world.maps(maps[fresh])
        for index, one in enumerate(self.observations):
            meant[index, len(kept) :] = log_likelihood(one, new)[0]
        state = replace(self, maps=maps[keep], log_prior=log_prior[keep], parents=parents[keep], meant=meant)
        state = state._pruned()
        used = {0}
        for base in state.parents.tolist():
            while base not in used:
                used.add(base)
                base = state.bases[base][2]
        order = sorted(used)
        where = np.zeros(len(state.bases), dtype=np.int64)
        where[order] = np.arange(len(order))
        bases = tuple((state.bases[i][0], state.bases[i][1], int(where[state.bases[i][2]])) for i in order)
        state = replace(state, parents=where[state.parents], bases=bases)
        top = float(state._totals[0])
        unseen = np.exp(np.minimum(unseen - top, 1.0))
        unseen *= min(1.0, MOST_UNSEEN / max(float(unseen.sum()), 1e-300))
        return replace(state, unseen=unseen, alike=math.exp(min(alike - top, 0.0)))

    # -- the end --------------------------------------------------------------------------------------------------

    def result(self) -> Result:
        """The best map, number by number."""
        return build_result(
            world=self.world,
            found=self.best_map,
            maps=self.maps,
            weights=self.weights,
            confidence=self.confidence,
            observations=self.observations,
            changed_at=self.changed_at,
            doubted=frozenset(i for i in range(len(self.observations)) if self.contradicts(i)),
            named=self.named,
            proved=self.settled,
            chance_alike=self.chance_alike,
            alike=self.likely_as_good,
            stops_at=self.ends_early if self.stops else None,
        )


def _twice(answers: list[Answer]) -> bool:
    sure = [a for a in answers if not isinstance(a, NotSure)]
    return any(sure.count(a) > 1 for a in sure)
