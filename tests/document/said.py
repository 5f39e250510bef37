"""An edit said in words, the other way round from the product's reader."""

from __future__ import annotations

import re

from probe.document.edits import Edit, Insert, MoveRun, Remove, Replace, Reverse, Swap
from probe.document.model import PlayfieldMap


def edit_text(map_: PlayfieldMap, edit: Edit) -> str:
    """An edit in words that `parse_edit` understands in the same way; numbers are said with `#`, so it is always plain."""
    chain = map_.chain(edit.chain)
    head = f"{_quoted(chain.name)}: " if len(map_.chains) > 1 else ""

    def run(first: int, last: int) -> str:
        return f"#{first}" if first == last else f"#{first} to #{last}"

    match edit:
        case Insert(after=None, count=count, batch=batch):
            return f"{head}{count} new at the start" + _with(batch)
        case Insert(after=after, count=count, batch=batch):
            return f"{head}{count} new after #{after}" + _with(batch)
        case Remove(first=first, last=last):
            return f"{head}took out {run(first, last)}"
        case Reverse(first=first, last=last):
            return f"{head}reversed #{first} to #{last}"
        case MoveRun(first=first, last=last, after=None):
            return f"{head}moved {run(first, last)} to the start"
        case MoveRun(first=first, last=last, after=after):
            return f"{head}moved {run(first, last)} after #{after}"
        case Swap(one=one, other=other):
            return f"{head}swapped #{one} and #{other}"
        case Replace(number=number, batch=batch):
            return f"{head}replaced #{number}" + _with(batch)


def _with(batch: str | None) -> str:
    return f" with {batch}" if batch else ""


def _quoted(label: str) -> str:
    return label if re.fullmatch(r"[^\W\d][\w ]*", label) and " ".join(label.split()) == label else f'"{label}"'
