"""Map files of earlier versions of the format, made into today's before they are checked.

Version 1 has the same records as version 2, so that its revisions undo and compare as they are. Only the answers of a
recheck that was not finished do not go on: how they are gone over is no part of version 2's promise. What was declared before
them stays, so that the recheck can begin anew from there.
"""

from __future__ import annotations

from typing import Any

from probe.document.model import FORMAT_VERSION
from probe.document.plural import many

OLDER_VERSIONS = (1,)


def upgraded(raw: dict[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The content of a map file of one of `OLDER_VERSIONS` as version 2 has it, and sentences for the person.

    All that is checked afterwards stays where it is, so that a fault has the same path in the old file. What is not as
    it should be is passed on as it is, for the check to find.
    """
    notices: list[str] = []
    made = {**raw, "version": FORMAT_VERSION}
    kept = raw.get("rechecks")
    if isinstance(kept, list):
        begun = [_without_answers(recheck, _names(raw), notices) for recheck in kept]
        made["rechecks"] = [recheck for recheck in begun if recheck is not None]
    return made, tuple(notices)


def _names(raw: dict[str, Any]) -> dict[Any, Any]:
    chains = raw.get("chains")
    return {
        chain["id"]: chain.get("name")
        for chain in (chains if isinstance(chains, list) else ())
        if isinstance(chain, dict) and isinstance(chain.get("id"), str)
    }


def _without_answers(recheck: Any, names: dict[Any, Any], notices: list[str]) -> Any:
    answers = recheck.get("answers") if isinstance(recheck, dict) else None
    if not isinstance(answers, list) or not answers:
        return recheck
    chain = recheck.get("chain")
    count = many(len(answers), "answer")
    declared = recheck.get("declared")
    kept = "; the changes said before them are kept" if declared else ""
    notices.append(
        f"The recheck of {names.get(chain) or chain} that was not finished begins anew:"
        f" {count} given to an earlier version of this program cannot be gone on with{kept}."
    )
    return {key: value for key, value in recheck.items() if key != "answers"} if declared else None
