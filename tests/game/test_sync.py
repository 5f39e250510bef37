"""The map's table goes into a board, whole or not at all, and is read back the same."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.errors import ErrorCode
from device_protocol.lamp_table import TableGroup, TableLamp, decode_table
from device_protocol.orders import CommitTable, Player, RestartCause, TableBytes, WriteTable
from device_protocol.values import DARK
from probe.document.board_table import TableTooLargeError, board_table, differences, duties
from probe.document.file import demo_map_path, load_map
from probe.document.joining import open_rows, places_of_lamp
from probe.document.lamp_table import LampRow, lamp_table
from probe.document.model import Chain, Kind, Lamp, PlayfieldMap
from probe.document.operations import add_chain, add_place, add_revision, assign_place, new_map, update_place
from probe.game.keys import CompareTables, HandOver, WriteWhole
from probe.game.sync import PIECES_AT_ONCE, BoardTask, Sync, SyncStage, obstacle, start
from probe.task import effects as fx
from probe.task.events import Answered, MapChanged, NotAnswered
from probe.task.light import Dark, Game
from tests.document.strategies import maps
from tests.game.desk import Desk, board_for
from tests.support.examples import examples


@pytest.fixture(scope="module")
def demo() -> PlayfieldMap:
    map_ = load_map(demo_map_path("kelp_forest.json"))
    for at, place in enumerate(map_.places):
        if at % 4 == 0:
            map_ = update_place(map_, place.model_copy(update={"level": 40 + at, "colour": "FF9020" if at % 8 else ""}))
    return map_


def at_board(map_: PlayfieldMap, board: SimulatedBoard | None = None) -> Desk[Sync]:
    desk = Desk((BoardTask(), start(map_)), board or board_for(map_))
    desk.plug_in()
    return desk


def test_every_lamp_and_group_of_the_map_is_in_the_table_and_nothing_else(demo: PlayfieldMap) -> None:
    made = board_table(demo)
    assert decode_table(made.image) == made.table
    rows = lamp_table(demo)
    for row in rows.lamps:
        assert duties(made.table, TableLamp(row.number)) == {(p.output, p.number): p.duty for p in row.pixels}
    for number, group in enumerate(rows.groups):
        assert duties(made.table, TableGroup(number)) == {(p.output, p.number): p.duty for p in group.always_on}
    assert made.table.lamps() == tuple(row.number for row in rows.lamps if row.pixels)
    assert board_table(demo).image == made.image


def test_one_input_switches_a_whole_group_of_general_illumination(demo: PlayfieldMap) -> None:
    """A relay switches a string of lamps: on the board, by the input of that row's number, and in every list of the map."""
    relay = Lamp(number=64, name="Tide pool string", kind=Kind.GENERAL, group="Always on,  tide pool")
    map_ = demo.model_copy(update={"lamps": (*demo.lamps, relay)})
    name = "always on, Tide pool"
    before, after = lamp_table(demo).group(name), lamp_table(map_)
    assert before is not None
    assert before.always_on
    switched = after.lamp(64)
    assert switched is not None
    assert switched.pixels == before.always_on
    assert [group.always_on for group in after.groups if group.name == name] == [()]
    assert {place.group for place in places_of_lamp(map_, relay)} == {name}
    assert relay not in open_rows(map_)
    # an insert's row with a number and a group only belongs to that group: it does not switch it
    insert = relay.model_copy(update={"kind": Kind.INSERT})
    assert lamp_table(demo.model_copy(update={"lamps": (*demo.lamps, insert)})).lamp(64) == LampRow(
        64, (relay.name,), ()
    )

    desk = at_board(map_)
    desk.give(WriteWhole())
    desk.pass_s(2)
    desk.device.give_pixels(Player.GAME)

    def lit(number: int, on: bool) -> set[int]:
        desk.input(number, on)
        desk.pass_s(1)
        chain = map_.chains[0]
        assert chain.output == 0
        return {number for number, colour in enumerate(desk.device.shown(0)) if colour != DARK}

    others = {p.number for group in after.groups for p in group.always_on if p.output == 0}
    assert lit(64, on=False) == others
    assert lit(64, on=True) == others | {p.number for p in before.always_on if p.output == 0} != others
    assert lit(64, on=False) == others


@pytest.mark.slow
@given(maps())
def test_any_map_makes_a_table_that_reads_back_or_says_why_not(map_: PlayfieldMap) -> None:
    try:
        made = board_table(map_)
    except TableTooLargeError:
        assert start(map_).problem
        return
    assert decode_table(made.image) == made.table
    assert differences(made, decode_table(made.image)) == ()
    for row in lamp_table(map_).lamps:
        assert duties(made.table, TableLamp(row.number)) == {(p.output, p.number): p.duty for p in row.pixels}


