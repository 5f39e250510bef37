"""The fault search as a pure step: questions and their light, the safety stop, places, splitting, a lost board."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.orders import RestartCause
from probe.faults.engine import UNSURE
from probe.faults.joint import JointTest
from probe.faults.knowledge import ChainPower
from probe.faults.search import Back, Choose, Heat, Key, Relight, Say, Step, Take, Typed, Undo, Unsure, start
from probe.faults.state import SearchMode
from probe.faults.words import details, headline, light_words, suspect_lines
from probe.task.steps import (
    BoardDark,
    BoardGone,
    CountChain,
    Counted,
    LineTrouble,
    News,
    RingBell,
    RunPattern,
    SetUpChain,
    ShowDark,
    Shown,
    ShowPicture,
    ShowPixel,
    ShowRange,
    Tick,
)
from tests.faults.searching import NOW, PLAIN, K, Play, a_map, begun, board
from tests.support.examples import examples


def test_the_first_question_is_the_picture_and_the_board_shows_the_tour_by_itself() -> None:
    play = begun()
    assert play.asked() == "look"
    (shown,) = play.shown()
    assert isinstance(shown, RunPattern)
    assert len(shown.colours) == 4
    assert play.search.session.answer_to("link-answers") == "yes"
    assert light_words(play.search)[0] is False
    play.give(Shown(shown))
    assert light_words(play.search)[0] is True


def test_a_board_without_patterns_is_sent_pictures_step_by_step() -> None:
    play = begun(PLAIN)
    assert isinstance(play.shown()[0], ShowRange)
    seen = [play.shown()[0]]
    for _ in range(8):
        play.give(Tick(), after_s=0.5)
        seen += play.shown()
    colours = [effect.colour for effect in seen if isinstance(effect, ShowRange)]
    assert len(set(colours)) >= 3


def test_steady_only_never_changes_by_itself_and_a_held_key_does_not_make_it_flash() -> None:
    play = begun(steady_only=True)
    assert isinstance(play.shown()[0], ShowRange)
    for _ in range(20):
        play.give(Tick(), after_s=0.5)
        assert play.shown() == []
    changes = 0
    for _ in range(90):
        changes += bool(play.give(Step(1), after_s=1 / 30).shown())
    assert 3 <= changes <= 6 * 3 + 1


def test_power_off_questions_leave_the_board_dark_and_say_so() -> None:
    play = begun()
    play.search = replace(play.search, question=K.observation("arrow-first"))
    play.give(board())
    assert play.shown() == [ShowDark(None)]
    assert any("unplugged" in line for line in details(play.search))


def test_heat_stops_everything_and_goes_to_the_meter() -> None:
    play = begun()
    play.give(Heat())
    assert play.effects[0] == ShowDark(None)
    assert RingBell() in play.effects
    assert play.asked() == "supply-ohms"
    assert "Switch the pixel supply off" in details(play.search)[0]
    while play.search.question is not None:
        assert play.search.question.power is not ChainPower.ON
        play.choose(UNSURE)
        assert all(isinstance(e, ShowDark) for e in play.shown())
    play.give(board())
    assert all(isinstance(e, (ShowDark, SetUpChain)) for e in play.effects)


def test_a_picture_with_an_edge_asks_for_the_last_good_pixel() -> None:
    play = begun()
    play.choose("to-k-dark")
    assert play.mode() is SearchMode.LAST_GOOD
    assert isinstance(play.shown()[0], ShowPixel)
    play.give(Typed("forty")).give(Take(NOW))
    assert "0 to 39" in play.search.message
    play.give(Typed("14")).give(Take(NOW))
    assert play.search.session.k == 14
    assert "14 (15th)" in play.search.message


@pytest.mark.parametrize("k", [-1, 0, 13, 38])
def test_halving_lights_single_pixels_and_finds_the_edge(k: int) -> None:
    play = begun()
    play.choose("to-k-dark").choose("halve")
    looks = 0
    while play.mode() is SearchMode.HALVING:
        (shown,) = play.shown()
        assert isinstance(shown, ShowPixel)
        play.give(Say(shown.number <= k, NOW))
        looks += 1
    assert play.search.session.k == k
    assert looks <= 6


def test_readings_are_judged_and_a_bad_one_is_kept_for_correction() -> None:
    play = begun()
    play.search = replace(play.search, question=K.observation("volts-first"))
    play.give(Take(NOW))
    assert "type the reading first" in play.search.message
    play.give(Typed("12 ohm")).give(Take(NOW))
    assert "another unit" in play.search.message
    assert play.search.typed == "12 ohm"
    play.give(Typed("4,97 V")).give(Take(NOW))
    assert play.search.message == "4,97 V: good"
    assert play.search.session.answer_to("volts-first") == "good"


@pytest.mark.parametrize(
    ("results", "fault"),
    [
        ({"arrow_next": "no"}, "next-backwards"),
        ({"arrow_next": "yes", "dout_k": "0.01 / 0.01", "joint_ohms": "0.4"}, "k-output-dead"),
        ({"arrow_next": "yes", "dout_k": "1.4 / 0.01", "din_next": "0.02 / 0.01"}, "joint-open"),
        ({"arrow_next": "yes", "dout_k": "1.4 / 0.01", "din_next": "1.4 / 0.01"}, "next-dead"),
    ],
)
def test_look_alikes_at_a_joint_are_told_apart(results: dict[str, str], fault: str) -> None:
    play = begun()
    play.search = replace(play.search, splitting=False)
    play.choose("to-k-dark")
    play.give(Typed("14")).give(Take(NOW))
    play.search = replace(play.search, mode=SearchMode.FINDING)
    play.choose("split")
    asked = []
    while play.search.splitting and play.search.question is not None:
        asked.append(play.asked())
        wanted = results[play.asked().replace("-", "_")]
        if play.search.reads_meter:
            play.give(Typed(wanted)).give(Take(NOW))
        else:
            play.choose(wanted)
    assert set(asked) <= set(JointTest)
    assert play.search.diagnosis is not None
    assert play.search.diagnosis.suspects[0].cause.id == fault


def test_a_lost_board_keeps_the_question_and_is_lit_again() -> None:
    play = begun()
    play.choose("fades")
    asked = play.asked()
    play.give(BoardGone("cable out")).give(Tick())
    assert play.search.question is not None
    assert play.asked() == asked
    assert "cable out" in light_words(play.search)[1]
    play.give(board())
    assert play.asked() == asked
    assert isinstance(play.effects[0], SetUpChain)
    play.give(BoardDark())
    assert play.search.lit is None


def test_without_a_board_the_dead_link_is_a_finding_but_not_on_paper() -> None:
    play = Play(start(a_map(), "a", now=NOW)).choose("start")
    assert play.search.session.answer_to("link-answers") == "no"
    assert play.search.question is not None
    assert play.search.question.pattern is None
    play.give(board())
    assert play.search.session.answer_to("link-answers") == "yes"
    paper = Play(start(a_map(), "a", now=NOW, paper=True)).choose("start")
    assert paper.search.session.answers == ()
    assert paper.asked() == "look"


def test_a_brownout_and_damaged_replies_are_seen_by_the_program() -> None:
    play = begun()
    play.give(Shown(play.shown()[0]))  # type: ignore[arg-type]
    for _ in range(3):
        play.give(LineTrouble())
    play.give(BoardGone("it restarted")).give(board(cause=RestartCause.BROWNOUT))
    assert play.search.session.answer_to("restarted") == "yes"
    play.choose("restarts")
    assert play.search.session.answer_to("restarted") == "yes"
    assert play.search.session.answer_to("replies-damaged") == "yes"


def test_contexts_are_toggled_and_used() -> None:
    play = Play(start(a_map(), "a", now=NOW)).give(board())
    play.choose("play-only").choose("mixed-batch").choose("mixed-batch").choose("start")
    assert play.search.session.contexts == ("play-only",)


_KEYS = st.one_of(
    st.builds(Choose, st.integers(-3, 30)),
    st.just(Take(NOW)),
    st.just(Take(NOW)),
    st.just(Unsure(NOW)),
    st.builds(Say, st.booleans(), st.just(NOW)),
    st.just(Heat()),
    st.builds(Step, st.sampled_from((1, -1))),
    st.just(Undo()),
    st.just(Back(NOW)),
    st.just(Relight()),
    st.builds(Typed, st.sampled_from(("", "12", "4.9", "0.4 / 0.01", "OL", "R", "G -", "\u202e[/x]", "-5"))),
    st.just(Tick()),
    st.just(BoardGone("gone [/x]")),
    st.just(board()),
    st.just(board(PLAIN)),
    st.just(board(frozenset())),
    st.just(BoardDark()),
    st.just(Counted(CountChain(0, 72), 40, 41, 9)),
)


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(_KEYS, max_size=40), st.booleans())
def test_any_row_of_keys_and_news_leaves_a_search_that_can_be_shown(row: list[Key | News], steady: bool) -> None:
    play = Play(start(a_map(12), "a", now=NOW, steady_only=steady))
    for given_now in row:
        play.give(given_now, after_s=0.3)
        search = play.search
        assert search.items
        assert headline(search) or search.mode is SearchMode.FINDING
        details(search)
        suspect_lines(search, reasons=3)
        light_words(search)
        if search.session.stopped:
            assert not any(isinstance(e, (RunPattern, ShowRange, ShowPicture, ShowPixel)) for e in play.effects)
