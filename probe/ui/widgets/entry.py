"""A line of typing that belongs to a screen's state."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.widgets import Input


class EntryLine(Input, inherit_bindings=False):  # without the keys that scroll: they are the screen's
    """A line whose text is part of a state: `typed` gives the state's text, `on_typed` changes it, `on_enter` takes it.

    While it is empty some keys are the screen's actions: `commands` says which, as it is now.

    The state hears of each key before the next one is looked at. By message it would hear later: a drawing of the state
    before would then take letters back, and letters typed ahead would join the name before them. For the same reason
    keys bound to actions (Enter, an arrow, F2) are carried out here, in their turn, and not on their way up.
    """

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "submit", "Take", id="walk.take"), *Input.BINDINGS]
    DEFAULT_CSS = "EntryLine { border: none; height: 1; padding: 0; }"

    def __init__(
        self,
        *,
        typed: Callable[[], str],
        on_typed: Callable[[str], None],
        on_enter: Callable[[], None],
        commands: Callable[[], Mapping[str, str]] = dict,
        id: str = "entry",
    ) -> None:
        super().__init__(id=id, select_on_focus=False, compact=True)
        self._typed = typed
        self._told = on_typed
        self._taken = on_enter
        self._commands = commands

    def follow(self, typed: str | None = None) -> None:
        """Hold what the state says is typed, as it was just read or as it is now."""
        typed = self._typed() if typed is None else typed
        if self.value != typed:
            self.value = typed
            self.cursor_position = len(typed)

    def watch_value(self, value: str) -> None:
        """Tell the state; it may say otherwise."""
        if value != self._typed():
            self._told(value)
            self.follow()

    async def action_submit(self) -> None:
        """Enter."""
        self._taken()
        self.follow()

    async def _on_key(self, event: events.Key) -> None:
        """Commands and bound keys; what is left Textual gives to `Input` by itself afterwards."""
        action = None if self.value else self._commands().get(event.key)
        if action is not None:
            event.stop()
            event.prevent_default()
            await self.screen.run_action(action)
            return
        bound = None if event.is_printable else self.screen.active_bindings.get(event.key)
        if bound is not None and bound.enabled and await self.app.run_action(bound.binding.action, bound.node):
            event.stop()
            event.prevent_default()
            self.follow()
