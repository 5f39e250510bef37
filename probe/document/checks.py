"""What is wrong, doubtful or unfinished in a map. Pure; the findings come in a fixed order.

Codes are stable: scripts may rely on them.

| code | severity | when |
|---|---|---|
| output-twice | fault | two chains are on one output |
| beyond-count | fault | the map holds pixels past the chain's count |
| state-with-place | fault | an unseen, spare or repeater pixel has a place |
| placed-without-place | fault | a pixel is marked placed, and has no place |
| ceiling-below-idle | fault | the pixels take more than the chain's ceiling while dark |
| count-unknown | warning | the count of a chain is not known |
| gap | warning | unseen pixels lie among seen ones |
| bookmark-beyond | warning | the bookmark is past the chain's count |
| label-twice | warning | two places of one area have the same name |
| place-without-pixels | warning | there is a chain, and no pixel lights a place |
| place-on-two-chains | warning | pixels of two chains light one place |
| place-far-apart | warning | the pixels of a place are far apart in the chain |
| lamp-number-twice | warning | a lamp number is in the list twice |
| lamp-unknown | warning | a place belongs to a lamp number that the list does not have |
| lamp-name-twice | warning | two rows of the lamp list have the same name and area |
| lamp-without-pixel | warning | there is a chain, a lamp has places, and no pixel lights any of them |
| pixel-in-two-lamps | warning | pixels belong to more than one lamp, through their place |
| pixel-without-job | warning | there is a lamp list, and a placed pixel belongs to no lamp and no group |
| position-outside | warning | a place of the playfield lies outside of it |
| feed-lost | warning | a feed is at a pixel that is no longer there |
| feed-without-supply | warning | a feed comes from a supply the map does not have |
| joint-lost | warning | a joint is noted between pixels that are not neighbours |
| wire-too-short | warning | the wire noted between two pixels does not reach from one place to the other |
| batch-unknown | warning | pixels are of a batch the map does not have |
| no-chains | hint | the map has no chain yet |
| unfinished | hint | the end of a chain is unseen |
| label-in-two-areas | hint | places of different areas have the same name |
| lamp-without-place | hint | a row of the lamp list has no place yet |
| seen-otherwise | warning | something was noted in the game that is not what the map predicts |
| proved-wrong | warning | a lamp or group was looked at in the game, found wrong, and has not changed since |
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from enum import StrEnum
from itertools import pairwise
from math import hypot

from probe.document.joining import has_job, places_of_lamp
from probe.document.model import (
    Chain,
    Kind,
    Pixel,
    PixelState,
    Place,
    PlayfieldMap,
    Position,
    Record,
    shown_number,
)
from probe.document.operations import STATES_WITHOUT_PLACE, folded
from probe.document.proving import Standing, standings
from probe.document.wiring import feed_number, joints_in_order

IDLE_MA_PER_PIXEL = 1
"""What a dark pixel takes. SK6812 data sheet (2015): 1 mA; WS2812B V5 sheet: 0.6 mA. The larger one."""

FAR_APART = 8
"""Pixels of one place with more than this many numbers between neighbours are doubtful. Our own choice, no source."""

_REACH_TOLERANCE_MM = 0.5
"""Positions and lengths are noted in whole millimetres."""

_UNSHOWN = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
_ON_PLAYFIELD = frozenset({Kind.INSERT, Kind.BUMPER, Kind.GENERAL, Kind.FLASHER})


class Severity(StrEnum):
    """How bad it is. A fault makes the map wrong; a warning wants a look; a hint is work not done yet."""

    FAULT = "fault"
    WARNING = "warning"
    HINT = "hint"


class Where(Record):
    """What a finding is about; None where it does not apply. `number` is a pixel's, `lamp` a lamp's."""

    chain: str | None = None
    number: int | None = None
    place: str | None = None
    lamp: int | None = None


class Finding(Record):
    """One thing found, in words, with what to do about it."""

    code: str
    severity: Severity
    where: Where
    what: str
    what_to_do: str


_RANK = {severity: rank for rank, severity in enumerate(Severity)}


def _fault(code: str, what: str, what_to_do: str, **where: str | int) -> Finding:
    return _finding(Severity.FAULT, code, what, what_to_do, where)


def _warning(code: str, what: str, what_to_do: str, **where: str | int) -> Finding:
    return _finding(Severity.WARNING, code, what, what_to_do, where)


def _hint(code: str, what: str, what_to_do: str, **where: str | int) -> Finding:
    return _finding(Severity.HINT, code, what, what_to_do, where)


def _finding(severity: Severity, code: str, what: str, what_to_do: str, where: dict[str, str | int]) -> Finding:
    return Finding(code=code, severity=severity, where=Where.model_validate(where), what=what, what_to_do=what_to_do)


def quoted_label(text: str, limit: int = 60) -> str:
    """A label inside a sentence: in quotes, shortened, without anything that a terminal acts on."""
    plain = _UNSHOWN.sub("\ufffd", text)
    return f"“{plain if len(plain) <= limit else plain[: limit - 1] + '…'}”"


def _pixels_in_words(first: int, last: int) -> str:
    if first == last:
        return f"pixel {shown_number(first)}"
    return f"{last - first + 1} pixels, {shown_number(first)} to {shown_number(last)},"


def check_map(map_: PlayfieldMap) -> tuple[Finding, ...]:
    """Everything found, faults first, then by chain and number, place and lamp in the map's order."""
    found = [
        *_chains(map_),
        *_places(map_),
        *_labels(map_),
        *_lamps(map_),
        *_proofs(map_),
        *_wiring(map_),
        *_reach(map_),
    ]
    chains = {chain.id: index for index, chain in enumerate(map_.chains)}
    places = {place.id: index for index, place in enumerate(map_.places)}

    def order(finding: Finding) -> tuple[int, ...]:
        where = finding.where
        return (
            _RANK[finding.severity],
            chains.get(where.chain or "", len(chains)),
            -1 if where.number is None else where.number,
            places.get(where.place or "", -1),
            -1 if where.lamp is None else where.lamp,
        )

    return tuple(sorted(found, key=lambda finding: (order(finding), finding.code, finding.what)))


