"""The screen of a task that shows a form: entries with values at the left, a text at the right, a figure above both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from textwrap import wrap
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from probe.document.outside_text import visible
from probe.task import events as ev
from probe.task import screen as se
from probe.task.views import FormEntry, FormView
from probe.ui.command_screen import Aside, CommandScreen, hung
from probe.ui.text import cut, plain
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.key_line import KeyLine

if TYPE_CHECKING:
    from probe.runtime.runtime import OpenTask

LABEL_WIDTH, WIDEST_LABEL = 21, 36
_LEAST_VALUE = 15
"""Cells that the values keep where labels are long: "not measured", and what parts it from its label."""
_MOST_VALUE_ROWS = 3
"""Rows that a long value takes at most."""
_LEAST_WITH_FIGURE = 16
_OTHER_ROWS = 8
"""Rows of a screen that are neither figure nor entries nor text."""
_LOOKS: Mapping[str, str] = {
    "axis": "dim",
    "line": "$face-key",
    "enough": "bold $face-here",
    "low": "bold reverse $face-trouble",
    "feed": "$face-lit",
    "place": "dim",
}


class EntryList(OptionList, inherit_bindings=False):
    """A list that leaves Enter and the page keys to the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "cursor_down", show=False),
        Binding("up", "cursor_up", show=False),
        Binding("home", "first", show=False),
        Binding("end", "last", show=False),
    ]

    def __init__(self, on_move: Callable[[int], None], *, id: str) -> None:
        super().__init__(id=id, markup=False)
        self._on_move = on_move

    def watch_highlighted(self, highlighted: int | None) -> None:
        """The task hears of it at once: a drawing of the state before would take the mark back."""
        super().watch_highlighted(highlighted)
        if highlighted is not None:
            self._on_move(highlighted)


