"""How much a test tries at every turn, and how much in `.ci/run`."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import settings

FULL = 100
LEAST = 8


def examples(full: int) -> int:
    """For `settings(max_examples=examples(N))`: N in the profile `full`, its share in another, but at least `LEAST`."""
    return max(min(full, LEAST), full * settings().max_examples // FULL)


def first_now(values: Iterable[object], *, now: int = 1) -> list[object]:
    """Values for `parametrize`: the first `now` of them at every turn, the others with what is slow."""
    return [value if at < now else pytest.param(value, marks=pytest.mark.slow) for at, value in enumerate(values)]