def _chains(map_: PlayfieldMap) -> Iterator[Finding]:
    if not map_.chains:
        yield _hint("no-chains", "the map has no chain yet", "Set up the chains that are on the board's outputs")
    on_output: dict[int, Chain] = {}
    for chain in map_.chains:
        name = quoted_label(chain.name)
        other = on_output.setdefault(chain.output, chain)
        if other is not chain:
            what = f"the chains {quoted_label(other.name)} and {name} are both on output {chain.output}"
            yield _fault("output-twice", what, "Give one of them the output it is plugged into", chain=chain.id)
        if chain.count is None:
            what = f"nobody has said how many pixels the chain {name} has"
            yield _warning("count-unknown", what, "Enter the count, or let the program find it", chain=chain.id)
        idle_ma = chain.length * IDLE_MA_PER_PIXEL
        if idle_ma > chain.ceiling_ma:
            what = f"{chain.length} dark pixels take about {idle_ma} mA, and the ceiling of {name} is {chain.ceiling_ma} mA"
            todo = "Raise the ceiling, as far as the supply, its fuse and the wires allow"
            yield _fault("ceiling-below-idle", what, todo, chain=chain.id)
        for number, pixel in enumerate(chain.pixels):
            yield from _pixel(map_, chain, number, pixel)
        yield from _beyond(map_, chain)
        yield from _unseen(chain)


def _pixel(map_: PlayfieldMap, chain: Chain, number: int, pixel: Pixel) -> Iterator[Finding]:
    shown = shown_number(number)
    place = map_.place_of(pixel)
    if place is not None and pixel.state in STATES_WITHOUT_PLACE:
        what = f"pixel {shown} is {pixel.state}, and has the place {quoted_label(place.label)}"
        todo = "Light it and look: either it lights the place, or the place belongs to another pixel"
        yield _fault("state-with-place", what, todo, chain=chain.id, number=number, place=place.id)
    if place is None and pixel.state is PixelState.PLACED:
        what = f"pixel {shown} is said to be placed, and has no place"
        yield _fault("placed-without-place", what, "Light it and say where it is", chain=chain.id, number=number)