class FormScreen(CommandScreen):
    """Shows a `FormView`. It knows what a view is, and nothing of any task."""

    CSS_PATH: ClassVar[str] = "form_screen.tcss"

    def __init__(self, shown: OpenTask, changed: Mapping[str, str]) -> None:
        super().__init__(shown, changed)
        self._view: FormView | None = None
        self._listed: tuple[tuple[FormEntry, ...], int] | None = None
        self._drawn: tuple[object, ...] = ()

    def compose(self) -> ComposeResult:
        yield Static(id="form-head")
        yield Static(id="form-figure")
        with Horizontal(id="form-middle"):
            yield EntryList(self._moved, id="form-entries")
            with VerticalScroll(id="form-side"):
                yield Static(id="form-text")
        yield Aside()
        yield Static(id="form-message")
        with Horizontal(id="form-asking"):
            yield Static(id="form-prompt")
            yield EntryLine(
                commands=lambda: self.keys_while_empty,
                typed=self._typed,
                on_typed=lambda text: self.dispatch(ev.Typed(text)),
                on_enter=lambda: self.dispatch(ev.Take()),
            )
        yield Static(id="form-progress")
        yield KeyLine()

    def _typed(self) -> str:
        view = self.current_view()
        return view.typed or "" if isinstance(view, FormView) else ""

    # -- showing ------------------------------------------------------------------------------------------------

    def draw(self, view: object) -> None:
        """Draw a view; the list is filled again only if its entries differ."""
        if not isinstance(view, FormView):
            return
        before, self._view = self._view, view
        width = max(20, self.size.width)
        head, message = self.head_and_message(view, width)
        self.put("form-head", head)
        self._show_figure(view)
        self._fill(view)
        side = max(20, (self.query_one("#form-side").size.width or width // 2) - 2)
        self.put("form-text", Content("\n").join([hung(line, side) for line in view.text]))
        figure = self.query_one("#form-figure").size.height if view.figure is not None else 0
        text = sum(1 + len(line.text) // max(20, self.size.width - 46) for line in view.text)
        self.put_aside(
            self.size.height - max(len(view.entries), text) - figure - _OTHER_ROWS,
            view.panes,
            beside=view.figure is None,
        )
        self.put("form-message", message)
        progress = self.progress_words(view.progress)
        self.put("form-progress", plain(progress, width=width))
        self.query_one("#form-progress").display = bool(progress)
        self._show_line(before, view)

    def _show_figure(self, view: FormView) -> None:
        width, height = self.size.width, max(9, min(18, self.size.height * 5 // 12))
        wanted = (view.figure, width, height, self.app.options.plain_ascii)
        if wanted == self._drawn:
            return
        self._drawn = wanted
        figure = self.query_one("#form-figure")
        figure.display = view.figure is not None and self.size.height >= _LEAST_WITH_FIGURE
        if view.figure is None or not figure.display:
            return
        lines = []
        for row in view.figure(width, height, plain_ascii=self.app.options.plain_ascii):
            line = Content("")
            for text, look in row:
                line = line.append(plain(text, _LOOKS.get(look, "")))
            lines.append(line)
        self.put("form-figure", Content("\n").join(lines))

    def _fill(self, view: FormView) -> None:
        entries = self.query_one(EntryList)
        width = entries.size.width
        if self._listed != (view.entries, width):
            self._listed = (view.entries, width)
            room = max(LABEL_WIDTH + 8, (width or 44) - 4)  # scroll bar and padding
            entries.clear_options()
            longest = max((cell_len(entry.label) for entry in view.entries if entry.key is not None), default=0)
            label = max(LABEL_WIDTH, min(WIDEST_LABEL, max(room // 2, min(longest, room - _LEAST_VALUE))))
            entries.add_options(
                [Option(_line(entry, room, label), disabled=entry.key is None) for entry in view.entries]
            )
        keys = [entry.key for entry in view.entries]
        at = keys.index(view.at) if view.at is not None and view.at in keys else None
        if entries.highlighted != at:
            entries.highlighted = at

    def _show_line(self, before: FormView | None, view: FormView) -> None:
        asking, entry = self.query_one("#form-asking"), self.query_one(EntryLine)
        asking.set_class(view.typed is not None, "open")
        self.put("form-prompt", Content(f"{view.prompt} " if view.prompt else ""))
        entry.placeholder = view.hint
        entry.follow()
        if view.typed is None:
            if self.focused is None or self.focused is entry:
                self.query_one(EntryList).focus()
            return
        entry.focus()
        if before is None or before.typed is None or before.prompt != view.prompt:
            if view.select:
                entry.select_all()
            else:
                entry.cursor_position = len(entry.value)

    # -- keys and clicks ------------------------------------------------------------------------------------------

    def _moved(self, row: int) -> None:
        """The mark moved: the entry there is in hand."""
        view = self._view
        if view is None or view.choose is None or not 0 <= row < len(view.entries):
            return
        key = view.entries[row].key
        if key is not None and key != view.at:
            self.dispatch(view.choose(key))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """A click takes an entry."""
        event.stop()
        self.dispatch(ev.Take())

    def run_command(self, event: object) -> None:
        """As for every screen; the text is scrolled here."""
        if isinstance(event, se.NextPane):
            pane = self.query_one("#form-side" if isinstance(self.focused, EntryList) else EntryList)
            pane.focus()
            return
        if isinstance(event, se.ReadOn):
            side = self.query_one("#form-side", VerticalScroll)
            side.scroll_relative(y=event.by * max(1, side.size.height - 1), animate=False)
            return
        super().run_command(event)


def _line(entry: FormEntry, room: int, label: int) -> Content:
    if entry.key is None:
        return plain(entry.label, "bold")
    value, width = f"{entry.assumed} assumed" if entry.assumed else entry.value, max(4, room - label - 3)
    first, *others = wrap(visible(value), width) or [""]
    if len(others) >= _MOST_VALUE_ROWS:
        others = [*others[: _MOST_VALUE_ROWS - 2], cut(" ".join(others[_MOST_VALUE_ROWS - 2 :]), width)]
    rows = [cut(entry.label, label).ljust(label) + " ", *[" " * (label + 1)] * len(others)]
    style = "dim" if entry.assumed else "bold"
    return Content("\n").join(
        [
            Content("  ").append(plain(row)).append(plain(part, style))
            for row, part in zip(rows, (first, *others), strict=True)
        ]
    )
