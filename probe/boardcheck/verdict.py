"""The verdict of a check as a maker can publish it: data for programs, and one line for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from device_protocol.orders import PROTOCOL_VERSION
from probe.boardcheck.dialogue import Dialogue
from probe.boardcheck.registry import ClauseOutcome, ClauseResult

PAGE = "1.1"
"""The page of SPEC.md that the checks are of."""


def verdict(
    dialogue: Dialogue,
    results: Sequence[ClauseResult],
    *,
    checked_at: str,
    took_s: float,
    tool: str,
    with_table: bool,
    complete: bool,
) -> dict[str, Any]:
    """The whole verdict, ready for JSON. `checked_at` is a date and time (ISO 8601), `tool` the checker's version.

    `complete` False: only some clauses were asked for.
    """
    counts = {outcome: sum(r.outcome is outcome for r in results) for outcome in ClauseOutcome}
    identity = dialogue.identity
    board, build = (identity.board, identity.build) if identity is not None else ("", "")
    failed, unseen = counts[ClauseOutcome.FAILED], counts[ClauseOutcome.UNSEEN]
    if failed:
        words = f"does not conform, {failed} of {len(results)} clauses broken"
    elif not complete:
        words = f"{counts[ClauseOutcome.PASSED]} clauses kept, the others not asked for"
    else:
        words = f"conforms as far as a line shows, {counts[ClauseOutcome.PASSED]} clauses kept, {unseen} not proved"
    return {
        "protocol": PROTOCOL_VERSION,
        "page": PAGE,
        "board": board,
        "build": build,
        "features": sorted(identity.features) if identity is not None else [],
        "checked_at": checked_at,
        "took_s": round(took_s, 1),
        "checked_by": tool,
        "complete": complete,
        "with_table": with_table,
        "conforms": not failed and complete,
        "counts": {outcome.name.lower(): count for outcome, count in counts.items()},
        "not_proved": [r.clause for r in results if r.outcome is ClauseOutcome.UNSEEN],
        "clauses": [asdict(result) for result in results],
        "badge": f"{board} {build}: probe line protocol {PROTOCOL_VERSION} ({PAGE}): {words}; {checked_at[:10]}",
    }
