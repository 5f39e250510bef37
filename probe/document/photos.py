"""Photos in the folder of the map, attached by file name to places and to joints. Pure: no photo is opened here."""

from __future__ import annotations

from probe.document.model import PlayfieldMap, shown_number, storable
from probe.document.model.evenings import Photo
from probe.document.operations import folded, slug


class NoSuchTargetError(ValueError):
    """There is no such place, joint or photo. The text says what to do."""


def attach(
    map_: PlayfieldMap, file: str, *, place: str | None = None, pixel: str | None = None, caption: str = ""
) -> PlayfieldMap:
    """The map with a photo of a place (by label or id), or of the joint arriving at a pixel (`chain:number`).

    Raises NoSuchTargetError, or pydantic.ValidationError for a name that is not that of a photo beside the map.
    """
    if (place is None) == (pixel is None):
        raise NoSuchTargetError(
            "say what the photo shows: a place with --place, or the joint arriving at a pixel with --joint"
        )
    found = {} if place is None else {"place": _place(map_, place)}
    if pixel is not None:
        chain, pixel_id = _pixel(map_, pixel)
        found = {"chain": chain, "pixel": pixel_id}
    name = slug(file.rpartition(".")[0], {photo.id for photo in map_.photos}, "photo")
    made = Photo.model_validate({"id": name, "file": file, "caption": storable(caption), **found})
    return map_.model_copy(update={"photos": (*map_.photos, made)})


def detach(map_: PlayfieldMap, file: str) -> PlayfieldMap:
    """The map without any mention of a photo. Raises NoSuchTargetError if there is none."""
    kept = tuple(photo for photo in map_.photos if photo.file != file)
    if len(kept) == len(map_.photos):
        raise NoSuchTargetError(f"no photo {file!r} is attached: photos of the map are listed without a file name")
    return map_.model_copy(update={"photos": kept})


def title_of(map_: PlayfieldMap, photo: Photo) -> str:
    """What a photo shows, in words."""
    place = map_.place_by_id.get(photo.place or "")
    if place is not None:
        return place.label
    chain = map_.chain_by_id.get(photo.chain or "")
    number = next((n for n, p in enumerate(chain.pixels) if p.id == photo.pixel), None) if chain else None
    if chain is None or number is None:
        return "what it showed is no longer in the map"
    return f"joint arriving at {chain.name} {shown_number(number)}"


def titles(map_: PlayfieldMap) -> list[tuple[str, str, str]]:
    """(file, what it shows, caption) of every photo, by what they show."""
    return sorted(((p.file, title_of(map_, p), p.caption) for p in map_.photos), key=lambda row: (row[1], row[0]))


def _place(map_: PlayfieldMap, words: str) -> str:
    if words in map_.place_by_id:
        return words
    alike = [place.id for place in map_.places if folded(place.label) == folded(words)]
    if len(alike) == 1:
        return alike[0]
    why = "there is no place" if not alike else f"{len(alike)} places are called"
    raise NoSuchTargetError(f"{why} {words!r}: name it as the map does")


def _pixel(map_: PlayfieldMap, words: str) -> tuple[str, str]:
    chain_id, _, number = words.rpartition(":")
    chain = map_.chain_by_id.get(chain_id) if chain_id else map_.chains[0] if map_.chains else None
    if chain is None or not (number.isascii() and number.isdigit()) or int(number[:6]) >= len(chain.pixels):
        known = ", ".join(map_.chain_by_id)
        raise NoSuchTargetError(f"{words!r} is no pixel of this map: write CHAIN:NUMBER; chains: {known or 'none'}")
    return chain.id, chain.pixels[int(number)].id
