"""Which number is at this place: as many looks as quartering needs, and what happens on doubt."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.values import Colour
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.recheck.colours import LOOK_COLOURS
from probe.recheck.engine.codes import UNLIT
from probe.recheck.finding import Finding, found_words, is_lit, showing, start, step
from probe.recheck.keys import Choose, NextChain, Quick, Say, Take, Undo
from probe.task.steps import BoardGone, BoardHere, Shown, ShowPicture, ShowPixel, ShowRange
from tests.recheck.test_steps import BOARD
from tests.support.rechecker import colour_of


def chain_of(length: int) -> PlayfieldMap:
    m = new_map("Kelp Forest")
    for output, name in enumerate(("a", "b")):
        m = set_count(add_chain(m, Chain(id=name, name=name.upper(), output=output)), name, length)
    return m


def shown_at(state: Finding, number: int) -> int:
    """The colour that a person sees where pixel `number` is."""
    match showing(state):
        case ShowPicture(_, colours):
            return colour_of(colours[number]) if number < len(colours) else UNLIT
        case ShowPixel(_, lit, _):
            return 3 if lit == number else UNLIT
        case ShowRange(_, first, count, _):
            return 3 if first <= number < first + count else UNLIT
        case _:
            return UNLIT


def lit(state: Finding) -> Finding:
    """The state after the board has said that it is lit."""
    wanted = showing(state)
    assert wanted is not None
    state, _ = step(state, Shown(wanted), 0.0)
    assert is_lit(state)
    return state


def begin(length: int, board: object = BOARD) -> Finding:
    state, _ = step(start(chain_of(length), "a"), BoardHere(board), 0.0)  # type: ignore[arg-type]
    return state


def answer(state: Finding, number: int) -> Finding:
    state = lit(state)
    seen = shown_at(state, number)
    at = state.answers.index(seen) if seen in state.answers else 0
    state, _ = step(state, Choose(at), 0.0)
    state, _ = step(state, Take(), 0.0)
    return state


@given(st.integers(1, 600), st.data())
def test_quartering_needs_the_least_number_of_looks(length: int, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, length - 1))
    state = begin(length)
    least, reach = 0, 1
    while reach < length:
        least, reach = least + 1, reach * len(LOOK_COLOURS)
    assert state.left == least
    while state.found is None:
        state = answer(state, number)
    assert state.found == number
    assert state.looks <= least


@given(st.integers(1, 600), st.data())
def test_a_board_without_pictures_halves(length: int, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, length - 1))
    state = begin(length, replace(BOARD, features=frozenset({"setup", "range"})))
    while state.found is None:
        state = lit(state)
        if shown_at(state, number) == UNLIT:
            state, _ = step(state, Say(Quick.NOTHING_LIT), 0.0)
        else:
            state, _ = step(state, Take(), 0.0)
    assert state.found == number
    assert 2**state.looks < 4 * length


def test_not_sure_asks_again_in_other_colours_and_undo_goes_back() -> None:
    state = lit(begin(100))
    before = [shown_at(state, n) for n in range(100)]
    state, _ = step(state, Say(Quick.NOT_SURE), 0.0)
    assert state.candidates == tuple(range(100))
    assert all(a != shown_at(state, n) for n, a in enumerate(before))
    state = answer(state, 7)
    assert 7 in state.candidates
    state, _ = step(state, Undo(), 0.0)
    assert len(state.candidates) == 100


def test_a_dark_place_is_not_on_this_chain_or_an_answer_was_wrong() -> None:
    state = lit(begin(60))
    state, _ = step(state, Say(Quick.NOTHING_LIT), 0.0)
    assert "no pixel of A is there" in state.message
    state = answer(state, 9)
    state = lit(state)
    state, _ = step(state, Say(Quick.NOTHING_LIT), 0.0)
    assert "an answer was wrong" in state.message
    assert len(state.candidates) == 60
    state, effects = step(state, NextChain(), 0.0)
    assert state.chain == "b"
    assert any(isinstance(e, ShowPicture) and e.output == 1 for e in effects)


def test_answers_wait_for_the_light() -> None:
    state = begin(60)
    state, _ = step(state, Take(), 0.0)
    assert "not lit yet" in state.message
    state = lit(state)
    state, _ = step(state, BoardGone("unplugged"), 0.0)
    state, _ = step(state, Take(), 0.0)
    assert "no board" in state.message
    assert state.looks == 0


@pytest.mark.parametrize("features", [frozenset[str](), frozenset({"setup"})])
def test_the_smallest_board_says_what_to_do_instead(features: frozenset[str]) -> None:
    state = begin(60, replace(BOARD, features=features))
    state, _ = step(state, Take(), 0.0)
    assert "walk" in state.message


def test_the_number_found_is_lit_alone_and_told() -> None:
    state = begin(5)
    while state.found is None:
        state = answer(state, 3)
    assert showing(state) == ShowPixel(0, 3, Colour(state.level, state.level, state.level))
    assert found_words(state).startswith("pixel 3 (4th) of A")
