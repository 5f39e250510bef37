"""Thirty runs of every row of the benchmark; its interval against tables; the counts that may not get worse."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

from probe.recheck.engine import Options, Recheck
from tests import bench_recheck
from tests.bench_recheck import (
    CASES,
    Case,
    Row,
    Run,
    Tally,
    interval,
    kept_rows,
    make_chain,
    reliability,
    run,
    run_one,
    unlike,
)
from tests.recheck.engine.worlds import Person

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


@pytest.mark.slow
@pytest.mark.parametrize(
    ("key", "seed", "most"),
    [
        pytest.param("three", 700470, 10, id="the pixel beside the one that is out, which was overlooked"),
        pytest.param("plugs", 701192, 11, id="an exchange that was found as two edits, and is dearer as such"),
        pytest.param("three3", 710173, 14, id="edits that a wrong answer led to hold back what is said later"),
        pytest.param("errs", 710371, 26, id="where new pixels are is open far and wide after wrong answers"),
        pytest.param("errs", 710439, 26, id="where a pixel is out is open far and wide after wrong answers"),
    ],
)
def test_a_run_that_other_rules_get_wrong_is_right(key: str, seed: int, most: int) -> None:
    """Without the rule the first two end with a wrong map that states more than 0.9995, the third takes 18 actions, and
    the last two are asked about one pixel after the other, until after 40 actions they end with a wrong map."""
    one = run_one(next(case for case in CASES if case.key == key), seed, Tally())
    assert one.right
    assert one.actions <= most


@pytest.mark.slow
def test_what_is_stated_counts_what_became_no_map_at_the_price_that_the_best_map_has() -> None:
    """An exchange found as two edits becomes one, cheaper: what is stated then is as when all is edited afresh."""
    case = next(case for case in CASES if case.key == "plugs")
    rng = np.random.default_rng([701192, case.count, *case.key.encode()])
    chain = make_chain(case, rng)
    person, state = Person(chain, rng), Recheck.start(chain.setup(), Options(seed=701192))
    cheaper = 0
    while (action := state.next_step().action) is not None:
        before, state = state, state.answered(action, person.answer(action))
        if np.array_equal(before.best_map, state.best_map) and state.log_prior[0] > before.log_prior[0] + 1.0:
            cheaper += 1
            again = state._expanded({}, bases=0)
            assert state.confidence == pytest.approx(again.confidence, abs=1e-4)
            assert state.alike == pytest.approx(again.alike, rel=0.01)
            assert state.unseen.sum() == pytest.approx(again.unseen.sum(), rel=0.1)
    assert cheaper == 1


def test_the_interval_is_clopper_and_pearsons() -> None:
    """No success in n: 1 - (alpha/2)^(1/n); one in ten: 0.0025 to 0.4450 (Clopper and Pearson 1934, as tabled since)."""
    low, high = interval(0, 30)
    assert (low, high) == pytest.approx((0.0, 1 - 0.025 ** (1 / 30)), abs=1e-9)
    assert interval(1, 10) == pytest.approx((0.00253, 0.44502), abs=1e-4)


def _runs(stated: float, *, right: int, wrong: int, seed: int = 1) -> list[Run]:
    return [
        Run(
            case="none",
            seed=seed + n,
            actions=2,
            right=n < right,
            stated=stated,
            seconds=55.0,
            choose=3.0,
            answer=14.0,
            edits=[],
        )
        for n in range(right + wrong)
    ]


def test_the_diagram_says_where_what_is_stated_is_too_sure() -> None:
    """Of a thousand stated at 0.9 nine hundred are right: as stated.  Of a thousand stated at 0.9999 ten are wrong: less sure."""
    rows = [Row().with_runs(_runs(0.9, right=900, wrong=100)), Row().with_runs(_runs(0.9999, right=990, wrong=10))]
    lines = reliability(rows)
    assert [line.split()[1] for line in lines[1:]] == ["1000", "1000"]
    assert lines[1].endswith("as stated")
    assert "90.00 %" in lines[1]
    assert lines[2].endswith("LESS SURE")
    low, high = interval(10, 1000)
    assert f"({100 * (1 - high):.2f}–{100 * (1 - low):.2f})" in lines[2]
    assert lines[2].count("=") == 20, "one in a hundred is half of the way to one in ten thousand"


@pytest.fixture
def file_of_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(bench_recheck, "KEPT", tmp_path / "rows.json")
    return tmp_path / "rows.json"


def _kept_runs(file: Path, *, seed: int, runs: int) -> None:
    run(["--only", "none", "--runs", str(runs), "--seed", str(seed), "--keep", str(file)])


@pytest.mark.usefixtures("file_of_rows")
def test_runs_of_several_invocations_are_added_up_each_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = (tmp_path / name for name in ("first", "second"))
    _kept_runs(first, seed=1, runs=2)
    _kept_runs(second, seed=4, runs=2)
    run(["--add", str(first)])
    run(["--add", str(second)])
    capsys.readouterr()
    assert run(["--kept"]) == 0
    out = capsys.readouterr().out
    assert "wrong 0 of 4" in out
    assert "seeds 1..2, 4..5" in out
    with pytest.raises(ValueError, match="seed 1 of 'none' was counted before"):
        run(["--add", str(first)])
    assert kept_rows()["none"].actions == {"2": 4}, "what was refused is not counted"


def test_rows_of_another_engine_are_refused(tmp_path: Path, file_of_rows: Path) -> None:
    """Of the runs added and of those in the file: one that comes out otherwise now is named, and the file stays as it is."""
    old, new = (tmp_path / name for name in ("old", "new"))
    _kept_runs(old, seed=1, runs=2)
    run(["--add", str(old)])
    before = file_of_rows.read_text(encoding="utf-8")
    new.write_text(
        "".join(json.dumps(asdict(one)) + "\n" for one in _runs(0.97, right=1, wrong=0, seed=9)), encoding="utf-8"
    )
    with pytest.raises(
        ValueError, match=r"another engine: 'none', seed 9, is kept with 2 actions, stated 0\.97, right; now"
    ):
        run(["--add", str(new)])
    assert file_of_rows.read_text(encoding="utf-8") == before
    file_of_rows.write_text(before.replace('"checked": [[1, 2,', '"checked": [[1, 5,'), encoding="utf-8")
    _kept_runs(tmp_path / "more", seed=20, runs=1)
    with pytest.raises(ValueError, match="another engine: 'none', seed 1, is kept with 5 actions"):
        run(["--add", str(tmp_path / "more")])


@pytest.mark.slow
@pytest.mark.long
def test_the_rows_in_the_repository_are_of_this_engine() -> None:
    assert list(unlike(kept_rows())) == []


def test_the_rows_in_the_repository_add_up() -> None:
    for key, row in kept_rows().items():
        runs = sum(b - a + 1 for a, b in row.seeds)
        assert sum(row.actions.values()) == runs == sum(one[0] for one in row.stated), key
        assert sum(one[2] for one in row.stated) == runs - len(row.wrong), key
