"""What a power report means, in words: what must be mended, what to look at, what to know."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from probe.harness.plan import Chain, LoadState, PowerPlan
from probe.harness.protection import LARGEST_LOAD_SHARE, FuseVerdict
from probe.harness.results import Finding, PowerReport, Weight

WARN_ABOVE_LINE: Final = 0.04  # of the nominal volts: 4.7 V for 5 V pixels with the line at 4.5 V
JOINT_LIMIT_VOLT: Final = 0.1  # the trade's mark of a bad joint
WARM_C: Final = 60.0  # below the 70 to 80 C of common PVC; from memory

_ORDER: Final = {Weight.STOP: 0, Weight.WARNING: 1, Weight.NOTE: 2}


def findings(plan: PowerPlan, report: PowerReport) -> tuple[Finding, ...]:
    """All findings, the most serious first, otherwise in the order of the plan."""
    found = [
        *_supplies(plan, report),
        *(finding for chain in plan.chains for finding in _chain(plan, chain, report)),
        *_feeds(report),
    ]
    return tuple(sorted(found, key=lambda f: _ORDER[f.weight]))


def _supplies(plan: PowerPlan, report: PowerReport) -> Iterator[Finding]:
    ceiling = report.state(LoadState.CEILING)
    for supply, size, load in zip(plan.supplies, report.supplies, ceiling.supplies, strict=True):
        if load.load_a < -1e-3:
            yield Finding(
                Weight.STOP, "fed-backwards", supply.name,
                f"{-load.load_a:.2f} A would flow back into {supply.name}: two supplies share one 5 V wire. "
                "Leave the 5 V wire open between them and join the grounds only.",
            )  # fmt: skip
        if supply.is_usb and size.planned_a > 0.5:
            yield Finding(
                Weight.STOP, "usb-overload", supply.name,
                f"{size.planned_a:.2f} A is more than the 0.5 A of a USB port. Use a supply of its own for the pixels; "
                "join grounds, never the two 5 V wires.",
            )  # fmt: skip
        if supply.rating_a is not None and size.load_share is not None:
            if size.load_share > 1:
                yield Finding(
                    Weight.STOP, "supply-overload", supply.name,
                    f"{size.planned_a:.2f} A is above its {supply.rating_a:g} A. Lower the ceiling or change it.",
                )  # fmt: skip
            elif size.load_share > LARGEST_LOAD_SHARE:
                yield Finding(
                    Weight.WARNING, "supply-above-80", supply.name,
                    f"{size.planned_a:.2f} A is {size.load_share:.0%} of its {supply.rating_a:g} A; stay within 80 %.",
                )  # fmt: skip
            if size.fault_a > supply.rating_a >= size.planned_a:
                yield Finding(
                    Weight.NOTE, "supply-at-fault", supply.name,
                    f"full white would ask {size.fault_a:.2f} A of {supply.rating_a:g} A: wrong data can make it shut "
                    "down or pulse. The ceiling keeps clear of that in use.",
                )  # fmt: skip
        elif size.size_a is None:
            yield Finding(
                Weight.WARNING, "supply-too-big", supply.name,
                f"{size.planned_a:.1f} A is more than one common supply gives at 80 %. Split over several.",
            )  # fmt: skip


def _chain(plan: PowerPlan, chain: Chain, report: PowerReport) -> Iterator[Finding]:
    line = max(kind.low_line_volt for kind, _ in chain.kinds)
    nominal = max(kind.nominal_volt for kind, _ in chain.kinds)
    lowest = report.state(LoadState.CEILING).chain(chain.name).lowest
    white = report.state(LoadState.FULL_WHITE).chain(chain.name)
    if lowest.volt < line:
        yield Finding(
            Weight.STOP, "too-low", chain.name,
            f"pixel {lowest.pixel} gets {lowest.volt:.2f} V at the ceiling, below the {line:g} V line. "
            "Add a feed near it, use thicker wire, or lower the ceiling.",
        )  # fmt: skip
    elif lowest.volt < line + WARN_ABOVE_LINE * nominal:
        yield Finding(
            Weight.WARNING, "near-line", chain.name,
            f"pixel {lowest.pixel} gets {lowest.volt:.2f} V at the ceiling: little to spare above {line:g} V.",
        )  # fmt: skip
    if lowest.volt >= line > white.lowest.volt:
        yield Finding(
            Weight.NOTE, "low-at-white", chain.name,
            f"full white would pull pixel {white.lowest.pixel} to {white.lowest.volt:.2f} V; the ceiling prevents it.",
        )  # fmt: skip
    yield from _volts_in(plan, chain)
    yield from _joints(chain, report)
    yield from _timing(plan, chain, report)
    if chain.ceiling_ma is not None and float(chain.per_pixel("idle_a").sum()) * 1000 > chain.ceiling_ma:
        yield Finding(
            Weight.STOP, "ceiling-below-idle", chain.name,
            f"the ceiling of {chain.ceiling_ma} mA is used up by dark pixels. Raise it, or shorten the chain.",
        )  # fmt: skip
    for kind in dict(chain.kinds):
        if kind.assumed:
            yield Finding(
                Weight.NOTE, "assumed", chain.name, f"{kind.name}: not in its sheet: {'; '.join(kind.assumed)}."
            )


def _volts_in(plan: PowerPlan, chain: Chain) -> Iterator[Finding]:
    names = {feed.supply for feed in plan.feeds if feed.chain == chain.name}
    for supply in plan.supplies:
        if supply.name not in names:
            continue
        for kind in dict(chain.kinds):
            if supply.volt > kind.highest_volt:
                yield Finding(
                    Weight.STOP, "volts-too-high", chain.name,
                    f"{supply.name} gives {supply.volt:g} V; {kind.name} takes {kind.highest_volt:g} V at most.",
                )  # fmt: skip
            elif supply.volt < kind.low_line_volt:
                yield Finding(
                    Weight.STOP, "volts-too-low", chain.name,
                    f"{supply.name} gives {supply.volt:g} V; {kind.name} needs {kind.low_line_volt:g} V or more.",
                )  # fmt: skip
    for together in _supplies_by_piece(plan, chain):
        if len(together) > 1:
            yield Finding(
                Weight.WARNING, "supplies-joined", chain.name,
                f"{' and '.join(sorted(together))} feed one unbroken 5 V wire. Leave it open between them; "
                "grounds stay joined.",
            )  # fmt: skip


def _supplies_by_piece(plan: PowerPlan, chain: Chain) -> list[set[str]]:
    """Names of the supplies on each unbroken piece of the chain's 5 V wire."""
    pieces: dict[int, set[str]] = {}
    for feed in plan.feeds:
        if feed.chain == chain.name:
            piece = sum(1 for cut in chain.plus_cut_after if cut < feed.pixel)
            pieces.setdefault(piece, set()).add(feed.supply)
    return list(pieces.values())


