"""How even light is: uniformity of what was read or rated, and the light model fitted to it.

Uniformity Uo = Emin / Eavg and diversity Ud = Emin / Emax, as in EN 12464-1 and lighting practice. Readings are taken at
places and in the gaps between neighbours. Ratings by eye count as light relative to the whole: see `RATED`.

The fit finds, for every place, how much light really comes through (its gain: 1 where the model is right), one factor on
all depths (light that first meets plastics spreads as from deeper down), and light from elsewhere. It is a bounded
least-squares fit of logarithms, with priors, so that few readings give a vague answer instead of a wild one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial import Delaunay, QhullError

from device_protocol.lightness import at_level, srgb_to_linear
from device_protocol.values import Colour
from probe.document.lamp_table import light_of
from probe.document.model import Kind, Place, PlayfieldMap
from probe.document.model.light import Measure, Rating, Reading
from probe.document.plural import many
from probe.lighting.optics import LEAST_DEPTH_MM, USUAL_DEPTH_MM, WOOD_MM, Array, Seat, matrix
from probe.lighting.plastics import MILLICANDELA

RATED: Mapping[Rating, float] = {Rating.DARK: 0.6, Rating.FAIR: 1.0, Rating.HOT: 1.6}
"""Light relative to the whole that a rating stands for. Own choice: about 20 of L* apart, which nobody overlooks."""
SIGMA_LOG = {Measure.LUX: 0.1, Measure.CAMERA: 0.2}
RATED_BETWEEN: Mapping[Rating, tuple[float, float]] = {
    Rating.DARK: (0.0, 0.8),
    Rating.FAIR: (0.8, 1.25),
    Rating.HOT: (1.25, math.inf),
}
"""Light relative to the whole within which a rating fits as well as any other. Own choice, as `RATED`."""
SIGMA_LOG_RATED = 0.15
SIGMA_LOG_WITHIN = 0.6
"""A rating says little of where in its range the light is: outside of it counts by the first, its middle by the second."""
PRIOR_GAIN = 0.5
PRIOR_DEPTH = 0.5
PRIOR_ELSEWHERE = 0.05
PRIOR_ELSEWHERE_LOG = 0.7
MOST_ELSEWHERE = 8.0
"""Own choices: gains within a factor of about 1.6, depths the same, a twentieth of the light from elsewhere, at most
eight times that."""

LOCAL = 0.3
"""How unlike a stop may be to the model: plastics, rubbers and posts. Own choice, with `RATED_DOUBT` calibrated on rays
through holes and plastics that this model does not know (tests/lighting/monte_carlo.py)."""
RATED_DOUBT = 0.25
DOUBT_FACTOR = 1.25

Stop = tuple[str, str | None]
"""A place id, or the two ids of a gap."""


@dataclass(frozen=True, slots=True)
class Evenness:
    """Least, mean and greatest light, and their ratios. `count` is the number of points."""

    least: float
    mean: float
    most: float
    count: int

    @property
    def uniformity(self) -> float:
        """Emin / Eavg."""
        return self.least / self.mean if self.mean > 0 else 0.0

    @property
    def diversity(self) -> float:
        """Emin / Emax."""
        return self.least / self.most if self.most > 0 else 0.0


def evenness(values: Iterable[float]) -> Evenness | None:
    """Uniformity of some readings, all in one unit; None without any."""
    found = list(values)
    if not found:
        return None
    return Evenness(min(found), sum(found) / len(found), max(found), len(found))


def lit_places(map_: PlayfieldMap) -> tuple[Place, ...]:
    """Places of general illumination that have a pixel and a position: those that the walk for evenness visits."""
    return tuple(
        place
        for place in map_.places
        if place.kind is Kind.GENERAL and place.position is not None and place.id in map_.pixels_at
    )


def stops(map_: PlayfieldMap, places: Sequence[Place] | None = None) -> tuple[Stop, ...]:
    """Every place and every gap between neighbours, in an order that a hand can follow: from near to far, left to right."""
    chosen = lit_places(map_) if places is None else [place for place in places if place.position is not None]
    at = [(p.position.x_mm, p.position.y_mm) for p in chosen if p.position is not None]
    found: list[tuple[float, float, Stop]] = [(y, x, (p.id, None)) for p, (x, y) in zip(chosen, at, strict=True)]
    for one, other in neighbours(at):
        x, y = (at[one][0] + at[other][0]) / 2, (at[one][1] + at[other][1]) / 2
        found.append((y, x, (chosen[one].id, chosen[other].id)))
    bands = sorted(found, key=lambda item: (item[0] // 100, item[1], item[0], item[2][1] is not None))
    return tuple(stop for _, _, stop in bands)


def point_of(map_: PlayfieldMap, stop: Stop) -> tuple[float, float] | None:
    """Where a stop is, in mm; None if one of its places is gone or has no position."""
    ends = [map_.place_by_id.get(name) for name in stop if name is not None]
    spots = [place.position for place in ends if place is not None and place.position is not None]
    if len(spots) != len(ends) or not spots:
        return None
    return sum(p.x_mm for p in spots) / len(spots), sum(p.y_mm for p in spots) / len(spots)


def readings_of(map_: PlayfieldMap, round_number: int) -> dict[Stop, Reading]:
    """The readings of one walk by stop, the last of each."""
    return {(r.place, r.to): r for r in map_.readings if r.round == round_number}


def last_round(map_: PlayfieldMap) -> int:
    """Number of the last walk, 0 if none was made."""
    return max((reading.round for reading in map_.readings), default=0)


def light_in(reading: Reading) -> float:
    """The light that a reading stands for: lux, linear light of a picture (0 to 1), or `RATED`."""
    if reading.rating is not None:
        return RATED[reading.rating]
    if reading.value is None:
        raise ValueError("a reading has a rating or a value")
    return reading.value if reading.measure is Measure.LUX else srgb_to_linear(min(255.0, reading.value))


BY_EYE = "by eye"


def measured(readings: Iterable[Reading]) -> tuple[Evenness | None, str]:
    """Evenness of a walk as it was read, and of what: numbers of one kind if there are any, else ratings."""
    found = list(readings)
    for measure, words in ((Measure.LUX, "lux"), (Measure.CAMERA, "camera")):
        values = [light_in(r) for r in found if r.value is not None and r.measure is measure]
        if len(values) >= 2:
            return evenness(values), words
    return evenness(light_in(r) for r in found if r.rating is not None), BY_EYE


LEAST_POINTS = 3
"""Points below which what was read says nothing of the whole. Own choice."""


def evenness_words(found: Evenness | None, of: str) -> str:
    """How even it is, in a line. Three ratings cannot tell what looks alike apart, so no percentage is made of one of them."""
    if found is None:
        return "nothing read"
    points = f"{many(found.count, 'point')}, {of}"
    if found.count < LEAST_POINTS:
        return f"too little read yet to say how even it is ({points})"
    if of == BY_EYE and found.least == found.most:
        return f"no difference seen ({points})"
    of_average, of_brightest = round(100 * found.uniformity), round(100 * found.diversity)
    return (
        f"the worst spot gets {of_average} % of the average and {of_brightest} % of the brightest"
        f" (Emin/Eavg {found.uniformity:.2f}; {points})"
    )


def candela(colour: Colour) -> float:
    """Light of a pixel straight up at this duty, cd."""
    values = (colour.red, colour.green, colour.blue, colour.white)
    return sum(v * mcd for v, mcd in zip(values, MILLICANDELA, strict=True)) / 255_000


def seat_of(place: Place) -> Seat:
    """How the pixels of a place sit, as far as the map holds it. Raises ValueError for a place without a position."""
    if place.position is None:
        raise ValueError(f"{place.label!r} has no position")
    depth = USUAL_DEPTH_MM if place.depth_mm is None else place.depth_mm
    return Seat(
        x_mm=place.position.x_mm,
        y_mm=place.position.y_mm,
        depth_mm=depth,
        diffuser=place.diffuser,
        hole_mm=min(WOOD_MM, max(0.0, depth - LEAST_DEPTH_MM)),
    )


@dataclass(frozen=True)
class Scene:
    """Pixels of general illumination and the points looked at. `lamps_cd`: light of each place now, cd straight up."""

    places: tuple[Place, ...]
    seats: tuple[Seat, ...]
    stops: tuple[Stop, ...]
    points: Array
    lamps_cd: Array

    def light(self, *, depth_factor: float = 1.0, seats: Sequence[Seat] | None = None) -> Array:
        """(stops, places) lux at each stop for 1 cd of each place."""
        chosen = [_deeper(seat, depth_factor) for seat in (self.seats if seats is None else seats)]
        return matrix(chosen, self.points)


def _deeper(seat: Seat, factor: float) -> Seat:
    return replace(seat, depth_mm=seat.hole_mm + max(LEAST_DEPTH_MM, seat.height_mm * factor))


def scene(map_: PlayfieldMap, *, levels: Mapping[str, int] | None = None) -> Scene:
    """The general illumination of a map. `levels`: those at which readings were taken, where they differ from now.

    Raises ValueError if fewer than two places have a pixel and a position.
    """
    places = lit_places(map_)
    if len(places) < 2:
        raise ValueError(
            "evenness needs two places of general illumination or more that have a pixel and a position: "
            "set kinds in the walk, positions in the picture"
        )
    order = stops(map_, places)
    points = np.array([point_of(map_, stop) for stop in order], dtype=np.float64)
    return Scene(places, tuple(seat_of(p) for p in places), order, points, lamps_cd(map_, places, levels))


def lamps_cd(map_: PlayfieldMap, places: Sequence[Place], levels: Mapping[str, int] | None = None) -> Array:
    """Light of each place straight up, cd: all its pixels, at its level and colour."""
    found = []
    for place in places:
        level, colour = light_of(map_, map_.place_by_id.get(place.id, place))
        level = (levels or {}).get(place.id, level)
        found.append(candela(at_level(colour, level)) * len(map_.pixels_at.get(place.id, ())))
    return np.array(found, dtype=np.float64)


@dataclass(frozen=True)
class Fit:
    """The light model fitted to a walk.

    `gain`: what each place really gives, of what the model computes; `depth_factor` on all depths; `elsewhere_lux` from other
    light, on the scale of the model. `draws`: (n, places + 2) samples of log gains, log depth factor and elsewhere share,
    as sure as the readings are. `local`: logs of what each stop showed beyond the model (plastics pass more here than
    there), 0 where nothing was read, and the doubt of that. `misfit`: root mean square of (read - model) in units of the reading's own doubt.
    """

    scene: Scene
    gain: Array
    depth_factor: float
    elsewhere_lux: float
    draws: Array
    misfit: float
    read: frozenset[Stop]
    rated_only: bool
    local: Array = field(default_factory=lambda: np.zeros(0))
    local_doubt: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def coverage(self) -> float:
        """Share of the stops that were read."""
        return len(self.read) / len(self.scene.stops)

    @property
    def seen_places(self) -> frozenset[str]:
        """Places that were read themselves, or at a gap beside them."""
        return frozenset(name for stop in self.read for name in stop if name is not None)

    def light(self, lamps: Array, *, seats: Sequence[Seat] | None = None, draw: Array | None = None) -> Array:
        """Lux (model scale) at every stop with these lamps, cd."""
        gain, factor, elsewhere = self.gain, self.depth_factor, self.elsewhere_lux
        if draw is not None:
            gain, factor = np.exp(draw[:-2]), math.exp(draw[-2])
            elsewhere = self.elsewhere_lux * math.exp(draw[-1])
        if seats is not None and len(seats) > len(gain):
            gain = np.concatenate([gain, np.ones(len(seats) - len(gain))])
        own = self.scene.light(depth_factor=factor, seats=seats) @ (gain * lamps) + elsewhere
        return np.asarray(own * self.passing)

    @property
    def passing(self) -> Array:
        """What each stop shows of the model's light."""
        return np.exp(self.local) if len(self.local) else np.ones(len(self.scene.stops))


