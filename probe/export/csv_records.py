"""One record of a map as cells of a row, and back, whatever fields the record has.

A field's column has the field's name, except those in `RENAMED`; the fields of a record inside a record (a place's
position) are columns of the row itself. Texts are guarded, numbers plain, whole numbers in a list have spaces between,
yes and no are words; what has several parts and no rows of its own is JSON in its cell. An empty cell is the field's
default, or no value.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from enum import Enum, StrEnum
from functools import cache
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from probe.document.json_text import json_line
from probe.document.model import Chain, Record, Revision
from probe.export.cells import CellRow, Table, guard, unguard
from probe.export.errors import ImportProblem

WITH_ROWS: dict[type[Record], tuple[str, ...]] = {Revision: ("changes",)}
"""Fields that have rows of their own, besides those of a chain."""

RENAMED = {"label": "name", "reason": "note"}

Made = TypeVar("Made", bound=Record)


class CellForm(Enum):
    """How a field stands in a cell."""

    TEXT = "text"
    NUMBER = "number"
    WORD = "word"
    FLAG = "flag"
    NUMBERS = "numbers"
    INSIDE = "inside"
    ROWS = "rows"
    JSON = "json"


def _without_none(annotation: Any) -> Any:
    if get_origin(annotation) in (Union, UnionType):
        (annotation,) = [part for part in get_args(annotation) if part is not type(None)]
    return get_args(annotation)[0] if hasattr(annotation, "__metadata__") else annotation


def form_of(field: FieldInfo) -> tuple[CellForm, Any]:
    """The form of a field and its bare type. Tuples of records and of texts are ROWS, for those that give them rows."""
    bare = _without_none(field.annotation)
    if get_origin(bare) is tuple:
        item = _without_none(get_args(bare)[0])
        if item is int:
            return CellForm.NUMBERS, item
        return (
            (CellForm.ROWS, item)
            if isinstance(item, type) and issubclass(item, (Record, str))
            else (CellForm.JSON, bare)
        )
    if not isinstance(bare, type) or get_origin(bare) is not None:
        return CellForm.JSON, bare
    if issubclass(bare, Record):
        return CellForm.INSIDE, bare
    if issubclass(bare, StrEnum):
        return CellForm.WORD, bare
    if bare is bool:
        return CellForm.FLAG, bare
    if bare in (int, float):
        return CellForm.NUMBER, bare
    return (CellForm.TEXT if bare is str else CellForm.JSON), bare


def column_of(name: str) -> str:
    """The heading of a field's column."""
    return RENAMED.get(name, name)


@cache
def plan(kind: type[Record]) -> tuple[tuple[str, CellForm, Any, FieldInfo], ...]:
    """For each field that has a place in the row: name, form, bare type, field.

    A record within stands in columns of its own, or in one cell if another of the row has columns named as its are.
    """
    found = []
    within: set[str] = set()
    for name, field in kind.model_fields.items():
        form, bare = form_of(field)
        if form is CellForm.ROWS:
            if kind is Chain or name in WITH_ROWS.get(kind, ()):
                continue
            form = CellForm.JSON
        if form is CellForm.INSIDE:
            columns = set(columns_of(bare))
            form = CellForm.JSON if columns & within else form
            within |= columns
        found.append((name, form, bare, field))
    return tuple(found)


@cache
def columns_of(kind: type[Record]) -> tuple[str, ...]:
    """The headings a record of that kind uses, in the order of its fields."""
    found: list[str] = []
    for name, form, bare, _ in plan(kind):
        found += columns_of(bare) if form is CellForm.INSIDE else (column_of(name),)
    return tuple(found)


def cells_of(record: Record) -> dict[str, str]:
    """The finished cells of a record, by heading. Empty ones may be missing."""
    cells: dict[str, str] = {}
    for name, form, _, field in plan(type(record)):
        value = getattr(record, name)
        if value is None:
            continue
        if form is CellForm.INSIDE:
            cells |= cells_of(value)
        elif form is CellForm.JSON:
            dumped = record.model_dump(mode="json", include={name}, exclude_defaults=True)
            cells[column_of(name)] = guard(json_line(dumped[name])) if name in dumped else ""
        elif form is CellForm.FLAG:
            cells[column_of(name)] = "" if value is field.default else "yes" if value else "no"
        elif form is CellForm.NUMBERS:
            cells[column_of(name)] = " ".join(map(str, value))
        elif form is CellForm.NUMBER:
            cells[column_of(name)] = repr(value)
        else:
            cells[column_of(name)] = guard(str(value))
    return cells


