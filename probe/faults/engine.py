"""The fault finder's reasoning: which question next, what the answers mean, when to stop.

A session is a frozen value: answers go in, a new session comes out, and undo is the previous one. Beliefs run over
single causes and over pairs of causes; a pair's abnormal answers are joined by a noisy-or, so that a second fault does
not wreck the search for the first. Every likelihood is mixed with a small share of "any answer", because people err.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from probe.faults.context import JUST_SPLICED, Context
from probe.faults.knowledge import (
    CLEARED_BY,
    ONLY_TO_CLEAR,
    PICTURE_QUESTION,
    STOP_OBSERVATION,
    ChainPower,
    FaultObservation,
    Hazard,
    Knowledge,
    Who,
)
from probe.faults.meter import MeterVerdict, Ranges, judge, parse_readings
from probe.inference.keystroke import Operator, klm_seconds
from probe.inference.questions import Question, best_question

Floats = NDArray[np.float64]

WRONG_SHARE = 0.09
"""Share of answers taken to be slips, spread over all answers of the question: judgement, with room for what the tables
do not know, so that one odd answer excludes no cause (`tests/bench_faults.py` has the figures)."""
PAIR_SHARE = 0.05
"""Prior probability of two causes at once."""
DOUBTFUL = 0.10
"""An answer that is a slip with this probability, by all the others, is asked about once more before the search ends, if
the cause in front would be another without it: judgement, tried on the stories that are known."""
SURELY_DOUBTFUL = 0.3
"""One that is a slip with this probability is asked about at once: what rests on it would be asked for nothing."""
MOST_REPEATS = 2
SURE = 0.83
"""A repair this probable ends the questions and is called very likely: with the share of slips above that is right more than
nine times in ten over the stories (`tests/faults/stories`)."""
SURER = 0.9
"""The same where the person was not sure of an answer, or one had to be asked twice: then the others are less to be relied on too,
and what stood between the two was right in four of five searches only, over stories with noise that were scored with the tables as
they were before those stories were read."""
MOST_QUESTIONS = 9
"""More tell little where no repair is `HOPEFUL` by then: what is known is handed over."""
FEW_MORE = 1
"""So many more while one is."""
HOPEFUL = 0.35
MORE_QUESTIONS = 6
REJECTED = 0.01
"""What is left of a cause's weight when its remedy did not help: it may have been done badly."""
NEAR_PIXELS = 3
LEAST_BITS = 0.15
LEAST_CHECK_BITS = 0.05
RESTS_ON_MORE = 0.15
"""A leading cause that keeps less than this probability without one of the answers rests on that answer alone."""
READING_SECONDS = 240.0
"""Going to the screen, reading, doing it with one hand under the playfield, going back: judgement. So long that a question
which decides is worth its meter, and cheap ones that tell little do not come first."""
ANSWER_SECONDS = klm_seconds([Operator.THINK, Operator.KEY_OCCASIONAL])
UNSURE = "unsure"
K_PICTURES = frozenset({"to-k-dark", "to-k-odd", "tail-dark", "swap-to-end", "one-dark", "shifted"})
"""Pictures with an edge: whoever picks one can name the last good pixel."""
K_WALKS = frozenset({"stops", "one-dark", "shifted"})
"""What the walking pixel shows with an edge, where the picture gave none."""
SECOND_LOOKS = frozenset({"colours", "walk"})
"""Looks that the picture question already covers: the same eyes on the same light would be counted twice. They are
asked only where it gave nothing."""

ENOUGH = "enough questions"
NO_MORE = "no question left that would tell more"
STOP_STEPS = (
    "Switch the pixel supply off and unplug the machine from the wall.",
    "Wait some minutes. Parts stay hot and can stay charged.",
)
FIRST_SHOW_SAFE = {
    Hazard.SHORT: "Measure ohms from plus to GND at the chain before anything is powered again.",
    Hazard.PLUG_SWAPPED: "Read the first plug's wires against the pad print before anything is powered again.",
    Hazard.JOINT_SWAPPED: "Read the wires of every joint against the pad print before anything is powered again.",
    Hazard.SUPPLY_HIGH: "Measure the supply alone, with the chain off it, before the chain is powered again.",
}
"""The third step is the first of these whose hazard is open: what was read safe is not asked for again."""
NOT_BEFORE = "Do not power up to see whether it is still there: not before a reading has shown that it is safe."