DRAWS = 64


def fit(map_: PlayfieldMap, readings: Mapping[Stop, Reading]) -> Fit:
    """Fit the light model to the readings of one walk. Raises ValueError if there are fewer than three that can be used."""
    levels: dict[str, int] = {}
    for (place, to), reading in readings.items():
        levels.setdefault(place, reading.level)
        if to is not None and reading.to_level is not None:
            levels.setdefault(to, reading.to_level)
    here = scene(map_, levels=levels)
    rows = [row for row, stop in enumerate(here.stops) if stop in readings and light_in(readings[stop]) > 0]
    if len(rows) < LEAST_POINTS:
        raise ValueError(f"{many(len(rows), 'reading')}: rate three stops or more")
    used = [readings[here.stops[row]] for row in rows]
    kinds = ["rated" if r.rating is not None else r.measure.value for r in used]
    seen = np.log([light_in(r) for r in used])
    sigma = np.array([SIGMA_LOG_WITHIN if r.rating is not None else SIGMA_LOG[r.measure] for r in used])
    ranges = [RATED_BETWEEN[r.rating] if r.rating is not None else (0.0, math.inf) for r in used]
    limits = np.array([[math.log(low) if low else -math.inf, math.log(high)] for low, high in ranges])
    problem = _Problem(here, rows, seen, sigma, limits, kinds)
    return problem.solved()


