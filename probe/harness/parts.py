"""What to cut and what to have at hand: wires with the labels of both ends, and every part of the harness counted.

Computed from a map and its power plan. Where the map is silent the same is assumed as for the plan, and said so. Labels are
`output:number function`, short enough for a sleeve.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from probe.document.model import Chain, PixelState, PlayfieldMap
from probe.document.model.harness import Fixing, WireFunction
from probe.document.outside_text import spaced
from probe.document.plural import many
from probe.document.wiring import joints_in_order
from probe.harness.from_map import (
    ASSUMED_FEED_WIRE,
    ASSUMED_GROUND_MM,
    ASSUMED_SPACING_MM,
    ASSUMED_WIRE,
    MapPower,
    feeds_of,
    supplies_of,
)
from probe.harness.joints import MATES, JointView, joint_view
from probe.harness.pixels import CHAIN_CAPACITOR_UF, PIXEL_KINDS, SERIES_OHM

TUBE_MM: Final = 20.0
"""Heat-shrink tubing over one joint of one wire. Common practice, no source."""
STAPLE_EVERY_MM: Final = 150.0
"""How often wire under a playfield is held. Common practice, no source."""
SPARE_SHARE: Final = 0.1
"""Wire to have beyond what the list cuts. Common practice, no source."""
_NOT_NOTED = "colour not noted"


@dataclass(frozen=True, slots=True)
class Cut:
    """One wire. `length_mm` is as noted, from end to end; what a joint takes for stripping is not added.

    `assumed`: length or gauge are not noted. `where` is the stretch or feed it belongs to.
    """

    where: str
    function: str
    gauge: str
    colour: str
    length_mm: float
    first_label: str
    last_label: str
    assumed: bool


@dataclass(frozen=True, slots=True)
class PartsRow:
    """So much of one thing. `why` says what it is for, or how it was counted."""

    part: str
    quantity: float
    unit: str
    why: str = ""


def cut_list(map_: PlayfieldMap) -> tuple[Cut, ...]:
    """Every wire of the harness: feeds, then each chain stretch by stretch, then what joins the grounds of supplies."""
    return (*_feed_cuts(map_), *(cut for chain in map_.chains for cut in _chain_cuts(map_, chain)), *_ground_cuts(map_))


def wire_needed(cuts: Iterable[Cut]) -> tuple[tuple[str, str, float], ...]:
    """(gauge, colour, metres) of a cut list, each once."""
    found: dict[tuple[str, str], float] = defaultdict(float)
    for cut in cuts:
        found[cut.gauge, cut.colour or _NOT_NOTED] += cut.length_mm
    return tuple((gauge, colour, length_mm / 1000) for (gauge, colour), length_mm in sorted(found.items()))


def _feed_cuts(map_: PlayfieldMap) -> Iterator[Cut]:
    for feed in feeds_of(map_):
        near, far = spaced(feed.supply.name), f"{feed.chain.output}:{feed.number}"
        for function, end in ((WireFunction.FIVE_VOLT, "fuse"), (WireFunction.GROUND, "")):
            yield Cut(
                where=f"feed {feed.name}",
                function=function.value,
                gauge=feed.gauge,
                colour="",
                length_mm=feed.length_mm,
                first_label=f"{near} {function.value}" + (f" ({end})" if end else ""),
                last_label=f"{far} {function.value}",
                assumed=feed.assumed,
            )


def _chain_cuts(map_: PlayfieldMap, chain: Chain) -> Iterator[Cut]:
    gauge, ground = chain.wire or ASSUMED_WIRE, chain.ground_wire or chain.wire or ASSUMED_WIRE
    spacing = ASSUMED_SPACING_MM if chain.spacing_mm is None else chain.spacing_mm
    joints = list(joints_in_order(chain))
    name = spaced(chain.name)
    wires = [
        (
            leaving,
            arriving,
            leaving.value,
            arriving.value,
            "data" if leaving is WireFunction.DATA_OUT else arriving.value,
        )
        for leaving, arriving in MATES.items()
    ]
    for number in range(chain.length):
        joint = joints[number] if number < len(joints) else None
        view = None if joint is None else joint_view(map_, chain, number, joint)
        noted = None if joint is None else joint.length_mm
        first = "board" if number == 0 else f"{chain.output}:{number - 1}"
        where = f"{name}, {first if number == 0 else number - 1} to {number}"
        last = f"{chain.output}:{number}"
        for leaving, arriving, leaving_text, arriving_text, function in wires:
            if leaving is WireFunction.FIVE_VOLT and (
                (joint is not None and joint.five_volt_open) or (number == 0 and not (joint and joint.leaving_5v))
            ):
                continue
            yield Cut(
                where=where,
                function=function,
                gauge=ground if leaving is WireFunction.GROUND else gauge,
                colour="" if view is None else _colours(view, leaving, arriving),
                length_mm=noted if noted is not None else spacing,
                first_label=f"{first} {leaving_text}" + (f" {chain.output}" if number == 0 else ""),
                last_label=f"{last} {arriving_text}",
                assumed=chain.wire is None or (noted is None and (chain.spacing_mm is None or number == 0)),
            )


def _colours(view: JointView, leaving: WireFunction, arriving: WireFunction) -> str:
    ends = (view.leaving.wire(leaving), view.arriving.wire(arriving))
    return " to ".join(dict.fromkeys(spaced(end.colour) for end in ends if end is not None and end.colour))


def _ground_cuts(map_: PlayfieldMap) -> Iterator[Cut]:
    for other in map_.supplies[1:]:
        ends = spaced(map_.supplies[0].name), spaced(other.name)
        yield Cut(
            where="grounds of the supplies",
            function=WireFunction.GROUND.value,
            gauge=ASSUMED_FEED_WIRE,
            colour="",
            length_mm=ASSUMED_GROUND_MM,
            first_label=f"{ends[0]} ground",
            last_label=f"{ends[1]} ground",
            assumed=True,
        )


def parts_list(map_: PlayfieldMap, power: MapPower, *, cuts: Sequence[Cut] | None = None) -> tuple[PartsRow, ...]:
    """Everything to have at hand, counted. `power` is `compute(map_)`; without figures of it fuses are as noted only.

    `cuts`: `cut_list(map_)`, where it is at hand already.
    """
    cuts = cut_list(map_) if cuts is None else cuts
    return (
        *_pixel_rows(map_),
        *_supply_rows(map_, power),
        *_connector_rows(map_, power),
        *_fuse_rows(map_, power),
        *_head_rows(map_),
        *_wire_rows(cuts),
        *_joint_rows(map_, cuts),
    )


def _pixel_rows(map_: PlayfieldMap) -> Iterator[PartsRow]:
    found: Counter[tuple[str, str]] = Counter()
    for chain in map_.chains:
        for pixel in chain.pixels:
            batch = map_.batch_of(pixel)
            found[(batch.chip if batch and batch.chip else chain.chip), spaced(batch.name) if batch else ""] += 1
        found[chain.chip, ""] += chain.length - len(chain.pixels)
    states = Counter(pixel.state for _, _, pixel in map_.walk_pixels())
    for (chip, batch_name), quantity in found.items():
        if quantity:
            yield PartsRow(f"pixel {chip}", quantity, "", f"from {batch_name}" if batch_name else "no batch noted")
    broken = states[PixelState.DEAD] + states[PixelState.DARK]
    if broken:
        yield PartsRow("pixel, to replace", broken, "", "dead or dark in the map, counted above too")
    missing = sum(place.id not in map_.pixels_at for place in map_.places)
    if missing:
        yield PartsRow("pixel, to add", missing, "", "places that no pixel lights yet, not counted above")


def _supply_rows(map_: PlayfieldMap, power: MapPower) -> Iterator[PartsRow]:
    solved = {} if power.report is None else {supply.name: supply for supply in power.report.supplies}
    names = {} if power.made is None else power.made.supply_names
    for supply in supplies_of(map_) if map_.supplies or feeds_of(map_) else ():
        found = solved.get(names.get(supply.id, ""))
        wanted = "" if found is None or found.size_a is None else f"the plan wants {found.size_a:g} A"
        if not map_.supplies:
            wanted = f"none is noted{'; ' if wanted else ''}{wanted}"
        rating = "" if supply.rating_a is None else f", {supply.rating_a:g} A"
        yield PartsRow(f"supply {supply.volt:g} V{rating}: {spaced(supply.name)}", 1, "", wanted)


def _connector_rows(map_: PlayfieldMap, power: MapPower) -> Iterator[PartsRow]:
    feeds = len(feeds_of(map_))
    if feeds:
        amps = 0.0 if power.report is None else max((feed.planned_a for feed in power.report.feeds), default=0.0)
        why = "plus and ground of a feed" + (f"; the largest carries {amps:.1f} A" if amps else "")
        yield PartsRow("connector, 2 pins, with its counterpart", feeds, "", why)
    if map_.chains:
        yield PartsRow(
            "connector, 2 pins, for data", len(map_.chains), "", "data and ground of each output at the board"
        )


def _fuse_rows(map_: PlayfieldMap, power: MapPower) -> Iterator[PartsRow]:
    wanted = {} if power.report is None else {feed.name: feed.fuse.rating_a for feed in power.report.feeds}
    feeds = feeds_of(map_)
    ratings: Counter[float] = Counter()
    unknown = 0
    for feed in feeds:
        fitted = None if feed.noted is None else feed.noted.fuse_a
        rating = fitted if fitted is not None else wanted.get(feed.name)
        if rating is None:
            unknown += 1
        else:
            ratings[rating] += 1
    for rating, quantity in sorted(ratings.items()):
        yield PartsRow(f"blade fuse {rating:g} A", 2 * quantity, "", f"{many(quantity, 'feed')}, and as many spare")
    if unknown:
        yield PartsRow("fuse, size not known", unknown, "", "the plan finds none that fits: see its findings")
    if feeds:
        yield PartsRow("fuse holder", len(feeds), "", "at the supply's end of each feed")


def _head_rows(map_: PlayfieldMap) -> Iterator[PartsRow]:
    chains = [chain for chain in map_.chains if chain.length]
    if not chains:
        return
    yield PartsRow(
        f"resistor {SERIES_OHM[0]} to {SERIES_OHM[1]} Ω",
        len(chains),
        "",
        "in data, at the first pixel's end of each chain",
    )
    from_usb = {feed.chain.id for feed in feeds_of(map_) if feed.supply.usb}
    heads = sum(chain.id not in from_usb for chain in chains)
    if heads:
        why = "across plus and ground at the head of each chain, right way round"
        yield PartsRow(f"capacitor {CHAIN_CAPACITOR_UF:g} µF, 6.3 V or more", heads, "", why)
    loose = 0
    for chain in chains:
        for pixel in chain.pixels:
            batch = map_.batch_of(pixel)
            loose += _wants_capacitor(batch.chip if batch and batch.chip else chain.chip)
    if loose:
        yield PartsRow("capacitor 100 nF", loose, "", "across each loose pixel; none where its small board has one")


def _wants_capacitor(chip: str) -> bool:
    return any(kind.wants_capacitor for name, kind in PIXEL_KINDS.items() if name.lower() == chip)


def _wire_rows(cuts: Iterable[Cut]) -> Iterator[PartsRow]:
    for gauge, colour, metres in wire_needed(cuts):
        metres_in_all = math.ceil(metres * (1 + SPARE_SHARE) * 10 - 1e-9) / 10
        if metres_in_all:
            yield PartsRow(f"wire {gauge}, {colour}", metres_in_all, "m", f"{metres:.2f} m cut, and a tenth more")


def _joint_rows(map_: PlayfieldMap, cuts: Iterable[Cut]) -> Iterator[PartsRow]:
    stretches = [list(wires) for _, wires in groupby(cuts, key=lambda cut: cut.where)]
    joints = sum(map(len, stretches))
    if joints:
        length = math.ceil(joints * TUBE_MM / 100) / 10
        yield PartsRow("heat-shrink tubing", length, "m", f"{TUBE_MM:g} mm over each of {many(joints, 'joint')}")
    noted: Counter[Fixing] = Counter()
    for chain in map_.chains:
        noted.update(joint.fixing for joint in joints_in_order(chain))
        noted[Fixing.UNKNOWN] += chain.length - len(chain.pixels)
    for fixing in (Fixing.CLIP, Fixing.TIE):
        if noted[fixing]:
            yield PartsRow(fixing.value, noted[fixing], "", "noted at joints")
    staples = noted[Fixing.STAPLE] + sum(
        max(1, round(max(wire.length_mm for wire in wires) / STAPLE_EVERY_MM)) for wires in stretches
    )
    if staples:
        why = f"one every {STAPLE_EVERY_MM:g} mm; staple beside the wire, never over it"
        yield PartsRow("staple or cable clip", staples, "", why)
