"""Worked examples of others, with the source beside each.

Where a book gives the resistance of one wire and means the loop (or the other way round), the test says which.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.harness.copper import loop_ohm
from tests.harness.ladders import distributor, spread

SHARES = pytest.mark.parametrize("ground_share", [0.0, 0.5, 0.8])


@SHARES
def test_ten_equal_loads(ground_share: float) -> None:
    """L. Bell, Power Distribution for Electric Railroads, ch. 1 fig. 6: drops 10, 9 ... 1 V, 55 V at the end."""
    line = distributor(
        loads=[(k, 20.0) for k in range(1, 11)],
        length_m=10,
        loop_ohm_per_m=0.05,
        end_volt=[600],
        ground_share=ground_share,
    )
    drops = -np.diff(np.concatenate(([600.0], line.volt)))
    assert drops == pytest.approx(list(range(10, 0, -1)), abs=1e-3)
    assert 600 - line.volt[-1] == pytest.approx(55.0, abs=1e-3)
    assert pytest.approx(55.0) == 200 * 0.5 * 11 / 20


def test_four_loads_with_resistance_per_conductor() -> None:
    """Mehta, Principles of Power System, example 13.1: 0.01 ohm/km in EACH conductor."""
    line = distributor(
        loads=[(500, 100), (1000, 150), (1600, 200), (2000, 50)],
        length_m=2000,
        loop_ohm_per_m=loop_ohm(one_way_ohm=0.01 / 1000),
        end_volt=[300],
    )
    assert line.volt == pytest.approx([295.0, 291.0, 288.0, 287.6], abs=1e-3)


def test_two_loads_with_loop_resistance() -> None:
    """edurev 131673: 0.04 ohm/km go and return."""
    line = distributor(loads=[(2000, 100), (4000, 200)], length_m=4000, loop_ohm_per_m=4e-5, end_volt=[500])
    assert line.volt == pytest.approx([476, 460], abs=1e-3)


@SHARES
def test_both_ends_equal_volts(ground_share: float) -> None:
    """Mehta, example 13.10: 1 cm² conductor, 1.7e-6 ohm cm, so 1.7e-4 ohm/m one way and twice that as a loop."""
    line = distributor(
        loads=[(100, 20), (250, 40), (400, 50), (500, 30)],
        length_m=600,
        loop_ohm_per_m=loop_ohm(one_way_ohm=1.7e-8 / 1e-4),
        end_volt=[220, 220],
        ground_share=ground_share,
    )
    assert line.end_a[0] == pytest.approx(61.7, abs=0.05)
    assert line.volt == pytest.approx([217.90, 215.78, 215.69, 217.34], abs=0.006)
    assert line.at_m[int(np.argmin(line.volt))] == 400


def test_both_ends_three_loads() -> None:
    """Theraja, Electrical Technology ch. 40 (companion): 0.1 ohm/km loop."""
    line = distributor(
        loads=[(500, 50), (1200, 100), (1500, 150)], length_m=1750, loop_ohm_per_m=1e-4, end_volt=[200, 200]
    )
    assert line.end_a == pytest.approx([88.6, 211.4], abs=0.05)
    assert line.volt == pytest.approx([195.57, 192.87, 194.71], abs=0.006)


def test_both_ends_section_currents() -> None:
    """Theraja ch. 40 (companion): 0.08 ohm per 100 m."""
    line = distributor(
        loads=[(50, 50), (75, 40), (100, 30), (150, 25)], length_m=200, loop_ohm_per_m=8e-4, end_volt=[250, 250]
    )
    assert line.sections_a == pytest.approx([83.75, 33.75, -6.25, -36.25, -61.25], abs=2e-3)
    assert line.volt.min() == pytest.approx(245.98, abs=0.006)


@SHARES
def test_unequal_ends(ground_share: float) -> None:
    """Theraja ch. 40 (companion): 255 V and 250 V, 2 cm² conductor, 1.7e-6 ohm cm."""
    line = distributor(
        loads=[(150, 120), (350, 160)],
        length_m=500,
        loop_ohm_per_m=loop_ohm(one_way_ohm=1.7e-8 / 2e-4),
        end_volt=[255, 250],
        ground_share=ground_share,
    )
    assert line.volt == pytest.approx([250.13, 247.73], abs=0.006)


def test_unequal_ends_per_conductor() -> None:
    """Theraja ch. 40 (companion): 236 V and 237 V, 0.4 ohm/km per conductor."""
    line = distributor(
        loads=[(50, 20), (75, 40), (100, 25), (150, 30)],
        length_m=200,
        loop_ohm_per_m=loop_ohm(one_way_ohm=0.4 / 1000),
        end_volt=[236, 237],
    )
    assert line.sections_a == pytest.approx([53.75, 33.75, -6.25, -31.25, -61.25], abs=2e-3)
    assert line.volt.min() == pytest.approx(233.175, abs=1e-3)
    assert line.at_m[int(np.argmin(line.volt))] == 75


@SHARES
def test_unequal_ends_and_loss(ground_share: float) -> None:
    """Theraja ch. 40 (companion): 248 V and 245 V, 0.1 ohm over the 800 m; copper loss 847.34 W."""
    line = distributor(
        loads=[(100, 20), (250, 80), (500, 50), (600, 70), (700, 40)],
        length_m=800,
        loop_ohm_per_m=0.1 / 800,
        end_volt=[248, 245],
        ground_share=ground_share,
    )
    assert line.end_a == pytest.approx([143.75, 116.25], abs=0.006)
    assert line.solution.wire_loss_w == pytest.approx(847.34, abs=0.1)


def test_eight_loads_lowest_point() -> None:
    """Theraja ch. 40 (companion): 0.35 cm², 1.764e-6 ohm cm; 48.40 V lost at 600 m, 151.7 A from the first end."""
    line = distributor(
        loads=[(100, 20), (250, 80), (500, 50), (600, 70), (700, 40), (800, 30), (850, 10), (920, 15)],
        length_m=1000,
        loop_ohm_per_m=loop_ohm(one_way_ohm=1.764e-8 / 0.35e-4),
        end_volt=[500, 500],
    )
    assert line.at_m[int(np.argmin(line.volt))] == 600
    assert 500 - line.volt.min() == pytest.approx(48.40, abs=0.006)
    assert line.end_a[0] == pytest.approx(151.7, abs=0.05)


def test_point_and_uniform_loads() -> None:
    """Theraja ch. 40 (companion): 0.0005 ohm/m loop, 0.1 A/m besides four loads, fed at one end."""
    points = [(100.0, 40.0), (150.0, 20.0), (300.0, 60.0), (400.0, 30.0)]
    line = distributor(
        loads=[*points, (500, 0), *spread(amp_per_m=0.1, from_m=0, to_m=500, step_m=1)],
        length_m=500,
        loop_ohm_per_m=5e-4,
        end_volt=[250],
    )  # fmt: skip
    assert line.at(500) == pytest.approx(225.25, abs=0.006)
    assert line.at(150) == pytest.approx(236.56, abs=0.006)


def test_uniform_from_the_middle_on() -> None:
    """Theraja ch. 40 (companion): 0.05 ohm/km in each conductor, 1.5 A/m from 200 m on; 247.34 V at 261.7 m."""
    line = distributor(
        loads=[(60, 20), (100, 40), *spread(amp_per_m=1.5, from_m=200, to_m=450, step_m=0.5)],
        length_m=450,
        loop_ohm_per_m=loop_ohm(one_way_ohm=0.05 / 1000),
        end_volt=[250, 250],
    )
    assert line.volt.min() == pytest.approx(247.34, abs=0.006)
    assert line.at_m[int(np.argmin(line.volt))] == pytest.approx(261.7, abs=0.5)


@pytest.mark.parametrize(
    ("ends", "drop_at_200", "loss_w"),
    [([250.0], 5.4, 911.25), ([250.0, 250.0], 1.35, 227.8)],
)
def test_uniform_load(ends: list[float], drop_at_200: float, loss_w: float) -> None:
    """poriyaan.in "D.C. distributor with uniformly distributed load": 300 m, 0.75 A/m, 0.00018 ohm/m."""
    line = distributor(
        loads=[(200.0, 0.0), *spread(amp_per_m=0.75, from_m=0, to_m=300, step_m=0.25)],
        length_m=300,
        loop_ohm_per_m=1.8e-4,
        end_volt=ends,
    )
    assert 250 - line.at(200) == pytest.approx(drop_at_200, abs=1e-3)
    assert line.solution.wire_loss_w == pytest.approx(loss_w, rel=1e-3)


@pytest.mark.parametrize(
    ("loop", "at_150", "at_end", "both_ends"),
    [(loop_ohm(one_way_ohm=0.3 / 1000), 22.5, 24.0, 6.0), (0.3 / 1000, None, 12.0, 3.0)],
    ids=["loop", "one wire only"],
)
def test_loop_or_one_wire(loop: float, at_150: float | None, at_end: float, both_ends: float) -> None:
    """200 m, 2 A/m, 0.3 ohm/km in a single wire. poriyaan.in computes the loop; Theraja's companion ONE wire, half."""
    loads = [(150.0, 0.0), (200.0, 0.0), *spread(amp_per_m=2, from_m=0, to_m=200, step_m=0.25)]
    one = distributor(loads=loads, length_m=200, loop_ohm_per_m=loop, end_volt=[500])
    if at_150 is not None:
        assert 500 - one.at(150) == pytest.approx(at_150, abs=1e-3)
    assert 500 - one.at(200) == pytest.approx(at_end, abs=1e-3)
    two = distributor(loads=loads, length_m=200, loop_ohm_per_m=loop, end_volt=[500, 500])
    assert 500 - two.volt.min() == pytest.approx(both_ends, abs=1e-3)


def test_sixty_pixels_against_the_continuous_limit() -> None:
    """60 pixels, 60 mA, 5 mohm loop: 0.549 V at the end (I R/2 gives 0.540); both ends 0.1395 (I R/8 gives 0.13725).

    Source: closed form of the discrete ladder; I R/2 and I R/8 after poriyaan.in.
    """
    loads = [(float(k), 0.06) for k in range(1, 61)]
    one = distributor(loads=loads, length_m=60, loop_ohm_per_m=0.005, end_volt=[5])
    two = distributor(loads=loads, length_m=61, loop_ohm_per_m=0.005, end_volt=[5, 5])
    assert 5 - one.volt.min() == pytest.approx(0.549, abs=1e-5)
    assert 5 - two.volt.min() == pytest.approx(0.1395, abs=1e-5)
