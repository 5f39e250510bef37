"""Answers turned into cells of the alignment, and into the likelihood of whole maps."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from probe.recheck.align import Cells
from probe.recheck.codes import UNLIT
from probe.recheck.model import (
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

    index: dict[bytes, Ints] = field(default_factory=dict)
    sums: dict[bytes, tuple[int, Floats]] = field(default_factory=dict)


@dataclass(frozen=True)
class Variant:
    """One hypothesis as the evidence needs it: order of entries, entries that are elsewhere, looks taken as void."""

    order: Ints
    away: frozenset[int]
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

    def void_chance(self, index: int) -> float:
        """Natural logarithm of the chance that this look's answer is wrong altogether and came out like this."""
        return next(seen.terms.void for seen in self._looks if seen.index == index)

    def _band_index(self, order: Ints, key: bytes) -> Ints:
        if key not in self._memo.index:
            if len(self._memo.index) > _MOST_CACHED:
                self._memo.index.clear()
                self._memo.sums.clear()
            width = 2 * self.half + 1
            position = np.arange(self.numbers)[:, None] + np.arange(width)[None, :] - self.half
            inside = (position >= 0) & (position < len(order))
            self._memo.index[key] = np.where(inside, order[np.clip(position, 0, len(order) - 1)], self.setup.entries)
        return self._memo.index[key]

    @staticmethod
    def _look_band(seen: _SeenLook, index: Ints) -> Floats:
        band: Floats = (seen.table - seen.table[:, COLOURS:]).ravel().take(index * (COLOURS + 1) + seen.shown[:, None])
        return band

    def _look_sum(self, order: Ints, void: frozenset[int]) -> tuple[Floats, Ints]:
        """Sum over looks of (factor when lit) - (factor when dark), over the band, and the entries in the band."""
        key = order.tobytes()
        index = self._band_index(order, key)
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

    def cells(self, variants: list[Variant]) -> tuple[Cells, Floats]:
        """Cells for `forward`, and for each variant the logarithm of what the cells leave out; shape (H,)."""
        setup, width = self.setup, 2 * self.half + 1
        count = len(variants)
        match = np.empty((count, self.numbers, width))
        new = np.zeros((count, self.numbers))
        tails = np.zeros((2, count))
        constant = np.zeros(count)
        p_dark = setup.prior.went_dark
        every = np.arange(setup.entries)
        behind = np.zeros(self.numbers)
        for number, terms in self._probes.items():
            behind[number] = sum(t.end for t in terms)
        for h, variant in enumerate(variants):
            relative, index = self._look_sum(variant.order, variant.void)
            # A last pixel that went dark looks the same as a missing one: it counts as missing.
            dark_share = np.where(index == variant.order[-1], 1e-30, p_dark)
            match[h] = np.log((1.0 - p_dark) * np.exp(np.minimum(relative, 600.0)) + dark_share)
            for number, terms in self._probes.items():
                lit = np.append(sum((t.at_entry for t in terms), np.zeros(setup.entries)), 0.0)[index[number]]
                dark = sum(t.dark for t in terms)
                match[h, number] = np.logaddexp(
                    np.log1p(-p_dark) + relative[number] + lit, np.log(dark_share[number]) + dark
                )
                new[h, number] = sum(t.new for t in terms)
            match[h][index == setup.entries] = -np.inf
            away = np.array(sorted(variant.away), dtype=np.int64)
            present_or_missing = np.setdiff1d(every, away)
            for seen in self._looks:
                if seen.index in variant.void:
                    constant[h] += seen.terms.void
                    continue
                new[h] += seen.terms.new_noticed
                tails[0, h] += seen.terms.tail_new
                tails[1, h] += seen.terms.tail_none
                constant[h] += seen.table[present_or_missing, COLOURS].sum()
                if away.size:
                    constant[h] += np.log(np.exp(seen.table[away, :COLOURS]).mean(axis=1)).sum()
        made = Cells(
            match=match,
            new=new,
            behind=behind,
            lengths=np.array([len(v.order) for v in variants], dtype=np.int64),
            tail_new=tails[0],
            tail_none=tails[1],
            known_length=setup.new_count is not None,
        )
        return made, constant

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
        """For a map of shape (J,), the chance of each matched number to have gone dark; 0 elsewhere."""
        relative = np.zeros(len(found))
        matched = found >= 0
        safe = np.where(matched, found, self.setup.entries)
        at = np.arange(len(found))
        for seen in self._looks:
            if seen.index not in void:
                relative += seen.table[safe, seen.shown] - seen.table[safe, COLOURS]
        for number, terms in self._probes.items():
            if matched[number]:
                relative[number] += sum(t.at_entry[found[number]] - t.dark for t in terms)
        p_dark = self.setup.prior.went_dark
        chance = p_dark / (p_dark + (1.0 - p_dark) * np.exp(np.clip(relative, -600.0, 600.0)))
        return np.where(matched[at], chance, 0.0)
