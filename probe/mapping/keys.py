"""What a person can do on the walk, as frozen inputs of its step."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto


class Entry(Enum):
    """What the entry line is for."""

    LABEL = auto()
    NOTE = auto()
    AREA = auto()
    GOTO = auto()


class Answer(Enum):
    """Answers that need no label. The value is what the message says."""

    SAME_PLACE = "same place as the last"
    NOTHING_LIT = "nothing lit"
    HIDDEN = "hidden"
    SPARE = "spare"
    REPEATER = "repeater"


@dataclass(frozen=True)
class Typed:
    """The entry line now holds this text."""

    text: str


@dataclass(frozen=True)
class Choose:
    """Move the choice among the offers."""

    by: int


@dataclass(frozen=True)
class Take:
    """Enter."""


@dataclass(frozen=True)
class Ask:
    """Use the entry line for something else."""

    entry: Entry


@dataclass(frozen=True)
class Leave:
    """Empty the entry line, and name labels again."""


@dataclass(frozen=True)
class Say:
    """One of the one-key answers."""

    answer: Answer


@dataclass(frozen=True)
class Move:
    """Step by pixels; `unseen` jumps to the next pixel that nobody has answered."""

    by: int = 1
    unseen: bool = False


@dataclass(frozen=True)
class GoTo:
    """Light a certain pixel."""

    number: int
    chain: str | None = None


@dataclass(frozen=True)
class ChangeLevel:
    """Brighter (+1) or dimmer (-1)."""

    by: int


@dataclass(frozen=True)
class ChangeKind:
    """The next or previous kind, for the places named from now on (and the one here)."""

    by: int = 1


@dataclass(frozen=True)
class PutAt:
    """Set the position of the place that this pixel lights, or of the place named next."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class ToggleBlink:
    """Blink the pixel (one flash a second), or stop."""


@dataclass(frozen=True)
class TogglePaper:
    """Answer without a board, or stop doing so."""


@dataclass(frozen=True)
class Undo:
    """Take the last answer back."""


@dataclass(frozen=True)
class Redo:
    """Give the answer again that was taken back."""


@dataclass(frozen=True)
class Retry:
    """Save again and light again."""


Key = (
    Typed
    | Choose
    | Take
    | Ask
    | Leave
    | Say
    | Move
    | GoTo
    | ChangeLevel
    | ChangeKind
    | PutAt
    | ToggleBlink
    | TogglePaper
    | Undo
    | Redo
    | Retry
)
