"""The tasks between two evenings: worklist, log, and the way back after a board died."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given, settings

from device_protocol.orders import Identity, RestartCause
from device_protocol.values import Colour
from probe.document.board_table import board_table
from probe.document.edits import Remove, apply_edits
from probe.document.file import demo_map_path, load_map
from probe.document.local_time import local_date
from probe.document.model import Chain, PixelState, PlayfieldMap, Revision
from probe.document.model.evenings import WorkMoment
from probe.document.model.game import Proof, Verdict
from probe.document.model.harness import Feed
from probe.document.needs import write_line
from probe.document.operations import add_chain, new_map, set_note
from probe.document.revisions import revised
from probe.evenings.log import EveningLog, LogTask, evening_data, evening_lines, evenings
from probe.evenings.log import make as make_log
from probe.evenings.restore import NotLit, RestoreTask, Restoring, build_options
from probe.evenings.restore import make as make_restore
from probe.evenings.worklist import (
    AddLine,
    RemoveLine,
    TickOff,
    Worklist,
    WorklistTask,
    all_left,
    make,
    summary,
)
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import AsBelow, Pixels
from probe.task.task import BoardView, Opened
from probe.ui.footer import hints_for
from tests.document.strategies import maps
from tests.support.examples import examples

DEMO = load_map(demo_map_path())
NOW = "2026-03-01T19:30:00Z"


def play(task: Any, s: Any, *events: object) -> tuple[Any, list[object]]:
    """The state after events, and all effects; the map follows commits, as the runtime keeps it."""
    effects: list[object] = []
    for event in events:
        done = task.step(s, event, 0.0)
        assert done is not None, event
        s, asked = done
        effects += asked
        for effect in asked:
            if isinstance(effect, fx.Commit):
                s = task.seen(s, effect.map, s.board, "")
    return s, effects


def opened(map_: PlayfieldMap = DEMO) -> tuple[WorklistTask, Worklist]:
    return make(Opened(map_))


def at(task: WorklistTask, s: Worklist, start: str) -> Worklist:
    there: Worklist
    there, _ = play(task, s, ev.Choose(next(n for n, i in enumerate(s.items) if i.need.words.startswith(start)) - s.at))
    return there


def without(map_: PlayfieldMap, number: int) -> PlayfieldMap:
    return apply_edits(map_, [Remove(chain="playfield", first=number, last=number)])


@pytest.mark.slow
def test_a_line_leads_to_its_task_and_back_to_the_list() -> None:
    task, s = opened()
    s = at(task, s, "Prove that each lamp")
    _, effects = play(task, s, ev.Take())
    assert effects == [fx.Open("prove", ("playfield", 0))]
    s = at(task, s, "Replace the dead pixel")
    _, effects = play(task, s, ev.Take())
    assert effects == [fx.Open("plan", ("playfield", 77))], "what can be done about it"
    bare = without(DEMO, 20)
    task, s = opened(bare)
    s = at(task, s, "Plan where to splice")
    _, effects = play(task, s, ev.Take())
    assert effects == [fx.Open("plan", ("playfield", "splice"))]
    s = at(task, s, "Print the sheet")
    s, effects = play(task, s, ev.Take())
    assert effects == [fx.Bell()]
    assert "Space" in s.message


def test_the_footer_says_what_enter_does() -> None:
    task, s = opened()
    for state, words in ((s, "Do it"), (play(task, s, AddLine())[0], "Keep the line")):
        assert [h.words for h in hints_for(task.commands, state, {}) if h.key == "Enter"] == [words]


@pytest.mark.slow
def test_a_line_is_written_for_a_moment_ticked_off_and_taken_out() -> None:
    task, s = opened()
    s, effects = play(task, s, AddLine(), ev.Typed("order fuses"), ev.Choose(1), ev.Take())
    (commit,) = effects
    assert isinstance(commit, fx.Commit)
    (line,) = s.map.worklist
    assert (line.words, line.moment, line.area) == ("order fuses", WorkMoment.POWER_ON, "Trench")
    assert s.typed is None
    s = at(task, s, "order fuses")
    s, _ = play(task, s, TickOff(NOW))
    assert s.map.worklist[0].done == NOW
    s = at(task, s, "order fuses")
    s, _ = play(task, s, RemoveLine())
    assert s.map.worklist == ()
    s, effects = play(task, s, RemoveLine())
    assert effects == [fx.Bell()], "a computed line is not taken out"
    s, effects = play(task, s, AddLine(), ev.Typed("x"), ev.Leave())
    assert (s.typed, effects) == (None, [])
    assert task.step(s, ev.Leave(), 0.0) is None


def test_the_view_holds_every_line_with_its_box() -> None:
    task, s = opened()
    view = task.view(s)
    assert [row.cells[0] for row in view.rows] == ["☐"] * len(s.items)
    assert "5 lines left: 1 before power, 2 power on, 2 game on" in view.progress
    s, _ = play(task, s, TickOff(NOW))
    assert [row.cells[0] for row in task.view(s).rows].count("✓") == 1


def test_the_plan_and_the_joints_have_lines_too() -> None:
    feed = DEMO.feeds[0].model_copy(update={"fuse_a": 30.0})
    map_ = DEMO.model_copy(update={"feeds": (feed, *DEMO.feeds[1:])})
    lines = [item.need for item in all_left(map_) if item.need.task == "power"]
    assert [need.words for need in lines] == ["Mend the power plan at Board end"]
    assert lines[0].moment is WorkMoment.BEFORE_POWER
    assert isinstance(map_.feeds[0], Feed)
    assert not [item for item in all_left(DEMO) if item.need.task == "power"]


@pytest.mark.slow
@settings(max_examples=examples(30))
@given(maps())
def test_any_map_has_a_worklist_and_a_log(map_: PlayfieldMap) -> None:
    task, s = opened(map_)
    assert len(task.view(s).rows) == len(s.items)
    assert summary(s.items)
    logs, log = make_log(Opened(map_))
    logs.view(log)
    for evening in evenings(map_):
        assert evening.minutes >= 0
        assert evening_data(evening)["day"] == evening.day
        assert list(evening_lines(evening))


# -- the log ----------------------------------------------------------------------------------------------------------


def three_revisions() -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp"), Chain(id="a", name="A", output=0, count=3))
    start = new_map("Kelp")
    map_ = revised(start, map_, time="2026-01-10T20:00:00Z", reason="Set up")
    map_ = revised(map_, set_note(map_, "a", 0, "x"), time="2026-01-10T23:30:00Z", reason="Walked")
    return revised(map_, set_note(map_, "a", 1, "y"), time="2026-01-17T01:00:00+02:00", reason="Again")


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Sets this computer's time zone."""

    def set_to(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield set_to
    monkeypatch.undo()
    time.tzset()


def test_an_evening_is_that_of_the_computers_time_zone(zone: Callable[[str], None]) -> None:
    days = {}
    for name in ("UTC", "America/New_York", "Pacific/Kiritimati"):
        zone(name)
        days[name] = [evening.day for evening in evenings(three_revisions())]
    assert days["UTC"] == ["2026-01-10", "2026-01-16"]
    assert days["America/New_York"] == ["2026-01-10", "2026-01-16"]
    assert days["Pacific/Kiritimati"] == ["2026-01-11", "2026-01-17"]


def test_an_evening_goes_past_midnight_and_ends_with_a_long_pause(zone: Callable[[str], None]) -> None:
    zone("UTC")
    map_ = three_revisions()
    proofs = tuple(
        Proof(lamp=n, verdict=Verdict.RIGHT, time=t, revision=2)
        for n, t in enumerate(["2026-01-11T00:40:00Z", "whenever"])
    )
    found = evenings(map_.model_copy(update={"proofs": proofs}))
    assert [(e.day, e.minutes, e.time) for e in found] == [
        ("2026-01-10", 280, "4 h 40"),
        ("2026-01-16", 0, "time not known"),
    ]
    assert [next(iter(evening_lines(e))) for e in found] == [
        "10 Jan 2026, 4 h 40 at least",
        "16 Jan 2026, time not known",
    ]
    assert found[0].done == ("Set up", "Walked", "1 lamp looked at in the game")
    assert [r.number for r in found[0].revisions] == [1, 2]


def test_a_pause_ends_an_evening_and_what_was_left_is_that_of_its_last_revision(zone: Callable[[str], None]) -> None:
    zone("UTC")
    map_ = before = new_map("Kelp Forest")
    map_ = add_chain(map_, Chain(id="playfield", name="Playfield", output=0, count=1))
    map_ = revised(before, map_, time="2026-01-10T10:00:00Z", reason="Set up")
    after = write_line(map_, "Buy fuses", moment=WorkMoment.BEFORE_POWER)
    after = revised(map_, after, time="2026-01-10T11:00:00Z", reason="A line")
    (only,) = evenings(after)
    assert only.left is not None
    assert "Buy fuses" in [item.need.words for item in only.left]
    proof = Proof(lamp=1, verdict=Verdict.RIGHT, time="2026-01-10T16:00:00Z", revision=2)
    assert [e.minutes for e in evenings(after.model_copy(update={"proofs": (proof,)}))] == [60, 0], (
        "five hours are a pause"
    )
    proof = proof.model_copy(update={"time": "2026-01-10T15:59:59Z"})
    assert [e.minutes for e in evenings(after.model_copy(update={"proofs": (proof,)}))] == [360]


def test_it_says_what_was_left_at_the_end_of_each_where_that_is_known() -> None:
    found = evenings(three_revisions())
    assert found[0].left is not None
    assert next(item.need.words for item in found[0].left) == "Walk A"
    old = Revision(number=1, time="2026-01-01T20:00:00Z", reason="before there were differences")
    new = Revision(number=2, time="2026-02-01T20:00:00Z", reason="too")
    silent = new_map("Kelp").model_copy(update={"revisions": (old, new)})
    assert [evening.left is None for evening in evenings(silent)] == [True, False]


def test_the_last_evening_comes_first_on_screen() -> None:
    task, s = make_log(Opened(three_revisions()))
    assert isinstance(task, LogTask)
    assert isinstance(s, EveningLog)
    assert [row.cells[0] for row in task.view(s).rows] == ["16 Jan 2026", "10 Jan 2026"]
    s, _ = play(task, s, ev.Choose(1), ev.Choose(1))
    assert "Walked" in " ".join(line.text for line in task.view(s).details)
    _, effects = play(task, s, ev.GoOpen("revisions"))
    assert effects == [fx.Open("revisions")]


# -- the board died ---------------------------------------------------------------------------------------------------


def board(**changes: Any) -> BoardView:
    stated: dict[str, Any] = {
        "proto": 1, "board": "probe-328", "build": "1.0", "line": 96, "outputs": 2, "pixels": 500, "ceiling_ma": 450,
        "channel_ua": 20_000, "idle_ua": 1_000, "silence_ms": 5_000, "uptime_ms": 1, "cause": RestartCause.POWER, "table": 0,
        "features": frozenset({"table"}),
    }  # fmt: skip
    return BoardView(identity=Identity(**(stated | changes)))


def test_what_the_firmware_is_built_with_comes_from_the_map() -> None:
    options = {option.name: option.value for option in build_options(DEMO)}
    assert options["PP_OUTPUTS"] == 2
    assert options["PP_PIXELS"] == 84
    assert options["PP_CEILING_MA"] == 450
    assert options["PP_LAMPS"] == max(n for p in DEMO.places for n in p.lamps)
    assert options["PP_STORE_BYTES"] == 2 * (len(board_table(DEMO).image) + 12)
    assert build_options(new_map("Kelp")) == ()


def restoring(**changes: Any) -> tuple[RestoreTask, Restoring]:
    task, s = make_restore(Opened(DEMO, now=NOW))
    return task, task.seen(s, DEMO, board(**changes), "")


def signs(s: Restoring) -> list[bool | None]:
    return [step.done for step in s.steps]


def test_a_board_that_was_built_otherwise_is_told_apart() -> None:
    assert signs(restoring()[1])[0] is True
    for changes in ({"outputs": 1}, {"pixels": 83}, {"ceiling_ma": 2_000}):
        task, s = restoring(**changes)
        assert signs(s)[0] is False
        assert any("build it anew" in line.text for line in task.view(s).details)
    assert signs(make_restore(Opened(DEMO, now=NOW))[1])[0] is None, "without a board nobody knows"
    assert signs(restoring(ceiling_ma=2_000)[1])[3] is False


def test_the_steps_open_the_tasks_that_there_are() -> None:
    task, s = restoring(table=board_table(DEMO).revision)
    for row, name in ((2, "board"), (3, "power")):
        s, effects = play(task, s, ev.TakeRow(row))
        assert effects == [fx.Open(name, ("playfield", 0))]
        s, _ = play(task, s, ev.TaskClosed(name, None))
        assert s.chosen == row + 1, "done: the next one is in hand"
    _, effects = play(task, s, ev.Take())
    assert effects == [fx.Open("prove", ("playfield", 0))]
    assert any(
        "Unplug" in line.text or "unplug" in line.text for line in task.view(play(task, s, ev.Choose(-9))[0]).details
    )


def test_a_step_that_is_left_before_it_is_done_stays_in_hand() -> None:
    task, s = restoring(table=0)
    s, _ = play(task, s, ev.TakeRow(2), ev.TaskClosed("board", None))
    assert s.chosen == 2
    rows = [line.text[0] for line in task.view(s).items]
    assert rows == ["✓", "·", "☐", "✓", "☐"], "the row in hand shows its sign as well"


def test_the_first_pixel_that_lights_a_place_is_lit_here_and_asked_about() -> None:
    task, s = restoring()
    chain = DEMO.chain("playfield")
    first = next(n for n, pixel in enumerate(chain.pixels) if pixel.state is PixelState.PLACED)
    assert first == 1, "the demo's first pixel is a repeater: nobody sees it light"
    assert task.light(s) == AsBelow()
    s, effects = play(task, s, ev.TakeRow(1))
    assert effects == []
    assert task.light(s) == Pixels.one(chain.output, first, Colour(32, 32, 32))
    assert "Playfield 1 (2nd): does it light?" in s.message
    seen, _ = play(task, s, ev.Take())
    assert (signs(seen)[1], seen.chosen, task.light(seen)) == (True, 2, AsBelow())
    dark, effects = play(task, s, NotLit())
    assert effects == [fx.Open("faults", ("playfield", first))]
    assert (signs(dark)[1], task.light(dark)) == (None, AsBelow())
    back, _ = play(task, dark, ev.TaskClosed("faults", None))
    assert back.chosen == 1
    assert task.light(play(task, s, ev.Choose(1))[0]) == AsBelow()
    assert signs(task.seen(seen, DEMO, BoardView(), ""))[1] is None, "a board that is gone lights nothing"
    bare = add_chain(new_map("Kelp"), Chain(id="k", name="K", output=3, count=4))
    assert make_restore(Opened(bare, now=NOW))[1].first == (bare.chain("k"), 0)


def test_without_a_board_no_pixel_is_asked_about() -> None:
    task, s = make_restore(Opened(DEMO, now=NOW))
    s, effects = play(task, s, ev.TakeRow(1))
    assert effects == [fx.Bell()]
    assert task.light(s) == AsBelow()
    assert "no board" in s.message


def test_only_proofs_by_the_new_boards_table_count() -> None:
    task, s = restoring()
    old = Proof(lamp=1, verdict=Verdict.RIGHT, time="2020-01-01T00:00:00Z", revision=2, by_table=True)
    numbers = Proof(lamp=2, verdict=Verdict.RIGHT, time="2026-03-02T00:00:00Z", revision=2)
    new = Proof(lamp=3, verdict=Verdict.RIGHT, time="2026-03-02T00:00:00Z", revision=2, by_table=True)
    s = task.seen(s, DEMO.model_copy(update={"proofs": (old, numbers, new)}), s.board, "")
    assert s.steps[4].lines[0].startswith("1 of 73 proved by the table")
    assert s.steps[4].lines[1].startswith(f"Before: 1 on {local_date(old.time)}."), "those of another evening are told"
