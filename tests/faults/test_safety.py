"""Power is never asked for after a reading that proves danger, on any way through the questions, until a reading clears it.

What is dangerous and what clears it is written here a second time, by hand: the tables are not asked.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.faults.commands import Heat, SayYesNo, Unsure
from probe.faults.engine import (
    STOP_STEPS,
    UNSURE,
    FaultSession,
    answered,
    answered_by_reading,
    next_step,
)
from probe.faults.knowledge import ChainPower, FaultObservation, Hazard, Who
from probe.faults.search import start
from probe.faults.state import FaultSearch, SearchMode
from probe.faults.tables import load
from probe.faults.view import details, light_words
from probe.task import events as ev
from probe.task.light import Dark
from tests.faults.searching import NOW, Play, a_map, begun
from tests.support.examples import examples

K = load()
ASKED = tuple(o for o in K.observations if o.who is not Who.TOOL)

OHMS, PLUG, JOINT, HIGH = "ohms", "plug", "joint", "high"
DANGER = {
    ("heat", "yes"): {OHMS, PLUG},
    ("volts-first", "reversed"): {OHMS, PLUG},
    ("volts-first", "none"): {OHMS},
    ("volts-first", "high"): {HIGH},
    ("volts-last", "reversed"): {OHMS, JOINT},
    ("volts-last", "none"): {OHMS},
    ("volts-last", "high"): {HIGH},
    ("supply-ohms", "short"): {OHMS},
    ("pads-first", "data-gnd"): {PLUG},
    ("pads-first", "data-five"): {PLUG},
    ("pads-first", "five-gnd"): {PLUG, OHMS},
    ("pads-next", "data-gnd"): {JOINT},
    ("pads-next", "data-five"): {JOINT},
    ("pads-next", "five-gnd"): {JOINT, OHMS},
    ("supply-open", "reversed"): {PLUG},
    ("supply-open", "high"): {HIGH},
}
SAFE = {
    ("supply-ohms", "free"): OHMS,
    ("pads-first", "right"): PLUG,
    ("pads-next", "right"): JOINT,
    ("supply-open", "good"): HIGH,
}
READINGS = {
    "volts-first": [("-4.9", {OHMS, PLUG}), ("-0.3", {OHMS, PLUG}), ("0", {OHMS}), ("0.2", {OHMS}), ("5.9", {HIGH})],
    "volts-last": [("-5", {OHMS, JOINT}), ("0.1", {OHMS}), ("5.4", {HIGH}), ("12", {HIGH})],
    "supply-ohms": [("0", {OHMS}), ("0.4", {OHMS}), ("2.5", {OHMS}), ("12", {OHMS})],
}
"""Volts and ohms typed: 5.3 V is the WS2812B sheet's upper limit; ohms that are neither a short nor free prove nothing."""


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


def test_no_question_passes_whatever_is_open_and_whatever_was_answered() -> None:
    """Every set of hazards, put and not put again, with each question's own hazards' answers: the gate is one for all."""
    for size in range(1, len(Hazard) + 1):
        for hazards in itertools.combinations(Hazard, size):
            for checked in (frozenset(), frozenset(hazards)):
                for contexts in ((), ("just-spliced",), ("play-only",), ("first-power",)):
                    for k in (None, -1, 14):
                        session = FaultSession(contexts, k=k, hazards=frozenset(hazards), checked=checked)
                        seen = set()
                        while (question := next_step(K, session).question) is not None:
                            assert question.power is not ChainPower.ON, (hazards, question.id)
                            assert question.id not in seen
                            seen.add(question.id)
                            session = answered(K, session, observation=question.id, answer=UNSURE)
                        assert session.unsafe


@pytest.mark.parametrize("contexts", [(), ("just-spliced",), ("first-power",), ("worked-weeks",)])
def test_every_way_of_three_answers_and_every_danger_after_it(contexts: tuple[str, ...]) -> None:
    """Each question × each answer as the finder puts them, three deep; after all ways of one answer and twelve of the
    longer ones every dangerous answer, and after that each answer to what is put next while something is open."""
    ways = [(FaultSession(contexts), frozenset[str]())]
    nodes = 0
    for depth in range(3):
        wider = []
        for session, open_ in ways:
            step = next_step(K, session)
            if step.question is None:
                continue
            assert not (open_ and step.question.power is ChainPower.ON)
            for answer in every_answer(step.question):
                found = after(session, open_, step.question.id, answer)
                assert found[0].unsafe == bool(found[1]), (step.question.id, answer)
                wider.append(found)
        ways = wider
        for session, open_ in ways if depth < 1 else ways[:: max(1, len(ways) // 12)]:
            for asked, answer in DANGER:
                nodes += follow(*after(session, open_, asked, answer))
    assert nodes > 1_000


def follow(session: FaultSession, open_: frozenset[str], depth: int = 2) -> int:
    """Walk all answers to what is put next while something is open. Returns the nodes seen."""
    assert session.unsafe == bool(open_)
    if not open_ or depth == 0:
        return 1
    step = next_step(K, session)
    assert step.stop == STOP_STEPS
    if step.question is None:
        return 1
    assert step.question.power is not ChainPower.ON, step.question.id
    return 1 + sum(
        follow(*after(session, open_, step.question.id, answer), depth - 1) for answer in every_answer(step.question)
    )


@pytest.mark.parametrize(("asked", "typed", "open_"), [(q, *row) for q, rows in READINGS.items() for row in rows])
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
    assert not free.unsafe


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
        play.type_in({"reversed": "-4", "none": "0.1", "high": "5.9", "short": "0.4"}[answer])
    else:
        play.choose(answer)


@pytest.mark.parametrize(("asked", "answer"), sorted(DANGER))
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


_BOARD: dict[str, Callable[[Play], Play]] = {"plug": Play.plug, "unplug": Play.unplug, "confirm": Play.confirm}
_EVENTS = st.one_of(
    st.builds(ev.Choose, st.integers(-5, 30)),
    st.just(ev.Take(NOW)),
    st.just(Unsure(NOW)),
    st.just(Heat()),
    st.builds(SayYesNo, st.booleans()),
    st.builds(ev.Typed, st.sampled_from(["-4.9", "0.2", "5.0", "5.9", "0.4", "900", "OL", "7", "1.4 / 0", "G"])),
    st.sampled_from(["plug", "unplug", "confirm"]),
)


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(ASKED)), _EVENTS), max_size=30))
def test_any_row_of_events_with_any_question_put_between_keeps_the_dark(row: list[tuple[int, object]]) -> None:
    play = begun()
    for which, event in row:
        if which < len(ASKED) and which % 3 == 0 and play.mode() is SearchMode.QUESTION:
            question = ASKED[which]
            if not (play.search.session.unsafe and question.power is ChainPower.ON):
                play.search = replace(play.search, question=question)
        if isinstance(event, str):
            _BOARD[event](play)
        else:
            play.give(event)
        search = play.search
        if search.session.unsafe and search.mode is not SearchMode.DONE:
            assert search.light == Dark()
            assert not search.needs_power
            assert search.mode is SearchMode.CONTEXT or STOP_STEPS[0] in details(search)
