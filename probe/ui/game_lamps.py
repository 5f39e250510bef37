"""The lamp list on screen: rows, their places and pixels; a form for one row; joining by name or by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import DataTable, Footer, Input, OptionList, Static

from probe.document.joining import LEAST_LIKENESS, alike
from probe.document.model import Kind, Lamp, PlayfieldMap
from probe.document.operations import folded
from probe.game import lamps as game
from probe.game.lamps import (
    FIELDS,
    Accept,
    ChooseAt,
    EndJoining,
    FieldError,
    JoinTo,
    LampsWork,
    MoveRow,
    Propose,
    Put,
    Remove,
    Retry,
    Skip,
    Undo,
    Unjoin,
    lamp_of,
    texts_of,
)
from probe.ui.game_frame import GameScreen, Keep
from probe.ui.keys import bindings
from probe.ui.text import cut, plain

_COLUMNS = ("Lamp", "Name", "Area", "Kind", "Row/col", "Driver", "Pixels", "Group")
_WORDS = {
    "number": "number",
    "insert_colour": "colour of insert",
    "row": "row (strobe)",
    "column": "column (strobe)",
    "group": "group",
}
_MOST_LISTED = 200


class LampForm(ModalScreen["Lamp | None"]):
    """One row of the list, field by field. Enter keeps it, Esc leaves it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "cancel", "Back", priority=True),
        Binding("down", "app.focus_next", "Next field"),
        Binding("up", "app.focus_previous", "Field before"),
    ]

    def __init__(self, lamp: Lamp | None) -> None:
        super().__init__()
        self._texts = texts_of(lamp)
        self._new = lamp is None

    def compose(self) -> ComposeResult:
        with Vertical(id="form-box"):
            yield Static("A new row of the lamp list" if self._new else "A row of the lamp list")
            for name in FIELDS:
                with Horizontal(classes="row"):
                    yield Static(_WORDS.get(name, name), classes="what")
                    hint = ", ".join(Kind) if name == "kind" else "empty: always on" if name == "number" else ""
                    yield Input(self._texts[name], id=f"form-{name}", placeholder=hint, compact=True)
            yield Static(id="form-error")
            yield Static("Enter keeps it, Esc leaves it, ↓ ↑ Tab: next field")

    def on_mount(self) -> None:
        self.query_one("#form-number", Input).focus()

    def on_input_submitted(self) -> None:
        texts = {name: self.query_one(f"#form-{name}", Input).value for name in FIELDS}
        try:
            lamp = lamp_of(texts)
        except FieldError as exc:
            self.query_one("#form-error", Static).update(plain(str(exc)))
            self.query_one(f"#form-{exc.field}", Input).focus()
            return
        self.dismiss(lamp)

    def action_cancel(self) -> None:
        """Back without a change."""
        self.dismiss(None)


