"""Help: the keys of the screen below, and the cautions; cautions to read before work that can hurt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Footer, Input, OptionList, Static

from probe.cautions import HELP, Moment, cautions
from probe.ui.keys import all_keys, keys_of

_NAMES = {
    "pagedown": "PageDown",
    "pageup": "PageUp",
    "full_stop": ".",
    "slash": "/",
    "asterisk": "*",
    "plus": "+",
    "minus": "-",
    "comma": ",",
    "equals_sign": "=",
    "semicolon": ";",
    "colon": ":",
    "question_mark": "?",
    "exclamation_mark": "!",
    "ampersand": "&",
    "number_sign": "#",
    "percent_sign": "%",
    "greater_than_sign": ">",
    "less_than_sign": "<",
    "right": "→",
    "left": "←",
    "up": "↑",
    "down": "↓",
    "escape": "Esc",
}


def key_name(key: str) -> str:
    """A key as it is printed on a keyboard."""
    if key.startswith("ctrl+"):
        return f"Ctrl+{key[5:].upper()}"
    return _NAMES.get(key, key.upper() if len(key) < 4 else key.capitalize())


def other_keys(screen: Screen[Any]) -> list[tuple[str, str]]:
    """(keys, words) of a screen that are not in the table of keys: its own bindings, its list, its line to type in."""
    rows = {row.id for row in all_keys()}
    found = [
        ("  ".join(key_name(key) for key in binding.key.split(",")), binding.description)
        for binding in vars(type(screen)).get("BINDINGS", ())  # not those of every screen
        if isinstance(binding, Binding) and binding.id not in rows and binding.description
    ]
    if screen.query(OptionList):
        found += [("↑  ↓  Enter", "Choose from the list, take it")]
    if screen.query(Input):
        found += [("Tab", "To the line to type in and back")]
    return found


class HelpScreen(ModalScreen[None]):
    """One page: keys, then cautions. Any of Esc, F1, Enter or q closes it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,f1,enter,q", "close", "Close", priority=True)]

    def __init__(self, scope: str, changed_keys: dict[str, str], others: Sequence[tuple[str, str]] = ()) -> None:
        """`others`: keys and words beside those of the table of keys."""
        super().__init__()
        self._scope = scope
        self._others = others
        self._changed_keys = changed_keys

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="help-box"):
            yield Static(self._text())

    def _text(self) -> Content:
        lines = [Content("Keys").stylize("bold")]
        lines += [Content(f"  {keys:<22}{words}") for keys, words in self._others]
        noted = False
        own = {key for row in all_keys() if row.scope == self._scope != "app" for key in row.keys}
        for row in all_keys():
            if row.scope not in (self._scope, "app") or (row.scope == "app" and own.intersection(row.keys)):
                continue
            if not keys_of(row, self._changed_keys):
                continue  # it is only in a list that a key opens
            keys = "  ".join(key_name(key) for key in keys_of(row, self._changed_keys))
            mark = " ¹" if row.empty_only else ""
            noted |= row.empty_only
            lines.append(Content(f"  {keys:<22}{row.words}{mark}"))
        if noted:
            lines += [
                Content(
                    "  ¹ single signs and arrows while nothing is typed; for a label that begins with such a sign,"
                ),
                Content("    type a space first"),
            ]
        lines += [Content("  Ctrl+P                every action by name"), Content("")]
        lines += [Content("Cautions").stylize("bold")]
        lines += [Content(f"  - {caution}") for caution in HELP]
        return Content("\n").join(lines)

    def action_close(self) -> None:
        """Close."""
        self.dismiss()


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
