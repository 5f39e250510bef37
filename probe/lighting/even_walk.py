"""The guided walk for evenness: every place and every gap of the general illumination, rated or read. A task: frozen state,
pure step.

All of it is lit at the levels of the map while the person looks, within the ceiling. Computing what the readings say takes
up to seconds: a job does it aside (`analyse`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial

from device_protocol.orders import Identity
from probe.cautions import LIGHT
from probe.document.lamp_table import light_of
from probe.document.model import Place, PlayfieldMap, Position
from probe.document.model.light import Measure, Rating, Reading
from probe.document.plural import many
from probe.lighting.choosing import nearest
from probe.lighting.even_keys import (
    COMMANDS,
    ChangeMeasure,
    Finish,
    JumpToStop,
    MoveStop,
    NewRound,
    Rate,
    ToggleAlone,
)
from probe.lighting.evenness import (
    LEAST_POINTS,
    Evenness,
    Fit,
    Stop,
    evenness_words,
    fit,
    last_round,
    lit_places,
    measured,
    point_of,
    readings_of,
    stops,
)
from probe.lighting.levels import Shown, current_lines, light_of_chains, places_lit, shown_chains
from probe.lighting.suggest import Suggestion, Sureness, TrimOutcome, apply, suggest
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Light
from probe.task.task import CannotOpenError, Next, Opened, Task, TaskState
from probe.task.views import MARK_SIGN, Line, PictureView, Spot, TaskView

_NUMBER = re.compile(r"(\d{1,6}(?:[.,]\d{1,3})?)\s*(lux|lx)?", re.ASCII | re.IGNORECASE)
_RATED = {Rating.DARK: "D", Rating.FAIR: "F", Rating.HOT: "H"}


@dataclass(frozen=True)
class Analysed:
    """What came of the computing: a fit with its suggestion, or why there is none. `round` is the walk it was made for."""

    round: int
    fit: Fit | None
    suggestion: Suggestion | None
    trouble: str = ""


@dataclass(frozen=True, kw_only=True)
class EvenWalk(TaskState):
    """The whole state. `round` is the walk's number; `stops` its stops, `at` the one asked about; `done`: it is over."""

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

    @cached_property
    def shown(self) -> tuple[Shown, ...]:
        """What each chain shows, within its ceiling."""
        alone = self.alone and not self.done
        places = self.places_at(self.stop) if alone else lit_places(self.map)
        return shown_chains(self.map, places_lit(self.map, places), self.board.identity)

    @property
    def light(self) -> Light:
        """All general illumination, or the places of this stop alone."""
        return light_of_chains(self.shown)

    @property
    def is_lit(self) -> bool:
        """Whether the board has confirmed it."""
        return self.board.here and self.board.lit == self.light


def start(map_: PlayfieldMap) -> EvenWalk:
    """A walk: the last one goes on if it is not complete, else a new one begins. Raises CannotOpenError if there is nothing
    to walk."""
    order = stops(map_)
    if len(lit_places(map_)) < 2:
        raise CannotOpenError(
            "evenness needs two places of general illumination or more that have a pixel and a position: "
            "set kinds in the walk, positions in the picture"
        )
    last = last_round(map_)
    open_stops = [at for at, stop in enumerate(order) if stop not in readings_of(map_, last)]
    if last == 0 or not open_stops:
        return EvenWalk(map=map_, round=last + 1, stops=order, message=LIGHT[2])
    return EvenWalk(
        map=map_, round=last, stops=order, at=open_stops[0], message=f"walk {last} goes on where it stopped. {LIGHT[2]}"
    )


def analyse(
    map_: PlayfieldMap, round_number: int, identity: Identity | None, progress: fx.Progress | None = None
) -> Analysed:
    """What the readings of a walk say: slow, for a thread. Never raises for what a map may hold."""
    progress = progress or fx.Progress()
    progress.total = 2  # the fit and what would help; of that each try counts, once it is known how many there are
    progress.step(0)
    try:
        fitted = fit(map_, readings_of(map_, round_number))
        progress.step()
        return Analysed(round_number, fitted, suggest(map_, fitted, identity, progress))
    except ValueError as error:
        return Analysed(round_number, None, None, str(error))


