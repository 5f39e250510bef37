"""Jobs within or beside a fault search: settings and colours tried, flexing, the return wire, the soak."""

from __future__ import annotations

from dataclasses import replace

from probe.document.operations import replace_chain
from probe.faults.byte_order import Candidate, predict
from probe.faults.engine import UNSURE
from probe.faults.search import Back, Say, Step, Take, Typed, Undo, Unsure, start
from probe.faults.state import SearchMode
from probe.faults.words import details, headline
from probe.task.steps import (
    CountChain,
    Counted,
    RunPattern,
    SaveMap,
    SetUpChain,
    ShowDark,
    Tick,
)
from tests.faults.searching import NOW, PLAIN, K, Play, a_map, begun, board, told


def test_the_count_question_sends_ten_more_and_puts_the_count_back() -> None:
    play = begun()
    play.search = replace(play.search, question=K.observation("raise-count"))
    play.give(board())
    assert SetUpChain(play.search.here, 50) in play.effects
    play.choose(UNSURE)
    assert play.effects[0] == SetUpChain(play.search.here)


def test_settings_are_tried_with_left_and_right() -> None:
    play = begun()
    play.search = replace(play.search, question=K.observation("settings-flip"))
    tried = []
    for _ in range(9):
        play.give(Step(1))
        tried += [e.chain.order for e in play.effects if isinstance(e, SetUpChain)]
    assert set(tried) == {"RGB", "BRG", "GBR", "BGR", "RBG", "GRBW", "RGBW", "GRB"}
    assert "pause of 1000 us" in " ".join(details(play.give(Step(-1)).search))
    assert play.search.here.order == "GRB"


def test_the_exact_order_is_found_set_and_kept() -> None:
    play = begun()
    play.choose("swap-all")
    told(play)
    play.choose("colours")
    for seen in ("G", "R", "B"):  # what RGB pixels make of G, R, B order: red and green change places
        play.give(Typed("purple")).give(Take(NOW))
        assert "not made of" in play.search.message
        play.give(Typed(seen)).give(Take(NOW))
    assert "order RGB" in play.search.message
    play.choose("set-order")
    assert play.search.here.order == "RGB"
    assert SaveMap(play.search.map) in play.effects
    assert any(isinstance(e, SetUpChain) and e.chain.order == "RGB" for e in play.effects)


def test_four_colour_pixels_driven_as_three_are_told_by_their_repeats() -> None:
    play = begun()
    play.choose("repeating")
    told(play)
    play.choose("colours")
    real = Candidate("RGBW")
    for _ in range(2):
        driven = play.search.here.order
        for sent in "RGBW"[: len(driven)]:
            seen = predict(real, sent=sent, driven=driven, count=40)[:8]
            play.give(Typed(" ".join("".join(sorted(letters)) or "-" for letters in seen))).give(Take(NOW))
        if not any(item.key.startswith("drive:") for item in play.search.items):
            break
        play.choose(next(item.key for item in play.search.items if item.key.startswith("drive:")))
    assert {fit.order for fit in play.search.fits} == {"RGBW"}


def test_flex_log_joint_by_joint_goes_into_the_notes() -> None:
    play = Play(start(a_map(6), "a", now=NOW)).give(board()).choose("flex")
    assert play.mode() is SearchMode.FLEX
    assert isinstance(play.shown()[0], RunPattern)
    assert "board to 0 (1st)" in headline(play.search)
    for joint in range(6):
        play.give(Say(joint == 3, NOW)) if joint != 4 else play.give(Unsure(NOW))
    assert play.mode() is SearchMode.CONTEXT
    saved = next(e.map for e in play.effects if isinstance(e, SaveMap))
    assert "2025-03-16 flex test (hold-one): joint 2 (3rd) to 3 (4th) reacted" in saved.chain("a").note
    assert "1 passed over" in saved.chain("a").note
    assert saved.chain("a").pixels[3].note == "2025-03-16 flex: the joint arriving here reacted"


