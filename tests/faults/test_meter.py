"""Readings as people type them, and what they mean."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.faults.meter import MeterRange, Ranges, ReadingError, judge, parse_reading, parse_readings
from probe.faults.tables import load

RANGES = load().ranges


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("4.93", "V", 4.93),
        (" 4,93 V", "V", 4.93),
        ("-120 mV", "V", -0.12),
        ("\N{MINUS SIGN}4.9v", "V", -4.9),
        (".5", "V", 0.5),
        ("330", "ohm", 330.0),
        ("0.47k", "ohm", 470.0),
        ("2.2 Mohm", "ohm", 2.2e6),
        ("4.7 k\N{OHM SIGN}", "ohm", 4_700.0),
        ("OL", "ohm", math.inf),
        ("o.l.", "ohm", math.inf),
        ("open", "ohm", math.inf),
    ],
)
def test_readings_are_understood(typed: str, unit: str, value: float) -> None:
    assert parse_reading(typed, unit) == pytest.approx(value)


@pytest.mark.parametrize(
    ("typed", "unit", "said"),
    [
        ("", "V", "volts, such as"),
        ("high", "V", "volts, such as"),
        ("4.9 ohm", "V", "another unit"),
        ("5 V", "ohm", "another unit"),
        ("OL", "V", "volts, such as"),
        ("-3", "ohm", "still voltage"),
        ("1e5", "ohm", "ohms, such as"),
        ("4..9", "V", "volts, such as"),
    ],
)
def test_what_is_no_reading_is_refused_with_what_is_wanted(typed: str, unit: str, said: str) -> None:
    with pytest.raises(ReadingError, match=said):
        parse_reading(typed, unit)


@given(st.text(max_size=20), st.sampled_from(sorted(RANGES)))
def test_any_text_gives_readings_or_a_reading_error(typed: str, name: str) -> None:
    try:
        readings = parse_readings(typed, RANGES[name])
    except ReadingError:
        return
    verdict = judge(readings, RANGES[name])
    assert not verdict.shares or sum(share for _, share in verdict.shares) == pytest.approx(1.0)


@pytest.mark.parametrize("typed", ["1.42 / 0.01", "1.42/0.01", "1,42 ; 0,01", "1.42 0.01", "1.42 V / 10 mV"])
def test_two_readings_in_one_line(typed: str) -> None:
    assert parse_readings(typed, RANGES["send-idle"]) == pytest.approx((1.42, 0.01))


def test_one_reading_is_not_enough_where_two_are_wanted() -> None:
    with pytest.raises(ReadingError, match="2 readings"):
        parse_readings("1.42", RANGES["send-idle"])
    with pytest.raises(ReadingError, match="wants 2"):
        judge([1.42], RANGES["send-idle"])


@pytest.mark.parametrize(
    ("name", "readings", "answer"),
    [
        ("volts-first", (5.02,), "good"),
        ("volts-first", (-4.9,), "reversed"),
        ("volts-first", (0.02,), "none"),
        ("volts-first", (4.4,), "low"),
        # WS2812B sheet: 5.3 V is the upper limit.
        ("volts-first", (5.6,), "high"),
        # A forum case: 5.03 V fed in, 2.51 V at the end (forum.arduino.cc topic 1416249).
        ("volts-first", (5.03,), "good"),
        ("volts-last", (2.51,), "low"),
        # Derived: about 1.2 to 1.6 V while black frames are sent at 5 V logic, 0.8 to 1.1 V at 3.3 V, near 0 when idle.
        ("send-idle", (1.4, 0.02), "moves"),
        ("send-idle", (0.9, 0.0), "moves"),
        # A powered DIN with nothing on it can rest at about 1.5 V (electronics.stackexchange.com 141704): no change.
        ("send-idle", (1.5, 1.5), "still"),
        ("ground-drop", (-0.6,), "apart"),
        ("joint-drop", (0.02,), "small"),
        ("supply-ohms", (0.4,), "short"),
        ("supply-ohms", (math.inf,), "free"),
        ("joint-ohms", (0.3,), "closed"),
        ("joint-ohms", (math.inf,), "open"),
        # 470 k fitted instead of 470 (forum.arduino.cc topic 363574).
        ("resistor-ohms", (470_000.0,), "high"),
        ("resistor-ohms", (330.0,), "good"),
        ("resistor-ohms", (0.4,), "low"),
    ],
)
def test_ranges_say_what_a_reading_means(name: str, readings: tuple[float, ...], answer: str) -> None:
    assert judge(readings, RANGES[name]).answer == answer


def test_a_reading_on_the_edge_is_shared_and_one_outside_all_ranges_settles_nothing() -> None:
    edge = judge((4.5,), RANGES["volts-last"])
    assert edge.answer is None
    assert dict(edge.shares) == {"low": pytest.approx(0.5), "good": pytest.approx(0.5)}
    assert judge((10.0,), RANGES["supply-ohms"]).answer == "low"
    assert judge((70.0,), RANGES["volts-last"]).shares == ()


@given(st.floats(-60, 60), st.sampled_from(["volts-first", "volts-last", "ground-drop", "joint-drop"]))
def test_every_voltage_means_something(volts: float, name: str) -> None:
    assert judge((volts,), RANGES[name]).shares or abs(volts) >= 59.9


@pytest.mark.parametrize(
    ("volts", "low", "high"),
    [(0.90, 1.0, 0.0), (0.95, 0.75, 0.25), (1.00, 0.5, 0.5), (1.05, 0.25, 0.75), (1.10, 0.0, 1.0)],
)
def test_doubt_falls_in_a_straight_line_over_the_tolerance_at_both_sides_of_an_edge(
    volts: float, low: float, high: float
) -> None:
    made = Ranges("x", "V", 1, (MeterRange("low", 0.0, 1.0, 0.1, "-"), MeterRange("high", 1.0, 2.0, 0.1, "-")))
    shares = dict(judge([volts], made).shares)
    assert (shares.get("low", 0.0), shares.get("high", 0.0)) == pytest.approx((low, high), abs=1e-9)


def test_a_change_is_judged_without_its_sign_whatever_the_ranges() -> None:
    made = Ranges("x", "V", 2, (MeterRange("still", -1.0, 0.5, 0.0, "-"), MeterRange("moves", 0.5, 3.0, 0.0, "-")))
    assert judge([0.2, 1.5], made) == judge([1.5, 0.2], made)
    assert judge([0.2, 1.5], made).answer == "moves"


def test_an_edge_without_doubt_belongs_to_the_range_above_it() -> None:
    parts = (MeterRange("small", 0.0, 5.0, 0.0, "x"), MeterRange("large", 5.0, math.inf, 0.0, "x"))
    ranges = Ranges("x", "ohm", 1, parts)
    for value, answer in ((0.0, "small"), (4.999, "small"), (5.0, "large"), (math.inf, "large")):
        assert judge((value,), ranges).shares == ((answer, 1.0),)
