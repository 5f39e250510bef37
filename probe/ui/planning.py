"""What the power and harness screens share: the activity, cautions to read first, and a list of entries to change."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Footer, Input, OptionList, Static
from textual.widgets.option_list import Option

from probe.cautions import Moment, cautions
from probe.document.model import PlayfieldMap
from probe.harness import planning
from probe.harness.entries import Entry, Key
from probe.harness.planning import Planning
from probe.runtime import Activity
from probe.task.sessions import Recording
from probe.ui.line_screen import message_line
from probe.ui.text import cut, plain, visible
from probe.ui.visit import Visit

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp

LABEL_WIDTH = 21


class Desk:
    """One sitting at the power plan: the activity that all its screens show. `kept` is told of every changed map."""

    def __init__(self, m: PlayfieldMap, chain: str) -> None:
        self.shown: Callable[[Planning], None] = lambda state: None
        self.kept: Callable[[PlayfieldMap], None] = lambda m: None
        self.activity = Activity(planning.start(m, chain), Recording(planning.step, m), self._changed)
        self.visit = Visit(m)
        self._last = m

    def _changed(self, state: Planning) -> None:
        self.hand_over()
        self.shown(state)

    def hand_over(self) -> None:
        """Pass a changed map on to where it came from, so that nobody goes on with the old one."""
        if self.state.map is not self._last:
            self._last = self.state.map
            self.kept(self._last)

    @property
    def state(self) -> Planning:
        """The state as it is now."""
        return self.activity.state


class CautionScreen(ModalScreen[bool]):
    """Cautions to read before going on. Enter goes on, Esc goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "close(True)", "I have read this", priority=True),
        Binding("escape", "close(False)", "Back", priority=True),
    ]

    def __init__(self, moment: Moment, read: Callable[[bool], None] | None = None) -> None:
        super().__init__()
        self._moment = moment
        self._read = read

    def compose(self) -> ComposeResult:
        lines = [Content(f"Cautions: {self._moment.value}").stylize("bold"), Content("")]
        lines += [Content(f"- {caution.text}") for caution in cautions(self._moment)]
        with VerticalScroll(id="caution-box"):
            yield Static(Content("\n").join(lines), id="cautions")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one("#caution-box").focus()

    def action_close(self, read: bool) -> None:
        """Go on, or back."""
        if self._read is not None:
            self._read(read)
        else:
            self.dismiss(read)


class EntryList(OptionList, inherit_bindings=False):
    """A list that leaves Enter and the page keys to the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "cursor_down", show=False),
        Binding("up", "cursor_up", show=False),
        Binding("home", "first", show=False),
        Binding("end", "last", show=False),
    ]


class PlanningScreen(Screen[None]):
    """A screen of a desk: it shows the desk's state while it is on top, and has one line to type in."""

    app: ProbeApp
    KEY_SCOPE: ClassVar[str] = ""
    CSS_PATH: ClassVar[str] = "planning.tcss"
    ENDS_VISIT: ClassVar[bool] = True
    """Leaving it ends the visit: below it is the walk."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self._asked: Callable[[str], planning.Input] | None = None
        self._offered = ""

    @property
    def state(self) -> Planning:
        """The state that is shown."""
        return self.desk.state

    def typing_row(self) -> ComposeResult:
        """The message and the line to type in, above the footer."""
        yield Static(id="plan-message")
        with Horizontal(id="plan-typing"):
            yield Static(id="plan-prompt")
            yield Input(id="plan-input", compact=True, select_on_focus=True)
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self._begin()

    def on_screen_resume(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self.desk.shown = self._show
        self.app.conductor.begin(self.desk.activity)
        self.app.conductor.take(planning.Look())
        self._show(self.state)

    def _show(self, state: Planning) -> None:
        if not self.is_mounted or not self.query("#plan-message"):
            return  # not composed yet, or being taken down
        self.query_one("#plan-message", Static).update(message_line(state.unsaved, state.message))
        self.show(state)

    def show(self, state: Planning) -> None:
        """Draw a state."""
        raise NotImplementedError

    def rest(self) -> None:
        """Give the keys back to the screen's own list."""
        raise NotImplementedError

    # -- the line to type in --------------------------------------------------------------------------------------

    def ask(
        self,
        prompt: str,
        meant: Callable[[str], planning.Input],
        *,
        value: str = "",
        hint: str = "",
        select: bool = True,
    ) -> None:
        """Open the line. What is typed there is taken as the input that `meant` makes of it.

        `select`: typing replaces the value that stands there; otherwise it goes on behind it. A value that
        cannot be shown as it is stands there made visible; left like that it is kept as it was.
        """
        self._asked = meant
        self.query_one("#plan-typing").add_class("open")
        self.query_one("#plan-prompt", Static).update(plain(f"{prompt}: "))
        line = self.query_one("#plan-input", Input)
        line.placeholder = hint
        line.select_on_focus = select
        line.value = visible(value)
        self._offered = line.value if line.value != value else ""
        line.focus()
        line.cursor_position = len(line.value)
        if value and hint:
            self.query_one("#plan-message", Static).update(plain(hint))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if self._asked is None:
            return
        if self._offered and event.value == self._offered:
            self.put_away()
            return
        before = self.state.refused
        meant = self._asked(event.value)
        self.app.conductor.take(meant)
        if self.state.refused == before:
            self.put_away()

    def put_away(self) -> None:
        """Close the line."""
        self._asked = None
        self.query_one("#plan-typing").remove_class("open")
        self.rest()

    def action_undo(self) -> None:
        """Undo."""
        self.app.conductor.take(planning.Undo())

    def action_redo(self) -> None:
        """Redo."""
        self.app.conductor.take(planning.Redo())

    def action_retry(self) -> None:
        """Save again."""
        self.app.conductor.take(planning.Retry())

    def action_next_chain(self) -> None:
        """The next chain."""
        self.app.conductor.take(planning.NextChain())

    def action_cautions(self) -> None:
        """Read the cautions again."""
        self.app.push_screen(CautionScreen(Moment.PLANNING))

    def action_leave(self) -> None:
        """Esc: out of the line, then back."""
        if self._asked is not None:
            self.put_away()
            self._show(self.state)
            return
        self.desk.hand_over()
        if self.ENDS_VISIT:
            self.desk.visit.end(self.app, self.desk.activity)
            self.app.pop_old()
        else:
            self.app.pop_screen()