@dataclass
class _Problem:
    """Parameters: log gain of each place, log depth factor, log of light from elsewhere over its prior, then a log scale
    for each kind of reading."""

    here: Scene
    rows: list[int]
    seen: Array
    sigma: Array
    limits: Array
    kinds: list[str]
    names: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self.names = list(dict.fromkeys(self.kinds))
        self.places = len(self.here.places)
        self.scale_of = np.array([self.names.index(kind) for kind in self.kinds])
        plain = self.here.light()[self.rows] @ self.here.lamps_cd
        first = np.log(np.maximum(plain, 1e-12))
        self.start_scale = np.array(
            [float(np.mean((self.seen - first)[self.scale_of == k])) for k in range(len(self.names))]
        )

    def own_light(self, x: Array) -> Array:
        """Light of the pixels at the stops read."""
        gain, factor = np.exp(x[: self.places]), math.exp(x[self.places])
        return np.asarray(self.here.light(depth_factor=factor)[self.rows] @ (gain * self.here.lamps_cd))

    def elsewhere(self, x: Array) -> float:
        """Light from elsewhere, a share of the mean of that."""
        return PRIOR_ELSEWHERE * math.exp(x[self.places + 1]) * max(float(np.mean(self.own_light(x))), 1e-12)

    def model(self, x: Array) -> Array:
        light = self.own_light(x)
        elsewhere = PRIOR_ELSEWHERE * math.exp(x[self.places + 1]) * max(float(np.mean(light)), 1e-12)
        scales: Array = x[self.places + 2 :]
        return np.asarray(np.log(light + elsewhere) + scales[self.scale_of])

    def misfit(self, x: Array) -> float:
        """Root mean square of what the readings are off by, in units of their own doubt; ratings count outside their range."""
        model = self.model(x)
        outside = (model - np.clip(model, self.limits[:, 0], self.limits[:, 1])) / SIGMA_LOG_RATED
        rated = np.array([kind == "rated" for kind in self.kinds])
        return float(np.sqrt(np.mean(np.where(rated, outside, (model - self.seen) / self.sigma) ** 2)))

    def residuals(self, x: Array) -> Array:
        priors = np.concatenate(
            [x[: self.places] / PRIOR_GAIN, [x[self.places] / PRIOR_DEPTH, x[self.places + 1] / PRIOR_ELSEWHERE_LOG]]
        )
        model = self.model(x)
        outside = model - np.clip(model, self.limits[:, 0], self.limits[:, 1])
        return np.concatenate([(model - self.seen) / self.sigma, outside / SIGMA_LOG_RATED, priors])

    def solved(self) -> Fit:
        size = self.places + 2
        start = np.concatenate([np.zeros(size), self.start_scale])
        limit = np.concatenate(
            [np.full(self.places, math.log(6)), [math.log(8), math.log(MOST_ELSEWHERE)], np.full(len(self.names), 60.0)]
        )
        found = least_squares(self.residuals, start, bounds=(-limit, limit), method="trf", max_nfev=60)
        x = np.asarray(found.x, dtype=np.float64)
        jacobian = np.asarray(found.jac, dtype=np.float64)
        information = jacobian.T @ jacobian + 1e-9 * np.eye(len(x))
        covariance = np.linalg.inv(information)
        rng = np.random.default_rng(1)
        noise = rng.standard_normal((DRAWS, len(x))) @ np.linalg.cholesky((covariance + covariance.T) / 2).T
        draws = np.clip(x + noise, -limit, limit)[:, :size]
        draws[:, -1] -= x[size - 1]
        return Fit(
            self.here,
            np.exp(x[: self.places]),
            math.exp(x[self.places]),
            self.elsewhere(x),
            draws,
            self.misfit(x),
            frozenset(self.here.stops[row] for row in self.rows),
            self.names == ["rated"],
            *self.local(x),
        )

    def local(self, x: Array) -> tuple[Array, Array]:
        """What the stops show beyond the model, shrunk by how far a reading can be trusted; and what doubt is left."""
        beyond, doubt = np.zeros(len(self.here.stops)), np.full(len(self.here.stops), LOCAL)
        model = self.model(x)
        for at, row in enumerate(self.rows):
            if self.kinds[at] == "rated":
                low, high = self.limits[at]
                off, noise = float(np.clip(model[at], low, high) - model[at]), SIGMA_LOG_RATED
                noise = math.hypot(noise, RATED_DOUBT)
            else:
                off, noise = float(self.seen[at] - model[at]), float(self.sigma[at])
            beyond[row] = off * LOCAL**2 / (LOCAL**2 + noise**2)
            doubt[row] = DOUBT_FACTOR * LOCAL * noise / math.hypot(LOCAL, noise)
        return beyond, doubt


