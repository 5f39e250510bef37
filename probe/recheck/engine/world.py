"""What maps show, and what answers say about them: one `answer_of`, one `log_likelihood`.

Maps are rows of an array of shape (maps, numbers), values as in `model`; all functions work on all rows at once.
An answer to an action is one whole number here, so that equal numbers are equal answers.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from probe.recheck.engine.codes import UNLIT, frame_code
from probe.recheck.engine.model import (
    COLOURS,
    END,
    FURTHER,
    NEW,
    PLAIN,
    Action,
    AllAsShown,
    Answer,
    AreaDiffers,
    AskStop,
    AtNewPlace,
    AtPlace,
    Bools,
    Differs,
    ExtraLight,
    Floats,
    Ints,
    Look,
    NewPlaceDiffers,
    NotSure,
    Observation,
    OtherChain,
    Probe,
    Setup,
)

IMPOSSIBLE = -60.0
"""Natural logarithm used for 'cannot be'; a wrong answer is always likelier than this."""
AS_SHOWN, EXTRA = -1, -2
"""Answers to a look: all as shown; a light where no place is known."""
NEW_SPOT, NO_LIGHT = -1, -2
"""Answers to a probe beside the entry whose place it is."""
MOST_OF_AN_AREA = 0.5
"""Where an area is said to differ at least so many of its places do: of those that moved one in four has its old colour."""
TAIL_NUMBERS = 6
"""A look lights this many numbers beyond the predicted end, so that a pixel added there is seen."""
MOST_LISTS = 200
Words = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Listed:
    """A look's list by place: the places (first entries) in order, and the words expected at each, as bits.

    want, rank: shape (entries,): the word of a place, and where in the list it is (not listed: behind its end).
    off: places that are not listed.  colours: of every number, 4 for dark.  lit: numbers that shine without being on the
    list as a named new place.
    """

    places: Ints
    want: Words
    rank: Ints
    off: Ints
    colours: Ints
    lit: Bools


@dataclass(frozen=True)
class World:
    """The constant part: who is seen where, in which words."""

    setup: Setup
    _lists: dict[Look, Listed] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def spot(self) -> Ints:
        """For every entry the answer when it shines alone: its place (the first entry seen there), or none."""
        s = self.setup
        found = np.arange(s.entries)
        for group in s.alike:
            found[list(group)] = group[0]
        found[[not p for p in s.has_place]] = NO_LIGHT
        found[sorted(s.declared_new)] = NEW_SPOT
        return found

    @cached_property
    def placed(self) -> Bools:
        """Which entries have a place."""
        return np.array(self.setup.has_place, dtype=bool)

    @cached_property
    def behind_the_list(self) -> tuple[Ints, Ints]:
        """Entries that a list holds at its end when no number has them: of this chain in order, then those of no chain."""
        order = np.array(self.setup.order)
        taken = {*self.setup.order, *(entry for chain in self.setup.foreign for entry in chain)}
        others = [entry for entry in np.flatnonzero(self.placed).tolist() if entry not in taken]
        return order[self.placed[order]], np.array(others, dtype=np.int64)

    @cached_property
    def seen_bits(self) -> Words:
        """Shape (entries + 1, colours + 1): the word as a bit when an entry is lit in that colour; 0 looks dark, as do
        the last column, unlit, and the last row, no entry."""
        s = self.setup
        bits = np.zeros((s.entries + 1, COLOURS + 1), dtype=np.uint8)
        words = np.array(s.words if s.words else [PLAIN] * s.entries)
        bits[:-1, :COLOURS] = np.where(words == UNLIT, 0, 1 << np.maximum(words, 0))
        bits[:-1][self.spot < 0] = 0
        return bits

    @cached_property
    def _spot_of_value(self) -> Ints:
        """The answer to a single light by value, counted from below the lowest (a further pixel at the last entry)."""
        e = self.setup.entries
        found = np.full(3 * e - FURTHER, NO_LIGHT, dtype=np.int64)
        found[e - FURTHER + NEW] = NEW_SPOT
        found[e - FURTHER : 2 * e - FURTHER] = self.spot
        found[1 : e + 1] = self.spot[::-1]
        return found

    def lit_at(self, answer: Answer) -> int:
        """Where an answer to a single light saw it, as in `spot`.  Raises ValueError for an entry that has no place."""
        if not isinstance(answer, AtPlace):
            return NEW_SPOT if isinstance(answer, AtNewPlace) else NO_LIGHT
        if not 0 <= answer.place < self.setup.entries or self.spot[answer.place] < 0:
            raise ValueError(f"entry {answer.place} has no place that a probe could be seen at")
        return int(self.spot[answer.place])

    def heard(self, lines: Listed, answer: Answer) -> tuple[int, dict[int, int], Ints]:
        """An answer to a look on its list: how far it is as shown but for the places that were named, with their words as
        bits; and the places from there on of an area that differs.  Raises ValueError for a place that is not listed."""
        words: dict[int, int] = {}
        area: Ints = np.zeros(0, dtype=np.int64)

        def on_list(entry: int) -> int:
            place = int(self.spot[entry]) if 0 <= entry < self.setup.entries else NO_LIGHT
            if place < 0 or lines.rank[place] == len(lines.places):
                raise ValueError(f"place {entry} was not on the list of this look")
            return place

        stop = len(lines.places)
        if isinstance(answer, Differs):
            words = {on_list(one.place): word_bits(one.colours) for one in answer.seen}
            stop = max(int(lines.rank[place]) for place in words)
        elif isinstance(answer, OtherChain | AreaDiffers) and answer.place is not None:
            stop = int(lines.rank[on_list(answer.place)])
        if isinstance(answer, AreaDiffers):
            same = next((some for some in self.setup.areas if answer.place in some), (answer.place,))
            area = np.unique(self.spot[list(same)])
            area = area[area >= 0]
            area = area[(lines.rank[area] >= stop) & (lines.rank[area] < len(lines.places))]
        return stop, words, area

    def spots(self, values: Ints) -> Ints:
        """What every number would be seen at when lit alone; shape as values."""
        return np.asarray(self._spot_of_value[values + (self.setup.entries - FURTHER)])

    def key(self, map_: Ints) -> bytes:
        """The class of a map: maps with the same key answer every action alike."""
        return keys(self.spots(map_[None, :]))[0]

    def listed(self, look: Look) -> Listed:
        """The list of a look, one line for each place."""
        if look not in self._lists:
            while len(self._lists) > MOST_LISTS:
                self._lists.pop(next(iter(self._lists)))
            self._lists[look] = self._listed(look)
        return self._lists[look]

    def _listed(self, look: Look) -> Listed:
        entries = np.array(look.places, dtype=np.int64)
        expected, colours = (np.array(some, dtype=np.int64) for some in (look.expected, look.colours))
        expected[expected == UNLIT] = COLOURS
        colours[colours == UNLIT] = COLOURS
        places = np.array(list(dict.fromkeys(self.spot[entries].tolist())), dtype=np.int64)
        want = np.zeros(self.setup.entries, dtype=np.uint8)
        np.bitwise_or.at(want, self.spot[entries], self.seen_bits[entries, expected])
        rank = np.full(self.setup.entries, len(places))
        rank[places] = np.arange(len(places))
        off = (self.spot == np.arange(self.setup.entries)) & (rank == len(places))
        lit = colours != COLOURS
        lit[[n for n in look.named if n < len(lit)]] = False
        return Listed(places, want, rank, np.flatnonzero(off), colours, lit)


@dataclass(frozen=True)
class Maps:
    """Whole maps, one a row, and what of them every question needs; values: shape (maps, numbers)."""

    world: World
    values: Ints

    def __len__(self) -> int:
        return len(self.values)

    @cached_property
    def spots(self) -> Ints:
        """What every number would be seen at when lit alone; shape as values."""
        return self.world.spots(self.values)

    @cached_property
    def _shining(self) -> tuple[Ints, Ints]:
        """By number: the row of an old pixel's words, times columns; where its place is in the flat result."""
        e = self.world.setup.entries
        at = np.where(self.values.view(np.uint64) < e, self.values, e)
        return at * (COLOURS + 1), at + np.arange(len(at))[:, None] * (e + 1)

    @cached_property
    def _further(self) -> tuple[Ints, Ints]:
        rows, columns = np.nonzero(self.values <= FURTHER)
        return rows, columns

    @cached_property
    def _fresh(self) -> tuple[Ints, Ints]:
        rows, columns = np.nonzero(is_new(self.world.setup, self.values))
        return rows, columns

    def shown(self, colours: Ints) -> Words:
        """The words at every place, as bits, when numbers are lit in colours (0..3, 4 for dark); shape (maps, entries),
        a place at the column of its first entry."""
        world = self.world
        e, lit = world.setup.entries, len(colours)
        if lit < self.values.shape[1]:
            colours = np.concatenate([colours, np.full(self.values.shape[1] - lit, COLOURS)])
        row, flat = self._shining
        found = np.zeros((len(self.values), e + 1), dtype=np.uint8)
        found.ravel()[flat] = world.seen_bits.ravel()[row + colours[None, : row.shape[1]]]
        for group in world.setup.alike:
            found[:, group[0]] = np.bitwise_or.reduce(found[:, list(group)], axis=1)
        rows, columns = self._further
        if rows.size:
            entry = FURTHER - self.values[rows, columns]
            np.bitwise_or.at(found, (rows, world.spot[entry]), world.seen_bits[entry, colours[columns]])
        return found[:, :e]

    def extra(self, lines: Listed, shown: Words) -> Ints:
        """How many lights are off the list under every map: new pixels without a name, and places that are not listed."""
        rows, columns = self._fresh
        lit = np.zeros(max(self.values.shape[1], len(lines.lit)), dtype=bool)
        lit[: len(lines.lit)] = lines.lit
        found = np.bincount(rows[lit[columns]], minlength=len(self.values))
        if lines.off.size:
            found = found + np.count_nonzero(shown[:, lines.off], axis=1)
        return np.asarray(found)


