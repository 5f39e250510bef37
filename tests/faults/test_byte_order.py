"""What wrong orders and widths look like, derived from the byte stream; one row was also reported in the field."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.values import DARK, Colour
from probe.faults.byte_order import Candidate, ColourLook, decide, predict, separating_drive
from probe.patterns.chips import ORDERS_RGB, ORDERS_RGBW, shown, stream
from probe.patterns.pictures import RED

orders = st.sampled_from([*ORDERS_RGB, *ORDERS_RGBW])


def seen(candidate: Candidate, sent: str, driven: str, count: int) -> list[str]:
    return ["".join(sorted(letters)) for letters in predict(candidate, sent=sent, driven=driven, count=count)]


def looks(candidate: Candidate, driven: str, count: int) -> list[ColourLook]:
    colours = "RGBW" if len(driven) == 4 else "RGB"
    return [ColourLook(sent, predict(candidate, sent=sent, driven=driven, count=count)) for sent in colours]


def places_lit(candidate: Candidate, *, driven: str, count: int) -> list[tuple[int, ...]]:
    """For each number stepped through in red: the places (0-based positions on the wire) that light."""
    hits = []
    for number in range(count):
        picture = [DARK] * count
        picture[number] = RED
        seen = shown(stream(picture, driven), candidate.orders(count))
        hits.append(tuple(place for place, lit in enumerate(seen) if lit is not None and lit.letters))
    return hits


@pytest.mark.parametrize(
    ("order", "red", "green", "blue"),
    [
        ("GRB", "R", "G", "B"),
        ("RGB", "G", "R", "B"),
        ("BRG", "R", "B", "G"),
        ("GBR", "B", "G", "R"),
        ("BGR", "G", "B", "R"),
        ("RBG", "B", "R", "G"),
    ],
)
def test_colours_seen_when_green_red_blue_is_sent(order: str, red: str, green: str, blue: str) -> None:
    """Derived from the byte stream, by hand."""
    assert [seen(Candidate(order), sent, "GRB", 1)[0] for sent in "RGB"] == [red, green, blue]


def test_four_colour_pixels_driven_as_three() -> None:
    """Derived; R, G with W, B was also reported in the field (a forum report)."""
    assert seen(Candidate("GRBW"), "R", "GRB", 8) == ["R", "GW", "B", "R", "GW", "B", "", ""]


def test_four_colour_pixels_driven_as_three_reach_three_quarters_and_hit_places_twice() -> None:
    hits = places_lit(Candidate("GRBW"), driven="GRB", count=16)
    assert [hit[0] for hit in hits[:8]] == [0, 1, 1, 2, 3, 4, 4, 5]
    assert 1 + max(place for hit in hits for place in hit) == 3 * 16 // 4


def test_three_colour_pixels_driven_as_four() -> None:
    """Derived from the byte stream, by hand."""
    assert seen(Candidate("GRB"), "R", "GRBW", 8) == ["R", "B", "", "G", "R", "B", "", "G"]
    hits = places_lit(Candidate("GRB"), driven="GRBW", count=8)
    assert [hit[0] for hit in hits if hit] == [0, 1, 3, 4, 5, 7]


@pytest.mark.parametrize(
    ("candidate", "driven", "after"),
    [
        (Candidate("GRB", 4, "GRBW"), "GRB", {"R": "G", "G": "B", "B": "R"}),
        (Candidate("GRBW", 4, "GRB"), "GRBW", {"R": "B", "G": "R", "B": "W"}),
    ],
)
def test_one_pixel_of_another_width_turns_the_colours_after_it(
    candidate: Candidate, driven: str, after: dict[str, str]
) -> None:
    """Derived from the byte stream, by hand."""
    for sent, turned in after.items():
        whole = seen(candidate, sent, driven, 12)
        assert whole[:4] == [sent] * 4
        assert whole[5:11] == [turned] * 6


@pytest.mark.parametrize("order", ORDERS_RGB)
@pytest.mark.parametrize("driven", ORDERS_RGB)
def test_the_six_orders_are_decided_exactly(order: str, driven: str) -> None:
    assert decide(looks(Candidate(order), driven, 12), driven=driven, count=12) == (Candidate(order),)


@pytest.mark.parametrize("order", ORDERS_RGBW)
def test_the_twenty_four_orders_are_decided_exactly_once_four_colours_are_driven(order: str) -> None:
    three_looks = looks(Candidate(order), "GRBW", 12)[:3]
    assert decide(three_looks, driven="GRBW", count=12) == (Candidate(order),)


@pytest.mark.parametrize("order", ORDERS_RGBW)
def test_four_colours_driven_as_three_leave_two_orders_and_name_the_drive_that_separates_them(order: str) -> None:
    left = decide(looks(Candidate(order), "GRB", 12), driven="GRB", count=12)
    assert Candidate(order) in left
    assert all(len(candidate.order) == 4 for candidate in left)
    assert len(left) == 2
    drive = separating_drive(left, count=12)
    assert drive is not None
    assert decide(looks(Candidate(order), drive, 12), driven=drive, count=12) == (Candidate(order),)


@pytest.mark.slow
@given(orders, orders, st.integers(0, 10))
def test_whatever_is_wired_is_among_the_candidates(driven: str, odd: str, number: int) -> None:
    real = Candidate(driven, number, odd) if odd != driven else Candidate(driven)
    left = decide(looks(real, driven, 14), driven=driven, count=14)
    views = [predict(real, sent=sent, driven=driven, count=14) for sent in "RGB"]
    assert left
    for candidate in left:
        assert [predict(candidate, sent=sent, driven=driven, count=14) for sent in "RGB"] == views


@pytest.mark.parametrize("number", range(1, 11))
def test_one_odd_pixel_is_placed_exactly(number: int) -> None:
    left = decide(looks(Candidate("GRB", number, "GRBW"), "GRB", 14), driven="GRB", count=14)
    assert {candidate.odd_number for candidate in left} == {number}
    assert all(candidate.odd_order is not None and len(candidate.odd_order) == 4 for candidate in left)


@pytest.mark.slow
def test_a_part_of_the_chain_is_enough_and_unknown_pixels_do_not_count() -> None:
    part = [ColourLook("R", (frozenset("G"), None, frozenset("G")), first=3)]
    assert {candidate.order for candidate in decide(part, driven="GRB", count=30)} >= {"RGB", "BGR"}


def test_looks_that_contradict_each_other_leave_nothing() -> None:
    wrong = [ColourLook("R", (frozenset("R"),) * 6), ColourLook("G", (frozenset("R"),) * 6)]
    assert decide(wrong, driven="GRB", count=6) == ()


def test_bad_input_is_refused() -> None:
    with pytest.raises(ValueError, match="of 3"):
        decide([ColourLook("R", (frozenset("R"),) * 4)], driven="GRB", count=3)
    with pytest.raises(ValueError, match="permutation"):
        decide([], driven="GRX", count=3)
    with pytest.raises(ValueError, match="none of R, G, B, W"):
        predict(Candidate("GRB"), sent="X", driven="GRB", count=3)


@given(st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=20), st.sampled_from(ORDERS_RGB))
def test_a_chain_of_the_driven_order_shows_the_picture(levels: list[tuple[int, int, int]], order: str) -> None:
    picture = [Colour(*level) for level in levels]
    assert list(shown(stream(picture, order), [order] * len(picture))) == picture


def test_bytes_on_the_wire() -> None:
    """WS2812B sheet: green first; WS2811 sheet: red first."""
    assert stream([Colour(1, 2, 3)], "GRB") == bytes([2, 1, 3])
    assert stream([Colour(1, 2, 3)], "RGB") == bytes([1, 2, 3])
