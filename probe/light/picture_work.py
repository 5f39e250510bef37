"""The picture's activity: choose a place, light it, say where it is, set its level and colour. Frozen state, pure step.

A change saves the map first and lights then. Comparing alternates two places once a second (two changes); with steady
light only, both are lit side by side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from device_protocol.values import Colour
from probe.light.advice import advise, warmths
from probe.light.lengths import LengthError, Unit, parse_length, parse_position, shown_length
from probe.light.levels import (
    Light,
    follow_group,
    group_of,
    members,
    places_lit,
    set_fade,
    set_group_light,
    set_light,
)
from probe.light.lighting import Lighting, ask, set_ups
from probe.light.picture_keys import (
    Ask,
    ChangeLevel,
    ChangeWarmth,
    Compare,
    Copy,
    Entry,
    FollowGroup,
    Go,
    Key,
    Leave,
    Mode,
    Move,
    NextMode,
    Paste,
    Pick,
    PutAt,
    Redo,
    Retry,
    Take,
    TakeAdvice,
    ToggleDiffuser,
    ToggleFade,
    ToggleUnit,
    ToggleWhole,
    Typed,
    Undo,
)
from probe.maps.lamp_table import light_of
from probe.maps.light import Fade
from probe.maps.model import Place, PlayfieldMap, Position
from probe.maps.operations import folded, update_place
from probe.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    BoardView,
    ButtonPressed,
    Effect,
    News,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    Shown,
    Tick,
    board_view,
)

Effects = tuple[Effect, ...]
MOST_UNDO = 500


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
    clip: Light | None = None
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


def in_order(m: PlayfieldMap) -> tuple[str, ...]:
    """Every place: those with pixels along the chains, then the rest."""
    found = dict.fromkeys(pixel.place for _, _, pixel in m.walk_pixels() if pixel.place is not None)
    found.update(dict.fromkeys(place.id for place in m.places))
    return tuple(found)


def nearest(m: PlayfieldMap, x_mm: float, y_mm: float) -> str | None:
    """The place nearest to a point, None if no place has a position."""
    spots = [(place.position, place.id) for place in m.places if place.position is not None]
    if not spots:
        return None
    return min(spots, key=lambda s: (math.hypot(s[0].x_mm - x_mm, s[0].y_mm - y_mm), s[1]))[1]


def towards(m: PlayfieldMap, place: Place, across: int, up: int) -> str | None:
    """The next place in a direction: the nearest, counting what it lies aside two times more; None if there is none."""
    if place.position is None:
        return None
    best: tuple[float, str] | None = None
    for other in m.places:
        if other.position is None or other.id == place.id:
            continue
        dx, dy = other.position.x_mm - place.position.x_mm, other.position.y_mm - place.position.y_mm
        ahead, aside = (dx * across, abs(dy)) if across else (dy * up, abs(dx))
        if ahead <= 0:
            continue
        cost = (ahead + 2 * aside, other.id)
        if best is None or cost < best:
            best = cost
    return best[1] if best else None


def step(work: PictureWork, given: Key | News, now_s: float) -> tuple[PictureWork, Effects]:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Pick(place):
            return _pick(work, place)
        case Go(across, up):
            return _go(work, across, up)
        case Move(by):
            return _move(work, by)
        case PutAt(x_mm, y_mm):
            return _put(work, Position(x_mm=x_mm, y_mm=y_mm))
        case Typed(text):
            return replace(work, typed=text, message=""), ()
        case Ask(entry):
            return replace(work, entry=entry, typed=_first_text(work, entry), message=""), ()
        case Leave():
            return replace(work, entry=Entry.NONE, typed="", message=""), ()
        case Take(from_below):
            return _take(work, from_below=from_below)
        case Compare():
            return _compare(work)
        case NextMode():
            modes = list(Mode)
            mode = modes[(modes.index(work.mode) + 1) % len(modes)]
            return _relit(replace(work, mode=mode, comparing=False, message=f"lit: {mode.value}"))
        case ToggleUnit():
            unit = Unit.INCH if work.unit is Unit.MM else Unit.MM
            return replace(work, unit=unit, message=f"bare numbers are {unit.value}"), ()
        case Undo():
            return _travel(work, back=True)
        case Redo():
            return _travel(work, back=False)
        case Retry():
            work = replace(work, message="", lighting=work.lighting.lost())
            relit, effects = _relit(work)
            return relit, (SaveMap(work.map), *effects)
        case ChangeLevel() | ChangeWarmth() | TakeAdvice() | ToggleWhole() | FollowGroup() | Copy() | Paste():
            return _light_key(work, given)
        case ToggleFade():
            fade = None if work.map.fade else Fade()
            words = f"lamps glow up in {fade.rise_ms} ms, down in {fade.fall_ms} ms" if fade else "lamps switch at once"
            return _changed(work, set_fade(work.map, fade), f"in the game's table: {words}")
        case ToggleDiffuser():
            return _toggle_diffuser(work)
        case _:
            return _news(work, given)


def _news(work: PictureWork, news: News) -> tuple[PictureWork, Effects]:
    match news:
        case BoardHere(identity):
            work = replace(work, board=board_view(work.board, news), lighting=Lighting())
            relit, effects = _relit(work)
            return relit, (*set_ups(work.map, identity), *effects)
        case BoardGone():
            work = replace(work, board=board_view(work.board, news), lighting=work.lighting.lost())
            return work, (RingBell(),)
        case BoardDark():
            return _relit(replace(work, lighting=work.lighting.lost()))
        case Shown(what):
            return replace(work, lighting=work.lighting.answered(what)), ()
        case NotShown(_, why):
            return replace(work, lighting=work.lighting.lost(), message=why), (RingBell(),)
        case Saved():
            return (replace(work, unsaved=""), ()) if work.unsaved else (work, ())
        case NotSaved(why):
            return replace(work, unsaved=why), (RingBell(),)
        case ButtonPressed(times):
            return _move(work, times)
        case Tick():
            if not (work.comparing and work.board.here) or work.steady_only:
                return work, ()
            return _relit(replace(work, turn=not work.turn))
        case _:
            return replace(work, board=board_view(work.board, news)), ()


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


def _relit(work: PictureWork) -> tuple[PictureWork, Effects]:
    lighting, effects = ask(work.map, _wanted(work), work.lighting, work.board.identity)
    return replace(work, lighting=lighting), effects


def _nothing(work: PictureWork) -> tuple[PictureWork, Effects]:
    return replace(work, message="no place is chosen: name places in the walk first"), (RingBell(),)


def _pick(work: PictureWork, place_id: str) -> tuple[PictureWork, Effects]:
    place = work.map.place_by_id.get(place_id)
    if place is None:
        return replace(work, message=f"there is no place {place_id[:40]!r}"), (RingBell(),)
    words = "" if place_id in work.map.pixels_at else f"{place.label}: no pixel lights it yet"
    work = replace(work, place=place_id, entry=Entry.NONE, typed="", message=words)
    return _relit(work)


def _go(work: PictureWork, across: int, up: int) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return _nothing(work)
    if place.position is None:
        return _move(work, across or up)
    found = towards(work.map, place, across, up)
    return (work, ()) if found is None else _pick(work, found)


def _move(work: PictureWork, by: int) -> tuple[PictureWork, Effects]:
    order = in_order(work.map)
    if not order:
        return _nothing(work)
    at = order.index(work.place) if work.place in order else -by
    return _pick(work, order[(at + by) % len(order)])


def _first_text(work: PictureWork, entry: Entry) -> str:
    place = work.here
    if place is None:
        return ""
    level, colour = light_of(work.map, place)
    match entry:
        case Entry.LEVEL:
            return str(level)
        case Entry.COLOUR:
            return colour.text
        case _:
            return ""


def _take(work: PictureWork, *, from_below: bool) -> tuple[PictureWork, Effects]:
    text = work.typed.strip()
    if work.entry is Entry.FIND:
        return _find(work, text)
    place = work.here
    if place is None:
        return _nothing(work)
    try:
        match work.entry:
            case Entry.POSITION:
                position = parse_position(text, work.map.machine, work.unit, from_below=from_below)
                return _put(replace(work, entry=Entry.NONE, typed=""), position)
            case Entry.DEPTH:
                depth = parse_length(text, work.unit) if text else None
                if depth is not None and depth > 500:
                    raise LengthError(f"{depth:.0f} mm is too deep: 500 mm at most")
                changed = place.model_copy(update={"depth_mm": depth})
                words = "not measured" if depth is None else f"{shown_length(depth, work.unit)} below the surface"
                closed = replace(work, entry=Entry.NONE, typed="")
                return _changed(closed, update_place(work.map, changed), f"{place.label}: {words}")
            case Entry.LEVEL:
                return _set(replace(work, entry=Entry.NONE, typed=""), level=parse_level(text))
            case Entry.COLOUR:
                return _set(replace(work, entry=Entry.NONE, typed=""), colour=parse_colour(text))
            case _:
                return work, ()
    except ValueError as error:
        return replace(work, message=str(error)), (RingBell(),)


def parse_level(text: str) -> int | None:
    """A level 0 to 255, or a share such as `40 %`; None for nothing typed. Raises ValueError."""
    bare = text.strip().removesuffix("%").strip()
    if not bare:
        return None
    if not (bare.isascii() and bare.isdecimal()) or len(bare) > 4:
        raise ValueError(f"{text[:20]!r} is no level: type 0 to 255, or a share such as 40 %")
    level = round(int(bare) * 2.55) if "%" in text else int(bare)
    if level > 255:
        raise ValueError(f"{text[:20]!r} is above full: 255, or 100 %")
    return level


def parse_colour(text: str) -> str:
    """RRGGBB or RRGGBBWW as the map holds it, or the name of a white; empty for nothing typed. Raises ValueError."""
    bare = text.strip().removeprefix("#")
    if not bare:
        return ""
    for row in warmths():
        if folded(bare) == row.match:
            return row.colour.text
    try:
        colour = Colour.from_text(bare.upper())
    except ValueError:
        names = ", ".join(row.match for row in warmths())
        raise ValueError(f"{text[:20]!r} is no colour: type RRGGBB (duty, such as FFB46B), or {names}") from None
    if colour.is_dark:
        raise ValueError("000000 is dark: to switch a place off, set its level to 0")
    return bare.upper()


def _find(work: PictureWork, text: str) -> tuple[PictureWork, Effects]:
    wanted = folded(text)
    closed = replace(work, entry=Entry.NONE, typed="")
    if not wanted:
        return closed, ()
    order = in_order(work.map)
    at = order.index(work.place) + 1 if work.place in order else 0
    for place_id in (*order[at:], *order[:at]):
        place = work.map.place_by_id[place_id]
        if wanted in folded(f"{place.label} {place.area} {place.group}") or wanted in map(str, place.lamps):
            return _pick(closed, place_id)
    return replace(work, message=f"no place has {text[:40]!r} in its label, area, group or lamps"), (RingBell(),)


def _put(work: PictureWork, position: Position) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return _nothing(work)
    changed = place.model_copy(update={"position": position})
    x, y = shown_length(position.x_mm, work.unit), shown_length(position.y_mm, work.unit)
    return _changed(work, update_place(work.map, changed), f"{place.label}: {x} from the left, {y} from the player")


def _changed(work: PictureWork, m: PlayfieldMap, message: str) -> tuple[PictureWork, Effects]:
    """After a change of the map: saved, then lit."""
    if m is work.map:
        return replace(work, message=message), ()
    past = (*work.past, Moment(work.map, work.place))[-MOST_UNDO:]
    relit, effects = _relit(replace(work, map=m, past=past, future=(), message=message))
    return relit, (SaveMap(m), *effects)


def _toggle_diffuser(work: PictureWork) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return _nothing(work)
    changed = place.model_copy(update={"diffuser": not place.diffuser})
    words = "has a diffuser" if changed.diffuser else "has no diffuser"
    return _changed(work, update_place(work.map, changed), f"{place.label} {words}")


def _travel(work: PictureWork, *, back: bool) -> tuple[PictureWork, Effects]:
    source = work.past if back else work.future
    if not source:
        return replace(work, message="nothing to undo" if back else "nothing to redo"), (RingBell(),)
    here, moment = Moment(work.map, work.place), source[-1]
    work = replace(
        work,
        map=moment.map,
        place=moment.place,
        past=work.past[:-1] if back else (*work.past, here),
        future=(*work.future, here) if back else work.future[:-1],
        message="undone" if back else "done again",
    )
    relit, effects = _relit(work)
    return relit, (SaveMap(work.map), *effects)


# -- level and colour -----------------------------------------------------------------------------------------------


def target_light(work: PictureWork) -> tuple[int, Colour]:
    """Level and colour in force of what the keys change: the group, or the place."""
    place = work.here
    if place is None:
        return 255, Colour(255, 255, 255)
    if work.whole and place.group:
        bare = place.model_copy(update={"level": None, "colour": ""})
        return light_of(work.map, bare)
    return light_of(work.map, place)


_KEEP = object()


def _set(work: PictureWork, *, level: object = _KEEP, colour: object = _KEEP) -> tuple[PictureWork, Effects]:
    """Set level or colour (None and "" give the say back) of the place, or of its group."""
    place = work.here
    if place is None:
        return _nothing(work)
    if work.whole:
        if not place.group:
            return replace(work, message=f"{place.label} belongs to no group"), (RingBell(),)
        group = group_of(work.map, place.group)
        new_level = (group.level if group else None) if level is _KEEP else level
        new_colour = (group.colour if group else "") if colour is _KEEP else colour
        m = set_group_light(work.map, place.group, level=_level(new_level), colour=str(new_colour))
        own = sum(p.level is not None or bool(p.colour) for p in members(m, place.group))
        words = f"group {place.group}: {_said(new_level, new_colour)}"
        words += f"; {own} of its places keep their own" if own else ""
        return _changed(work, m, words)
    new_level = place.level if level is _KEEP else level
    new_colour = place.colour if colour is _KEEP else colour
    m = set_light(work.map, place.id, level=_level(new_level), colour=str(new_colour))
    return _changed(work, m, f"{place.label}: {_said(new_level, new_colour)}")


def _level(level: object) -> int | None:
    return level if isinstance(level, int) else None


def _said(level: object, colour: object) -> str:
    return f"level {level}" * isinstance(level, int) + f" colour {colour}" * bool(colour) or "nothing of its own"


def _light_key(work: PictureWork, given: Key) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return _nothing(work)
    level, colour = target_light(work)
    match given:
        case ChangeLevel(by):
            new = max(0, min(255, level + by))
            return _set(work, level=new)
        case ChangeWarmth(by):
            whites = [row.colour for row in warmths()]
            at = whites.index(colour) + by if colour in whites else (0 if by > 0 else -1)
            row = warmths()[at % len(whites)]
            moved, effects = _set(work, colour=row.colour.text)
            return replace(moved, message=f"{moved.message} ({row.match}: {row.advice})"), effects
        case TakeAdvice():
            advice = advise(work.map, place)
            moved, effects = _set(
                work, colour=advice.colour.text, level=level if advice.level is None else advice.level
            )
            return replace(moved, message=f"{advice.advice} ({advice.provenance})"), effects
        case ToggleWhole():
            if not place.group and not work.whole:
                return replace(work, message=f"{place.label} belongs to no group"), (RingBell(),)
            words = "its own light" if work.whole else f"the light of the whole group {place.group}"
            return replace(work, whole=not work.whole, message=f"keys change {words}"), ()
        case FollowGroup():
            if not place.group:
                return replace(work, message=f"{place.label} belongs to no group"), (RingBell(),)
            m, changed = follow_group(work.map, place.group)
            return _changed(work, m, f"{changed} places follow the group {place.group} again")
        case Copy():
            return replace(work, clip=Light(level, colour.text), message=f"kept: level {level}, {colour.text}"), ()
        case Paste():
            if work.clip is None:
                return replace(work, message="nothing is kept yet: copy a place's light first"), (RingBell(),)
            return _set(work, level=work.clip.level, colour=work.clip.colour)
        case _:
            return work, ()


def _compare(work: PictureWork) -> tuple[PictureWork, Effects]:
    if work.here is None:
        return _nothing(work)
    if work.comparing:
        return _relit(replace(work, comparing=False, message=""))
    held = work.held_place
    if held is None or held.id == work.place:
        words = f"{work.here.label} is kept: choose another place, then compare again"
        return replace(work, held=work.place, message=words), ()
    how = "side by side" if work.steady_only else "alternating, one a half second"
    return _relit(replace(work, comparing=True, turn=False, message=f"{held.label} and {work.here.label}, {how}"))
