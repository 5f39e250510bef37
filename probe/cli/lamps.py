"""The command that reads a lamp list into a map."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from probe.cli.listing import printable
from probe.cli.outcome import Exit, complain
from probe.cli.revise import now_text


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
    from probe.document.file import MapFile, load_map
    from probe.document.joining import join_all, propose
    from probe.document.lamp_merge import apply_merge, merge_lamps, row_title
    from probe.document.revisions import closed_apart
    from probe.export import ImportProblem, read_lamp_list

    try:
        named = named_columns(columns)
    except ValueError as exc:
        complain(str(exc))
        return Exit.USAGE
    before = load_map(path)
    m = before
    if source is not None:
        try:
            lamps = read_lamp_list(Path(source).read_bytes(), columns=named)
        except ImportProblem as exc:
            complain(f"{source}: {exc}")
            return Exit.FILE
        merge = merge_lamps(m.lamps, lamps, replace=replace)
        m = apply_merge(m, merge)
        for line in merge.lines:
            print(printable(line))
        kept = f", {merge.kept} of the map kept that the file does not have" if merge.kept else ""
        print(f"{len(lamps)} rows read, {len(merge.lines)} changes{kept}.")
    elif not join:
        for lamp in m.lamps:
            print(printable(row_title(lamp)))
        print(f"{len(m.lamps)} rows.")
        return Exit.FINE
    if join:
        matches = propose(m)
        sure = [match for match in matches if match.sure]
        m = join_all(m, sure)
        for match in matches:
            label = m.place_by_id[match.place].label
            sign = "=" if match.sure else "?"
            print(printable(f"{sign} {label}: {row_title(match.lamp)} ({match.likeness:.0f} %)"))
        print(f"{len(sure)} joined, {len(matches) - len(sure)} to be confirmed on the lamps screen.")
    if dry_run:
        print("Nothing was written.")
    elif m != before:
        reason = imported_reason(source) if source is not None else ""
        with MapFile.open(Path(path)) as file:
            file.save(closed_apart(before, m, time=now_text(), reason=reason))
    return Exit.FINE
