"""A map's notes as a power plan, with everything that had to be assumed said in words.

`plan_of(m)` makes the plan, `reckon(m)` solves it too and adds what only the map knows: fuses that are fitted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from typing import Final

from device_protocol.lightness import DUTY
from probe.document import model
from probe.document.lamp_table import light_of
from probe.document.model import PixelState, PlayfieldMap, shown_number
from probe.document.model.harness import Feed as NotedFeed
from probe.document.model.harness import Joint, Power
from probe.document.model.harness import Supply as NotedSupply
from probe.document.wiring import feed_number, joints_in_order
from probe.harness.base import PowerError, plain
from probe.harness.pixels import PIXEL_KINDS
from probe.harness.plan import Chain, Feed, GroundJoin, NamedPlace, OddJoint, PixelRun, PowerPlan, Supply
from probe.harness.protection import CONTINUOUS_FACTOR
from probe.harness.report import report
from probe.harness.results import Finding, PowerReport, Weight
from probe.harness.suggest import FeedSuggestion, suggest_feed
from probe.harness.wire import Wire

# Common practice, no source: what is taken where the map is silent.
ASSUMED_WIRE: Final = "22 AWG"
ASSUMED_SPACING_MM: Final = 100.0
ASSUMED_FEED_WIRE: Final = "18 AWG"
ASSUMED_FEED_MM: Final = 500.0
ASSUMED_KIND: Final = "WS2812B"
ASSUMED_KIND_RGBW: Final = "SK6812-RGBW"
ASSUMED_GROUND_MM: Final = 1_000.0
SUGGEST_UP_TO: Final = 3_000  # pixels; beyond, looking for one more feed takes seconds


def wire_of(gauge: str) -> Wire:
    """A gauge as the map notes it (`22 AWG`, `0.34 mm²`) as wire."""
    size, unit = gauge.split()
    return Wire(awg=int(size)) if unit == "AWG" else Wire(area_mm2=float(size))


@dataclass(frozen=True, slots=True)
class Assumed:
    """Something the map does not say, and what was taken instead."""

    where: str
    text: str


@dataclass(frozen=True)
class MapPlan:
    """A plan made from a map. `chain_names`, `feed_names`, `supply_names`: name in the plan, by id."""

    map: PlayfieldMap
    plan: PowerPlan
    assumed: tuple[Assumed, ...]
    chain_names: dict[str, str]
    feed_names: dict[str, str]
    supply_names: dict[str, str]

    def where(self, chain_name: str, number: int) -> str:
        """A pixel of the plan as a person knows it: `83 (84th), Trench glow 2`."""
        identifier = next(key for key, name in self.chain_names.items() if name == chain_name)
        chain = self.map.chain(identifier)
        place = self.map.place_of(chain.pixels[number]) if number < len(chain.pixels) else None
        return shown_number(number) + (f", {plain(place.label)}" if place is not None else "")


def _unlike(names: Iterable[tuple[str, str]]) -> dict[str, str]:
    """(id, name) pairs as names by id, each name once."""
    found: dict[str, str] = {}
    for identifier, name in names:
        shown, count = plain(name).strip() or identifier, 1
        taken = set(found.values())
        candidate = shown
        while candidate in taken:
            count += 1
            candidate = f"{shown} ({count})"
        found[identifier] = candidate
    return found


class _Maker:
    def __init__(self, m: PlayfieldMap) -> None:
        self.map = m
        self.assumed: list[Assumed] = []
        self.chains = [chain for chain in m.chains if chain.length]
        if not self.chains:
            raise PowerError("the map has no chain with pixels. Set a chain up, or enter its count.")
        self.chain_names = _unlike((chain.id, chain.name) for chain in self.chains)
        self.supplies = m.supplies or (NotedSupply(id="assumed-supply", name="5 V supply"),)
        self.supply_names = _unlike((supply.id, supply.name) for supply in self.supplies)
        self.feed_names: dict[str, str] = {}

    def assume(self, where: str, text: str) -> None:
        self.assumed.append(Assumed(where, text))

    def made(self) -> MapPlan:
        if not self.map.supplies:
            self.assume("supplies", "no supply is noted: one of 5 V, as large as it needs to be")
        chains = tuple(self.chain(chain) for chain in self.chains)
        power = self.map.power or Power()
        plan = PowerPlan(
            chains=chains,
            feeds=self.feeds(),
            supplies=tuple(self.supply(supply) for supply in self.supplies),
            ground_joins=self.grounds(),
            ceiling_level=power.ceiling_level,
            typical_share=power.typical_percent / 100,
            copper_c=power.copper_c,
            ambient_c=power.ambient_c,
            wires_in_bundle=power.wires_in_bundle,
            drive_volt=power.drive_volt,
            frames_per_s=power.frames_per_s,
        )
        return MapPlan(
            self.map, plan, tuple(self.assumed), self.chain_names, self.feed_names, self.supply_names
        )  # fmt: skip

    # -- chains -------------------------------------------------------------------------------------------------

    def kind(self, chip: str, order: str, where: str) -> str:
        found = next((name for name in PIXEL_KINDS if name.lower() == chip), None)
        wants_white = len(order) == 4
        if found is not None and (PIXEL_KINDS[found].channels == 4) is wants_white:
            return found
        taken = ASSUMED_KIND_RGBW if wants_white else ASSUMED_KIND
        if found is None:
            self.assume(where, f"the pixel kind {chip} is not known here: reckoned as {taken}")
        else:
            self.assume(where, f"the byte order {order} does not fit {found}: reckoned as {taken}")
        return taken

    def chain(self, chain: model.Chain) -> Chain:
        name = self.chain_names[chain.id]
        if chain.count is None:
            self.assume(name, f"the count is not known: reckoned with the {chain.length} pixels of the map")
        wire = chain.wire
        if wire is None:
            wire = ASSUMED_WIRE
            self.assume(name, f"the wire between pixels is not noted: {wire}")
        joints = list(joints_in_order(chain))
        sections, lead_mm = self.lengths(chain, joints, name)
        odd = [
            OddJoint(after_pixel=k - 1, plus_ohm=j.extra_mohm / 1000, ground_ohm=j.extra_mohm / 1000)
            for k, j in enumerate(joints)
            if k and j.extra_mohm
        ]
        return Chain(
            name=name,
            runs=self.runs(chain, name),
            wire=wire_of(wire),
            ground_wire=None if chain.ground_wire is None else wire_of(chain.ground_wire),
            section_m=sections,
            odd_joints=tuple(odd),
            plus_cut_after=tuple(k - 1 for k, joint in enumerate(joints) if k and joint.five_volt_open),
            ceiling_ma=chain.ceiling_ma,
            data_lead_m=(lead_mm or 0.0) / 1000,
            places=tuple(_area_starts(self.map, chain)),
        )

    def lengths(self, chain: model.Chain, joints: list[Joint], name: str) -> tuple[tuple[float, ...], float | None]:
        """One-way length of every section in m, and that of the board's lead in mm if noted."""
        spacing = ASSUMED_SPACING_MM if chain.spacing_mm is None else chain.spacing_mm
        noted = {k: joint.length_mm for k, joint in enumerate(joints) if joint.length_mm is not None}
        silent = sum(1 for k in range(1, chain.length) if k not in noted)
        if silent and chain.spacing_mm is None:
            which = "between pixels" if silent == chain.length - 1 else f"of {silent} stretches"
            self.assume(name, f"the wire length {which} is not noted: {spacing:g} mm each")
        return tuple(noted.get(k, spacing) / 1000 for k in range(1, chain.length)), noted.get(0)

    def runs(self, chain: model.Chain, name: str) -> tuple[PixelRun, ...]:
        base = self.kind(chain.chip, chain.order, name)
        kinds = {
            batch.id: self.kind(batch.chip, chain.order, f"batch {plain(batch.name)}") for batch in self.map.batches
            if batch.chip is not None and any(pixel.batch == batch.id for pixel in chain.pixels)
        }  # fmt: skip
        each = [(kinds.get(pixel.batch or "", base), self.level(pixel)) for pixel in chain.pixels]
        each += [(base, 255)] * (chain.length - len(chain.pixels))
        return tuple(PixelRun(kind=kind, level=level, count=len(list(group))) for (kind, level), group in groupby(each))

    def level(self, pixel: model.Pixel) -> int:
        if pixel.state in (PixelState.SPARE, PixelState.REPEATER):
            return 0
        place = self.map.place_of(pixel)
        return 255 if place is None else DUTY[light_of(self.map, place)[0]]

    # -- feeds and supplies ---------------------------------------------------------------------------------------

    def feeds(self) -> tuple[Feed, ...]:
        made: list[Feed] = []
        sound = [feed for feed in self.map.feeds if self.sound(feed)]
        self.feed_names = _unlike((feed.id, feed.name) for feed in sound)
        for feed in sound:
            name = self.feed_names[feed.id]
            if feed.wire is None:
                self.assume(name, f"its wire is not noted: {ASSUMED_FEED_WIRE}")
            if feed.length_mm is None:
                self.assume(name, f"its length is not noted: {ASSUMED_FEED_MM:g} mm each way")
            number = feed_number(self.map, feed)
            assert number is not None
            made.append(
                Feed(
                    name=name,
                    chain=self.chain_names[feed.chain],
                    pixel=number,
                    supply=self.supply_of(feed),
                    wire=wire_of(feed.wire or ASSUMED_FEED_WIRE),
                    length_m=(ASSUMED_FEED_MM if feed.length_mm is None else feed.length_mm) / 1000,
                )
            )
        fed = {feed.chain for feed in made}
        taken = {feed.name for feed in made}
        for name in self.chain_names.values():
            if name in fed:
                continue
            supply = self.supply_names[self.supplies[0].id]
            feed_name = next(
                n for n in (f"board end of {name}", *(f"board end of {name} ({k})" for k in range(2, 99))) if n not in taken
            )  # fmt: skip
            text = f"no feed is noted: one at pixel 0 from {supply}, {ASSUMED_FEED_MM:g} mm of {ASSUMED_FEED_WIRE}"
            self.assume(name, text)
            made.append(
                Feed(
                    name=feed_name, chain=name, pixel=0, supply=supply, wire=wire_of(ASSUMED_FEED_WIRE),
                    length_m=ASSUMED_FEED_MM / 1000,
                )
            )  # fmt: skip
        return tuple(made)

    def sound(self, feed: NotedFeed) -> bool:
        if feed_number(self.map, feed) is not None:
            return True
        self.assume(plain(feed.name), "its pixel is no longer in the map: left out. Enter where it is now")
        return False

    def supply_of(self, feed: NotedFeed) -> str:
        if feed.supply in self.supply_names:
            return self.supply_names[feed.supply]
        name = self.supply_names[self.supplies[0].id]
        self.assume(self.feed_names[feed.id], f"its supply is not in the map: taken from {name}")
        return name

    def supply(self, supply: NotedSupply) -> Supply:
        return Supply(
            name=self.supply_names[supply.id],
            volt=supply.volt,
            rating_a=supply.rating_a,
            board_a=supply.board_ma / 1000,
            is_usb=supply.usb,
        )

    def grounds(self) -> tuple[GroundJoin, ...]:
        """Grounds of several supplies are joined, or data has no common level."""
        first, *others = self.supply_names.values()
        wire = wire_of(ASSUMED_FEED_WIRE)
        if others:
            text = f"the grounds of all supplies are joined, {ASSUMED_GROUND_MM:g} mm of {ASSUMED_FEED_WIRE} each"
            self.assume("supplies", text)
        return tuple(
            GroundJoin(first=first, second=name, wire=wire, length_m=ASSUMED_GROUND_MM / 1000) for name in others
        )


