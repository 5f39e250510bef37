"""The screen of a task that shows a table: rows with a mark, a search line, a line to type in, details below on request."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import accumulate
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.coordinate import Coordinate
from textual.events import Click
from textual.widgets import DataTable, Input, Static

from probe.task import events as ev
from probe.task import screen as se
from probe.task.views import Line, Row, RowsView
from probe.ui.command_screen import ASIDE_WIDTH, Aside, CommandScreen, folded, line_content
from probe.ui.text import cut, plain
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.key_line import KeyLine

if TYPE_CHECKING:
    from probe.runtime.runtime import OpenTask

_OTHER_ROWS = 8
"""Rows of a screen that are neither the table's nor about its row."""
_BESIDE_TEXT = 4
"""Cells beside a text: a blank at both sides, and a scroll bar."""
_MOST_KEYS = 12
"""Rows of keys at most above a picture."""
_MOST_CELL = 60
"""Cells of a text at most; on a wide screen half of it."""


class RowTable(DataTable[Text], inherit_bindings=False):
    """A table that leaves Enter and letters to the screen; arrows, page keys, Home and End move its mark; ← → move
    the columns of a table that is wider than the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("up", "cursor_up"),
        ("down", "cursor_down"),
        ("pageup", "page_up"),
        ("left", "column(-1)"),
        ("right", "column(1)"),
        ("pagedown", "page_down"),
        ("home,ctrl+home", "scroll_top"),
        ("end,ctrl+end", "scroll_bottom"),
    ]

    def on_resize(self) -> None:
        """The marked row stays in sight where what stands below takes room from the table."""
        if self.is_valid_row_index(self.cursor_row):
            self.scroll_to_region(
                self._get_row_region(self.cursor_row), animate=False, spacing=self._get_fixed_offset()
            )

    def action_column(self, by: int) -> None:
        """One column on or back."""
        edges = list(accumulate((column.get_render_width(self) for column in self.ordered_columns), initial=0))
        beyond = (
            [x for x in edges if x > self.scroll_x] if by > 0 else [x for x in reversed(edges) if x < self.scroll_x]
        )
        self.scroll_to(x=beyond[0] if beyond else None, animate=False)


class RowsScreen(CommandScreen):
    """Shows a `RowsView`. It knows what a view is, and nothing of any task."""

    CSS_PATH: ClassVar[str] = "rows_screen.tcss"

    def __init__(self, shown: OpenTask, changed: Mapping[str, str]) -> None:
        super().__init__(shown, changed)
        self._view: RowsView | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="rows-head")
        yield Input(id="rows-search", placeholder="search: any text of a row", compact=True)
        yield RowTable(id="rows", cursor_type="row", zebra_stripes=False)
        yield Static(id="rows-more")
        with Horizontal(id="rows-asking"):
            yield Static(id="rows-prompt")
            yield EntryLine(
                commands=lambda: self.keys_while_empty,
                typed=self._typed,
                on_typed=lambda text: self.dispatch(ev.Typed(text)),
                on_enter=lambda: self.dispatch(ev.Take()),
            )
        yield Static(id="rows-items")
        yield Static(id="rows-beside")
        with VerticalScroll(id="rows-details", can_focus=False):
            yield Static(id="rows-text")
        yield Aside()
        yield Static(id="rows-message")
        yield Static(id="rows-progress")
        yield KeyLine()

    def on_mount(self) -> None:
        """What of the columns is out of sight follows the table."""
        super().on_mount()
        table = self.query_one(RowTable)
        for changed in ("scroll_x", "virtual_size"):
            self.watch(table, changed, self._say_more, init=False)

    def _say_more(self) -> None:
        """Columns that are cut or out of sight, by name, and how to see them."""
        table, shown = self.query_one(RowTable), self.query_one("#rows-more", Static)
        left, right = table.scroll_x, table.scroll_x + table.scrollable_content_region.width
        sides: tuple[list[str], list[str]] = [], []
        at = 0
        for column in table.ordered_columns:
            ends = at + column.get_render_width(table)
            if at < left:
                sides[0].append(column.label.plain)
            elif ends - table.cell_padding > right:
                sides[1].append(column.label.plain)
            at = ends
        shown.display = any(sides)
        words = [f"{key}  {', '.join(names)}" for key, names in zip("←→", sides, strict=True) if names]
        self.put("rows-more", plain(f" More columns: {'   '.join(words)}", width=max(20, self.size.width)))

    def _typed(self) -> str:
        view = self.current_view()
        return view.typed or "" if isinstance(view, RowsView) else ""

    # -- showing ------------------------------------------------------------------------------------------------

    def draw(self, view: object) -> None:
        """Draw a view; the table is filled again only if its rows differ."""
        if not isinstance(view, RowsView):
            return
        before, self._view = self._view, view
        width = max(20, self.size.width)
        head, message = self.head_and_message(view, width)
        self.put("rows-head", head)
        table = self.query_one(RowTable)
        if before is None or before.columns != view.columns:
            table.clear(columns=True)
            table.add_columns(*view.columns)
            before = None
        if before is None or [row.key for row in before.rows] != [row.key for row in view.rows]:
            self._fill(table, view)
        elif before.rows != view.rows:
            self._update(table, before, view)
        self._mark(table, view)
        self._open("#rows-asking", view.typed is not None)
        self.put("rows-prompt", Content(f"{view.prompt} " if view.prompt else ""))
        entry = self.query_one(EntryLine)
        entry.follow()
        if view.typed is not None and self.focused is not entry:
            entry.focus()
        elif view.typed is None and self.focused in (None, entry):
            table.focus()
        self._open("#rows-items", bool(view.items))
        self.put("rows-items", self._items(view))
        self.call_after_refresh(self._say_more)
        free = self.size.height - len(view.rows) - len(view.beside) - len(view.items) - _OTHER_ROWS
        self.put_aside(free, view.panes, most_keys=None if view.spots is None else _MOST_KEYS)
        self._show_place(view)
        self._put_lines("rows-beside", view.beside)
        self._put_details(view)
        self.put("rows-message", message)
        self.put("rows-progress", plain(self.progress_words(view.progress), width=width))

    @property
    def _width(self) -> int:
        """Columns of the table: what the panes at its side leave."""
        return max(24, self.size.width - (ASIDE_WIDTH if self.query_one(Aside).is_at_side else 0))

    def _put_details(self, view: RowsView) -> None:
        """Each line folded behind its own indent."""
        width = self._width - _BESIDE_TEXT
        self.put("rows-text", Content("\n").join([folded(line, width) for line in view.details]))

    def _show_place(self, view: RowsView) -> None:
        """Where the row in hand lies, below the panes of a large terminal."""
        aside, map_ = self.query_one(Aside), self.app.map_now()
        if view.spots is None or map_ is None or not aside.is_at_side:
            return
        from probe.ui.widgets.picture import PlayfieldPicture

        found = aside.query(PlayfieldPicture)
        picture = found.first() if found else PlayfieldPicture()
        if not found:
            aside.mount(picture)
        picture.use_plain_ascii(self.app.options.plain_ascii)
        picture.show(map_, view.spots)

    def _put_lines(self, name: str, lines: tuple[Line, ...]) -> None:
        shown = self.query_one(f"#{name}", Static)
        shown.display = bool(lines)
        width = self._width - _BESIDE_TEXT
        self.put(name, Content("\n").join([line_content(line, None if line.wrap else width) for line in lines]))

    def _open(self, name: str, open_: bool) -> None:
        self.query_one(name).set_class(open_, "open")

    def _fill(self, table: RowTable, view: RowsView) -> None:
        table.clear()
        for row in view.rows:
            table.add_row(*_cells(row, self.size.width))

    def _update(self, table: RowTable, before: RowsView, view: RowsView) -> None:
        """The same rows, some of which read otherwise: the others stay, and so does what is scrolled to."""
        for at, (old, row) in enumerate(zip(before.rows, view.rows, strict=True)):
            if old != row:
                for column, cell in enumerate(_cells(row, self.size.width)):
                    table.update_cell_at(Coordinate(at, column), cell, update_width=True)

    def _mark(self, table: RowTable, view: RowsView) -> None:
        keys = [row.key for row in view.rows]
        if view.at in keys and table.cursor_row != keys.index(view.at):
            table.move_cursor(row=keys.index(view.at), animate=False)

    @staticmethod
    def _items(view: RowsView) -> Content:
        lines = []
        for at, item in enumerate(view.items):
            chosen = at == view.chosen
            head = "▸ " if chosen else "  "
            lines.append(Content(head).append(line_content(Line(item.text, "bold" if chosen else "", item.note))))
        return Content("\n").join(lines)

    # -- keys and clicks ------------------------------------------------------------------------------------------

    @property
    def key_here(self) -> object:
        """The key of the row that is marked; None if there is none."""
        view, row = self._view, self.query_one(RowTable).cursor_row
        return view.rows[row].key if view is not None and 0 <= row < len(view.rows) else None

    def on_data_table_row_highlighted(self, event: DataTable.RowHighlighted) -> None:
        """The mark moved: the task hears of the row."""
        view = self._view
        if view is None or view.choose is None or not 0 <= event.cursor_row < len(view.rows):
            return
        key = view.rows[event.cursor_row].key
        # a mark that was put elsewhere since then is not where the person moved it
        if key != view.at and event.cursor_row == self.query_one(RowTable).cursor_row:
            self.dispatch(view.choose(key))

    def on_data_table_row_selected(self) -> None:
        """A click on the marked row does what Enter does."""
        self.run_key("enter")

    def on_click(self, event: Click) -> None:
        """A click on an item below the line chooses it, a click on the chosen one takes it."""
        view = self._view
        if view is None or event.widget is not self.query_one("#rows-items") or not 0 <= event.y < len(view.items):
            return
        self.dispatch(ev.Take() if event.y == view.chosen else ev.Choose(event.y - view.chosen))

    def on_data_table_header_selected(self, event: DataTable.HeaderSelected) -> None:
        """A click on a heading sorts by it."""
        if self._view is not None and self._view.sorted is not None:
            self.dispatch(self._view.sorted(event.column_index))

    def run_command(self, event: object) -> None:
        """As for every screen; search and details are the screen's own."""
        search = self.query_one("#rows-search", Input)
        match event:
            case se.Search():
                search.add_class("open")
                search.focus()
            case se.Details():
                self.query_one("#rows-details").toggle_class("open")
            case se.ReadOn(by):
                box = self.query_one("#rows-details", VerticalScroll)
                box.scroll_relative(y=by * max(1, box.size.height - 1), animate=False)
            case ev.Leave() if search.has_class("open"):
                search.remove_class("open")
                search.value = ""
                self.query_one(RowTable).focus()
            case _:
                super().run_command(event)

    def on_input_changed(self, event: Input.Changed) -> None:
        """What is typed in the search line."""
        if event.input.id == "rows-search" and self._view is not None and self._view.search is not None:
            event.stop()
            self.dispatch(self._view.search(event.value))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter in the search line: on to the rows."""
        if event.input.id == "rows-search":
            event.stop()
            self.query_one(RowTable).focus()


def _cells(row: Row, width: int) -> list[Text]:
    styles = [row.style if row.styled in (None, at) else "" for at in range(len(row.cells))]
    return [
        Text(cut(cell, max(_MOST_CELL, width // 2)), style=style) for cell, style in zip(row.cells, styles, strict=True)
    ]