def _beyond(map_: PlayfieldMap, chain: Chain) -> Iterator[Finding]:
    count = chain.count
    if count is None:
        return
    if len(chain.pixels) > count:
        what = f"{_pixels_in_words(count, len(chain.pixels) - 1)} of the map are past the count of {count}"
        todo = "Light the last one: if it lights, raise the count; if not, remove what is no longer there"
        yield _fault("beyond-count", what, todo, chain=chain.id, number=count)
    mark = map_.bookmark
    if mark is not None and mark.chain == chain.id and mark.number >= count:
        what = f"the bookmark is at {shown_number(mark.number)}, and the count is {count}"
        yield _warning("bookmark-beyond", what, "Go to a pixel of the chain", chain=chain.id, number=mark.number)


def _unseen(chain: Chain) -> Iterator[Finding]:
    """Runs of unseen pixels: those before a seen one are gaps, those at the end are work to do."""
    start: int | None = None
    for number, pixel in enumerate(chain.pixels):
        if pixel.state is PixelState.UNSEEN:
            start = number if start is None else start
        elif start is not None:
            what = f"{_pixels_in_words(start, number - 1)} unseen, with seen ones after"
            yield _warning("gap", what, "Walk there and look", chain=chain.id, number=start)
            start = None
    start = len(chain.pixels) if start is None else start
    end = max(chain.length, start)
    if start < end:
        what = f"{_pixels_in_words(start, end - 1)} unseen up to the end of {quoted_label(chain.name)}"
        yield _hint("unfinished", what, "Go on with the walk", chain=chain.id, number=start)


def _places(map_: PlayfieldMap) -> Iterator[Finding]:
    for place in map_.places:
        pixels = map_.pixels_at.get(place.id, ())
        name = quoted_label(place.label)
        if not pixels and map_.chains:  # before there is one, `no-chains` says it once
            todo = "Find the pixel that lights it, or remove the place"
            yield _warning("place-without-pixels", f"no pixel lights the place {name}", todo, place=place.id)
        yield from _spread(place, pixels)
        position = place.position
        if position is not None and place.kind in _ON_PLAYFIELD:
            inside = 0 <= position.x_mm <= map_.machine.width_mm and 0 <= position.y_mm <= map_.machine.length_mm
            if not inside:
                size = f"{map_.machine.width_mm:g} × {map_.machine.length_mm:g} mm"
                what = (
                    f"the place {name} is at {position.x_mm:g}, {position.y_mm:g} mm, outside of the {size} playfield"
                )
                yield _warning("position-outside", what, "Correct its position or its kind", place=place.id)


def _spread(place: Place, pixels: tuple[tuple[str, int], ...]) -> Iterator[Finding]:
    chains = list(dict.fromkeys(chain for chain, _ in pixels))
    name = quoted_label(place.label)
    if len(chains) > 1:
        what = f"the place {name} has pixels on {len(chains)} chains: {', '.join(chains)}"
        yield _warning(
            "place-on-two-chains", what, "Light each of them and look whether both are there", place=place.id
        )
    for chain in chains:
        numbers = [number for where, number in pixels if where == chain]
        for first, second in pairwise(numbers):
            if second - first > FAR_APART:
                what = f"the place {name} has pixels {shown_number(first)} and {shown_number(second)}, far apart"
                todo = "Light both and look: perhaps two places got one name"
                yield _warning("place-far-apart", what, todo, chain=chain, number=second, place=place.id)


def _labels(map_: PlayfieldMap) -> Iterator[Finding]:
    by_label: dict[str, list[Place]] = defaultdict(list)
    for place in map_.places:
        by_label[folded(place.label)].append(place)
    for places in by_label.values():
        areas: dict[str, Place] = {}
        for place in places:
            first = areas.setdefault(folded(place.area), place)
            if first is not place:
                area = f" in {quoted_label(place.area)}" if place.area else ""
                what = f"two places{area} are called {quoted_label(place.label)}"
                todo = "If they are one place, give both pixels the same one; if not, tell them apart by name"
                yield _warning("label-twice", what, todo, place=place.id)
        if len(areas) > 1:
            first = places[0]
            names = ", ".join(quoted_label(place.area) for place in areas.values())
            what = f"the name {quoted_label(first.label)} is used in {len(areas)} areas: {names}"
            yield _hint(
                "label-in-two-areas", what, "Fine if meant; a name of its own is easier to find", place=first.id
            )


