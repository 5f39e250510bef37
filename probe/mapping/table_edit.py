"""Changes made in the map table, to one row or several at once: pure functions from map to map.

A name, an area, a kind and a photo belong to the place that a row's pixel lights, a state and a note to the pixel itself, another
photo to the joint that arrives at it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TypeVar

from pydantic import ValidationError

from probe.document.model import Kind, PixelState, Place, PlayfieldMap, shown_number
from probe.document.model.evenings import Photo
from probe.document.model.record import MAX_TEXT, storable
from probe.document.operations import (
    add_place,
    assign_place,
    drop_unused_place,
    folded,
    pixel_at,
    set_note,
    set_state,
    set_verified,
    update_place,
)
from probe.document.photos import NoSuchTargetError, attach
from probe.document.plural import many
from probe.document.revisions import changed_in, is_verified

At = tuple[str, int]
"""A row: chain and number."""


class Column(Enum):
    """What can be changed in the table; the value is its word."""

    NAME = "name"
    AREA = "area"
    KIND = "kind"
    STATE = "state"
    NOTE = "note"
    PHOTO = "photo of the place"
    JOINT_PHOTO = "photo of the joint before it"


FROM_LIST = (Column.KIND, Column.STATE)
"""What is chosen from a list; typing narrows it."""


class CannotChangeError(ValueError):
    """Why the rows cannot be changed so, and what to do, in words for the person."""


@dataclass(frozen=True)
class Changed:
    """A map after a change, and what was changed, in words."""

    map: PlayfieldMap
    words: str


def offers_for(map_: PlayfieldMap, column: Column, typed: str) -> tuple[str, ...]:
    """The values to choose from: every kind and state, the areas used so far; those that hold what is typed."""
    match column:
        case Column.KIND:
            values = [kind.value for kind in Kind]
        case Column.STATE:
            values = [state.value for state in PixelState]
        case Column.AREA:
            values = sorted({place.area for place in map_.places if place.area}, key=folded)
        case _:
            return ()
    wanted = folded(typed)
    return tuple(value for value in values if wanted in folded(value))


def value_now(map_: PlayfieldMap, at: At, column: Column) -> str:
    """What a row holds in that column."""
    pixel = pixel_at(map_, *at)
    place = map_.place_of(pixel)
    match column:
        case Column.STATE:
            return pixel.state.value
        case Column.NOTE:
            return pixel.note
        case Column.PHOTO | Column.JOINT_PHOTO:
            return ""
        case _ if place is None:
            return ""
        case Column.NAME:
            return place.label
        case Column.AREA:
            return place.area
        case Column.KIND:
            return place.kind.value


def places_at(map_: PlayfieldMap, rows: Sequence[At]) -> tuple[Place, ...]:
    """The places that the pixels of these rows light, each once, in the rows' order."""
    found = {pixel.place: None for pixel in (pixel_at(map_, *at) for at in rows) if pixel.place is not None}
    return tuple(map_.place_by_id[place] for place in found if place in map_.place_by_id)


def unsettled(before: PlayfieldMap, after: PlayfieldMap, rows: Sequence[At]) -> tuple[At, ...]:
    """Those rows whose pixel was proved right since its chain was rewired, and now says something else."""
    proved = {chain.id: changed_in(before, chain.id) for chain in before.chains}
    return tuple(
        at
        for at in rows
        if is_verified(old := pixel_at(before, *at), proved[at[0]])
        and (old.state, old.place) != ((new := pixel_at(after, *at)).state, new.place)
    )


def changed(map_: PlayfieldMap, rows: Sequence[At], column: Column, text: str) -> Changed:
    """The map with these rows changed. Raises CannotChangeError; the map is then as it was."""
    text = storable(text).strip()
    if len(text) > MAX_TEXT:
        raise CannotChangeError(f"that is too long: {MAX_TEXT:,} characters at most")
    try:
        match column:
            case Column.NAME:
                return _named(map_, rows, text)
            case Column.AREA:
                return _of_places(map_, rows, {"area": text}, f"area: {text or 'none'}")
            case Column.KIND:
                kind = _one_of(Kind, text, "kind")
                return _of_places(map_, rows, {"kind": kind}, f"kind: {kind}")
            case Column.STATE:
                return _stated(map_, rows, _one_of(PixelState, text, "state"))
            case Column.NOTE:
                for at in rows:
                    map_ = set_note(map_, *at, text)
                return Changed(map_, f"{_of(rows)}: note {'kept' if text else 'taken out'}")
            case Column.PHOTO | Column.JOINT_PHOTO:
                return _photographed(map_, rows, text, of_joint=column is Column.JOINT_PHOTO)
    except NoSuchTargetError as error:
        raise CannotChangeError(str(error)) from None
    except ValidationError as error:
        why = error.errors(include_url=False)[0]["msg"]
        of_ours = why.removeprefix("Value error, ")
        raise CannotChangeError(of_ours if of_ours != why else f"{column.value}: {why.lower()}") from None


