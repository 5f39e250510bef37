"""What is known before the first question: contexts that shift the weights, from plain facts of map and user."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

FIRST_POWER = "first-power"
JUST_SPLICED = "just-spliced"
WORKED_WEEKS = "worked-weeks"
PLAY_ONLY = "play-only"
MIXED_BATCH = "mixed-batch"

TEXTS = {
    FIRST_POWER: "first power-up of this chain",
    JUST_SPLICED: "pixels were just spliced in or taken out",
    WORKED_WEEKS: "it worked for weeks before",
    PLAY_ONLY: "wrong only while the game drives the lamps",
    MIXED_BATCH: "the chain mixes batches, or the batch is cheap",
}

WEEKS_DAYS = 14.0
JUST_DAYS = 2.0


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Plain facts the program already holds; None where nobody knows.

    `days_since_splice`: since the latest revision that added, removed or moved pixels. `days_working`: since the chain
    was first seen right. `pixels_verified`: pixels ever seen right. `splice_near`: (chain number) of the latest splice.
    `batches`: batch marks of the harness sheet, one for each pixel or joint that has one. `seen_right_on_bench`: the
    walk was right while only the program drove the chain.
    """

    pixels_verified: int | None = None
    days_since_splice: float | None = None
    days_working: float | None = None
    splice_near: int | None = None
    batches: Sequence[str] = ()
    seen_right_on_bench: bool = False
    wrong_in_play: bool = False


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
    marks = sorted({mark.strip() for mark in facts.batches if mark.strip()})
    if len(marks) > 1:
        found.append((MIXED_BATCH, f"the harness sheet names {len(marks)} batches"))
    return Context(
        tuple(name for name, _ in found),
        tuple(reason for _, reason in found),
        facts.splice_near if spliced else None,
    )
