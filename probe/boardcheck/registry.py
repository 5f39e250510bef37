"""The list of checks, and running them one after another."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from probe.boardcheck.dialogue import Dialogue, Failure, clause_key


class Outcome(StrEnum):
    """How a check ended."""

    PASSED = "passed"
    FAILED = "failed"
    LACKS = "feature not in this board"
    UNSEEN = "cannot be seen over the line"


@dataclass(frozen=True)
class Result:
    """What came of one clause. `words` say why it failed, or how to check what a line cannot show."""

    clause: str
    title: str
    outcome: Outcome
    words: str = ""


Body = Callable[[Dialogue], Awaitable[None]]


@dataclass(frozen=True)
class Check:
    """One clause. `needs` names features without which there is nothing to check; `body` None: not to be seen here."""

    clause: str
    title: str
    needs: tuple[str, ...] = ()
    body: Body | None = None
    hint: str = ""


CHECKS: list[Check] = []


def check(clause: str, title: str, *needs: str) -> Callable[[Body], Body]:
    """Register the check of a clause."""

    def register(body: Body) -> Body:
        CHECKS.append(Check(clause, title, needs, body))
        return body

    return register


def not_seen(clause: str, title: str, hint: str, *needs: str) -> None:
    """Register a clause that the line alone cannot show, with how else to check it."""
    CHECKS.append(Check(clause, title, needs, None, hint))


class NotNow(Exception):  # noqa: N818 - what happened, not a fault
    """This time the clause could not be seen; the text says how to make it visible."""


async def run_checks(
    dialogue: Dialogue, *, only: Iterable[str] = (), told: Callable[[Result], None] = lambda result: None
) -> tuple[Result, ...]:
    """Run every check, or those of the clauses named. The board is left dark. Never raises for what a board does."""
    wanted = set(only)
    results: list[Result] = []

    def note(result: Result) -> None:
        results.append(result)
        told(result)

    for chosen in sorted(CHECKS, key=lambda c: clause_key(c.clause)):
        if wanted and chosen.clause not in wanted:
            continue
        note(await _run_one(dialogue, chosen, results))
    failed = {r.clause for r in results if r.outcome is Outcome.FAILED}
    for clause, what in sorted(dialogue.spoiled.items(), key=lambda item: clause_key(item[0])):
        if clause not in failed and (not wanted or clause in wanted):
            title = next((c.title for c in CHECKS if c.clause == clause), "every line")
            results[:] = [r for r in results if r.clause != clause]
            note(Result(clause, title, Outcome.FAILED, what))
    return tuple(sorted(results, key=lambda r: clause_key(r.clause)))


async def _run_one(dialogue: Dialogue, chosen: Check, results: list[Result]) -> Result:
    if chosen.body is None:
        return Result(chosen.clause, chosen.title, Outcome.UNSEEN, chosen.hint)
    identity = dialogue.identity
    if identity is not None and not all(identity.has(feature) for feature in chosen.needs):
        lacking = ", ".join(f for f in chosen.needs if not identity.has(f))
        return Result(chosen.clause, chosen.title, Outcome.LACKS, lacking)
    try:
        await _settle(dialogue)
        await chosen.body(dialogue)
    except NotNow as exc:
        return Result(chosen.clause, chosen.title, Outcome.UNSEEN, str(exc))
    except Failure as exc:
        if exc.clause is not None and exc.clause != chosen.clause:
            dialogue.spoil(exc.clause, f"{exc} (while {chosen.clause} was checked)")
            return Result(chosen.clause, chosen.title, Outcome.FAILED, f"{exc} (clause {exc.clause})")
        return Result(chosen.clause, chosen.title, Outcome.FAILED, str(exc))
    return Result(chosen.clause, chosen.title, Outcome.PASSED)


async def _settle(dialogue: Dialogue) -> None:
    """End whatever an earlier check left on the line, and read away what it left to hear."""
    await dialogue.talk.send(b"\n")
    while True:
        try:
            if await dialogue.hear(15) is None:
                return
        except Failure:
            continue