def test_an_empty_board_is_written_read_back_and_holds_the_same(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    assert desk.state.stage is SyncStage.COMPARED
    assert desk.state.message == "the board holds no table yet"
    assert not desk.state.same
    desk.give(WriteWhole())
    assert desk.state.same
    assert desk.state.message == "written, read back, the same"
    assert desk.state.held.revision == demo.revisions[-1].number
    assert isinstance(
        next(o for o in reversed(desk.orders) if not o.WORD.startswith(("read", "table", "play"))), CommitTable
    )
    desk.give(CompareTables())
    assert desk.state.same
    assert desk.state.message == "board and map hold the same table"


def test_the_same_table_is_not_written_again(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(WriteWhole())
    before = len(desk.orders)
    desk.give(WriteWhole())
    assert len(desk.orders) == before
    assert "already" in desk.state.message


def test_another_table_is_told_lamp_by_lamp(demo: PlayfieldMap) -> None:
    board = board_for(demo)
    at_board(demo, board).give(WriteWhole())
    place = next(place for place in demo.places if place.label == "Whirlpool")
    dimmed = update_place(demo, place.model_copy(update={"level": 3}))
    chain, number = demo.pixels_at[place.id][0]
    moved = assign_place(dimmed, chain, number, next(p for p in demo.places if p.label == "Otter jackpot").id)
    assert at_board(dimmed, board).state.differences == (f"lamp 49: other level or colour at 0:{number}",)
    assert at_board(moved, board).state.differences == (
        f"lamp 49: the map has no pixel, the board 0:{number}",
        f"lamp 51: the map has 0:{number}, 0:{number + 2}, the board 0:{number + 2}",
    )


def test_a_new_revision_that_lights_the_same_is_written_all_the_same(demo: PlayfieldMap) -> None:
    board = board_for(demo)
    at_board(demo, board).give(WriteWhole())
    desk = at_board(add_revision(demo, time="2025-04-01T10:00:00Z", reason="looked at"), board)
    assert desk.state.message.startswith("they light the same")
    assert desk.state.differences == ()
    desk.give(WriteWhole())
    assert desk.state.same


def held(desk: Desk[Sync]) -> bytes:
    fresh = at_board(new_map("Kelp Forest"), desk.device)
    image: bytes = fresh.state.image
    return image


@pytest.mark.slow
@settings(max_examples=examples(60), deadline=None)
@given(cut=st.integers(0, 40), restart=st.booleans())
def test_cut_at_any_order_the_board_holds_the_old_table_or_the_new_one(cut: int, restart: bool) -> None:
    old = load_map(demo_map_path("kelp_forest.json"))
    new = update_place(old, old.places[0].model_copy(update={"level": 9, "colour": "0000FF"}))
    board = board_for(old)
    at_board(old, board).give(WriteWhole())
    desk = at_board(new, board)
    desk.cut_after = cut
    desk.give(WriteWhole())
    if restart:
        board.restart(RestartCause.POWER, desk.now_ms)
    assert held(desk) in (board_table(old).image, board_table(new).image)
    if desk.state.same:
        assert held(desk) == board_table(new).image
    desk.cut_after = None
    desk.plug_in()
    desk.give(WriteWhole())
    assert desk.state.same, desk.state.message


def test_four_colours_leave_room_for_three_quarters_of_the_pixels(demo: PlayfieldMap) -> None:
    """SPEC 5.19: `pixels` are of three colours."""
    four = tuple(chain.model_copy(update={"order": "GRBW"}) for chain in demo.chains)
    with_white = demo.model_copy(update={"chains": four})
    for map_, pixels, words in ((demo, 84, ""), (with_white, 100, "lights 0 to 74 there"), (with_white, 112, "")):
        desk = at_board(map_, board_for(map_, play_pixels=pixels, table_bytes=4_000))
        assert (words in obstacle(desk.state)) if words else obstacle(desk.state) == ""


def test_what_does_not_fit_is_not_begun(demo: PlayfieldMap) -> None:
    for config, words in (
        ({"table_bytes": 100}, "room for 100"),
        ({"lamps": 40}, "lamps up to 40"),
        ({"groups": 4}, "keeps 4"),
        ({"play_pixels": 80}, "lights 0 to 79 there"),
    ):
        desk = at_board(demo, board_for(demo, **config))
        desk.give(WriteWhole())
        assert words in desk.state.message
        assert not any(isinstance(order, WriteTable) for order in desk.orders)
    short = SimulatedBoard(BoardConfig(outputs=1, pixels=300, table_bytes=1_000))
    desk = at_board(demo, short)
    desk.give(WriteWhole())
    assert "output 1" in desk.state.message


def test_what_just_fits_is_no_obstacle_and_one_less_is(demo: PlayfieldMap) -> None:
    table = board_table(demo).table
    last = max(entry.pixel for entry in table.entries)
    for name, least in (("lamps", table.lamps()[-1]), ("groups", table.groups()[-1] + 1), ("play_pixels", last + 1)):
        assert obstacle(at_board(demo, board_for(demo, **{name: least})).state) == "", name
        assert obstacle(at_board(demo, board_for(demo, **{name: least - 1})).state) != "", name


def test_boards_without_memory_and_maps_without_pixels_are_told(demo: PlayfieldMap) -> None:
    desk = at_board(demo, board_for(demo, features=("setup",)))
    assert desk.state.stage is SyncStage.LACKING
    desk.give(WriteWhole(), HandOver(), CompareTables())
    assert "export the table" in desk.state.message or "lights no lamps" in desk.state.message
    desk = at_board(new_map("Kelp Forest"), board_for(demo))
    desk.give(WriteWhole())
    assert "no chain" in desk.state.message


def test_a_map_that_no_table_can_hold_says_so() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, count=5_000))
    map_, place = add_place(map_, "Reef lane 1", lamps=(1,))
    map_ = assign_place(map_, "a", 4_200, place.id)
    state = start(map_)
    assert state.ours is None
    assert "4200" in state.problem


