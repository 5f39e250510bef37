"""The whole map as one table for spreadsheets, and back.

The first column, `record`, names what a row is; each kind of record uses the columns that are named as its fields are.

| record | one row for each | columns |
|---|---|---|
| machine | the machine | name, width_mm, length_mm, note |
| chain | chain | id, name, output, count, order, chip, latch_us, ceiling_ma, note … |
| pixel | pixel | chain, number, id, state, place, verified, note …; copies of the place: name, area, kind, x_mm, y_mm, lamps |
| place | place | id, name, area, kind, x_mm, y_mm, guessed, lamps (numbers, a space between), group, note … |
| lamp | lamp | number, name, area, kind, driver, row, column, insert_colour, note |
| revision | revision | number, time, note (its reason) |
| line | line of a revision | number (of the revision), note (its text) |
| bookmark | bookmark, if any | chain, number |
| joint | joint of a chain | chain, number (its order, from 0), after, before … |
| power, supply, feed, batch, change … | each | as their fields are named |

The copies on pixel rows are for the reader of the table. On import they may be empty, and have to agree with the place
otherwise. Rows may come in any order; pixels are put in the order of their numbers. Columns past `note` are there if
any row uses them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from probe.document.model import Chain, Pixel, Place, PlayfieldMap, Record, Revision, shown_number
from probe.export.cells import Table, guard, read_table, table_text, unguard
from probe.export.csv_records import CellForm, RowReader, cells_of, columns_of, form_of, plan
from probe.export.errors import ImportProblem

MAIN_COLUMNS = (
    "record", "chain", "number", "id", "state", "place", "name", "area", "kind", "x_mm", "y_mm", "lamps", "group",
    "verified", "output", "count", "order", "chip", "latch_us", "ceiling_ma", "driver", "row", "column",
    "insert_colour", "width_mm", "length_mm", "time", "note",
)  # fmt: skip
_COPIES = ("name", "area", "kind", "x_mm", "y_mm", "lamps")
LINE = "line"
"""Rows for the lines of a revision, which are texts and no records."""
_NOT_RECORDS = frozenset({"format", "version"})


def _records_in(kind: type[Record]) -> dict[str, tuple[type[Record], bool]]:
    """Fields that hold records with rows of their own: name → (kind, whether there may be many)."""
    found = {}
    for name, field in kind.model_fields.items():
        if name in _NOT_RECORDS:
            continue
        form, bare = form_of(field)
        if form is CellForm.ROWS and isinstance(bare, type) and issubclass(bare, Record):
            found[name] = (bare, True)
        elif form is CellForm.INSIDE and kind is PlayfieldMap:
            found[name] = (bare, False)
    return found


_TOP = _records_in(PlayfieldMap)
_IN_CHAIN = {name: kind for name, (kind, _) in _records_in(Chain).items()}
_KINDS: dict[str, type[Record]] = {kind.__name__.lower(): kind for kind, _ in _TOP.values()}
_KINDS |= {kind.__name__.lower(): kind for kind in _IN_CHAIN.values()}


def _used_columns(word: str) -> frozenset[str]:
    """The headings that mean something in rows of a kind."""
    if word == LINE:
        return frozenset({"record", "number", "note"})
    kind = _KINDS[word]
    used = {"record", *columns_of(kind)}
    if kind in _IN_CHAIN.values():
        used |= {"chain", "number"}
    return frozenset(used | set(_COPIES) if kind is Pixel else used)


_USED = {word: _used_columns(word) for word in (*_KINDS, LINE)}
COLUMNS = (*MAIN_COLUMNS, *sorted({column for used in _USED.values() for column in used} - set(MAIN_COLUMNS)))
"""Every heading there is; `write_csv` leaves out those past `note` that no row uses."""


def _rows(map_: PlayfieldMap) -> Iterator[dict[str, str]]:
    for name, (kind, many) in _TOP.items():
        word = kind.__name__.lower()
        held = getattr(map_, name)
        for record in held if many else [held] if held is not None else []:
            yield {"record": word, **cells_of(record)}
            if isinstance(record, Revision):
                head = {"record": LINE, "number": str(record.number)}
                yield from ({**head, "note": guard(text)} for text in record.changes)
    for name, kind in _IN_CHAIN.items():
        for chain in map_.chains:
            for number, record in enumerate(getattr(chain, name)):
                place = map_.place_of(record) if isinstance(record, Pixel) else None
                copies = cells_of(place) if place is not None else {}
                row = {"record": kind.__name__.lower(), "chain": chain.id, "number": str(number)}
                yield {**{column: copies.get(column, "") for column in _COPIES}, **row, **cells_of(record)}


def write_csv(map_: PlayfieldMap) -> str:
    """The map as CSV text (RFC 4180, lines ended by CR LF; to be saved as UTF-8). Same map, same text."""
    rows = list(_rows(map_))
    used = {column for row in rows for column, cell in row.items() if cell}
    columns = [column for column in COLUMNS if column in MAIN_COLUMNS or column in used]
    return table_text([columns, *([row.get(column, "") for column in columns] for row in rows)])


def _headings(table: Table) -> dict[str, int]:
    table.refuse_headings_twice()
    found: dict[str, int] = {}
    line = table.header.line
    for index, heading in enumerate(table.header.cells):
        name = heading.strip().lower()
        if not name:
            continue
        if name not in COLUMNS:
            hint = f"Known headings are: {', '.join(COLUMNS)}"
            raise ImportProblem(f"there is no column {heading[:40]!r}", hint, line=line, column=heading[:40])
        found[name] = index
    if "record" not in found:
        hint = "The first line has to be the headings as this program writes them"
        raise ImportProblem("there is no column 'record'", hint, line=line)
    return found


def _by_kind(table: Table) -> dict[str, list[RowReader]]:
    columns = _headings(table)
    rows: dict[str, list[RowReader]] = defaultdict(list)
    for row in table.rows:
        reader = RowReader(table, columns, row)
        word = reader.raw("record").strip().lower()
        if word not in _USED:
            raise reader.problem("record", f"{word[:40]!r} is no record", f"Write one of: {', '.join(_USED)}")
        for column in reader.filled():
            if column not in _USED[word]:
                raise reader.problem(column, f"a {word} has no such cell", "Empty it, or move it to the right column")
        rows[word].append(reader)
    return rows


def _unlike(ids: dict[str, int], row: RowReader, record: Record) -> None:
    """Refuse an id that an earlier row of the same kind has."""
    name = getattr(record, "id", None)
    if name is None:
        return
    if name in ids:
        what = f"the id {name!r} is on line {ids[name]} already"
        raise row.problem("id", what, "Give one of them another id, or remove one row")
    ids[name] = row.line


def _changes(rows: dict[str, list[RowReader]]) -> dict[int, list[str]]:
    """The lines of each revision, by its number."""
    lines: dict[int, list[str]] = {}
    for row in rows["revision"]:
        number = row.integer("number")
        if number in lines:
            raise row.problem("number", "this revision is there twice", "Give each its own number")
        lines[number] = []
    for row in rows[LINE]:
        number = row.integer("number")
        if number not in lines:
            raise row.problem("number", "there is no revision with this number", "Add a row for it")
        lines[number].append(unguard(row.raw("note")))
    return lines


def _check_copies(row: RowReader, source: RowReader, place: Place) -> None:
    forms = {"name": (CellForm.TEXT, str), "area": (CellForm.TEXT, str)}
    forms |= {name: (form, bare) for name, form, bare, _ in plan(Place) if name in ("kind", "lamps")}
    for column in _COPIES:
        form, bare = forms.get(column, (CellForm.NUMBER, float))
        copy = row.value(column, form, bare)
        if copy is not None and copy != source.value(column, form, bare):
            what = f"this differs from the place {place.id!r} on line {source.line}"
            hint = f"Change it on line {source.line}, and make it the same here or empty it"
            raise row.problem(column, what, hint)


def _in_order(chain: str, word: str, held: Mapping[int, Record]) -> tuple[Record, ...]:
    missing = next((number for number in range(len(held)) if number not in held), None)
    if missing is not None:
        hint = "Every number from 0 on needs a row; a pixel that nobody has looked at has the state 'unseen'"
        what = f"chain {chain!r} has no row for {word} {shown_number(missing)}"
        raise ImportProblem(what, hint, column="number")
    return tuple(held[number] for number in range(len(held)))


def _of_chains(
    word: str, rows: Iterable[RowReader], chains: Iterable[str], places: Mapping[str, tuple[Place, RowReader]]
) -> dict[str, tuple[Record, ...]]:
    """The numbered records of one kind, by chain."""
    numbered: dict[str, dict[int, Record]] = {name: {} for name in chains}
    ids: dict[str, dict[str, int]] = {name: {} for name in numbered}
    for row in rows:
        name, number = unguard(row.raw("chain")), row.integer("number")
        if name not in numbered:
            hint = f"Chains are: {', '.join(numbered) or 'none'}"
            raise row.problem("chain", f"there is no chain {name[:60]!r}", hint)
        if number in numbered[name]:
            raise row.problem("number", f"{word} {number} of this chain is there twice", "Give each its own number")
        record = numbered[name][number] = row.record(_KINDS[word])
        _unlike(ids[name], row, record)
        if isinstance(record, Pixel) and record.place is not None:
            if record.place not in places:
                hint = "Add a row for the place, or correct the id"
                raise row.problem("place", f"there is no place with the id {record.place!r}", hint)
            place, source = places[record.place]
            _check_copies(row, source, place)
    return {name: _in_order(name, word, held) for name, held in numbered.items()}


def read_csv(data: str | bytes) -> PlayfieldMap:
    """The map in a table that `write_csv` made, perhaps edited since. Raises ImportProblem with line and column."""
    rows = _by_kind(read_table(data))
    changes = _changes(rows)
    fields: dict[str, Any] = {}
    sources: dict[str, list[RowReader]] = {}
    for name, (kind, many) in _TOP.items():
        word = kind.__name__.lower()
        found: list[Record] = []
        ids: dict[str, int] = {}
        for row in rows[word]:
            given = {"changes": tuple(changes[row.integer("number")])} if kind is Revision else {}
            found.append(row.record(kind, **given))
            _unlike(ids, row, found[-1])
        if not many and len(found) > 1:
            raise rows[word][1].problem("record", f"there is a second row for the {word}", "Remove one of the two")
        if name == "machine" and not found:
            raise ImportProblem("there is no row for the machine", "Add one with 'machine' in the column 'record'")
        fields[name] = tuple(found) if many else found[0] if found else None
        sources[name] = rows[word]
    chains = {chain.id: chain for chain in fields["chains"]}
    mark = fields["bookmark"]
    if mark is not None and mark.chain not in chains:
        hint = f"Chains are: {', '.join(chains) or 'none'}"
        raise sources["bookmark"][0].problem("chain", "there is no such chain", hint)
    places = {place.id: (place, row) for place, row in zip(fields["places"], sources["places"], strict=True)}
    for name, kind in _IN_CHAIN.items():
        word = kind.__name__.lower()
        for chain_id, records in _of_chains(word, rows[word], chains, places).items():
            chains[chain_id] = chains[chain_id].model_copy(update={name: records})
    fields["chains"] = tuple(chains.values())
    try:
        return PlayfieldMap(**fields)
    except ValidationError as error:
        message = error.errors(include_url=False)[0]["msg"].removeprefix("Value error, ")
        raise ImportProblem(message, "Correct the rows that this is about") from None