FAR_MM = 400.0
"""Longer gaps are not lit by their two ends alone; common practice, no source."""


def neighbours(points: Sequence[tuple[float, float]], *, far_mm: float = FAR_MM) -> tuple[tuple[int, int], ...]:
    """Pairs of points with no third one in or on the circle of which they are a diameter (Gabriel 1969), up to `far_mm` apart.

    Points at the same position are never a pair. In order of the first, then the second.
    """
    found = []
    for one, other in _candidates(points):
        (ax, ay), (bx, by) = points[one], points[other]
        length = math.hypot(ax - bx, ay - by)
        if not 0 < length <= far_mm:
            continue
        cx, cy = (ax + bx) / 2, (ay + by) / 2
        inside = any(
            math.hypot(x - cx, y - cy) < length / 2 + 1e-9 for at, (x, y) in enumerate(points) if at not in (one, other)
        )
        if not inside:
            found.append((one, other))
    return tuple(sorted(found))


def _candidates(points: Sequence[tuple[float, float]]) -> set[tuple[int, int]]:
    """Every Gabriel pair is an edge of the Delaunay triangles; few or collinear points have none, then all pairs are."""
    count = len(points)
    if len(set(points)) == count and count > 12:
        try:
            triangles = Delaunay(np.array(points)).simplices
        except QhullError:
            pass
        else:
            return {
                (min(a, b), max(a, b))
                for t in triangles.tolist()
                for a, b in ((t[0], t[1]), (t[1], t[2]), (t[0], t[2]))
            }
    return {(a, b) for a in range(count) for b in range(a + 1, count)}
