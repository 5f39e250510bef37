"""The game's lamp inputs live: what is on, what changed, what is learned from it, what is noted."""

from __future__ import annotations

import pytest

from device_protocol.board import SimulatedBoard
from device_protocol.orders import EdgeCounts, WatchInputs
from probe.document.checks import check_map
from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.document.operations import update_place
from probe.game import sync, watch
from probe.game.keys import ChangeLinger, ForgetChanges, HandOver, Mismatch, WriteWhole
from probe.game.pick import PickFacts
from probe.game.watch import LearnLamp, Watch, WatchTask
from probe.task import effects as fx
from probe.task.events import Answered, Choose, Leave, Take, TaskClosed, Typed, Undo
from probe.task.light import Dark, Game
from probe.task.task import Opened
from probe.task.views import Pane, Spot, TaskView
from tests.game.desk import Desk, board_for

NOW = "2025-04-05T20:15:00Z"


@pytest.fixture(scope="module")
def demo() -> PlayfieldMap:
    return load_map(demo_map_path("kelp_forest.json"))


def at_board(map_: PlayfieldMap, **config: object) -> Desk[Watch]:
    desk = Desk((WatchTask(), Watch(map=map_)), board_for(map_, **config))
    desk.plug_in()
    return desk


def chosen(desk: Desk[Watch]) -> int | None:
    choice = desk.state.choice
    return choice.number if choice is not None else None


def shown(desk: Desk[Watch]) -> TaskView:
    return WatchTask().view(desk.state)


def panes(desk: Desk[Watch], rows: int) -> tuple[Pane, ...]:
    made = shown(desk).panes
    assert made is not None
    return made(rows)


def spots(desk: Desk[Watch]) -> tuple[Spot, ...]:
    picture = shown(desk).picture
    assert picture is not None
    assert picture.roomy, "on a small screen the inputs have the room"
    return picture.spots


