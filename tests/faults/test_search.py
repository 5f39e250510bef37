"""The fault search as a pure step: order of effects, safety stop, places, splitting, repair, what is kept."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.messages import Identity, RestartCause
from probe.faults.engine import UNSURE
from probe.faults.joint import JointTest
from probe.faults.knowledge import After, Power
from probe.faults.scene import CHAIN, Scene
from probe.faults.search import start, start_practice, step
from probe.faults.search_keys import Back, Choose, Heat, Key, Relight, Say, Step, Take, Typed, Undo, Unsure
from probe.faults.search_log import score
from probe.faults.search_state import Mode, Search
from probe.faults.search_words import details, headline, light_words, repair_lines, sheet, suspect_lines
from probe.faults.signature import Candidate, predict
from probe.faults.tables import load
from probe.maps.harness import Batch, Joint
from probe.maps.model import Chain, PlayfieldMap
from probe.maps.operations import add_chain, add_place, assign_place, new_map, replace_chain, set_count
from probe.maps.revisions import last_undoable
from probe.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    CountChain,
    Counted,
    Effect,
    LineTrouble,
    News,
    NotSaved,
    RingBell,
    RunPattern,
    SaveMap,
    SetUpChain,
    ShowDark,
    Shown,
    ShowPicture,
    ShowPixel,
    ShowRange,
    Tick,
)

K = load()
NOW = "2025-03-16T20:00:00Z"
ALL = frozenset({"setup", "range", "silence", "paint", "pattern", "count"})
PLAIN = frozenset({"setup", "range", "silence", "paint"})


def board(features: frozenset[str] = ALL, cause: RestartCause = RestartCause.EXTERNAL) -> BoardHere:
    return BoardHere(
        Identity(
            proto=1,
            board="test-board",
            build="1.0",
            line=96,
            outputs=2,
            pixels=200,
            ceiling_ma=2_000,
            channel_ua=20_000,
            idle_ua=1_000,
            silence_ms=5_000,
            uptime_ms=10,
            cause=cause,
            table=0,
            features=features,
        )
    )


def a_map(count: int = 40) -> PlayfieldMap:
    m = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0))
    m = set_count(m, "a", count)
    for number in range(count):
        m, place = add_place(m, f"Reef lane {number}")
        m = assign_place(m, "a", number, place.id)
    return m


class Play:
    """A search and what it asked for."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.effects: tuple[Effect, ...] = ()
        self.now_s = 100.0

    def give(self, given: Key | News, after_s: float = 1.0) -> Play:
        self.now_s += after_s
        self.search, self.effects = step(self.search, given, self.now_s)
        return self

    def choose(self, key: str) -> Play:
        keys = [item.key for item in self.search.items]
        self.give(Choose(keys.index(key) - self.search.chosen))
        return self.give(Take(NOW))

    def mode(self) -> Mode:
        return self.search.mode

    def asked(self) -> str:
        assert self.search.question is not None
        return self.search.question.id

    def shown(self) -> list[Effect]:
        return [e for e in self.effects if isinstance(e, (ShowPixel, ShowRange, ShowPicture, ShowDark, RunPattern))]


def begun(features: frozenset[str] = ALL, **more: bool) -> Play:
    play = Play(start(a_map(), "a", now=NOW, **more))
    play.give(board(features))
    play.choose("start")
    return play


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
        assert play.search.question.power is not Power.ON
        play.choose(UNSURE)
        assert all(isinstance(e, ShowDark) for e in play.shown())
    play.give(board())
    assert all(isinstance(e, (ShowDark, SetUpChain)) for e in play.effects)


def test_a_picture_with_an_edge_asks_for_the_last_good_pixel() -> None:
    play = begun()
    play.choose("to-k-dark")
    assert play.mode() is Mode.LAST_GOOD
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
    while play.mode() is Mode.HALVING:
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


def told(play: Play, **answers: str) -> Play:
    """Answer what is asked: readings typed, the rest by id; not sure to all else."""
    while play.mode() in (Mode.QUESTION, Mode.LAST_GOOD):
        if play.mode() is Mode.LAST_GOOD:
            play.give(Typed(answers["k"])).give(Take(NOW))
            continue
        wanted = answers.get(play.asked().replace("-", "_"), UNSURE)
        if play.search.reads_meter and wanted != UNSURE:
            play.give(Typed(wanted)).give(Take(NOW))
        else:
            play.choose(wanted)
    return play


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
    play.search = replace(play.search, mode=Mode.FINDING)
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
    assert play.search.finding is not None
    assert play.search.finding.suspects[0].cause.id == fault


def repaired(play: Play) -> Play:
    play.choose("to-k-dark")
    play.give(Typed("14")).give(Take(NOW))
    told(play, arrow_next="no", after_work="yes", when="always")
    assert play.mode() is Mode.FINDING
    return play.choose("repair:next-backwards")


