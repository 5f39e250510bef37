"""The state of a walk: which pixel is asked about, what is typed, and what follows from that and the map."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum, auto
from functools import cached_property

from device_protocol.values import Colour
from probe.document.model import Chain, Kind, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.operations import folded, pixel_at
from probe.frozen import frozen
from probe.mapping.offers import Offer, Surroundings, offers
from probe.mapping.searches import CountSearch
from probe.playfield import guess_position
from probe.task.light import Alternate, Dark, HandsOff, Light, OutputSetup, Pixels
from probe.task.task import TaskState

START_LEVEL = 32
LONGEST_PAUSE_S = 120.0
PAST_END = 4
"""How many pixels past the count are lit at the end of a chain, so that a single dark one does not pass for the end."""


class WalkEntry(Enum):
    """What the entry line is for."""

    LABEL = auto()
    NOTE = auto()
    AREA = auto()
    GOTO = auto()


class OneKey(Enum):
    """Answers that need no label. The value is the word in the message."""

    SAME_PLACE = "same place as the last"
    NOTHING_LIT = "nothing lit"
    HIDDEN = "hidden"
    SPARE = "spare"
    REPEATER = "repeater"


class EndStage(Enum):
    """What the page at the end of a chain asks."""

    PAST = auto()
    """Whether anything lights past the count."""
    COUNT = auto()
    """How many pixels there are then."""
    SEARCH = auto()
    """Whether anything lights, while the count is looked for."""
    NEXT = auto()
    """Nothing: what comes next."""


@frozen
class WalkEnd:
    """The page at the end of a chain; or, with `asked`, its count, which somebody wants to change. `by_wire`: the board is
    counting by the return wire."""

    stage: EndStage
    search: CountSearch | None = None
    asked: bool = False
    by_wire: bool = False


@frozen
class TypedAhead:
    """A label that was finished before its pixel was lit, as typed, with the offer that was chosen."""

    typed: str
    chosen: int = 0


@dataclass(frozen=True, kw_only=True)
class Walk(TaskState):
    """The whole state of a walk.

    `waiting`: labels finished ahead of their light, the first for this very pixel; `closed`: no more are held until they are
    taken. `refused`: text in the entry line that was finished and not taken; what is typed next does not join it. `blind`:
    what is in the line may be meant for another pixel, as what is typed without looking after an answer was not taken; it
    is taken when it is finished once more.
    `end`: the page at the end of a chain, while it is shown; `ends`: (chain, count) whose end was looked at. `was`: the
    answer that the last one replaced. `sure`: the answer that was warned about and is taken when it is given once more.
    """

    chain: str
    number: int
    entry: WalkEntry = WalkEntry.LABEL
    typed: str = ""
    chosen: int = 0
    refused: str = ""
    blind: bool = False
    waiting: tuple[TypedAhead, ...] = ()
    closed: bool = False
    area: str | None = None
    kind: Kind | None = None
    put_at: Position | None = None
    level: int = START_LEVEL
    blinking: bool = False
    steady_only: bool = False
    paper: bool = False
    answered_s: tuple[float, ...] = ()
    end: WalkEnd | None = None
    ends: frozenset[tuple[str, int]] = frozenset()
    was: str = ""
    sure: tuple[str, int, str] | None = None

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
    def light(self) -> Light:
        """The pixel that is asked about, white; at the end of a chain the pixels past it."""
        white = Colour(self.level, self.level, self.level)
        pixel = Pixels.one(self.here.output, self.number, white)
        if self.end is not None and self.end.by_wire:
            return HandsOff()
        if self.end is not None:
            if self.past is None:
                return Dark()
            first, count = self.past
            setup = OutputSetup.of(self.here, count=first + count)
            pixel = Pixels.run(self.here.output, first, count, white, setup=setup)
        return Alternate(pixel, Dark(), 0.5) if self.blinking else pixel

    @property
    def past(self) -> tuple[int, int] | None:
        """The first pixel past the end that is asked about, and how many; None where none is."""
        identity = self.board.identity
        if self.end is None or identity is None:
            return None
        if self.end.search is not None:
            first, count = self.end.search.first, self.end.search.lit
        elif self.end.stage is EndStage.PAST:
            first, count = self.here.length, min(PAST_END, identity.pixels - self.here.length)
        else:
            return None
        return (first, count if identity.has("range") else 1) if count > 0 else None

    @property
    def end_is_lit(self) -> bool:
        """Whether the board has confirmed that the pixels past the end are lit."""
        return self.past is not None and self.board.lit == self.light

    @property
    def is_lit(self) -> bool:
        """Whether the board has confirmed that this very pixel is lit."""
        return self.end is None and self.board.here and self.board.lit == self.light

    @cached_property
    def offers(self) -> tuple[Offer, ...]:
        """Labels that Enter could take; the chosen one is `offers[chosen]`."""
        if self.entry is WalkEntry.AREA:
            return tuple(Offer(area, "area") for area in _areas(self.map, self.typed))
        if self.entry is not WalkEntry.LABEL:
            return ()
        return offers(Surroundings(self.map, self.chain, self.number), self.typed)

    @property
    def offer(self) -> Offer | None:
        """What Enter takes now."""
        return self.offers[self.chosen % len(self.offers)] if self.offers else None

    def guess_for(self, offer: Offer) -> Position:
        """Where a new place of that label may be, marked as a guess: every place is in the picture from the start."""
        last, before = Surroundings(self.map, self.chain, self.number).neighbours()
        spots = tuple(place.position for place in (last, before) if place is not None and place.position is not None)
        return guess_position(
            self.map,
            offer.label,
            kind=offer.kind if offer.kind is not None and self.kind is None else self.next_kind,
            area=offer.area if offer.area is not None else self.next_area,
            before=spots,
            continues_row=last is not None and offer.position_of == last.id,
            spacing_mm=self.here.spacing_mm,
        )

    @cached_property
    def offered_at(self) -> Position | None:
        """Where the place of the marked offer is, or may be; what was pointed at before all else."""
        offer = self.offer
        if self.put_at is not None or offer is None or self.entry is not WalkEntry.LABEL:
            return self.put_at
        known = self.map.place_by_id.get(offer.place or "")
        at = known.position if known is not None else None
        return at if at is not None else self.guess_for(offer)

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
        return self.here.answered

    @property
    def finished(self) -> bool:
        """Whether every pixel of this chain has been answered."""
        return self.here.count is not None and self.answered >= self.here.length

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


def start(
    map_: PlayfieldMap, *, paper: bool = False, steady_only: bool = False, level: int = START_LEVEL, message: str = ""
) -> Walk:
    """A walk that goes on where the last one stopped: at the bookmark, else at the first unseen pixel.

    Raises ValueError for a map without chains.
    """
    if not map_.chains:
        raise ValueError("this map has no chain yet: set one up first")
    chain, number = map_.chains[0].id, 0
    if map_.bookmark is not None:
        chain, number = map_.bookmark.chain, map_.bookmark.number
    else:
        found = next_unseen(map_, chain, -1)
        if found is not None:
            chain, number = found
    walk = Walk(
        map=map_, chain=chain, number=number, paper=paper, steady_only=steady_only, level=level, message=message
    )
    return settled(walk)


def settled(walk: Walk) -> Walk:
    """The walk at a pixel that its map has: as near as can be to where it was, after the map was changed elsewhere."""
    chain = walk.chain if walk.chain in walk.map.chain_by_id else walk.map.chains[0].id
    here = walk.map.chain(chain)
    number = min(walk.number, max(0, here.length - 1)) if here.count is not None else walk.number
    if (chain, number) == (walk.chain, walk.number):
        return walk
    return replace(walk, chain=chain, number=number, entry=WalkEntry.LABEL, typed="", chosen=0, put_at=None)


def next_unseen(map_: PlayfieldMap, chain_id: str, number: int) -> tuple[str, int] | None:
    """The next unseen pixel after this one: on in its chain, then in the others, then from its start."""
    at = next(i for i, chain in enumerate(map_.chains) if chain.id == chain_id)
    order = [*map_.chains[at:], *map_.chains[:at], map_.chains[at]]
    for turn, chain in enumerate(order):
        first = number + 1 if turn == 0 else 0
        for index in range(first, len(chain.pixels)):
            if chain.pixels[index].state is PixelState.UNSEEN:
                return chain.id, index
        if chain.count is None and (first <= len(chain.pixels)):
            return chain.id, len(chain.pixels)
    return None


def _areas(map_: PlayfieldMap, typed: str) -> list[str]:
    known = dict.fromkeys(a for a in [*(p.area for p in map_.places), *(lamp.area for lamp in map_.lamps)] if a)
    return [area for area in known if folded(typed) in folded(area)][:8]
