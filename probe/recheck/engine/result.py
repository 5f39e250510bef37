"""What a recheck found, number by number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    END,
    FURTHER,
    SILENT,
    AllAsShown,
    AreaDiffers,
    Differs,
    ExtraLight,
    Floats,
    Ints,
    Look,
    NotSure,
    Observation,
    Probe,
)
from probe.recheck.engine.world import World, log_likelihood


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
    gives no light any more.  further: for a new pixel the entry at whose place it is seen as well.  silent: a new pixel
    whose light is not seen.  confidence: chance that this number is right.  verified: an answer since the best map last
    changed confirmed this number itself: a probe, or a look in which its place was passed as being as shown.
    """

    number: int
    kind: FoundKind
    old: int | None
    declared: bool
    dark: bool
    confidence: float
    verified: bool
    further: int | None = None
    silent: bool = False


@dataclass(frozen=True, kw_only=True)
class Result:
    """The whole map: numbers in order, entries that are no longer in the chain, chance that what can be seen is right.

    proved: that chance reached what was asked for.  chance_alike: chance of a change that no
    picture shown would show, part of the doubt.  alike: how many other maps no answer can tell from this one.
    stops_at: the data stop at this number, so that the entries behind it are there but dark; None when they do not.
    """

    numbers: tuple[Found, ...]
    removed: tuple[int, ...]
    confidence: float
    proved: bool = True
    chance_alike: float = 0.0
    alike: int = 0
    stops_at: int | None = None


def build_result(
    *,
    world: World,
    found: Ints,
    maps: Ints,
    weights: Floats,
    confidence: float,
    observations: tuple[Observation, ...],
    changed_at: int,
    doubted: frozenset[int],
    named: Mapping[int, int],
    proved: bool,
    chance_alike: float,
    alike: tuple[Ints, ...],
    stops_at: int | None,
) -> Result:
    """Put a map of shape (numbers,) and all maps of shape (n, numbers) with weights (n,) into words."""
    setup = world.setup
    agree = weights @ (world.spots(maps) == world.spots(found[None, :]))
    verified = _verified(world, found, observations, changed_at, doubted)
    numbers: list[Found] = []
    for number, value in enumerate(found.tolist()):
        if value == END:
            break
        is_new = value < 0 or value in setup.declared_new
        numbers.append(
            Found(
                number=number,
                kind=FoundKind.NEW if is_new else FoundKind.OLD,
                old=None if is_new else value % setup.entries,
                declared=value in setup.declared_new,
                dark=value >= setup.entries,
                confidence=max(float(agree[number]), confidence),
                verified=number in verified or (number in named and value != SILENT),
                further=FURTHER - value if value <= FURTHER else None,
                silent=value == SILENT,
            )
        )
    present = {one.old for one in numbers}
    known = set(setup.order) | {e for e in range(setup.entries) if not any(e in chain for chain in setup.foreign)}
    removed = tuple(e for e in sorted(known) if e not in present and e not in setup.declared_new)
    return Result(
        numbers=tuple(numbers),
        removed=removed,
        confidence=confidence,
        proved=proved,
        chance_alike=chance_alike,
        alike=len(alike),
        stops_at=stops_at,
    )


def _verified(
    world: World, found: Ints, observations: tuple[Observation, ...], changed_at: int, doubted: frozenset[int]
) -> set[int]:
    """Numbers that an answer confirmed itself; looks count from the last change on, single lights always."""
    at = {int(value): number for number, value in enumerate(found.tolist()) if 0 <= value < world.setup.entries}
    spots = world.spots(found[None, :])[0]
    done: set[int] = set()
    for index, seen in enumerate(observations):
        if index in doubted or isinstance(seen.answer, NotSure):
            continue
        if isinstance(seen.action, Look) and index >= changed_at:
            stop = 0
            if isinstance(seen.answer, AllAsShown | ExtraLight):
                stop = len(seen.action.places)
            elif isinstance(seen.answer, Differs):
                stop = min(seen.action.places.index(one.place) for one in seen.answer.seen)
            elif isinstance(seen.answer, AreaDiffers):
                stop = seen.action.places.index(seen.answer.place)
            for place, colour in zip(seen.action.places[:stop], seen.action.expected[:stop], strict=True):
                number = at.get(place)
                if number is None or colour == UNLIT or number >= len(seen.action.colours):
                    continue
                if seen.action.colours[number] == colour:
                    done.add(number)
        elif isinstance(seen.action, Probe) and seen.action.number < len(spots):
            meant, wrong = log_likelihood(seen, world.maps(found[None, :]))
            if meant[0] > wrong:
                done.add(seen.action.number)
    return done
