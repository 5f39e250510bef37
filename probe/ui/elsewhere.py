"""Where to go from the walk: one short list of everything there is to do with the map."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Footer, OptionList, Static

from probe.ui.help import key_name
from probe.ui.keys import KeyRow, all_keys

# the walk's actions that open something else, in the order of the whole job
ACTIONS = ("table", "recheck", "find", "picture", "lamps", "power", "harness", "faults", "next_chain", "count")
APP_ACTIONS = (
    ("guide", "Guide: how each part of the work goes"),
    ("settings", "Settings: colours, drawing, brightness, steady light, bell"),
    ("port", "Another board or port"),
    ("quit", "Leave the program (all is saved first)"),
)


def places_to_go() -> list[tuple[str, str]]:
    """(action, words) of the list, with the key that does the same from the walk; app actions begin with `app.`."""
    rows: dict[str, KeyRow] = {row.id: row for row in all_keys()}
    found = [
        (f"walk.{name}", "   ".join([row.words, *map(key_name, row.keys[:1])]))
        for name in ACTIONS
        for row in [rows[f"walk.{name}"]]
    ]
    keys = [key_name(row.keys[0]) for row in all_keys() if row.id in ("walk.table", "table.revisions")]
    found.insert(1, ("revisions", f"Revisions: what was changed when, and back   {' '.join(keys)}"))
    found.append(("shapes", "Shapes the playfield is drawn with: move, resize, add, take out"))
    return [*found, *((f"app.{action}", words) for action, words in APP_ACTIONS)]


class ElsewhereScreen(ModalScreen[str | None]):
    """Choose with arrows and Enter; Esc goes on walking. Gives the walk's action that was chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "stay", "Go on walking", priority=True)]

    def compose(self) -> ComposeResult:
        with Vertical(id="help-box"):
            yield Static("What next?", id="question")
            yield OptionList(*(Content(words) for _, words in places_to_go()), id="places", markup=False)
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one(OptionList).focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(places_to_go()[event.option_index][0])

    def action_stay(self) -> None:
        """Back to the walk."""
        self.dismiss(None)
