"""The plan of a map's chains on the terminal: orders, splices, repairs and whether the wire is long enough."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from probe.cli.outcome import Exit, complain, say, say_document, say_json
from probe.document.operations import folded

if TYPE_CHECKING:
    from probe.document.model import Chain, PlayfieldMap

PIECES = {"quick": 1, "usual": 60, "proof": 2_000}
EFFORTS = tuple(PIECES)


def plan_command(arguments: argparse.Namespace) -> int:
    """Print what was asked for. Exit code 1 if rules are broken or wire is too short; the map is not changed."""
    from probe.document.file import load_map
    from probe.planning.plan import PlanError

    map_ = load_map(arguments.map)
    try:
        if arguments.splice is not None:
            return _splice(map_, arguments)
        if arguments.dead is not None:
            return _dead(map_, arguments)
        if arguments.slack:
            return _slack(map_, arguments)
        return _plan(map_, arguments)
    except PlanError as error:
        complain(str(error))
        return Exit.USAGE


def _plan(map_: PlayfieldMap, arguments: argparse.Namespace) -> int:
    from probe.export.cells import guard, table_text
    from probe.planning.plan import brief_of, first_plan, improved_plan, parts_of, plan_now
    from probe.planning.words import HEADINGS, plan_data, plan_lines, plan_rows

    part = arguments.part or next(iter(parts_of(map_)), "playfield")
    brief = brief_of(map_, part, chains=arguments.chains, tidy=not arguments.least)
    plan = improved_plan(first_plan(brief), pieces=PIECES[arguments.effort])
    now = plan_now(brief)
    if arguments.csv:
        say_document(table_text([HEADINGS, *(tuple(map(guard, row)) for row in plan_rows(plan))]))
    elif arguments.as_json:
        say_json(plan_data(map_, plan, now))
    else:
        say(*plan_lines(map_, plan, now))
    return Exit.FINDINGS if plan.broken_rules else Exit.FINE


def _chain(map_: PlayfieldMap, name: str | None) -> Chain:
    from probe.planning.plan import PlanError

    if not map_.chains:
        raise PlanError("the map has no chain yet: plan one, or set it up")
    if name is None:
        return map_.chains[0]
    found = [chain for chain in map_.chains if name == chain.id or folded(name) == folded(chain.name)]
    if not found:
        names = ", ".join(chain.name for chain in map_.chains)
        raise PlanError(f"there is no chain {name[:40]!r}: it has {names}")
    return found[0]


def _splice(map_: PlayfieldMap, arguments: argparse.Namespace) -> int:
    from probe.planning.plan import PlanError
    from probe.planning.splice import frontier, missing_places
    from probe.planning.words import splice_data, splice_lines

    chain = _chain(map_, arguments.chain)
    places = []
    for label in arguments.splice:
        found = [p for p in map_.places if p.id == label or folded(p.label) == folded(label)]
        if len(found) != 1:
            what = "there is no place" if not found else "there are several places called"
            raise PlanError(f"{what} {label[:40]!r}: name it as the map does")
        places.append(found[0].id)
    places = places or list(missing_places(map_, chain.id))
    if not places:
        say("Every place has a pixel: nothing to splice.")
        return Exit.FINE
    ways = frontier(map_, chain.id, places)
    if arguments.as_json:
        say_json([splice_data(splice) for splice in ways])
    else:
        say(*splice_lines(map_, ways))
    return Exit.FINE


def _dead(map_: PlayfieldMap, arguments: argparse.Namespace) -> int:
    from probe.document.model import shown_number
    from probe.planning.plan import PlanError
    from probe.planning.splice import declared_repair, repairs
    from probe.planning.words import CAUTION, repair_lines

    chain = _chain(map_, arguments.chain)
    if not 0 <= arguments.dead < len(chain.pixels):
        raise PlanError(f"{chain.name} has no pixel {arguments.dead}: its last one is {len(chain.pixels) - 1}")
    found = repairs(map_, chain.id, arguments.dead)
    if arguments.as_json:
        say_json([
            {"what": r.what, "wire_mm": r.wire_mm, "joints": r.joints, "shifted": r.shifted, "place_lit": r.place_lit, "declared": list(declared_repair(r))}
            for r in found
        ])  # fmt: skip
    else:
        place = map_.place_of(chain.pixels[arguments.dead])
        of = f"{chain.name} {shown_number(arguments.dead)}" + (f", {place.label}" if place is not None else "")
        say(CAUTION, f"{of}:", *repair_lines(map_, chain.id, arguments.dead, found))
    return Exit.FINE


def _slack(map_: PlayfieldMap, arguments: argparse.Namespace) -> int:
    from probe.planning.splice import slacks
    from probe.planning.words import slack_line, slack_summary

    chains = map_.chains if arguments.chain is None else (_chain(map_, arguments.chain),)
    found = [slack for chain in chains for slack in slacks(map_, chain.id)]
    short = [slack for slack in found if slack.slack_mm < 0]
    if arguments.as_json:
        say_json([
            {
                "chain": s.chain, "first": s.first, "last": s.last, "wire_mm": s.wire_mm,
                "needed_mm": round(s.needed_mm, 1), "slack_mm": round(s.slack_mm, 1), "noted": s.noted,
            }
            for s in found
        ])  # fmt: skip
    else:
        say(*(slack_line(map_, slack) for slack in sorted(found, key=lambda s: s.slack_mm)))
        say(slack_summary(found))
    return Exit.FINDINGS if short else Exit.FINE
