"""The harness in words: sections of lines for the command line, the screen and the printed sheet; and as data for JSON.

Lines hold names from the map with control characters taken out; a screen passes them through its own door all the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Final

from probe.cautions import Moment, cautions
from probe.document.local_time import local_date
from probe.document.model import Chain, PlayfieldMap, shown_number
from probe.document.model.harness import Fixing
from probe.document.outside_text import spaced
from probe.harness.checks import Weight, warmth
from probe.harness.copper import LARGEST_LOAD_SHARE
from probe.harness.from_map import MapPlan, MapPower
from probe.harness.joints import JointSeverity, SheetRow, sheet_rows
from probe.harness.pixels import BOARD_A, USB_BUDGET_A, nominal_volt_of
from probe.harness.plan import CurrentFrom, LoadState
from probe.harness.power_up import bench_words
from probe.harness.report import ChainReport, FeedReport, PixelVolt, PowerReport, SupplyReport

SIGNS: Final = {Weight.STOP: "STOP", Weight.WARNING: "LOOK", Weight.NOTE: "note"}
STATES: Final = (LoadState.CEILING, LoadState.TYPICAL, LoadState.FULL_WHITE)


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines."""

    title: str
    lines: tuple[str, ...]


def verdict(power: MapPower) -> str:
    """One line: what the findings come to."""
    counts = {weight: sum(f.weight is weight for f in power.findings) for weight in Weight}
    if counts[Weight.STOP]:
        return f"{counts[Weight.STOP]} to mend before power on, {counts[Weight.WARNING]} to look at"
    if counts[Weight.WARNING]:
        return f"nothing to mend, {counts[Weight.WARNING]} to look at"
    return "nothing to mend"


def finding_lines(power: MapPower, *, notes: bool = True) -> tuple[str, ...]:
    """Each finding on a line, the most serious first."""
    return tuple(
        f"{SIGNS[f.weight]}  {f.where}: {f.text}" for f in power.findings if notes or f.weight is not Weight.NOTE
    )


def suggestion_line(power: MapPower) -> str:
    """Where one more feed helps most."""
    if power.solved is None:
        return ""
    best = power.suggestion
    if best is None:
        return "one more feed would gain nothing"
    where = power.solved[0].where(best.chain, best.pixel)
    return (
        f"one more feed helps most on {best.chain} at pixel {where}, from {best.supply}: "
        f"lowest {best.before.volt:.2f} V becomes {best.after.volt:.2f} V{power.solved[0].mark_chain(best.chain)}"
    )


def power_sections(power: MapPower, *, with_cautions: bool = True) -> tuple[Section, ...]:
    """The whole report."""
    found = [Section(f"Findings: {verdict(power)}", finding_lines(power) or ("nothing found",))]
    if power.solved is not None:
        made, solved = power.solved
        found += [
            Section("Lowest voltage", tuple(_lowest(made, solved))),
            Section("Current", tuple(_currents(made, solved))),
            Section("One more feed", (suggestion_line(power),)),
            Section("Feeds and fuses", tuple(line for feed in solved.feeds for line in _feed(made, solved, feed))),
            Section("Supplies", tuple(_supply(made, supply) for supply in solved.supplies)),
            Section("Chains", tuple(line for chain in solved.chains for line in _chain(made, chain))),
        ]
    if power.assumed:
        found.append(Section("Assumed, for want of a note", tuple(f"{a.where}: {a.text}" for a in power.assumed)))
    if with_cautions:
        found.append(Section("Cautions", tuple(caution.text for caution in cautions(Moment.PLANNING))))
    return tuple(found)


def _lowest(made: MapPlan, solved: PowerReport) -> Iterator[str]:
    for state in STATES:
        spot: PixelVolt = solved.state(state).lowest
        yield (
            f"{state}: {spot.volt:.2f} V on {spot.chain} at pixel {made.where(spot.chain, spot.pixel)}"
            f"{made.mark_chain(spot.chain)}"
        )
    yield _fuse_open_line(made, solved)
    worst = solved.state(LoadState.CEILING).worst_joint
    if worst is None:
        yield "worst joint: none loses anything"
    else:
        yield (
            f"worst joint: {worst.chain}, pixel {worst.after_pixel} to {worst.after_pixel + 1}: "
            f"{worst.joint_volt * 1000:.0f} mV in its joints, {worst.section_volt * 1000:.0f} mV with the wire, "
            f"{worst.joint_watt * 1000:.0f} mW at the ceiling{made.mark_chain(worst.chain)}"
        )


