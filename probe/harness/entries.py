"""What a person sees and changes of power and wiring: fields read, shown and stepped; lists of entries; maps with one
entry changed. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum, StrEnum
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from probe.document.model import Chain, PlayfieldMap, Record
from probe.document.model.harness import Batch, Connector, Feed, Fixing, JoinedTo, Joint, Power, Supply
from probe.document.model.record import storable
from probe.document.operations import grown, replace_chain, update_place
from probe.document.outside_text import spaced
from probe.document.plural import many
from probe.document.wiring import (
    add_batch,
    add_feed,
    add_supply,
    batch_named,
    feed_number,
    joint_at,
    put,
    put_joint,
    take_out,
)
from probe.harness.base import PowerError
from probe.harness.copper import BLADE_FUSES, SUPPLY_SIZES_A
from probe.harness.from_map import (
    ASSUMED_FEED_MM,
    ASSUMED_FEED_WIRE,
    ASSUMED_SPACING_MM,
    ASSUMED_WIRE,
    nominal_volt,
)
from probe.harness.joints import JointSeverity, check_joint, joint_view
from probe.harness.pixels import PIXEL_KINDS

AWG_STEPS: Final = tuple(range(30, 10, -2))  # thicker and thicker
MM2_STEPS: Final = (0.14, 0.22, 0.25, 0.34, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0)
NOT_NOTED: Final = "not noted"
PLUS: Final = JoinedTo.FIVE_VOLT.value


class How(Enum):
    """What a field holds."""

    GAUGE = "gauge"
    NUMBER = "number"
    WHOLE = "whole"
    TEXT = "text"
    CHOICE = "choice"
    FLAG = "flag"


@dataclass(frozen=True)
class Field:
    """One field of a record.

    `by` is the step of a number, `ladder` the values it steps along instead. `optional`: may be emptied. `silent` is what
    an empty field means.
    """

    name: str
    label: str
    how: How
    unit: str = ""
    by: float = 1
    ladder: tuple[float, ...] = ()
    choices: tuple[str, ...] = ()
    optional: bool = False
    silent: str = NOT_NOTED

    @property
    def hint(self) -> str:
        """What to type."""
        words = {
            How.GAUGE: "gauge, such as 22 AWG or 0.34 mm2",
            How.NUMBER: f"a number{' in ' + self.unit if self.unit else ''}",
            How.WHOLE: f"a whole number{' in ' + self.unit if self.unit else ''}",
            How.TEXT: "any text",
            How.CHOICE: " / ".join(choice or "empty" for choice in self.choices),
            How.FLAG: "yes or no",
        }[self.how]
        if self.name == "made_on":
            words = "a day, such as 2025-03-16"
        return words + (f"; empty: {self.silent}" if self.optional else "")

    def shown(self, value: Any) -> str:
        """A value as the screen shows it."""
        if value is None or value == "":
            return self.silent
        if self.how is How.FLAG:
            return "yes" if value else "no"
        if self.how in (How.NUMBER, How.WHOLE):
            return f"{value:g}{' ' + self.unit if self.unit else ''}"
        return spaced(str(value))

    def typed(self, value: Any) -> str:
        """A value as it stands in the entry line."""
        if value is None:
            return ""
        if self.how is How.FLAG:
            return "yes" if value else "no"
        return f"{value:g}" if self.how in (How.NUMBER, How.WHOLE) else str(value)

    def read(self, text: str) -> Any:
        """What a text means. Raises PowerError that says what to type."""
        text = text.strip()
        if not text:
            if self.optional:
                return "" if self.how in (How.TEXT, How.CHOICE) else None
            raise PowerError(f"{self.label}: this cannot be empty. Type {self.hint}.")
        try:
            return _READERS[self.how](self, text)
        except ValueError:
            shown = spaced(text)[:30]
            raise PowerError(f"{self.label}: {shown!r} is not understood. Type {self.hint}.") from None

    def stepped(self, value: Any, by: int) -> Any:
        """The value one step up or down; for a choice or flag the next one. Raises PowerError for texts."""
        if self.how is How.FLAG:
            return not value
        if self.how is How.CHOICE:
            at = self.choices.index(value) if value in self.choices else 0
            return self.choices[(at + by) % len(self.choices)]
        if self.how is How.GAUGE:
            return _next_gauge(value, by)
        if self.how in (How.NUMBER, How.WHOLE):
            if self.ladder:
                return _along(self.ladder, value, by)
            start = 0 if value is None else value
            nearest = round((start + by * self.by) / self.by) * self.by
            return round(nearest, 6) if self.how is How.NUMBER else int(nearest)
        raise PowerError(f"{self.label}: Enter changes it, + and - do not.")


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _read_gauge(_: Field, text: str) -> str:
    words = text.lower().replace("²", "2").replace("mm2", " mm2").replace("awg", " awg ").split()
    unit = next((word for word in ("awg", "mm2") if word in words), "")
    sizes = [word for word in words if word != unit]
    if len(sizes) != 1:
        raise ValueError(text)
    size = _number(sizes[0])
    if unit == "awg" or (not unit and size.is_integer() and size >= 10):
        return f"{int(sizes[0])} AWG"
    return f"{size:g} mm²"


def _read_number(field: Field, text: str) -> float:
    return _number(text.lower().removesuffix(field.unit.lower()).strip())


def _read_whole(field: Field, text: str) -> int:
    value = _read_number(field, text)
    if not value.is_integer():
        raise ValueError(text)
    return int(value)


def _read_choice(field: Field, text: str) -> str:
    folded = text.casefold()
    found = [c for c in field.choices if c.casefold() == folded] or [
        c for c in field.choices if c and c.casefold().startswith(folded)
    ]
    if len(found) != 1:
        raise ValueError(text)
    return found[0]


def _read_flag(_: Field, text: str) -> bool:
    word = text.casefold()
    if word in ("yes", "y", "on", "1", "true"):
        return True
    if word in ("no", "n", "off", "0", "false"):
        return False
    raise ValueError(text)


_READERS: Final[dict[How, Callable[[Field, str], Any]]] = {
    How.GAUGE: _read_gauge,
    How.NUMBER: _read_number,
    How.WHOLE: _read_whole,
    How.TEXT: lambda _, text: text,
    How.CHOICE: _read_choice,
    How.FLAG: _read_flag,
}


def _along(ladder: Sequence[float], value: float | None, by: int) -> float:
    """The next value of an ascending ladder above or below."""
    if value is None:
        return ladder[0] if by > 0 else ladder[-1]
    if by > 0:
        return next((step for step in ladder if step > value + 1e-9), ladder[-1])
    return next((step for step in reversed(ladder) if step < value - 1e-9), ladder[0])


def _next_gauge(value: str | None, by: int) -> str:
    """Thicker for +1, thinner for -1."""
    size, unit = (value or "22 AWG").split()
    if unit == "AWG":
        return f"{-_along([-gauge for gauge in AWG_STEPS], -float(size), by):g} AWG"
    return f"{_along(MM2_STEPS, float(size), by):g} mm²"


_JOINED = tuple(JoinedTo)
_COLOUR = {"how": How.TEXT, "optional": True, "silent": "as the batch"}


def _note() -> Field:
    return Field("note", "note", How.TEXT, optional=True, silent="none")


FIELDS: Final[dict[type[Record], tuple[Field, ...]]] = {
    Chain: (
        Field("wire", "wire between pixels", How.GAUGE, optional=True),
        Field("ground_wire", "ground wire", How.GAUGE, optional=True, silent="as plus wire"),
        Field("spacing_mm", "spacing of pixels", How.NUMBER, "mm", by=10, optional=True),
        Field("connector", "plugs between pixels", How.CHOICE, choices=tuple(Connector), optional=True),
        Field("ceiling_ma", "ceiling of the output", How.WHOLE, "mA", by=50),
    ),
    Power: (
        Field("ceiling_level", "greatest level sent", How.WHOLE, by=16),
        Field("typical_percent", "of that, in play", How.WHOLE, "%", by=5),
        Field("drive_volt", "board's data level", How.NUMBER, "V", by=0.1),
        Field("frames_per_s", "frames a second", How.NUMBER, by=5),
        Field("ambient_c", "air under playfield", How.NUMBER, "°C", by=5),
        Field("copper_c", "copper of the wires", How.NUMBER, "°C", by=5),
        Field("wires_in_bundle", "wires in a bundle", How.WHOLE),
    ),
    Supply: (
        Field("name", "name", How.TEXT),
        Field("volt", "voltage", How.NUMBER, "V", by=0.1),
        Field("rating_a", "rating", How.NUMBER, "A", ladder=SUPPLY_SIZES_A, optional=True),
        Field("board_ma", "boards fed from it", How.WHOLE, "mA", by=10),
        Field("usb", "is a USB port", How.FLAG),
    ),
    Feed: (
        Field("name", "name", How.TEXT),
        Field("wire", "wire", How.GAUGE, optional=True),
        Field("length_mm", "length, one way", How.NUMBER, "mm", by=100, optional=True),
        Field("fuse_a", "fuse fitted", How.NUMBER, "A", ladder=tuple(BLADE_FUSES), optional=True),
        Field("connector", "plugs in it", How.CHOICE, choices=tuple(Connector), optional=True),
        _note(),
    ),
    Joint: (
        Field("length_mm", "length of stretch", How.NUMBER, "mm", by=10, optional=True),
        Field("fixing", "held by", How.CHOICE, choices=tuple(Fixing)),
        Field("made_on", "made on", How.TEXT, optional=True),
        Field("five_volt_to", "plus joined to", How.CHOICE, choices=_JOINED, optional=True, silent="not looked"),
        Field("ground_to", "ground joined to", How.CHOICE, choices=_JOINED, optional=True, silent="not looked"),
        Field("data_to", "data out joined to", How.CHOICE, choices=_JOINED, optional=True, silent="not looked"),
        Field("checked", "checked", How.FLAG),
        Field("leaving_5v", "plus leaving", **_COLOUR),  # type: ignore[arg-type]
        Field("leaving_ground", "ground leaving", **_COLOUR),  # type: ignore[arg-type]
        Field("leaving_data", "data out", **_COLOUR),  # type: ignore[arg-type]
        Field("arriving_5v", "plus arriving", **_COLOUR),  # type: ignore[arg-type]
        Field("arriving_ground", "ground arriving", **_COLOUR),  # type: ignore[arg-type]
        Field("arriving_data", "data in", **_COLOUR),  # type: ignore[arg-type]
        Field("five_volt_open", "plus left open", How.FLAG),
        Field("extra_mohm", "extra resistance", How.NUMBER, "mΩ", by=10),
        _note(),
    ),
    Batch: (
        Field("name", "name", How.TEXT),
        Field("five_volt", "plus", How.TEXT, optional=True),
        Field("ground", "ground", How.TEXT, optional=True),
        Field("data_in", "data in", How.TEXT, optional=True),
        Field("data_out", "data out", How.TEXT, optional=True),
        Field("chip", "pixel kind", How.TEXT, optional=True, silent="as the chain"),
        Field("white", "white, as RRGGBB", How.TEXT, optional=True, silent="as common parts, FFBF12"),
        _note(),
    ),
}


# -- entries ------------------------------------------------------------------------------------------------------

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
class PlanEntry:
    """A line of a list: a heading (no key), or something to change. `assumed`: what is taken while nothing is noted."""

    label: str
    value: str = ""
    key: Key | None = None
    typed: str = ""
    hint: str = ""
    assumed: str = ""


def power_entries(map_: PlayfieldMap, chain_id: str) -> tuple[PlanEntry, ...]:
    """Everything that bears on the power of a chain."""
    chain = map_.chain(chain_id)
    found = [PlanEntry(f"Chain {spaced(chain.name)}"), *_of(chain, chain.id)]
    for feed in map_.feeds:
        if feed.chain == chain_id:
            found += [PlanEntry(f"Feed {spaced(feed.name)}"), *_feed_entries(map_, feed)]
    for supply in map_.supplies:
        found += [PlanEntry(f"Supply {spaced(supply.name)}"), *_of(supply, supply.id)]
    return (*found, PlanEntry("The plan"), *_of(map_.power or Power(), ""))


def joint_entries(map_: PlayfieldMap, chain_id: str, number: int) -> tuple[PlanEntry, ...]:
    """Everything noted of one joint."""
    volts = f"{nominal_volt(map_, map_.chain(chain_id)):g} V"
    return tuple(_in_volts(entry, volts) for entry in _of(joint_at(map_.chain(chain_id), number), chain_id, number))


def _in_volts(entry: PlanEntry, volts: str) -> PlanEntry:
    """What a wire is joined to, by the part's own volts; the map knows the plus wire as 5 V."""
    if entry.key is None or not entry.key.field.endswith("_to") or volts == PLUS:
        return entry
    texts = {name: getattr(entry, name).replace(PLUS, volts) for name in ("value", "typed", "hint")}
    return replace(entry, **texts)


