"""The lamp list on screen: rows changed, added and taken out; places joined to them. A frozen state and a pure step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from pydantic import ValidationError

from probe.document.joining import Match, join, join_all, places_of_lamp, propose, unjoin
from probe.document.lamp_table import pixels_of
from probe.document.model import Kind, Lamp, Place, PlayfieldMap
from probe.document.model.record import storable
from probe.document.operations import folded, set_lamps, update_place
from probe.document.proving import Proved, standings
from probe.task.steps import MOST_UNDO, BoardView, Effect, NotSaved, RingBell, Saved, SaveMap, board_view

FIELDS = ("number", "name", "area", "kind", "driver", "row", "column", "insert_colour", "group", "note")
_NUMBERS = frozenset({"number", "row", "column"})


class FieldError(ValueError):
    """What was typed is no lamp; `field` says where."""

    def __init__(self, field: str, what: str) -> None:
        super().__init__(what)
        self.field = field


@dataclass(frozen=True)
class Choose:
    """Another row (or, while joining, another proposal)."""

    by: int


@dataclass(frozen=True)
class ChooseAt:
    """A certain row."""

    at: int


@dataclass(frozen=True)
class Put:
    """This row instead of the one at `at`, or after the chosen one if that is None."""

    lamp: Lamp
    at: int | None


@dataclass(frozen=True)
class Remove:
    """Take the chosen row out. Its places keep their number."""


@dataclass(frozen=True)
class MoveRow:
    """Move the chosen row up (-1) or down (1)."""

    by: int


@dataclass(frozen=True)
class Propose:
    """Look for places that may be rows of the list, by name."""


@dataclass(frozen=True)
class Accept:
    """Join the proposal that is shown, or all sure ones."""

    all_sure: bool = False


@dataclass(frozen=True)
class Skip:
    """Leave the proposal that is shown unjoined."""


@dataclass(frozen=True)
class EndJoining:
    """Back to the list."""


@dataclass(frozen=True)
class JoinTo:
    """Join the chosen row to this place."""

    place: str


@dataclass(frozen=True)
class Unjoin:
    """Take all places off the chosen row."""


@dataclass(frozen=True)
class Undo:
    """Take the last change back."""


@dataclass(frozen=True)
class Retry:
    """Save again."""


@dataclass(frozen=True)
class LampsWork:
    """The state. `matches` are the proposals left while joining, else None."""

    map: PlayfieldMap
    at: int = 0
    matches: tuple[Match, ...] | None = None
    board: BoardView = field(default_factory=BoardView)
    message: str = ""
    unsaved: str = ""
    past: tuple[PlayfieldMap, ...] = ()

    @property
    def lamp(self) -> Lamp | None:
        """The chosen row."""
        return self.map.lamps[self.at] if self.at < len(self.map.lamps) else None

    @property
    def match(self) -> Match | None:
        """The proposal that is shown."""
        return self.matches[0] if self.matches else None

    @cached_property
    def joined(self) -> tuple[tuple[tuple[Place, ...], str], ...]:
        """For each row its places, and their pixels as `0:14 0:15`."""
        found = []
        for lamp in self.map.lamps:
            places = tuple(places_of_lamp(self.map, lamp))
            pixels = " ".join(f"{p.output}:{p.number}" for p in pixels_of(self.map, places))
            found.append((places, pixels))
        return tuple(found)

    @cached_property
    def standings(self) -> tuple[Proved, ...]:
        """What was proved of each lamp and group."""
        return standings(self.map)


def start(m: PlayfieldMap) -> LampsWork:
    """At the first row."""
    return LampsWork(m)


def texts_of(lamp: Lamp | None) -> dict[str, str]:
    """A row as texts to be changed by hand; of None an empty one."""
    if lamp is None:
        return dict.fromkeys(FIELDS, "")
    values = {name: getattr(lamp, name) for name in FIELDS}
    return {name: "" if value is None else str(value) for name, value in values.items()}


def lamp_of(texts: Mapping[str, str]) -> Lamp:
    """A row from texts. Raises FieldError."""
    fields: dict[str, object] = {}
    for name in FIELDS:
        text = storable(texts.get(name, "")).strip()
        if name in _NUMBERS:
            if text and not (text.isascii() and text.isdecimal()):
                raise FieldError(name, f"{name}: {text[:20]!r} is not a whole number")
            fields[name] = int(text[:9]) if text else None
        elif name == "kind":
            kinds = [kind for kind in Kind if folded(kind.value).startswith(folded(text))] if text else [Kind.INSERT]
            if not kinds:
                raise FieldError(name, f"kind: one of {', '.join(Kind)}")
            fields[name] = kinds[0]
        else:
            fields[name] = text
    if not fields["name"]:
        raise FieldError("name", "name: every lamp needs one")
    if fields["number"] is None and not fields["group"]:
        raise FieldError("number", "a number, or a group if no lamp output of the game switches it")
    try:
        return Lamp.model_validate(fields)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        at = str(fault["loc"][0]) if fault["loc"] else "name"
        raise FieldError(at, f"{at}: {fault['msg'][:1].lower()}{fault['msg'][1:]}") from None


def step(work: LampsWork, given: object, now_s: float) -> tuple[LampsWork, tuple[Effect, ...]]:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Choose(by):
            return replace(work, at=max(0, min(len(work.map.lamps) - 1, work.at + by)), message=""), ()
        case ChooseAt(at):
            return replace(work, at=max(0, min(len(work.map.lamps) - 1, at))), ()
        case Put(lamp, at):
            return _put(work, lamp, at)
        case Remove():
            return _remove(work)
        case MoveRow(by):
            return _move_row(work, by)
        case Propose():
            matches = propose(work.map)
            if not matches:
                words = "no place is left that looks like a row of the list"
                return replace(work, matches=None, message=words), (RingBell(),)
            sure = sum(match.sure for match in matches)
            return replace(work, matches=matches, message=f"{len(matches)} proposals, {sure} of them sure"), ()
        case Accept(all_sure):
            return _accept(work, all_sure)
        case Skip():
            return _next_match(work, work.matches[1:] if work.matches else ()), ()
        case EndJoining():
            return replace(work, matches=None, message=""), ()
        case JoinTo(place_id):
            if work.lamp is None or place_id not in work.map.place_by_id:
                return work, (RingBell(),)
            label = work.map.place_by_id[place_id].label
            return _changed(work, join(work.map, place_id, work.lamp), f"{label} joined to {work.lamp.name}")
        case Unjoin():
            return _unjoin(work)
        case Undo():
            if not work.past:
                return replace(work, message="nothing to undo"), (RingBell(),)
            m = work.past[-1]
            at = max(0, min(work.at, len(m.lamps) - 1))
            return replace(work, map=m, past=work.past[:-1], at=at, matches=None, message="undone"), (SaveMap(m),)
        case Retry():
            return work, (SaveMap(work.map),)
        case Saved():
            return replace(work, unsaved=""), ()
        case NotSaved(why):
            return replace(work, unsaved=why), (RingBell(),)
        case _:
            return replace(work, board=board_view(work.board, given)), ()  # type: ignore[arg-type]


def _changed(work: LampsWork, m: PlayfieldMap, message: str) -> tuple[LampsWork, tuple[Effect, ...]]:
    if m is work.map:
        return replace(work, message=message), ()
    return replace(work, map=m, past=(*work.past, work.map)[-MOST_UNDO:], message=message), (SaveMap(m),)


def _put(work: LampsWork, lamp: Lamp, at: int | None) -> tuple[LampsWork, tuple[Effect, ...]]:
    lamps = work.map.lamps
    if at is None or at >= len(lamps):
        where = min(work.at + 1, len(lamps))
        m = set_lamps(work.map, (*lamps[:where], lamp, *lamps[where:]))
        return _changed(replace(work, at=where), m, f"{lamp.name} added")
    old = lamps[at]
    m = set_lamps(work.map, (*lamps[:at], lamp, *lamps[at + 1 :]))
    for place in places_of_lamp(work.map, old):
        m = update_place(m, _following(place, old, lamp))
    return _changed(replace(work, at=at), m, f"{lamp.name} changed")


def _following(place: Place, old: Lamp, new: Lamp) -> Place:
    """A place of a row that was changed: it stays joined."""
    if old.number is not None and new.number is not None:
        numbers = tuple(dict.fromkeys(new.number if n == old.number else n for n in place.lamps))
        return place.model_copy(update={"lamps": numbers})
    if old.number is None and new.number is None:
        return place.model_copy(update={"group": new.group, "label": new.name})
    if new.number is not None:
        return place.model_copy(update={"lamps": (*place.lamps, new.number), "group": new.group})
    left = tuple(n for n in place.lamps if n != old.number)
    return place.model_copy(update={"lamps": left, "group": new.group, "label": new.name})


def _remove(work: LampsWork) -> tuple[LampsWork, tuple[Effect, ...]]:
    lamp = work.lamp
    if lamp is None:
        return replace(work, message="the list is empty"), (RingBell(),)
    lamps = work.map.lamps
    m = set_lamps(work.map, (*lamps[: work.at], *lamps[work.at + 1 :]))
    at = max(0, min(work.at, len(m.lamps) - 1))
    return _changed(replace(work, at=at), m, f"{lamp.name} taken out; Ctrl+Z brings it back")


def _move_row(work: LampsWork, by: int) -> tuple[LampsWork, tuple[Effect, ...]]:
    to = work.at + by
    if work.lamp is None or not 0 <= to < len(work.map.lamps):
        return work, (RingBell(),)
    lamps = list(work.map.lamps)
    lamps.insert(to, lamps.pop(work.at))
    return _changed(replace(work, at=to), set_lamps(work.map, lamps), "")


def _accept(work: LampsWork, all_sure: bool) -> tuple[LampsWork, tuple[Effect, ...]]:
    if not work.matches:
        return replace(work, message="no proposal is shown"), (RingBell(),)
    if all_sure:
        sure = [match for match in work.matches if match.sure]
        rest = tuple(match for match in work.matches if not match.sure)
        joined, effects = _changed(work, join_all(work.map, sure), f"{len(sure)} joined")
        return _next_match(joined, rest, joined.message), effects
    first, *left = work.matches
    label = work.map.place_by_id[first.place].label
    joined, effects = _changed(work, join(work.map, first.place, first.lamp), f"{label} joined to {first.lamp.name}")
    return _next_match(joined, tuple(left), joined.message), effects


def _next_match(work: LampsWork, left: tuple[Match, ...], words: str = "") -> LampsWork:
    end = "no more proposals" if not left else ""
    message = "; ".join(part for part in (words, end) if part)
    return replace(work, matches=left or None, message=message)


def _unjoin(work: LampsWork) -> tuple[LampsWork, tuple[Effect, ...]]:
    lamp = work.lamp
    if lamp is None:
        return work, (RingBell(),)
    m = work.map
    places = places_of_lamp(m, lamp)
    for place in places:
        m = unjoin(m, place.id, lamp)
    words = f"{len(places)} places taken off {lamp.name}" if places else f"{lamp.name} has no place"
    return _changed(work, m, words)
