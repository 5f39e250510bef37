"""The whole map as one table for spreadsheets, and back.

The first column, `record`, says what a row is; each kind uses the columns that mean something to it.

| record | one row for each | columns besides `note` |
|---|---|---|
| machine | the machine | name, width_mm, length_mm |
| chain | chain | id, name, output, count, order, chip, latch_us, ceiling_ma |
| pixel | pixel | chain, number, id, state, place, verified; copies of the place: name, area, kind, x_mm, y_mm, lamps |
| place | place | id, name, area, kind, x_mm, y_mm, lamps (numbers, a space between), group |
| lamp | lamp | number, name, area, kind, driver, row, column, insert_colour |
| revision | revision | number, time; its reason is the note |
| change | line of a revision | number of the revision; its text is the note |
| bookmark | bookmark, if any | chain, number |

The copies on pixel rows are for the reader of the table. On import they may be empty, and have to agree with the place
otherwise. Rows may come in any order; pixels are put in the order of their numbers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError

from probe.export.cells import Row, Table, guard, read_table, table_text, unguard
from probe.export.errors import ImportProblem
from probe.maps.model import (
    Bookmark,
    Chain,
    Lamp,
    Machine,
    Pixel,
    Place,
    PlayfieldMap,
    Position,
    Record,
    Revision,
    shown_number,
)

COLUMNS = (
    "record", "chain", "number", "id", "state", "place", "name", "area", "kind", "x_mm", "y_mm", "lamps", "group",
    "verified", "output", "count", "order", "chip", "latch_us", "ceiling_ma", "driver", "row", "column",
    "insert_colour", "width_mm", "length_mm", "time", "note",
)  # fmt: skip
_COPIES = ("name", "area", "kind", "x_mm", "y_mm", "lamps")
_KINDS: dict[str, tuple[type[Record], frozenset[str]]] = {
    "machine": (Machine, frozenset({"name", "width_mm", "length_mm", "note"})),
    "chain": (Chain, frozenset({"id", "name", "output", "count", "order", "chip", "latch_us", "ceiling_ma", "note"})),
    "pixel": (Pixel, frozenset({"id", "state", "place", "note", "verified"})),
    "place": (Place, frozenset({"id", "name", "area", "kind", "x_mm", "y_mm", "lamps", "group", "note"})),
    "lamp": (Lamp, frozenset({"number", "name", "area", "kind", "driver", "row", "column", "insert_colour", "note"})),
    "revision": (Revision, frozenset({"number", "time", "note"})),
    "change": (Record, frozenset({"number", "note"})),
    "bookmark": (Bookmark, frozenset({"chain", "number"})),
}


def _written(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return guard(str(value))
    if isinstance(value, tuple):
        return " ".join(map(str, value))
    return repr(value)


def _row(record: str, **cells: Any) -> list[str]:
    return [record, *(_written(cells.get(column)) for column in COLUMNS[1:])]


def _own(record: Record, *leave_out: str) -> dict[str, Any]:
    return {name: getattr(record, name) for name in type(record).model_fields if name not in leave_out}


def _place_cells(place: Place) -> dict[str, Any]:
    cells: dict[str, Any] = {"name": place.label, "area": place.area, "kind": place.kind, "lamps": place.lamps}
    if place.position is not None:
        cells |= {"x_mm": place.position.x_mm, "y_mm": place.position.y_mm}
    return cells


def map_rows(m: PlayfieldMap) -> Iterator[list[str]]:
    """The table's rows, headings first, as finished cells."""
    yield list(COLUMNS)
    yield _row("machine", **_own(m.machine))
    for chain in m.chains:
        yield _row("chain", **_own(chain, "pixels"))
    for chain_id, number, pixel in m.walk_pixels():
        place = m.place_of(pixel)
        copies = {} if place is None else _place_cells(place)
        yield _row("pixel", chain=chain_id, number=number, **copies, **_own(pixel))
    for place in m.places:
        yield _row("place", id=place.id, **_place_cells(place), group=place.group, note=place.note)
    for lamp in m.lamps:
        yield _row("lamp", **_own(lamp))
    for revision in m.revisions:
        yield _row("revision", number=revision.number, time=revision.time, note=revision.reason)
        for change in revision.changes:
            yield _row("change", number=revision.number, note=change)
    if m.bookmark is not None:
        yield _row("bookmark", **_own(m.bookmark))


def write_csv(m: PlayfieldMap) -> str:
    """The map as CSV text (RFC 4180, lines ended by CR LF; to be saved as UTF-8). Same map, same text."""
    return table_text(map_rows(m))


Made = TypeVar("Made", bound=Record)


