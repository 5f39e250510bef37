"""Fuses, supplies and wire heat."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.harness.base import PowerError
from probe.harness.copper import (
    BLADE_FUSES,
    CHASSIS_A_BY_AWG,
    FuseVerdict,
    WireKind,
    ampacity_guidance,
    awg_area_mm2,
    choose_fuse,
    conductor_temperature_c,
    fuse_carries,
    fuse_protects,
    nusselt_horizontal_cylinder,
    one_way_ohm_per_m,
    smallest_supply_a,
    supply_size_a,
    surface_watt_per_m,
    wire_rating_a,
)


def test_blade_fuse_values_and_colours() -> None:
    """onallcylinders (Bussmann) and procarmanuals (SAE J1284); 35 and 40 A: ISO 8820-3, from memory."""
    assert list(BLADE_FUSES) == [0.5, 1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40]
    known = {3: "violet", 5: "tan", 7.5: "brown", 10: "red", 15: "blue", 20: "yellow", 30: "green"}
    assert {rating: BLADE_FUSES[rating] for rating in known} == known


def test_continuous_load_rule() -> None:
    """NEC 210.20(A): 125 %; 2.34 A needs 2.93 A or more, and its inverse, 12 A on a 15 A circuit."""
    choice = choose_fuse(planned_a=2.34, fault_a=2.34, wire_rating_a=10)
    assert choice.rating_a == 3
    assert choice.rating_a >= 2.93 - 0.005
    assert choose_fuse(planned_a=12, fault_a=12, wire_rating_a=20).rating_a == 15
    assert choose_fuse(planned_a=12.01, fault_a=12.01, wire_rating_a=20.1).rating_a == 20


def test_fuse_on_22_awg() -> None:
    """The usual trade example: 22 AWG, a 3 A fuse, 2.25 A at most (load kept to 75 to 80 %: common practice)."""
    rating = wire_rating_a(WireKind(awg=22))
    choice = choose_fuse(planned_a=2.25, fault_a=2.25, wire_rating_a=rating)
    assert (choice.rating_a, choice.colour, choice.verdict) == (3, "violet", FuseVerdict.FITS)
    assert choose_fuse(planned_a=2.5, fault_a=2.5, wire_rating_a=rating).verdict is FuseVerdict.NONE


def test_fuse_for_a_data_fault() -> None:
    """The fuse is taken for full white, not for the ceiling; where none carries that, it says so."""
    assert choose_fuse(planned_a=1.0, fault_a=3.6, wire_rating_a=8).rating_a == 5
    only = choose_fuse(planned_a=1.0, fault_a=3.6, wire_rating_a=3.5)
    assert (only.rating_a, only.verdict) == (3, FuseVerdict.CEILING_ONLY)
    assert "full white (3.60 A) it may open" in only.reason
    none = choose_fuse(planned_a=3.0, fault_a=3.6, wire_rating_a=3.5)
    assert none.rating_a is None
    assert "Thicker" in only.reason
    assert "thicker wire" in none.reason
    tiny = choose_fuse(planned_a=0.1, fault_a=0.1, wire_rating_a=0.43)
    assert tiny.verdict is FuseVerdict.NONE


def test_the_three_boundaries_of_a_fuse() -> None:
    """Fuse at least 125 % of the load (NEC 210.20(A)), and no larger than the thinnest wire can take: the trade's rule."""
    assert fuse_protects(fuse_a=3, wire_rating_a=3)
    assert not fuse_protects(fuse_a=3, wire_rating_a=2.999)
    assert fuse_carries(fuse_a=5, load_a=4)
    assert not fuse_carries(fuse_a=5, load_a=4.001)
    assert choose_fuse(planned_a=2.4, fault_a=2.4, wire_rating_a=3).rating_a == 3
    assert choose_fuse(planned_a=2.4, fault_a=2.4, wire_rating_a=2.999).verdict is FuseVerdict.NONE
    assert choose_fuse(planned_a=2.401, fault_a=2.401, wire_rating_a=3).verdict is FuseVerdict.NONE
    assert choose_fuse(planned_a=2.4, fault_a=2.401, wire_rating_a=3).verdict is FuseVerdict.CEILING_ONLY


@given(planned=st.floats(0, 50), extra=st.floats(0, 50), rating=st.floats(0.1, 60))
def test_fuse_is_always_between_load_and_wire(planned: float, extra: float, rating: float) -> None:
    choice = choose_fuse(planned_a=planned, fault_a=planned + extra, wire_rating_a=rating)
    if choice.rating_a is None:
        assert not any(1.25 * planned * (1 + 1e-6) <= fuse <= rating for fuse in BLADE_FUSES)
        return
    assert choice.rating_a <= rating * (1 + 1e-8)
    assert choice.rating_a >= 1.25 * planned * (1 - 1e-8)
    if choice.verdict is FuseVerdict.FITS:
        assert choice.rating_a >= 1.25 * (planned + extra) * (1 - 1e-8)
    else:
        assert not any(1.25 * (planned + extra) * (1 + 1e-6) <= fuse <= rating for fuse in BLADE_FUSES)


