"""Changes to the wiring of a chain, applied to its map: what is spliced in, taken out, turned, moved, swapped, replaced.

Each edit names numbers as they are before it; several are applied one after the other. Ids, places, states and notes
travel with their pixel; joints and feeds follow. No other chain is touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from probe.document.follow import follow
from probe.document.model import MAX_PIXELS, Chain, Pixel, PixelState, PlayfieldMap, shown_number
from probe.document.operations import replace_chain
from probe.document.revisions import revised


class EditError(ValueError):
    """An edit that does not fit the map. The text says what is wrong and what to do."""


@dataclass(frozen=True, kw_only=True)
class Insert:
    """`count` new pixels after a number; `after` None puts them before the first one."""

    chain: str
    after: int | None
    count: int = 1
    batch: str | None = None


@dataclass(frozen=True, kw_only=True)
class Remove:
    """The pixels `first` to `last` were taken out and the wires joined."""

    chain: str
    first: int
    last: int


@dataclass(frozen=True, kw_only=True)
class Reverse:
    """The pixels `first` to `last` now come in the opposite order."""

    chain: str
    first: int
    last: int


@dataclass(frozen=True, kw_only=True)
class MoveRun:
    """The pixels `first` to `last` now come after number `after`, which is not among them; None: before the first."""

    chain: str
    first: int
    last: int
    after: int | None


@dataclass(frozen=True, kw_only=True)
class Swap:
    """Two pixels changed places on the wire."""

    chain: str
    one: int
    other: int


@dataclass(frozen=True, kw_only=True)
class Replace:
    """The pixel at a number is another one now, perhaps of another kind, and lights the same place.

    `batch` is the id of the batch that the new one is from, if the map has it.
    """

    chain: str
    number: int
    batch: str | None = None


Edit = Insert | Remove | Reverse | MoveRun | Swap | Replace


def ordered(length: int, edit: Edit) -> list[int | None]:
    """For each new number the old one, None for a new pixel. `length`: pixels before. Raises EditError."""
    every: list[int | None] = list(range(length))
    match edit:
        case Insert(after=after, count=count):
            _check_after(length, after)
            if count < 1:
                raise EditError(f"{count} new pixels: say 1 or more")
            if length + count > MAX_PIXELS:
                raise EditError(f"{length} + {count} pixels: a chain has at most {MAX_PIXELS}")
            cut = 0 if after is None else after + 1
            return [*every[:cut], *[None] * count, *every[cut:]]
        case Remove(first=first, last=last):
            _check_run(length, first, last)
            if last - first + 1 == length:
                raise EditError("this would take out the whole chain: remove the chain instead")
            return [*every[:first], *every[last + 1 :]]
        case Reverse(first=first, last=last):
            _check_run(length, first, last)
            return [*every[:first], *every[first : last + 1][::-1], *every[last + 1 :]]
        case MoveRun(first=first, last=last, after=after):
            _check_run(length, first, last)
            _check_after(length, after)
            if after is not None and first <= after <= last:
                raise EditError(f"pixel {shown_number(after)} is moved itself: name one outside of {first} to {last}")
            rest = [*every[:first], *every[last + 1 :]]
            cut = 0 if after is None else rest.index(after) + 1
            return [*rest[:cut], *every[first : last + 1], *rest[cut:]]
        case Swap(one=one, other=other):
            _check(length, one)
            _check(length, other)
            if one == other:
                raise EditError(f"pixel {shown_number(one)} cannot be swapped with itself: name two")
            every[one], every[other] = other, one
            return every
        case Replace(number=number):
            _check(length, number)
            return [*every[:number], None, *every[number + 1 :]]


def _check(length: int, number: int) -> None:
    if not 0 <= number < length:
        end = f"the last one is {shown_number(length - 1)}" if length else "the chain has none yet"
        raise EditError(f"there is no pixel {number}: {end}")


def _check_after(length: int, after: int | None) -> None:
    if after is not None:
        _check(length, after)


def _check_run(length: int, first: int, last: int) -> None:
    _check(length, first)
    _check(length, last)
    if last < first:
        raise EditError(f"from {first} to {last}: name the lower number first")


def apply_edit(
    map_: PlayfieldMap, edit: Edit, *, made_on: str = "", used: frozenset[str] = frozenset()
) -> PlayfieldMap:
    """The map renumbered, no revision made. `made_on`: day of the change for new joints, as 2025-03-16.

    `used`: ids that new pixels may not get, beside those that the map knows of. A chain whose count was known has its count changed with it. Raises EditError.
    """
    chain = map_.chain_by_id.get(edit.chain)
    if chain is None:
        raise EditError(f"there is no chain {edit.chain!r}")
    batch = edit.batch if isinstance(edit, Insert | Replace) else None
    if batch is not None and batch not in map_.batch_by_id:
        raise EditError(f"there is no batch {batch!r} in this map: add it first, or leave it out")
    slots = ordered(len(chain.pixels), edit)
    names = iter(fresh_ids(map_, chain, sum(slot is None for slot in slots), used))
    pixels: list[Pixel] = []
    for slot in slots:
        if slot is not None:
            pixels.append(chain.pixels[slot])
        elif isinstance(edit, Replace):
            pixels.append(_replacing(chain.pixels[edit.number], next(names), batch))
        else:
            pixels.append(Pixel(id=next(names), batch=batch))
    update: dict[str, object] = {"pixels": tuple(pixels)}
    if chain.count is not None:
        update["count"] = max(len(pixels), chain.count + len(pixels) - len(chain.pixels))
    renumbered = replace_chain(map_, chain.model_copy(update=update))
    if map_.bookmark is not None and map_.bookmark.chain == chain.id and map_.bookmark.number >= len(pixels):
        mark = map_.bookmark.model_copy(update={"number": len(pixels) - 1})
        renumbered = renumbered.model_copy(update={"bookmark": mark})
    return follow(map_, renumbered, made_on=made_on)


def _replacing(old: Pixel, name: str, batch: str | None) -> Pixel:
    """A sound pixel where the old one was; what was wrong with the old one is gone, what was noted stays."""
    broken = old.state in (PixelState.DARK, PixelState.DEAD)
    state = old.state if not broken else PixelState.PLACED if old.place is not None else PixelState.UNSEEN
    return Pixel(id=name, state=state, place=old.place, note=old.note, batch=batch)


def fresh_ids(map_: PlayfieldMap, chain: Chain, how_many: int, used: AbstractSet[str]) -> list[str]:
    """Ids that the chain does not use and, as far as its revisions show, never used."""
    taken = set(used) | {pixel.id for pixel in chain.pixels}
    taken |= {c.key for r in map_.revisions for c in r.diff if c.chain == chain.id}
    taken |= {c.key for c in map_.pending if c.chain == chain.id}
    made: list[str] = []
    number = len(chain.pixels)
    head = chain.id[:56]
    while len(made) < how_many:
        name = f"{head}-{number}"
        if name not in taken:
            made.append(name)
        number += 1
    return made


def apply_edits(map_: PlayfieldMap, edits: Iterable[Edit], *, made_on: str = "") -> PlayfieldMap:
    """Edits one after the other, each in the numbering that the one before left. Raises EditError."""
    used: frozenset[str] = frozenset()
    for edit in edits:
        if edit.chain in map_.chain_by_id:
            used |= {pixel.id for pixel in map_.chain(edit.chain).pixels}
        map_ = apply_edit(map_, edit, made_on=made_on, used=used)
    return map_


def renumber(map_: PlayfieldMap, edits: Sequence[Edit], *, time: str, reason: str) -> PlayfieldMap:
    """The map after these edits, as a new revision; pixels of the chains touched count as not verified since then.

    What is pending has to be closed first. Raises EditError, and ValueError while a session is open.
    """
    if map_.pending:
        raise ValueError("a session is still open: close it first")
    return revised(map_, apply_edits(map_, edits, made_on=time[:10]), time=time, reason=reason)
