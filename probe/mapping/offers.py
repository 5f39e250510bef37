"""Labels to offer while a pixel is named: from the pattern of the last ones, the lamp list, and labels used before."""

from __future__ import annotations

import re
from collections.abc import Container
from functools import lru_cache

from probe.document.model import Kind, Lamp, PixelState, Place, PlayfieldMap, once_for_each
from probe.document.operations import folded
from probe.frozen import frozen
from probe.mapping.completion import NEWEST, completed, next_of_rows, vocabulary

_NUMBERED = re.compile(r"^(.*?)(\d+)(\D*)$", re.DOTALL)
_LETTERED = re.compile(r"^(.*\s)([A-Z])$", re.DOTALL)
_SIDES = (("left", "right"), ("upper", "lower"), ("top", "bottom"), ("inner", "outer"))
_FUZZY_CUTOFF = 72
_ROWS = 3


@frozen
class Offer:
    """One label that Enter could take. `place` is set where it is a place that the map has already."""

    label: str
    why: str
    place: str | None = None
    lamps: tuple[int, ...] = ()
    group: str = ""
    area: str | None = None
    kind: Kind | None = None
    position_of: str | None = None


@lru_cache(maxsize=50_000)
def _folded(label: str) -> str:
    return folded(label)


def next_in_pattern(last: str, before: str | None = None) -> str | None:
    """What follows a label by its own pattern: `Reef lane 2` → `Reef lane 3`; downwards if `before` came from above.

    A last number counts on, keeping leading zeros; else a single capital at the end (`Rollover A` → `Rollover B`).
    """
    if match := _NUMBERED.match(last):
        head, digits, tail = match.groups()
        step = 1
        if before is not None and (earlier := _NUMBERED.match(before)):
            same = _folded(earlier[1]) == _folded(head) and _folded(earlier[3]) == _folded(tail)
            if same and int(earlier[2]) == int(digits) + 1:
                step = -1
        value = int(digits) + step
        if value < 0 or (value == 0 and step < 0):
            return None
        return f"{head}{value:0{len(digits)}d}{tail}"
    if (match := _LETTERED.match(last)) and match[2] != "Z":
        return f"{match[1]}{chr(ord(match[2]) + 1)}"
    return None


@lru_cache(maxsize=4096)  # a walk asks it of the same labels at each step
def other_side(label: str) -> str | None:
    """`Left outlane` → `Right outlane`, and the like; None if the label names no side."""
    for pair in _SIDES:
        for here, there in (pair, pair[::-1]):
            match = re.search(rf"\b{here}\b", label, re.IGNORECASE)
            if match:
                found = match[0]
                word = there.upper() if found.isupper() else there.capitalize() if found[0].isupper() else there
                return label[: match.start()] + word + label[match.end() :]
    return None


def abbreviates(typed: str, label: str) -> bool:
    """Whether what was typed shortens a label: its start, or starts of its words in order (`re l 3`, `rl3`)."""
    short, full = _folded(typed), _folded(label)
    if not short:
        return False
    if full.startswith(short):
        return True
    words = re.findall(r"\d+|[^\W\d]+", full)
    return _covers(short.replace(" ", ""), words)


def _covers(rest: str, words: list[str]) -> bool:
    """Whether `rest` splits into starts of some of `words`, in order, the first word included."""
    if not rest:
        return True
    if not words:
        return False
    word = words[0]
    longest = 0
    while longest < min(len(rest), len(word)) and rest[longest] == word[longest]:
        longest += 1
    for used in range(longest, 0, -1):
        tail = rest[used:]
        if not tail or any(_covers(tail, words[skip:]) for skip in range(1, len(words))):
            return True
    return False


@frozen
class Surroundings:
    """What offers depend on beside the typed text: the map, and where in it the pixel is."""

    map: PlayfieldMap
    chain: str
    number: int

    def neighbours(self) -> tuple[Place | None, Place | None]:
        """The last placed place before this pixel, and the last one unlike it before that."""
        last: Place | None = None
        pixels = self.map.chain(self.chain).pixels
        for index in range(min(self.number, len(pixels)) - 1, -1, -1):
            place = self.map.place_of(pixels[index])
            if place is None:
                continue
            if last is None:
                last = place
            elif place.id != last.id:
                return last, place
        return last, None


