"""Ways round keep-outs, against two libraries that know nothing of ours: shapely decides what is seen, networkx the ways."""

from __future__ import annotations

from itertools import combinations, pairwise

import networkx
import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.model.planning import KeepOut, KeepOutShape
from probe.planning.routes import CIRCLE_CORNERS, outline, routes
from tests.support.examples import examples

DEMO = load_map(demo_map_path())


def outside_lengths(points: list[tuple[float, float]], keep_outs: list[KeepOut]) -> npt.NDArray[np.float64]:
    """Shortest ways by the visibility graph of shapely and the search of networkx."""
    polygons = [shapely.Polygon(outline(keep_out)) for keep_out in keep_outs]
    # A way may touch: what bars it is a little smaller than the polygon.
    barring = [polygon.buffer(-1e-7, join_style="mitre") for polygon in polygons]
    corners = [
        tuple(corner)
        for at, keep_out in enumerate(keep_outs)
        for corner in outline(keep_out).tolist()
        if not any(other.contains(shapely.Point(corner)) for k, other in enumerate(barring) if k != at)
    ]
    everything = [*points, *corners]
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(everything)))
    for a, b in combinations(range(len(everything)), 2):
        line = shapely.LineString([everything[a], everything[b]])
        own = [
            k
            for k, polygon in enumerate(barring)
            if any(end < len(points) and polygon.contains(shapely.Point(everything[end])) for end in (a, b))
        ]
        if not any(k not in own and polygon.intersects(line) for k, polygon in enumerate(barring)):
            graph.add_edge(a, b, weight=float(np.hypot(*np.subtract(everything[a], everything[b]))))
    found = np.full((len(points), len(points)), np.inf)
    for a, b in combinations(range(len(points)), 2):
        others = set(range(len(points))) - {a, b}  # a way turns at corners, not at another point inside a keep-out
        try:
            length = networkx.dijkstra_path_length(graph.subgraph(set(graph) - others), a, b)
        except networkx.NetworkXNoPath:
            continue
        found[a, b] = found[b, a] = length
    np.fill_diagonal(found, 0.0)
    return found


def demo_points() -> list[tuple[float, float]]:
    places = [DEMO.place_of(pixel) for pixel in DEMO.chain("playfield").pixels]
    return [(p.position.x_mm, p.position.y_mm) for p in places if p is not None and p.position is not None]


@pytest.mark.slow
def test_the_demonstration_equals_shapely_and_networkx() -> None:
    points = demo_points()[::3]
    found = routes(points, DEMO.keep_outs)
    expected = outside_lengths(points, list(DEMO.keep_outs))
    assert np.abs(found.length_mm - expected).max() < 1e-6
    assert (found.inside == -1).all()
    straight = np.hypot(*(found.points[:, None] - found.points[None, :]).transpose(2, 0, 1))
    assert (found.length_mm > straight + 1).sum() > 10, "keep-outs lie in the way of many"


rectangles = st.builds(
    KeepOut, kind=st.just(KeepOutShape.RECTANGLE), x_mm=st.integers(0, 400), y_mm=st.integers(0, 900),
    width_mm=st.integers(1, 200), height_mm=st.integers(1, 200), clearance_mm=st.sampled_from([0, 8, 12.5]),
)  # fmt: skip
circles = st.builds(
    KeepOut, kind=st.just(KeepOutShape.CIRCLE), x_mm=st.integers(0, 500), y_mm=st.integers(0, 1_000),
    radius_mm=st.integers(5, 80), clearance_mm=st.sampled_from([0, 8]),
)  # fmt: skip
spots = st.tuples(st.floats(0, 500).map(lambda x: round(x, 2)), st.floats(0, 1_000).map(lambda y: round(y, 2)))


@pytest.mark.slow
@settings(max_examples=examples(25), deadline=None)
@given(st.lists(spots, min_size=2, max_size=6), st.lists(rectangles | circles, max_size=5))
def test_any_field_equals_shapely_and_networkx(points: list[tuple[float, float]], keep_outs: list[KeepOut]) -> None:
    found = routes(points, keep_outs)
    expected = outside_lengths(points, keep_outs)
    finite = np.isfinite(expected)
    assert (finite == np.isfinite(found.length_mm)).all()
    assert np.abs(found.length_mm[finite] - expected[finite]).max() < 1e-6
    for a, b in combinations(range(len(points)), 2):
        if np.isfinite(found.length_mm[a, b]):
            way = found.way(a, b)
            assert (way[0], way[-1]) == (points[a], points[b])
            legs = sum(np.hypot(*np.subtract(p, q)) for p, q in pairwise(way))
            assert legs == pytest.approx(found.length_mm[a, b], abs=1e-6)


def test_a_circle_is_never_approached_nearer_than_its_clearance() -> None:
    circle = KeepOut(kind=KeepOutShape.CIRCLE, x_mm=100, y_mm=100, radius_mm=30, clearance_mm=8)
    corners = outline(circle)
    assert len(corners) == CIRCLE_CORNERS
    assert shapely.Polygon(corners).contains(shapely.Point(100, 100).buffer(38 - 1e-9))
    assert np.hypot(*(corners - 100).T).max() < 38 * 1.009


def test_a_seat_inside_a_keep_out_leaves_it_straight_and_is_named() -> None:
    box = KeepOut(kind=KeepOutShape.RECTANGLE, x_mm=0, y_mm=0, width_mm=100, height_mm=100, clearance_mm=0)
    found = routes([(50, 50), (150, 50), (50, 150)], [box])
    assert found.inside.tolist() == [0, -1, -1]
    assert found.length_mm[0].tolist() == [0, 100, 100]
    assert found.length_mm[1, 2] == pytest.approx(2 * np.hypot(50, 50))
