"""A map's records as a power plan, with everything that had to be assumed in words.

`plan_of(map_)` makes the plan; `compute(map_)` solves it too and adds what only the map knows: fuses that are fitted.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import count, groupby
from typing import TYPE_CHECKING, Final

from device_protocol.lightness import at_level
from probe.document.lamp_table import light_of
from probe.document.model import Chain, Pixel, PixelState, PlayfieldMap, shown_number
from probe.document.model.harness import Batch, Feed, Judged, Metered, Power, Supply
from probe.document.outside_text import spaced
from probe.document.plural import many
from probe.document.wiring import feed_number, joints_in_order
from probe.harness.base import PowerError
from probe.harness.checks import PowerFinding, Weight, findings
from probe.harness.copper import PLUGS, WireKind
from probe.harness.pixels import PIXEL_KINDS, nominal_volt_of
from probe.harness.plan import (
    ASSUMED_FUSE_A,
    ChainPlan,
    FeedPlan,
    GroundJoin,
    Measured,
    NamedPixel,
    OddJoint,
    PixelRun,
    PowerPlan,
    SupplyPlan,
)

if TYPE_CHECKING:
    from probe.harness.report import FeedSuggestion, PowerReport

# Common practice, no source: what is taken where the map is silent.
ASSUMED_WIRE: Final = "22 AWG"
ASSUMED_SPACING_MM: Final = 100.0
ASSUMED_FEED_WIRE: Final = "18 AWG"
ASSUMED_FEED_MM: Final = 500.0
ASSUMED_KIND: Final = "WS2812B"
ASSUMED_KIND_RGBW: Final = "SK6812-RGBW"
ASSUMED_GROUND_MM: Final = 1_000.0
SUGGEST_UP_TO: Final = 3_000  # pixels; beyond, looking for one more feed takes seconds


def wire_of(gauge: str) -> WireKind:
    """A gauge as the map notes it (`22 AWG`, `0.34 mm²`) as wire."""
    size, unit = gauge.split()
    return WireKind(awg=int(size)) if unit == "AWG" else WireKind(area_mm2=float(size))


@dataclass(frozen=True, slots=True)
class Assumed:
    """Something the map does not say, and what was taken instead. `what`: one or two words for it, to mark figures with."""

    where: str
    text: str
    what: str = ""


@dataclass(frozen=True)
class MapPlan:
    """A plan made from a map. `chain_names`, `feed_names`, `supply_names`: name in the plan, by id."""

    map: PlayfieldMap
    plan: PowerPlan
    assumed: tuple[Assumed, ...]
    chain_names: dict[str, str]
    feed_names: dict[str, str]
    supply_names: dict[str, str]

    def mark(self, *names: str) -> str:
        """What the figures of these chains, feeds and supplies rest on that nobody noted: ` [assumed: wire, fuse]`."""
        whats = dict.fromkeys(a.what for a in self.assumed if a.what and a.where in (*names, "supplies"))
        return f" [assumed: {', '.join(whats)}]" if whats else ""

    def mark_chain(self, name: str) -> str:
        """The same of a chain with its feeds and their supplies."""
        feeds = [feed for feed in self.plan.feeds if feed.chain == name]
        return self.mark(name, *(feed.name for feed in feeds), *(feed.supply for feed in feeds))

    def mark_supply(self, name: str | None = None) -> str:
        """The same of all that a supply feeds; of all supplies together if none is named."""
        feeds = [feed for feed in self.plan.feeds if name in (None, feed.supply)]
        return self.mark(
            *(part for feed in feeds for part in (feed.chain, feed.name, feed.supply)), *filter(None, [name])
        )

    def where(self, chain_name: str, number: int) -> str:
        """A pixel of the plan as a person knows it: `83 (84th), Trench glow 2`."""
        identifier = next(key for key, name in self.chain_names.items() if name == chain_name)
        chain = self.map.chain(identifier)
        place = self.map.place_at(chain, number)
        return shown_number(number) + (f", {spaced(place.label)}" if place is not None else "")


def _unlike(records: Iterable[Chain | Feed | Supply]) -> dict[str, str]:
    """Names by id, each name once."""
    found: dict[str, str] = {}
    for record in records:
        shown, taken = spaced(record.name).strip() or record.id, set(found.values())
        names = (shown if number == 1 else f"{shown} ({number})" for number in count(1))
        found[record.id] = next(name for name in names if name not in taken)
    return found


@dataclass(frozen=True, slots=True)
class TakenFeed:
    """A feed that plan, cut list and parts count: one noted, or (`noted` None) the one taken for a chain without any."""

    name: str
    chain: Chain
    number: int
    supply: Supply
    noted: Feed | None = None

    @property
    def gauge(self) -> str:
        """Its wire, taken where none is noted."""
        return (self.noted and self.noted.wire) or ASSUMED_FEED_WIRE

    @property
    def length_mm(self) -> float:
        """One way; taken where none is noted."""
        return ASSUMED_FEED_MM if self.noted is None or self.noted.length_mm is None else self.noted.length_mm

    @property
    def assumed(self) -> bool:
        """Whether wire or length are not noted."""
        return self.noted is None or self.noted.wire is None or self.noted.length_mm is None


def supplies_of(map_: PlayfieldMap) -> tuple[Supply, ...]:
    """The supplies of a map; one is taken where none is noted."""
    if map_.supplies:
        return map_.supplies
    volt = nominal_volt(map_)
    return (Supply(id="assumed-supply", name=f"{volt:g} V supply", volt=volt),)


def feeds_of(map_: PlayfieldMap) -> tuple[TakenFeed, ...]:
    """Which feeds there are: those noted whose pixel is in the map, then one at the first pixel of each chain without such a one.

    Each name once. A feed whose supply is not in the map is taken from the first one.
    """
    at = {feed.id: feed_number(map_, feed) for feed in map_.feeds}
    sound = [(feed, number) for feed in map_.feeds if (number := at[feed.id]) is not None]
    names = _unlike(feed for feed, _ in sound)
    supplies = {supply.id: supply for supply in supplies_of(map_)}
    first = next(iter(supplies.values()))
    found = [
        TakenFeed(names[feed.id], map_.chain(feed.chain), number, supplies.get(feed.supply, first), feed)
        for feed, number in sound
    ]
    chains = [chain for chain in map_.chains if chain.length]
    chain_names, fed, taken = _unlike(chains), {feed.chain for feed, _ in sound}, set(names.values())
    for chain in chains:
        if chain.id not in fed:
            base = f"board end of {chain_names[chain.id]}"
            shown = (base + (f" ({number})" if number > 1 else "") for number in count(1))
            found.append(TakenFeed(next(name for name in shown if name not in taken), chain, 0, first))
    return tuple(found)


def nominal_volt(map_: PlayfieldMap, chain: Chain | None = None) -> float:
    """Volts of the pixels of a chain, or of the map's first one with pixels."""
    first = chain or next((c for c in map_.chains if c.length), None)
    return 5.0 if first is None else nominal_volt_of(first.chip)


