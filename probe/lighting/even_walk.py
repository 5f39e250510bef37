"""The guided walk for evenness: every place and every gap of the general illumination, rated or read. Pure step.

All of it is lit at the levels of the map while the person looks, within the ceiling. Each reading is saved before the
next stop is shown. Reckoning what the readings say takes up to seconds: the screen does it aside (`analyse`) and hands
the result in as `Analysed`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from device_protocol.orders import Identity
from device_protocol.values import Colour
from probe.document.lamp_table import light_of
from probe.document.model import Place, PlayfieldMap
from probe.document.model.light import Measure, Reading
from probe.lighting.even_keys import (
    Analysed,
    ChangeMeasure,
    Finish,
    Jump,
    Key,
    Move,
    NewRound,
    Rate,
    Retry,
    Take,
    ToggleAlone,
    Typed,
    Undo,
)
from probe.lighting.evenness import Evenness, Fit, Stop, fit, last_round, lit_places, measured, readings_of, stops
from probe.lighting.levels import places_lit
from probe.lighting.lighting import Lighting, ask
from probe.lighting.lit_news import told
from probe.lighting.suggest import Suggestion, apply, suggest
from probe.task.steps import MOST_UNDO, BoardView, ButtonPressed, Effect, News, RingBell, SaveMap

Effects = tuple[Effect, ...]
_NUMBER = re.compile(r"(\d{1,6}(?:[.,]\d{1,3})?)\s*(lux|lx)?", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True)
class EvenWalk:
    """The whole state. `round` is the walk's number; `stops` its stops, `at` the one asked about; `done`: it is over."""

    map: PlayfieldMap
    round: int
    stops: tuple[Stop, ...]
    at: int = 0
    typed: str = ""
    measure: Measure = Measure.LUX
    alone: bool = False
    done: bool = False
    fit: Fit | None = None
    suggestion: Suggestion | None = None
    trouble: str = ""
    trimmed: bool = False
    board: BoardView = field(default_factory=BoardView)
    lighting: Lighting = field(default_factory=Lighting)
    message: str = ""
    unsaved: str = ""
    past: tuple[tuple[PlayfieldMap, int, bool], ...] = ()

    @property
    def stop(self) -> Stop:
        """The place or gap that is asked about."""
        return self.stops[self.at]

    @property
    def readings(self) -> Mapping[Stop, Reading]:
        """What was read on this walk."""
        return readings_of(self.map, self.round)

    @property
    def before(self) -> tuple[Evenness | None, str]:
        """Evenness of the walk before this one, and of what."""
        return measured(readings_of(self.map, self.round - 1).values())

    @property
    def now(self) -> tuple[Evenness | None, str]:
        """Evenness of this walk, and of what."""
        return measured(self.readings.values())

    def places_at(self, stop: Stop) -> tuple[Place, ...]:
        """The one or two places of a stop that are still in the map."""
        return tuple(self.map.place_by_id[name] for name in stop if name is not None and name in self.map.place_by_id)

    def named(self, stop: Stop) -> str:
        """A stop in words."""
        labels = [place.label for place in self.places_at(stop)]
        return labels[0] if stop[1] is None else "between " + " and ".join(labels)


def start(m: PlayfieldMap) -> EvenWalk:
    """A walk: the last one goes on if it is not complete, else a new one begins. Raises ValueError if there is nothing to
    walk."""
    order = stops(m)
    if len(lit_places(m)) < 2:
        raise ValueError(
            "evenness needs two places of general illumination or more that have a pixel and a position: "
            "set kinds in the walk, positions in the picture"
        )
    last = last_round(m)
    open_stops = [at for at, stop in enumerate(order) if stop not in readings_of(m, last)]
    if last == 0 or not open_stops:
        return EvenWalk(m, last + 1, order)
    return EvenWalk(m, last, order, at=open_stops[0], message=f"walk {last} goes on where it stopped")


def analyse(m: PlayfieldMap, round_number: int, identity: Identity | None) -> Analysed:
    """What the readings of a walk say: slow, for a thread. Never raises for what a map may hold."""
    try:
        fitted = fit(m, readings_of(m, round_number))
        return Analysed(round_number, fitted, suggest(m, fitted, identity))
    except ValueError as error:
        return Analysed(round_number, None, None, str(error))


def step(walk: EvenWalk, given: Key | News, now_s: float) -> tuple[EvenWalk, Effects]:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Rate(rating, time):
            return _read(walk, time, rating=rating)
        case Typed(text):
            return replace(walk, typed=text, message=""), ()
        case Take(time):
            return _take(walk, time)
        case Move(by):
            return _go(walk, (walk.at + by) % len(walk.stops))
        case Jump(place):
            return _go(walk, next((at for at, stop in enumerate(walk.stops) if stop == (place, None)), walk.at))
        case ChangeMeasure(measure):
            new = measure or (Measure.CAMERA if walk.measure is Measure.LUX else Measure.LUX)
            hint = "lux" if new is Measure.LUX else "values of one photo, 0 to 255, exposure and white balance locked"
            return replace(walk, measure=new, message=f"numbers are {hint}"), ()
        case ToggleAlone():
            return _relit(replace(walk, alone=not walk.alone))
        case Finish():
            if walk.done:
                return _relit(replace(walk, done=False, message=""))
            return _finish(walk)
        case Analysed(round_number, fitted, suggestion, trouble):
            if not walk.done or round_number != walk.round:
                return walk, ()
            return replace(walk, fit=fitted, suggestion=suggestion, trouble=trouble), ()
        case NewRound():
            fresh = replace(walk, round=last_round(walk.map) + 1, at=0, done=False, fit=None, suggestion=None)
            return _relit(replace(fresh, trimmed=False, trouble="", typed="", message="walk again: what has changed?"))
        case Undo():
            return _undo(walk)
        case Retry():
            relit, effects = _relit(replace(walk, message="", lighting=walk.lighting.lost()))
            return relit, (SaveMap(walk.map), *effects)
        case ButtonPressed(times):
            return _go(walk, (walk.at + times) % len(walk.stops))
        case _:
            return told(walk, given, _relit)


