"""Screens that are not moved to the runtime yet: they run on the old runner, as one layer of the stack each.

While such a layer is on top, the runtime keeps its hands off the board. The old runner saves through the one document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from probe.document.model import PlayfieldMap
from probe.mapping.walk_state import Walk
from probe.task import effects as fx
from probe.task.light import HandsOff, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import TaskView, View

if TYPE_CHECKING:
    from probe.document.document import Document
    from probe.ui.app import ProbeApp


@dataclass(frozen=True, kw_only=True)
class OldState(TaskState):
    """What an old screen was opened with."""

    facts: object = None


@dataclass(frozen=True)
class OldDone:
    """The old screen is left."""

    result: object = None


class OldTask(Task[OldState]):
    """Stands on the stack for an old screen."""

    own_revision = False

    def step(self, s: OldState, event: object, now_s: float) -> Next[OldState] | None:
        """Only its end matters."""
        return (s, (fx.Close(event.result),)) if isinstance(event, OldDone) else (s, ())

    def light(self, s: OldState) -> Light:
        """The old runner lights."""
        return HandsOff()

    def view(self, s: OldState) -> View:
        """Never drawn."""
        return TaskView("")


def make_old(opened: Opened) -> tuple[OldTask, OldState]:
    """The layer of an old screen."""
    assert opened.map is not None
    return OldTask(), OldState(map=opened.map, facts=opened.facts)


class DocumentStore:
    """The one document, as the old runner saves to it."""

    def __init__(self, document: Document) -> None:
        self._document = document

    def save(self, m: PlayfieldMap) -> None:
        """Commit and put on disk. Raises StorageError."""
        self._document.commit(m)
        self._document.retry()
        self._document.save_now()


class WalkBelow:
    """The walk under an old screen, as those screens know it."""

    def __init__(self, app: ProbeApp) -> None:
        self._app = app

    @property
    def walk(self) -> Walk:
        """The walk's state."""
        runtime = self._app.runtime
        walk: Walk = runtime.seen(runtime.layers[0])
        return walk

    def use_map(self, m: PlayfieldMap) -> None:
        """Go on with a map that was changed elsewhere."""
        self._app.document.commit(m)

    def take_over(self, m: PlayfieldMap, chain: str, number: int | None = None) -> None:
        """Go on with a map that brings revisions of its own."""
        self._app.document.commit(m)
