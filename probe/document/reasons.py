"""What a change was about, in a few words: the reason of a revision where nobody gave one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.document.model import PlayfieldMap
from probe.document.model.change import Change, What, differing
from probe.document.model.record import MAX_TEXT
from probe.document.plural import many

_MOST_NAMED = 3
_LONGEST_NAME = 40
_MOST_PARTS = 6
_ORDER = (
    What.MACHINE,
    What.CHAIN,
    What.ORDER,
    What.PIXEL,
    What.PLACE,
    What.LAMP,
    What.GROUP,
    What.SUPPLY,
    What.FEED,
    What.BATCH,
    What.SHAPE,
    What.KEEP_OUT,
    What.PLAN_RULES,
    What.WORK,
    What.PHOTO,
    What.JOINT,
    What.POWER,
    What.FADE,
)
_FIELDS = {
    "order": "byte order",
    "ceiling_ma": "ceiling",
    "ground_wire": "ground wire",
    "spacing_mm": "spacing",
    "latch_us": "latch time",
}
_LIGHT = frozenset({"level", "colour", "group", "depth_mm", "diffuser"})


def reason_of(map_: PlayfieldMap, changes: Sequence[Change]) -> str:
    """What these changes were about, such as `Walked: Playfield; feed cabinet moved`. `map_` is the map after them."""
    parts: list[str] = []
    walked = _walked(changes)
    for what in _ORDER:
        some = [c for c in changes if c.what is what]
        if what is What.PLACE and walked:
            some = [c for c in some if c.before is not None and c.after is not None and _LIGHT & _differing(c)]
        parts += _parts(map_, what, some)
    if not parts:
        return "Worked on the map"
    if len(parts) > _MOST_PARTS:
        parts = [*parts[: _MOST_PARTS - 1], f"and {len(parts) - _MOST_PARTS + 1} more"]
    words = "; ".join(parts)
    return (words[:1].upper() + words[1:])[:MAX_TEXT]


def _parts(map_: PlayfieldMap, what: What, changes: Sequence[Change]) -> list[str]:
    if not changes:
        return []
    match what:
        case What.MACHINE:
            return ["machine changed"]
        case What.CHAIN:
            return [_chain(change) for change in changes]
        case What.ORDER:
            return [f"{_chain_name(map_, c.chain) or c.key}: put in another order" for c in changes if c.chain is None]
        case What.PIXEL:
            return _pixels(map_, changes)
        case What.JOINT:
            return [f"joints noted: {_chains_of(map_, changes)}"]
        case What.PLACE:
            return _places(changes)
        case What.FEED:
            return _verbs("feed", changes, moved=frozenset({"chain", "pixel"}))
        case What.WORK:
            return [f"{many(len(changes), 'line')} of the worklist written or ticked off"]
        case What.SHAPE:
            return _verbs("shape", changes, moved=frozenset({"x_mm", "y_mm", "turn_deg", "mirror", "points"}))
        case What.PLAN_RULES:
            return ["rules of the plan changed"]
        case What.POWER:
            return ["power settings changed"]
        case What.FADE:
            return ["fade changed"]
        case _:
            return _verbs(what.value, changes)


def _walked(changes: Iterable[Change]) -> bool:
    return any(c.what is What.PIXEL and _is_answer(c) for c in changes)


def _is_answer(change: Change) -> bool:
    """Whether a pixel was answered, not only noted about."""
    return change.before is None or change.after is None or not _differing(change) <= {"note", "batch"}


def _pixels(map_: PlayfieldMap, changes: Sequence[Change]) -> list[str]:
    parts: list[str] = []
    answers = [c for c in changes if _is_answer(c)]
    if answers:
        parts.append(f"walked: {_chains_of(map_, answers)}")
    for field, words in (("note", "pixels noted about"), ("batch", "batches given")):
        some = [c for c in changes if not _is_answer(c) and field in _differing(c)]
        if some:
            parts.append(f"{words}: {_chains_of(map_, some)}")
    return parts


def _places(changes: Sequence[Change]) -> list[str]:
    parts: list[str] = []
    left = list(changes)
    kinds = (
        ("put elsewhere", frozenset({"position"})),
        ("joined to lamps", frozenset({"lamps"})),
        ("light set", _LIGHT),
    )
    for words, fields in kinds:
        some = [c for c in left if c.before is not None and c.after is not None and _differing(c) <= fields]
        if some:
            left = [c for c in left if c not in some]
            parts.append(f"{words}: {_named(some)}")
    return [*parts, *_verbs("place", left)]


def _chain(change: Change) -> str:
    name = _name(change)
    if change.before is None:
        return f"chain {name} added"
    if change.after is None:
        return f"chain {name} taken out"
    fields = [_FIELDS.get(field, field.replace("_", " ")) for field in sorted(_differing(change) - {"id"})]
    return f"{name}: {', '.join(fields)} changed"


def _verbs(word: str, changes: Sequence[Change], *, moved: frozenset[str] = frozenset()) -> list[str]:
    """Records by what was done with them: `lamp Otter, Eel added`."""
    groups: dict[str, list[Change]] = {}
    for change in changes:
        if change.before is None:
            verb = "added"
        elif change.after is None:
            verb = "taken out"
        else:
            verb = "moved" if moved and _differing(change) <= moved else "changed"
        groups.setdefault(verb, []).append(change)
    return [
        f"{word} {_named(some)} {verb}" if len(some) <= _MOST_NAMED else f"{len(some)} {_plural(word)} {verb}"
        for verb, some in groups.items()
    ]


def _plural(word: str) -> str:
    return {"supply": "supplies", "batch": "batches"}.get(word, f"{word}s")


def _named(changes: Sequence[Change]) -> str:
    if len(changes) > _MOST_NAMED:
        return f"{len(changes)} places"
    return ", ".join(_name(change) for change in changes)


def _name(change: Change) -> str:
    record: Mapping[str, Any] = change.after or change.before or {}
    words = str(record.get("label") or record.get("name") or record.get("words") or record.get("file") or change.key)
    return words if len(words) <= _LONGEST_NAME else words[: _LONGEST_NAME - 1] + "…"


def _chains_of(map_: PlayfieldMap, changes: Sequence[Change]) -> str:
    return ", ".join(dict.fromkeys(_chain_name(map_, c.chain) for c in changes if c.chain is not None))


def _chain_name(map_: PlayfieldMap, chain: str | None) -> str:
    found = map_.chain_by_id.get(chain or "")
    return found.name if found is not None else chain or ""


def _differing(change: Change) -> set[str]:
    return differing(change.before, change.after)
