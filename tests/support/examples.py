"""How much a test tries at every turn, and how much in `.ci/run`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeVar

import pytest
from hypothesis import settings

T = TypeVar("T")
FULL = 100
LEAST = 8


def examples(full: int) -> int:
    """For `settings(max_examples=examples(N))`: N in the profile `full`, its share in another, but at least `LEAST`."""
    return max(min(full, LEAST), full * settings().max_examples // FULL)


def share(values: Sequence[T], *, first: int = 0) -> Sequence[T]:
    """All values in the profile `full`; in another each n-th of them, from number `first` (taken modulo n)."""
    step = max(1, FULL // settings().max_examples)
    return values[min(first % step, max(0, len(values) - 1)) :: step]


def first_now(values: Iterable[object], *, now: int = 1, several: bool = False) -> list[object]:
    """Values for `parametrize`: the first `now` of them at every turn, the others with what is slow.

    `several`: each is the values of several parameters.
    """
    return [
        value if at < now else pytest.param(*(value if several else (value,)), marks=pytest.mark.slow)  # type: ignore[misc]
        for at, value in enumerate(values)
    ]


def in_groups(values: Sequence[T], *, of: int) -> list[Sequence[T]]:
    """Values that are tried together, so many at a time: opening a program for each alone would take most of the time."""
    return [values[at : at + of] for at in range(0, len(values), of)]
