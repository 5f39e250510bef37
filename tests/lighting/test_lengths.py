"""Tape measure and grid, as typed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model import Machine, Position
from probe.lighting.lengths import (
    LengthError,
    Unit,
    grid_square,
    parse_length,
    parse_position,
    parse_square,
    shown_length,
)

MACHINE = Machine(name="Kelp Forest")


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ('10 1/4"', 260.35),
        ('10-1/4"', 260.35),
        ("10¼ in", 260.35),
        ("10 ¼″", 260.35),
        ("10.25 inches", 260.35),
        ("1/2 in", 12.7),
        ("1' 2 1/2\"", 368.3),
        ("1 ft 2 1/2", 368.3),
        ("3'", 914.4),
        ("260 mm", 260.0),
        ("26cm", 260.0),
        ("26,5 cm", 265.0),
        (".5 m", 500.0),
        ("260", 260.0),
        ("  0  ", 0.0),
    ],
)
def test_a_tape_measure(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm)


def test_a_bare_number_is_in_the_unit_chosen() -> None:
    assert parse_length("10 1/4", Unit.INCH) == pytest.approx(260.35)
    assert parse_length("260 mm", Unit.INCH) == pytest.approx(260.0)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "  ",
        "ten",
        "1/0 in",
        "10 20",
        "-5",
        "1' 2'",
        "1' 5 mm",
        "10 1/4/8",
        '"',
        "6 m",
        "9" * 50,
        "1e3",
        "٣",
        "10 mm mm",
    ],
)
def test_what_is_no_length_says_what_would_be(text: str) -> None:
    with pytest.raises(LengthError, match=r"mm|long|unit|inches|divides"):
        parse_length(text)


@given(st.text(max_size=60))
def test_any_text_is_a_length_or_refused(text: str) -> None:
    try:
        mm = parse_length(text)
    except LengthError:
        return
    assert 0 <= mm <= 5_000


@given(st.floats(0, 2_000))
def test_a_shown_length_reads_back(mm: float) -> None:
    assert parse_length(shown_length(mm)) == pytest.approx(mm, abs=0.51)
    assert parse_length(shown_length(mm, Unit.INCH)) == pytest.approx(mm, abs=25.4 / 32 + 0.01)


@given(st.floats(0, 514), st.floats(0, 1066))
def test_a_square_holds_its_position(x: float, y: float) -> None:
    middle = parse_square(grid_square(Position(x_mm=x, y_mm=y)))
    assert middle is not None
    assert abs(middle.x_mm - x) <= 25.0
    assert abs(middle.y_mm - y) <= 25.0


@pytest.mark.parametrize(
    ("text", "x", "y"),
    [
        ("c7", 125.0, 325.0),
        (" J 3 ", 475.0, 125.0),
        ("260, 570", 260.0, 570.0),
        ("26,5 cm; 57 cm", 265.0, 570.0),
        ('10 1/4", 22 1/2"', 260.35, 571.5),
        ("260 mm x 570 mm", 260.0, 570.0),
    ],
)
def test_a_position(text: str, x: float, y: float) -> None:
    found = parse_position(text, MACHINE)
    assert found.x_mm == pytest.approx(x)
    assert found.y_mm == pytest.approx(y)
    assert not found.guessed


def test_from_below_the_left_hand_is_the_other_edge() -> None:
    found = parse_position("100, 570", MACHINE, from_below=True)
    assert found.x_mm == pytest.approx(514.35 - 100)
    assert parse_position("C7", MACHINE, from_below=True) == parse_square("C7")


@pytest.mark.parametrize("text", ["", "260", "a, b", "1, 2, 3", "900, 100", "100, 4000", "Z99"])
def test_what_is_no_position_says_why(text: str) -> None:
    with pytest.raises(LengthError):
        parse_position(text, MACHINE)


@given(st.text(max_size=60))
def test_any_text_is_a_position_or_refused(text: str) -> None:
    try:
        found = parse_position(text, MACHINE)
    except LengthError:
        return
    assert found.x_mm <= MACHINE.width_mm + 50
