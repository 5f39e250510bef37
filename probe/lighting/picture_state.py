"""The state of the picture's task, and what its steps share: what is lit, choosing, changing the map."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from device_protocol.values import Colour
from probe.document.lamp_table import light_of
from probe.document.model import Place, PlayfieldMap
from probe.lighting.lengths import Unit
from probe.lighting.levels import PlaceLight, Shown, light_of_chains, members, places_lit, shown_chains
from probe.lighting.picture_keys import EntryUse, LitMode
from probe.task import effects as fx
from probe.task.light import Alternate, Dark, Light, Outputs, Pixels
from probe.task.task import Next, TaskState


@dataclass(frozen=True, kw_only=True)
class PictureState(TaskState):
    """The whole state. `held` is the place to compare with; `clip` the light that was copied; `whole`: keys change the group.

    `area`: only this area is drawn.
    """

    place: str | None = None
    mode: LitMode = LitMode.ONE
    entry: EntryUse = EntryUse.NONE
    typed: str = ""
    whole: bool = False
    unit: Unit = Unit.MM
    clip: PlaceLight | None = None
    held: str | None = None
    comparing: bool = False
    steady_only: bool = False
    plain_ascii: bool = False
    area: str | None = None
    route: bool = False
    grid: bool = False

    @property
    def here(self) -> Place | None:
        """The chosen place."""
        return self.map.place_by_id.get(self.place) if self.place is not None else None

    @property
    def held_place(self) -> Place | None:
        """The place to compare with."""
        return self.map.place_by_id.get(self.held) if self.held is not None else None

    @property
    def alternates(self) -> bool:
        """Whether two places are lit in turn."""
        return self.comparing and self.held_place is not None and not self.steady_only

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """The places that should be lit; while two alternate, the chosen one."""
        here, held = self.here, self.held_place
        if here is None:
            return ()
        if self.comparing and held is not None:
            return (here, held) if self.steady_only else (here,)
        if self.mode is LitMode.ALL:
            return self.map.places
        if self.mode is LitMode.GROUP and here.group:
            return members(self.map, here.group)
        return (here,)

    @cached_property
    def shown(self) -> tuple[Shown, ...]:
        """What each chain shows, within its ceiling."""
        return self._shown(self.places)

    def _shown(self, places: Iterable[Place]) -> tuple[Shown, ...]:
        return shown_chains(self.map, places_lit(self.map, places), self.board.identity)

    @cached_property
    def light(self) -> Light:
        """The places at their levels; two to compare in turn, half a second each, or side by side with steady light only."""
        still = light_of_chains(self.shown)
        if not self.alternates or self.held_place is None:
            return still
        other = light_of_chains(self._shown((self.held_place,)))
        assert isinstance(still, Dark | Pixels | Outputs)
        assert isinstance(other, Dark | Pixels | Outputs)
        return Alternate(still, other)

    @property
    def is_lit(self) -> bool:
        """Whether the board has confirmed the light that is wanted."""
        return self.board.here and self.board.lit == self.light

    @cached_property
    def lit_places(self) -> frozenset[str]:
        """Places that the board has confirmed as lit now: those with a pixel, at more than level 0, of which it drives one."""
        if not self.is_lit:
            return frozenset()
        groups = [self.shown]
        if self.alternates and self.held_place is not None:
            groups.append(self._shown((self.held_place,)))
        return frozenset(
            pixel.place
            for shown in groups
            for one in shown
            for pixel, colour in zip(self.map.chain(one.chain).pixels, one.colours, strict=False)
            if pixel.place is not None and not colour.is_dark
        )


def target_light(s: PictureState) -> tuple[int, Colour]:
    """Level and colour in force of what the keys change: the group, or the place."""
    place = s.here
    if place is None:
        return 255, Colour(255, 255, 255)
    if s.whole and place.group:
        bare = place.model_copy(update={"level": None, "colour": ""})
        return light_of(s.map, bare)
    return light_of(s.map, place)


def refuse(s: PictureState, words: str) -> Next[PictureState]:
    """A key that cannot be followed: why, and the bell."""
    return replace(s, message=words), (fx.Bell(),)


def no_place(s: PictureState) -> Next[PictureState]:
    """The answer to a key that needs a place where none is chosen."""
    return refuse(s, "no place is chosen: name places in the walk first")


def pick(s: PictureState, place_id: str) -> Next[PictureState]:
    """Choose a place and light it."""
    place = s.map.place_by_id.get(place_id)
    if place is None:
        return refuse(s, f"there is no place {place_id[:40]!r}")
    words = "" if place_id in s.map.pixels_at else f"{place.label}: no pixel lights it yet"
    return replace(s, place=place_id, entry=EntryUse.NONE, typed="", message=words), ()


def change_map(s: PictureState, map_: PlayfieldMap, message: str) -> Next[PictureState]:
    """After a change of the map."""
    if map_ is s.map:
        return replace(s, message=message), ()
    return replace(s, map=map_, message=message), (fx.Commit(map_, message),)
