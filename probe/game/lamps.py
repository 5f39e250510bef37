"""The lamp list: rows changed, added, moved and taken out; places joined to them. A task: frozen state, pure step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from probe.document.joining import Match, join, join_all, places_of_lamp, propose, unjoin
from probe.document.lamp_table import pixels_of
from probe.document.local_time import local_date
from probe.document.model import Lamp, Place, PlayfieldMap
from probe.document.operations import folded, set_lamps, update_place
from probe.document.plural import many
from probe.document.proving import Proved, standings
from probe.game.keys import LAMPS, AddLamp, JoinAllSure, JoinByHand, JoinByName, MoveLamp, RemoveLamp, Unjoin
from probe.game.lamp_form import LampFacts
from probe.game.pick import PickFacts
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import AsBelow, Light
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.task.views import Line, Row, RowsView, Spot, in_hand

COLUMNS = ("Lamp", "Name", "Area", "Kind", "Row/col", "Driver", "Pixels", "Group")
_WIDTHS = (5, 26, 14, 10, 7, 8, 14, 24)


@dataclass(frozen=True)
class ChooseLamp:
    """A certain row."""

    at: int


@dataclass(frozen=True)
class PutLamp:
    """This row instead of the one at `at`, or after the one in hand if that is None."""

    lamp: Lamp
    at: int | None


@dataclass(frozen=True)
class JoinTo:
    """Join the row in hand to this place."""

    place: str


@dataclass(frozen=True, eq=False)
class LampListing:
    """The rows of one map with their places and pixels; made once however often they are drawn."""

    map: PlayfieldMap

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

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """The rows to be shown."""
        return tuple(
            Row(at, _cells(lamp, *joined))
            for at, (lamp, joined) in enumerate(zip(self.map.lamps, self.joined, strict=True))
        )


@dataclass(frozen=True, kw_only=True)
class LampsWork(TaskState):
    """The state. `matches` are the proposals left while joining, else None; `editing` is the row whose form is open."""

    listing: LampListing
    at: int = 0
    matches: tuple[Match, ...] | None = None
    editing: int | None = None

    @property
    def lamp(self) -> Lamp | None:
        """The row in hand."""
        return self.map.lamps[self.at] if self.at < len(self.map.lamps) else None

    @property
    def match(self) -> Match | None:
        """The proposal that is shown."""
        return self.matches[0] if self.matches else None


_N = Next[LampsWork]


class LampsTask(Task[LampsWork]):
    """The rows of the lamp list."""

    name = "lamps"
    commands = LAMPS

    def step(self, s: LampsWork, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Choose(by):
                return _at(replace(s, message=""), s.at + by), ()
            case ChooseLamp(at):
                return _at(s, at), ()
            case ev.Take():
                return _accept(s, (s.match,)) if s.match is not None else _open_form(s, s.at)
            case AddLamp():
                return _open_form(s, None)
            case PutLamp(lamp, at):
                return _put(s, lamp, at)
            case RemoveLamp():
                return _remove(s)
            case MoveLamp(by):
                return _move_row(s, by)
            case JoinByName():
                return (_next_match(s, s.matches[1:]), ()) if s.matches else _propose(s)
            case JoinAllSure():
                s, effects = (s, ()) if s.matches else _propose(s)
                sure = tuple(match for match in s.matches or () if match.sure)
                return _accept(s, sure) if s.matches else (s, effects)
            case JoinByHand():
                if s.lamp is None:
                    return s, ()
                facts = PickFacts(f"Which place does {s.lamp.name} light?", like=s.lamp.name)
                return replace(s, message=""), (fx.Open("pick", facts),)
            case JoinTo(place_id):
                return _join_to(s, place_id)
            case Unjoin():
                return _unjoin(s)
            case ev.GoOpen(task):
                # a revision first: the table that is written bears its number
                return s, (fx.MakeRevision(), fx.Open(task))
            case ev.TaskClosed(_, result):
                at, s = s.editing, _at(replace(s, editing=None), s.at)
                if isinstance(result, Lamp):
                    return _put(s, result, at)
                return _join_to(s, result) if isinstance(result, str) else (s, ())
            case ev.MapChanged(words):
                return replace(_at(s, s.at), matches=None, message=words), ()
            case ev.Leave() if s.matches:
                return replace(s, matches=None, message=""), ()
            case _:
                return None

    def seen(self, s: LampsWork, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> LampsWork:
        """With the rows of the map as it is now."""
        s = super().seen(s, map_, board, unsaved)
        return s if s.listing.map is s.map else replace(s, listing=LampListing(s.map))

    def light(self, s: LampsWork) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: LampsWork) -> RowsView:
        """The rows; below them what is known of the one in hand, or the proposal."""
        return RowsView(
            f"{s.map.machine.name} · lamps: {many(len(s.map.lamps), 'row')}",
            COLUMNS,
            s.listing.rows,
            board=s.board.words,
            at=s.at,
            beside=_proposal(s, s.match) if s.match is not None else _detail(s),
            message=s.message,
            unsaved=s.unsaved,
            choose=lambda key: ChooseLamp(key),  # type: ignore[arg-type]
            spots=_spots(s),
        )

    def where(self, s: LampsWork) -> object:
        """The row in hand."""
        return s.at


def make(opened: Opened) -> tuple[LampsTask, LampsWork]:
    """The lamp list of the open map."""
    assert opened.map is not None, "the lamp list is opened with a map"
    return LampsTask(), start(opened.map)


def start(map_: PlayfieldMap) -> LampsWork:
    """At the first row."""
    return LampsWork(map=map_, listing=LampListing(map_))


def _spots(s: LampsWork) -> tuple[Spot, ...]:
    """Where the places of the row in hand lie."""
    places = s.listing.joined[s.at][0] if 0 <= s.at < len(s.listing.joined) else ()
    return tuple(spot for place in places for spot in in_hand(place))


def _at(s: LampsWork, at: int) -> LampsWork:
    return replace(s, at=max(0, min(len(s.map.lamps) - 1, at)))


def _open_form(s: LampsWork, at: int | None) -> _N:
    """The form of a row, or of a new one."""
    lamp = s.lamp if at is not None else None
    return replace(s, editing=at if lamp is not None else None, message=""), (fx.Open("lamp", LampFacts(lamp)),)


# -- rows ----------------------------------------------------------------------------------------------------------


def _changed(s: LampsWork, map_: PlayfieldMap, words: str) -> _N:
    if map_ is s.map:
        return replace(s, message=words), ()
    return replace(s, map=map_, message=words), (fx.Commit(map_, words),)


def _put(s: LampsWork, lamp: Lamp, at: int | None) -> _N:
    lamps = s.map.lamps
    if at is None or at >= len(lamps):
        where = min(s.at + 1, len(lamps))
        map_ = set_lamps(s.map, (*lamps[:where], lamp, *lamps[where:]))
        return _changed(replace(s, at=where), map_, f"{lamp.name} added")
    old = lamps[at]
    map_ = set_lamps(s.map, (*lamps[:at], lamp, *lamps[at + 1 :]))
    for place in places_of_lamp(s.map, old):
        map_ = update_place(map_, _following(place, old, lamp))
    return _changed(replace(s, at=at), map_, f"{lamp.name} changed")


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


def _remove(s: LampsWork) -> _N:
    lamp = s.lamp
    if lamp is None:
        return replace(s, message="the list is empty"), (fx.Bell(),)
    lamps = s.map.lamps
    map_ = set_lamps(s.map, (*lamps[: s.at], *lamps[s.at + 1 :]))
    at = max(0, min(s.at, len(map_.lamps) - 1))
    return _changed(replace(s, at=at), map_, f"{lamp.name} taken out; Ctrl+Z brings it back")


def _move_row(s: LampsWork, by: int) -> _N:
    to = s.at + by
    if s.lamp is None or not 0 <= to < len(s.map.lamps):
        return s, (fx.Bell(),)
    lamps = list(s.map.lamps)
    lamps.insert(to, lamps.pop(s.at))
    return _changed(replace(s, at=to), set_lamps(s.map, lamps), "")


# -- joining -------------------------------------------------------------------------------------------------------


def _propose(s: LampsWork) -> _N:
    matches = propose(s.map)
    if not matches:
        return replace(s, matches=None, message="no place is left that looks like a row of the list"), (fx.Bell(),)
    sure = sum(match.sure for match in matches)
    return replace(s, matches=matches, message=f"{many(len(matches), 'proposal')}, {sure} of them sure"), ()


def _accept(s: LampsWork, taken: tuple[Match, ...]) -> _N:
    """Join these proposals, and leave the others to be asked about."""
    left = tuple(match for match in s.matches or () if match not in taken)
    if len(taken) == 1 and taken[0] is s.match:
        words = f"{s.map.place_by_id[taken[0].place].label} joined to {taken[0].lamp.name}"
    else:
        words = f"{len(taken)} joined"
    joined, effects = _changed(s, join_all(s.map, taken), words)
    return _next_match(joined, left, words), effects


def _next_match(s: LampsWork, left: tuple[Match, ...], words: str = "") -> LampsWork:
    end = "no more proposals" if not left else ""
    message = "; ".join(part for part in (words, end) if part)
    return replace(s, matches=left or None, message=message)


def _join_to(s: LampsWork, place_id: str) -> _N:
    if s.lamp is None or place_id not in s.map.place_by_id:
        return s, (fx.Bell(),)
    label = s.map.place_by_id[place_id].label
    return _changed(s, join(s.map, place_id, s.lamp), f"{label} joined to {s.lamp.name}")


def _unjoin(s: LampsWork) -> _N:
    lamp = s.lamp
    if lamp is None:
        return s, (fx.Bell(),)
    map_ = s.map
    places = places_of_lamp(map_, lamp)
    for place in places:
        map_ = unjoin(map_, place.id, lamp)
    words = f"{many(len(places), 'place')} taken off {lamp.name}" if places else f"{lamp.name} has no place"
    return _changed(s, map_, words)


# -- what is to be seen --------------------------------------------------------------------------------------------


def _cells(lamp: Lamp, places: tuple[Place, ...], pixels: str) -> tuple[str, ...]:
    strobes = f"{lamp.row or ''}/{lamp.column or ''}" if lamp.row or lamp.column else ""
    number = "" if lamp.number is None else str(lamp.number)
    shown = pixels or ("no pixel" if places else "no place")
    cells = (number, lamp.name, lamp.area, lamp.kind.value, strobes, lamp.driver, shown, lamp.group)
    return tuple(cell if len(cell) <= w else f"{cell[: w - 1]}…" for cell, w in zip(cells, _WIDTHS, strict=True))


def _proposal(s: LampsWork, match: Match) -> tuple[Line, ...]:
    place = s.map.place_by_id[match.place]
    sign = "sure" if match.sure else "perhaps"
    who = f"lamp {match.lamp.number}" if match.lamp.number is not None else f"in {match.lamp.group}"
    return (
        Line(f"Is the place {place.label} ({place.area}) the row {match.lamp.name}, {who}?", "bold"),
        Line(f"{sign}, {match.likeness:.0f} % alike; {len(s.matches or ())} left"),
        Line("Enter joins it, F2 passes over it, F5, E joins all sure ones, Esc ends"),
    )


def _detail(s: LampsWork) -> tuple[Line, ...]:
    lamp = s.lamp
    if lamp is None:
        return (Line("The list is empty: F7 adds a row; `playfield-probe lamps MAP --from FILE` reads one."),)
    places = s.listing.joined[s.at][0]
    names = ", ".join(f"{p.label} ({p.area})" if p.area else p.label for p in places) or "no place yet: F5, J joins one"
    colour = f"{lamp.insert_colour} insert" if lamp.insert_colour else ""
    extra = " · ".join(part for part in (colour, lamp.note) if part)
    return Line(f"{lamp.name}: {names}"), Line(extra), Line(_proof(s, lamp), "dim")


def _proof(s: LampsWork, lamp: Lamp) -> str:
    """What was proved of a row in the game."""
    for row in s.listing.standings:
        if row.lamp == lamp.number and (lamp.number is not None or folded(row.group) == folded(lamp.group)):
            if row.proof is None:
                return "in the game: not proved"
            how = "by the board's table" if row.proof.by_table else "by pixel numbers"
            return f"in the game: {row.state.value} ({local_date(row.proof.time)}, revision {row.proof.revision}, lit {how})"
    return "in the game: not proved"