def test_a_repair_shows_the_joint_and_is_kept_with_its_date() -> None:
    m = a_map()
    chain = m.chain("a")
    pixels = tuple(p.model_copy(update={"batch": "new" if n == 15 else "old"}) for n, p in enumerate(chain.pixels))
    joint = Joint(after=pixels[14].id, before=pixels[15].id, leaving_data="green")
    m = replace_chain(m, chain.model_copy(update={"pixels": pixels, "joints": (joint,)}))
    old = Batch(id="old", name="First bag", five_volt="red", ground="white", data_in="blue", data_out="blue")
    new = Batch(id="new", name="Cheap bag [/x]", five_volt="white", ground="blue", data_in="red", data_out="red")
    m = m.model_copy(update={"batches": (old, new)})
    play = Play(start(m, "a", now=NOW))
    assert play.search.contexts == ("mixed-batch",)
    play.give(board()).choose("start")
    repaired(play)
    lines = " ".join(repair_lines(play.search))
    assert (
        "data: the wire leaving 14 (15th) (pad DOUT, green) to the wire arriving at 15 (16th) (pad DIN, red)" in lines
    )
    assert "5 V: the wire leaving 14 (15th) (pad 5 V, red) to the wire arriving at 15 (16th) (pad 5 V, white)" in lines
    assert "unplugged" in lines
    assert play.shown() == [ShowDark(None)]
    play.choose("cured")
    assert play.mode() is Mode.DONE
    assert play.search.follow_up is After.RECHECK
    saved = next(e.map for e in play.effects if isinstance(e, SaveMap))
    revision = saved.revisions[-1]
    assert revision.time == NOW
    assert "15 (16th) sits the wrong way round" in revision.reason
    assert any("last good pixel: 14 (15th)" in line for line in revision.changes)
    assert saved.chain("a").note.startswith("2025-03-16 fault repaired")
    assert last_undoable(saved) == revision


def test_a_remedy_that_did_not_help_leads_on() -> None:
    play = repaired(begun())
    play.choose("not-cured")
    assert play.search.session.rejected == {"next-backwards"}
    assert "still there" in play.search.message


def test_undo_goes_back_answer_by_answer_and_takes_back_what_was_kept() -> None:
    play = repaired(begun())
    before = play.search.map
    play.choose("cured")
    play.give(Undo())
    assert play.mode() is Mode.REPAIR
    assert SaveMap(before) in play.effects
    while play.search.past:
        play.give(Undo())
    assert play.mode() is Mode.CONTEXT
    assert play.search.session.given == ()
    assert play.search.board.here
    play.give(Undo())
    assert "nothing to undo" in play.search.message


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
    assert paper.search.session.given == ()
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
    assert play.mode() is Mode.FLEX
    assert isinstance(play.shown()[0], RunPattern)
    assert "board to 0 (1st)" in headline(play.search)
    for joint in range(6):
        play.give(Say(joint == 3, NOW)) if joint != 4 else play.give(Unsure(NOW))
    assert play.mode() is Mode.CONTEXT
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
    assert play.mode() is Mode.CONTEXT
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
    assert play.mode() is Mode.CONTEXT
    assert play.shown() == [ShowDark(None)]


def test_an_unsaved_map_is_said_and_saved_again() -> None:
    play = repaired(begun()).choose("cured")
    play.give(NotSaved("disk full"))
    assert play.search.unsaved == "disk full"
    play.give(Relight())
    assert SaveMap(play.search.map) in play.effects


def test_contexts_are_toggled_and_used() -> None:
    play = Play(start(a_map(), "a", now=NOW)).give(board())
    play.choose("play-only").choose("mixed-batch").choose("mixed-batch").choose("start")
    assert play.search.session.contexts == ("play-only",)


def test_sheets_without_a_harness_name_functions() -> None:
    lines = sheet(a_map(), "a", -1)
    assert lines[0].startswith("Joint between the board and 0 (1st)")
    assert any("colour not noted" in line for line in lines)


@pytest.mark.parametrize("seed", range(1, 13))
def test_practice_is_played_to_the_planted_cause(seed: int) -> None:
    scene = Scene(K, seed=seed)
    play = Play(start_practice(scene.map, CHAIN, scene.planted, scene.tool))
    play.give(board())
    tries = 0
    while play.mode() is not Mode.DONE:
        if play.mode() is Mode.FINDING:
            first = next(i.key for i in play.search.items if i.key.startswith("repair:"))
            play.choose(first).choose("try")
            tries += 1
            assert tries < 8
        elif play.mode() is Mode.LAST_GOOD:
            k = scene.practice.k
            play.choose("none") if k is None or k < 0 else play.give(Typed(str(k))).give(Take(NOW))
        else:
            reply = scene.practice.answer(play.asked())
            play.give(Typed(reply.typed)).give(Take(NOW)) if reply.typed else play.choose(reply.answer)
    assert play.search.outcome[0].startswith("That was it")
    assert play.search.outcome[1].startswith("Planted: ")
    assert "Score" in play.search.outcome[-1]


def test_giving_up_shows_the_fault_and_scores_nothing() -> None:
    scene = Scene(K, seed=3)
    play = Play(start_practice(scene.map, CHAIN, scene.planted, scene.tool))
    told(play, k="3")
    play.choose("reveal")
    assert "Score 0 of 100" in play.search.outcome[-1]
    assert score(play.search, found=True) != score(play.search, found=False)


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


@settings(max_examples=60, deadline=None)
@given(st.lists(_KEYS, max_size=40), st.booleans())
def test_any_row_of_keys_and_news_leaves_a_search_that_can_be_shown(row: list[Key | News], steady: bool) -> None:
    play = Play(start(a_map(12), "a", now=NOW, steady_only=steady))
    for given_now in row:
        play.give(given_now, after_s=0.3)
        search = play.search
        assert search.items
        assert headline(search) or search.mode is Mode.FINDING
        details(search)
        suspect_lines(search, reasons=3)
        light_words(search)
        if search.session.stopped:
            assert not any(isinstance(e, (RunPattern, ShowRange, ShowPicture, ShowPixel)) for e in play.effects)
