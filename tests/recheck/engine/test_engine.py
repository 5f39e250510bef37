"""Whole rechecks with a simulated chain and person, and the engine's promises."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.recheck.engine import NEW, UNLIT, Look, Options, Probe, Recheck, Setup
from probe.recheck.engine.codes import frame_code
from probe.recheck.engine.engine import ASTRAY, IN_VAIN, LEFT_ALIKE, LIKELY_NEW, MOST_ANSWERS, MOST_LOOKS_ALIKE, SLACK
from probe.recheck.engine.model import (
    END,
    AllAsShown,
    Answer,
    AreaDiffers,
    AskStop,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    PlaceSeen,
    Stops,
    TakenOut,
)
from probe.recheck.engine.moves import MOST_FITTED, fitted_to_probes
from probe.recheck.engine.world import AS_SHOWN, Maps, World, answer_of, is_new, log_likelihood
from tests.recheck.engine.worlds import Chain, Person, Pixel, declared, rewired, unchanged
from tests.support.examples import examples, first_now


def play(
    chain: Chain,
    setup: Setup,
    *,
    seed: int,
    wrong: float = 0.0,
    miss: float = 0.0,
    named: int = 1,
    by_area: bool = False,
    most: int = 80,
) -> tuple[Recheck, int]:
    """A recheck to its end; returns the last state and the actions beyond naming."""
    person = Person(chain, np.random.default_rng(seed), wrong=wrong, miss=miss, named=named, by_area=by_area)
    state = Recheck.start(setup, Options(seed=seed))
    actions, met = 0, set()
    truth = chain.truth()
    while (action := state.next_step().action) is not None:
        assert actions < most, "the recheck does not come to an end"
        state = state.answered(action, person.answer(action))
        actions += 1
        if isinstance(action, Probe) and action.number < len(truth) and truth[action.number] == NEW:
            met.add(action.number)
    return state, actions - len(met)


def found_map(state: Recheck) -> list[int]:
    return [NEW if one.old is None else one.old for one in state.result().numbers]


def visible(state: Recheck, chain: Chain) -> list[int | None]:
    """Where the best map has every number seen, as `Chain.visible`."""
    spots = state.world.spots(state.best_map[None, :])[0].tolist()
    found = [None if x == -2 else chain.known if x == NEW else x for x in spots]
    while found and found[-1] is None:
        found.pop()
    return found


HARD: dict[str, tuple[list[str], int]] = {
    "two plugs exchanged": (["exchange"], 25),
    "half reversed": (["half"], 12),
    "one dead": (["dead"], 7),
    "the data stop": (["stop"], 10),
    "further pixels in caps": (["further", "further"], 14),
    "a repeater or a hidden pixel": (["repeater"], 14),
    "ends or outputs exchanged": (["other"], 12),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", HARD)
@pytest.mark.parametrize("seed", first_now([1, 2]))
def test_what_is_no_ordinary_splice_is_found_and_ends(case: str, seed: int) -> None:
    kinds, most = HARD[case]
    hidden = frozenset({20, 21, 40}) if kinds == ["repeater"] else frozenset[int]()
    chain = Chain(60, other_count=30 if kinds == ["other"] else 0, hidden=hidden)
    rewired(chain, kinds, np.random.default_rng(seed))
    state, actions = play(chain, chain.setup(), seed=seed)
    assert visible(state, chain) == chain.visible(), chain.edits
    assert actions <= most
    assert state.settled


@pytest.mark.parametrize(
    ("old_count", "kinds"), [(5, ("insert",)), (3, ("insert", "insert")), (8, ("replaced", "insert"))]
)
@pytest.mark.parametrize("seed", range(3))
def test_a_short_chain_with_new_pixels_is_not_doubted_for_ever(
    old_count: int, kinds: tuple[str, ...], seed: int
) -> None:
    """What new pixels without a name could do among themselves changes nothing, and is no doubt."""
    chain = Chain(old_count)
    rewired(chain, kinds, np.random.default_rng([seed, old_count]))
    state, actions = play(chain, chain.setup(), seed=seed)
    assert visible(state, chain) == chain.visible(), chain.edits
    assert state.settled
    assert actions <= 12


@pytest.mark.slow
@pytest.mark.parametrize("old_count", [300, 1000])
@pytest.mark.parametrize("kind", ["exchange", "move", "half"])
@pytest.mark.parametrize("seed", first_now([1, 2, 3, 4]))
def test_runs_far_from_where_they_were_are_found_in_a_long_chain(old_count: int, kind: str, seed: int) -> None:
    chain = Chain(old_count)
    rewired(chain, (kind,), np.random.default_rng([seed, old_count]))
    state, actions = play(chain, chain.setup(), seed=seed)
    assert visible(state, chain) == chain.visible(), chain.edits
    assert state.settled
    assert actions <= 20, chain.edits


@pytest.mark.slow
@pytest.mark.parametrize(("short", "long"), [(3, 18), (18, 3)])
def test_exchanged_runs_of_unlike_lengths_are_found_in_a_long_chain(short: int, long: int) -> None:
    chain = Chain(300)
    a, c, x = 60, 240, chain.pixels
    chain.pixels = [*x[:a], *x[c : c + long], *x[a + short : c], *x[a : a + short], *x[c + long :]]
    state, actions = play(chain, chain.setup(), seed=3)
    assert visible(state, chain) == chain.visible()
    assert state.settled
    assert actions <= 10


def test_what_two_pictures_cannot_tell_stands_in_what_is_stated() -> None:
    """Two single pixels with one word in both pictures: they look as before, so the doubt is stated; a third tells."""
    pictures = [tuple(frame_code(length=80 + SLACK, turn=turn, seed=4).tolist()) for turn in range(3)]
    words = list(zip(*pictures, strict=True))
    pairs = list(itertools.combinations(range(80), 2))
    one, other = next((a, b) for a, b in pairs if words[a][:2] == words[b][:2] and words[a][2] != words[b][2])
    chain = Chain(80)
    chain.pixels[one], chain.pixels[other] = chain.pixels[other], chain.pixels[one]
    state, actions = play(chain, chain.setup(), seed=4)
    assert actions == 2
    assert found_map(state) == list(range(80))
    assert state.confidence < 0.9995
    assert state.chance_alike == pytest.approx(1 - state.confidence, rel=0.5)
    look = state.look()
    third = state.answered(look, Person(chain, np.random.default_rng(0), wrong=0, miss=0).answer(look))
    assert not third.settled
    while (action := third.next_step().action) is not None:
        third = third.answered(action, Person(chain, np.random.default_rng(0), wrong=0, miss=0).answer(action))
    assert visible(third, chain) == chain.visible()


def test_a_third_picture_takes_most_of_that_doubt_away() -> None:
    state, _ = play(Chain(80), unchanged(80), seed=4)
    look = state.look()
    assert state.answered(look, AllAsShown()).chance_alike < 0.3 * state.chance_alike


def test_behind_plastics_that_let_few_colours_through_more_pictures_are_shown_while_they_help() -> None:
    """Two pictures leave too much alike where two colours look the same; where only two are left of four, a picture more
    would take off too little in the end, and it ends with what it cannot tell."""
    state = Recheck.start(replace(unchanged(80), words=((0, 1, 2, 2),) * 80), Options(seed=4))
    for _ in range(2):
        state = state.answered(state.look(), AllAsShown())
    assert 1 - state.confidence - state.chance_alike < 0.0005
    assert state.chance_alike > LEFT_ALIKE
    assert isinstance(state.next_step().action, Look)
    state = state.answered(state.look(), AllAsShown())
    assert state.chance_alike < LEFT_ALIKE
    assert state.next_step().action is None
    state = Recheck.start(replace(unchanged(40), words=((0, 0, 2, 2),) * 40), Options(seed=4))
    for _ in range(4):
        assert state.next_step().action is not None
        state = state.answered(state.look(), AllAsShown())
    assert state.chance_alike > LEFT_ALIKE
    assert state.next_step().action is None


def test_a_picture_seen_before_the_map_changed_proves_nothing_of_it() -> None:
    """Two pixels exchanged that the first picture shows alike: it was as shown, and would be under the new map too."""
    state = Recheck.start(unchanged(40), Options(seed=4))
    first, second = state.look(turn=0), state.look(turn=1)
    one, other = next(
        (a, b)
        for a, b in itertools.combinations(range(40), 2)
        if first.colours[a] == first.colours[b] and second.colours[a] != second.colours[b]
    )
    chain = Chain(40)
    chain.pixels[one], chain.pixels[other] = chain.pixels[other], chain.pixels[one]
    person = Person(chain, np.random.default_rng(0), wrong=0, miss=0)
    assert isinstance(person.answer(first), AllAsShown)
    for action in (first, second, Probe(number=one), Probe(number=other)):
        state = state.answered(action, person.answer(action))
    assert visible(state, chain) == chain.visible()
    assert answer_of(first, Maps(state.world, state.best_map[None, :])).tolist() == [AS_SHOWN]
    assert state.clean_looks() == 0
    assert state.answered(state.look(), AllAsShown()).clean_looks() == 1


@pytest.mark.parametrize("seed", range(3))
def test_a_new_pixel_is_named_when_it_is_likely_to_be_one(seed: int) -> None:
    chain = Chain(40)
    rewired(chain, ["insert", "insert"], np.random.default_rng(seed))
    person, state = Person(chain, np.random.default_rng(0), wrong=0, miss=0), Recheck.start(chain.setup())
    unlikely = 0
    while (step := state.next_step()).action is not None:
        new = state.weights @ is_new(state.setup, state.maps)
        assert (
            not step.naming
            or state.settled
            or (isinstance(step.action, Probe) and new[step.action.number] >= LIKELY_NEW)
        )
        unlikely += any(new[number] < LIKELY_NEW for number in state.unnamed())
        state = state.answered(step.action, person.answer(step.action))
    assert unlikely > 0


def test_no_more_numbers_are_considered_than_the_board_lights() -> None:
    state = Recheck.start(replace(unchanged(20), most_numbers=24))
    assert state.numbers == 24
    assert len(state.look().colours) == 24
    for number in range(17, 24):  # new pixels up to its last number
        state = state.answered(Probe(number=number), AtNewPlace())
    assert state.numbers == 24
    assert Recheck.start(replace(unchanged(20), most_numbers=20)).numbers == 20


@pytest.mark.slow
def test_where_the_data_stop_no_working_pixel_is_taken_out_unasked() -> None:
    chain = Chain(50, stops=30)
    state, _ = play(chain, chain.setup(), seed=3)
    assert any(isinstance(o.action, AskStop) and o.answer == Stops() for o in state.observations)
    assert state.result().stops_at == 30
    cut = Chain(50, pixels=[Pixel(n, n) for n in range(30)])
    state, _ = play(cut, cut.setup(), seed=3)
    assert any(o.answer == TakenOut() for o in state.observations)
    assert state.result().stops_at is None
    assert state.result().removed == tuple(range(30, 50))


def test_maps_that_no_answer_can_tell_apart_are_one_class() -> None:
    chain = Chain(40, hidden=frozenset({20, 21}))
    del chain.pixels[20]
    state, actions = play(chain, chain.setup(), seed=1)
    assert actions <= 8
    assert visible(state, chain) == chain.visible()
    assert state.result().alike >= 1, "which of the two went is not seen, and is said to be open"


@pytest.mark.slow
def test_several_places_in_one_answer_are_fewer_questions() -> None:
    counts = []
    for named in (1, 3):
        total = 0
        for seed in range(3):
            chain = rewired(Chain(60), ["insert", "remove", "insert"], np.random.default_rng(seed))
            state, actions = play(chain, chain.setup(), seed=seed, named=named)
            assert visible(state, chain) == chain.visible()
            total += actions
        counts.append(total)
    assert counts[1] <= counts[0] + 1


def test_where_no_single_edit_shows_what_was_named_two_together_become_a_map() -> None:
    """Three in and one out behind, whose three first differing places are named: the answer contradicts every single edit."""
    chain = Chain(40)
    chain.pixels[23:23] = chain.fresh(3)
    del chain.pixels[31]
    look = Recheck.start(chain.setup(), Options(seed=45)).look()
    answer = Person(chain, np.random.default_rng(0), wrong=0, miss=0, named=3).answer(look)
    assert isinstance(answer, Differs)
    assert len(answer.seen) == 3
    state = Recheck.start(chain.setup(), Options(seed=45)).answered(look, answer)
    true = np.full(state.numbers, END)
    true[: len(chain.pixels)] = chain.truth()
    assert state.world.key(true) in [state.world.key(map_) for map_ in state.maps]


@pytest.mark.parametrize("named_dark", [False, True])
def test_a_repeater_that_was_named_by_mistake_is_found_dark(named_dark: bool) -> None:
    """A light that nobody can have seen was given a name: pictures show that place dark, once by mistake and twice for good."""
    chain = Chain(40)
    if named_dark:
        chain.pixels.insert(12, Pixel(None, None))
    else:
        chain.pixels[12:12] = chain.fresh(1)
    person = Person(chain, np.random.default_rng(0), wrong=0, miss=0)
    state = Recheck.start(chain.setup(), Options(seed=2))
    look = state.next_step().action
    assert isinstance(look, Look)
    state = state.answered(look, person.answer(look))
    state = state.answered(Probe(number=12), AtNewPlace())
    assert state.named == {12}
    if not named_dark:
        assert 12 in state.look().named
        state = state.answered(state.look(), NewPlaceDiffers(12, UNLIT))
        assert state.best_map[12] == NEW, "one mistake more is likelier than two"
    for _ in range(8):
        action = state.next_step().action
        if action is None:
            break
        state = state.answered(action, person.answer(action))
    assert state.next_step().action is None
    assert state.settled
    assert visible(state, chain) == chain.visible()
    one = state.result().numbers[12]
    assert one.silent is named_dark
    assert one.verified is not named_dark, "a name alone confirms nothing where no light is"
    assert 12 not in state.look().named or not named_dark


def test_an_answer_that_was_not_predicted_edits_what_the_best_map_is_an_edit_of_as_well() -> None:
    """Three in and two in: the first picture that contradicts what was believed makes the wired chain one of the maps."""
    chain = rewired(Chain(40), ["insert", "insert"], np.random.default_rng(16))
    person = Person(chain, np.random.default_rng(0), wrong=0, miss=0)
    state = Recheck.start(chain.setup(), Options(seed=16))
    for _ in range(5):
        action = state.next_step().action
        assert action is not None
        state = state.answered(action, person.answer(action))
    assert isinstance(state.observations[-1].answer, Differs)
    true = np.full(state.numbers, END)
    true[: len(chain.pixels)] = chain.truth()
    assert state.world.key(true) in [state.world.key(map_) for map_ in state.maps]


def test_of_two_spliced_in_side_by_side_the_dark_one_is_found_though_it_was_named() -> None:
    chain = Chain(40)
    chain.pixels[12:12] = [*chain.fresh(1), Pixel(None, None)]
    person = Person(chain, np.random.default_rng(0), wrong=0, miss=0)
    state = Recheck.start(chain.setup(), Options(seed=2))
    state = state.answered(state.look(), person.answer(state.look()))
    for number in (12, 13):
        state = state.answered(Probe(number=number), AtNewPlace())
    actions = 0
    while (action := state.next_step().action) is not None and actions < 8:
        state = state.answered(action, person.answer(action))
        actions += 1
    assert state.settled
    assert visible(state, chain) == chain.visible()
    assert [one.silent for one in state.result().numbers[12:14]] == [False, True]


def test_two_edits_that_hide_each_other_are_found_together() -> None:
    """Two in and one out behind: no single edit shows any of the three colours that are named."""
    chain = Chain(108)
    chain.pixels[31:31] = chain.fresh(2)
    del chain.pixels[34]
    counts = []
    for seed in range(1, 6):
        state, actions = play(chain, chain.setup(), seed=seed, named=3)
        assert visible(state, chain) == chain.visible()
        counts.append(actions)
    assert sum(counts) <= 32, "one by one they took 44 when this was measured"


@pytest.mark.parametrize("seed", first_now([1, 2, 3]))
@pytest.mark.parametrize("kinds", [["insert"], ["remove", "insert"], ["exchange"]], ids="+".join)
def test_answers_by_area_lead_to_the_map_that_was_wired(kinds: list[str], seed: int) -> None:
    chain = rewired(Chain(60), kinds, np.random.default_rng(seed))
    state, actions = play(chain, chain.setup(), seed=seed, by_area=True)
    assert any(isinstance(o.answer, AreaDiffers) for o in state.observations)
    assert visible(state, chain) == chain.visible(), chain.edits
    assert actions <= 14


def test_an_area_that_differs_is_likelier_the_more_of_it_does() -> None:
    """From the place pointed at on: at least half of the area's places differ, and the list is as shown before."""
    world = World(Chain(24).setup())
    look = Recheck.start(world.setup).look()
    shifted = np.full((4, 30), END)
    for row, at in enumerate((14, 12, 20, 24)):  # one spliced in at 14, at 12, at 20, nowhere
        map_ = [*range(at), *([NEW] if at < 24 else []), *range(at, 24)]
        shifted[row, : len(map_)] = map_
    answered = Observation(action=look, answer=AreaDiffers(14))
    own, wrong = log_likelihood(answered, Maps(world, shifted))
    assert own[0] > own[1] > wrong > max(own[2], own[3])
    late, wrong = log_likelihood(Observation(action=look, answer=AreaDiffers(20)), Maps(world, shifted))
    assert late[2] > -0.2 > wrong, "what is before the place pointed at does not count"
    extra, wrong = log_likelihood(Observation(action=look, answer=ExtraLight()), Maps(world, shifted))
    assert extra[3] < wrong, "no light off the list where nothing was spliced in"
    with pytest.raises(ValueError, match="not on the list"):
        log_likelihood(
            Observation(
                action=replace(look, places=look.places[:5], expected=look.expected[:5]), answer=AreaDiffers(14)
            ),
            Maps(world, shifted),
        )