@dataclass(frozen=True)
class GivenAnswer:
    """One answer as given: shares of the question's answers (more than one when a reading is in doubt; none: unsure).

    `by_tool` marks what the program saw for itself. `reading` is what was typed, if it was a reading. `safety`: it was
    put to clear a hazard, not to find the cause. `confirmed`: asked twice, and the answer was the same.
    """

    observation: str
    shares: tuple[tuple[str, float], ...]
    by_tool: bool = False
    reading: str = ""
    safety: bool = False
    confirmed: bool = False


@dataclass(frozen=True)
class FaultSession:
    """A fault search so far. `k` is the last good pixel's number, -1 when even the first is wrong, None if unknown;
    `near` the place of the latest splice, if known; `rejected` causes whose remedy did not help. `hazards` are open:
    an answer proved them, and none since has cleared them; for those in `checked` the clearing question was put since.
    `rounds`: how often more questions were asked for. `repeated`: what was asked a second time."""

    contexts: tuple[str, ...] = ()
    answers: tuple[GivenAnswer, ...] = ()
    k: int | None = None
    near: int | None = None
    rejected: frozenset[str] = frozenset()
    hazards: frozenset[Hazard] = frozenset()
    checked: frozenset[Hazard] = frozenset()
    rounds: int = 0
    repeated: frozenset[str] = frozenset()

    @property
    def questions_asked(self) -> int:
        """Questions put to the person; what the program saw for itself and safety steps are not counted."""
        return sum(not given.by_tool and not given.safety for given in self.answers) + len(self.repeated)

    @property
    def unsafe(self) -> bool:
        """A hazard is open: until a safe reading clears it, nothing that needs power is asked and all is dark."""
        return bool(self.hazards)

    @property
    def clearing(self) -> str:
        """The question that would clear an open hazard and has not been put since it opened; empty if there is none."""
        for hazard, question in CLEARED_BY.items():
            if hazard in self.hazards and hazard not in self.checked:
                return question
        return ""

    @property
    def contexts_that_count(self) -> tuple[str, ...]:
        """The contexts, without the fresh splice when the trouble sits elsewhere in the chain."""
        apart = self.k is not None and self.near is not None and self.k >= 0 and abs(self.k - self.near) > NEAR_PIXELS
        return tuple(name for name in self.contexts if not (apart and name == JUST_SPLICED))

    @property
    def most_questions(self) -> int:
        """Questions before the search hands over; each remedy that did not help, and whoever asks for them, adds some."""
        return MOST_QUESTIONS + MORE_QUESTIONS * (len(self.rejected) + self.rounds)

    def has(self, observation: str) -> bool:
        """Whether that question has been put, answered or not."""
        return any(given.observation == observation for given in self.answers)

    def answer_to(self, observation: str) -> str | None:
        """The single answer given, or None."""
        for given in self.answers:
            if given.observation == observation and len(given.shares) == 1:
                return given.shares[0][0]
        return None


@dataclass(frozen=True)
class NextQuestion:
    """What to do next: ask `question`, or None when the search is over. `stop` holds the safety steps. `again`: it was asked
    before, and its answer does not go with the others."""

    question: FaultObservation | None
    stop: tuple[str, ...] = ()
    expected_bits: float = 0.0
    over: str = ""
    again: bool = False


@dataclass(frozen=True, eq=False)
class _Likelihoods:
    """Hypotheses (single causes, then pairs) against the concatenated answers of all observations."""

    columns: dict[str, tuple[int, int]]
    order: tuple[str, ...]
    starts: NDArray[np.intp]
    likelihood: Floats
    entropy: Floats
    pairs: NDArray[np.intp]
    repairs: NDArray[np.intp]
    """For each pair the positions of its two repairs, shape (pairs, 2)."""


