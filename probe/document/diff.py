"""What differs between two maps, record by record; and the way back.

`revert(after, diff(before, after))` is `before` again. Proofs, observations and readings are logs of their own; the
bookmark, the person's meter and rechecks that are not finished are no part of a map's content: `NOT_COMPARED` names what is left as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from probe.document.model import Chain, Lamp, Machine, Pixel, Place, PlayfieldMap, Record
from probe.document.model.change import Change, What, fields_of
from probe.document.model.evenings import Photo, WorkLine
from probe.document.model.game import Group
from probe.document.model.harness import Batch, Feed, Joint, Power, Supply
from probe.document.model.light import Fade
from probe.document.model.planning import KeepOut, PlanRules
from probe.document.model.shape import Shape
from probe.frozen import frozen

NOT_COMPARED = frozenset(
    {"format", "version", "bookmark", "meter", "proofs", "observations", "readings", "revisions", "pending", "rechecks"}
)
_CHAIN_BLOCKS = frozenset({"pixels", "joints"})
_RUN = re.compile(r"\+?\d+(?:-\d+)?")
_MAX_KEY = 1_900


class ConflictError(ValueError):
    """A change cannot be taken back: the map is not as the change left it. The message names the record that differs."""


@frozen
class RecordList:
    """A tuple of records in the map: its field, their type, and what a record is known by."""

    what: What
    field: str
    model: type[Record]
    key: Callable[[Any], str]


def _id(record: Any) -> str:
    return str(record.id)


LISTS = (
    RecordList(What.PLACE, "places", Place, _id),
    RecordList(What.SHAPE, "shapes", Shape, lambda shape: str(shape.kind.value)),
    RecordList(What.KEEP_OUT, "keep_outs", KeepOut, lambda keep_out: str(keep_out.name or keep_out.kind.value)),
    RecordList(What.LAMP, "lamps", Lamp, lambda lamp: str(lamp.number) if lamp.number is not None else lamp.name),
    RecordList(What.SUPPLY, "supplies", Supply, _id),
    RecordList(What.FEED, "feeds", Feed, _id),
    RecordList(What.BATCH, "batches", Batch, _id),
    RecordList(What.WORK, "worklist", WorkLine, _id),
    RecordList(What.PHOTO, "photos", Photo, _id),
    RecordList(What.GROUP, "groups", Group, lambda group: str(group.name)),
)
ALONE: tuple[tuple[What, str, type[Record]], ...] = (
    (What.POWER, "power", Power),
    (What.PLAN_RULES, "plan_rules", PlanRules),
    (What.FADE, "fade", Fade),
)
PIXELS = RecordList(What.PIXEL, "pixels", Pixel, _id)
JOINTS = RecordList(What.JOINT, "joints", Joint, lambda joint: f"{joint.after or ''}>{joint.before}")


def keyed(kind: RecordList, records: Sequence[Record]) -> dict[str, Record]:
    """Records by key, in order; a key that is there again gets `#2`, and so on."""
    found: dict[str, Record] = {}
    for record in records:
        base = kind.key(record)[:_MAX_KEY]
        key, count = base, 1
        while key in found:
            count += 1
            key = f"{base}#{count}"
        found[key] = record
    return found


Cache = dict[tuple[int, int], tuple[Record | None, Record | None, Change]]
"""Changes made before, by the identity of the records: an unchanged change stays the very same object."""


def diff(before: PlayfieldMap, after: PlayfieldMap, *, cache: Cache | None = None) -> tuple[Change, ...]:
    """The changes that lead from one map to the other, in a fixed order; () if they hold the same."""
    kept: Cache = cache if cache is not None else {}
    made: list[Change] = []
    if before.machine is not after.machine and before.machine != after.machine:
        made.append(_change(kept, What.MACHINE, None, "", None, before.machine, after.machine))
    if before.chains is not after.chains:
        made += _chains(before, after, kept)
    for kind in LISTS:
        old, new = getattr(before, kind.field), getattr(after, kind.field)
        if old is not new:
            made += _list(kind, None, old, new, kept)
    for what, field, _ in ALONE:
        one, other = getattr(before, field), getattr(after, field)
        if one is not other and one != other:
            made.append(_change(kept, what, None, "", None, one, other))
    return tuple(made)


def _change(
    cache: Cache, what: What, chain: str | None, key: str, at: int | None, old: Record | None, new: Record | None
) -> Change:
    found = cache.get((id(old), id(new)))
    if found is not None and found[0] is old and found[1] is new and found[2].at == at and found[2].chain == chain:
        return found[2]
    leave_out = _CHAIN_BLOCKS if what is What.CHAIN else frozenset[str]()
    made = Change(
        what=what,
        chain=chain,
        key=key,
        at=at,
        before=None if old is None else fields_of(old, leave_out=leave_out),
        after=None if new is None else fields_of(new, leave_out=leave_out),
    )
    cache[id(old), id(new)] = (old, new, made)
    return made


def _chains(before: PlayfieldMap, after: PlayfieldMap, cache: Cache) -> list[Change]:
    made: list[Change] = []
    old_ids, new_ids = [c.id for c in before.chains], [c.id for c in after.chains]
    if _reordered(old_ids, new_ids):
        made.append(Change(what=What.ORDER, key="chains", order=_runs(old_ids, new_ids), length=len(old_ids)))
    for chain_id in dict.fromkeys([*old_ids, *new_ids]):
        old, new = before.chain_by_id.get(chain_id), after.chain_by_id.get(chain_id)
        if old is new:
            continue
        at = None
        if old is None:
            at = new_ids.index(chain_id)
        elif new is None:
            at = old_ids.index(chain_id)
        if old is None or new is None or _bare(old) != _bare(new):
            made.append(_change(cache, What.CHAIN, chain_id, chain_id, at, old, new))
        for kind in (PIXELS, JOINTS):
            earlier, later = (getattr(chain, kind.field) if chain is not None else () for chain in (old, new))
            if earlier is not later:
                made += _list(kind, chain_id, earlier, later, cache)
    return made


def _bare(chain: Chain) -> dict[str, object]:
    return {name: getattr(chain, name) for name in Chain.model_fields if name not in _CHAIN_BLOCKS}


def _list(
    kind: RecordList, chain: str | None, earlier: Sequence[Record], later: Sequence[Record], cache: Cache
) -> list[Change]:
    if len(earlier) == len(later) and all(a is b for a, b in zip(earlier, later, strict=True)):
        return []
    old, new = keyed(kind, earlier), keyed(kind, later)
    made: list[Change] = []
    if list(old) != list(new) and (kind is PIXELS or _reordered(list(old), list(new))):
        order = _runs(list(old), list(new))
        made.append(Change(what=What.ORDER, chain=chain, key=kind.field, order=order, length=len(old)))
    old_at = {key: at for at, key in enumerate(old)}
    new_at = {key: at for at, key in enumerate(new)}
    for key, record in old.items():
        other = new.get(key)
        if other is None:
            made.append(_change(cache, kind.what, chain, key, old_at[key], record, None))
        elif other is not record and other != record:
            made.append(_change(cache, kind.what, chain, key, None, record, other))
    made += [
        _change(cache, kind.what, chain, key, new_at[key], None, record)
        for key, record in new.items()
        if key not in old
    ]
    return made


def _reordered(old: Sequence[str], new: Sequence[str]) -> bool:
    """Whether what is in both lists stands in another order."""
    shared = set(old) & set(new)
    return [k for k in old if k in shared] != [k for k in new if k in shared]


def _runs(old: Sequence[str], new: Sequence[str]) -> str:
    """New positions as runs of old ones."""
    was = {key: at for at, key in enumerate(old)}
    return as_order(was.get(key) for key in new)


def as_order(slots: Iterable[int | None]) -> str:
    """For each new position the old one, None for what is new, as runs; `expanded` is the way back."""
    words: list[str] = []
    run: list[int] = []
    fresh = 0

    def close() -> None:
        nonlocal fresh
        if fresh:
            words.append(f"+{fresh}")
            fresh = 0
        if run:
            words.append(f"{run[0]}-{run[-1]}" if len(run) > 1 else f"{run[0]}")
            run.clear()

    for at in slots:
        if at is None:
            if run:
                close()
            fresh += 1
            continue
        goes_on = bool(run) and abs(at - run[-1]) == 1 and (len(run) == 1 or at - run[-1] == run[-1] - run[-2])
        if not goes_on:
            close()
        run.append(at)
    close()
    return " ".join(words)


def expanded(order: str) -> list[int | None]:
    """For each new position the old one, None for what is new. `0-1 +1 3` → `[0, 1, None, 3]`."""
    slots: list[int | None] = []
    for word in _RUN.findall(order):
        if word.startswith("+"):
            slots += [None] * int(word[1:])
        else:
            first, _, last = word.partition("-")
            begin, end = int(first), int(last or first)
            slots += range(begin, end + 1) if end >= begin else range(begin, end - 1, -1)
    return slots


# -- the way back ---------------------------------------------------------------------------------------------------


def revert(map_: PlayfieldMap, changes: Iterable[Change], *, strict: bool = True) -> PlayfieldMap:
    """The map before these changes.

    Raises ConflictError if a record that changed is no longer as the change left it; `strict=False` takes the old
    record then too.
    """
    alone = {what: (field, model) for what, field, model in ALONE}
    by_list: dict[tuple[What, str | None], list[Change]] = {}
    orders: dict[tuple[str | None, str], Change] = {}
    update: dict[str, object] = {}
    for change in changes:
        if change.what is What.ORDER:
            orders[change.chain, change.key] = change
        elif change.what is What.MACHINE:
            _agrees(fields_of(map_.machine), change, strict)
            update["machine"] = Machine.model_validate(change.before)
        elif change.what in alone:
            field, model = alone[change.what]
            there = getattr(map_, field)
            _agrees(None if there is None else fields_of(there), change, strict)
            update[field] = None if change.before is None else model.model_validate(change.before)
        else:
            by_list.setdefault((change.what, change.chain), []).append(change)
    for kind in LISTS:
        here, order = by_list.get((kind.what, None), []), orders.get((None, kind.field))
        if here or order:
            update[kind.field] = _reverted(kind, getattr(map_, kind.field), here, order, strict)
    update["chains"] = _reverted_chains(map_, by_list, orders, strict)
    return map_.model_copy(update=update)


def _agrees(now: Mapping[str, Any] | None, change: Change, strict: bool) -> None:
    if strict and now != change.after:
        where = f"{change.what.value} {change.key}".strip() + (f" of chain {change.chain}" if change.chain else "")
        raise ConflictError(f"{where} is not as this change left it: it was changed since, outside of the revisions")


def _reverted(
    kind: RecordList, now: Sequence[Record], changes: Sequence[Change], order: Change | None, strict: bool
) -> tuple[Any, ...]:
    records: dict[str, Record] = keyed(kind, now)
    gone: list[Change] = []
    for change in changes:
        there = records.get(change.key)
        _agrees(None if there is None else fields_of(there), change, strict)
        if change.before is None:
            continue
        old = kind.model.model_validate(change.before)
        if change.after is None and there is None:
            gone.append(change)
        else:
            records[change.key] = old
    fresh = {change.key for change in changes if change.before is None}
    if order is None:
        back = [record for key, record in records.items() if key not in fresh]
        for change in sorted(gone, key=lambda c: c.at or 0):
            back.insert(change.at or 0, kind.model.model_validate(change.before))
        return tuple(back)
    slots = expanded(order.order)
    if len(slots) != len(records):
        raise ConflictError(f"{kind.field}: {len(records)} records, but this change left {len(slots)}")
    placed: dict[int, Record] = {}
    for slot, record in zip(slots, records.values(), strict=True):
        if slot is not None:
            placed[slot] = record
    placed |= {change.at or 0: kind.model.model_validate(change.before) for change in gone}
    if len(placed) != order.length:
        raise ConflictError(f"{kind.field}: this change does not say what was at every number")
    return tuple(placed[at] for at in sorted(placed))


def _reverted_chains(
    map_: PlayfieldMap,
    by_list: Mapping[tuple[What, str | None], Sequence[Change]],
    orders: Mapping[tuple[str | None, str], Change],
    strict: bool,
) -> tuple[Chain, ...]:
    own = {chain: changes[0] for (what, chain), changes in by_list.items() if what is What.CHAIN}
    chains: dict[str, Chain] = dict(map_.chain_by_id)
    gone: list[Change] = []
    for name, change in own.items():
        if name is None:
            continue
        there = chains.get(name)
        _agrees(None if there is None else fields_of(there, leave_out=_CHAIN_BLOCKS), change, strict)
        if change.before is not None:
            bare = Chain.model_validate(change.before)
            blocks = {} if there is None else {field: getattr(there, field) for field in _CHAIN_BLOCKS}
            chains[name] = bare.model_copy(update=blocks)
            if there is None:
                gone.append(change)
    for name, chain in chains.items():
        update: dict[str, object] = {}
        for kind in (PIXELS, JOINTS):
            here, order = by_list.get((kind.what, name), ()), orders.get((name, kind.field))
            if here or order:
                update[kind.field] = _reverted(kind, getattr(chain, kind.field), here, order, strict)
        if update:
            chains[name] = chain.model_copy(update=update)
    fresh = {name for name, change in own.items() if change.before is None}
    gone_keys = {change.key for change in gone}
    back = [chains[c.id] for c in map_.chains if c.id not in fresh]
    order = orders.get((None, "chains"))
    if order is not None:
        placed = {change.at or 0: chains[change.key] for change in gone}
        for slot, c in zip(expanded(order.order), map_.chains, strict=False):
            if slot is not None:
                placed[slot] = chains[c.id]
        return tuple(placed[at] for at in sorted(placed))
    for change in sorted((c for c in gone if c.key in gone_keys), key=lambda c: c.at or 0):
        back.insert(change.at or 0, chains[change.key])
    return tuple(back)
