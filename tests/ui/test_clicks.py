"""Everything that lists can be clicked, the wheel scrolls it, and a click in the picture picks or places: every task, one test."""

from __future__ import annotations

from typing import Any

import pytest
from textual.events import MouseScrollDown
from textual.widget import Widget
from textual.widgets import OptionList

from probe.cautions import Moment
from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.document.model.playfield import Position
from probe.task import events as ev
from probe.task.views import FormView, RowsView, TaskView
from probe.ui.command_screen import CommandScreen
from probe.ui.form_screen import EntryList
from probe.ui.keys import OF_PROGRAM
from probe.ui.rows_screen import RowTable
from probe.ui.task_screen import ItemList
from probe.ui.widgets.picture import PlayfieldPicture
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, Stage, text_of

TASKS = [row.event.task for row in OF_PROGRAM if isinstance(row.event, ev.GoOpen)] + ["settings", "guide"]
BESIDE = ("settings", "guide")
FIRST = {"walk": ev.Typed("r"), "recheck": ev.Take("2026-03-01T19:30:00Z")}
"""What leads to rows, where there are none at once."""
NO_LIST = {"evenness", "picture", "board", "prove", "watch"}
"""Tasks whose first screen has no list of rows: they ask about one thing."""


@pytest.fixture(scope="module")
def whole() -> PlayfieldMap:
    return load_map(demo_map_path("kelp_forest.json"))


async def opened(stage: Stage, task: str) -> CommandScreen:
    """The screen of a task, cautions read."""
    await stage.lit()
    stage.app.cautions_read = set(Moment)
    if task in BESIDE:
        stage.app.open_beside(task)
    else:
        stage.app.runtime.dispatch(ev.GoOpen(task))
    for waited in range(200):
        await stage.pilot.pause(0.02)
        screen = stage.app.screen
        top = stage.app.runtime.top
        if waited == 5 and task in FIRST and top is not None:
            stage.app.runtime.dispatch(FIRST[task], top)
        if waited > 5 and isinstance(screen, CommandScreen) and screen.open_task.name == task and rows_of(screen)[1]:
            break
    await stage.app.settled()
    await stage.pilot.pause()
    screen = stage.app.screen
    assert isinstance(screen, CommandScreen)
    return screen


def rows_of(screen: CommandScreen) -> tuple[Widget | None, int]:
    """The list of a screen and how many rows it has."""
    match screen.current_view():
        case TaskView() as view:
            return screen.query_one(ItemList), len(view.items)
        case RowsView() as view:
            return screen.query_one(RowTable), len(view.rows)
        case FormView() as view:
            return screen.query_one(EntryList), len(view.entries)


def marked(screen: CommandScreen) -> Any:
    """What is in hand."""
    view = screen.current_view()
    return view.chosen if isinstance(view, TaskView) else view.at


@pytest.mark.parametrize("task", first_now(TASKS, now=3))
async def test_a_click_marks_the_row_it_is_on_and_the_wheel_scrolls(
    task: str, open_app: OpenApp, whole: PlayfieldMap
) -> None:
    async with open_app(whole, whole) as stage:
        screen = await opened(stage, task)
        listed, count = rows_of(screen)
        if task in NO_LIST:
            assert count < 2
            return
        assert listed is not None
        assert count > 1, "a list worth a click"
        view = screen.current_view()
        if isinstance(view, TaskView):
            row = view.chosen - 1 if view.chosen else 1
            wanted: Any = row
            at = row
        elif isinstance(view, RowsView):
            row = 1 if view.rows[0].key == view.at else 0
            wanted, at = view.rows[row].key, row + 1  # below the heading
        else:
            row = next(n for n, e in enumerate(view.entries) if e.key is not None and e.key != view.at)
            wanted, at = view.entries[row].key, row
        listed.scroll_to(y=0, animate=False)
        await stage.pilot.pause(0.1)
        await stage.pilot.click(listed, offset=(6, at - int(listed.scroll_offset.y)))
        await stage.pilot.pause(0.1)
        assert marked(screen) == wanted
        if listed.max_scroll_y > 0:
            before = listed.scroll_target_y
            await stage.pilot._post_mouse_events([MouseScrollDown], listed, offset=(4, 2))
            await stage.pilot.pause(0.3)
            assert listed.scroll_target_y > before or before == listed.max_scroll_y


