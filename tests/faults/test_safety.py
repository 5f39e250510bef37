"""Power is never asked for after a reading that proves danger, on any way through the questions, until a reading clears it.

What is dangerous and what clears it is written by hand in `dangers`: the tables are not asked.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from probe.faults.commands import Heat, SayYesNo, Unsure
from probe.faults.engine import (
    STOP_STEPS,
    SURE,
    UNSURE,
    FaultSession,
    allowed,
    answered,
    answered_by_reading,
    belief,
    marginals,
    next_step,
)
from probe.faults.explain import hand_over
from probe.faults.knowledge import ChainPower, FaultObservation, Hazard, Who
from probe.faults.search import start
from probe.faults.state import FaultSearch, SearchMode
from probe.faults.tables import load
from probe.faults.view import details, light_words
from probe.task import events as ev
from probe.task.light import Dark
from tests.faults.dangers import DANGER, HIGH, JOINT, OHMS, PLUG, SAFE
from tests.faults.searching import NOW, Play, a_map, begun
from tests.support.examples import examples, first_now

K = load()
ASKED = tuple(o for o in K.observations if o.who is not Who.TOOL)

READINGS = {
    "volts-first": [
        ("-4.9", {OHMS, PLUG, JOINT}),
        ("-0.3", {OHMS, PLUG, JOINT}),
        ("0", {OHMS, JOINT}),
        ("0.2", {OHMS, JOINT}),
        ("1.4", {OHMS, JOINT}),
        ("5.9", {HIGH}),
        ("5.3", {HIGH}),
        ("2.02", {OHMS, JOINT}),
    ],
    "volts-supply": [("-4.9", {OHMS, PLUG, JOINT}), ("0.2", {OHMS, JOINT}), ("5.9", {HIGH})],
    "volts-last": [("-5", {OHMS, JOINT}), ("0.1", {OHMS, JOINT}), ("5.4", {HIGH}), ("12", {HIGH})],
    "supply-ohms": [("0", {OHMS}), ("0.4", {OHMS}), ("2.5", {OHMS}), ("12", {OHMS})],
}
"""Volts and ohms typed: 5.3 V is the WS2812B sheet's upper limit; ohms that are neither a short nor free prove nothing. A
tail put in backwards clamps the rail by its chips' substrate diodes, 0.7 V and more under current (electronics, no source),
and may well read free in ohms: so the joints' pads are looked at as well as the ohms taken."""


def every_answer(asked: FaultObservation) -> Iterator[str]:
    yield UNSURE
    yield from (answer.id for answer in asked.answers)


def after(session: FaultSession, open_: frozenset[str], asked: str, answer: str) -> tuple[FaultSession, frozenset[str]]:
    """The session and the dangers open by the list above."""
    safe = SAFE.get((asked, answer))
    open_ = (open_ | DANGER.get((asked, answer), set())) - ({safe} if safe else set())
    k = 14 if asked == "look" and answer.startswith("to-k") else None
    return answered(K, session, observation=asked, answer=answer, k=k), frozenset(open_)


def powered(session: FaultSession) -> str:
    """The id of the question that comes next if it needs power."""
    question = next_step(K, session).question
    return question.id if question is not None and question.power is ChainPower.ON else ""


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now(range(1, len(Hazard) + 1), now=2))
def test_no_question_passes_whatever_is_open_and_whatever_was_answered(size: int) -> None:
    """Every set of so many hazards, put and not put again, with each question's own hazards' answers: the gate is one for all."""
    for hazards in itertools.combinations(Hazard, size):
        for checked in (frozenset(), frozenset(hazards)):
            for contexts in ((), ("first-power",)):
                for k in (None, 14):
                    session = FaultSession(contexts, k=k, hazards=frozenset(hazards), checked=checked)
                    seen = set()
                    while (question := next_step(K, session).question) is not None:
                        assert question.power is not ChainPower.ON, (hazards, question.id)
                        assert question.id not in seen
                        seen.add(question.id)
                        session = answered(K, session, observation=question.id, answer=UNSURE)
                    assert session.unsafe


PICTURES = (None, "nothing", "to-k-dark", "comes-goes", "none")


