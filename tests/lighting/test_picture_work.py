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
from probe.document.operations import new_map, update_place
from probe.lighting import picture_keys as key
from probe.lighting.choosing import in_order, nearest, towards
from probe.lighting.lengths import Unit
from probe.lighting.picture_light import parse_colour, parse_level
from probe.lighting.picture_work import PictureWork, start, step
from probe.task.steps import (
    BoardDark,
    BoardGone,
    ButtonPressed,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    SetUpChain,
    ShowDark,
    ShowPicture,
    Tick,
)
from tests.lighting.boards import Player
from tests.support.examples import examples

DEMO = load_map(demo_map_path())
CEILINGS = {chain.output: chain.ceiling_ma for chain in DEMO.chains}


def player(m: PlayfieldMap = DEMO, **more: object) -> Player:
    place = more.pop("place", None)
    steady = bool(more.pop("steady_only", False))
    return Player(step, start(m, place=place, steady_only=steady), **more)  # type: ignore[arg-type]


def type_in(p: Player, entry: key.Entry, text: str) -> None:
    p.give(key.Ask(entry), key.Typed(text), key.Take())


def test_a_board_is_set_up_and_the_place_lit_before_it_counts_as_lit() -> None:
    p = player(place="launch-arrow")
    assert sum(isinstance(effect, SetUpChain) for effect in p.effects) == 2
    assert p.lit(0) == {3: Colour(255, 255, 255)}
    assert p.state.lit_places == {"launch-arrow"}
    state, effects = step(p.state, key.Pick("right-outlane-pearl"), 0.0)
    assert not state.lit_places  # asked for, not yet confirmed
    assert any(isinstance(effect, ShowPicture) for effect in effects)


def test_a_place_is_lit_at_its_level_and_colour() -> None:
    p = player(place="launch-arrow")
    type_in(p, key.Entry.LEVEL, "40 %")
    type_in(p, key.Entry.COLOUR, "FF8020")
    assert p.lit(0) == {3: at_level(Colour(0xFF, 0x80, 0x20), 102)}
    assert p.state.here is not None
    assert (p.state.here.level, p.state.here.colour) == (102, "FF8020")


def test_a_change_is_saved_before_it_is_lit() -> None:
    p = player(place="launch-arrow")
    found = p.give(key.ChangeLevel(-50))
    kinds = [type(effect) for effect in found]
    assert kinds == [SaveMap, ShowPicture]
    assert isinstance(found[0], SaveMap)
    assert found[0].map is p.state.map


def test_levels_stop_at_the_ends_and_say_what_they_are() -> None:
    p = player(place="launch-arrow")
    p.give(*[key.ChangeLevel(-100)] * 4)
    assert p.state.here is not None
    assert p.state.here.level == 0
    assert p.lit(0) == {}
    p.give(key.ChangeLevel(1))
    assert p.lit(0) == {3: Colour(1, 1, 1)}
    assert DUTY[1] == 1


def test_the_group_is_changed_as_a_whole_and_places_keep_their_own() -> None:
    p = player(place="left-sling-glow-1")
    p.give(key.ToggleWhole(), key.Ask(key.Entry.LEVEL), key.Typed("90"), key.Take())
    group = p.state.map.groups[0]
    assert (group.name, group.level) == ("always on, Tide pool", 90)
    assert "keep their own" in p.state.message  # the demo trims general illumination place by place
    p.give(key.FollowGroup())
    assert all(place.level is None for place in p.state.map.places if place.group == group.name)
    assert p.lit(0)[12] == at_level(Colour(255, 255, 255), 90)


def test_copy_and_paste() -> None:
    p = player(place="launch-arrow")
    p.give(key.Paste())
    assert "nothing is kept" in p.state.message
    type_in(p, key.Entry.COLOUR, "warm")
    p.give(key.ChangeLevel(-100), key.Copy(), key.Pick("dive-again"), key.Paste())
    one, other = p.state.map.place_by_id["launch-arrow"], p.state.map.place_by_id["dive-again"]
    assert (one.level, one.colour) == (other.level, other.colour) == (155, "FFB46B")


