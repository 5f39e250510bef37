"""Thirty runs of every row of the benchmark; its interval against tables; the counts that may not get worse."""

from __future__ import annotations

import pytest

from tests.bench_recheck import CASES, Case, Tally, interval, run_one

RUNS = 30


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("case", [c for c in CASES if c.count < 1000], ids=lambda c: c.key)
def test_thirty_runs_of_a_row(case: Case) -> None:
    """Thirty runs say little of a share of 0.1 %: two wrong ones are too many, and so is twice the actions."""
    tally = Tally()
    for seed in range(1, RUNS + 1):
        run_one(case, seed, tally)
    alike = 4 if case.most_wrong == 1.0 else 1  # one pair in twenty is alike in two pictures
    assert len(tally.wrong) <= alike, tally.wrong
    assert sum(tally.actions) / RUNS <= min(2 * case.most_actions, 16.0)


def test_the_interval_is_clopper_and_pearsons() -> None:
    """No success in n: 1 - (alpha/2)^(1/n); one in ten: 0.0025 to 0.4450 (Clopper and Pearson 1934, as tabled since)."""
    low, high = interval(0, 30)
    assert (low, high) == pytest.approx((0.0, 1 - 0.025 ** (1 / 30)), abs=1e-9)
    assert interval(1, 10) == pytest.approx((0.00253, 0.44502), abs=1e-4)
