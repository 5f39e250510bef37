"""From what a recheck found back to the map: a new revision, names, verified marks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from probe.document.edits import fresh_ids
from probe.document.follow import follow
from probe.document.model import Kind, Pixel, PixelState, PlayfieldMap
from probe.document.operations import add_place, folded, replace_chain
from probe.document.revisions import next_number, revised
from probe.recheck.engine.result import Found, Result
from probe.recheck.engine.result import Kind as FoundKind
from probe.recheck.entries import Entries


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
    m = before
    pixels: list[Pixel] = []
    for found in result.numbers:
        if found.kind is FoundKind.OLD and found.old is not None:
            pixels.append(_known(entries.pixels[found.old], found, number))
            continue
        base = next(declared, None) if found.declared else None
        pixel = base if base is not None else Pixel(id=next(ids))
        name = names.get(found.number)
        if name is not None:
            m, place = _place(m, name, pixels)
            update = {"state": PixelState.PLACED, "place": place, "verified": number}
            pixel = pixel.model_copy(update=update)
        pixels.append(pixel)
    update_chain: dict[str, object] = {"pixels": tuple(pixels)}
    if chain.count is not None:
        update_chain["count"] = max(1, len(pixels))
    here = before.chain(chain.id)
    m = replace_chain(m, here.model_copy(update=update_chain))
    if m.bookmark is not None and m.bookmark.chain == chain.id and m.bookmark.number >= len(pixels):
        m = m.model_copy(update={"bookmark": m.bookmark.model_copy(update={"number": max(0, len(pixels) - 1)})})
    return m


def _known(pixel: Pixel, found: Found, number: int) -> Pixel:
    update: dict[str, object] = {}
    if found.dark and pixel.state is PixelState.PLACED:
        update["state"] = PixelState.DARK
    if found.verified:
        update["verified"] = number
    return pixel.model_copy(update=update) if update else pixel


def _place(m: PlayfieldMap, name: Name, pixels: list[Pixel]) -> tuple[PlayfieldMap, str]:
    """The place that a name means; a new one takes area, kind and a guessed position from the pixel before."""
    if name.place is not None and name.place in m.place_by_id:
        return m, name.place
    for place in m.places:
        if folded(place.label) == folded(name.label) and place.id not in m.pixels_at:
            return m, place.id
    last = next((m.place_by_id[p.place] for p in reversed(pixels) if p.place in m.place_by_id), None)
    position = None
    if last is not None and last.position is not None:
        position = last.position.model_copy(update={"guessed": True})
    m, place = add_place(
        m,
        name.label,
        area=last.area if last is not None else "",
        kind=last.kind if last is not None else Kind.INSERT,
        position=position,
    )
    return m, place.id


def finished(entries: Entries, result: Result, names: Mapping[int, Name], *, time: str, reason: str) -> PlayfieldMap:
    """The map as found, as a new revision; joints and feeds follow."""
    found = found_map(entries, result, names)
    return revised(entries.before, follow(entries.before, found, made_on=time[:10]), time=time, reason=reason)
