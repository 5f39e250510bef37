"""The list of checks, running them one after another, and the verdict."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum

from probe.boardcheck.dialogue import Dialogue, Failure, clause_key


class ClauseOutcome(StrEnum):
    """How the check of a clause ended."""

    PASSED = "passed"
    FAILED = "failed"
    LACKS = "feature not in this board"
    UNSEEN = "cannot be seen over the line"


@dataclass(frozen=True)
class ClauseResult:
    """What came of one clause. `words` say why it failed, what of it was not seen, or how else to look."""

    clause: str
    title: str
    outcome: ClauseOutcome
    words: str = ""


Body = Callable[[Dialogue], Awaitable[None]]


@dataclass(frozen=True)
class Check:
    """One clause. `needs` names features without which there is nothing to check; `body` None: not to be seen here.

    `table_body` runs only when the table in the board may be replaced for a while.
    """

    clause: str
    title: str
    needs: tuple[str, ...] = ()
    body: Body | None = None
    hint: str = ""
    table_body: Body | None = None


CHECKS: list[Check] = []
WITHOUT_TABLE = "the table in the board was left alone; `--table FILE` tries this too, and puts the table back"


def check(clause: str, title: str, *needs: str) -> Callable[[Body], Body]:
    """Register the check of a clause."""

    def register(body: Body) -> Body:
        CHECKS.append(Check(clause, title, needs, body))
        return body

    return register


def not_seen(clause: str, title: str, hint: str, *needs: str) -> None:
    """Register a clause that the line alone cannot show, with how else to check it."""
    CHECKS.append(Check(clause, title, needs, None, hint))


def with_table(clause: str, *needs: str) -> Callable[[Body], Body]:
    """Register what of a clause, which is in the list already, needs a table of our own in the board."""

    def register(body: Body) -> Body:
        at = next(at for at, each in enumerate(CHECKS) if each.clause == clause)
        CHECKS[at] = replace(CHECKS[at], table_body=body, needs=CHECKS[at].needs or needs)
        return body

    return register


class NotNow(Exception):  # noqa: N818 - what happened, not a fault
    """This time the clause could not be seen; the text says how to make it visible."""


@dataclass(frozen=True)
class TableSafe:
    """What a check with a table needs: how to read the one in the board, keep a copy of it, and put it back."""

    begin: Body
    end: Body


async def run_checks(
    dialogue: Dialogue,
    *,
    only: Iterable[str] = (),
    on_result: Callable[[ClauseResult], None] = lambda result: None,
    table: TableSafe | None = None,
) -> tuple[ClauseResult, ...]:
    """Run every check, or those of the clauses named. The board is left dark. Never raises for what a board does.

    With `table` those that need a table follow at the end, between its `begin` and its `end`; what these raise goes on to
    the caller.
    """
    wanted = set(only)
    chosen = [c for c in sorted(CHECKS, key=lambda c: clause_key(c.clause)) if not wanted or c.clause in wanted]
    results = {}
    if dialogue.unusable is not None:  # nothing is lit on such a board
        result = ClauseResult("5.3", "`id` says what it has to", ClauseOutcome.FAILED, dialogue.unusable)
        on_result(result)
        return (result,)
    later = []
    for each in chosen:
        result = await _run_one(dialogue, each, each.body)
        results[each.clause] = result
        follows = each.table_body is not None and _has(dialogue, each)
        if follows and table is not None and result.outcome is not ClauseOutcome.FAILED:
            later.append(each)
            continue
        if follows and result.outcome in (ClauseOutcome.PASSED, ClauseOutcome.UNSEEN):
            words = WITHOUT_TABLE if not result.words else f"{result.words}; or `--table FILE`"
            results[each.clause] = replace(result, words=words)
        on_result(results[each.clause])
    if table is not None and later and dialogue.limits.has("table"):
        try:
            await table.begin(dialogue)
        except Failure as failure:  # what cannot be read cannot be put back: nothing is tried
            dialogue.spoil(failure.clause or "5.16", str(failure))
            table, later = None, []
        try:
            for each in later:
                results[each.clause] = await _run_one(dialogue, each, each.table_body)
                on_result(results[each.clause])
        finally:
            if table is not None:
                await table.end(dialogue)
    failed = {clause for clause, result in results.items() if result.outcome is ClauseOutcome.FAILED}
    for clause, what in sorted(dialogue.spoiled.items(), key=lambda item: clause_key(item[0])):
        if clause not in failed and (not wanted or clause in wanted):
            title = next((c.title for c in CHECKS if c.clause == clause), "every line")
            results[clause] = ClauseResult(clause, title, ClauseOutcome.FAILED, what)
            on_result(results[clause])
    return tuple(sorted(results.values(), key=lambda r: clause_key(r.clause)))


def _has(dialogue: Dialogue, chosen: Check) -> bool:
    identity = dialogue.identity
    return identity is None or all(identity.has(feature) for feature in chosen.needs)


async def _run_one(dialogue: Dialogue, chosen: Check, body: Body | None) -> ClauseResult:
    identity = dialogue.identity
    if identity is not None and not _has(dialogue, chosen) and (body is not None or chosen.table_body is not None):
        lacking = ", ".join(f for f in chosen.needs if not identity.has(f))
        return ClauseResult(chosen.clause, chosen.title, ClauseOutcome.LACKS, lacking)
    if body is None:
        return ClauseResult(chosen.clause, chosen.title, ClauseOutcome.UNSEEN, chosen.hint)
    try:
        await _settle(dialogue)
        await body(dialogue)
    except NotNow as exc:
        return ClauseResult(chosen.clause, chosen.title, ClauseOutcome.UNSEEN, str(exc))
    except Failure as exc:
        if exc.clause is not None and exc.clause != chosen.clause:
            dialogue.spoil(exc.clause, f"{exc} (while {chosen.clause} was checked)")
            return ClauseResult(chosen.clause, chosen.title, ClauseOutcome.FAILED, f"{exc} (clause {exc.clause})")
        return ClauseResult(chosen.clause, chosen.title, ClauseOutcome.FAILED, str(exc))
    return ClauseResult(chosen.clause, chosen.title, ClauseOutcome.PASSED)


async def _settle(dialogue: Dialogue) -> None:
    """End whatever an earlier check left on the line, and read away what it left to hear."""
    await dialogue.talk.send(b"\n")
    while True:
        with suppress(Failure):
            if await dialogue.hear(15) is None:
                return