def _wanted(walk: EvenWalk) -> dict[str, Colour]:
    if walk.alone and not walk.done:
        return places_lit(walk.map, walk.places_at(walk.stop))
    return places_lit(walk.map, lit_places(walk.map))


def _relit(walk: EvenWalk) -> tuple[EvenWalk, Effects]:
    lighting, effects = ask(walk.map, _wanted(walk), walk.lighting, walk.board.identity)
    return replace(walk, lighting=lighting), effects


def _go(walk: EvenWalk, at: int) -> tuple[EvenWalk, Effects]:
    moved = replace(walk, at=at, typed="", message="", done=False)
    return _relit(moved) if walk.alone or walk.done else (moved, ())


def _take(walk: EvenWalk, time: str) -> tuple[EvenWalk, Effects]:
    if walk.done:
        return _take_trims(walk)
    found = _NUMBER.fullmatch(walk.typed.strip())
    if found is None:
        words = "press a key for dark, fair or hot, or type a reading (such as 120) and Enter"
        return replace(walk, message=words), (RingBell(),)
    value = float(found[1].replace(",", "."))
    measure = Measure.LUX if found[2] else walk.measure
    if measure is Measure.CAMERA and value > 255:
        return replace(walk, message=f"{value:g} is no value of a picture: 0 to 255"), (RingBell(),)
    return _read(walk, time, value=value, measure=measure)


def _read(walk: EvenWalk, time: str, **reading: object) -> tuple[EvenWalk, Effects]:
    place, to = walk.stop
    if len(walk.places_at(walk.stop)) != 1 + (to is not None):
        return replace(walk, message="a place of this stop is no longer in the map"), (RingBell(),)
    if walk.board.here and not walk.lighting.is_lit:
        return replace(walk, message="not lit yet: wait for it, then look"), (RingBell(),)
    if walk.alone:
        words = "these places are lit alone: light all again (the same key), then look"
        return replace(walk, message=words), (RingBell(),)
    levels = [light_of(walk.map, p)[0] for p in walk.places_at(walk.stop)]
    made = Reading.model_validate(
        {"round": walk.round, "place": place, "to": to, "level": levels[0], "time": time}
        | ({"to_level": levels[1]} if to is not None else {})
        | reading
    )
    kept = tuple(r for r in walk.map.readings if (r.round, r.place, r.to) != (walk.round, place, to))
    m = walk.map.model_copy(update={"readings": (*kept, made)})
    said = made.rating.value if made.rating is not None else f"{made.value:g} {made.measure.value}"
    after = replace(
        walk,
        map=m,
        typed="",
        message=f"{walk.named(walk.stop)}: {said}",
        past=(*walk.past, (walk.map, walk.at, walk.trimmed))[-MOST_UNDO:],
    )
    order = [*range(walk.at + 1, len(walk.stops)), *range(walk.at)]
    following = next((at for at in order if walk.stops[at] not in after.readings), None)
    if following is None:
        finished, effects = _finish(after)
        return finished, (SaveMap(m), *effects)
    return replace(after, at=following), (SaveMap(m),)


def _finish(walk: EvenWalk) -> tuple[EvenWalk, Effects]:
    if len(walk.readings) < 3:
        return replace(walk, message=f"{len(walk.readings)} readings: rate three stops or more"), (RingBell(),)
    left = len(walk.stops) - len(walk.readings)
    words = "every stop is read" if left <= 0 else f"{left} stops are open: the answer is vaguer"
    return _relit(replace(walk, done=True, alone=False, fit=None, suggestion=None, trouble="", message=words))


def _take_trims(walk: EvenWalk) -> tuple[EvenWalk, Effects]:
    if walk.trimmed:
        return replace(walk, message="the trims are taken; walk again to see what they brought"), (RingBell(),)
    if walk.suggestion is None or not walk.suggestion.trims:
        return replace(walk, message="there are no trims to take"), (RingBell(),)
    m = apply(walk.map, walk.suggestion.trims)
    past = (*walk.past, (walk.map, walk.at, walk.trimmed))[-MOST_UNDO:]
    words = f"{len(walk.suggestion.trims)} levels trimmed: they are in the map, and so in the table"
    relit, effects = _relit(replace(walk, map=m, trimmed=True, past=past, message=words))
    return relit, (SaveMap(m), *effects)


def _undo(walk: EvenWalk) -> tuple[EvenWalk, Effects]:
    if not walk.past:
        return replace(walk, message="nothing to undo"), (RingBell(),)
    m, at, trimmed = walk.past[-1]
    back = replace(walk, map=m, at=at, past=walk.past[:-1], trimmed=trimmed, message="undone", typed="")
    if not walk.trimmed:
        back = replace(back, done=False, round=max(1, walk.round))
    relit, effects = _relit(back)
    return relit, (SaveMap(m), *effects)
