"""What would make general illumination more even: trims of levels, seating, a diffuser, one more pixel; and how sure.

Trims are found by bounded linear least squares on the fitted model (`evenness.Fit`): light relative to the target at every
place and gap, levels between dark and full, current within the ceilings. Bright ones go down before dark ones go up, as
the trade does it. Everything else is tried one at a time, trimmed again, and offered if it helps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from scipy.optimize import lsq_linear

from device_protocol.lightness import DUTY, level_for_duty
from device_protocol.orders import Identity
from probe.document.lamp_table import light_of
from probe.document.model import Kind, Place, PlayfieldMap
from probe.lighting.advice import tint_at
from probe.lighting.evenness import Evenness, Fit, Scene, candela, evenness
from probe.lighting.levels import places_lit, set_light, shown_on
from probe.lighting.optics import DIFFUSER_PASSES, Array, Seat
from probe.task.effects import Progress

HELPS_BY = 1.10
"""A change is offered if it makes uniformity a tenth better than trims alone. Own choice."""
LIGHT_KEPT = 0.5
"""Trims never take more than half of the mean light away."""
DEEPER, SHALLOWER = 1.6, 1 / 1.6
DEEPEST_MM, SHALLOWEST_MM = 80.0, 6.0
MOST_TRIED = 4
CHANGE_DOUBT = 0.6
"""Share of a computed change (in logs) by which it may be off. Own choice, calibrated as `evenness.LOCAL`."""


class Sureness(Enum):
    """How sure a suggestion is: in how many of the model's draws it makes things better."""

    SURE = "sure: the readings leave little doubt"
    LIKELY = "likely: try it, then look again"
    GUESS = "a guess: more readings, or numbers instead of ratings, would tell"


def sureness(share: float, *, trust: float = 1.0) -> Sureness:
    """Words for the share of draws (0 to 1) in which it gets better, and for how far the readings can be trusted."""
    if share >= 0.95 and trust >= 0.9:
        return Sureness.SURE
    return Sureness.LIKELY if share >= 0.8 and trust >= 0.5 else Sureness.GUESS


def trust_in(fitted: Fit) -> float:
    """How far a fit can be trusted, 0 to 1: the share of stops read, less for ratings alone and for a poor fit."""
    trust = fitted.coverage * (0.85 if fitted.rated_only else 1.0)
    return trust / max(1.0, fitted.misfit)


@dataclass(frozen=True, slots=True)
class Trim:
    """A new level for a place."""

    place: str
    level: int
    was: int


@dataclass(frozen=True)
class TrimOutcome:
    """Evenness now and after, by the model; the range of uniformity after (10 to 90 % of the
    draws, widened to hold `after` itself, so no stated confidence); share of draws that get better."""

    before: Evenness
    after: Evenness
    low: float
    high: float
    better: float
    trust: float = 1.0

    @property
    def sure(self) -> Sureness:
        """How sure that is."""
        return sureness(self.better, trust=self.trust)


class SeatWork(Enum):
    """Changes that need hands."""

    DEEPER = "seat it deeper"
    SHALLOWER = "seat it nearer to the surface"
    DIFFUSER = "put a diffuser on it"
    PIXEL = "add a pixel"


@dataclass(frozen=True)
class SeatChange:
    """A change of the harness or seat. `place` is where; for a new pixel `to` is the other end of the gap, `level` its
    level. `depth_mm` is the new depth. `trims` go with it: the outcome is that of both."""

    work: SeatWork
    place: str
    to: str | None
    depth_mm: float | None
    outcome: TrimOutcome
    trims: tuple[Trim, ...] = ()
    level: int | None = None

    def words(self, map_: PlayfieldMap) -> str:
        """A sentence without its figures."""
        label = map_.place_by_id[self.place].label
        if self.work is SeatWork.PIXEL and self.to is not None:
            return f"add a pixel between {label} and {map_.place_by_id[self.to].label}"
        depth = "" if self.depth_mm is None else f", {self.depth_mm:.0f} mm below the surface"
        return f"{label}: {self.work.value}{depth}"


