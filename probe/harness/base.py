"""What every file of the harness room shares: the frozen model base and the one error."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class PowerError(ValueError):
    """A plan or a figure that cannot be computed; the text says where, what, and what to do."""


class Frozen(BaseModel):
    """Immutable model: unknown fields, infinities and NaN are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def require_positive(value: float, *, what: str) -> None:
    """Raise PowerError unless `value` is a finite number above zero."""
    if not 0 < value < float("inf"):
        raise PowerError(f"{what} is {value}: it must be above 0. Correct the entry.")


def require_not_negative(value: float, *, what: str) -> None:
    """Raise PowerError unless `value` is a finite number, 0 or more."""
    if not 0 <= value < float("inf"):
        raise PowerError(f"{what} is {value}: it must be 0 or more. Correct the entry.")
