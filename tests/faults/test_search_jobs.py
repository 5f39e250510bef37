"""Jobs within or beside a fault search: settings and colours tried, flexing, the return wire, the soak."""

from __future__ import annotations

import pytest

from device_protocol.orders import CountChain
from probe.document.model import PlayfieldMap
from probe.document.operations import replace_chain
from probe.faults.byte_order import Candidate, predict
from probe.faults.commands import SayYesNo, StepPattern, Unsure
from probe.faults.engine import UNSURE
from probe.faults.search import start
from probe.faults.state import SearchMode
from probe.faults.view import details, headline
from probe.task import events as ev
from probe.task.effects import Ask, TryAgain
from probe.task.light import BoardPattern, Dark, HandsOff, OutputSetup, Pixels
from tests.faults.searching import NOW, PLAIN, Play, a_map, answer_all, begun, board


def test_the_count_question_sends_ten_more_and_puts_the_count_back() -> None:
    play = begun()
    play.put("raise-count")
    shown = play.shown()
    assert isinstance(shown, BoardPattern)
    assert shown.setup == OutputSetup.of(play.search.here, count=50)
    play.choose(UNSURE)
    assert getattr(play.shown(), "setup", None) is None


def test_settings_are_tried_with_left_and_right() -> None:
    play = begun()
    play.put("settings-flip")
    tried = []
    for _ in range(9):
        play.give(StepPattern(1))
        shown = play.shown()
        assert isinstance(shown, BoardPattern)
        assert shown.setup is not None
        tried.append(shown.setup.order)
    assert set(tried) == {"RGB", "BRG", "GBR", "BGR", "RBG", "GRBW", "RGBW", "GRB"}
    assert "pause of 1000 us" in " ".join(details(play.give(StepPattern(-1)).search))
    assert play.search.here.order == "GRB"


@pytest.mark.slow
def test_the_exact_order_is_found_set_and_kept() -> None:
    play = begun()
    play.choose("swap-all")
    answer_all(play)
    play.choose("colours")
    for seen in ("G", "R", "B"):  # what RGB pixels make of G, R, B order: red and green change places
        play.type_in("purple")
        assert "not made of" in play.search.message
        play.type_in(seen)
    assert "order RGB" in play.search.message
    play.choose("set-order")
    assert play.search.here.order == "RGB"
    assert play.committed() == play.search.map


@pytest.mark.slow
def test_four_colour_pixels_driven_as_three_are_told_by_their_repeats() -> None:
    play = begun()
    play.choose("repeating")
    answer_all(play)
    play.choose("colours")
    real = Candidate("RGBW")
    for _ in range(2):
        driven = play.search.here.order
        for sent in "RGBW"[: len(driven)]:
            seen = predict(real, sent=sent, driven=driven, count=40)[:8]
            play.type_in(" ".join("".join(sorted(letters)) or "-" for letters in seen))
        if not any(item.key.startswith("drive:") for item in play.search.items):
            break
        play.choose(next(item.key for item in play.search.items if item.key.startswith("drive:")))
    assert {fit.order for fit in play.search.fits} == {"RGBW"}


def test_flex_log_joint_by_joint_goes_into_the_notes() -> None:
    play = Play(start(a_map(6), "a", now=NOW)).plug().choose("flex")
    assert play.mode() is SearchMode.FLEX
    assert isinstance(play.shown(), BoardPattern)
    assert "board to 0 (1st)" in headline(play.search)
    for joint in range(6):
        play.give(SayYesNo(joint == 3, NOW)) if joint != 4 else play.give(Unsure(NOW))
    assert play.mode() is SearchMode.CONTEXT
    saved = play.committed()
    assert "2025-03-16 flex test (hold-one): joint 2 (3rd) to 3 (4th) reacted" in saved.chain("a").note
    assert "1 passed over" in saved.chain("a").note
    assert saved.chain("a").pixels[3].note == "2025-03-16 flex: the joint arriving here reacted"


def test_every_answer_of_the_flex_log_is_saved_and_back_ends_it() -> None:
    play = Play(start(a_map(6), "a", now=NOW)).plug().choose("flex")
    play.give(SayYesNo(True, NOW))
    saved = play.committed()
    assert "joint board to 0 (1st) reacted" in saved.chain("a").note
    play.give(SayYesNo(False, NOW))
    saved = play.committed()
    assert saved.chain("a").note.count("reacted\n") + saved.chain("a").note.endswith("reacted") == 2
    play.give(ev.Undo())
    assert play.search.flex is not None
    assert play.search.flex.joint == 1
    play.give(ev.Leave())
    assert play.mode() is SearchMode.CONTEXT
    assert "1 reacted" in play.search.map.chain("a").note
    assert play.search.way_back == ""


