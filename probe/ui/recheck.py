"""The recheck on screen: a picture in four colours with its list of places, one question at a time, and the result."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Footer, Static

from probe.document.model import PlayfieldMap
from probe.document.revisions import changed_in, verified_count
from probe.recheck.keys import (
    ChangeLevel,
    Choose,
    Leave,
    NextChain,
    Quick,
    Retry,
    Say,
    Singles,
    Take,
    Typed,
    Undo,
)
from probe.recheck.light import is_lit
from probe.recheck.state import Does, Item, Rechecking, Stage
from probe.recheck.step import outcome, step
from probe.runtime import Activity
from probe.ui.clock import now_text
from probe.ui.keys import bindings, while_empty
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.look_words import colours_words, legend, look_spots, seen_spots
from probe.ui.seen import under_the_glass
from probe.ui.text import cut, plain
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.picture import MARK_SIGN, PlayfieldPicture, Spot

_PROMPTS = {
    Stage.DECLARE: "Changed: ",
    Stage.LOOK: "Place: ",
    Stage.COLOUR: "Colour: ",
    Stage.PROBE: "Place: ",
}


class RecheckScreen(LineScreen):
    """Recheck a chain. All it does is show a `Rechecking` and pass keys on as its inputs."""

    CSS_PATH: ClassVar[str] = "recheck.tcss"
    KEY_SCOPE: ClassVar[str] = "recheck"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("recheck"))

    def __init__(self, state: Rechecking, changed_keys: dict[str, str], *, plain_ascii: bool = False) -> None:
        super().__init__()
        self._plain_ascii = plain_ascii
        self._changed_keys = changed_keys
        self._under_glass = False
        self._leaving: Rechecking | None = None
        self._found: tuple[Rechecking, PlayfieldMap] | None = None
        self._activity = Activity(state, step, self.show)

    def compose(self) -> ComposeResult:
        yield Static(id="where")
        with Horizontal(id="middle"):
            with Vertical(id="left"):
                yield Static(id="question")
                yield Static(id="lit")
                with Horizontal(id="asking"):
                    yield Static(id="prompt")
                    yield EntryLine(
                        commands=while_empty("recheck", self._changed_keys),
                        typed=lambda: self.state.typed,
                        on_typed=lambda text: self.app.conductor.take(Typed(text)),
                        on_enter=self.action_take,
                    )
                yield Static(id="items")
                yield Static(id="message")
            with Vertical(id="right"):
                yield PlayfieldPicture(plain_ascii=self._plain_ascii)
                yield Static(id="legend")
                yield Static(id="seen")
        yield Static(id="progress")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one(EntryLine).focus()
        self.app.conductor.begin(self._activity)

    @property
    def state(self) -> Rechecking:
        """The state that is shown."""
        return self._activity.state

    def on_screen_resume(self) -> None:
        if self.is_mounted and self._lines:
            self.app.conductor.begin(self._activity)

    def on_resize(self) -> None:
        self.call_after_refresh(lambda: self.show(self.state))

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self, state: Rechecking) -> None:
        """Draw a state."""
        if not self.is_mounted:
            return
        chain = state.here
        where = f" Recheck · {state.map.machine.name} · {chain.name} (output {chain.output})"
        self.put("where", head_line(where, state.board.words, self.size.width))
        self.put("question", plain(state.question, "bold"))
        self.put("lit", self._lit_line(state))
        self.put("prompt", Content(_PROMPTS.get(state.stage, "")))
        entry = self.query_one(EntryLine)
        entry.display = state.stage in _PROMPTS
        entry.follow()
        if entry.display and self.focused is None:
            entry.focus()
        self.put("items", self._body(state))
        self.put("message", message_line(state.unsaved, state.message))
        self.put("legend", legend(plain_ascii=self._plain_ascii) if state.look else Content(""))
        self.put("progress", self._progress(state))
        self._show_picture(state)

    def _lit_line(self, state: Rechecking) -> Content:
        if state.stage in (Stage.LOOK, Stage.COLOUR, Stage.PROBE):
            what = "the whole chain in four colours" if state.look else "one pixel"
            if is_lit(state):
                return Content(f"● LIT: {what}")
            return Content("○ not lit yet" if state.board.here else "○ no board")
        if state.stage is Stage.DECLARE:
            return Content("Say each change, then Enter; or just Enter.")
        return Content("")

    def _body(self, state: Rechecking) -> Content:
        match state.stage:
            case Stage.DECLARE:
                return self._declared(state)
            case Stage.DONE | Stage.SAVED:
                return self._result(state)
            case Stage.THINK:
                return Content("")
            case _:
                return self._list(state)

    def _declared(self, state: Rechecking) -> Content:
        lines = [plain(f"{number}. {words}") for number, words in enumerate(state.said, 1)]
        lines += [Content("")] if lines else []
        lines += [
            Content(words).stylize("dim")
            for words in (
                "3 new after PLACE · took out PLACE",
                "reversed PLACE to PLACE",
                "moved PLACE to PLACE after PLACE",
                "swapped PLACE and PLACE · replaced PLACE",
                "A PLACE may be a number: #14",
            )
        ]
        return Content("\n").join(lines)

    def _result(self, state: Rechecking) -> Content:
        if state.stage is Stage.SAVED:
            m = state.map
            lines = list(m.revisions[-1].changes) if m.revisions else []
        else:
            if self._found is None or self._found[0] is not state:
                self._found = (state, outcome(state, now_text()))
            m = self._found[1]
            fresh = len(m.revisions) > len(state.map.revisions)
            lines = list(m.revisions[-1].changes) if fresh else ["The map was right, and nothing is new."]
        sure = state.now.confidence if state.now is not None else 0.0
        count = verified_count(m, m.chain(state.chain))
        head = [
            Content(f"{100 * sure:.2f} % sure that every number is right").stylize("bold"),
            Content(f"{count} of {len(m.chain(state.chain).pixels)} pixels seen since the change"),
            Content(""),
        ]
        rows = max(3, (self.query_one("#items").size.height or 12) - 3)
        shown = lines if len(lines) <= rows else [*lines[: rows - 1], f"… and {len(lines) - rows + 1} more"]
        width = max(20, self.query_one("#items").size.width or 44)
        return Content("\n").join([*head, *(plain(line, width=width) for line in shown)])

    def _list(self, state: Rechecking) -> Content:
        area = self.query_one("#items").size
        rows, width = max(1, area.height or 10), max(12, area.width or 44)
        chosen = min(state.chosen, max(0, len(state.items) - 1))
        first = max(0, min(chosen - rows // 2, len(state.items) - rows))
        lines: list[Content] = []
        for index, item in enumerate(state.items[first : first + rows], start=first):
            head = ("> " if self._plain_ascii else "▸ ") if index == chosen else "  "
            colours = f"{colours_words(item.colours, plain_ascii=self._plain_ascii):<10} " if item.colours else ""
            style = "bold reverse" if index == chosen else ""
            lines.append(plain(cut(head + colours + self._words(state, item), width), style))
        return Content("\n").join(lines)

    @staticmethod
    def _words(state: Rechecking, item: Item) -> str:
        if item.does is Does.COLOUR:
            return ""
        if item.entries and state.entries is not None:
            place = state.entries.place(item.entries[0])
            if place is not None and place.area:
                return f"{item.words} · {place.area}"
        return item.words

    def _progress(self, state: Rechecking) -> Content:
        words = f" {state.answers} answer{'' if state.answers == 1 else 's'}"
        if state.namings:
            words += f" · {state.namings} new pixel{'' if state.namings == 1 else 's'} named"
        if state.now is not None:
            words += f" · {100 * state.now.confidence:.1f} % sure"
        chain = state.here
        changed = changed_in(state.map, chain.id)
        since = f" since revision {changed}" if changed else ""
        words += f" · map: {verified_count(state.map, chain)} of {len(chain.pixels)} verified{since}"
        return Content(words)

    def _show_picture(self, state: Rechecking) -> None:
        picture = self.query_one(PlayfieldPicture)
        seen = self.app.seen()
        spots: list[Spot] = []
        if self._under_glass and self.app.truth is not None:
            spots = seen_spots(self.app.truth, seen, plain_ascii=self._plain_ascii)
        elif state.look is not None:
            spots = look_spots(state.map, state.shown, plain_ascii=self._plain_ascii)
        item = state.item
        if state.stage in (Stage.LOOK, Stage.COLOUR, Stage.PROBE):
            at = state.pointed if state.stage is Stage.COLOUR else item
            place = state.entries.place(at.entries[0]) if at and at.entries and state.entries else None
            if place is not None and place.position is not None:
                sign = colours_words(state.shown.get(place.id, ()), plain_ascii=self._plain_ascii)[:1] or MARK_SIGN
                spots.append(Spot(place.position, sign, "mark"))
        picture.show(state.map, spots)
        glass = under_the_glass(self.app.truth, seen)
        if self._under_glass:
            glass = Content("The picture shows what is lit under the glass (F6)")
        self.put("seen", glass)

    # -- keys ---------------------------------------------------------------------------------------------------

    def action_take(self) -> None:
        """Enter: take what is chosen; at the end, back to the walk."""
        if self.state.stage is Stage.SAVED:
            self.app.close_recheck(self.state.map, self.state.chain)
            return
        self.app.conductor.take(Take(now_text()))

    def action_say(self, answer: str) -> None:
        """A one-key answer."""
        self.app.conductor.take(Say(Quick[answer]))

    def action_choose(self, by: int) -> None:
        """Another line."""
        self.app.conductor.take(Choose(by))

    def action_level(self, by: int) -> None:
        """Brighter or dimmer."""
        self.app.conductor.take(ChangeLevel(by))

    def action_undo(self) -> None:
        """Take the last answer back."""
        self.app.conductor.take(Undo())

    def action_singles(self) -> None:
        """No pictures: single pixels only."""
        self.app.conductor.take(Singles())

    def action_next_chain(self) -> None:
        """The next chain, before the first question."""
        self.app.conductor.take(NextChain())

    def action_retry(self) -> None:
        """Light again, save again."""
        self.app.conductor.take(Retry())

    def action_flip(self) -> None:
        """See the picture from the other side."""
        self.query_one(PlayfieldPicture).flip()

    def action_eyes(self) -> None:
        """In the demo: the picture as it should be, or as it is under the glass."""
        self._under_glass = not self._under_glass and self.app.truth is not None
        self._show_picture(self.state)

    def action_leave(self) -> None:
        """Esc: empty the line; else back to the walk. What was answered is kept, to go on with."""
        state = self.state
        if state.typed or state.stage is Stage.COLOUR:
            self.app.conductor.take(Leave())
        elif state.unsaved and self._leaving is not state:
            self._leaving = state
            self.put("message", plain(f"NOT SAVED: {state.unsaved} (Esc again leaves all the same)", "bold reverse"))
        else:
            if state.stage not in (Stage.OFFER, Stage.SAVED) and (state.answers or state.namings):
                self.app.notify("What was answered is kept: the recheck goes on where it was.", markup=False)
            self.app.close_recheck(state.map, state.chain)
