"""Entropy and expected information, in bits.

Source of the definitions: T. M. Cover, J. A. Thomas, "Elements of Information Theory", chapters 1 and 2.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def entropy_bits(probabilities: npt.ArrayLike) -> float:
    """Entropy of one distribution in bits; weights are normalised, zeros contribute nothing.

    Raises ValueError for an empty, negative, non-finite or all-zero input.
    """
    p = np.asarray(probabilities, dtype=np.float64).ravel()
    if p.size == 0 or not np.all(np.isfinite(p)) or np.any(p < 0.0) or p.sum() <= 0.0:
        raise ValueError("entropy needs at least one weight, none negative or infinite, not all zero")
    p = p / p.sum()
    p = p[p > 0.0]
    return float(max(0.0, -(p * np.log2(p)).sum()))


def binary_entropy_bits(probability: float) -> float:
    """Entropy of a yes/no event in bits.  Raises ValueError outside 0..1."""
    if not 0.0 <= probability <= 1.0:
        raise ValueError(f"a probability lies between 0 and 1, not {probability}")
    return entropy_bits([probability, 1.0 - probability])


def expected_information_bits(prior: npt.ArrayLike, likelihood: npt.ArrayLike) -> float:
    """Mutual information between a cause and the answer to one question, in bits.

    prior: shape (causes,), weights; likelihood: shape (causes, answers), P(answer | cause), rows add up to 1.
    I = H(answer) - sum over causes of P(cause) H(answer | cause); never negative.
    Raises ValueError on shapes that do not fit or rows that do not add up to 1.
    """
    p = np.asarray(prior, dtype=np.float64)
    table = np.asarray(likelihood, dtype=np.float64)
    if p.ndim != 1 or table.ndim != 2 or table.shape[0] != p.shape[0]:
        raise ValueError(f"prior {p.shape} and likelihood {table.shape} do not fit: (causes,) and (causes, answers)")
    if np.any(table < 0.0) or not np.allclose(table.sum(axis=1), 1.0, atol=1e-9):
        raise ValueError("every row of the likelihood is a distribution over answers and adds up to 1")
    if np.any(p < 0.0) or p.sum() <= 0.0:
        raise ValueError("prior weights are not negative and not all zero")
    p = p / p.sum()
    answer: Floats = p @ table
    safe = np.where(table > 0.0, table, 1.0)
    noise = float(p @ -(safe * np.log2(safe)).sum(axis=1))
    return max(0.0, entropy_bits(answer) - noise)


def questions_needed(*, candidates: int, answers_per_question: int) -> int:
    """Least number of questions that tells all candidates apart: the ceiling of log(candidates) to that base.

    Computed in whole numbers, so exact powers come out exactly.  Raises ValueError below 1 candidate or 2 answers.
    """
    if candidates < 1 or answers_per_question < 2:
        raise ValueError("there is at least 1 candidate and a question has at least 2 answers")
    needed, reach = 0, 1
    while reach < candidates:
        reach *= answers_per_question
        needed += 1
    return needed


def ordering_bits(count: int) -> float:
    """Bits in an unknown order of `count` things: log2(count!)."""
    if count < 0:
        raise ValueError(f"a count is not negative: {count}")
    return math.lgamma(count + 1) / math.log(2.0)
