"""What maps show, and what answers say about them: one `answer_of`, one `log_likelihood`.

Maps are rows of an array of shape (maps, numbers), values as in `model`; all functions work on all rows at once.
An answer to an action is one whole number here, so that equal numbers are equal answers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    COLOURS,
    END,
    FURTHER,
    NEW,
    PLAIN,
    SILENT,
    Action,
    AllAsShown,
    AskStop,
    AtNewPlace,
    AtPlace,
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


@dataclass(frozen=True)
class World:
    """The constant part: who is seen where, in which words."""

    setup: Setup

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
    def seen_bits(self) -> Ints:
        """Shape (entries, colours + 1): the word as a bit when an entry is lit in that colour; 0 looks dark, last column unlit."""
        s = self.setup
        bits = np.zeros((s.entries, COLOURS + 1), dtype=np.int64)
        words = np.array(s.words if s.words else [PLAIN] * s.entries)
        bits[:, :COLOURS] = np.where(words == UNLIT, 0, 1 << np.maximum(words, 0))
        bits[self.spot < 0] = 0
        return bits

    def spots(self, maps: Ints) -> Ints:
        """What every number would be seen at when lit alone; shape as maps."""
        e = self.setup.entries
        found = np.full(maps.shape, NO_LIGHT, dtype=np.int64)
        alive = (maps >= 0) & (maps < e)
        found[alive] = self.spot[maps[alive]]
        found[maps == NEW] = NEW_SPOT
        further = maps <= FURTHER
        found[further] = self.spot[FURTHER - maps[further]]
        return found

    def shown(self, maps: Ints, colours: Ints) -> Ints:
        """The words at every place, as bits, under every map when numbers are lit in colours (0..3, 4 for dark);
        shape (maps, entries), a place at the column of its first entry."""
        e = self.setup.entries
        at = np.where((maps >= 0) & (maps < e), maps, e)
        table = np.vstack([self.seen_bits, np.zeros((1, COLOURS + 1), dtype=np.int64)])
        found = np.zeros((len(maps), e + 1), dtype=np.int64)
        np.put_along_axis(found, at, table[at, colours[None, :]], axis=1)
        found[:, e] = 0
        for group in self.setup.alike:
            found[:, group[0]] = np.bitwise_or.reduce(found[:, list(group)], axis=1)
        rows, columns = np.nonzero(maps <= FURTHER)
        if rows.size:
            entry = FURTHER - maps[rows, columns]
            np.bitwise_or.at(found, (rows, self.spot[entry]), self.seen_bits[entry, colours[columns]])
        return found[:, :e]

    def key(self, map_: Ints) -> bytes:
        """The class of a map: maps with the same key answer every action alike."""
        return self.keys(map_[None, :])[0]

    def keys(self, maps: Ints) -> list[bytes]:
        """The class of every map."""
        spots = self.spots(maps)
        lit = spots != NO_LIGHT
        ends = np.where(lit.any(axis=1), maps.shape[1] - lit[:, ::-1].argmax(axis=1), 0)
        return [row[:end].tobytes() for row, end in zip(spots, ends.tolist(), strict=True)]


def colours_of(look: Look, numbers: int) -> Ints:
    """The colour of every number in a look, 4 for dark."""
    found = np.full(numbers, COLOURS, dtype=np.int64)
    given = np.array(look.colours[:numbers], dtype=np.int64)
    found[: len(given)] = np.where(given == UNLIT, COLOURS, given)
    return found


@dataclass(frozen=True)
class Listed:
    """A look's list by place: the places (first entries) in order, and the words expected at each, as bits."""

    places: Ints
    want: Ints
    position: dict[int, int] = field(compare=False)


def listed(world: World, look: Look) -> Listed:
    """The list of a look, one line for each place."""
    want: dict[int, int] = {}
    for entry, colour in zip(look.places, look.expected, strict=True):
        place = int(world.spot[entry])
        want[place] = want.get(place, 0) | int(world.seen_bits[entry, COLOURS if colour == UNLIT else colour])
    return Listed(
        np.array(list(want), dtype=np.int64),
        np.array(list(want.values()), dtype=np.int64),
        {place: at for at, place in enumerate(want)},
    )


def _bits(colours: tuple[int, ...]) -> int:
    return sum(1 << c for c in set(colours) if c != UNLIT)


def _unlisted(world: World, look: Look, maps: Ints, shown: Ints, places: Ints) -> Ints:
    """How many lights are off the list under every map: new pixels without a name, and places that are not listed."""
    colours = colours_of(look, maps.shape[1])
    lit = colours != COLOURS
    lit[[n for n in look.named if n < len(lit)]] = False
    fresh = (maps == NEW) | np.isin(maps, sorted(world.setup.declared_new))
    off = np.ones(world.setup.entries, dtype=bool)
    off[places] = False
    off &= world.spot == np.arange(world.setup.entries)
    return np.asarray((fresh & lit[None, :]).sum(axis=1) + (shown[:, off] != 0).sum(axis=1))


