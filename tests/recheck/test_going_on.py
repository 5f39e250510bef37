"""A recheck that ended in the middle goes on where it was, or says in plain words why it cannot."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.diff import as_order
from probe.document.edits import Insert, renumber
from probe.document.file.layout import render_map
from probe.document.file.reading import parse_map
from probe.document.model import PixelState, PlayfieldMap
from probe.document.model.open_recheck import OpenRecheck, RecheckAnswer, Said
from probe.document.operations import replace_chain, set_note
from probe.document.revisions import undo, verified_count
from probe.recheck.engine import RecheckStep
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    AllAsShown,
    Answer,
    AskStop,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    PlaceSeen,
    Probe,
    Setup,
    Stops,
    TakenOut,
)
from probe.recheck.entries import Name, entries_of, open_recheck, with_recheck
from probe.recheck.kept import KeptError, digest, names_after, numbers_in, row_of, seen_in
from probe.recheck.keys import Singles
from probe.recheck.state import Does, Rechecking, RecheckStage
from probe.recheck.task import RecheckTask, start
from probe.task import effects as fx
from probe.task.events import NextChain, Take, Typed, Undo
from tests.document.strategies import recheck_answers
from tests.recheck.engine.worlds import unchanged
from tests.recheck.test_recheck import BOARD, CHAIN, REWIRED, Bench, demo, stepped, untouched
from tests.support.examples import first_now
from tests.support.rechecker import NOW, agrees, new_pixels, wiring_of_chain

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("answer", [AtPlace(2), NothingLit()])
def test_a_new_pixel_that_is_seen_at_an_old_place_or_dark_has_no_name_of_its_own(answer: Answer) -> None:
    names = {4: Name("Otter lamp"), 5: Name("Otter eye")}
    assert names_after(names, Observation(action=Probe(number=4), answer=answer), None) == {5: Name("Otter eye")}
    assert names_after(names, Observation(action=Probe(number=4), answer=NotSure()), None) == names
    new = names_after(names, Observation(action=Probe(number=4), answer=AtNewPlace()), Name("Otter ear"))
    assert new == {4: Name("Otter ear"), 5: Name("Otter eye")}


def after(state: Rechecking, event: object) -> tuple[Rechecking, fx.Effects]:
    found = RecheckTask().step(state, event, 0.0)
    assert found is not None
    return found


def from_disk(map_: PlayfieldMap) -> PlayfieldMap:
    """The map as the next start of the program reads it."""
    return parse_map(Path("kelp.json"), render_map(map_), "")


def reopened(bench: Bench) -> Bench:
    """The program was killed: what is left is the last map that was saved."""
    left = bench.saved[-1] if bench.saved else bench.state.map
    again = Bench(from_disk(left), bench.wiring, BOARD)
    if again.state.stage is RecheckStage.OFFER:
        again(Take(NOW))
    return again


@pytest.mark.slow
@pytest.mark.parametrize(
    "change", first_now(["two spliced in", "nothing", "a run moved", "one at each of three", "one went dark"], now=2)
)
def test_killed_after_every_answer_it_comes_to_the_same_map(change: str) -> None:
    map_ = demo()
    wiring = REWIRED[change](wiring_of_chain(map_, map_.chain(CHAIN)))
    through = Bench(map_, wiring, BOARD)
    through.finish()
    broken = Bench(map_, wiring, BOARD)
    asked = 0
    while broken.state.stage is not RecheckStage.SAVED:
        asked += 1
        broken(*broken.answers())
        given_so_far = broken.state.answers + broken.state.namings
        if broken.state.gathered:
            continue  # half an answer
        if given_so_far and broken.state.stage in (RecheckStage.LOOK, RecheckStage.PROBE, RecheckStage.DONE):
            before = broken.state
            broken = reopened(broken)
            assert (broken.state.stage, broken.state.action) == (before.stage, before.action)
            assert broken.state.names == before.names
            assert (broken.state.answers, broken.state.namings) == (before.answers, before.namings)
            assert broken.state.is_lit or before.stage is RecheckStage.DONE
        assert asked < 80
    assert broken.state.map == through.state.map
    after = broken.state.map
    shining = [p for p in after.chain(CHAIN).pixels if p.state is PixelState.PLACED]
    assert all(p.verified == after.revisions[-1].number for p in shining), "each was seen since the change"
    assert verified_count(after, after.chain(CHAIN)) >= len(shining)
    assert agrees(broken.state.map, CHAIN, wiring) == []


@pytest.mark.slow
def test_every_answer_is_saved_before_it_is_thought_about() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring.spliced_in(9, *new_pixels("Otter lamp")), BOARD)
    bench(Take(NOW))
    while bench.state.stage is not RecheckStage.DONE:
        keys = bench.answers()
        for key in keys[:-1]:
            bench(key)
        rows = len(bench.state.kept.answers) if bench.state.kept is not None else 0
        state, effects = stepped(bench, bench.state, keys[-1])
        if state.stage is RecheckStage.THINK:
            saved, job = effects[-2:]
            assert isinstance(saved, fx.Commit)
            assert isinstance(job, fx.Job)
            kept = open_recheck(saved.map, CHAIN)
            assert kept is not None
            assert len(kept.answers) == rows + 1
        bench(keys[-1])


@pytest.mark.slow
def test_a_new_name_and_stated_changes_are_kept() -> None:
    map_, wiring = untouched()
    wiring = wiring.spliced_in(4, *new_pixels("Otter lamp", "Otter eye"))
    bench = Bench(map_, wiring, BOARD)
    bench(Typed("2 new after Launch arrow"))
    bench(Take(NOW))
    said = reopened(bench)
    assert said.state.stage is RecheckStage.DECLARE
    assert said.state.declared == ("2 new after Launch arrow",)
    assert said.state.edits == bench.state.edits
    said(Take(NOW))
    while not said.state.names:
        said(*said.answers())
    again = reopened(said)
    assert again.state.names == {4: Name("Otter lamp")}
    again.finish()
    assert agrees(again.state.map, CHAIN, wiring) == []
    assert "said: 2 new after Launch arrow" in again.state.map.revisions[-1].reason
    assert again.state.map.rechecks == ()


def half_way(*, answers: int = 3) -> Bench:
    map_, wiring = untouched()
    bench = Bench(map_, wiring.spliced_in(9, *new_pixels("Otter lamp")).removed(50), BOARD)
    while bench.state.answers < answers:
        bench(*bench.answers())
    return bench


@pytest.mark.slow
def test_answers_gone_on_with_can_be_taken_back() -> None:
    bench = half_way()
    again = reopened(bench)
    states = [bench.state]
    while states[-1].past:
        states.append(states[-1].past[-1])
    asked = [s for s in states if s.stage in (RecheckStage.LOOK, RecheckStage.PROBE) and not s.gathered]
    for old in asked[1:]:
        again(Undo())
        assert again.state.action == old.action
        assert again.state.names == old.names
        assert again.state.is_lit
        kept = open_recheck(again.saved[-1], CHAIN)
        assert kept is not None
        assert len(kept.answers) == old.answers + old.namings
    again(Undo())
    stages = [again.state.stage]
    again(Undo())
    stages.append(again.state.stage)
    assert stages == [RecheckStage.DECLARE, RecheckStage.OFFER]
    assert open_recheck(again.saved[-1], CHAIN) == open_recheck(bench.saved[-1], CHAIN), "nothing was given up"


@pytest.mark.slow
def test_a_name_taken_back_is_there_again_after_undo() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring.spliced_in(4, *new_pixels("Otter lamp")), BOARD)
    bench(Typed("1 new after Launch arrow"))
    bench(Take(NOW))
    while not bench.state.names:
        bench(*bench.answers())
    names = bench.state.names
    assert bench.state.now is not None
    forced = replace(
        bench.state,
        now=replace(bench.state.now, step=RecheckStep(action=Probe(number=4))),
        stage=RecheckStage.PROBE,
    )
    bench.put(forced)
    nothing = next(i for i, item in enumerate(bench.state.items) if item.does is Does.NOTHING_LIT)
    bench.put(replace(bench.state, chosen=nothing))
    bench(Take(NOW))
    assert bench.state.names == {}
    bench(Undo())
    assert bench.state.names == names


@pytest.mark.slow
def test_beginning_anew_gives_the_answers_up() -> None:
    bench = half_way()
    map_ = from_disk(bench.saved[-1])
    again = Bench(map_, bench.wiring, BOARD)
    offered = again.state
    assert offered.stage is RecheckStage.OFFER
    assert [item.does for item in offered.items] == [Does.GO_ON, Does.ANEW]
    assert "3 answers" in offered.items[0].words
    again.put(replace(offered, chosen=1))
    again(Take(NOW))
    assert again.state.stage is RecheckStage.DECLARE
    assert again.saved[-1].rechecks == ()
    again(Undo())
    assert again.saved[-1] == map_, "even that can be undone"


@pytest.mark.slow
def test_what_is_said_on_the_command_line_waits_for_the_choice() -> None:
    bench = half_way()
    state = start(from_disk(bench.saved[-1]), CHAIN, declared=("took out #3",))
    assert state.stage is RecheckStage.OFFER
    assert state.edits == ()
    anew, _ = after(replace(state, chosen=1), Take(NOW))
    assert len(anew.edits) == 1
    on, _ = after(state, Take(NOW))
    assert on.message.startswith("no board"), "going on needs light"


@pytest.mark.slow
def test_the_next_chain_can_be_taken_instead() -> None:
    state = start(from_disk(half_way().saved[-1]), CHAIN)
    other, _ = after(state, NextChain())
    assert (other.stage, other.chain) == (RecheckStage.DECLARE, "backbox")
    back, _ = after(other, NextChain())
    assert (back.stage, back.chain) == (RecheckStage.OFFER, CHAIN)


@pytest.mark.slow
def test_a_chain_changed_since_makes_the_answers_void() -> None:
    map_ = from_disk(half_way().saved[-1])
    changed = renumber(map_, [Insert(chain=CHAIN, after=20)], time=NOW, reason="one more")
    state = start(changed, CHAIN)
    assert state.stage is RecheckStage.DECLARE
    assert "3 answers" in state.message
    assert "The chain was changed since then" in state.message
    assert start(undo(changed, time=NOW), CHAIN).stage is RecheckStage.OFFER, "it is what it was again"
    bench = Bench(changed, wiring_of_chain(changed, changed.chain(CHAIN)), BOARD)
    bench(Take(NOW))
    assert not bench.saved, "nothing is given up before something is answered"


@pytest.mark.parametrize("state", first_now([PixelState.HIDDEN, PixelState.DARK, PixelState.REPEATER]))
def test_a_pixel_that_shines_no_more_makes_the_answers_void(state: PixelState) -> None:
    """Its number, place and order are as before: only what it shows is not."""
    map_ = from_disk(half_way().saved[-1])
    chain = map_.chain(CHAIN)
    number = next(n for n, pixel in enumerate(chain.pixels) if pixel.state is PixelState.PLACED)
    changed = chain.pixels[number].model_copy(update={"state": state})
    pixels = (*chain.pixels[:number], changed, *chain.pixels[number + 1 :])
    other = replace_chain(map_, chain.model_copy(update={"pixels": pixels}))
    for answered in (True, False):
        mine, theirs = (digest(entries_of(each, CHAIN, ()), answered=answered) for each in (map_, other))
        assert mine != theirs
    begun = start(other, CHAIN)
    assert begun.stage is RecheckStage.DECLARE
    assert "The chain was changed since then" in begun.message


@pytest.mark.slow
def test_what_changes_no_question_keeps_the_answers() -> None:
    map_ = from_disk(half_way().saved[-1])
    noted = set_note(map_, CHAIN, 5, "brittle wire")
    renamed = map_.places[0].model_copy(update={"label": "Otter den"})
    other = noted.model_copy(update={"places": (renamed, *map_.places[1:])})
    assert start(other, CHAIN).stage is RecheckStage.OFFER


@pytest.mark.slow
def test_pictures_given_up_stay_given_up() -> None:
    bench = half_way(answers=1)
    bench(Singles())
    again = reopened(bench)
    assert not again.state.looks
    assert isinstance(again.state.action, Probe)
    assert again.state.action == bench.state.action


BAD: dict[str, RecheckAnswer] = {
    "a pixel beyond the chain": RecheckAnswer(said=Said.AT_PLACE, number=3, place=5_000),
    "a number beyond the board": RecheckAnswer(said=Said.NOTHING_LIT, number=60_000),
    "an answer to another kind of question": RecheckAnswer(said=Said.AS_SHOWN, number=3),
    "nothing lit at all": RecheckAnswer(said=Said.AS_SHOWN),
    "a picture with too few colours": RecheckAnswer(said=Said.AS_SHOWN, colours="rybw", places="0-3", expected="ryb"),
    "a place that was not on the list": RecheckAnswer(
        said=Said.DIFFERS, colours="rybw", places="0-2", expected="ryb", place=9, colour="w"
    ),
    "no colour": RecheckAnswer(said=Said.DIFFERS, colours="rybw", places="0-2", expected="ryb", place=1),
    "new ones among the places": RecheckAnswer(said=Said.AS_SHOWN, colours="rybw", places="+3", expected="ryb"),
    "a pixel without a place": RecheckAnswer(said=Said.AT_PLACE, number=3, place=None),
}


@pytest.mark.slow
@pytest.mark.parametrize("bad", first_now(BAD, now=3))
def test_kept_answers_that_cannot_be_are_left_out_with_a_sentence(bad: str) -> None:
    good = half_way()
    kept = open_recheck(good.saved[-1], CHAIN)
    assert kept is not None
    map_ = with_recheck(good.saved[-1], kept.model_copy(update={"answers": (*kept.answers, BAD[bad])}))
    bench = Bench(from_disk(map_), good.wiring, BOARD)
    bench(Take(NOW))
    assert bench.state.stage is RecheckStage.DECLARE
    assert bench.state.message.startswith("The answers kept cannot be used: ")
    assert bench.state.map == map_
    assert bench.saved == []
    bench.finish()
    assert agrees(bench.state.map, CHAIN, good.wiring) == []


setups = st.integers(2, 40).map(lambda n: unchanged(n))


@st.composite
def seen_observations(draw: st.DrawFn, entries: int) -> Observation:
    entry = st.integers(0, entries - 1)
    colour = st.sampled_from([0, 1, 2, 3, UNLIT])
    if draw(st.integers(0, 5)) == 0:
        stop: st.SearchStrategy[Answer] = st.sampled_from([Stops(), TakenOut(), NotSure()])
        shown = tuple(draw(st.lists(colour, min_size=1, max_size=9)))
        return Observation(action=AskStop(number=draw(st.integers(0, 99)), colours=shown), answer=draw(stop))
    if draw(st.booleans()):
        probe = st.one_of(entry.map(AtPlace), st.just(AtNewPlace()), st.just(NothingLit()), st.just(NotSure()))
        return Observation(action=Probe(number=draw(st.integers(0, 99))), answer=draw(probe))
    places = tuple(draw(st.permutations(range(entries))))[: draw(st.integers(1, entries))]
    numbers = draw(st.integers(1, 50))
    look = Look(
        colours=tuple(draw(st.lists(colour, min_size=numbers, max_size=numbers))),
        places=places,
        expected=tuple(draw(colour) for _ in places),
        named=frozenset(draw(st.sets(st.integers(0, numbers - 1), max_size=3))),
    )
    answer: st.SearchStrategy[Answer] = st.one_of(
        st.just(AllAsShown()),
        st.lists(
            st.builds(PlaceSeen, st.sampled_from(places), st.sets(st.integers(0, 3)).map(lambda c: tuple(sorted(c)))),
            min_size=1,
            max_size=3,
        ).map(lambda some: Differs(tuple(some))),
        st.builds(NewPlaceDiffers, st.integers(0, 99), colour),
        st.just(ExtraLight()),
        st.just(NotSure()),
    )
    return Observation(action=look, answer=draw(answer))


@given(st.data(), setups)
def test_an_answer_reads_back_as_it_was(data: st.DataObject, setup: Setup) -> None:
    seen = data.draw(seen_observations(setup.entries))
    row = row_of(seen, name=Name("Otter [/x]"), naming=True)
    again = RecheckAnswer.model_validate_json(row.model_dump_json(), strict=True)
    assert seen_in(again, setup) == seen
    assert (again.label, again.naming) == ("Otter [/x]", True)


@given(st.lists(st.integers(0, 99), max_size=30))
def test_runs_read_back_in_their_order(numbers: list[int]) -> None:
    assert numbers_in(as_order(numbers)) == tuple(numbers)


@given(st.data(), setups)
def test_a_kept_answer_is_read_or_refused(data: st.DataObject, setup: Setup) -> None:
    row = data.draw(recheck_answers)
    with contextlib.suppress(KeptError):
        asked = seen_in(row, setup).action
        assert isinstance(asked, Look) if row.number is None else asked.number == row.number  # type: ignore[union-attr]


def test_an_older_file_has_nothing_open() -> None:
    text = render_map(demo()).decode()
    assert "rechecks" not in text
    assert from_disk(demo()).rechecks == ()


@pytest.mark.slow
def test_one_line_of_the_file_holds_one_recheck() -> None:
    text = render_map(half_way().saved[-1]).decode()
    lines = text[text.index('"rechecks": [') :].splitlines()
    assert json.loads(lines[1])["chain"] == CHAIN
    assert len(lines) == 4


@pytest.mark.slow
def test_two_chains_each_keep_their_own() -> None:
    map_ = half_way().saved[-1]
    other = OpenRecheck(chain="backbox", begun=NOW, rests_on="0" * 16, declared=("took out #3",))
    both = with_recheck(map_, other)
    assert [kept.chain for kept in from_disk(both).rechecks] == [CHAIN, "backbox"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_killed_at_random_moments_no_answer_is_lost(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tests.recheck.kill_recheck", str(tmp_path / "kelp.json"), "11"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    sums = json.loads(done.stdout)
    assert sums["answered"] > 2, "there was something to lose"
    assert (sums["wrong"], sums["open"]) == ([], 0)