def test_supply_size() -> None:
    """80 % rule (inverse of NEC 210.20(A)): 12 A asks for 15 A. The list of sizes is common practice, no source."""
    assert smallest_supply_a(load_a=12) == pytest.approx(15)
    assert supply_size_a(load_a=12) == 15
    assert supply_size_a(load_a=12.1) == 20
    with pytest.raises(PowerError, match="several supplies"):
        supply_size_a(load_a=70)


@pytest.mark.parametrize(("awg", "cautious_a"), [(18, 2.32), (22, 0.918), (24, 0.577)])
def test_cautious_rule(awg: int, cautious_a: float) -> None:
    """700 circular mils per ampere (meters.co.uk)."""
    assert ampacity_guidance(copper_mm2=awg_area_mm2(awg=awg)).cautious_a == pytest.approx(cautious_a, abs=5e-3)


@pytest.mark.parametrize(
    ("awg", "chassis_a"),
    # HyperPhysics "Common Wire Gauges", chassis wiring column.
    [(14, 32), (16, 22), (18, 16), (20, 11), (22, 7), (24, 3.5), (26, 2.2), (28, 1.4), (30, 0.86)],
)
def test_chassis_guidance(awg: int, chassis_a: float) -> None:
    guide = ampacity_guidance(copper_mm2=awg_area_mm2(awg=awg))
    assert guide.chassis_a == pytest.approx(chassis_a)
    assert guide.cautious_a < guide.bundled_a < guide.chassis_a


def test_guidance_rises_with_copper_and_ends_where_figures_end() -> None:
    areas = [0.06 * 1.1**k for k in range(37)]
    ratings = [ampacity_guidance(copper_mm2=a).bundled_a for a in areas]
    assert ratings == sorted(ratings)
    with pytest.raises(PowerError, match="rating_a"):
        ampacity_guidance(copper_mm2=10)
    with pytest.raises(PowerError, match="rating_a"):
        wire_rating_a(WireKind(one_way_ohm_per_m=0.03))
    assert wire_rating_a(WireKind(one_way_ohm_per_m=0.03, rating_a=4)) == 4


def test_nusselt_of_a_pipe() -> None:
    """Incropera, Fundamentals of Heat and Mass Transfer, ex. 9.4 (from memory): Ra 5.073e6, Pr 0.697 gives Nu 23.3."""
    assert nusselt_horizontal_cylinder(rayleigh=5.073e6, prandtl=0.697) == pytest.approx(23.3, rel=0.01)


@pytest.mark.parametrize("wires", [1, 2, 6])
def test_conductor_temperature_balances(wires: int) -> None:
    """At the answer the heat made equals the heat lost."""
    area = awg_area_mm2(awg=22)
    hot = conductor_temperature_c(current_a=4, copper_mm2=area, ambient_c=30, outside_mm=1.5, wires_in_bundle=wires)
    diameter = 1.5 if wires == 1 else 1.5 * math.sqrt(1.3 * wires)
    made = wires * 16 * one_way_ohm_per_m(area_mm2=area, temperature_c=hot, stranded=True)
    assert made == pytest.approx(surface_watt_per_m(diameter_mm=diameter, surface_c=hot, ambient_c=30), rel=1e-4)


def test_conductor_temperature_is_plausible() -> None:
    """Chassis-wiring currents (HyperPhysics) warm a free wire by a few to some tens of kelvin."""
    for awg, current in CHASSIS_A_BY_AWG.items():
        rise = conductor_temperature_c(current_a=current, copper_mm2=awg_area_mm2(awg=awg), ambient_c=30) - 30
        assert 2 < rise < 70, (awg, rise)
    assert conductor_temperature_c(current_a=0, copper_mm2=1, ambient_c=30) == 30
    assert conductor_temperature_c(current_a=100, copper_mm2=0.3, ambient_c=30) == math.inf
    with pytest.raises(PowerError, match="bundle"):
        conductor_temperature_c(current_a=1, copper_mm2=1, ambient_c=30, wires_in_bundle=0)


@given(current=st.floats(0.1, 8), more=st.floats(0.05, 2), area=st.floats(0.2, 2))
def test_more_current_is_warmer_and_more_copper_cooler(current: float, more: float, area: float) -> None:
    def at(current_a: float, copper_mm2: float) -> float:
        return conductor_temperature_c(current_a=current_a, copper_mm2=copper_mm2, ambient_c=30)

    assert at(current + more, area) >= at(current, area)
    assert at(current, area * 1.2) <= at(current, area) + 1e-5
