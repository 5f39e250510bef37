"""Shapes as strokes: what a pen would draw of a flipper or a bumper, in mm of the playfield.

Each kind is one function from its sizes to strokes, drawn around the point where the shape stands; `strokes_of` turns,
mirrors and moves them. Nothing here knows of cells or paper.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache

from probe.document.model.shape import Point, Shape, ShapeKind
from probe.frozen import frozen

Sizes = dict[str, float]


@frozen
class Stroke:
    """A line through `points` (mm). `tier` 0 is always drawn, 1 and 2 only where the drawing is fine enough for them.

    `fill`: the line encloses an area that is filled. `dotted`: drawn lightly.
    """

    points: tuple[Point, ...]
    tier: int = 0
    fill: bool = False
    dotted: bool = False


MOVING_PARTS = frozenset(
    {
        ShapeKind.FLIPPER,
        ShapeKind.SLINGSHOT,
        ShapeKind.BUMPER,
        ShapeKind.DROP_TARGETS,
        ShapeKind.STANDING_TARGETS,
        ShapeKind.SPINNER,
        ShapeKind.SAUCER,
        ShapeKind.ROLLOVER_LANES,
    }
)
"""What the ball plays with: drawn one step brighter than walls and guides."""


@lru_cache(maxsize=1_024)
def strokes_of(shape: Shape) -> tuple[Stroke, ...]:
    """The strokes of a shape where it stands, in mm of the playfield."""
    draw = _DRAWN[shape.kind] if shape.kind in _DRAWN else _by_points(shape)
    place = placing(shape)
    return tuple(
        Stroke(tuple(map(place, stroke.points)), stroke.tier, stroke.fill, stroke.dotted)
        for stroke in draw(shape.sizes)
    )


def placing(shape: Shape) -> Callable[[Point], Point]:
    """From a point in the shape's own mm to where it lies on the playfield: turned, then mirrored, then moved."""
    turn = math.radians(shape.turn_deg)
    cos, sin, side = math.cos(turn), math.sin(turn), -1 if shape.mirror else 1

    def place(point: Point) -> Point:
        x, y = point
        return shape.x_mm + side * (x * cos - y * sin), shape.y_mm + x * sin + y * cos

    return place


def extent_of(shape: Shape) -> tuple[float, float, float, float]:
    """The box around a shape: left, near, right and far edge in mm."""
    points = [point for stroke in strokes_of(shape) for point in stroke.points]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def arc(centre: Point, radius: Point, start_deg: float, end_deg: float, steps: int) -> tuple[Point, ...]:
    """Points on an ellipse's arc; angles to the left from the right-hand side."""
    (x, y), (across, up) = centre, radius
    turns = (math.radians(start_deg + (end_deg - start_deg) * k / steps) for k in range(steps + 1))
    return tuple((x + across * math.cos(turn), y + up * math.sin(turn)) for turn in turns)


def circle(radius_mm: float, centre: Point = (0.0, 0.0), steps: int = 36) -> tuple[Point, ...]:
    """A closed circle."""
    return arc(centre, (radius_mm, radius_mm), 0, 360, steps)


def curve(points: Sequence[Point], steps: int = 8) -> tuple[Point, ...]:
    """A smooth line through points: a Catmull-Rom spline (Catmull and Rom 1974, from memory), uniform."""
    if len(points) < 3:
        return tuple(points)
    through = [points[0], *points, points[-1]]
    found: list[Point] = []
    for a, b, c, d in zip(through, through[1:], through[2:], through[3:], strict=False):
        for k in range(steps):
            t = k / steps
            x, y = (
                0.5 * (2 * q + (r - p) * t + (2 * p - 5 * q + 4 * r - s) * t**2 + (3 * q - p - 3 * r + s) * t**3)
                for p, q, r, s in zip(a, b, c, d, strict=True)
            )
            found.append((x, y))
    return (*found, points[-1])


def _box(left: float, near: float, right: float, far: float) -> tuple[Point, ...]:
    return (left, near), (left, far), (right, far), (right, near), (left, near)


def _outline(s: Sizes) -> Iterable[Stroke]:
    """From the near left corner: the walls with the arch at the far end; the cabinet around them."""
    inset, width, length, arch = s["inset_mm"], s["width_mm"], s["length_mm"], s["arch_mm"]
    top = arc((width / 2, length - arch), (width / 2 - inset, arch - inset), 180, 0, 60)
    yield Stroke(((inset, 0), (inset, length - arch), *top, (width - inset, 0), (inset, 0)))
    yield Stroke(_box(0, 0, width, length), 2)