def answer_of(world: World, action: Action, maps: Ints) -> Ints:
    """What an attentive person would answer under every map, naming the first differing place; shape (maps,)."""
    if isinstance(action, AskStop):
        return np.zeros(len(maps), dtype=np.int64)
    if isinstance(action, Probe):
        return world.spots(maps[:, action.number : action.number + 1])[:, 0]
    lines = listed(world, action)
    shown = world.shown(maps, colours_of(action, maps.shape[1]))
    here = shown[:, lines.places]
    differs = here != lines.want[None, :]
    first = differs.argmax(axis=1)
    rows = np.arange(len(maps))
    extra = _unlisted(world, action, maps, shown, lines.places) > 0
    code = first * 256 + here[rows, first]
    return np.where(differs[rows, first], code, np.where(extra, EXTRA, AS_SHOWN))


def log_likelihood(world: World, seen: Observation, maps: Ints) -> tuple[Floats, float]:
    """Chance of an answer under every map if it is meant (natural logarithm), shape (maps,), and if it is wrong altogether.

    A look: the person goes through the list.  A place before the last one named is as shown or was overlooked; a named
    one shows what was said.  Places behind it say nothing.  A probe names the place of its number.  Whoever weighs a
    map takes either chance: an answer that fits no better than a wrong one counts as wrong.
    """
    s, action, answer = world.setup, seen.action, seen.answer
    person = s.person
    if isinstance(answer, NotSure) or isinstance(action, AskStop):
        return np.zeros(len(maps)), 0.0
    right, wrong = float(np.log1p(-person.answer_wrong)), float(np.log(person.answer_wrong))
    if isinstance(action, Probe):
        truth = answer_of(world, action, maps)
        places = max(4, len(s.order))
        void = wrong - float(np.log(2 * places))
        said = NO_LIGHT
        if isinstance(answer, AtNewPlace):
            said = NEW_SPOT
        elif isinstance(answer, AtPlace):
            if not 0 <= answer.place < s.entries or world.spot[answer.place] < 0:
                raise ValueError(f"entry {answer.place} has no place that a probe could be seen at")
            said = int(world.spot[answer.place])
        found = np.where(truth == said, right, IMPOSSIBLE)
        if said >= 0:
            close = (truth >= 0) & (np.abs(truth - said) <= 2) & (truth != said)
            found[close] = wrong + float(np.log(person.neighbour / 4))
        return found, void
    lines = listed(world, action)
    void = wrong - float(np.log(4 * len(lines.places)))
    if isinstance(answer, NewPlaceDiffers):
        return np.full(len(maps), IMPOSSIBLE), void  # the place is defined by its number: only a mistake says so
    shown = world.shown(maps, colours_of(action, maps.shape[1]))
    differs = shown[:, lines.places] != lines.want[None, :]
    miss, noticed = float(np.log(person.look_miss)), float(np.log1p(-person.look_miss))
    stop = len(lines.places)
    found = np.full(len(maps), right)
    named: list[int] = []
    if isinstance(answer, Differs):
        for one in answer.seen:
            place = int(world.spot[one.place]) if 0 <= one.place < s.entries else UNLIT
            if place not in lines.position:
                raise ValueError(f"place {one.place} was not on the list of this look")
            at = lines.position[place]
            named.append(at)
            fits = (shown[:, place] == _bits(one.colours)) & differs[:, at]
            found += np.where(fits, noticed, IMPOSSIBLE)
        stop = max(named)
    elif isinstance(answer, OtherChain):
        if answer.place is not None:
            stop = lines.position[int(world.spot[answer.place])]
            found += np.where(differs[:, stop], noticed, IMPOSSIBLE)
        other = [e for e in s.foreign[answer.chain] if world.spot[e] == e]
        found += np.where((shown[:, other] != 0).any(axis=1), 0.0, IMPOSSIBLE)
    elif isinstance(answer, ExtraLight | AllAsShown):
        extra = _unlisted(world, action, maps, shown, lines.places)
        if isinstance(answer, AllAsShown):
            void = wrong + float(np.log(0.5))
            found += miss * extra
        else:
            found += np.where(extra > 0, noticed, IMPOSSIBLE)
    before = differs[:, :stop].copy()
    before[:, [n for n in named if n < stop]] = False
    return found + miss * before.sum(axis=1), void


def length_of(map_: Ints) -> int:
    """How many numbers a map has."""
    return int(np.count_nonzero(map_ != END))


__all__ = [
    "AS_SHOWN", "EXTRA", "IMPOSSIBLE", "NEW_SPOT", "NO_LIGHT", "SILENT", "Listed", "World", "answer_of",
    "colours_of", "length_of", "listed", "log_likelihood",
]  # fmt: skip
