"""What the answers say, in plain words: the suspects, how sure, and why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.document.model import shown_number
from probe.faults.context import TEXTS
from probe.faults.engine import FaultSession, belief, evidence, marginals, pair_causes
from probe.faults.knowledge import PICTURE_QUESTION, Cause, FaultObservation, Knowledge


@dataclass(frozen=True)
class Suspect:
    """One cause in the list. `speaks_for` and `speaks_against` are (observation, answer) pairs, strongest first."""

    cause: Cause
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
SELDOM = 0.12
"""An answer given less often than this, compared with the cause's usual one, does not fit the cause."""


def confidence_word(probability: float) -> str:
    """Plain words for a probability."""
    for least, word in ((0.9, "very likely"), (0.6, "likely"), (0.25, "possible"), (0.08, "less likely")):
        if probability >= least:
            return word
    return "unlikely"


def diagnose(knowledge: Knowledge, session: FaultSession, *, most: int = 3) -> Diagnosis:
    """The suspects, most probable first, with the answers that spoke for and against each."""
    weights = belief(knowledge, session)
    count = len(knowledge.causes)
    alone = marginals(knowledge, weights)
    ranked = np.argsort(-alone, kind="stable")[:most]
    suspects = tuple(_suspect(knowledge, session, int(position), float(alone[position])) for position in ranked)
    pair = count + int(np.argmax(weights[count:]))
    pair_probability = float(weights[count:].sum())
    first, second = (knowledge.causes[int(i)] for i in pair_causes(knowledge, pair))
    return Diagnosis(
        suspects=suspects,
        two_causes=(first, second) if pair_probability > 0.5 else None,
        explained=not suspects or len(suspects[0].speaks_against) < 2 or pair_probability > 0.5,
    )


def _suspect(knowledge: Knowledge, session: FaultSession, position: int, probability: float) -> Suspect:
    """For: answers likelier under this cause than under the others by their weights. Against: answers it seldom gives."""
    count = len(knowledge.causes)
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
        item = (given.observation, given.shares[0][0])
        if gain > LEAST_GAIN_BITS:
            speaks_for.append((-gain, item))
        elif surprise < SELDOM:
            against.append((surprise, item))
    return Suspect(
        cause=knowledge.causes[position],
        probability=probability,
        word=confidence_word(probability),
        speaks_for=tuple(item for _, item in sorted(speaks_for)),
        speaks_against=tuple(item for _, item in sorted(against)),
    )


def filled(text: str, k: int | None) -> str:
    """A text with `{k}` and `{k1}` replaced by shown numbers (0-based, with the count a person makes)."""
    if k is None:
        return text.replace("{k1}", "the next pixel").replace("{k}", "the last good pixel")
    last = "the board" if k < 0 else shown_number(k)
    return text.replace("{k1}", shown_number(k + 1)).replace("{k}", last)


def reply_words(asked: FaultObservation, *, answer: str | None, typed: str = "", k: int | None = None) -> str:
    """What somebody sees or reads, in words: the answer with that id, or the reading typed. `k`: the last good pixel."""
    if typed:
        return typed
    if answer is None:
        return "nothing to be made out: there is no such place here"
    text = filled(asked.answer(answer).text, k)
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
