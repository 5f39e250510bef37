"""Levels and colours of places and groups: set, copied, shown within the current ceiling. Pure.

A level is in steps even to the eye; what duty it makes is computed in `device_protocol.lightness` alone. What a place
holds itself comes before what its group holds (`probe.document.lamp_table.light_of`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from device_protocol.current import dim_to_ceiling, need_ma
from device_protocol.errors import HostFault
from device_protocol.lightness import at_level
from device_protocol.orders import Identity, palette_of
from device_protocol.values import DARK, PALETTE_LAST, Colour
from probe.document.lamp_table import balanced, group_names, light_of
from probe.document.model import Chain, Place, PlayfieldMap
from probe.document.model.game import Group
from probe.document.model.light import Fade
from probe.document.model.record import storable
from probe.document.operations import folded, update_place
from probe.task.light import Dark, Light, Outputs, Pixels
from probe.task.views import Line

PLANNED_IDLE_UA = 1_000
PLANNED_CHANNEL_UA = 20_000
"""Planning figures where no board states its own: 1 mA a dark pixel, 60 mA a full white one."""


@dataclass(frozen=True, slots=True)
class PlaceLight:
    """A level and colour to copy. `colour` is text as in the map; empty: not given."""

    level: int | None
    colour: str


def set_light(map_: PlayfieldMap, place_id: str, *, level: int | None, colour: str) -> PlayfieldMap:
    """The map with level and colour of a place set; None and empty hand the say back to its group. Raises KeyError."""
    place = map_.place_by_id[place_id]
    if (place.level, place.colour) == (level, colour):
        return map_
    return update_place(map_, place.model_copy(update={"level": level, "colour": colour}))


def group_of(map_: PlayfieldMap, name: str) -> Group | None:
    """What the map holds of a group, None if nothing."""
    return next((group for group in map_.groups if folded(group.name) == folded(name)), None)


def set_group_light(map_: PlayfieldMap, name: str, *, level: int | None, colour: str) -> PlayfieldMap:
    """The map with level and colour of a group set; its places that say something themselves keep it.

    Raises ValueError for an empty name.
    """
    if not name.strip():
        raise ValueError("this place belongs to no group: set its own level, or give it a group")
    group = group_of(map_, name)
    changed = (group or Group(name=storable(name))).model_copy(update={"level": level, "colour": colour})
    if group is None:
        return map_.model_copy(update={"groups": (*map_.groups, changed)})
    return map_.model_copy(update={"groups": tuple(changed if g is group else g for g in map_.groups)})


def follow_group(map_: PlayfieldMap, name: str) -> tuple[PlayfieldMap, int]:
    """The map with the places of a group saying nothing themselves, and how many did."""
    changed = 0
    for place in members(map_, name):
        if place.level is not None or place.colour:
            map_ = set_light(map_, place.id, level=None, colour="")
            changed += 1
    return map_, changed


def members(map_: PlayfieldMap, name: str) -> tuple[Place, ...]:
    """The places of a group."""
    return tuple(place for place in map_.places if place.group and folded(place.group) == folded(name))


def set_fade(map_: PlayfieldMap, fade: Fade | None) -> PlayfieldMap:
    """The map with lamps that glow up and down like bulbs (or, with None, switch at once) in the board's table."""
    return map_.model_copy(update={"fade": fade})


def colour_of(map_: PlayfieldMap, place: Place) -> Colour:
    """The duty that the pixels of a place are sent."""
    level, colour = light_of(map_, place)
    return at_level(colour, level)


@dataclass(frozen=True, slots=True)
class Shown:
    """What one chain is to show, a colour for each pixel. `need_ma`: what it draws, `ceiling_ma`: what it may.

    `dimmed_percent`: share of the light asked for that is left by the ceiling; 100 where it fits. `merged`: how many
    colours were taken together because a picture holds fifteen. `estimated`: no board has stated its figures.
    """

    chain: str
    output: int
    colours: tuple[Colour, ...]
    need_ma: int
    asked_ma: int
    ceiling_ma: int
    dimmed_percent: int = 100
    merged: int = 0
    estimated: bool = False