def test_names_that_come_to_nothing_are_not_asked_for_ever() -> None:
    """More places than there may be answers look new, and each light is at the place that its number always had."""
    state = Recheck.start(unchanged(12), Options(seed=1))
    for _ in range(MOST_ANSWERS + IN_VAIN):
        state = replace(
            state, observations=(*state.observations, Observation(action=Probe(number=3), answer=AtPlace(3)))
        )
    state = replace(state, maps=np.full_like(state.maps, NEW))
    assert state.unnamed()
    assert len(state.observations) < state.most_actions
    assert state.next_step().action is None


@pytest.mark.slow
@settings(max_examples=examples(3), deadline=None)
@given(st.integers(4, 16), st.integers(0, 10_000))
def test_it_ends_whatever_is_answered(old_count: int, seed: int) -> None:
    """Any answers, honest or not: never more than the bound."""
    rng = np.random.default_rng(seed)
    state = Recheck.start(unchanged(old_count), Options(seed=seed))
    asked = 0
    while (action := state.next_step().action) is not None:
        asked += 1
        assert asked <= MOST_ANSWERS + old_count == state.most_actions
        in_vain = sum(not isinstance(seen.answer, AtNewPlace) for seen in state.observations)
        assert in_vain < MOST_ANSWERS + IN_VAIN
        if isinstance(action, Probe):
            some: list[Answer] = [AtPlace(int(rng.integers(old_count))), AtNewPlace(), NothingLit(), NotSure()]
        elif isinstance(action, AskStop):
            some = [Stops(), TakenOut(), NotSure()]
        else:
            place = action.places[int(rng.integers(len(action.places)))]
            some = [AllAsShown(), Differs.at(place, int(rng.integers(-1, 4))), ExtraLight(), NotSure()]
        state = state.answered(action, some[int(rng.integers(len(some)))])
    assert 0.0 <= state.confidence <= 1.0
    state.result()


