"""Which number is at this place: halving with four colours."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.recheck.engine.codes import UNLIT
from probe.recheck.find import Locate
from tests.support.examples import first_now


@pytest.mark.parametrize("numbers", first_now([1, 2, 4, 5, 16, 17, 60, 64, 65, 100, 256, 300, 1000, 1024], now=3))
def test_every_number_is_found_in_the_least_looks(numbers: int) -> None:
    most = 0
    for hidden in range(numbers):
        state = Locate.start(numbers)
        while state.found is None:
            state = state.answered(state.frame()[hidden])
        assert state.found == hidden
        most = max(most, state.looks)
    exact = 0
    while 4**exact < numbers:
        exact += 1
    assert most == exact
    assert most == math.ceil(round(math.log(numbers, 4), 9))


@given(st.integers(1, 400), st.data())
def test_not_sure_costs_a_look_and_loses_nothing(numbers: int, data: st.DataObject) -> None:
    hidden = data.draw(st.integers(0, numbers - 1))
    state = Locate.start(numbers)
    unsure = 0
    while state.found is None:
        before = state.looks_left
        if unsure < 6 and data.draw(st.booleans()):
            old = state.frame()[hidden]
            state = state.answered(None)
            unsure += 1
            assert state.frame()[hidden] != old  # the same split in other colours
            assert state.looks_left == before
        else:
            state = state.answered(state.frame()[hidden])
            assert state.looks_left < before
    assert state.found == hidden


def test_only_candidates_are_lit() -> None:
    state = Locate.start(10, candidates=[7, 2, 2])
    assert [n for n, colour in enumerate(state.frame()) if colour != UNLIT] == [2, 7]
    assert state.looks_left == 1


def test_dark_means_none_of_them() -> None:
    state = Locate.start(10).answered(UNLIT)
    assert state.lost
    assert state.found is None
    assert state.looks_left == 0


def test_bad_input_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        Locate.start(5, candidates=[5])
    with pytest.raises(ValueError, match="at least one"):
        Locate.start(0)
    with pytest.raises(ValueError, match=r"colours 0\.\.3"):
        Locate.start(5).answered(4)