def joined(first: Floats, second: Floats, healthy: Floats, normal: int) -> Floats:
    """Answer probabilities under two causes at once: rows of shape (pairs, answers); `healthy` has shape (answers,).

    The normal answer survives only if neither cause spoils it; the abnormal answers share the rest in the proportion
    in which either cause raises them above a healthy chain's.
    """
    stays = healthy[normal] * np.minimum(1.0, first[:, normal] / healthy[normal])
    stays = stays * np.minimum(1.0, second[:, normal] / healthy[normal])
    out = np.maximum(first - healthy, 0.0) + np.maximum(second - healthy, 0.0) + 0.1 * healthy
    out[:, normal] = 0.0
    out = out / out.sum(axis=1, keepdims=True) * (1.0 - stays)[:, None]
    out[:, normal] = stays
    return np.asarray(out)


@cache
def _tables(knowledge: Knowledge) -> _Likelihoods:
    count = len(knowledge.causes)
    pairs = np.array(list(itertools.combinations(range(count), 2)), dtype=np.intp)
    columns: dict[str, tuple[int, int]] = {}
    blocks = []
    start = 0
    for observation in knowledge.observations:
        table, healthy = knowledge.likelihood[observation.id], knowledge.healthy[observation.id]
        normal = next(i for i, answer in enumerate(observation.answers) if answer.normal)
        block = np.vstack([table, joined(table[pairs[:, 0]], table[pairs[:, 1]], healthy, normal)])
        block = (1 - WRONG_SHARE) * block + WRONG_SHARE / len(observation.answers)
        blocks.append(block)
        columns[observation.id] = (start, start + len(observation.answers))
        start += len(observation.answers)
    likelihood = np.hstack(blocks)
    starts = np.array([first for first, _ in columns.values()], dtype=np.intp)
    entropy = -np.add.reduceat(likelihood * np.log2(likelihood), starts, axis=1)
    return _Likelihoods(columns, tuple(columns), starts, likelihood, entropy, pairs, knowledge.repair_of[pairs])


def _log_belief(knowledge: Knowledge, session: FaultSession) -> Floats:
    tables = _tables(knowledge)
    prior = knowledge.prior(session.contexts_that_count)
    done = {knowledge.cause(cause).repair for cause in session.rejected}
    prior = prior * [REJECTED if cause.repair in done else 1.0 for cause in knowledge.causes]
    prior = prior / prior.sum()
    pair_prior = prior[tables.pairs[:, 0]] * prior[tables.pairs[:, 1]]
    log = np.log(np.concatenate([(1 - PAIR_SHARE) * prior, PAIR_SHARE * pair_prior / pair_prior.sum()]))
    for given in session.answers:
        if given.shares:
            log = log + np.log(evidence(knowledge, given))
    return np.asarray(log)


def evidence(knowledge: Knowledge, given: GivenAnswer) -> Floats:
    """P(what was answered | hypothesis), shape (hypotheses,)."""
    tables = _tables(knowledge)
    observation = knowledge.observation(given.observation)
    start, _ = tables.columns[given.observation]
    total = np.zeros(len(tables.likelihood))
    for answer, share in given.shares:
        total = total + share * tables.likelihood[:, start + observation.index(answer)]
    slip = WRONG_SHARE / len(observation.answers)
    if given.by_tool:  # the program does not slip
        return (total - slip) / (1 - WRONG_SHARE)
    if given.confirmed:  # nor does one slip twice the same way
        return (total - slip) / (1 - WRONG_SHARE) * (1 - WRONG_SHARE**2) + slip * WRONG_SHARE
    return total


def pair_causes(knowledge: Knowledge, hypothesis: int) -> tuple[int, int]:
    """The two causes of a pair, as positions, by its position among the hypotheses."""
    first, second = _tables(knowledge).pairs[hypothesis - len(knowledge.causes)]
    return int(first), int(second)