class _Maker:
    def __init__(self, map_: PlayfieldMap) -> None:
        self.map = map_
        self.assumed: list[Assumed] = []
        self.chains = [chain for chain in map_.chains if chain.length]
        if not self.chains:
            raise PowerError("the map has no chain with pixels. Set a chain up, or enter its count.")
        if not map_.supplies:
            text = f"no supply is noted: one of {nominal_volt(map_):g} V, as large as it needs to be"
            self.assume("supplies", text, "supply")
        self.chain_names = _unlike(self.chains)
        self.supplies = supplies_of(map_)
        self.supply_names = _unlike(self.supplies)
        self.feed_names: dict[str, str] = {}

    def assume(self, where: str, text: str, what: str = "") -> None:
        self.assumed.append(Assumed(where, text, what))

    def made(self) -> MapPlan:
        power = self.map.power or Power()
        plan = PowerPlan(
            chains=tuple(self.chain(chain) for chain in self.chains),
            feeds=tuple(self.feeds()),
            supplies=tuple(
                SupplyPlan(
                    name=self.supply_names[supply.id], volt=supply.volt, rating_a=supply.rating_a,
                    board_a=supply.board_ma / 1000, is_usb=supply.usb,
                )
                for supply in self.supplies
            ),
            ground_joins=self.grounds(),
            typical_share=power.typical_percent / 100,
            **power.model_dump(exclude={"typical_percent", "note"}),
        )  # fmt: skip
        return MapPlan(self.map, plan, tuple(self.assumed), self.chain_names, self.feed_names, self.supply_names)

    # -- chains -------------------------------------------------------------------------------------------------

    def kind(self, chip: str, order: str, where: str) -> str:
        """The pixel kind to compute with."""
        found = next((name for name in PIXEL_KINDS if name.lower() == chip), None)
        wants_white = len(order) == 4
        if found is not None and (PIXEL_KINDS[found].channels == 4) is wants_white:
            return found
        taken = ASSUMED_KIND_RGBW if wants_white else ASSUMED_KIND
        if found is None:
            self.assume(where, f"the pixel kind {chip} is not known here: computed as {taken}", "kind")
        else:
            self.assume(where, f"the byte order {order} does not fit {found}: computed as {taken}", "kind")
        return taken

    def chain(self, chain: Chain) -> ChainPlan:
        name = self.chain_names[chain.id]
        if chain.count is None:
            self.assume(name, f"the count is not known: computed with the {chain.length} pixels of the map", "count")
        if chain.wire is None:
            self.assume(name, f"the wire between pixels is not noted: {ASSUMED_WIRE}", "wire")
        joints = dict(enumerate(joints_in_order(chain)))
        lengths = {k: joint.length_mm for k, joint in joints.items() if joint.length_mm is not None}
        between = {k: joint for k, joint in joints.items() if k}
        runs, measured = self.runs(chain, name), self.measured(chain)
        silent = sum(run.count for run in runs if run.measured is None and run.drawing.current_assumed)
        if measured is None and silent:
            which = "each pixel" if silent == chain.length else many(silent, "pixel")
            self.assume(
                name, f"the current of {which} is in no sheet: taken from memory; measure dark and all red", "current"
            )
        return ChainPlan(
            name=name,
            wire=wire_of(chain.wire or ASSUMED_WIRE),
            ground_wire=None if chain.ground_wire is None else wire_of(chain.ground_wire),
            section_m=self.sections(chain, lengths, name),
            runs=runs,
            odd_joints=tuple(
                OddJoint(after_pixel=k - 1, plus_ohm=joint.extra_mohm / 1000, ground_ohm=joint.extra_mohm / 1000)
                for k, joint in between.items()
                if joint.extra_mohm
            ),
            plus_cut_after=tuple(k - 1 for k, joint in between.items() if joint.five_volt_open),
            ceiling_ma=chain.ceiling_ma,
            measured=measured,
            connector=chain.connector if chain.connector in PLUGS else "",
            data_lead_m=lengths.get(0, 0.0) / 1000,
            places=tuple(self.area_starts(chain)),
        )

    def measured(self, chain: Chain) -> Measured | None:
        """The last two readings of the chain's current that belong together."""
        found = {r.what: r for r in self.map.meter if r.chain == chain.id and r.value is not None}
        dark, red = found.get(Metered.DARK_MA), found.get(Metered.RED_MA)
        if dark is None or red is None or dark.value is None or red.value is None:
            return None
        if dark.pixels != red.pixels or not dark.pixels or not 0 <= dark.value < red.value:
            self.assume(
                self.chain_names[chain.id],
                "the readings dark and red do not belong together: the catalogue's current",
                "current",
            )
            return None
        return Measured(dark_a=dark.value / 1000, red_a=red.value / 1000, pixels=dark.pixels)

    def sections(self, chain: Chain, lengths: dict[int, float], name: str) -> tuple[float, ...]:
        """One-way length of every section in m."""
        spacing = ASSUMED_SPACING_MM if chain.spacing_mm is None else chain.spacing_mm
        silent = sum(1 for k in range(1, chain.length) if k not in lengths)
        if silent and chain.spacing_mm is None:
            which = "between pixels" if silent == chain.length - 1 else f"of {silent} stretches"
            self.assume(name, f"the wire length {which} is not noted: {spacing:g} mm each", "lengths")
        return tuple(lengths.get(k, spacing) / 1000 for k in range(1, chain.length))

    def runs(self, chain: Chain, name: str) -> tuple[PixelRun, ...]:
        base = self.kind(chain.chip, chain.order, name)
        kinds = {
            batch.id: self.kind(batch.chip, chain.order, f"batch {spaced(batch.name)}")
            for batch in self.map.batches
            if batch.chip is not None and any(pixel.batch == batch.id for pixel in chain.pixels)
        }
        readings = {batch.id: self.on_bench(batch) for batch in self.map.batches}
        each = [
            (kinds.get(pixel.batch or "", base), self.given(pixel), readings.get(pixel.batch or ""))
            for pixel in chain.pixels
        ]
        each += [(base, None, None)] * (chain.length - len(chain.pixels))
        return tuple(
            PixelRun(kind=kind, colour=given, measured=measured, count=len(list(group)))
            for (kind, given, measured), group in groupby(each)
        )

    def on_bench(self, batch: Batch) -> Measured | None:
        """The readings of a batch on the bench, unless they stopped the test: a short is no pixel's current."""
        dark, red, pixels = batch.bench_dark_ma, batch.bench_red_ma, batch.bench_pixels
        if dark is None or red is None or pixels is None or red <= dark or batch.bench_judged is Judged.STOP:
            return None
        return Measured(dark_a=dark / 1000, red_a=red / 1000, pixels=pixels)

    def given(self, pixel: Pixel) -> tuple[int, int, int, int] | None:
        """What a pixel's place is given at most; None where no place is known: every channel full."""
        if pixel.state in (PixelState.SPARE, PixelState.REPEATER):
            return (0, 0, 0, 0)
        place = self.map.place_of(pixel)
        if place is None:
            return None
        level, colour = light_of(self.map, place)
        sent = at_level(colour, level)
        return (sent.red, sent.green, sent.blue, sent.white)

    def area_starts(self, chain: Chain) -> Iterator[NamedPixel]:
        """What to name along the chain: where each area begins, or each place if no area is known."""
        last = None
        for number, pixel in enumerate(chain.pixels):
            place = self.map.place_of(pixel)
            if place is not None and (place.area or place.label) != last:
                last = place.area or place.label
                yield NamedPixel(pixel=number, name=last)

    # -- feeds and grounds ----------------------------------------------------------------------------------------

    def feeds(self) -> Iterator[FeedPlan]:
        found = feeds_of(self.map)
        there = {feed.noted.id for feed in found if feed.noted is not None}
        for noted in self.map.feeds:
            if noted.id not in there:
                text = "its pixel is no longer in the map: left out. Enter where it is now"
                self.assume(spaced(noted.name), text)
        for feed in found:
            supply, noted_feed = self.supply_names[feed.supply.id], feed.noted
            if noted_feed is None:
                text = f"no feed is noted: one at pixel 0 from {supply}, {ASSUMED_FEED_MM:g} mm of {ASSUMED_FEED_WIRE}"
                self.assume(self.chain_names[feed.chain.id], text, "feed")
            else:
                self.feed_names[noted_feed.id] = feed.name
                self.feed_gaps(feed.name, noted_feed, supply)
            connector = "" if noted_feed is None else noted_feed.connector
            yield FeedPlan(
                name=feed.name, chain=self.chain_names[feed.chain.id], pixel=feed.number, supply=supply,
                wire=wire_of(feed.gauge), length_m=feed.length_mm / 1000,
                fuse_a=None if noted_feed is None else noted_feed.fuse_a,
                connector=connector if connector in PLUGS else "",
            )  # fmt: skip

    def feed_gaps(self, name: str, feed: Feed, supply: str) -> None:
        """Say what of a feed is not noted. `supply`: the name of the one it is taken from."""
        if feed.wire is None:
            self.assume(name, f"its wire is not noted: {ASSUMED_FEED_WIRE}", "feed's wire")
        if feed.length_mm is None:
            self.assume(name, f"its length is not noted: {ASSUMED_FEED_MM:g} mm each way", "feed's length")
        if feed.supply not in self.supply_names:
            self.assume(name, f"its supply is not in the map: taken from {supply}", "feed's supply")
        if feed.fuse_a is None:
            self.assume(name, f"no fuse is noted: the resistance of one of {ASSUMED_FUSE_A:g} A", "fuse")

    def grounds(self) -> tuple[GroundJoin, ...]:
        """Grounds of several supplies are joined, or data has no common level."""
        first, *others = self.supply_names.values()
        if others:
            text = f"the grounds of all supplies are joined, {ASSUMED_GROUND_MM:g} mm of {ASSUMED_FEED_WIRE} each"
            self.assume("supplies", text, "grounds")
        wire = wire_of(ASSUMED_FEED_WIRE)
        return tuple(GroundJoin(first=first, second=n, wire=wire, length_m=ASSUMED_GROUND_MM / 1000) for n in others)