def test_a_board_that_is_lost_meanwhile_is_waited_for(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.unplug()
    assert desk.state.stage is SyncStage.AWAITING
    desk.give(WriteWhole())
    assert desk.bells
    desk.plug_in()
    assert desk.state.stage.value == "compared"


def test_the_game_gets_the_pixels(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(WriteWhole(), HandOver(True))
    assert desk.state.message == "the game has the pixels"
    desk.pass_s(0.2)
    always_on = {place.id for place in demo.places if place.group and place.level is None}
    assert {place for place, _ in desk.device.lit()} >= always_on
    desk.give(HandOver(False))
    assert desk.state.message == "this program has the pixels"


def test_a_board_that_forgets_what_was_staged_again_and_again_is_not_written_for_ever(demo: PlayfieldMap) -> None:
    """As a board that restarts at every second piece, and nobody hears of it."""
    desk = at_board(demo)
    heard, pieces = desk.answer, 0
    assert heard is not None

    def forgetful(ask: fx.Ask) -> Answered | NotAnswered:
        nonlocal pieces
        if ask.tag != "table-write":
            return heard(ask)
        pieces += 1
        if pieces % 2 == 0:
            return NotAnswered(ask.tag, "bytes are missing", ErrorCode.INCOMPLETE)
        return heard(ask)

    desk.answer = forgetful
    desk.give(WriteWhole())
    assert pieces == 4, "begun anew once, not again"
    assert desk.state.stage is SyncStage.FAILED
    assert desk.state.message.startswith("not written: bytes are missing")
    desk.answer = heard
    desk.give(WriteWhole())
    assert desk.state.same, desk.state.message


def test_a_restart_that_nobody_heard_of_is_mended_once(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    heard = desk.answer
    assert heard is not None
    pieces: list[str] = []

    def forgets_once(ask: fx.Ask) -> Answered | NotAnswered:
        pieces.append(ask.tag)
        if pieces.count("table-write") == 2 and ask.tag == "table-write":
            desk.device.restart(RestartCause.POWER, desk.now_ms)
            return NotAnswered(ask.tag, "out of step", ErrorCode.OUT_OF_STEP)
        return heard(ask)

    desk.answer = forgets_once
    desk.give(WriteWhole())
    assert desk.state.same, desk.state.message


@pytest.mark.parametrize("spoilt", [-1, 0, 1])
def test_what_is_read_back_has_to_have_the_checksum_that_the_board_states(demo: PlayfieldMap, spoilt: int) -> None:
    """A byte wrong, one too few, or one too many: not believed, though it may read as a table."""
    desk = at_board(demo)
    desk.give(WriteWhole())
    assert desk.state.same
    heard = desk.answer
    assert heard is not None

    def misread(ask: fx.Ask) -> Answered | NotAnswered:
        answer = heard(ask)
        if ask.tag != "table-bytes":
            return answer
        replies = list(answer.replies)
        last = replies[-1]
        assert isinstance(last, TableBytes)
        data = (
            last.data[:-1]
            if spoilt < 0
            else last.data + b"\0"
            if spoilt
            else last.data[:-1] + bytes([last.data[-1] ^ 1])
        )
        return Answered(ask.tag, (*replies[:-1], dataclasses.replace(last, data=data)))

    desk.answer = misread
    desk.give(CompareTables())
    assert desk.state.stage is SyncStage.FAILED
    assert "checksum" in desk.state.message
    assert desk.state.theirs is None
    assert not desk.state.same
    desk.answer = heard
    desk.give(CompareTables())
    assert desk.state.same


def test_everything_is_dark_while_a_table_is_written_and_the_game_goes_on_after_it(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(WriteWhole(), HandOver(True))
    assert desk.wanted == Game()
    dimmed = update_place(demo, demo.places[2].model_copy(update={"level": 7}))
    desk.document.commit(dimmed)
    desk.give(MapChanged("changed"))
    asked = len(desk.lights)
    desk.give(WriteWhole())
    assert desk.state.same
    assert desk.lights[asked:] == [Dark(), Game()]
    assert desk.state.game_has


def test_the_game_without_a_table_is_refused_and_can_be_asked_again(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(HandOver())
    assert "write the table first" in desk.state.message
    assert not desk.state.to_game
    desk.give(WriteWhole(), HandOver())
    assert desk.state.game_has


def test_the_board_is_asked_in_small_pieces(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(WriteWhole())
    asks = [effect for effect in desk.effects if isinstance(effect, fx.Ask)]
    assert max(len(ask.orders) for ask in asks) <= PIECES_AT_ONCE
    assert len([ask for ask in asks if ask.tag == "table-write"]) > 1
