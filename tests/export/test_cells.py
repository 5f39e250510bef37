"""Cells and tables: by RFC 4180, harmless in a spreadsheet, exact when read back."""

from __future__ import annotations

import csv
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.export.cells import guard, read_table, table_text, unguard
from probe.export.errors import ImportProblem
from tests.document.strategies import HOSTILE, texts

# RFC 4180, section 2, grammar, with TEXTDATA widened to all of Unicode beyond ASCII (RFC 7111 makes UTF-8 the default)
# and with the tab, which spreadsheets write as well. A lone LF is allowed inside of quotes, as there.
_TEXTDATA = r"[\t\x20-\x21\x23-\x2b\x2d-\x7e\x80-\U0010ffff]"
_ESCAPED = f'"(?:{_TEXTDATA}|,|\r|\n|"")*"'
_FIELD = f"(?:{_ESCAPED}|{_TEXTDATA}*)"
_RECORD = f"{_FIELD}(?:,{_FIELD})*"
RFC_FILE = re.compile(f"{_RECORD}(?:\r\n{_RECORD})*(?:\r\n)?")

rows = st.integers(1, 4).flatmap(
    lambda width: st.lists(
        st.lists(texts.map(guard), min_size=width, max_size=width).filter(any), min_size=1, max_size=5
    )
)


@given(texts)
def test_a_guarded_text_comes_back(text: str) -> None:
    assert unguard(guard(text)) == text


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_comes_back(text: str) -> None:
    assert unguard(guard(text)) == text


@given(texts)
def test_no_cell_starts_a_formula_or_acts_on_a_terminal(text: str) -> None:
    cell = guard(text)
    assert cell[:1] not in set("=+-@\t\r\n\0＝＋－＠")
    assert cell.lstrip()[:1] not in set("=+-@＝＋－＠")
    assert not re.search("[\0-\x08\x0b-\x1f\x7f-\x9f]", cell)


# OWASP, "CSV Injection", and OWASP ASVS 5, 1.2.10: the apostrophe in front.
@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-cmd", "'-cmd"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\\u000d=1"),
        ("\n=1", "'\n=1"),
        ("\0=1", "'\\u0000=1"),
        (" =1", "' =1"),
        ("'=1", "''=1"),
        ("'", "''"),
        ("it's", "it's"),
        ("Reef lane 2", "Reef lane 2"),
        ("back\\slash", "back\\slash"),
        ("\\u001b", "\\u005cu001b"),
        ("\x1b[31m", "\\u001b[31m"),
        ("🐙", "🐙"),
    ],
)
def test_guarded_cells(text: str, cell: str) -> None:
    assert guard(text) == cell


@pytest.mark.parametrize("cell", ["'quoted'", "'t is", "\\u12", "\\n", "5' x 3'"])
def test_cells_typed_by_hand_mean_what_they_say(cell: str) -> None:
    assert unguard(cell) == cell


@given(rows)
def test_tables_follow_the_grammar_and_two_readers_agree(cells: list[list[str]]) -> None:
    text = table_text(cells)
    assert RFC_FILE.fullmatch(text)
    assert list(csv.reader(io.StringIO(text, newline=""), strict=True)) == cells
    if len(cells[0]) > 1:
        table = read_table("x" + "," * (len(cells[0]) - 1) + "\r\n" + text)
        assert [list(row.cells) for row in table.rows] == cells


@pytest.mark.slow
@given(rows)
def test_a_third_reader_agrees(cells: list[list[str]]) -> None:
    import pandas as pd  # which takes long to load

    text = table_text(cells)
    frame = pd.read_csv(
        io.StringIO(text, newline=""), header=None, dtype=str, keep_default_na=False, na_filter=False,
        skip_blank_lines=False, names=list(range(len(cells[0]))), index_col=False,
    )  # fmt: skip
    assert frame.to_numpy().tolist() == cells