def test_comparing_alternates_once_a_second_at_most() -> None:
    p = player(place="launch-arrow")
    p.give(key.Compare(), key.Pick("dive-again"), key.Compare())
    seen = []
    for _ in range(6):  # a tick is half a second
        seen.append(frozenset(p.lit(0)))
        p.give(Tick())
    assert seen == [frozenset({10}), frozenset({3})] * 3
    p.give(key.Compare())
    assert frozenset(p.lit(0)) == {10}
    before = p.showing.copy()
    assert not p.give(Tick())
    assert p.showing == before


def test_with_steady_light_two_places_are_lit_side_by_side() -> None:
    p = player(place="launch-arrow", steady_only=True)
    p.give(key.Compare(), key.Pick("dive-again"), key.Compare())
    assert set(p.lit(0)) == {3, 10}
    assert not p.give(Tick(), Tick())
    assert "side by side" in p.state.message


def test_light_modes() -> None:
    p = player(place="left-sling-glow-1")
    p.give(key.NextMode())
    assert set(p.lit(0)) == {4, 7, 8, 9, 11, 12, 13, 16}
    p.give(key.NextMode())
    assert len(p.lit(0)) > 70
    assert len(p.lit(1)) > 15
    assert p.within_ceiling(CEILINGS)
    assert min(chain.dimmed_percent for chain in p.state.lighting.chains) < 100
    p.give(key.NextMode())
    assert set(p.lit(0)) == {12}
    assert p.lit(1) == {}


@pytest.mark.parametrize(
    ("text", "x", "y"), [("C7", 125, 325), ('10 1/4", 22 1/2"', 260.35, 571.5), ("100, 200", 100, 200)]
)
def test_a_typed_position(text: str, x: float, y: float) -> None:
    p = player(place="launch-arrow")
    type_in(p, key.Entry.POSITION, text)
    assert p.state.here is not None
    assert p.state.here.position == Position(x_mm=x, y_mm=y)
    assert p.state.entry is key.Entry.NONE


def test_a_wrong_entry_stays_open_and_changes_nothing() -> None:
    p = player(place="launch-arrow")
    before = p.state.map
    for entry, text in (
        (key.Entry.POSITION, "nowhere"),
        (key.Entry.LEVEL, "300"),
        (key.Entry.COLOUR, "blueish"),
        (key.Entry.DEPTH, "2 m"),
        (key.Entry.FIND, "no such place"),
    ):
        type_in(p, entry, text)
        assert p.state.entry is entry
        assert p.state.typed == text
        assert p.state.message
        p.give(key.Leave())
        assert p.state.entry is key.Entry.NONE
    assert p.state.map is before


def test_inches_depth_diffuser_fade() -> None:
    p = player(place="launch-arrow")
    p.give(key.ToggleUnit())
    assert p.state.unit is Unit.INCH
    type_in(p, key.Entry.DEPTH, "1/2")
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
    type_in(p, key.Entry.FIND, "reef lane 2")
    assert p.state.place == "reef-lane-2"
    type_in(p, key.Entry.FIND, "13")
    assert p.state.here is not None
    assert 13 in p.state.here.lamps


def test_pointing_and_arrows() -> None:
    p = player(place="launch-arrow")
    p.give(key.PutAt(100.0, 200.0))
    assert p.state.here is not None
    assert p.state.here.position == Position(x_mm=100, y_mm=200)
    assert nearest(p.state.map, 101, 201) == "launch-arrow"
    p.give(key.Go(1, 0))
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
    p.give(key.Move(1))
    assert p.state.place == order[1]
    p.give(ButtonPressed(2))
    assert p.state.place == order[3]
    p.give(key.Move(-4))
    assert p.state.place == order[-1]


def test_a_place_without_a_position_is_stepped_along() -> None:
    first = in_order(DEMO)[0]
    m = update_place(DEMO, DEMO.place_by_id[first].model_copy(update={"position": None}))
    p = player(m)
    p.give(key.Go(1, 0))
    assert p.state.place == in_order(m)[1]


def test_advice_and_warmth_say_that_they_are_taste() -> None:
    p = player(place="right-outlane-pearl")
    p.give(key.TakeAdvice())
    assert "common practice" in p.state.message
    assert p.state.here is not None
    assert p.state.here.colour == "FF2000"
    p.give(key.ChangeWarmth(1))
    assert p.state.here is not None
    assert p.state.here.colour == "FF9329"


