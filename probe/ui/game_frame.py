"""What the screens of the game's side share: head, body, message, footer, and giving the map back to the walk."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any, ClassVar

from probe.document.model import PlayfieldMap
from probe.runtime import Activity
from probe.task.sessions import Recording
from probe.task.steps import Effect
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.visit import Visit

Keep = Callable[[PlayfieldMap], None]


class GameScreen(LineScreen):
    """A screen that shows the state of one activity and passes keys on as its inputs. `keep` is told of every new map."""

    KEY_SCOPE: ClassVar[str] = ""
    CSS_PATH: ClassVar[str] = "game.tcss"
    AUTO_FOCUS: ClassVar[str | None] = ""

    def __init__(
        self, state: Any, step: Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]], keep: Keep
    ) -> None:
        super().__init__()
        self._keep = keep
        self._kept = state.map
        self._visit = Visit(state.map)
        self._activity: Activity[Any] = Activity(state, Recording(step, state.map), self._told)

    def on_mount(self) -> None:
        self.opened()
        self.app.conductor.begin(self._activity)

    def opened(self) -> None:
        """What a screen does before its first drawing."""

    def on_screen_resume(self) -> None:
        if self._lines:
            m = self.app.walk_map()
            if m is not None and m is not self._kept:
                self._go_on_with(m)
            self.app.conductor.begin(self._activity)
            self._told(self._activity.state)

    def resumed(self, state: Any, m: PlayfieldMap) -> Any:
        """The state with a map that a screen on top of this one has changed."""
        return replace(state, map=m)

    def _go_on_with(self, m: PlayfieldMap) -> None:
        """A map from elsewhere, or with this visit closed: what is in a revision is undone as that revision."""
        closed = m.revisions != self._kept.revisions
        self._kept = m
        self._visit.follow(m)
        state = self.resumed(self._activity.state, m)
        self._activity.state = replace(state, past=()) if closed and hasattr(state, "past") else state

    def end_visit(self) -> None:
        """What was changed here becomes a revision of its own."""
        self._told(self._activity.state)
        self._visit.end(self.app, self._activity)
        if self._activity.state.map is not self._kept:
            self._go_on_with(self._activity.state.map)

    def go(self, which: str) -> None:
        """On to another screen of the game's side."""
        self.end_visit()
        self.app.open_game(which)

    def _told(self, state: Any) -> None:
        if state.map is not self._kept:
            self._kept = state.map
            self._keep(state.map)
        if self.is_mounted and self.is_current:
            self.show(state)

    def show(self, state: Any) -> None:
        """Draw a state."""
        raise NotImplementedError

    def give(self, given: object) -> None:
        """An input for the activity."""
        self.app.conductor.take(given)

    def head(self, title: str, state: Any) -> None:
        """The first line: the machine, the screen, the board."""
        self.put("game-head", head_line(f" {state.map.machine.name} · {title}", state.board.words, self.size.width))

    def message(self, state: Any) -> None:
        """The line of words; a map that could not be saved comes first."""
        self.put("game-message", message_line(getattr(state, "unsaved", ""), state.message))

    def action_leave(self) -> Awaitable[None] | None:
        """Back."""
        self.end_visit()
        self.app.action_leave()
        return None
