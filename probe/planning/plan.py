"""A plan of the chains of one part of the machine: what it rests on, what it comes to, and the map that it makes.

A part is the playfield, or what lies beyond it (the backbox), which has chains of its own. A seat is where one pixel goes: a
place with two pixels has two. Lengths: the *way* is the shortest one round keep-outs, from seat to seat; the *wire* to cut is the way,
what goes up into both seats, and a loop to open the joint once more, rounded up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from probe.document import operations as op
from probe.document.model import Chain, Kind, Pixel, PixelState, PlayfieldMap
from probe.document.model.planning import HingeSide, PlanRules
from probe.document.operations import slug
from probe.document.plural import many
from probe.document.wiring import joint_at, put_joint
from probe.planning.bound import Prover
from probe.planning.routes import Routes, routes
from probe.planning.search import NEVER_MM, Network, SeatOrder, TourSearch, first_order, nearest_neighbour

if TYPE_CHECKING:
    from probe.harness.report import FeedSuggestion

PLAYFIELD, BEYOND = "playfield", "backbox"
PARTS = (PLAYFIELD, BEYOND)
MOST_CHAINS = 16
"""As many as a board has outputs."""
_PINNED_MM = -100_000.0
_MOST_FEEDS = 4
SEARCHES, KICKS = 20, 100
"""Turns of the search, and kicks in each for every chain: several chains settle later than one. Our own choice."""
_ENOUGH_VOLT = 0.95
"""Of the supply: a chain whose lowest pixel has less at the ceiling gets one more feed. Our own choice."""


class PlanError(ValueError):
    """There is nothing to plan, or the rules cannot all be kept. The text says why, and what to do."""


@dataclass(frozen=True)
class PixelSeat:
    """Where one pixel goes: a place's id, which of its pixels, name, area, and where, in mm."""

    place: str
    index: int
    label: str
    area: str
    x_mm: float
    y_mm: float
    guessed: bool = False


@dataclass(frozen=True)
class Brief:
    """What a plan rests on. `entries` has one point for each chain; `order_now` is how the map's chains run, None if they are not there."""

    part: str
    seats: tuple[PixelSeat, ...]
    chains: tuple[str, ...]
    entries: tuple[tuple[float, float], ...]
    rules: PlanRules
    network: Network
    ways: Routes
    doubts: tuple[str, ...]
    order_now: SeatOrder | None

    def way_mm(self, chain: int, before: int | None, seat: int) -> float:
        """The way to a seat, from the one before or from the entry."""
        at = len(self.seats) + chain if before is None else before
        return float(self.ways.length_mm[at, seat])


def cut_mm(rules: PlanRules, way_mm: float) -> float:
    """Wire to cut for a way."""
    whole = way_mm + 2 * rules.seating_mm + rules.loop_mm
    return ceil(round(whole / rules.rounding_mm, 6)) * rules.rounding_mm


def part_of(map_: PlayfieldMap, place_id: str) -> str:
    """The part that a place belongs to."""
    place = map_.place_by_id[place_id]
    beyond = place.kind is Kind.BACKBOX or (place.position is not None and place.position.y_mm > map_.machine.length_mm)
    return BEYOND if beyond else PLAYFIELD


def parts_of(map_: PlayfieldMap) -> tuple[str, ...]:
    """The parts in which there is something to plan."""
    there = {part_of(map_, place.id) for place in map_.places if place.position is not None}
    return tuple(part for part in PARTS if part in there)