class RowReader:
    """One row being read. Every problem names its line and the column."""

    def __init__(self, table: Table, columns: Mapping[str, int], row: CellRow) -> None:
        self.line = row.line
        self._table = table
        self._cells = {name: row.cells[index] for name, index in columns.items()}

    def problem(self, column: str | None, what: str, hint: str) -> ImportProblem:
        """A problem in this row."""
        return ImportProblem(what, hint, line=self.line, column=column)

    def raw(self, column: str) -> str:
        """The cell as it stands; empty if there is no such column."""
        return self._cells.get(column, "")

    def filled(self) -> list[str]:
        """Headings of the cells with something in them."""
        return [column for column, cell in self._cells.items() if cell.strip()]

    def integer(self, column: str) -> int:
        """A whole number that has to be there."""
        value = self.value(column, CellForm.NUMBER, int)
        if not isinstance(value, int):
            raise self.problem(column, "a whole number is missing here", "Write it in digits, counted from 0")
        return value

    def value(self, column: str, form: CellForm, bare: Any) -> Any:
        """What a cell holds, None if it is empty. For texts use `text`."""
        cell = self.raw(column)
        if form is CellForm.TEXT:
            return unguard(cell) or None
        if not cell.strip():
            return None
        shown = repr(cell.strip()[:40])
        if form is CellForm.NUMBER:
            return self._number(column)
        if form is CellForm.JSON:
            try:
                return json.loads(unguard(cell))
            except (ValueError, RecursionError):
                hint = "Take this cell over from the table as it was exported"
                raise self.problem(column, f"{shown} is not JSON", hint) from None
        if form is CellForm.NUMBERS:
            try:
                return tuple(int(part) for part in cell.replace(",", " ").replace(";", " ").split())
            except ValueError:
                hint = "Write whole numbers with spaces between them"
                raise self.problem(column, f"{shown} is no list of numbers", hint) from None
        answer = " ".join(unguard(cell).lower().split())
        if form is CellForm.FLAG:
            if answer not in ("yes", "no"):
                raise self.problem(column, f"{shown} is neither yes nor no", "Write yes or no, or leave it empty")
            return answer == "yes"
        words = {member.value.lower(): member for member in bare}
        if answer not in words:
            hint = f"Write one of: {', '.join(member.value for member in bare if member.value)}"
            raise self.problem(column, f"{shown} is not known here", hint)
        return words[answer]

    def _number(self, column: str) -> float | int:
        cell = self._table.number(self.raw(column))
        try:
            value = float(cell)
        except ValueError:
            raise self.problem(column, f"{cell[:40]!r} is not a number", "Write digits only") from None
        # Spreadsheets write 14 as 14.0. A minus before a zero is kept.
        whole = value.is_integer() and abs(value) < 1e15 and not cell.startswith("-0")
        return int(value) if whole else value

    def record(self, kind: type[Made], **given: Any) -> Made:
        """The record in this row; `given` are fields that do not stand in it."""
        fields: dict[str, Any] = {}
        for name, form, bare, field in plan(kind):
            value: Any
            if form is not CellForm.INSIDE:
                value = self.value(column_of(name), form, bare)
                if value is None and form is CellForm.TEXT and field.is_required():
                    value = ""
            elif any(self.raw(column).strip() for column in columns_of(bare)):
                value = self.record(bare)
            else:
                value = None
            if value is not None:
                fields[name] = value
        try:
            return kind.model_validate(fields | given)
        except ValidationError as error:
            fault = error.errors(include_url=False)[0]
            column = column_of(str(fault["loc"][0])) if fault["loc"] else None
            if fault["type"] in ("missing", "string_too_short"):
                raise self.problem(column, "this cell must not be empty", "Fill it in, or remove the row") from None
            message = fault["msg"].removeprefix("Value error, ")
            raise self.problem(column, message[:1].lower() + message[1:], "Correct that cell") from None