def batch_entries(map_: PlayfieldMap) -> tuple[PlanEntry, ...]:
    """The colour codes."""
    found: list[PlanEntry] = []
    for batch in map_.batches:
        held = sum(pixel.batch == batch.id for _, _, pixel in map_.walk_pixels())
        found += [PlanEntry(f"Batch {spaced(batch.name)}, {many(held, 'pixel')}"), *_of(batch, batch.id)]
    return tuple(found)


def _of(record: Record, identifier: str, number: int = 0) -> Iterator[PlanEntry]:
    for field in FIELDS[type(record)]:
        yield _entry(record, field, getattr(record, field.name), identifier, number)


def _entry(record: Record, field: Field, value: Any, identifier: str, number: int = 0) -> PlanEntry:
    key = Key(type(record), identifier, field.name, number)
    assumed = _ASSUMED.get((type(record), field.name), "") if value is None else ""
    return PlanEntry(field.label, field.shown(value), key, field.typed(value), field.hint, assumed)


def _feed_entries(map_: PlayfieldMap, feed: Feed) -> Iterator[PlanEntry]:
    number = feed_number(map_, feed)
    name, *others = FIELDS[Feed]
    yield _entry(feed, name, feed.name, feed.id)
    yield PlanEntry(
        PIXEL.label, "no longer there" if number is None else str(number), Key(Feed, feed.id, "pixel"),
        "" if number is None else str(number), PIXEL.hint,
    )  # fmt: skip
    supply = next((s.name for s in map_.supplies if s.id == feed.supply), None)
    known = " / ".join(spaced(s.name) for s in map_.supplies) or "none yet: F7, S adds one"
    yield PlanEntry(
        SUPPLY.label, "not in the map" if supply is None else spaced(supply), Key(Feed, feed.id, "supply"), supply or "",
        known,
    )  # fmt: skip
    for field in others:
        yield _entry(feed, field, getattr(feed, field.name), feed.id)


