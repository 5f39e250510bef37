"""What is wrong with a file to be read in: where, what, and what to do."""

from __future__ import annotations


class ImportProblem(ValueError):  # noqa: N818 - the word the person reads
    """A table cannot be read. `line` counts from 1 as an editor does; `column` is the heading."""

    def __init__(self, what: str, hint: str, *, line: int | None = None, column: str | None = None) -> None:
        super().__init__(what, hint, line, column)
        self.what = what
        self.hint = hint
        self.line = line
        self.column = column

    def __str__(self) -> str:
        where = ", ".join(
            ([f"line {self.line}"] if self.line is not None else [])
            + ([f"column {self.column}"] if self.column else [])
        )
        return f"{where}: {self.what}. {self.hint}" if where else f"{self.what}. {self.hint}"
