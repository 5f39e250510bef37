"""Finding where: a break between k and k+1 by halving, and the chain's length by an optional return wire."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class BreakSearch:
    """Halving along a chain of `count` pixels, each either good or past the break.

    `good` pixels at the start are known to be good, pixels from `bad` on known to be bad (`bad` = count: not even the
    last is known bad). `skipped`: pixels whose state the person could not tell.
    """

    count: int
    good: int = 0
    bad: int = -1
    skipped: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        if self.count < 1:
            raise ValueError(f"a chain has at least one pixel, not {self.count}")
        if self.bad == -1:
            object.__setattr__(self, "bad", self.count)
        if not 0 <= self.good <= self.bad <= self.count:
            raise ValueError(f"the break cannot lie between {self.good} and {self.bad} in a chain of {self.count}")

    @property
    def most_looks(self) -> int:
        """Looks that are enough from here when every one can be answered: ⌈log2(outcomes left)⌉."""
        return math.ceil(math.log2(self.bad - self.good + 1))

    @property
    def pixel(self) -> int | None:
        """The pixel to look at or measure next, or None when no look would tell more."""
        open_pixels = [number for number in range(self.good, self.bad) if number not in self.skipped]
        if not open_pixels:
            return None
        middle = (self.good + self.bad - 1) / 2
        return min(open_pixels, key=lambda number: (abs(number - middle), number))

    @property
    def found(self) -> tuple[int, int] | None:
        """(k, k+1): the break lies between them (k = -1: before the first). None while searching or without a break."""
        if self.good != self.bad or self.good == self.count:
            return None
        return self.good - 1, self.good

    @property
    def whole(self) -> bool:
        """The search is over and every pixel is good."""
        return self.good == self.count

    @property
    def between(self) -> tuple[int, int]:
        """The last pixel known to be good (-1: none) and the first known to be bad (count: none)."""
        return self.good - 1, self.bad

    def answered(self, good: bool | None) -> BreakSearch:
        """After a look at `pixel`: good, bad or None for "not sure". Raises ValueError when there is nothing to look at."""
        number = self.pixel
        if number is None:
            raise ValueError("the search is over")
        if good is None:
            return replace(self, skipped=self.skipped | {number})
        if good:
            return replace(self, good=number + 1)
        return replace(self, bad=number)


@dataclass(frozen=True)
class ReturnWire:
    """Counts by the return wire: how often counted, how often bits were lost, the length by the fullest count.

    `sent` pixels were clocked out each time; `waiting`: a count is under way.
    """

    sent: int
    asked: int = 0
    drops: int = 0
    length: int | None = None
    waiting: bool = False

    @property
    def nothing_back(self) -> bool:
        """Nothing at all came back so far."""
        return self.length is not None and self.length >= self.sent

    def counted(self, *, least: int, most: int) -> ReturnWire:
        """After a count. Fewer edges than ever (so more pixels) is a drop-out too."""
        length = least if self.length is None else min(self.length, least)
        dropped = least != most or (self.length is not None and most > self.length and not self.nothing_back)
        return replace(self, asked=self.asked + 1, drops=self.drops + dropped, length=length, waiting=False)
