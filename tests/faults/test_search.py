"""The fault search as a pure step: questions and their light, the safety stop, places, splitting, a lost board."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.orders import ChainCount, RestartCause
from probe.cautions import FLEX, METERING, OFF_FIRST, SUPPLY_ALONE
from probe.document.model import Chain, Position
from probe.document.operations import add_chain, set_count, update_place
from probe.faults.commands import Heat, SayYesNo, StepPattern, Unsure
from probe.faults.engine import UNSURE
from probe.faults.explain import filled
from probe.faults.joint import JointTest
from probe.faults.knowledge import ChainPower, FaultObservation, Who
from probe.faults.locate import BreakSearch
from probe.faults.search import make, start
from probe.faults.state import SearchMode
from probe.faults.view import details, headline, light_words, suspect_lines, view
from probe.task import events as ev
from probe.task.effects import Bell
from probe.task.light import BoardPattern, Dark, Outputs, OutputSetup, Pixels, lights_something
from probe.task.task import Opened
from probe.task.views import Line
from tests.faults.searching import NOW, PLAIN, K, Play, a_map, begun, board
from tests.support.examples import examples, first_now


def test_the_first_question_is_the_picture_and_the_board_shows_the_tour_by_itself() -> None:
    play = begun()
    assert play.asked() == "look"
    shown = play.shown()
    assert isinstance(shown, BoardPattern)
    assert len(shown.colours) == 4
    assert play.search.session.answer_to("link-answers") == "yes"
    assert light_words(play.search)[0] is False
    play.confirm()
    assert light_words(play.search)[0] is True


def test_a_board_without_patterns_is_sent_pictures_step_by_step() -> None:
    play = begun(PLAIN)
    seen = [play.shown()]
    for _ in range(8):
        seen.append(play.give(ev.Tick(), after_s=0.5).shown())
    assert len({light.colours[0] for light in seen if isinstance(light, Pixels)}) >= 3


def test_steady_only_never_changes_by_itself_and_a_held_key_does_not_make_it_flash() -> None:
    play = begun(steady_only=True)
    first = play.shown()
    assert isinstance(first, Pixels)
    for _ in range(20):
        assert play.give(ev.Tick(), after_s=0.5).shown() == first
    changes = 0
    for _ in range(90):
        before = play.shown()
        changes += play.give(StepPattern(1), after_s=1 / 30).shown() != before
    assert 3 <= changes <= 6 * 3 + 1


def test_power_off_questions_leave_the_board_dark_and_say_so() -> None:
    play = begun()
    play.put("arrow-first")
    assert play.shown() == Dark()
    assert any("unplugged" in line for line in details(play.search))


def test_heat_stops_everything_and_goes_to_the_meter() -> None:
    play = begun()
    play.give(Heat())
    assert play.shown() == Dark()
    assert Bell() in play.effects
    assert play.asked() == "supply-ohms"
    assert "Switch the pixel supply off" in details(play.search)[0]
    while play.search.question is not None:
        assert play.search.question.power is not ChainPower.ON
        play.choose(UNSURE)
        assert play.shown() == Dark()
    assert play.plug().shown() == Dark()


def test_after_heat_nothing_lights_whatever_the_state_holds() -> None:
    play = begun()
    running, lit = play.search.running, play.shown()
    assert running is not None
    assert lights_something(lit)
    play.give(Heat())
    for mode in SearchMode:
        held = replace(play.search, mode=mode, running=running, halving=BreakSearch(6))
        assert play.task.light(held) == Dark()


def test_a_picture_with_an_edge_asks_for_the_last_good_pixel() -> None:
    play = begun()
    play.choose("to-k-dark")
    assert play.mode() is SearchMode.LAST_GOOD
    shown = play.shown()
    assert isinstance(shown, Pixels)
    assert len(shown.colours) == 1
    play.type_in("forty")
    assert "0 to 39" in play.search.message
    play.type_in("40")
    assert play.mode() is SearchMode.LAST_GOOD
    assert "0 to 39" in play.search.message
    play.type_in("14")
    assert play.search.session.k == 14
    assert "14 (15th)" in play.search.message


@pytest.mark.parametrize(("number", "answer"), [(15, "to-k-dark"), (0, "nothing")])
def test_what_was_seen_before_it_was_opened_is_not_asked_again(number: int, answer: str) -> None:
    """Dark from a pixel on, as a recheck hands over: the picture is answered, and the joint before it is the one."""
    _, search = make(Opened(map=a_map(), facts=("a", "dark from", number), now=NOW))
    assert f"Dark from pixel {number} (" in headline(search)
    play = Play(search).plug().choose("start")
    assert play.search.session.k == number - 1
    assert play.search.session.answer_to("look") == answer
    assert play.asked() != "look"
    assert play.mode() is SearchMode.QUESTION


@pytest.mark.parametrize("k", [-1, 0, 13, 38])
def test_halving_lights_single_pixels_and_finds_the_edge(k: int) -> None:
    play = begun()
    play.choose("to-k-dark").choose("halve")
    looks = 0
    while play.mode() is SearchMode.HALVING:
        shown = play.shown()
        assert isinstance(shown, Pixels)
        assert len(shown.colours) == 1
        play.give(SayYesNo(shown.first <= k, NOW))
        looks += 1
    assert play.search.session.k == k
    assert looks <= 6


def test_readings_are_judged_and_a_bad_one_is_kept_for_correction() -> None:
    play = begun()
    play.put("volts-first")
    play.give(ev.Take(NOW))
    assert "type the reading first" in play.search.message
    play.type_in("12 ohm")
    assert "another unit" in play.search.message
    assert play.search.typed == "12 ohm"
    play.type_in("4,97 V")
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
    play.type_in("14")
    play.search = replace(play.search, mode=SearchMode.FINDING)
    play.choose("split")
    asked = []
    while play.search.splitting and play.search.question is not None:
        asked.append(play.asked())
        wanted = results[play.asked().replace("-", "_")]
        if play.search.reads_meter:
            play.type_in(wanted)
        else:
            play.choose(wanted)
    assert set(asked) <= set(JointTest)
    assert play.search.diagnosis is not None
    assert play.search.diagnosis.suspects[0].cause.id == fault


def test_a_lost_board_keeps_the_question_and_is_lit_again() -> None:
    play = begun()
    play.choose("fades")
    asked = play.asked()
    play.unplug().give(ev.Tick())
    assert play.search.question is not None
    assert play.asked() == asked
    assert light_words(play.search) == (False, "no board"), "why stands on every screen, once"
    play.plug()
    assert play.asked() == asked
    light = play.shown()
    assert not play.search.is_lit
    assert play.confirm().search.is_lit
    play.dark_by_itself()
    assert not play.search.is_lit
    assert play.shown() == light


def test_without_a_board_the_dead_link_is_a_finding_but_not_on_paper() -> None:
    play = Play(start(a_map(), "a", now=NOW)).choose("start")
    assert play.search.session.answer_to("link-answers") == "no"
    assert play.search.question is not None
    assert play.search.question.pattern is None
    play.plug()
    assert play.search.session.answer_to("link-answers") == "yes"
    paper = Play(start(a_map(), "a", now=NOW, paper=True)).choose("start")
    assert paper.search.session.answers == ()
    assert paper.asked() == "look"


def test_a_brownout_and_damaged_replies_are_seen_by_the_program() -> None:
    play = begun()
    play.confirm()
    for _ in range(3):
        play.give(ev.LineTrouble())
    play.unplug("it restarted").plug(board(cause=RestartCause.BROWNOUT))
    assert play.search.session.answer_to("restarted") == "yes"
    play.choose("restarts")
    assert play.search.session.answer_to("restarted") == "yes"
    assert play.search.session.answer_to("replies-damaged") == "yes"


def test_contexts_are_toggled_and_used() -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug()
    play.choose("play-only").choose("mixed-batch").choose("mixed-batch").choose("start")
    assert play.search.session.contexts == ("play-only",)


def test_a_chain_has_one_history() -> None:
    play = Play(start(a_map(), "a", now=NOW)).plug()
    play.choose("worked-weeks").choose("play-only").choose("first-power")
    assert set(play.search.contexts) >= {"first-power", "play-only"}
    assert not {"worked-weeks", "just-spliced"} & set(play.search.contexts)
    assert "first-power" not in play.choose("just-spliced").search.contexts
    assert not {"first-power", "just-spliced", "worked-weeks"} & set(play.choose("just-spliced").search.contexts)


def test_what_is_typed_where_nothing_is_asked_for_is_dropped() -> None:
    play = begun()
    assert play.give(ev.Typed("12")).search.typed == ""
    assert view(play.search).typed is None
    play.choose("to-k-dark")
    assert play.give(ev.Typed("12")).search.typed == "12"
    assert view(play.search).typed == "12"


_BOARD = {
    "gone": lambda play: play.unplug("gone [/x]"),
    "all": lambda play: play.plug(),
    "plain": lambda play: play.plug(board(PLAIN)),
    "bare": lambda play: play.plug(board(frozenset())),
    "lit": lambda play: play.confirm() if play.search.board.here else play,
    "dark": lambda play: play.dark_by_itself(),
}
_EVENTS = st.one_of(
    st.builds(ev.Choose, st.integers(-3, 30)),
    st.just(ev.Take(NOW)),
    st.just(ev.Take(NOW)),
    st.just(Unsure(NOW)),
    st.builds(SayYesNo, st.booleans(), st.just(NOW)),
    st.just(Heat()),
    st.builds(StepPattern, st.sampled_from((1, -1))),
    st.just(ev.Undo()),
    st.just(ev.Leave()),
    st.just(ev.Retry()),
    st.builds(ev.Typed, st.sampled_from(("", "12", "4.9", "0.4 / 0.01", "OL", "R", "G -", "\u202e[/x]", "-5"))),
    st.just(ev.Tick()),
    st.sampled_from(sorted(_BOARD)),
    st.just(ev.Answered("count", (ChainCount(40, 41, 9),))),
    st.just(ev.NotAnswered("count", "refused")),
)


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(_EVENTS, max_size=40), st.booleans())
def test_any_row_of_events_leaves_a_search_that_can_be_shown(row: list[object], steady: bool) -> None:
    play = Play(start(a_map(12), "a", now=NOW, steady_only=steady))
    for event in row:
        if isinstance(event, str):
            _BOARD[event](play)
        else:
            play.give(event, after_s=0.3)
        search = play.search
        assert search.items
        assert headline(search) or search.mode is SearchMode.FINDING
        details(search)
        suspect_lines(search, reasons=3)
        light_words(search)
        assert view(search).items
        assert not any(line.text[:1].islower() for line in view(search).items), "answers begin alike"
        if search.session.unsafe:
            assert not lights_something(play.shown())


def drawn(play: Play) -> dict[str, str]:
    """Look by label of what the picture shows above the map."""
    picture = view(play.search).picture
    assert picture is not None
    assert picture.roomy
    assert picture.route
    return {spot.label: spot.look for spot in picture.spots}


def test_the_picture_shows_the_joint_that_is_looked_at_and_lit_only_what_the_board_confirmed() -> None:
    map_ = a_map()
    assert view(start(map_, "a", now=NOW)).picture is None, "no place has a position"
    for number, place in enumerate(map_.places):
        map_ = update_place(map_, place.model_copy(update={"position": Position(x_mm=50 + 5 * number, y_mm=400)}))
    play = Play(start(map_, "a", now=NOW)).plug().choose("start")
    assert drawn(play) == {}
    play.choose("to-k-dark").type_in("14")
    assert drawn(play) == {"Reef lane 14": "held", "Reef lane 15": "offered"}
    assert view(play.search, (Line("0    10    20"),)).picture is None, "what stands in for eyes has the width"
    play = Play(start(map_, "a", now=NOW)).plug().choose("start").choose("to-k-dark").choose("none")
    assert drawn(play) == {"Reef lane 0": "offered"}, "before the first pixel there is none"
    play = Play(start(map_, "a", now=NOW)).plug().choose("start").choose("to-k-dark").choose("halve")
    ((asked, look),) = drawn(play).items()
    assert look == "offered"
    play.confirm()
    assert drawn(play) == {asked: "lit"}
    play = Play(start(map_, "a", now=NOW)).plug().choose("flex")
    assert drawn(play) == {"Reef lane 0": "offered"}
    play.give(SayYesNo(False, NOW))
    assert drawn(play) == {"Reef lane 0": "held", "Reef lane 1": "offered"}


def test_what_was_said_and_what_would_mend_the_first_suspect_stand_in_panes() -> None:
    play = begun()
    made = view(play.search).panes
    assert made is not None
    assert made(12) == (), "nothing was said yet"
    play.choose("to-k-dark").type_in("14").give(Unsure(NOW))
    made = view(play.search).panes
    assert made is not None
    said, mend = made(23)
    assert len(made(10)) == 1, "a caution that would be cut is not begun"
    assert [line.text for line in said.lines[1::2]] == ["  not sure", "  lit up to some place; dark after it"], (
        "newest first"
    )
    assert mend.lines[0].text == OFF_FIRST, "the caution comes before the remedy"
    assert play.search.diagnosis is not None
    cause = play.search.diagnosis.suspects[0].cause
    assert mend.lines[1].text == filled(cause.remedy, 14) + "."
    assert len(made(3)[0].lines) == 2, "no more than there is room for"


def test_cautions_and_safety_steps_stand_with_the_question_and_reasons_only_where_there_is_room() -> None:
    play = begun().put("arrow-first")
    above = [line.text for line in view(play.search).above]
    assert any("unplugged" in text for text in above)
    assert view(play.search).details == ()
    play = begun().choose("to-k-dark").type_in("14")
    suspects = [line for line in view(play.search).below if line.text[:1].isdigit()]
    reasons = [line for line in view(play.search).below if line.text.startswith("    ")]
    assert suspects
    assert reasons
    assert all(line.tall for line in reasons)
    assert not any(line.tall for line in suspects)
    play.give(Heat())
    above = [line.text for line in view(play.search).above]
    assert above[2].startswith("Switch the pixel supply off")
    assert "all dark, for safety" in view(play.search).below[0].text


def test_every_output_is_set_up_for_the_chain_that_may_hang_there() -> None:
    """Its order and its length, else a board refuses pixels beyond the other chain's; the lower ceiling of both."""
    map_ = add_chain(a_map(6), Chain(id="b", name="Backbox", output=1, order="RGB", ceiling_ma=100))
    play = Play(start(set_count(map_, "b", 4), "a", now=NOW)).plug().choose("start").put("all-outputs")
    shown = play.shown()
    assert isinstance(shown, Outputs)
    here, there = shown.parts
    assert (here.output, here.setup, len(here.colours)) == (0, None, 6)
    assert (there.output, len(there.colours)) == (1, 6)
    assert there.setup == replace(OutputSetup.of(play.search.here), ceiling_ma=100)