def _apron(s: Sizes) -> Iterable[Stroke]:
    """From the near left corner: two slopes down to the drain, a card on each."""
    width, rise, drain, low = s["width_mm"], s["rise_mm"], s["drain_mm"] / 2, s["drain_height_mm"]
    left, middle = 8.0, (width + 8) / 2 + 12
    yield Stroke(
        (
            (left, rise),
            (left + 44, rise),
            (middle - drain, low),
            (middle + drain, low),
            (width - 44, rise),
            (width, rise),
        )
    )
    for x in (left + 56, width - 148):
        yield Stroke(_box(x, 16, x + 84, 52), 1)
        for y in (28, 40):
            yield Stroke(((x + 12, y), (x + 72, y)), 2, dotted=True)


def _flipper(s: Sizes) -> Iterable[Stroke]:
    """From its pivot to the right, hanging down by the angle of rest."""
    rest = -s["rest_deg"]
    tip = s["length_mm"] * math.cos(math.radians(rest)), s["length_mm"] * math.sin(math.radians(rest))
    round_pivot = arc((0, 0), (s["pivot_mm"],) * 2, rest + 90, rest + 270, 12)
    body = (*round_pivot, *arc(tip, (s["tip_mm"],) * 2, rest - 90, rest + 90, 8))
    yield Stroke((*body, body[0]), fill=True)


def _slingshot(s: Sizes) -> Iterable[Stroke]:
    """From its lower outer corner: a kite that leans towards the flipper, its rubber inside."""
    height, width, foot = s["height_mm"], s["width_mm"], s["foot_mm"]
    around = (
        (0.0, 0.0),
        (-3.0, height * 0.5),
        (0.0, height - 6),
        (6.0, height + 2),
        (12.0, height - 6),
        (width * 0.55, height * 0.45),
        (width, 12 - foot),
        (width + 2, -foot),
        (width - 8, -foot - 2),
        (6.0, -8.0),
        (0.0, 0.0),
    )
    yield Stroke(curve(around))
    yield Stroke(((10, 8), (12, height * 0.72), (width - 10, 18 - foot), (10, 8)), 2, dotted=True)


def _lane_guide(s: Sizes) -> Iterable[Stroke]:
    """From the corner of a return lane: up along the lane, and down towards the flipper."""
    height = s["height_mm"]
    yield Stroke(((0, height), (0, 0), (s["run_mm"], -s["drop_mm"])))
    yield Stroke(((-4, height), (0, height + 7), (4, height)), 2)


def _shooter_lane(s: Sizes) -> Iterable[Stroke]:
    """From the near end of the right wall: its rail, the plunger with its spring, the ball, the gate."""
    width, upper, straight, length = s["width_mm"], s["upper_width_mm"], s["straight_mm"], s["length_mm"]
    yield Stroke(((-width, 0), (-width, straight), (-upper, straight + 70), (-upper, length)))
    yield Stroke(curve(((-upper, length), (-upper - 4, length + 40), (-upper - 22, length + 82))), 1)
    middle = 2 - width / 2
    yield Stroke(((middle, 0), (middle, 34)))
    yield Stroke(((middle - 9, 34), (middle + 9, 34)))
    for k in range(4):
        yield Stroke(((middle - 8, 6 + 7 * k), (middle + 8, 9 + 7 * k)), 2)
    yield Stroke(circle(13.5, (middle, 52), 20), 1)


def _bumper(s: Sizes) -> Iterable[Stroke]:
    """Around its centre: the skirt, the cap, the cap's spokes."""
    cap = s["cap_mm"] / 2
    yield Stroke(circle(s["skirt_mm"] / 2))
    yield Stroke(circle(cap), 1)
    for k in range(12):
        cos, sin = math.cos(math.pi * k / 6), math.sin(math.pi * k / 6)
        yield Stroke((((cap - 3) * cos, (cap - 3) * sin), ((cap - 10) * cos, (cap - 10) * sin)), 2)