def _scripts(count: int) -> list[list[int]]:
    """Every map that one edit makes of a short chain, written out by hand kind by kind."""
    base = list(range(count))
    found = [base]
    for a in range(count + 1):
        found += [base[:a] + [NEW] * k + base[a:] for k in (1, 2)]
        for b in range(a + 1, count + 1):
            if b - a < count:
                found.append(base[:a] + base[b:])
            found += [base[:a] + base[a:b][::-1] + base[b:], base[:a] + [NEW] * (b - a) + base[b:]]
            for c in range(b + 1, count + 1):
                found.append(base[:a] + base[b:c] + base[a:b] + base[c:])
                for d in range(c + 1, count + 1):
                    found.append(base[:a] + base[c:d] + base[b:c] + base[a:b] + base[d:])
    return [list(x) for x in dict.fromkeys(tuple(x) for x in found)]


@pytest.mark.slow
@pytest.mark.long
def test_brute_force_over_all_scripts_of_a_short_chain() -> None:
    """Every world of one edit on 6 pixels, an attentive person: the class of the map that was wired comes out."""
    for script in _scripts(6):
        if not any(v >= 0 for v in script):
            continue
        fresh = itertools.count(6)
        chain = Chain(6, pixels=[Pixel(v, v) if v >= 0 else Pixel(None, next(fresh)) for v in script])
        state, _ = play(chain, chain.setup(), seed=1)
        assert visible(state, chain) == chain.visible(), script