@pytest.mark.slow
def test_on_every_way_through_all_questions_and_answers_nothing_dangerous_is_followed_by_power() -> None:
    """Exhaustive: from every state that matters to the gate, every question that may be put, and each of its answers,
    until no new state comes up. What is believed only chooses among these, so that every path is one of them."""
    begin = [FaultSession()]
    begin += [answered(K, begin[0], observation="link-answers", answer=a, by_tool=True) for a in ("yes", "no")]
    seen, steps = set(), 0
    waiting = [(session, frozenset[str]()) for session in begin]
    while waiting:
        session, open_ = waiting.pop()
        picture, link = session.answer_to("look"), session.answer_to("link-answers")
        state = (session.hazards, session.checked, session.k, picture, link, session.has("look"))
        if state in seen:
            continue
        seen.add(state)
        assert session.unsafe == bool(open_)
        for question in allowed(K, session):
            assert not (open_ and question.power is ChainPower.ON), question.id
            for answer in every_answer(question):
                if question.id == "look" and answer not in PICTURES:
                    continue
                steps += 1
                found, left = after(session, open_, question.id, answer)
                # what has been asked narrows what may be put: it is forgotten, so that nothing is left out
                kept = tuple(given for given in found.answers if given.observation in ("look", "link-answers"))
                waiting.append((replace(found, answers=kept), left))
    assert len(seen) > 200
    assert steps > 5_000


@pytest.mark.slow
def test_what_is_put_is_one_of_what_may_be_put() -> None:
    for look in ("nothing", "to-k-odd", "fades", "game-only"):
        session = answered(K, FaultSession(), observation="look", answer=look, k=14 if look == "to-k-odd" else None)
        while (question := next_step(K, session).question) is not None:
            assert question in allowed(K, session)
            session = answered(K, session, observation=question.id, answer=UNSURE)


def follow(session: FaultSession, open_: frozenset[str], depth: int = 2) -> int:
    """Walk all answers to what is put next while something is open. Returns the nodes seen."""
    assert session.unsafe == bool(open_)
    if not open_ or depth == 0:
        return 1
    step = next_step(K, session)
    assert step.stop[:2] == STOP_STEPS
    assert len(step.stop) == 4
    assert ("ohms" in step.stop[2]) == (OHMS in open_)
    if step.question is None:
        return 1
    assert step.question.power is not ChainPower.ON, step.question.id
    return 1 + sum(
        follow(*after(session, open_, step.question.id, answer), depth - 1) for answer in every_answer(step.question)
    )


@pytest.mark.parametrize(
    ("asked", "typed", "open_"), first_now([(q, *row) for q, rows in READINGS.items() for row in rows], several=True)
)
@pytest.mark.parametrize("picture", ["nothing", "to-k-dark", "fades", "random", "comes-goes"])
def test_every_dangerous_reading_bars_power_until_it_is_cleared(
    asked: str, typed: str, open_: set[str], picture: str
) -> None:
    session, left = after(FaultSession(), frozenset(), "look", picture)
    session, _ = answered_by_reading(K, session, observation=asked, typed=typed)
    assert not powered(session)
    follow(session, left | open_)


@pytest.mark.parametrize("near_zero", ["0", "0.05", "0.3", "0.8"])
def test_near_zero_volts_are_measured_in_ohms_before_any_conclusion(near_zero: str) -> None:
    """0.2 V at the first pixel stands on a dead short as well as on a switch that is off: common practice, no source."""
    session = answered(K, FaultSession(), observation="look", answer="nothing")
    session, _ = answered_by_reading(K, session, observation="volts-first", typed=near_zero)
    step = next_step(K, session)
    assert step.question is not None
    assert (step.question.id, step.question.power) == ("supply-ohms", ChainPower.OFF)
    short, _ = answered_by_reading(K, session, observation="supply-ohms", typed="0.4")
    assert short.unsafe
    free, _ = answered_by_reading(K, session, observation="supply-ohms", typed="850")
    assert free.hazards == {Hazard.JOINT_SWAPPED}  # through its diodes a tail that is reversed reads free as well
    assert not answered(K, free, observation="pads-joints", answer="right").unsafe


def test_a_second_danger_waits_for_its_own_safe_reading() -> None:
    session, _ = after(FaultSession(), frozenset(), "pads-first", "five-gnd")
    session, _ = answered_by_reading(K, session, observation="supply-ohms", typed="900")
    assert session.hazards == {Hazard.PLUG_SWAPPED}
    assert not powered(session)
    session, _ = after(session, frozenset(), "pads-first", "right")
    assert not session.unsafe