def brief_of(map_: PlayfieldMap, part: str = PLAYFIELD, *, chains: int | None = None, tidy: bool = True) -> Brief:
    """What a plan of that part rests on. `chains` None: as many as there are now, or one. `tidy`: an area is not left lightly.

    Raises PlanError if no place has a position, or the chains cannot carry the seats.
    """
    rules = map_.plan_rules or PlanRules()
    seats: list[PixelSeat] = []
    doubts: list[str] = []
    without: list[str] = []
    for place in map_.places:
        if part_of(map_, place.id) != part:
            continue
        if place.position is None:
            without.append(place.label)
            continue
        count = max(1, len(map_.pixels_at.get(place.id, ())))
        spot = (place.position.x_mm, place.position.y_mm)
        seats += [PixelSeat(place.id, k, place.label, place.area, *spot, place.position.guessed) for k in range(count)]
    if not seats:
        raise PlanError(f"no place of the {part} has a position: put places into the picture first")
    if without:
        doubts.append(_listed("has no position and is not planned", without))
    if guessed := [seat.label for seat in seats if seat.guessed]:
        doubts.append(_listed("is at a guessed position", guessed))
    own = [c for c in map_.chains if any(p.place and part_of(map_, p.place) == part for p in c.pixels)]
    if not own:  # chains that are set up, and light nothing yet
        own = [c for c in map_.chains if c.id.startswith(part) and not any(pixel.place for pixel in c.pixels)]
    wanted = chains if chains is not None else max(1, len(own))
    if not 1 <= wanted <= min(len(seats), MOST_CHAINS):
        raise PlanError(
            f"{many(wanted, 'chain')} for {many(len(seats), 'seat')}: plan 1 to {min(len(seats), MOST_CHAINS)}"
        )
    taken = [chain.id for chain in map_.chains]
    names = [chain.id for chain in own][:wanted]
    if not own and part not in taken and wanted:
        names.append(part)
    while len(names) < wanted:
        names.append(slug(f"{part} {len(names) + 1}", {*taken, *names}, "chain"))
    entries = tuple(entry_of(map_, rules, name, part) for name in names)
    points = [(seat.x_mm, seat.y_mm) for seat in seats]
    ways = routes([*points, *entries], map_.keep_outs)
    for at, inside in enumerate(ways.inside.tolist()):
        if inside >= 0:
            what = seats[at].label if at < len(seats) else f"where the wire of {names[at - len(seats)]} comes in"
            keep_out = map_.keep_outs[inside]
            doubts.append(
                f"{what} lies in a keep-out ({keep_out.name or keep_out.kind.value}): look where it really is"
            )
    try:
        network = _network(seats, ways, rules, wanted, tidy=tidy)
    except ValueError as error:
        raise PlanError(str(error)) from None
    now = _order_now(own, seats, wanted)
    return Brief(part, tuple(seats), tuple(names), entries, rules, network, ways, tuple(dict.fromkeys(doubts)), now)


def _listed(what: str, labels: Sequence[str]) -> str:
    names = list(dict.fromkeys(labels))
    if len(names) == 1:
        return f"{names[0]} {what}"
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"{', '.join(names[:3])}{more}: each {what}"


def entry_of(map_: PlayfieldMap, rules: PlanRules, chain: str, part: str) -> tuple[float, float]:
    """Where the wire of a chain comes in: as noted; else as the part's first chain; else the middle of the hinge side, or the neck."""
    noted = {entry.chain: (entry.x_mm, entry.y_mm) for entry in rules.entries}
    for name in (chain, part, next((c.id for c in map_.chains if c.id.startswith(part)), part)):
        if name in noted:
            return noted[name]
    width, length = map_.machine.width_mm, map_.machine.length_mm
    if part == BEYOND:
        return width / 2, length
    return {
        HingeSide.NEAR: (width / 2, 0.0), HingeSide.FAR: (width / 2, length), HingeSide.LEFT: (0.0, length / 2), HingeSide.RIGHT: (width, length / 2),
    }[rules.hinge]  # fmt: skip


