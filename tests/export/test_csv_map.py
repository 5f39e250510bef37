"""The map as a table: gives the same map back, and says where an edited one is wrong."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap, Record, Shape
from probe.export import ImportProblem, read_csv, write_csv
from probe.export.csv_map import COLUMNS, MAIN_COLUMNS
from tests.document.strategies import maps, shapes
from tests.export.test_cells import RFC_FILE
from tests.support.examples import first_now

DEMO = load_map(demo_map_path("kelp_forest.json"))
HALF = load_map(demo_map_path("kelp_forest_half.json"))
ROWS = list(csv.DictReader(io.StringIO(write_csv(HALF), newline="")))
Row = dict[str, str]


@pytest.mark.slow
@given(maps())
def test_any_map_comes_back_equal(map_: PlayfieldMap) -> None:
    text = write_csv(map_)
    assert read_csv(text) == map_
    assert read_csv(text.encode()) == map_
    assert write_csv(read_csv(text)) == text
    assert RFC_FILE.fullmatch(text)


@pytest.mark.slow
@given(maps())
def test_every_record_has_a_row_and_every_pixel_just_one(map_: PlayfieldMap) -> None:
    rows = list(csv.reader(io.StringIO(write_csv(map_), newline="")))
    assert rows[0][: len(MAIN_COLUMNS)] == list(MAIN_COLUMNS)
    assert rows[0] == [column for column in COLUMNS if column in rows[0]]
    assert {len(row) for row in rows} == {len(rows[0])}
    pixels = [(row[1], int(row[2])) for row in rows if row[0] == "pixel"]
    assert pixels == [(chain, number) for chain, number, _ in map_.walk_pixels()]


@pytest.mark.slow
@given(maps(), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter_to_pixels(map_: PlayfieldMap, shuffle: object) -> None:
    header, *rows = list(csv.reader(io.StringIO(write_csv(map_), newline="")))
    shuffle.shuffle(rows)  # type: ignore[attr-defined]
    text = io.StringIO(newline="")
    csv.writer(text).writerows([header, *rows])
    again = read_csv(text.getvalue())
    assert {chain.id: chain for chain in again.chains} == {chain.id: chain for chain in map_.chains}
    assert again.place_by_id == map_.place_by_id


def table(rows: list[Row], columns: tuple[str, ...] = COLUMNS, delimiter: str = ",") -> str:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, delimiter=delimiter, extrasaction="ignore")
    writer.writeheader()
    writer.writerows({name: cell or "" for name, cell in row.items()} for row in rows)
    return text.getvalue()


def edited(change: Callable[[list[Row]], object]) -> str:
    rows = [dict(row) for row in ROWS]
    change(rows)
    return table(rows)


def at(record: str, index: int = 0) -> int:
    """Index of the row of a kind."""
    return [i for i, row in enumerate(ROWS) if row["record"] == record][index]


def line(record: str, index: int = 0) -> int:
    """Its line in the file; no cell of the demonstration has a line break."""
    return at(record, index) + 2


def setting(record: str, index: int, /, **cells: str) -> Callable[[list[Row]], object]:
    return lambda rows: rows[at(record, index)].update(cells)


def test_the_unedited_table_is_the_map() -> None:
    assert read_csv(edited(lambda rows: None)) == HALF


def test_copies_on_pixel_rows_may_go() -> None:
    columns = tuple(c for c in COLUMNS if c not in ("x_mm", "y_mm"))
    rows = [
        {**row, **({"name": "", "area": "", "kind": "", "lamps": ""} if row["record"] == "pixel" else {})}
        for row in ROWS
        if not row["record"].startswith("keep")  # it is nowhere without these columns
    ]
    without = read_csv(table(rows, columns))
    assert without.chains == HALF.chains
    assert [place.label for place in without.places] == [place.label for place in HALF.places]
    assert all(place.position is None for place in without.places)


def test_a_table_with_semicolons_and_decimal_commas_is_the_same_map() -> None:
    numbers = ("x_mm", "y_mm", "width_mm", "length_mm")
    rows = [{**row, **{column: row[column].replace(".", ",") for column in numbers}} for row in ROWS]
    assert read_csv(table(rows, delimiter=";")) == HALF


def test_numbers_may_have_the_form_spreadsheets_give_them() -> None:
    assert read_csv(edited(setting("pixel", 14, number="14.0", kind=" Insert", state="PLACED"))) == HALF


def test_an_edit_in_both_rows_is_taken_over() -> None:
    def rename(rows: list[Row]) -> None:
        for row in rows:
            if row["name"] == "Otter bonus 3" and row["record"] in ("place", "pixel"):
                row["name"] = "Otter bonus three"

    assert "Otter bonus three" in [place.label for place in read_csv(edited(rename)).places]


OTTER = next(i for i, row in enumerate(ROWS) if row["record"] == "place" and row["id"] == "otter-bonus-3")
OTTER_PIXEL = next(i for i, row in enumerate(ROWS) if row["record"] == "pixel" and row["place"] == "otter-bonus-3")

PROBLEMS: dict[str, tuple[Callable[[list[Row]], object], int | None, str | None, str]] = {
    "no such record": (setting("pixel", 3, record="pixle"), line("pixel", 3), "record", "Write one of: machine, .*chain"),
    "no machine": (lambda rows: rows.pop(at("machine")), None, None, "no row for the machine"),
    "two machines": (lambda rows: rows.append(dict(rows[at("machine")])), len(ROWS) + 2, "record", "second row"),
    "two bookmarks": (lambda rows: rows.append(dict(rows[at("bookmark")])), len(ROWS) + 2, "record", "second row"),
    "bookmark nowhere": (setting("bookmark", 0, chain="cellar"), line("bookmark"), "chain", "playfield, backbox"),
    "no number": (setting("pixel", 3, number="three"), line("pixel", 3), "number", "'three' is not a number"),
    "half a number": (setting("pixel", 3, number="3.5"), line("pixel", 3), "number", "whole number"),
    "number gone": (setting("pixel", 3, number=""), line("pixel", 3), "number", "missing"),
    "number twice": (setting("pixel", 3, number="4"), line("pixel", 4), "number", "twice"),
    "a row gone": (lambda rows: rows.pop(at("pixel", 3)), None, "number", r"no row for pixel 3 \(4th\)"),
    "no such chain": (setting("pixel", 3, chain="cellar"), line("pixel", 3), "chain", "Chains are: playfield, backbox"),
    "chain twice": (setting("chain", 1, id="playfield"), line("chain", 1), "id", "already"),
    "output": (setting("chain", 1, output="77"), line("chain", 1), "output", "less than or equal to 15"),
    "output gone": (setting("chain", 1, output=""), line("chain", 1), "output", "must not be empty"),
    "order": (setting("chain", 1, order="RGG"), line("chain", 1), "order", "permutation"),
    "state": (setting("pixel", 3, state="lit"), line("pixel", 3), "state", "placed, dark"),
    "pixel id twice": (setting("pixel", 3, id=ROWS[at("pixel", 2)]["id"]), line("pixel", 3), "id", f"line {line('pixel', 2)}"),
    "no such place": (setting("pixel", 3, place="nowhere"), line("pixel", 3), "place", "no place with the id"),
    "place twice": (setting("place", 3, id=ROWS[at("place", 2)]["id"]), line("place", 3), "id", f"line {line('place', 2)}"),
    "label empty": (setting("place", 3, name=""), line("place", 3), "name", "must not be empty"),
    "copy differs": (lambda rows: rows[OTTER_PIXEL].update(name="Ottr"), OTTER_PIXEL + 2, "name", f"line {OTTER + 2}"),
    "copied position differs": (lambda rows: rows[OTTER_PIXEL].update(x_mm="1"), OTTER_PIXEL + 2, "x_mm", "differs"),
    "copied lamps differ": (lambda rows: rows[OTTER_PIXEL].update(lamps="1 2"), OTTER_PIXEL + 2, "lamps", "differs"),
    "copied kind differs": (lambda rows: rows[OTTER_PIXEL].update(kind="sign"), OTTER_PIXEL + 2, "kind", "differs"),
    "kind": (setting("place", 3, kind="lantern"), line("place", 3), "kind", "insert, bumper"),
    "half a position": (setting("place", 3, y_mm=""), line("place", 3), "y_mm", "must not be empty"),
    "guessed": (setting("place", 3, guessed="maybe"), line("place", 3), "guessed", "neither yes nor no"),
    "guessed what": (setting("place", 3, x_mm="", y_mm="", guessed="yes"), line("place", 3), "x_mm", "must not be empty"),
    "far away": (setting("place", 3, x_mm="5001"), line("place", 3), "x_mm", "5000"),
    "not finite": (setting("place", 3, x_mm="nan"), line("place", 3), "x_mm", "finite"),
    "lamps": (setting("place", 3, lamps="one"), line("place", 3), "lamps", "spaces between"),
    "lamp number": (setting("lamp", 3, number="10000"), line("lamp", 3), "number", "9999"),
    "a cell too many": (setting("place", 3, verified="1"), line("place", 3), "verified", "a place has no such cell"),
    "revision gone": (lambda rows: rows.append({"record": "line", "number": "9"}), len(ROWS) + 2, "number", "no revision"),
    "verified": (setting("pixel", 3, verified="-1"), line("pixel", 3), "verified", "greater than or equal to 0"),
}  # fmt: skip


@pytest.mark.parametrize("case", first_now(PROBLEMS, now=9))
def test_an_edit_that_breaks_something_is_named(case: str) -> None:
    change, line_number, column, said = PROBLEMS[case]
    with pytest.raises(ImportProblem, match=said) as caught:
        read_csv(edited(change))
    assert (caught.value.line, caught.value.column) == (line_number, column)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda text: text.replace("record,", "rekord,", 1), "no column 'rekord'"),
        (lambda text: text.replace("record,", ",", 1), "no column 'record'"),
        (lambda text: text.replace(",area,", ",name,", 1), "twice"),
        (lambda text: text[text.index("\n") + 1 :], "no column 'machine'"),
    ],
)
def test_wrong_headings_are_named(change: Callable[[str], str], said: str) -> None:
    with pytest.raises(ImportProblem, match=said) as caught:
        read_csv(change(write_csv(HALF)))
    assert caught.value.line == 1


@pytest.mark.slow
@given(st.data())
def test_any_edit_gives_a_sound_map_or_a_problem(data: st.DataObject) -> None:
    rows = [dict(row) for row in ROWS]
    for _ in range(data.draw(st.integers(1, 3))):
        row = data.draw(st.sampled_from(rows))
        cell = st.sampled_from(
            ["", "0", "-1", "1e400", "nan", "x", "'=1", "placed", "playfield", "9" * 30, "5,5", "\0"]
        )
        row[data.draw(st.sampled_from(COLUMNS))] = data.draw(cell)
    try:
        map_ = read_csv(table(rows))
    except ImportProblem as problem:
        refusal = problem
    else:
        assert PlayfieldMap.model_validate_json(map_.model_dump_json()) == map_
        return
    assert refusal.hint


@pytest.mark.slow
@pytest.mark.long
def test_no_field_of_the_map_is_left_out_by_these_tests() -> None:
    """A field that the strategies do not vary could get lost unseen: each has to differ from its default somewhere."""
    varied: dict[type[Record], set[str]] = {}

    def note(record: Record) -> None:
        names = varied.setdefault(type(record), set())
        for name, field in type(record).model_fields.items():
            value = getattr(record, name)
            if field.is_required() or value != field.default or name in ("format", "version"):
                names.add(name)
            for item in value if isinstance(value, tuple) else (value,):
                if isinstance(item, Record):
                    note(item)

    schema = PlayfieldMap.model_json_schema()["$defs"]
    wanted = {name for name, part in schema.items() if part.get("type") == "object"}

    def complete() -> bool:
        return {kind.__name__ for kind in varied} - {"PlayfieldMap"} == wanted and all(
            names == set(kind.model_fields) for kind, names in varied.items()
        )

    for number in range(12):  # once all are there, more maps are made for nothing

        @seed(number)
        @settings(database=None, max_examples=30, suppress_health_check=list(HealthCheck))
        @given(maps(), shapes)  # the kinds of shapes are many: one more of those that the maps are made with
        def collect(map_: PlayfieldMap, shape: Shape) -> None:
            note(map_)
            note(shape)

        collect()
        if complete():
            break
    assert {kind.__name__ for kind in varied} - {"PlayfieldMap"} == wanted, (
        "extend tests/document/strategies.py: there are kinds of records that it does not make"
    )
    for kind, names in varied.items():
        assert names == set(kind.model_fields), f"extend tests/document/strategies.py for {kind.__name__}"


def test_the_same_map_gives_the_same_bytes() -> None:
    again = PlayfieldMap.model_validate_json(DEMO.model_dump_json())
    assert write_csv(DEMO) == write_csv(again)
    assert write_csv(DEMO).count("\n") == write_csv(DEMO).count("\r\n") > 84 + 24 + 90 + 60