def _drop_targets(s: Sizes) -> Iterable[Stroke]:
    """From the first target away from the player: filled targets, the bank around them."""
    half, last = s["target_mm"] / 2, (s["count"] - 1) * s["pitch_mm"]
    for k in range(int(s["count"])):
        y = k * s["pitch_mm"]
        yield Stroke(_box(-5, y - half, 5, y + half), fill=True)
    yield Stroke(((5, -half - 4), (-12, -half - 4), (-12, last + half + 4), (5, last + half + 4)), 1)


def _standing_targets(s: Sizes) -> Iterable[Stroke]:
    """From the first target away from the player: their faces, their stems behind."""
    for k in range(int(s["count"])):
        y, half = k * s["pitch_mm"], s["target_mm"] / 2
        yield Stroke(((0, y - half), (0, y + half)))
        yield Stroke(((0, y), (-12, y)), 1)


def _rollover_lanes(s: Sizes) -> Iterable[Stroke]:
    """From the middle of the near end: the dividers between the lanes, with rounded ends."""
    count, length = int(s["count"]), s["length_mm"]
    for k in range(count + 1):
        x = (k - count / 2) * s["pitch_mm"]
        yield Stroke(((x - 3, 0), (x - 3, length), (x, length + 4), (x + 3, length), (x + 3, 0), (x, -4), (x - 3, 0)))


def _spinner(s: Sizes) -> Iterable[Stroke]:
    """Around its middle: the axle, the plate on it."""
    half = s["width_mm"] / 2
    yield Stroke(((-half, 0), (half, 0)))
    yield Stroke(_box(6 - half, -6, half - 6, 6), 1)


def _saucer(s: Sizes) -> Iterable[Stroke]:
    """Around its centre: the hole, part of its rim."""
    bore = s["bore_mm"] / 2
    yield Stroke(circle(bore, steps=28))
    yield Stroke(arc((0, 0), (bore + 8, bore + 8), 200, 340, 20), 2)


def _post(s: Sizes) -> Iterable[Stroke]:
    yield Stroke(circle(s["bore_mm"] / 2, steps=12), 1)


def _panel(s: Sizes) -> Iterable[Stroke]:
    """From the near left corner: a frame, such as that of a backbox."""
    yield Stroke(_box(0, 0, s["width_mm"], s["height_mm"]))


def _by_points(shape: Shape) -> Callable[[Sizes], Iterable[Stroke]]:
    if shape.kind is ShapeKind.WALL:
        return lambda _: (Stroke(curve(shape.points) if shape.curved else shape.points),)
    return lambda s: _ramp(shape.points, s["width_mm"] / 2)


def _ramp(middle: Sequence[Point], half: float) -> Iterator[Stroke]:
    """Two edges along the middle line that come closer together, the flap at its mouth, its end."""
    line = curve(middle)
    left: list[Point] = []
    right: list[Point] = []
    for at, (x, y) in enumerate(line):
        (ax, ay), (bx, by) = line[max(0, at - 1)], line[min(len(line) - 1, at + 1)]
        along = math.hypot(bx - ax, by - ay) or 1.0
        wide = half * (1 - 0.32 * at / len(line)) / along
        left.append((x - (by - ay) * wide, y + (bx - ax) * wide))
        right.append((x + (by - ay) * wide, y - (bx - ax) * wide))
    yield Stroke(tuple(left))
    yield Stroke(tuple(right))
    yield Stroke((left[0], right[0]), dotted=True)
    flap = min(3, len(line) - 1)
    yield Stroke((left[flap], right[flap]), 2, dotted=True)
    yield Stroke((left[-1], right[-1]), 1)


_DRAWN: dict[ShapeKind, Callable[[Sizes], Iterable[Stroke]]] = {
    ShapeKind.OUTLINE: _outline,
    ShapeKind.APRON: _apron,
    ShapeKind.FLIPPER: _flipper,
    ShapeKind.SLINGSHOT: _slingshot,
    ShapeKind.LANE_GUIDE: _lane_guide,
    ShapeKind.SHOOTER_LANE: _shooter_lane,
    ShapeKind.BUMPER: _bumper,
    ShapeKind.DROP_TARGETS: _drop_targets,
    ShapeKind.STANDING_TARGETS: _standing_targets,
    ShapeKind.ROLLOVER_LANES: _rollover_lanes,
    ShapeKind.SPINNER: _spinner,
    ShapeKind.SAUCER: _saucer,
    ShapeKind.POST: _post,
    ShapeKind.PANEL: _panel,
}
