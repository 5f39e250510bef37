"""Power plan and harness sheet on screen, driven by keys."""

from __future__ import annotations

import itertools

import pytest
from textual.widgets import Input, Static

from probe.document.document import SaveJob
from probe.document.file import demo_map_path, load_map
from probe.document.file.errors import CannotSaveError
from probe.document.model.harness import JoinedTo, Judged, Metered, MeterReading
from probe.document.wiring import joint_at, put, put_joint
from probe.harness.power_up import STAGES
from probe.task.views import FormEntry
from probe.ui.form_screen import FormScreen, _line
from probe.ui.help import CautionScreen
from probe.ui.rows_screen import RowsScreen, RowTable
from probe.ui.task_screen import TaskScreen
from tests.document.strategies import HOSTILE
from tests.support.examples import first_now, in_groups
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of

DEMO = load_map(demo_map_path())


async def press(stage: Stage, *keys: str) -> str:
    """Press keys, wait for what comes of them; returns what the screen shows."""
    for key in keys:
        await stage.pilot.press(key)
        await stage.pilot.pause()
    await stage.app.settled()
    await stage.pilot.pause()
    return text_of(stage.app)


def shows(stage: Stage) -> str:
    """The task whose screen is on top."""
    screen = stage.app.screen
    assert isinstance(screen, FormScreen | RowsScreen)
    assert isinstance(screen, RowsScreen) == (screen.open_task.name == "harness")
    return screen.open_task.name


async def opened(stage: Stage, name: str) -> str:
    """From the walk to the power plan or the harness by the menu, cautions read."""
    await stage.lit()
    shown = await press(stage, *to(f"app.{name}"))
    assert isinstance(stage.app.screen, CautionScreen)
    assert "Cautions:" in shown
    return await press(stage, "enter")


