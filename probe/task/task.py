"""A task: a frozen state, a pure step, the light that belongs to the state, and what is to be seen of it.

The runtime holds a stack of tasks. It owns the board and the disk: no task handles loss, silence, refusal or retry for its
light, and no task keeps a map of its own. A state has the fields `map`, `board` and `unsaved`, which the runtime sets to what
holds now before every call: a step sees one frozen value with everything that it may look at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar

from probe.cautions import Moment
from probe.document.model import PlayfieldMap
from probe.frozen import frozen
from probe.task import events as ev
from probe.task.command import Command
from probe.task.effects import Close, Effects, TakeBack, TryAgain
from probe.task.light import Dark, Light
from probe.task.views import View

if TYPE_CHECKING:
    from device_protocol.orders import Identity


@frozen
class BoardView:
    """The board as a task may see it.

    `lit` is what the board has confirmed to show now; None while nothing is believed lit. `refused` says why the light
    that is wanted is not shown. `trouble`: why there is no board, with likely cause and cure; it stays while it is looked for. `words`: the state in
    a few words.
    """

    identity: Identity | None = None
    words: str = "no board"
    trouble: str = ""
    lit: Light | None = None
    refused: str = ""

    @property
    def here(self) -> bool:
        """Whether a board is there to light pixels."""
        return self.identity is not None

    def has(self, feature: str) -> bool:
        """Whether a board with that feature is there."""
        return self.identity is not None and self.identity.has(feature)


@dataclass(frozen=True, kw_only=True)
class TaskState:
    """What every task's state has. The runtime keeps these fields true; a step changes the map only by `Commit`.

    `unsaved` says why the map is not on disk; empty while it is, or soon will be.
    """

    map: PlayfieldMap
    board: BoardView = field(default_factory=BoardView)
    unsaved: str = ""
    message: str = ""


S = TypeVar("S", bound=TaskState)
Next = tuple[S, Effects]


class Task(Generic[S]):
    """What every task has. A subclass gives `name` and `commands`, and overrides what it needs. It holds no state itself."""

    name: ClassVar[str] = ""
    commands: ClassVar[tuple[Command, ...]] = ()
    ticks: ClassVar[bool] = False
    """Whether `Tick` comes twice a second while this task is on top."""
    own_revision: ClassVar[bool] = True
    """Whether what it changed becomes a revision of its own when it is left."""

    read_first: ClassVar[Moment | None] = None
    """Cautions to read before its screen is shown, once for each kind of work while the program runs."""

    def begin(self, s: S, now_s: float) -> Next[S]:
        """Right after it was opened: what the first state asks for."""
        del now_s
        return s, ()

    def step(self, s: S, event: object, now_s: float) -> Next[S] | None:
        """The state after an event and what is to be done; None if this task does not handle it. Pure.

        `now_s`: seconds on any steady clock. What `Undo`, `Redo`, `Retry` and `Leave` do where they are not handled is the
        runtime's: see `by_default`.
        """
        raise NotImplementedError

    def light(self, s: S) -> Light:
        """What should be lit now. Pure; asked again after every event."""
        del s
        return Dark()

    def view(self, s: S) -> View:
        """What is to be seen."""
        raise NotImplementedError

    def where(self, s: S) -> object:
        """Where the person is: what undo goes back to."""
        del s
        return None

    def reason(self, s: S) -> str:
        """The reason of the revision made when it is left; empty: one made from the changes."""
        del s
        return ""

    def seen(self, s: S, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> S:
        """The state with what holds now. The same object if nothing differs."""
        map_ = s.map if map_ is None else map_
        if s.map is map_ and s.board == board and s.unsaved == unsaved:
            return s
        return replace(s, map=map_, board=board, unsaved=unsaved)

    def is_lit(self, s: S) -> bool:
        """Whether the board has confirmed the very light that this state wants."""
        return s.board.here and s.board.lit == self.light(s)


AnyTask = Task[Any]


class CannotOpenError(ValueError):
    """A task cannot begin with this map: why, and what to do, in words for the person. The task below shows them."""


def by_default(s: S, event: object) -> Next[S]:
    """What an event does that the task's step does not handle: undo and redo of the map, light and save again, and leaving."""
    match event:
        case ev.Undo():
            return s, (TakeBack(),)
        case ev.Redo():
            return s, (TakeBack(redo=True),)
        case ev.Retry():
            return s, (TryAgain(),)
        case ev.Leave() | ev.Declined():
            return s, (Close(),)
        case ev.MapChanged(words):
            return replace(s, message=words), ()
        case ev.SettingChanged("steady_only", value) if hasattr(s, "steady_only"):
            return replace(s, steady_only=value), ()  # type: ignore[call-arg]
        case _:
            return s, ()


@frozen
class Opened:
    """What a task's maker is given: the map if there is one, the facts of whoever opens it, and what settings and command
    line say. `simulated_game`: there is one to
    play with. `settings`: the values that the settings have now, by name. `now`: time of day, RFC 3339 text."""

    map: PlayfieldMap | None
    facts: object = None
    steady_only: bool = False
    paper: bool = False
    level: int = 32
    plain_ascii: bool = False
    simulated_game: bool = False
    settings: Mapping[str, object] = field(default_factory=dict)
    now: str = ""