def _wiring(map_: PlayfieldMap) -> Iterator[Finding]:
    for code, what, todo, chain in _wiring_faults(map_):
        yield _finding(Severity.WARNING, code, what, todo, {} if chain is None else {"chain": chain})


def _lamps(map_: PlayfieldMap) -> Iterator[Finding]:
    names: dict[int, str] = {}
    rows: set[tuple[str, str]] = set()
    for lamp in map_.lamps:
        name = quoted_label(lamp.name)
        who = name if lamp.number is None else f"lamp {lamp.number}, {name},"
        where: dict[str, str | int] = {} if lamp.number is None else {"lamp": lamp.number}
        if lamp.number is not None and lamp.number in names:
            both = f"{quoted_label(names[lamp.number])} and {name}"
            todo = "Correct the list, unless one output of the game really feeds both"
            yield _warning("lamp-number-twice", f"lamp {lamp.number} is both {both}", todo, **where)
            continue
        key = (folded(lamp.name), folded(lamp.area))
        if key in rows:
            todo = "Tell them apart by name: places are joined to them by it"
            yield _warning("lamp-name-twice", f"the lamp list has {name} twice", todo, **where)
        rows.add(key)
        if lamp.number is not None:
            names[lamp.number] = lamp.name
        places = places_of_lamp(map_, lamp)
        if not places:
            yield _hint("lamp-without-place", f"{who} has no place yet", "Join it to the place it lights", **where)
        elif map_.chains and not any(place.id in map_.pixels_at for place in places):
            todo = "Find the pixel that lights it"
            yield _warning("lamp-without-pixel", f"{who} has a place, and no pixel lights it", todo, **where)
    if map_.lamps:
        yield from _jobs(map_, names)


def _jobs(map_: PlayfieldMap, names: dict[int, str]) -> Iterator[Finding]:
    for place in map_.places:
        label = quoted_label(place.label)
        for number in place.lamps:
            if number not in names:
                what = f"the place {label} belongs to lamp {number}, which the lamp list does not have"
                todo = "Correct the number, or add the lamp"
                yield _warning("lamp-unknown", what, todo, place=place.id, lamp=number)
        pixels = map_.pixels_at.get(place.id, ())
        if not pixels:
            continue
        chain, number = pixels[0]
        shown = ", ".join(shown_number(n) for _, n in pixels[:3]) + (" …" if len(pixels) > 3 else "")
        where: dict[str, str | int] = {"chain": chain, "number": number, "place": place.id}
        if len(set(place.lamps)) > 1:
            lamps = " and ".join(map(str, sorted(set(place.lamps))))
            what = f"pixel {shown} at {label} belongs to lamps {lamps}"
            todo = "It lights with either; take one away unless that is meant"
            yield _warning("pixel-in-two-lamps", what, todo, **where)
        if not has_job(place):
            what = f"pixel {shown} at {label} belongs to no lamp and no group"
            yield _warning("pixel-without-job", what, "Join its place to a lamp, or put it into a group", **where)


def _proofs(map_: PlayfieldMap) -> Iterator[Finding]:
    for standing in standings(map_):
        if standing.state is Standing.WRONG:
            who = f"lamp {standing.lamp}" if standing.lamp is not None else f"the group {quoted_label(standing.group)}"
            where: dict[str, str | int] = {} if standing.lamp is None else {"lamp": standing.lamp}
            todo = "Correct its pixels, then prove it again"
            yield _warning("proved-wrong", f"{who} was found wrong in the game", todo, **where)
    for seen in map_.observations:
        who = f"lamp {seen.lamp}: " if seen.lamp is not None else ""
        what = f"{who}the map says {quoted_label(seen.predicted)}, seen was {quoted_label(seen.seen)}"
        at: dict[str, str | int] = {} if seen.lamp is None else {"lamp": seen.lamp}
        yield _warning("seen-otherwise", what, "Look again; correct the map, then remove the note", **at)


