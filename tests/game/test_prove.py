"""The final check: lit by number, looked at, kept with its date; what changes afterwards is no longer proved."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.errors import ErrorCode
from device_protocol.orders import (
    LightGroup,
    LightLamp,
    RestartCause,
    TableState,
)
from probe.document.file import demo_map_path, load_map
from probe.document.lamp_table import lamp_table
from probe.document.local_time import local_minute
from probe.document.model import PlayfieldMap
from probe.document.model.game import Verdict
from probe.document.operations import add_revision, assign_place, new_map, update_place
from probe.document.proving import Standing, standings, tally
from probe.game import prove, sync
from probe.game.keys import NextLamp, SayVerdict, WriteWhole
from probe.game.prove import GoToLamp, Prove, ProveTask
from probe.task import effects as fx
from probe.task.events import Answered, BoardChanged, NotAnswered, Retry, Undo
from probe.task.light import Dark, Outputs
from probe.task.task import BoardView
from tests.game.desk import Desk, board_for
from tests.support.boards import identity
from tests.support.examples import examples, first_now

NOW = "2025-04-05T20:15:00Z"


@pytest.fixture(scope="module")
def demo() -> PlayfieldMap:
    return load_map(demo_map_path("kelp_forest.json"))


def at_board(map_: PlayfieldMap, *, table: bool = True, **config: object) -> Desk[Prove]:
    """A desk at the final check; with `table` the board has been written before."""
    board = board_for(map_, **config)
    if table:
        writer = Desk((sync.BoardTask(), sync.start(map_)), board)
        writer.plug_in()
        writer.give(WriteWhole())
        assert writer.state.same, writer.state.message
    desk = Desk((ProveTask(), prove.start(map_)), board)
    desk.plug_in()
    return desk


def lit_places(desk: Desk[Prove]) -> set[str]:
    return {place for place, _ in desk.device.lit()}


@pytest.mark.parametrize("table", first_now([True, False]))
def test_each_lamp_and_group_lights_its_places_and_no_others(demo: PlayfieldMap, table: bool) -> None:
    desk = at_board(demo, table=table)
    assert desk.state.by_table is table
    dead = {pixel.place for _, _, pixel in demo.walk_pixels() if pixel.state.value == "dead"}
    seen = 0
    for at in range(len(desk.state.rows)):
        desk.give(GoToLamp(at))
        assert desk.state.is_lit, desk.state.message
        expected = {place.id for place in desk.state.places if place.id in demo.pixels_at} - dead
        assert lit_places(desk) == expected
        seen += 1
    assert seen == 63 + 10
    sent = [order for order in desk.orders if isinstance(order, (LightLamp, LightGroup))]
    assert bool(sent) is table


def test_a_run_of_pixels_is_lit_to_its_last_one_without_the_boards_table(demo: PlayfieldMap) -> None:
    desk = at_board(demo, table=False)
    widest = max(range(len(desk.state.rows)), key=lambda at: len(desk.state.rows[at].pixels))
    desk.give(GoToLamp(widest))
    light, row = desk.lights[-1], desk.state.row
    assert isinstance(light, Outputs)
    assert row is not None
    lit = {
        (part.output, part.first + n)
        for part in light.parts
        for n, colour in enumerate(part.colours)
        if not colour.is_dark
    }
    assert lit == {(pixel.output, pixel.number) for pixel in row.pixels}
    assert len(lit) > 1


@pytest.mark.slow
def test_answers_are_kept_with_date_and_revision_before_the_next_one_lights(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    while (row := desk.state.row) is not None and row.state is not Standing.PROVED:
        desk.give(SayVerdict(Verdict.RIGHT, NOW))
    map_ = desk.saved[-1]
    assert len(map_.proofs) == 73
    assert {proof.time for proof in map_.proofs} == {NOW}
    assert {proof.revision for proof in map_.proofs} == {2}
    assert all(proof.by_table for proof in map_.proofs)
    assert tally(map_).words == f"73 of 73 proved since the last change, last {local_minute(NOW)}"
    assert desk.state.message == "all proved since the last change"


def test_wrong_and_unseen_stay_open(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(
        SayVerdict(Verdict.WRONG, NOW, note="the pearl lit"),
        SayVerdict(Verdict.UNSEEN, NOW),
        SayVerdict(Verdict.RIGHT, NOW),
    )
    states = [row.state for row in desk.state.rows[:4]]
    assert states == [Standing.WRONG, Standing.UNSEEN, Standing.PROVED, Standing.NEVER]
    assert desk.state.at == 3 or desk.state.rows[desk.state.at].state is not Standing.PROVED
    assert desk.saved[-1].proofs[0].note == "the pearl lit"
    desk.give(Undo())
    assert [row.state for row in desk.state.rows[:3]] == [Standing.WRONG, Standing.UNSEEN, Standing.NEVER]
    assert desk.state.at == 2
    assert desk.state.is_lit


def test_the_next_open_one_is_the_very_next_that_is_not_proved(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.give(NextLamp(1, open_only=True))
    assert desk.state.at == 1
    desk.give(SayVerdict(Verdict.RIGHT, NOW), NextLamp(-2), NextLamp(1, open_only=True))
    assert desk.state.rows[1].state is Standing.PROVED
    assert desk.state.at == 2


def proved(map_: PlayfieldMap) -> PlayfieldMap:
    desk = at_board(map_)
    for _ in range(len(desk.state.rows)):
        desk.give(SayVerdict(Verdict.RIGHT, NOW))
    found: PlayfieldMap = desk.state.map
    assert tally(found).proved == 73
    return found


@pytest.mark.slow
def test_what_changed_since_is_no_longer_proved(demo: PlayfieldMap) -> None:
    map_ = proved(demo)
    whirlpool = next(place for place in map_.places if place.label == "Whirlpool")
    dimmed = update_place(map_, whirlpool.model_copy(update={"level": 100}))
    changed = [row.lamp for row in standings(dimmed) if row.state is Standing.CHANGED]
    assert changed == [49]
    chain, number = map_.pixels_at[whirlpool.id][0]
    moved = assign_place(map_, chain, number, next(p for p in map_.places if p.label == "Otter jackpot").id)
    assert {row.lamp for row in standings(moved) if row.state is Standing.CHANGED} == {49, 51}
    renamed = update_place(map_, whirlpool.model_copy(update={"note": "new bulb socket"}))
    assert tally(renamed).proved == 73
    noted = add_revision(map_, time=NOW, reason="names corrected")
    assert tally(noted).proved == 73
    last = noted.revisions[-1].model_copy(update={"rewired": ("backbox",)})
    spliced = noted.model_copy(update={"revisions": (*noted.revisions[:-1], last)})
    assert {row.state for row in standings(spliced) if row.lamp in range(52, 64)} == {Standing.CHANGED}
    assert tally(spliced).changed == 12 + 2
    assert prove.start(dimmed).row is not None
    assert prove.start(dimmed).row.lamp == 49  # type: ignore[union-attr]


def test_another_table_on_the_board_is_told_and_not_used(demo: PlayfieldMap) -> None:
    board = board_for(demo)
    writer = Desk((sync.BoardTask(), sync.start(demo)), board)
    writer.plug_in()
    writer.give(WriteWhole())
    desk = Desk((ProveTask(), prove.start(update_place(demo, demo.places[2].model_copy(update={"level": 7})))), board)
    desk.plug_in()
    assert desk.state.by_table is False
    assert "is not the map's" in desk.state.table_words
    assert all(line.text[0].isupper() for line in ProveTask().view(desk.state).below), "sentences"
    desk.give(SayVerdict(Verdict.RIGHT, NOW))
    assert desk.saved[-1].proofs[0].by_table is False


def test_a_table_of_the_same_length_is_the_maps_only_with_its_checksum(demo: PlayfieldMap) -> None:
    state = at_board(demo).state
    assert state.ours is not None
    length, crc = len(state.ours.image), state.ours.crc
    for stated, same in ((crc, True), (crc ^ 1, False)):
        held = TableState(revision=1, length=length, crc=stated, capacity=1_000, staged=0)
        found = ProveTask().step(state, Answered("prove-table", (held,)), 0.0)
        assert found is not None
        assert found[0].by_table is same


def test_pixels_on_outputs_that_the_board_lacks_are_left_out(demo: PlayfieldMap) -> None:
    state = replace(prove.start(demo), board=BoardView(identity(outputs=1)), by_table=False)
    beyond = 0
    for at, row in enumerate(state.rows):
        light = replace(state, at=at).light
        outputs = {pixel.output for pixel in row.pixels}
        lit = {part.output for part in light.parts} if isinstance(light, Outputs) else set()
        assert lit == outputs & {0}, row.title
        beyond += 1 in outputs
    assert beyond > 0


def test_nothing_is_believed_before_it_is_lit(demo: PlayfieldMap) -> None:
    desk = Desk((ProveTask(), prove.start(demo)), board_for(demo))
    desk.give(SayVerdict(Verdict.RIGHT, NOW))
    assert desk.state.message == "no board, so nothing is lit"
    assert not desk.saved
    desk.plug_in()
    desk.unplug()
    desk.give(SayVerdict(Verdict.RIGHT, NOW), NextLamp())
    assert not desk.saved
    desk.plug_in()
    assert desk.state.is_lit
    desk.give(SayVerdict(Verdict.RIGHT, NOW))
    assert len(desk.saved) == 1


def test_the_light_of_another_lamp_is_not_taken_for_this_one(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.lights_up = False
    desk.give(NextLamp(1), NextLamp(1))
    assert desk.state.board.lit is not None
    assert not desk.state.is_lit
    desk.give(SayVerdict(Verdict.RIGHT, NOW))
    assert desk.state.message == "it is not lit yet: wait for it, then answer"
    assert not desk.saved


def test_nothing_lights_until_it_is_known_whose_table_the_board_holds(demo: PlayfieldMap) -> None:
    desk = Desk((ProveTask(), prove.start(demo)), board_for(demo))
    heard = desk.answer
    desk.answer = None  # no answer but that it did not come, as after a restart
    desk.plug_in()
    assert desk.state.by_table is None
    assert desk.wanted == Dark()
    assert not desk.state.is_lit
    desk.answer = lambda ask: NotAnswered(ask.tag, "busy", ErrorCode.OUT_OF_STEP)
    desk.give(BoardChanged())
    asked = sum(isinstance(effect, fx.Ask) for effect in desk.effects)
    desk.give(BoardChanged(), BoardChanged())
    assert sum(isinstance(effect, fx.Ask) for effect in desk.effects) == asked, "a refusal stands"
    desk.answer = heard
    desk.give(Retry())
    assert desk.state.by_table is False
    assert desk.state.is_lit


def test_when_the_game_takes_the_pixels_back_the_lamp_is_lit_again(demo: PlayfieldMap) -> None:
    desk = at_board(demo)
    desk.game_takes_pixels()
    assert desk.state.is_lit
    assert lit_places(desk) == {place.id for place in desk.state.places}


def test_an_empty_map_has_nothing_to_prove() -> None:
    desk = Desk((ProveTask(), prove.start(new_map("Kelp Forest"))), board_for(new_map("Kelp Forest")))
    desk.plug_in()
    desk.give(NextLamp(), SayVerdict(Verdict.RIGHT, NOW), NextLamp(open_only=True), Undo())
    assert not desk.saved
    assert lamp_table(desk.state.map).lamps == ()


DOINGS = st.sampled_from(
    [
        "next",
        "before",
        "open",
        "right",
        "wrong",
        "undo",
        "again",
        "unplug",
        "plug",
        "restart",
        "silence",
    ]
)


@pytest.mark.slow
@settings(max_examples=examples(40), deadline=None)
@given(doings=st.lists(DOINGS, max_size=25), table=st.booleans())
def test_lit_is_never_said_of_anything_that_is_not(doings: list[str], table: bool) -> None:
    """Whatever is done and lost: while the screen says lit, exactly the places of that lamp shine."""
    map_ = load_map(demo_map_path("kelp_forest.json"))
    desk = at_board(map_, table=table)
    dead = {pixel.place for _, _, pixel in map_.walk_pixels() if pixel.state.value == "dead"}
    keys = {
        "next": NextLamp(), "before": NextLamp(-1), "open": NextLamp(open_only=True), "right": SayVerdict(Verdict.RIGHT, NOW),
        "wrong": SayVerdict(Verdict.WRONG, NOW), "undo": Undo(), "again": Retry(),
    }  # fmt: skip
    for doing in doings:
        match doing:
            case "unplug":
                desk.unplug()
            case "plug":
                desk.plug_in()
            case "restart":
                desk.unplug()
                desk.device.restart(RestartCause.POWER, desk.now_ms)
            case "silence":
                desk.now_ms += 10_000
                desk.pass_s(0.1)
            case _:
                desk.give(keys[doing])
        if desk.state.is_lit:
            assert lit_places(desk) == {place.id for place in desk.state.places if place.id in map_.pixels_at} - dead
    assert [row.pixels for row in desk.state.rows] == [row.pixels for row in prove.start(map_).rows]
