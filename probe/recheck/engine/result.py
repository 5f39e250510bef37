"""What a recheck found, number by number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    END,
    NEW,
    AllAsShown,
    AtNewPlace,
    AtPlace,
    Bools,
    Differs,
    ExtraLight,
    Floats,
    Ints,
    Look,
    NothingLit,
    Observation,
    Setup,
)


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """An answer (by index of the observation) and the chance that it is wrong."""

    index: int
    chance: float


class FoundKind(Enum):
    """What a new number turned out to be."""

    OLD = "old"
    NEW = "new"


@dataclass(frozen=True, kw_only=True)
class Found:
    """One new number.

    old: the entry it used to be, None for a new pixel.  declared: it is a pixel that was declared as new.  dark: it
    gives no light any more.  confidence: chance that this number is right.  verified: an answer since the change
    confirmed this number itself: a probe, or a look in which its place was passed as being as shown.
    """

    number: int
    kind: FoundKind
    old: int | None
    declared: bool
    dark: bool
    confidence: float
    verified: bool


@dataclass(frozen=True, kw_only=True)
class Result:
    """The whole map: numbers in order, entries that are no longer in the chain, chance that all of it is right."""

    numbers: tuple[Found, ...]
    removed: tuple[int, ...]
    confidence: float


def build_result(
    *,
    setup: Setup,
    found: Ints,
    declared: Bools,
    maps: Ints,
    weights: Floats,
    dark: Floats,
    confidence: float,
    observations: tuple[Observation, ...],
    doubted: frozenset[int],
    named: Mapping[int, int],
) -> Result:
    """Put a map of shape (numbers,), which of its new pixels were declared, and draws of shape (n, numbers) with weights (n,) into words."""
    agree = weights @ (maps == found[None, :])
    verified = _verified(setup, found, observations, doubted)
    numbers: list[Found] = []
    for number, entry in enumerate(found.tolist()):
        if entry == END:
            break
        is_new = entry == NEW
        numbers.append(
            Found(
                number=number,
                kind=FoundKind.NEW if is_new else FoundKind.OLD,
                old=None if is_new else entry,
                declared=bool(declared[number]),
                dark=bool(dark[number] > 0.5),
                confidence=max(float(agree[number]), confidence),
                verified=number in verified or number in named,
            )
        )
    present = set(found[found >= 0].tolist())
    removed = tuple(e for e in range(setup.entries) if e not in present and e not in setup.declared_new)
    return Result(numbers=tuple(numbers), removed=removed, confidence=confidence)


def _verified(setup: Setup, found: Ints, observations: tuple[Observation, ...], doubted: frozenset[int]) -> set[int]:
    at = {int(entry): number for number, entry in enumerate(found.tolist()) if entry >= 0}
    done: set[int] = set()
    for index, seen in enumerate(observations):
        if index in doubted:
            continue
        if isinstance(seen.action, Look):
            stop = 0
            if isinstance(seen.answer, AllAsShown | ExtraLight):
                stop = len(seen.action.places)
            elif isinstance(seen.answer, Differs):
                stop = seen.action.places.index(seen.answer.place)
            for place, colour in zip(seen.action.places[:stop], seen.action.expected[:stop], strict=True):
                number = at.get(place)
                if number is None or colour == UNLIT or number >= len(seen.action.colours):
                    continue
                if seen.action.colours[number] == colour:
                    done.add(number)
            continue
        number, entry = seen.action.number, int(found[seen.action.number])
        if isinstance(seen.answer, AtPlace):
            right = entry in setup.like(seen.answer.place)
        elif isinstance(seen.answer, AtNewPlace):
            right = entry == NEW
        elif isinstance(seen.answer, NothingLit):
            right = entry >= 0 and not setup.has_place[entry]
        else:
            right = False
        if right:
            done.add(number)
    return done