async def test_a_click_on_the_marked_row_takes_it(open_app: OpenApp, whole: PlayfieldMap) -> None:
    async with open_app(whole, whole) as stage:
        screen = await opened(stage, "guide")
        await stage.pilot.click(ItemList, offset=(6, 2))
        await stage.pilot.pause(0.1)
        assert marked(screen) == 2
        await stage.pilot.click(ItemList, offset=(6, 2))
        await stage.pilot.pause(0.2)
        assert "Which page?" not in text_of(stage.app), "it is read"


PLACES = {"walk", "picture", "shapes", "recheck", "evenness"}


@pytest.mark.slow
@pytest.mark.parametrize("task", first_now(sorted(PLACES)))
async def test_a_click_in_the_picture_picks_or_places(task: str, open_app: OpenApp, whole: PlayfieldMap) -> None:
    """Where a task has a picture in which a place can be meant, a click there is an event of the task."""
    async with open_app(whole, whole, size=(120, 40)) as stage:
        screen = await opened(stage, task)
        view = screen.current_view()
        assert isinstance(view, TaskView)
        if view.picture is None or view.picture.point is None:
            pytest.fail(f"the picture of {task} hears no click")
        before = stage.app.runtime.seen(screen.open_task)
        place = next(p for p in whole.places if p.label == "Wreck arrow")
        assert place.position is not None
        picture = screen.query_one(PlayfieldPicture)
        await stage.pilot.click(picture, offset=picture.cell_of(place.position))
        await stage.pilot.pause(0.1)
        assert stage.app.runtime.seen(screen.open_task) != before


async def test_lists_of_screens_that_are_no_task_are_clicked(open_app: OpenApp) -> None:
    async with open_app(None, paper=False) as stage:
        stage.app.action_port()
        await stage.pilot.pause(0.3)
        listed = stage.app.screen.query_one(OptionList)
        await stage.pilot.click(listed, offset=(4, 0))
        await stage.pilot.pause(0.2)
        assert stage.app.session.paper


async def test_a_click_chooses_among_the_items_below_the_line_of_a_table(
    open_app: OpenApp, whole: PlayfieldMap
) -> None:
    async with open_app(whole, whole) as stage:
        screen = await opened(stage, "worklist")
        await stage.pilot.press("f7")
        await stage.pilot.pause(0.1)
        view = screen.current_view()
        assert isinstance(view, RowsView)
        other = 1 if view.chosen == 0 else 0
        await stage.pilot.click("#rows-items", offset=(4, other))
        await stage.pilot.pause(0.1)
        view = screen.current_view()
        assert isinstance(view, RowsView)
        assert view.chosen == other
        shown = [line.strip() for line in text_of(stage.app).splitlines()]
        assert [line for line in shown if line.startswith("▸")] == [f"▸ {view.items[other].text}"]
        taken: list[object] = []
        screen.dispatch = taken.append  # type: ignore[method-assign,assignment]
        await stage.pilot.click("#rows-items", offset=(4, other))
        await stage.pilot.pause(0.1)
        assert taken == [ev.Take()], "a click on the chosen one takes it"


@pytest.mark.slow
async def test_a_seat_of_a_plan_is_drawn_behind_another_with_the_mouse(open_app: OpenApp, whole: PlayfieldMap) -> None:
    async with open_app(whole, whole, size=(200, 60)) as stage:
        await stage.lit()
        await stage.pilot.press("f10", "4", "o")
        for _ in range(400):
            await stage.pilot.pause(0.02)
            top = stage.app.runtime.top
            if top is not None and top.name == "plan" and top.state.plan is not None and not top.state.working:
                break
        assert top is not None
        stretches = top.state.plan.stretches
        picture = stage.app.screen.query(PlayfieldPicture).first()
        one, other = (Position(x_mm=stretches[n].seat.x_mm, y_mm=stretches[n].seat.y_mm) for n in (3, 50))
        await stage.pilot.mouse_down(picture, offset=picture.cell_of(one))
        await stage.pilot.hover(picture, offset=picture.cell_of(other))
        await stage.pilot.mouse_up(picture, offset=picture.cell_of(other))
        await stage.pilot.pause()
        assert top.state.by_hand
        places = [stretch.seat.place for stretch in top.state.plan.stretches]
        assert places.index(stretches[3].seat.place) == places.index(stretches[50].seat.place) + 1