def belief(knowledge: Knowledge, session: FaultSession) -> Floats:
    """Probability of each hypothesis: the causes in order, then the pairs of `itertools.combinations`. Sums to 1."""
    return _weights(_log_belief(knowledge, session))


def _weights(log: Floats) -> Floats:
    weights = np.exp(log - log.max())
    return np.asarray(weights / weights.sum())


def marginals(knowledge: Knowledge, weights: Floats) -> Floats:
    """Probability that each repair is needed, for one of its causes alone or with another: shape (repairs,)."""
    count = len(knowledge.causes)
    tables = _tables(knowledge)
    out = np.bincount(knowledge.repair_of, weights[:count], len(knowledge.repairs))
    one, two = tables.repairs.T
    out += np.bincount(one, weights[count:], len(out))
    out += np.bincount(two, weights[count:] * (one != two), len(out))
    return np.asarray(out)


def of_causes(knowledge: Knowledge, weights: Floats) -> Floats:
    """Probability that each cause is there, alone or with another: shape (causes,)."""
    count = len(knowledge.causes)
    out = weights[:count].copy()
    for side in _tables(knowledge).pairs.T:
        out += np.bincount(side, weights[count:], count)
    return np.asarray(out)


def expected_bits(knowledge: Knowledge, weights: Floats) -> dict[str, float]:
    """What every observation is expected to tell about the repair under a belief, bits, by observation: causes with
    the same repair need no telling apart."""
    tables = _tables(knowledge)
    count = len(knowledge.causes)
    answers = weights @ tables.likelihood
    given = weights[count:] @ tables.entropy[count:]
    members = np.zeros((len(knowledge.repairs), count))
    members[knowledge.repair_of, np.arange(count)] = weights[:count]
    total = members.sum(axis=1)
    of_repair = members @ tables.likelihood[:count] / total[:, None]
    given = given + total @ -np.add.reduceat(of_repair * np.log2(of_repair), tables.starts, axis=1)
    bits = -np.add.reduceat(answers * np.log2(answers), tables.starts) - given
    return {name: max(0.0, float(value)) for name, value in zip(tables.order, bits, strict=True)}


def may_power(session: FaultSession, *, needs_power: bool) -> bool:
    """The one gate before everything that is put to the person: what needs power waits until no hazard is open."""
    return not (needs_power and session.unsafe)


def _allowed(observation: FaultObservation, session: FaultSession) -> bool:
    if session.has(observation.id) or observation.who is Who.TOOL or observation.id == ONLY_TO_CLEAR:
        return False
    if not may_power(session, needs_power=observation.power is ChainPower.ON):
        return False
    if observation.id in SECOND_LOOKS and session.answer_to(PICTURE_QUESTION) not in (None, "none"):
        return False
    if observation.needs_k and (session.k is None or session.k < 0):
        return False
    if any(session.answer_to(asked) == answer for asked, answer in observation.senseless_after):
        return False
    return not observation.skip_when & set(session.contexts)


def stop_steps(session: FaultSession) -> tuple[str, ...]:
    """The safety steps while a hazard is open; none otherwise."""
    first = next((step for hazard, step in FIRST_SHOW_SAFE.items() if hazard in session.hazards), None)
    return () if first is None else (*STOP_STEPS, first, NOT_BEFORE)


def allowed(knowledge: Knowledge, session: FaultSession) -> tuple[FaultObservation, ...]:
    """All that `next_step` may put now, whatever is believed: the question that clears a hazard, or those of the search."""
    if session.clearing:
        return (knowledge.observation(session.clearing),)
    return (*_not_asked(knowledge, session), *(one.asked for one in _repeatable(knowledge, session)))


def _not_asked(knowledge: Knowledge, session: FaultSession) -> tuple[FaultObservation, ...]:
    """What may be put now and was not yet."""
    no_link = session.answer_to("link-answers") == "no"
    return tuple(
        observation
        for observation in knowledge.observations
        if _allowed(observation, session) and not (no_link and observation.pattern is not None)
    )