# -- changing -----------------------------------------------------------------------------------------------------


def change(map_: PlayfieldMap, key: Key, text: str) -> PlayfieldMap:
    """The map with what was typed in one entry. Raises PowerError that says what to type."""
    text = storable(text)
    if key.kind is Joint and key.field.endswith("_to"):
        volts = f"{nominal_volt(map_, map_.chain(key.id)):g} V"
        text = PLUS if text.strip().casefold() == volts.casefold() else text
    if key.kind is Feed and key.field == "pixel":
        return _move_feed(map_, key.id, int(PIXEL.read(text)))
    if key.kind is Feed and key.field == "supply":
        return put(map_, _valid(_feed(map_, key.id), supply=_supply_named(map_, text).id))
    field = _field(key)
    if text == field.typed(getattr(_record(map_, key), key.field)):
        return map_  # looked at and left, spaces around it included
    return _set(map_, key, field.read(text))


def step(map_: PlayfieldMap, key: Key, by: int) -> PlayfieldMap:
    """The map with one entry a step up or down: +1 is more, thicker, or the next choice. Raises PowerError."""
    if key.kind is Feed and key.field == "pixel":
        number = feed_number(map_, _feed(map_, key.id))
        return _move_feed(map_, key.id, (0 if number is None else number) + by)
    if key.kind is Feed and key.field == "supply":
        if not map_.supplies:
            raise PowerError("there is no supply yet: F7, S adds one.")
        names = [supply.id for supply in map_.supplies]
        feed = _feed(map_, key.id)
        at = names.index(feed.supply) if feed.supply in names else -by
        return put(map_, _valid(feed, supply=names[(at + by) % len(names)]))
    field = _field(key)
    value = getattr(_record(map_, key), key.field)
    if value is None and field.how in (How.NUMBER, How.WHOLE, How.GAUGE):
        assumed = _ASSUMED.get((key.kind, key.field))
        value = field.read(assumed) if assumed else None
    return _set(map_, key, field.stepped(value, by))


