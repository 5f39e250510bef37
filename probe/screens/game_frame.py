"""What the screens of the game's side share: head, body, message, footer, and giving the map back to the walk."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, ClassVar

from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from probe.conductor import Activity
from probe.maps.model import PlayfieldMap
from probe.screens.text import cut, plain
from probe.sessions import Recording
from probe.steps import Effect

if TYPE_CHECKING:
    from probe.screens.app import ProbeApp

Keep = Callable[[PlayfieldMap], None]


class GameScreen(Screen[None]):
    """A screen that shows the state of one activity and passes keys on as its inputs. `keep` is told of every new map."""

    app: ProbeApp
    KEY_SCOPE: ClassVar[str] = ""
    CSS_PATH: ClassVar[str] = "game.tcss"
    AUTO_FOCUS: ClassVar[str | None] = ""

    def __init__(
        self, state: Any, step: Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]], keep: Keep
    ) -> None:
        super().__init__()
        self._keep = keep
        self._kept = state.map
        self._lines: dict[str, Content] = {}
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
                self._kept = m
                self._activity.state = self.resumed(self._activity.state, m)
            self.app.conductor.begin(self._activity)
            self._told(self._activity.state)

    def resumed(self, state: Any, m: PlayfieldMap) -> Any:
        """The state with a map that a screen on top of this one has changed."""
        return replace(state, map=m)

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

    def put(self, name: str, content: Content) -> None:
        """Change a line if it differs."""
        if self._lines.get(name) != content:
            self._lines[name] = content
            self.query_one(f"#{name}", Static).update(content)

    def head(self, title: str, state: Any) -> None:
        """The first line: the machine, the screen, the board."""
        board = state.board.words
        half = max(10, self.size.width // 2)
        left = f" {state.map.machine.name} · {title}"
        room = max(10, self.size.width - 4 - min(len(board), half))
        self.put("game-head", plain(f"{cut(left, room)}   {cut(board, half)}"))

    def message(self, state: Any) -> None:
        """The line of words; a map that could not be saved comes first."""
        unsaved = getattr(state, "unsaved", "")
        if unsaved:
            self.put("game-message", plain(f"NOT SAVED: {unsaved} (Ctrl+R tries again)", "bold reverse"))
        else:
            self.put("game-message", plain(state.message))

    def action_leave(self) -> Awaitable[None] | None:
        """Back."""
        self.app.action_leave()
        return None
