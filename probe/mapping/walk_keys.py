"""What a person can do on the walk beyond what all tasks know."""

from __future__ import annotations

from probe.frozen import frozen
from probe.mapping.walk_state import OneKey, WalkEntry


@frozen
class UseLine:
    """Use the entry line for something else."""

    entry: WalkEntry


@frozen
class Say:
    """One of the one-key answers."""

    answer: OneKey


@frozen
class Move:
    """Step by pixels; `unseen` jumps to the next pixel that nobody has answered."""

    by: int = 1
    unseen: bool = False


@frozen
class GoTo:
    """Light a certain pixel."""

    number: int
    chain: str | None = None


@frozen
class ChangeKind:
    """The next or previous kind, for the places named from now on (and the one here)."""

    by: int = 1


@frozen
class PutAt:
    """Set the position of the place that this pixel lights, or of the place named next."""

    x_mm: float
    y_mm: float


@frozen
class ChangeCount:
    """State how many pixels the chain in hand has: typed, or found by light."""


@frozen
class SetUpChain:
    """Set up a chain at an output that has none yet."""


@frozen
class ToggleBlink:
    """Blink the pixel (one flash a second), or stop."""


@frozen
class ShowNext:
    """What the map needs, most useful first."""


@frozen
class TogglePaper:
    """Answer without a board, or stop doing so."""
