"""Which number is at this place: as many looks as quartering needs, and what happens on doubt."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.orders import Identity
from device_protocol.values import Colour
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.recheck.colours import LOOK_COLOURS
from probe.recheck.engine.codes import UNLIT
from probe.recheck.find import Locate, NumberSearch, found_words, make
from probe.recheck.keys import Quick, SayColour, SayQuick
from probe.task.events import Choose, Leave, NextChain, Take, Undo
from probe.task.light import Dark, OutputSetup, Pixels
from probe.task.task import Opened
from probe.task.views import TaskView
from tests.recheck.test_recheck import BOARD
from tests.support.played import Played
from tests.support.rechecker import colour_of, frame_of


def chain_of(length: int) -> PlayfieldMap:
    map_ = new_map("Kelp Forest")
    for output, name in enumerate(("a", "b")):
        map_ = set_count(add_chain(map_, Chain(id=name, name=name.upper(), output=output)), name, length)
    return map_


def shown_at(search: Played[NumberSearch], number: int) -> int:
    """The colour that a person sees where pixel `number` is."""
    frame = frame_of(search.board.lit)
    return colour_of(frame[number]) if number < len(frame) else UNLIT


def begin(length: int, board: Identity = BOARD, *, lights_up: bool = True) -> Played[NumberSearch]:
    return Played(*make(Opened(map=chain_of(length), facts=("a", 3))), identity=board, lights_up=lights_up)


def answer(search: Played[NumberSearch], number: int) -> None:
    seen = shown_at(search, number)
    answers = search.state.answers
    search(Choose(answers.index(seen) if seen in answers else 0), Take())


def test_the_colours_are_handed_on_while_nobody_is_sure_and_begin_again_behind_a_sure_answer() -> None:
    search = Locate.start(16)
    assert search.frame()[::4] == (0, 1, 2, 3)
    assert search.answered(None).answered(None).frame()[::4] == (2, 3, 0, 1)
    assert search.answered(None).answered(1).frame()[:5] == (0, 1, 2, 3, UNLIT)


@pytest.mark.slow
@given(st.integers(1, 600), st.data())
def test_quartering_needs_the_least_number_of_looks(length: int, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, length - 1))
    search = begin(length)
    least, reach = 0, 1
    while reach < length:
        least, reach = least + 1, reach * len(LOOK_COLOURS)
    assert search.state.left == least
    while search.state.found is None:
        answer(search, number)
    assert search.state.found == number
    assert search.state.looks <= least


@given(st.integers(1, 600), st.data())
def test_a_board_without_pictures_halves(length: int, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, length - 1))
    search = begin(length, replace(BOARD, features=frozenset({"setup", "range"})))
    while search.state.found is None:
        search(SayQuick(Quick.NOTHING_LIT) if shown_at(search, number) == UNLIT else Take())
    assert search.state.found == number
    assert 2**search.state.looks < 4 * length


def test_not_sure_asks_again_in_other_colours_and_undo_goes_back() -> None:
    search = begin(100)
    before = [shown_at(search, n) for n in range(100)]
    search(SayQuick(Quick.NOT_SURE))
    assert search.state.candidates == tuple(range(100))
    assert all(a != shown_at(search, n) for n, a in enumerate(before))
    answer(search, 7)
    assert 7 in search.state.candidates
    search(Undo())
    assert len(search.state.candidates) == 100
    search(Undo())
    assert [shown_at(search, n) for n in range(100)] == before
    assert search(Undo()).message == "nothing to undo"


def test_a_dark_place_is_not_on_this_chain_or_an_answer_was_wrong() -> None:
    search = begin(60)
    search(SayQuick(Quick.NOTHING_LIT))
    assert "no pixel of A is there" in search.state.message
    answer(search, 9)
    search(SayQuick(Quick.NOTHING_LIT))
    assert "an answer was wrong" in search.state.message
    assert len(search.state.candidates) == 60
    search(NextChain())
    assert search.state.chain == "b"
    assert isinstance(search.board.lit, Pixels)
    assert search.board.lit.output == 1


def test_answers_wait_for_the_light() -> None:
    search = begin(60, lights_up=False)
    search(Take())
    assert "not lit yet" in search.state.message
    search.refuse("too bright for it")
    assert search(Take()).message == "too bright for it"
    search.lose("unplugged")
    search(Take())
    assert "no board" in search.state.message
    assert search.state.looks == 0


@pytest.mark.parametrize("features", [frozenset[str](), frozenset({"setup"})])
def test_the_smallest_board_says_what_to_do_instead(features: frozenset[str]) -> None:
    search = begin(60, replace(BOARD, features=features))
    search(Take())
    assert "walk" in search.state.message
    assert search.wanted == Dark()


def test_the_number_found_is_lit_alone_and_told() -> None:
    search = begin(5)
    while search.state.found is None:
        answer(search, 3)
    level = search.state.level
    setup = OutputSetup.of(search.state.here, count=5)
    assert search.wanted == Pixels.one(0, 3, Colour(level, level, level), setup=setup)
    assert found_words(search.state).startswith("pixel 3 (4th) of A")
    search(Take())
    assert search.closed == [("a", 3)]


def test_colours_by_their_keys_and_leaving_without_a_number() -> None:
    search = begin(60)
    colour = shown_at(search, 20)
    search(SayColour(colour))
    assert 20 in search.state.candidates
    assert len(search.state.candidates) == 15
    view = search.task.view(search.state)
    assert isinstance(view, TaskView)
    assert [line.text for line in view.items] == ["◆ red", "▲ yellow", "■ blue", "● white", "· dark"]
    search(Leave())
    assert search.closed == [None]


def test_a_smaller_board_leaves_fewer_numbers() -> None:
    search = begin(60, replace(BOARD, pixels=40))
    assert search.state.candidates == tuple(range(40))
    assert isinstance(search.wanted, Pixels)
    assert len(search.wanted.colours) == 40
