"""Chains that get rewired in every way the recheck knows, and people who look at them, for tests and the benchmark.

Nothing here knows the inference: pixels are physical lights with a location each, a picture is rendered on the real
wiring, and the person answers from what shines, with mistakes.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from probe.recheck.engine import model
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    FURTHER,
    NEW,
    PLAIN,
    SILENT,
    Action,
    AllAsShown,
    Answer,
    AreaDiffers,
    AskStop,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    OtherChain,
    PlaceSeen,
    Setup,
    Stops,
    TakenOut,
)

TINTS = {
    "red": (0, 0, UNLIT, 0),
    "amber": (0, 1, UNLIT, 1),
    "green": (UNLIT, 1, UNLIT, 3),
    "blue": (UNLIT, UNLIT, 2, 2),
}
"""What red, yellow, blue and white look like behind plastics of these colours, roughly: word of each, or dark."""


@dataclass(frozen=True)
class Pixel:
    """One pixel.  old: its old number; at: the location of its light, None when none is seen."""

    old: int | None
    at: int | None


@dataclass
class Chain:
    """Real wiring.  Old locations are 0..old_count-1, those of the other chain follow, later ones are new."""

    old_count: int
    other_count: int = 0
    hidden: frozenset[int] = frozenset()
    pixels: list[Pixel] = field(default_factory=list)
    edits: list[str] = field(default_factory=list)
    stops: int | None = None
    words: tuple[tuple[int, ...], ...] = ()

    def __post_init__(self) -> None:
        if not self.pixels:
            self.pixels = [Pixel(n, None if n in self.hidden else n) for n in range(self.old_count)]
        self._next = self.known

    @property
    def known(self) -> int:
        """Count of locations that have a name before anything was changed."""
        return self.old_count + self.other_count

    def fresh(self, count: int) -> list[Pixel]:
        """New pixels at new places."""
        self._next += count
        return [Pixel(None, at) for at in range(self._next - count, self._next)]

    def truth(self) -> list[int]:
        """The whole map, in the engine's values."""
        return [self._value(one) for one in self.pixels]

    def _value(self, one: Pixel) -> int:
        if one.old is not None:
            return one.old if one.at is not None or one.old in self.hidden else one.old + self.known
        if one.at is None:
            return SILENT
        return NEW if one.at >= self.known else FURTHER - one.at

    def visible(self) -> list[int | None]:
        """Where every number is seen when lit alone; the new places count as one; trailing unseen ones cut."""
        found = [None if one.at is None else min(one.at, self.known) for one in self.pixels[: self.stops]]
        while found and found[-1] is None:
            found.pop()
        return found

    def areas(self) -> tuple[tuple[int, ...], ...]:
        """Areas of twelve places each, in the order of the chain."""
        return tuple(tuple(range(n, min(n + 12, self.old_count))) for n in range(0, self.old_count, 12))

    def setup(self) -> Setup:
        """What the recheck is told."""
        words = self.words
        return Setup(
            order=tuple(range(self.old_count)),
            has_place=tuple(n not in self.hidden for n in range(self.known)),
            words=words,
            foreign=(tuple(range(self.old_count, self.known)),) if self.other_count else (),
            areas=self.areas(),
        )


def unchanged(
    old_count: int,
    *,
    dark: Sequence[int] = (),
    words: Sequence[tuple[int, ...]] = (),
    most_numbers: int | None = None,
    person: model.Person | None = None,
) -> Setup:
    """Nothing stated: the chain is predicted to be as it was.  dark: old numbers that have no place."""
    return Setup(
        order=tuple(range(old_count)),
        has_place=tuple(i not in dark for i in range(old_count)),
        words=tuple(words),
        most_numbers=most_numbers,
        person=person or model.Person(),
    )


def declared(old_count: int, expected: Sequence[int]) -> Setup:
    """Changes were stated.  expected: for every new number the old number, or NEW for a declared new pixel."""
    fresh = itertools.count(old_count)
    order = tuple(next(fresh) if value == NEW else value for value in expected)
    news = next(fresh) - old_count
    return Setup(
        order=order,
        has_place=(True,) * old_count + (False,) * news,
        declared_new=frozenset(range(old_count, old_count + news)),
        prior=model.Prior.after_declaration(),
    )


def _run(rng: np.random.Generator, n: int, longest: int) -> tuple[int, int]:
    size = int(rng.integers(1, min(longest, n) + 1))
    start = int(rng.integers(n - size + 1))
    return start, size


def insert(chain: Chain, rng: np.random.Generator, size: int | None = None) -> None:
    """A run spliced in."""
    size = size or int(rng.integers(1, 4))
    at = int(rng.integers(len(chain.pixels) + 1))
    chain.pixels[at:at] = chain.fresh(size)
    chain.edits.append(f"insert {size} at {at}")


def remove(chain: Chain, rng: np.random.Generator) -> None:
    """One pixel taken out."""
    at = int(rng.integers(len(chain.pixels)))
    chain.edits.append(f"remove {at}")
    del chain.pixels[at]


