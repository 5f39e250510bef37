"""What stands beside the matter on a large terminal: each pane and picture says what is true of the row or step in hand."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.joining import places_of_lamp
from probe.document.model import PlayfieldMap
from probe.document.model.harness import Metered
from probe.evenings import log, worklist
from probe.game import lamp_form
from probe.harness import bench, planning, power_up
from probe.mapping import history
from probe.program import settings
from probe.task import events as ev
from probe.task.task import Opened
from probe.task.views import MARK_SIGN, FormView, Pane, Spot, TaskView
from probe.ui.command_screen import Aside
from tests.ui.conftest import OpenApp, text_of

WHOLE = load_map(demo_map_path())


def _texts(panes: tuple[Pane, ...], title: str) -> list[str]:
    found = [pane for pane in panes if pane.title == title]
    assert len(found) == 1, [pane.title for pane in panes]
    return [line.text for line in found[0].lines]


def _panes(view: TaskView) -> tuple[Pane, ...]:
    assert view.panes is not None
    return view.panes(40)


def _marked(spots: tuple[Spot, ...] | None, map_: PlayfieldMap = WHOLE) -> set[str]:
    """The places whose position is marked."""
    at = {spot.position for spot in spots or () if spot.sign == MARK_SIGN}
    return {place.label for place in map_.places if place.position in at}


def test_revisions_show_the_places_that_changed() -> None:
    task, state = history.make(Opened(WHOLE))
    view = task.view(state)
    assert view.picture is not None
    assert _marked(view.picture.spots) == {"Whirlpool"}, "the words of the revision name this place only"
    assert _texts(_panes(view), "Places that changed") == ["Whirlpool"]
    place = WHOLE.places[5].model_copy(update={"label": "Renamed"})
    changed = WHOLE.model_copy(update={"places": (*WHOLE.places[:5], place, *WHOLE.places[6:])})
    assert [p.label for p in history.changed_places(WHOLE, changed)] == ["Renamed"]
    assert history.changed_places(WHOLE, WHOLE) == ()


def test_the_worklist_marks_where_the_line_in_hand_is_done() -> None:
    task, state = worklist.make(Opened(WHOLE))
    assert _marked(task.view(state).spots) == {"Trench eel 3"}
    step = task.step(state, ev.Choose(1), 0.0)
    assert step is not None
    assert task.view(step[0]).spots == (), "readings of evenness are of no one place"


def test_the_log_says_what_was_done_and_what_was_left() -> None:
    task, state = log.make(Opened(WHOLE))
    view = task.view(state)
    done, last = _texts(view.panes, "Done that evening"), WHOLE.revisions[-1]
    assert done[0] == f"{last.number}  {last.reason}"
    assert [line.strip() for line in done[1:]] == list(last.changes)
    assert len(_texts(view.panes, "Left then")) == int(view.rows[0].cells[3])


def test_settings_say_what_the_others_do_and_what_is_not_as_usual() -> None:
    task, state = settings.make(Opened(None, settings={"bell": False}))
    panes = task.view(state).panes
    named = [line for line in _texts(panes, "The others") if not line.startswith(" ")]
    assert named == [setting.label for setting in settings.SETTINGS if setting.name != state.at]
    assert _texts(panes, "Not as usual") == ["Bell: no, usually yes"]


def test_a_lamp_shows_its_places() -> None:
    lamp = next(lamp for lamp in WHOLE.lamps if places_of_lamp(WHOLE, lamp))
    task, state = lamp_form.make(Opened(WHOLE, lamp_form.LampFacts(lamp)))
    view = task.view(state)
    names = [place.label for place in places_of_lamp(WHOLE, lamp)]
    assert _texts(_panes(view), "Its places") == names
    assert view.picture is not None
    assert _marked(view.picture.spots) == set(names)


def test_power_up_shows_what_was_read_and_what_comes_with_its_caution() -> None:
    task, state = planning.make_power_up(Opened(WHOLE))
    map_, _ = power_up.note(WHOLE, state.figures.power, state.chain, Metered.POLARITY, "5.0", "2025-04-05T20:15:00Z")
    state = planning.make_power_up(Opened(map_))[1]
    view = task.view(state)
    assert isinstance(view, FormView)
    panes = view.panes
    assert len(_texts(panes, "Read so far")) == 1
    assert _texts(panes, "Read so far")[0].startswith("polarity: good: 5 V")
    then = _texts(panes, "Then")
    assert "unplugged" in then[0]
    assert [line.strip() for line in then[2::2]] == [power_up.STAGES[stage] for stage in Metered][1:]


def test_the_bench_shows_what_was_found_and_the_steps_that_follow() -> None:
    task, state = bench.make(Opened(WHOLE))
    state = replace(state, stage=bench.BenchStage.DARK_MA, order="GRB", count=7, flaw="one is dim")
    panes = _panes(task.view(state))
    found = _texts(panes, "Found so far")
    assert {"7 pixels on output 0", "plus to ground: no short", "order GRB", "not as it should be: one is dim"} <= {
        *found
    }
    then = _texts(panes, "Then")
    assert len(then) == 4, "red, burn-in, touch, and what is kept"
    assert not any("ohms" in line for line in then)
    view = task.view(state)
    assert view.panes is not None
    assert [pane.title for pane in view.panes(12)] == ["Found so far"], "where there is little room no step is cut"


@pytest.mark.slow
@pytest.mark.parametrize(("name", "enters"), [("power_up", 1), ("settings", 0), ("log", 0)])
async def test_they_stand_whole_beside_it_on_a_large_terminal(name: str, enters: int, open_app: OpenApp) -> None:
    async with open_app(WHOLE, WHOLE, size=(200, 60)) as stage:
        await stage.lit()
        stage.app.runtime.open(name)
        for _ in range(enters):
            await stage.pilot.pause(0.1)
            await stage.pilot.press("enter")
        await stage.pilot.pause(0.3)
        screen: Any = stage.app.screen
        assert screen.query_one(Aside).is_at_side
        shown = " ".join(re.sub(r"[^\w.,:;?!]+", " ", row[138:]) for row in text_of(stage.app).splitlines())
        shown = " ".join(shown.split())
        for pane in screen.current_view().panes:
            for line in pane.lines:
                words = " ".join(re.sub(r"[^\w.,:;?!]+", " ", line.text).split())
                assert words in shown, line.text
        await stage.pilot.resize_terminal(120, 40)
        await stage.pilot.pause(0.3)
        assert not screen.query_one(Aside).is_at_side
        assert not any(f"─ {pane.title} ─" in text_of(stage.app) for pane in screen.current_view().panes)