class EvennessTask(Task[EvenWalk]):
    """Walk the general illumination, then look at what would make it more even."""

    name = "evenness"
    commands = COMMANDS

    def step(self, s: EvenWalk, event: object, now_s: float) -> Next[EvenWalk] | None:
        """The state after an event, and what is to be done."""
        match event:
            case Rate(rating, time):
                return _read(s, time, rating=rating)
            case ev.Typed(text):
                return replace(s, typed=text, message=""), ()
            case ev.Take(time):
                return _take(s, time)
            case MoveStop(by):
                return _go(s, (s.at + by) % len(s.stops)), ()
            case JumpToStop(place):
                return _go(s, next((at for at, stop in enumerate(s.stops) if stop == (place, None)), s.at)), ()
            case ChangeMeasure(measure):
                new = measure or (Measure.CAMERA if s.measure is Measure.LUX else Measure.LUX)
                hint = (
                    "lux" if new is Measure.LUX else "values of one photo, 0 to 255, exposure and white balance locked"
                )
                return replace(s, measure=new, message=f"numbers are {hint}"), ()
            case ToggleAlone():
                return replace(s, alone=not s.alone), ()
            case Finish():
                return (replace(s, done=False, message=""), ()) if s.done else _finish(s)
            case ev.JobDone(_, Analysed() as found):
                if not s.done or found.round != s.round:
                    return s, ()
                return replace(s, fit=found.fit, suggestion=found.suggestion, trouble=found.trouble), ()
            case ev.JobStopped() if s.done:
                return replace(s, done=False, message="stopped: the readings are kept"), ()
            case NewRound():
                fresh = replace(s, round=last_round(s.map) + 1, at=0, done=False, fit=None, suggestion=None)
                words = "walk again: what has changed?"
                return replace(fresh, trimmed=False, trouble="", typed="", message=words), ()
            case ev.MapChanged(words, where):
                return _changed(s, words, where), ()
            case ev.StepButton(times):
                return _go(s, (s.at + times) % len(s.stops)), ()
            case ev.Leave() if s.typed:
                return replace(s, typed=""), ()
            case _:
                return None

    def light(self, s: EvenWalk) -> Light:
        """All general illumination, or the places of this stop alone."""
        return s.light

    def where(self, s: EvenWalk) -> object:
        """The walk, its stop, and whether the trims are taken."""
        return (s.round, s.at, s.trimmed)

    def view(self, s: EvenWalk) -> TaskView:
        """The stop that is asked about, or the result."""
        return TaskView(
            head=f"{s.map.machine.name} · evenness, walk {s.round}",
            board=s.board.words if s.board.here else "no board: nothing is lit",
            above=_stop_lines(s),
            prompt="Enter takes the trims" if s.done else f"Reading ({s.measure.value}), or a key below:",
            typed=s.typed,
            details=_result(s) if s.done else _asking(s),
            long=s.done,
            below=current_lines(s.shown),
            message="; ".join(word for word in (s.board.refused, s.message) if word),
            unsaved=s.unsaved,
            picture=_picture(s),
        )


def make(opened: Opened) -> tuple[EvennessTask, EvenWalk]:
    """The walk of the open map. Raises CannotOpenError if there is nothing to walk."""
    assert opened.map is not None, "the walk for evenness is opened with a map"
    return EvennessTask(), start(opened.map)


def _changed(s: EvenWalk, words: str, where: object) -> EvenWalk:
    """After undo or redo: at the stop where it was; the result stays only where the trims were taken back."""
    trimmed = False
    match where:
        case (int() as number, int() as at, bool() as trimmed):
            s = replace(s, round=number, at=at % len(s.stops))
    back = replace(s, trimmed=trimmed, typed="", message=words)
    return back if s.trimmed != trimmed else replace(back, done=False)


def _go(s: EvenWalk, at: int) -> EvenWalk:
    return replace(s, at=at, typed="", message="", done=False)


