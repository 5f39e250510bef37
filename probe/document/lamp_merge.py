"""Merging a lamp list into the one a map has, with a difference a person can read. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from probe.document.joining import places_of_lamp
from probe.document.model import Lamp, PlayfieldMap
from probe.document.operations import folded, update_place

_WORDS = {"insert_colour": "colour of the insert"}


@dataclass(frozen=True, slots=True)
class Merge:
    """The lamps after a merge; `lines` say what changed, one each, `kept` how many rows the other list does not have."""

    lamps: tuple[Lamp, ...]
    lines: tuple[str, ...]
    kept: int


def row_title(lamp: Lamp) -> str:
    """How a row is called in a sentence."""
    name = f"“{lamp.name}”"
    return f"lamp {lamp.number} {name}" if lamp.number is not None else f"{name} in “{lamp.group}”"


def merge_lamps(old: Iterable[Lamp], new: Iterable[Lamp], *, replace: bool = False) -> Merge:
    """The rows of `new`, in its order, then those of `old` that it does not have (with `replace`: without them).

    A row is the same as an old one by number and name, else by number, else (without number) by name and area. A cell
    that is empty in `new` keeps the old row's value.
    """
    left = list(old)
    before = len(left)
    merged: list[Lamp] = []
    lines: list[str] = []
    for lamp in new:
        same = _same_row(left, lamp)
        if same is None:
            merged.append(lamp)
            lines.append(f"+ {row_title(lamp)}")
            continue
        left.remove(same)
        filled = _filled(lamp, same)
        merged.append(filled)
        changed = [name for name in Lamp.model_fields if getattr(filled, name) != getattr(same, name)]
        if changed:
            what = "; ".join(
                f"{_WORDS.get(name, name)}: {_shown(getattr(same, name))} → {_shown(getattr(filled, name))}"
                for name in changed
            )
            lines.append(f"~ {row_title(same)}: {what}")
    if replace:
        lines += [f"- {row_title(lamp)}" for lamp in left]
        return Merge(tuple(merged), tuple(lines), 0)
    if not before:
        return Merge(tuple(merged), tuple(lines), 0)
    return Merge((*merged, *left), tuple(lines), len(left))


def apply_merge(map_: PlayfieldMap, merge: Merge) -> PlayfieldMap:
    """The map with the merged list; places of rows without a number follow a row whose group was renamed."""
    after = map_.model_copy(update={"lamps": merge.lamps})
    by_name = {(folded(lamp.name), folded(lamp.area)): lamp for lamp in merge.lamps if lamp.number is None}
    for lamp in map_.lamps:
        renamed = by_name.get((folded(lamp.name), folded(lamp.area)))
        if lamp.number is None and renamed is not None and renamed.group != lamp.group:
            for place in places_of_lamp(map_, lamp):
                after = update_place(after, place.model_copy(update={"group": renamed.group}))
    return after


def _same_row(rows: list[Lamp], lamp: Lamp) -> Lamp | None:
    name, area = folded(lamp.name), folded(lamp.area)
    if lamp.number is None:
        alike = [row for row in rows if row.number is None and folded(row.name) == name]
        return next((row for row in alike if folded(row.area) == area or not area), None)
    numbered = [row for row in rows if row.number == lamp.number]
    return next((row for row in numbered if folded(row.name) == name), numbered[0] if numbered else None)


def _filled(lamp: Lamp, old: Lamp) -> Lamp:
    """The new row, with what only the old one holds."""
    kept = {
        name: getattr(old, name)
        for name in Lamp.model_fields
        if name not in ("number", "kind") and getattr(lamp, name) in ("", None)
    }
    if "kind" not in lamp.model_fields_set:
        kept["kind"] = old.kind
    return lamp.model_copy(update=kept)


def _shown(value: object) -> str:
    return "nothing" if value in ("", None) else f"“{value}”" if isinstance(value, str) else str(value)
