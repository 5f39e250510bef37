"""What the answers say, in plain words: the suspects, how sure, and why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.document.model import shown_number
from probe.faults.context import TEXTS
from probe.faults.engine import (
    SURE,
    FaultSession,
    Floats,
    belief,
    enough,
    evidence,
    leading,
    marginals,
    next_measurements,
    of_causes,
    pair_causes,
)
from probe.faults.knowledge import CLEARED_BY, PICTURE_QUESTION, Cause, ChainPower, FaultObservation, Knowledge


@dataclass(frozen=True)
class Suspect:
    """One repair in the list, by the likeliest cause that needs it; `or_else` are others that need the same and are not
    much less likely. `speaks_for` and `speaks_against` are (observation, answer) pairs, strongest first."""

    cause: Cause
    or_else: tuple[Cause, ...]
    probability: float
    word: str
    speaks_for: tuple[tuple[str, str], ...]
    speaks_against: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Diagnosis:
    """What the answers say now: suspects (three at most), and whether two causes at once explain them better."""

    suspects: tuple[Suspect, ...]
    two_causes: tuple[Cause, Cause] | None
    explained: bool


LEAST_GAIN_BITS = 0.5
OR_ELSE = 0.2
"""A cause with the same repair is named beside the likeliest if it has at least this share of its probability."""
SELDOM = 0.12
"""An answer given less often than this, compared with the cause's usual one, does not fit the cause."""


def confidence_word(probability: float, *, sure: float = SURE) -> str:
    """Plain words for a probability; `sure`: what is very likely (`engine.enough`)."""
    for least, word in ((sure, "very likely"), (0.6, "likely"), (0.25, "possible"), (0.08, "less likely")):
        if probability >= least:
            return word
    return "unlikely"


def diagnose(knowledge: Knowledge, session: FaultSession, *, most: int = 3) -> Diagnosis:
    """The suspects, most probable first, with the answers that spoke for and against each."""
    weights = belief(knowledge, session)
    count = len(knowledge.causes)
    needed, alone = marginals(knowledge, weights), of_causes(knowledge, weights)
    ranked = np.argsort(-needed, kind="stable")[:most]
    suspects = tuple(_suspect(knowledge, session, alone, int(repair), float(needed[repair])) for repair in ranked)
    pair = count + int(np.argmax(weights[count:]))
    pair_probability = float(weights[count:].sum())
    first, second = (knowledge.causes[int(i)] for i in pair_causes(knowledge, pair))
    return Diagnosis(
        suspects=suspects,
        two_causes=(first, second) if pair_probability > 0.5 else None,
        explained=not suspects or len(suspects[0].speaks_against) < 2 or pair_probability > 0.5,
    )


def _suspect(knowledge: Knowledge, session: FaultSession, alone: Floats, repair: int, probability: float) -> Suspect:
    """For: answers likelier under this cause than under the others by their weights. Against: answers it seldom gives."""
    count, position = len(knowledge.causes), leading(knowledge, alone, repair)
    prior = knowledge.prior(session.contexts_that_count)
    others = prior.copy()
    others[position] = 0.0
    others = others / others.sum()
    speaks_for: list[tuple[float, tuple[str, str]]] = []
    against: list[tuple[float, tuple[str, str]]] = []
    for given in session.answers:
        if not given.shares:
            continue
        chances = evidence(knowledge, given)[:count]
        gain = float(np.log2(chances[position] / (others @ chances)))
        surprise = float(chances[position] / knowledge.likelihood[given.observation][position].max())
        table, asked = knowledge.likelihood[given.observation][position], knowledge.observation(given.observation)
        meant = max(given.shares, key=lambda share: share[1] * float(table[asked.index(share[0])]))
        item = (given.observation, meant[0])  # of an answer given in two ways the one that goes with the cause
        if gain > LEAST_GAIN_BITS:
            speaks_for.append((-gain, item))
        elif surprise < SELDOM:
            against.append((surprise, item))
    return Suspect(
        cause=knowledge.causes[position],
        or_else=tuple(
            cause
            for other, cause in enumerate(knowledge.causes)
            if knowledge.repair_of[other] == repair and other != position and alone[other] > OR_ELSE * alone[position]
        ),
        probability=probability,
        word=confidence_word(probability, sure=enough(session)),
        speaks_for=tuple(item for _, item in sorted(speaks_for)),
        speaks_against=tuple(item for _, item in sorted(against)),
    )


