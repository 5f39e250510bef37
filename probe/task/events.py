"""Events, which a task receives: what a person did that all tasks know, and facts of the board, the line and the disk.

Keys that only one task knows are events too; they stand beside that task.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from probe.frozen import frozen

if TYPE_CHECKING:
    from device_protocol.errors import ErrorCode
    from device_protocol.orders import Reply

# -- what a person did, the same in every task. A task that does not handle one gets the runtime's own way --------------


@frozen
class Undo:
    """Take the last change back."""


@frozen
class Redo:
    """Do again what was taken back."""


@frozen
class Retry:
    """Save again, and light again."""


@frozen
class Leave:
    """One step back; from a task's first state, out of it."""


@frozen
class Declined:
    """Not past the cautions of a task that was just opened: it is closed again, and comes to nothing."""


@frozen
class Typed:
    """The entry line now holds this text."""

    text: str


@frozen
class Take:
    """Enter: take what is marked or typed. `time`: now, RFC 3339 UTC."""

    time: str = ""


@frozen
class Choose:
    """Move the mark among the items."""

    by: int


@frozen
class TakeRow:
    """Take the row of this index, by the digit or letter beside it."""

    row: int


@frozen
class GoTowards:
    """An arrow in the picture: `across` and `up` are -1, 0 or 1 as it is drawn. `from_below`: left and right are mirrored."""

    across: int
    up: int
    from_below: bool = False


@frozen
class NextChain:
    """On to the next chain."""


@frozen
class ChangeLevel:
    """Brighter (+1) or dimmer (-1)."""

    by: int


@frozen
class GoOpen:
    """Go on in another task; the task in hand names the facts."""

    task: str


# -- facts ---------------------------------------------------------------------------------------------------------


@frozen
class BoardChanged:
    """The board arrived, was lost or restarted, or now shows something else, or refused to. `board` holds what is so now."""


@frozen
class Answered:
    """The board has carried out every order of a question; a reply for each."""

    tag: str
    replies: tuple[Reply, ...]


@frozen
class NotAnswered:
    """The board is not there, restarted, or refused an order (`code` is its code then). `why` is a plain sentence.

    `replies` are those to the orders before it.
    """

    tag: str
    why: str
    code: ErrorCode | None = None
    replies: tuple[Reply, ...] = ()


@frozen
class JobDone:
    """What a job with that tag came to."""

    tag: object
    result: object


@frozen
class JobStopped:
    """A job with a progress was stopped by the person; it comes to nothing."""

    tag: object


@frozen
class MapChanged:
    """The map was changed by undo, redo or another task. `where` is where the person was when it was so, if known."""

    words: str
    where: object = None


@frozen
class MapSaved:
    """Everything is on disk."""


@frozen
class MapNotSaved:
    """The map could not be written. It is kept in memory; `unsaved` holds why."""

    why: str


@frozen
class TaskClosed:
    """A task that this one had opened is closed, with what it came to."""

    name: str
    result: object


@frozen
class SettingChanged:
    """A setting of the program has another value now."""

    name: str
    value: object


@frozen
class StepButton:
    """The hand-held step button; `times` since it was last heard."""

    times: int = 1


@frozen
class GameInputs:
    """The game's lamp inputs as they are now, from number `first` on."""

    first: int
    on: tuple[bool, ...]


@frozen
class GameTookPixels:
    """The board gave the pixels back to the game."""


@frozen
class WentDarkByItself:
    """The board went dark because the line was silent too long."""


@frozen
class LineTrouble:
    """An order had to be sent again, or a reply came damaged. It was mended without help."""


@frozen
class Tick:
    """Half a second has passed; only for tasks that ask for it."""
