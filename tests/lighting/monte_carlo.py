"""Light by rays, as an outside reference: nothing here knows the program's formulas.

A Lambertian pixel (a disc) at the bottom of a hole: each ray starts anywhere on it, in a cosine-distributed direction. On the
hole's wall it is lost or scattered, again cosine-distributed about the wall's normal; down to the bottom it is lost. What
leaves the rim flies on to a diffuse plastic at some height, which scatters sideways by a few millimetres and shows from
above what has come to it. A lamp that is not Lambertian, tilted, off the hole's middle, or under a plastic that passes more
here than there is unlike the program's model: `World` draws such ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BOUNCES = 12


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """A pixel in its hole. mm; `tilt` in radians along x; `off_mm` from the hole's middle."""

    hole_mm: float
    radius_mm: float
    height_mm: float
    reflects: float
    pixel_mm: float = 2.0
    tilt: float = 0.0
    off_mm: float = 0.0
    spread_mm: float = 0.0
    capped: float = 0.0  # what a white cap over the rim lets through; 0: no cap


def _cosine(rng: np.random.Generator, count: int) -> Floats:
    """Directions about +z with density cos/pi."""
    u, phi = rng.random(count), 2 * np.pi * rng.random(count)
    sine = np.sqrt(u)
    return np.stack([sine * np.cos(phi), sine * np.sin(phi), np.sqrt(1 - u)], axis=1)


def landed(lamp: Lamp, *, rays: int, seed: int) -> Floats:
    """Where rays reach the plastic, (n, 2) mm from the hole's middle."""
    rng = np.random.default_rng(seed)
    r, phi = lamp.pixel_mm * np.sqrt(rng.random(rays)), 2 * np.pi * rng.random(rays)
    at = np.stack([lamp.off_mm + r * np.cos(phi), r * np.sin(phi), np.zeros(rays)], axis=1)
    way = _cosine(rng, rays)
    c, s = np.cos(lamp.tilt), np.sin(lamp.tilt)
    way = np.stack([c * way[:, 0] + s * way[:, 2], way[:, 1], -s * way[:, 0] + c * way[:, 2]], axis=1)
    way = way[way[:, 2] > 1e-6] if lamp.tilt else way
    at = at[: len(way)]
    out_at, out_way = [], []
    for _ in range(BOUNCES):
        if not len(at):
            break
        if lamp.hole_mm <= 0:
            out_at.append(at)
            out_way.append(way)
            break
        # Distance to the cylinder, in the plane; then to the rim's or the bottom's plane.
        a = way[:, 0] ** 2 + way[:, 1] ** 2
        b = at[:, 0] * way[:, 0] + at[:, 1] * way[:, 1]
        room = lamp.radius_mm**2 - at[:, 0] ** 2 - at[:, 1] ** 2
        to_wall = np.where(a > 1e-15, (-b + np.sqrt(np.maximum(b * b + a * room, 0))) / np.maximum(a, 1e-15), np.inf)
        up = way[:, 2] > 0
        end = np.where(up, (lamp.hole_mm - at[:, 2]) / np.where(up, way[:, 2], 1.0), np.inf)
        down = np.where(way[:, 2] < 0, -at[:, 2] / np.where(way[:, 2] < 0, way[:, 2], -1.0), np.inf)
        leaves = end < np.minimum(to_wall, down)
        out_at.append(at[leaves] + end[leaves, None] * way[leaves])
        out_way.append(way[leaves])
        wall = (to_wall < np.minimum(end, down)) & (rng.random(len(at)) < lamp.reflects)
        at = at[wall] + to_wall[wall, None] * way[wall]
        normal = -np.stack([at[:, 0], at[:, 1], np.zeros(len(at))], axis=1) / lamp.radius_mm
        scattered = _cosine(rng, len(at))
        along = np.stack([-normal[:, 1], normal[:, 0], np.zeros(len(at))], axis=1)
        upward = np.tile([0.0, 0.0, 1.0], (len(at), 1))
        way = scattered[:, :1] * along + scattered[:, 1:2] * upward + scattered[:, 2:] * normal
        at = at + 1e-9 * normal
    at, way = np.concatenate(out_at), np.concatenate(out_way)
    if lamp.capped:
        kept = rng.random(len(at)) < lamp.capped
        at, way = at[kept], _cosine(rng, int(kept.sum()))
    hit = at[:, :2] + way[:, :2] * (lamp.height_mm / way[:, 2])[:, None]
    return hit + lamp.spread_mm * rng.standard_normal(hit.shape) if lamp.spread_mm else hit


def profile(lamp: Lamp, radii_mm: Floats, *, rays: int, seed: int, window_mm: float = 4.0) -> Floats:
    """Illuminance at distances from the axis, lux for one candela straight up (pi lumen), averaged around the axis."""
    hits = np.hypot(*landed(lamp, rays=rays, seed=seed).T)
    found = []
    for radius in radii_mm:
        low, high = max(0.0, radius - window_mm / 2), radius + window_mm / 2
        area_m2 = np.pi * (high**2 - low**2) / 1e6
        found.append(np.pi * np.count_nonzero((hits >= low) & (hits < high)) / rays / area_m2)
    return np.array(found)


METER_MM = 8.0  # radius of what a light meter looks at


class World:
    """General illumination as it might really be: a map's places, each with a lamp of its own kind, looked at from above."""

    def __init__(self, spots_mm: Floats, points_mm: Floats, *, seed: int, rays: int = 40_000) -> None:
        self.rng = np.random.default_rng(seed)
        draw, count = self.rng.uniform, len(spots_mm)
        self.spots, self.points, self.rays, self.seed = spots_mm, points_mm, rays, seed
        height, wood = draw(20, 45), draw(8, 14)
        self.lamps = [
            Lamp(
                hole_mm=max(0.0, wood + draw(-3, 3)), radius_mm=draw(6, 9), height_mm=height, reflects=draw(0.2, 0.6),
                tilt=draw(-0.15, 0.15), off_mm=draw(-1.5, 1.5), spread_mm=draw(1, 4),
            )
            for _ in range(count)
        ]  # fmt: skip
        self.gains = np.exp(0.25 * self.rng.standard_normal(count))
        self.passes = np.exp(0.15 * self.rng.standard_normal(len(points_mm)))
        self.elsewhere = draw(0.02, 0.1)
        self.reach = np.stack([self.column(at, lamp) for at, lamp in enumerate(self.lamps)], axis=1)

    def column(self, at: int, lamp: Lamp) -> Floats:
        """What one lamp gives at every point for 1 cd, lux."""
        hits = landed(lamp, rays=self.rays, seed=1000 * self.seed + at) + self.spots[at]
        apart = np.hypot(hits[:, None, 0] - self.points[None, :, 0], hits[:, None, 1] - self.points[None, :, 1])
        share = np.count_nonzero(apart < METER_MM, axis=0) / self.rays
        return np.asarray(np.pi * share / (np.pi * METER_MM**2 / 1e6))

    def light(self, lamps_cd: Floats, before_cd: Floats, reach: Floats | None = None) -> Floats:
        """Lux above the plastic at every point; light from elsewhere is what it was beside the lamps `before`."""
        own = (self.reach if reach is None else reach) @ (self.gains * lamps_cd)
        mean = float(np.mean(self.reach @ (self.gains * before_cd)))
        return np.asarray((own + self.elsewhere * mean) * self.passes)
