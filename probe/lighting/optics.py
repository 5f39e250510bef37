"""Illuminance on the playfield from pixels below it. Units: mm, candela per unit of gain, lux where gain is in candela.

A pixel sits `depth` below the surface, which it lights straight up. Seen from it, a point at distance r on the surface
lies at angle a off the axis, cos a = depth / sqrt(depth² + r²). With the generalised Lambert law for the beam and the
inverse-square and cosine laws for the surface:

    E = I0 · cos^m a · cos a / (depth² + r²)          m = ln 0.5 / ln cos(half angle)

Half angle is where intensity has fallen to half: 60° for a bare pixel (m = 1). A diffuser makes any beam Lambertian
(m = 1), keeps back part of the light, and makes the source as wide as itself: half its radius squared is added to
depth² + r², near enough the mean over a disc. What plastics, rubbers and posts shade is not known to the model.

A pixel below the wood's top sits in a hole. Straight light reaches only what is seen of the pixel through the hole's rim
(its own width makes that edge soft). The rest falls on the wall, a diffuse cylinder of which a part comes back: by the view
factors of a cylinder's wall and ends [1], all bounces together, it leaves the hole as from a Lambertian disc as wide as
the hole. So a deeper seat in a hole gives less light and a smaller spot, where without a hole it would spread. A diffuser
over a hole makes all that leaves it such a disc.

 [1] Two coaxial discs and the cylinder between them: F12 = 1 + (1 - sqrt(4R² + 1)) / (2R²), R = radius / length
     (textbook of radiative heat transfer; from memory, and checked in the tests by a Monte Carlo of its own).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BARE_HALF_ANGLE_DEG = 60.0
"""Bare 5050 pixels: viewing angle 120°, as makers state it."""
DIFFUSER_PASSES = 0.6
"""From memory: thin white plastic passes about that."""
DIFFUSER_RADIUS_MM = 12.0
"""Own choice: a piece a little wider than the pixel."""
LEAST_DEPTH_MM = 3.0
WOOD_MM = 12.7
"""Half an inch of plywood: common practice, no source."""
USUAL_DEPTH_MM = WOOD_MM + 25.0
"""At the bottom of the wood, plastics an inch above it: common practice, no source."""
HOLE_RADIUS_MM = 8.0
"""A lamp's hole of about 5/8 in: common practice, no source."""
WALL_REFLECTS = 0.35
"""Raw plywood, from memory; painted white 0.8."""
PIXEL_RADIUS_MM = 2.0
"""Of the part of a 5050 pixel that shines."""


def lambert_exponent(half_angle_deg: float) -> float:
    """m of a beam whose intensity halves at that angle. Raises ValueError outside 1 to 89 degrees."""
    if not 1 <= half_angle_deg <= 89:
        raise ValueError(f"half angle {half_angle_deg}°: 1 to 89")
    return math.log(0.5) / math.log(math.cos(math.radians(half_angle_deg)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """How a pixel sits: its point on the playfield, depth below the surface, beam, and whether a diffuser is on it.

    `hole_mm`: how much of the depth is in a hole in the wood, below its top; the rest lies open above.
    """

    x_mm: float
    y_mm: float
    depth_mm: float = USUAL_DEPTH_MM
    half_angle_deg: float = BARE_HALF_ANGLE_DEG
    diffuser: bool = False
    hole_mm: float = 0.0
    hole_radius_mm: float = HOLE_RADIUS_MM
    wall_reflects: float = WALL_REFLECTS

    @property
    def height_mm(self) -> float:
        """From the top of the wood to the surface lit."""
        return max(LEAST_DEPTH_MM, self.depth_mm - self.hole_mm)

    def leaving(self) -> tuple[float, float]:
        """Shares of the pixel's light that leave its hole straight, and by way of the wall."""
        if self.hole_mm <= 0:
            return 1.0, 0.0
        deep = self.hole_mm
        caught = math.pow(deep / math.hypot(deep, self.hole_radius_mm), self.exponent + 1)
        return 1 - caught, caught * self.wall_returns()

    def wall_returns(self) -> float:
        """Share of the light on the wall that leaves by the top; what falls to the bottom is lost [1]."""
        ratio = self.hole_radius_mm / self.hole_mm
        across = 1 + (1 - math.sqrt(4 * ratio**2 + 1)) / (2 * ratio**2)
        to_end = (1 - across) * ratio / 2
        return self.wall_reflects * to_end / (1 - self.wall_reflects * (1 - 2 * to_end))

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
        if seat.hole_mm > 0:
            out[:, column] = _from_hole(seat, apart)
            continue
        blur = (DIFFUSER_RADIUS_MM / 1000) ** 2 / 2 if seat.diffuser else 0.0
        square = depth**2 + apart + blur
        cosine = depth / np.sqrt(square)
        out[:, column] = seat.passes * cosine ** (seat.exponent + 1) / square
    return out


def _from_hole(seat: Seat, apart_m2: Array) -> Array:
    """Illuminance from a pixel in a hole, for one candela straight up of the bare pixel."""
    straight, wall = seat.leaving()
    flux = 2 * math.pi / (seat.exponent + 1)
    disc = flux * (seat.passes * (straight + wall) if seat.diffuser else wall) / math.pi
    height, radius = seat.height_mm / 1000, seat.hole_radius_mm / 1000
    square = height**2 + apart_m2 + radius**2 / 2
    light: Array = disc * height**2 / square**2
    if seat.diffuser:
        return light
    hole = seat.hole_mm / 1000
    depth = hole + height
    crosses = np.sqrt(apart_m2) * hole / depth  # where the straight line passes the rim's plane
    soft = PIXEL_RADIUS_MM / 1000 * height / depth
    seen = np.clip((radius + soft - crosses) / (2 * soft), 0.0, 1.0)
    square = depth**2 + apart_m2
    return light + seen * (depth / np.sqrt(square)) ** (seat.exponent + 1) / square