def shown_on(
    map_: PlayfieldMap,
    chain: Chain,
    wanted: Mapping[str, Colour],
    identity: Identity | None = None,
    *,
    count: int | None = None,
) -> Shown:
    """The picture of a chain with these places lit (place id → duty), dimmed evenly as far as the ceiling asks.

    Never raises: where not even the dimmest light fits, the picture is dark.
    """
    idle_ua = identity.idle_ua if identity else PLANNED_IDLE_UA
    channel_ua = identity.channel_ua if identity else PLANNED_CHANNEL_UA
    ceiling = min(chain.ceiling_ma, identity.ceiling_ma) if identity else chain.ceiling_ma
    length = max(1, count or chain.length)
    asked = [DARK] * length
    for number, pixel in enumerate(chain.pixels[:length]):
        if pixel.place is not None and pixel.place in wanted:
            asked[number] = balanced(map_, pixel, wanted[pixel.place])
    asked_ma = need_ma(asked, idle_ua=idle_ua, channel_ua=channel_ua)
    few, merged = _few_colours(asked)
    try:
        colours = dim_to_ceiling(few, idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling)
    except HostFault:
        colours = tuple([DARK] * length)
    total = sum(colour.total for colour in few)
    left = 100 if colours == tuple(few) or not total else 100 * sum(colour.total for colour in colours) // total
    need = need_ma(colours, idle_ua=idle_ua, channel_ua=channel_ua)
    return Shown(chain.id, chain.output, colours, need, asked_ma, ceiling, left, merged, identity is None)


def shown_chains(map_: PlayfieldMap, wanted: Mapping[str, Colour], identity: Identity | None) -> tuple[Shown, ...]:
    """What every chain that the board can drive shows with these places lit (place id → duty).

    Without a board the current is computed from planning figures.
    """
    outputs = identity.outputs if identity else 16
    return tuple(
        shown_on(map_, chain, wanted, identity, count=min(chain.length, identity.pixels) if identity else chain.length)
        for chain in map_.chains
        if chain.pixels and chain.output < outputs
    )


def light_of_chains(shown: Iterable[Shown]) -> Light:
    """What is shown, as the light that a task wants: pixels of one output, of several, or nothing."""
    parts = tuple(Pixels(one.output, 0, one.colours) for one in shown)
    lit = tuple(part for part in parts if not part.is_dark)
    if not lit:
        return Dark()
    return lit[0] if len(lit) == 1 else Outputs(lit)


def current_lines(shown: Iterable[Shown]) -> tuple[Line, ...]:
    """What is drawn, of what may be, for each output that lights something."""
    lines = []
    for one in shown:
        if all(colour.is_dark for colour in one.colours) and not one.asked_ma:
            continue
        words = f"output {one.output}: {one.need_ma} of {one.ceiling_ma} mA"
        if one.dimmed_percent < 100:
            words += f", dimmed to {one.dimmed_percent} % by the ceiling"
        if one.merged:
            words += f", {one.merged} colours taken together"
        if one.estimated:
            words += " (planned)"
        lines.append(Line(words, "bold" if one.dimmed_percent < 100 else ""))
    return tuple(lines)


def _few_colours(colours: Sequence[Colour]) -> tuple[list[Colour], int]:
    """At most fifteen colours besides dark: the two most alike become one until they are so few."""
    uses: dict[Colour, int] = {}
    for colour in colours:
        if not colour.is_dark:
            uses[colour] = uses.get(colour, 0) + 1
    became = {colour: colour for colour in uses}
    left = list(uses)
    merged = 0
    while len(left) > PALETTE_LAST:
        first, second = min(
            ((a, b) for at, a in enumerate(left) for b in left[at + 1 :]), key=lambda pair: _apart(*pair)
        )
        kept, gone = (first, second) if uses[first] >= uses[second] else (second, first)
        uses[kept] += uses[gone]
        left.remove(gone)
        became = {colour: kept if now == gone else now for colour, now in became.items()}
        merged += 1
    return [became.get(colour, colour) for colour in colours], merged


def _apart(one: Colour, other: Colour) -> float:
    """How unlike two colours look: squared difference of the square roots of duty, near enough to lightness."""
    pairs = zip(
        (one.red, one.green, one.blue, one.white), (other.red, other.green, other.blue, other.white), strict=True
    )
    return float(sum((a**0.5 - b**0.5) ** 2 for a, b in pairs))


def places_lit(map_: PlayfieldMap, places: Iterable[Place]) -> dict[str, Colour]:
    """Duty of some places, by id."""
    return {place.id: colour_of(map_, place) for place in places}


__all__ = [
    "PlaceLight",
    "Shown",
    "colour_of",
    "current_lines",
    "follow_group",
    "group_names",
    "group_of",
    "light_of_chains",
    "members",
    "palette_of",
    "places_lit",
    "set_fade",
    "set_group_light",
    "set_light",
    "shown_chains",
    "shown_on",
]
