"""The start screen and the choice of a port: short lists."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.events import Key
from textual.screen import ModalScreen, Screen
from textual.widgets import Footer, Input, OptionList, Static

from probe.ui.text import plain

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp


@dataclass(frozen=True)
class PortChoice:
    """One way to reach a board. `address` None is paper entry."""

    address: str | None
    words: str


def type_on(screen: Screen[Any], key: Key) -> None:
    """What is typed while the list has the focus goes to the line to type in."""
    entry = screen.query_one(Input)
    if entry.display and not entry.has_focus and key.is_printable and key.character:
        entry.focus()
        entry.insert_text_at_cursor(key.character)
        key.stop()


class PortScreen(ModalScreen[PortChoice | None]):
    """Pick the port the board is on. None is opened before it is picked."""

    app: ProbeApp
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "cancel", "Back"), Binding("f5", "again", "Look again")]

    def __init__(self, choices: Sequence[PortChoice]) -> None:
        super().__init__()
        self._choices = list(choices)

    def compose(self) -> ComposeResult:
        with Vertical(id="help-box"):
            yield Static("Which port is the board on? (None is opened before you pick it.)", id="question")
            yield OptionList(id="port-list", markup=False)
            yield Static("Or type another address: a device, socket://HOST:PORT, simulated://", id="port-hint")
            yield Input(id="port-entry", placeholder="an address; Tab leads here and back", select_on_focus=False)
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self._fill()

    def _fill(self) -> None:
        listed = self.query_one(OptionList)
        listed.clear_options()
        listed.add_options([plain(choice.words) for choice in self._choices])
        listed.highlighted = 0
        listed.focus()

    def on_key(self, event: Key) -> None:
        type_on(self, event)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._choices[event.option_index])

    def on_input_submitted(self, event: Input.Submitted) -> None:
        address = event.value.strip()
        if address:
            self.dismiss(PortChoice(address, address))

    def action_again(self) -> None:
        """Look for ports again."""
        self._choices = list(self.app.opener.ports())
        self._fill()

    def action_cancel(self) -> None:
        """Back."""
        self.dismiss(None)


class StartScreen(Screen[None]):
    """What to open: a recent map, a new one, or the demo."""

    app: ProbeApp

    def __init__(self, recent: Sequence[str]) -> None:
        super().__init__()
        self._recent = list(recent)

    def compose(self) -> ComposeResult:
        with Vertical(id="setting"):
            yield Static("playfield-probe", id="setting-title")
            yield Static(
                "Light one pixel after another, say what lights, keep the map. "
                "Unplug the machine at the wall before you touch its wiring.",
                id="setting-board",
            )
            yield Static("What do you want to open?", id="question")
            yield OptionList(id="setting-choices", markup=False)
            yield Input(id="setting-entry", placeholder="file name of the map, such as kelp_forest.json")
            yield Static(id="setting-message")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        options = [Content("The demo: a simulated board under an invented machine, no hardware")]
        options += [Content("A map by its file name (a new one if it is not there)")]
        options += [plain(f"Open {path}") for path in self._recent]
        options += [Content("Leave the program")]
        listed = self.query_one(OptionList)
        listed.add_options(options)
        listed.highlighted = 2 if self._recent else 0
        listed.focus()
        self.query_one("#setting-entry", Input).display = False

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        if event.option_index == 0:
            self.app.open_demo()
        elif event.option_index == 1:
            entry = self.query_one("#setting-entry", Input)
            entry.display = True
            entry.focus()
        elif event.option_index < 2 + len(self._recent):
            self.app.open_file(self._recent[event.option_index - 2])
        else:
            self.app.exit("")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if event.value.strip():
            self.app.open_file(event.value.strip())

    def complain(self, what: str) -> None:
        """Say why something could not be opened."""
        self.query_one("#setting-message", Static).update(plain(what))
