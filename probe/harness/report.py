"""What a power plan comes to: volts, currents, fuses, supplies and times, and where one more feed helps most.

`report(plan)` solves the plan in three load states and, for the fuses, once more with pixels that never sag.
`probe.harness.checks` explains what the figures mean.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from probe.harness.base import PowerError
from probe.harness.copper import (
    PLUGS,
    FuseChoice,
    FuseVerdict,
    PlugRating,
    WireKind,
    choose_fuse,
    conductor_temperature_c,
    supply_size_a,
    wire_rating_a,
)
from probe.harness.network import (
    Circuit,
    FeedTap,
    Floats,
    GroundLink,
    Ladder,
    PixelLoads,
    SolvedCircuit,
    Source,
    solve,
)
from probe.harness.pixels import (
    LogicLevel,
    Reminder,
    UsbAlone,
    frame_time_s,
    head_reminders,
    largest_chain,
    logic_level,
    usb_alone,
)
from probe.harness.plan import ChainPlan, FeedPlan, LoadState, PowerPlan, SupplyPlan


@dataclass(frozen=True, slots=True)
class PixelVolt:
    """A pixel and its voltage."""

    chain: str
    pixel: int
    volt: float


@dataclass(frozen=True, slots=True)
class JointLoss:
    """Voltage lost in the joints between `after_pixel` and the next, both wires together, V, and heat there, W.

    `section_volt` adds the wire between them."""

    chain: str
    after_pixel: int
    joint_volt: float
    joint_watt: float
    section_volt: float


@dataclass(frozen=True, slots=True)
class ChainVolts:
    """One chain in one load state: arrays of one figure per pixel, V and A."""

    name: str
    volt: Floats
    current_a: Floats

    @property
    def total_a(self) -> float:
        """Current of all its pixels."""
        return float(self.current_a.sum())

    @property
    def lowest(self) -> PixelVolt:
        """The pixel with the least voltage (the first such)."""
        pixel = int(np.argmin(self.volt))
        return PixelVolt(chain=self.name, pixel=pixel, volt=float(self.volt[pixel]))


@dataclass(frozen=True, slots=True)
class FeedCurrent:
    """Current in the two wires of a feed, A."""

    name: str
    plus_a: float
    ground_a: float


@dataclass(frozen=True, slots=True)
class SupplyLoad:
    """Current drawn from a supply, A (below 0: it is fed backwards), and volts at its terminals."""

    name: str
    load_a: float
    terminal_volt: float


@dataclass(frozen=True, slots=True)
class StateReport:
    """The plan in one load state."""

    state: LoadState
    chains: tuple[ChainVolts, ...]
    feeds: tuple[FeedCurrent, ...]
    supplies: tuple[SupplyLoad, ...]
    lowest: PixelVolt
    worst_joint: JointLoss | None
    wire_loss_w: float

    @property
    def total_a(self) -> float:
        """Current of all supplies."""
        return sum(s.load_a for s in self.supplies)

    def chain(self, name: str) -> ChainVolts:
        """The chain of that name."""
        return next(c for c in self.chains if c.name == name)


@dataclass(frozen=True, slots=True)
class FeedReport:
    """Fuse and wire of one feed. `fault_a`: all full white without sag. Wire temperature estimated at full white, C;
    `wire_c` may be `inf` (above the model's 200 C). `thinnest` names the wire that limits the fuse."""

    name: str
    planned_a: float
    fault_a: float
    wire_rating_a: float | None
    thinnest: str
    fuse: FuseChoice
    wire_c: float
    plug: PlugRating | None = None


@dataclass(frozen=True, slots=True)
class SupplyReport:
    """Size of one supply. `size_a`: common size with the ceiling load at most 80 %; None above the largest."""

    name: str
    planned_a: float
    fault_a: float
    size_a: float | None
    fault_size_a: float | None
    load_share: float | None  # of the rating, if given


@dataclass(frozen=True, slots=True)
class ChainReport:
    """Timing and head of one chain. `largest_pixels`: longest chain of its slowest kind for the wished frame rate.
    `plug_a`: most current in a joint at full white; `plug`: what its plugs carry, if they are noted."""

    name: str
    frame_s: float
    frames_per_s: float
    largest_pixels: int
    logic: LogicLevel
    reminders: tuple[Reminder, ...]
    usb: UsbAlone
    hottest_wire_c: float
    volts: str = "5 V"
    plug_a: float = 0.0
    plug: PlugRating | None = None


@dataclass(frozen=True, slots=True)
class FuseOpen:
    """The plan at the ceiling with the fuse of one feed open; its ground wire still carries.

    `dark`: pixels of its chain that nothing feeds then, first and last; there are no volts then. `hottest`: the wire
    that gets warmest and how warm, C. `next_feed`: the feed that carries most of what its own fuse is good for, and how
    many times that (None where no fuse is known)."""

    feed: str
    lowest: PixelVolt | None
    dark: tuple[int, int] | None
    hottest: str
    hottest_c: float
    next_feed: str = ""
    next_share: float | None = None


@dataclass(frozen=True, slots=True)
class PowerReport:
    """All figures of a plan. `fuse_open`: any one fuse open, in the order of the feeds."""

    plan: PowerPlan
    states: dict[LoadState, StateReport]
    feeds: tuple[FeedReport, ...]
    supplies: tuple[SupplyReport, ...]
    chains: tuple[ChainReport, ...]
    fuse_open: tuple[FuseOpen, ...] = ()

    @property
    def worst_fuse_open(self) -> FuseOpen | None:
        """The fuse whose opening leaves a pixel with the least voltage; None without feeds."""
        return min(self.fuse_open, key=lambda f: -1.0 if f.lowest is None else f.lowest.volt, default=None)

    def state(self, state: LoadState) -> StateReport:
        """Figures of one load state."""
        return self.states[state]


# -- computing -----------------------------------------------------------------------------------------------------


def circuit(plan: PowerPlan, state: LoadState, *, sagging: bool = True) -> Circuit:
    """Build the circuit of a plan.

    With `sagging` False the pixels draw their full current at any voltage: the upper bound used for fuses.
    """
    ladders = []
    for chain in plan.chains:
        light, idle = plan.light_a(chain, state), chain.per_pixel("idle_a")
        corners = [chain.per_pixel(field) for field in ("regulation_volt", "dark_volt")]
        loads = PixelLoads(light, idle, *corners) if sagging else PixelLoads.constant(light + idle)
        length_m, (plus_joint, ground_joint) = chain.section_lengths_m(), chain.joint_ohms()
        plus = length_m * plan.one_way_ohm_per_m(chain.wire) + plus_joint
        plus[list(chain.plus_cut_after)] = np.inf
        ground = length_m * plan.one_way_ohm_per_m(chain.ground_wire or chain.wire) + ground_joint
        ladders.append(Ladder(loads=loads, plus_ohm=plus, ground_ohm=ground, name=chain.name))
    chains = {chain.name: k for k, chain in enumerate(plan.chains)}
    supplies = {supply.name: k for k, supply in enumerate(plan.supplies)}
    taps = []
    for feed in plan.feeds:
        one_way = feed.length_m * plan.one_way_ohm_per_m(feed.wire)
        fused, plugged = feed.contacts_ohm(plan.ambient_c)
        taps.append(FeedTap(chains[feed.chain], feed.pixel, supplies[feed.supply], one_way + fused, one_way + plugged))
    links = [
        GroundLink(supplies[join.first], supplies[join.second], join.length_m * plan.one_way_ohm_per_m(join.wire))
        for join in plan.ground_joins
    ]
    sources = [Source(volt=s.volt, internal_ohm=s.internal_ohm, terminal_load_a=s.board_a) for s in plan.supplies]
    return Circuit(ladders=ladders, taps=taps, sources=sources, links=links)


def state_report(plan: PowerPlan, state: LoadState) -> StateReport:
    """Solve the plan in one load state. Raises PowerError if pixels have no feed."""
    return _state(plan, state, solve(circuit(plan, state)))


def _state(plan: PowerPlan, state: LoadState, answer: SolvedCircuit) -> StateReport:
    chains = tuple(
        ChainVolts(name=chain.name, volt=rail.volt, current_a=rail.current_a)
        for chain, rail in zip(plan.chains, answer.ladders, strict=True)
    )
    feeds = tuple(
        FeedCurrent(name=feed.name, plus_a=float(plus), ground_a=float(ground))
        for feed, plus, ground in zip(plan.feeds, answer.feed_plus_a, answer.feed_ground_a, strict=True)
    )
    supplies = tuple(
        SupplyLoad(name=supply.name, load_a=float(a), terminal_volt=float(v))
        for supply, a, v in zip(plan.supplies, answer.supply_a, answer.supply_terminal_volt, strict=True)
    )
    return StateReport(
        state=state,
        chains=chains,
        feeds=feeds,
        supplies=supplies,
        lowest=min((c.lowest for c in chains), key=lambda spot: spot.volt),
        worst_joint=_worst_joint(plan, answer),
        wire_loss_w=answer.wire_loss_w,
    )


def _worst_joint(plan: PowerPlan, answer: SolvedCircuit) -> JointLoss | None:
    """The joint that loses most; None where no chain has joints with resistance."""
    worst: JointLoss | None = None
    for chain, rail in zip(plan.chains, answer.ladders, strict=True):
        if chain.count < 2:
            continue
        plus_ohm, ground_ohm = chain.joint_ohms()
        plus_a, ground_a = np.abs(rail.plus_section_a), np.abs(rail.ground_section_a)
        joint_volt = plus_a * plus_ohm + ground_a * ground_ohm
        k = int(np.argmax(joint_volt))
        if joint_volt[k] > 0 and (worst is None or joint_volt[k] > worst.joint_volt):
            section = np.abs(np.diff(rail.ground_volt))
            cut = np.zeros(chain.count - 1, dtype=np.bool_)
            cut[list(chain.plus_cut_after)] = True
            section = section + np.where(cut, 0.0, np.abs(np.diff(rail.plus_volt)))
            worst = JointLoss(
                chain=chain.name,
                after_pixel=k,
                joint_volt=float(joint_volt[k]),
                joint_watt=float(plus_a[k] ** 2 * plus_ohm[k] + ground_a[k] ** 2 * ground_ohm[k]),
                section_volt=float(section[k]),
            )
    return worst


def report(plan: PowerPlan) -> PowerReport:
    """Compute the whole plan. Raises PowerError if it makes no circuit (a piece of chain without a feed)."""
    answers = {state: solve(circuit(plan, state)) for state in LoadState}
    planned, fault = answers[LoadState.CEILING], solve(circuit(plan, LoadState.FULL_WHITE, sagging=False))
    states = {state: _state(plan, state, answer) for state, answer in answers.items()}
    feeds = tuple(
        _feed(plan, feed, planned_a=abs(float(planned.feed_plus_a[k])), fault=fault, number=k)
        for k, feed in enumerate(plan.feeds)
    )
    supplies = tuple(
        _supply(supply, planned_a=float(planned.supply_a[k]), fault_a=float(fault.supply_a[k]))
        for k, supply in enumerate(plan.supplies)
    )
    chains = tuple(
        _chain(plan, chain, number, fault, (answers[LoadState.CEILING], answers[LoadState.TYPICAL]))
        for number, chain in enumerate(plan.chains)
    )
    return PowerReport(
        plan=plan, states=states, feeds=feeds, supplies=supplies, chains=chains, fuse_open=_fuses_open(plan, feeds)
    )


def _fuses_open(plan: PowerPlan, feeds: tuple[FeedReport, ...]) -> tuple[FuseOpen, ...]:
    net = circuit(plan, LoadState.CEILING)
    return tuple(_fuse_open(plan, net, number, feeds) for number in range(len(plan.feeds)))


def _fuse_open(plan: PowerPlan, net: Circuit, number: int, feeds: tuple[FeedReport, ...]) -> FuseOpen:
    """One fuse open: solved anew, or which pixels nothing feeds."""
    feed = plan.feeds[number]
    dark = _unfed(plan, number)
    if dark is not None:
        return FuseOpen(feed.name, None, dark, "", plan.ambient_c)
    taps = [replace(tap, plus_ohm=np.inf) if k == number else tap for k, tap in enumerate(net.taps)]
    answer = solve(replace(net, taps=tuple(taps)))
    state = _state(plan, LoadState.CEILING, answer)
    heat = [(_temperature(plan, wire, amps), name) for name, wire, amps in _loaded_wires(plan, answer)]
    warmest, name = max(heat, default=(plan.ambient_c, ""))
    shares = [
        (abs(float(amps)) / rating, other.name)
        for other, report_, amps in zip(plan.feeds, feeds, answer.feed_plus_a, strict=True)
        if (rating := other.fuse_a or report_.fuse.rating_a) and other.name != feed.name
    ]
    share, following = max(shares, default=(None, ""))
    return FuseOpen(feed.name, state.lowest, None, name, warmest, following, share)


def _unfed(plan: PowerPlan, number: int) -> tuple[int, int] | None:
    """First and last pixel of the piece of plus wire that this feed feeds alone; None where another one does too."""
    feed = plan.feeds[number]
    chain = plan.chain(feed.chain)
    first = max((cut + 1 for cut in chain.plus_cut_after if cut < feed.pixel), default=0)
    last = min((cut for cut in chain.plus_cut_after if cut >= feed.pixel), default=chain.count - 1)
    others = (o for k, o in enumerate(plan.feeds) if k != number and o.chain == feed.chain)
    return None if any(first <= other.pixel <= last for other in others) else (first, last)


def _loaded_wires(plan: PowerPlan, answer: SolvedCircuit) -> Iterator[tuple[str, WireKind, float]]:
    """Every wire with its name and the most current in it, A."""
    for feed, plus_a, ground_a in zip(plan.feeds, answer.feed_plus_a, answer.feed_ground_a, strict=True):
        yield f"feed {feed.name}", feed.wire, max(abs(float(plus_a)), abs(float(ground_a)))
    for chain, rail in zip(plan.chains, answer.ladders, strict=True):
        for what, wire, section_a in (
            ("plus", chain.wire, rail.plus_section_a),
            ("ground", chain.ground_wire or chain.wire, rail.ground_section_a),
        ):
            if len(section_a):
                at = int(np.argmax(np.abs(section_a)))
                yield f"{what} wire of {chain.name} after pixel {at}", wire, abs(float(section_a[at]))


def _supply(supply: SupplyPlan, *, planned_a: float, fault_a: float) -> SupplyReport:
    return SupplyReport(
        name=supply.name,
        planned_a=planned_a,
        fault_a=fault_a,
        size_a=_size(planned_a),
        fault_size_a=_size(fault_a),
        load_share=None if supply.rating_a is None else planned_a / supply.rating_a,
    )


def _size(load_a: float) -> float | None:
    try:
        return supply_size_a(load_a=max(load_a, 0.0))
    except PowerError:
        return None


def _feed(plan: PowerPlan, feed: FeedPlan, *, planned_a: float, fault: SolvedCircuit, number: int) -> FeedReport:
    """Fuse for a feed; it guards the feed's own wire and the chain's two wires behind it."""
    chain = plan.chain(feed.chain)
    fault_a = abs(float(fault.feed_plus_a[number]))
    hottest_a = max(fault_a, abs(float(fault.feed_ground_a[number])))
    rating, thinnest, problem = _thinnest((feed.wire, chain.wire, chain.ground_wire or chain.wire))
    if rating is None:
        choice = FuseChoice(None, None, FuseVerdict.UNKNOWN, problem)
    else:
        choice = choose_fuse(planned_a=planned_a, fault_a=fault_a, wire_rating_a=rating)
    return FeedReport(
        name=feed.name,
        planned_a=planned_a,
        fault_a=fault_a,
        wire_rating_a=rating,
        thinnest=thinnest,
        fuse=choice,
        wire_c=_temperature(plan, feed.wire, hottest_a),
        plug=feed.plug,
    )


def _thinnest(wires: tuple[WireKind, ...]) -> tuple[float | None, str, str]:
    """Least rating among the wires, the name of that wire, and what is wrong if one is not known."""
    ratings = []
    for wire in wires:
        try:
            ratings.append(wire_rating_a(wire))
        except PowerError as problem:
            return None, wire.name, str(problem)
    least = min(ratings)
    return least, wires[ratings.index(least)].name, ""


def _temperature(plan: PowerPlan, wire: WireKind, current_a: float) -> float:
    return conductor_temperature_c(
        current_a=current_a,
        copper_mm2=wire.copper_mm2,
        ambient_c=plan.ambient_c,
        outside_mm=wire.outside_mm,
        wires_in_bundle=plan.wires_in_bundle,
        stranded=wire.stranded,
    )


def _logic(plan: PowerPlan, chain: ChainPlan, number: int, answers: tuple[SolvedCircuit, ...]) -> LogicLevel:
    """The data level of the first pixel in the state that leaves least: dark pixels leave it the highest supply, hence the
    highest threshold; bright ones lift its ground above the board's.

    The board's ground is that of the supply it is fed from, or else of the supply that feeds the first pixel.
    """
    feeds = [feed for feed in plan.feeds if feed.chain == chain.name]
    near = min(feeds, key=lambda feed: feed.pixel).supply if feeds else plan.supplies[0].name
    board = next((supply.name for supply in plan.supplies if supply.board_a > 0), near)
    at = [supply.name for supply in plan.supplies].index(board)
    kind = chain.kinds[0][0]
    dark = max(supply.volt for supply in plan.supplies_of(chain))
    levels = [logic_level(kind, drive_volt=plan.drive_volt, supply_volt=dark)]
    for answer in answers:
        rail = answer.ladders[number]
        volt = float(rail.volt[0])
        if volt > kind.dark_volt:
            lift = max(0.0, float(rail.ground_volt[0] - answer.supply_ground_volt[at]))
            levels.append(logic_level(kind, drive_volt=plan.drive_volt, supply_volt=volt, ground_lift_volt=lift))
    return min(levels, key=lambda level: (not level.too_high, level.margin_volt))


def _chain(
    plan: PowerPlan, chain: ChainPlan, number: int, fault: SolvedCircuit, answers: tuple[SolvedCircuit, ...]
) -> ChainReport:
    rail = fault.ladders[number]
    first, slowest = chain.kinds[0][0], max((kind for kind, _ in chain.kinds), key=lambda k: k.pixel_time_us)
    frame = frame_time_s(chain.kinds)
    hottest = plan.ambient_c
    for wire, section_a in (
        (chain.wire, rail.plus_section_a),
        (chain.ground_wire or chain.wire, rail.ground_section_a),
    ):
        if len(section_a):
            hottest = max(hottest, _temperature(plan, wire, float(np.abs(section_a).max())))
    supplies = plan.supplies_of(chain)
    hungriest = max((kind for kind, _ in chain.kinds), key=lambda kind: kind.full_white_a)
    return ChainReport(
        name=chain.name,
        frame_s=frame,
        frames_per_s=1 / frame,
        largest_pixels=largest_chain(slowest, frames_per_s=plan.frames_per_s),
        logic=_logic(plan, chain, number, answers),
        reminders=head_reminders(
            first, on_usb=any(supply.is_usb for supply in supplies), data_lead_m=chain.data_lead_m
        ),
        usb=usb_alone(hungriest, pixels=chain.count),
        hottest_wire_c=hottest,
        volts=chain.volts,
        plug_a=max(
            (float(np.abs(a).max()) for a in (rail.plus_section_a, rail.ground_section_a) if len(a)), default=0.0
        ),
        plug=PLUGS.get(chain.connector),
    )


# -- one more feed -------------------------------------------------------------------------------------------------

COARSE_PLACES: Final = 17


@dataclass(frozen=True, slots=True)
class FeedSuggestion:
    """One more feed: where, from which supply, and the lowest pixel of that chain before and after."""

    chain: str
    pixel: int
    supply: str
    before: PixelVolt
    after: PixelVolt


def suggest_feed(plan: PowerPlan, *, state: LoadState = LoadState.CEILING) -> FeedSuggestion | None:
    """Best place for one more feed on the chain with the lowest pixel; None if no place gains a millivolt.

    The new feed's wires are those of the best feed of that chain. It comes from the supply of
    the nearest feed on the same unbroken piece of 5 V wire, so that two supplies are never joined. Evenly spaced
    places are tried first, then those between the best one's neighbours: exact for chains of up to 17 pixels and for a
    gain with one peak along the chain. Raises PowerError if the plan makes no circuit.
    """
    net = circuit(plan, state)
    before = solve(net)
    lows = [float(rail.volt.min()) for rail in before.ladders]
    number = int(np.argmin(lows))
    chain, volt = plan.chains[number], before.ladders[number].volt
    lowest = PixelVolt(chain=chain.name, pixel=int(np.argmin(volt)), volt=lows[number])
    cuts = sorted(chain.plus_cut_after)
    first = max((cut + 1 for cut in cuts if cut < lowest.pixel), default=0)
    last = min((cut for cut in cuts if cut >= lowest.pixel), default=chain.count - 1)
    own = [tap for tap in net.taps if tap.chain == number and first <= tap.pixel <= last]
    lead = min(own, key=lambda tap: tap.plus_ohm + tap.ground_ohm)
    tried: dict[int, tuple[tuple[float, float], PixelVolt, FeedTap]] = {}

    def score(pixel: int) -> tuple[float, float]:
        if pixel not in tried:
            nearest = min(own, key=lambda tap: abs(tap.pixel - pixel))
            tap = replace(lead, pixel=pixel, supply=nearest.supply)
            new = solve(replace(net, taps=(*net.taps, tap))).ladders[number].volt
            spot = PixelVolt(chain=chain.name, pixel=int(np.argmin(new)), volt=float(new.min()))
            tried[pixel] = ((spot.volt, float(new.mean())), spot, tap)
        return tried[pixel][0]

    low, high = first, last
    while True:
        places = sorted({round(p) for p in np.linspace(low, high, min(COARSE_PLACES, high - low + 1))})
        best = max(places, key=score)
        if len(places) == high - low + 1:
            break
        at = places.index(best)
        low, high = places[max(at - 1, 0)], places[min(at + 1, len(places) - 1)]
    best = max(tried, key=score)
    _, spot, tap = tried[best]
    if spot.volt - lowest.volt < 1e-3:
        return None
    return FeedSuggestion(chain.name, best, plan.supplies[tap.supply].name, before=lowest, after=spot)
