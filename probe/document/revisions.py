"""Revisions: every change with time, reason and diff; sessions; undo and redo; any earlier map; what is verified.

A session is what happens between two revisions: `recorded` keeps what it changed in the map's `pending`, so that it is
on disk with every answer, and `close` makes a revision of it. Undo is a revision too: nothing of the history is lost.
Times are RFC 3339 UTC text and come from the caller.
"""

from __future__ import annotations

from collections.abc import Iterable

from probe.document.change_words import change_lines
from probe.document.diff import Cache, diff, expanded, revert
from probe.document.model import MAX_TEXT, Chain, Pixel, PlayfieldMap, Revision
from probe.document.model.change import Change, What
from probe.document.reasons import reason_of


class NoRevisionError(ValueError):
    """There is no such revision, or it cannot be gone back over. The text says why and what to do."""


class NothingToUndoError(NoRevisionError):
    """No revision is there that could be taken back, or none was taken back that could be done again."""


def next_number(map_: PlayfieldMap) -> int:
    """The number that the next revision gets; the one of the open session."""
    return (map_.revisions[-1].number if map_.revisions else 0) + 1


def rewired(changes: Iterable[Change]) -> tuple[str, ...]:
    """Chains in which pixels were spliced in, taken out or put in another order.

    More pixels at the end move no other: that a chain goes on is no rewiring.
    """
    listed = tuple(changes)
    orders = [c for c in listed if c.what is What.ORDER and c.chain is not None and c.key == "pixels"]
    if not orders:
        return ()
    new_chains = {c.chain for c in listed if c.what is What.CHAIN and c.before is None}
    found: list[str] = []
    for order in orders:
        length = order.length or 0
        if order.chain is None or order.chain in new_chains or length == 0:
            continue
        slots = expanded(order.order)
        grew = slots[:length] == list(range(length)) and all(slot is None for slot in slots[length:])
        if not grew:
            found.append(order.chain)
    return tuple(found)


def recorded(base: PlayfieldMap, now: PlayfieldMap, *, cache: Cache | None = None) -> PlayfieldMap:
    """`now` with all that it changed since `base` (the map at the last revision) in its `pending`."""
    return now.model_copy(update={"pending": diff(base, now, cache=cache)})


def base_of(map_: PlayfieldMap) -> PlayfieldMap:
    """The map at its last revision, before the session that is open."""
    return revert(map_, map_.pending, strict=False).model_copy(update={"pending": ()}) if map_.pending else map_


def close(map_: PlayfieldMap, *, time: str, reason: str) -> PlayfieldMap:
    """Make a revision of what is pending; the same map if nothing is."""
    if not map_.pending:
        return map_
    return _with_revision(map_, base_of(map_), map_.pending, time=time, reason=reason)


def revised(before: PlayfieldMap, after: PlayfieldMap, *, time: str, reason: str) -> PlayfieldMap:
    """`after` as a revision on top of `before`, which has nothing pending; `before` itself if they say the same."""
    changes = diff(before, after)
    return _with_revision(after, before, changes, time=time, reason=reason) if changes else before


def session_reason(map_: PlayfieldMap) -> str:
    """What the open session was about, from what it changed."""
    return reason_of(map_, map_.pending)


def session_closed(map_: PlayfieldMap, *, time: str) -> PlayfieldMap:
    """The map with its open session as a revision whose reason comes from what it changed; the same map if none is open."""
    return close(map_, time=time, reason=session_reason(map_))


def closed_apart(since: PlayfieldMap, now: PlayfieldMap, *, time: str, reason: str = "") -> PlayfieldMap:
    """`now` with one revision for what was pending in `since` and one for what changed from there; none where nothing did.

    `now` itself if nothing changed since `since`, or what changed is in a revision already.
    """
    own = diff(since, now) if now.revisions == since.revisions else ()
    if not own:
        return now
    before = session_closed(since, time=time)
    after = now.model_copy(update={"revisions": before.revisions, "pending": ()})
    return revised(before, after, time=time, reason=reason or reason_of(now, own))


def _with_revision(
    map_: PlayfieldMap,
    base: PlayfieldMap,
    changes: tuple[Change, ...],
    *,
    time: str,
    reason: str,
    undoes: int | None = None,
) -> PlayfieldMap:
    revision = Revision(
        number=next_number(base),
        time=time,
        reason=reason,
        changes=change_lines(base, map_, changes),
        rewired=rewired(changes),
        undoes=undoes,
        diff=changes,
    )
    return map_.model_copy(update={"revisions": (*base.revisions, revision), "pending": ()})


# -- undo -----------------------------------------------------------------------------------------------------------


