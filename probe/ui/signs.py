"""The question of the first run: which signs this terminal's font has. The same picture three times, each drawn otherwise."""

from __future__ import annotations

from typing import ClassVar, get_args

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import OptionList, Static

from probe.document.model import Machine
from probe.document.settings import Signs
from probe.playfield.cells import shape_cells
from probe.playfield.field import neutral_field
from probe.playfield.window import Window
from probe.ui.ascii_only import to_blocks
from probe.ui.dialog import Dialog
from probe.ui.widgets.key_line import KeyLine

_COLUMNS, _ROWS = 15, 13
_BOX = (0.0, 0.0, 514.35, 900.0)
CHOICES: dict[Signs, str] = {
    "fine": "Left: lines of fine dots",
    "blocks": "Middle: lines of blocks",
    "ascii": "Right: dashes and strokes (every screen is then drawn in ASCII)",
}


def sample(signs: Signs) -> str:
    """The near half of a playfield, drawn with these signs."""
    window = Window(_BOX, _COLUMNS, _ROWS)
    cells = shape_cells(neutral_field(Machine(name="-")), window, plain=signs == "ascii")
    rows = ("".join(cells.get((column, row), (" ", ""))[0] for column in range(_COLUMNS)) for row in range(_ROWS))
    drawn = "\n".join(rows)
    return to_blocks(drawn) if signs == "blocks" else drawn


class SignsScreen(Dialog["Signs | None"]):
    """Gives the signs that were chosen, or None where it was left unanswered."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Take", priority=True),
        Binding("escape", "leave", "Ask me the next time"),
        *(Binding(str(n), f"row({n - 1})", f"Row {n}", show=False) for n in range(1, len(CHOICES) + 1)),
    ]

    def compose(self) -> ComposeResult:
        with Vertical(id="signs-box"):
            yield Static("Which of these is drawn whole, without boxes? Take the finest one.", id="question")
            with Horizontal(id="signs-samples"):
                for name in get_args(Signs):
                    yield Static(Content(sample(name)), classes="signs-sample")
            yield OptionList(*(Content(f" {n}  {words}") for n, words in enumerate(CHOICES.values(), 1)), markup=False)
            yield Static("Asked once; “Settings” changes it.", id="signs-note")
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one(OptionList).highlighted = 0
        self.query_one(OptionList).focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.action_row(event.option_index)

    def action_take(self) -> None:
        """Take the marked row."""
        self.action_row(self.query_one(OptionList).highlighted or 0)

    def action_row(self, row: int) -> None:
        """Take a row."""
        self.dismiss(list(CHOICES)[row])

    def action_leave(self) -> None:
        """Go on as if all were drawn well."""
        self.dismiss(None)