def _joints(chain: Chain, report: PowerReport) -> Iterator[Finding]:
    joint = report.state(LoadState.CEILING).worst_joint
    if joint is not None and joint.chain == chain.name and joint.joint_volt > JOINT_LIMIT_VOLT:
        yield Finding(
            Weight.WARNING, "bad-joint", chain.name,
            f"the joint between pixels {joint.after_pixel} and {joint.after_pixel + 1} loses {joint.joint_volt:.2f} V "
            f"and makes {joint.joint_watt:.1f} W of heat. Remake it.",
        )  # fmt: skip


def _timing(plan: PowerPlan, chain: Chain, report: PowerReport) -> Iterator[Finding]:
    own = next(c for c in report.chains if c.name == chain.name)
    if own.frames_per_s < plan.frames_per_s:
        yield Finding(
            Weight.WARNING, "too-long", chain.name,
            f"{chain.count} pixels take {own.frame_s * 1000:.1f} ms, {own.frames_per_s:.1f} frames a second. "
            f"For {plan.frames_per_s:g} use at most {own.largest_pixels} on one output.",
        )  # fmt: skip
    if not own.logic.reads_high:
        yield Finding(Weight.WARNING, "data-level", chain.name, own.logic.advice)
    if own.hottest_wire_c > WARM_C:
        yield Finding(
            Weight.WARNING, "warm-wire", chain.name,
            f"{_warm(own.hottest_wire_c)} in its wire at full white. Thicker wire or one more feed.",
        )  # fmt: skip


def _feeds(report: PowerReport) -> Iterator[Finding]:
    for feed in report.feeds:
        if feed.fuse.verdict is FuseVerdict.NONE:
            yield Finding(Weight.STOP, "no-fuse-fits", feed.name, feed.fuse.reason)
        elif feed.fuse.verdict is FuseVerdict.UNKNOWN:
            yield Finding(Weight.STOP, "wire-rating-unknown", feed.name, feed.fuse.reason)
        elif feed.fuse.verdict is FuseVerdict.CEILING_ONLY:
            yield Finding(Weight.WARNING, "fuse-ceiling-only", feed.name, feed.fuse.reason)
        if feed.wire_c > WARM_C:
            yield Finding(
                Weight.WARNING, "warm-wire", feed.name, f"{_warm(feed.wire_c)} at full white. Use thicker wire."
            )


def _warm(temperature_c: float) -> str:
    return "above 200 °C" if temperature_c == float("inf") else f"about {temperature_c:.0f} °C"
