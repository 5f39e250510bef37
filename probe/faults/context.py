"""What is known before the first question: contexts that shift the weights, from plain facts of map and user."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC

from probe.document.local_time import moment_of
from probe.document.model import Chain, PixelState, PlayfieldMap
from probe.harness.joints import joint_view

FIRST_POWER = "first-power"
JUST_SPLICED = "just-spliced"
WORKED_WEEKS = "worked-weeks"
HISTORIES = frozenset({FIRST_POWER, JUST_SPLICED, WORKED_WEEKS})
"""Of these a chain has one at most."""
PLAY_ONLY = "play-only"
MIXED_BATCH = "mixed-batch"
UNLIKE_COLOURS = "unlike-colours"
SEVERAL_FEEDS = "several-feeds"
SEVERAL_SUPPLIES = "several-supplies"
FOUR_COLOUR = "four-colour"

TEXTS = {
    FIRST_POWER: "first power-up of this chain",
    JUST_SPLICED: "pixels were just spliced in or taken out",
    WORKED_WEEKS: "it worked for weeks before",
    PLAY_ONLY: "wrong only while the game drives the lamps",
    MIXED_BATCH: "the chain mixes batches, or the batch is cheap",
    UNLIKE_COLOURS: "wires of unlike colours meet at a joint",
    SEVERAL_FEEDS: "the chain is fed at more than one place",
    SEVERAL_SUPPLIES: "more than one supply feeds the chain",
    FOUR_COLOUR: "the chain is set to four-colour pixels",
}

WEEKS_DAYS = 14.0
JUST_DAYS = 2.0
"""A splice this young is a fresh one, by its revision or by its joint's date."""
_DAY_S = 86_400.0


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Plain facts the program already holds; None where nobody knows.

    `days_since_splice`: since the latest revision that added, removed or moved pixels. `days_working`: since the chain
    was first seen right. `pixels_verified`: pixels ever seen right. `splice_near`: (chain number) of the latest splice.
    `batches`: batch marks of the harness sheet, one for each pixel or joint that has one. `seen_right_on_bench`: the
    walk was right while only the program drove the chain. `unlike_joints`: joints where noted colours differ.
    """

    pixels_verified: int | None = None
    days_since_splice: float | None = None
    days_working: float | None = None
    splice_near: int | None = None
    batches: Sequence[str] = ()
    seen_right_on_bench: bool = False
    wrong_in_play: bool = False
    unlike_joints: int = 0
    feeds: int = 0
    supplies: int = 0
    four_colour: bool = False


@dataclass(frozen=True)
class Context:
    """Contexts that hold, each with the reason a person can check, and the place of the latest splice."""

    names: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    near: int | None = None


def derive(facts: Facts) -> Context:
    """The contexts that follow from facts. A fresh splice outweighs "worked for weeks"; the two exclude each other."""
    found: list[tuple[str, str]] = []
    if facts.pixels_verified == 0:
        found.append((FIRST_POWER, "no pixel of this chain has been seen right yet"))
    spliced = facts.days_since_splice is not None and facts.days_since_splice <= JUST_DAYS
    if spliced and facts.pixels_verified != 0:
        found.append(
            (JUST_SPLICED, f"the latest revision that changed the wiring is {facts.days_since_splice:.0f} days old")
        )
    elif facts.days_working is not None and facts.days_working >= WEEKS_DAYS and facts.pixels_verified != 0:
        found.append((WORKED_WEEKS, f"seen right for {facts.days_working:.0f} days with no splice since"))
    if facts.seen_right_on_bench and facts.wrong_in_play:
        found.append((PLAY_ONLY, "the walk was right; only the game shows it wrong"))
    if facts.unlike_joints:
        found.append((UNLIKE_COLOURS, f"the joint sheet notes unlike colours at {facts.unlike_joints}"))
    if facts.feeds > 1:
        found.append((SEVERAL_FEEDS, f"it notes {facts.feeds} feeds"))
    if facts.supplies > 1:
        found.append((SEVERAL_SUPPLIES, f"it notes {facts.supplies} supplies"))
    if facts.four_colour:
        found.append((FOUR_COLOUR, "its byte order has four letters"))
    marks = sorted({mark.strip() for mark in facts.batches if mark.strip()})
    if len(marks) > 1:
        found.append((MIXED_BATCH, f"the harness sheet names {len(marks)} batches"))
    return Context(
        tuple(name for name, _ in found),
        tuple(reason for _, reason in found),
        facts.splice_near if spliced else None,
    )


def facts(map_: PlayfieldMap, chain_id: str, *, now: str) -> Facts:
    """Facts about a chain from its map's revisions, pixels, joints, batches and feeds. `now`: RFC 3339 text."""
    chain = map_.chain(chain_id)
    feeds = [feed for feed in map_.feeds if feed.chain == chain_id]
    splices = [r for r in map_.revisions if chain_id in r.rewired]
    last = splices[-1] if splices else None
    since = None if last is None else days_between(last.time, now)
    seen = [p for p in chain.pixels if p.verified or p.state in (PixelState.PLACED, PixelState.HIDDEN)]
    proved = {p.verified for p in chain.pixels if p.verified and (last is None or p.verified > last.number)}
    first_right = next((r.time for r in map_.revisions if r.number in proved), None)
    return Facts(
        pixels_verified=len(seen),
        days_since_splice=since,
        days_working=None if first_right is None else days_between(first_right, now),
        splice_near=_splice(chain, now) if last is not None else None,
        unlike_joints=sum(_unlike(map_, chain, number) for number in range(len(chain.pixels))),
        feeds=len(feeds),
        supplies=len({feed.supply for feed in feeds}),
        four_colour=len(chain.order) == 4,
        batches=[p.batch for p in chain.pixels if p.batch is not None],
    )


def _unlike(map_: PlayfieldMap, chain: Chain, number: int) -> bool:
    """Whether joining by colour would cross wires at the joint that arrives at a pixel: 5 V or GND meets another colour,
    or a wire's colour is that of another function on the far side."""
    view = joint_view(map_, chain, number)
    left, right = (
        [(wire.colour or "").strip().casefold() for wire in side.wires] for side in (view.leaving, view.arriving)
    )
    pairs = [(i, j) for i, one in enumerate(left) for j, other in enumerate(right) if one and one == other]
    rails = any(one and other and one != other for one, other in zip(left[:2], right[:2], strict=True))
    return rails or any(i != j for i, j in pairs)


def days_between(earlier: str, later: str) -> float | None:
    """Days from one RFC 3339 time (or bare date) to another; None if one of them cannot be read."""
    begin, end = moment_of(earlier, zone=UTC), moment_of(later, zone=UTC)
    return None if begin is None or end is None else round((end - begin).total_seconds() / _DAY_S, 1)


def _splice(chain: Chain, now: str) -> int | None:
    """The number of the first pixel that sits behind a joint made in the last days, or else of one not seen yet."""
    at = {pixel.id: number for number, pixel in enumerate(chain.pixels)}
    fresh = []
    for joint in chain.joints:
        days = days_between(joint.made_on, now) if joint.made_on else None
        if days is not None and days <= JUST_DAYS and joint.before in at:
            fresh.append(at[joint.before])
    fresh = fresh or [n for n, pixel in enumerate(chain.pixels) if pixel.state is PixelState.UNSEEN]
    return min(fresh, default=None)