def _fuse_open_line(made: MapPlan, solved: PowerReport) -> str:
    """The worst of any one fuse open."""
    one = solved.worst_fuse_open
    if one is None:
        return "any one fuse open: there is no feed"
    if one.lowest is None and one.dark is not None:
        chain = next(f.chain for f in made.plan.feeds if f.name == one.feed)
        first, last = (made.where(chain, number) for number in one.dark)
        return f"any one fuse open: {one.feed} feeds {chain} alone from pixel {first} to {last}: dark"
    assert one.lowest is not None
    return (
        f"any one fuse open: {one.lowest.volt:.2f} V on {one.lowest.chain} at pixel "
        f"{made.where(one.lowest.chain, one.lowest.pixel)}, if that of {one.feed} opens; hottest wire then "
        f"{warmth(max(f.hottest_c for f in solved.fuse_open))} at most{made.mark_chain(one.lowest.chain)}"
    )


def _source_of_current(made: MapPlan, chain: str) -> str:
    """Where a chain's current comes from: `12 pixels measured on the bench, 72 assumed: measure dark and all red`."""
    found = made.plan.chain(chain).currents_from
    if len(found) == 1:
        words = "a pixel's current " + next(iter(found)).value
    else:
        parts = (f"{count} {origin.value}" for origin, count in found.items())
        words = "current of pixels: " + ", ".join(parts)
    return words + (": measure dark and all red" if CurrentFrom.ASSUMED in found else "")


def _currents(made: MapPlan, solved: PowerReport) -> Iterator[str]:
    yield "in A: at the ceiling · typical play · full white (a data fault)"
    states = [solved.state(state) for state in STATES]
    yield f"all supplies: {_three(s.total_a for s in states)}{made.mark_supply()}"
    for k, supply in enumerate(states[0].supplies):
        yield f"supply {supply.name}: {_three(s.supplies[k].load_a for s in states)}{made.mark_supply(supply.name)}"
    for k, feed in enumerate(states[0].feeds):
        chain_name = next(f.chain for f in made.plan.feeds if f.name == feed.name)
        yield f"feed {feed.name}: {_three(s.feeds[k].plus_a for s in states)}{made.mark_chain(chain_name)}"
    for k, chain in enumerate(states[0].chains):
        yield (
            f"chain {chain.name}: {_three(s.chains[k].total_a for s in states)} ({_source_of_current(made, chain.name)})"
            f"{made.mark(chain.name)}"
        )
        yield (
            f"largest pixel of {chain.name}, mA: "
            + " · ".join(f"{float(s.chains[k].current_a.max()) * 1000:.1f}" for s in states)
            + made.mark(chain.name)
        )


def _three(values: Iterator[float]) -> str:
    return " · ".join(f"{value:.2f}" for value in values)


def _feed(made: MapPlan, solved: PowerReport, feed: FeedReport) -> Iterator[str]:
    noted = next((f for f in made.map.feeds if made.feed_names.get(f.id) == feed.name), None)
    fitted = "" if noted is None or noted.fuse_a is None else f", {noted.fuse_a:g} A fitted"
    plan = next(f for f in made.plan.feeds if f.name == feed.name)
    yield (
        f"{feed.name}: {plan.length_m:g} m of {plan.wire.name} from {plan.supply} to {plan.chain} "
        f"pixel {made.where(plan.chain, plan.pixel)}{made.mark(feed.name, plan.chain, plan.supply)}"
    )
    mark = made.mark_chain(plan.chain)
    fuse = "no fuse fits" if feed.fuse.rating_a is None else f"fuse {feed.fuse.rating_a:g} A ({feed.fuse.colour})"
    yield f"  {fuse}{fitted}. {feed.fuse.reason}{mark}"
    rating = "not known" if feed.wire_rating_a is None else f"{feed.wire_rating_a:.2g} A (guidance unless the maker's)"
    one = next((f for f in solved.fuse_open if f.feed == feed.name), None)
    if one is not None and one.lowest is None:
        yield "  with its fuse open: what it feeds is dark"
    elif one is not None and one.lowest is not None:
        yield (
            f"  with its fuse open: lowest {one.lowest.volt:.2f} V on {one.lowest.chain} at pixel "
            f"{made.where(one.lowest.chain, one.lowest.pixel)}; hottest {one.hottest}, {warmth(one.hottest_c)}{mark}"
        )
    yield f"  thinnest wire behind it: {feed.thinnest}, rated {rating}; its own wire {warmth(feed.wire_c)} at full white{mark}"