def test_not_sure_and_a_doubtful_reading_clear_nothing() -> None:
    session, _ = after(FaultSession(), frozenset(), "supply-ohms", "short")
    for typed in ("2.5", "11"):
        doubtful, _ = answered_by_reading(K, session, observation="supply-ohms", typed=typed)
        assert doubtful.unsafe
    assert answered(K, session, observation="supply-ohms", answer=UNSURE).unsafe
    high, _ = after(FaultSession(), frozenset(), "volts-first", "high")
    for typed in ("5.28", "5.3", "5.32"):  # on the limit of 5.3 V: as much too high as good
        doubtful, _ = answered_by_reading(K, high, observation="supply-open", typed=typed)
        assert doubtful.hazards == {Hazard.SUPPLY_HIGH}


@pytest.mark.parametrize("typed", ["75", "-80"])
def test_a_reading_beyond_every_range_of_what_clears_a_danger_bars_power(typed: str) -> None:
    session, verdict = answered_by_reading(K, FaultSession(), observation="supply-open", typed=typed)
    assert verdict.shares == ()
    assert session.hazards == {Hazard.SUPPLY_HIGH}
    asked = next_step(K, session).question
    assert asked is None or asked.power is not ChainPower.ON


def test_a_supply_read_too_high_is_not_read_again_before_it_is_trimmed() -> None:
    high, _ = after(FaultSession(), frozenset(), "volts-first", "high")
    asked = next_step(K, high).question
    assert asked is None or asked.id != "supply-open"
    warm, _ = after(FaultSession(), frozenset(), "heat", "yes")  # heat only raises the suspicion
    for reading, safe in (("supply-ohms", "free"), ("pads-first", "right"), ("pads-joints", "right")):
        warm = answered(K, warm, observation=reading, answer=safe)
    asked = next_step(K, warm).question
    assert asked is not None
    assert asked.id == "supply-open"


def test_what_clears_a_danger_is_no_question_of_the_search() -> None:
    session, _ = after(FaultSession(), frozenset(), "heat", "yes")
    before = session.questions_asked
    session, _ = answered_by_reading(K, session, observation="supply-ohms", typed="900")
    assert session.questions_asked == before


# The task


@pytest.mark.parametrize("mode", SearchMode)
def test_heat_is_the_first_row_of_every_list_and_never_what_enter_takes_unasked(mode: SearchMode) -> None:
    search = replace(begun().search, mode=mode)
    assert search.items[0].text.startswith("Heat, a smell")
    assert search.item.key != "heat-now" or len(search.items) == 1


def test_the_row_for_heat_stops_as_its_key_does() -> None:
    by_row, by_key = begun().choose("heat-now").search, begun().give(Heat()).search
    assert (by_row.session, by_row.question) == (by_key.session, by_key.question)
    assert is_safe_to_show(by_row)


def is_safe_to_show(search: FaultSearch) -> bool:
    """Dark, nothing powered put or offered, the steps shown."""
    keys = {item.key for item in search.items}
    return (
        search.light == Dark()
        and not search.needs_power
        and not keys & {"halve", "colours", "flex", "return", "soak", "split", "cured", "not-cured"}
        and STOP_STEPS[0] in details(search)
        and "dark" in light_words(search)[1]
    )


def put_and_answer(play: Play, asked: str, answer: str) -> None:
    play.search = replace(play.search, mode=SearchMode.QUESTION, question=K.observation(asked))
    if play.search.reads_meter:
        play.type_in(
            {"reversed": "-4", "none": "0.1", "high": "5.9", "short": "0.4", "low": "12", "open": "OL"}[answer]
        )
    else:
        play.choose(answer)


@pytest.mark.parametrize(("asked", "answer"), first_now(sorted(DANGER), now=6, several=True))
@pytest.mark.parametrize("picture", ["nothing", "comes-goes"])
def test_after_every_danger_all_is_dark_and_the_steps_stand_there(asked: str, answer: str, picture: str) -> None:
    play = begun().choose(picture)
    put_and_answer(play, asked, answer)
    assert play.search.session.unsafe
    for _ in range(40):
        if play.mode() is SearchMode.FINDING:
            break
        assert is_safe_to_show(play.search), play.search.asked
        play.give(Unsure(NOW))
    assert play.mode() is SearchMode.FINDING
    assert is_safe_to_show(play.search)


