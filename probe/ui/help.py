"""Help: the keys of the screen below, and the cautions; cautions to read before work that can hurt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Input, OptionList, Static

from probe.cautions import HELP, Moment, cautions
from probe.ui.keys import all_keys, key_name, keys_words, while_empty
from probe.ui.widgets.key_line import KeyLine


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

    def __init__(
        self, scope: str, changed_keys: dict[str, str], others: Sequence[tuple[str, str]] = (), prose: str = ""
    ) -> None:
        """`others`: keys and words beside those of the table of keys. `prose` comes before them."""
        super().__init__()
        self._prose = prose
        self._scope = scope
        self._others = others
        self._changed_keys = changed_keys

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="help-box"):
            yield Static(self._text())

    def _text(self) -> Content:
        lines = [Content(self._prose), Content("")] if self._prose else []
        lines += [Content("Keys").stylize("bold")]
        lines += [Content(f"  {keys:<22}{words}") for keys, words in self._others]
        noted = False
        own = {key for row in all_keys() if row.scope == self._scope != "app" for key in row.keys}
        for row in sorted(all_keys(), key=lambda row: row.scope == "app"):  # those of this screen first
            if row.scope not in (self._scope, "app") or (row.scope == "app" and own.intersection(row.keys)):
                continue
            keys = keys_words(row, self._changed_keys)
            if not keys:
                continue  # it is only in the menu
            typing = any(while_empty(key) for key in row.keys)
            noted |= typing
            lines.append(Content(f"  {keys:<22}{row.words}{' ¹' if typing else ''}"))
        if noted:
            lines.append(Content("  ¹ while nothing is typed"))
        lines += [Content("")]
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
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one("#caution-box").focus()

    def action_close(self, read: bool) -> None:
        """Go on, or back."""
        if self._read is not None:
            self._read(read)
        else:
            self.dismiss(read)