def test_flexing_within_a_search_answers_its_question_and_places_the_fault() -> None:
    play = begun()
    play.put("march-flex")
    play.choose("flex")
    for joint in range(8):
        play.give(SayYesNo(joint == 7, NOW))
    play.choose("end")
    assert play.search.session.answer_to("march-flex") == "lags"
    assert play.search.session.k == 6


def test_a_full_note_sends_the_flex_log_to_the_log_of_revisions() -> None:
    map_ = a_map(3)
    map_ = replace_chain(map_, map_.chain("a").model_copy(update={"note": "x" * 1_990}))
    play = Play(start(map_, "a", now=NOW)).plug().choose("flex")
    for _ in range(3):
        play.give(SayYesNo(False, NOW))
    saved = play.committed()
    assert saved.chain("a").note == "x" * 1_990
    assert "0 reacted" in " ".join(saved.revisions[-1].changes)


def test_the_return_wire_counts_length_and_drop_outs() -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug(board(PLAIN)).choose("return")
    assert "no input for a return wire" in play.search.message
    play.plug().choose("return")
    assert play.shown() == HandsOff()
    (asked,) = play.asked_of_board
    (count,) = asked.orders
    assert isinstance(count, CountChain)
    assert (count.output, count.sent > 40, count.times) == (0, True, 8)
    play.give(ev.Tick())
    assert not play.effects  # one at a time
    play.count(41, 41).give(ev.Tick())
    assert play.effects == (asked,)
    play.count(41, 43).give(ev.Tick())
    assert "41 pixels found, 1 drop-outs in 2 counts; the map says 40" in details(play.search)
    play.choose("end")
    assert "41 pixels found" in play.search.map.revisions[-1].reason
    assert play.committed() == play.search.map
    assert play.shown() == Dark()


def test_nothing_on_the_return_wire_is_said_and_more_is_sent() -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug().choose("return")
    (count,) = play.asked_of_board[0].orders
    assert isinstance(count, CountChain)
    play.count(count.sent, count.sent)
    assert "nothing came back" in details(play.search)[0]
    play.give(ev.Tick())
    assert play.effects == (Ask((CountChain(0, 2 * count.sent, 8),), "count"),)


def test_a_count_that_is_not_answered_is_said_and_asked_again() -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug().choose("return")
    play.give(ev.NotAnswered("count", "the board restarted meanwhile"))
    assert play.search.message == "the board restarted meanwhile"
    play.give(ev.Tick())
    assert play.effects == (play.asked_of_board[0],)
    play.unplug().plug().give(ev.Tick())
    assert play.effects == (play.asked_of_board[0],)


def test_a_soak_outlasts_silence_and_keeps_when_it_went_wrong() -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug().choose("soak")
    shown = play.shown()
    assert isinstance(shown, BoardPattern)
    assert shown.hold
    assert shown.step_ms >= 1_000
    play.give(ev.Tick(), after_s=600)
    assert "10.0 min" in play.search.message
    play.give(SayYesNo(True, NOW), after_s=30)
    assert play.search.map.revisions[-1].reason == "soak of Playfield: trouble after 10.5 min"
    assert play.committed() == play.search.map
    assert play.mode() is SearchMode.CONTEXT
    assert play.shown() == Dark()


def test_after_a_change_the_held_frame_is_sent_anew() -> None:
    play = Play(start(a_map(6), "a", now=NOW)).plug().choose("flex")
    before = play.shown()
    play.give(SayYesNo(False, NOW))
    assert play.shown() == before
    play.give(SayYesNo(True, NOW))
    changed = play.shown()
    assert changed != before
    play.give(ev.Undo())
    assert play.shown() not in (before, changed)
    play = Play(start(a_map(6), "a", now=NOW)).plug(board(PLAIN)).choose("flex")
    assert isinstance(play.shown(), Pixels)
    play.give(SayYesNo(False, NOW))
    assert TryAgain() not in play.effects
    play.give(SayYesNo(True, NOW))
    assert TryAgain() in play.effects


def test_a_pixels_full_note_is_left_alone_and_the_log_still_kept() -> None:
    map_ = a_map(3)
    chain = map_.chain("a")
    full = chain.pixels[0].model_copy(update={"note": "x" * 1_990})
    map_ = replace_chain(map_, chain.model_copy(update={"pixels": (full, *chain.pixels[1:])}))
    play = Play(start(map_, "a", now=NOW)).plug().choose("flex").give(SayYesNo(True, NOW))
    saved = play.committed()
    assert saved.chain("a").pixels[0].note == "x" * 1_990
    assert "joint board to 0 (1st) reacted" in saved.chain("a").note
    PlayfieldMap.model_validate(saved.model_dump())
