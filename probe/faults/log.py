"""What a fault search leaves behind: lines for the map's log, notes in the map, and the score of a practice round."""

from __future__ import annotations

from collections.abc import Sequence

from probe.document.model import MAX_TEXT, PlayfieldMap, shown_number, storable
from probe.document.operations import add_revision, grown, replace_chain
from probe.document.revisions import revised, session_closed
from probe.faults.engine import next_measurements
from probe.faults.explain import filled
from probe.faults.knowledge import Who
from probe.faults.state import FaultSearch

FREE_QUESTIONS = 3


def log(search: FaultSearch) -> tuple[str, ...]:
    """Lines for the map's log: the suspects, and every question with its answer, what to measure next where none is sure."""
    k = search.session.k
    lines = []
    if search.diagnosis is not None:
        for suspect in search.diagnosis.suspects:
            lines.append(f"{suspect.word}: {filled(suspect.cause.name, k)}")
    if k is not None and k >= 0:
        lines.append(f"last good pixel: {shown_number(k)}")
    for given in search.session.answers:
        asked = search.knowledge.observation(given.observation)
        answer = given.reading or ", ".join(filled(asked.answer(a).text, k) for a, _ in given.shares) or "not sure"
        lines.append(f"{filled(asked.question, k)} {answer}")
    if search.handed_over:
        lines += [f"next: {filled(asked.question, k)}" for asked in next_measurements(search.knowledge, search.session)]
    return tuple(lines)


def planted_lines(search: FaultSearch) -> tuple[str, ...]:
    """What was planted in a practice round, and its remedies."""
    lines = []
    if search.solution is not None:
        for name, place in zip(search.solution.causes, search.solution.places, strict=True):
            cause = search.knowledge.cause(name)
            lines.append(f"Planted: {filled(cause.name, place)}.")
            lines.append(f"Remedy: {filled(cause.remedy, place)}.")
    return tuple(lines)


def work_s(search: FaultSearch) -> float:
    """Seconds of work the questions asked for, by the tables."""
    asked = [search.knowledge.observation(given.observation) for given in search.session.answers if not given.by_tool]
    return sum(observation.seconds for observation in asked if observation.who is not Who.TOOL)


def score(search: FaultSearch, *, found: bool) -> str:
    """The score of a practice round: 100, less 4 for each question beyond the third and 20 for each repair in vain."""
    asked, vain = search.session.questions_asked, len(search.session.rejected)
    points = max(0, 100 - 4 * max(0, asked - FREE_QUESTIONS) - 20 * vain) if found else 0
    minutes = work_s(search) / 60
    return f"Score {points} of 100: {asked} questions, {minutes:.1f} min of work, {vain} repairs in vain."


def kept(map_: PlayfieldMap, chain_id: str, *, time: str, reason: str, lines: Sequence[str]) -> PlayfieldMap:
    """The map with a dated line in the chain's note, as a revision whose changes hold `lines` too.

    An open session becomes a revision of its own first. When the note is full, the log of revisions alone holds it.
    """
    map_ = session_closed(map_, time=time)
    chain = map_.chain(chain_id)
    line = f"{time[:10]} {reason}"
    note = storable(f"{chain.note}\n{line}" if chain.note else line)
    listed = tuple(_short(text) for text in lines)
    if len(note) > MAX_TEXT:
        return add_revision(map_, time=time, reason=_short(reason), changes=listed)
    after = replace_chain(map_, chain.model_copy(update={"note": note}))
    after = revised(map_, after, time=time, reason=_short(reason))
    last = after.revisions[-1]
    last = last.model_copy(update={"changes": (*last.changes, *listed)})
    return after.model_copy(update={"revisions": (*after.revisions[:-1], last)})


def with_flex_notes(
    map_: PlayfieldMap, chain_id: str, *, time: str, lines: Sequence[str], reacted: Sequence[int]
) -> PlayfieldMap:
    """The map with a flex log: dated lines in the chain's note, a word at each pixel whose joint reacted.

    What no longer fits into a note goes into the log of revisions, so that nothing is lost.
    """
    day = time[:10]
    chain = map_.chain(chain_id)
    text = "\n".join(f"{day} {line}" for line in lines)
    note = f"{chain.note}\n{text}" if chain.note else text
    if reacted:
        chain = grown(chain, max(reacted) + 1)
    pixels = list(chain.pixels)
    for number in reacted:
        word = f"{day} flex: the joint arriving here reacted"
        old = pixels[number].note
        longer = f"{old}; {word}" if old else word
        if len(longer) <= MAX_TEXT:
            pixels[number] = pixels[number].model_copy(update={"note": longer})
    fits = len(note) <= MAX_TEXT
    update = {"pixels": tuple(pixels)} | ({"note": storable(note)} if fits else {})
    map_ = replace_chain(map_, chain.model_copy(update=update))
    return map_ if fits else kept(map_, chain_id, time=time, reason=f"flex test of {chain.name}", lines=lines)


def _short(text: str) -> str:
    return storable(text)[:MAX_TEXT]