def _area_starts(m: PlayfieldMap, chain: model.Chain) -> Iterable[NamedPlace]:
    """What to name along the chain: where each area begins, or each place if no area is known."""
    last = None
    for number, pixel in enumerate(chain.pixels):
        place = m.place_of(pixel)
        if place is None:
            continue
        key = place.area or place.label
        if key != last:
            last = key
            yield NamedPlace(pixel=number, name=key)


def plan_of(m: PlayfieldMap) -> MapPlan:
    """The plan of a map. Raises PowerError if it has no pixels."""
    return _Maker(m).made()


@dataclass(frozen=True)
class Reckoned:
    """A map's plan, solved. `trouble` says why there are no figures (then `report` is None)."""

    made: MapPlan | None
    report: PowerReport | None
    findings: tuple[Finding, ...]
    trouble: str = ""
    assumed: tuple[Assumed, ...] = field(default=())

    @property
    def must_stop(self) -> bool:
        """Whether something must be mended before this is powered."""
        return bool(self.trouble) or any(finding.weight is Weight.STOP for finding in self.findings)

    @cached_property
    def suggestion(self) -> FeedSuggestion | None:
        """Where one more feed helps most; None if nowhere, or if the chains are too long to look in no time."""
        if self.made is None or self.report is None or sum(c.count for c in self.made.plan.chains) > SUGGEST_UP_TO:
            return None
        return suggest_feed(self.made.plan)


