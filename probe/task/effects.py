"""What a step asks for (effects). They are carried out in order. Light is no effect: see `light.py`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field
from typing import TYPE_CHECKING

from probe.frozen import frozen

if TYPE_CHECKING:
    from device_protocol.orders import Order
    from probe.document.model import PlayfieldMap
    from probe.task.screen import ScreenEvent


@frozen
class Commit:
    """This is the map now. `words` say what changed; `where` is where the person is after it (given back by redo)."""

    map: PlayfieldMap
    words: str = ""
    where: object = None


@frozen
class Ask:
    """A question to the board: orders one after another, none of which lights anything; the first that fails ends them.

    Answered exactly once, by `Answered` or `NotAnswered` with the same tag; never repeated after a restart.

    `words` say what is being done: shown where it takes long, with how far it is, and then Esc stops it (`NotAnswered`).
    Without words it goes on beside the work. Of a long question asked piece by piece, `before` orders of `of` are done.
    """

    orders: tuple[Order, ...]
    tag: str
    words: str = ""
    before: int = 0
    of: int = 0


@frozen
class Bell:
    """Sound the terminal's bell, if the settings allow it."""


class StoppedError(Exception):
    """Raised in a job that nobody waits for any more, by its next step."""


class Progress:
    """How far a job is: `step` is called by it now and then, and raises StoppedError once it is stopped.

    Of a long job made of several, `done` of `total` are behind it when it begins.
    """

    def __init__(self, total: int = 0, done: int = 0) -> None:
        self.done, self.total, self.stopped = done, total, False

    def step(self, by: int = 1) -> None:
        """So much more is done."""
        if self.stopped:
            raise StoppedError
        self.done += by


@frozen
class Job:
    """Compute something while keys and the screen go on. `run` depends on nothing but what it holds, and steps the
    progress that it is given; `tag` names the answer.

    Where it takes long, `words` say what is computed, with how far it is, and Esc stops it: then `JobStopped` comes in
    place of `JobDone`.
    """

    tag: object
    run: Callable[[Progress], object]
    words: str
    progress: Progress = field(default_factory=Progress, compare=False)


@frozen
class Open:
    """Open another task on top of this one; `facts` are what that task needs to begin."""

    task: str
    facts: object = None


@frozen
class Close:
    """This task is done; the one below receives the result."""

    result: object = None


@frozen
class Instead:
    """This task is done, and another one stands in its place."""

    task: str
    facts: object = None


@frozen
class Below:
    """An event for the task below: how a task that lies over the walk sends it somewhere."""

    event: object


@frozen
class TakeBack:
    """Undo (or with `redo`, redo) on the map: what the runtime does where a task does not handle `Undo` itself."""

    redo: bool = False


@frozen
class TryAgain:
    """Save again if the last save failed, and light again: what the runtime does where a task does not handle `Retry` itself."""


@frozen
class MakeRevision:
    """Make a revision of what is pending; without a reason one is made from what changed."""

    reason: str = ""


@frozen
class ChangeSetting:
    """A setting of the program has this value now, and is remembered. Every open task hears of it by `SettingChanged`."""

    name: str
    value: object


@frozen
class PlayGame:
    """In the demo: the simulated game's target with this lamp is pressed; None: its lamp test begins, or ends."""

    lamp: int | None = None


@frozen
class NoteTable:
    """The board was seen to hold a table with this checksum: remembered beside the map."""

    crc: int


@frozen
class OnScreen:
    """What only the screens can do, such as asking where a file goes; nobody hears of it where there are none."""

    event: ScreenEvent


@frozen
class Notify:
    """A passing word for the person, beside the task."""

    words: str


Effect = (
    Commit
    | Ask
    | Bell
    | Job
    | Open
    | Close
    | Instead
    | Below
    | TakeBack
    | TryAgain
    | MakeRevision
    | ChangeSetting
    | PlayGame
    | NoteTable
    | OnScreen
    | Notify
)
Effects = tuple[Effect, ...]
