"""A game's lamp list as a table: the headings people use, read into lamps, and written.

Known headings, any case. The name is needed, and one of: a number; row and column of a strobed game (the number is then
counted down the rows of each column, eight to a column); a group, for general illumination and all that is always on.
A row of general illumination without number and group gets the group "general illumination".

| field | headings |
|---|---|
| number | number, no, no., nr, #, lamp, lamp number, lamp no |
| name | name, label, description, lamp name, text, place |
| area | area, region, part, location, where |
| kind | kind, type, class |
| driver | driver, driver transistor, transistor, output, scr |
| row | row, lamp row, row strobe |
| column | column, col, lamp column, strobe, column strobe |
| insert_colour | insert_colour, insert colour, insert color, colour, color, insert |
| group | group, string, circuit |
| note | note, notes, comment, comments, remark, remarks |
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from probe.document.model import Kind, Lamp
from probe.export.cells import CellRow, Table, guard, read_table, table_text, unguard
from probe.export.errors import ImportProblem

FIELDS = ("number", "name", "area", "kind", "driver", "row", "column", "insert_colour", "group", "note")
ROWS_IN_COLUMN = 8
GENERAL_GROUP = "general illumination"
_HEADINGS: dict[str, tuple[str, ...]] = {
    "number": ("number", "no", "no.", "nr", "#", "lamp", "lamp number", "lamp no"),
    "name": ("name", "label", "description", "lamp name", "text", "place"),
    "area": ("area", "region", "part", "location", "where"),
    "kind": ("kind", "type", "class"),
    "driver": ("driver", "driver transistor", "transistor", "output", "scr"),
    "row": ("row", "lamp row", "row strobe"),
    "column": ("column", "col", "lamp column", "strobe", "column strobe"),
    "insert_colour": ("insert_colour", "insert colour", "insert color", "colour", "color", "insert"),
    "group": ("group", "string", "circuit"),
    "note": ("note", "notes", "comment", "comments", "remark", "remarks"),
}
_KINDS: dict[str, Kind] = {
    **{kind.value: kind for kind in Kind},
    "inserts": Kind.INSERT,
    "bumpers": Kind.BUMPER,
    "pop bumper": Kind.BUMPER,
    "bumper cap": Kind.BUMPER,
    "general illumination": Kind.GENERAL,
    "gi": Kind.GENERAL,
    "flash": Kind.FLASHER,
    "flashers": Kind.FLASHER,
    "flash lamp": Kind.FLASHER,
    "back box": Kind.BACKBOX,
    "buttons": Kind.BUTTON,
    "signs": Kind.SIGN,
}


def _letter(index: int) -> str:
    """The letters a spreadsheet shows above a column: 0 → A, 26 → AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _assign(table: Table, columns: Mapping[str, str] | None) -> dict[str, int]:
    """The index of each field's column."""
    table.refuse_headings_twice()
    line = table.header.line
    headings = [" ".join(heading.lower().split()) for heading in table.header.cells]
    shown = ", ".join(repr(heading) for heading in table.header.cells)
    found: dict[str, int] = {}
    for field, heading in (columns or {}).items():
        if field not in FIELDS:
            raise ImportProblem(f"a lamp has no {field!r}", f"It has: {', '.join(FIELDS)}")
        wanted = " ".join(heading.lower().split())
        if wanted not in headings:
            raise ImportProblem(f"there is no column {heading!r} for {field}", f"The headings are: {shown}", line=line)
        found[field] = headings.index(wanted)
    for field in FIELDS:
        if field in found:
            continue
        matching = [i for name in _HEADINGS[field] for i, h in enumerate(headings) if h == name]
        free = [index for index in matching if index not in found.values()]
        if free:
            found[field] = free[0]
    needed = ["name"]
    if "group" not in found and not {"row", "column"} <= found.keys():
        needed.append("number")
    for field in needed:
        if field not in found:
            known = ", ".join(_HEADINGS[field])
            hint = f"The headings are: {shown}. Call one of them {field}, or say which one it is (known: {known})"
            raise ImportProblem(f"no column for the lamp's {field} was found", hint, line=line)
    return found


