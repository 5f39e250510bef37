"""The map as a table: sortable, searchable; Enter lights a pixel; findings of the check below."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import DataTable, Footer, Input, Static

from probe.document.checks import check_map
from probe.document.model import Pixel, Place, shown_number
from probe.document.operations import folded
from probe.document.proving import tally
from probe.document.revisions import changed_in, is_verified
from probe.document.where_words import where_words
from probe.mapping.walk_state import Walk
from probe.ui.keys import bindings
from probe.ui.text import cut, plain, visible

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp

_COLUMNS = ("Pixel", "State", "Seen", "Place", "Area", "Kind", "Lamps", "Note")
_MAX_CELL = 60


class TableScreen(Screen[None]):
    """Every pixel of the map, one row each."""

    app: ProbeApp
    KEY_SCOPE: ClassVar[str] = "table"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("table"))

    def __init__(self, walk: Walk) -> None:
        super().__init__()
        self._map = walk.map
        self._at = (walk.chain, walk.number)
        self._sorted_by = 0
        self._wanted = ""
        self._shown: list[tuple[str, int]] = []

    def compose(self) -> ComposeResult:
        yield Static(id="table-head")
        yield Input(id="table-search", placeholder="search: any text of a row", compact=True)
        yield DataTable(id="table", cursor_type="row", zebra_stripes=False)
        with VerticalScroll(id="findings"):
            yield Static(id="findings-text")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        table = self.query_one(DataTable)
        table.add_columns(*_COLUMNS)
        self._fill()
        self._fill_findings()
        table.focus()

    def _rows(self) -> list[tuple[str, int, Pixel, Place | None]]:
        wanted = folded(self._wanted)
        rows = []
        for chain, number, pixel in self._map.walk_pixels():
            place = self._map.place_of(pixel)
            if wanted:
                words = [shown_number(number), pixel.state.value, pixel.note]
                words += [place.label, place.area, place.kind.value] if place else []
                if not any(wanted in folded(word) for word in words):
                    continue
            rows.append((chain, number, pixel, place))
        order = {chain.id: index for index, chain in enumerate(self._map.chains)}
        changed = {chain.id: changed_in(self._map, chain.id) for chain in self._map.chains}
        keys = (
            lambda r: (order[r[0]], r[1]),
            lambda r: (r[2].state.value, order[r[0]], r[1]),
            lambda r: (is_verified(r[2], changed[r[0]]), order[r[0]], r[1]),
            lambda r: (r[3] is None, folded(r[3].label) if r[3] else "", r[1]),
            lambda r: (r[3] is None, folded(r[3].area) if r[3] else "", order[r[0]], r[1]),
            lambda r: (r[3] is None, r[3].kind.value if r[3] else "", order[r[0]], r[1]),
            lambda r: (r[3] is None or not r[3].lamps, r[3].lamps if r[3] else (), r[1]),
            lambda r: (not r[2].note, r[2].note, r[1]),
        )
        rows.sort(key=keys[self._sorted_by])
        return rows

    def _fill(self) -> None:
        table = self.query_one(DataTable)
        table.clear()
        self._shown = []
        names = {chain.id: chain.name for chain in self._map.chains}
        several = len(names) > 1
        changed = {chain.id: changed_in(self._map, chain.id) for chain in self._map.chains}
        cursor = 0
        for chain, number, pixel, place in self._rows():
            if (chain, number) == self._at:
                cursor = len(self._shown)
            first = f"{cut(names[chain], 12)} {shown_number(number)}" if several else shown_number(number)
            lamps = ", ".join(map(str, place.lamps)) if place else ""
            cells = (
                first,
                pixel.state.value,
                "✓" if is_verified(pixel, changed[chain]) else "? since change" if pixel.verified else "? never",
                place.label if place else "",
                place.area if place else "",
                place.kind.value if place else "",
                lamps,
                pixel.note or (place.note if place else ""),
            )
            table.add_row(*(Text(cut(cell, _MAX_CELL)) for cell in cells))
            self._shown.append((chain, number))
        if self._shown:
            table.move_cursor(row=cursor)
        found = f"{len(self._shown)} of {sum(len(c.pixels) for c in self._map.chains)} pixels"
        head = f" {visible(self._map.machine.name)} · {found} · sorted by {_COLUMNS[self._sorted_by].lower()}"
        if self._map.proofs:
            head += f" · {tally(self._map).short}"
        if self._wanted:
            head += f" · search: {visible(self._wanted)}"
        self.query_one("#table-head", Static).update(Content(cut(head, max(20, self.size.width))))

    def _fill_findings(self) -> None:
        findings = check_map(self._map)
        lines = [plain(f"{len(findings)} findings · in the game: {tally(self._map).words}", "bold")]
        lines += [
            plain(f"  {f.severity.value}: {where_words(self._map, f.where)}: {f.what} - {f.what_to_do}")
            for f in findings
        ]
        self.query_one("#findings-text", Static).update(Content("\n").join(lines))

    def _chosen(self) -> tuple[str, int] | None:
        row = self.query_one(DataTable).cursor_row
        return self._shown[row] if 0 <= row < len(self._shown) else None

    def on_data_table_row_selected(self) -> None:
        self.action_light_row()

    def action_light_row(self) -> None:
        """Light the pixel of this row."""
        chosen = self._chosen()
        if chosen is not None:
            self._at = chosen
            self.app.light(*chosen)
            self.notify(f"lighting {shown_number(chosen[1])}", markup=False, timeout=2)

    def action_walk_here(self) -> None:
        """Go back to the walk, at this row."""
        chosen = self._chosen()
        if chosen is not None:
            self.app.light(*chosen)
        self.app.pop_old()

    def action_search(self) -> None:
        """Open the search line."""
        search = self.query_one("#table-search", Input)
        search.add_class("open")
        search.focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        self._wanted = event.value
        self._fill()

    def on_input_submitted(self) -> None:
        self.query_one(DataTable).focus()

    def action_sort(self) -> None:
        """Sort by the next column."""
        self._sorted_by = (self._sorted_by + 1) % len(_COLUMNS)
        self._fill()

    def on_data_table_header_selected(self, event: DataTable.HeaderSelected) -> None:
        self._sorted_by = event.column_index
        self._fill()

    def action_findings(self) -> None:
        """Show or hide what the check finds."""
        self.query_one("#findings").toggle_class("open")

    def action_revisions(self) -> None:
        """What was changed when; the table makes way, because the map may be another one afterwards."""
        self.app.open_old("revisions", instead=True)

    def action_leave(self) -> None:
        """Esc: out of the search, then back."""
        search = self.query_one("#table-search", Input)
        if search.has_class("open"):
            search.remove_class("open")
            search.value = ""
            self.query_one(DataTable).focus()
            return
        self.app.pop_old()