def test_inputs_that_are_on_are_shown_by_name(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    assert desk.state.total == 64
    desk.input(12, True)
    desk.pass_s(0.3)
    assert [n for n, on in enumerate(desk.state.on, start=1) if on] == [12]
    assert desk.state.names[12] == "Otter bonus 6"
    assert desk.state.predicted(12) == "Otter bonus 6 (Playfield 23 (24th))"
    assert chosen(desk) == 12


@pytest.mark.parametrize(("before", "after", "edges"), [(65_535, 1, 2), (65_534, 0, 2), (7, 9, 2), (9, 7, 65_534)])
def test_edge_counts_begin_again_after_65535(demo: PlayfieldMap, before: int, after: int, edges: int) -> None:
    """SPEC 5.25: counts that wrap; only how far they went on is known."""
    task, state = WatchTask(), at_board(demo).state
    for count in (before, after):
        found = task.step(state, Answered("watch-edges", (EdgeCounts(1, (count,)),)), 100.0)
        assert found is not None
        state = found[0]
    assert [(change.number, change.times) for change in state.changes] == [(1, edges)]


def test_changes_are_the_newest_first_and_pass_away(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    for number in (3, 40, 7):
        desk.input(number, True)
        desk.pass_s(0.3)
    assert [change.number for change in desk.state.recent] == [7, 40, 3]
    desk.pass_s(watch.RECENT_S + 1)
    assert desk.state.recent == ()
    assert desk.state.choice is None


def test_the_choice_stays_on_its_input_when_others_change(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    for number in (3, 40):
        desk.input(number, True)
        desk.pass_s(0.3)
    desk.give(Choose(1))
    assert chosen(desk) == 3
    desk.input(50, True)
    desk.pass_s(0.3)
    assert chosen(desk) == 3


def test_a_pulse_too_short_for_a_notice_shows_by_its_edges(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.pass_s(3)
    for _ in range(4):
        desk.input(33, True)
        desk.input(33, False)
    desk.pass_s(3)
    change = next(change for change in desk.state.changes if change.number == 33)
    assert not change.on
    assert change.times == 4


def test_tell_me_what_changed_fills_the_lamp_number(demo: PlayfieldMap) -> None:
    target = next(place for place in demo.places if place.label == "Kelp target 3")
    blank = update_place(demo, target.model_copy(update={"lamps": ()}))
    blank = blank.model_copy(update={"lamps": tuple(lamp for lamp in demo.lamps if lamp.number != 21)})
    desk = at_board(blank)
    assert desk.state.without_lamp == (blank.place_by_id[target.id],)
    desk.input(5, True)
    desk.pass_s(0.3)
    desk.give(ForgetChanges())
    desk.input(21, True)
    desk.pass_s(0.3)
    assert [change.number for change in desk.state.recent] == [21]
    desk.give(LearnLamp(target.id))
    learned = desk.saved[-1]
    assert learned.place_by_id[target.id].lamps == (21,)
    numbers = [lamp.number for lamp in learned.lamps if lamp.number is not None]
    assert numbers == sorted(numbers)
    assert next(lamp for lamp in learned.lamps if lamp.number == 21).name == "Kelp target 3"
    assert not [f for f in check_map(learned) if f.code in ("pixel-without-job", "lamp-unknown")]
    desk.give(Undo())
    assert desk.saved[-1] is blank


def test_one_key_notes_a_mismatch_and_a_line_may_follow(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(Mismatch(NOW))
    assert not desk.saved
    desk.input(12, True)
    desk.pass_s(0.3)
    desk.give(Mismatch(NOW))
    noted = desk.saved[-1].observations[-1]
    assert (noted.lamp, noted.predicted, noted.seen) == (12, "Otter bonus 6 (Playfield 23 (24th))", watch.NOT_YET_SAID)
    desk.give(Mismatch(NOW, "Otter bonus 5 [/x]"))
    assert [seen.seen for seen in desk.saved[-1].observations] == ["Otter bonus 5 [/x]"]
    assert "seen-otherwise" in {finding.code for finding in check_map(desk.saved[-1])}
    desk.give(Mismatch(NOW, "and 4"))
    assert len(desk.saved[-1].observations) == 2


def test_the_hold_on_time_is_set_in_steps(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(ChangeLinger(1))
    assert desk.state.linger_ms == 40
    desk.give(*[ChangeLinger(-1)] * 9)
    assert desk.state.linger_ms == watch.LINGERS_MS[0]


def played_on(demo: PlayfieldMap) -> tuple[SimulatedBoard, Desk[Watch]]:
    """A board with the map's table, and the watch with the game playing on it."""
    board = board_for(demo)
    writer = Desk((sync.BoardTask(), sync.start(demo)), board)
    writer.plug_in()
    writer.give(WriteWhole())
    desk = Desk((WatchTask(), Watch(map=demo)), board)
    desk.plug_in()
    desk.give(HandOver(True))
    return board, desk


def test_the_game_lights_its_own_lamps_meanwhile(demo: PlayfieldMap) -> None:
    board, desk = played_on(demo)
    assert desk.state.game_plays
    desk.input(12, True)
    desk.pass_s(0.3)
    glow = {place.id for place in demo.places if place.group}
    assert {place for place, _ in board.lit()} - glow == {"otter-bonus-6"}
    desk.give(Leave())
    assert desk.orders[-1] == WatchInputs(False)


def test_boards_without_inputs_or_table_are_told(demo: PlayfieldMap) -> None:
    desk = at_board(demo, features=("setup",))
    assert desk.state.message == "this board reads no lamp inputs of the game"
    desk.give(HandOver(True), ChangeLinger(1), Leave(), ForgetChanges(), LearnLamp("otter-bonus-6"))
    assert not desk.saved
    desk = at_board(demo)
    desk.give(HandOver(True))
    assert "write the table first" in desk.state.message


def test_large_screens_show_what_is_on_what_changed_before_and_what_never_was(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    named = len({number for number in desk.state.names if number <= 64})
    assert len(desk.state.never_seen) == named
    desk.input(12, True)
    desk.pass_s(0.3)
    place = demo.place_by_id["otter-bonus-6"]
    assert [(s.look, s.position, s.label) for s in spots(desk)] == [("offered", place.position, place.label)], (
        "watched only: nothing is lit"
    )
    desk.input(3, True)
    desk.pass_s(6.0)
    assert not desk.state.recent
    before, never = panes(desk, 4)
    assert [line.text.split()[0] for line in before.lines] == ["3", "12"]
    assert before.lines[0].note.endswith("s ago")
    assert never.title == f"Not seen on yet ({named - 2})"
    assert len(never.lines) == 4
    assert never.lines[-1].text == f"and {named - 2 - 3} more lamps", "none is left out unsaid"
    assert {spot.look for spot in spots(desk)} == {"held"}
    desk.pass_s(130.0)
    assert panes(desk, 4)[0].lines[0].note.endswith("min ago"), "the last change of each input is kept"
    desk.give(ForgetChanges())
    assert panes(desk, 4)[0].lines[0].text == "nothing yet"


def test_a_place_that_the_game_lights_is_ringed_as_lit(demo: PlayfieldMap) -> None:
    _, desk = played_on(demo)
    desk.input(12, True)
    desk.pass_s(0.3)
    assert [spot.label for spot in spots(desk) if spot.look == "lit"] == ["Otter bonus 6"]


def test_edges_long_after_a_change_are_counted_anew(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.pass_s(2.5)
    for pause_s, times in ((2.5, 1), (2.5, 2), (watch.COUNTED_S + 1, 3), (2.5, 1)):
        desk.input(12, True)
        desk.pass_s(2.5)
        assert desk.state.changes[0].times == times
        desk.input(12, False)
        desk.pass_s(pause_s)


def test_a_lamp_named_as_its_place_is_named_once(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.input(12, True)
    desk.pass_s(0.3)
    (line,) = shown(desk).items
    assert line.text.count("Otter bonus 6") == 1
    assert line.text.endswith("; Playfield 23 (24th)")


def test_a_lost_board_leaves_no_stale_panel(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.input(12, True)
    desk.pass_s(0.3)
    desk.unplug()
    assert list(desk.state.on) == []
    desk.plug_in()
    assert desk.state.on[11]


def test_more_inputs_than_one_answer_holds(demo: PlayfieldMap) -> None:
    desk = at_board(demo, inputs=150)
    assert len(desk.state.on) == 150
    desk.input(140, True)
    desk.pass_s(0.3)
    assert desk.state.on[139]
    assert desk.state.predicted(140) == "nothing: the map has no such lamp"


@pytest.mark.parametrize("inputs", [16, 150])
def test_the_last_input_is_seen_and_has_its_cell(demo: PlayfieldMap, inputs: int) -> None:
    desk = at_board(demo, inputs=inputs)
    desk.input(inputs, True)
    desk.pass_s(0.3)
    assert desk.state.on[-1]
    assert chosen(desk) == inputs
    view = desk.task.view(desk.state)
    assert isinstance(view, TaskView)
    cells = [cell.text.strip(">+ ") for cell in view.cells if cell.text]
    shown = min(inputs, 8 * 16)
    assert sorted(int(text.rstrip("●·")) for text in cells) == list(range(1, shown + 1))
    assert (f"{inputs}●" in cells) == (inputs == shown)


def test_leaving_tells_the_board_to_stop_before_it_is_closed(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(Leave())
    stop, close = desk.effects[-2:]
    assert stop == fx.Ask((WatchInputs(False),), "watch-off")
    assert close == fx.Close()
    assert desk.orders[-1] == WatchInputs(False)


def test_a_place_is_picked_for_the_input_that_was_chosen(demo: PlayfieldMap) -> None:
    target = next(place for place in demo.places if place.label == "Kelp target 3")
    blank = update_place(demo, target.model_copy(update={"lamps": ()}))
    desk = at_board(blank)
    desk.give(Take())
    assert desk.state.message.startswith("nothing changed lately")
    desk.input(21, True)
    desk.pass_s(0.3)
    desk.give(Take())
    (opened,) = desk.opened
    assert opened.task == "pick"
    assert isinstance(opened.facts, PickFacts)
    assert opened.facts.first == (target.id,)
    desk.device.set_input(40, True, desk.now_ms)  # heard by the task on top
    desk.give(TaskClosed("pick", target.id))
    assert desk.map.place_by_id[target.id].lamps == (21,)
    assert desk.state.on[39]
    assert [change.number for change in desk.state.recent] == [40], "what changed meanwhile is seen"
    desk.give(Take(), TaskClosed("pick", None))
    assert desk.state.learning is None


def test_the_line_is_for_what_was_seen_while_it_is_open(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.input(12, True)
    desk.pass_s(0.3)
    desk.give(Mismatch(NOW))
    assert desk.state.typed == ""
    desk.give(Typed("both"), Leave())
    assert desk.state.typed is None
    assert not desk.closed
    desk.give(Mismatch(NOW), Typed(" both on "), Take(NOW))
    assert [seen.seen for seen in desk.map.observations] == [watch.NOT_YET_SAID, "both on"]


def test_the_game_keeps_the_pixels_that_it_was_given_before(demo: PlayfieldMap) -> None:
    task, state = watch.make(Opened(demo, watch.WatchFacts(game_plays=True)))
    assert task.light(state) == Game()
    assert task.light(watch.make(Opened(demo))[1]) == Dark()


def test_a_board_that_did_not_hear_is_asked_again_when_it_is_back(demo: PlayfieldMap) -> None:
    desk = Desk((WatchTask(), Watch(map=demo)), board_for(demo))
    heard, desk.answer = desk.answer, None
    desk.plug_in()
    before = desk.state
    assert before.total == 0
    desk.answer = heard
    desk.unplug()
    desk.plug_in()
    assert desk.state.total == 64