def _photographed(map_: PlayfieldMap, rows: Sequence[At], file: str, *, of_joint: bool) -> Changed:
    """A photo of each row's place or joint, by the name of its file; one that is attached there already is taken off."""
    if not file:
        raise CannotChangeError("type the file name of a photo that lies beside the map, as in eel.jpg")
    if of_joint:
        targets = [{"chain": chain, "pixel": pixel_at(map_, chain, number).id} for chain, number in rows]
    else:
        targets = [{"place": place.id} for place in places_at(map_, rows)]
    if not targets:
        raise CannotChangeError("no place is known there: name it first, or take the photo of the joint")

    def shows(photo: Photo) -> bool:
        return photo.file == file and any(
            all(getattr(photo, key) == value for key, value in target.items()) for target in targets
        )

    kept = tuple(photo for photo in map_.photos if not shows(photo))
    of = f"the joint{'s' if len(targets) > 1 else ''} before {_of(rows)}" if of_joint else _places_in_words(map_, rows)
    if len(kept) < len(map_.photos):
        return Changed(
            map_.model_copy(update={"photos": kept}), f"{of}: photo {file} taken off; the file stays as it is"
        )
    for chain, number in rows if of_joint else ():
        map_ = attach(map_, file, pixel=f"{chain}:{number}")
    for target in () if of_joint else targets:
        map_ = attach(map_, file, place=target["place"])
    return Changed(map_, f"{of}: photo {file}, for the sheet. It has to lie beside the map file")


def _places_in_words(map_: PlayfieldMap, rows: Sequence[At]) -> str:
    places = places_at(map_, rows)
    return places[0].label if len(places) == 1 else many(len(places), "place")


def _of(rows: Sequence[At]) -> str:
    return shown_number(rows[0][1]) if len(rows) == 1 else many(len(rows), "pixel")


_OneOf = TypeVar("_OneOf", Kind, PixelState)


def _one_of(values: type[_OneOf], text: str, what: str) -> _OneOf:
    found = [value for value in values if text and folded(value.value).startswith(folded(text))]
    if len(found) != 1:
        raise CannotChangeError(f"which {what}? {', '.join(value.value for value in values)}")
    return found[0]


def _of_places(map_: PlayfieldMap, rows: Sequence[At], update: dict[str, object], words: str) -> Changed:
    places = places_at(map_, rows)
    if not places:
        raise CannotChangeError("no place is known there: name it first")
    for place in places:
        map_ = update_place(map_, place.model_copy(update=update))
    without = sum(pixel_at(map_, *at).place is None for at in rows)
    left = f"; {many(without, 'pixel')} without a place {'is' if without == 1 else 'are'} as before" if without else ""
    return Changed(map_, f"{_places_in_words(map_, rows)}: {words}{left}")


def _stated(map_: PlayfieldMap, rows: Sequence[At], state: PixelState) -> Changed:
    homeless = [number for chain, number in rows if pixel_at(map_, chain, number).place is None]
    if state is PixelState.PLACED and homeless:
        raise CannotChangeError(f"{', '.join(map(str, homeless[:6]))}: no place is known there: name it instead")
    for at in rows:
        before = pixel_at(map_, *at)
        if before.state is state:
            continue
        map_ = set_verified(set_state(map_, *at, state), *at, 0)
        if before.place is not None and pixel_at(map_, *at).place is None:
            map_ = drop_unused_place(map_, before.place)
    return Changed(map_, f"{_of(rows)}: {state}")


def numbered(text: str, count: int) -> tuple[str, ...]:
    """Names for several places: `Reef lane` → Reef lane 1, Reef lane 2 …; `Reef lane 4` → Reef lane 4, Reef lane 5 …"""
    if count == 1:
        return (text,)
    match = re.fullmatch(r"(.*?)\s*([0-9]{1,6})", text)
    base, first = (match[1], int(match[2])) if match else (text, 1)
    return tuple(f"{base} {first + n}".strip() for n in range(count))


def _named(map_: PlayfieldMap, rows: Sequence[At], text: str) -> Changed:
    """New names for the places; a pixel without one is given a place of that name."""
    if not text:
        raise CannotChangeError("a place needs a name")
    keys: dict[object, At] = {}
    for at in rows:
        keys.setdefault(pixel_at(map_, *at).place or at, at)
    names = numbered(text, len(keys))
    taken = {folded(place.label): place for place in map_.places if place.id not in keys}
    for name in names:
        if (other := taken.get(folded(name))) is not None:
            lit_by = map_.pixels_at.get(other.id)
            where = f" (pixel {lit_by[0][1]})" if lit_by else ""
            raise CannotChangeError(f"there is a place called {other.label} already{where}: take another name")
    for (key, at), name in zip(keys.items(), names, strict=True):
        if isinstance(key, str):
            place = Place.model_validate({**dict(map_.place_by_id[key]), "label": name})
            map_ = update_place(map_, place)
        else:
            map_, place = add_place(map_, name)
            map_ = set_verified(assign_place(map_, *at, place.id), *at, 0)
    return Changed(map_, f"{_of(rows)}: {names[0]}" + (f" to {names[-1]}" if len(names) > 1 else ""))
