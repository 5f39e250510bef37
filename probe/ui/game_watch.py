"""The game's lamps live: a panel of inputs, what changed lately, what the map says of it."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.content import Content
from textual.widgets import Footer, Input, Static

from probe.cautions import GAME_ON
from probe.document.model import PlayfieldMap
from probe.game import watch as game
from probe.game.watch import ChangeLinger, Choose, Forget, HandOver, Learn, Mismatch, Stop, Undo, Watch
from probe.ui.clock import now_text
from probe.ui.game_frame import GameScreen, Keep
from probe.ui.game_lamps import PlacePicker
from probe.ui.keys import bindings
from probe.ui.text import cut_inside, plain

_ACROSS = 8
_STOP_WITHIN_S = 1.0


class WatchScreen(GameScreen):
    """Lamp inputs. All it does is show a `Watch` and pass keys on."""

    KEY_SCOPE: ClassVar[str] = "watch"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("watch"))

    def __init__(self, m: PlayfieldMap, keep: Keep, *, plain_ascii: bool = False) -> None:
        super().__init__(game.start(m), game.step, keep)
        self._on, self._off = ("*", ".") if plain_ascii else ("●", "·")

    def compose(self) -> ComposeResult:
        yield Static(id="game-head")
        yield Static(id="panel")
        yield Static(id="recent")
        yield Input(id="game-entry", placeholder="what did you see? (Enter keeps it)", compact=True)
        yield Static(id="game-message")
        yield Footer(show_command_palette=False)

    def show(self, state: Any) -> None:
        watch: Watch = state
        plays = "the game lights its lamps" if watch.game_plays else "the game's lamps are only watched"
        self.head(f"lamp inputs · hold-on {watch.linger_ms} ms · {plays}", watch)
        self.put("panel", self._panel(watch))
        self.put("recent", self._recent(watch))
        self.message(watch)

    def _strobed(self, watch: Watch) -> bool:
        return any(lamp.row and lamp.column for lamp in watch.map.lamps) and watch.total <= 8 * _ACROSS

    def _panel(self, watch: Watch) -> Content:
        """Inputs eight across: in a strobed game by column and row, else by number."""
        if not watch.total:
            return plain(watch.message or "waiting for the board to tell its inputs")
        width = max(9, (self.size.width - 2) // _ACROSS)
        chosen = watch.choice.number if watch.choice is not None else 0
        recent = {change.number for change in watch.recent}
        strobed = self._strobed(watch)
        lines = []
        for row in range(8 if strobed else -(-watch.total // _ACROSS)):
            cells = []
            for column in range(_ACROSS):
                number = column * 8 + row + 1 if strobed else row * _ACROSS + column + 1
                if number > watch.total:
                    continue
                on = watch.on[number - 1]
                mark = ">" if number == chosen else "+" if number in recent else " "
                name = watch.names.get(number, "-")
                style = "bold reverse" if on else "bold" if number in recent else "dim"
                head = f"{mark}{number:>2}{self._on if on else self._off}"
                cells.append(plain((head + cut_inside(name, width - 1 - len(head))).ljust(width), style))
            lines.append(Content("").join(cells))
            if len(lines) == 16:
                break
        return Content("\n").join(lines)

    def _recent(self, watch: Watch) -> Content:
        head = "Press one target, or run the lamp test: what changed in the last 5 seconds"
        lines = [Content(head).stylize("bold")]
        for at, change in enumerate(watch.recent[: max(2, self.size.height - 16)]):
            sign = "▸" if self._on == "●" else ">"
            mark = sign if at == watch.chosen else " "
            word = "on" if change.on else "off"
            times = f", {change.times} edges" if change.times > 1 else ""
            age = f"{max(0.0, watch.now_s - change.at_s):.0f} s ago"
            name = watch.names.get(change.number, "no such lamp in the map")
            words = f"{mark} {change.number:>3} {name}: {word}, {age}{times}; lights {watch.predicted(change.number)}"
            lines.append(plain(words, "bold" if at == watch.chosen else "", width=max(20, self.size.width - 2)))
        if len(lines) == 1:
            lines.append(Content("  nothing").stylize("dim"))
            lines += [Content(line).stylize("dim") for line in GAME_ON]
        return Content("\n").join(lines)

    def action_choose(self, by: int) -> None:
        """Another of the changes."""
        self.give(Choose(by))

    def action_learn(self) -> None:
        """Give this input's number to a place."""
        entry = self.query_one("#game-entry", Input)
        if entry.has_class("open"):  # opened just now, and not focused yet
            entry.focus()
            return
        watch: Watch = self._activity.state
        choice = watch.choice
        if choice is None:
            self.give(Learn(""))
            return
        free = tuple(place.id for place in watch.without_lamp)

        def picked(place: str | None) -> None:
            if place is not None:
                self.give(Learn(place, choice.number))

        question = f"Input {choice.number} changed. Which place is that lamp?"
        self.app.push_screen(
            PlacePicker(watch.map, question, like=watch.names.get(choice.number, ""), first=free), picked
        )

    def action_mismatch(self) -> None:
        """What is seen is not what the map says."""
        before = len(self._activity.state.map.observations)
        self.give(Mismatch(now_text()))
        if len(self._activity.state.map.observations) > before:
            entry = self.query_one("#game-entry", Input)
            entry.add_class("open")
            entry.value = ""
            entry.focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if event.value.strip():
            self.give(Mismatch(now_text(), event.value.strip()))
        self._close_entry()

    def _close_entry(self) -> None:
        self.query_one("#game-entry", Input).remove_class("open")
        self.set_focus(None)

    def action_forget(self) -> None:
        """Start anew: the next press stands alone."""
        self.give(Forget())

    def action_linger(self, by: int) -> None:
        """Longer or shorter hold-on time."""
        self.give(ChangeLinger(by))

    def action_hand_over(self) -> None:
        """The game lights its lamps by the board's table."""
        self.give(HandOver())

    def action_undo(self) -> None:
        """Undo."""
        self.give(Undo())

    async def action_leave(self) -> None:
        """Esc: out of the line, then back."""
        if self.query_one("#game-entry", Input).has_class("open"):
            self._close_entry()
            return
        self.give(Stop())
        with suppress(TimeoutError):
            await asyncio.wait_for(self.app.conductor.settled(), _STOP_WITHIN_S)
        self.end_visit()
        self.app.action_leave()
