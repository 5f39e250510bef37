"""The harness on screen: every joint by wire function, what is wrong with it, and its colours; batches of pixels."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import DataTable, Static

from probe.cautions import Moment
from probe.document.model import shown_number
from probe.document.model.harness import Fixing
from probe.harness import planning
from probe.harness.entries import batch_entries, joint_entries
from probe.harness.joints import JointSeverity as Severity
from probe.harness.joints import JointSide, SheetRow, sheet_rows
from probe.harness.planning import Planning
from probe.ui.keys import bindings
from probe.ui.planning import CautionScreen, Desk, EntriesScreen, PlanningScreen, titled
from probe.ui.text import cut, plain

_COLUMNS = ("Joint", "Flag", "5 V/ground/data out", "5 V/ground/data in", "mm", "Held", "Made", "Batches")
_READ_FIRST = "Unplugged at the wall, charge drained, pixel supply off? F9 says all cautions."


def _colours(side: JointSide) -> str:
    return "/".join(wire.colour or "?" for wire in side.wires)


def _lines(row: SheetRow) -> list[Content]:
    """What to join, and what is wrong."""
    refused = [p.text for p in row.problems if p.severity is Severity.REFUSE]
    lines = [plain(f"REFUSED: {text}", "bold reverse") for text in refused]
    lines += [plain(line) for line in row.joining]
    return lines + [plain(f"ask: {p.text}") for p in row.problems if p.severity is not Severity.REFUSE]


class JointTable(DataTable[Text], inherit_bindings=False):
    """A table that leaves Enter to the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "cursor_down", show=False),
        Binding("up", "cursor_up", show=False),
        Binding("right", "cursor_right", show=False),
        Binding("left", "cursor_left", show=False),
        Binding("pagedown", "page_down", show=False),
        Binding("pageup", "page_up", show=False),
        Binding("home", "scroll_top", show=False),
        Binding("end", "scroll_bottom", show=False),
    ]


