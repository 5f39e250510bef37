"""The fault finder's reasoning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.faults.context import Context, Facts, derive
from probe.faults.engine import (
    ENOUGH,
    NO_MORE,
    SURE,
    SURER,
    UNSURE,
    WRONG_SHARE,
    FaultSession,
    GivenAnswer,
    allowed,
    answered,
    answered_by_reading,
    begin,
    belief,
    enough,
    evidence,
    expected_bits,
    joined,
    marginals,
    most_probable,
    names_place,
    next_measurements,
    next_step,
    not_cured,
    of_causes,
)
from probe.faults.explain import confidence_word, diagnose, filled, hand_over, why
from probe.faults.knowledge import ChainPower, Who
from probe.faults.tables import load
from probe.inference.entropy import expected_information_bits
from tests.faults.story import FOLDER, read, searched
from tests.support.examples import examples

K = load()


def all_answered(session: FaultSession, **answers: str) -> FaultSession:
    """Answers by observation; underscores stand for hyphens."""
    for observation, answer in answers.items():
        session = answered(K, session, observation=observation.replace("_", "-"), answer=answer)
    return session


def test_the_picture_comes_first() -> None:
    step = next_step(K, FaultSession())
    assert step.question is not None
    assert step.question.id == "look"
    assert len(step.question.answers) > 15


def test_the_next_question_has_the_most_bits_per_second() -> None:
    session = answered(K, FaultSession(), observation="look", answer="nothing")
    step = next_step(K, session)
    assert step.question is not None
    bits = expected_bits(K, belief(K, session))
    rate = bits[step.question.id] / (step.question.seconds + 30)
    for other in ("volts-first", "spare-same-output", "when", "pads-first"):
        assert bits[other] / (K.observation(other).seconds + 32) <= rate * 1.1


def test_expected_bits_are_the_mutual_information_with_the_repair() -> None:
    weights = belief(K, all_answered(FaultSession(), look="to-k-dark"))
    single = len(K.causes)
    alone = np.zeros_like(weights)
    alone[:single] = weights[:single] / weights[:single].sum()
    found = expected_bits(K, alone)
    for name in ("arrow-next", "volts-first", "when"):
        table = (1 - WRONG_SHARE) * K.likelihood[name] + WRONG_SHARE / K.likelihood[name].shape[1]
        needed = np.array([alone[:single][K.repair_of == repair].sum() for repair in range(len(K.repairs))])
        of_repair = np.array(
            [alone[:single][K.repair_of == repair] @ table[K.repair_of == repair] for repair in range(len(K.repairs))]
        )
        assert found[name] == pytest.approx(expected_information_bits(needed, of_repair / needed[:, None]), abs=1e-9)


def test_causes_with_the_same_repair_are_one_suspect_and_need_no_telling_apart() -> None:
    same = [at for at, cause in enumerate(K.causes) if cause.repair == "data-joint"]
    assert {K.causes[at].id for at in same} >= {"joint-open", "joint-loose"}
    session = all_answered(FaultSession(contexts=("worked-weeks",)), look="to-k-dark", when="touched")
    weights = belief(K, session)
    needed, alone = marginals(K, weights), of_causes(K, weights)
    assert needed[K.repairs.index("data-joint")] == pytest.approx(alone[same].sum(), abs=0.01)
    assert needed[K.repairs.index("data-joint")] > max(alone)
    first = diagnose(K, session).suspects[0]
    assert first.cause.repair == "data-joint"
    assert first.probability == pytest.approx(needed[K.repairs.index("data-joint")])
    assert {first.cause.id, *(cause.id for cause in first.or_else)} == {"joint-open", "joint-loose"}
    assert len({suspect.cause.repair for suspect in diagnose(K, session).suspects}) == 3
    gone = not_cured(K, session, "joint-loose")
    assert marginals(K, belief(K, gone))[K.repairs.index("data-joint")] < 0.1


def test_a_joint_that_is_open_is_found() -> None:
    session = answered(K, FaultSession(), observation="look", answer="to-k-dark", k=14)
    session = all_answered(session, arrow_next="yes")
    for observation, typed in (("dout-k", "1.4 / 0"), ("din-next", "0.01 / 0.01"), ("joint-ohms", "OL")):
        session, verdict = answered_by_reading(K, session, observation=observation, typed=typed)
        assert verdict.answer is not None
    found = diagnose(K, session)
    assert found.suspects[0].cause.id == "joint-open"
    assert found.suspects[0].word in ("likely", "very likely")
    assert found.explained
    assert filled(found.suspects[0].cause.name, session.k) == ("The data joint between 14 (15th) and 15 (16th) is open")
    lines = why(K, session, found.suspects[0])
    assert any("14 (15th) to DIN of 15 (16th)" in line and line.startswith("+") for line in lines)


def test_answers_against_a_suspect_are_shown_as_such() -> None:
    session = all_answered(FaultSession(), look="swap-all", when="warm", settings_flip="order")
    found = diagnose(K, session)
    assert found.suspects[0].cause.id == "order-wrong"
    assert ("when", "warm") in found.suspects[0].speaks_against
    assert any(line.startswith("- When") for line in why(K, session, found.suspects[0]))


@pytest.mark.parametrize("before", [{}, {"look": "restarts"}, {"look": "nothing", "when": "always"}])
def test_heat_smell_or_ticking_stops_everything_that_needs_power(before: dict[str, str]) -> None:
    session = all_answered(all_answered(FaultSession(), **before), heat="yes")
    step = next_step(K, session)
    assert session.unsafe
    assert step.stop
    assert "unplug" in step.stop[0]
    assert step.question is not None
    assert step.question.id == "supply-ohms"
    while step.question is not None:
        assert step.question.power is not ChainPower.ON
        assert step.stop
        safe = any(answer.clears for answer in step.question.answers)
        normal = UNSURE if safe else next(a.id for a in step.question.answers if a.normal)
        session = answered(K, session, observation=step.question.id, answer=normal)
        step = next_step(K, session)
    assert session.unsafe


def test_not_sure_changes_no_belief_and_is_not_asked_again() -> None:
    session = all_answered(FaultSession(), look="nothing")
    step = next_step(K, session)
    assert step.question is not None
    unsure = answered(K, session, observation=step.question.id, answer=UNSURE)
    np.testing.assert_array_equal(belief(K, session), belief(K, unsure))
    again = next_step(K, unsure)
    assert again.question is not None
    assert again.question.id != step.question.id


def test_a_doubtful_reading_counts_for_both_sides() -> None:
    session = all_answered(FaultSession(), look="fades")
    sure, _ = answered_by_reading(K, session, observation="volts-last", typed="3.9")
    doubtful, verdict = answered_by_reading(K, session, observation="volts-last", typed="4.5")
    good, _ = answered_by_reading(K, session, observation="volts-last", typed="4.9")
    sag = [cause.id for cause in K.causes].index("sag-far-end")
    chances = [marginals(K, belief(K, s))[sag] for s in (good, doubtful, sure)]
    assert verdict.answer is None
    assert chances == sorted(chances)


def test_questions_about_a_place_wait_until_there_is_one() -> None:
    for picture in ("nothing", "random"):
        session = all_answered(FaultSession(), look=picture)
        while (question := next_step(K, session).question) is not None:
            assert not question.needs_k
            session = answered(K, session, observation=question.id, answer=UNSURE)


def may_be_put(**answers: str) -> set[str]:
    session = all_answered(FaultSession(k=14), **answers)
    return {observation.id for observation in allowed(K, replace(session, k=14))}


@pytest.mark.parametrize(
    ("answers", "senseless"),
    [
        ({"look": "comes-goes"}, {"settings-flip", "jumper-k", "probe-next", "load-steps", "raise-count", "far-feed"}),
        ({"when": "touched"}, {"settings-flip", "jumper-next"}),
        (
            {"look": "nothing"},
            {"hold-flex", "march-flex", "below", "next-right", "idle-glow", "input-view", "load-steps"},
        ),
        ({"look": "game-only"}, {"settings-flip", "raise-count", "when", "jumper-first"}),
        ({"look": "swap-all"}, {"input-view", "old-bulb-lights", "far-feed", "jumper-first", "cover"}),
    ],
)
def test_what_makes_no_sense_after_an_answer_is_not_asked(answers: dict[str, str], senseless: set[str]) -> None:
    assert senseless <= may_be_put()
    assert not senseless & may_be_put(**answers)


def test_nothing_about_a_place_or_a_port_is_asked_where_it_makes_no_sense() -> None:
    dead = answered(K, FaultSession(), observation="link-answers", answer="no", by_tool=True)
    assert not any(o.needs_k or o.pattern is not None for o in allowed(K, dead))
    alive = answered(K, FaultSession(), observation="link-answers", answer="yes", by_tool=True)
    assert "new-port" in {o.id for o in allowed(K, dead)}
    assert "new-port" not in {o.id for o in allowed(K, alive)}
    for k in (None, -1):
        assert not any(o.needs_k for o in allowed(K, FaultSession(k=k)))


def test_what_the_board_fixes_is_no_setting_to_try() -> None:
    """The data speed is built into the board: another one cannot be tried."""
    assert "speed" not in {answer.id for answer in K.observation("settings-flip").answers}


def test_context_that_already_answers_a_question_spares_it() -> None:
    session = FaultSession(contexts=("just-spliced",))
    asked = set()
    while (question := next_step(K, session).question) is not None:
        asked.add(question.id)
        session = answered(K, session, observation=question.id, answer=UNSURE)
    assert "after-work" not in asked


def test_a_fresh_splice_weighs_only_near_its_place() -> None:
    start = begin(Context(("just-spliced",), ("",), near=14))
    chances = [
        marginals(K, belief(K, answered(K, start, observation="look", answer="to-k-dark", k=k)))[
            K.repairs.index("next-backwards")
        ]
        for k in (14, 40)
    ]
    assert chances[0] > 1.3 * chances[1]
    apart = [replace(start, k=k).contexts_that_count for k in (10, 11, 17, 18, -1, None)]
    assert apart == [(), ("just-spliced",), ("just-spliced",), (), ("just-spliced",), ("just-spliced",)]


def test_where_nothing_lights_not_even_the_first_is_good() -> None:
    assert answered(K, FaultSession(), observation="look", answer="nothing").k == -1
    assert answered(K, FaultSession(), observation="look", answer="random").k is None


def test_each_wish_for_more_and_each_remedy_in_vain_adds_as_many_questions() -> None:
    more = [
        FaultSession(rounds=rounds, rejected=frozenset(vain)).most_questions
        for rounds, vain in ((0, ()), (1, ()), (0, ("no-5v",)), (2, ("no-5v",)))
    ]
    assert more == [9, 15, 15, 27]


def test_what_to_measure_next_names_nothing_twice() -> None:
    for answer in ("random", "to-k-dark", "fades", "restarts"):
        session = answered(K, FaultSession(), observation="look", answer=answer, k=14)
        listed = [asked.id for asked in next_measurements(K, session)]
        assert len(listed) == len(set(listed)) == 3, answer
        assert not {"heat", "look"} & set(listed)


def test_a_dead_link_is_found_without_running_patterns() -> None:
    session = answered(K, FaultSession(), observation="link-answers", answer="no", by_tool=True)
    assert most_probable(K, session)[0] == "no-link"
    while (question := next_step(K, session).question) is not None:
        assert question.pattern is None
        session = answered(K, session, observation=question.id, answer=UNSURE)
    assert session.questions_asked <= 12


def test_a_remedy_that_did_not_help_goes_down_the_list_and_more_is_asked() -> None:
    session = all_answered(FaultSession(), look="one-dark", below="lit")
    assert most_probable(K, session)[0] == "turned-away"
    session = not_cured(K, session, "turned-away")
    assert most_probable(K, session)[0] != "turned-away"
    assert next_step(K, session).question is not None
    with pytest.raises(KeyError):
        not_cured(K, session, "gremlins")


def test_answers_can_be_changed() -> None:
    first = answered(K, FaultSession(), observation="look", answer="to-k-dark", k=9)
    second = answered(K, first, observation="look", answer="swap-all")
    assert second.k is None
    assert second.questions_asked == 1
    assert first.answer_to("look") == "to-k-dark"


def test_unknown_questions_and_answers_are_named() -> None:
    with pytest.raises(KeyError, match="no observation 'mood'"):
        answered(K, FaultSession(), observation="mood", answer="yes")
    with pytest.raises(KeyError, match="no answer 'purple'"):
        answered(K, FaultSession(), observation="look", answer="purple")
    with pytest.raises(KeyError, match="not a measurement"):
        answered_by_reading(K, FaultSession(), observation="look", typed="3 V")


def test_one_wrong_answer_does_not_hide_the_cause() -> None:
    session = answered(K, FaultSession(), observation="look", answer="to-k-dark", k=9)
    session = all_answered(
        session, arrow_next="yes", dout_k="moves", din_next="moves", joint_ohms="open", jumper_next="yes"
    )
    assert most_probable(K, session)[0] == "next-dead"


def test_two_causes_at_once_are_both_named() -> None:
    session = all_answered(FaultSession(), look="game-only", settings_flip="order", colours="swap-all")
    session = all_answered(session, input_view="none", old_bulb_lights="yes", walk="right", when="game-on")
    found = diagnose(K, session)
    assert {suspect.cause.id for suspect in found.suspects[:2]} == {"order-wrong", "input-unwired"}
    assert found.two_causes is not None
    assert {cause.id for cause in found.two_causes} == {"order-wrong", "input-unwired"}


def test_joined_answers_are_a_noisy_or() -> None:
    healthy = np.array([0.9, 0.05, 0.05])
    one, two = np.array([[0.1, 0.85, 0.05]]), np.array([[0.9, 0.05, 0.05]])
    both = joined(one, two, healthy, 0)
    np.testing.assert_allclose(both.sum(axis=1), 1.0)
    assert both[0, 0] == pytest.approx(0.1)
    spoiled = joined(one, np.array([[0.1, 0.05, 0.85]]), healthy, 0)
    assert spoiled[0, 0] == pytest.approx(0.9 / 81)
    assert spoiled[0, 1] == pytest.approx(spoiled[0, 2])


@pytest.mark.slow
@settings(max_examples=examples(30), deadline=None)
@given(st.data())
def test_any_answers_end_the_search_with_a_sound_belief(data: st.DataObject) -> None:
    contexts = tuple(sorted(data.draw(st.sets(st.sampled_from(sorted(K.contexts))))))
    session = FaultSession(contexts=contexts)
    for _ in range(20):
        question = next_step(K, session).question
        if question is None:
            break
        assert question.who is not Who.TOOL
        answer = data.draw(st.sampled_from([UNSURE, *(a.id for a in question.answers)]))
        k = data.draw(st.one_of(st.none(), st.integers(-1, 40)))
        session = answered(K, session, observation=question.id, answer=answer, k=k)
        weights = belief(K, session)
        assert weights.sum() == pytest.approx(1.0)
        assert np.isfinite(weights).all()
    else:
        pytest.fail("the search did not end within 20 questions")
    assert len(diagnose(K, session).suspects) == 3


def test_confidence_in_plain_words_never_claims_certainty() -> None:
    words = [confidence_word(p) for p in (1.0, 0.7, 0.3, 0.1, 0.01)]
    assert words == ["very likely", "likely", "possible", "less likely", "unlikely"]


def test_places_are_named_or_described() -> None:
    assert filled("{k} and {k1}", 20) == "20 (21st) and 21 (22nd)"
    assert filled("{k} and {k1}", -1) == "the board and 0 (1st)"
    assert filled("{k} and {k1}", None) == "the last good pixel and the next pixel"


@pytest.mark.parametrize(
    ("facts", "names"),
    [
        (Facts(), ()),
        (Facts(pixels_verified=0), ("first-power",)),
        (Facts(pixels_verified=30, days_since_splice=0.5), ("just-spliced",)),
        (Facts(pixels_verified=30, days_since_splice=0.5, days_working=90), ("just-spliced",)),
        (Facts(pixels_verified=30, days_since_splice=60, days_working=60), ("worked-weeks",)),
        (Facts(pixels_verified=30, days_working=3), ()),
        (Facts(batches=("A", "B", "A", "")), ("mixed-batch",)),
        (Facts(batches=("A", " A", "")), ()),
        (Facts(seen_right_on_bench=True, wrong_in_play=True), ("play-only",)),
        (Facts(wrong_in_play=True), ()),
    ],
)
def test_contexts_follow_from_plain_facts(facts: Facts, names: tuple[str, ...]) -> None:
    context = derive(facts)
    assert context.names == names
    assert len(context.reasons) == len(names)


def test_the_place_of_a_splice_is_kept_only_while_it_is_fresh() -> None:
    assert derive(Facts(pixels_verified=3, days_since_splice=1, splice_near=7)).near == 7
    assert derive(Facts(pixels_verified=3, days_since_splice=30, splice_near=7)).near is None


def test_the_program_does_not_slip_and_people_do() -> None:
    """A slip is an answer at random: a share of a person's, none of the program's."""
    table = K.likelihood["restarted"][:, K.observation("restarted").index("yes")]
    shares = (("yes", 1.0),)
    count = len(K.causes)
    assert evidence(K, GivenAnswer("restarted", shares, by_tool=True))[:count] == pytest.approx(table)
    assert evidence(K, GivenAnswer("restarted", shares))[:count] == pytest.approx(
        (1 - WRONG_SHARE) * table + WRONG_SHARE / 2
    )


def test_a_chain_never_seen_right_is_at_its_first_power_up_however_fresh_its_splices_are() -> None:
    assert derive(Facts(pixels_verified=0, days_since_splice=1)).names == ("first-power",)
    assert derive(Facts(pixels_verified=0, days_since_splice=1, days_working=30)).names == ("first-power",)


def test_of_an_answer_given_in_two_ways_the_one_that_goes_with_a_cause_stands_beside_it() -> None:
    both = GivenAnswer("look", (("nothing", 0.5), ("to-k-dark", 0.5)))
    found = diagnose(K, FaultSession(answers=(both,), k=14), most=6).suspects
    meant = {suspect.cause.id: {*suspect.speaks_for, *suspect.speaks_against} for suspect in found}
    assert meant["joint-open"] == {("look", "to-k-dark")}
    assert meant["no-5v"] == {("look", "nothing")}


@pytest.mark.parametrize("answer", ["to-k-dark", "fades", "nothing"])
def test_two_causes_are_named_only_when_they_are_likelier_than_one(answer: str) -> None:
    session = answered(K, FaultSession(), observation="look", answer=answer)
    assert belief(K, session)[len(K.causes) :].sum() < 0.5
    assert diagnose(K, session).two_causes is None


def test_an_answer_that_does_not_go_with_the_others_is_asked_about_once_more() -> None:
    """A slip in the answer that puts a cause in front: the same answer twice is surer, another one counts half."""
    session = FaultSession()
    for asked, answer in (
        ("look", "random"), ("lead-long", "yes"), ("ground-ohms", UNSURE), ("ground-drop", "joined"), ("when", "always"),
        ("resistor-ohms", "good"), ("direct-3v3", "no"), ("settings-flip", "order"), ("short-lead", "no"),
        ("papers", UNSURE), ("supply-kind", UNSURE), ("chip-kind", UNSURE), ("staple", UNSURE),
    ):  # fmt: skip
        session = answered(K, session, observation=asked, answer=answer)
    step = next_step(K, session)
    assert step.again
    repeated = step.question
    assert repeated in allowed(K, session)
    assert repeated is not None
    first = session.answer_to(repeated.id)
    assert first is not None
    asked_so_far = session.questions_asked
    same = answered(K, session, observation=repeated.id, answer=first)
    assert same.questions_asked == asked_so_far + 1
    assert same.repeated == {repeated.id}
    assert next(g for g in same.answers if g.observation == repeated.id).confirmed
    other = next(a.id for a in repeated.answers if a.id != first)
    unlike = answered(K, session, observation=repeated.id, answer=other)
    shares = next(g for g in unlike.answers if g.observation == repeated.id).shares
    assert dict(shares) == {first: 0.5, other: 0.5}
    unsure = answered(K, session, observation=repeated.id, answer=UNSURE)
    assert unsure.answer_to(repeated.id) == first
    for after in (same, unlike, unsure):
        following = next_step(K, after)
        assert not (following.again and following.question is repeated), "never a third time"


def test_what_all_rests_on_is_looked_at_twice_before_a_cause_is_very_likely() -> None:
    session = answered(K, FaultSession(("mixed-batch",)), observation="look", answer="colour-missing")
    step = next_step(K, session)
    assert step.again
    assert step.question is K.observation("look")
    assert step.question in allowed(K, session)
    confirmed = answered(K, session, observation="look", answer="colour-missing")
    assert next_step(K, confirmed).question is None
    assert diagnose(K, confirmed).suspects[0].word == "very likely"
    doubted = answered(K, session, observation="look", answer="random")
    assert next_step(K, doubted).question not in (None, K.observation("look"))


def test_a_search_that_leads_nowhere_ends_sooner_than_one_with_a_cause_in_front() -> None:
    vain = FaultSession(answers=tuple(GivenAnswer(o.id, ()) for o in K.observations if o.who is not Who.TOOL)[:10])
    assert next_step(K, vain).over == ENOUGH
    front = all_answered(
        FaultSession(("just-spliced",)), look="nothing", volts_last="good", all_outputs="dark", arrow_first="yes",
        resistor_ohms="good", probe_first="right", papers="usual", head_to_rail="touches", heat="no",
    )  # fmt: skip
    assert front.questions_asked == front.most_questions
    assert next_step(K, front).question is not None
    assert next_step(K, all_answered(front, lens_first=UNSURE)).over == ENOUGH


def test_what_contradicts_the_rest_is_asked_again_before_anything_rests_on_it() -> None:
    session = answered(K, FaultSession(("just-spliced",)), observation="look", answer="to-k-dark", k=24)
    session = all_answered(session, joint_ohms="closed")
    assert not next_step(K, session).again
    session = all_answered(session, arrow_next="run")
    again = next_step(K, session)
    assert again.again
    assert again.question is K.observation("arrow-next"), "closed from DOUT to DIN, and DOUT is said to be on this side"
    assert session.questions_asked < session.most_questions
    settled = all_answered(session, arrow_next="run")
    assert settled.repeated == {"arrow-next"}
    assert next_step(K, settled).question is not K.observation("arrow-next")


def test_whoever_was_not_sure_of_the_picture_names_the_place_at_the_walk() -> None:
    assert names_place("look", "to-k-dark")
    assert names_place("walk", "stops")
    assert not names_place("walk", "right")
    assert not names_place("din-next", "still")
    session = answered(K, FaultSession(), observation="look", answer=UNSURE)
    session = answered(K, session, observation="walk", answer="stops", k=7)
    assert session.k == 7
    assert any(observation.needs_k for observation in allowed(K, session))


def test_whoever_was_not_sure_or_had_to_answer_twice_is_told_very_likely_later() -> None:
    """The bar is higher then, for the end of the questions and for the word; what the program saw for itself does not raise it."""
    plain = answered(K, FaultSession(), observation="look", answer="to-k-dark", k=3)
    by_tool = answered(K, plain, observation="restarted", answer=UNSURE, by_tool=True)
    unsure = answered(K, plain, observation="arrow-next", answer=UNSURE)
    twice = replace(plain, repeated=frozenset({"look"}))
    assert [enough(one) for one in (plain, by_tool, unsure, twice)] == [SURE, SURE, SURER, SURER]
    between = (SURE + SURER) / 2
    assert confidence_word(between, sure=SURE) == "very likely"
    assert confidence_word(between, sure=SURER) == "likely"


@pytest.mark.slow
def test_a_search_between_the_bars_ends_only_where_every_answer_was_given_and_once() -> None:
    found = 0
    for story in read(FOLDER / "known.toml"):
        session, _ = searched(story)
        front = float(marginals(story.knowledge, belief(story.knowledge, session)).max())
        if enough(session) == SURE <= front < SURER and next_step(story.knowledge, session).over not in (
            ENOUGH,
            NO_MORE,
        ):
            found += 1
            assert diagnose(story.knowledge, session).suspects[0].word == "very likely"
            assert not hand_over(story.knowledge, session)
            doubted = answered(story.knowledge, session, observation="heat", answer=UNSURE)
            assert diagnose(story.knowledge, doubted).suspects[0].word != "very likely"
            assert hand_over(story.knowledge, doubted)
    assert found >= 3