def offers(around: Surroundings, typed: str, *, limit: int = 8) -> tuple[Offer, ...]:
    """The labels to offer, best first; what Enter takes is the first.

    With nothing typed: the present label, or what the pattern and the lamp list expect next. With something typed:
    labels that it abbreviates, then new ones made of known words that it begins, then (or before them, if there are
    none) the text as typed, then look-alikes.
    """
    typed = typed.strip()
    pool = _expected(around)
    if not typed:
        return tuple(pool[:limit])
    known = pool + _used_before(around, {_folded(o.label) for o in pool})
    exact = [o for o in known if _folded(o.label) == _folded(typed)]
    short = [o for o in known if o not in exact and abbreviates(typed, o.label)]
    as_typed = [] if exact else [Offer(typed, "as typed")]
    have = {_folded(o.label) for o in (*known, *as_typed)}
    made = [] if exact else _made_of_words(around.map, typed, have)
    first, later = ([], []) if exact else _varied(around, typed, {_folded(o.label) for o in (*short, *as_typed, *made)})
    chosen = exact + (first + short[:_OF_THESE] + made + short[_OF_THESE:])[: limit - 2] + as_typed
    chosen += [] if short or made else later
    if len(chosen) < limit:
        from rapidfuzz import fuzz, process  # loaded with the first letters typed, not before the first screen

        rest = {index: o.label for index, o in enumerate(known) if o not in chosen}
        alike = process.extract(
            typed, rest, scorer=fuzz.WRatio, processor=_folded, score_cutoff=_FUZZY_CUTOFF, limit=limit - len(chosen)
        )
        chosen += [known[index] for _, _, index in alike]
    return tuple(chosen[:limit])


_OF_THESE = 2
"""Known labels offered before those that are made of known words."""


def _labels(map_: PlayfieldMap) -> tuple[str, ...]:
    """What was named last, in its order."""
    return tuple(place.label for place in map_.places[-NEWEST:])


def _made_of_words(map_: PlayfieldMap, typed: str, have: set[str]) -> list[Offer]:
    """New labels that the typed beginnings of words stand for."""
    made = [label for label in completed(vocabulary(_labels(map_)), typed) if _folded(label) not in have]
    return [Offer(label, "new") for label in made[:_OF_THESE]]


_ORDINAL = re.compile(r"^\d+\w?$")


def _varied(around: Surroundings, typed: str, skip: set[str]) -> tuple[list[Offer], list[Offer]]:
    """The last label with a part of it replaced by what was typed: sure ones, and ones to offer after the text itself.

    After `Otter bonus 7`, `10` means `Otter bonus 10`. After `Wreck arrow`, `spinner` may mean `Wreck spinner`; after
    `Anemone bumper`, `Starfish` may mean `Starfish bumper`.
    """
    last, _ = around.neighbours()
    words = last.label.split() if last is not None else []
    if last is None or len(words) < 2:
        return [], []
    first, later = [], []
    if _ORDINAL.match(typed) and _ORDINAL.match(words[-1]):
        first.append(" ".join([*words[:-1], typed]))
    later += [" ".join([*words[:kept], typed]) for kept in range(len(words) - 1, 0, -1)]
    later += [" ".join([typed, *words[dropped:]]) for dropped in range(1, len(words))]
    known = {_folded(place.label) for place in around.map.places} | skip

    def made(labels: list[str]) -> list[Offer]:
        fresh = dict.fromkeys(label for label in labels if _folded(label) not in known)
        return [Offer(label, "like the last one", position_of=last.id) for label in fresh]

    return made(first), made(later)


def _expected(around: Surroundings) -> list[Offer]:
    """What the pixel may be, without a word typed, likeliest first."""
    map_ = around.map
    found: list[Offer] = []
    pixels = map_.chain(around.chain).pixels
    if around.number < len(pixels) and pixels[around.number].state is not PixelState.UNSEEN:
        here = map_.place_of(pixels[around.number])
        if here is not None:
            found.append(_same(map_, here, "as it is now"))
    last, before = around.neighbours()
    open_lamps = _open_lamps(map_)
    by_name = _open_by_name(map_)
    placed = _placed(map_)
    if last is not None:
        if _wants_another_pixel(map_, last, before):
            found.append(_same(map_, last, "same place again"))
        following = next_in_pattern(last.label, before.label if before else None)
        for label in (following, other_side(last.label)):
            if label is None or _folded(label) in placed:
                continue
            if (named := by_name.get(_folded(label))) is not None:
                found.append(_of_lamp(named))
            elif label is following and (not map_.lamps or not _from_list(map_, last)):
                found.append(Offer(label, "next", position_of=last.id))
    found += [_of_lamp(lamp) for lamp in _after(open_lamps, map_.lamps, last)]
    found += [Offer(label, "the other side", position_of=None) for label in _other_sides(around, placed, by_name)]
    if not map_.lamps:
        found += [Offer(label, "next") for label in _next_of_rows(map_) if _folded(label) not in placed]
    unique: dict[str, Offer] = {}
    for offer in found:
        unique.setdefault(f"{offer.place or ''}\0{_folded(offer.label)}\0{offer.lamps}", offer)
    return list(unique.values())


