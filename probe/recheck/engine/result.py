"""What a recheck found, number by number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    FURTHER,
    SILENT,
    AllAsShown,
    AreaDiffers,
    Differs,
    ExtraLight,
    Look,
    NotSure,
    Probe,
)
from probe.recheck.engine.world import length_of

if TYPE_CHECKING:
    from probe.recheck.engine.engine import Recheck


@dataclass(frozen=True, kw_only=True)
class Found:
    """One number.

    old: the entry it used to be, None for a new pixel.  declared: it is a pixel that was declared as new.  dark: it
    gives no light any more.  further: for a new pixel the entry at whose place it is seen as well.  silent: a new pixel
    whose light is not seen.  verified: an answer since the best map last changed confirmed this number itself: a single
    light, or a look in which its place was passed as being as shown.
    """

    number: int
    old: int | None
    declared: bool
    dark: bool
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


def result_of(state: Recheck) -> Result:
    """The best map of a recheck in words."""
    setup, best = state.setup, state.best_map[: length_of(state.best_map)].tolist()
    verified = _verified(state) | {n for n in state.named if n < len(best) and best[n] != SILENT}
    numbers = tuple(
        Found(
            number=number,
            old=None if value < 0 or value in setup.declared_new else value % setup.entries,
            declared=value in setup.declared_new,
            dark=value >= setup.entries,
            verified=number in verified,
            further=FURTHER - value if value <= FURTHER else None,
            silent=value == SILENT,
        )
        for number, value in enumerate(best)
    )
    foreign = {e for chain in setup.foreign for e in chain} - set(setup.order)
    gone = set(range(setup.entries)) - foreign - setup.declared_new - {one.old for one in numbers}
    return Result(
        numbers=numbers,
        removed=tuple(sorted(gone)),
        confidence=state.confidence,
        proved=state.settled,
        chance_alike=state.chance_alike,
        alike=state.likely_as_good,
        stops_at=state.ends_early if state.stops else None,
    )


def _verified(state: Recheck) -> set[int]:
    """Numbers that an answer confirmed itself; looks count from the last change on, single lights always."""
    at = {value: number for number, value in enumerate(state.best_map.tolist()) if 0 <= value < state.setup.entries}
    done: set[int] = set()
    for index, (action, answer) in enumerate((seen.action, seen.answer) for seen in state.observations):
        if isinstance(answer, NotSure) or state.contradicts(index):
            continue
        if isinstance(action, Look) and index >= state.changed_at:
            stop = 0
            if isinstance(answer, AllAsShown | ExtraLight):
                stop = len(action.places)
            elif isinstance(answer, Differs):
                stop = min(action.places.index(one.place) for one in answer.seen)
            elif isinstance(answer, AreaDiffers):
                stop = action.places.index(answer.place)
            passed = [*zip(action.places, action.expected, strict=True)][:stop]
            shown = {(at[place], colour) for place, colour in passed if place in at and colour != UNLIT}
            done |= {number for number, colour in shown if action.colours[number : number + 1] == (colour,)}
        elif isinstance(action, Probe):
            done.add(action.number)
    return done
