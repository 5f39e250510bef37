"""What a fault search leaves behind: lines for the map's log, and the score of a practice round."""

from __future__ import annotations

from probe.document.model import shown_number
from probe.faults.explain import filled
from probe.faults.knowledge import Who
from probe.faults.search_state import Search

FREE_QUESTIONS = 3


def log(search: Search) -> tuple[str, ...]:
    """Lines for the map's log: the suspects, and every question with its answer."""
    k = search.session.k
    lines = []
    if search.finding is not None:
        for suspect in search.finding.suspects:
            lines.append(f"{suspect.word}: {filled(suspect.cause.name, k)}")
    if k is not None and k >= 0:
        lines.append(f"last good pixel: {shown_number(k)}")
    for given in search.session.given:
        asked = search.knowledge.observation(given.observation)
        said = given.reading or ", ".join(filled(asked.answer(a).text, k) for a, _ in given.shares) or "not sure"
        lines.append(f"{filled(asked.question, k)} {said}")
    return tuple(lines)


def planted_lines(search: Search) -> tuple[str, ...]:
    """What was planted in a practice round, and its remedies."""
    lines = []
    if search.planted is not None:
        for name, place in zip(search.planted.causes, search.planted.places, strict=True):
            cause = search.knowledge.cause(name)
            lines.append(f"Planted: {filled(cause.name, place)}.")
            lines.append(f"Remedy: {filled(cause.remedy, place)}.")
    return tuple(lines)


def work_s(search: Search) -> float:
    """Seconds of work the questions asked for, by the tables."""
    asked = [search.knowledge.observation(given.observation) for given in search.session.given if not given.by_tool]
    return sum(observation.seconds for observation in asked if observation.who is not Who.TOOL)


def score(search: Search, *, found: bool) -> str:
    """The score of a practice round: 100, less 4 for each question beyond the third and 20 for each repair in vain."""
    asked, vain = search.session.questions_asked, len(search.session.rejected)
    points = max(0, 100 - 4 * max(0, asked - FREE_QUESTIONS) - 20 * vain) if found else 0
    minutes = work_s(search) / 60
    return f"Score {points} of 100: {asked} questions, {minutes:.1f} min of work, {vain} repairs in vain."