def _supply(made: MapPlan, supply: SupplyReport) -> str:
    planned = next(s for s in made.plan.supplies if s.name == supply.name)
    size = "more than one common supply gives" if supply.size_a is None else f"{supply.size_a:g} A or more"
    line = f"{supply.name}, {planned.volt:g} V: {supply.planned_a:.2f} A at the ceiling asks for {size}"
    line += f" (load at most {LARGEST_LOAD_SHARE:.0%})"
    if supply.load_share is not None and planned.rating_a is not None:
        line += f"; {supply.load_share:.0%} of its {planned.rating_a:g} A"
    if supply.fault_size_a is not None and supply.fault_size_a != supply.size_a:
        line += f"; {supply.fault_a:.2f} A in a data fault"
    return line + made.mark_supply(supply.name)


def _chain(made: MapPlan, chain: ChainReport) -> Iterator[str]:
    pixels = made.plan.chain(chain.name).count
    yield (
        f"{chain.name}: {pixels} pixels refresh in {chain.frame_s * 1000:.2f} ms, up to {chain.frames_per_s:.0f} frames "
        f"a second; at {made.plan.frames_per_s:g} a second up to {chain.largest_pixels} pixels{made.mark(chain.name)}"
    )
    yield f"  logic level: {chain.logic.advice}"
    usb, mark = chain.usb, made.mark(chain.name)
    if not usb.fits:
        yield f"  USB alone: cannot carry it: these are {chain.volts} pixels, a port gives 5 V"
    elif usb.level is None:
        yield (
            f"  USB alone: cannot carry it: dark pixels and board take {usb.idle_a:.2f} A of {USB_BUDGET_A:g} A "
            f"(board {BOARD_A:g} A){mark}"
        )
    else:
        yield (
            f"  USB alone ({USB_BUDGET_A:g} A, board {BOARD_A:g} A): all white at level {usb.level} of 255 at most, "
            f"or one pixel at {usb.one_pixel_level}{mark}"
        )
    if not usb.inrush_ok:
        yield f"  its {usb.inrush_uf:.3g} µF are more than a USB port should see when plugged in"
    yield f"  hottest wire in the chain {warmth(chain.hottest_wire_c)} at full white{made.mark_chain(chain.name)}"
    for reminder in chain.reminders:
        yield f"  fit: {reminder.part} ({reminder.why})"


def as_data(power: MapPower) -> dict[str, Any]:
    """The report as plain values for JSON: SI units in the names, no text that needs a parser."""
    out: dict[str, Any] = {
        "must_stop": power.must_stop,
        "findings": [asdict(finding) for finding in power.findings],
        "assumed": [asdict(assumed) for assumed in power.assumed],
        "cautions": [{"code": c.code, "text": c.text} for c in cautions(Moment.PLANNING)],
    }
    if power.solved is None:
        return out
    made, solved = power.solved
    best = power.suggestion
    out["states"] = {state.value: _state_data(made, solved, state) for state in STATES}
    out["feeds"] = [
        {
            "name": f.name, "planned_a": f.planned_a, "fault_a": f.fault_a, "wire_rating_a": f.wire_rating_a,
            "thinnest_wire": f.thinnest, "fuse_a": f.fuse.rating_a, "fuse_colour": f.fuse.colour,
            "fuse_verdict": f.fuse.verdict.value, "wire_c": _finite(f.wire_c),
        }
        for f in solved.feeds
    ]  # fmt: skip
    out["supplies"] = [
        {
            "name": s.name, "planned_a": s.planned_a, "fault_a": s.fault_a, "size_a": s.size_a,
            "load_share": s.load_share,
        }
        for s in solved.supplies
    ]  # fmt: skip
    out["chains"] = [
        {
            "name": c.name, "pixels": made.plan.chain(c.name).count,
            "current_from": {origin.value: count for origin, count in made.plan.chain(c.name).currents_from.items()},
            "frame_s": c.frame_s,
            "frames_per_s": c.frames_per_s, "largest_pixels": c.largest_pixels,
            "logic_needed_volt": c.logic.needed_volt, "logic_drive_volt": c.logic.drive_volt,
            "logic_ground_lift_volt": c.logic.ground_lift_volt, "logic_ok": c.logic.reads_high, "usb_level": c.usb.level, "usb_one_pixel_level": c.usb.one_pixel_level,
            "usb_inrush_ok": c.usb.inrush_ok, "hottest_wire_c": _finite(c.hottest_wire_c),
            "fit": [reminder.part for reminder in c.reminders],
        }
        for c in solved.chains
    ]  # fmt: skip
    out["any_one_fuse_open"] = [
        {
            "feed": f.feed, "lowest": f.lowest and asdict(f.lowest), "dark": f.dark, "hottest": f.hottest,
            "hottest_c": _finite(f.hottest_c), "next_feed": f.next_feed, "next_share": f.next_share,
        }
        for f in solved.fuse_open
    ]  # fmt: skip
    out["suggested_feed"] = best and {
        "chain": best.chain, "pixel": best.pixel, "supply": best.supply, "before_volt": best.before.volt,
        "after_volt": best.after.volt,
    }  # fmt: skip
    return out


