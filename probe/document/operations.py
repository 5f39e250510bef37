"""Pure operations on a map: a map and an answer in, a new map out. Nothing else of the map changes."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from probe.document.model import (
    Bookmark,
    Chain,
    Kind,
    Lamp,
    Machine,
    Pixel,
    PixelState,
    Place,
    PlayfieldMap,
    Position,
    Revision,
    storable,
)

STATES_WITHOUT_PLACE = frozenset({PixelState.UNSEEN, PixelState.SPARE, PixelState.REPEATER})


def new_map(machine_name: str, **size: float) -> PlayfieldMap:
    """An empty map. Keywords: `width_mm`, `length_mm`. Raises pydantic.ValidationError for an empty name."""
    return PlayfieldMap(machine=Machine(name=storable(machine_name), **size))  # type: ignore[arg-type]


def slug(label: str, taken: Iterable[str], fallback: str = "place") -> str:
    """A readable identifier for a label, unlike all `taken`: `Reef lane 2` → `reef-lane-2`, then `reef-lane-2-2`."""
    plain = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode().lower()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48].strip("-") or fallback
    used = taken if isinstance(taken, (set, frozenset, dict)) else set(taken)
    if base not in used:
        return base
    count = 2
    while f"{base}-{count}" in used:
        count += 1
    return f"{base}-{count}"


def replace_chain(map_: PlayfieldMap, chain: Chain) -> PlayfieldMap:
    """The map with the chain of that id replaced. Raises KeyError if there is none."""
    map_.chain(chain.id)
    return map_.model_copy(update={"chains": tuple(chain if c.id == chain.id else c for c in map_.chains)})


def add_chain(map_: PlayfieldMap, chain: Chain) -> PlayfieldMap:
    """The map with one more chain. Raises ValueError if its id is taken."""
    if chain.id in map_.chain_by_id:
        raise ValueError(f"there is a chain {chain.id!r} already: choose another id")
    return map_.model_copy(update={"chains": (*map_.chains, chain)})


def free_output(map_: PlayfieldMap, first: int = 0) -> int:
    """The first output from `first` on that has no chain in the map; the board may have fewer."""
    taken = {chain.output for chain in map_.chains}
    return next(output for output in range(first, first + len(taken) + 1) if output not in taken)


def fresh_pixels(chain: Chain, how_many: int) -> tuple[Pixel, ...]:
    """New unseen pixels with ids that the chain has not used (ids are the chain's id and a running number)."""
    taken = {p.id for p in chain.pixels}
    start = len(chain.pixels)
    made: list[Pixel] = []
    while len(made) < how_many:
        name = f"{chain.id}-{start}"
        if name not in taken:
            made.append(Pixel(id=name))
        start += 1
    return tuple(made)


def grown(chain: Chain, length: int) -> Chain:
    """The chain with unseen pixels added up to `length`; never shorter."""
    missing = length - len(chain.pixels)
    if missing <= 0:
        return chain
    return chain.model_copy(update={"pixels": chain.pixels + fresh_pixels(chain, missing)})


def set_count(map_: PlayfieldMap, chain_id: str, count: int | None) -> PlayfieldMap:
    """State a chain's count. Pixels beyond it stay in the map (nothing is lost); `check` points to them."""
    chain = map_.chain(chain_id)
    chain = Chain.model_validate({**_fields(chain), "count": count})
    return replace_chain(map_, grown(chain, count or 0))


def _fields(record: Chain) -> dict[str, object]:
    return {name: getattr(record, name) for name in type(record).model_fields}


def set_pixel(map_: PlayfieldMap, chain_id: str, number: int, pixel: Pixel) -> PlayfieldMap:
    """Put a pixel record at a number; the chain grows with unseen pixels if it has to."""
    chain = grown(map_.chain(chain_id), number + 1)
    pixels = (*chain.pixels[:number], pixel, *chain.pixels[number + 1 :])
    return replace_chain(map_, chain.model_copy(update={"pixels": pixels}))


def pixel_at(map_: PlayfieldMap, chain_id: str, number: int) -> Pixel:
    """The pixel with that number; a fresh unseen one if the map does not hold it yet."""
    chain = map_.chain(chain_id)
    if number < len(chain.pixels):
        return chain.pixels[number]
    return fresh_pixels(chain, number - len(chain.pixels) + 1)[-1]


def folded(label: str) -> str:
    """A label as it is compared: case, width and spacing do not matter."""
    return " ".join(unicodedata.normalize("NFKC", label).casefold().split())


def add_place(
    map_: PlayfieldMap,
    label: str,
    *,
    area: str = "",
    kind: Kind = Kind.INSERT,
    position: Position | None = None,
    lamps: tuple[int, ...] = (),
    group: str = "",
) -> tuple[PlayfieldMap, Place]:
    """The map with one more place, and that place. Raises pydantic.ValidationError for an empty or over-long label."""
    label, area = storable(label), storable(area)
    named = {"id": slug(label, map_.place_by_id), "label": label, "area": area, "group": storable(group)}
    place = Place.model_validate(named | {"kind": kind, "position": position, "lamps": lamps})
    return map_.model_copy(update={"places": (*map_.places, place)}), place


def update_place(map_: PlayfieldMap, place: Place) -> PlayfieldMap:
    """The map with the place of that id replaced. Raises KeyError if there is none."""
    if place.id not in map_.place_by_id:
        raise KeyError(place.id)
    return map_.model_copy(update={"places": tuple(place if p.id == place.id else p for p in map_.places)})


def drop_unused_place(map_: PlayfieldMap, place_id: str) -> PlayfieldMap:
    """Take a place out if no pixel lights it and nothing was written about it beyond its name."""
    place = map_.place_by_id.get(place_id)
    if place is None or place_id in map_.pixels_at or place.note or place.lamps or place.group:
        return map_
    return map_.model_copy(update={"places": tuple(p for p in map_.places if p.id != place_id)})


def assign_place(map_: PlayfieldMap, chain_id: str, number: int, place_id: str) -> PlayfieldMap:
    """Say that a pixel lights a place. Raises KeyError for an unknown place or chain."""
    if place_id not in map_.place_by_id:
        raise KeyError(place_id)
    pixel = pixel_at(map_, chain_id, number)
    update = {"state": PixelState.PLACED, "place": place_id}
    return set_pixel(map_, chain_id, number, pixel.model_copy(update=update))


def set_state(map_: PlayfieldMap, chain_id: str, number: int, state: PixelState) -> PlayfieldMap:
    """Set a pixel's state. A spare, repeater or unseen pixel loses its place; a dark, dead or hidden one keeps it.

    Raises ValueError for PLACED without a place: use `assign_place`.
    """
    pixel = pixel_at(map_, chain_id, number)
    if state is PixelState.PLACED and pixel.place is None:
        raise ValueError(f"pixel {number} of chain {chain_id!r} has no place yet: assign one first")
    place = None if state in STATES_WITHOUT_PLACE else pixel.place
    return set_pixel(map_, chain_id, number, pixel.model_copy(update={"state": state, "place": place}))


def set_note(map_: PlayfieldMap, chain_id: str, number: int, note: str) -> PlayfieldMap:
    """Write a pixel's note, replacing the old one."""
    pixel = pixel_at(map_, chain_id, number)
    checked = Pixel.model_validate({"id": pixel.id, "note": storable(note)})
    return set_pixel(map_, chain_id, number, pixel.model_copy(update={"note": checked.note}))


def set_verified(map_: PlayfieldMap, chain_id: str, number: int, revision: int) -> PlayfieldMap:
    """Note in which revision a pixel was last seen to be right; 0 for never."""
    pixel = pixel_at(map_, chain_id, number)
    if pixel.verified == revision:
        return map_
    return set_pixel(map_, chain_id, number, pixel.model_copy(update={"verified": revision}))


def set_bookmark(map_: PlayfieldMap, chain_id: str, number: int) -> PlayfieldMap:
    """Remember where the walk is."""
    map_.chain(chain_id)
    return map_.model_copy(update={"bookmark": Bookmark(chain=chain_id, number=number)})


def set_lamps(map_: PlayfieldMap, lamps: Iterable[Lamp]) -> PlayfieldMap:
    """Replace the lamp list."""
    return map_.model_copy(update={"lamps": tuple(lamps)})


def add_revision(map_: PlayfieldMap, *, time: str, reason: str, changes: Iterable[str] = ()) -> PlayfieldMap:
    """Close a change: the map with the next revision number. `time` is RFC 3339 UTC text."""
    number = (map_.revisions[-1].number if map_.revisions else 0) + 1
    revision = Revision(number=number, time=time, reason=reason, changes=tuple(changes))
    return map_.model_copy(update={"revisions": (*map_.revisions, revision)})
