"""Wire formulas against handbook, standard and code tables."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.harness.base import PowerError
from probe.harness.copper import (
    ConductorClass,
    WireKind,
    awg_area_mm2,
    awg_diameter_mm,
    equivalent_awg,
    iec_one_way_max_ohm_per_m,
    one_way_ohm_per_m,
    temperature_factor,
)
from tests.harness.copper import awg_one_way_ohm_per_m

METRES_PER_1000_FT = 304.8

# HyperPhysics "Common Wire Gauges" (Floyd, Electric Circuit Fundamentals, 2nd ed.): ohm/1000 ft, 20 C, solid.
HANDBOOK = {
    14: 2.525, 15: 3.184, 16: 4.016, 17: 5.064, 18: 6.385, 19: 8.051, 20: 10.15, 21: 12.80, 22: 16.14,
    23: 20.36, 24: 25.67, 25: 32.37, 26: 40.81, 27: 51.47, 28: 64.9, 29: 81.83, 30: 103.2,
}  # fmt: skip


@pytest.mark.parametrize(("awg", "ohm_per_kft"), HANDBOOK.items())
def test_awg_handbook(awg: int, ohm_per_kft: float) -> None:
    assert awg_one_way_ohm_per_m(awg=awg) * METRES_PER_1000_FT == pytest.approx(ohm_per_kft, rel=5e-4)


def test_awg_definition() -> None:
    """ASTM B258-02: No. 36 is 0.0050 in, No. 4/0 is 0.4600 in, steps of 92^(1/39) = 1.1229322."""
    assert awg_diameter_mm(awg=36) == pytest.approx(0.0050 * 25.4)
    assert awg_diameter_mm(awg=-3) == pytest.approx(0.4600 * 25.4)
    assert awg_diameter_mm(awg=20) / awg_diameter_mm(awg=21) == pytest.approx(1.1229322, abs=1e-7)


@pytest.mark.parametrize(
    ("awg", "solid", "stranded"),
    # NEC chapter 9 table 8 at 75 C, uncoated copper, ohm/kft: 14, 12, 10 solid from voltdropcalc.com and 16 stranded
    # from electrician2.com; the other figures from memory.
    [(18, 7.77, 7.95), (16, 4.89, 4.99), (14, 3.07, 3.14), (12, 1.93, 1.98), (10, 1.21, 1.24)],
)
def test_nec_table_8(awg: int, solid: float, stranded: float) -> None:
    hot = awg_one_way_ohm_per_m(awg=awg, temperature_c=75) * METRES_PER_1000_FT
    twisted = awg_one_way_ohm_per_m(awg=awg, temperature_c=75, stranded=True) * METRES_PER_1000_FT
    assert hot == pytest.approx(solid, rel=5e-3)
    assert twisted == pytest.approx(stranded, rel=5e-3)


def test_nec_temperature_note() -> None:
    """NEC chapter 9 table 8 note: R2 = R1 [1 + 0.00323 (T - 75)]; 3.07 at 75 C is 2.5246 at 20 C."""
    ratio = temperature_factor(temperature_c=20) / temperature_factor(temperature_c=75)
    assert 3.07 * ratio == pytest.approx(3.07 * (1 + 0.00323 * (20 - 75)), rel=1e-3)


def test_worked_drop_of_a_loop() -> None:
    """electrician2.com: 100 ft run, 16 AWG stranded at 75 C, 4 A: 2 x 100 x 4.99/1000 x 4 = 3.99 V."""
    one_way = awg_one_way_ohm_per_m(awg=16, temperature_c=75, stranded=True) * METRES_PER_1000_FT / 10
    assert 2 * one_way * 4 == pytest.approx(3.99, abs=0.01)


def test_copper_standard() -> None:
    """IEC 60028:1925: 1.7241e-8 ohm m is 58 MS/m at 20 C."""
    assert one_way_ohm_per_m(area_mm2=1.0) == pytest.approx(1.7241e-2)
    assert 1 / one_way_ohm_per_m(area_mm2=1.0) == pytest.approx(58.0, abs=0.01)


@pytest.mark.parametrize(
    ("area_mm2", "solid", "flexible"),
    # IEC 60228 as given by myCableEngineering, uecables and etechnik-synergie: ohm/km at 20 C, plain copper.
    [(0.5, 36.0, 39.0), (0.75, 24.5, 26.0), (1, 18.1, 19.5), (1.5, 12.1, 13.3), (2.5, 7.41, 7.98), (4, 4.61, 4.95)],
)
def test_iec_60228(area_mm2: float, solid: float, flexible: float) -> None:
    for kind, ohm_per_km in ((ConductorClass.SOLID, solid), (ConductorClass.FLEXIBLE, flexible)):
        assert iec_one_way_max_ohm_per_m(area_mm2=area_mm2, conductor_class=kind) * 1000 == pytest.approx(ohm_per_km)
    # A largest value lies above rho/A, by no more than a sixth in these sizes.
    ideal = one_way_ohm_per_m(area_mm2=area_mm2) * 1000
    assert ideal < solid < flexible < 1.17 * ideal


@pytest.mark.parametrize(("area_mm2", "ohm_per_km"), [(0.14, 134), (0.22, 96), (0.25, 76), (0.34, 53)])
def test_din_vde_0295_small_sizes(area_mm2: float, ohm_per_km: float) -> None:
    """DIN VDE 0295 class 5; a WireKind of that size takes the table's value."""
    assert WireKind(area_mm2=area_mm2).one_way_resistance_ohm_per_m() * 1000 == pytest.approx(ohm_per_km)


