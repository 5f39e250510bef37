"""What a set of answers says of any pixel at any number, and sums of it along a map for every shift.

A picture's likelihood is a product over places, and an edit moves runs of the chain by a shift each.  So with one table
of sums along the chain for every shift, the weight of any edit is a few differences.  The tables take a place with
several pixels as if each shone alone; only the exact weighing (`world.log_likelihood`) knows better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from probe.recheck.engine.model import (
    COLOURS,
    FURTHER,
    AllAsShown,
    Answer,
    AreaDiffers,
    Bools,
    Differs,
    ExtraLight,
    Floats,
    Ints,
    Look,
    NotSure,
    Observation,
    OtherChain,
    Probe,
)
from probe.recheck.engine.world import NEW_SPOT, NO_LIGHT, Listed, World, is_new, length_of

CLIP = -14.0
"""An answer that cannot be meant counts as this in the tables: about what a wrong answer costs."""
NEIGHBOUR = -6.0
AS_BEFORE = -0.5
"""A place that is as shown in an area of which most differ."""
WHOLE = 220
"""Up to so many numbers every shift is in the tables; beyond, shifts up to BAND, those that a single light showed, and back."""
BAND = 40
OTHER_WAY = 20
"""Back by so many more or less, as the lengths of two exchanged runs differ."""
TOGETHER = 3
"""So many pictures are looked up at once."""
BEFORE, BEHIND = 5, 2
"""A run may begin so many numbers before or behind the pixel that does not fit: those between may have looked alike."""


@dataclass(frozen=True)
class _Picture:
    """Log factors of one look: rows are entries, then a silent and a new pixel, columns colours; colours by number."""

    factors: Floats
    colours: Ints
    lines: Listed
    named: tuple[int, ...]


class Evidence:
    """Answers as log factors of every kind of pixel at every number.

    crowded: places that showed several colours.  met: (number, place) of single lights.  other: (chain, list, position
    or None) where another chain's light was seen.
    """

    def __init__(self, world: World, width: int, seen: Sequence[Observation]) -> None:
        self.world, self.width = world, width
        self.pictures: list[_Picture] = []
        self.probes: list[tuple[int, Floats, int]] = []
        # log factors at every number: of a new pixel by pictures and by single lights, and of one without light by those
        self.off_list, self.lit_alone, self.dark_alone = np.zeros((3, width))
        named = [one for o in seen if isinstance(o.answer, Differs) for one in o.answer.seen]
        self.crowded = {one.place for one in named if len(set(one.colours)) > 1}
        self.met: list[tuple[int, int]] = []
        self.other: list[tuple[int, Listed, int | None]] = []
        self.extra = any(isinstance(o.answer, ExtraLight) for o in seen)
        for one in seen:
            if isinstance(one.answer, NotSure):
                continue
            if isinstance(one.action, Look):
                self._look(world.listed(one.action), one.answer)
            elif isinstance(one.action, Probe):
                self._probe(one.action.number, one.answer)
        self.fresh = np.concatenate([[0.0], np.cumsum(self.off_list + self.lit_alone)])

    def _look(self, lines: Listed, answer: Answer) -> None:
        world, entries = self.world, self.world.setup.entries
        miss = float(np.log(world.setup.person.look_miss))
        stop, said, area = world.heard(lines, answer)
        if isinstance(answer, OtherChain):
            self.other.append((answer.chain, lines, None if answer.place is None else stop))
        group = np.where(world.spot >= 0, world.spot, 0)  # an entry is seen at its group's place
        here = (world.spot >= 0) & (lines.rank[group] < stop + bool(said))
        bits, want = world.seen_bits[:-1], lines.want[group][:, None]
        several = np.zeros((entries, 1), dtype=bool)
        several[[entry for alike in world.setup.alike for entry in alike]] = True
        fits = np.where(several, (bits & ~want) == 0, bits == want)
        factors = np.zeros((entries + 2, COLOURS + 1))
        factors[:entries] = np.where(here[:, None] & ~fits, miss, 0.0)
        for place, word in said.items():
            crowded, there = place in self.crowded, world.spot == place
            lit = bits[there]
            shows = np.where(several[there] | crowded, (lit & ~np.uint8(word)) == 0, lit == word)
            factors[:entries][there] = np.where(shows & ((lit != lines.want[place]) | crowded), 0.0, CLIP)
        named = (int(lines.places[stop]),) if isinstance(answer, AreaDiffers) else tuple(said)
        for place in area.tolist():
            there = world.spot == place
            otherwise = CLIP if place in named else AS_BEFORE
            factors[:entries][there] = np.where(bits[there] != lines.want[place], 0.0, otherwise)
        colours = np.full(self.width, COLOURS, dtype=np.int64)
        known = min(self.width, len(lines.colours))
        colours[:known] = lines.colours[:known]
        if isinstance(answer, AllAsShown):
            self.off_list[:known] += np.where(lines.lit[:known], miss, 0.0)
        self.pictures.append(_Picture(factors, colours, lines, named))

    def _probe(self, number: int, answer: Answer) -> None:
        """Factors of every entry, then of a silent and of a new pixel, at the number that was lit."""
        entries, said = self.world.setup.entries, self.world.lit_at(answer)
        spots = np.append(self.world.spot, [NO_LIGHT, NEW_SPOT])
        factor = np.where(spots == said, 0.0, CLIP)
        if said >= 0:
            self.met.append((number, said))
            factor[(spots >= 0) & (np.abs(spots - said) <= 2) & (spots != said)] = NEIGHBOUR
        factor[entries + 1] = 0.0 if said != NO_LIGHT else factor[entries + 1] / 2  # a further or a silent one, perhaps
        self.probes.append((number, factor, said))
        if number < self.width:
            self.lit_alone[number] += factor[entries + 1]
            self.dark_alone[number] += factor[entries]

    @cached_property
    def unlit(self) -> Floats:
        """Log factor of an entry that is in no number."""
        found = np.zeros(self.world.setup.entries + 2)
        for one in self.pictures:
            found += one.factors[:, COLOURS]
        found[-2:] = 0.0
        return found

    @cached_property
    def joined(self) -> list[tuple[Floats, Ints, int]]:
        """Up to three pictures taken together: factors by row and by all colours, all colours by number, and all dark."""
        found = []
        for at in range(0, len(self.pictures), TOGETHER):
            one, *more = self.pictures[at : at + TOGETHER]
            factors, colours, dark = one.factors, one.colours, COLOURS
            for other in more:
                factors = (factors[:, :, None] + other.factors[:, None, :]).reshape(len(factors), -1)
                colours = colours * (COLOURS + 1) + other.colours
                dark = dark * (COLOURS + 1) + COLOURS
            found.append((factors, colours, dark))
        return found


class Along:
    """Sums of log factors along one map, for every shift.

    anchors: numbers at which a run may begin or end: near what does not fit.  at: number of every entry, then of the last
    new pixel; -1: none.  shining: which items are old pixels whose light is seen.
    """

    def __init__(self, evidence: Evidence, map_: Ints) -> None:
        self.evidence, self.world = evidence, evidence.world
        self.width, self.length = len(map_), length_of(map_)
        self.items = items = map_[: self.length]
        entries = self.world.setup.entries
        self.spots = self.world.spots(items)
        self.shining = (items >= 0) & (items < entries) & (self.spots >= 0)
        self._stretch = np.concatenate([[0], np.cumsum(np.diff(self.spots) != 0), [-1]])
        self.at = np.full(entries + 1, -1)
        self.at[np.where(items >= 0, items % entries, entries)] = np.arange(self.length)
        rows = np.where(items <= FURTHER, FURTHER - items, np.where((items >= 0) & (items < entries), items, entries))
        self.rows = np.where(is_new(self.world.setup, items), entries + 1, rows)
        self.fresh = evidence.fresh
        self.gone = np.concatenate([[0.0], np.cumsum(np.where(items <= FURTHER, 0.0, evidence.unlit[self.rows]))])
        self.anchors = self._anchors()
        self.whole = self.length <= WHOLE
        self.shifts = np.arange(-self.length, self.width) if self.whole else self._shifts()
        self.index = np.full(self.length + self.width + 2, -1, dtype=np.int64)
        self.index[self.shifts + self.length] = np.arange(len(self.shifts))
        self.flat = self._sums(self.shifts, 1).ravel()

    def _anchors(self) -> Ints:
        found: set[int] = set()

        def near(number: int) -> None:
            found.update(range(max(0, number - BEFORE), min(self.length, number + BEHIND) + 1))

        for one in self.evidence.pictures:
            wrong = np.flatnonzero(one.factors[self.rows, one.colours[: self.length]] < 0.0)
            if wrong.size:
                items, rank = self.items[wrong], one.lines.rank
                listed = np.where((items >= 0) & (items < len(rank)), rank.take(items, mode="clip"), len(rank))
                near(int(wrong[int(np.argmin(listed))]))
                near(int(wrong[0]))
            for place in one.named:
                number = int(self.at[place])
                if number < 0:
                    near(self.before(one.lines, int(one.lines.rank[place])))
                elif one.factors[self.rows[number], one.colours[number]] < 0.0:
                    near(number)
        for _, lines, position in self.evidence.other:
            near(self.length if position is None else self.before(lines, position))
        if self.evidence.extra:
            near(self.length)
        for number, factor, said in self.evidence.probes:
            if number < self.length and factor[self.rows[number]] < 0.0:
                near(number)
                if said != NO_LIGHT and self.at[said] >= 0:
                    near(int(self.at[said]))
        return np.array(sorted(found), dtype=np.int64)

    def before(self, lines: Listed, position: int) -> int:
        """Where the map has the place at this position of a list, or the next before it that it has."""
        here = self.at[lines.places[position::-1]]
        return int(here[(here >= 0).argmax()]) if (here >= 0).any() else 0

    def _shifts(self) -> Ints:
        found = set(range(-BAND, BAND + 1))
        for number, place in self.evidence.met:
            if (at := int(self.at[place])) >= 0:
                found.update(range(number - at - 6, number - at + 7))
                if abs(number - at) > BAND:  # perhaps one of two exchanged runs: then the other one moved back
                    found.update(range(at - number - OTHER_WAY, at - number + OTHER_WAY + 1))
        found.update(-length for length in range(97, self.length, 97))
        return np.array(sorted(s for s in found if -self.length <= s < self.width), dtype=np.int64)

    def _sums(self, starts: Ints, step: int) -> Floats:
        """Sums over the items before each, item i being at number start + step·i (0 or negative starts: partly outside);
        shape (starts, items + 1)."""
        n, width = self.length, self.width
        found = np.zeros((len(starts), n + 1))
        cells = found[:, 1:]
        for factors, colours, dark in self.evidence.joined:
            padded = np.full(width + 2 * n, dark, dtype=np.int64)
            padded[n : n + width] = colours
            windows = sliding_window_view(padded if step > 0 else padded[::-1], n)
            lit = windows[starts + n if step > 0 else width + n - 1 - starts]  # a copy
            lit += self.rows * factors.shape[1]
            cells += factors.take(lit)
        for item in np.flatnonzero(self.rows == self.world.setup.entries + 1).tolist():
            numbers = starts + step * item
            inside = np.flatnonzero((numbers >= 0) & (numbers < width))
            cells[inside, item] += self.evidence.off_list[numbers[inside]]
        for number, factor, _ in self.evidence.probes:
            items = (number - starts) * step
            inside = np.flatnonzero((items >= 0) & (items < n) & (number < width))
            cells[inside, items[inside]] += factor[self.rows[items[inside]]]
        np.cumsum(cells, axis=1, out=cells)
        return found

    def two_parts(self, a: int, forward: Ints, back: Ints, p: Ints, both: Ints) -> Floats:
        """Sum over p items from a on moved forward, and over those behind them, `both` with them, moved back, against all
        where they are; forward, back: where the shift's row begins in the table."""
        flat, own = self.flat[a:], self.flat[self.index[self.length] * (self.length + 1) + a :]
        found = flat.take(forward + p)
        found -= flat.take(forward)
        found += flat.take(back + both)
        found -= flat.take(back + p)
        found -= own.take(both)
        found += own[0]
        return found

    def cells_of(self, items: Ints, numbers: Ints) -> Floats:
        """Log factors of single items at single numbers; shapes alike."""
        if self.whole:
            return self.part(numbers - items, items, items + 1)
        return self.cells(self.rows[items], numbers)

    def cells(self, rows: Ints, numbers: Ints) -> Floats:
        """The same of rows of the factors: entries, then a silent and a new pixel."""
        found = np.where(rows == self.world.setup.entries + 1, self.evidence.off_list[numbers], 0.0)
        for factors, colours, _ in self.evidence.joined:
            found += factors[rows, colours[numbers]]
        for number, factor, _ in self.evidence.probes:
            found += np.where(numbers == number, factor[rows], 0.0)
        return found

    def uniform(self, a: Ints, b: Ints) -> Bools:
        """Whether items a..b-1 are all seen alike, such as new pixels without a name: their order changes nothing."""
        return np.asarray(self._stretch[a] == self._stretch[b - 1])

    def part(self, shift: Ints | int, a: Ints, b: Ints) -> Floats:
        """Sum over items a..b-1 moved by a shift; far below zero for a shift that has no table."""
        row = np.asarray(shift) + self.length
        if self.whole:
            row = np.minimum(row, len(self.shifts) - 1) * (self.length + 1)
            return np.asarray(self.flat[row + b] - self.flat[row + a])
        at = self.index[np.clip(row, 0, len(self.index) - 1)]
        row = at * (self.length + 1)
        return np.where(at >= 0, self.flat[row + b] - self.flat[row + a], -1e3)

    def mirrored(self, a: Ints, b: Ints) -> Floats:
        """Sum over items a..b-1 in reverse order at the same numbers."""
        turn = a + b - 1
        turns = np.flatnonzero(np.bincount(turn))
        where = np.zeros(2 * self.length, dtype=np.int64)
        where[turns] = np.arange(len(turns)) * (self.length + 1)
        flat, row = self._sums(turns, -1).ravel(), where[turn]
        return np.asarray(flat.take(row + b) - flat.take(row + a))