# The two examples of RFC 4180, section 2, items 7 and 6.
@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    ],
)
def test_examples_of_the_standard(text: str, cells: list[list[str]]) -> None:
    table = read_table("x,y,z\r\n" + text)
    assert [list(row.cells) for row in table.rows] == cells
    assert table_text(cells).replace('"', "") == (text + "\r\n").replace('"b""bb"', 'b"bb').replace('"', "")


def test_lines_are_counted_as_an_editor_does() -> None:
    table = read_table('a,b\r\n1,"x\r\ny\r\nz"\r\n\r\n2,w\r\n')
    assert [(row.line, row.cells[0]) for row in table.rows] == [(2, "1"), (6, "2")]


@pytest.mark.parametrize(
    ("data", "separator"),
    [
        ("a,b\r\n1,2\r\n", ","),
        ("a;b\n1;2\n", ";"),
        ("a\tb\n1\t2", "\t"),
        (b"\xef\xbb\xbfa,b\n1,2", ","),
        ("a;b\n1;2".encode("utf-16"), ";"),
        ("\ufeffa,b\n1,2", ","),
        ("\n\na,b\n\n1,2\n,\n\n", ","),
        ("sep=;\r\na;b\r\n1;2\r\n", ";"),
        ("SEP=,\na,b\n1,2", ","),
        ('"sep=;"\na;b\n1;2', ";"),
        ("sep=\t\ra\tb\r1\t2", "\t"),
        ("sep=|\na|b\n1|2", "|"),
        ("sep=;\n\na;b\n1;2".encode("utf-16"), ";"),
        (b"\xef\xbb\xbfsep=;\r\na;b\r\n1;2", ";"),
        ("a,b\n1,2".encode("utf-16-be").join((b"\xfe\xff", b"")), ","),
    ],
)
def test_what_spreadsheets_write_is_read(data: str | bytes, separator: str) -> None:
    table = read_table(data)
    assert table.separator == separator
    assert table.header.cells == ("a", "b")
    assert [row.cells for row in table.rows] == [("1", "2")]


def test_short_rows_are_filled() -> None:
    assert read_table("a,b,c\n1\n1,2,3,,\n").rows[0].cells == ("1", "", "")


@pytest.mark.parametrize(
    ("data", "line", "said"),
    [
        ("", 1, "empty"),
        ("\n\n", 1, "empty"),
        (";;\n", 1, "empty"),
        (b"a,b\n\xff,1", 2, "not UTF-8"),
        ("a,b\nGrün,1".encode("cp1252"), 2, "not UTF-8 text. Save it in the spreadsheet as CSV in UTF-8"),
        (b"\xff\xfea\0,", 1, "not UTF-16"),
        ("a,b\n1,2".encode("utf-16-le"), 1, "UTF-16 text without its mark"),
        ("a,b\n1,2".encode("utf-16-be"), 1, "UTF-16 text without its mark"),
        ("sep=x\naxb", 1, "'x' cannot stand between cells"),
        ("sep=;", 1, "empty"),
        ('a,b\n1,2\n1,"2', 3, "cannot be read"),
        ('a,b\n1,"2"x', 2, "cannot be read"),
        ("a,b\n1,2,3", 2, "3 cells under 2 headings"),
    ],
)
def test_what_is_no_table_is_refused_with_its_line(data: str | bytes, line: int, said: str) -> None:
    with pytest.raises(ImportProblem, match=said) as caught:
        read_table(data)
    assert caught.value.line == line
    assert str(caught.value).startswith(f"line {line}: ")
    assert caught.value.hint


@given(st.one_of(st.binary(max_size=60), st.text('a,;"\r\n\t\0\\', max_size=30)))
def test_any_input_is_read_or_refused(data: str | bytes) -> None:
    try:
        table = read_table(data)
    except ImportProblem as problem:
        refusal = problem
    else:
        assert all(len(row.cells) == len(table.header.cells) for row in table.rows)
        return
    assert refusal.hint