@pytest.mark.parametrize(
    ("temperature_c", "k"),
    [(5, 1.064), (10, 1.042), (15, 1.020), (25, 0.980), (30, 0.962), (50, 0.893), (75, 0.820), (100, 0.758)],
)
def test_iec_conversion(temperature_c: float, k: float) -> None:
    """IEC 60228 conversion to 20 C uses 0.004 /K; the copper standard's 0.00393 stays within 0.6 %."""
    assert 1 / temperature_factor(temperature_c=temperature_c, alpha_per_k=0.004) == pytest.approx(k, abs=6e-4)
    assert 1 / temperature_factor(temperature_c=temperature_c) == pytest.approx(k, rel=6e-3)


@pytest.mark.parametrize(
    ("awg", "low", "high"),
    # rusefi "Stranded Wire Chart", ohm/kft: real lays of one gauge scatter. USB cable maxima: a posted copy.
    [(22, 13.73, 16.2), (24, 23.30, 27.7), (26, 37.3, 44.5), (28, 64.9, 70.7)],
)
def test_stranded_lies_among_real_cables(awg: int, low: float, high: float) -> None:
    ohm = WireKind(awg=awg).one_way_resistance_ohm_per_m() * METRES_PER_1000_FT
    assert low < ohm <= high * 1.1


@given(awg=st.integers(-3, 40))
def test_gauge_and_area_are_inverse(awg: int) -> None:
    assert equivalent_awg(area_mm2=awg_area_mm2(awg=awg)) == pytest.approx(awg, abs=1e-9)


def test_bad_wire_says_what_to_do() -> None:
    with pytest.raises(ValueError, match="exactly one of awg, area_mm2"):
        WireKind(awg=22, area_mm2=0.34)
    with pytest.raises(ValueError, match="exactly one"):
        WireKind()
    with pytest.raises(PowerError, match="area in mm²"):
        awg_diameter_mm(awg=60)
    with pytest.raises(PowerError, match=r"Listed: 0\.5"):
        iec_one_way_max_ohm_per_m(area_mm2=0.33, conductor_class=ConductorClass.SOLID)
    with pytest.raises(PowerError, match="must be above 0"):
        one_way_ohm_per_m(area_mm2=0)
    with pytest.raises(PowerError, match="linear model"):
        temperature_factor(temperature_c=-300)


def test_wire_names() -> None:
    assert WireKind(awg=22).name == "22 AWG"
    assert WireKind(awg=0).name == "1/0 AWG"
    assert WireKind(awg=-3).name == "4/0 AWG"
    assert WireKind(area_mm2=0.34).name == "0.34 mm²"
    assert WireKind(one_way_ohm_per_m=0.0308).name == "30.8 mΩ/m"