def _field(key: Key) -> Field:
    return next(field for field in FIELDS[key.kind] if field.name == key.field)


def _record(map_: PlayfieldMap, key: Key) -> Record:
    if key.kind is Chain:
        return map_.chain(key.id)
    if key.kind is Power:
        return map_.power or Power()
    if key.kind is Joint:
        return joint_at(map_.chain(key.id), key.number)
    lists: dict[type[Record], tuple[Record, ...]] = {Supply: map_.supplies, Feed: map_.feeds, Batch: map_.batches}
    return next(record for record in lists[key.kind] if getattr(record, "id", None) == key.id)


def _feed(map_: PlayfieldMap, identifier: str) -> Feed:
    return next(feed for feed in map_.feeds if feed.id == identifier)


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
        message = fault["msg"].removeprefix("Value error, ")
        raise PowerError(f"{labels.get(name, name)}: {message[:1].lower()}{message[1:]}.") from None
    return record.model_copy(update=fields)


def _set(map_: PlayfieldMap, key: Key, value: Any) -> PlayfieldMap:
    record = _record(map_, key)
    if isinstance(record, Batch) and key.field == "chip":
        value = _chip(value)
    if isinstance(record, Batch) and key.field == "white":
        value = value.strip().removeprefix("#").upper()
    held = getattr(record, key.field)
    if isinstance(held, StrEnum):
        value = type(held)(value)
    if isinstance(record, Joint):
        return _set_joint(map_, key, record, value)
    record = _valid(record, **{key.field: value})
    if isinstance(record, Chain):
        return replace_chain(map_, record)
    if isinstance(record, Power):
        return map_.model_copy(update={"power": None if record == Power() else record})
    if isinstance(record, Supply):
        return put(map_, record)
    if isinstance(record, Feed):
        return put(map_, record)
    assert isinstance(record, Batch)
    return put(map_, record)


