"""What a person can do on the walk for evenness, as frozen inputs of its step. Times are RFC 3339 UTC text."""

from __future__ import annotations

from dataclasses import dataclass

from probe.document.model.light import Measure, Rating
from probe.lighting.evenness import Fit
from probe.lighting.suggest import Suggestion


@dataclass(frozen=True)
class Rate:
    """What the eye says of this stop."""

    rating: Rating
    time: str


@dataclass(frozen=True)
class Typed:
    """The entry line now holds this text."""

    text: str


@dataclass(frozen=True)
class Take:
    """Enter: the number typed is the reading of this stop. After the walk: take the trims."""

    time: str


@dataclass(frozen=True)
class Move:
    """On or back by stops, without a reading."""

    by: int = 1


@dataclass(frozen=True)
class Jump:
    """To the stop with this place, chosen in the picture."""

    place: str


@dataclass(frozen=True)
class ChangeMeasure:
    """Numbers are lux, or values of a phone's picture."""

    measure: Measure | None = None


@dataclass(frozen=True)
class ToggleAlone:
    """Light the places of this stop alone, to see which they are; or all again."""


@dataclass(frozen=True)
class Finish:
    """Look at what the readings say; or back to the walk."""


@dataclass(frozen=True)
class Analysed:
    """What came of the reckoning: a fit with its suggestion, or why there is none. `round` is the walk it was made for."""

    round: int
    fit: Fit | None
    suggestion: Suggestion | None
    trouble: str = ""


@dataclass(frozen=True)
class NewRound:
    """Walk again, to see what a change has brought."""


@dataclass(frozen=True)
class Undo:
    """Take the last reading, or the trims, back."""


@dataclass(frozen=True)
class Retry:
    """Save again and light again."""


Key = Rate | Typed | Take | Move | Jump | ChangeMeasure | ToggleAlone | Finish | Analysed | NewRound | Undo | Retry
