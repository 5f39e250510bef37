"""A chain of the map as the recheck's entries, and what was found of them back as a map.

Entries are the pixels in the order now predicted, then those said to be gone. What is found becomes a revision: pixels
keep their id, state and notes, new ones are named, and what was seen is marked as verified.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from probe.document.edits import Edit, apply_edits, fresh_ids
from probe.document.follow import follow
from probe.document.model import Chain, Kind, Pixel, PixelState, Place, PlayfieldMap
from probe.document.model.open_recheck import OpenRecheck
from probe.document.operations import add_place, folded, replace_chain
from probe.document.revisions import next_number, revised
from probe.playfield import guess_position
from probe.recheck.colours import PLAIN, Behind, seen_at
from probe.recheck.engine.model import Look, Prior, Setup
from probe.recheck.engine.result import Found, Result

SHINING = frozenset({PixelState.PLACED})


@dataclass(frozen=True)
class Entries:
    """What the recheck starts from.

    `before` is the map on disk, `map` the same with the stated changes. Entry n is pixel n of the chain in `map`; the
    entries behind are pixels that were stated to be taken out and may be there yet, then the pixels of other chains: ends or outputs may have been exchanged.
    """

    before: PlayfieldMap
    map: PlayfieldMap
    chain_id: str

    @property
    def chain(self) -> Chain:
        """The chain with the stated changes."""
        return self.map.chain(self.chain_id)

    @cached_property
    def pixels(self) -> tuple[Pixel, ...]:
        """The pixel of each entry."""
        here = {pixel.id for pixel in self.chain.pixels}
        places = {pixel.place for pixel in self.chain.pixels}
        gone = (p for p in self.before.chain(self.chain_id).pixels if p.id not in here and p.place not in places)
        return (*self.chain.pixels, *gone, *(pixel for those in self._others.values() for pixel in those))

    @cached_property
    def _others(self) -> dict[str, tuple[Pixel, ...]]:
        """The pixels of every other chain, by its id; none of a place that this chain has too."""
        mine = {pixel.place for pixel in self.before.chain(self.chain_id).pixels + self.chain.pixels}
        found = {
            chain.id: tuple(p for p in chain.pixels if p.place is None or p.place not in mine)
            for chain in self.map.chains
            if chain.id != self.chain_id
        }
        return {chain: those for chain, those in found.items() if any(p.state in SHINING for p in those)}

    @property
    def other_chains(self) -> tuple[str, ...]:
        """The ids of the other chains, in the order of `foreign`."""
        return tuple(self._others)

    @cached_property
    def foreign(self) -> tuple[tuple[int, ...], ...]:
        """The entries of every other chain."""
        found: list[tuple[int, ...]] = []
        first = len(self.pixels) - sum(map(len, self._others.values()))
        for those in self._others.values():
            found.append(tuple(range(first, first + len(those))))
            first += len(those)
        return tuple(found)

    @cached_property
    def areas(self) -> tuple[tuple[int, ...], ...]:
        """The entries of every area that has a name."""
        found: dict[str, list[int]] = {}
        for entry in range(len(self.pixels)):
            place = self.place(entry)
            if place is not None and place.area:
                found.setdefault(place.area, []).append(entry)
        return tuple(map(tuple, found.values()))

    def of_an_area(self, look: Look, place: Place) -> bool:
        """Whether a picture's list has several places of this one's area."""
        listed = {one.id for one in map(self.place, look.places) if one is not None and one.area == place.area}
        return bool(place.area) and len(listed) > 2

    @cached_property
    def at_place(self) -> dict[str, tuple[int, ...]]:
        """For each place id where light is seen, its entries in order."""
        found: dict[str, list[int]] = {}
        for entry, pixel in enumerate(self.pixels):
            if pixel.place is not None and pixel.state in SHINING:
                found.setdefault(pixel.place, []).append(entry)
        return {place: tuple(entries) for place, entries in found.items()}

    def place(self, entry: int) -> Place | None:
        """Where an entry's light is seen; None if it is not seen."""
        pixel = self.pixels[entry]
        return self.map.place_of(pixel) if pixel.state in SHINING else None

    @cached_property
    def seen(self) -> tuple[Behind, ...]:
        """What is seen of the four colours at the place of each entry."""
        places = [self.place(entry) for entry in range(len(self.pixels))]
        at = {place.id: seen_at(self.map, place) for place in self.map.places if place.id in self.at_place}
        return tuple(at[place.id] if place is not None else PLAIN for place in places)

    def like(self, entry: int) -> tuple[int, ...]:
        """The entries of the same place, this one among them."""
        place = self.pixels[entry].place
        return self.at_place.get(place or "", (entry,))

    def setup(self, *, declared: bool, most_numbers: int | None) -> Setup:
        """What the recheck is told. Pixels that nobody has named yet shine at places to be named."""
        length = len(self.chain.pixels)
        return Setup(
            order=tuple(range(length)),
            has_place=tuple(p.place is not None and p.state in SHINING for p in self.pixels),
            declared_new=frozenset(n for n, p in enumerate(self.chain.pixels) if p.state is PixelState.UNSEEN),
            most_numbers=most_numbers,
            alike=tuple(entries for entries in self.at_place.values() if len(entries) > 1),
            words=tuple(at.words for at in self.seen) if any(at is not PLAIN for at in self.seen) else (),
            foreign=self.foreign,
            areas=self.areas,
            prior=Prior.after_declaration() if declared else Prior(),
        )