@dataclass(frozen=True, eq=False)
class _Without:
    """One of the person's answers, the belief without it, and how probably it is a slip by all the others (0 to 1)."""

    given: GivenAnswer
    asked: FaultObservation
    rest: Floats
    slip: float


def _without_each(knowledge: Knowledge, session: FaultSession) -> Iterator[_Without]:
    log = _log_belief(knowledge, session)
    for given in session.answers:
        if given.shares and not given.by_tool:
            asked, likely = knowledge.observation(given.observation), evidence(knowledge, given)
            rest = _weights(log - np.log(likely))
            yield _Without(given, asked, rest, WRONG_SHARE / len(asked.answers) / float(rest @ likely))


def _repeatable(knowledge: Knowledge, session: FaultSession) -> Iterator[_Without]:
    """Those of the answers whose question may be put a second time. None while a hazard is open."""
    if session.unsafe or len(session.repeated) >= MOST_REPEATS:
        return
    no_link = session.answer_to("link-answers") == "no"
    for one in _without_each(knowledge, session):
        if one.given.safety or len(one.given.shares) != 1 or one.asked.id in session.repeated:
            continue
        if one.asked.id != STOP_OBSERVATION and not (no_link and one.asked.pattern is not None):
            yield one


def enough(session: FaultSession) -> float:
    """Probability (0 to 1) from which a repair ends the questions and is called very likely."""
    unsure = any(not given.shares and not given.by_tool for given in session.answers)
    return SURER if unsure or session.repeated else SURE


def doubtful(knowledge: Knowledge, session: FaultSession, *, least: float = DOUBTFUL) -> FaultObservation | None:
    """The question to ask a second time: of the answers without which another cause would be in front, the one most
    probably a slip by all the others. None if there is none above `least` (0 to 1), or a hazard is open."""
    first = int(np.argmax(marginals(knowledge, belief(knowledge, session))))
    doubts = (
        one
        for one in _repeatable(knowledge, session)
        if one.slip > least and int(np.argmax(marginals(knowledge, one.rest))) != first
    )
    found = max(doubts, key=lambda one: one.slip, default=None)
    return None if found is None else found.asked


def next_step(knowledge: Knowledge, session: FaultSession) -> NextQuestion:
    """The next question: the picture question first, then the observation with most expected information a second.
    While a hazard is open the first is the one that would clear it, before any conclusion.

    A dead link is a finding by itself: nothing that needs the board to run a pattern is asked then.
    """
    stop = stop_steps(session)
    weights = belief(knowledge, session)
    if session.clearing:
        clearing = knowledge.observation(session.clearing)
        return NextQuestion(clearing, stop, expected_bits(knowledge, weights)[clearing.id])
    over, best = _end_or_next(knowledge, session, weights)
    again = doubtful(knowledge, session, least=DOUBTFUL if best is None else SURELY_DOUBTFUL)
    if best is not None and again is None:
        return NextQuestion(best, stop, expected_bits(knowledge, weights)[best.id], again=session.has(best.id))
    if again is not None:
        return NextQuestion(again, stop, expected_bits(knowledge, weights)[again.id], again=True)
    return NextQuestion(None, stop, over=over)


def _end_or_next(knowledge: Knowledge, session: FaultSession, weights: Floats) -> tuple[str, FaultObservation | None]:
    """Why nothing new is asked any more, or what is."""
    front = float(marginals(knowledge, weights).max())
    if session.questions_asked >= session.most_questions + (FEW_MORE if front >= HOPEFUL else 0):
        return ENOUGH, None
    may = _not_asked(knowledge, session)
    if front >= enough(session):
        check = _check(knowledge, session, weights, may)
        return ("", check) if check is not None else ("one cause explains the answers", None)
    picture = knowledge.observation(PICTURE_QUESTION)
    if picture in may:
        return "", picture
    best = _best(expected_bits(knowledge, weights), may)
    return (NO_MORE, None) if best is None else ("", knowledge.observation(best.key))


