"""The command that makes one map of two people's work."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from probe.cli.outcome import Exit, ask, can_ask, complain, say, say_json

if TYPE_CHECKING:
    from probe.document.merging import Conflict, Merged, Side
    from probe.document.model import PlayfieldMap

MOST_TOLD = 8
FEW_TOLD = 2
"""Up to so many lines in all, and of one kind, are printed one by one."""
_ANSWERS = {"o": "ours", "ours": "ours", "t": "theirs", "theirs": "theirs"}


class _UndecidedError(Exception):
    """Nobody is there any more to decide."""


def merge_files(
    ours: str,
    theirs: str,
    *,
    base: str | None,
    output: str | None,
    chosen: Sequence[str],
    dry_run: bool,
    as_json: bool,
) -> int:
    """Merge two map files into a third. Neither is changed; exit code 1, and nothing written, while a conflict is undecided."""
    from probe.document.document import now_text
    from probe.document.file import load_map
    from probe.document.merging import merge_maps, shared_base
    from probe.document.plural import many
    from probe.document.revisions import NoRevisionError

    if output is None and not dry_run:
        complain("say with -o which new file gets the merged map, or try it with --dry-run")
        return Exit.USAGE
    if output is not None and Path(output).exists():
        complain(f"{output} is there already: choose a new file for the merged map")
        return Exit.USAGE
    mine, other = load_map(ours), load_map(theirs)
    try:
        choices, rest = _choices(chosen)
        both = shared_base(mine, other) if base is None else load_map(base)
    except NoRevisionError as error:
        complain(f"{error}. Name the file that both began from with --base")
        return Exit.FILE
    except ValueError as error:
        complain(str(error))
        return Exit.USAGE

    def merged() -> Merged:
        return merge_maps(mine, other, base=both, time=now_text(), name=Path(theirs).name, choices=choices)

    found = merged()
    wrong = sorted(number + 1 for number in choices if number >= len(found.conflicts))
    if wrong:
        complain(
            f"--choose {wrong[0]}: there {'is' if len(found.conflicts) == 1 else 'are'} {many(len(found.conflicts), 'conflict')}"
        )
        return Exit.USAGE
    undecided = [at for at in range(len(found.conflicts)) if at not in choices]
    if rest is not None:
        choices |= dict.fromkeys(undecided, rest)
        undecided = []
    elif undecided and not as_json and not dry_run and can_ask():
        try:
            for at in undecided:
                choices[at] = _asked(at, len(found.conflicts), found.conflicts[at])
        except _UndecidedError:
            complain("nobody answers: nothing was written")
            return Exit.FINDINGS
        undecided = []
    found = merged()
    written = output if not undecided and not dry_run else None
    if written is not None:
        _write(written, found.map)
    if as_json:
        say_json(_as_json(found, mine, choices, written))
    else:
        say(*_lines(found, mine, choices, undecided, written))
    return Exit.FINDINGS if undecided else Exit.FINE


def _choices(chosen: Sequence[str]) -> tuple[dict[int, Side], Side | None]:
    """`["3=theirs", "ours"]` as choices by place from 0, and what all others get. Raises ValueError."""
    from probe.document.merging import Side

    choices: dict[int, Side] = {}
    rest: Side | None = None
    for words in chosen:
        number, sign, side = words.rpartition("=")
        if side not in ("ours", "theirs") or (sign and not (number.isascii() and number.isdigit() and int(number) > 0)):
            raise ValueError(f"--choose {words}: write NUMBER=ours or NUMBER=theirs, or one of them for all the rest")
        if sign:
            choices[int(number) - 1] = Side(side)
        else:
            rest = Side(side)
    return choices, rest


def _asked(at: int, count: int, conflict: Conflict) -> Side:
    from probe.document.merging import Side

    say(f"Conflict {at + 1} of {count}, {conflict.about}", *_versions(conflict))
    while True:
        line = ask("Which one holds? o (ours), t (theirs), then Enter:")
        if line is None:
            raise _UndecidedError
        answer = _ANSWERS.get(line.lower())
        if answer is not None:
            return Side(answer)


def _versions(conflict: Conflict) -> tuple[str, ...]:
    return f"     was: {conflict.base}", f"    ours: {conflict.ours}", f"  theirs: {conflict.theirs}"


def _lines(
    found: Merged, ours: PlayfieldMap, choices: dict[int, Side], undecided: Sequence[int], written: str | None
) -> Iterator[str]:
    from probe.document.change_words import change_lines
    from probe.document.diff import diff

    for at, conflict in enumerate(found.conflicts):
        taken = choices.get(at)
        yield f"{at + 1}  {conflict.about}: " + (f"{taken} taken" if taken is not None else "not decided")
        yield from _versions(conflict)
    yield from _told(found, written)
    if undecided:
        are = "conflict is" if len(undecided) == 1 else "conflicts are"
        yield f"{len(undecided)} {are} not decided: nothing was written. Decide each with"
        yield f"--choose {undecided[0] + 1}=ours or --choose {undecided[0] + 1}=theirs; --choose ours is for all the rest."
        return
    yield from change_lines(ours, found.map, diff(ours, found.map))
    if written is None:
        yield "Dry run: nothing was written."
    else:
        yield f"Saved as {written}; both files are as they were."


def _told(found: Merged, written: str | None) -> Iterator[str]:
    """What is told beside the map: line by line if they are few, else what there is much of as a sum with its first."""
    from probe.document.merging import ToldOf

    if len(found.told) <= MOST_TOLD:
        yield from found.told
        return
    for of in ToldOf:
        lines = [line for line, kind in zip(found.told, found.told_of, strict=True) if kind is of]
        if len(lines) <= FEW_TOLD or of is ToldOf.FEED:
            yield from lines
        else:
            yield f"{len(lines)} joints {of}; the first: {lines[0]}"
    where = f"playfield-probe revisions {quote(written)}" if written is not None else "the same with --json"
    yield f"These are {len(found.told)} lines in all; {where} prints each."


def _as_json(found: Merged, ours: PlayfieldMap, choices: dict[int, Side], written: str | None) -> dict[str, object]:
    from probe.document.change_words import change_lines
    from probe.document.diff import diff

    conflicts = [
        {
            "number": at + 1,
            "about": conflict.about,
            "was": conflict.base,
            "ours": conflict.ours,
            "theirs": conflict.theirs,
            "taken": choices[at].value if at in choices else None,
        }
        for at, conflict in enumerate(found.conflicts)
    ]
    return {
        "conflicts": conflicts,
        "told": list(found.told),
        "lines": list(change_lines(ours, found.map, diff(ours, found.map))),
        "written": written,
    }


def _write(path: str, map_: PlayfieldMap) -> None:
    from probe.document.document import Document

    document = Document.new(path)
    try:
        document.commit(map_)
        document.save_now()
    finally:
        document.release()