def test_after_a_repair_a_safe_reading_comes_before_power() -> None:
    play = begun().choose("random")
    put_and_answer(play, "volts-first", "high")
    while play.mode() is SearchMode.QUESTION:
        play.give(Unsure(NOW))
    play.choose("repair:supply-high")
    assert [item.key for item in play.search.items] == ["heat-now", "safe", "back"]
    play.choose("safe")
    assert play.asked() == "supply-open"
    assert is_safe_to_show(play.search)
    play.type_in("5.6")
    assert play.mode() is SearchMode.REPAIR
    assert is_safe_to_show(play.search)
    play.choose("safe").type_in("5.0")
    assert play.mode() is SearchMode.REPAIR
    assert not play.search.session.unsafe
    assert {"cured", "not-cured"} <= {item.key for item in play.search.items}


def test_heat_in_the_middle_of_a_repair_leaves_the_repair() -> None:
    play = begun().choose("random")
    put_and_answer(play, "volts-first", "high")
    while play.mode() is SearchMode.QUESTION:
        play.give(Unsure(NOW))
    play.choose("repair:supply-high").give(Heat())
    assert play.search.repairing == ""
    while play.mode() is SearchMode.QUESTION:
        assert is_safe_to_show(play.search)
        play.give(Unsure(NOW))
    assert play.mode() is SearchMode.FINDING


def test_a_sure_cause_that_is_dangerous_hands_over_what_would_make_it_safe() -> None:
    session, _ = after(FaultSession(), frozenset(), "look", "random")
    session, _ = after(session, frozenset(), "volts-first", "high")
    session, _ = after(session, frozenset(), "volts-last", "high")
    assert float(marginals(K, belief(K, session)).max()) >= SURE
    assert hand_over(K, session)[0] == "Not safe to power before:"


@pytest.mark.parametrize("job", ["flex", "return", "soak"])
def test_heat_within_a_job_leaves_it_for_the_dark(job: str) -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug().choose(job).give(Heat())
    assert play.mode() is SearchMode.QUESTION
    assert is_safe_to_show(play.search)


def test_beginning_again_does_not_forget_a_danger() -> None:
    play = begun()
    play.give(Heat())
    play.search = replace(play.search, mode=SearchMode.CONTEXT, chosen=0)
    play.give(ev.Take(NOW))
    assert play.search.session.unsafe
    assert is_safe_to_show(play.search)


# Taken back


def dangerous(asked: str, answer: str) -> Play:
    """A search on a chain where nothing lights, with that answer given when it was put."""
    play = begun().choose("nothing")
    put_and_answer(play, asked, answer)
    return play


@pytest.mark.parametrize(("asked", "answer"), first_now(sorted(set(DANGER) - {("heat", "yes")}), now=5, several=True))
def test_a_dangerous_answer_taken_back_still_wants_its_safe_reading(asked: str, answer: str) -> None:
    """Whoever mistyped takes the reading that shows it, with all off: nothing powered comes back before."""
    play = dangerous(asked, answer)
    hazards = play.search.session.hazards
    play.give(ev.Undo())
    assert play.search.session.answer_to(asked) is None
    assert play.search.session.hazards == hazards
    assert is_safe_to_show(play.search)
    put = []
    for _ in range(6):
        if not play.search.session.unsafe:
            break
        put.append(play.asked())
        play.choose("right") if not play.search.reads_meter else play.type_in(
            "5" if play.asked() == "supply-open" else "900"
        )
    assert set(put) <= {"supply-ohms", "pads-first", "pads-joints", "supply-open"}
    assert not play.search.session.unsafe


@pytest.mark.parametrize("answer", ["no", UNSURE, "yes"])
def test_heat_taken_back_is_asked_about_once_more(answer: str) -> None:
    """A slip of the key: only a plain no lets power come back, and only what the heat had opened."""
    play = dangerous("volts-first", "high").give(Heat()).give(ev.Undo())
    assert play.asked() == "heat"
    assert is_safe_to_show(play.search)
    play.choose(answer)
    assert play.search.session.hazards == ({Hazard.SUPPLY_HIGH} if answer == "no" else frozenset(Hazard))
    assert is_safe_to_show(play.search)