class _Reader:
    """One row being read: its cells by heading, and errors that name its line."""

    def __init__(self, table: Table, columns: Mapping[str, int], row: Row) -> None:
        self.line = row.line
        self._table = table
        self._cells = {name: row.cells[index] for name, index in columns.items()}

    def raw(self, column: str) -> str:
        return self._cells.get(column, "")

    def text(self, column: str) -> str:
        return unguard(self.raw(column))

    def word(self, column: str) -> str | None:
        """A word out of a list, None if the cell is empty."""
        return self.raw(column).strip().lower() or None

    def problem(self, column: str | None, what: str, hint: str) -> ImportProblem:
        return ImportProblem(what, hint, line=self.line, column=column)

    def number(self, column: str) -> float | int | None:
        """The number in a cell, None if it is empty. `14.0` is 14: spreadsheets write so."""
        cell = self._table.number(self.raw(column))
        if not cell:
            return None
        try:
            value = float(cell)
        except ValueError:
            raise self.problem(column, f"{cell[:40]!r} is not a number", "Write digits only") from None
        return int(value) if value.is_integer() and abs(value) < 1e15 else value

    def integer(self, column: str) -> int:
        value = self.number(column)
        if not isinstance(value, int):
            raise self.problem(column, "a whole number is missing here", "Write it in digits, counted from 0")
        return value

    def lamps(self) -> tuple[int, ...]:
        try:
            return tuple(int(part) for part in self.raw("lamps").replace(",", " ").replace(";", " ").split())
        except ValueError:
            hint = "Write lamp numbers with spaces between them"
            raise self.problem("lamps", f"{self.raw('lamps')[:40]!r} is no list of numbers", hint) from None

    def position(self) -> Position | None:
        x, y = self.number("x_mm"), self.number("y_mm")
        if x is None and y is None:
            return None
        if x is None or y is None:
            missing = "x_mm" if x is None else "y_mm"
            raise self.problem(missing, "only one half of the position is there", "Fill in both x_mm and y_mm, or none")
        return self.made(Position, x_mm=x, y_mm=y)

    def made(self, model: type[Made], /, **fields: Any) -> Made:
        """A record; what the model refuses becomes a problem that names the column."""
        given = {name: value for name, value in fields.items() if value is not None}
        try:
            return model.model_validate(given)
        except ValidationError as error:
            fault = error.errors(include_url=False)[0]
            name = str(fault["loc"][0]) if fault["loc"] else None
            column = {"label": "name", "reason": "note", "changes": "note"}.get(name or "", name)
            said = fault["msg"].removeprefix("Value error, ")
            raise self.problem(column, said[:1].lower() + said[1:], "Correct that cell") from None


def _columns(table: Table) -> dict[str, int]:
    found: dict[str, int] = {}
    for index, heading in enumerate(table.header.cells):
        name = heading.strip().lower()
        if not name:
            continue
        if name not in COLUMNS:
            hint = f"Known headings are: {', '.join(COLUMNS)}"
            raise ImportProblem(
                f"there is no column {heading[:40]!r}", hint, line=table.header.line, column=heading[:40]
            )
        if name in found:
            hint = "Remove one of the two columns"
            raise ImportProblem("this heading is there twice", hint, line=table.header.line, column=name)
        found[name] = index
    if "record" not in found:
        hint = "The first line has to be the headings as this program writes them"
        raise ImportProblem("there is no column 'record'", hint, line=table.header.line)
    return found


def _sorted_rows(table: Table) -> dict[str, list[_Reader]]:
    columns = _columns(table)
    rows: dict[str, list[_Reader]] = defaultdict(list)
    for row in table.rows:
        reader = _Reader(table, columns, row)
        kind = reader.raw("record").strip().lower()
        if kind not in _KINDS:
            raise reader.problem("record", f"{kind[:40]!r} is no record", f"Write one of: {', '.join(_KINDS)}")
        used = _KINDS[kind][1] | {"record"} | ({"chain", "number", *_COPIES} if kind == "pixel" else set())
        for column in columns:
            if column not in used and reader.raw(column).strip():
                raise reader.problem(column, f"a {kind} has no such cell", "Empty it, or move it to the right column")
        rows[kind].append(reader)
    return rows


def _once(rows: list[_Reader], kind: str, *, needed: bool) -> _Reader | None:
    if len(rows) > 1:
        raise rows[1].problem("record", f"there is a second row for the {kind}", "Remove one of the two")
    if not rows and needed:
        raise ImportProblem(f"there is no row for the {kind}", f"Add one with {kind!r} in the column 'record'")
    return rows[0] if rows else None


def _places(rows: list[_Reader]) -> dict[str, tuple[Place, _Reader]]:
    places: dict[str, tuple[Place, _Reader]] = {}
    for row in rows:
        place = row.made(
            Place, id=row.text("id"), label=row.text("name"), area=row.text("area"), kind=row.word("kind"),
            position=row.position(), lamps=row.lamps(), group=row.text("group"), note=row.text("note"),
        )  # fmt: skip
        if place.id in places:
            other = places[place.id][1].line
            raise row.problem("id", f"the place {place.id!r} is on line {other} already", "Give one of them another id")
        places[place.id] = place, row
    return places


