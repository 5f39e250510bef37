"""How a command changes a map file: locked before it is read, and saved before it is let go."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from probe.document.document import Document


@contextmanager
def edited(path: str, *, dry_run: bool = False) -> Iterator[Document]:
    """The document of a map file; what is committed within is saved at the end. With `dry_run` nothing is locked or written.

    Raises StorageError. Nothing is saved if anything is raised within.
    """
    from probe.document.document import Document
    from probe.document.file import ChangedElsewhereError, load_map

    if dry_run:
        yield Document.in_memory(load_map(path))
        return
    document = Document.open(path)
    try:
        yield document
        document.save_now()
    except ChangedElsewhereError as error:
        raise ChangedElsewhereError(error.path, error.what, "Run the command again: nothing was saved") from error
    finally:
        document.release()
