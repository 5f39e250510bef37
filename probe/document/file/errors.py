"""What goes wrong with files: each error says where, what, and what to do."""

from __future__ import annotations

from pathlib import Path


class StorageError(Exception):
    """A file could not be read, opened or saved.

    `line` (from 1) and `field` are None where they mean nothing. `str()` puts all of it into one sentence or two.
    """

    def __init__(self, path: Path, what: str, hint: str, *, line: int | None = None, field: str | None = None) -> None:
        super().__init__(path, what, hint, line, field)
        self.path = path
        self.what = what
        self.hint = hint
        self.line = line
        self.field = field

    def __str__(self) -> str:
        where = str(self.path)
        if self.line is not None:
            where += f", line {self.line}"
        if self.field:
            where += f", field {self.field}"
        return f"{where}: {self.what}. {self.hint}"


class CannotReadError(StorageError):
    """The system does not hand the file over, or there is none."""


class DamagedFileError(StorageError):
    """The file is not what it should be. It was left as it is."""


class NewerFileError(StorageError):
    """The file was written by a later version of the program. It was left as it is."""


class FileInUseError(StorageError):
    """Another program has the file open."""


class CannotSaveError(StorageError):
    """Nothing was saved, or the system could not promise that it was. The file holds the old or the new content."""


class ChangedElsewhereError(CannotSaveError):
    """The file was changed by somebody else since it was read; saving would have undone that. The text begins with the cure."""

    def __str__(self) -> str:
        return f"{self.hint}: {self.path}: {self.what}"


class UnsoundMapError(CannotSaveError):
    """The map in memory breaks its own rules, so that the file could not be opened again. Nothing was written."""
