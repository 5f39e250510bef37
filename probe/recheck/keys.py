"""What a person can do in a recheck and in finding a place's number, as frozen inputs of their steps."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True)
class Typed:
    """The entry line now holds this text."""

    text: str


@dataclass(frozen=True)
class Choose:
    """Move the choice among the items."""

    by: int


@dataclass(frozen=True)
class Take:
    """Enter. `time`: RFC 3339 UTC text, for a revision that this may make."""

    time: str = ""


class Quick(Enum):
    """Answers of one key. The value is what they mean."""

    NOTHING_LIT = "nothing lit"
    EXTRA_LIGHT = "a light where no place is known"
    NOT_SURE = "not sure"


@dataclass(frozen=True)
class Say:
    """One of the one-key answers."""

    answer: Quick


@dataclass(frozen=True)
class Leave:
    """Empty the entry line, or go back from the colours to the places."""


@dataclass(frozen=True)
class NextChain:
    """Recheck the next chain; only before the first question."""


@dataclass(frozen=True)
class ChangeLevel:
    """Brighter (+1) or dimmer (-1)."""

    by: int


@dataclass(frozen=True)
class Singles:
    """Go on with single pixels only: the pictures cannot be shown or told apart."""


@dataclass(frozen=True)
class Undo:
    """Take the last answer back."""


@dataclass(frozen=True)
class Retry:
    """Light again, and save again if the map was not saved."""


Key = Typed | Choose | Take | Say | Leave | NextChain | ChangeLevel | Singles | Undo | Retry