@pytest.mark.parametrize(
    ("cause", "question", "restarted"),
    [
        (RestartCause.BROWNOUT, "arrow-next", "yes"),
        (RestartCause.WATCHDOG, "arrow-next", "yes"),
        (RestartCause.EXTERNAL, "look", "no"),
        (RestartCause.POWER, "look", "yes"),
        (RestartCause.POWER, "colours", "no"),
    ],
)
def test_which_restarts_count_as_the_chains_doing(cause: RestartCause, question: str, restarted: str) -> None:
    """A dip or a hung board always does; power that went away does while a pattern loads the supply; a port opening never."""
    play = begun().confirm()
    play.choose("to-k-dark").type_in("14").put(question)
    play.unplug().plug(board(cause=cause))
    assert play.search.session.answer_to("restarted") == restarted


def test_nothing_lit_before_means_that_no_restart_is_the_chains_doing() -> None:
    play = begun()
    play.choose("to-k-dark").unplug().plug(board(cause=RestartCause.BROWNOUT))
    assert play.search.session.answer_to("restarted") == "no"


@pytest.mark.parametrize(
    "question", first_now([observation for observation in K.observations if observation.who is not Who.TOOL], now=12)
)
def test_hands_in_the_wiring_are_cautioned(question: FaultObservation) -> None:
    play = begun()
    play.search = replace(play.search, question=question)
    lines = details(play.search)
    off = question.power is ChainPower.OFF or question.who in (Who.METER_UNPOWERED, Who.JUMPER, Who.SWAP, Who.PROBE)
    assert (OFF_FIRST in lines) == off
    alone = question.power is ChainPower.SUPPLY
    assert (SUPPLY_ALONE in lines) == alone
    assert (METERING in lines) == (question.who is Who.METER_POWERED and not off and not alone)
    assert (FLEX in lines) == (question.who is Who.FLEX and not off)