def reckon(m: PlayfieldMap) -> Reckoned:
    """Make and solve the plan of a map. Never raises for what a map may hold: it says what is wrong instead."""
    made: MapPlan | None = None
    try:
        made = plan_of(m)
        solved = report(made.plan)
    except ValueError as error:  # PowerError, or a model's refusal
        stop = Finding(Weight.STOP, "no-figures", "the plan", str(error))
        return Reckoned(made, None, (stop,), str(error), made.assumed if made else ())
    order = list(Weight)
    found = sorted((*solved.findings, *_fitted_fuses(made, solved)), key=lambda finding: order.index(finding.weight))
    return Reckoned(made, solved, tuple(found), assumed=made.assumed)


def _fitted_fuses(made: MapPlan, solved: PowerReport) -> Iterable[Finding]:
    """Fuses the map says are fitted, against the wire behind them and the planned load."""
    by_name = {feed.name: feed for feed in solved.feeds}
    for feed in made.map.feeds:
        name = made.feed_names.get(feed.id)
        if name is None:
            continue
        figures = by_name[name]
        if feed.fuse_a is None:
            advice = "" if figures.fuse.rating_a is None else f" ({figures.fuse.rating_a:g} A, at the supply's end)"
            yield Finding(Weight.NOTE, "fuse-not-noted", name, f"no fuse is noted. Every feed needs one{advice}.")
        elif figures.wire_rating_a is not None and feed.fuse_a >= figures.wire_rating_a:
            text = (
                f"the {feed.fuse_a:g} A fuse does not protect {figures.thinnest} wire, "
                f"good for {figures.wire_rating_a:.2g} A. Fit a smaller one."
            )
            yield Finding(Weight.STOP, "fuse-too-large", name, text)
        elif feed.fuse_a < CONTINUOUS_FACTOR * figures.planned_a:
            text = (
                f"the {feed.fuse_a:g} A fuse is below 125 % of the {figures.planned_a:.2f} A planned: it may open. "
                "Lower the ceiling or add a feed; a larger fuse only if the wire allows it."
            )
            yield Finding(Weight.WARNING, "fuse-too-small", name, text)
