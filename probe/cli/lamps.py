"""The command that reads a lamp list into a map."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from probe.cli.editing import edited
from probe.cli.outcome import Exit, complain, say

if TYPE_CHECKING:
    from probe.document.document import Document
    from probe.document.model import Lamp


def imported_reason(source: str) -> str:
    """The reason of a revision that a lamp list made."""
    from probe.document.model import MAX_TEXT, storable

    return f"Lamps imported from {storable(Path(source).name)}"[:MAX_TEXT]


def named_columns(given: Sequence[str]) -> dict[str, str]:
    """`["number=Lamp No", "name=Text"]` as field → heading. Raises ValueError."""
    found = {}
    for item in given:
        field, sign, heading = item.partition("=")
        if not sign or not field.strip() or not heading.strip():
            raise ValueError(f"{item!r}: write FIELD=HEADING, such as number=No")
        found[field.strip()] = heading.strip()
    return found


def merge_lamp_list(
    path: str, *, source: str | None, columns: Sequence[str], replace: bool, join: bool, dry_run: bool
) -> int:
    """Merge a lamp list into a map and say what changes; without a source, join places to lamps or show the list."""
    from probe.document.file import load_map
    from probe.document.joining import row_title
    from probe.export import ImportProblem, read_lamp_list

    try:
        named = named_columns(columns)
        listed = None if source is None else read_lamp_list(Path(source).read_bytes(), columns=named)
    except ImportProblem as exc:
        complain(f"{source}: {exc}")
        return Exit.FILE
    except ValueError as exc:
        complain(str(exc))
        return Exit.USAGE
    if listed is None and not join:
        lamps = load_map(path).lamps
        lines = [*map(row_title, lamps), f"{len(lamps)} rows."]
    else:
        lines = []
        with edited(path, dry_run=dry_run) as document:
            scope = document.scope("lamps")
            if listed is not None:
                lines += _merged(document, listed, replace=replace)
            if join:
                lines += _joined(document)
            scope.end(imported_reason(source) if source is not None else "")
        if dry_run:
            lines.append("Nothing was written.")
    say(*lines)
    return Exit.FINE


def _merged(document: Document, listed: Sequence[Lamp], *, replace: bool) -> list[str]:
    from probe.document.joining import apply_merge, merge_lamps

    merge = merge_lamps(document.map.lamps, listed, replace=replace)
    document.commit(apply_merge(document.map, merge))
    kept = f", {merge.kept} of the map kept that the file does not have" if merge.kept else ""
    return [*merge.lines, f"{len(listed)} rows read, {len(merge.lines)} changes{kept}."]


def _joined(document: Document) -> list[str]:
    from probe.document.joining import join_all, propose, row_title

    matches = propose(document.map)
    sure = [match for match in matches if match.sure]
    labels = document.map.place_by_id
    document.commit(join_all(document.map, sure))
    lines = [
        f"{'=' if match.sure else '?'} {labels[match.place].label}: {row_title(match.lamp)} ({match.likeness:.0f} %)"
        for match in matches
    ]
    return [*lines, f"{len(sure)} joined, {len(matches) - len(sure)} to be confirmed on the lamps screen."]
