"""The state of the picture's activity, and what its steps share: lighting, choosing, changing the map."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from device_protocol.values import Colour
from probe.document.lamp_table import light_of
from probe.document.model import Place, PlayfieldMap
from probe.lighting.choosing import in_order
from probe.lighting.lengths import Unit
from probe.lighting.levels import PlaceLight, members, places_lit
from probe.lighting.lighting import Lighting, ask
from probe.lighting.picture_keys import Entry, Mode
from probe.task.steps import MOST_UNDO, BoardView, Effect, RingBell, SaveMap

Effects = tuple[Effect, ...]


@dataclass(frozen=True)
class Moment:
    """What undo goes back to."""

    map: PlayfieldMap
    place: str | None


@dataclass(frozen=True)
class PictureWork:
    """The whole state. `held` is the place to compare with; `turn` says which of the two is lit while alternating."""

    map: PlayfieldMap
    place: str | None = None
    mode: Mode = Mode.ONE
    entry: Entry = Entry.NONE
    typed: str = ""
    whole: bool = False
    unit: Unit = Unit.MM
    clip: PlaceLight | None = None
    held: str | None = None
    comparing: bool = False
    turn: bool = False
    steady_only: bool = False
    board: BoardView = field(default_factory=BoardView)
    lighting: Lighting = field(default_factory=Lighting)
    message: str = ""
    unsaved: str = ""
    past: tuple[Moment, ...] = ()
    future: tuple[Moment, ...] = ()

    @property
    def here(self) -> Place | None:
        """The chosen place."""
        return self.map.place_by_id.get(self.place) if self.place is not None else None

    @property
    def held_place(self) -> Place | None:
        """The place to compare with."""
        return self.map.place_by_id.get(self.held) if self.held is not None else None

    @property
    def lit_places(self) -> frozenset[str]:
        """Places that the board has said are lit now."""
        return self.lighting.places if self.lighting.is_lit else frozenset()


def start(m: PlayfieldMap, *, place: str | None = None, steady_only: bool = False) -> PictureWork:
    """The picture of a map, with a place chosen: this one, else the first of the first chain."""
    order = in_order(m)
    chosen = place if place in m.place_by_id else (order[0] if order else None)
    return PictureWork(m, chosen, steady_only=steady_only)


def target_light(work: PictureWork) -> tuple[int, Colour]:
    """Level and colour in force of what the keys change: the group, or the place."""
    place = work.here
    if place is None:
        return 255, Colour(255, 255, 255)
    if work.whole and place.group:
        bare = place.model_copy(update={"level": None, "colour": ""})
        return light_of(work.map, bare)
    return light_of(work.map, place)


def _wanted(work: PictureWork) -> dict[str, Colour]:
    here, held = work.here, work.held_place
    if here is None:
        return {}
    if work.comparing and held is not None:
        both = (here, held) if work.steady_only else ((held,) if work.turn else (here,))
        return places_lit(work.map, both)
    if work.mode is Mode.ALL:
        return places_lit(work.map, work.map.places)
    if work.mode is Mode.GROUP and here.group:
        return places_lit(work.map, members(work.map, here.group))
    return places_lit(work.map, (here,))


def relit(work: PictureWork) -> tuple[PictureWork, Effects]:
    """The state, and what lights the places that should be lit now."""
    lighting, effects = ask(work.map, _wanted(work), work.lighting, work.board.identity)
    return replace(work, lighting=lighting), effects


def nothing(work: PictureWork) -> tuple[PictureWork, Effects]:
    """The answer to a key that needs a place where none is chosen."""
    return replace(work, message="no place is chosen: name places in the walk first"), (RingBell(),)


def pick(work: PictureWork, place_id: str) -> tuple[PictureWork, Effects]:
    """Choose a place and light it."""
    place = work.map.place_by_id.get(place_id)
    if place is None:
        return replace(work, message=f"there is no place {place_id[:40]!r}"), (RingBell(),)
    words = "" if place_id in work.map.pixels_at else f"{place.label}: no pixel lights it yet"
    work = replace(work, place=place_id, entry=Entry.NONE, typed="", message=words)
    return relit(work)


def change_map(work: PictureWork, m: PlayfieldMap, message: str) -> tuple[PictureWork, Effects]:
    """After a change of the map: saved, then lit."""
    if m is work.map:
        return replace(work, message=message), ()
    past = (*work.past, Moment(work.map, work.place))[-MOST_UNDO:]
    after, effects = relit(replace(work, map=m, past=past, future=(), message=message))
    return after, (SaveMap(m), *effects)