@pytest.mark.slow
def test_after_enough_questions_what_is_known_is_handed_over_and_more_can_be_asked() -> None:
    play = begun().choose("random")
    while play.mode() is SearchMode.QUESTION:
        play.choose(UNSURE)
    assert (play.mode(), play.search.over) == (SearchMode.FINDING, "enough questions")
    asked = play.search.session.questions_asked
    assert asked == 9
    lines = details(play.search)
    for heading in ("Known:", "Measure or try next:", "Ask somebody"):
        assert any(line.startswith(heading) for line in lines)
    text = " ".join(lines)
    assert "wild colours or flicker everywhere" in text
    assert text.count("?") >= asked  # what was not sure is listed for somebody else
    play.choose("keep")
    assert any(line.startswith("next: ") for line in play.committed().revisions[-1].changes)
    play.choose("more")
    assert play.mode() is SearchMode.QUESTION
    while play.mode() is SearchMode.QUESTION:
        play.choose(UNSURE)
    assert asked < play.search.session.questions_asked <= 15


@pytest.mark.slow
def test_a_sure_finding_hands_nothing_over_and_an_unsafe_one_says_what_would_make_it_safe() -> None:
    play = begun().choose("swap-all")
    while play.mode() is SearchMode.QUESTION:
        play.choose({"settings-flip": "order", "colours": "swap-all"}.get(play.asked(), UNSURE))
    assert play.search.handed_over == ()
    play = begun().choose("nothing").give(Heat())
    while play.mode() is SearchMode.QUESTION:
        play.choose(UNSURE)
    text = " ".join(play.search.handed_over)
    assert "Not safe to power before:" in text
    assert "ohms from 5 V to GND once settled? no short" in text


def test_no_last_good_pixel_is_asked_for_once_the_board_is_gone() -> None:
    """One pixel would have to walk: without a board none does."""
    play = begun().unplug().choose("to-k-dark")
    assert play.mode() is not SearchMode.LAST_GOOD


def test_a_walk_that_stops_asks_for_the_place_that_the_picture_did_not_give() -> None:
    play = begun().choose(UNSURE).put("walk").choose("stops")
    assert play.mode() is SearchMode.LAST_GOOD
    play.type_in("7")
    assert play.search.session.k == 7
    assert play.search.session.answer_to("walk") == "stops"
