"""Which places are neighbours: between them lie the gaps that a person looks at."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.spatial import Delaunay, QhullError

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
