"""What a person sees and changes of power and wiring: lists of entries, and maps with one entry changed. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from probe.document.model import Chain, PlayfieldMap, Record
from probe.document.model.harness import Batch, Feed, Joint, Power, Supply
from probe.document.model.record import storable
from probe.document.operations import grown, replace_chain, update_place
from probe.document.wiring import add_batch, add_feed, add_supply, feed_number, joint_at, put, put_joint, take_out
from probe.harness.base import PowerError, plain
from probe.harness.fields import FIELDS, Field, How
from probe.harness.from_map import (
    ASSUMED_FEED_MM,
    ASSUMED_FEED_WIRE,
    ASSUMED_SPACING_MM,
    ASSUMED_WIRE,
)
from probe.harness.harness import Severity
from probe.harness.pixels import PIXEL_KINDS
from probe.harness.sheet import problems

PIXEL: Final = Field("pixel", "at pixel", How.WHOLE)
SUPPLY: Final = Field("supply", "from supply", How.TEXT)
_ASSUMED: Final = {
    (Chain, "wire"): ASSUMED_WIRE,
    (Chain, "spacing_mm"): f"{ASSUMED_SPACING_MM:g} mm",
    (Feed, "wire"): ASSUMED_FEED_WIRE,
    (Feed, "length_mm"): f"{ASSUMED_FEED_MM:g} mm",
}


@dataclass(frozen=True)
class Key:
    """Which entry: the kind of record, its id (a joint's: chain id and the arriving pixel's number), the field."""

    kind: type[Record]
    id: str
    field: str
    number: int = 0


@dataclass(frozen=True)
class Entry:
    """A line of a list: a heading (no key), or something to change. `assumed`: what is taken while nothing is noted."""

    label: str
    value: str = ""
    key: Key | None = None
    typed: str = ""
    hint: str = ""
    assumed: str = ""


def power_entries(m: PlayfieldMap, chain_id: str) -> tuple[Entry, ...]:
    """Everything that bears on the power of a chain."""
    chain = m.chain(chain_id)
    found = [Entry(f"Chain {plain(chain.name)}"), *_of(chain, chain.id)]
    for feed in m.feeds:
        if feed.chain == chain_id:
            found += [Entry(f"Feed {plain(feed.name)}"), *_feed_entries(m, feed)]
    for supply in m.supplies:
        found += [Entry(f"Supply {plain(supply.name)}"), *_of(supply, supply.id)]
    return (*found, Entry("The plan"), *_of(m.power or Power(), ""))


def joint_entries(m: PlayfieldMap, chain_id: str, number: int) -> tuple[Entry, ...]:
    """Everything noted of one joint."""
    return tuple(_of(joint_at(m.chain(chain_id), number), chain_id, number))


def batch_entries(m: PlayfieldMap) -> tuple[Entry, ...]:
    """The colour codes."""
    found: list[Entry] = []
    for batch in m.batches:
        held = sum(pixel.batch == batch.id for _, _, pixel in m.walk_pixels())
        found += [Entry(f"Batch {plain(batch.name)}, {held} pixels"), *_of(batch, batch.id)]
    return tuple(found)


def _of(record: Record, identifier: str, number: int = 0) -> Iterator[Entry]:
    for field in FIELDS[type(record)]:
        yield _entry(record, field, getattr(record, field.name), identifier, number)


def _entry(record: Record, field: Field, value: Any, identifier: str, number: int = 0) -> Entry:
    key = Key(type(record), identifier, field.name, number)
    assumed = _ASSUMED.get((type(record), field.name), "") if value is None else ""
    return Entry(field.label, field.shown(value), key, field.typed(value), field.hint, assumed)


def _feed_entries(m: PlayfieldMap, feed: Feed) -> Iterator[Entry]:
    number = feed_number(m, feed)
    name, *others = FIELDS[Feed]
    yield _entry(feed, name, feed.name, feed.id)
    yield Entry(
        PIXEL.label, "no longer there" if number is None else str(number), Key(Feed, feed.id, "pixel"),
        "" if number is None else str(number), PIXEL.hint,
    )  # fmt: skip
    supply = next((s.name for s in m.supplies if s.id == feed.supply), None)
    known = " / ".join(plain(s.name) for s in m.supplies) or "none yet: F5 adds one"
    yield Entry(
        SUPPLY.label, "not in the map" if supply is None else plain(supply), Key(Feed, feed.id, "supply"), supply or "",
        known,
    )  # fmt: skip
    for field in others:
        yield _entry(feed, field, getattr(feed, field.name), feed.id)


# -- changing -----------------------------------------------------------------------------------------------------


def change(m: PlayfieldMap, key: Key, text: str) -> PlayfieldMap:
    """The map with what was typed in one entry. Raises PowerError that says what to type."""
    text = storable(text)
    if key.kind is Feed and key.field == "pixel":
        return _move_feed(m, key.id, int(PIXEL.read(text)))
    if key.kind is Feed and key.field == "supply":
        return put(m, _valid(_feed(m, key.id), supply=_supply_named(m, text).id))
    field = _field(key)
    if text == field.typed(getattr(_record(m, key), key.field)):
        return m  # looked at and left, spaces around it included
    return _set(m, key, field.read(text))


def step(m: PlayfieldMap, key: Key, by: int) -> PlayfieldMap:
    """The map with one entry a step up or down: +1 is more, thicker, or the next choice. Raises PowerError."""
    if key.kind is Feed and key.field == "pixel":
        number = feed_number(m, _feed(m, key.id))
        return _move_feed(m, key.id, (0 if number is None else number) + by)
    if key.kind is Feed and key.field == "supply":
        if not m.supplies:
            raise PowerError("there is no supply yet: F5 adds one.")
        names = [supply.id for supply in m.supplies]
        feed = _feed(m, key.id)
        at = names.index(feed.supply) if feed.supply in names else -by
        return put(m, _valid(feed, supply=names[(at + by) % len(names)]))
    field = _field(key)
    value = getattr(_record(m, key), key.field)
    if value is None and field.how in (How.NUMBER, How.WHOLE, How.GAUGE):
        assumed = _ASSUMED.get((key.kind, key.field))
        value = field.read(assumed) if assumed else None
    return _set(m, key, field.stepped(value, by))


def _field(key: Key) -> Field:
    return next(field for field in FIELDS[key.kind] if field.name == key.field)


def _record(m: PlayfieldMap, key: Key) -> Record:
    if key.kind is Chain:
        return m.chain(key.id)
    if key.kind is Power:
        return m.power or Power()
    if key.kind is Joint:
        return joint_at(m.chain(key.id), key.number)
    lists: dict[type[Record], tuple[Record, ...]] = {Supply: m.supplies, Feed: m.feeds, Batch: m.batches}
    return next(record for record in lists[key.kind] if getattr(record, "id", None) == key.id)


def _feed(m: PlayfieldMap, identifier: str) -> Feed:
    return next(feed for feed in m.feeds if feed.id == identifier)


Made = TypeVar("Made", bound=Record)


def _valid(record: Made, **fields: Any) -> Made:
    """The record with fields changed. Raises PowerError if its model refuses them."""
    held = {name: getattr(record, name) for name in type(record).model_fields if name not in ("pixels", "joints")}
    try:
        type(record).model_validate(held | fields)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        name = str(fault["loc"][0]) if fault["loc"] else "this"
        labels = {field.name: field.label for field in FIELDS.get(type(record), ())}
        said = fault["msg"].removeprefix("Value error, ")
        raise PowerError(f"{labels.get(name, name)}: {said[:1].lower()}{said[1:]}.") from None
    return record.model_copy(update=fields)


def _set(m: PlayfieldMap, key: Key, value: Any) -> PlayfieldMap:
    record = _record(m, key)
    if isinstance(record, Batch) and key.field == "chip":
        value = _chip(value)
    if isinstance(record, Joint):
        return _set_joint(m, key, record, value)
    record = _valid(record, **{key.field: value})
    if isinstance(record, Chain):
        return replace_chain(m, record)
    if isinstance(record, Power):
        return m.model_copy(update={"power": None if record == Power() else record})
    if isinstance(record, Supply):
        return put(m, record)
    if isinstance(record, Feed):
        return put(m, record)
    assert isinstance(record, Batch)
    return put(m, record)


def _chip(text: str) -> str | None:
    if not text:
        return None
    if text.casefold() not in {name.casefold() for name in PIXEL_KINDS}:
        raise PowerError(f"pixel kind {plain(text)[:30]!r} is not known. Type one of: {', '.join(PIXEL_KINDS)}.")
    return text.casefold()


def _set_joint(m: PlayfieldMap, key: Key, joint: Joint, value: Any) -> PlayfieldMap:
    """A joint of unlike functions is never called checked, and anything newly found takes the mark away."""
    fields: dict[str, Any] = {key.field: value}
    if isinstance(getattr(joint, key.field), StrEnum):
        fields[key.field] = type(getattr(joint, key.field))(value)
    if key.field.endswith("_to") and value != getattr(joint, key.field):
        fields["checked"] = False
    new = put_joint(m, key.id, _valid(joint, **fields))
    if key.field == "checked" and value:
        wrong = [p for p in problems(new, new.chain(key.id), key.number) if p.severity is Severity.REFUSE]
        if wrong:
            raise PowerError(f"this joint cannot be called checked: {wrong[0].text}")
    return new


def _move_feed(m: PlayfieldMap, identifier: str, number: int) -> PlayfieldMap:
    feed = _feed(m, identifier)
    chain = m.chain_by_id.get(feed.chain)
    if chain is None:
        raise PowerError("its chain is no longer in the map: take the feed out.")
    if not 0 <= number < chain.length:
        raise PowerError(f"at pixel: the chain {plain(chain.name)} has pixels 0 to {chain.length - 1}.")
    chain = grown(chain, number + 1)
    return put(replace_chain(m, chain), feed.model_copy(update={"pixel": chain.pixels[number].id}))


def _supply_named(m: PlayfieldMap, text: str) -> Supply:
    folded = text.strip().casefold()
    exact = [s for s in m.supplies if s.name.strip().casefold() == folded]
    near = exact or [s for s in m.supplies if folded and s.name.casefold().startswith(folded)]
    if len(near) != 1 and not exact:
        known = ", ".join(plain(s.name) for s in m.supplies) or "none yet (F5 adds one)"
        raise PowerError(f"from supply: type the name of one: {known}.")
    return near[0]


# -- adding and taking out ----------------------------------------------------------------------------------------


def new_feed(m: PlayfieldMap, chain_id: str, text: str) -> tuple[PlayfieldMap, Key]:
    """A feed at the pixel number typed, named after where it is; from the first supply, which is made if there is none.

    Raises PowerError.
    """
    number = int(Field("pixel", "feed at pixel", How.WHOLE).read(text))
    chain = m.chain(chain_id)
    if not 0 <= number < chain.length:
        raise PowerError(f"feed at pixel: the chain {plain(chain.name)} has pixels 0 to {chain.length - 1}.")
    if not m.supplies:
        m, _ = add_supply(m, "5 V supply")
    near = next((feed for feed in m.feeds if feed.chain == chain_id), None)
    if near is None and number:
        # Until now the plan took one at the board's end for granted: it stays.
        m, near = add_feed(m, chain_id, 0, supply=m.supplies[0].id, name="board end")
    supply = m.supplies[0].id if near is None or near.supply not in {s.id for s in m.supplies} else near.supply
    name = "board end" if number == 0 else "far end" if number == chain.length - 1 else f"at {number}"
    m, feed = add_feed(m, chain_id, number, supply=supply, name=name)
    return m, Key(Feed, feed.id, "pixel")


def new_supply(m: PlayfieldMap, text: str) -> tuple[PlayfieldMap, Key]:
    """A supply with the name typed. Raises PowerError."""
    m, supply = _made(add_supply, m, text, "supply")
    return m, Key(Supply, supply.id, "rating_a")


def new_batch(m: PlayfieldMap, text: str) -> tuple[PlayfieldMap, Key]:
    """A batch with the name typed. Raises PowerError."""
    m, batch = _made(add_batch, m, text, "batch")
    return m, Key(Batch, batch.id, "five_volt")


def _made(add: Any, m: PlayfieldMap, text: str, what: str) -> Any:
    name = storable(text).strip()
    if not name:
        raise PowerError(f"type a name for the {what}.")
    try:
        return add(m, name)
    except ValidationError:
        raise PowerError("this name is too long: 2,000 characters at most.") from None


def remove(m: PlayfieldMap, key: Key) -> PlayfieldMap:
    """The map without the feed, supply or batch an entry belongs to. Raises PowerError for anything else."""
    record = _record(m, key)
    if isinstance(record, Feed):
        return take_out(m, record)
    if isinstance(record, Supply):
        users = [plain(feed.name) for feed in m.feeds if feed.supply == record.id]
        if users:
            raise PowerError(f"feeds come from it: {', '.join(users[:3])}. Take them out, or give them another supply.")
        return take_out(m, record)
    if isinstance(record, Batch):
        if any(pixel.batch == record.id for _, _, pixel in m.walk_pixels()):
            raise PowerError("pixels are of this batch: give them another one first.")
        return take_out(m, record)
    raise PowerError("only feeds, supplies and batches can be taken out. Empty an entry to forget what it says.")


# -- ranges of pixels ---------------------------------------------------------------------------------------------

_RANGE = re.compile(r"\s*(?:(all)|(\d{1,6})(?:\s*-\s*(\d{1,6}))?)\s+(\S.*?)\s*", re.ASCII)


def _range(chain: Chain, text: str, what: str) -> tuple[range, str]:
    """Numbers and the rest of `14 …`, `10-20 …` or `all …`. Raises PowerError."""
    match = _RANGE.fullmatch(text)
    if match is None:
        raise PowerError(f"type pixels, then {what}: 14 …, 10-20 … or all …")
    every, first, last, rest = match.groups()
    if every:
        return range(chain.length), rest
    start, end = int(first), int(last if last is not None else first)
    if not 0 <= start <= end < chain.length:
        raise PowerError(f"the chain {plain(chain.name)} has pixels 0 to {chain.length - 1}.")
    return range(start, end + 1), rest


def give_batch(m: PlayfieldMap, chain_id: str, text: str) -> PlayfieldMap:
    """Say which batch pixels are of: `10-20 second reel`; the batch is made if it is new, `-` takes it away."""
    chain = m.chain(chain_id)
    numbers, name = _range(chain, storable(text), "the name of a batch")
    identifier: str | None = None
    if name != "-":
        found = next((b for b in m.batches if b.name.strip().casefold() == name.casefold()), None)
        if found is None:
            m, key = new_batch(m, name)
            identifier = key.id
        else:
            identifier = found.id
    chain = grown(m.chain(chain_id), numbers.stop)
    pixels = tuple(
        pixel.model_copy(update={"batch": identifier}) if number in numbers else pixel
        for number, pixel in enumerate(chain.pixels)
    )
    return replace_chain(m, chain.model_copy(update={"pixels": pixels}))


def set_levels(m: PlayfieldMap, chain_id: str, text: str) -> PlayfieldMap:
    """Set the level of the places of pixels: `10-20 128`; `-` forgets it. Raises PowerError."""
    numbers, rest = _range(m.chain(chain_id), text, "a level from 0 to 255 (or -)")
    level = None if rest == "-" else Field("level", "level", How.WHOLE).read(rest)
    if level is not None and not 0 <= level <= 255:
        raise PowerError("level: 0 to 255.")
    held = m.chain(chain_id).pixels
    places = dict.fromkeys(held[n].place for n in numbers if n < len(held) and held[n].place is not None)
    if not places:
        raise PowerError("no place is known at these pixels: a level belongs to a place.")
    for place in places:
        m = update_place(m, m.place_by_id[place or ""].model_copy(update={"level": level}))
    return m
