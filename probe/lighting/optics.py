"""Illuminance on the playfield from pixels below it. Units: mm, candela per unit of gain, lux where gain is in candela.

A pixel sits `depth` below the surface, which it lights straight up. Seen from it, a point at distance r on the surface
lies at angle a off the axis, cos a = depth / sqrt(depth² + r²). With the generalised Lambert law for the beam and the
inverse-square and cosine laws for the surface:

    E = I0 · cos^m a · cos a / (depth² + r²)          m = ln 0.5 / ln cos(half angle)

Half angle is where intensity has fallen to half: 60° for a bare pixel (m = 1). A diffuser makes any beam Lambertian
(m = 1), keeps back part of the light, and makes the source as wide as itself: half its radius squared is added to
depth² + r², near enough the mean over a disc. What plastics, rubbers and posts shade is not known to the model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BARE_HALF_ANGLE_DEG = 60.0
"""Bare 5050 pixels: viewing angle 120°, as makers state it."""
USUAL_DEPTH_MM = 20.0
"""Common practice, no source: wood of 12.7 mm and a little more."""
DIFFUSER_PASSES = 0.6
"""From memory: thin white plastic passes about that."""
DIFFUSER_RADIUS_MM = 12.0
"""Own choice: a piece a little wider than the pixel."""
LEAST_DEPTH_MM = 3.0


def lambert_exponent(half_angle_deg: float) -> float:
    """m of a beam whose intensity halves at that angle. Raises ValueError outside 1 to 89 degrees."""
    if not 1 <= half_angle_deg <= 89:
        raise ValueError(f"half angle {half_angle_deg}°: 1 to 89")
    return math.log(0.5) / math.log(math.cos(math.radians(half_angle_deg)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """How a pixel sits: its point on the playfield, depth below the surface, beam, and whether a diffuser is on it."""

    x_mm: float
    y_mm: float
    depth_mm: float = USUAL_DEPTH_MM
    half_angle_deg: float = BARE_HALF_ANGLE_DEG
    diffuser: bool = False

    @property
    def exponent(self) -> float:
        """m of its beam."""
        return 1.0 if self.diffuser else lambert_exponent(self.half_angle_deg)

    @property
    def passes(self) -> float:
        """Share of the light that comes through."""
        return DIFFUSER_PASSES if self.diffuser else 1.0


def share(*, depth_mm: float, offset_mm: float, exponent: float) -> float:
    """Illuminance at an offset, of that straight above the same pixel: cos^(m+3) a on a flat surface."""
    return math.pow(depth_mm / math.hypot(depth_mm, offset_mm), exponent + 3)


def matrix(seats: list[Seat], points: Array) -> Array:
    """(points, seats) illuminance at each point for one candela straight up of each pixel, lux. `points`: (n, 2) mm."""
    out = np.empty((len(points), len(seats)))
    for column, seat in enumerate(seats):
        depth = max(LEAST_DEPTH_MM, seat.depth_mm) / 1000
        apart = ((points[:, 0] - seat.x_mm) ** 2 + (points[:, 1] - seat.y_mm) ** 2) / 1e6
        blur = (DIFFUSER_RADIUS_MM / 1000) ** 2 / 2 if seat.diffuser else 0.0
        square = depth**2 + apart + blur
        cosine = depth / np.sqrt(square)
        out[:, column] = seat.passes * cosine ** (seat.exponent + 1) / square
    return out
