"""The picture's activity: choose a place, light it, say where it is, set its level and colour. Frozen state, pure step.

A change saves the map first and lights then. Comparing alternates two places once a second (two changes); with steady
light only, both are lit side by side.
"""

from __future__ import annotations

from dataclasses import replace

from probe.document.lamp_table import light_of
from probe.document.model import Position
from probe.document.model.light import Fade
from probe.document.operations import folded, update_place
from probe.lighting.choosing import in_order, towards
from probe.lighting.lengths import LengthError, Unit, parse_length, parse_position, shown_length
from probe.lighting.levels import set_fade
from probe.lighting.lit_news import told
from probe.lighting.picture_keys import (
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
from probe.lighting.picture_light import light_key, parse_colour, parse_level, set_target
from probe.lighting.picture_state import Effects, Moment, PictureWork, change_map, nothing, pick, relit, start
from probe.task.steps import ButtonPressed, News, RingBell, SaveMap, Tick

__all__ = ["PictureWork", "start", "step"]


def step(work: PictureWork, given: Key | News, now_s: float) -> tuple[PictureWork, Effects]:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Pick(place):
            return pick(work, place)
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
            return relit(replace(work, mode=mode, comparing=False, message=f"lit: {mode.value}"))
        case ToggleUnit():
            unit = Unit.INCH if work.unit is Unit.MM else Unit.MM
            return replace(work, unit=unit, message=f"bare numbers are {unit.value}"), ()
        case Undo():
            return _travel(work, back=True)
        case Redo():
            return _travel(work, back=False)
        case Retry():
            work = replace(work, message="", lighting=work.lighting.lost())
            after, effects = relit(work)
            return after, (SaveMap(work.map), *effects)
        case ChangeLevel() | ChangeWarmth() | TakeAdvice() | ToggleWhole() | FollowGroup() | Copy() | Paste():
            return light_key(work, given)
        case ToggleFade():
            fade = None if work.map.fade else Fade()
            words = f"lamps glow up in {fade.rise_ms} ms, down in {fade.fall_ms} ms" if fade else "lamps switch at once"
            return change_map(work, set_fade(work.map, fade), f"in the game's table: {words}")
        case ToggleDiffuser():
            return _toggle_diffuser(work)
        case _:
            return _news(work, given)


def _news(work: PictureWork, news: News) -> tuple[PictureWork, Effects]:
    match news:
        case ButtonPressed(times):
            return _move(work, times)
        case Tick():
            if not (work.comparing and work.board.here) or work.steady_only:
                return work, ()
            return relit(replace(work, turn=not work.turn))
        case _:
            return told(work, news, relit)


def _go(work: PictureWork, across: int, up: int) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return nothing(work)
    if place.position is None:
        return _move(work, across or up)
    found = towards(work.map, place, across, up)
    return (work, ()) if found is None else pick(work, found)


def _move(work: PictureWork, by: int) -> tuple[PictureWork, Effects]:
    order = in_order(work.map)
    if not order:
        return nothing(work)
    at = order.index(work.place) if work.place in order else -by
    return pick(work, order[(at + by) % len(order)])


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
        return nothing(work)
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
                return change_map(closed, update_place(work.map, changed), f"{place.label}: {words}")
            case Entry.LEVEL:
                return set_target(replace(work, entry=Entry.NONE, typed=""), level=parse_level(text))
            case Entry.COLOUR:
                return set_target(replace(work, entry=Entry.NONE, typed=""), colour=parse_colour(text))
            case _:
                return work, ()
    except ValueError as error:
        return replace(work, message=str(error)), (RingBell(),)


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
            return pick(closed, place_id)
    return replace(work, message=f"no place has {text[:40]!r} in its label, area, group or lamps"), (RingBell(),)


def _put(work: PictureWork, position: Position) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return nothing(work)
    changed = place.model_copy(update={"position": position})
    x, y = shown_length(position.x_mm, work.unit), shown_length(position.y_mm, work.unit)
    return change_map(work, update_place(work.map, changed), f"{place.label}: {x} from the left, {y} from the player")


def _toggle_diffuser(work: PictureWork) -> tuple[PictureWork, Effects]:
    place = work.here
    if place is None:
        return nothing(work)
    changed = place.model_copy(update={"diffuser": not place.diffuser})
    words = "has a diffuser" if changed.diffuser else "has no diffuser"
    return change_map(work, update_place(work.map, changed), f"{place.label} {words}")


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
    after, effects = relit(work)
    return after, (SaveMap(work.map), *effects)


def _compare(work: PictureWork) -> tuple[PictureWork, Effects]:
    if work.here is None:
        return nothing(work)
    if work.comparing:
        return relit(replace(work, comparing=False, message=""))
    held = work.held_place
    if held is None or held.id == work.place:
        words = f"{work.here.label} is kept: choose another place, then compare again"
        return replace(work, held=work.place, message=words), ()
    how = "side by side" if work.steady_only else "alternating, half a second each"
    return relit(replace(work, comparing=True, turn=False, message=f"{held.label} and {work.here.label}, {how}"))