def entries_of(map_: PlayfieldMap, chain_id: str, edits: Sequence[Edit]) -> Entries:
    """The entries of a chain after stated changes. Raises EditError."""
    return Entries(map_, apply_edits(map_, edits), chain_id)


# -- the unfinished recheck in the map ------------------------------------------------------------------------------


def open_recheck(map_: PlayfieldMap, chain: str) -> OpenRecheck | None:
    """The recheck of a chain that was not finished, if there is one."""
    return next((kept for kept in map_.rechecks if kept.chain == chain), None)


def with_recheck(map_: PlayfieldMap, kept: OpenRecheck) -> PlayfieldMap:
    """The map with this recheck instead of the one that its chain had."""
    others = tuple(other for other in map_.rechecks if other.chain != kept.chain)
    return map_.model_copy(update={"rechecks": (*others, kept)})


def without_recheck(map_: PlayfieldMap, chain: str) -> PlayfieldMap:
    """The map without the unfinished recheck of a chain; the same map if there is none."""
    if open_recheck(map_, chain) is None:
        return map_
    return map_.model_copy(update={"rechecks": tuple(kept for kept in map_.rechecks if kept.chain != chain)})


# -- back to the map ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Name:
    """What a new pixel lights: a place that the map has (by id), or a new one with this label."""

    label: str
    place: str | None = None


