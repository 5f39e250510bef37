"""Shared reasoning about questions: entropy, expected information, human time, best next question."""

from probe.inference.entropy import (
    binary_entropy_bits,
    entropy_bits,
    expected_information_bits,
    ordering_bits,
    questions_needed,
)
from probe.inference.keystroke import Operator, klm_seconds
from probe.inference.questions import (
    LikelihoodTable,
    Question,
    best_question,
    rank_questions,
    update,
)

__all__ = [
    "LikelihoodTable",
    "Operator",
    "Question",
    "best_question",
    "binary_entropy_bits",
    "entropy_bits",
    "expected_information_bits",
    "klm_seconds",
    "ordering_bits",
    "questions_needed",
    "rank_questions",
    "update",
]
