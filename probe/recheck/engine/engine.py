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

**It ends.**  `next_step` asks nothing once `most_actions` answers were given: MOST_ANSWERS, and one for each number of
the predicted chain, whatever was answered.  Proof: every step that asks is followed by one observation more, and the
bound does not depend on the answers.  Behind MOST_ANSWERS that name no new pixel only names are asked for, until IN_VAIN more
name none, and once whether the data stop.  Long before, a single light is not asked where nothing is in doubt, nor when it
was answered twice the same, nor more than MOST_ASKED times, and no picture behind MOST_LOOKS_ALIKE with the same answer; so
in practice it ends after a few, with a person who errs in one answer of twenty after about ten, now and then after 25.
What was not proved by then is stated as the confidence that it has.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from probe.inference.entropy import binary_entropy_bits, entropy_bits
from probe.recheck.engine.evidence import BEFORE, Evidence
from probe.recheck.engine.model import (
    END,
    Action,
    AllAsShown,
    Answer,
    AskStop,
    AtNewPlace,
    AtPlace,
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
from probe.recheck.engine.result import Result, result_of
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
IN_VAIN = 5
"""So many names at most are asked for behind them of pixels that turn out to be none that are new."""
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
DOUBT_ONCE_ERRED = 0.2
"""Of the doubt that may be left, so much is, once an answer was not sure or, as the best map has it, wrong: who errs once
errs oftener than the model thinks."""
LEFT_ALIKE = 0.0015
"""What no picture shown tells apart is left at this chance: less is not worth another picture."""
WORTH_A_PICTURE = 0.001
MOST_UNSEEN = 2.0
"""What became no map counts at most so much against the best map: the tables are too rough to say more."""
EDITED_TWICE = (6, 3)
"""So many edits of the best map, and of the one that it is an edit of, are edited once more where no single one will do."""
ASTRAY = 3
"""So many answers that the best map says are wrong are too many to believe."""
EDITS_ANEW = 5
AS_PREDICTED = math.log(0.5)
"""An answer that the best map gives such a chance makes no other map likelier beside it: nothing else is edited."""
PREDICT_BEST = 0.5
PREDICTED = 5
"""So many maps are tried as what a picture predicts, while the best has less than that chance."""


@dataclass(frozen=True, eq=False)
class Base:
    """A map that others are edits of, its log prior, and what it is an edit of itself (None: the predicted chain)."""

    map_: Ints
    log_prior: float
    above: Base | None = None


Bases = npt.NDArray[np.object_]


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
    """What to do next; action None means finished.  naming: the action names a new pixel, which has to be done anyhow."""

    action: Action | None
    naming: bool = False


@dataclass(frozen=True)
class Recheck:
    """State of one chain's recheck; immutable, so that going back is keeping the earlier one.

    maps: shape (n, numbers), the likeliest first; log_prior: shape (n,); parents: what each is an edit of, shape (n,);
    meant, wrong: log chance of every answer if meant, shape (observations, n), or if wrong, shape (observations,).
    unseen: weight of what became no map against the best map, by the first number that changes, shape (numbers + 1,).
    alike: the same of changes of the best map that no answer speaks for or against.
    changed_at: how many observations there were when the best class last changed.
    """

    setup: Setup
    options: Options
    observations: tuple[Observation, ...]
    maps: Ints
    log_prior: Floats
    parents: Bases
    meant: Floats
    wrong: Floats
    unseen: Floats
    world: World
    alike: float = 0.0
    changed_at: int = 0

    @staticmethod
    def start(setup: Setup, options: Options | None = None) -> Recheck:
        """Nothing asked yet."""
        order, another = np.array(setup.order, dtype=np.int64), setup.prior.another
        first = Base(_wider(order, _room(setup, len(order))), math.log(1 - another))
        return Recheck(
            setup=setup,
            options=options or Options(),
            observations=(),
            maps=first.map_[None, :],
            log_prior=np.array([first.log_prior]),
            parents=np.array([first], dtype=object),
            meant=np.zeros((0, 1)),
            wrong=np.zeros(0),
            unseen=np.full(len(first.map_) + 1, another / (1 - another) / (len(first.map_) + 1)),
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
        count = np.union1d([0], np.flatnonzero(self.weights > 1e-8))
        for row, key in zip(count.tolist(), keys(self.world.spots(self.maps[count])), strict=True):
            rows.setdefault(key, []).append(row)
        found = [(float(self.weights[one].sum()), np.array(one)) for one in rows.values()]
        return tuple(sorted(found, key=lambda pair: -pair[0]))

    @cached_property
    def best_map(self) -> Ints:
        """The likeliest map of the likeliest class; shape (numbers,)."""
        return np.asarray(self.maps[self._best])

    @property
    def _best(self) -> int:
        """Its row."""
        return int(self.classes[0][1][0])

    @property
    def confidence(self) -> float:
        """Chance that what can be seen of the chain is as the best map says."""
        return min(1.0, self.classes[0][0])

    @property
    def chance_alike(self) -> float:
        """Chance of a change that none of the pictures shown would show, such as two single pixels exchanged."""
        return self.alike * float(self.weights[self._best])

    @cached_property
    def settled(self) -> bool:
        """Whether the doubt is small enough.

        What the pictures shown do not tell apart may leave a little more (LEFT_ALIKE), and more yet where the next
        picture would take off less than WORTH_A_PICTURE of it, as behind plastics that let few colours through.
        """
        rest = 1.0 - self.confidence - self.chance_alike
        if rest > (1.0 - self.options.confidence) * (DOUBT_ONCE_ERRED if self._has_erred else 1.0):
            return False
        if self.chance_alike <= LEFT_ALIKE or not self.options.looks:
            return True
        seen = (*self.observations, Observation(action=self.look(), answer=AllAsShown()))
        evidence = Evidence(self.world, self.numbers, seen)
        left = chance_left_alike(self.world, self.best_map, evidence, rng=np.random.default_rng(self.options.seed))
        return self.chance_alike * (1.0 - left / self.alike) < WORTH_A_PICTURE

    @property
    def likely_as_good(self) -> int:
        """How many other maps no answer can tell from the best one, and are not much less likely."""
        rows = self.classes[0][1]
        return int(np.count_nonzero(self.weights[rows[1:]] > 0.1 * self.weights[rows[0]]))

    @property
    def ends_early(self) -> int | None:
        """The number from which nothing shines though places of the chain are behind; None when nothing is missing there."""
        # as the last place of the chain is missing, it is behind all that are here
        last, best = self.setup.order[-1], self.best_map
        there = self.setup.has_place[last] and last not in best[best >= 0] % self.setup.entries
        return length_of(best) if there else None

    @property
    def stops(self) -> bool | None:
        """Whether the data stop where the best map ends early; None while nobody said."""
        asked = [o for o in self.observations if isinstance(o.action, AskStop) and o.action.number == self.ends_early]
        said = [o.answer for o in asked if not isinstance(o.answer, NotSure)]
        return isinstance(said[-1], Stops) if said else None

    def unnamed(self) -> tuple[int, ...]:
        """Numbers of the best map that are new and have no name yet."""
        return tuple(n for n in np.flatnonzero(is_new(self.setup, self.best_map)).tolist() if n not in self.named)

    def contradicts(self, index: int) -> bool:
        """Whether an answer is likelier wrong than meant under the best map."""
        return bool(self.meant[index, self._best] < self.wrong[index])

    @property
    def contradicted(self) -> int:
        """How many answers are likelier wrong than meant under the best map."""
        return int(np.count_nonzero(self.meant[:, self._best] < self.wrong))

    @property
    def _has_erred(self) -> bool:
        """Whether an answer was not sure, or is wrong if the best map is right."""
        return self.contradicted > 0 or any(isinstance(o.answer, NotSure) for o in self.observations)

    @cached_property
    def _chance_wrong(self) -> Floats:
        """Chance of every answer that it is wrong, by all maps; shape (observations,)."""
        chance = 1.0 / (1.0 + np.exp(np.clip(self.meant - self.wrong[:, None], -50, 50)))
        return np.asarray(chance @ (self.weights / self.weights.sum()))

    def doubts(self, *, least: float = 0.3) -> dict[int, float]:
        """The answers, by index, that are wrong with at least this chance."""
        says = [not isinstance(o.answer, NotSure | Stops | TakenOut) for o in self.observations]
        return {i: c for i, c in enumerate(self._chance_wrong.tolist()) if c >= least and says[i]}

    def clean_looks(self) -> int:
        """Looks since the best class last changed that found all as shown, as the best map would be seen."""
        best = Maps(self.world, self.best_map[None, :])
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
        named_none = sum(not isinstance(o.answer, AtNewPlace) for o in self.observations)
        if len(self.observations) >= self.most_actions or named_none >= MOST_ANSWERS + IN_VAIN:
            return RecheckStep(action=None)
        new = self.weights @ is_new(self.setup, self.maps)
        free = [n for n in self.unnamed() if n not in self.alone]
        name = RecheckStep(action=Probe(number=free[0]), naming=True) if free else RecheckStep(action=None)
        for number in free:
            if new[number] >= LIKELY_NEW:
                return RecheckStep(action=Probe(number=number), naming=True)
        if self.settled and (
            not self.options.looks or self.clean_looks() >= self.options.clean_looks or self._looks_alike()
        ):
            ends = self.ends_early
            if free or ends is None or any(isinstance(o.action, AskStop) for o in self.observations):
                return name
            return RecheckStep(action=AskStop(number=ends, colours=self.look().colours))
        if named_none >= MOST_ANSWERS:
            return name
        best: Action | None = None
        worth = 0.0
        if self.options.looks and not self._looks_alike():
            # which map the picture predicts is free: the one whose answer says most, the best one when it is nearly sure
            tried = 1 if self.confidence > PREDICT_BEST else PREDICTED
            for _, rows in self.classes[:tried]:
                look = self.look(of=self.maps[int(rows[0])])
                bits = self._bits(look) + self._undiscovered()
                if bits > worth + 0.1 or best is None:
                    best, worth = look, max(bits, 1e-9)
        candidates = self._candidates()
        each = self._probe_bits(candidates) + self._undiscovered_at(candidates)
        for number, bits in zip(candidates.tolist(), each.tolist(), strict=True):
            cost = ALONE if number in self.alone else ALONE + 0.05 - float(new[number])
            if bits > 1e-3 and bits / cost > worth:
                best, worth = Probe(number=number), bits / cost
        if best is None and not self.options.looks and (middle := self._middle()) is not None:
            best = Probe(number=middle)
        return name if best is None and self.options.looks else RecheckStep(action=best)

    def _looks_alike(self) -> bool:
        last = [o.answer for o in self.observations[-MOST_LOOKS_ALIKE:] if isinstance(o.action, Look)]
        return len(last) == MOST_LOOKS_ALIKE and all(answer == last[0] for answer in last)

    @cached_property
    def _counted(self) -> tuple[Maps, Floats]:
        """The maps that count, and their shares."""
        rows = np.flatnonzero(self.weights > 1e-7)[:MOST_COUNTED]
        return Maps(self.world, self.maps[rows]), self.weights[rows] / self.weights[rows].sum()

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

    @cached_property
    def alone(self) -> dict[int, list[Answer]]:
        """What was answered to every number that was lit alone."""
        found: dict[int, list[Answer]] = {}
        for seen in self.observations:
            if isinstance(seen.action, Probe):
                found.setdefault(seen.action.number, []).append(seen.answer)
        return found

    @cached_property
    def named(self) -> frozenset[int]:
        """Numbers whose light was last seen at a place that was not known before."""
        told = {n: [a for a in answers if isinstance(a, AtPlace | AtNewPlace)] for n, answers in self.alone.items()}
        return frozenset(n for n, answers in told.items() if answers and isinstance(answers[-1], AtNewPlace))

    def _candidates(self) -> Ints:
        """Numbers worth lighting alone: those that the maps that count put at different places, and those near which
        most is that became no map."""
        maps, shares = self._counted
        share = shares @ (maps.spots != maps.spots[0])
        near = np.argsort(-self._unseen_near[: self.numbers], kind="stable")[:NEAR_UNSEEN]
        some = dict.fromkeys([*near.tolist(), *np.argsort(-share, kind="stable")[: 2 * CANDIDATES].tolist()])
        return np.array([n for n in some if self._may_be_asked(n)][:CANDIDATES], dtype=np.int64)

    def _may_be_asked(self, number: int) -> bool:
        """Not so often yet, and not answered twice the same."""
        answers = self.alone.get(number, [])
        sure = [answer for answer in answers if not isinstance(answer, NotSure)]
        return len(answers) < MOST_ASKED and all(sure.count(answer) < 2 for answer in sure)

    @cached_property
    def _unseen_near(self) -> Floats:
        """By number, the weight of what became no map and begins there or little before: that changes what is lit there."""
        total = np.concatenate([np.zeros(BEFORE + 1), np.cumsum(self.unseen)])
        return np.asarray(total[BEFORE + 1 :] - total[: -BEFORE - 1])

    def _middle(self) -> int | None:
        """Without pictures: the number in the middle of the longest stretch that nobody lit."""
        length = length_of(self.best_map)
        marks = sorted({-1, length, *(n for n in self.alone if n < length)})
        if length - 1 not in marks:
            return length - 1
        if length not in self.alone and length < self.numbers:
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
        most = max(self.numbers, self.setup.most_numbers or 0)
        if isinstance(action, Probe) and not 0 <= action.number < most:
            raise ValueError(f"number {action.number} is outside the numbers 0..{most - 1}")
        meant, wrong = log_likelihood(seen, Maps(self.world, self.maps))
        state = replace(
            self,
            observations=(*self.observations, seen),
            meant=np.vstack([self.meant, meant[None, :]]),
            wrong=np.append(self.wrong, wrong),
        )
        if not isinstance(answer, NotSure) and not isinstance(action, AskStop):
            state = state._pruned()
            done: dict[tuple[bytes, tuple[int, ...]], Edited] = {}
            expected = Base(self.maps[0], float(self.log_prior[0]), self.parents[0])
            if float(meant[0]) > AS_PREDICTED:
                state = state._expanded(done, bases=0)
                if state.settled:
                    # what is one edit of the predicted chain may be listed as two, dearer, that came one by one; and what is
                    # left unseen counts against the best map at the price that it has then
                    state = state._expanded(done, bases=0, expected=state._above[-1])._expanded(done, bases=0)
            else:
                state = state._expanded(done, bases=1, expected=expected)
            if state.contradicts(len(state.observations) - 1):
                state = state._expanded(done, bases=3, twice=True)
                if state.contradicted >= ASTRAY:
                    state = state._built_anew()._expanded(done, bases=0)
        if state.world.key(state.best_map) != self.world.key(self.best_map):
            state = replace(state, changed_at=len(state.observations))
        return state

    def _built_anew(self) -> Recheck:
        """With maps built up again from the predicted chain by all answers: edits that an early wrong answer led to hold back
        what was answered since, each of which fits only a map without them."""
        root = self._above[-1]
        map_ = _wider(root.map_, self.numbers)[None, :]
        meant = np.array([log_likelihood(seen, Maps(self.world, map_))[0] for seen in self.observations])
        prior, parents = np.array([root.log_prior]), np.array([root], dtype=object)
        anew = replace(self, maps=map_, log_prior=prior, parents=parents, meant=meant)
        for _ in range(EDITS_ANEW):
            anew = anew._expanded({}, bases=MOST_PARENTS)
        here = replace(self, maps=_wider(self.maps, anew.numbers), unseen=anew.unseen)
        maps, prior = np.vstack([here.maps, anew.maps]), np.concatenate([here.log_prior, anew.log_prior])
        parents = np.concatenate([here.parents, anew.parents])
        return here._with(maps, prior, parents, np.full(len(anew.unseen), -math.inf), -math.inf)

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

        expected: a map that is edited as well: the one that was best before the answer, as what it lacks may be one edit,
        though by chance another map that was listed fits as well.
        twice: and with every edit of the edits that explain most: two that hide each other are likely only together.
        done: what was edited since the last answer.
        """
        state = self._widened()
        maps, priors, parents = [state.maps], [state.log_prior], [state.parents]
        unseen, alike = np.zeros(0), -math.inf
        rng = np.random.default_rng([state.options.seed, len(state.observations)])
        evidence: dict[tuple[int, ...], Evidence] = {}
        plan = state._plan(bases, expected)
        for order, (base, chosen) in enumerate(plan):
            map_ = _wider(base.map_, state.numbers)
            edited = done.get((map_.tobytes(), chosen))
            if edited is None:
                if chosen not in evidence:
                    some = [state.observations[i] for i in chosen]
                    evidence[chosen] = Evidence(state.world, state.numbers, some)
                edited = single_edits(state.world, map_, evidence[chosen], looks=state.options.looks, rng=rng)
                done[map_.tobytes(), chosen] = edited
                maps.append(edited.maps)
                priors.append(base.log_prior + edited.log_prior)
                parents.append(np.full(len(edited.maps), base, dtype=object))
            if order == 0:
                unseen, alike = state._against_all(map_, base.log_prior, edited)
            if twice and order < len(EDITED_TWICE):
                for row in np.argsort(-edited.score, kind="stable")[: EDITED_TWICE[order]].tolist():
                    plan.append((Base(edited.maps[row], float(base.log_prior + edited.log_prior[row]), base), chosen))
        found, prior, source = fitted_to_probes(
            state.world, np.vstack(maps), np.concatenate(priors), state.observations
        )
        return state._with(found, prior, np.concatenate(parents)[source], unseen, alike)

    @property
    def _above(self) -> list[Base]:
        """What the likeliest map is an edit of, and what that is one of, up to the predicted chain."""
        above: list[Base] = [self.parents[0]]
        while above[-1].above is not None:
            above.append(above[-1].above)
        return above

    def _plan(self, bases: int, expected: Base | None) -> list[tuple[Base, tuple[int, ...]]]:
        """Which map is edited by which answers: the likeliest ones, what was expected, and what the best is an edit of, each
        by all answers; and, as one may have been wrong, some without those that seem so, or without earlier pictures."""
        likely = [
            row
            for row in range(min(max(1, bases), len(self.maps)))
            if row < 2 or self.weights[row] >= 1e-4 * self.weights[0]
        ]
        begin = [Base(self.maps[row], float(self.log_prior[row]), self.parents[row]) for row in likely]
        above = self._above
        if expected is not None and not np.array_equal(_wider(expected.map_, self.numbers), self.maps[0]):
            begin.append(expected)
        if bases:
            begin += above[: bases + MOST_PARENTS - len(begin)]
            if above[-1] not in begin and self.weights[0] < SETTLED:
                begin.append(above[-1])
        every = tuple(range(len(self.observations)))
        meant = tuple(i for i in every if i == every[-1] or self._chance_wrong[i] <= 0.5)
        plan = [*((base, every) for base in begin), *((base, meant) for base in begin[:2])]
        if bases > 2:
            recent = tuple(i for i in every if i == every[-1] or isinstance(self.observations[i].action, Probe))
            plan += [(begin[0], recent), (above[-1], recent)]
        return list(dict.fromkeys(plan))

    def _against_all(self, map_: Ints, log_prior: float, edited: Edited) -> tuple[Floats, float]:
        """Logarithms of an edited map's unseen and alike on the scale of all totals.

        The tables say too little of how bad a map is that an answer contradicts: so what they leave unseen is measured
        on the edit that they like best, if they like one better than the map itself.
        """
        measure = own = self._total_of(map_, log_prior)
        if edited.score.max(initial=0.0) > 0.0:
            best = int(edited.score.argmax())
            one = self._total_of(edited.maps[best], log_prior + float(edited.log_prior[best]))
            measure = one - float(edited.score[best])
        return np.log(np.maximum(edited.unseen, 1e-300)) + measure, math.log(max(edited.alike, 1e-300)) + own

    def _total_of(self, map_: Ints, log_prior: float) -> float:
        """Log weight of one map by all answers."""
        maps = Maps(self.world, map_[None, :])
        return log_prior + float(sum(np.logaddexp(*log_likelihood(seen, maps))[0] for seen in self.observations))

    def _widened(self) -> Recheck:
        """With more numbers when the best map nears the end of those considered."""
        if length_of(self.maps[0]) + SLACK // 2 <= self.numbers:
            return self
        width = _room(self.setup, self.numbers)
        unseen = np.concatenate([self.unseen, np.zeros(width - self.numbers)])
        return replace(self, maps=_wider(self.maps, width), unseen=unseen)

    def _with(self, maps: Ints, log_prior: Floats, parents: Bases, unseen: Floats, alike: float) -> Recheck:
        """These maps, each once, weighed by all answers; the ones that are here already keep their weights."""
        seen: dict[bytes, int] = {}
        for row, map_ in enumerate(maps.astype(np.int32)):
            at = seen.setdefault(map_.tobytes(), row)
            if log_prior[row] > log_prior[at]:
                log_prior[at], parents[at] = log_prior[row], parents[row]
        keep = np.array(list(seen.values()))
        fresh = Maps(self.world, maps[keep[keep >= len(self.maps)]])
        weighed = np.array([log_likelihood(one, fresh)[0] for one in self.observations])
        meant = np.hstack([self.meant[:, keep[keep < len(self.maps)]], weighed])
        state = replace(self, maps=maps[keep], log_prior=log_prior[keep], parents=parents[keep], meant=meant)
        state = state._pruned()
        top = float(state._totals[0])
        unseen = np.exp(np.minimum(unseen - top, 1.0))
        unseen *= min(1.0, MOST_UNSEEN / max(float(unseen.sum()), 1e-300))
        return replace(state, unseen=unseen, alike=math.exp(min(alike - top, 0.0)))

    def result(self) -> Result:
        """The best map, number by number."""
        return result_of(self)


def _room(setup: Setup, numbers: int) -> int:
    """More numbers, as far as the board lights them."""
    return numbers + SLACK if setup.most_numbers is None else max(numbers, min(numbers + SLACK, setup.most_numbers))


def _wider(maps: Ints, width: int) -> Ints:
    """Maps with room for so many numbers; shape (..., width)."""
    room = np.full((*maps.shape[:-1], width - maps.shape[-1]), END, dtype=np.int64)
    return np.concatenate([maps, room], axis=-1)
