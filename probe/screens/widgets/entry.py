"""The entry line: types as usual, but while it is empty some keys are commands."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.widgets import Input


class EntryLine(Input):
    """One line of typing. `commands` maps keys to the screen's actions while the line is empty."""

    # Enter goes through the line itself, so that it can never overtake letters that are still on their way
    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "submit", "Take", id="walk.take")]
    DEFAULT_CSS = "EntryLine { border: none; height: 1; padding: 0; }"

    def __init__(self, commands: Mapping[str, str], *, placeholder: str = "") -> None:
        super().__init__(id="entry", placeholder=placeholder, select_on_focus=False, compact=True)
        self._commands = dict(commands)

    async def _on_key(self, event: events.Key) -> None:
        action = None if self.value else self._commands.get(event.key)
        if action is not None:
            event.stop()
            event.prevent_default()
            await self.screen.run_action(action)
            return
        await super()._on_key(event)