def test_every_answer_of_the_flex_log_is_saved_and_back_ends_it() -> None:
    play = Play(start(a_map(6), "a", now=NOW)).give(board()).choose("flex")
    play.give(Say(True, NOW))
    saved = next(e.map for e in play.effects if isinstance(e, SaveMap))
    assert "joint board to 0 (1st) reacted" in saved.chain("a").note
    play.give(Say(False, NOW))
    saved = next(e.map for e in play.effects if isinstance(e, SaveMap))
    assert saved.chain("a").note.count("reacted\n") + saved.chain("a").note.endswith("reacted") == 2
    play.give(Undo())
    assert play.search.flex is not None
    assert play.search.flex.joint == 1
    play.give(Back(NOW))
    assert play.mode() is SearchMode.CONTEXT
    assert "1 reacted" in play.search.map.chain("a").note
    assert play.search.way_back == ""


def test_flexing_within_a_search_answers_its_question_and_places_the_fault() -> None:
    play = begun()
    play.search = replace(play.search, question=K.observation("march-flex"))
    play.choose("flex")
    for joint in range(8):
        play.give(Say(joint == 7, NOW))
    play.choose("end")
    assert play.search.session.answer_to("march-flex") == "lags"
    assert play.search.session.k == 6


def test_a_full_note_sends_the_flex_log_to_the_log_of_revisions() -> None:
    m = a_map(3)
    m = replace_chain(m, m.chain("a").model_copy(update={"note": "x" * 1_990}))
    play = Play(start(m, "a", now=NOW)).give(board()).choose("flex")
    for _ in range(3):
        play.give(Say(False, NOW))
    saved = next(e.map for e in play.effects if isinstance(e, SaveMap))
    assert saved.chain("a").note == "x" * 1_990
    assert "0 reacted" in " ".join(saved.revisions[-1].changes)


def test_the_return_wire_counts_length_and_drop_outs() -> None:
    play = Play(start(a_map(), "a", now=NOW)).give(board(PLAIN)).choose("return")
    assert "no input for a return wire" in play.search.message
    play.give(board()).choose("return")
    (count,) = play.effects
    assert isinstance(count, CountChain)
    assert count.sent > 40
    play.give(Tick())
    assert not play.effects  # one at a time
    play.give(Counted(count, 41, 41, 100)).give(Tick())
    assert list(play.effects) == [count]
    play.give(Counted(count, 41, 43, 50)).give(Tick())
    assert "41 pixels found, 1 drop-outs in 2 counts; the map says 40" in details(play.search)
    play.choose("end")
    assert "41 pixels found" in play.search.map.revisions[-1].reason
    assert SaveMap(play.search.map) in play.effects


def test_nothing_on_the_return_wire_is_said_and_more_is_sent() -> None:
    play = Play(start(a_map(), "a", now=NOW)).give(board()).choose("return")
    (count,) = play.effects
    assert isinstance(count, CountChain)
    play.give(Counted(count, count.sent, count.sent, 0))
    assert "nothing came back" in details(play.search)[0]
    play.give(Tick())
    assert play.effects == (CountChain(0, 2 * count.sent),)


def test_a_soak_outlasts_silence_and_keeps_when_it_went_wrong() -> None:
    play = Play(start(a_map(), "a", now=NOW)).give(board()).choose("soak")
    (shown,) = play.shown()
    assert isinstance(shown, RunPattern)
    assert shown.hold
    assert shown.step_ms >= 1_000
    play.give(Tick(), after_s=600)
    assert "10.0 min" in play.search.message
    play.give(Say(True, NOW), after_s=30)
    assert play.search.map.revisions[-1].reason == "soak of Playfield: trouble after 10.5 min"
    assert SaveMap(play.search.map) in play.effects
    assert play.mode() is SearchMode.CONTEXT
    assert play.shown() == [ShowDark(None)]
