"""Entropy, expected information and question counts against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.inference.entropy import (
    binary_entropy_bits,
    entropy_bits,
    expected_information_bits,
    ordering_bits,
    questions_needed,
)


@pytest.mark.parametrize(
    ("weights", "bits"),
    [
        # Cover & Thomas, Elements of Information Theory, example 1.1.2: eight horses
        ((1 / 2, 1 / 4, 1 / 8, 1 / 16, 1 / 64, 1 / 64, 1 / 64, 1 / 64), 2.0),
        # same book, from memory
        ((1 / 2, 1 / 4, 1 / 8, 1 / 8), 1.75),
        # University of Washington CSEP 521 lecture, printed as 1.3 and 1.6
        ((1 / 8, 1 / 4, 5 / 8), 1.2988),
        ((1 / 3, 1 / 3, 1 / 3), 1.58496),
    ],
)
def test_entropy_of_published_examples(weights: tuple[float, ...], bits: float) -> None:
    assert entropy_bits(weights) == pytest.approx(bits, abs=1e-4)


@pytest.mark.parametrize(("p", "bits"), [(0.01, 0.0808), (0.05, 0.2864), (0.11, 0.4999), (0.5, 1.0), (0.0, 0.0)])
def test_binary_entropy(p: float, bits: float) -> None:
    assert binary_entropy_bits(p) == pytest.approx(bits, abs=1e-4)


@pytest.mark.slow
@given(st.lists(st.floats(0.0, 1e6), min_size=1, max_size=30).filter(lambda w: sum(w) > 1e-3))
def test_entropy_agrees_with_scipy_and_is_bounded(weights: list[float]) -> None:
    from scipy.stats import entropy as scipy_entropy  # which takes long to load

    bits = entropy_bits(weights)
    assert bits == pytest.approx(float(scipy_entropy(weights, base=2)), abs=1e-9)
    assert 0.0 <= bits <= math.log2(len(weights)) + 1e-9


@pytest.mark.parametrize("weights", [(), (0.0,), (-1.0, 2.0), (float("nan"),), (float("inf"), 1.0)])
def test_entropy_refuses_what_is_no_distribution(weights: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="entropy needs"):
        entropy_bits(weights)


@pytest.mark.parametrize(("n", "questions"), [(1, 0), (2, 1), (60, 6), (64, 6), (65, 7), (100, 7), (144, 8), (300, 9)])
def test_yes_no_questions_for_n_candidates(n: int, questions: int) -> None:
    assert questions_needed(candidates=n, answers_per_question=2) == questions == math.ceil(math.log2(n))


@pytest.mark.parametrize(("n", "questions"), [(4, 1), (5, 2), (16, 2), (64, 3), (65, 4), (256, 4), (1000, 5)])
def test_four_way_questions(n: int, questions: int) -> None:
    assert questions_needed(candidates=n, answers_per_question=4) == questions


def test_exact_powers_are_not_lost_to_rounding() -> None:
    for k in range(1, 40):
        assert questions_needed(candidates=3**k, answers_per_question=3) == k
        assert questions_needed(candidates=3**k + 1, answers_per_question=3) == k + 1


@pytest.mark.parametrize(("n", "bits"), [(64, 296.0), (60, 272.1), (100, 524.8), (1, 0.0)])
def test_bits_of_an_unknown_order(n: int, bits: float) -> None:
    assert ordering_bits(n) == pytest.approx(bits, abs=0.05)
    assert ordering_bits(n) == pytest.approx(sum(math.log2(k) for k in range(1, n + 1)), rel=1e-12, abs=1e-12)


def test_expected_information_of_known_channels() -> None:
    # binary symmetric channel with even input: 1 - Hb(error) (Cover & Thomas, section 7.1.4)
    table = np.array([[0.89, 0.11], [0.11, 0.89]])
    assert expected_information_bits([0.5, 0.5], table) == pytest.approx(1.0 - binary_entropy_bits(0.11), abs=1e-12)
    assert expected_information_bits([0.5, 0.5], np.array([[0.3, 0.7], [0.3, 0.7]])) == pytest.approx(0.0, abs=1e-12)
    assert expected_information_bits(np.ones(8), np.eye(8)) == pytest.approx(3.0, abs=1e-12)


@given(st.data())
def test_expected_information_is_the_mean_drop_of_entropy(data: st.DataObject) -> None:
    causes = data.draw(st.integers(2, 6))
    answers = data.draw(st.integers(2, 5))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**32 - 1)))
    prior = rng.dirichlet(np.ones(causes))
    table = rng.dirichlet(np.ones(answers), size=causes)
    drop = entropy_bits(prior)
    for answer in range(answers):
        joint = prior * table[:, answer]
        drop -= float(joint.sum()) * entropy_bits(joint)
    assert expected_information_bits(prior, table) == pytest.approx(drop, abs=1e-9)


def test_expected_information_refuses_shapes_that_do_not_fit() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        expected_information_bits([1.0], np.eye(2))
    with pytest.raises(ValueError, match="adds up to 1"):
        expected_information_bits([0.5, 0.5], np.array([[1.0, 1.0], [0.0, 1.0]]))
