"""Whole rechecks with a simulated chain and person, and the engine's promises."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.recheck.engine import (
    NEW,
    UNLIT,
    AllAsShown,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    FoundKind,
    Look,
    NothingLit,
    NotSure,
    Options,
    Probe,
    Recheck,
    Setup,
)
from probe.recheck.engine.model import Action, Answer
from tests.recheck.engine.sim import Chain, Person, rewired
from tests.support.examples import examples


def play(
    chain: Chain, setup: Setup, *, seed: int, wrong: float = 0.0, miss: float = 0.0, most: int = 80
) -> tuple[Recheck, int]:
    """A recheck to its end; returns the last state and the actions beyond naming."""
    person = Person(chain, np.random.default_rng(seed), wrong=wrong, miss=miss)
    state = Recheck.start(setup, Options(seed=seed))
    actions, named = 0, set()
    truth = chain.truth()
    while (action := state.next_step().action) is not None:
        assert actions < most, "the recheck does not come to an end"
        state = state.answered(action, person.answer(action))
        actions += 1
        if isinstance(action, Probe) and action.number < len(truth) and truth[action.number] == NEW:
            named.add(action.number)
    return state, actions - len(named)


def found_map(state: Recheck) -> list[int]:
    return [NEW if one.old is None else one.old for one in state.result().numbers]


def test_nothing_changed_takes_two_looks_and_verifies_every_number() -> None:
    state, actions = play(Chain(60), Setup.unchanged(60), seed=1)
    assert actions == 2
    result = state.result()
    assert found_map(state) == list(range(60))
    assert result.removed == ()
    assert all(one.verified and one.kind is FoundKind.OLD for one in result.numbers)
    assert result.confidence >= Options().confidence
    assert state.doubts() == ()


def test_one_uniform_look_proves_nothing() -> None:
    state = Recheck.start(Setup.unchanged(30))
    look = Look(colours=(0,) * 30, places=tuple(range(30)), expected=(0,) * 30)
    before = state.best_map
    after = state.answered(look, AllAsShown())
    assert after.confidence < 0.95
    assert np.array_equal(after.best_map, before)


@pytest.mark.parametrize(
    ("kinds", "most"),
    [
        (["insert"], 8),
        (["remove"], 8),
        (["swap"], 12),
        (["reverse"], 14),
        (["move"], 16),
        (["insert", "remove", "insert"], 18),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_undeclared_changes_are_found(kinds: list[str], most: int, seed: int) -> None:
    chain = rewired(60, kinds, np.random.default_rng(seed))
    state, actions = play(chain, Setup.unchanged(60), seed=seed)
    assert found_map(state) == chain.truth(), chain.edits
    assert actions <= most
    gone = set(range(60)) - set(chain.truth())
    assert set(state.result().removed) == gone


@pytest.mark.parametrize("seed", range(4))
def test_declared_changes_need_only_the_proof(seed: int) -> None:
    chain = rewired(60, ["insert", "remove", "reverse"], np.random.default_rng(seed))
    state, actions = play(chain, Setup.declared(60, chain.truth()), seed=seed)
    assert found_map(state) == chain.truth()
    assert actions <= 3
    declared = [one for one in state.result().numbers if one.declared]
    assert len(declared) == chain.truth().count(NEW)


def test_a_wrong_declaration_is_found_out() -> None:
    truth = Chain(40)
    truth.wiring[20:20] = [40, 41, 42]
    stated = [*range(20), NEW, NEW, *range(20, 40)]  # two were stated, three are there
    state, _ = play(truth, Setup.declared(40, stated), seed=5)
    assert found_map(state) == truth.truth()


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("tail", [1, 2])
def test_pixels_added_behind_the_last_are_found(known: bool, tail: int) -> None:
    chain = Chain(30)
    chain.wiring += list(range(30, 30 + tail))
    setup = Setup.unchanged(30, new_count=30 + tail if known else None)
    state, actions = play(chain, setup, seed=2)
    assert found_map(state) == chain.truth()
    assert actions <= 8


def test_the_last_pixel_removed() -> None:
    chain = Chain(30)
    del chain.wiring[-1]
    state, actions = play(chain, Setup.unchanged(30), seed=2)
    assert found_map(state) == list(range(29))
    assert state.result().removed == (29,)
    assert actions <= 7


def test_old_pixels_without_a_place_stay_in_the_chain() -> None:
    setup = Setup.unchanged(30, dark=(4, 11))
    person = Person(Chain(30), np.random.default_rng(0), wrong=0.0, miss=0.0)
    state = Recheck.start(setup)
    while (action := state.next_step().action) is not None:
        if isinstance(action, Look):
            assert not {4, 11} & set(action.places)
        state = state.answered(action, person.answer(action))
    assert found_map(state) == list(range(30))


def test_a_wrong_answer_is_noticed_and_asked_again() -> None:
    chain = Chain(50)
    person = Person(chain, np.random.default_rng(0), wrong=0.0, miss=0.0)
    state = Recheck.start(Setup.unchanged(50))
    first = state.next_step().action
    assert isinstance(first, Look)
    lie = Differs(17, (first.expected[17] + 1) % 4)
    state = state.answered(first, lie)
    asked: list[object] = []
    while (action := state.next_step().action) is not None:
        asked.append(action)
        state = state.answered(action, person.answer(action))
    assert found_map(state) == list(range(50))
    assert any(d.index == 0 and d.chance > 0.9 for d in state.doubts())
    assert any(isinstance(a, Probe) and 15 <= a.number <= 20 for a in asked)


def test_a_wrong_probe_is_outvoted_only_by_asking_again() -> None:
    state = Recheck.start(Setup.unchanged(50))
    for number, place in ((10, 10), (20, 20), (30, 7), (40, 40)):
        state = state.answered(Probe(number=number), AtPlace(place))
    step = state.next_step()
    assert state.contradicts(state.observations[2])
    assert step.action == Probe(number=30)
    state = state.answered(Probe(number=30), AtPlace(30))
    assert not state.contradicts(state.observations[-1])


def test_a_surprising_answer_is_asked_again_though_it_fits_a_map() -> None:
    """One that happens to fit some rearrangement would decide the map alone."""
    state = Recheck.start(Setup.unchanged(50)).answered(Probe(number=20), AtPlace(32))
    assert not state.contradicts(state.observations[0]), "the best map has taken it over"
    assert state.surprises == (0,)
    assert state.next_step().action == Probe(number=20)
    again = state.answered(Probe(number=20), AtPlace(32))
    assert again.next_step().action != Probe(number=20), "said twice it stands"
    likely = Recheck.start(Setup.unchanged(50)).answered(Probe(number=20), AtPlace(20))
    assert likely.surprises == ()


@pytest.mark.parametrize("kind", ["insert", "remove", "swap"])
def test_what_nobody_stated_is_proved_by_every_look_that_is_asked_for(kind: str) -> None:
    chain = rewired(60, [kind], np.random.default_rng(1))
    state, _ = play(chain, Setup.unchanged(60), seed=1)
    assert state.clean_looks() >= state.options.clean_looks_after_finds > state.options.clean_looks
    assert isinstance(state.observations[-1].action, Look)
    assert state.observations[-1].answer == AllAsShown()


def test_going_back_is_keeping_the_earlier_state() -> None:
    start = Recheck.start(Setup.unchanged(40))
    step = start.next_step()
    assert isinstance(step.action, Look)
    look = step.action
    one = start.answered(look, AllAsShown())
    other = start.answered(look, Differs(3, UNLIT))
    again = start.answered(look, AllAsShown())
    assert one.confidence == pytest.approx(again.confidence)
    assert other.confidence != pytest.approx(one.confidence)
    assert start.observations == ()


def test_not_sure_changes_no_belief_and_does_not_loop() -> None:
    state = Recheck.start(Setup.unchanged(30))
    weights = state.log_weights
    for _ in range(3):
        action = state.next_step().action
        assert action is not None
        state = state.answered(action, NotSure())
    assert state.log_weights == pytest.approx(weights)
    state, actions = play(Chain(30), Setup.unchanged(30), seed=4)
    assert actions == 2


def test_answers_of_the_wrong_kind_are_refused() -> None:
    state = Recheck.start(Setup.unchanged(20))
    look = state.look()
    with pytest.raises(TypeError, match="does not answer a Look"):
        state.answered(look, AtPlace(3))
    with pytest.raises(TypeError, match="does not answer a Probe"):
        state.answered(Probe(number=1), AllAsShown())
    with pytest.raises(ValueError, match="not on the list"):
        state.answered(look, Differs(99, 0))
    with pytest.raises(ValueError, match="outside the numbers"):
        state.answered(Probe(number=10_000), AtNewPlace())
    with pytest.raises(ValueError, match="no place"):
        Recheck.start(Setup.unchanged(20, dark=(5,))).answered(Probe(number=1), AtPlace(5))


def test_setups_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="survey it"):
        Setup.unchanged(0)
    with pytest.raises(ValueError, match="twice"):
        Setup.declared(4, [0, 1, 1])
    with pytest.raises(ValueError, match="names old number 9"):
        Setup.declared(4, [0, 9])
    with pytest.raises(ValueError, match="at least 1"):
        Setup.unchanged(4, new_count=0)


@settings(max_examples=examples(12), deadline=None)
@given(
    st.integers(12, 40),
    st.lists(st.sampled_from(["insert", "remove", "swap", "reverse", "move"]), max_size=2),
    st.integers(0, 10_000),
)
def test_truthful_answers_lead_to_the_true_map(old_count: int, kinds: list[str], seed: int) -> None:
    chain = rewired(old_count, kinds, np.random.default_rng(seed))
    state, _ = play(chain, Setup.unchanged(old_count), seed=seed)
    result = state.result()
    present = [one.old for one in result.numbers if one.old is not None]
    assert len(set(present)) == len(present), "a pixel is in one place only"
    assert sorted(present + list(result.removed)) == list(range(old_count))
    assert found_map(state) == chain.truth(), chain.edits


def test_the_same_answers_give_the_same_questions() -> None:
    def script() -> list[str]:
        chain = rewired(50, ["insert", "reverse"], np.random.default_rng(3))
        person = Person(chain, np.random.default_rng(3))
        state = Recheck.start(Setup.unchanged(50), Options(seed=9))
        log: list[str] = []
        while (action := state.next_step().action) is not None:
            answer: Answer = person.answer(action)
            log.append(f"{action} {answer}")
            state = state.answered(action, answer)
        return log

    assert script() == script()


def test_a_look_stays_usable_when_more_numbers_are_considered_later() -> None:
    chain = Chain(60)
    chain.wiring[20:20] = list(range(60, 78))  # more new pixels in one run than the band holds at first
    state, _ = play(chain, Setup.unchanged(60), seed=3)
    assert found_map(state) == chain.truth()
    assert state.evidence.half > Recheck.start(Setup.unchanged(60)).evidence.half
    assert state.clean_looks() >= Options().clean_looks_after_finds


def test_an_undeclared_find_is_proved_harder_than_a_map_as_predicted() -> None:
    chain = rewired(60, ["remove"], np.random.default_rng(8))
    state, _ = play(chain, Setup.unchanged(60), seed=8)
    assert not state.as_predicted
    assert state.confidence >= Options().confidence_after_finds
    assert state.clean_looks() == Options().clean_looks_after_finds
    declared, _ = play(chain, Setup.declared(60, chain.truth()), seed=8)
    assert declared.as_predicted
    assert declared.clean_looks() == Options().clean_looks


def test_a_stated_change_is_proved_by_two_looks_even_where_one_would_make_it_sure() -> None:
    chain = rewired(12, ["insert"], np.random.default_rng(5))
    state, _ = play(chain, Setup.declared(12, chain.truth()), seed=5)
    assert state.as_predicted
    assert state.clean_looks() == Options().clean_looks


def test_pixels_that_never_shone_leave_no_doubt_about_going_dark() -> None:
    state, actions = play(Chain(40), Setup.unchanged(40, dark=tuple(range(5, 20))), seed=6)
    assert actions <= 4
    assert state.dark_chance[5:20].sum() == 0.0


@pytest.mark.parametrize("lie_at", [0, 1, 2, 3])
def test_one_lie_among_the_probes_does_not_spoil_the_map(lie_at: int) -> None:
    chain = rewired(50, ["reverse"], np.random.default_rng(12))
    person = Person(chain, np.random.default_rng(12), wrong=0.0, miss=0.0)
    state = Recheck.start(Setup.unchanged(50), Options(seed=12))
    probes = asked = 0
    while (action := state.next_step().action) is not None:
        answer = person.answer(action)
        if isinstance(action, Probe):
            if probes == lie_at:
                answer = AtPlace((action.number + 23) % 50)
            probes += 1
        state = state.answered(action, answer)
        asked += 1
        assert asked < 60
    assert found_map(state) == chain.truth(), chain.edits


@pytest.mark.parametrize("at", [0, 31, 59])
def test_a_pixel_replaced_by_one_at_another_place_is_not_taken_for_a_dark_one(at: int) -> None:
    wiring = [*range(at), 60, *range(at + 1, 60)]
    chain = Chain(60, wiring=wiring)
    state, actions = play(chain, Setup.unchanged(60), seed=at)
    assert found_map(state) == chain.truth()
    assert state.result().removed == (at,)
    assert actions < 12


class DarkAt(Person):
    """Sees nothing of one pixel, which has stopped shining."""

    at = 0

    def answer(self, action: Action) -> Answer:
        if isinstance(action, Probe):
            return NothingLit() if action.number == self.at else super().answer(action)
        colours = (*action.colours[: self.at], UNLIT, *action.colours[self.at + 1 :])
        return super().answer(replace(action, colours=colours))


@pytest.mark.parametrize("at", [0, 31])
def test_a_pixel_that_gives_no_light_any_more_is_lit_once_alone(at: int) -> None:
    person = DarkAt(Chain(60), np.random.default_rng(1), wrong=0.0, miss=0.0)
    person.at = at
    state = Recheck.start(Setup.unchanged(60), Options(seed=2))
    lit_alone = asked = 0
    while (action := state.next_step().action) is not None:
        lit_alone += isinstance(action, Probe) and action.number == at
        state = state.answered(action, person.answer(action))
        asked += 1
        assert asked < 30
    assert found_map(state) == list(range(60))
    assert [one.dark for one in state.result().numbers] == [number == at for number in range(60)]
    assert lit_alone == 1


def test_a_removed_pixel_is_no_dark_one_that_moved_behind_the_end() -> None:
    chain = Chain(60, wiring=[*range(20), *range(21, 30), *range(40, 47), *range(30, 40), *range(47, 60)])
    for seed in range(3):
        state, actions = play(chain, Setup.unchanged(60), seed=seed)
        assert found_map(state) == chain.truth()
        assert actions < 30


def test_a_light_that_is_always_seen_off_the_list_does_not_make_it_look_for_ever() -> None:
    person = Person(Chain(20), np.random.default_rng(1), wrong=0.0, miss=0.0)
    state = Recheck.start(Setup.unchanged(20), Options(seed=1))
    asked: list[type] = []
    for _ in range(40):
        action = state.next_step().action
        if action is None:
            break
        asked.append(type(action))
        state = state.answered(action, ExtraLight() if isinstance(action, Look) else person.answer(action))
    assert found_map(state)[:20] == list(range(20))
    runs = "".join("L" if kind is Look else "p" for kind in asked).split("p")
    assert max(len(run) for run in runs) <= 5
