"""What a person can do in the picture, as frozen inputs of its step."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto


class Entry(Enum):
    """What the entry line is for."""

    NONE = auto()
    POSITION = auto()
    LEVEL = auto()
    COLOUR = auto()
    DEPTH = auto()
    FIND = auto()


class Mode(Enum):
    """What is lit. The value is the word on screen."""

    ONE = "this place"
    GROUP = "its group"
    ALL = "every place"


@dataclass(frozen=True)
class Pick:
    """Choose a place and light it."""

    place: str


@dataclass(frozen=True)
class Go:
    """Choose the next place that way: `across` and `up` are -1, 0 or 1 as seen from above."""

    across: int
    up: int


@dataclass(frozen=True)
class Move:
    """The next or previous place along the chains; places without a pixel come last."""

    by: int = 1


@dataclass(frozen=True)
class PutAt:
    """The chosen place is here, in mm as seen from above."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Ask:
    """Use the entry line for this."""

    entry: Entry


@dataclass(frozen=True)
class Typed:
    """The entry line now holds this text."""

    text: str


@dataclass(frozen=True)
class Take:
    """Enter. `from_below`: positions are measured by somebody who looks from below."""

    from_below: bool = False


@dataclass(frozen=True)
class Leave:
    """Close the entry line."""


@dataclass(frozen=True)
class ChangeLevel:
    """Brighter or dimmer, in steps of the level."""

    by: int


@dataclass(frozen=True)
class ChangeWarmth:
    """The next white, from warm to cool."""

    by: int = 1


@dataclass(frozen=True)
class TakeAdvice:
    """Set colour and level as common practice has it."""


@dataclass(frozen=True)
class ToggleWhole:
    """Change the place alone, or its whole group."""


@dataclass(frozen=True)
class FollowGroup:
    """The places of the group say nothing themselves any more."""


@dataclass(frozen=True)
class Copy:
    """Keep this level and colour."""


@dataclass(frozen=True)
class Paste:
    """Give the place (or its group) the level and colour that were kept."""


@dataclass(frozen=True)
class Compare:
    """The first time: keep this place to compare with. Then: alternate it with the one chosen now; again: stop."""


@dataclass(frozen=True)
class NextMode:
    """Light the place, its group, every place."""


@dataclass(frozen=True)
class ToggleFade:
    """Let lamps glow up and down like bulbs in the game, or switch at once."""


@dataclass(frozen=True)
class ToggleDiffuser:
    """Something white is on this place's pixels, or not."""


@dataclass(frozen=True)
class ToggleUnit:
    """Bare numbers are millimetres or inches."""


@dataclass(frozen=True)
class Undo:
    """Take the last change back."""


@dataclass(frozen=True)
class Redo:
    """Make the change again that was taken back."""


@dataclass(frozen=True)
class Retry:
    """Save again and light again."""


Key = (
    Pick
    | Go
    | Move
    | PutAt
    | Ask
    | Typed
    | Take
    | Leave
    | ChangeLevel
    | ChangeWarmth
    | TakeAdvice
    | ToggleWhole
    | FollowGroup
    | Copy
    | Paste
    | Compare
    | NextMode
    | ToggleFade
    | ToggleDiffuser
    | ToggleUnit
    | Undo
    | Redo
    | Retry
)
