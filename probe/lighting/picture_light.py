"""Level and colour in the picture: typed, stepped, taken from the advice, copied; of a place or of its whole group."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum, auto

from device_protocol.values import Colour
from probe.document.operations import folded
from probe.document.plural import many
from probe.lighting.advice import advise, tint_at, warmths
from probe.lighting.levels import PlaceLight, follow_group, group_of, members, set_group_light, set_light
from probe.lighting.picture_keys import (
    CopyLight,
    FollowGroup,
    NextWhite,
    PasteLight,
    StepLevel,
    ToggleWhole,
    UseAdvice,
)
from probe.lighting.picture_state import PictureState, change_map, no_place, refuse, target_light
from probe.lighting.plastics import cannot
from probe.task.task import Next

LightKey = StepLevel | NextWhite | UseAdvice | ToggleWhole | FollowGroup | CopyLight | PasteLight


class _Keep(Enum):
    KEEP = auto()


_KEEP = _Keep.KEEP


def set_target(
    s: PictureState, *, level: int | _Keep | None = _KEEP, colour: str | _Keep = _KEEP
) -> Next[PictureState]:
    """Set level or colour (None and "" give the say back) of the place, or of its group."""
    place = s.here
    if place is None:
        return no_place(s)
    if s.whole:
        if not place.group:
            return refuse(s, f"{place.label} belongs to no group")
        group = group_of(s.map, place.group)
        group_level, group_colour = (group.level, group.colour) if group else (None, "")
        new_level = group_level if level is _KEEP else level
        new_colour = group_colour if colour is _KEEP else colour
        map_ = set_group_light(s.map, place.group, level=new_level, colour=new_colour)
        own = sum(p.level is not None or bool(p.colour) for p in members(map_, place.group))
        words = f"group {place.group}: {_light_words(new_level, new_colour)}"
        words += (
            f"; {many(own, 'place')} with a light of its own as before"
            if own == 1
            else f"; {own} places with a light of their own as before"
            if own
            else ""
        )
        return change_map(s, map_, words)
    new_level = place.level if level is _KEEP else level
    new_colour = place.colour if colour is _KEEP else colour
    map_ = set_light(s.map, place.id, level=new_level, colour=new_colour)
    return change_map(s, map_, f"{place.label}: {_light_words(new_level, new_colour)}")


def _light_words(level: int | None, colour: str) -> str:
    words = [f"level {level}"] if level is not None else []
    words += [f"colour {colour}"] if colour else []
    return " ".join(words) or "nothing of its own"


def light_key(s: PictureState, event: LightKey) -> Next[PictureState]:
    """The state after a key that concerns level and colour."""
    place = s.here
    if place is None:
        return no_place(s)
    level, colour = target_light(s)
    match event:
        case StepLevel(by):
            new = max(0, min(255, level + by))
            return set_target(s, level=new)
        case NextWhite(by):
            whites = [row.colour for row in warmths()]
            at = whites.index(colour) + by if colour in whites else (0 if by > 0 else -1)
            row = warmths()[at % len(whites)]
            moved, effects = set_target(s, colour=row.colour.text)
            return replace(moved, message=f"{moved.message} ({row.match}: {row.advice})"), effects
        case UseAdvice():
            advice = advise(s.map, place)
            moved, effects = set_target(
                s, colour=advice.colour.text, level=level if advice.level is None else advice.level
            )
            poor = cannot(advice.colour, tint_at(s.map, place))
            words = f"{advice.advice} ({advice.provenance})" + (f"; {poor}" if poor else "")
            return replace(moved, message=words), effects
        case ToggleWhole():
            if not place.group and not s.whole:
                return refuse(s, f"{place.label} belongs to no group")
            words = "its own light" if s.whole else f"the light of the whole group {place.group}"
            return replace(s, whole=not s.whole, message=f"keys change {words}"), ()
        case FollowGroup():
            if not place.group:
                return refuse(s, f"{place.label} belongs to no group")
            map_, changed = follow_group(s.map, place.group)
            return change_map(s, map_, f"{many(changed, 'place')} with the light of the group {place.group} again")
        case CopyLight():
            return replace(s, clip=PlaceLight(level, colour.text), message=f"kept: level {level}, {colour.text}"), ()
        case PasteLight():
            if s.clip is None:
                return refuse(s, "nothing is kept yet: copy a place's light first")
            return set_target(s, level=s.clip.level, colour=s.clip.colour)


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
    name = {"warm": "bulb", "cool": "daylight"}.get(folded(bare), folded(bare))
    for row in warmths():
        if name == row.match:
            return row.colour.text
    try:
        colour = Colour.from_text(bare.upper())
    except ValueError:
        names = ", ".join(row.match for row in warmths())
        raise ValueError(f"{text[:20]!r} is no colour: type RRGGBB (duty, such as FFBF12), or {names}") from None
    if colour.is_dark:
        raise ValueError("000000 is dark: to switch a place off, set its level to 0")
    return bare.upper()
