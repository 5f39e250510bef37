"""Shortest ways round keep-outs, in mm: a visibility graph over the corners of convex obstacles.

A keep-out grown by its clearance is a convex polygon: a rectangle stays one, a circle becomes the regular polygon of
`CIRCLE_CORNERS` corners around it, so that a way never comes closer than the clearance (and is at most 0.9 % longer than
along the arc). A way may touch a polygon and run along its edge. The shortest way between two points turns only at
corners of polygons (Lozano-Pérez and Wesley, 1979), so the shortest paths in the graph of corners that see each other are exact.

A point inside a keep-out may leave it straight: that keep-out does not bar the stretch that begins there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, sin

import numpy as np
import numpy.typing as npt

from probe.document.model.planning import KeepOut, KeepOutShape

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

CIRCLE_CORNERS = 24
TOUCH_MM = 1e-7
"""A way that runs less than this far inside a polygon touches it."""


def outline(keep_out: KeepOut) -> Array:
    """Corners of the keep-out grown by its clearance, counter-clockwise; shape (corners, 2), mm."""
    x, y, clear = keep_out.x_mm, keep_out.y_mm, keep_out.clearance_mm
    if keep_out.kind is KeepOutShape.CIRCLE:
        reach = ((keep_out.radius_mm or 0.0) + clear) / cos(pi / CIRCLE_CORNERS)
        turns = [2 * pi * k / CIRCLE_CORNERS for k in range(CIRCLE_CORNERS)]
        return np.array([(x + reach * cos(turn), y + reach * sin(turn)) for turn in turns])
    left, near = x - clear, y - clear
    right, far = x + (keep_out.width_mm or 0.0) + clear, y + (keep_out.height_mm or 0.0) + clear
    return np.array([(left, near), (right, near), (right, far), (left, far)])


def _inside(points: Array, polygon: Array) -> npt.NDArray[np.bool_]:
    """Which points lie inside a convex polygon, by more than a touch."""
    normals, offsets = _half_planes(polygon)
    return np.asarray((points @ normals.T - offsets < -TOUCH_MM).all(axis=1))


def _half_planes(polygon: Array) -> tuple[Array, Array]:
    """Unit outward normals and offsets: inside is `normal @ p < offset` for each edge."""
    along = np.roll(polygon, -1, axis=0) - polygon
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    normals = np.column_stack((along[:, 1], -along[:, 0]))
    return normals, (normals * polygon).sum(axis=1)


def _barred(begins: Array, ends: Array, polygon: Array) -> npt.NDArray[np.bool_]:
    """Which straight stretches run through a convex polygon; `begins` and `ends` have shape (stretches, 2)."""
    along = ends - begins
    length = np.hypot(along[:, 0], along[:, 1])
    enter, leave = np.zeros(len(begins)), np.ones(len(begins))
    for normal, offset in zip(*_half_planes(polygon), strict=True):
        height = begins @ normal - offset  # below 0 is inside
        rise = along @ normal
        with np.errstate(divide="ignore", invalid="ignore"):
            at = -height / rise
        level = np.abs(rise) <= 1e-12 * np.maximum(length, 1e-12)
        enter = np.where(~level & (rise < 0), np.maximum(enter, at), enter)
        leave = np.where(~level & (rise > 0), np.minimum(leave, at), leave)
        leave = np.where(level & (height > -TOUCH_MM), -1.0, leave)
    # A stretch that only grazes an edge has its middle on it.
    middle = begins + along * ((enter + leave) / 2)[:, None]
    through = (leave - enter) * length > TOUCH_MM
    found = np.zeros(len(begins), dtype=bool)
    found[through] = _inside(middle[through], polygon)
    return found


@dataclass(frozen=True)
class Routes:
    """Shortest ways between points round keep-outs.

    `length_mm` has shape (points, points); `inside[k]` says in which keep-out point k lies, -1 for none.
    """

    points: Array
    length_mm: Array
    inside: npt.NDArray[np.int_]
    _corners: Array
    _sees: Array
    _between: Array

    def way(self, begin: int, end: int) -> tuple[Point, ...]:
        """The corners of the shortest way between two points, both ends included."""
        first, last = self._pair(begin, end)
        ends = (tuple(self.points[begin].tolist()), tuple(self.points[end].tolist()))
        if first < 0:
            return ends
        return (ends[0], *self._along(first, last), ends[1])

    def _pair(self, begin: int, end: int) -> tuple[int, int]:
        straight = float(np.hypot(*(self.points[begin] - self.points[end])))
        if not len(self._corners) or self.length_mm[begin, end] <= straight + 1e-9:
            return -1, -1
        through = self._sees[begin][:, None] + self._between + self._sees[end][None, :]
        first, last = divmod(int(np.argmin(through)), len(self._corners))
        return first, last

    def _along(self, first: int, last: int) -> list[Point]:
        """Corners from one corner to another: each next one is on a shortest way."""
        at, way = first, [first]
        while at != last:
            rest = self._between[at] + self._between[:, last]
            on_way = [
                k
                for k in np.flatnonzero(rest <= self._between[at, last] + 1e-6).tolist()
                if k not in way and self._between[k, last] < self._between[at, last]
            ]
            at = min(on_way, key=lambda k: self._between[way[-1], k])
            way.append(at)
        return [tuple(self._corners[k].tolist()) for k in way]


def routes(points: Sequence[Point], keep_outs: Sequence[KeepOut]) -> Routes:
    """Shortest ways between all points. Points that no way joins (walled in) are infinitely far apart."""
    from scipy.sparse.csgraph import shortest_path

    spots = np.asarray(points, dtype=float).reshape(-1, 2)
    polygons = [outline(keep_out) for keep_out in keep_outs]
    inside = np.full(len(spots), -1)
    in_polygon = np.zeros((len(polygons), len(spots)), dtype=bool)
    for k, polygon in enumerate(polygons):
        in_polygon[k] = _inside(spots, polygon)
        inside[in_polygon[k] & (inside < 0)] = k
    corners = np.concatenate(polygons) if polygons else np.zeros((0, 2))
    hidden = np.zeros(len(corners), dtype=bool)
    for polygon in polygons:
        hidden |= _inside(corners, polygon)
    corners = corners[~hidden]
    everything = np.concatenate((spots, corners))
    count, whole = len(spots), len(everything)
    one, other = np.triu_indices(whole, 1)
    clear = np.ones(len(one), dtype=bool)
    for k, polygon in enumerate(polygons):
        low, high = polygon.min(axis=0), polygon.max(axis=0)
        begin, end = everything[one], everything[other]
        near = clear & ~((np.maximum(begin, end) <= low).any(axis=1) | (np.minimum(begin, end) >= high).any(axis=1))
        own = np.concatenate((in_polygon[k], np.zeros(len(corners), dtype=bool)))
        near &= ~(own[one] | own[other])
        at = np.flatnonzero(near)
        clear[at[_barred(everything[one[at]], everything[other[at]], polygon)]] = False
    straight = np.full((whole, whole), np.inf)
    apart = np.hypot(*(everything[one] - everything[other]).T)
    straight[one[clear], other[clear]] = apart[clear]
    straight = np.minimum(straight, straight.T)
    np.fill_diagonal(straight, 0.0)
    length = straight[:count, :count]
    sees, between = straight[:count, count:], straight[count:, count:]
    if len(corners):
        between = shortest_path(np.where(np.isfinite(between), between, 0.0), directed=False)
        reach = _min_plus(sees, between)
        length = np.minimum(length, _min_plus(reach, sees.T))
    return Routes(spots, length, inside, corners, sees, between)


def _min_plus(one: Array, other: Array) -> Array:
    """The least sum over the shared index for each pair of rows and columns."""
    found = np.full((one.shape[0], other.shape[1]), np.inf)
    for k in range(one.shape[1]):
        np.minimum(found, one[:, k, None] + other[None, k, :], out=found)
    return found