def swap(chain: Chain, rng: np.random.Generator) -> None:
    """Two pixels exchanged, near ones more often."""
    n = len(chain.pixels)
    distance = min(n - 1, int(math.exp(rng.random() * math.log(n))))
    at = int(rng.integers(n - distance))
    p = chain.pixels
    p[at], p[at + distance] = p[at + distance], p[at]
    chain.edits.append(f"swap {at} {at + distance}")


def replaced(chain: Chain, rng: np.random.Generator) -> None:
    """One pixel out, another in at the same number, at another place."""
    at = int(rng.integers(len(chain.pixels)))
    chain.pixels[at : at + 1] = chain.fresh(1)
    chain.edits.append(f"replace {at}")


def reverse(chain: Chain, rng: np.random.Generator) -> None:
    """A short run reversed."""
    at, size = _run(rng, len(chain.pixels) - 1, 20)
    size = max(2, size)
    chain.pixels[at : at + size] = chain.pixels[at : at + size][::-1]
    chain.edits.append(f"reverse {at} {size}")


def reverse_half(chain: Chain, rng: np.random.Generator) -> None:
    """Half of the chain reversed: the second, the first, or one in the middle."""
    n = len(chain.pixels)
    at = int(rng.integers(n - n // 2 + 1))
    chain.pixels[at : at + n // 2] = chain.pixels[at : at + n // 2][::-1]
    chain.edits.append(f"reverse half {at}")


def move(chain: Chain, rng: np.random.Generator) -> None:
    """A run moved."""
    at, size = _run(rng, len(chain.pixels), 20)
    run = chain.pixels[at : at + size]
    del chain.pixels[at : at + size]
    to = int(rng.integers(len(chain.pixels) + 1))
    chain.pixels[to:to] = run
    chain.edits.append(f"move {at} {size} to {to}")


def exchange(chain: Chain, rng: np.random.Generator) -> None:
    """Two runs exchanged, as when two plugs are swapped: of any lengths from 2 to 20."""
    n = len(chain.pixels)
    while True:
        p, q = (int(rng.integers(2, min(20, n // 3) + 1)) for _ in range(2))
        a, c = sorted(int(x) for x in rng.integers(0, n, 2))
        if a + p <= c and c + q <= n:
            break
    x = chain.pixels
    chain.pixels = [*x[:a], *x[c : c + q], *x[a + p : c], *x[a : a + p], *x[c + q :]]
    chain.edits.append(f"exchange {a}+{p} {c}+{q}")


def dead(chain: Chain, rng: np.random.Generator) -> None:
    """One pixel gives no light and passes the data on."""
    at = int(rng.choice([n for n, one in enumerate(chain.pixels) if one.at is not None and one.old is not None]))
    chain.pixels[at] = replace(chain.pixels[at], at=None)
    chain.edits.append(f"dead {at}")


def stop(chain: Chain, rng: np.random.Generator) -> None:
    """The data stop."""
    chain.stops = int(rng.integers(1, len(chain.pixels)))
    chain.edits.append(f"stop {chain.stops}")


def further(chain: Chain, rng: np.random.Generator) -> None:
    """One or two further pixels in a cap that has one, spliced in behind or before it."""
    at = int(rng.integers(chain.old_count))
    where = next(n for n, one in enumerate(chain.pixels) if one.old == at)
    count = int(rng.integers(1, 3))
    where += int(rng.integers(2))
    chain.pixels[where:where] = [Pixel(None, at)] * count
    chain.edits.append(f"further {count} at {at}")


def repeater(chain: Chain, rng: np.random.Generator) -> None:
    """A pixel without a visible light spliced in anywhere, or beside a hidden one, or a hidden one taken out."""
    hidden = [n for n, one in enumerate(chain.pixels) if one.old in chain.hidden]
    kind = int(rng.integers(3)) if hidden else 0
    if kind == 2:
        at = int(rng.choice(hidden))
        del chain.pixels[at]
        chain.edits.append(f"hidden {at} out")
        return
    at = int(rng.integers(len(chain.pixels))) if kind == 0 else int(rng.choice(hidden))
    chain.pixels.insert(at, Pixel(None, None))
    chain.edits.append(f"silent at {at}")


def other_end(chain: Chain, rng: np.random.Generator) -> None:
    """The ends of two chains exchanged, or the whole outputs."""
    at, to = (
        (0, 0) if rng.random() < 0.3 else (int(rng.integers(1, chain.old_count)), int(rng.integers(chain.other_count)))
    )
    tail = [Pixel(n, n) for n in range(chain.old_count + to, chain.known)]
    chain.pixels = [*chain.pixels[:at], *tail]
    chain.edits.append(f"other from {at}, its {to}")


EDITS: dict[str, Callable[..., None]] = {
    "insert": insert,
    "remove": remove,
    "swap": swap,
    "replaced": replaced,
    "reverse": reverse,
    "half": reverse_half,
    "move": move,
    "exchange": exchange,
    "dead": dead,
    "stop": stop,
    "further": further,
    "repeater": repeater,
    "other": other_end,
}


def rewired(chain: Chain, kinds: Sequence[str], rng: np.random.Generator) -> Chain:
    """The chain with these edits, one after the other."""
    for kind in kinds:
        EDITS[kind](chain, rng)
    return chain


@dataclass
class Person:
    """Answers from what shines.

    wrong: an answer is wrong altogether; of those to a single light half name a neighbour.  miss: a single difference,
    or a light off the list, is overlooked.  unsure: says so.  tires: so much more of each after every answer, as a share.
    named: so many differing places are named at most.  by_area: where most of an area differs, that is said instead.
    """

    chain: Chain
    rng: np.random.Generator
    wrong: float = 0.005
    miss: float = 0.05
    unsure: float = 0.0
    tires: float = 0.0
    named: int = 1
    by_area: bool = False
    answers: int = 0

    def answer(self, action: Action) -> Answer:
        """What the person says."""
        tired = 1.0 + self.tires * self.answers
        self.answers += 1
        if self.rng.random() < self.unsure * tired:
            return NotSure()
        if isinstance(action, AskStop):
            return Stops() if self.chain.stops is not None else TakenOut()
        wrong = self.rng.random() < self.wrong * tired
        if isinstance(action, Look):
            true = self._look(action, self.miss * tired)
            return self._wrong_look(action, true) if wrong else true
        at = self.shining(action.number)
        answer: Answer = NothingLit() if at is None else AtPlace(at) if at < self.chain.known else AtNewPlace()
        return self._wrong_probe(answer) if wrong else answer

    def shining(self, number: int) -> int | None:
        """The location of a number's light."""
        stops = self.chain.stops
        if number >= len(self.chain.pixels) or (stops is not None and number >= stops):
            return None
        return self.chain.pixels[number].at

    def _wrong_probe(self, answer: Answer) -> Answer:
        if isinstance(answer, AtPlace) and self.rng.random() < 0.5:
            near = [answer.place + d for d in (-2, -1, 1, 2) if 0 <= answer.place + d < self.chain.old_count]
            near = [n for n in near if n not in self.chain.hidden]
            if near:
                return AtPlace(int(self.rng.choice(near)))
        places = [n for n in range(self.chain.old_count) if n not in self.chain.hidden]
        options: list[Answer] = [AtNewPlace(), NothingLit(), *(AtPlace(int(self.rng.choice(places))) for _ in range(8))]
        options = [o for o in options if o != answer]
        return options[int(self.rng.integers(len(options)))]

    def _words(self, place: int, colours: set[int]) -> tuple[int, ...]:
        words = self.chain.words[place] if self.chain.words and place < len(self.chain.words) else PLAIN
        return tuple(sorted({words[c] for c in colours} - {UNLIT}))

    def _look(self, look: Look, miss: float) -> Answer:
        shines: dict[int, set[int]] = {}
        for number, colour in enumerate(look.colours):
            at = self.shining(number)
            if at is not None and colour != UNLIT:
                shines.setdefault(at, set()).add(colour)
        want: dict[int, set[int]] = {}
        for place, colour in zip(look.places, look.expected, strict=True):
            want.setdefault(place, set()).update(() if colour == UNLIT else (colour,))
        seen: list[PlaceSeen] = []
        other = any(self.chain.old_count <= at < self.chain.known and at not in want for at in shines)
        for place, expected in want.items():
            words = self._words(place, shines.get(place, set()))
            if words != self._words(place, expected) and self.rng.random() >= miss:
                seen.append(PlaceSeen(place, words))
                if other and not words and place < self.chain.old_count:
                    return OtherChain(0, place)
                if self.by_area and self._most_differ(place, want, shines):
                    return AreaDiffers(place)
                if len(seen) == self.named:
                    break
        if seen:
            return Differs(tuple(seen))
        if other:
            return OtherChain(0)
        for number in sorted(look.named):
            if self.shining(number) is None:
                return NewPlaceDiffers(number, UNLIT)
        named = {self.shining(n) for n in look.named}
        for at in shines:
            if at >= self.chain.known and at not in named and self.rng.random() >= miss:
                return ExtraLight()
        return AllAsShown()

    def _most_differ(self, first: int, want: dict[int, set[int]], shines: dict[int, set[int]]) -> bool:
        """Whether most places of the area of this one differ, from there on in the order of the list."""
        area = next((some for some in self.chain.areas() if first in some), ())
        listed = list(want)
        here = [place for place in listed[listed.index(first) :] if place in area]
        differ = [self._words(p, shines.get(p, set())) != self._words(p, want[p]) for p in here]
        return len(here) > 2 and 2 * sum(differ) > len(here)

    def _wrong_look(self, look: Look, true: Answer) -> Answer:
        if not isinstance(true, AllAsShown) and self.rng.random() < 0.5:
            return AllAsShown()
        while True:
            at = int(self.rng.integers(len(look.places)))
            colour = int(self.rng.integers(-1, 4))
            answer = Differs.at(look.places[at], colour)
            if answer != true and colour != look.expected[at]:
                return answer