@dataclass(frozen=True)
class Suggestion:
    """Trims that may be taken as a whole, and changes that help more than trims, the best first.

    `rated_only`: it rests on ratings, which do not say how dark a dark gap is: directions hold better than figures.
    """

    trims: tuple[Trim, ...]
    outcome: TrimOutcome
    changes: tuple[SeatChange, ...]
    dimmed_percent: int
    rated_only: bool = False


def suggest(
    map_: PlayfieldMap, fitted: Fit, identity: Identity | None = None, progress: Progress | None = None
) -> Suggestion:
    """Trims and changes for the general illumination of a map, from the fitted model."""
    progress = progress or Progress()
    here = fitted.scene
    now = np.array([DUTY[light_of(map_, place)[0]] for place in here.places], dtype=np.float64)
    each = _full_cd(map_, here)
    best = _trimmed(fitted, here.seats, each, now)
    trimmed = apply(map_, _trims(map_, here, best))
    dimmed = _dimmed(trimmed, here, identity)
    if dimmed < 100:
        best = best * dimmed / 100
    trims = _trims(map_, here, best)
    outcome = _outcome(fitted, each * now / 255, here.seats, each * _duties(map_, here, trims) / 255, here.seats)
    changes = sorted(
        (
            c
            for c in _changes(map_, fitted, each, now, best, progress)
            if c.outcome.after.uniformity > HELPS_BY * outcome.after.uniformity
        ),
        key=lambda c: (-c.outcome.after.uniformity, c.place),
    )
    return Suggestion(trims, outcome, tuple(changes[:MOST_TRIED]), dimmed, fitted.rated_only)


def apply(map_: PlayfieldMap, trims: Sequence[Trim]) -> PlayfieldMap:
    """The map with the trims as levels of its places; colours stay."""
    for trim in trims:
        place = map_.place_by_id.get(trim.place)
        if place is not None:
            map_ = set_light(map_, place.id, level=trim.level, colour=place.colour)
    return map_


def _full_cd(map_: PlayfieldMap, here: Scene) -> Array:
    """Light of each place at full level, cd."""
    return np.array([candela(light_of(map_, p)[1]) * len(map_.pixels_at.get(p.id, ())) for p in here.places])


def _trims(map_: PlayfieldMap, here: Scene, duties: Array) -> tuple[Trim, ...]:
    found = []
    for place, duty in zip(here.places, duties, strict=True):
        was, level = light_of(map_, place)[0], level_for_duty(float(duty))
        if abs(level - was) > 1:
            found.append(Trim(place.id, level, was))
    return tuple(found)


def _duties(map_: PlayfieldMap, here: Scene, trims: Sequence[Trim]) -> Array:
    new = {trim.place: trim.level for trim in trims}
    return np.array([DUTY[new.get(p.id, light_of(map_, p)[0])] for p in here.places], dtype=np.float64)


def _dimmed(map_: PlayfieldMap, here: Scene, identity: Identity | None) -> int:
    """Share of the light, in percent, that the ceilings leave with every place of the scene lit."""
    lit = places_lit(map_, [map_.place_by_id[place.id] for place in here.places])
    return min((shown_on(map_, chain, lit, identity).dimmed_percent for chain in map_.chains), default=100)


