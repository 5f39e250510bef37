"""The line of keys at the foot of every screen: at most six by state, the way back last; each can be clicked."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from textual.content import Content
from textual.events import Click
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from probe.ui.footer import FOLLOWS, FOLLOWS_ASCII, GAP, SHORT, KeyHint, fitted
from probe.ui.keys import key_name


def hints_of(screen: Screen[Any]) -> list[KeyHint]:
    """What a screen with bindings of its own has in its footer; its `ENTER` says what its list or line does with that key."""
    found: dict[str, KeyHint] = {}
    if words := getattr(screen, "ENTER", ""):
        found["enter"] = KeyHint(key_name("enter"), words, "app.simulate_key('enter')")
    for active in screen.active_bindings.values():
        binding = active.binding
        if binding.show and active.enabled and binding.description:
            key = binding.key_display or key_name(binding.key)
            words = SHORT.get(binding.id or "", binding.description)
            found.setdefault(binding.action, KeyHint(key, words, binding.action))
    return list(found.values())


class KeyLine(Static):
    """Asks its screen for `key_hints()`, or takes what its bindings say."""

    DEFAULT_CSS = "KeyLine { dock: bottom; height: 1; width: 1fr; background: $panel; }"

    def __init__(self) -> None:
        super().__init__(id="keys")
        self.hints: list[KeyHint] = []

    def on_mount(self) -> None:
        """Follow the bindings."""
        self.screen.bindings_updated_signal.subscribe(self, lambda _: self.follow())
        self.call_after_refresh(self.follow)

    def on_resize(self) -> None:
        """Only as many as there is room for."""
        self.follow()

    def follow(self) -> None:
        """Show the keys as they are now."""
        if not self.is_attached:
            return
        own = getattr(self.screen, "key_hints", None)
        hints = fitted(own() if own is not None else hints_of(self.screen), self.app.size.width)
        if getattr(getattr(self.app, "options", None), "plain_ascii", False):
            hints = [replace(hint, words=hint.words.replace(FOLLOWS, FOLLOWS_ASCII)) for hint in hints]
        if hints == self.hints:
            return
        self.hints = hints
        line = Content("")
        for hint in hints:
            line = line.append(Content.styled(hint.key, "bold $face-key")).append(Content(f" {hint.words}"))
            line = line.append(Content(" " * GAP))
        self.update(line)

    async def on_click(self, event: Click) -> None:
        """Do what stands there."""
        event.stop()
        left = 0
        for hint in self.hints:
            if left <= event.x < left + hint.cells + GAP:
                await self.app.run_action(hint.action, self._target())
                return
            left += hint.cells + GAP

    def _target(self) -> Widget:
        return self.screen
