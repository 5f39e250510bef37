"""Changes in words, line by line: which numbers are new, gone or moved, and which fields differ now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from probe.document.diff import expanded
from probe.document.model import Chain, PlayfieldMap
from probe.document.model.change import Change, What, differing
from probe.document.model.record import MAX_TEXT
from probe.document.plural import many

MOST_LINES = 60


def change_lines(
    before: PlayfieldMap, after: PlayfieldMap, changes: Sequence[Change], *, most: int = MOST_LINES
) -> tuple[str, ...]:
    """Lines for people; after `most` of them, one that counts the rest."""
    lines: list[str] = []
    for chain_id in dict.fromkeys(c.chain for c in changes if c.chain is not None):
        lines += _chain_lines(before, after, chain_id, [c for c in changes if c.chain == chain_id])
    lines += [_record_line(change) for change in changes if change.chain is None]
    lines = [line[:MAX_TEXT] for line in lines]
    if len(lines) > most:
        lines = [*lines[: most - 1], f"… and {len(lines) - most + 1} more"]
    return tuple(lines)


def pixel_words(map_: PlayfieldMap, chain: Chain, number: int) -> str:
    """A pixel by what it lights: its place, else its state."""
    pixel = chain.pixels[number]
    place = map_.place_of(pixel)
    return place.label if place is not None else pixel.state.value


def _chain_lines(before: PlayfieldMap, after: PlayfieldMap, chain_id: str, changes: Sequence[Change]) -> list[str]:
    old, new = before.chain_by_id.get(chain_id), after.chain_by_id.get(chain_id)
    if old is None:
        assert new is not None
        return [f"{new.name}: new chain on output {new.output}, {many(len(new.pixels), 'pixel')}"]
    if new is None:
        return [f"{old.name}: chain taken out, {many(len(old.pixels), 'pixel')}"]
    lines: list[str] = []
    for change in changes:
        if change.what is What.CHAIN:
            lines.append(f"{new.name}: {_fields(change.before, change.after)}")
        elif change.what is What.ORDER and change.key == "pixels":
            lines += [f"{new.name}: {words}" for words in _order_lines(before, after, old, new, change)]
    lines += _pixel_lines(before, after, old, new, [c for c in changes if c.what is What.PIXEL])
    joints = sum(c.what is What.JOINT for c in changes)
    if joints:
        lines.append(f"{new.name}: {joints} joint{'s' if joints > 1 else ''} noted otherwise")
    return lines


def span(first: int, last: int) -> str:
    """Numbers in words: `14`, or `14–17`."""
    return f"{first}" if first == last else f"{first}–{last}"


def _order_lines(before: PlayfieldMap, after: PlayfieldMap, old: Chain, new: Chain, change: Change) -> list[str]:
    slots = expanded(change.order)
    lines: list[str] = []
    kept = {slot for slot in slots if slot is not None}
    gone = [number for number in range(len(old.pixels)) if number not in kept]
    for run in _consecutive(gone):
        names = ", ".join(pixel_words(before, old, n) for n in run[:4]) + (", …" if len(run) > 4 else "")
        lines.append(f"taken out: was {span(run[0], run[-1])} ({names})")
    number = 0
    for slot_is_new, group in groupby(slots, key=lambda slot: slot is None):
        size = len(list(group))
        if slot_is_new:
            where = f"after {pixel_words(after, new, number - 1)}" if number else "at the start"
            lines.append(f"new: {span(number, number + size - 1)} {where}")
        number += size
    for first, last, at in _steps(slots):
        turned = " turned around" if first > last else ""
        low, high = min(first, last), max(first, last)
        if at != low or turned:
            lines.append(f"{span(low, high)} → {span(at, at + high - low)}{turned}")
    return lines


def _steps(slots: Sequence[int | None]) -> list[tuple[int, int, int]]:
    """Runs of old numbers that stay together: (first old, last old, first new)."""
    found: list[tuple[int, int, int]] = []
    for number, slot in enumerate(slots):
        if slot is None:
            continue
        if found:
            first, last, at = found[-1]
            length = abs(last - first) + 1
            towards = slot - last
            if at + length == number and abs(towards) == 1 and (length == 1 or (last > first) == (towards > 0)):
                found[-1] = (first, slot, at)
                continue
        found.append((slot, slot, number))
    return found


def _consecutive(numbers: Iterable[int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def _pixel_lines(
    before: PlayfieldMap, after: PlayfieldMap, old: Chain, new: Chain, changes: Sequence[Change]
) -> list[str]:
    at = {pixel.id: number for number, pixel in enumerate(new.pixels)}
    lines: list[str] = []
    verified = 0
    for change in changes:
        if change.before is None:
            number = at[change.key]
            if new.pixels[number].place is not None:
                lines.append(f"{new.name} {number}: {pixel_words(after, new, number)}, new")
            continue
        if change.after is None:
            continue
        fields = differing(change.before, change.after)
        if fields == {"verified"}:
            verified += 1
            continue
        lines.append(
            f"{new.name} {at[change.key]}: {pixel_fields_words(before, change.before)} → {pixel_fields_words(after, change.after)}"
        )
    if verified:
        lines.append(f"{new.name}: {verified} pixels seen to be as the map says")
    return lines


def pixel_fields_words(map_: PlayfieldMap, pixel: dict[str, Any]) -> str:
    """What a change holds of a pixel: place, state, note."""
    place = map_.place_by_id.get(pixel.get("place") or "")
    words = place.label if place is not None else str(pixel.get("state", "unseen"))
    if place is not None and pixel.get("state") != "placed":
        words += f" ({pixel.get('state')})"
    return words + (f", note: {pixel['note']}" if pixel.get("note") else "")


def _fields(before: dict[str, Any] | None, after: dict[str, Any] | None) -> str:
    old, new = before or {}, after or {}
    return ", ".join(
        f"{key} {_value(old.get(key))} → {_value(new.get(key))}" for key in sorted(differing(old, new)) if key != "id"
    )


def _value(value: object) -> str:
    if value is None:
        return "not said"
    words = str(value)
    return words if len(words) <= 80 else words[:79] + "…"


def _record_line(change: Change) -> str:
    record = change.after or change.before or {}
    name = str(record.get("label") or record.get("name") or record.get("words") or record.get("file") or change.key)
    if change.what is What.ORDER:
        return f"{change.key}: put in another order"
    head = f"{change.what.value} {name}".strip()
    if change.before is None:
        return f"{head}: new"
    if change.after is None:
        return f"{head}: taken out"
    return f"{head}: {_fields(change.before, change.after)}"
