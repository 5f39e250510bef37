"""The picture: choose a place, light it, say where it is, set its level and colour. A task: frozen state, pure step.

Comparing alternates two places once a second (two changes); with steady light only, both are lit side by side.
"""

from __future__ import annotations

from dataclasses import replace

from probe.cautions import LIGHT
from probe.document.lamp_table import light_of
from probe.document.model import PlayfieldMap, Position
from probe.document.model.light import Fade
from probe.document.operations import folded, update_place
from probe.lighting.choosing import in_order, towards
from probe.lighting.lengths import LengthError, Unit, parse_length, parse_position, shown_length
from probe.lighting.levels import set_fade
from probe.lighting.picture_keys import (
    COMMANDS,
    ComparePlaces,
    CopyLight,
    EntryUse,
    FollowGroup,
    LitMode,
    MovePlace,
    NextLitMode,
    NextWhite,
    OpenEntry,
    PasteLight,
    PickPlace,
    StepLevel,
    StepPlace,
    TakeEntry,
    ToggleDiffuser,
    ToggleFade,
    ToggleGrid,
    ToggleRoute,
    ToggleUnit,
    ToggleWhole,
    ToggleZoom,
    UseAdvice,
)
from probe.lighting.picture_light import light_key, parse_colour, parse_level, set_target
from probe.lighting.picture_state import PictureState, change_map, no_place, pick, refuse
from probe.lighting.picture_view import view
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Light
from probe.task.task import Next, Opened, Task
from probe.task.views import TaskView


class PictureTask(Task[PictureState]):
    """Positions, levels and colours, with the chosen place lit."""

    name = "picture"
    commands = COMMANDS

    def step(self, s: PictureState, event: object, now_s: float) -> Next[PictureState] | None:
        """The state after an event, and what is to be done."""
        match event:
            case PickPlace(place):
                return pick(s, place)
            case ev.GoTowards(across, up, from_below):
                return _go(s, -across if from_below else across, up)
            case StepPlace(by):
                return _move(s, by)
            case ev.StepButton(times):
                return _move(s, times)
            case MovePlace(x_mm, y_mm):
                return _put(s, Position(x_mm=x_mm, y_mm=y_mm))
            case ev.Typed(text):
                return replace(s, typed=text, message=""), ()
            case OpenEntry(use):
                return replace(s, entry=use, typed=_first_text(s, use), message=""), ()
            case ev.Leave() if s.entry is not EntryUse.NONE:
                return replace(s, entry=EntryUse.NONE, typed="", message=""), ()
            case TakeEntry(from_below=from_below):
                return _take(s, from_below=from_below)
            case ComparePlaces():
                return _compare(s)
            case NextLitMode():
                modes = list(LitMode)
                mode = modes[(modes.index(s.mode) + 1) % len(modes)]
                return replace(s, mode=mode, comparing=False, message=f"lit: {mode.value}"), ()
            case ev.GoOpen(task):
                return s, (fx.Open(task),)
            case ev.MapChanged(words, where):
                return _changed(s, words, where), ()
            case ToggleUnit():
                unit = Unit.INCH if s.unit is Unit.MM else Unit.MM
                return replace(s, unit=unit, message=f"bare numbers are {unit.value}"), ()
            case ToggleZoom():
                here = s.here
                return replace(s, area=(here.area or None) if s.area is None and here is not None else None), ()
            case ToggleRoute():
                return replace(s, route=not s.route), ()
            case ToggleGrid():
                return replace(s, grid=not s.grid), ()
            case (
                StepLevel() | NextWhite() | UseAdvice() | ToggleWhole() | FollowGroup() | CopyLight() | PasteLight()
            ) as key:
                return light_key(s, key)
            case ToggleFade():
                fade = None if s.map.fade else Fade()
                words = (
                    f"lamps glow up in {fade.rise_ms} ms, down in {fade.fall_ms} ms" if fade else "lamps switch at once"
                )
                return change_map(s, set_fade(s.map, fade), f"in the game's table: {words}")
            case ToggleDiffuser():
                return _toggle_diffuser(s)
            case _:
                return None

    def light(self, s: PictureState) -> Light:
        """The chosen place, its group, every place, or two places to compare."""
        return s.light

    def where(self, s: PictureState) -> object:
        """The chosen place."""
        return s.place

    def view(self, s: PictureState) -> TaskView:
        """The playfield, and everything of the chosen place."""
        return view(s)


def start(map_: PlayfieldMap, *, place: str | None = None, steady_only: bool = False) -> PictureState:
    """The picture of a map, with a place chosen: this one, else the first of the first chain."""
    order = in_order(map_)
    chosen = place if place in map_.place_by_id else (order[0] if order else None)
    return PictureState(map=map_, place=chosen, steady_only=steady_only, message=LIGHT[0])