def _chip(text: str) -> str | None:
    if not text:
        return None
    if text.casefold() not in {name.casefold() for name in PIXEL_KINDS}:
        raise PowerError(f"pixel kind {spaced(text)[:30]!r} is not known. Type one of: {', '.join(PIXEL_KINDS)}.")
    return text.casefold()


def _set_joint(map_: PlayfieldMap, key: Key, joint: Joint, value: Any) -> PlayfieldMap:
    """A joint of unlike functions is never called checked, and anything newly found takes the mark away."""
    fields: dict[str, Any] = {key.field: value}
    if key.field.endswith("_to") and value != getattr(joint, key.field):
        fields["checked"] = False
    new = put_joint(map_, key.id, _valid(joint, **fields))
    if key.field == "checked" and value:
        view = joint_view(new, new.chain(key.id), key.number)
        wrong = [problem for problem in check_joint(view) if problem.severity is JointSeverity.REFUSE]
        if wrong:
            raise PowerError(f"this joint cannot be called checked: {wrong[0].text}")
    return new


def _move_feed(map_: PlayfieldMap, identifier: str, number: int) -> PlayfieldMap:
    feed = _feed(map_, identifier)
    chain = map_.chain_by_id.get(feed.chain)
    if chain is None:
        raise PowerError("its chain is no longer in the map: take the feed out.")
    if not 0 <= number < chain.length:
        raise PowerError(f"at pixel: the chain {spaced(chain.name)} has pixels 0 to {chain.length - 1}.")
    chain = grown(chain, number + 1)
    return put(replace_chain(map_, chain), feed.model_copy(update={"pixel": chain.pixels[number].id}))


def _supply_named(map_: PlayfieldMap, text: str) -> Supply:
    folded = text.strip().casefold()
    exact = [s for s in map_.supplies if s.name.strip().casefold() == folded]
    near = exact or [s for s in map_.supplies if folded and s.name.casefold().startswith(folded)]
    if len(near) != 1 and not exact:
        known = ", ".join(spaced(s.name) for s in map_.supplies) or "none yet (F7, S adds one)"
        raise PowerError(f"from supply: type the name of one: {known}.")
    return near[0]


# -- adding and taking out ----------------------------------------------------------------------------------------