def filled(text: str, k: int | None) -> str:
    """A text with `{k}` and `{k1}` replaced by shown numbers (0-based, with the count a person makes)."""
    if k is None:
        return text.replace("{k1}", "the next pixel").replace("{k}", "the last good pixel")
    last = "the board" if k < 0 else shown_number(k)
    return text.replace("{k1}", shown_number(k + 1)).replace("{k}", last)


def row_words(text: str, k: int | None) -> str:
    """An answer or a cause as one row: a row is one clause, so commas stand in it where the tables have semicolons."""
    return filled(text, k).replace("; ", ", ")


def reply_words(asked: FaultObservation, *, answer: str | None, typed: str = "", k: int | None = None) -> str:
    """What somebody sees or reads, in words: the answer with that id, or the reading typed. `k`: the last good pixel."""
    if typed:
        return typed
    if answer is None:
        return "nothing to be made out: there is no such place here"
    text = row_words(asked.answer(answer).text, k)
    edge = asked.id == PICTURE_QUESTION and k is not None and k >= 0
    return f"{text} (last good: {filled('{k}', k)})" if edge else text


def why(knowledge: Knowledge, session: FaultSession, suspect: Suspect) -> tuple[str, ...]:
    """Lines that say which answers spoke for (+) and against (-) a suspect, and which contexts raised it."""
    lines = []
    for sign, items in (("+", suspect.speaks_for), ("-", suspect.speaks_against)):
        for observation, answer in items:
            known = knowledge.observation(observation)
            lines.append(f"{sign} {filled(known.question, session.k)} {filled(known.answer(answer).text, session.k)}")
    for context in session.contexts:
        if knowledge.contexts[context].get(suspect.cause.id, 1.0) > 1:
            lines.append(f"+ {TEXTS.get(context, context)}")
    return tuple(lines)


def hand_over(knowledge: Knowledge, session: FaultSession) -> tuple[str, ...]:
    """Lines for whoever goes on where the questions named no cause: what is dangerous still, what is known, what to measure
    next, what to ask somebody. None while one cause is probable enough, and before anything was answered."""
    needed = marginals(knowledge, belief(knowledge, session))
    if not session.answers or (float(needed.max()) >= enough(session) and not session.unsafe):
        return ()
    k = session.k
    lines = []
    if session.unsafe:
        lines.append("Not safe to power before:")
        for hazard, asked in CLEARED_BY.items():
            if hazard in session.hazards:
                known = knowledge.observation(asked)
                safe = next(answer.text for answer in known.answers if hazard in answer.clears)
                lines.append(f"   {filled(known.question, k)} {filled(safe, k)}")
    lines.append("Known:")
    if k is not None and k >= 0:
        lines.append(f"   last good pixel: {shown_number(k)}")
    open_questions = []
    for given in session.answers:
        known = knowledge.observation(given.observation)
        if given.by_tool and all(known.answer(answer).normal for answer, _ in given.shares):
            continue
        text = given.reading or ", or ".join(known.answer(answer).text for answer, _ in given.shares)
        if text:
            lines.append(f"   {filled(known.question, k)} {filled(text, k)}")
        else:
            open_questions.append(known)
    if found := next_measurements(knowledge, session):
        lines.append("Measure or try next:")
        off = " (all off and unplugged first)"
        lines += [f"   {filled(o.question, k)}{off if o.power is ChainPower.OFF else ''}" for o in found]
    lines.append("Ask somebody with a meter or a second pair of eyes:")
    lines += [f"   {filled(known.question, k)}" for known in open_questions]
    lines.append("   What would look like this? Show them this list; it can be kept in the map's log.")
    return tuple(lines)
