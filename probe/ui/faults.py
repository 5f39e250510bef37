"""The fault finder on screen: one question, its light, its answers, and the suspects so far."""

from __future__ import annotations

from typing import ClassVar, Protocol

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widgets import Footer, Static

from probe.faults.search import Back, Choose, Heat, Relight, Say, Step, Take, Typed, Undo, Unsure, step
from probe.faults.state import Search, SearchMode
from probe.faults.words import details, headline, light_words, suspect_lines
from probe.runtime import Activity
from probe.task.sessions import Recording
from probe.ui.clock import now_text
from probe.ui.keys import bindings, while_empty
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.text import cut, plain
from probe.ui.visit import Visit
from probe.ui.widgets.entry import EntryLine

TALL = 34
REASONS = 3
_LONG = frozenset({SearchMode.REPAIR, SearchMode.FINDING, SearchMode.DONE})
_PROMPTS = {SearchMode.LAST_GOOD: "Last good number: ", SearchMode.COLOURS: "Seen: "}


class Sight(Protocol):
    """What a practice round shows in place of eyes and meter."""

    def lines(self, search: Search) -> tuple[str, ...]:
        """What is seen or read now, in lines."""


class FaultScreen(LineScreen):
    """A fault search. All it does is show a `Search` and pass keys on as its inputs."""

    KEY_SCOPE: ClassVar[str] = "faults"
    CSS_PATH: ClassVar[str] = "faults.tcss"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("faults"))

    def __init__(
        self, search: Search, changed_keys: dict[str, str], *, plain_ascii: bool = False, sight: Sight | None = None
    ) -> None:
        super().__init__()
        self._changed_keys = changed_keys
        self._plain_ascii = plain_ascii
        self._sight = sight
        self._drawn: Search | None = None
        self._visit = Visit(search.map)
        self._activity = Activity(search, Recording(step, search.map), self.show)

    def compose(self) -> ComposeResult:
        yield Static(id="fault-where")
        yield Static(id="fault-standing")
        yield Static(id="fault-question")
        with VerticalScroll(id="fault-details-box", can_focus=False):
            yield Static(id="fault-details")
        yield Static(id="fault-light")
        yield Static(id="fault-glass")
        with Horizontal(id="fault-asking"):
            yield Static(id="fault-prompt")
            yield EntryLine(
                commands=while_empty("faults", self._changed_keys),
                typed=lambda: self.search.typed,
                on_typed=self._type,
                on_enter=self.action_take,
            )
        yield Static(id="fault-answers")
        yield Static(id="fault-message")
        yield Static(id="fault-suspects")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one(EntryLine).focus()
        self.app.conductor.begin(self._activity)

    def on_screen_resume(self) -> None:
        if self._drawn is not None:
            self.app.conductor.begin(self._activity)

    def on_resize(self) -> None:
        if self._drawn is not None:
            self.call_after_refresh(self.show, self.search)

    @property
    def search(self) -> Search:
        """The state that is shown."""
        return self._activity.state

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self, search: Search) -> None:
        """Draw a state."""
        if not self.is_mounted:
            return
        before, self._drawn = self._drawn, search
        width = max(20, self.size.width)
        tall = self.size.height >= TALL
        board = search.board.words if search.board.here or not search.paper else "paper entry, no board"
        where = f" {search.map.machine.name} · {search.here.name} (output {search.here.output})"
        asked = search.session.questions_asked
        where += f" · {asked} asked" if asked else ""
        self.put("fault-where", head_line(where, board, width))
        self.put("fault-standing", plain(f" {search.knowledge.on_screen}", width=width))
        stopped = search.session.stopped
        self.put("fault-question", plain(headline(search), "reverse" if stopped and search.stop else ""))
        box = self.query_one("#fault-details-box", VerticalScroll)
        lines = details(search)
        box.display = bool(lines)
        box.set_class(search.mode in _LONG, "long")
        self.put("fault-details", Content("\n").join([plain(line) for line in lines]))
        if before is None or before.mode is not search.mode:
            box.scroll_home(animate=False)
        self.put("fault-light", self._light(search, width))
        seen = self._sight.lines(search) if self._sight is not None else ()
        self.query_one("#fault-glass").set_class(bool(seen), "shown")
        self.put("fault-glass", Content("\n").join([plain(line) for line in seen]))
        self.put("fault-message", message_line(search.unsaved, search.message))
        suspects = suspect_lines(search, reasons=REASONS if tall else 0) if search.mode not in _LONG else ()
        shown = self.query_one("#fault-suspects", Static)
        shown.display = bool(suspects)
        shown.set_class(tall, "tall")
        self.put("fault-suspects", Content("\n").join([plain(line, width=width - 2) for line in suspects]))
        self.put("fault-prompt", Content(_PROMPTS.get(search.mode, "Reading: ") if search.types else ""))
        self.query_one(EntryLine).follow()
        self._show_answers()
        self.call_after_refresh(self._show_answers)  # once the lines above have their heights

    def _show_answers(self) -> None:
        """The answers round the chosen one, as many as there is room for."""
        search = self.search
        box = self.query_one("#fault-answers", Static)
        rows, width = max(1, box.size.height or 6), max(20, box.size.width or 76)
        items = search.items
        at = search.chosen % len(items) if items else 0
        first = max(0, min(at - rows + 2, len(items) - rows))
        lines = []
        for index, item in enumerate(items[first : first + rows], start=first):
            head = (">" if self._plain_ascii else "▸") + " " if index == at else "  "
            left = len(items) - index - 1 if index == first + rows - 1 else 0
            more = f"  ({left} more)" if left else ""
            text = cut(item.text, max(8, width - 2 - len(more))) + more
            lines.append(plain(head + text, "bold" if index == at else ""))
        self.put("fault-answers", Content("\n").join(lines))

    def _light(self, search: Search, width: int) -> Content:
        on, words = light_words(search)
        sign = ("*" if on else "o") if self._plain_ascii else ("●" if on else "○")
        return plain(f"{sign} The board: {words}", width=width - 2)

    # -- keys ---------------------------------------------------------------------------------------------------

    def _type(self, text: str) -> None:
        if self.search.types:
            self.app.conductor.take(Typed(text))

    def action_take(self) -> None:
        """Enter: the chosen answer, or what is typed."""
        item = self.search.item
        if item is not None and item.key == "leave":
            self.action_leave()
        elif item is not None and item.key == "follow":
            self._visit.end(self.app, self._activity)
            self.app.open_follow_up(self.search.map, self.search.chain)
        else:
            self.app.conductor.take(Take(now_text()))

    def action_choose(self, by: int) -> None:
        """Another answer."""
        self.app.conductor.take(Choose(by))

    def action_unsure(self) -> None:
        """Not sure."""
        self.app.conductor.take(Unsure(now_text()))

    def action_heat(self) -> None:
        """Heat, smell or ticking."""
        self.app.conductor.take(Heat())

    def action_yes(self) -> None:
        """Yes, where that is an answer."""
        self.app.conductor.take(Say(True, now_text()))

    def action_no(self) -> None:
        """No, where that is an answer."""
        self.app.conductor.take(Say(False, now_text()))

    def action_step(self, by: int) -> None:
        """The next step of a pattern or of the settings tried."""
        self.app.conductor.take(Step(by))

    def action_undo(self) -> None:
        """Take the last answer back."""
        self.app.conductor.take(Undo())

    def action_retry(self) -> None:
        """Show the light once more, and save again."""
        self.app.conductor.take(Relight())

    def action_read(self, by: int) -> None:
        """Scroll what is too long for its box."""
        self.query_one("#fault-details-box", VerticalScroll).scroll_relative(y=4 * by, animate=False)

    def action_leave(self) -> None:
        """Out of a job within the search; else back to where it was opened from, and its map goes with it."""
        if self.search.way_back:
            self.app.conductor.take(Back(now_text()))
            return
        self._visit.end(self.app, self._activity)
        self.app.close_faults(self.search.map)