def new_feed(map_: PlayfieldMap, chain_id: str, text: str) -> tuple[PlayfieldMap, Key]:
    """A feed at the pixel number typed, named after where it is; from the first supply, which is made if there is none.

    Raises PowerError.
    """
    number = int(Field("pixel", "feed at pixel", How.WHOLE).read(text))
    chain = map_.chain(chain_id)
    if not 0 <= number < chain.length:
        raise PowerError(f"feed at pixel: the chain {spaced(chain.name)} has pixels 0 to {chain.length - 1}.")
    if not map_.supplies:
        volt = nominal_volt(map_, chain)
        map_, first = add_supply(map_, f"{volt:g} V supply")
        if first.volt != volt:
            map_ = put(map_, first.model_copy(update={"volt": volt}))
    near = next((feed for feed in map_.feeds if feed.chain == chain_id), None)
    if near is None and number:
        # Until now the plan took one at the board's end for granted: it stays.
        map_, near = add_feed(map_, chain_id, 0, supply=map_.supplies[0].id, name="board end")
    supply = map_.supplies[0].id if near is None or near.supply not in {s.id for s in map_.supplies} else near.supply
    name = "board end" if number == 0 else "far end" if number == chain.length - 1 else f"at {number}"
    map_, feed = add_feed(map_, chain_id, number, supply=supply, name=name)
    return map_, Key(Feed, feed.id, "pixel")


def new_supply(map_: PlayfieldMap, text: str) -> tuple[PlayfieldMap, Key]:
    """A supply with the name typed. Raises PowerError."""
    map_, supply = _made(add_supply, map_, text, "supply")
    return map_, Key(Supply, supply.id, "rating_a")


def new_batch(map_: PlayfieldMap, text: str) -> tuple[PlayfieldMap, Key]:
    """A batch with the name typed. Raises PowerError."""
    map_, batch = _made(add_batch, map_, text, "batch")
    return map_, Key(Batch, batch.id, "five_volt")


def _made(add: Any, map_: PlayfieldMap, text: str, what: str) -> Any:
    name = storable(text).strip()
    if not name:
        raise PowerError(f"type a name for the {what}.")
    try:
        return add(map_, name)
    except ValidationError:
        raise PowerError("this name is too long: 2,000 characters at most.") from None


def remove(map_: PlayfieldMap, key: Key) -> PlayfieldMap:
    """The map without the feed, supply or batch an entry belongs to. Raises PowerError for anything else."""
    record = _record(map_, key)
    if isinstance(record, Feed):
        return take_out(map_, record)
    if isinstance(record, Supply):
        users = [spaced(feed.name) for feed in map_.feeds if feed.supply == record.id]
        if users:
            raise PowerError(f"feeds come from it: {', '.join(users[:3])}. Take them out, or give them another supply.")
        return take_out(map_, record)
    if isinstance(record, Batch):
        if any(pixel.batch == record.id for _, _, pixel in map_.walk_pixels()):
            raise PowerError("pixels are of this batch: give them another one first.")
        return take_out(map_, record)
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
        raise PowerError(f"the chain {spaced(chain.name)} has pixels 0 to {chain.length - 1}.")
    return range(start, end + 1), rest


def set_batch(map_: PlayfieldMap, chain_id: str, text: str) -> PlayfieldMap:
    """Say which batch pixels are of: `10-20 second reel`; the batch is made if it is new, `-` takes it away."""
    chain = map_.chain(chain_id)
    numbers, name = _range(chain, storable(text), "the name of a batch")
    identifier: str | None = None
    if name != "-":
        found = batch_named(map_, name)
        if found is None:
            map_, key = new_batch(map_, name)
            identifier = key.id
        else:
            identifier = found.id
    chain = grown(map_.chain(chain_id), numbers.stop)
    pixels = tuple(
        pixel.model_copy(update={"batch": identifier}) if number in numbers else pixel
        for number, pixel in enumerate(chain.pixels)
    )
    return replace_chain(map_, chain.model_copy(update={"pixels": pixels}))


def set_levels(map_: PlayfieldMap, chain_id: str, text: str) -> PlayfieldMap:
    """Set the level of the places of pixels: `10-20 128`; `-` forgets it. Raises PowerError."""
    numbers, rest = _range(map_.chain(chain_id), text, "a level from 0 to 255 (or -)")
    level = None if rest == "-" else Field("level", "level", How.WHOLE).read(rest)
    if level is not None and not 0 <= level <= 255:
        raise PowerError("level: 0 to 255.")
    held = map_.chain(chain_id).pixels
    places = dict.fromkeys(held[n].place for n in numbers if n < len(held) and held[n].place is not None)
    if not places:
        raise PowerError("no place is known at these pixels: a level belongs to a place.")
    for place in places:
        map_ = update_place(map_, map_.place_by_id[place or ""].model_copy(update={"level": level}))
    return map_