def _number(fields: dict[str, Any], found: Mapping[str, int], row: CellRow) -> None:
    """Fill in the number from the strobes, or the group of a row that no lamp output switches."""
    if fields.get("number") is not None:
        return
    strobes = fields.get("row"), fields.get("column")
    if "number" not in found and strobes[0] is not None and strobes[1] is not None:
        if not 1 <= strobes[0] <= ROWS_IN_COLUMN:
            column = f"{_letter(found['row'])} (row)"
            hint = f"Rows are counted from 1 to {ROWS_IN_COLUMN}; give the lamps numbers if yours has more"
            raise ImportProblem("no number can be counted from this row", hint, line=row.line, column=column)
        fields["number"] = (strobes[1] - 1) * ROWS_IN_COLUMN + strobes[0]
    elif not (fields.get("group") or "").strip():
        if fields.get("kind") is not Kind.GENERAL:
            at = found.get("number", found.get("group", found["name"]))
            field = next(name for name, index in found.items() if index == at)
            hint = "Fill its number in, or name the group it belongs to if no lamp output of the game switches it"
            what = "the lamp has neither a number nor a group"
            raise ImportProblem(what, hint, line=row.line, column=f"{_letter(at)} ({field})")
        fields["group"] = GENERAL_GROUP


def _integer(table: Table, row: CellRow, field: str, index: int) -> int | None:
    cell = table.number(unguard(row.cells[index]))
    if not cell:
        return None
    try:
        value = float(cell)
        whole = int(value)
    except (ValueError, OverflowError):
        whole, value = 0, 0.5
    if whole != value:
        column = f"{_letter(index)} ({field})"
        raise ImportProblem(f"{cell[:40]!r} is not a whole number", "Write digits only", line=row.line, column=column)
    return whole


def _lamp(table: Table, found: Mapping[str, int], row: CellRow) -> Lamp:
    fields: dict[str, Any] = {}
    for field, index in found.items():
        if field in ("number", "row", "column"):
            fields[field] = _integer(table, row, field, index)
        else:
            fields[field] = unguard(row.cells[index])
    if "kind" in fields:
        kind = " ".join(fields["kind"].lower().split())
        fields["kind"] = _KINDS.get(kind) if kind else None
        if kind and fields["kind"] is None:
            column = f"{_letter(found['kind'])} (kind)"
            hint = f"Write one of: {', '.join(Kind)}; or leave it empty"
            raise ImportProblem(f"{kind[:40]!r} is no kind of light", hint, line=row.line, column=column)
    _number(fields, found, row)
    try:
        return Lamp.model_validate({name: value for name, value in fields.items() if value is not None})
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        field = str(fault["loc"][0])
        named = field if field in found else "column" if "column" in found else "name"  # the number was counted
        column = f"{_letter(found[named])} ({named})"
        missing = fault["type"] in ("missing", "string_too_short")
        what = f"the lamp has no {field}" if missing else fault["msg"][:1].lower() + fault["msg"][1:]
        hint = "Fill that cell in, or remove the line" if missing else "Correct that cell"
        raise ImportProblem(what, hint, line=row.line, column=column) from None


def read_lamp_list(data: str | bytes, *, columns: Mapping[str, str] | None = None) -> tuple[Lamp, ...]:
    """Lamps in the order of the table. `columns` names the heading that holds a field, where the usual ones do not do.

    A number may be there twice (one output may feed two lamps); `check_map` points to it. Other columns are passed
    over. Raises ImportProblem with line and column.
    """
    table = read_table(data)
    found = _assign(table, columns)
    return tuple(_lamp(table, found, row) for row in table.rows)


def write_lamp_list(lamps: tuple[Lamp, ...]) -> str:
    """The lamps as CSV text (RFC 4180, safe for spreadsheets) that `read_lamp_list` reads back exactly."""
    rows = [list(FIELDS)]
    for lamp in lamps:
        values = [getattr(lamp, field) for field in FIELDS]
        rows.append([guard(str(v)) if isinstance(v, str) else "" if v is None else str(v) for v in values])
    return table_text(rows)