def _stack(map_: PlayfieldMap) -> tuple[list[Revision], list[Revision]]:
    """Revisions that hold now, and undone ones that can be done again; the last of each comes first in turn."""
    by_number = {r.number: r for r in map_.revisions}
    done: list[Revision] = []
    undone: list[Revision] = []
    for revision in map_.revisions:
        target = by_number.get(revision.undoes) if revision.undoes is not None else None
        if target is None:
            done.append(revision)
            undone.clear()
        elif target.undoes is None:
            if target in done:
                done.remove(target)
            undone.append(revision)
        else:
            original = by_number.get(target.undoes)
            if original is not None:
                done.append(original)
            if target in undone:
                undone.remove(target)
    return done, undone


def last_undoable(map_: PlayfieldMap) -> Revision | None:
    """The revision that `undo` takes back; None if there is none, or the last one does not say what it changed."""
    done, _ = _stack(map_)
    return done[-1] if done and done[-1].diff else None


def last_redoable(map_: PlayfieldMap) -> Revision | None:
    """The undo that can itself be taken back; None if nothing was undone since the last other revision."""
    _, undone = _stack(map_)
    return undone[-1] if undone and undone[-1].diff else None


def undo(map_: PlayfieldMap, *, time: str, redo: bool = False) -> PlayfieldMap:
    """Take the last revision back that still holds (or with `redo`, the last undo), as a revision of its own.

    What is pending has to be closed first. Raises NoRevisionError, or ConflictError if the map is not as the revision
    left it.
    """
    if map_.pending:
        raise NoRevisionError("a session is still open: close it first")
    done, undone = _stack(map_)
    stack = undone if redo else done
    if not stack:
        raise NothingToUndoError(
            "nothing was undone that could be done again" if redo else "there is no revision to undo"
        )
    target = stack[-1]
    if not target.diff:
        raise NoRevisionError(
            f"revision {target.number} ({target.reason}) does not say what it changed: it cannot be undone from here"
        )
    before = revert(map_, target.diff)
    words = "Done again" if redo else "Undone"
    original = next((r for r in map_.revisions if r.number == target.undoes), target) if redo else target
    reason = f"{words}: revision {original.number}, {original.reason}"[:MAX_TEXT]
    return _with_revision(before, map_, diff(map_, before), time=time, reason=reason, undoes=target.number)


def back_to(map_: PlayfieldMap, number: int, *, time: str) -> PlayfieldMap:
    """The map as it was right after a revision (0: before the first one), as a new revision; nothing is lost.

    The same map if nothing differs. What is pending has to be closed first. Raises NoRevisionError.
    """
    if map_.pending:
        raise NoRevisionError("a session is still open: close it first")
    before = at_revision(map_, number)
    changes = diff(map_, before)
    if not changes:
        return map_
    then = next((r for r in map_.revisions if r.number == number), None)
    what = f"Back to revision {number}, {then.reason}" if then is not None else "Back to before the first revision"
    return _with_revision(before, map_, changes, time=time, reason=what[:MAX_TEXT])


def at_revision(map_: PlayfieldMap, number: int) -> PlayfieldMap:
    """The map as it was right after a revision; 0 is the map before the first one.

    Raises NoRevisionError if there is no such revision, or a later one does not say what it changed.
    """
    if number != 0 and number not in {r.number for r in map_.revisions}:
        known = ", ".join(str(r.number) for r in map_.revisions[-20:]) or "none"
        raise NoRevisionError(f"there is no revision {number}: there are {known}")
    before = base_of(map_)
    for revision in reversed(map_.revisions):
        if revision.number <= number:
            break
        if not revision.diff:
            raise NoRevisionError(
                f"revision {revision.number} ({revision.reason}) does not say what it changed,"
                f" so the map before it is not known: choose {revision.number} or later"
            )
        before = revert(before, revision.diff, strict=False)
    kept = tuple(r for r in map_.revisions if r.number <= number)
    return before.model_copy(update={"revisions": kept})


# -- what is verified -----------------------------------------------------------------------------------------------


def changed_in(map_: PlayfieldMap, chain_id: str) -> int:
    """The last revision that still holds in which this chain was rewired; 0 if none was."""
    done, _ = _stack(map_)
    last = next((r.number for r in reversed(done) if chain_id in r.rewired), 0)
    open_now = chain_id in rewired(map_.pending) if map_.pending else False
    return next_number(map_) if open_now else last


def is_verified(pixel: Pixel, changed: int) -> bool:
    """Whether a pixel was seen to be right since its chain was rewired in revision `changed` (see `changed_in`)."""
    return pixel.verified >= max(1, changed)


def verified_count(map_: PlayfieldMap, chain: Chain) -> int:
    """How many of a chain's pixels were seen to be right since it was last rewired."""
    changed = changed_in(map_, chain.id)
    return sum(is_verified(pixel, changed) for pixel in chain.pixels)


def seen_words(map_: PlayfieldMap, chain_id: str, pixel: Pixel) -> str:
    """Whether a pixel was seen to be right since its chain was last rewired, in words with a sign."""
    return "✓ verified" if is_verified(pixel, changed_in(map_, chain_id)) else "? not verified"