def found_map(entries: Entries, result: Result, names: Mapping[int, Name]) -> PlayfieldMap:
    """The map as found, without a revision. Pixels keep id, state, place and notes; new ones are named."""
    before = entries.before
    chain = entries.chain
    number = next_number(before)
    declared = iter([p for p in chain.pixels if p.state is PixelState.UNSEEN])
    ids = iter(fresh_ids(before, chain, len(result.numbers), {p.id for p in entries.pixels}))
    map_ = before
    pixels: list[Pixel] = []
    first_foreign = entries.foreign[0][0] if entries.foreign else len(entries.pixels)
    come: dict[str, str] = {}
    for found in result.numbers:
        if found.old is not None and found.old >= first_foreign:
            # this chain goes on as another one: its pixel comes over, with an id of this chain
            pixel = entries.pixels[found.old]
            come[pixel.id] = next(
                c for c, at in zip(entries.other_chains, entries.foreign, strict=True) if found.old in at
            )
            pixels.append(_known(pixel, found, number).model_copy(update={"id": next(ids)}))
            continue
        if found.old is not None:
            pixels.append(_known(entries.pixels[found.old], found, number))
            continue
        base = next(declared, None) if found.declared else None
        pixel = base if base is not None else Pixel(id=next(ids))
        if found.silent:
            pixel = pixel.model_copy(update={"state": PixelState.DARK, "verified": number if found.verified else 0})
        name = names.get(found.number)
        if found.further is not None:
            place_id = entries.pixels[found.further].place
            pixel = pixel.model_copy(
                update={"state": PixelState.PLACED, "place": place_id, "verified": number if found.verified else 0}
            )
            name = None
        if name is not None:
            map_, place = _place(map_, name, pixels)
            update = {"state": PixelState.PLACED, "place": place, "verified": number}
            pixel = pixel.model_copy(update=update)
        pixels.append(pixel)
    if result.stops_at is not None:
        # nothing behind is seen, but it is there: it keeps its numbers
        pixels += entries.chain.pixels[result.stops_at :]
    update_chain: dict[str, object] = {"pixels": tuple(pixels)}
    if chain.count is not None:
        update_chain["count"] = max(1, len(pixels))
    here = before.chain(chain.id)
    map_ = replace_chain(map_, here.model_copy(update=update_chain))
    if come:
        map_ = _exchanged(entries, map_, result, come)
    if map_.bookmark is not None and map_.bookmark.chain == chain.id and map_.bookmark.number >= len(pixels):
        map_ = map_.model_copy(
            update={"bookmark": map_.bookmark.model_copy(update={"number": max(0, len(pixels) - 1)})}
        )
    return map_


def _exchanged(entries: Entries, map_: PlayfieldMap, result: Result, come: Mapping[str, str]) -> PlayfieldMap:
    """The other chain without the pixels that came over, and with the end that this one lost: nobody saw that yet."""
    other = map_.chain(next(iter(come.values())))
    left = [pixel for pixel in other.pixels if come.get(pixel.id) != other.id]
    lost = [entries.pixels[entry] for entry in result.removed if entry < len(entries.chain.pixels)]
    ids = iter(fresh_ids(entries.before, other, len(lost), set()))
    left += [pixel.model_copy(update={"id": next(ids), "verified": 0}) for pixel in lost]
    update: dict[str, object] = {"pixels": tuple(left)}
    if other.count is not None:
        update["count"] = max(1, len(left))
    return replace_chain(map_, other.model_copy(update=update))


def _known(pixel: Pixel, found: Found, number: int) -> Pixel:
    update: dict[str, object] = {}
    if found.dark and pixel.state is PixelState.PLACED:
        update["state"] = PixelState.DARK
    if found.verified:
        update["verified"] = number
    return pixel.model_copy(update=update) if update else pixel


def _place(map_: PlayfieldMap, name: Name, pixels: list[Pixel]) -> tuple[PlayfieldMap, str]:
    """The place that a name means; a new one takes area and kind from the pixel before, and a guessed position."""
    if name.place is not None and name.place in map_.place_by_id:
        return map_, name.place
    for place in map_.places:
        if folded(place.label) == folded(name.label) and place.id not in map_.pixels_at:
            return map_, place.id
    passed = [map_.place_by_id[p.place] for p in reversed(pixels) if p.place in map_.place_by_id][:2]
    area, kind = (passed[0].area, passed[0].kind) if passed else ("", Kind.INSERT)
    before = tuple(place.position for place in passed if place.position is not None)
    position = guess_position(map_, name.label, kind=kind, area=area, before=before)
    map_, place = add_place(map_, name.label, area=area, kind=kind, position=position)
    return map_, place.id


def finished(entries: Entries, result: Result, names: Mapping[int, Name], *, time: str, reason: str) -> PlayfieldMap:
    """The map as found, as a new revision; joints and feeds follow."""
    found = found_map(entries, result, names)
    return revised(entries.before, follow(entries.before, found, made_on=time[:10]), time=time, reason=reason)