class HarnessScreen(PlanningScreen):
    """The sheet of one chain."""

    KEY_SCOPE: ClassVar[str] = "harness"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("harness"))

    def __init__(self, desk: Desk, open_power: Callable[[], None], *, number: int = 0) -> None:
        super().__init__(desk)
        self._open_power = open_power
        self._at = number
        self._drawn: tuple[object, ...] = ()
        self._rows: tuple[SheetRow, ...] = ()

    def compose(self) -> ComposeResult:
        yield Static(id="plan-head")
        yield JointTable(id="joint-table", cursor_type="row", zebra_stripes=False)
        yield Static(id="joint-detail")
        yield from self.typing_row()

    def on_mount(self) -> None:
        self.query_one(JointTable).add_columns(*_COLUMNS)
        super().on_mount()
        self.rest()

    def rest(self) -> None:
        self.query_one(JointTable).focus()

    def show(self, state: Planning) -> None:
        """Draw a state."""
        chain = state.map.chain(state.chain)
        if (state.map, state.chain) != self._drawn:
            if self._drawn and self._drawn[1] != state.chain:
                self._at = 0
            self._drawn = (state.map, state.chain)
            self._rows = sheet_rows(state.map, chain)
            self._fill()
        refused = sum(row.refused for row in self._rows)
        ask = sum(bool(row.problems) and not row.refused for row in self._rows)
        chains = state.map.chains
        at = f" · {chains.index(chain) + 1} of {len(chains)} (F6)" if len(chains) > 1 else ""
        name = cut(chain.name, max(8, self.size.width // 3))
        head = f" Harness · {name}{at} · {len(self._rows)} joints · {refused} refused · {ask} to ask"
        self.query_one("#plan-head", Static).update(plain(cut(head, max(20, self.size.width))))
        self._detail()

    def _fill(self) -> None:
        table = self.query_one(JointTable)
        at = self._at
        table.clear()
        for row in self._rows:
            view = row.view
            batches = list(dict.fromkeys(side.batch for side in (view.leaving, view.arriving) if side.batch))
            cells = (
                row.ends,
                row.flag,
                _colours(view.leaving),
                _colours(view.arriving),
                "" if view.length_m is None else f"{view.length_m * 1000:g}",
                "" if view.fixing is Fixing.UNKNOWN else view.fixing.value,
                view.made_on,
                " > ".join(batches),
            )
            style = "bold reverse" if row.refused else ""
            table.add_row(*(Text(cut(cell, 24), style=style if k == 1 else "") for k, cell in enumerate(cells)))
        if self._rows:
            table.move_cursor(row=min(at, len(self._rows) - 1), animate=False)

    @property
    def chosen(self) -> SheetRow | None:
        """The joint at the cursor."""
        return self._rows[self._at] if 0 <= self._at < len(self._rows) else None

    def on_data_table_row_highlighted(self, event: DataTable.RowHighlighted) -> None:
        if event.cursor_row < len(self._rows):
            self._at = event.cursor_row
            self._detail()

    def on_data_table_row_selected(self) -> None:
        self.action_take()

    def _detail(self) -> None:
        row = self.chosen
        detail = self.query_one("#joint-detail", Static)
        if row is None:
            detail.update(Content("This chain has no pixels in the map yet: walk it first, or enter its count."))
            return
        place = self.state.map.place_of(self.state.map.chain(self.state.chain).pixels[row.number])
        title = f"joint {row.ends}" + (f" · at pixel {shown_number(row.number)}, {place.label}" if place else "")
        if row.view.note:
            title += f" · {row.view.note}"
        detail.update(Content("\n").join([plain(title, "bold"), *_lines(row)]))

    def action_take(self) -> None:
        """Open the joint at the cursor."""
        if self.chosen is not None:
            self.app.push_screen(JointScreen(self.desk, self._at, self._moved))

    def _moved(self, number: int) -> None:
        self._at = number
        self.query_one(JointTable).move_cursor(row=number, animate=False)

    def action_next_flag(self) -> None:
        """On to the next joint that is refused, or else to be asked."""
        order = [*range(self._at + 1, len(self._rows)), *range(min(self._at + 1, len(self._rows)))]
        found = next((k for k in order if self._rows[k].refused), None)
        if found is None:
            found = next((k for k in order if self._rows[k].problems), None)
        if found is None:
            self.notify("Every joint is by function, and all is noted.", markup=False, timeout=3)
            return
        self._moved(found)
        self._detail()

    def action_batches(self) -> None:
        """Colour codes of the batches."""
        self.app.push_screen(BatchScreen(self.desk))

    def action_give_batch(self) -> None:
        """Say which batch pixels are of."""
        hint = "pixels and batch: 14 second reel, or 10-20 second reel, or all first reel; - takes it away"
        self.ask("Batch of pixels", planning.GiveBatch, value=f"{self._at} ", hint=hint, select=False)

    def action_power(self) -> None:
        """The power plan."""
        self._open_power()

    def action_cautions(self) -> None:
        """The cautions for opening a joint."""
        self.app.push_screen(CautionScreen(Moment.OPENING))


class JointScreen(EntriesScreen):
    """One joint: what to join to what, and everything noted of it."""

    KEY_SCOPE: ClassVar[str] = "joint"
    ENDS_VISIT: ClassVar[bool] = False
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("joint"))

    def __init__(self, desk: Desk, number: int, moved: Callable[[int], None]) -> None:
        super().__init__(desk)
        self.number = number
        self._moved = moved

    def compose(self) -> ComposeResult:
        yield Static(id="plan-head")
        yield from self.middle()
        yield from self.typing_row()

    def on_mount(self) -> None:
        super().on_mount()
        self.rest()

    def show(self, state: Planning) -> None:
        """Draw a state."""
        chain = state.map.chain(state.chain)
        if not chain.pixels:
            return
        self.number = min(self.number, len(chain.pixels) - 1)
        row = sheet_rows(state.map, chain)[self.number]
        place = state.map.place_of(chain.pixels[self.number])
        head = f" Joint {row.ends} of {chain.name} · {row.flag}" + (f" · {place.label}" if place else "")
        self.query_one("#plan-head", Static).update(plain(cut(head, max(20, self.size.width))))
        self.fill(joint_entries(state.map, state.chain, self.number), state.made)
        batches = [side.batch or "batch not noted" for side in (row.view.leaving, row.view.arriving)]
        self.read([
            plain(_READ_FIRST, "bold"), Content(""),
            *titled("Join, in this order", ()), *_lines(row), Content(""),
            *titled("Colours, which join nothing", (
                f"leaving ({batches[0]}): {_colours(row.view.leaving)}",
                f"arriving ({batches[1]}): {_colours(row.view.arriving)}",
            )),
        ])  # fmt: skip

    def action_neighbour(self, by: int) -> None:
        """The next joint, or the one before."""
        count = len(self.state.map.chain(self.state.chain).pixels)
        self.number = min(count - 1, max(0, self.number + by))
        self._moved(self.number)
        self._show(self.state)

    def action_cautions(self) -> None:
        """The cautions for opening a joint."""
        self.app.push_screen(CautionScreen(Moment.OPENING))


class BatchScreen(EntriesScreen):
    """Colour codes."""

    KEY_SCOPE: ClassVar[str] = "batch"
    ENDS_VISIT: ClassVar[bool] = False
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("batch"))

    def compose(self) -> ComposeResult:
        yield Static(" Batches of pixels and the colours of their wires", id="plan-head")
        yield from self.middle()
        yield from self.typing_row()

    def on_mount(self) -> None:
        super().on_mount()
        self.rest()

    def show(self, state: Planning) -> None:
        """Draw a state."""
        self.fill(batch_entries(state.map), state.made)
        told = (
            "Pixels bought together have one colour code. Another batch may have another one: that is normal, and colours "
            "join nothing here.",
            "Find out with a meter and by the arrow printed on the pixel which wire does what. Do not trust the colours.",
            "F3 adds a batch. Back in the sheet, F3 says which pixels are of it.",
        )
        self.read(titled("Colours are only names", told))

    def action_add(self) -> None:
        """One more batch."""
        self.ask("Batch's name", planning.AddBatch, hint="such as: first reel")
