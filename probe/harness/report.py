"""What a power plan comes to: volts, currents, fuses, supplies, times, and the findings in words.

`report(plan)` solves the plan in three load states and, for the fuses, once more with pixels that never sag.
"""

from __future__ import annotations

import numpy as np

from probe.harness.base import PowerError
from probe.harness.circuit import Circuit, Solution
from probe.harness.conductor import conductor_temperature_c, wire_rating_a
from probe.harness.data_line import head_reminders, logic_level, usb_alone
from probe.harness.findings import findings
from probe.harness.network import solve
from probe.harness.pixels import frame_time_s, largest_chain
from probe.harness.plan import Chain, Feed, LoadState, PowerPlan, circuit
from probe.harness.protection import FuseChoice, FuseVerdict, choose_fuse, supply_size_a
from probe.harness.results import (
    ChainReport,
    ChainVolts,
    FeedCurrent,
    FeedReport,
    JointLoss,
    PowerReport,
    StateReport,
    SupplyLoad,
    SupplyReport,
)
from probe.harness.wire import Wire


def solve_circuit(net: Circuit) -> Solution:
    """Solve a built circuit."""
    return solve(rails=net.rails, taps=net.taps, sources=net.sources, links=net.links)


def state_report(plan: PowerPlan, state: LoadState) -> StateReport:
    """Solve the plan in one load state. Raises PowerError if pixels have no feed."""
    return _state(plan, state, solve_circuit(circuit(plan, state)))


def _state(plan: PowerPlan, state: LoadState, answer: Solution) -> StateReport:
    chains = tuple(
        ChainVolts(name=chain.name, volt=rail.volt, current_a=rail.current_a, regulating=int(rail.regulating.sum()))
        for chain, rail in zip(plan.chains, answer.rails, strict=True)
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


def _worst_joint(plan: PowerPlan, answer: Solution) -> JointLoss | None:
    """The joint that loses most; None where no chain has joints with resistance."""
    worst: JointLoss | None = None
    for chain, rail in zip(plan.chains, answer.rails, strict=True):
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
    """Reckon the whole plan. Raises PowerError if it makes no circuit (a piece of chain without a feed)."""

    answers = {state: solve_circuit(circuit(plan, state)) for state in LoadState}
    fault = solve_circuit(circuit(plan, LoadState.FULL_WHITE, sagging=False))
    states = {state: _state(plan, state, answer) for state, answer in answers.items()}
    feeds = tuple(
        _feed(plan, feed, planned_a=abs(float(answers[LoadState.CEILING].feed_plus_a[k])), fault=fault, number=k)
        for k, feed in enumerate(plan.feeds)
    )
    supplies = []
    for k, supply in enumerate(plan.supplies):
        planned, worst = float(answers[LoadState.CEILING].supply_a[k]), float(fault.supply_a[k])
        supplies.append(
            SupplyReport(
                name=supply.name,
                planned_a=planned,
                fault_a=worst,
                size_a=_size(planned),
                fault_size_a=_size(worst),
                load_share=None if supply.rating_a is None else planned / supply.rating_a,
            )
        )
    chains = tuple(
        _chain(plan, chain, ceiling=states[LoadState.CEILING], fault=fault, number=k)
        for k, chain in enumerate(plan.chains)
    )
    base = PowerReport(states=states, feeds=feeds, supplies=tuple(supplies), chains=chains)
    return PowerReport(
        states=states, feeds=feeds, supplies=tuple(supplies), chains=chains, findings=findings(plan, base)
    )


def _size(load_a: float) -> float | None:
    try:
        return supply_size_a(load_a=max(load_a, 0.0))
    except PowerError:
        return None


def _feed(plan: PowerPlan, feed: Feed, *, planned_a: float, fault: Solution, number: int) -> FeedReport:
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
    )


def _thinnest(wires: tuple[Wire, ...]) -> tuple[float | None, str, str]:
    """Least rating among the wires, the name of that wire, and what is wrong if one is not known."""
    best: tuple[float, str] | None = None
    for wire in wires:
        try:
            rating = wire_rating_a(wire)
        except PowerError as problem:
            return None, wire.name, str(problem)
        if best is None or rating < best[0]:
            best = (rating, wire.name)
    assert best is not None
    return best[0], best[1], ""


def _temperature(plan: PowerPlan, wire: Wire, current_a: float) -> float:
    return conductor_temperature_c(
        current_a=current_a,
        copper_mm2=wire.copper_mm2,
        ambient_c=plan.ambient_c,
        outside_mm=wire.outside_mm,
        wires_in_bundle=plan.wires_in_bundle,
        stranded=wire.stranded,
    )


def _chain(plan: PowerPlan, chain: Chain, *, ceiling: StateReport, fault: Solution, number: int) -> ChainReport:
    first, slowest = chain.kinds[0][0], max((kind for kind, _ in chain.kinds), key=lambda k: k.pixel_time_us)
    frame = frame_time_s(chain.kinds)
    rail = fault.rails[number]
    hottest = plan.ambient_c
    for wire, section_a in (
        (chain.wire, rail.plus_section_a),
        (chain.ground_wire or chain.wire, rail.ground_section_a),
    ):
        if len(section_a):
            hottest = max(hottest, _temperature(plan, wire, float(np.abs(section_a).max())))
    on_usb = any(s.is_usb for s in plan.supplies if s.name in {f.supply for f in plan.feeds if f.chain == chain.name})
    hungriest = max((kind for kind, _ in chain.kinds), key=lambda kind: kind.full_white_a)
    return ChainReport(
        name=chain.name,
        frame_s=frame,
        frames_per_s=1 / frame,
        largest_pixels=largest_chain(slowest, frames_per_s=plan.frames_per_s),
        # Dark pixels leave the first one the highest supply, hence the highest threshold: the supply's own volts.
        logic=logic_level(first, drive_volt=plan.drive_volt, supply_volt=_head_volt(plan, chain, ceiling)),
        reminders=head_reminders(first, on_usb=on_usb, data_lead_m=chain.data_lead_m),
        usb=usb_alone(hungriest, pixels=chain.count),
        hottest_wire_c=hottest,
    )


def _head_volt(plan: PowerPlan, chain: Chain, ceiling: StateReport) -> float:
    """Highest voltage the first pixel sees: that of the supplies feeding the chain without load."""
    names = {feed.supply for feed in plan.feeds if feed.chain == chain.name}
    volts = [supply.volt for supply in plan.supplies if supply.name in names]
    return max(volts) if volts else float(ceiling.chain(chain.name).volt[0])
