"""Human time by the Keystroke-Level Model.

Operator times: S. K. Card, T. P. Moran, A. Newell, "The keystroke-level model for user performance time with
interactive systems", Communications of the ACM 23(7):396-410, 1980; and the same authors, "The Psychology of
Human-Computer Interaction", 1983.  The model holds for practised, error-free use; it has no operator for looking
over a wide scene, so scanning time is never part of this table and must be stated by whoever adds it.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum


class Operator(Enum):
    """One operator; the value is (letter, seconds)."""

    KEY = ("K", 0.20)
    """A key press by an average skilled typist."""
    KEY_OCCASIONAL = ("Kn", 0.28)
    """A key press by an average user who is no typist."""
    POINT = ("P", 1.10)
    """Pointing with a mouse at a target."""
    HOMING = ("H", 0.40)
    """Moving a hand between devices."""
    THINK = ("M", 1.35)
    """Mental preparation."""

    @property
    def letter(self) -> str:
        """The letter used in the literature."""
        return str(self.value[0])

    @property
    def seconds(self) -> float:
        """Seconds for one use."""
        return float(self.value[1])


def klm_seconds(operators: Iterable[Operator], *, response_seconds: float = 0.0) -> float:
    """Seconds for a sequence of operators plus the system's response time R, in seconds."""
    if response_seconds < 0.0:
        raise ValueError(f"a response time is not negative: {response_seconds} s")
    return sum(operator.seconds for operator in operators) + response_seconds
