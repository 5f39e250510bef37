"""Illuminance: inverse-square and Lambert laws in worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model.light import Measure, Rating, Reading
from probe.lighting.evenness import (
    BY_EYE,
    LEAST_POINTS,
    RATED,
    evenness,
    evenness_words,
    light_in,
    measured,
    neighbours,
)
from probe.lighting.optics import Seat, lambert_exponent, matrix, share


def illuminance_lux(*, candela: float, distance_m: float, angle_deg: float = 0.0) -> float:
    """E = I cos(angle) / d² of a point source; angle between the ray and the surface's normal."""
    return candela * math.cos(math.radians(angle_deg)) / distance_m**2


def spacing_for_flat_mm(*, depth_mm: float, exponent: float, flat_surface: bool = True) -> float:
    """Greatest distance of two pixels with no dip between them.

    Moreno 2006 gives depth x sqrt(4 / (m + 3)) for light that falls straight on everywhere (`flat_surface` False). On a
    flat surface the cosine law adds one to the exponent: depth x sqrt(4 / (m + 4)).
    """
    return depth_mm * math.sqrt(4 / (exponent + (4 if flat_surface else 3)))


@pytest.mark.parametrize(
    ("half_angle_deg", "m"),
    # m = ln 0.5 / ln cos(half angle); the formula from memory, Lambert's law: CIE term 17-... "Lambert's (cosine) law"
    [(60, 1.0), (45, 2.0), (30, 4.8188), (20, 11.1434), (15, 19.9937), (10, 45.2776)],
)
def test_exponent_of_a_beam(half_angle_deg: float, m: float) -> None:
    assert lambert_exponent(half_angle_deg) == pytest.approx(m, abs=1e-3)


@pytest.mark.parametrize(("distance_m", "lux"), [(1, 100.0), (2, 25.0), (3, 11.11)])
def test_inverse_square_law(distance_m: float, lux: float) -> None:
    assert illuminance_lux(candela=100, distance_m=distance_m) == pytest.approx(lux, abs=0.01)


def test_cosine_law() -> None:
    assert illuminance_lux(candela=100, distance_m=1, angle_deg=60) == pytest.approx(50.0)


def test_a_flat_surface_at_45_degrees() -> None:
    # Worked by hand: a Lambertian source gives cos^4 45° = 0.25 of the middle, an isotropic one (m = 0) cos^3 = 0.35355
    assert share(depth_mm=20, offset_mm=20, exponent=1) == pytest.approx(0.25)
    assert share(depth_mm=20, offset_mm=20, exponent=0) == pytest.approx(0.35355, abs=1e-5)


def test_spacing_for_a_flat_field() -> None:
    # Moreno 2006, two-LED array: d = h sqrt(4 / (m + 3)); figures from memory
    assert spacing_for_flat_mm(depth_mm=10, exponent=1, flat_surface=False) == pytest.approx(10.0)
    assert spacing_for_flat_mm(depth_mm=10, exponent=30, flat_surface=False) == pytest.approx(3.48, abs=0.005)


def test_two_pixels_at_that_spacing_are_flat_between() -> None:
    depth = 30.0
    apart = spacing_for_flat_mm(depth_mm=depth, exponent=1)
    seats = [Seat(x_mm=0, y_mm=0, depth_mm=depth), Seat(x_mm=apart, y_mm=0, depth_mm=depth)]
    points = np.array([[apart / 2 + d, 0.0] for d in (-0.1, 0.0, 0.1)])
    light = matrix(seats, points).sum(axis=1)
    curvature = (light[0] - 2 * light[1] + light[2]) / light[1]
    assert abs(curvature) < 1e-8  # the second derivative vanishes in the middle
    wider = [Seat(x_mm=0, y_mm=0, depth_mm=depth), Seat(x_mm=1.5 * apart, y_mm=0, depth_mm=depth)]
    dip = matrix(wider, np.array([[0.75 * apart, 0.0], [0.0, 0.0]])).sum(axis=1)
    assert dip[0] < dip[1]


def test_straight_above_it_is_the_inverse_square_law() -> None:
    found = matrix([Seat(x_mm=5, y_mm=7, depth_mm=100)], np.array([[5.0, 7.0]]))
    assert found[0, 0] == pytest.approx(illuminance_lux(candela=1, distance_m=0.1))


@given(st.floats(5, 80), st.floats(0, 300), st.floats(5, 80))
def test_the_matrix_follows_the_laws(depth: float, offset: float, angle: float) -> None:
    seat = Seat(x_mm=0, y_mm=0, depth_mm=depth, half_angle_deg=angle)
    found = matrix([seat], np.array([[0.0, offset]]))[0, 0]
    distance = math.hypot(depth, offset) / 1000
    off = math.degrees(math.atan2(offset, depth))
    intensity = math.cos(math.radians(off)) ** lambert_exponent(angle)
    assert found == pytest.approx(illuminance_lux(candela=intensity, distance_m=distance, angle_deg=off), rel=1e-6)


