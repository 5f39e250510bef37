"""Tables as text by RFC 4180, safe to open in a spreadsheet, and exact when read back.

Two things are done to a text cell, and undone on reading:

* A text that a spreadsheet would take for a formula gets an apostrophe in front (OWASP, "CSV Injection": first
  character one of = + - @, tab, carriage return, line feed, their full-width forms; NUL by OWASP ASVS 5, 1.2.10).
  So does a text that starts with an apostrophe, so that reading back can distinguish them. Numbers are no text: -0.25 stays.
* Control characters other than line feed and tab, and the line separators U+0085, U+2028 and U+2029, are written as
  backslash, u and four hexadecimal digits. A backslash that would read as the start of such a mark is written so too.

Every other text, backslashes included, stands in the cell as it is.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from probe.export.errors import ImportProblem

_RISKY = frozenset("=+-@\t\r\n\0'＝＋－＠")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]|\\\\(?=u[0-9a-f]{4})")
_MARK = re.compile(r"\\u([0-9a-f]{4})")
# Some spreadsheets split at these although they are not the comma; quotes stop them.
_TO_QUOTE = re.compile('[,;|"\t\r\n]|^ | $|^\ufeff')
_QUOTED = re.compile('"(?:[^"]|"")*"')
_DIRECTIVE = re.compile(r'"?sep=(.)"?[ \t]*(?:\r\n|\r|\n|$)', re.IGNORECASE)
"""A first line with which some spreadsheets name what stands between cells (common practice, no source)."""
_SEPARATORS = ",;\t|"
MAX_CELL = 100_000


def _risky(text: str) -> bool:
    return text[:1] in _RISKY or text.lstrip()[:1] in _RISKY if text else False


def guard(text: str) -> str:
    """A text as it stands in a cell. `unguard` takes it back, exactly."""
    if _risky(text):
        text = "'" + text
    return _CONTROL.sub(lambda match: f"\\u{ord(match.group()):04x}", text)


def unguard(cell: str) -> str:
    """The text that a cell stands for. Cells typed by hand mean what they say, unless `guard` could have made them."""
    text = _MARK.sub(lambda match: chr(int(match.group(1), 16)), cell)
    if text.startswith("'") and _risky(text[1:]):
        return text[1:]
    return text


def _cell(text: str) -> str:
    if _TO_QUOTE.search(text):
        return '"' + text.replace('"', '""') + '"'
    return text


def table_text(rows: Iterable[Sequence[str]]) -> str:
    """Rows of finished cells as RFC 4180 text, each record ended by CR LF."""
    return "".join(",".join(map(_cell, row)) + "\r\n" for row in rows)


@dataclass(frozen=True)
class CellRow:
    """One record read: the line it starts on, and its cells by heading (absent ones are empty)."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table read: its headings as they stand, its rows, and what stands between cells and before decimals."""

    header: CellRow
    rows: tuple[CellRow, ...]
    separator: str

    def refuse_headings_twice(self) -> None:
        """Raise ImportProblem if two columns have one heading, apart from case and spaces; empty ones may be many."""
        seen: set[str] = set()
        for heading in self.header.cells:
            name = " ".join(heading.split()).lower()
            if name in seen:
                hint = "Remove one of the columns, or give it another heading"
                raise ImportProblem(
                    "this heading is there twice", hint, line=self.header.line, column=heading.strip()[:40]
                )
            seen |= {name} - {""}

    def number(self, cell: str) -> str:
        """A cell that holds a number, with a point for the decimals (spreadsheets that write ; write a comma)."""
        return cell.strip().replace(",", ".") if self.separator != "," else cell.strip()


def decode(data: str | bytes) -> str:
    """The text of a table. Takes UTF-8 with or without its mark, and UTF-16 with one. Raises ImportProblem.

    Other encodings, such as Windows-1252, are refused: they cannot be told apart, and a guess would spoil letters.
    """
    if isinstance(data, str):
        return data.removeprefix("\ufeff")
    code, name = ("utf-16", "UTF-16") if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "UTF-8")
    try:
        text = data.decode(code)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        hint = "Save it in the spreadsheet as CSV in UTF-8 (choose the character set there when it asks)"
        raise ImportProblem(f"this is not {name} text", hint, line=line) from error
    if code == "utf-8-sig" and data[:2].count(0) == 1:
        hint = "Save it in the spreadsheet as CSV in UTF-8 (choose the character set there when it asks)"
        raise ImportProblem("this is UTF-16 text without its mark, or no text", hint, line=1)
    return text


def read_table(data: str | bytes) -> Table:
    """Read a table with a heading line; cells separated by comma, semicolon or tab, whichever the heading line uses.

    A first line such as `sep=;` names the separator and is no part of the table. Empty lines are passed over, missing cells at the end of a line are empty. Raises ImportProblem.
    """
    text = decode(data)
    head = next((line for line in _QUOTED.sub("", text[:MAX_CELL]).splitlines() if line.strip()), "")
    separator = max(",;\t", key=head.count)
    directive = _DIRECTIVE.match(text)
    if directive is not None:
        separator = directive[1]
        if separator not in _SEPARATORS:
            hint = "Save it with commas, semicolons or tabs between the cells, and remove this line"
            raise ImportProblem(f"{separator!r} cannot stand between cells", hint, line=1)
    rows = [row for row in _records(text, separator) if directive is None or row.line > 1]
    if not rows:
        todo = "It needs a line with headings, then one line for each record"
        raise ImportProblem("the table is empty", todo, line=1)
    header, *others = rows
    for row in others:
        if any(row.cells[len(header.cells) :]):
            what = f"there are {len(row.cells)} cells under {len(header.cells)} headings"
            raise ImportProblem(what, f'Put texts that contain "{separator}" in double quotes', line=row.line)
    width = len(header.cells)
    padded = tuple(CellRow(row.line, (*row.cells, *[""] * width)[:width]) for row in others)
    return Table(header, padded, separator)


def _records(text: str, separator: str) -> Iterator[CellRow]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    start = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            hint = "Check the double quotes: a text with a quote in it is put in quotes, and that quote doubled"
            raise ImportProblem(f"this cannot be read: {error}", hint, line=start) from error
        if any(cells):
            yield CellRow(start, tuple(cells))
        start = reader.line_num + 1
