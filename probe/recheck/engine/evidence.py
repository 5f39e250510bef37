"""Answers turned into cells of the alignment, and into the likelihood of whole maps."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from probe.recheck.engine.align import Cells, Links
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    END,
    NEW,
    Floats,
    Ints,
    Look,
    LookTerms,
    Observation,
    ProbeTerms,
    Setup,
    look_terms,
    probe_terms,
)

COLOURS = 4
_MOST_CACHED = 96


@dataclass(frozen=True)
class _SeenLook:
    index: int
    terms: LookTerms
    table: Floats
    """at_entry with one more row of zeros for 'outside the order'."""
    shown: Ints
    """Colour column of each number: 0..3, or 4 for dark; shape (numbers,)."""


@dataclass
class _Memo:
    """Sums of look factors over the band, by order.  Only a memory: everything in it can be reckoned again."""

    index: dict[tuple[bytes, int], Ints] = field(default_factory=dict)
    sums: dict[tuple[bytes, int], tuple[int, Floats]] = field(default_factory=dict)


@dataclass(frozen=True)
class Variant:
    """One hypothesis as the evidence needs it.

    order: entries in order, without a floating run.  floating: entries of a run that stands somewhere, each spot with
    the natural logarithm of a chance `spot_chance`.  void: indexes of looks taken as wrong.
    """

    order: Ints
    floating: Ints
    spot_chance: float
    void: frozenset[int]


class Evidence:
    """All answers so far.  Immutable for its user: `with_answer` makes a new one."""

    def __init__(self, setup: Setup, *, half: int) -> None:
        self.setup = setup
        self.half = half
        length = len(setup.order)
        if setup.new_count is not None:
            self.numbers = setup.new_count
        else:
            self.numbers = length + half
            if setup.most_numbers is not None:
                self.numbers = min(self.numbers, setup.most_numbers)
        self.observations: tuple[Observation, ...] = ()
        self._looks: tuple[_SeenLook, ...] = ()
        self._probes: dict[int, tuple[ProbeTerms, ...]] = {}
        self._memo = _Memo()
        self._is_declared: Floats | None = None
        if setup.declared_new:
            self._is_declared = np.zeros(setup.entries + 1)
            self._is_declared[sorted(setup.declared_new)] = 1.0

    def with_answer(self, observation: Observation) -> Evidence:
        """Evidence with one more answer."""
        more = Evidence(self.setup, half=self.half)
        more.numbers = self.numbers
        more._memo = self._memo
        more.observations = (*self.observations, observation)
        more._looks, more._probes = self._looks, self._probes
        action = observation.action
        if isinstance(action, Look):
            terms = look_terms(self.setup, observation, numbers=self.numbers, colours=COLOURS)
            colours = np.full(self.numbers, COLOURS, dtype=np.int64)
            given = np.array(action.colours[: self.numbers], dtype=np.int64)
            colours[: len(given)] = np.where(given == UNLIT, COLOURS, given)
            table = np.vstack([terms.at_entry, np.zeros((1, COLOURS + 1))])
            seen = _SeenLook(index=len(self.observations), terms=terms, table=table, shown=colours)
            more._looks = (*self._looks, seen)
        else:
            if not 0 <= action.number < self.numbers:
                raise ValueError(f"number {action.number} is outside the numbers considered, 0..{self.numbers - 1}")
            now = probe_terms(self.setup, observation)
            more._probes = {**self._probes, action.number: (*self._probes.get(action.number, ()), now)}
        return more

    def widened(self, *, half: int) -> Evidence:
        """The same answers with another band half-width."""
        wide = Evidence(self.setup, half=half)
        for observation in self.observations:
            wide = wide.with_answer(observation)
        return wide

    @property
    def look_indexes(self) -> tuple[int, ...]:
        """Indexes into `observations` of the looks that said something."""
        return tuple(seen.index for seen in self._looks)

    def _band_index(self, order: Ints, shift: int) -> Ints:
        key = (order.tobytes(), shift)
        if key not in self._memo.index:
            if len(self._memo.index) > _MOST_CACHED:
                self._memo.index.clear()
                self._memo.sums.clear()
            width = 2 * self.half + 1
            position = np.arange(self.numbers)[:, None] + np.arange(width)[None, :] - self.half - shift
            inside = (position >= 0) & (position < len(order))
            self._memo.index[key] = np.where(inside, order[np.clip(position, 0, len(order) - 1)], self.setup.entries)
        return self._memo.index[key]

    def _look_band(self, seen: _SeenLook, index: Ints) -> Floats:
        band: Floats = (seen.table - seen.table[:, COLOURS:]).ravel().take(index * (COLOURS + 1) + seen.shown[:, None])
        if self._is_declared is not None:  # such a pixel has no place on the list: lit, it is a light off the list
            band = band + self._is_declared[index] * seen.terms.new_noticed[:, None]
        return band

    def _look_sum(self, order: Ints, shift: int, void: frozenset[int]) -> tuple[Floats, Ints]:
        """Sum over looks of (factor when lit) - (factor when dark), over the band, and the entries in the band."""
        index = self._band_index(order, shift)
        key = (order.tobytes(), shift)
        done, total = self._memo.sums.get(key, (0, np.zeros(index.shape)))
        if done > len(self._looks):  # the memory is ahead, after an undo
            done, total = 0, np.zeros(index.shape)
        if done < len(self._looks):
            for seen in self._looks[done:]:
                total = total + self._look_band(seen, index)
            self._memo.sums[key] = (len(self._looks), total)
        for seen in self._looks:
            if seen.index in void:
                total = total - self._look_band(seen, index)
        return total, index

    def _match_cells(self, relative: Floats, index: Ints, *, last: int) -> Floats:
        """Factors of matches, from the looks' sum (changed neither) with probes and dark pixels put in.

        relative, index: shape (J, D).  last: the entry at the end of the chain: gone dark, it looks the same as
        missing, and counts as missing.
        """
        p_dark = self.setup.prior.went_dark
        dark_share = np.where(index == last, 1e-30, p_dark)
        match: Floats = np.log((1.0 - p_dark) * np.exp(np.minimum(relative, 600.0)) + dark_share)
        for number, terms in self._probes.items():
            lit = np.append(sum((t.at_entry for t in terms), np.zeros(self.setup.entries)), 0.0)[index[number]]
            dark = sum(t.dark for t in terms)
            match[number] = np.logaddexp(np.log1p(-p_dark) + relative[number] + lit, np.log(dark_share[number]) + dark)
        match[index == self.setup.entries] = -np.inf
        return match

    def _run_evidence(self, run: Ints, void: frozenset[int]) -> Floats:
        """Factor of a run standing at numbers b, b + 1, … for every b; shape (J + 1,), -inf where it does not fit.

        Its last pixel gone dark counts as missing: behind the end nobody could tell the two apart, and no look decide.
        """
        index = np.broadcast_to(run[None, :], (self.numbers, len(run)))
        relative = np.zeros(index.shape)
        for seen in self._looks:
            if seen.index not in void:
                relative += self._look_band(seen, index)
        match = self._match_cells(relative, index, last=int(run[-1]))
        found = np.full(self.numbers + 1, -np.inf)
        spots = self.numbers - len(run) + 1
        if spots > 0:
            found[:spots] = sum((match[t : t + spots, t] for t in range(len(run))), np.zeros(spots))
        return found

    def cells(self, variants: list[Variant]) -> tuple[Cells, Floats, Ints]:
        """Rows for `forward`; for each variant the logarithm of what the rows leave out, and the row it ends in.

        The last two have shape (H,).  A variant with a floating run takes two rows.
        """
        width = 2 * self.half + 1
        owner: list[int] = []
        shifts: list[int] = []
        sources: list[int] = []
        for h, variant in enumerate(variants):
            owner.append(h)
            shifts.append(0)
            if len(variant.floating):
                sources.append(len(owner) - 1)
                owner.append(h)
                shifts.append(len(variant.floating))
        rows = len(owner)
        match = np.empty((rows, self.numbers, width))
        indexes: list[Ints] = []
        final = np.zeros(len(variants), dtype=np.int64)
        for row, (h, shift) in enumerate(zip(owner, shifts, strict=True)):
            variant = variants[h]
            relative, index = self._look_sum(variant.order, shift, variant.void)
            match[row] = self._match_cells(relative, index, last=int(variant.order[-1]))
            indexes.append(index)
            final[h] = row
        per_variant = [self._outside(variant) for variant in variants]
        links = None
        if sources:
            floats = [variants[owner[s]] for s in sources]
            links = Links(
                source=np.array(sources),
                target=np.array(sources) + 1,
                length=np.array([len(v.floating) for v in floats]),
                chance=np.array([v.spot_chance for v in floats]),
                evidence=np.stack([self._run_evidence(v.floating, v.void) for v in floats]),
                run=tuple(v.floating for v in floats),
            )
        behind = np.zeros(self.numbers)
        for number, terms in self._probes.items():
            behind[number] = sum(t.end for t in terms)
        made = Cells(
            match=match,
            index=tuple(indexes),
            new=np.stack([per_variant[h][0] for h in owner]),
            behind=behind,
            lengths=np.array([len(variants[h].order) + shift for h, shift in zip(owner, shifts, strict=True)]),
            tail_new=np.array([per_variant[h][1] for h in owner]),
            tail_none=np.array([per_variant[h][2] for h in owner]),
            begins=np.array([shift == 0 for shift in shifts]),
            links=links,
            known_length=self.setup.new_count is not None,
        )
        return made, np.array([p[3] for p in per_variant]), final

    def _outside(self, variant: Variant) -> tuple[Floats, float, float, float]:
        """New-pixel factors of shape (J,), the two tail factors, and the factor of everything missing."""
        new = np.zeros(self.numbers)
        for number, terms in self._probes.items():
            new[number] = sum(t.new for t in terms)
        tail_new = tail_none = constant = 0.0
        for seen in self._looks:
            if seen.index in variant.void:
                constant += seen.terms.void
                continue
            new = new + seen.terms.new_noticed
            tail_new += seen.terms.tail_new
            tail_none += seen.terms.tail_none
            constant += float(seen.table[:, COLOURS].sum())
        return new, tail_new, tail_none, constant

    def swap_scores(self, found: Ints, pairs: Ints, *, void: frozenset[int]) -> Floats:
        """How much likelier (natural logarithm) all looks are when two numbers' pixels are exchanged.

        found: a map of shape (J,); pairs: numbers, shape (K, 2), both matched to old pixels.  Returns shape (K,).
        """
        a, b = pairs[:, 0], pairs[:, 1]
        change = np.zeros(len(pairs))
        for seen in self._looks:
            if seen.index in void:
                continue
            table, shown = seen.table, seen.shown
            change += table[found[b], shown[a]] - table[found[a], shown[a]]
            change += table[found[a], shown[b]] - table[found[b], shown[b]]
        for number, terms in self._probes.items():
            lit = sum((t.at_entry for t in terms), np.zeros(self.setup.entries))
            for one, other in ((a, b), (b, a)):
                hit = one == number
                change[hit] += lit[found[other[hit]]] - lit[found[one[hit]]]
        return change

    def elsewhere_bonus(self, entries: tuple[int, ...], *, void: frozenset[int]) -> float:
        """Factor for entries that stand at an unknown spot, relative to being missing (natural logarithm)."""
        if not entries:
            return 0.0
        at = np.array(entries, dtype=np.int64)
        bonus = 0.0
        for seen in self._looks:
            if seen.index not in void:
                lit = np.log(np.exp(seen.table[at, :COLOURS]).mean(axis=1))
                bonus += float((lit - seen.table[at, COLOURS]).sum())
        return bonus

    def map_scores(self, maps: Ints, *, void: frozenset[int]) -> Floats:
        """Log likelihood of whole maps, up to one constant; shape (K,) for maps of shape (K, J).

        Pixels that went dark and lights behind the end are left out: this ranks proposals, nothing more.
        """
        matched = maps >= 0
        safe = np.where(matched, maps, self.setup.entries)
        scores = np.zeros(len(maps))
        for seen in self._looks:
            if seen.index in void:
                continue
            relative = (seen.table - seen.table[:, COLOURS:]).ravel()
            scores += relative.take(safe * (COLOURS + 1) + seen.shown[None, :]).sum(axis=1)
            scores += ((maps == NEW) * seen.terms.new_noticed[None, :]).sum(axis=1)
        for number, terms in self._probes.items():
            column = maps[:, number]
            lit = np.append(sum((t.at_entry for t in terms), np.zeros(self.setup.entries)), 0.0)
            value = lit[safe[:, number]]
            value = np.where(column == NEW, sum(t.new for t in terms), value)
            scores += np.where(column == END, sum(t.end for t in terms), value)
        return scores

    def dark_chance(self, found: Ints, *, void: frozenset[int]) -> Floats:
        """For a map of shape (J,), the chance of each matched number to have gone dark; 0 elsewhere.

        A pixel without a place, whose light nobody saw before either, has not gone dark.
        """
        relative = np.zeros(len(found))
        matched = found >= 0
        safe = np.where(matched, found, self.setup.entries)
        for seen in self._looks:
            if seen.index not in void:
                relative += seen.table[safe, seen.shown] - seen.table[safe, COLOURS]
        for number, terms in self._probes.items():
            if matched[number]:
                relative[number] += sum(t.at_entry[found[number]] - t.dark for t in terms)
        p_dark = self.setup.prior.went_dark
        chance = p_dark / (p_dark + (1.0 - p_dark) * np.exp(np.clip(relative, -600.0, 600.0)))
        seen_before = np.append(np.array(self.setup.has_place), False)[safe]
        return np.where(matched & seen_before, chance, 0.0)
