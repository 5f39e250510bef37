"""Halving to a break, and the chain's length by a return wire."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.faults.locate import BreakSearch, ReturnWire


@pytest.mark.parametrize(("count", "most"), [(63, 6), (64, 7), (60, 6), (100, 7), (150, 8), (250, 8)])
def test_looks_needed_are_the_logarithm_of_the_outcomes(count: int, most: int) -> None:
    """First break in a chain of N: ⌈log2(N+1)⌉ (counting argument: N+1 outcomes, one bit a look)."""
    assert BreakSearch(count).most_looks == most == math.ceil(math.log2(count + 1))


@given(st.integers(1, 300), st.data())
def test_every_break_is_found_within_that_many_looks(count: int, data: st.DataObject) -> None:
    first_bad = data.draw(st.integers(0, count))
    search, looks = BreakSearch(count), 0
    while (pixel := search.pixel) is not None:
        search = search.answered(pixel < first_bad)
        looks += 1
    assert looks <= math.ceil(math.log2(count + 1))
    assert search.whole == (first_bad == count)
    assert search.found == (None if first_bad == count else (first_bad - 1, first_bad))


@given(st.integers(1, 60), st.data())
def test_not_sure_never_ends_in_a_wrong_place(count: int, data: st.DataObject) -> None:
    first_bad = data.draw(st.integers(0, count))
    search = BreakSearch(count)
    while (pixel := search.pixel) is not None:
        answer = None if data.draw(st.booleans()) else pixel < first_bad
        search = search.answered(answer)
    last_good, bad = search.between
    assert last_good < first_bad <= bad


def test_the_search_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="at least one"):
        BreakSearch(0)
    with pytest.raises(ValueError, match="cannot lie"):
        BreakSearch(10, good=5, bad=3)
    with pytest.raises(ValueError, match="over"):
        BreakSearch(1, good=1).answered(True)


@given(st.integers(1, 500), st.integers(0, 500), st.sampled_from([24, 32]))
def test_the_return_wire_gives_the_exact_length(length: int, extra: int, bits: int) -> None:
    """Each chip takes its bits and passes the rest: N = sent - edges / 24 (derived from the data sheets' cascade)."""
    sent = length + extra
    pixels = sent - (extra * bits) // bits
    wire = ReturnWire(sent).counted(least=pixels, most=pixels)
    assert wire.length == length
    assert wire.drops == 0
    assert wire.nothing_back == (extra == 0)


def test_drop_outs_are_counted_and_the_fullest_count_is_the_length() -> None:
    wire = ReturnWire(60)
    for least, most in ((50, 50), (50, 50), (60, 60), (50, 51), (50, 50)):
        wire = wire.counted(least=least, most=most)
    assert (wire.length, wire.asked, wire.drops) == (50, 5, 2)


def test_a_count_that_differs_from_time_to_time_is_a_drop_out_from_the_first() -> None:
    assert ReturnWire(60).counted(least=50, most=52).drops == 1
    assert ReturnWire(60).counted(least=50, most=50).drops == 0