def test_the_likelihood_is_largest_for_what_was_seen() -> None:
    """Each of all maps of one edit answers as it should: no other answer is likelier under it than its own."""
    world = World(unchanged(5))
    maps = np.full((1, 9), END)
    for script in _scripts(5):
        row = maps.copy()
        row[0, : len(script)] = script
        state = Recheck.start(world.setup, Options(seed=4))
        look = state.look()
        code = int(answer_of(look, Maps(world, row))[0])
        answer: Answer = AllAsShown()
        if code >= 0:
            bits = code % 256
            words = tuple(w for w in range(4) if bits >> w & 1)
            answer = Differs((PlaceSeen(look.places[code // 256], words),))
        elif code != AS_SHOWN:
            answer = ExtraLight()
        own, wrong = log_likelihood(Observation(action=look, answer=answer), Maps(world, row))
        assert own[0] > -0.2 > wrong


def test_nothing_changed_takes_two_looks_and_verifies_every_number() -> None:
    state, actions = play(Chain(60), unchanged(60), seed=1)
    assert actions == 2
    result = state.result()
    assert found_map(state) == list(range(60))
    assert result.removed == ()
    assert all(one.verified and one.old is not None for one in result.numbers)
    assert result.proved
    assert 0.0 < result.chance_alike < 1.0 - result.confidence < 0.002  # one pair of single pixels in nineteen
    assert state.doubts() == {}


def test_pictures_seen_before_the_map_last_changed_verify_nothing() -> None:
    state, actions = play(Chain(20), unchanged(20), seed=1)
    assert [isinstance(o.action, Look) for o in state.observations] == [True] * actions == [True, True]
    one_behind, none_behind = (replace(state, changed_at=at).result() for at in (1, 2))
    assert all(one.verified for one in one_behind.numbers)
    assert not any(one.verified for one in none_behind.numbers)


def test_a_place_that_was_passed_verifies_only_the_number_that_has_its_colour() -> None:
    """A list that expects of one place what its number does not show: passed as being so, it was overlooked."""
    state = Recheck.start(unchanged(20), Options(seed=1))
    look = state.look()
    expected = tuple((c + 1) % 4 if place == 7 else c for place, c in zip(look.places, look.expected, strict=True))
    state = state.answered(replace(look, expected=expected), AllAsShown())
    assert state.best_map[:20].tolist() == list(range(20))
    assert [one.number for one in state.result().numbers if not one.verified] == [7]


def test_pixels_of_other_chains_are_not_missing_here() -> None:
    chain = Chain(20, other_count=10)
    state, _ = play(chain, chain.setup(), seed=1)
    assert state.result().removed == ()


def test_of_several_answers_to_one_number_the_last_says_whether_it_is_new() -> None:
    start = Recheck.start(unchanged(20), Options(seed=1))
    first, second = (Observation(action=Probe(number=4), answer=answer) for answer in (AtNewPlace(), AtPlace(4)))
    assert replace(start, observations=(first, second)).named == frozenset()
    assert replace(start, observations=(second, first)).named == {4}


def test_that_the_data_stop_counts_where_it_was_asked_only() -> None:
    chain = Chain(20, stops=12)
    state, _ = play(chain, chain.setup(), seed=3)
    assert (state.ends_early, state.stops) == (12, True)
    asked = next(o for o in state.observations if isinstance(o.action, AskStop))
    assert isinstance(asked.action, AskStop)
    at_another = replace(asked, action=replace(asked.action, number=5))
    state = replace(state, observations=tuple(at_another if o is asked else o for o in state.observations))
    assert state.stops is None
    assert state.result().stops_at is None


@pytest.mark.parametrize(
    ("answers", "again"),
    [
        ([AtPlace(4)], True),
        ([AtPlace(4), AtPlace(5)], True),
        ([AtPlace(4), AtPlace(4)], False),
        ([NotSure(), NotSure()], True),
        ([AtPlace(4), NotSure(), NothingLit()], False),
    ],
)
def test_a_number_is_lit_alone_three_times_and_not_when_answered_twice_the_same(
    answers: list[Answer], again: bool
) -> None:
    seen = tuple(Observation(action=Probe(number=4), answer=answer) for answer in answers)
    state = replace(Recheck.start(unchanged(20), Options(seed=1)), observations=seen)
    assert (4 in state._candidates().tolist()) == again
    assert 5 in state._candidates().tolist()


def test_behind_so_many_pictures_that_nobody_is_sure_of_a_pixel_is_lit_alone() -> None:
    state = Recheck.start(unchanged(20), Options(seed=1))
    for _ in range(MOST_LOOKS_ALIKE):
        action = state.next_step().action
        assert isinstance(action, Look)
        state = state.answered(action, NotSure())
    assert isinstance(state.next_step().action, Probe)


def test_whether_the_data_stop_is_asked_once_though_nobody_knows() -> None:
    chain = Chain(20, stops=12)
    person = Person(chain, np.random.default_rng(3), wrong=0.0, miss=0.0)
    state = Recheck.start(chain.setup(), Options(seed=3))
    while (action := state.next_step().action) is not None:
        state = state.answered(action, NotSure() if isinstance(action, AskStop) else person.answer(action))
    assert sum(isinstance(o.action, AskStop) for o in state.observations) == 1
    assert state.stops is None


@pytest.mark.slow
def test_maps_are_built_up_again_by_all_answers_when_the_best_map_went_astray() -> None:
    """All answers of a person who errs never, and no map but the predicted chain: three edits are found together."""
    chain = rewired(Chain(40), ["insert", "remove", "insert"], np.random.default_rng(5))
    state, _ = play(chain, chain.setup(), seed=5)
    start = Recheck.start(chain.setup(), Options(seed=5))
    maps = Maps(start.world, start.maps)
    weighed = [log_likelihood(seen, maps) for seen in state.observations]
    lost = replace(
        start,
        observations=state.observations,
        meant=np.array([meant for meant, _ in weighed]),
        wrong=np.array([wrong for _, wrong in weighed]),
    )
    assert sum(map(lost.contradicts, range(len(lost.observations)))) >= ASTRAY
    assert visible(lost._built_anew(), chain) == chain.visible()


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
@pytest.mark.parametrize("seed", first_now([1, 2, 3]))
def test_undeclared_changes_are_found(kinds: list[str], most: int, seed: int) -> None:
    chain = rewired(Chain(60), kinds, np.random.default_rng(seed))
    state, actions = play(chain, unchanged(60), seed=seed)
    assert found_map(state) == chain.truth(), chain.edits
    assert actions <= most
    gone = set(range(60)) - set(chain.truth())
    assert set(state.result().removed) == gone


@pytest.mark.parametrize("seed", first_now(range(4), now=2))
def test_declared_changes_need_only_the_proof(seed: int) -> None:
    chain = rewired(Chain(60), ["insert", "remove", "reverse"], np.random.default_rng(seed))
    state, actions = play(chain, declared(60, chain.truth()), seed=seed)
    assert found_map(state) == chain.truth()
    assert actions <= 3
    stated = [one for one in state.result().numbers if one.declared]
    assert len(stated) == chain.truth().count(NEW)


@pytest.mark.slow
def test_a_wrong_declaration_is_found_out() -> None:
    truth = Chain(40)
    truth.pixels[20:20] = truth.fresh(3)
    stated = [*range(20), NEW, NEW, *range(20, 40)]  # two were stated, three are there
    state, _ = play(truth, declared(40, stated), seed=5)
    assert found_map(state) == truth.truth()


def test_the_last_pixel_removed() -> None:
    chain = Chain(30)
    del chain.pixels[-1]
    state, actions = play(chain, unchanged(30), seed=2)
    assert found_map(state) == list(range(29))
    assert state.result().removed == (29,)
    assert actions <= 7


def test_old_pixels_without_a_place_stay_in_the_chain() -> None:
    setup = unchanged(30, dark=(4, 11))
    person = Person(Chain(30), np.random.default_rng(0), wrong=0.0, miss=0.0)
    state = Recheck.start(setup)
    while (action := state.next_step().action) is not None:
        if isinstance(action, Look):
            assert not {4, 11} & set(action.places)
        state = state.answered(action, person.answer(action))
    assert found_map(state) == list(range(30))


@pytest.mark.slow
def test_a_wrong_answer_is_noticed_and_asked_again() -> None:
    chain = Chain(50)
    person = Person(chain, np.random.default_rng(0), wrong=0.0, miss=0.0)
    state = Recheck.start(unchanged(50))
    first = state.next_step().action
    assert isinstance(first, Look)
    lie = Differs.at(17, (first.expected[17] + 1) % 4)
    state = state.answered(first, lie)
    asked: list[object] = []
    while (action := state.next_step().action) is not None:
        asked.append(action)
        state = state.answered(action, person.answer(action))
    assert found_map(state) == list(range(50))
    assert state.doubts().get(0, 0.0) > 0.9
    assert any(isinstance(a, Probe) and 15 <= a.number <= 20 for a in asked)


def test_going_back_is_keeping_the_earlier_state() -> None:
    start = Recheck.start(unchanged(40))
    step = start.next_step()
    assert isinstance(step.action, Look)
    look = step.action
    one = start.answered(look, AllAsShown())
    other = start.answered(look, Differs.at(3, UNLIT))
    again = start.answered(look, AllAsShown())
    assert one.confidence == pytest.approx(again.confidence)
    assert other.confidence != pytest.approx(one.confidence)
    assert start.observations == ()


def test_answers_of_the_wrong_kind_are_refused() -> None:
    state = Recheck.start(unchanged(20))
    look = state.look()
    with pytest.raises(TypeError, match="does not answer a Look"):
        state.answered(look, AtPlace(3))
    with pytest.raises(TypeError, match="does not answer a Probe"):
        state.answered(Probe(number=1), AllAsShown())
    with pytest.raises(ValueError, match="not on the list"):
        state.answered(look, Differs.at(99, 0))
    with pytest.raises(ValueError, match="outside the numbers"):
        state.answered(Probe(number=10_000), AtNewPlace())
    with pytest.raises(ValueError, match="no place"):
        Recheck.start(unchanged(20, dark=(5,))).answered(Probe(number=1), AtPlace(5))


def test_setups_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="survey it"):
        unchanged(0)
    with pytest.raises(ValueError, match="twice"):
        declared(4, [0, 1, 1])
    with pytest.raises(ValueError, match=r"outside 0\.\.3"):
        declared(4, [0, 9])


@pytest.mark.slow
def test_the_same_answers_give_the_same_questions() -> None:
    def script() -> list[str]:
        chain = rewired(Chain(50), ["insert", "reverse"], np.random.default_rng(3))
        person = Person(chain, np.random.default_rng(3))
        state = Recheck.start(unchanged(50), Options(seed=9))
        log: list[str] = []
        while (action := state.next_step().action) is not None:
            answer: Answer = person.answer(action)
            log.append(f"{action} {answer}")
            state = state.answered(action, answer)
        return log

    assert script() == script()


@pytest.mark.parametrize("at", first_now([0, 31, 59]))
def test_a_pixel_replaced_by_one_at_another_place_is_not_taken_for_a_dark_one(at: int) -> None:
    chain = Chain(60)
    chain.pixels[at : at + 1] = chain.fresh(1)
    state, actions = play(chain, unchanged(60), seed=at)
    assert visible(state, chain) == chain.visible()
    assert state.result().removed == (at,)
    assert actions < 12


@pytest.mark.parametrize("at", first_now([0, 31]))
def test_a_pixel_that_gives_no_light_any_more_is_lit_once_alone(at: int) -> None:
    chain = Chain(60)
    chain.pixels[at] = Pixel(at, None)
    state, actions = play(chain, chain.setup(), seed=2)
    lit_alone = sum(o.action == Probe(number=at) for o in state.observations)
    assert found_map(state) == list(range(60))
    assert [one.dark for one in state.result().numbers] == [number == at for number in range(60)]
    assert lit_alone <= 1  # the first pixel of a chain cannot have moved from before it: pictures settle that
    assert lit_alone == 1 or at == 0
    assert actions <= 5


@pytest.mark.slow
def test_a_removed_pixel_is_no_dark_one_that_moved_behind_the_end() -> None:
    old = [*range(20), *range(21, 30), *range(40, 47), *range(30, 40), *range(47, 60)]
    chain = Chain(60, pixels=[Pixel(n, n) for n in old])
    for seed in range(2):
        state, actions = play(chain, chain.setup(), seed=seed)
        assert visible(state, chain) == chain.visible()
        assert actions < 30


def test_one_uniform_look_proves_nothing() -> None:
    state = Recheck.start(unchanged(30))
    look = Look(colours=(0,) * 30, places=tuple(range(30)), expected=(0,) * 30)
    before = state.best_map
    after = state.answered(look, AllAsShown())
    assert after.confidence < 0.95
    assert np.array_equal(after.best_map[:30], before[:30])


@pytest.mark.parametrize("tail", first_now([1, 2]))
def test_pixels_added_behind_the_last_are_found(tail: int) -> None:
    chain = Chain(30)
    chain.pixels += chain.fresh(tail)
    state, actions = play(chain, chain.setup(), seed=2)
    assert found_map(state) == chain.truth()
    assert actions <= 8


@pytest.mark.slow
def test_more_new_pixels_in_one_run_than_are_considered_at_first() -> None:
    chain = Chain(60)
    chain.pixels[20:20] = chain.fresh(18)
    state, _ = play(chain, chain.setup(), seed=3)
    assert found_map(state) == chain.truth()
    assert state.numbers > Recheck.start(chain.setup()).numbers


def test_not_sure_changes_no_belief_and_does_not_loop() -> None:
    state = Recheck.start(unchanged(30))
    weights = state.weights
    for _ in range(3):
        action = state.next_step().action
        assert action is not None
        state = state.answered(action, NotSure())
    assert state.weights == pytest.approx(weights)


@pytest.mark.parametrize("lie_at", first_now([0, 1, 2]))
def test_one_lie_does_not_spoil_the_map(lie_at: int) -> None:
    chain = rewired(Chain(50), ["reverse"], np.random.default_rng(12))
    person = Person(chain, np.random.default_rng(12), wrong=0.0, miss=0.0)
    state = Recheck.start(chain.setup(), Options(seed=12))
    asked = 0
    while (action := state.next_step().action) is not None:
        answer = person.answer(action)
        if asked == lie_at:
            answer = AllAsShown() if isinstance(action, Look) else NothingLit()
        state = state.answered(action, answer)
        asked += 1
        assert asked < 40
    assert visible(state, chain) == chain.visible(), chain.edits


@pytest.mark.slow
@settings(max_examples=examples(6), deadline=None)
@given(
    st.integers(12, 40),
    st.lists(st.sampled_from(["insert", "remove", "reverse", "move"]), max_size=2),
    st.integers(0, 10_000),
)
def test_truthful_answers_lead_to_a_map_that_answers_like_the_true_one(
    old_count: int, kinds: list[str], seed: int
) -> None:
    """Unless an edit is one that the pictures shown cannot tell: then every answer fits the map that is stated."""
    chain = rewired(Chain(old_count), kinds, np.random.default_rng(seed))
    state, _ = play(chain, chain.setup(), seed=seed)
    result = state.result()
    present = [one.old for one in result.numbers if one.old is not None]
    assert len(set(present)) == len(present), "a pixel is in one place only"
    assert sorted(present + list(result.removed)) == list(range(old_count))
    if visible(state, chain) != chain.visible():
        truth = np.full((1, state.numbers), END)
        truth[0, : len(chain.pixels)] = chain.truth()
        assert all(
            log_likelihood(o, Maps(state.world, truth))[0][0]
            <= log_likelihood(o, Maps(state.world, state.best_map[None, :]))[0][0]
            for o in state.observations
        ), chain.edits


@pytest.mark.slow
def test_a_light_that_is_always_seen_off_the_list_does_not_make_it_look_for_ever() -> None:
    person = Person(Chain(20), np.random.default_rng(1), wrong=0.0, miss=0.0)
    state = Recheck.start(unchanged(20), Options(seed=1))
    asked: list[type] = []
    while (action := state.next_step().action) is not None:
        asked.append(type(action))
        state = state.answered(action, ExtraLight() if isinstance(action, Look) else person.answer(action))
    assert found_map(state)[:20] == list(range(20))
    runs = "".join("L" if kind is Look else "p" for kind in asked).split("p")
    assert max(len(run) for run in runs) <= 5


def test_single_lights_that_contradict_each_other_do_not_multiply_maps_without_end() -> None:
    setup = Chain(24).setup()
    world = World(setup)
    given = np.repeat(np.arange(24)[None, :], 2, axis=0)
    given[1, 4:20] = NEW
    looked = [Observation(action=Probe(number=number), answer=NothingLit()) for number in range(4, 20)]
    few, _, _ = fitted_to_probes(world, given, np.zeros(2), looked[:6])
    assert len(few) == 2 * 2**6, "each answer is taken as true and as not"
    maps, weights, source = fitted_to_probes(world, given, np.zeros(2), looked)
    assert len(maps) == len(weights) == len(source) == MOST_FITTED
    np.testing.assert_array_equal(maps[:2], given)
    every, all_weights, _ = fitted_to_probes(world, given, np.zeros(2), looked[:12])
    assert len(every) == 2 * 2**12
    assert weights[2:].max() == pytest.approx(all_weights[2:].max()), "the likeliest stay"
