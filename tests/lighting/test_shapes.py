"""Shapes of the playfield changed inside: picked, moved, resized, added, taken out; one undo each; nothing but shapes changes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.document.model.shape import ShapeKind
from probe.lighting.shapes import (
    STEPS_MM,
    AddShape,
    ClickShape,
    Neutral,
    ShapesStage,
    ShapesState,
    StepField,
    StepLength,
    TakeOutShape,
    fields_of,
    make,
    middle_of,
    nearest,
    new_shape,
    typed_of,
    with_value,
)
from probe.playfield.field import neutral_field
from probe.task import events as ev
from probe.task.task import Opened
from probe.task.views import TaskView
from tests.runtime.contract_tasks import two_chains
from tests.support.played import Played

KELP = load_map(demo_map_path("kelp_forest.json"))


def shapes(map_: PlayfieldMap | None = None) -> Played[ShapesState]:
    task, state = make(Opened(map=map_ or two_chains()))
    return Played(task, state)


def at_kind(play: Played[ShapesState], kind: ShapeKind) -> int:
    return next(n for n, shape in enumerate(play.state.shapes) if shape.kind is kind)


def field(play: Played[ShapesState], name: str) -> ev.Choose:
    names = [each.name for each in fields_of(play.state.shape)]
    return ev.Choose(names.index(name) + 1 - play.state.field)


def test_a_new_map_begins_with_the_neutral_field_and_keeps_all_of_it_at_the_first_change() -> None:
    play = shapes()
    neutral = neutral_field(play.map.machine)
    assert play.state.shapes == neutral
    n = at_kind(play, ShapeKind.FLIPPER)
    play(ev.Choose(n), ev.Take(), ev.Take(), ev.GoTowards(1, 0), ev.GoTowards(0, 1), ev.Take())
    moved = play.map.shapes[n]
    assert (moved.x_mm, moved.y_mm) == (neutral[n].x_mm + 5, neutral[n].y_mm + 5)
    assert [*play.map.shapes[:n], *play.map.shapes[n + 1 :]] == [*neutral[:n], *neutral[n + 1 :]]
    play(ev.Undo())
    assert play.map.shapes == ()


def test_while_it_moves_it_is_drawn_where_it_would_be_and_esc_puts_it_back() -> None:
    play = shapes(KELP)
    n = at_kind(play, ShapeKind.BUMPER)
    s = play(ev.Choose(n), ev.Take(), ev.Take(), StepLength(1), ev.GoTowards(-1, 0))
    view = play.task.view(s)
    assert isinstance(view, TaskView)
    assert view.picture is not None
    assert view.picture.shapes is not None
    assert view.picture.shapes[n].x_mm == KELP.shapes[n].x_mm - STEPS_MM[2]
    assert view.picture.shape == view.picture.shapes[n]
    assert play.map is KELP
    s = play(ev.Leave())
    assert s.drawn == KELP.shapes
    assert s.stage is ShapesStage.FIELDS
    play(ev.Leave())
    assert not play.closed
    play(ev.Leave())
    assert play.closed


def test_from_below_right_is_left() -> None:
    play = shapes(KELP)
    s = play(ev.Take(), ev.Take(), ev.GoTowards(1, 0, from_below=True))
    assert s.shape.x_mm == KELP.shapes[0].x_mm - STEPS_MM[1]


def test_a_click_picks_the_shape_there_and_in_hand_puts_it_there() -> None:
    play = shapes(KELP)
    for n in (at_kind(play, ShapeKind.FLIPPER), at_kind(play, ShapeKind.SAUCER), at_kind(play, ShapeKind.RAMP)):
        where = middle_of(KELP.shapes[n])
        found = nearest(KELP.shapes, (where.x_mm, where.y_mm))
        assert found is not None
    n = at_kind(play, ShapeKind.SAUCER)
    where = middle_of(KELP.shapes[n])
    s = play(ClickShape(where.x_mm, where.y_mm))
    assert s.shape.kind is ShapeKind.SAUCER
    play(ev.Take(), ClickShape(200, 500), ev.Take())
    there = middle_of(play.map.shapes[s.chosen])
    assert (there.x_mm, there.y_mm) == pytest.approx((200, 500), abs=0.2)


def test_a_click_far_from_every_line_picks_nothing() -> None:
    play = shapes()
    s = play(ClickShape(250, 560))
    assert s.message == "no shape is there"
    assert s.chosen == 0


def test_sizes_are_typed_in_any_unit_stepped_and_given_back_to_the_usual() -> None:
    play = shapes(KELP)
    n = at_kind(play, ShapeKind.FLIPPER)
    play(ev.Choose(n), ev.Take())
    play(field(play, "length_mm"), ev.Take(), ev.Typed("3 in"), ev.Take())
    assert play.map.shapes[n].length_mm == 76.2
    play(StepField(1))
    assert play.map.shapes[n].length_mm == 81.2
    play(ev.Take(), ev.Typed(""), ev.Take())
    assert play.map.shapes[n].length_mm is None
    play(field(play, "mirror"), ev.Take())
    assert play.map.shapes[n].mirror is not KELP.shapes[n].mirror
    play(ev.Undo(), ev.Undo(), ev.Undo(), ev.Undo())
    assert play.map.shapes == KELP.shapes


@pytest.mark.parametrize("text", ["nonsense", "9 m", "", "-2"])
def test_what_is_no_size_is_refused_in_words_and_can_be_mended(text: str) -> None:
    play = shapes(KELP)
    play(ev.Choose(at_kind(play, ShapeKind.FLIPPER)), ev.Take())
    s = play(field(play, "x_mm" if not text else "tip_mm"), ev.Take(), ev.Typed(text), ev.Take())
    assert play.map is KELP
    assert s.typed == text
    assert s.message


@pytest.mark.parametrize("kind", ShapeKind)
def test_every_kind_can_be_added_moved_and_taken_out_again(kind: ShapeKind) -> None:
    play = shapes(KELP)
    play(AddShape(), ev.Choose(list(ShapeKind).index(kind)), ev.Take(), ev.GoTowards(1, 0), ev.Take())
    assert len(play.map.shapes) == len(KELP.shapes) + 1
    assert play.map.shapes[-1].kind is kind
    assert play.state.shape.kind is kind, "what was added is in hand"
    PlayfieldMap.model_validate_json(play.map.model_dump_json())
    play(TakeOutShape())
    assert play.map.shapes == KELP.shapes


def test_a_shape_that_was_to_be_added_is_not_where_it_is_left() -> None:
    play = shapes(KELP)
    s = play(AddShape(), ev.Take(), ev.Leave())
    assert play.map is KELP
    assert s.stage is ShapesStage.LIST
    assert s.drawn == KELP.shapes


def test_points_of_a_wall_are_typed_added_and_taken_out_but_two_stay() -> None:
    play = shapes()
    n = at_kind(play, ShapeKind.WALL)
    play(ev.Choose(n), ev.Take())
    before = play.state.shape.points
    play(field(play, "points.0"), ev.Take(), ev.Typed("-4,5; 210"), ev.Take())
    assert play.map.shapes[n].points[0] == (-4.5, 210)
    play(AddShape())
    assert len(play.map.shapes[n].points) == len(before) + 1
    play(*[TakeOutShape()] * (len(before) - 1))
    s = play(TakeOutShape())
    assert len(s.shape.points) == 2
    assert "at least two points" in s.message


def test_the_last_shape_stays_and_the_neutral_field_comes_back() -> None:
    play = shapes(KELP.model_copy(update={"shapes": KELP.shapes[:1]}))
    s = play(TakeOutShape())
    assert "stays" in s.message
    play(Neutral())
    assert play.map.shapes == ()
    assert play.state.shapes == neutral_field(play.map.machine)


@pytest.mark.slow
@given(st.lists(st.sampled_from([ev.Take(), ev.Leave(), ev.Choose(1), ev.Choose(-1), ev.GoTowards(1, 0), StepField(1),
                                 StepField(-1), AddShape(), TakeOutShape(), ClickShape(150, 160), ClickShape(9, 900),
                                 ev.Typed("12"), ev.Typed("1, 2"), ev.Undo(), ev.Redo(), StepLength(1), Neutral()]),
                max_size=25))  # fmt: skip
def test_whatever_is_pressed_only_shapes_change_and_the_map_stays_sound(events: list[object]) -> None:
    play = shapes()
    before = play.map
    for event in events:
        s = play(event)
        play.task.view(s)
    assert play.map.model_copy(update={"shapes": (), "revisions": (), "pending": ()}) == before.model_copy(
        update={"shapes": (), "revisions": (), "pending": ()}
    )
    PlayfieldMap.model_validate_json(play.map.model_dump_json())


@pytest.mark.parametrize("kind", ShapeKind)
def test_what_a_field_shows_can_be_typed_back(kind: ShapeKind) -> None:
    shape = new_shape(KELP, kind)
    for each in fields_of(shape):
        if each.name in ("mirror", "curved"):
            continue
        assert with_value(shape, each.name, typed_of(shape, each.name)) == shape
