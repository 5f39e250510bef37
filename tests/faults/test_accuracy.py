"""Whole searches, few enough to run with every change; `tests/bench_faults.py` has the figures over many.

They measure self-consistency, not accuracy in the field.
"""

from __future__ import annotations

import pytest

from probe.faults.knowledge import Who
from probe.faults.tables import load
from tests.bench_faults import from_table, from_wiring

K = load()


@pytest.mark.slow
def test_answers_from_the_table_find_the_cause() -> None:
    score = from_table(K, sessions=400, seed=11)
    assert score.first / score.sessions >= 0.80, score.missed
    assert score.in_three / score.sessions >= 0.93, score.missed
    assert score.questions / score.sessions <= 7


@pytest.mark.slow
def test_the_model_wiring_is_found_among_three() -> None:
    score = from_wiring(K, sessions=112, seed=12, even=True)
    assert score.in_three / score.sessions >= 0.85, score.missed


@pytest.mark.slow
def test_five_in_a_hundred_wrong_answers_are_survived() -> None:
    assert (table := from_table(K, sessions=300, seed=13, wrong=0.05)).in_three / table.sessions >= 0.85
    assert (wiring := from_wiring(K, sessions=56, seed=14, wrong=0.05, even=True)).in_three / wiring.sessions >= 0.85


@pytest.mark.slow
def test_with_two_causes_one_is_found_first() -> None:
    score = from_wiring(K, sessions=40, seed=15, faults=2)
    assert score.in_three / score.sessions >= 0.85, score.missed


def test_the_program_sees_few_things_for_itself() -> None:
    assert sum(observation.who is Who.TOOL for observation in K.observations) == 3