def _trimmed(fitted: Fit, seats: Sequence[Seat], each_cd: Array, now: Array) -> Array:
    """The duties that are most even, of those that keep half of the light now; the brightest among near equals.

    What light from elsewhere adds is left out: dimming everything would bring it forward, and even nothing. Places that
    nobody looked at keep their duty.
    """
    gain = np.concatenate([fitted.gain, np.ones(len(seats) - len(fitted.gain))])
    reach = fitted.scene.light(depth_factor=fitted.depth_factor, seats=seats) * (gain * each_cd / 255)
    reach = reach * fitted.passing[:, None]
    free = np.array(
        [place.id in fitted.seen_places for place in fitted.scene.places] + [True] * (len(seats) - len(fitted.gain))
    )
    low, high = np.where(free, 1.0, np.maximum(now - 0.01, 0.0)), np.where(free, 255.0, now + 0.01)
    mean_now = max(1e-12, float(np.mean(reach @ now)))
    best: tuple[float, Array] | None = None
    for factor in (1.0, 0.9, 0.8, 0.65, LIGHT_KEPT):
        target = factor * mean_now
        keep = 0.02  # a light pull to the levels of now settles what no reading decides
        pull = keep / np.maximum(now, 8.0)
        rows = np.vstack([reach / target, np.diag(pull)])
        wanted = np.concatenate([np.ones(len(reach)), pull * now])
        # The least light decides uniformity: points below the target weigh more, found by one more turn.
        duties = _bounded(rows, wanted, low, high)
        short = np.clip(1 - reach @ duties / target, 0, 1)
        weights = np.concatenate([1 + 4 * short, np.ones(len(now))])
        duties = _bounded(rows * weights[:, None], wanted * weights, low, high)
        # Never brighter on the whole than now, never less than half: both would change what light from elsewhere weighs.
        light = float(np.mean(reach @ duties))
        duties = np.clip(duties * np.clip(light, LIGHT_KEPT * mean_now, mean_now) / max(light, 1e-12), low, high)
        found = evenness((reach @ duties).tolist())
        assert found is not None
        if best is None or found.uniformity > best[0] * 1.02:
            best = found.uniformity, duties
    assert best is not None
    unchanged = evenness((reach @ now).tolist())
    assert unchanged is not None
    return best[1] if best[0] > unchanged.uniformity else now


def _bounded(rows: Array, wanted: Array, low: Array, high: Array) -> Array:
    return np.asarray(lsq_linear(rows, wanted, bounds=(low, high), method="trf", max_iter=60).x, dtype=np.float64)


def _outcome(
    fitted: Fit, lamps: Array, seats: Sequence[Seat], new_lamps: Array, new_seats: Sequence[Seat]
) -> TrimOutcome:
    before = evenness(fitted.light(lamps, seats=seats).tolist())
    after = evenness(fitted.light(new_lamps, seats=new_seats).tolist())
    assert before is not None
    assert after is not None
    values, better = [], 0
    rng = np.random.default_rng(1)
    unsure = CHANGE_DOUBT * min(1.0, fitted.misfit / 2)  # the worse the model fits, the less its changes are worth
    for draw in fitted.draws:
        new, old = fitted.light(new_lamps, seats=new_seats, draw=draw), fitted.light(lamps, seats=seats, draw=draw)
        stops = np.exp(fitted.local_doubt * rng.standard_normal(len(new))) if len(fitted.local_doubt) else 1.0
        # How much a stop changes is less sure the more it changes.
        change = np.log(new / old)
        changed = np.exp(unsure * np.abs(change - change.mean()) * rng.standard_normal(len(new)))
        then, was = evenness((new * stops * changed).tolist()), evenness((old * stops).tolist())
        assert then is not None
        assert was is not None
        values.append(then.uniformity)
        better += then.uniformity > was.uniformity
    low, high = np.quantile([*values, after.uniformity], [0.1, 0.9])
    low, high = min(low, after.uniformity), max(high, after.uniformity)
    return TrimOutcome(before, after, float(low), float(high), better / len(values), trust_in(fitted))


def _behind_insert(map_: PlayfieldMap, place: Place) -> bool:
    """Whether a place shines through a translucent insert: only there does depth mix light instead of hiding it."""
    if place.kind is Kind.INSERT:
        return True
    return tint_at(map_, place) is not None


