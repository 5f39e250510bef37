"""Setting up a new map on screen: one question at a time, as a list to choose from or a line to type in."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Input, OptionList, Static

from probe.document.model import Lamp, PlayfieldMap
from probe.mapping.new_map import ENTRY_STAGES, Back, Enter, Pick, Setting, Stage, step
from probe.runtime import Activity
from probe.ui.seen import under_the_glass
from probe.ui.text import plain

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp


class SettingScreen(Screen[None]):
    """Ask for machine, chains, byte order and count."""

    app: ProbeApp
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "again", "This output again"),
    ]

    def __init__(self, m: PlayfieldMap | None = None, lamps: tuple[Lamp, ...] = (), *, paper: bool = False) -> None:
        super().__init__()
        state = Setting(paper=paper, lamps=lamps, map=m, stage=Stage.MACHINE if m is None else Stage.BOARD)
        self._activity = Activity(state, step, self.show)
        self._drawn: tuple[object, ...] = ()

    def compose(self) -> ComposeResult:
        with Vertical(id="setting"):
            yield Static("A new map", id="setting-title")
            yield Static(id="setting-board")
            yield Static(id="question")
            yield Input(id="setting-entry")
            yield OptionList(id="setting-choices", markup=False)
            yield Static(id="setting-seen")
            yield Static(id="setting-message")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.app.conductor.begin(self._activity)

    @property
    def state(self) -> Setting:
        """The state that is shown."""
        return self._activity.state

    def show(self, state: Setting) -> None:
        """Draw a state."""
        if not self.is_mounted or not self.query("#setting-message"):  # not composed yet, or being taken down
            return
        if state.stage is Stage.DONE and state.map is not None:
            self.app.open_walk(state.map)
            return
        board = state.board.words
        if state.choices:
            board += "   ● lit" if state.lit else "   ○ not lit yet"
        self.query_one("#setting-board", Static).update(plain(board))
        self.query_one("#question", Static).update(Content(state.question))
        self.query_one("#setting-seen", Static).update(under_the_glass(self.app.truth, self.app.seen()))
        self.query_one("#setting-message", Static).update(plain(state.message))
        asked = (state.stage, state.output, state.choices, state.question)
        if asked == self._drawn:
            return
        self._drawn = asked
        entry = self.query_one("#setting-entry", Input)
        choices = self.query_one("#setting-choices", OptionList)
        entry.display = state.stage in ENTRY_STAGES
        choices.display = bool(state.choices)
        if entry.display:
            entry.value = state.suggestion
            entry.focus()
            entry.action_select_all()  # what is typed takes its place
        if state.choices:
            choices.clear_options()
            choices.add_options([Content(words) for words in state.choices])
            choices.highlighted = 0
            choices.focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.app.conductor.take(Enter(event.value))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.app.conductor.take(Pick(event.option_index))

    def action_again(self) -> None:
        """Ask this output's questions again."""
        self.app.conductor.take(Back())