def _network(seats: Sequence[PixelSeat], ways: Routes, rules: PlanRules, chains: int, *, tidy: bool) -> Network:
    count = len(seats)
    between = ways.length_mm[:count, :count].copy()
    areas = np.array(_numbered([seat.area for seat in seats]))
    if tidy:
        between += rules.area_change_mm * (areas[:, None] != areas[None, :])
    at: dict[str, list[int]] = {}
    for number, seat in enumerate(seats):
        at.setdefault(seat.place, []).append(number)
    for one, other in rules.pinned:
        # The last pixel of the one, the first of the other: a pair of places is tied once.
        if one in at and other in at:
            a, b = at[one][-1], at[other][0]
            between[a, b] = between[b, a] = _PINNED_MM + between[a, b]
    for one, other in rules.forbidden:
        for a in at.get(one, ()):
            for b in at.get(other, ()):
                between[a, b] = between[b, a] = NEVER_MM
    between[~np.isfinite(between)] = NEVER_MM
    enter = ways.length_mm[count:, :count].copy()
    enter[~np.isfinite(enter)] = NEVER_MM
    share = ceil(count / chains)
    largest = min(count, share + share * rules.spare_percent // 100) if chains > 1 else count
    if rules.largest_chain is not None:
        largest = min(largest, rules.largest_chain)
    return Network(between, enter, largest)


def _numbered(words: Sequence[str]) -> list[int]:
    numbers: dict[str, int] = {}
    return [numbers.setdefault(word, len(numbers)) for word in words]


def _order_now(own: Sequence[Chain], seats: Sequence[PixelSeat], wanted: int) -> SeatOrder | None:
    """How the map's chains visit these seats; None if they are not as many as are planned, or do not visit all."""
    at = {(seat.place, seat.index): number for number, seat in enumerate(seats)}
    seen: dict[str, int] = {}
    order = []
    for chain in own:
        line = []
        for pixel in chain.pixels:
            if pixel.place is not None:
                index = seen.get(pixel.place, 0)
                seen[pixel.place] = index + 1
                if (pixel.place, index) in at:
                    line.append(at[pixel.place, index])
        order.append(tuple(line))
    whole = sum(map(len, order)) == len(seats) and all(order)
    return tuple(order) if whole and len(order) == wanted else None


# -- a plan --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stretch:
    """One stretch of wire: in which chain, to which number, from where (None: the entry), to where, its way and its cut."""

    chain: str
    number: int
    before: PixelSeat | None
    seat: PixelSeat
    way_mm: float
    cut_mm: float
    way: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Plan:
    """An order, and how good it is: no order of these seats costs less than `bound_mm`; `proved`: this one costs as little."""

    brief: Brief
    order: SeatOrder
    name: str = "plan"
    bound_mm: float = 0.0
    proved: bool = False

    @cached_property
    def cost_mm(self) -> float:
        """The way and what changes of area cost, as the rules count it."""
        return self.brief.network.cost_mm(self.order)

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """Every stretch, chain by chain."""
        brief, found = self.brief, []
        for chain, seats in enumerate(self.order):
            for number, (before, seat) in enumerate(pairwise((None, *seats))):
                assert seat is not None
                way_mm = brief.way_mm(chain, before, seat)
                begin = len(brief.seats) + chain if before is None else before
                found.append(
                    Stretch(
                        brief.chains[chain],
                        number,
                        None if before is None else brief.seats[before],
                        brief.seats[seat],
                        way_mm,
                        cut_mm(brief.rules, way_mm),
                        brief.ways.way(begin, seat) if np.isfinite(way_mm) else (),
                    )
                )
        return tuple(found)

    @property
    def way_mm(self) -> float:
        """The whole way."""
        return sum(stretch.way_mm for stretch in self.stretches)

    @property
    def wire_mm(self) -> float:
        """Wire to cut, for one conductor."""
        return sum(stretch.cut_mm for stretch in self.stretches)

    @property
    def visits(self) -> int:
        """How often a chain comes into an area."""
        return sum(
            1 for stretch in self.stretches if stretch.before is None or stretch.before.area != stretch.seat.area
        )

    @property
    def gap(self) -> float | None:
        """How much more than the least possible it costs at the most, as a share; None while no bound is known."""
        pins = -sum(c for c in self._pinned_costs())
        least, cost = self.bound_mm + pins, self.cost_mm + pins
        return None if self.bound_mm == 0 or least <= 0 else max(0.0, cost / least - 1)

    def _pinned_costs(self) -> list[float]:
        table = self.brief.network.between_mm
        return [_PINNED_MM for seats in self.order for a, b in pairwise(seats) if table[a, b] < _PINNED_MM / 2]

    @property
    def broken_rules(self) -> tuple[str, ...]:
        """Stretches that are forbidden, or that no way leads along, in words."""
        found = []
        table = self.brief.network.between_mm
        for seats in self.order:
            for a, b in pairwise(seats):
                if table[a, b] >= NEVER_MM / 2:
                    found.append(
                        f"{self.brief.seats[a].label} to {self.brief.seats[b].label} is forbidden, or walled in"
                    )
        return tuple(found)


def first_plan(brief: Brief, *, seed: int = 0) -> Plan:
    """A good plan at once."""
    search = TourSearch(brief.network, first_order(brief.network), seed=seed)
    return Plan(brief, search.order, "plan")


def plan_now(brief: Brief) -> Plan | None:
    """The chains as the map has them."""
    return None if brief.order_now is None else Plan(brief, brief.order_now, "as it is")


def nearest_plan(brief: Brief) -> Plan:
    """What going to the nearest seat each time comes to."""
    return Plan(brief, nearest_neighbour(brief.network), "nearest each time")


@dataclass
class Improver:
    """Goes on with a plan: kicks and a bound in turns. `work` is one piece of it, a fraction of a second on an idle machine."""

    plan: Plan
    seed: int = 1

    def __post_init__(self) -> None:
        """Begin from the plan."""
        self._search = TourSearch(self.plan.brief.network, self.plan.order, seed=self.seed)
        self._prover = Prover(self.plan.brief.network, self._search.order)
        self._turn = 0

    def work(self) -> Plan:
        """The plan after one more piece of work."""
        self._turn += 1
        if self._turn % 2 and self._turn < 2 * SEARCHES:
            self._search.improve(KICKS * self.plan.brief.network.chains)
            self._prover.improve_with(self._search.order)
        else:
            self._prover.step()
        proof = self._prover.proof
        self.plan = replace(self.plan, order=proof.order, bound_mm=proof.bound_mm, proved=proof.proved)
        return self.plan


def improved_plan(plan: Plan, *, pieces: int) -> Plan:
    """The plan after so many pieces of work, or when it is proved."""
    improver = Improver(plan)
    for _ in range(pieces):
        if improver.work().proved:
            break
    return improver.plan


def compared(one: Plan, other: Plan) -> tuple[tuple[str, str, str], ...]:
    """Two plans side by side: what, and each one's figure."""
    shared = _ties(one) & _ties(other)

    def of(plan: Plan) -> tuple[str, ...]:
        longest = max(plan.stretches, key=lambda stretch: stretch.cut_mm)
        return (
            f"{plan.way_mm / 1000:.2f} m", f"{plan.wire_mm / 1000:.2f} m", f"{plan.visits}", " + ".join(str(len(s)) for s in plan.order),
            f"{longest.cut_mm:.0f} mm to {longest.seat.label}", f"{len(_ties(plan)) - len(shared)}",
        )  # fmt: skip

    what = (
        "way",
        "wire to cut for each conductor",
        "areas entered",
        "pixels",
        "longest stretch",
        "stretches only here",
    )
    return tuple(zip(what, of(one), of(other), strict=True))


def _ties(plan: Plan) -> set[frozenset[str]]:
    return {
        frozenset((a.before.place, a.seat.place))
        for a in plan.stretches
        if a.before is not None and a.before.place != a.seat.place
    }


# -- what a plan makes of a map ----------------------------------------------------------------------------------------


def with_plan(map_: PlayfieldMap, plan: Plan) -> PlayfieldMap:
    """The map with the chains of a plan: a pixel at each seat, not seen yet, and the wire to cut as the length of each joint.

    Only for a part no pixel lights yet. Raises PlanError for one that is wired: there, splices change it.
    """
    wired = [seat.label for seat in plan.brief.seats if seat.place in map_.pixels_at]
    if wired:
        raise PlanError(f"{wired[0]} has a pixel already: a plan makes new chains; in a chain that is soldered, splice")
    for chain_id, seats in zip(plan.brief.chains, plan.order, strict=True):
        if chain_id not in map_.chain_by_id:
            free = next(output for output in range(16) if output not in {chain.output for chain in map_.chains})
            name = chain_id.replace("-", " ").capitalize()
            map_ = op.add_chain(map_, Chain(id=chain_id, name=name, output=free, note="as planned"))
        chain = map_.chain(chain_id)
        if any(pixel.place is not None or pixel.state is not PixelState.UNSEEN for pixel in chain.pixels):
            raise PlanError(f"the chain {chain.name} has pixels that were seen: plan a chain of its own")
        pixels = tuple(
            Pixel(id=f"{chain_id}-{number}", state=PixelState.PLACED, place=plan.brief.seats[seat].place)
            for number, seat in enumerate(seats)
        )
        map_ = op.replace_chain(map_, chain.model_copy(update={"pixels": pixels, "count": len(pixels), "joints": ()}))
    for stretch in plan.stretches:
        joint = joint_at(map_.chain(stretch.chain), stretch.number).model_copy(update={"length_mm": stretch.cut_mm})
        map_ = put_joint(map_, stretch.chain, joint)
    return map_


def planned_feeds(map_: PlayfieldMap, plan: Plan) -> tuple[FeedSuggestion, ...]:
    """Where the power plan's own solve puts more feeds into the planned chains, one after the other, until each has enough.

    The first feed of a chain is at its first pixel. Nothing if the power plan has no figures.
    """
    from probe.document.wiring import add_feed, add_supply
    from probe.harness.base import PowerError
    from probe.harness.from_map import plan_of
    from probe.harness.report import suggest_feed

    try:
        trial = with_plan(bare_of(map_, plan.brief), plan)
    except PlanError:
        return ()
    own = tuple(
        chain for chain in trial.chains if chain.id in plan.brief.chains
    )  # a lower one elsewhere is not its matter
    trial = trial.model_copy(update={"feeds": (), "chains": own})
    supply = trial.supplies[0] if trial.supplies else None
    if supply is None:
        trial, supply = add_supply(trial, "supply")
    for chain in plan.brief.chains:
        trial, _ = add_feed(trial, chain, 0, supply=supply.id, name=f"{chain} start")
    found: list[FeedSuggestion] = []
    for number in range(_MOST_FEEDS):
        try:
            made = plan_of(trial)
            more = suggest_feed(made.plan)
        except PowerError:
            break
        if more is None or more.before.volt >= _ENOUGH_VOLT * supply.volt:
            break
        chain_id = next(key for key, name in made.chain_names.items() if name == more.chain)
        found.append(more)
        trial, _ = add_feed(trial, chain_id, more.pixel, supply=supply.id, name=f"planned {number}")
    return tuple(found)


def bare_of(map_: PlayfieldMap, brief: Brief) -> PlayfieldMap:
    """The map without the pixels of the part: what a plan from places alone begins with."""
    chains = tuple(
        chain.model_copy(update={"pixels": (), "joints": (), "count": None}) if chain.id in brief.chains else chain
        for chain in map_.chains
    )
    return map_.model_copy(
        update={"chains": chains, "feeds": tuple(f for f in map_.feeds if f.chain not in brief.chains)}
    )


def spare_seats(plan: Plan, count: int) -> tuple[tuple[str, int, str], ...]:
    """Where so many spare pixels sit best: (chain, number after which, label there), the way from seats to their spare being least.

    One after the other where it helps most, then each moved while that helps (k-median by exchange). Ways keep clear of
    keep-outs.
    """
    length = plan.brief.ways.length_mm[: len(plan.brief.seats), : len(plan.brief.seats)]
    chosen: list[int] = []
    for _ in range(min(count, len(length))):
        nearest = length[:, chosen].min(axis=1) if chosen else np.full(len(length), np.inf)
        chosen.append(int(np.minimum(nearest[:, None], length).sum(axis=0).argmin()))
    better = True
    while better and chosen:
        better = False
        for at in range(len(chosen)):
            others = chosen[:at] + chosen[at + 1 :]
            nearest = length[:, others].min(axis=1) if others else np.full(len(length), np.inf)
            totals = np.minimum(nearest[:, None], length).sum(axis=0)
            best = int(totals.argmin())
            if totals[best] < totals[chosen[at]] - 1e-9:
                chosen[at], better = best, True
    where = {seat: (chain, number) for chain, seats in enumerate(plan.order) for number, seat in enumerate(seats)}
    return tuple(
        (plan.brief.chains[where[seat][0]], where[seat][1], plan.brief.seats[seat].label)
        for seat in sorted(chosen, key=where.__getitem__)
    )


# -- pre-wired strips --------------------------------------------------------------------------------------------------


def fewest_cuts(brief: Brief, *, pitch_mm: float, pieces: int = 60) -> tuple[int, int, SeatOrder]:
    """Cuts that pixels bought on a wire of that pitch need: (fewest found, fewest possible by the bound, order).

    A stretch needs a cut, and wire soldered in, where the pitch less seats and loop does not reach over it.
    """
    reach = pitch_mm - 2 * brief.rules.seating_mm - brief.rules.loop_mm
    count = len(brief.seats)
    cut = brief.ways.length_mm[:count, :count] > reach
    network = Network(np.where(cut, 1_000.0, 0.0), np.zeros((len(brief.chains), count)), brief.network.largest)
    improver = Improver(Plan(replace(brief, network=network), TourSearch(network, first_order(network)).order))
    for _ in range(pieces):
        if (
            improver.work().proved
            or ceil(round(improver.plan.bound_mm / 1_000, 6)) * 1_000 >= improver.plan.cost_mm - 1e-6
        ):
            break
    plan = improver.plan
    return round(plan.cost_mm / 1_000), ceil(round(plan.bound_mm / 1_000, 6)), plan.order
