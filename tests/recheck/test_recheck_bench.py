"""Thirty runs of every row of the benchmark; its interval against tables; the counts that may not get worse."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench_recheck import CASES, Case, Tally, interval, reliability, run, run_one

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


def test_the_diagram_says_where_what_is_stated_is_too_sure() -> None:
    """Of a thousand stated at 0.9 nine hundred are right: as stated.  Of a thousand stated at 0.9999 ten are wrong: less sure."""
    lines = reliability([(0.9, n >= 100) for n in range(1000)] + [(0.9999, n >= 10) for n in range(1000)])
    assert [line.split()[1] for line in lines[1:]] == ["1000", "1000"]
    assert lines[1].endswith("as stated")
    assert "90.00 %" in lines[1]
    assert lines[2].endswith("LESS SURE")
    low, high = interval(10, 1000)
    assert f"({100 * (1 - high):.2f}–{100 * (1 - low):.2f})" in lines[2]
    assert lines[2].count("=") == 20, "one in a hundred is half of the way to one in ten thousand"


def test_runs_of_several_invocations_are_added_up_each_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = (tmp_path / name for name in ("first", "second"))
    for seed, file in ((1, first), (4, second)):
        run(["--only", "none", "--runs", "2", "--seed", str(seed), "--keep", str(file)])
    capsys.readouterr()
    assert run(["--add", str(first), str(second)]) == 0
    out = capsys.readouterr().out
    assert "wrong 0 of 4" in out
    assert "seeds 1..2, 4..5" in out
    with pytest.raises(ValueError, match="seed 1 of 'none' was counted before"):
        run(["--add", str(first), str(first)])