def _changes(
    map_: PlayfieldMap, fitted: Fit, each: Array, now: Array, best: Array, progress: Progress
) -> list[SeatChange]:
    """Changes at the darkest and brightest points that trims leave, each tried alone."""
    here = fitted.scene
    light = fitted.light(each * best / 255, seats=here.seats)
    order = np.argsort(light, kind="stable")
    usual_mm = float(np.median([seat.depth_mm for seat in here.seats]))
    index = {place.id: at for at, place in enumerate(here.places)}
    behind_inserts = {place.id for place in here.places if _behind_insert(map_, place)}
    tried: set[tuple[SeatWork, str, str | None]] = set()
    found = []

    def attempt(work: SeatWork, place: str, to: str | None, seats: list[Seat], lamps: Array, start: Array) -> None:
        if (work, place, to) in tried:
            return
        tried.add((work, place, to))
        duties = _trimmed(fitted, seats, lamps, start)
        if len(duties) == len(now):
            duties = _duties(map_, here, _trims(map_, here, duties))
        else:
            duties = np.append(_duties(map_, here, _trims(map_, here, duties[:-1])), duties[-1])
        outcome = _outcome(fitted, each * now / 255, here.seats, lamps * duties / 255, seats)
        depth = seats[index[place]].depth_mm if work in (SeatWork.DEEPER, SeatWork.SHALLOWER) else None
        level = level_for_duty(float(duties[-1])) if work is SeatWork.PIXEL else None
        found.append(SeatChange(work, place, to, depth, outcome, _trims(map_, here, duties[: len(now)]), level))

    def seated(at: int, **change: float | bool) -> list[Seat]:
        seats = list(here.seats)
        seats[at] = replace(seats[at], **change)  # type: ignore[arg-type]
        return seats

    def moved(at: int, depth_mm: float) -> list[Seat]:
        """Seated deeper or nearer: the hole above it changes, what lies open above the wood does not."""
        seat = here.seats[at]
        return seated(at, depth_mm=depth_mm, hole_mm=max(0.0, seat.hole_mm + depth_mm - seat.depth_mm))

    rows = (*order[:MOST_TRIED].tolist(), *order[::-1][:MOST_TRIED].tolist())
    progress.total = progress.done + len(rows)
    for row in rows:
        progress.step()
        place, to = here.stops[row]
        dark = light[row] < np.mean(light)
        if to is not None and dark:
            ends = here.seats[index[place]], here.seats[index[to]]
            extra = Seat(
                x_mm=float(here.points[row][0]),
                y_mm=float(here.points[row][1]),
                depth_mm=(ends[0].depth_mm + ends[1].depth_mm) / 2,
                diffuser=ends[0].diffuser and ends[1].diffuser,
            )
            middle = (each[index[place]] + each[index[to]]) / 2
            start = np.append(now, (now[index[place]] + now[index[to]]) / 2)
            attempt(SeatWork.PIXEL, place, to, [*here.seats, extra], np.append(each, middle), start)
        for name in (place, to):
            if name is None:
                continue
            at = index[name]
            seat = here.seats[at]
            if name in behind_inserts and seat.depth_mm * DEEPER <= DEEPEST_MM:
                attempt(SeatWork.DEEPER, name, None, moved(at, seat.depth_mm * DEEPER), each, now)
            nearer = max(seat.depth_mm * SHALLOWER, seat.depth_mm - seat.hole_mm)
            if to is None and dark and nearer >= SHALLOWEST_MM and nearer < seat.depth_mm:
                attempt(SeatWork.SHALLOWER, name, None, moved(at, nearer), each, now)
            if not seat.diffuser and (not dark or seat.depth_mm < usual_mm):
                attempt(SeatWork.DIFFUSER, name, None, seated(at, diffuser=True), each, now)
    return found


__all__ = [
    "DIFFUSER_PASSES",
    "Place",
    "SeatChange",
    "SeatWork",
    "Suggestion",
    "Sureness",
    "Trim",
    "TrimOutcome",
    "apply",
    "suggest",
]