def _check_copies(row: _Reader, place: Place, source: _Reader) -> None:
    for column in _COPIES:
        if not row.raw(column).strip():
            continue
        if column in ("x_mm", "y_mm"):
            same = row.number(column) == source.number(column)
        elif column == "lamps":
            same = row.lamps() == place.lamps
        elif column == "kind":
            same = row.word(column) == place.kind
        else:
            same = row.text(column) == source.text(column)
        if not same:
            what = f"this differs from the place {place.id!r} on line {source.line}"
            hint = f"Change it on line {source.line}, and make it the same here or empty it"
            raise row.problem(column, what, hint)


def _pixels(rows: list[_Reader], chains: Mapping[str, Any], places: Mapping[str, tuple[Place, _Reader]]) -> Any:
    numbered: dict[str, dict[int, Pixel]] = {name: {} for name in chains}
    lines: dict[tuple[str, str], int] = {}
    for row in rows:
        name, number = row.text("chain"), row.integer("number")
        if name not in numbered:
            raise row.problem("chain", f"there is no chain {name[:60]!r}", f"Chains are: {', '.join(chains) or 'none'}")
        if number in numbered[name]:
            raise row.problem("number", f"pixel {number} of this chain is there twice", "Give each its own number")
        fields = {"id": row.text("id"), "place": row.text("place") or None, "state": row.word("state")}
        pixel = row.made(Pixel, **fields, note=row.text("note"), verified=row.number("verified"))
        if (name, pixel.id) in lines:
            what = f"the pixel id {pixel.id!r} is on line {lines[name, pixel.id]} already"
            raise row.problem("id", what, "Give one of them another id")
        lines[name, pixel.id] = row.line
        if pixel.place is not None:
            if pixel.place not in places:
                hint = "Add a row for the place, or correct the id"
                raise row.problem("place", f"there is no place with the id {pixel.place!r}", hint)
            _check_copies(row, *places[pixel.place])
        numbered[name][number] = pixel
    for name, held in numbered.items():
        if held and (min(held) < 0 or max(held) != len(held) - 1):
            missing = next(number for number in range(len(held) + 1) if number not in held)
            hint = "Every number from 0 on needs a row; a pixel that nobody has looked at has the state 'unseen'"
            raise ImportProblem(f"chain {name!r} has no row for pixel {shown_number(missing)}", hint, column="number")
    return {name: tuple(held[number] for number in range(len(held))) for name, held in numbered.items()}


def _revisions(rows: list[_Reader], changes: list[_Reader]) -> tuple[Revision, ...]:
    lines: dict[int, list[str]] = {}
    for row in rows:
        if row.integer("number") in lines:
            raise row.problem("number", "this revision is there twice", "Give each its own number")
        lines[row.integer("number")] = []
    for row in changes:
        if row.integer("number") not in lines:
            raise row.problem("number", "there is no revision with this number", "Add a row for it")
        lines[row.integer("number")].append(row.text("note"))
    return tuple(
        row.made(
            Revision, number=row.integer("number"), time=row.text("time"), reason=row.text("note"),
            changes=tuple(lines[row.integer("number")]),
        )
        for row in rows
    )  # fmt: skip


def read_csv(data: str | bytes) -> PlayfieldMap:
    """The map in a table that `write_csv` made, perhaps edited since. Raises ImportProblem with line and column."""
    rows = _sorted_rows(read_table(data))
    head = _once(rows["machine"], "machine", needed=True)
    assert head is not None
    machine = head.made(
        Machine, name=head.text("name"), width_mm=head.number("width_mm"), length_mm=head.number("length_mm"),
        note=head.text("note"),
    )  # fmt: skip
    chains: dict[str, Chain] = {}
    for row in rows["chain"]:
        texts = {column: row.text(column) or None for column in ("order", "chip")}
        numbers = {column: row.number(column) for column in ("output", "count", "latch_us", "ceiling_ma")}
        chain = row.made(Chain, id=row.text("id"), name=row.text("name"), note=row.text("note"), **texts, **numbers)
        if chain.id in chains:
            raise row.problem("id", f"there is a chain {chain.id!r} already", "Give one of them another id")
        chains[chain.id] = chain
    places = _places(rows["place"])
    pixels = _pixels(rows["pixel"], chains, places)
    lamps = tuple(
        row.made(
            Lamp, number=row.number("number"), name=row.text("name"), area=row.text("area"),
            kind=row.word("kind"), driver=row.text("driver"), row=row.number("row"),
            column=row.number("column"), insert_colour=row.text("insert_colour"), note=row.text("note"),
        )
        for row in rows["lamp"]
    )  # fmt: skip
    mark = _once(rows["bookmark"], "bookmark", needed=False)
    if mark is not None and mark.text("chain") not in chains:
        raise mark.problem("chain", "there is no such chain", f"Chains are: {', '.join(chains) or 'none'}")
    return PlayfieldMap(
        machine=machine,
        chains=tuple(chain.model_copy(update={"pixels": pixels[name]}) for name, chain in chains.items()),
        places=tuple(place for place, _ in places.values()),
        lamps=lamps,
        revisions=_revisions(rows["revision"], rows["change"]),
        bookmark=None if mark is None else mark.made(Bookmark, chain=mark.text("chain"), number=mark.integer("number")),
    )
