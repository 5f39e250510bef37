"""A chain that gets rewired and a person who looks at it, for tests and the benchmark.

Nothing here knows the inference: pixels are physical lights with a location each, a frame is rendered on the real
wiring, and the person answers from what shines, with mistakes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    NEW,
    Action,
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
)

SITE_RATES = {"insert": 2.0, "remove": 1.0, "swap": 0.05, "reverse": 0.05, "move": 0.05}
LONGEST_RUN = 20


@dataclass
class Chain:
    """Real wiring: the location of each number's light.  Old locations are 0..old_count-1, later ones are new."""

    old_count: int
    wiring: list[int] = field(default_factory=list)
    edits: list[str] = field(default_factory=list)
    bits: float = 0.0
    """Information in the edits, about: kinds and places."""

    def __post_init__(self) -> None:
        if not self.wiring:
            self.wiring = list(range(self.old_count))
        self._next = self.old_count

    def truth(self) -> list[int]:
        """For each number its old number, or NEW."""
        return [w if w < self.old_count else NEW for w in self.wiring]

    def edit(self, kind: str, rng: np.random.Generator) -> None:
        """One edit of this kind at a random site."""
        w = self.wiring
        n = len(w)
        if kind == "insert":
            size, at = int(rng.integers(1, 4)), int(rng.integers(n + 1))
            w[at:at] = range(self._next, self._next + size)
            self._next += size
            self.edits.append(f"insert {size} at {at}")
            self.bits += math.log2((n + 1) * 3)
        elif kind == "remove":
            at = int(rng.integers(n))
            del w[at]
            self.edits.append(f"remove {at}")
            self.bits += math.log2(n)
        elif kind == "swap":
            distance = min(n - 1, int(math.exp(rng.random() * math.log(n))))
            at = int(rng.integers(n - distance))
            w[at], w[at + distance] = w[at + distance], w[at]
            self.edits.append(f"swap {at} {at + distance}")
            self.bits += math.log2(n * n / 2)
        else:
            size = int(rng.integers(2, min(LONGEST_RUN, n // 2) + 1))
            at = int(rng.integers(n - size + 1))
            run = w[at : at + size]
            if kind == "reverse":
                w[at : at + size] = run[::-1]
                self.bits += math.log2(n * LONGEST_RUN)
            else:
                del w[at : at + size]
                targets = [t for t in range(len(w) + 1) if t != at]
                target = int(rng.choice(targets))
                w[target:target] = run
                self.bits += math.log2(n * n * LONGEST_RUN)
                self.edits.append(f"to {target}")
            self.edits.append(f"{kind} {size} from {at}")


def draw_kinds(rng: np.random.Generator, *, sites: int | None) -> list[str]:
    """Kinds of edits from the rates; conditioned on the count of sites when it is given."""
    while True:
        kinds: list[str] = []
        for kind, rate in SITE_RATES.items():
            count = int(rng.poisson(rate)) if kind in ("insert", "remove") else int(rng.random() < rate)
            kinds += [kind] * count
        if sites is None or len(kinds) == sites:
            rng.shuffle(kinds)
            return kinds


def rewired(old_count: int, kinds: list[str], rng: np.random.Generator) -> Chain:
    """A chain with these edits, one after the other."""
    chain = Chain(old_count)
    for kind in kinds:
        chain.edit(kind, rng)
    return chain


@dataclass
class Person:
    """Answers from what shines.  Mistakes: an answer wrong altogether; a wrong place or an extra light overlooked."""

    chain: Chain
    rng: np.random.Generator
    wrong: float = 0.005
    miss: float = 0.05
    names: dict[int, int] = field(default_factory=dict)
    """New places by the number that was lit when they were named: the location."""

    def answer(self, action: Action) -> Answer:
        """What the person says."""
        if isinstance(action, Look):
            true = self._look(action)
            return self._wrong_look(action, true) if self.rng.random() < self.wrong else true
        wiring = self.chain.wiring
        location = wiring[action.number] if action.number < len(wiring) else None
        answer: Answer
        if location is None:
            answer = NothingLit()
        elif location < self.chain.old_count:
            answer = AtPlace(location)
        else:
            answer = AtNewPlace()
        if self.rng.random() < self.wrong:
            options: list[Answer] = [AtNewPlace(), NothingLit()]
            options += [AtPlace(int(self.rng.integers(self.chain.old_count))) for _ in range(8)]
            options = [o for o in options if o != answer]
            answer = options[int(self.rng.integers(len(options)))]
        if isinstance(answer, AtNewPlace) and location is not None:
            self.names[action.number] = location
        return answer

    def _look(self, look: Look) -> Answer:
        shines = {
            location: look.colours[number]
            for number, location in enumerate(self.chain.wiring)
            if number < len(look.colours) and look.colours[number] != UNLIT
        }
        for place, expected in zip(look.places, look.expected, strict=True):
            colour = shines.get(place, UNLIT)
            if colour != expected and self.rng.random() >= self.miss:
                return Differs(place, colour)
        for number in sorted(look.named):
            location = self.names[number]
            if shines.get(location, UNLIT) != look.colours[number] and self.rng.random() >= self.miss:
                return NewPlaceDiffers(number, shines.get(location, UNLIT))
        known = {self.names[n] for n in look.named} | set(range(self.chain.old_count))
        for location in shines:
            if location not in known and self.rng.random() >= self.miss:
                return ExtraLight()
        return AllAsShown()

    def _wrong_look(self, look: Look, true: Answer) -> Answer:
        if not isinstance(true, AllAsShown) and self.rng.random() < 0.5:
            return AllAsShown()
        while True:
            at = int(self.rng.integers(len(look.places)))
            colour = int(self.rng.integers(-1, 4))
            answer = Differs(look.places[at], colour)
            if answer != true and colour != look.expected[at]:
                return answer
