"""A task played without a loop: events in, its light lit at once by a board that does as it is told, the map in a document.

For tests of pure steps. What only the real runtime does (waiting for saves, loss in mid-order) is in the contract suite.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Generic, TypeVar

from device_protocol.orders import Identity
from probe.document.document import Document
from probe.document.model import PlayfieldMap
from probe.runtime.runtime import forgets_question, travel
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import HandsOff, Light
from probe.task.task import BoardView, Task, TaskState, by_default

S = TypeVar("S", bound=TaskState)


class Played(Generic[S]):
    """`state` is the task's state as it sees it now. `effects` and `lights` keep all that was asked for and lit."""

    def __init__(
        self,
        task: Task[S],
        state: S,
        *,
        identity: Identity | None = None,
        lights_up: bool = True,
        document: Document | None = None,
    ) -> None:
        """`document` has the map of the state; it is saved after every change, before anything lights."""
        self.task = task
        self.document = document or Document.in_memory(state.map)
        self._state = state
        self.board = BoardView()
        self.lights_up = lights_up
        self.effects: list[fx.Effect] = []
        self.lights: list[Light] = []
        self.opened: list[fx.Open] = []
        self.closed: list[object] = []
        self.answer: Callable[[fx.Ask], ev.Answered | ev.NotAnswered] | None = None
        self.now_s = 0.0
        self._done(task.begin(self.state, 0.0))
        if identity is not None:
            self.plug(identity)
        else:
            self._light()

    @property
    def state(self) -> S:
        """The state with map and board as they are."""
        return self.task.seen(self._state, self.document.map if self.document.has_map else None, self.board, "")

    @property
    def map(self) -> PlayfieldMap:
        """The map as it is."""
        return self.document.map

    @property
    def wanted(self) -> Light:
        """What should be lit."""
        return self.task.light(self.state)

    def plug(self, identity: Identity) -> None:
        """A board answers."""
        self.board = BoardView(identity, f"{identity.board} {identity.build}")
        self._event(ev.BoardChanged())
        self._light()

    def lose(self, why: str = "the cable was pulled") -> None:
        """The board is lost."""
        self.board = BoardView(None, why, why)
        self._event(ev.BoardChanged())

    def refuse(self, why: str) -> None:
        """The board refuses the light that is wanted."""
        self.board = replace(self.board, lit=None, refused=why)
        self._event(ev.BoardChanged())

    def light_up(self) -> None:
        """The board confirms the light that is wanted now."""
        self._confirm()

    def __call__(self, *events: object, every_s: float = 1.0) -> S:
        """Give events one after another, `every_s` seconds apart."""
        for event in events:
            self.now_s += every_s
            self._event(event)
            self._light()
        return self.state

    def _light(self) -> None:
        if self.lights_up:
            for _ in range(100):  # a light may lead to another: labels typed ahead
                if not self._confirm():
                    break

    def _confirm(self) -> bool:
        wanted = self.wanted
        if not self.board.here or isinstance(wanted, HandsOff) or self.board.lit == wanted or self.board.refused:
            return False
        self.document.save_now()
        self.board = replace(self.board, lit=wanted)
        self.lights.append(wanted)
        self._event(ev.BoardChanged())
        return True

    def _event(self, event: object) -> None:
        if forgets_question(event):
            self.document.forget_question()
        state = self.state
        found = self.task.step(state, event, self.now_s)
        if found is not None:
            self._done(found)
            return
        self._state, effects = by_default(state, event)
        self._perform(effects, state)

    def _done(self, found: tuple[S, fx.Effects]) -> None:
        before, self._state = self.state, found[0]
        self.effects += found[1]
        self._perform(found[1], before)

    def _perform(self, effects: fx.Effects, before: S) -> None:
        later: list[object] = []
        for effect in effects:
            match effect:
                case fx.Commit(map_, words, where):
                    self.document.commit(map_, words, self.task.where(before) if where is None else where)
                case fx.TakeBack(redo):
                    self._travel(redo=redo)
                case fx.TryAgain():
                    self.board = replace(self.board, lit=None, refused="")
                case fx.MakeRevision(reason):
                    self.document.close(reason)
                case fx.Open():
                    self.opened.append(effect)
                case fx.Instead(task):
                    self.closed.append(task)
                case fx.Close(result):
                    self.closed.append(result)
                case fx.Job(tag, run, words, progress):
                    assert words, f"{tag} may take long: it needs words"
                    later.append(ev.JobDone(tag, run(progress)))
                    assert progress.done <= progress.total or not progress.total, "never further than all of it"
                case fx.Ask() if self.answer is not None and self.board.here:
                    later.append(self.answer(effect))
                case fx.Ask(_, tag):
                    later.append(ev.NotAnswered(tag, "no board: plug it in, or pick its port"))
        for event in later:
            self._event(event)

    def _travel(self, *, redo: bool) -> None:
        event = travel(self.document, self.task.where(self.state), redo=redo)
        if isinstance(event, ev.MapChanged):
            self._event(event)
        else:
            self._state = replace(self._state, message=event)