def _check(
    knowledge: Knowledge, session: FaultSession, weights: Floats, may: Sequence[FaultObservation]
) -> FaultObservation | None:
    """One more question before a cause is called very likely: put where that rests on a single answer. It is a new one, or
    an old one once more where that tells more. None where it rests on more, or nothing that can be asked would show an error."""
    if held_by_one_answer(knowledge, session, weights) >= RESTS_ON_MORE:
        return None
    again = _bits_of_repeating(knowledge, session, weights)
    bits = expected_bits(knowledge, weights) | again
    best = _best(bits, (*may, *map(knowledge.observation, again)), least_bits=LEAST_CHECK_BITS)
    return None if best is None else knowledge.observation(best.key)


def _bits_of_repeating(knowledge: Knowledge, session: FaultSession, weights: Floats) -> dict[str, float]:
    """What a second answer to the same question is expected to tell about the repair, bits, by observation: it shows whether
    the first was a slip."""
    now, found = _entropy(marginals(knowledge, weights)), {}
    for one in _repeatable(knowledge, session):
        held = one.rest * evidence(knowledge, replace(one.given, confirmed=True))
        holds, falls = marginals(knowledge, held / held.sum()), marginals(knowledge, one.rest)
        slip = min(1.0, one.slip)
        found[one.asked.id] = now - (1 - slip) * _entropy(holds) - slip * _entropy(falls)
    return found


def _entropy(shares: Floats) -> float:
    """Of the repairs' probabilities, bits."""
    some = shares[shares > 0]
    return float(-(some * np.log2(some)).sum())


def held_by_one_answer(knowledge: Knowledge, session: FaultSession, weights: Floats) -> float:
    """What would be left of the leading repair's probability without the person's answer that speaks for it most."""
    first = int(np.argmax(marginals(knowledge, weights)))
    return min(
        (
            float(marginals(knowledge, one.rest)[first])
            for one in _without_each(knowledge, session)
            if not one.given.confirmed
        ),
        default=1.0,
    )


def _best(
    bits: Mapping[str, float], may: Sequence[FaultObservation], *, least_bits: float = LEAST_BITS
) -> Question[str] | None:
    """The question of these with most expected information a second; None if none would tell more."""
    return best_question(
        (
            Question(
                key=observation.id,
                expected_bits=bits[observation.id],
                seconds=READING_SECONDS + ANSWER_SECONDS + observation.seconds,
            )
            for observation in may
        ),
        least_bits=least_bits,
    )


def next_measurements(knowledge: Knowledge, session: FaultSession, *, most: int = 3) -> tuple[FaultObservation, ...]:
    """What would tell most, best first, of all that may be put now: for whoever goes on after the questions."""
    bits = expected_bits(knowledge, belief(knowledge, session))
    # the row of heat is always there
    may = [a for a in allowed(knowledge, session) if a.id != STOP_OBSERVATION and not session.has(a.id)]
    found: list[FaultObservation] = []
    while len(found) < most and (best := _best(bits, may)) is not None:
        found.append(knowledge.observation(best.key))
        may.remove(found[-1])
    return tuple(found)


def names_place(observation: str, answer: str) -> bool:
    """Whether whoever gives that answer can name the last good pixel."""
    return answer in {PICTURE_QUESTION: K_PICTURES, "walk": K_WALKS}.get(observation, ())


def begin(context: Context) -> FaultSession:
    """A fresh session with the contexts that follow from the facts."""
    return FaultSession(contexts=context.names, near=context.near)


def not_cured(knowledge: Knowledge, session: FaultSession, cause: str) -> FaultSession:
    """The session after a cause's remedy was done and did not help. Raises KeyError for an unknown cause."""
    return replace(session, rejected=session.rejected | {knowledge.cause(cause).id})