@once_for_each
def _next_of_rows(map_: PlayfieldMap) -> list[str]:
    """What goes on with its rows of numbered labels."""
    labels = _labels(map_)
    return next_of_rows(vocabulary(labels), labels, _ROWS)


@once_for_each
def _placed(map_: PlayfieldMap) -> frozenset[str]:
    """All labels of places, folded."""
    return frozenset(_folded(place.label) for place in map_.places)


def _other_sides(around: Surroundings, *known: Container[str], limit: int = 6) -> list[str]:
    """Counterparts of labels on one side that the other side still lacks, those named last first."""
    map_ = around.map
    found: dict[str, None] = {}
    for pixel in reversed(map_.chain(around.chain).pixels[max(0, around.number - NEWEST) : around.number]):
        place = map_.place_of(pixel)
        label = other_side(place.label) if place is not None else None
        if label is not None and not any(_folded(label) in names for names in known):
            found.setdefault(label)
            if len(found) == limit:
                break
    return list(found)


def _wants_another_pixel(map_: PlayfieldMap, last: Place, before: Place | None) -> bool:
    """Habit: if the place before has more pixels than the last one has so far, and is of its kind, offer the same."""
    if before is None or before.kind is not last.kind:
        return False
    count = len(map_.pixels_at.get(last.id, ()))
    return 0 < count < len(map_.pixels_at.get(before.id, ()))


@once_for_each
def _open_lamps(map_: PlayfieldMap) -> list[Lamp]:
    """Lamps that no place with a pixel has, by number or by name, in list order."""
    lit = [place for place in map_.places if place.id in map_.pixels_at]
    numbers = {n for place in lit for n in place.lamps}
    names = {(_folded(place.label), _folded(place.area)) for place in lit}
    labels = {_folded(place.label) for place in lit}
    return [
        lamp
        for lamp in map_.lamps
        if lamp.number not in numbers
        and (_folded(lamp.name), _folded(lamp.area)) not in names
        and (lamp.area or _folded(lamp.name) not in labels)
    ]


@once_for_each
def _open_by_name(map_: PlayfieldMap) -> dict[str, Lamp]:
    """The first open lamp of each name, folded."""
    by_name: dict[str, Lamp] = {}
    for lamp in _open_lamps(map_):
        by_name.setdefault(_folded(lamp.name), lamp)
    return by_name


def _from_list(map_: PlayfieldMap, place: Place) -> bool:
    return bool(place.lamps) or any(_folded(lamp.name) == _folded(place.label) for lamp in map_.lamps)


def _after(open_lamps: list[Lamp], every: tuple[Lamp, ...], last: Place | None) -> list[Lamp]:
    """Open lamps in list order, starting after the last placed one's own row; its area first."""
    if last is None:
        return open_lamps
    row = next(
        (i for i, lamp in enumerate(every) if lamp.number in last.lamps or _folded(lamp.name) == _folded(last.label)),
        None,
    )
    if row is None:
        later, earlier = open_lamps, []
    else:
        index = {id(lamp): i for i, lamp in enumerate(every)}
        later = [lamp for lamp in open_lamps if index[id(lamp)] > row]
        earlier = [lamp for lamp in open_lamps if index[id(lamp)] < row]
    ordered = later + earlier
    area = _folded(last.area)
    return sorted(ordered, key=lambda lamp: bool(area) and _folded(lamp.area) != area)


def _of_lamp(lamp: Lamp) -> Offer:
    area = lamp.area or None
    if lamp.number is None:
        return Offer(lamp.name, "in the list", group=lamp.group, area=area, kind=lamp.kind)
    return Offer(lamp.name, f"lamp {lamp.number}", lamps=(lamp.number,), group=lamp.group, area=area, kind=lamp.kind)


def _same(map_: PlayfieldMap, place: Place, why: str) -> Offer:
    return Offer(place.label, why, place=place.id, area=place.area, kind=place.kind)


def _used_before(around: Surroundings, skip: set[str]) -> list[Offer]:
    map_ = around.map
    found = []
    for place in map_.places:
        if _folded(place.label) in skip:
            continue
        where = map_.pixels_at.get(place.id, ())
        why = f"also {', '.join(str(n) for _, n in where[:3])}" if where else "has no pixel yet"
        found.append(_same(map_, place, why))
    return found