def _wiring_faults(map_: PlayfieldMap) -> Iterator[tuple[str, str, str, str | None]]:
    """Feeds, joints and batches that lead nowhere, as (code, what, what to do, where). The last item is the chain's id, None if there is no such chain."""
    supplies = {supply.id for supply in map_.supplies}
    for feed in map_.feeds:
        chain = feed.chain if feed.chain in map_.chain_by_id else None
        if feed_number(map_, feed) is None:
            what = f"the feed {feed.id} is at a pixel that is no longer there"
            yield "feed-lost", what, "Look where the feed is, and enter the pixel's number in the power plan", chain
        if feed.supply not in supplies:
            what = f"the feed {feed.id} comes from a supply that the map does not have"
            yield "feed-without-supply", what, "Choose its supply in the power plan", chain
    for chain_record in map_.chains:
        pixels = {pixel.id: number for number, pixel in enumerate(chain_record.pixels)}
        for joint in chain_record.joints:
            here = pixels.get(joint.before)
            expected = None if here is None else -1 if joint.after is None else pixels.get(joint.after)
            if here is None or expected is None or expected != here - 1:
                what = f"a joint is noted between {joint.after or 'the board'} and {joint.before}, which are not neighbours"
                yield "joint-lost", what, "Look at the wiring there, and note the joint anew", chain_record.id
        unknown = sorted({p.batch for p in chain_record.pixels if p.batch is not None and map_.batch_of(p) is None})
        for name in unknown:
            what = f"pixels are said to be of the batch {name}, which the map does not have"
            yield "batch-unknown", what, "Enter the batch, or choose another for these pixels", chain_record.id


def _reach(map_: PlayfieldMap) -> Iterator[Finding]:
    """Stretches whose wire is shorter than the straight line between the places at their ends.

    A stretch runs from one pixel at a known position to the next; the wire to pixels between them, which have no
    position, is counted. A guessed position proves nothing, and no wire is compared that nobody noted.
    """
    for chain in map_.chains:
        last: tuple[int, Place, Position] | None = None
        wire_mm: float | None = 0.0
        noted = True
        for number, (pixel, joint) in enumerate(zip(chain.pixels, joints_in_order(chain), strict=True)):
            length_mm = chain.spacing_mm if joint.length_mm is None else joint.length_mm
            noted = noted and joint.length_mm is not None
            wire_mm = None if wire_mm is None or length_mm is None else wire_mm + length_mm
            place = map_.place_of(pixel)
            position = None if place is None else place.position
            if place is None or position is None:
                continue
            if last is not None and wire_mm is not None and not (position.guessed or last[2].guessed):
                apart_mm = hypot(position.x_mm - last[2].x_mm, position.y_mm - last[2].y_mm)
                if apart_mm > wire_mm + _REACH_TOLERANCE_MM:
                    source = "" if noted else ", by the spacing of the chain"
                    what = (
                        f"{wire_mm:g} mm of wire are noted from pixel {shown_number(last[0])} to {shown_number(number)}{source}, "
                        f"and {quoted_label(last[1].label)} and {quoted_label(place.label)} are {apart_mm:.0f} mm apart"
                    )
                    todo = "Note the length of its wire in the power plan, or correct a position"
                    yield _warning("wire-too-short", what, todo, chain=chain.id, number=number, place=place.id)
            last = (number, place, position)
            wire_mm, noted = 0.0, True


def where_words(map_: PlayfieldMap, where: Where) -> str:
    """`Playfield 14 (15th), Reef lane 2, lamp 8`, as far as the finding has it; `the map` if it is about all of it."""
    words = []
    chain = map_.chain_by_id.get(where.chain) if where.chain is not None else None
    name = chain.name if chain is not None else where.chain
    if where.number is not None:
        words.append(f"{name or 'pixel'} {shown_number(where.number)}")
    elif name is not None:
        words.append(name)
    if where.place is not None:
        place = map_.place_by_id.get(where.place)
        words.append(place.label if place is not None else where.place)
    if where.lamp is not None:
        words.append(f"lamp {where.lamp}")
    return ", ".join(words) or "the map"
