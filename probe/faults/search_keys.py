"""What a person can do in a fault search, as frozen inputs of its step."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Typed:
    """The entry line now holds this text."""

    text: str


@dataclass(frozen=True)
class Choose:
    """Move the choice among the answers."""

    by: int


@dataclass(frozen=True)
class Take:
    """Enter: the chosen answer, or what is typed. `time`: RFC 3339 UTC text, for what is kept."""

    time: str = ""


@dataclass(frozen=True)
class Unsure:
    """Not sure. `time` as for `Take`."""

    time: str = ""


@dataclass(frozen=True)
class Say:
    """Yes or no, where the answers are such. `time` as for `Take`."""

    yes: bool
    time: str = ""


@dataclass(frozen=True)
class Heat:
    """Heat, smell or ticking: stop."""


@dataclass(frozen=True)
class Step:
    """The next (1) or previous (-1) step of a pattern that waits for a key, or of the settings tried."""

    by: int


@dataclass(frozen=True)
class Back:
    """Out of a job within the search, keeping what it has so far. `time` as for `Take`."""

    time: str = ""


@dataclass(frozen=True)
class Undo:
    """Take the last answer back."""


@dataclass(frozen=True)
class Relight:
    """Show the light of this question once more, and save again if that failed."""


Key = Typed | Choose | Take | Unsure | Say | Heat | Step | Back | Undo | Relight
