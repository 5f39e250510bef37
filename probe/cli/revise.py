"""Commands on the map's history: renumber after a change, undo, list revisions, compare two of them or two files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from probe.cli.editing import edited
from probe.cli.outcome import Exit, complain, say, say_json

if TYPE_CHECKING:
    from probe.document.model import PlayfieldMap
    from probe.document.model.change import Change


def renumber_map(path: str, *, changes: Sequence[str], reason: str | None, dry_run: bool, as_json: bool) -> int:
    """Apply stated changes as one revision; with `dry_run` only show what would be done."""
    from probe.document.document import now_text
    from probe.document.edit_text import parse_edits
    from probe.document.edits import EditError, renumber
    from probe.document.model import MAX_TEXT

    words = reason if reason is not None else "; ".join(changes)
    try:
        with edited(path, dry_run=dry_run) as document:
            document.close()
            before = document.map
            edits = parse_edits(before, changes)
            document.commit(renumber(before, edits, time=now_text(), reason=words[:MAX_TEXT]))
            after = document.map
    except EditError as error:
        complain(f"{error} (nothing was changed)")
        return Exit.USAGE
    _show_diff(before, after, as_json=as_json)
    if not as_json:
        number = after.revisions[-1].number if after.revisions else 0
        same = after.revisions == before.revisions
        done = "nothing was changed" if same else f"this is revision {number} now"
        say("Dry run: nothing was written." if dry_run else f"Saved: {done}.")
    return Exit.FINE


def undo_revision(path: str, *, redo: bool, dry_run: bool, as_json: bool) -> int:
    """Take the last revision back (or do the last undone one again), as a revision of its own."""
    from probe.document.diff import ConflictError
    from probe.document.document import now_text
    from probe.document.revisions import NoRevisionError, undo

    try:
        with edited(path, dry_run=dry_run) as document:
            document.close()
            before = document.map
            document.commit(undo(before, time=now_text(), redo=redo))
            after = document.map
    except (NoRevisionError, ConflictError) as error:
        complain(f"{path}: {error} (nothing was changed)")
        return Exit.FINDINGS
    _show_diff(before, after, as_json=as_json)
    if not as_json:
        say("Dry run: nothing was written." if dry_run else f"{after.revisions[-1].reason}.")
    return Exit.FINE


def list_revisions(path: str, *, as_json: bool) -> int:
    """Print every revision, and what is verified since the last change of each chain."""
    from probe.document.file import load_map
    from probe.document.local_time import local_minute
    from probe.document.model.open_recheck import begun_words, counted
    from probe.document.plural import many
    from probe.document.revisions import changed_in, verified_count

    map_ = load_map(path)
    chains = [
        {
            "chain": c.id,
            "pixels": len(c.pixels),
            "changed_in": changed_in(map_, c.id),
            "verified_since": verified_count(map_, c),
        }
        for c in map_.chains
    ]
    if as_json:
        rows: list[dict[str, Any]] = [
            {
                "number": r.number,
                "time": r.time,
                "reason": r.reason,
                "changes": list(r.changes),
                "rewired": list(r.rewired),
                "undoes": r.undoes,
                "can_be_undone": bool(r.diff),
            }
            for r in map_.revisions
        ]
        say_json({"revisions": rows, "open": len(map_.pending), "chains": chains})
        return Exit.FINE
    for revision in map_.revisions:
        say(f"{revision.number}  {local_minute(revision.time)}  {revision.reason}")
        for line in revision.changes:
            say(f"     {line}")
    if not map_.revisions:
        say("No revision yet.")
    if map_.pending:
        say(f"A session is open: {many(len(map_.pending), 'record')} changed since the last revision.")
    for kept in map_.rechecks:
        chain_name = map_.chain_by_id[kept.chain].name if kept.chain in map_.chain_by_id else kept.chain
        say(f"A recheck of {chain_name} is not finished, {begun_words(kept)}: {counted(kept)}.")
    for chain in map_.chains:
        count, changed = verified_count(map_, chain), changed_in(map_, chain.id)
        since = f"since it was rewired in revision {changed}" if changed else "so far"
        say(f"{chain.name}: {count} of {len(chain.pixels)} pixels verified {since}.")
    return Exit.FINE


def diff_maps(first: str, *, other: str | None, older: int | None, newer: int | None, as_json: bool) -> int:
    """Compare two files, or two revisions of one file. Exit code 1 if they differ."""
    from probe.document.file import load_map
    from probe.document.revisions import NoRevisionError, at_revision

    map_ = load_map(first)
    try:
        if other is not None:
            if older is not None or newer is not None:
                complain("--from and --to are for revisions of one file: name one file, or leave them out")
                return Exit.USAGE
            before, after = map_, load_map(other)
        else:
            if older is None and newer is None:
                complain("name a second file, or revisions of this one with --from and --to")
                return Exit.USAGE
            before = at_revision(map_, older) if older is not None else at_revision(map_, _before(map_, newer))
            after = at_revision(map_, newer) if newer is not None else map_
    except NoRevisionError as error:
        complain(f"{first}: {error}")
        return Exit.FILE
    return Exit.FINDINGS if _show_diff(before, after, as_json=as_json) else Exit.FINE


def _before(map_: PlayfieldMap, number: int | None) -> int:
    """The revision before a revision; 0 before the first."""
    numbers = [r.number for r in map_.revisions]
    return numbers[numbers.index(number) - 1] if number in numbers and numbers.index(number) else 0


def _show_diff(before: PlayfieldMap, after: PlayfieldMap, *, as_json: bool) -> bool:
    """Print what differs; returns whether anything does."""
    from probe.document.change_words import change_lines
    from probe.document.diff import diff

    changes = diff(before, after)
    lines = change_lines(before, after, changes, most=100_000)
    if as_json:
        found = {"lines": list(lines), "changes": [_plain(change) for change in changes]}
        say_json(found)
    else:
        say(*lines)
        if not changes:
            say("No difference.")
    return bool(changes)


def _plain(change: Change) -> dict[str, Any]:
    return change.model_dump(mode="json", exclude_defaults=True)
