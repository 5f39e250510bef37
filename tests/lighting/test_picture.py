"""The picture's activity: choosing, lighting, positions, levels, comparing, undo. Pure steps, no screen."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.lightness import DUTY, at_level
from device_protocol.values import Colour
from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.model import PlayfieldMap, Position
from probe.document.operations import add_place, new_map, update_place
from probe.lighting import picture_keys as key
from probe.lighting.choosing import in_order, nearest, towards
from probe.lighting.lengths import Unit
from probe.lighting.picture import PictureTask, make, start
from probe.lighting.picture_light import parse_colour, parse_level
from probe.lighting.picture_state import PictureState
from probe.lighting.picture_view import view
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Alternate, Pixels
from probe.task.task import Opened
from tests.lighting.boards import LitTask
from tests.support.boards import identity
from tests.support.examples import examples

DEMO = load_map(demo_map_path())
CEILINGS = {chain.output: chain.ceiling_ma for chain in DEMO.chains}


def player(
    map_: PlayfieldMap = DEMO,
    *,
    place: str | None = None,
    steady_only: bool = False,
    board: bool = True,
    ceiling_ma: int = 2_000,
) -> LitTask:
    who = identity(ceiling_ma=ceiling_ma) if board else None
    return LitTask(PictureTask(), start(map_, place=place, steady_only=steady_only), identity=who)


def type_in(p: LitTask, entry: key.EntryUse, text: str) -> None:
    p.give(key.OpenEntry(entry), ev.Typed(text), key.TakeEntry())


def test_a_place_counts_as_lit_once_the_board_has_said_so() -> None:
    p = player(place="launch-arrow")
    assert p.lit(0) == {3: Colour(255, 255, 255)}
    assert p.state.lit_places == {"launch-arrow"}
    p.lights_up = False
    p.give(key.PickPlace("right-outlane-pearl"))
    assert not p.state.lit_places  # asked for, not yet confirmed
    assert p.wanted != p.board.lit
    p.light_up()
    assert p.state.lit_places == {"right-outlane-pearl"}


def test_a_place_at_level_0_or_without_a_pixel_is_not_lit() -> None:
    p = player(place="launch-arrow")
    type_in(p, key.EntryUse.LEVEL, "0")
    assert not p.state.lit_places
    bare, other = add_place(DEMO, "Nowhere yet")
    assert not player(bare, place=other.id).state.lit_places


def test_a_place_is_lit_at_its_level_and_colour() -> None:
    p = player(place="launch-arrow")
    type_in(p, key.EntryUse.LEVEL, "40 %")
    type_in(p, key.EntryUse.COLOUR, "FF8020")
    assert p.lit(0) == {3: at_level(Colour(0xFF, 0x80, 0x20), 102)}
    assert p.state.here is not None
    assert (p.state.here.level, p.state.here.colour) == (102, "FF8020")


def test_a_change_is_one_commit_with_its_words() -> None:
    p = player(place="launch-arrow")
    (found,) = p.give(key.StepLevel(-50))
    assert isinstance(found, fx.Commit)
    assert found.map.places == p.map.places
    assert found.words == p.state.message == "Launch arrow: level 205"


def test_levels_stop_at_the_ends_and_say_what_they_are() -> None:
    p = player(place="launch-arrow")
    p.give(*[key.StepLevel(-100)] * 4)
    assert p.state.here is not None
    assert p.state.here.level == 0
    assert p.lit(0) == {}
    p.give(key.StepLevel(1))
    assert p.lit(0) == {3: Colour(1, 1, 1)}
    assert DUTY[1] == 1


def test_the_group_is_changed_as_a_whole_and_places_keep_their_own() -> None:
    p = player(place="left-sling-glow-1")
    p.give(key.ToggleWhole(), key.OpenEntry(key.EntryUse.LEVEL), ev.Typed("90"), key.TakeEntry())
    group = p.state.map.groups[0]
    assert (group.name, group.level) == ("always on, Tide pool", 90)
    assert "a light of their own as before" in p.state.message  # the demo trims general illumination place by place
    p.give(key.FollowGroup())
    assert all(place.level is None for place in p.state.map.places if place.group == group.name)
    assert p.lit(0)[12] == at_level(Colour(255, 255, 255), 90)


def test_copy_and_paste() -> None:
    p = player(place="launch-arrow")
    p.give(key.PasteLight())
    assert "nothing is kept" in p.state.message
    type_in(p, key.EntryUse.COLOUR, "warm")
    p.give(key.StepLevel(-100), key.CopyLight(), key.PickPlace("dive-again"), key.PasteLight())
    one, other = p.state.map.place_by_id["launch-arrow"], p.state.map.place_by_id["dive-again"]
    assert (one.level, one.colour) == (other.level, other.colour) == (155, "FFBF12")


def test_comparing_alternates_once_a_second_at_most() -> None:
    p = player(place="launch-arrow")
    p.give(key.ComparePlaces(), key.PickPlace("dive-again"), key.ComparePlaces())
    light = p.wanted
    assert isinstance(light, Alternate)
    assert light.half_s == 0.5
    numbers = []
    for half in (light.a, light.b):
        assert isinstance(half, Pixels)
        numbers.append([at + half.first for at, colour in enumerate(half.colours) if not colour.is_dark])
    assert numbers == [[10], [3]]
    assert p.state.lit_places == {"launch-arrow", "dive-again"}
    p.give(key.ComparePlaces())
    assert frozenset(p.lit(0)) == {10}
    assert p.state.lit_places == {"dive-again"}


def test_with_steady_light_two_places_are_lit_side_by_side() -> None:
    p = player(place="launch-arrow", steady_only=True)
    p.give(key.ComparePlaces(), key.PickPlace("dive-again"), key.ComparePlaces())
    assert set(p.lit(0)) == {3, 10}
    assert not p.task.ticks
    assert not isinstance(p.wanted, Alternate)
    assert "side by side" in p.state.message


def test_another_mode_ends_the_comparison() -> None:
    p = player(place="launch-arrow")
    p.give(key.ComparePlaces(), key.PickPlace("dive-again"), key.ComparePlaces())
    assert p.state.comparing
    assert isinstance(p.wanted, Alternate)
    p.give(key.NextLitMode())
    assert not p.state.comparing
    assert not isinstance(p.wanted, Alternate)
    assert not p.task.ticks
    assert p.state.message.startswith("lit: ")


def test_light_modes() -> None:
    p = player(place="left-sling-glow-1")
    p.give(key.NextLitMode())
    assert set(p.lit(0)) == {4, 7, 8, 9, 11, 12, 13, 16}
    p.give(key.NextLitMode())
    assert len(p.lit(0)) > 70
    assert len(p.lit(1)) > 15
    assert p.within_ceiling(CEILINGS)
    assert min(chain.dimmed_percent for chain in p.state.shown) < 100
    p.give(key.NextLitMode())
    assert set(p.lit(0)) == {12}
    assert p.lit(1) == {}


@pytest.mark.parametrize(
    ("text", "x", "y"), [("C7", 125, 325), ('10 1/4", 22 1/2"', 260.35, 571.5), ("100, 200", 100, 200)]
)
def test_a_typed_position(text: str, x: float, y: float) -> None:
    p = player(place="launch-arrow")
    type_in(p, key.EntryUse.POSITION, text)
    assert p.state.here is not None
    assert p.state.here.position == Position(x_mm=x, y_mm=y)
    assert p.state.entry is key.EntryUse.NONE


def test_a_wrong_entry_stays_open_and_changes_nothing() -> None:
    p = player(place="launch-arrow")
    before = p.state.map
    for entry, text in (
        (key.EntryUse.POSITION, "nowhere"),
        (key.EntryUse.LEVEL, "300"),
        (key.EntryUse.COLOUR, "blueish"),
        (key.EntryUse.DEPTH, "2 m"),
        (key.EntryUse.FIND, "no such place"),
    ):
        type_in(p, entry, text)
        assert p.state.entry is entry
        assert p.state.typed == text
        assert p.state.message
        p.give(ev.Leave())
        assert p.state.entry is key.EntryUse.NONE
    assert p.state.map is before


def test_inches_depth_diffuser_fade() -> None:
    p = player(place="launch-arrow")
    p.give(key.ToggleUnit())
    assert p.state.unit is Unit.INCH
    type_in(p, key.EntryUse.DEPTH, "1/2")
    p.give(key.ToggleDiffuser())
    assert p.state.here is not None
    assert p.state.here.depth_mm == pytest.approx(12.7)
    assert p.state.here.diffuser
    p.give(key.ToggleFade())
    assert p.state.map.fade is not None
    p.give(key.ToggleFade())
    assert p.state.map.fade is None


def test_finding_goes_round() -> None:
    p = player(place="launch-arrow")
    type_in(p, key.EntryUse.FIND, "reef lane 2")
    assert p.state.place == "reef-lane-2"
    type_in(p, key.EntryUse.FIND, "13")
    assert p.state.here is not None
    assert 13 in p.state.here.lamps


def test_pointing_and_arrows() -> None:
    p = player(place="launch-arrow")
    p.give(key.MovePlace(100.0, 200.0))
    assert p.state.here is not None
    assert p.state.here.position == Position(x_mm=100, y_mm=200)
    assert nearest(p.state.map, 101, 201) == "launch-arrow"
    p.give(ev.GoTowards(1, 0))
    assert p.state.place != "launch-arrow"
    assert p.state.here.position is not None
    assert p.state.here.position.x_mm > 100


def test_arrows_reach_what_lies_that_way() -> None:
    for place in DEMO.places:
        for across, up in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            found = towards(DEMO, place, across, up)
            if found is not None:
                other = DEMO.place_by_id[found].position
                assert other is not None
                assert place.position is not None
                assert (other.x_mm - place.position.x_mm) * across + (other.y_mm - place.position.y_mm) * up > 0


def test_stepping_follows_the_chain_and_the_button_steps_too() -> None:
    p = player()
    order = in_order(DEMO)
    assert p.state.place == order[0]
    p.give(key.StepPlace(1))
    assert p.state.place == order[1]
    p.give(ev.StepButton(2))
    assert p.state.place == order[3]
    p.give(key.StepPlace(-4))
    assert p.state.place == order[-1]


def test_a_place_without_a_position_is_stepped_along() -> None:
    first = in_order(DEMO)[0]
    map_ = update_place(DEMO, DEMO.place_by_id[first].model_copy(update={"position": None}))
    p = player(map_)
    p.give(ev.GoTowards(1, 0))
    assert p.state.place == in_order(map_)[1]


def test_advice_and_warmth_say_that_they_are_taste() -> None:
    p = player(place="right-outlane-pearl")
    p.give(key.UseAdvice())
    assert "common practice" in p.state.message
    assert p.state.here is not None
    assert p.state.here.colour == "FF0000"
    p.give(key.NextWhite(1))
    assert p.state.here is not None
    assert p.state.here.colour == "FF8404"


def test_trouble_with_the_board_is_said_and_nothing_counts_as_lit() -> None:
    p = player(place="launch-arrow")
    p.refuse("the board refused")
    assert "the board refused" in view(p.state).message
    assert not p.state.lit_places
    p.give(ev.Retry())
    assert p.state.lit_places
    p.lose("unplugged")
    assert not p.state.lit_places
    assert view(p.state).board == "no board: nothing is lit"


def test_enter_lights_again_what_is_not_lit() -> None:
    p = player(place="launch-arrow")
    assert not p.give(key.TakeEntry())
    p.refuse("the board refused")
    assert p.give(key.TakeEntry()) == [fx.TryAgain()]
    assert p.state.lit_places == {"launch-arrow"}


def test_undo_goes_back_to_the_place_that_was_changed() -> None:
    p = player(place="launch-arrow")
    p.give(key.StepLevel(-50), key.PickPlace("dive-again"), ev.Undo())
    assert (p.state.place, p.map) == ("launch-arrow", DEMO)
    p.give(ev.Redo())
    assert p.map.place_by_id["launch-arrow"].level == 205


def test_a_place_that_another_task_took_away_is_chosen_no_more() -> None:
    bare, other = add_place(DEMO, "Nowhere yet")
    p = player(bare, place=other.id)
    p.document.commit(DEMO)
    p.give(ev.MapChanged("undone"))
    assert p.state.place == in_order(DEMO)[0]


def test_it_opens_at_the_place_of_the_pixel_in_hand() -> None:
    def at(facts: object) -> str | None:
        return make(Opened(DEMO, facts, steady_only=True))[1].place

    assert at(("playfield", 3)) == "launch-arrow"
    for elsewhere in (None, ("playfield", 10_000), ("playfield", -1), ("no such chain", 0)):
        assert at(elsewhere) == in_order(DEMO)[0]
    assert make(Opened(DEMO, steady_only=True))[1].steady_only


def test_esc_closes_the_line_and_then_the_task() -> None:
    p = player(place="launch-arrow")
    p.give(key.OpenEntry(key.EntryUse.COLOUR))
    assert view(p.state).typed == "FFFFFF"
    p.give(ev.Leave())
    assert view(p.state).typed is None
    assert not p.closed
    p.give(ev.Leave())
    assert p.closed == [None]


def test_a_position_from_below_is_measured_from_the_other_edge() -> None:
    p = player(place="launch-arrow")
    p.give(key.OpenEntry(key.EntryUse.POSITION), ev.Typed("100, 200"), key.TakeEntry(from_below=True))
    assert p.state.here.position == Position(x_mm=DEMO.machine.width_mm - 100, y_mm=200)
    p.give(ev.GoTowards(1, 0, from_below=True))
    assert p.state.here.position.x_mm < DEMO.machine.width_mm - 100


def test_the_picture_zooms_to_the_area_and_back() -> None:
    p = player(place="otter-bonus-3")
    for area in ("Otter den", None):
        p.give(key.ToggleZoom())
        picture = view(p.state).picture
        assert picture is not None
        assert picture.area == area
    p.give(key.ToggleRoute(), key.ToggleGrid())
    picture = view(p.state).picture
    assert picture is not None
    assert (picture.route, picture.grid) == (True, True)


def test_without_a_board_everything_but_light_works() -> None:
    p = player(place="launch-arrow", board=False)
    found = p.give(key.StepLevel(-100), key.MovePlace(1, 2))
    assert all(isinstance(effect, fx.Commit) for effect in found)
    assert p.state.shown[0].estimated


def test_an_empty_map_does_not_fall_over() -> None:
    p = player(new_map("Kelp Forest"))
    for each in (
        ev.GoTowards(1, 0),
        key.StepPlace(1),
        key.MovePlace(1, 2),
        key.StepLevel(1),
        key.ComparePlaces(),
        key.ToggleDiffuser(),
    ):
        assert p.give(each) == [fx.Bell()]


def test_what_a_level_and_a_colour_may_be() -> None:
    assert parse_level(" 40% ") == 102
    assert parse_level("0") == 0
    assert parse_level("") is None
    assert parse_colour("#ffb46b") == "FFB46B"
    assert parse_colour("Cool") == "C8FF58"
    assert parse_colour("") == ""
    for wrong in ("-1", "256", "101 %", "٣", "1e2"):
        with pytest.raises(ValueError):
            parse_level(wrong)
    for wrong in ("FFF", "000000", "GGGGGG"):
        with pytest.raises(ValueError):
            parse_colour(wrong)


places = st.sampled_from([place.id for place in DEMO.places])
inputs = st.one_of(
    st.builds(key.PickPlace, places),
    st.builds(ev.GoTowards, st.sampled_from([-1, 0, 1]), st.sampled_from([-1, 0, 1])),
    st.builds(key.StepPlace, st.integers(-3, 3)),
    st.builds(key.MovePlace, st.floats(0, 514), st.floats(0, 1066)),
    st.builds(key.OpenEntry, st.sampled_from(list(key.EntryUse))),
    st.builds(
        ev.Typed, st.sampled_from(["C7", "120", "FF8020", "warm", "1/2 in", "reef", "", "?"]) | st.text(max_size=8)
    ),
    st.builds(key.TakeEntry, from_below=st.booleans()),
    st.builds(key.StepLevel, st.integers(-300, 300)),
    st.sampled_from(
        [
            ev.Leave(),
            key.NextWhite(),
            key.UseAdvice(),
            key.ToggleWhole(),
            key.FollowGroup(),
            key.CopyLight(),
            key.PasteLight(),
            key.ComparePlaces(),
            key.NextLitMode(),
            key.ToggleFade(),
            key.ToggleDiffuser(),
            key.ToggleUnit(),
            ev.Undo(),
            ev.Redo(),
            ev.Retry(),
            key.ToggleZoom(),
        ]
    ),
)


@pytest.mark.slow
@settings(max_examples=examples(60))
@given(st.lists(inputs, max_size=30), st.booleans(), st.sampled_from([120, 450, 2_000]))
def test_any_inputs_keep_the_rules(given_: list[object], steady: bool, ceiling_ma: int) -> None:
    p = player(steady_only=steady, ceiling_ma=ceiling_ma)
    maps = []
    for each in given_:
        before: PictureState = p.state
        effects = p.give(each)
        after: PictureState = p.state
        assert p.within_ceiling(CEILINGS)
        saves = [effect for effect in effects if isinstance(effect, fx.Commit)]
        if after.map is not before.map:
            assert saves or isinstance(each, (ev.Undo, ev.Redo))
            assert not saves or saves[-1].map.places == after.map.places
            maps.append(after.map)
        assert after.place in after.map.place_by_id
    for map_ in maps[-3:]:
        render_map(map_)  # every record would be read back as it is
    for _ in given_:
        p.give(ev.Undo())
    assert p.map == DEMO