def is_new(setup: Setup, values: Ints) -> Bools:
    """Which numbers are new pixels at places of their own, declared ones among them."""
    found = values == NEW
    return np.asarray(found | np.isin(values, sorted(setup.declared_new)) if setup.declared_new else found)


def keys(spots: Ints) -> list[bytes]:
    """The class of every map, from what every number is seen at."""
    lit = spots != NO_LIGHT
    ends = np.where(lit.any(axis=1), spots.shape[1] - lit[:, ::-1].argmax(axis=1), 0)
    return [row[:end].tobytes() for row, end in zip(spots.astype(np.int32), ends.tolist(), strict=True)]


def picture_of(world: World, map_: Ints, *, named: Collection[int], turn: int, seed: int) -> Look:
    """The picture that a map predicts.

    Places are listed in the order of the map, then the missing ones, expected dark: so the first place that differs says
    how far the map is right.  Numbers that are new and not named yet stay dark, so that any light off the list is an
    answer; a few numbers behind the end are lit, so that a pixel added there is seen.  turn: how many pictures came
    before; each has a code of its own.
    """
    entries, numbers, end = world.setup.entries, len(map_), length_of(map_)
    colours = frame_code(length=numbers, turn=turn, seed=seed).astype(np.int64)
    colours[min(numbers, end + TAIL_NUMBERS) :] = UNLIT
    values = map_[:end]
    new = is_new(world.setup, values)
    colours[[n for n in np.flatnonzero(new).tolist() if n not in named]] = UNLIT
    entry = np.where(values <= FURTHER, FURTHER - values, np.where((values >= 0) & ~new, values % entries, -1))
    shown = (entry >= 0) & world.placed[entry]
    here = np.zeros(entries, dtype=bool)
    here[values[values >= 0] % entries] = True
    rest = np.concatenate([some[~here[some]] for some in world.behind_the_list])
    expected = np.where(values >= entries, UNLIT, colours[:end])[shown]
    return Look(
        colours=tuple(colours.tolist()),
        places=(*entry[shown].tolist(), *rest.tolist()),
        expected=(*expected.tolist(), *[UNLIT] * len(rest)),
        named=frozenset(n for n in named if n < end and new[n]),
    )