class PlacePicker(ModalScreen["str | None"]):
    """Pick a place: type part of its name, arrows, Enter."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "cancel", "Back", priority=True),
        Binding("down", "choose(1)", "Next", priority=True),
        Binding("up", "choose(-1)", "Before", priority=True),
    ]

    def __init__(self, m: PlayfieldMap, question: str, *, like: str = "", first: tuple[str, ...] = ()) -> None:
        super().__init__()
        self._map = m
        self._question = question
        self._like = like
        self._first = {place: at for at, place in enumerate(first)}
        self._shown: list[str] = []

    def compose(self) -> ComposeResult:
        with Vertical(id="form-box"):
            yield Static(plain(self._question))
            yield Input(id="picker-entry", placeholder="part of its name", compact=True)
            yield OptionList(id="picker-list", markup=False)

    def on_mount(self) -> None:
        self._fill("")
        self.query_one("#picker-entry", Input).focus()

    def _fill(self, typed: str) -> None:
        wanted = folded(typed)
        places = [p for p in self._map.places if wanted in folded(f"{p.label} {p.area}")]
        likeness = {p.id: alike(p.label, p.area, self._like) if self._like else 0.0 for p in places}

        def rank(at: int) -> tuple[float, int, int]:
            place = places[at]
            near = likeness[place.id] if likeness[place.id] >= LEAST_LIKENESS else 0.0
            return (-near, self._first.get(place.id, len(self._first)), at)

        order = sorted(range(len(places)), key=rank)[:_MOST_LISTED]
        self._shown = [places[at].id for at in order]
        listed = self.query_one(OptionList)
        listed.clear_options()
        for at in order:
            place = places[at]
            pixels = " ".join(str(n) for _, n in self._map.pixels_at.get(place.id, ())) or "no pixel"
            job = f"lamp {', '.join(map(str, place.lamps))}" if place.lamps else place.group or "no lamp"
            listed.add_option(plain(f"{place.label} · {place.area} · {pixels} · {job}", width=74))
        if self._shown:
            listed.highlighted = 0

    def on_input_changed(self, event: Input.Changed) -> None:
        self._fill(event.value)

    def on_input_submitted(self) -> None:
        at = self.query_one(OptionList).highlighted
        self.dismiss(self._shown[at] if at is not None and at < len(self._shown) else None)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._shown[event.option_index])

    def action_choose(self, by: int) -> None:
        """Another place."""
        listed = self.query_one(OptionList)
        if self._shown:
            listed.highlighted = ((listed.highlighted or 0) + by) % len(self._shown)

    def action_cancel(self) -> None:
        """Back without a choice."""
        self.dismiss(None)


def proof_words(work: LampsWork, lamp: Lamp) -> str:
    """What was proved of a row in the game."""
    for row in work.standings:
        if row.lamp == lamp.number and (lamp.number is not None or folded(row.group) == folded(lamp.group)):
            if row.proof is None:
                return "in the game: not proved"
            how = "by the board's table" if row.proof.by_table else "by pixel numbers"
            return f"in the game: {row.state.value} ({row.proof.time}, revision {row.proof.revision}, lit {how})"
    return "in the game: not proved"


class LampsScreen(GameScreen):
    """The lamp list. All it does is show a `LampsWork` and pass keys on."""

    KEY_SCOPE: ClassVar[str] = "lamps"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("lamps"))

    def __init__(self, m: PlayfieldMap, keep: Keep) -> None:
        super().__init__(game.start(m), game.step, keep)
        self._filled: tuple[object, object] | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="game-head")
        yield DataTable(id="lamps-list", cursor_type="row")
        yield Static(id="lamps-detail")
        yield Static(id="game-message")
        yield Footer(show_command_palette=False)

    def opened(self) -> None:
        table = self.query_one(DataTable)
        table.add_columns(*_COLUMNS)
        table.focus()

    @property
    def work(self) -> LampsWork:
        """The state that is shown."""
        state: LampsWork = self._activity.state
        return state

    def show(self, state: Any) -> None:
        work: LampsWork = state
        self.head(f"lamps: {len(work.map.lamps)} rows", work)
        if self._filled is None or self._filled[0] is not work.map.lamps or self._filled[1] is not work.map.places:
            self._filled = (work.map.lamps, work.map.places)
            self._fill(work)
        table = self.query_one(DataTable)
        if work.map.lamps and table.cursor_row != work.at:
            table.move_cursor(row=work.at)
        self.put("lamps-detail", self._detail(work))
        self.message(work)

    def _fill(self, work: LampsWork) -> None:
        table = self.query_one(DataTable)
        table.clear()
        for lamp, (places, pixels) in zip(work.map.lamps, work.joined, strict=True):
            strobes = f"{lamp.row or ''}/{lamp.column or ''}" if lamp.row or lamp.column else ""
            shown = pixels or ("no pixel" if places else "no place")
            number = "" if lamp.number is None else str(lamp.number)
            cells = (number, cut(lamp.name, 26), cut(lamp.area, 14), lamp.kind.value, strobes, cut(lamp.driver, 8))
            table.add_row(*(Text(cell) for cell in (*cells, cut(shown, 14), cut(lamp.group, 24))))

    def _detail(self, work: LampsWork) -> Content:
        match = work.match
        if match is not None:
            place = work.map.place_by_id[match.place]
            sign = "sure" if match.sure else "perhaps"
            who = f"lamp {match.lamp.number}" if match.lamp.number is not None else f"in {match.lamp.group}"
            return Content("\n").join(
                [
                    plain(f"Is the place {place.label} ({place.area}) the row {match.lamp.name}, {who}?", "bold"),
                    plain(f"{sign}, {match.likeness:.0f} % alike; {len(work.matches or ())} left"),
                    Content("Enter joins it, F3 skips it, F6 joins all sure ones, Esc ends"),
                ]
            )
        lamp = work.lamp
        if lamp is None:
            return Content("The list is empty: F2 adds a row; `playfield-probe lamps MAP --from FILE` reads one.")
        places = work.joined[work.at][0]
        names = (
            ", ".join(f"{p.label} ({p.area})" if p.area else p.label for p in places) or "no place yet: F4 joins one"
        )
        extra = " · ".join(part for part in (lamp.insert_colour, lamp.note) if part)
        return Content("\n").join([plain(f"{lamp.name}: {names}"), plain(extra), plain(proof_words(work, lamp), "dim")])

    def on_data_table_row_highlighted(self, event: DataTable.RowHighlighted) -> None:
        if self.work.at != event.cursor_row and self.work.map.lamps:
            self.give(ChooseAt(event.cursor_row))

    def on_data_table_row_selected(self) -> None:
        self.action_take()

    def action_take(self) -> None:
        """Enter: take the proposal, or change the row."""
        if self.work.matches:
            self.give(Accept())
            return
        lamp, at = self.work.lamp, self.work.at
        if lamp is None:
            self.action_add()
            return

        def put(changed: Lamp | None) -> None:
            if changed is not None:
                self.give(Put(changed, at))

        self.app.push_screen(LampForm(lamp), put)

    def action_add(self) -> None:
        """A new row after this one."""

        def put(made: Lamp | None) -> None:
            if made is not None:
                self.give(Put(made, None))

        self.app.push_screen(LampForm(None), put)

    def action_skip(self) -> None:
        """Not this place."""
        self.give(Skip() if self.work.matches else Propose())

    def action_join(self) -> None:
        """Join this row to a place picked by hand."""
        lamp = self.work.lamp
        if lamp is None:
            return

        def picked(place: str | None) -> None:
            if place is not None:
                self.give(JoinTo(place))

        question = f"Which place does {lamp.name} light?"
        self.app.push_screen(PlacePicker(self.work.map, question, like=lamp.name), picked)

    def action_unjoin(self) -> None:
        """Take the places off this row."""
        self.give(Unjoin())

    def action_all_sure(self) -> None:
        """Join every place whose row is sure."""
        if not self.work.matches:
            self.give(Propose())
        if self.work.matches:
            self.give(Accept(all_sure=True))

    def action_remove(self) -> None:
        """Take this row out."""
        self.give(Remove())

    def action_move_row(self, by: int) -> None:
        """Move this row."""
        self.give(MoveRow(by))

    def action_undo(self) -> None:
        """Undo."""
        self.give(Undo())

    def action_retry(self) -> None:
        """Save again."""
        self.give(Retry())

    def action_board(self) -> None:
        """The board's table."""
        self.go("board")

    def action_watch(self) -> None:
        """The game's lamps live."""
        self.go("watch")

    def action_prove(self) -> None:
        """The final check."""
        self.go("prove")

    def action_leave(self) -> None:
        """Esc: out of joining, then back."""
        if self.work.matches:
            self.give(EndJoining())
        else:
            self.end_visit()
            self.app.action_leave()

    def resumed(self, state: Any, m: PlayfieldMap) -> Any:
        return replace(state, map=m, at=max(0, min(state.at, len(m.lamps) - 1)))