def _finite(value: float) -> float | None:
    return None if value == float("inf") else value


def _state_data(made: MapPlan, solved: PowerReport, state: LoadState) -> dict[str, Any]:
    own = solved.state(state)
    return {
        "total_a": own.total_a,
        "lowest": asdict(own.lowest),
        "worst_joint": own.worst_joint and asdict(own.worst_joint),
        "feeds_a": {f.name: f.plus_a for f in own.feeds},
        "supplies_a": {s.name: s.load_a for s in own.supplies},
        "chains": [
            {
                "name": c.name, "total_a": c.total_a, "volt": [round(float(v), 4) for v in c.volt],
                "current_a": [round(float(a), 6) for a in c.current_a],
            }
            for c in own.chains
        ],
        "wire_loss_w": own.wire_loss_w,
    }  # fmt: skip


# -- joints -------------------------------------------------------------------------------------------------------


def _detail(row: SheetRow) -> str:
    view = row.view
    parts = []
    if view.length_m is not None:
        parts.append(f"{view.length_m * 1000:g} mm")
    if view.fixing is not Fixing.UNKNOWN:
        parts.append(view.fixing.value)
    if view.made_on:
        parts.append(f"made {local_date(view.made_on)}")
    batches = list(dict.fromkeys(spaced(side.batch) for side in (view.leaving, view.arriving) if side.batch))
    if batches:
        parts.append(" to ".join(batches))
    if view.checked:
        parts.append("checked")
    if view.note:
        parts.append(spaced(view.note))
    return "; ".join(parts)


def _row_lines(map_: PlayfieldMap, chain: Chain, row: SheetRow) -> Iterator[str]:
    place = map_.place_of(chain.pixels[row.number])
    name = f" ({spaced(place.label)})" if place is not None else ""
    detail = _detail(row)
    yield f"joint {row.ends}{name}" + (f": {detail}" if detail else "")
    yield from (f"  {line}" for line in row.joining)
    for problem in row.problems:
        yield f"  {'REFUSED' if problem.severity is JointSeverity.REFUSE else 'ask'}: {problem.text}"


def batch_lines(map_: PlayfieldMap) -> tuple[str, ...]:
    """Colour code of each batch."""
    lines = []
    for batch in map_.batches:
        volts = "5 V" if batch.chip is None else f"{nominal_volt_of(batch.chip):g} V"
        wires = ((volts, batch.five_volt), ("ground", batch.ground), ("data in", batch.data_in))
        code = ", ".join(f"{what} {spaced(colour) or '?'}" for what, colour in (*wires, ("data out", batch.data_out)))
        tested = bench_words(batch)
        lines.append(f"{spaced(batch.name)}: {code}" + (f"; {tested}" if tested else ""))
    return tuple(lines)


def harness_sheet_lines(map_: PlayfieldMap) -> tuple[Section, ...]:
    """The whole sheet: cautions first, then colour codes, then the joints of each chain."""
    found = [Section("Before you open a joint", tuple(caution.text for caution in cautions(Moment.OPENING)))]
    if map_.batches:
        found.append(Section("Colour codes (they join nothing: functions do)", batch_lines(map_)))
    for chain in map_.chains:
        lines = tuple(line for row in sheet_rows(map_, chain) for line in _row_lines(map_, chain, row))
        title = f"Joints of {spaced(chain.name)}, output {chain.output}"
        found.append(Section(title, lines or ("no pixels yet",)))
    return tuple(found)


def harness_data(map_: PlayfieldMap) -> list[dict[str, object]]:
    """The sheet as plain values for JSON."""
    return [
        {
            "chain": chain.id,
            "pixel": row.number,
            "shown": shown_number(row.number),
            "flag": row.flag,
            "join": list(row.joining),
            "problems": [{"severity": p.severity.value, "code": p.code, "text": p.text} for p in row.problems],
            "length_mm": None if row.view.length_m is None else row.view.length_m * 1000,
            "fixing": row.view.fixing.value,
            "made_on": row.view.made_on,
            "checked": row.view.checked,
            "batches": [row.view.leaving.batch, row.view.arriving.batch],
        }
        for chain in map_.chains
        for row in sheet_rows(map_, chain)
    ]
