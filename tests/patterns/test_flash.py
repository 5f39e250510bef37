"""Flash limit. WCAG 2.x, success criterion 2.3.1: no more than three flashes in any one second."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.patterns.flash import (
    MOST_CHANGES,
    SHORTEST_STEP_MS,
    FlashLimiter,
    flashes_per_second,
    most_changes,
)


def test_three_flashes_within_a_second_pass_and_four_do_not() -> None:
    three = [0, 100, 300, 400, 600, 700]
    four = [*three, 850, 950]
    assert flashes_per_second(three) == 3
    assert flashes_per_second(four) == 4


def test_the_window_slides_and_does_not_follow_the_calendar_second() -> None:
    across_the_second = [700, 750, 800, 850, 1_100, 1_150, 1_200, 1_250]
    assert flashes_per_second(across_the_second) == 4


def test_the_shortest_step_just_keeps_the_limit() -> None:
    assert most_changes([n * SHORTEST_STEP_MS for n in range(60)]) == MOST_CHANGES
    assert most_changes([n * (SHORTEST_STEP_MS - 1) for n in range(60)]) > MOST_CHANGES


@given(st.lists(st.integers(0, 400), max_size=60))
def test_whatever_is_wished_the_limiter_never_lets_more_through(gaps: list[int]) -> None:
    limiter, now, shown = FlashLimiter(), 0, []
    for gap in gaps:
        now += gap
        now += limiter.wait_ms(now)
        limiter = limiter.changed(now)
        shown.append(now)
    assert most_changes(shown) <= MOST_CHANGES


def test_the_limiter_lets_slow_changes_pass_at_once() -> None:
    limiter = FlashLimiter()
    for now in range(0, 5_000, 500):
        assert limiter.wait_ms(now) == 0
        limiter = limiter.changed(now)


def test_the_limiter_says_how_long_to_wait_and_refuses_before() -> None:
    limiter = FlashLimiter()
    for now in (0, 10, 20, 30, 40, 50):
        limiter = limiter.changed(now)
    assert limiter.wait_ms(60) == 940
    with pytest.raises(ValueError, match="wait another 940 ms"):
        limiter.changed(60)
    assert limiter.wait_ms(1_000) == 0


def test_the_limiter_refuses_time_that_runs_backwards() -> None:
    with pytest.raises(ValueError, match="backwards"):
        FlashLimiter().changed(100).changed(50)
