"""A plan and splices in words, as JSON and as a table: for the terminal, the screen and papers."""

from __future__ import annotations

from collections.abc import Sequence
from shlex import quote
from typing import Any

from probe.document.model import PlayfieldMap, shown_number
from probe.document.outside_text import spaced
from probe.document.plural import many
from probe.planning.plan import Plan, compared, planned_feeds, spare_seats
from probe.planning.splice import Repair, Slack, Splice, declared_repair, declared_words, splice_words

SPARES = 3
MOST_SPLICES = 9
CAUTION = (
    "Before anything is cut or soldered: plug out of the wall. The plan knows only the keep-outs that are noted: look "
    "whether the wire can lie there, clear of coils, moving parts, the ball's way and the playfield's hinge."
)


def goodness(plan: Plan) -> str:
    """What is known about how good a plan is."""
    if plan.proved:
        return "proved: no order costs less by these rules"
    if plan.gap is None:
        return "not compared with the least possible yet"
    return f"at most {100 * plan.gap:.1f} % above the least possible by these rules"


def headline(plan: Plan) -> str:
    """The plan in one line."""
    sizes = " + ".join(str(len(seats)) for seats in plan.order)
    pixels = "1 pixel" if sizes == "1" else f"{sizes} pixels"
    return (
        f"{pixels}, way {plan.way_mm / 1000:.2f} m, wire to cut {plan.wire_mm / 1000:.2f} m for each conductor, "
        f"areas entered {many(plan.visits, 'time')}"
    )


def plan_lines(map_: PlayfieldMap, plan: Plan, now: Plan | None) -> list[str]:
    """The whole plan for the terminal."""
    lines = [f"Plan of the {plan.brief.part}: {headline(plan)}", goodness(plan), CAUTION]
    lines += [f"note  {doubt}" for doubt in (*plan.brief.doubts, *plan.broken_rules)]
    if now is not None:
        lines += ["", f"{'':26}{'planned':>28}{'as it is':>28}"]
        lines += [f"{what:26}{a:>28}{b:>28}" for what, a, b in compared(plan, now)]
    names = {chain: map_.chain(chain).name if chain in map_.chain_by_id else chain for chain in plan.brief.chains}
    lines += ["", "Feeds", f"  one at the first pixel of each chain: {', '.join(names.values())}"]
    lines += [
        f"  one more at pixel {shown_number(feed.pixel)} of {feed.chain}: lowest {feed.before.volt:.2f} V becomes {feed.after.volt:.2f} V"
        for feed in planned_feeds(map_, plan)
    ]
    lines += ["", "Spares sit best after"]
    lines += [f"  {names[chain]} {shown_number(number)} {label}" for chain, number, label in spare_seats(plan, SPARES)]
    for chain in plan.brief.chains:
        own = [stretch for stretch in plan.stretches if stretch.chain == chain]
        total = sum(stretch.cut_mm for stretch in own)
        lines += ["", f"{names[chain]}: {many(len(own), 'stretch', 'stretches')}, {total / 1000:.2f} m"]
        lines += [
            f"{shown_number(s.number):>11}  {s.cut_mm:5.0f} mm  {s.seat.label}"
            + (f" ({s.seat.area})" if s.seat.area else "")
            for s in own
        ]
    return [spaced(line) for line in lines]


def plan_data(map_: PlayfieldMap, plan: Plan, now: Plan | None) -> dict[str, Any]:
    """The plan as JSON."""
    return {
        "part": plan.brief.part,
        "way_mm": round(plan.way_mm, 2),
        "wire_mm": plan.wire_mm,
        "areas_come_into": plan.visits,
        "cost_mm": round(plan.cost_mm, 2),
        "bound_mm": round(plan.bound_mm, 2),
        "gap": None if plan.gap is None else round(plan.gap, 6),
        "proved": plan.proved,
        "doubts": [*plan.brief.doubts, *plan.broken_rules],
        "as_it_is": None if now is None else {"way_mm": round(now.way_mm, 2), "wire_mm": now.wire_mm, "areas_come_into": now.visits},
        "feeds": [
            {"chain": f.chain, "pixel": f.pixel, "lowest_v": round(f.before.volt, 3), "becomes_v": round(f.after.volt, 3)}
            for f in planned_feeds(map_, plan)
        ],
        "spares_after": [{"chain": c, "number": n, "label": label} for c, n, label in spare_seats(plan, SPARES)],
        "stretches": [
            {
                "chain": s.chain, "number": s.number, "place": s.seat.place, "label": s.seat.label, "area": s.seat.area,
                "from": None if s.before is None else s.before.place, "way_mm": round(s.way_mm, 2), "cut_mm": s.cut_mm,
                "corners": [[round(x, 2), round(y, 2)] for x, y in s.way],
            }
            for s in plan.stretches
        ],
    }  # fmt: skip


HEADINGS = ("chain", "number", "from", "to", "area", "way_mm", "cut_mm")