def test_a_diffuser_is_a_source_as_wide_as_itself() -> None:
    """Worked by hand: 20 mm deep, half of 12² = 72 mm² are added to 400; 0.6 of the light passes."""
    white = Seat(x_mm=0, y_mm=0, depth_mm=20, diffuser=True)
    (above,) = matrix([white], np.array([[0.0, 0.0]]))
    assert above == pytest.approx(0.6 * (400 / 472) / 472e-6)


def test_a_diffuser_keeps_light_back_and_spreads_it() -> None:
    bare, white = (Seat(x_mm=0, y_mm=0, half_angle_deg=20, diffuser=d) for d in (False, True))
    points = np.array([[0.0, 0.0], [30.0, 0.0]])
    near = matrix([bare, white], points)
    assert near[0, 1] < near[0, 0]
    assert near[1, 1] / near[0, 1] > near[1, 0] / near[0, 0]


def test_uniformity_as_defined() -> None:
    # EN 12464-1 and lighting practice: Uo = Emin / Eavg, Ud = Emin / Emax
    found = evenness([300, 250, 180, 270])
    assert found is not None
    assert found.mean == pytest.approx(250)
    assert found.uniformity == pytest.approx(0.72)
    assert found.diversity == pytest.approx(0.60)
    assert evenness([]) is None
    dark = evenness([0.0, 0.0])
    assert dark is not None
    assert dark.uniformity == 0.0


def test_readings_of_one_kind_are_taken_together() -> None:
    def lux(value: float) -> Reading:
        return Reading(round=1, place="a", value=value)

    found, of = measured([lux(300), lux(180), Reading(round=1, place="b", rating=Rating.DARK)])
    assert of == "lux"
    assert found is not None
    assert found.count == 2
    found, of = measured([Reading(round=1, place="b", rating=r) for r in Rating])
    assert of == "by eye"
    assert found is not None
    assert found.uniformity == pytest.approx(RATED[Rating.DARK] / (sum(RATED.values()) / 3))
    # a phone's picture is bent by sRGB: value 188 is half of the light of 255 (IEC 61966-2-1)
    assert light_in(Reading(round=1, place="b", value=188, measure=Measure.CAMERA)) == pytest.approx(0.5029, abs=1e-4)


def test_no_percentage_is_made_of_little_or_of_ratings_that_are_all_alike() -> None:
    for count in range(1, LEAST_POINTS):
        words = evenness_words(evenness([1.0] * count), "lux")
        assert "%" not in words
        assert f"{count} point" in words
    assert "% of the average" in evenness_words(evenness([1.0] * LEAST_POINTS), "lux")
    assert "%" not in evenness_words(evenness([1.0] * 9), BY_EYE), "three steps of a rating cannot tell 100 % from 90 %"
    assert "100 % of the average" in evenness_words(evenness([1.0] * 9), "lux")
    assert "72 % of the average and 60 % of the brightest (Emin/Eavg 0.72; 4 points, lux)" in evenness_words(
        evenness([300, 250, 180, 270]), "lux"
    )


def test_neighbours_of_a_square_are_its_sides() -> None:
    square = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    assert neighbours(square) == ((0, 1), (0, 3), (1, 2), (2, 3))


points = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 80)), min_size=2, max_size=30, unique=True)


@given(points)
def test_neighbours_are_what_the_circle_says(spots: list[tuple[int, int]]) -> None:
    found = neighbours([(float(x), float(y)) for x, y in spots], far_mm=1e9)
    for a in range(len(spots)):
        for b in range(a + 1, len(spots)):
            (ax, ay), (bx, by) = spots[a], spots[b]
            empty = all(
                (x - ax) * (x - bx) + (y - ay) * (y - by) > 0  # outside the circle on that diameter (Thales)
                for at, (x, y) in enumerate(spots)
                if at not in (a, b)
            )
            assert ((a, b) in found) == empty


@pytest.mark.parametrize("height_mm", [20.0, 40.0, 80.0])
def test_a_diffuser_in_a_hole_shines_like_a_disc(height_mm: float) -> None:
    """Straight above a Lambertian disc of radius R and flux F: F / (pi (h² + R²)), exact (view factor of a disc)."""
    seat = Seat(x_mm=0, y_mm=0, depth_mm=12.7 + height_mm, hole_mm=12.7, diffuser=True)
    straight, wall = seat.leaving()
    flux = math.pi * seat.passes * (straight + wall)  # of one candela straight up, exponent 1
    exact = flux / (math.pi * (height_mm**2 + seat.hole_radius_mm**2) / 1e6)
    assert matrix([seat], np.zeros((1, 2)))[0, 0] == pytest.approx(exact, rel=0.02)