def word_bits(colours: tuple[int, ...]) -> int:
    """Words as bits."""
    return sum(1 << c for c in set(colours) if c != UNLIT)


def answer_of(action: Action, maps: Maps) -> Ints:
    """What an attentive person would answer under every map, naming the first differing place; shape (maps,)."""
    if isinstance(action, AskStop):
        return np.zeros(len(maps), dtype=np.int64)
    if isinstance(action, Probe):
        return maps.world.spots(maps.values[:, action.number])
    lines = maps.world.listed(action)
    shown = maps.shown(lines.colours)
    rank = np.where(shown != lines.want, lines.rank, len(lines.places))
    first, rows = rank.argmin(axis=1), np.arange(len(maps))
    rank = rank[rows, first]
    rest = np.where(maps.extra(lines, shown) > 0, EXTRA, AS_SHOWN)
    return np.where(rank < len(lines.places), rank * 256 + shown[rows, first], rest)


def log_likelihood(seen: Observation, maps: Maps) -> tuple[Floats, float]:
    """Chance of an answer under every map if it is meant (natural logarithm), shape (maps,), and if it is wrong altogether.

    A look: the person goes through the list.  A place before the last one named is as shown or was overlooked; a named
    one shows what was said.  Places behind it say nothing.  A probe names the place of its number.  Whoever weighs a
    map takes either chance: an answer that fits no better than a wrong one counts as wrong.
    """
    world, action, answer = maps.world, seen.action, seen.answer
    setup, person = world.setup, world.setup.person
    if isinstance(answer, NotSure) or isinstance(action, AskStop):
        return np.zeros(len(maps)), 0.0
    right, wrong = float(np.log1p(-person.answer_wrong)), float(np.log(person.answer_wrong))
    if isinstance(action, Probe):
        truth, said = answer_of(action, maps), world.lit_at(answer)
        found = np.where(truth == said, right, IMPOSSIBLE)
        if said >= 0:
            close = (truth >= 0) & (np.abs(truth - said) <= 2) & (truth != said)
            found[close] = wrong + float(np.log(person.neighbour / 4))
        return found, wrong - float(np.log(2 * max(4, len(setup.order))))
    lines = world.listed(action)
    stop, words, area = world.heard(lines, answer)
    void = wrong - float(np.log(4 * len(lines.places)))
    shown = maps.shown(lines.colours)
    differs = shown != lines.want
    miss, noticed = float(np.log(person.look_miss)), float(np.log1p(-person.look_miss))
    found = np.full(len(maps), right)
    for place, word in words.items():
        found += np.where((shown[:, place] == word) & differs[:, place], noticed, IMPOSSIBLE)
    if isinstance(answer, OtherChain):
        if answer.place is not None:
            found += np.where(differs[:, lines.places[stop]], noticed, IMPOSSIBLE)
        other = [e for e in setup.foreign[answer.chain] if world.spot[e] == e]
        found += np.where((shown[:, other] != 0).any(axis=1), 0.0, IMPOSSIBLE)
    elif isinstance(answer, AreaDiffers):
        most = differs[:, area].mean(axis=1) >= MOST_OF_AN_AREA
        found += np.where(differs[:, lines.places[stop]] & most, noticed, IMPOSSIBLE)
    elif isinstance(answer, NewPlaceDiffers):
        # its place is where its number was seen: so it is dark if naming it was a mistake, or it is this that is one
        at, dark = answer.number, answer.colour == UNLIT
        lightless = dark and at < maps.values.shape[1] and world.spots(maps.values[:, at]) == NO_LIGHT
        found += np.where(lightless, noticed, IMPOSSIBLE)
    elif isinstance(answer, AllAsShown):
        void = wrong + float(np.log(0.5))
        found += miss * maps.extra(lines, shown)
    elif isinstance(answer, ExtraLight):
        found += np.where(maps.extra(lines, shown) > 0, noticed, IMPOSSIBLE)
    before = lines.rank < stop
    before[list(words)] = False
    return found + miss * np.count_nonzero(differs & before, axis=1), void


def length_of(map_: Ints) -> int:
    """How many numbers a map has."""
    return int(np.count_nonzero(map_ != END))