def _take(s: EvenWalk, time: str) -> Next[EvenWalk]:
    if s.done:
        return _take_trims(s)
    if not s.typed.strip():
        return _read(s, time, rating=Rating.FAIR)
    found = _NUMBER.fullmatch(s.typed.strip())
    if found is None:
        words = "type a reading (such as 120) and Enter; or nothing and a key for dark, fair or hot"
        return replace(s, message=words), (fx.Bell(),)
    value = float(found[1].replace(",", "."))
    measure = Measure.LUX if found[2] else s.measure
    if measure is Measure.CAMERA and value > 255:
        return replace(s, message=f"{value:g} is no value of a picture: 0 to 255"), (fx.Bell(),)
    return _read(s, time, value=value, measure=measure)


def _read(s: EvenWalk, time: str, **reading: object) -> Next[EvenWalk]:
    place, to = s.stop
    if len(s.places_at(s.stop)) != 1 + (to is not None):
        return replace(s, message="a place of this stop is no longer in the map"), (fx.Bell(),)
    if s.board.here and not s.is_lit:
        return replace(s, message="not lit yet: wait for it, then look"), (fx.Bell(),)
    if s.alone:
        words = "these places are lit alone: light all again (the same key), then look"
        return replace(s, message=words), (fx.Bell(),)
    levels = [light_of(s.map, p)[0] for p in s.places_at(s.stop)]
    made = Reading.model_validate(
        {"round": s.round, "place": place, "to": to, "level": levels[0], "time": time}
        | ({"to_level": levels[1]} if to is not None else {})
        | reading
    )
    kept = tuple(r for r in s.map.readings if (r.round, r.place, r.to) != (s.round, place, to))
    map_ = s.map.model_copy(update={"readings": (*kept, made)})
    rated = made.rating.value if made.rating is not None else f"{made.value:g} {made.measure.value}"
    words = f"{s.named(s.stop)}: {rated}"
    after = replace(s, map=map_, typed="", message=words)
    order = [*range(s.at + 1, len(s.stops)), *range(s.at)]
    following = next((at for at in order if s.stops[at] not in after.readings), None)
    if following is None:
        finished, effects = _finish(after)
        return finished, (fx.Commit(map_, words), *effects)
    return replace(after, at=following), (fx.Commit(map_, words),)


def _finish(s: EvenWalk) -> Next[EvenWalk]:
    if len(s.readings) < LEAST_POINTS:
        return replace(s, message=f"{many(len(s.readings), 'reading')}: rate three stops or more"), (fx.Bell(),)
    left = len(s.stops) - len(s.readings)
    words = "every stop is read" if left <= 0 else f"{many(left, 'stop')} not read: the answer is vaguer"
    map_, number, identity = s.map, s.round, s.board.identity
    job = fx.Job(("evenness", number), partial(analyse, map_, number, identity), "computing how even the light is")
    return replace(s, done=True, alone=False, fit=None, suggestion=None, trouble="", message=words), (job,)


def _take_trims(s: EvenWalk) -> Next[EvenWalk]:
    if s.trimmed:
        return replace(s, message="the trims are taken; walk again to see what they brought"), (fx.Bell(),)
    if s.suggestion is None or not s.suggestion.trims:
        return replace(s, message="there are no trims to take"), (fx.Bell(),)
    map_ = apply(s.map, s.suggestion.trims)
    words = f"{many(len(s.suggestion.trims), 'level')} trimmed: in the map, and so in the table"
    return replace(s, map=map_, trimmed=True, message=words), (fx.Commit(map_, words),)


# -- what is to be seen ---------------------------------------------------------------------------------------------------


def _stop_lines(s: EvenWalk) -> tuple[Line, ...]:
    if s.done:
        return (Line(f"Walk {s.round}: {len(s.readings)} of {many(len(s.stops), 'stop')} read", "bold"),)
    kind = "gap" if s.stop[1] is not None else "place"
    return (Line(f"{kind} {s.at + 1} of {len(s.stops)}"), Line(s.named(s.stop), "bold", wrap=True))


