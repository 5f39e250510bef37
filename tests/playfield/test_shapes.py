"""Shapes as records and as strokes: sizes, turns, mirrors, and that Kelp Forest's places lie where its shapes say."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from probe.document.diff import diff, revert
from probe.document.file import demo_map_path, load_map
from probe.document.model import Machine, PlayfieldMap, Position, Shape, ShapeKind
from probe.document.model.shape import DRAWN_BY_POINTS, SIZES, USUAL_SIZES
from probe.document.reasons import reason_of
from probe.playfield import neutral_field, shapes_of, strokes_of
from probe.playfield.strokes import curve, extent_of
from tests.document.strategies import shapes


@pytest.fixture(scope="module")
def kelp() -> PlayfieldMap:
    return load_map(demo_map_path())


def one_of(kind: ShapeKind, **sizes: object) -> Shape:
    points = ((0.0, 0.0), (10.0, 30.0)) if kind in DRAWN_BY_POINTS else ()
    return Shape.model_validate({"kind": kind, "points": points, **sizes})


@pytest.mark.parametrize("kind", ShapeKind)
def test_every_kind_is_drawn_at_once_and_in_finer_tiers(kind: ShapeKind) -> None:
    strokes = strokes_of(one_of(kind))
    assert all(len(stroke.points) > 1 and stroke.tier in (0, 1, 2) for stroke in strokes)
    assert any(stroke.tier == 0 for stroke in strokes) or kind is ShapeKind.POST


@pytest.mark.parametrize("kind", ShapeKind)
def test_only_the_sizes_of_a_kind_are_its_own(kind: ShapeKind) -> None:
    for name in USUAL_SIZES[kind]:
        assert one_of(kind, **{name: 7}).sizes[name] == 7
    for name in set(SIZES) - set(USUAL_SIZES[kind]):
        with pytest.raises(ValidationError, match=f"has no '{name}'"):
            one_of(kind, **{name: 7})


def test_points_belong_to_walls_and_ramps_alone() -> None:
    with pytest.raises(ValidationError, match="at least two points"):
        Shape(kind=ShapeKind.WALL, points=((1, 1),))
    with pytest.raises(ValidationError, match="a flipper has no 'points'"):
        Shape(kind=ShapeKind.FLIPPER, points=((1, 1), (2, 2)))
    with pytest.raises(ValidationError, match="a post has no 'curved'"):
        Shape(kind=ShapeKind.POST, curved=True)
    with pytest.raises(ValidationError, match="5,000 mm"):
        Shape(kind=ShapeKind.WALL, points=((1, 1), (2, 6_000)))


@given(shapes, st.floats(-300, 300), st.floats(-300, 300))
def test_a_shape_is_drawn_where_it_stands(shape: Shape, dx: float, dy: float) -> None:
    here = strokes_of(shape.model_copy(update={"x_mm": 0.0, "y_mm": 0.0}))
    there = strokes_of(shape.model_copy(update={"x_mm": dx, "y_mm": dy}))
    for a, b in zip(here, there, strict=True):
        for (ax, ay), (bx, by) in zip(a.points, b.points, strict=True):
            assert (bx - ax, by - ay) == pytest.approx((dx, dy), abs=1e-6)


@given(shapes)
def test_turned_once_round_it_is_as_before_and_mirrored_twice_too(shape: Shape) -> None:
    for other in (shape.model_copy(update={"turn_deg": shape.turn_deg + 360}),):
        for a, b in zip(strokes_of(shape), strokes_of(other), strict=True):
            for p, q in zip(a.points, b.points, strict=True):
                assert q == pytest.approx(p, abs=1e-6)
    swapped = strokes_of(shape.model_copy(update={"mirror": not shape.mirror}))
    for a, b in zip(strokes_of(shape), swapped, strict=True):
        for (ax, ay), (bx, by) in zip(a.points, b.points, strict=True):
            assert (ax + bx, ay - by) == pytest.approx((2 * shape.x_mm, 0), abs=1e-6)


def test_a_turn_goes_to_the_left() -> None:
    plain = strokes_of(Shape(kind=ShapeKind.SPINNER))[0].points
    turned = strokes_of(Shape(kind=ShapeKind.SPINNER, turn_deg=90))[0].points
    assert plain == ((-23, 0), (23, 0))
    assert [(round(x, 9), round(y, 9)) for x, y in turned] == [(0, -23), (0, 23)]


def test_a_curve_passes_through_its_points() -> None:
    points = ((0.0, 0.0), (10.0, 5.0), (20.0, -3.0), (22.0, 40.0))
    drawn = curve(points)
    for point in points:
        assert min(math.dist(point, other) for other in drawn) < 1e-9


@given(st.floats(200, 1_500), st.floats(400, 2_500))
def test_a_neutral_field_fits_any_machine(width_mm: float, length_mm: float) -> None:
    field = neutral_field(Machine(name="Any", width_mm=width_mm, length_mm=length_mm))
    assert len(field) == 15
    for shape in field:
        left, near, right, far = extent_of(shape)
        assert left >= -0.03 * width_mm
        assert right <= 1.03 * width_mm
        assert near >= -0.03 * length_mm
        assert far <= 1.03 * length_mm


def test_a_map_without_shapes_is_drawn_with_the_neutral_field(kelp: PlayfieldMap) -> None:
    bare = kelp.model_copy(update={"shapes": ()})
    assert shapes_of(bare) == neutral_field(kelp.machine)
    assert shapes_of(kelp) == kelp.shapes


def test_changed_shapes_are_compared_undone_and_named_in_revisions(kelp: PlayfieldMap) -> None:
    moved = kelp.shapes[9].model_copy(update={"x_mm": 200.0})
    after = kelp.model_copy(update={"shapes": (*kelp.shapes[:9], moved, *kelp.shapes[10:])})
    changes = diff(kelp, after)
    assert [change.what.value for change in changes] == ["shape"]
    assert revert(after, changes).shapes == kelp.shapes
    assert reason_of(after, changes) == "Shape anemone moved"
    fewer = kelp.model_copy(update={"shapes": kelp.shapes[:9] + kelp.shapes[10:]})
    assert revert(fewer, diff(kelp, fewer)).shapes == kelp.shapes


NAMED = {
    "anemone-bumper": (ShapeKind.BUMPER, 20),
    "starfish-bumper": (ShapeKind.BUMPER, 20),
    "barnacle-bumper": (ShapeKind.BUMPER, 20),
    "whirlpool": (ShapeKind.SAUCER, 17),
    "wreck-spinner": (ShapeKind.SPINNER, 35),
    **{f"reef-lane-{k}": (ShapeKind.ROLLOVER_LANES, 40) for k in range(1, 5)},
    **{f"kelp-target-{k}": (ShapeKind.DROP_TARGETS, 30) for k in range(1, 6)},
    **{f"urchin-target-{k}": (ShapeKind.STANDING_TARGETS, 30) for k in range(1, 4)},
    **{f"{side}-sling-glow-{k}": (ShapeKind.SLINGSHOT, 25) for side in ("left", "right") for k in (1, 2)},
    **{f"{side}-flipper-glow": (ShapeKind.FLIPPER, 20) for side in ("left", "right")},
    **{f"shooter-lane-glow-{k}": (ShapeKind.SHOOTER_LANE, 45) for k in (1, 2)},
}


def _inside_or_within(kelp: PlayfieldMap, kind: ShapeKind, at: Position, within_mm: float) -> bool:
    return any(
        math.dist(point, (at.x_mm, at.y_mm)) <= within_mm
        for shape in kelp.shapes
        if shape.kind is kind
        for stroke in strokes_of(shape)
        for a, b in zip(stroke.points, stroke.points[1:], strict=False)
        for k in range(9)
        for point in [(a[0] + (b[0] - a[0]) * k / 8, a[1] + (b[1] - a[1]) * k / 8)]
    ) or any(
        math.dist((shape.x_mm, shape.y_mm), (at.x_mm, at.y_mm)) <= within_mm
        for shape in kelp.shapes
        if shape.kind is kind
    )


@pytest.mark.parametrize("place_id", NAMED)
def test_kelp_forests_places_lie_in_its_shapes(kelp: PlayfieldMap, place_id: str) -> None:
    kind, within_mm = NAMED[place_id]
    position = kelp.place_by_id[place_id].position
    assert position is not None
    assert _inside_or_within(kelp, kind, position, within_mm)


def test_all_of_kelp_forests_places_are_inside_the_outline_or_the_panel(kelp: PlayfieldMap) -> None:
    boxes = [extent_of(shape) for shape in kelp.shapes if shape.kind in (ShapeKind.OUTLINE, ShapeKind.PANEL)]
    for place in kelp.places:
        assert place.position is not None
        x, y = place.position.x_mm, place.position.y_mm
        assert any(left <= x <= right and near <= y <= far for left, near, right, far in boxes), place.label
