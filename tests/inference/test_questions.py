"""Human time and the choice of the next question."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.inference.entropy import expected_information_bits
from probe.inference.keystroke import Operator, klm_seconds
from probe.inference.questions import LikelihoodTable, Question, best_question, rank_questions, update


def test_published_keystroke_sums() -> None:
    # Card, Moran, Newell 1980, operator values; sums published in a course text (CiteSeer 223358)
    check_box = [Operator.POINT, Operator.THINK, Operator.KEY_OCCASIONAL]
    assert klm_seconds(check_box) == pytest.approx(2.73)
    assert klm_seconds([*check_box], response_seconds=1.06) == pytest.approx(3.79)


def test_confirming_by_one_key() -> None:
    one = klm_seconds([Operator.THINK, Operator.KEY])
    assert one == pytest.approx(1.55)
    assert 64 * one == pytest.approx(99.2)


def test_operator_letters_and_seconds() -> None:
    assert {o.letter: o.seconds for o in Operator} == {"K": 0.20, "Kn": 0.28, "P": 1.10, "H": 0.40, "M": 1.35}


def test_negative_response_time_is_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        klm_seconds([], response_seconds=-0.1)


def test_best_question_is_by_bits_per_second() -> None:
    slow = Question(key="slow", expected_bits=3.0, seconds=10.0)
    quick = Question(key="quick", expected_bits=1.0, seconds=2.0)
    empty = Question(key="empty", expected_bits=0.0, seconds=0.1)
    assert best_question([slow, quick, empty]) == quick
    assert [q.key for q in rank_questions([empty, slow, quick])] == ["quick", "slow", "empty"]
    assert best_question([empty]) is None
    assert best_question([slow, quick], least_bits=2.0) == slow


def _tables() -> list[LikelihoodTable[str]]:
    return [
        LikelihoodTable(
            key="does anything light?",
            answers=("yes", "no"),
            table=np.array([[0.99, 0.01], [0.01, 0.99], [0.5, 0.5]]),
            seconds=3.0,
        ),
        LikelihoodTable(
            key="measure the feed",
            answers=("5 V", "low"),
            table=np.array([[0.9, 0.1], [0.9, 0.1], [0.05, 0.95]]),
            seconds=30.0,
        ),
    ]


def test_discrete_causes_are_served_by_the_same_choice() -> None:
    prior = np.array([0.4, 0.4, 0.2])
    first = best_question(table.question(prior) for table in _tables())
    assert first is not None
    assert first.key == "does anything light?"
    posterior = update(prior, _tables()[0], "yes")
    assert posterior == pytest.approx(np.array([0.396, 0.004, 0.1]) / 0.5)
    second = best_question(table.question(posterior) for table in _tables()[1:])
    assert second is not None
    assert second.expected_bits == pytest.approx(expected_information_bits(posterior, _tables()[1].table))


def test_update_refuses_unknown_and_impossible_answers() -> None:
    question = LikelihoodTable(key="q", answers=("a", "b"), table=np.array([[1.0, 0.0]]), seconds=1.0)
    with pytest.raises(ValueError, match="choose one of a, b"):
        update([1.0], question, "c")
    with pytest.raises(ValueError, match="no cause gives"):
        update([1.0], question, "b")


@given(st.integers(0, 2**32 - 1), st.integers(2, 5), st.integers(2, 4))
def test_updates_commute(seed: int, causes: int, answers: int) -> None:
    rng = np.random.default_rng(seed)
    names = tuple(str(a) for a in range(answers))
    one, two = (
        LikelihoodTable(key=k, answers=names, table=rng.dirichlet(np.ones(answers), size=causes), seconds=1.0)
        for k in "ab"
    )
    prior = rng.dirichlet(np.ones(causes))
    assert update(update(prior, one, "0"), two, "1") == pytest.approx(update(update(prior, two, "1"), one, "0"))