def plan_of(map_: PlayfieldMap) -> MapPlan:
    """The plan of a map. Raises PowerError if it has no pixels."""
    return _Maker(map_).made()


@dataclass(frozen=True)
class MapPower:
    """A map's plan, solved. `trouble` says why there are no figures (then `report` is None)."""

    made: MapPlan | None
    report: PowerReport | None
    findings: tuple[PowerFinding, ...]
    trouble: str = ""

    @property
    def assumed(self) -> tuple[Assumed, ...]:
        """What the map does not say."""
        return self.made.assumed if self.made else ()

    @property
    def solved(self) -> tuple[MapPlan, PowerReport] | None:
        """Plan and figures, if there are any."""
        return None if self.made is None or self.report is None else (self.made, self.report)

    @property
    def must_stop(self) -> bool:
        """Whether something must be mended before this is powered."""
        return bool(self.trouble) or any(finding.weight is Weight.STOP for finding in self.findings)

    @cached_property
    def suggestion(self) -> FeedSuggestion | None:
        """Where one more feed helps most; None if nowhere, or if the chains are too long to look in no time."""
        if self.solved is None or sum(chain.count for chain in self.solved[0].plan.chains) > SUGGEST_UP_TO:
            return None
        from probe.harness.report import suggest_feed

        return suggest_feed(self.solved[0].plan)


_last: tuple[PlayfieldMap, MapPower] | None = None


def compute(map_: PlayfieldMap) -> MapPower:
    """Make and solve the plan of a map. Never raises for what a map may hold: it says what is wrong instead.

    The last map's is kept, because worklist, sheet and parts list ask for it one after another: a map never changes.
    """
    global _last
    kept = _last
    if kept is None or kept[0] is not map_:
        kept = _last = (map_, _computed(map_))
    return kept[1]


def _computed(map_: PlayfieldMap) -> MapPower:
    from probe.harness.report import report  # loads numpy and scipy

    made: MapPlan | None = None
    try:
        made = plan_of(map_)
        solved = report(made.plan)
    except ValueError as error:  # PowerError, or a model's refusal
        return MapPower(made, None, (PowerFinding(Weight.STOP, "no-figures", "the plan", str(error)),), str(error))
    names = made.feed_names
    fitted = {names[feed.id]: feed.fuse_a for feed in map_.feeds if feed.id in names}
    return MapPower(made, solved, findings(solved, fitted=fitted))