def _asking(s: EvenWalk) -> tuple[Line, ...]:
    reading = s.readings.get(s.stop)
    rated = ""
    if reading is not None:
        rated = reading.rating.value if reading.rating else f"{reading.value:g} {reading.measure.value}"
    lit = "all general illumination is lit" if s.is_lit else "not lit yet"
    return (
        Line("lit alone: these places" if s.alone else lit),
        Line("F2 dark, Enter fair, F3 hot: against the whole, eyes half closed."),
        Line("Or hold the meter (or look the photo up) there and type the number."),
        Line(f"said: {rated}" if rated else "not rated yet"),
        Line(f"so far: {evenness_words(*s.now)}"),
        *_walk_before(s),
    )


def _walk_before(s: EvenWalk) -> tuple[Line, ...]:
    before, was = s.before
    return () if before is None else (Line(f"walk {s.round - 1}: {evenness_words(before, was)}"),)


def _result(s: EvenWalk) -> tuple[Line, ...]:
    head = (Line(f"as read: {evenness_words(*s.now)}"), *_walk_before(s))
    if s.trouble:
        return (*head, Line(s.trouble))
    if s.suggestion is None:
        return (*head, Line("computing …"))
    return (*head, *_suggestion_lines(s.map, s.suggestion, taken=s.trimmed))


def _promise(outcome: TrimOutcome, *, rated_only: bool) -> tuple[Line, ...]:
    """What the trims are worth. Ratings tell a direction, so no figures are stated of them."""
    if rated_only:
        better = (
            "the worst spot gets nearer to the average" if outcome.after.uniformity > outcome.before.uniformity else ""
        )
        return (
            *((Line(f"{better}: {outcome.sure.value}"),) if better else ()),
            Line("ratings do not say how dark a dark gap is: no figures, walk again instead"),
        )
    now, then, low, high = (
        f"{100 * value:.0f} %"
        for value in (outcome.before.uniformity, outcome.after.uniformity, outcome.low, outcome.high)
    )
    return (
        Line(f"the worst spot gets {now} of the average now, {then} with trims"),
        Line(f"8 times in 10 between {low} and {high}; {outcome.sure.value}"),
    )


def _suggestion_lines(map_: PlayfieldMap, found: Suggestion, *, taken: bool) -> list[Line]:
    """Trims and changes in words, each with how sure it is."""
    outcome = found.outcome
    lines = [
        Line("By the light model", "bold"),
        *_promise(outcome, rated_only=found.rated_only),
        Line(f"{100 * outcome.after.mean / outcome.before.mean:.0f} % of the light stays"),
    ]
    if found.dimmed_percent < 100:
        lines.append(Line("the trims keep within the current ceiling"))
    if found.trims:
        lines.append(Line("trims, taken:" if taken else "trims (Enter takes them all):", "bold"))
        for trim in found.trims:
            place = map_.place_by_id.get(trim.place)
            lines.append(Line(f"  {trim.was:>3} -> {trim.level:<3} {place.label if place else trim.place}"))
    else:
        lines.append(Line("levels alone make it no better"))
    if found.changes:
        lines.append(Line("would help more than trims:", "bold"))
        for change in found.changes:
            sure = change.outcome.sure
            figure = f", {100 * change.outcome.after.uniformity:.0f} %" if sure is not Sureness.GUESS else ""
            lines.append(Line(f"  {change.words(map_)} ({sure.name.lower()}{'' if found.rated_only else figure})"))
    return lines


def _picture(s: EvenWalk) -> PictureView:
    spots = []
    for stop, reading in s.readings.items():
        point = point_of(s.map, stop)
        if point is not None:
            sign = _RATED[reading.rating] if reading.rating else "v"
            look = "dark" if reading.rating is Rating.DARK else "held" if reading.rating is Rating.HOT else "plain"
            spots.append(Spot(Position(x_mm=point[0], y_mm=point[1]), sign, look))
    if not s.done:
        spots += [Spot(p.position, "O", "lit") for p in s.places_at(s.stop) if p.position is not None]
        point = point_of(s.map, s.stop)
        if point is not None:
            spots.append(Spot(Position(x_mm=point[0], y_mm=point[1]), MARK_SIGN, "mark"))
    map_ = s.map
    return PictureView(tuple(spots), point=lambda x_mm, y_mm: JumpToStop(nearest(map_, x_mm, y_mm) or ""))