@pytest.mark.slow
async def test_power_is_live_while_it_is_edited(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        shown = await opened(stage, "power")
        assert shows(stage) == "power"
        for words in ("lowest 4.95 V", "4.50 ┤", "▲Board end@0", "▲Bumper cove@56", "Trench glow 2@83", "20 AWG"):
            assert words in shown, words
        thin = await press(stage, "left", "left", "left")
        assert "26 AWG" in thin
        assert "lowest 4.88 V at pixel 29" in thin
        assert load_map(stage.path).chain("playfield").wire == "26 AWG", "saved at once"
        typed = await press(stage, "enter", *["backspace"] * 6, *"0.5", "enter")
        assert "0.5 mm²" in typed
        white = await press(stage, *to("power.load"), *to("power.load"))
        assert "full white" in white
        back = await press(stage, "ctrl+z", "ctrl+z", "ctrl+z", "ctrl+z")
        assert "20 AWG" in back
        assert load_map(stage.path) == DEMO


@pytest.mark.slow
async def test_a_feed_where_it_helps_most(open_app: OpenApp) -> None:
    map_ = DEMO.model_copy(update={"feeds": ()})
    async with open_app(map_) as stage:
        shown = await opened(stage, "power")
        assert "assumed" in shown or "nothing to mend" in shown
        shown = await press(stage, *to("power.feed"))
        assert "one more feed helps most" in shown
        shown = await press(stage, "enter")
        assert "feed added" in shown
        saved = load_map(stage.path)
        assert saved.feeds[0].name == "board end"
        assert len(saved.feeds) == 2
        shown = await press(stage, "right")
        assert load_map(stage.path).feeds[1].pixel != saved.feeds[1].pixel
        await press(stage, "f8")
        assert len(load_map(stage.path).feeds) == 1


@pytest.mark.slow
async def test_what_is_refused_stays_in_the_line_with_the_reason(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        shown = await press(stage, "enter", *["backspace"] * 6, *"thick", "enter")
        assert "is not understood" in shown
        line = stage.app.screen.query_one("#entry", Input)
        assert (line.value, line.has_focus) == ("thick", True)
        shown = await press(stage, "escape")
        assert shows(stage) == "power"
        assert load_map(stage.path) == DEMO


@pytest.mark.slow
async def test_the_walk_goes_on_with_the_changed_map(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        await press(stage, "right", "escape")
        assert isinstance(stage.app.screen, TaskScreen)
        await stage.lit()
        await press(stage, *to("walk.say.SPARE"), *to("walk.say.SPARE"))  # pixel 0 was verified, so it is asked twice
        saved = load_map(stage.path)
        assert saved.chain("playfield").wire == "18 AWG", "the answer did not put the old map back"
        assert saved.chain("playfield").pixels[0].state == "spare"
        shown = await press(stage, "ctrl+z", "ctrl+z")
        assert "once more to take back revision" in shown, "the visit is a revision of its own"
        assert load_map(stage.path).revisions[-1].reason == "Playfield: wire changed"
        await press(stage, "ctrl+z")
        assert load_map(stage.path).chain("playfield").wire == "20 AWG"


@pytest.mark.slow
async def test_cautions_come_first_and_esc_leaves_them(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await stage.lit()
        await press(stage, *to("app.harness"))
        assert isinstance(stage.app.screen, CautionScreen)
        await press(stage, "escape")
        assert isinstance(stage.app.screen, TaskScreen)
        await opened(stage, "harness")
        assert shows(stage) == "harness"
        shown = await press(stage, "escape", *to("app.harness"))
        assert shows(stage) == "harness", "read once, not every time"
        shown = await press(stage, *to("harness.cautions"))
        assert "Do not plug or unplug pixels with power on" in shown
        await press(stage, "enter", *to("app.power"))
        assert isinstance(stage.app.screen, CautionScreen), "planning has cautions of its own"
        await press(stage, "enter")
        assert shows(stage) == "power"
        await press(stage, *to("app.harness"))
        assert shows(stage) == "harness"


@pytest.mark.slow
async def test_home_and_end_of_a_table_and_its_columns_by_arrows(open_app: OpenApp) -> None:
    async with open_app(DEMO, size=(40, 24)) as stage:
        await opened(stage, "harness")
        table = stage.app.screen.query_one(RowTable)
        await press(stage, "end")
        assert table.cursor_row == table.row_count - 1
        screen = stage.app.screen
        assert isinstance(screen, RowsScreen)
        assert screen.key_here == DEMO.chain("playfield").length - 1
        await press(stage, "home")
        assert table.cursor_row == 0
        await press(stage, "right", "right")
        assert table.scroll_target_x > 0
        await press(stage, "left", "left")
        assert table.scroll_target_x == 0


@pytest.mark.slow
async def test_the_sheet_flags_unlike_functions(open_app: OpenApp) -> None:
    number = DEMO.pixels_at["whirlpool"][0][1]
    joint = joint_at(DEMO.chain("playfield"), number).model_copy(update={"data_to": JoinedTo.GROUND})
    async with open_app(put_joint(DEMO, "playfield", joint)) as stage:
        shown = await opened(stage, "harness")
        assert "1 refused" in shown
        shown = await press(stage, *to("harness.next_flag"))
        assert "REFUSED: data out of pixel 78 (its blue) is joined to ground of pixel 79 (its blue)" in " ".join(
            shown.split()
        )
        shown = await press(stage, "enter")
        assert shows(stage) == "joint"
        assert "Unplugged at the wall" in shown
        await press(stage, *["down"] * 5, "enter", *["backspace"] * 6, *"data", "space", *"in", "enter")
        shown = text_of(stage.app)
        assert "not checked" in shown
        await press(stage, "escape")
        assert "0 refused" in text_of(stage.app)


@pytest.mark.slow
async def test_joints_one_after_the_other(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "harness")
        await press(stage, "down", "down", "enter")
        shown = await press(stage, *to("joint.neighbour.1"))
        assert "Joint 2 to 3" in shown
        await press(stage, "enter", *"70", "enter")
        assert joint_at(load_map(stage.path).chain("playfield"), 3).length_mm == 70
        await press(stage, *to("joint.neighbour.-1"), *to("joint.neighbour.-1"), "escape")
        assert shows(stage) == "harness"
        assert "joint 0 to 1" in text_of(stage.app)


def test_a_long_value_takes_rows_of_its_own_column_instead_of_being_cut() -> None:
    entry = FormEntry("white", "white, as RRGGBB", assumed="as common parts, FFBF12")
    rows = str(_line(entry, 40, 21)).splitlines()
    assert rows[0].startswith("  white, as RRGGBB      as common parts,")
    assert [row.strip() for row in rows[1:]] == ["FFBF12 assumed"]
    assert rows[1].startswith(" " * 24 + "FFBF12"), "it hangs in the column of values"
    long = str(_line(FormEntry("note", "note", "bought later " * 20), 40, 21)).splitlines()
    assert len(long) == 3
    assert long[-1].endswith("…")
    assert all(len(row) <= 40 for row in long)
    assert str(_line(FormEntry("note", "note", ""), 40, 21)).strip() == "note"


@pytest.mark.slow
async def test_batches_by_keys(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "harness")
        shown = await press(stage, *to("harness.batches"), *to("batch.add"), *"Loose", "enter")
        assert shows(stage) == "batch"
        assert "Batch Loose, 0 pixels" in shown
        await press(stage, "enter", *"pink", "enter", "escape")
        await press(stage, "down", *to("harness.give_batch"), *"Loose", "enter")
        saved = load_map(stage.path)
        assert (saved.batches[-1].name, saved.batches[-1].five_volt) == ("Loose", "pink")
        assert saved.chain("playfield").pixels[1].batch == "loose"
        assert "pink" in text_of(stage.app)


@pytest.mark.slow
@pytest.mark.parametrize("texts", first_now(in_groups(HOSTILE, of=6)), ids=str)
async def test_hostile_names_on_every_screen(open_app: OpenApp, texts: tuple[str, ...]) -> None:
    each = itertools.cycle(texts)
    map_ = put(DEMO, DEMO.feeds[0].model_copy(update={"name": next(each), "note": next(each)}))
    map_ = put(map_, map_.supplies[0].model_copy(update={"name": next(each)}))
    names = {"name": next(each), "data_out": next(each), "ground": next(each)}
    map_ = put(map_, map_.batches[0].model_copy(update=names))
    joint = joint_at(map_.chain("playfield"), 0).model_copy(update={"note": next(each), "leaving_data": next(each)})
    map_ = put_joint(map_, "playfield", joint)
    chains = tuple(c.model_copy(update={"name": next(each)}) for c in map_.chains)
    places = tuple(p.model_copy(update={"label": next(each), "area": next(each)}) for p in map_.places)
    map_ = map_.model_copy(update={"chains": chains, "places": places})
    async with open_app(map_) as stage:
        screens = [await opened(stage, "power"), await press(stage, "down", *to("power.feed"))]
        screens.append(await press(stage, "escape", *to("app.harness"), "enter"))
        screens += [await press(stage, "enter"), await press(stage, "escape", *to("harness.batches"))]
        assert shows(stage) == "batch"
        screens += [await press(stage, "enter"), await press(stage, "enter")]
        assert load_map(stage.path) == map_, "a name that was looked at and left is as it was"
        for shown in screens:
            assert not any(character in shown for character in "\x00\x07\x1b\x9b\u202e\u2066")


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (40, 12), (20, 5)]))
async def test_every_size_draws(open_app: OpenApp, size: tuple[int, int]) -> None:
    async with open_app(DEMO, size=size) as stage:
        await opened(stage, "power")
        await press(stage, *to("app.harness"), "enter", "enter")
        assert shows(stage) == "joint"
        await stage.pilot.resize_terminal(120, 40)
        await press(stage, "escape", *to("app.power"))
        assert shows(stage) == "power"
        shown = text_of(stage.app)
        assert "Board end@0" in shown
        assert "Chain Playfield" in shown


async def test_the_footer_says_what_matters_and_help_the_rest(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        shown = await opened(stage, "power")
        last = shown.splitlines()[-1]
        for words in ("Change", "Load", "Add feed", "Menu"):
            assert words in last
        assert last.rstrip().endswith("Back")
        shown = await press(stage, "f1")
        assert "The next value, or a step up" in shown


async def test_a_full_disk_is_told_and_tried_again(open_app: OpenApp, monkeypatch: pytest.MonkeyPatch) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")

        def full(job: SaveJob) -> None:
            raise CannotSaveError(stage.path, "the disk is full", "Make room, then save again")

        with monkeypatch.context() as patched:
            patched.setattr(SaveJob, "run", full)
            shown = await press(stage, "right")
            assert "NOT SAVED" in shown
        shown = await press(stage, "ctrl+r")
        assert "NOT SAVED" not in shown
        assert load_map(stage.path).chain("playfield").wire == "18 AWG"


@pytest.mark.slow
async def test_losing_the_board_does_not_stop_the_planning(open_app: OpenApp) -> None:
    async with open_app(DEMO) as stage:
        await opened(stage, "power")
        stage.port.unplug()
        await stage.pilot.pause(0.3)
        await press(stage, "right")
        assert load_map(stage.path).chain("playfield").wire == "18 AWG"
        stage.port.plug()
        await press(stage, "escape")
        for _ in range(300):
            await stage.pilot.pause(0.05)
            if "● LIT" in text_of(stage.app):
                break
        assert "● LIT" in text_of(stage.app)


def _in_a_line(stage: Stage) -> str:
    """What stands beside the stages, without its line breaks."""
    return " ".join(str(stage.app.screen.query_one("#form-text", Static).render()).split())


@pytest.mark.slow
async def test_a_reading_and_what_it_means_are_read_whole_at_eighty_columns(open_app: OpenApp) -> None:
    async with open_app(DEMO, size=(80, 24)) as stage:
        await opened(stage, "power_up")
        await press(stage, "down", "enter", *"3", "enter")  # it stays there until the ohms are good
        assert "ohms                     look: 3 Ω  " in text_of(stage.app)
        assert "look: 3 Ω; low: wait until the capacitor has charged, swap the leads, measure again" in _in_a_line(
            stage
        )


@pytest.mark.slow
async def test_no_stage_asks_for_the_supply_on_and_off_at_once(open_app: OpenApp) -> None:
    """The machine is unplugged all along; the pixels' own supply is off for ohms and fuse alone."""
    async with open_app(DEMO, size=(80, 24)) as stage:
        await opened(stage, "power_up")
        for what in Metered:
            beside = _in_a_line(stage)
            assert STAGES[what] in beside
            asks_off = "pixel supply off?" in beside
            assert asks_off == (what in {Metered.OHMS, Metered.FUSE}), what
            assert asks_off != ("pixel supply off and unplugged at once" in beside), what
            await press(stage, "down")


@pytest.mark.slow
async def test_a_reading_that_the_plan_judges_otherwise_by_now_says_so(open_app: OpenApp) -> None:
    kept = MeterReading(
        chain="playfield", what=Metered.FUSE, value=50, judged=Judged.GOOD, time="2025-04-03T20:00:00Z", pixels=84
    )
    async with open_app(DEMO.model_copy(update={"meter": (kept,)}), size=(80, 24)) as stage:
        await opened(stage, "power_up")
        await press(stage, "down", "down")
        beside = _in_a_line(stage)
        assert "Measured 3 Apr 2025 good: 50 A; by the plan as it is now stop: larger than" in beside


@pytest.mark.slow
async def test_what_power_waits_for_is_said_and_the_fault_finder_is_offered(open_app: OpenApp) -> None:
    async with open_app(DEMO, size=(80, 24)) as stage:
        await opened(stage, "power_up")
        await press(stage, "enter", *"5", "enter", "enter", *"4.9", "enter", "down", "down")
        assert "Wait: first mend what ohms showed, and measure that again: it says look." in _in_a_line(stage)
        await press(stage, "f5", "f")
        top = stage.app.runtime.top
        assert top is not None
        assert top.name == "faults"
