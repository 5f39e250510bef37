"""The map table: rows marked, changed in place, one or several at once; chains chosen; nothing lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.model import Kind, PixelState, PlayfieldMap
from probe.document.operations import pixel_at, set_verified
from probe.document.revisions import next_number
from probe.mapping.table import (
    EditRows,
    MapTableState,
    MarkAll,
    MarkRow,
    PickChain,
    PickRow,
    SearchFor,
    TableTask,
    make,
)
from probe.mapping.table_edit import CannotChangeError, Column, changed, numbered, places_at, unsettled, value_now
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import Opened
from tests.runtime.contract_tasks import two_chains
from tests.support.played import Played

HALF = load_map(demo_map_path("kelp_forest_half.json"))
ROWS = [(chain, number) for chain, number, _ in HALF.walk_pixels()]


def table(map_: PlayfieldMap | None = None) -> Played[MapTableState]:
    task, state = make(Opened(map=map_ or two_chains(), facts=("playfield", 0)))
    return Played(task, state)


def rows(*numbers: int) -> list[object]:
    return [event for number in numbers for event in (PickRow(("playfield", number)), MarkRow())]


# -- changes, pure -----------------------------------------------------------------------------------------------------


def test_several_rows_are_one_change_and_one_undo() -> None:
    play = table()
    before = play.map
    play(*rows(0, 1, 2), EditRows(Column.AREA), ev.Typed("Reef"), ev.Take())
    assert [place.area for place in play.map.places] == ["Reef"] * 3
    assert sum(isinstance(effect, fx.Commit) for effect in play.effects) == 1
    play(ev.Undo())
    assert play.map.places == before.places
    play(ev.Redo())
    assert [place.area for place in play.map.places] == ["Reef"] * 3


def test_names_of_several_rows_count_up_from_the_number_typed() -> None:
    play = table()
    play(*rows(2, 0, 4), EditRows(Column.NAME), ev.Typed("Otter 7"), ev.Take())
    assert [value_now(play.map, ("playfield", n), Column.NAME) for n in (0, 2, 4)] == ["Otter 7", "Otter 8", "Otter 9"]
    assert pixel_at(play.map, "playfield", 4).state is PixelState.PLACED, "an unseen pixel that is named is placed"
    assert numbered("Reef lane", 3) == ("Reef lane 1", "Reef lane 2", "Reef lane 3")
    assert numbered("Reef lane 4", 1) == ("Reef lane 4",)


def test_a_name_that_another_place_has_is_refused_and_says_where() -> None:
    play = table()
    before = play.map
    s = play(EditRows(Column.NAME), ev.Typed("  reef LANE 3"), ev.Take())
    assert play.map is before
    assert "Reef lane 3 already (pixel 2)" in s.message
    assert s.edit is Column.NAME, "what was typed can be mended"
    assert s.typed == "  reef LANE 3"


@pytest.mark.parametrize("state", [PixelState.SPARE, PixelState.REPEATER, PixelState.UNSEEN])
def test_a_state_without_a_place_takes_the_place_out_where_nothing_was_written_about_it(state: PixelState) -> None:
    play = table()
    play(EditRows(Column.STATE), ev.Typed(state.value), ev.Take())
    assert pixel_at(play.map, "playfield", 0).state is state
    assert len(play.map.places) == 2


def test_placed_without_a_place_is_refused() -> None:
    play = table()
    s = play(*rows(4), EditRows(Column.STATE), ev.Typed("placed"), ev.Take())
    assert "no place is known there" in s.message
    assert s.edit is Column.STATE


def test_a_proved_pixel_is_changed_by_the_second_press_only() -> None:
    map_ = set_verified(two_chains(), "playfield", 1, next_number(two_chains()))
    play = table(map_)
    s = play(*rows(0, 1), EditRows(Column.STATE), ev.Typed("dark"), ev.Take())
    assert play.map is map_
    assert s.message.startswith("1: seen to be right before")
    play(ev.Take())
    assert [pixel_at(play.map, "playfield", n).state for n in (0, 1)] == [PixelState.DARK] * 2
    assert pixel_at(play.map, "playfield", 1).verified == 0, "nobody has seen it dark"


def test_a_rename_of_a_proved_pixel_needs_no_second_press() -> None:
    map_ = set_verified(two_chains(), "playfield", 1, next_number(two_chains()))
    play = table(map_)
    play(*rows(1), EditRows(Column.NAME), ev.Typed("Kraken"), ev.Take())
    assert value_now(play.map, ("playfield", 1), Column.NAME) == "Kraken"
    assert pixel_at(play.map, "playfield", 1).verified


def test_kinds_and_states_are_chosen_from_a_list_that_typing_narrows() -> None:
    play = table()
    s = play(EditRows(Column.KIND))
    assert s.offers == tuple(kind.value for kind in Kind)
    assert s.value == "insert", "what holds now is marked"
    s = play(ev.Typed("fl"))
    assert s.offers == ("flasher",)
    play(ev.Take())
    assert play.map.places[0].kind is Kind.FLASHER


def test_areas_used_before_are_offered_and_what_is_typed_stays_first() -> None:
    play = table()
    play(EditRows(Column.AREA), ev.Typed("Reef"), ev.Take())
    s = play(PickRow(("playfield", 1)), EditRows(Column.AREA))
    assert s.offers == ("Reef",)
    play(ev.Choose(1), ev.Take())
    assert play.map.places[1].area == "Reef"
    play(PickRow(("playfield", 2)), EditRows(Column.AREA), ev.Typed("Ree"), ev.Take())
    assert play.map.places[2].area == "Ree"


def test_esc_goes_one_step_back_edit_then_marks_then_out() -> None:
    play = table()
    s = play(*rows(0, 1), EditRows(Column.NOTE), ev.Typed("x"), ev.Leave())
    assert s.edit is None
    assert len(s.marked) == 2
    s = play(ev.Leave())
    assert not s.marked
    assert not play.closed
    play(ev.Leave())
    assert play.closed


def test_all_rows_shown_are_marked_and_no_others() -> None:
    play = table()
    s = play(SearchFor("reef"), MarkAll())
    assert s.marked == {("playfield", n) for n in range(3)}
    s = play(SearchFor(""), MarkAll())
    assert len(s.marked) == 10
    s = play(MarkAll())
    assert not s.marked


def test_search_finds_chains_and_a_chain_is_chosen_with_its_progress() -> None:
    play = table()
    s = play(SearchFor("backbox"))
    assert {row.key[0] for row in s.listing.rows} == {"backbox"}  # type: ignore[index]
    s = play(PickChain())
    view = play.task.view(s)
    assert "3 of 6 seen" in view.items[0].text  # type: ignore[union-attr]
    s = play(ev.Typed("back"), ev.Take())
    assert s.at == ("backbox", 0)
    assert not s.listing.wanted


# -- whatever is changed -------------------------------------------------------------------------------------------------


@pytest.mark.slow
@given(
    st.lists(st.sampled_from(ROWS), min_size=1, max_size=12, unique=True),
    st.sampled_from(Column),
    st.one_of(st.sampled_from([*Kind, *PixelState, "Reef 4", ""]), st.text(max_size=12)),
)
def test_only_the_rows_change_and_only_in_that_column(rows: list[tuple[str, int]], column: Column, text: str) -> None:
    rows.sort(key=ROWS.index)
    try:
        after = changed(HALF, rows, column, str(text)).map
    except CannotChangeError:
        return
    PlayfieldMap.model_validate_json(after.model_dump_json())
    own = {place.id for place in places_at(HALF, rows)}
    for chain, number, pixel in HALF.walk_pixels():
        if (chain, number) not in rows:
            assert pixel_at(after, chain, number) == pixel
    for place in HALF.places:
        if place.id not in own:
            assert after.place_by_id[place.id] == place
    if column is Column.NAME:
        names = [after.place_of(pixel_at(after, *at)) for at in rows]
        assert all(names), "every row that was named has a place"
    for at in unsettled(HALF, after, rows):
        assert pixel_at(after, *at).verified == 0


def in_full(play: Played[MapTableState]) -> str:
    """The row in hand with nothing cut."""
    return " ".join(line.text for line in TableTask().view(play.state).beside)


def test_photos_are_attached_to_places_and_joints_by_file_name_and_taken_off_again() -> None:
    play = table()
    place = play.map.place_of(pixel_at(play.map, "playfield", 1))
    assert place is not None
    play(PickRow(("playfield", 1)), EditRows(Column.PHOTO), ev.Typed("eel.jpg"), ev.Take())
    assert [(photo.file, photo.place) for photo in play.map.photos] == [("eel.jpg", place.id)]
    assert "photo eel.jpg" in play.state.message
    assert "beside the map file" in play.state.message
    play(EditRows(Column.JOINT_PHOTO), ev.Typed("joint.PNG"), ev.Take())
    pixel = pixel_at(play.map, "playfield", 1).id
    assert [(photo.file, photo.chain, photo.pixel) for photo in play.map.photos[1:]] == [
        ("joint.PNG", "playfield", pixel)
    ]
    assert "photos eel.jpg, joint.PNG" in in_full(play)
    play(PickRow(("playfield", 2)))
    assert "eel.jpg" not in in_full(play)
    play(PickRow(("playfield", 1)), EditRows(Column.PHOTO), ev.Typed("eel.jpg"), ev.Take())
    assert [photo.file for photo in play.map.photos] == ["joint.PNG"]
    assert "taken off" in play.state.message
    play(ev.Undo())
    assert [photo.file for photo in play.map.photos] == ["eel.jpg", "joint.PNG"]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("", "type the file name"),
        ("../eel.jpg", "no folder"),
        ("eel.txt", "it has to end in .jpg"),
    ],
)
def test_what_is_no_photo_beside_the_map_is_refused(name: str, words: str) -> None:
    map_ = two_chains()
    for column in (Column.PHOTO, Column.JOINT_PHOTO):
        with pytest.raises(CannotChangeError, match=words):
            changed(map_, [("playfield", 1)], column, name)


def test_a_photo_of_a_place_that_is_not_known_says_what_to_do() -> None:
    homeless = next(at for at in ROWS if pixel_at(HALF, *at).place is None)
    with pytest.raises(CannotChangeError, match="name it first, or take the photo of the joint"):
        changed(HALF, [homeless], Column.PHOTO, "eel.jpg")
    assert len(changed(HALF, [homeless], Column.JOINT_PHOTO, "eel.jpg").map.photos) == 1
