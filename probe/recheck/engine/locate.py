"""Which number is at this place?  Halving with four colours.

The person points at one place; each look lights all numbers that are still possible in four colours by quarter, the
person names the colour at that place, and three quarters are gone.  ⌈log4 N⌉ looks are enough and, with every colour
told apart, no fewer can be.  "Not sure" repeats the same split in other colours, "dark" says that no candidate is there.
A last look that finds the one candidate again in a colour of its own choice is the proof, if the caller wants one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from probe.inference.entropy import questions_needed
from probe.recheck.engine.codes import UNLIT

COLOURS = 4


@dataclass(frozen=True, kw_only=True)
class Locate:
    """State of one search.  candidates: numbers that could be at the place.  unsure: "not sure" answers in a row."""

    candidates: tuple[int, ...]
    numbers: int
    looks: int = 0
    unsure: int = 0

    @staticmethod
    def start(numbers: int, *, candidates: Sequence[int] | None = None) -> Locate:
        """All numbers 0..numbers-1, or only the candidates given.  Raises ValueError when there is none."""
        chosen = tuple(range(numbers)) if candidates is None else tuple(dict.fromkeys(candidates))
        if not chosen or min(chosen) < 0 or max(chosen) >= numbers:
            raise ValueError(f"candidates are numbers 0..{numbers - 1}, and there is at least one")
        return Locate(candidates=chosen, numbers=numbers)

    @property
    def found(self) -> int | None:
        """The number, when only one is left."""
        return self.candidates[0] if len(self.candidates) == 1 else None

    @property
    def lost(self) -> bool:
        """No candidate is left: the place is lit by none of them."""
        return not self.candidates

    @property
    def looks_left(self) -> int:
        """Looks still needed when every answer is sure."""
        return questions_needed(candidates=max(1, len(self.candidates)), answers_per_question=COLOURS)

    def _group(self, at: int) -> int:
        """Quarter of the candidate at this index; sizes differ by one at most."""
        return at * COLOURS // len(self.candidates)

    def frame(self) -> tuple[int, ...]:
        """Colours for all numbers: 0..3 by quarter of the candidates, UNLIT for all others."""
        colours = [UNLIT] * self.numbers
        for at, number in enumerate(self.candidates):
            colours[number] = (self._group(at) + self.unsure) % COLOURS
        return tuple(colours)

    def answered(self, colour: int | None) -> Locate:
        """The next state.  colour: 0..3 as seen, UNLIT for dark, None for not sure.

        Raises ValueError for a colour that is not in use.
        """
        if colour is None:
            return replace(self, looks=self.looks + 1, unsure=self.unsure + 1)
        if colour != UNLIT and not 0 <= colour < COLOURS:
            raise ValueError(f"a look has colours 0..{COLOURS - 1} or dark, not {colour}")
        frame = self.frame()
        left = () if colour == UNLIT else tuple(n for n in self.candidates if frame[n] == colour)
        return replace(self, candidates=left, looks=self.looks + 1, unsure=0)