def answered(
    knowledge: Knowledge,
    session: FaultSession,
    *,
    observation: str,
    answer: str,
    by_tool: bool = False,
    k: int | None = None,
) -> FaultSession:
    """The session with an answer (or `UNSURE`); `k` where the answer names the last good pixel (-1: none is good).

    An earlier answer to the same question is replaced. Raises KeyError for an unknown question or answer.
    """
    known = knowledge.observation(observation)
    if answer == UNSURE:
        shares: tuple[tuple[str, float], ...] = ()
    else:
        known.index(answer)
        shares = ((answer, 1.0),)
    new = _with(knowledge, session, GivenAnswer(observation, shares, by_tool))
    if observation == PICTURE_QUESTION and k is None:
        return replace(new, k=-1 if answer == "nothing" else None)
    return new if k is None else replace(new, k=k)


def answered_by_reading(
    knowledge: Knowledge, session: FaultSession, *, observation: str, typed: str
) -> tuple[FaultSession, MeterVerdict]:
    """The session with a typed meter reading, and what it was taken to mean.

    Raises KeyError for a question that is no measurement, ReadingError for text that is no reading.
    """
    known = knowledge.observation(observation)
    if not known.meter:
        raise KeyError(f"{observation} is not a measurement")
    ranges: Ranges = knowledge.ranges[known.meter]
    verdict = judge(parse_readings(typed, ranges), ranges)
    return _with(knowledge, session, GivenAnswer(observation, verdict.shares, reading=typed.strip())), verdict


def _with(knowledge: Knowledge, session: FaultSession, given: GivenAnswer) -> FaultSession:
    """The session with an answer. Hazards open by any share of a dangerous answer, or by a reading between all ranges of
    a question that clears one; they close by a plain safe answer only."""
    asked = knowledge.observation(given.observation)
    answers = [asked.answer(answer) for answer, _ in given.shares]
    opens = {hazard for answer in answers for hazard in answer.opens}
    cleared_here = {hazard for hazard, question in CLEARED_BY.items() if question == asked.id}
    if given.reading and not answers:
        opens |= cleared_here
    clears = answers[0].clears if len(answers) == 1 else frozenset()
    hazards = (session.hazards | opens) - clears
    again = {hazard for hazard in session.checked if hazard in session.hazards}
    checked = (again | cleared_here) & hazards
    if (
        Hazard.SUPPLY_HIGH in opens and asked.id != STOP_OBSERVATION
    ):  # read: a second reading before the repair shows no more
        checked |= {Hazard.SUPPLY_HIGH}
    safety = session.clearing == asked.id or bool(session.hazards & cleared_here)
    kept = tuple(old for old in session.answers if old.observation != given.observation)
    given = replace(given, safety=safety)
    repeated = session.repeated
    if session.has(asked.id):
        following = next_step(knowledge, session)
        if following.again and following.question is asked:
            repeated |= {asked.id}
            given = _twice(next(old for old in session.answers if old.observation == asked.id), given)
    return replace(session, answers=(*kept, given), hazards=hazards, checked=frozenset(checked), repeated=repeated)


def _twice(first: GivenAnswer, second: GivenAnswer) -> GivenAnswer:
    """What two answers to the same question come to: the same is surer, two count half each, not sure leaves the first."""
    if not second.shares:
        return first
    if second.shares == first.shares:
        return replace(second, confirmed=True)
    both = (*first.shares, *second.shares)
    names = dict.fromkeys(answer for answer, _ in both)
    return replace(second, shares=tuple((name, sum(share for n, share in both if n == name) / 2) for name in names))


def most_probable(knowledge: Knowledge, session: FaultSession, *, most: int = 3) -> Sequence[str]:
    """Of the most probable repairs, best first, the id of the cause that is likeliest to need it."""
    weights = belief(knowledge, session)
    alone = of_causes(knowledge, weights)
    best = np.argsort(-marginals(knowledge, weights), kind="stable")[:most]
    return [knowledge.causes[leading(knowledge, alone, int(repair))].id for repair in best]


def leading(knowledge: Knowledge, alone: Floats, repair: int) -> int:
    """Position of the most probable cause with that repair; `alone` from `of_causes`."""
    return int(np.argmax(np.where(knowledge.repair_of == repair, alone, -1.0)))