def make(opened: Opened) -> tuple[PictureTask, PictureState]:
    """The picture of the open map. Facts: chain id and number of a pixel whose place is chosen, or None."""
    map_ = opened.map
    assert map_ is not None, "the picture is opened with a map"
    place = None
    match opened.facts:
        case (str() as chain, int() as number) if any(one.id == chain for one in map_.chains):
            pixels = map_.chain(chain).pixels
            place = pixels[number].place if 0 <= number < len(pixels) else None
    s = start(map_, place=place, steady_only=opened.steady_only)
    return PictureTask(), replace(s, plain_ascii=opened.plain_ascii)


def _changed(s: PictureState, words: str, where: object) -> PictureState:
    """After undo, redo or another task: at the place where it was, or at one that is still there."""
    place = where if isinstance(where, str) and where in s.map.place_by_id else s.place
    if place not in s.map.place_by_id:
        place = next(iter(in_order(s.map)), None)
    return replace(s, place=place, message=words)


def _go(s: PictureState, across: int, up: int) -> Next[PictureState]:
    place = s.here
    if place is None:
        return no_place(s)
    if place.position is None:
        return _move(s, across or up)
    found = towards(s.map, place, across, up)
    return (s, ()) if found is None else pick(s, found)


def _move(s: PictureState, by: int) -> Next[PictureState]:
    order = in_order(s.map)
    if not order:
        return no_place(s)
    at = order.index(s.place) if s.place in order else -by
    return pick(s, order[(at + by) % len(order)])


def _first_text(s: PictureState, use: EntryUse) -> str:
    place = s.here
    if place is None:
        return ""
    level, colour = light_of(s.map, place)
    match use:
        case EntryUse.LEVEL:
            return str(level)
        case EntryUse.COLOUR:
            return colour.text
        case _:
            return ""


def _take(s: PictureState, *, from_below: bool) -> Next[PictureState]:
    text = s.typed.strip()
    if s.entry is EntryUse.FIND:
        return _find(s, text)
    place = s.here
    if place is None:
        return no_place(s)
    try:
        match s.entry:
            case EntryUse.POSITION:
                position = parse_position(text, s.map.machine, s.unit, from_below=from_below)
                return _put(replace(s, entry=EntryUse.NONE, typed=""), position)
            case EntryUse.DEPTH:
                depth = parse_length(text, s.unit) if text else None
                if depth is not None and depth > 500:
                    raise LengthError(f"{depth:.0f} mm is too deep: 500 mm at most")
                changed = place.model_copy(update={"depth_mm": depth})
                words = "not measured" if depth is None else f"{shown_length(depth, s.unit)} below the surface"
                closed = replace(s, entry=EntryUse.NONE, typed="")
                return change_map(closed, update_place(s.map, changed), f"{place.label}: {words}")
            case EntryUse.LEVEL:
                return set_target(replace(s, entry=EntryUse.NONE, typed=""), level=parse_level(text))
            case EntryUse.COLOUR:
                return set_target(replace(s, entry=EntryUse.NONE, typed=""), colour=parse_colour(text))
            case _:  # nothing is open: light the place again
                found, effects = pick(s, place.id)
                return found, effects if s.is_lit else (*effects, fx.TryAgain())
    except ValueError as error:
        return refuse(s, str(error))


def _find(s: PictureState, text: str) -> Next[PictureState]:
    wanted = folded(text)
    closed = replace(s, entry=EntryUse.NONE, typed="")
    if not wanted:
        return closed, ()
    order = in_order(s.map)
    at = order.index(s.place) + 1 if s.place in order else 0
    for place_id in (*order[at:], *order[:at]):
        place = s.map.place_by_id[place_id]
        if wanted in folded(f"{place.label} {place.area} {place.group}") or wanted in map(str, place.lamps):
            return pick(closed, place_id)
    return refuse(s, f"no place has {text[:40]!r} in its label, area, group or lamps")


def _put(s: PictureState, position: Position) -> Next[PictureState]:
    place = s.here
    if place is None:
        return no_place(s)
    changed = place.model_copy(update={"position": position})
    x, y = shown_length(position.x_mm, s.unit), shown_length(position.y_mm, s.unit)
    return change_map(s, update_place(s.map, changed), f"{place.label}: {x} from the left, {y} from the player")


def _toggle_diffuser(s: PictureState) -> Next[PictureState]:
    place = s.here
    if place is None:
        return no_place(s)
    changed = place.model_copy(update={"diffuser": not place.diffuser})
    words = "has a diffuser" if changed.diffuser else "has no diffuser"
    return change_map(s, update_place(s.map, changed), f"{place.label} {words}")


def _compare(s: PictureState) -> Next[PictureState]:
    if s.here is None:
        return no_place(s)
    if s.comparing:
        return replace(s, comparing=False, message=""), ()
    held = s.held_place
    if held is None or held.id == s.place:
        words = f"{s.here.label} is kept: choose another place, then compare again"
        return replace(s, held=s.place, message=words), ()
    how = "side by side" if s.steady_only else "alternating, half a second each"
    return replace(s, comparing=True, message=f"{held.label} and {s.here.label}, {how}"), ()
