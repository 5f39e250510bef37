"""The state of a walk, and what a screen may read from it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from probe.document.model import Chain, Kind, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.operations import folded, pixel_at
from probe.mapping.keys import Entry
from probe.mapping.offers import Offer, Surroundings, offers
from probe.task.steps import BoardView

START_LEVEL = 32
LONGEST_PAUSE_S = 120.0


@dataclass(frozen=True)
class Moment:
    """What undo goes back to."""

    map: PlayfieldMap
    chain: str
    number: int


@dataclass(frozen=True)
class Walk:
    """The whole state of a walk. `lit` is what the board has said is lit, as (chain id, number)."""

    map: PlayfieldMap
    chain: str
    number: int
    entry: Entry = Entry.LABEL
    typed: str = ""
    chosen: int = 0
    area: str | None = None
    kind: Kind | None = None
    put_at: Position | None = None
    level: int = START_LEVEL
    blinking: bool = False
    blink_on: bool = True
    steady_only: bool = False
    paper: bool = False
    board: BoardView = field(default_factory=BoardView)
    lit: tuple[str, int] | None = None
    message: str = ""
    unsaved: str = ""
    answered_s: tuple[float, ...] = ()
    past: tuple[Moment, ...] = ()
    future: tuple[Moment, ...] = ()

    @property
    def here(self) -> Chain:
        """The chain that is walked."""
        return self.map.chain(self.chain)

    @property
    def pixel(self) -> Pixel:
        """The pixel that is asked about."""
        return pixel_at(self.map, self.chain, self.number)

    @property
    def place(self) -> Place | None:
        """The place that this pixel is known to light."""
        return self.map.place_of(self.pixel)

    @property
    def is_lit(self) -> bool:
        """Whether the board has said that this very pixel is lit."""
        return self.lit == (self.chain, self.number)

    @cached_property
    def offers(self) -> tuple[Offer, ...]:
        """Labels that Enter could take; the chosen one is `offers[chosen]`."""
        if self.entry is Entry.AREA:
            return tuple(Offer(area, "area") for area in _areas(self.map, self.typed))
        if self.entry is not Entry.LABEL:
            return ()
        return offers(Surroundings(self.map, self.chain, self.number), self.typed)

    @property
    def offer(self) -> Offer | None:
        """What Enter takes now."""
        return self.offers[self.chosen % len(self.offers)] if self.offers else None

    @property
    def last_place(self) -> Place | None:
        """The place of the nearest pixel before this one that has one."""
        return Surroundings(self.map, self.chain, self.number).neighbours()[0]

    @property
    def next_area(self) -> str:
        """The area that a new place gets."""
        if self.area is not None:
            return self.area
        return self.last_place.area if self.last_place else ""

    @property
    def next_kind(self) -> Kind:
        """The kind that a new place gets."""
        if self.kind is not None:
            return self.kind
        return self.last_place.kind if self.last_place else Kind.INSERT

    @property
    def answered(self) -> int:
        """Pixels of this chain that somebody has answered."""
        return sum(pixel.state is not PixelState.UNSEEN for pixel in self.here.pixels)

    @property
    def pace_s(self) -> float | None:
        """Seconds an answer takes lately; None before the second one."""
        gaps = [b - a for a, b in zip(self.answered_s, self.answered_s[1:], strict=False) if b - a < LONGEST_PAUSE_S]
        return sum(gaps) / len(gaps) if gaps else None

    @property
    def left_s(self) -> float | None:
        """Seconds to the end of this chain at that pace; None if the count or the pace is not known."""
        if self.here.count is None or self.pace_s is None:
            return None
        return max(0, self.here.length - self.answered) * self.pace_s


def start(m: PlayfieldMap, *, paper: bool = False, steady_only: bool = False, level: int = START_LEVEL) -> Walk:
    """A walk that goes on where the last one stopped: at the bookmark, else at the first unseen pixel.

    Raises ValueError for a map without chains.
    """
    if not m.chains:
        raise ValueError("this map has no chain yet: set one up first")
    chain, number = m.chains[0].id, 0
    if m.bookmark is not None:
        chain, number = m.bookmark.chain, m.bookmark.number
    else:
        found = next_unseen(m, chain, -1)
        if found is not None:
            chain, number = found
    limit = m.chain(chain).length
    if limit and number >= limit:
        number = limit - 1
    return Walk(m, chain, number, paper=paper, steady_only=steady_only, level=level)


def with_map(walk: Walk, m: PlayfieldMap) -> Walk:
    """The walk on a map that was changed elsewhere. It still has the walk's chain; undo goes back to the map before."""
    if m is walk.map:
        return walk
    past = (*walk.past, Moment(walk.map, walk.chain, walk.number))
    return replace(walk, map=m, past=past, future=())


def with_other_map(walk: Walk, m: PlayfieldMap) -> Walk:
    """The walk on an earlier or later map of the same machine: as near as can be to where it was, nothing to undo."""
    chain = walk.chain if walk.chain in m.chain_by_id else m.chains[0].id
    length = m.chain(chain).length
    number = min(walk.number, max(0, length - 1)) if m.chain(chain).count is not None else walk.number
    blank = replace(walk, map=m, chain=chain, number=number, lit=None, past=(), future=())
    return replace(blank, entry=Entry.LABEL, typed="", chosen=0, put_at=None)


def next_unseen(m: PlayfieldMap, chain_id: str, number: int) -> tuple[str, int] | None:
    """The next unseen pixel after this one: on in its chain, then in the others, then from its start."""
    at = next(i for i, chain in enumerate(m.chains) if chain.id == chain_id)
    order = [*m.chains[at:], *m.chains[:at], m.chains[at]]
    for turn, chain in enumerate(order):
        first = number + 1 if turn == 0 else 0
        for index in range(first, len(chain.pixels)):
            if chain.pixels[index].state is PixelState.UNSEEN:
                return chain.id, index
        if chain.count is None and (first <= len(chain.pixels)):
            return chain.id, len(chain.pixels)
    return None


def _areas(m: PlayfieldMap, typed: str) -> list[str]:
    known = dict.fromkeys(a for a in [*(p.area for p in m.places), *(lamp.area for lamp in m.lamps)] if a)
    return [area for area in known if folded(typed) in folded(area)][:8]