def test_trouble_with_board_and_disk_is_said_and_nothing_counts_as_lit() -> None:
    p = player(place="launch-arrow")
    p.give(NotShown(ShowDark(0), "the board refused"))
    assert p.state.message == "the board refused"
    assert not p.state.lit_places
    assert p.give(key.Retry())
    assert p.state.lit_places
    p.give(NotSaved("the disk is full"))
    assert p.state.unsaved == "the disk is full"
    p.give(Saved())
    assert not p.state.unsaved
    p.give(BoardDark())
    assert p.state.lit_places  # lit again by itself
    p.give(BoardGone("unplugged"))
    assert not p.state.lit_places
    assert not p.state.board.here


def test_without_a_board_everything_but_light_works() -> None:
    p = player(place="launch-arrow", board=False)
    found = p.give(key.ChangeLevel(-100), key.PutAt(1, 2))
    assert all(isinstance(effect, SaveMap) for effect in found)
    assert p.state.lighting.chains[0].estimated


def test_an_empty_map_does_not_fall_over() -> None:
    p = player(new_map("Kelp Forest"))
    for each in (key.Go(1, 0), key.Move(1), key.PutAt(1, 2), key.ChangeLevel(1), key.Compare(), key.ToggleDiffuser()):
        assert p.give(each) == [RingBell()]


def test_what_a_level_and_a_colour_may_be() -> None:
    assert parse_level(" 40% ") == 102
    assert parse_level("0") == 0
    assert parse_level("") is None
    assert parse_colour("#ffb46b") == "FFB46B"
    assert parse_colour("Cool") == "F0F0FF"
    assert parse_colour("") == ""
    for wrong in ("-1", "256", "101 %", "٣", "1e2"):
        with pytest.raises(ValueError):
            parse_level(wrong)
    for wrong in ("FFF", "000000", "GGGGGG"):
        with pytest.raises(ValueError):
            parse_colour(wrong)


places = st.sampled_from([place.id for place in DEMO.places])
inputs = st.one_of(
    st.builds(key.Pick, places),
    st.builds(key.Go, st.sampled_from([-1, 0, 1]), st.sampled_from([-1, 0, 1])),
    st.builds(key.Move, st.integers(-3, 3)),
    st.builds(key.PutAt, st.floats(0, 514), st.floats(0, 1066)),
    st.builds(key.Ask, st.sampled_from(list(key.Entry))),
    st.builds(
        key.Typed, st.sampled_from(["C7", "120", "FF8020", "warm", "1/2 in", "reef", "", "?"]) | st.text(max_size=8)
    ),
    st.builds(key.Take, st.booleans()),
    st.builds(key.ChangeLevel, st.integers(-300, 300)),
    st.sampled_from(
        [
            key.Leave(),
            key.ChangeWarmth(),
            key.TakeAdvice(),
            key.ToggleWhole(),
            key.FollowGroup(),
            key.Copy(),
            key.Paste(),
            key.Compare(),
            key.NextMode(),
            key.ToggleFade(),
            key.ToggleDiffuser(),
            key.ToggleUnit(),
            key.Undo(),
            key.Redo(),
            key.Retry(),
            Tick(),
            BoardDark(),
        ]
    ),
)


@settings(max_examples=examples(60))
@given(st.lists(inputs, max_size=30), st.booleans(), st.sampled_from([120, 450, 2_000]))
def test_any_inputs_keep_the_rules(given_: list[object], steady: bool, ceiling_ma: int) -> None:
    p = player(steady_only=steady, ceiling_ma=ceiling_ma)
    maps = []
    for each in given_:
        before: PictureWork = p.state
        effects = p.give(each)
        after: PictureWork = p.state
        assert p.within_ceiling(CEILINGS)
        saves = [effect for effect in effects if isinstance(effect, SaveMap)]
        if after.map is not before.map:
            assert saves
            assert effects[0] is saves[0]
            assert saves[0].map is after.map
            maps.append(after.map)
        assert after.place in after.map.place_by_id
    for m in maps[-3:]:
        render_map(m)  # every record would be read back as it is
    while p.state.past:
        p.give(key.Undo())
    assert p.state.map == DEMO