class EntriesScreen(PlanningScreen):
    """A planning screen with a list of entries at the left and something to read at the right."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._entries: Sequence[Entry] = ()
        self._width = 0

    def middle(self) -> ComposeResult:
        """List and text."""
        with Horizontal(id="plan-middle"):
            yield EntryList(id="plan-entries", markup=False)
            with VerticalScroll(id="plan-side", can_focus=False):
                yield Static(id="plan-text")

    def rest(self) -> None:
        self.query_one(EntryList).focus()

    def fill(self, entries: Sequence[Entry], made: Key | None = None) -> None:
        """Show these entries; the cursor stays at its entry, or goes to the one that was just made."""
        listed = self.query_one(EntryList)
        wanted = made or self.chosen_key
        width = listed.size.width
        if (entries, width) == (self._entries, self._width) and made is None and listed.option_count:
            return
        self._width = width
        row = listed.highlighted
        self._entries = entries
        listed.clear_options()
        room = max(LABEL_WIDTH + 8, (width or 44) - 4)  # scroll bar and padding
        listed.add_options([Option(_line(entry, room), disabled=entry.key is None) for entry in entries])
        keys = [entry.key for entry in entries]
        if wanted is not None and wanted in keys:
            listed.highlighted = keys.index(wanted)
        elif any(keys):
            start = min(row or 0, len(keys) - 1)
            listed.highlighted = next(
                (k for k in [*range(start, len(keys)), *range(start)] if keys[k] is not None), None
            )

    @property
    def chosen(self) -> Entry | None:
        """The entry at the cursor."""
        row = self.query_one(EntryList).highlighted
        return self._entries[row] if row is not None and row < len(self._entries) else None

    @property
    def chosen_key(self) -> Key | None:
        """Its key."""
        return self.chosen.key if self.chosen is not None else None

    def read(self, lines: Sequence[Content]) -> None:
        """Show something to read."""
        self.query_one("#plan-text", Static).update(Content("\n").join(lines))

    def on_option_list_option_selected(self) -> None:
        self.action_take()

    def action_take(self) -> None:
        """Change the entry at the cursor."""
        entry = self.chosen
        if entry is None or entry.key is None:
            return
        key = entry.key
        self.ask(entry.label, lambda text: planning.Change(key, text), value=entry.typed, hint=entry.hint)

    def action_step(self, by: int) -> None:
        """The entry at the cursor, one step up or down."""
        if self.chosen_key is not None:
            self.app.conductor.take(planning.Step(self.chosen_key, by))

    def action_remove(self) -> None:
        """Take out what the entry belongs to."""
        if self.chosen_key is not None:
            self.app.conductor.take(planning.Remove(self.chosen_key))

    def on_resize(self) -> None:
        """Lines are cut to the width there is."""
        self.call_after_refresh(self._show, self.state)

    def action_read(self, by: int) -> None:
        """Scroll the text."""
        side = self.query_one("#plan-side", VerticalScroll)
        side.scroll_relative(y=by * max(1, side.size.height - 1), animate=False)


def _line(entry: Entry, room: int) -> Content:
    if entry.key is None:
        return plain(entry.label, "bold")
    value = entry.value
    if entry.assumed:
        value = f"{entry.assumed} assumed"
    return Content("  ").append(plain(cut(entry.label, LABEL_WIDTH).ljust(LABEL_WIDTH) + " ")).append(
        plain(value, "dim" if entry.assumed else "bold", width=max(4, room - LABEL_WIDTH - 3))
    )  # fmt: skip


def titled(title: str, lines: Sequence[str]) -> list[Content]:
    """A heading and lines, as content, with an empty line after."""
    return [plain(title, "bold"), *(plain(line) for line in lines), Content("")]