def plan_rows(plan: Plan) -> list[tuple[str, ...]]:
    """The stretches as rows of a table under `HEADINGS`; names as they are."""
    return [
        (
            s.chain, str(s.number), "entry" if s.before is None else s.before.label, s.seat.label, s.seat.area,
            f"{s.way_mm:.1f}", f"{s.cut_mm:g}",
        )
        for s in plan.stretches
    ]  # fmt: skip


def thinned(found: Sequence[Splice]) -> tuple[Splice, ...]:
    """A few of a frontier: the least wire, the fewest joints, no number shifted, and what lies between."""
    if len(found) <= MOST_SPLICES:
        return tuple(found)
    ends = {found[0], min(found, key=lambda s: (s.shifted, s.wire_mm)), min(found, key=lambda s: (s.joints, s.wire_mm))}
    most, least = max(s.shifted for s in found), min(s.shifted for s in found)
    steps = MOST_SPLICES - len(ends)
    for step in range(1, steps):
        limit = most - (most - least) * step / steps
        ends.add(min((s for s in found if s.shifted <= limit), key=lambda s: s.wire_mm))
    return tuple(sorted(ends, key=lambda s: s.wire_mm))


def splice_figures(splice: Splice) -> str:
    """`145 mm more wire, 8 joints, 52 numbers shift`."""
    below = f", none below {splice.before}" if splice.shifted and splice.before else ""
    return f"{splice.wire_mm:.0f} mm more wire, {many(splice.joints, 'joint')}, {_shifting(splice.shifted)}{below}"


def splice_row(splice: Splice) -> str:
    """The figures for a narrow list: `145 mm  8 joints   52 shift`."""
    return f"{splice.wire_mm:4.0f} mm  {many(splice.joints, 'joint'):<9} {splice.shifted or 'none'} shift"


def _shifting(numbers: int) -> str:
    if not numbers:
        return "no number shifts"
    return "1 number shifts" if numbers == 1 else f"{numbers} numbers shift"


def splice_lines(map_: PlayfieldMap, found: Sequence[Splice]) -> list[str]:
    """Ways to splice for the terminal, least wire first."""
    lines = [CAUTION]
    for splice in thinned(found):
        lines += ["", splice_figures(splice), *(f"  {line}" for line in splice_words(map_, splice))]
        of = map_.chain(splice.chain).name if len(map_.chains) > 1 else ""
        changes = "".join(f" --change {quote(words)}" for words in declared_words(splice, of=of))
        lines.append(f"  afterwards: playfield-probe renumber MAP{changes}")
    return [spaced(line) for line in lines]


def splice_data(splice: Splice) -> dict[str, Any]:
    """A way to splice as JSON."""
    return {
        "chain": splice.chain, "wire_mm": round(splice.wire_mm, 2), "joints": splice.joints, "shifted": splice.shifted,
        "cuts": [{"after": cut.after, "places": list(cut.places)} for cut in splice.cuts], "declared": list(declared_words(splice)),
    }  # fmt: skip


def repair_line(repair: Repair) -> str:
    """A repair with its figures."""
    wire = "wire not known" if repair.wire_mm is None else f"{repair.wire_mm:.0f} mm of wire"
    return f"{repair.what} ({wire}, {many(repair.joints, 'joint')}, {_shifting(repair.shifted)})"


def repair_lines(map_: PlayfieldMap, chain_id: str, number: int, found: Sequence[Repair]) -> list[str]:
    """Ways to deal with the dead pixel at `number` for the terminal, best first, each with what declares it."""
    place = map_.place_of(map_.chain(chain_id).pixels[number])
    of = map_.chain(chain_id).name if len(map_.chains) > 1 else ""
    lines = []
    for repair in found:
        changes = "".join(f" --change {quote(words)}" for words in declared_repair(repair, of=of))
        named = (
            ""
            if repair.seat is None or place is None
            else f", then {shown_number(repair.seat)} lights {place.label}: say so in the walk"
        )
        lines += [f"  {repair_line(repair)}", f"    afterwards: playfield-probe renumber MAP{changes}{named}"]
    return [spaced(line) for line in lines]


def slack_summary(found: Sequence[Slack]) -> str:
    """Whether the wire is long enough, in one sentence."""
    short = sum(slack.slack_mm < 0 for slack in found)
    if not found:
        return (
            "Not known: nowhere is a length noted between two pixels whose places have a position. Note lengths in the harness "
            "sheet, or the spacing of the chain."
        )
    if not short:
        return "The wire is long enough everywhere that a length is noted."
    return f"{short} of {many(len(found), 'stretch', 'stretches')} {'is' if short == 1 else 'are'} too short."


def slack_line(map_: PlayfieldMap, slack: Slack) -> str:
    """A stretch with what is left over."""
    chain = map_.chain(slack.chain)
    ends = [map_.place_of(chain.pixels[n]) for n in (slack.first, slack.last)]
    names = " to ".join(place.label if place is not None else "?" for place in ends)
    state = f"{slack.slack_mm:.0f} mm left" if slack.slack_mm >= 0 else f"{-slack.slack_mm:.0f} mm too short"
    source = "" if slack.noted else ", by the spacing"
    return f"{shown_number(slack.last)} {names}: {slack.wire_mm:.0f} mm noted{source}, {slack.needed_mm:.0f} needed, {state}"
