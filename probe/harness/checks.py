"""What the figures of a power plan mean, in words: what must be mended, what to look at, what to know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from probe.harness.copper import LARGEST_LOAD_SHARE, FuseVerdict, PlugRating, fuse_carries, fuse_protects
from probe.harness.plan import ChainPlan, LoadState, PowerPlan, SupplyPlan

if TYPE_CHECKING:
    from probe.harness.report import FeedReport, PowerReport, SupplyReport

WARN_ABOVE_LINE: Final = 0.04  # of the nominal volts: 4.7 V for 5 V pixels with the line at 4.5 V
JOINT_LIMIT_VOLT: Final = 0.1  # the trade's mark of a bad joint
WARM_C: Final = 60.0  # below the 70 to 80 C of common PVC; from memory


class Weight(StrEnum):
    """How serious a finding is."""

    STOP = "stop"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class PowerFinding:
    """What a check found: weight, a short fixed code, where, and the text."""

    weight: Weight
    code: str
    where: str
    text: str


_Problem = tuple[Weight, str, str]  # weight, code, text
_ORDER: Final = tuple(Weight)


def findings(report: PowerReport, *, fitted: Mapping[str, float | None] | None = None) -> tuple[PowerFinding, ...]:
    """All findings, the most serious first, otherwise in the order of the plan.

    fitted: what is noted of the fuses in feeds (A; None: nothing), by the feed's name; they are checked last.
    """
    plan, fitted = report.plan, fitted or {}
    feeds = {feed.name: feed for feed in report.feeds}
    groups = [
        *((supply.name, _supply(supply, size)) for supply, size in zip(plan.supplies, report.supplies, strict=True)),
        *((chain.name, _chain(plan, chain, report)) for chain in plan.chains),
        *((feed.name, _feed(feed)) for feed in report.feeds),
        *((name, fitted_fuse(fuse_a, feeds[name])) for name, fuse_a in fitted.items()),
    ]
    by_feed: dict[str, list[_Problem]] = {}
    for name, said in _fuse_open(plan, report):
        by_feed.setdefault(name, []).append(said)
    groups += [(name, iter(said)) for name, said in by_feed.items()]
    found = [PowerFinding(weight, code, where, text) for where, group in groups for weight, code, text in group]
    return tuple(sorted(found, key=lambda finding: _ORDER.index(finding.weight)))


def _supply(supply: SupplyPlan, size: SupplyReport) -> Iterator[_Problem]:
    if size.planned_a < -1e-3:
        text = (
            f"{-size.planned_a:.2f} A would flow back into {supply.name}: two supplies share one plus wire. "
            "Leave the plus wire open between them and join the grounds only."
        )
        yield Weight.STOP, "fed-backwards", text
    if supply.is_usb and size.planned_a > 0.5:
        text = (
            f"{size.planned_a:.2f} A is more than the 0.5 A of a USB port. Use a supply of its own for the pixels; "
            "join grounds, never the two plus wires."
        )
        yield Weight.STOP, "usb-overload", text
    if supply.rating_a is not None and size.load_share is not None:
        if size.load_share > 1:
            text = f"{size.planned_a:.2f} A is above its {supply.rating_a:g} A. Lower the ceiling or change it."
            yield Weight.STOP, "supply-overload", text
        elif size.load_share > LARGEST_LOAD_SHARE:
            text = f"{size.planned_a:.2f} A is {size.load_share:.0%} of its {supply.rating_a:g} A; stay within 80 %."
            yield Weight.WARNING, "supply-above-80", text
        if size.fault_a > supply.rating_a >= size.planned_a:
            text = (
                f"full white would ask {size.fault_a:.2f} A of {supply.rating_a:g} A: wrong data can make it shut "
                "down or pulse. The ceiling keeps clear of that in use."
            )
            yield Weight.NOTE, "supply-at-fault", text
    elif size.size_a is None:
        text = f"{size.planned_a:.1f} A is more than one common supply gives at 80 %. Split over several."
        yield Weight.WARNING, "supply-too-big", text


def _chain(plan: PowerPlan, chain: ChainPlan, report: PowerReport) -> Iterator[_Problem]:
    line = max(kind.low_line_volt for kind, _ in chain.kinds)
    nominal = max(kind.nominal_volt for kind, _ in chain.kinds)
    lowest = report.state(LoadState.CEILING).chain(chain.name).lowest
    white = report.state(LoadState.FULL_WHITE).chain(chain.name)
    if lowest.volt < line:
        text = (
            f"pixel {lowest.pixel} gets {lowest.volt:.2f} V at the ceiling, below the {line:g} V line. "
            "Add a feed near it, use thicker wire, or lower the ceiling."
        )
        yield Weight.STOP, "too-low", text
    elif lowest.volt < line + WARN_ABOVE_LINE * nominal:
        text = f"pixel {lowest.pixel} gets {lowest.volt:.2f} V at the ceiling: little to spare above {line:g} V."
        yield Weight.WARNING, "near-line", text
    if lowest.volt >= line > white.lowest.volt:
        text = (
            f"full white would pull pixel {white.lowest.pixel} to {white.lowest.volt:.2f} V; the ceiling prevents it."
        )
        yield Weight.NOTE, "low-at-white", text
    yield from _volts_in(plan, chain)
    joint = report.state(LoadState.CEILING).worst_joint
    if joint is not None and joint.chain == chain.name and joint.joint_volt > JOINT_LIMIT_VOLT:
        text = (
            f"the joint between pixels {joint.after_pixel} and {joint.after_pixel + 1} loses {joint.joint_volt:.2f} V "
            f"and makes {joint.joint_watt:.1f} W of heat. Remake it."
        )
        yield Weight.WARNING, "bad-joint", text
    yield from _timing(plan, chain, report)
    if chain.ceiling_ma is not None and float(chain.per_pixel("idle_a").sum()) * 1000 > chain.ceiling_ma:
        text = f"the ceiling of {chain.ceiling_ma} mA is used up by dark pixels. Raise it, or shorten the chain."
        yield Weight.STOP, "ceiling-below-idle", text
    for kind in dict(chain.kinds):
        if kind.assumed:
            yield Weight.NOTE, "assumed", f"{kind.name}: not in its sheet: {'; '.join(kind.assumed)}."


def _volts_in(plan: PowerPlan, chain: ChainPlan) -> Iterator[_Problem]:
    for supply in plan.supplies_of(chain):
        for kind in dict(chain.kinds):
            if supply.volt > kind.highest_volt:
                text = f"{supply.name} gives {supply.volt:g} V; {kind.name} takes {kind.highest_volt:g} V at most."
                yield Weight.STOP, "volts-too-high", text
            elif supply.volt < kind.low_line_volt:
                text = f"{supply.name} gives {supply.volt:g} V; {kind.name} needs {kind.low_line_volt:g} V or more."
                yield Weight.STOP, "volts-too-low", text
    pieces: dict[int, set[str]] = {}  # supplies on each unbroken piece of the chain's plus wire
    for feed in plan.feeds:
        if feed.chain == chain.name:
            pieces.setdefault(sum(cut < feed.pixel for cut in chain.plus_cut_after), set()).add(feed.supply)
    for together in pieces.values():
        if len(together) > 1:
            text = (
                f"{' and '.join(sorted(together))} feed one unbroken {chain.volts} wire. Leave it open between them; "
                "grounds stay joined."
            )
            yield Weight.WARNING, "supplies-joined", text


def _timing(plan: PowerPlan, chain: ChainPlan, report: PowerReport) -> Iterator[_Problem]:
    own = next(c for c in report.chains if c.name == chain.name)
    if own.frames_per_s < plan.frames_per_s:
        text = (
            f"{chain.count} pixels take {own.frame_s * 1000:.1f} ms, {own.frames_per_s:.1f} frames a second. "
            f"For {plan.frames_per_s:g} use at most {own.largest_pixels} on one output."
        )
        yield Weight.WARNING, "too-long", text
    if not own.logic.reads_high:
        yield Weight.WARNING, "data-level", own.logic.advice
    if own.plug is not None:
        yield from _plugged(own.plug, own.plug_a, "joint")
    if own.hottest_wire_c > WARM_C:
        text = f"{warmth(own.hottest_wire_c)} in its wire at full white. Thicker wire or one more feed."
        yield Weight.WARNING, "warm-wire", text


def _plugged(plug: PlugRating, fault_a: float, where: str) -> Iterator[_Problem]:
    """Plugs against the most current that can come."""
    if fault_a > plug.rating_a * (1 + 1e-9):
        text = (
            f"a {plug.name} plug carries {plug.rating_a:g} A, and full white would send {fault_a:.2f} A through this "
            f"{where}. Solder it, use a larger plug, or add a feed."
        )
        yield Weight.WARNING, "plug-overload", text


def _fuse_open(plan: PowerPlan, report: PowerReport) -> Iterator[tuple[str, _Problem]]:
    """What it means when any one fuse opens."""
    for one in report.fuse_open:
        if one.next_share is not None and one.next_share > 1:
            text = (
                f"if its fuse opens, {one.next_feed} carries {one.next_share:.0%} of its own fuse at the ceiling, which "
                "will open too. Lower the ceiling, or add a feed."
            )
            yield one.feed, (Weight.WARNING, "fuse-cascade", text)
        if one.hottest_c > WARM_C:
            text = f"if its fuse opens, {one.hottest} gets {warmth(one.hottest_c)}. Thicker wire or one more feed."
            yield one.feed, (Weight.WARNING, "warm-wire-fuse-open", text)
        if one.lowest is not None:
            chain = plan.chain(one.lowest.chain)
            line = max(kind.low_line_volt for kind, _ in chain.kinds)
            if one.lowest.volt < line <= report.state(LoadState.CEILING).lowest.volt:
                text = (
                    f"if its fuse opens, pixel {one.lowest.pixel} of {one.lowest.chain} falls to {one.lowest.volt:.2f} V: "
                    "colours turn there before anything goes dark."
                )
                yield one.feed, (Weight.NOTE, "low-fuse-open", text)


def _feed(feed: FeedReport) -> Iterator[_Problem]:
    if feed.plug is not None:
        yield from _plugged(feed.plug, feed.fault_a, "feed")
    if feed.fuse.verdict is FuseVerdict.NONE:
        yield Weight.STOP, "no-fuse-fits", feed.fuse.reason
    elif feed.fuse.verdict is FuseVerdict.UNKNOWN:
        yield Weight.STOP, "wire-rating-unknown", feed.fuse.reason
    elif feed.fuse.verdict is FuseVerdict.CEILING_ONLY:
        yield Weight.WARNING, "fuse-ceiling-only", feed.fuse.reason
    if feed.wire_c > WARM_C:
        yield Weight.WARNING, "warm-wire", f"{warmth(feed.wire_c)} at full white. Use thicker wire."


def warmth(temperature_c: float) -> str:
    """An estimated temperature in words; `inf` is above the model's limit."""
    return "above 200 °C" if temperature_c == float("inf") else f"about {temperature_c:.0f} °C"


def fitted_fuse(fuse_a: float | None, feed: FeedReport) -> Iterator[_Problem]:
    """A fuse that is fitted by the map, against the wire behind it and the planned load."""
    if fuse_a is None:
        advice = "" if feed.fuse.rating_a is None else f" ({feed.fuse.rating_a:g} A, at the supply's end)"
        text = f"no fuse is noted. Every feed needs one{advice}."
        yield Weight.NOTE, "fuse-not-noted", text
    elif feed.wire_rating_a is not None and not fuse_protects(fuse_a=fuse_a, wire_rating_a=feed.wire_rating_a):
        text = (
            f"the {fuse_a:g} A fuse does not protect {feed.thinnest} wire, good for {feed.wire_rating_a:.2g} A. "
            "Fit a smaller one."
        )
        yield Weight.STOP, "fuse-too-large", text
    elif not fuse_carries(fuse_a=fuse_a, load_a=feed.planned_a):
        text = (
            f"the {fuse_a:g} A fuse is below 125 % of the {feed.planned_a:.2f} A planned: it may open. "
            "Lower the ceiling or add a feed; a larger fuse only if the wire allows it."
        )
        yield Weight.WARNING, "fuse-too-small", text
