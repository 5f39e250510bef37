"""Best next question: the most expected information per second of human time.

Works on discrete causes and a table P(answer | cause) for each question, and so serves a fault finder as it is.
A caller with a structured belief (an alignment, for instance) puts in the expected bits that it computed itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from probe.inference.entropy import Floats, expected_information_bits

Key = TypeVar("Key", bound=Hashable)

LEAST_SECONDS = 1e-3
"""A question never counts as quicker than this, so that a nearly free one has a finite rate."""


@dataclass(frozen=True, kw_only=True)
class Question(Generic[Key]):
    """One question that could be asked: what it is, what it is expected to tell, what it costs."""

    key: Key
    expected_bits: float
    seconds: float

    @property
    def bits_per_second(self) -> float:
        """Expected information per second of human time."""
        return self.expected_bits / max(self.seconds, LEAST_SECONDS)


def rank_questions(questions: Iterable[Question[Key]]) -> list[Question[Key]]:
    """Best first by bits per second; ties go to the cheaper one, then to the order given."""
    return sorted(questions, key=lambda q: (-q.bits_per_second, q.seconds))


def best_question(questions: Iterable[Question[Key]], *, least_bits: float = 0.0) -> Question[Key] | None:
    """The best question that is expected to tell more than `least_bits`, or None."""
    ranked = rank_questions(q for q in questions if q.expected_bits > least_bits)
    return ranked[0] if ranked else None


@dataclass(frozen=True, kw_only=True)
class LikelihoodTable(Generic[Key]):
    """A question over discrete causes.

    table: shape (causes, answers), P(answer | cause), rows add up to 1; answers: one name for each column.
    """

    key: Key
    answers: tuple[str, ...]
    table: npt.NDArray[np.float64]
    seconds: float

    def question(self, prior: npt.ArrayLike) -> Question[Key]:
        """What this question is expected to tell under a belief of shape (causes,)."""
        return Question(key=self.key, expected_bits=expected_information_bits(prior, self.table), seconds=self.seconds)


def update(prior: npt.ArrayLike, question: LikelihoodTable[Key], answer: str) -> Floats:
    """Belief after an answer: shape (causes,), adds up to 1.

    Raises ValueError for an answer that the question does not have or that no cause could have given.
    """
    if answer not in question.answers:
        raise ValueError(f"{question.key!r} has no answer {answer!r}: choose one of {', '.join(question.answers)}")
    column = question.table[:, question.answers.index(answer)]
    posterior: Floats = np.asarray(prior, dtype=np.float64) * column
    total = float(posterior.sum())
    if total <= 0.0:
        raise ValueError(f"no cause gives the answer {answer!r} to {question.key!r}: ask again or add a cause")
    return posterior / total
