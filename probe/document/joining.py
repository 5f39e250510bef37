"""The lamp list: places joined to its rows by name, sure or to be confirmed, and by hand; another list merged into it. Pure.

A row with a number joins by number (`Place.lamps`), a row without one by its group and name. A lamp may have several
places, a place several lamps; what is proposed is one place for one row.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from probe.document.model import Kind, Lamp, Place, PlayfieldMap, once_for_each
from probe.document.operations import folded, update_place
from probe.frozen import frozen

LEAST_LIKENESS = 72.0
SURE_LIKENESS = 90.0
CLEAR_BY = 6.0
"""Own choices, no source: likeness is of 100; a fuzzy match is sure if the next best is so much less alike."""

_WORDS = re.compile(r"\d+|[^\W\d_]+")
_OPPOSED = (
    frozenset({"left", "right"}),
    frozenset({"upper", "lower"}),
    frozenset({"top", "bottom"}),
    frozenset({"inner", "outer"}),
    frozenset({"front", "rear"}),
)
_SHORT = {"l": "left", "lt": "left", "r": "right", "rt": "right", "lft": "left", "rgt": "right"}
_SHORT |= {"up": "upper", "lwr": "lower", "bot": "bottom", "tgt": "target", "tgts": "target", "gi": "glow"}


@frozen
class Match:
    """A place and a row of the list that may be one. `likeness` 0 to 100; a sure one needs no confirmation."""

    place: str
    lamp: Lamp
    likeness: float
    sure: bool


@once_for_each
def lamps_lighting(map_: PlayfieldMap) -> dict[str, tuple[int, ...]]:
    """For each place id the lamp numbers that light it: its own, else those that switch its whole group, which are rows of
    general illumination with a number and that group."""
    switches: dict[str, list[int]] = {}
    for lamp in map_.lamps:
        if lamp.kind is Kind.GENERAL and lamp.number is not None and lamp.group.strip():
            switches.setdefault(folded(lamp.group), []).append(lamp.number)
    return {
        place.id: tuple(dict.fromkeys(place.lamps or (switches.get(folded(place.group), ()) if switches else ())))
        for place in map_.places
    }


def places_of_lamp(map_: PlayfieldMap, lamp: Lamp) -> list[Place]:
    """The places that a row of the list stands for."""
    if lamp.number is not None:
        lighting = lamps_lighting(map_)
        return [place for place in map_.places if lamp.number in lighting[place.id]]
    name, area, group = _folded(lamp.name), _folded(lamp.area), _folded(lamp.group)
    return [
        place
        for place in map_.places
        if _folded(place.label) == name
        and _folded(place.group) == group
        and (not area or not place.area or _folded(place.area) == area)
    ]


def has_job(place: Place) -> bool:
    """Whether a lamp switches the place, or it belongs to a group."""
    return bool(place.lamps) or bool(place.group.strip())


@once_for_each
def open_rows(map_: PlayfieldMap) -> tuple[Lamp, ...]:
    """Rows of the list that no place stands for yet."""
    numbers = {number for lamps in lamps_lighting(map_).values() for number in lamps}
    grouped = {(_folded(place.label), _folded(place.group)) for place in map_.places}
    return tuple(
        lamp
        for lamp in map_.lamps
        if (lamp.number not in numbers if lamp.number is not None else not _is_grouped(map_, lamp, grouped))
    )


def _is_grouped(map_: PlayfieldMap, lamp: Lamp, grouped: set[tuple[str, str]]) -> bool:
    return (_folded(lamp.name), _folded(lamp.group)) in grouped and bool(places_of_lamp(map_, lamp))


def propose(map_: PlayfieldMap) -> tuple[Match, ...]:
    """For each place without a job the open row that fits best, in the order of places; sure ones and others.

    Numbers and sides in the two names have to agree: "Reef lane 1" is never proposed for "Reef lane 2".
    """
    rows = open_rows(map_)
    free = [place for place in map_.places if not has_job(place)]
    ranked = {place.id: _ranked(place, rows) for place in free}
    wanted: dict[int, list[float]] = {}
    for found in ranked.values():
        for likeness, at in found:
            wanted.setdefault(at, []).append(likeness)
    taken: set[int] = set()
    chosen: dict[str, Match] = {}
    pairs = sorted(
        ((likeness, order, place.id, at) for order, place in enumerate(free) for likeness, at in ranked[place.id]),
        key=lambda pair: (-pair[0], pair[1], pair[3]),
    )
    for likeness, _, place_id, at in pairs:
        if place_id in chosen or at in taken:
            continue
        rest = [other for other, where in ranked[place_id] if where != at]
        rivals = sorted(wanted[at], reverse=True)[1:]
        clear = all(likeness - other >= CLEAR_BY for other in (*rest[:1], *rivals[:1]))
        chosen[place_id] = Match(place_id, rows[at], likeness, sure=likeness >= SURE_LIKENESS and clear)
        taken.add(at)
    return tuple(chosen[place.id] for place in free if place.id in chosen)


def join(map_: PlayfieldMap, place_id: str, lamp: Lamp) -> PlayfieldMap:
    """The map with the place joined to the row: its number added, its group taken over. Raises KeyError."""
    place = map_.place_by_id[place_id]
    update: dict[str, object] = {}
    if lamp.number is not None and lamp.number not in place.lamps:
        update["lamps"] = (*place.lamps, lamp.number)
    if lamp.group.strip() and (lamp.number is None or not place.group):
        update["group"] = lamp.group
    if lamp.number is None:
        update["label"] = lamp.name
    if lamp.area and not place.area:
        update["area"] = lamp.area
    return update_place(map_, place.model_copy(update=update)) if update else map_


def join_all(map_: PlayfieldMap, matches: Iterable[Match]) -> PlayfieldMap:
    """The map with all of these joined."""
    for match in matches:
        map_ = join(map_, match.place, match.lamp)
    return map_


def unjoin(map_: PlayfieldMap, place_id: str, lamp: Lamp) -> PlayfieldMap:
    """Take a join back: the number, or the group of a row without one. Raises KeyError."""
    place = map_.place_by_id[place_id]
    if lamp.number is None:
        return update_place(map_, place.model_copy(update={"group": ""}))
    return update_place(map_, place.model_copy(update={"lamps": tuple(n for n in place.lamps if n != lamp.number)}))


def _ranked(place: Place, rows: tuple[Lamp, ...]) -> list[tuple[float, int]]:
    """(likeness, index of row), the most alike first."""
    found = [(alike(place.label, place.area, lamp.name, lamp.area), at) for at, lamp in enumerate(rows)]
    return sorted((pair for pair in found if pair[0] >= LEAST_LIKENESS), key=lambda pair: (-pair[0], pair[1]))


def alike(label: str, area: str, name: str, other_area: str = "") -> float:
    """How alike two names are, 0 to 100; 0 where numbers or sides contradict each other. Areas decide between equals."""
    malus = 8.0 if area and other_area and _folded(area) != _folded(other_area) else 0.0
    if _folded(label) == _folded(name):
        return 100.0 - malus
    one, two = _words(label), _words(name)
    if _numbers(one) != _numbers(two) or any((pair & one) != (pair & two) for pair in _OPPOSED):
        return 0.0
    from rapidfuzz import fuzz  # the walk, which only asks what is open, is drawn before it is loaded

    first, second = _ordered(label), _ordered(name)
    in_any_order = fuzz.token_sort_ratio(" ".join(first), " ".join(second))
    run_together = fuzz.ratio("".join(first), "".join(second))
    return max(0.0, min(99.0, max(in_any_order, run_together)) - malus)


@lru_cache(maxsize=20_000)
def _folded(label: str) -> str:
    return folded(label)


@lru_cache(maxsize=20_000)
def _ordered(label: str) -> tuple[str, ...]:
    return tuple(_plain(word) for word in _WORDS.findall(_folded(label)))


def _plain(word: str) -> str:
    return str(int(word)) if word.isdecimal() else _SHORT.get(word, word)


@lru_cache(maxsize=20_000)
def _words(label: str) -> frozenset[str]:
    return frozenset(_ordered(label))


def _numbers(words: frozenset[str]) -> frozenset[str]:
    return frozenset(word for word in words if word.isdecimal() or len(word) == 1)


_FIELD_WORDS = {"insert_colour": "colour of the insert"}


@frozen
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
                f"{_FIELD_WORDS.get(name, name)}: {_shown(getattr(same, name))} → {_shown(getattr(filled, name))}"
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
