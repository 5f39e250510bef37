"""Flashing light can harm some people: at most 3 flashes in any second.

A flash is a pair of opposing changes (WCAG 2.x, success criterion 2.3.1: no more than three in any one second). This
module is stricter: every change of anything in the picture counts as half a flash, whatever its size and colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

MOST_FLASHES = 3
WINDOW_MS = 1_000
MOST_CHANGES = 2 * MOST_FLASHES
SHORTEST_STEP_MS = math.ceil(WINDOW_MS / MOST_CHANGES)
"""Pictures that follow each other no faster than this stay within the limit: 167 ms."""


def most_changes(changes_ms: Iterable[int]) -> int:
    """The most changes within any 1,000 ms (a sliding window, its end left out)."""
    times = sorted(changes_ms)
    most = first = 0
    for last, time in enumerate(times):
        while times[first] <= time - WINDOW_MS:
            first += 1
        most = max(most, last - first + 1)
    return most


def flashes_per_second(changes_ms: Iterable[int]) -> float:
    """The most flashes within any second: half the changes."""
    return most_changes(changes_ms) / 2


@dataclass(frozen=True)
class FlashLimiter:
    """Holds back pictures that would flash too fast. `recent_ms`: times of the changes of the last second."""

    recent_ms: tuple[int, ...] = ()

    def wait_ms(self, now_ms: int) -> int:
        """How long the next change has to wait at `now_ms`; 0 when it may be shown."""
        recent = self._within(now_ms)
        return 0 if len(recent) < MOST_CHANGES else recent[-MOST_CHANGES] + WINDOW_MS - now_ms

    def changed(self, now_ms: int) -> FlashLimiter:
        """The limiter after a change was shown. Raises ValueError if it should have waited or time runs backwards."""
        if self.recent_ms and now_ms < self.recent_ms[-1]:
            raise ValueError(f"time runs backwards: {now_ms} ms after {self.recent_ms[-1]} ms")
        if wait := self.wait_ms(now_ms):
            raise ValueError(f"too many flashes: wait another {wait} ms")
        return FlashLimiter((*self._within(now_ms), now_ms))

    def _within(self, now_ms: int) -> tuple[int, ...]:
        return tuple(time for time in self.recent_ms if time > now_ms - WINDOW_MS)