def test_a_safe_reading_that_is_taken_back_is_taken_again() -> None:
    play = dangerous("volts-first", "none").type_in("900").choose("right")
    assert not play.search.session.unsafe
    play.give(ev.Undo())
    assert play.asked() == "pads-joints"
    assert is_safe_to_show(play.search)


_READINGS = ["-4.9", "0.2", "1.5", "4.2", "5.0", "5.9", "0.4", "12", "900", "OL", "7", "1.4 / 0", "G", "R", "word"]


class AnyEvents(RuleBasedStateMachine):
    """Any row of events, any question put that may be put. What is dangerous is counted here by hand, by what was answered."""

    def __init__(self) -> None:
        super().__init__()
        self.play = begun()

    @rule(by=st.integers(-40, 40))
    def choose(self, by: int) -> None:
        self.play.give(ev.Choose(by))

    @rule(by=st.integers(-40, 40))
    def choose_and_take(self, by: int) -> None:
        self.play.give(ev.Choose(by)).give(ev.Take(NOW))

    @rule(text=st.sampled_from(_READINGS))
    def type_and_take(self, text: str) -> None:
        self.play.give(ev.Typed(text)).give(ev.Take(NOW))

    @rule(event=st.sampled_from([Unsure(NOW), Heat(), SayYesNo(yes=True), SayYesNo(yes=False), ev.Leave(), ev.Tick()]))
    def other(self, event: object) -> None:
        self.play.give(event)

    @rule(times=st.integers(1, 3))
    def undo(self, times: int) -> None:
        for _ in range(times):
            self.play.give(ev.Undo())

    @rule(what=st.sampled_from([Play.plug, Play.unplug, Play.confirm]))
    def board(self, what: Callable[[Play], Play]) -> None:
        what(self.play)

    @rule(data=st.data())
    def put(self, data: st.DataObject) -> None:
        search = self.play.search
        if search.mode is SearchMode.QUESTION and (may := allowed(K, search.session)):
            question = data.draw(st.sampled_from(may))
            self.play.search = replace(search, question=question, chosen=0, typed="")

    @rule(danger=st.sampled_from(sorted(DANGER)))
    def danger(self, danger: tuple[str, str]) -> None:
        if self.play.mode() is SearchMode.QUESTION and K.observation(danger[0]) in allowed(K, self.play.search.session):
            put_and_answer(self.play, *danger)
            assert self.play.search.session.unsafe

    @invariant()
    def dark_while_unsafe(self) -> None:
        search = self.play.search
        if not search.session.unsafe:
            return
        assert search.light == Dark()
        assert not search.needs_power
        assert not {item.key for item in search.items} & {
            "halve",
            "colours",
            "flex",
            "return",
            "soak",
            "split",
            "cured",
        }
        assert search.mode is SearchMode.CONTEXT or STOP_STEPS[0] in details(search)

    @invariant()
    def no_danger_is_forgotten(self) -> None:
        """An answer that stands opens what it opens, unless the safe answer to that stands as well."""
        session = self.play.search.session
        stand = {(given.observation, answer) for given in session.answers for answer, _ in given.shares}
        plain = {(given.observation, given.shares[0][0]) for given in session.answers if len(given.shares) == 1}
        cleared = {SAFE[safe] for safe in plain & SAFE.keys()}
        for danger in stand & DANGER.keys():
            names = {_NAMES[hazard] for hazard in session.hazards}
            assert DANGER[danger] - cleared <= names, danger


_NAMES = {Hazard.SHORT: OHMS, Hazard.PLUG_SWAPPED: PLUG, Hazard.JOINT_SWAPPED: JOINT, Hazard.SUPPLY_HIGH: HIGH}
TestAnyEvents = AnyEvents.TestCase
TestAnyEvents.settings = settings(max_examples=examples(60), stateful_step_count=30, deadline=None)


def test_after_a_short_is_read_nothing_is_asked_that_one_would_switch_on_to_answer() -> None:
    """The charger's trial needs the trouble to be there; the supply's lamp is told from memory."""
    session, _ = after(FaultSession(), frozenset(), "supply-ohms", "short")
    asked = {observation.id for observation in allowed(K, session)}
    assert "charger" not in asked
    assert K.observation("charger").power is ChainPower.ON
    if "supply-lamp" in asked:
        assert "last on" in K.observation("supply-lamp").question
