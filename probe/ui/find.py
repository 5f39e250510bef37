"""Which number is at this place, on screen: four colours, one question, a handful of looks."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Footer, Static

from probe.recheck.engine.codes import UNLIT
from probe.recheck.finding import Finding, Split, found_words, is_lit, step
from probe.recheck.keys import ChangeLevel, Choose, NextChain, Quick, Retry, Say, Take, Undo
from probe.runtime import Activity
from probe.ui.keys import bindings
from probe.ui.line_screen import LineScreen, head_line
from probe.ui.look_words import colours_words, legend, look_spots
from probe.ui.seen import under_the_glass
from probe.ui.text import plain
from probe.ui.widgets.picture import PlayfieldPicture


class FindScreen(LineScreen):
    """Look at one place and say its colour until one number is left."""

    CSS_PATH: ClassVar[str] = "recheck.tcss"
    KEY_SCOPE: ClassVar[str] = "find"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("find"))

    def __init__(self, state: Finding, *, plain_ascii: bool = False) -> None:
        super().__init__()
        self._plain_ascii = plain_ascii
        self._activity = Activity(state, step, self.show)

    def compose(self) -> ComposeResult:
        yield Static(id="where")
        with Horizontal(id="middle"):
            with Vertical(id="left"):
                yield Static(id="question")
                yield Static(id="lit")
                yield Static(id="items")
                yield Static(id="message")
            with Vertical(id="right"):
                yield PlayfieldPicture(plain_ascii=self._plain_ascii)
                yield Static(id="legend")
                yield Static(id="seen")
        yield Static(id="progress")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.app.conductor.begin(self._activity)

    @property
    def state(self) -> Finding:
        """The state that is shown."""
        return self._activity.state

    def on_screen_resume(self) -> None:
        if self.is_mounted and self._lines:
            self.app.conductor.begin(self._activity)

    def show(self, state: Finding) -> None:
        """Draw a state."""
        if not self.is_mounted:
            return
        chain = state.here
        where = f" Find a number · {state.map.machine.name} · {chain.name} (output {chain.output})"
        self.put("where", head_line(where, state.board.words, self.size.width))
        if state.found is not None:
            question = "There it is: it is lit alone now. Enter walks on from here."
        else:
            question = "Look at the place whose number you want. What does it show?"
        self.put("question", plain(question, "bold"))
        self.put("lit", Content("● LIT" if is_lit(state) else "○ not lit yet" if state.board.here else "○ no board"))
        self.put("items", self._items(state))
        self.put("message", plain(state.message))
        self.put("legend", legend(plain_ascii=self._plain_ascii) if state.found is None else Content(""))
        if state.found is None:
            looks = f"look {state.looks + 1}, at most {state.left} to go"
        else:
            looks = f"{state.looks} look" + ("" if state.looks == 1 else "s")
        left = f"{len(state.candidates)} number" + ("" if len(state.candidates) == 1 else "s")
        self.put("progress", Content(f" {looks} · {left} left"))
        self._show_picture(state)

    def _items(self, state: Finding) -> Content:
        if state.found is not None:
            return plain(found_words(state), "bold")
        lines: list[Content] = []
        for index, colour in enumerate(state.answers):
            head = ("> " if self._plain_ascii else "▸ ") if index == state.chosen else "  "
            if state.split is Split.COLOURS:
                words = colours_words((colour,), plain_ascii=self._plain_ascii)
            else:
                words = "dark" if colour == UNLIT else "lit"
            lines.append(plain(f"{head}{words}", "bold reverse" if index == state.chosen else ""))
        return Content("\n").join(lines)

    def _show_picture(self, state: Finding) -> None:
        picture = self.query_one(PlayfieldPicture)
        shown: dict[str, list[int]] = {}
        lit = state.colours() if state.found is None else {state.found: 3}
        for number, colour in lit.items():
            if number < len(state.here.pixels):
                place = state.here.pixels[number].place
                if place is not None:
                    shown.setdefault(place, []).append(colour)
        picture.show(state.map, look_spots(state.map, shown, plain_ascii=self._plain_ascii))
        self.put("seen", under_the_glass(self.app.truth, self.app.seen()))

    def action_take(self) -> None:
        """Enter: the colour that is chosen; at the end, walk on from the number."""
        found = self.state.found
        if found is not None:
            self.app.close_find(self.state.chain, found)
            return
        self.app.conductor.take(Take())

    def action_colour(self, number: int) -> None:
        """A colour by its number key."""
        state = self.state
        if number in state.answers:
            self.app.conductor.take(Choose(state.answers.index(number) - state.chosen))
            self.app.conductor.take(Take())

    def action_say(self, answer: str) -> None:
        """A one-key answer."""
        self.app.conductor.take(Say(Quick[answer]))

    def action_choose(self, by: int) -> None:
        """Another colour."""
        self.app.conductor.take(Choose(by))

    def action_level(self, by: int) -> None:
        """Brighter or dimmer."""
        self.app.conductor.take(ChangeLevel(by))

    def action_undo(self) -> None:
        """Take the last answer back."""
        self.app.conductor.take(Undo())

    def action_next_chain(self) -> None:
        """Look on the next chain."""
        self.app.conductor.take(NextChain())

    def action_retry(self) -> None:
        """Light again."""
        self.app.conductor.take(Retry())

    def action_flip(self) -> None:
        """See the picture from the other side."""
        self.query_one(PlayfieldPicture).flip()

    def action_leave(self) -> None:
        """Esc: back to the walk."""
        self.app.action_leave()
