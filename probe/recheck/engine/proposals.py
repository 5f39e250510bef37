"""Which hypotheses an answer suggests: rearrangements that would make sense of it, the likeliest of very many."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from probe.recheck.engine.belief import Belief
from probe.recheck.engine.evidence import Evidence
from probe.recheck.engine.hypotheses import Hypothesis, from_look, from_probe, move_prior
from probe.recheck.engine.model import END, AtPlace, Differs, Ints, Look, Probe

MOST_PROPOSED = 32
MOST_FLOATING = 8
MOST_FROM_OTHERS = 8
"""Most proposals from the first base, of these with a floating run, and from each further base."""
MOST_FROM_LOOK = 5
"""Most proposals from a look alone: the probe that follows says more."""
MOST_BASES = 4
SIGNS_BEFORE = 6
"""A straight base drops the edits that the alignment put this many numbers before an answer, or later."""
MOST_EXPLAINED = 2
"""Of several answers that do not fit, the latest so many are explained at a time."""


@dataclass(frozen=True)
class Base:
    """A map to start proposals from: its hypothesis, the map and the positions in the order, both of shape (J,)."""

    hypothesis: Hypothesis
    found: Ints
    positions: Ints

    def taken_from(self, number: int) -> int:
        """Where in the order a number is taken from; for a new pixel, where the next old one is."""
        later = self.positions[number:]
        later = later[later >= 0]
        return int(later[0]) if later.size else len(self.hypothesis.order)

    def straight(self, number: int) -> Base:
        """The same without edits from this number on."""
        length = len(self.hypothesis.order)
        ahead = self.taken_from(number) + np.arange(len(self.found) - number)
        positions = self.positions.copy()
        positions[number:] = np.where(ahead < length, ahead, -1)
        order = np.array(self.hypothesis.order, dtype=np.int64)
        found = self.found.copy()
        found[number:] = np.where(ahead < length, order[np.minimum(ahead, length - 1)], END)
        return Base(self.hypothesis, found, positions)


def best_proposed(
    proposed: list[Hypothesis], evidence: Evidence, base: Base, *, most: int = MOST_PROPOSED
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


def _bases(belief: Belief, number: int) -> list[Base]:
    """Maps to start proposals from, for an answer about one number.

    The best map, a drawn one with the fewest rearrangements (so that a wrong turn can be left again), and drawn
    ones in which the number stands elsewhere.  Of each also the straight version: no edits from shortly before
    that number on, because what the alignment made of the first signs is probably wrong.
    """
    draws = belief.draws
    arranged = np.array([h.arranged for h in belief.hypotheses])[draws.source]
    order = np.argsort(-belief.draw_weights, kind="stable")
    plain = order[arranged[order] == 0][:1]
    drawn = [Base(draws.best_hypothesis, draws.best, draws.best_positions)]
    for row in [*plain.tolist(), *order.tolist()]:
        hypothesis = belief.hypotheses[int(draws.source[row])]
        if not hypothesis.floating:
            drawn.append(Base(hypothesis, draws.maps[row], draws.positions[row]))
    bases: dict[tuple[int, int, bool], Base] = {}
    for base in drawn:
        straight = base.straight(max(0, number - SIGNS_BEFORE))
        bases.setdefault((straight.taken_from(number), base.hypothesis.arranged, True), straight)
        bases.setdefault((base.taken_from(number), base.hypothesis.arranged, False), base)
        if len(bases) >= MOST_BASES:
            break
    return list(bases.values())


def from_differing_look(belief: Belief, place: int, evidence: Evidence) -> list[Hypothesis]:
    """Rearrangements that begin at the place where a look differed."""
    draws = belief.draws
    base = Base(draws.best_hypothesis, draws.best, draws.best_positions)
    proposed = from_look(draws.best_hypothesis, belief.setup.prior, place=place, floating=False)
    return best_proposed(proposed, evidence, base)[:MOST_FROM_LOOK]


def from_probed_place(belief: Belief, number: int, entries: tuple[int, ...], evidence: Evidence) -> list[Hypothesis]:
    """Rearrangements that put one of these entries (those of one place) at this number."""
    if belief.draws.best[number] in entries:
        return []
    found: list[Hypothesis] = []
    for base in _bases(belief, number):
        at = base.taken_from(number)
        void_sets = {base.hypothesis.void, frozenset[int](), *(frozenset({i}) for i in base.hypothesis.void)}
        for void in sorted(void_sets, key=lambda v: (len(v), sorted(v))):
            start = replace(base.hypothesis, void=void)
            made = [h for entry in entries for h in from_probe(start, belief.setup.prior, position=at, entry=entry)]
            most = MOST_PROPOSED if not found else MOST_FROM_OTHERS
            found += best_proposed(made, evidence, base, most=most)
    return found


def explanations(belief: Belief) -> list[Hypothesis]:
    """Rearrangements that would make sense of answers which the best map calls wrong."""
    top = belief.draws.best_hypothesis
    known = {h.key for h in belief.hypotheses}
    proposed: dict[object, Hypothesis] = {}
    explained = 0
    for index, seen in reversed(list(enumerate(belief.observations))):
        made: list[Hypothesis] = []
        if explained >= MOST_EXPLAINED:
            break
        if isinstance(seen.action, Look):
            if index in top.void and isinstance(seen.answer, Differs):
                base = replace(top, void=top.void - {index})
                made = from_look(base, belief.setup.prior, place=seen.answer.place, floating=True)
                start = Base(belief.draws.best_hypothesis, belief.draws.best, belief.draws.best_positions)
                made = best_proposed(made, belief.evidence, start)
        elif isinstance(seen.answer, AtPlace) and belief.contradicts(seen):
            alike = belief.setup.like(seen.answer.place)
            made = from_probed_place(belief, seen.action.number, alike, belief.evidence)
        explained += bool(made)
        proposed.update((h.key, h) for h in made if h.key not in known)
    if explained:
        proposed.update((h.key, h) for h in _as_answered(belief) if h.key not in known)
    return list(proposed.values())


def _as_answered(belief: Belief) -> list[Hypothesis]:
    """The best map with every probed number put right, as an order: a catch-all for what no single change explains.

    Of several answers about one number the commonest counts, then the latest.  The prior is that of as many moved runs
    as the breaks between neighbours amount to (a moved run makes three).
    """
    draws = belief.draws
    base = draws.best_hypothesis
    found = draws.best.tolist()
    given: dict[int, list[int]] = {}
    for seen in belief.observations:
        if isinstance(seen.action, Probe) and isinstance(seen.answer, AtPlace):
            given.setdefault(seen.action.number, []).append(seen.answer.place)
    for number, places in given.items():
        place = max(reversed(places), key=places.count)
        if found[number] not in belief.setup.like(place):
            found[number] = place
    answered = {found[number] for number in given}
    shown = [e for n, e in enumerate(found) if e >= 0 and (n in given or e not in answered)]
    order = list(dict.fromkeys(shown))
    held = set(order)
    before = dict(zip(base.order[1:], base.order, strict=False))
    for entry in base.order:
        if entry not in held:  # missing in the map: it stays behind the one it stood behind
            spot = order.index(before[entry]) + 1 if entry in before else 0
            order.insert(spot, entry)
            held.add(entry)
    plain = belief.setup.order
    follows = set(itertools.pairwise(plain))
    follows |= {(b, a) for a, b in follows}  # a reversed run keeps its neighbours
    breaks = sum(pair not in follows for pair in itertools.pairwise(order))
    if tuple(order) == base.order or not breaks:
        return []
    runs = -(-breaks // 3)
    one = math.log(max(move_prior(belief.setup.prior, length=len(plain)), 1e-30))
    made = Hypothesis(order=tuple(order), floating=(), void=frozenset(), log_prior=runs * one, arranged=runs)
    return [made, replace(made, void=base.void)] if base.void else [made]
