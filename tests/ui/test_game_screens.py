"""Lamp list, board's table, lamp inputs and proof on screen, driven by keys, against a simulated board."""

from __future__ import annotations

import pytest

from probe.document.checks import check_map
from probe.document.file import demo_map_path, load_map
from probe.document.lamp_table import lamp_table
from probe.document.model import Chain, Lamp, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, set_lamps, update_place
from probe.document.proving import Standing, standings, tally
from probe.game.lamps import LampsWork
from tests.support.examples import first_now
from tests.support.keys import to
from tests.ui.conftest import OpenApp, Stage, text_of
from tests.ui.test_walk_screen import HOSTILE

ROOM = {"play_pixels": 300, "inputs": 64}
SIZES = ((80, 24), (120, 40))


def demo() -> PlayfieldMap:
    return load_map(demo_map_path("kelp_forest.json"))


def hostile() -> PlayfieldMap:
    map_ = add_chain(new_map("[/x] \x1b[31m"), Chain(id="a", name="[bold]", output=0, count=len(HOSTILE)))
    map_ = set_count(map_, "a", len(HOSTILE))
    lamps = []
    for number, label in enumerate(HOSTILE):
        map_, place = add_place(map_, label, area=label[:100], group=label[:200] if number % 2 else "", lamps=(number,))
        map_ = assign_place(map_, "a", number, place.id)
        lamps.append(Lamp(number=number, name=label, area=label, driver=label, insert_colour=label, note=label))
    return set_lamps(map_, lamps)


async def shows(stage: Stage, *words: str) -> str:
    """Wait until the screen shows all of these."""
    text = ""
    for _ in range(150):
        await stage.pilot.pause(0.02)
        await stage.app.settled()
        text = text_of(stage.app)
        if all(word in text for word in words):
            return text
    raise AssertionError(f"{words} not in\n{text}")


def top_name(stage: Stage) -> str:
    """The task in hand."""
    assert stage.app.runtime.top is not None
    return stage.app.runtime.top.name


def work(stage: Stage) -> LampsWork:
    """The lamp list, on top or below what is."""
    runtime = stage.app.runtime
    seen: LampsWork = runtime.seen(next(layer for layer in runtime.layers if layer.name == "lamps"))
    return seen


async def to_lamps(stage: Stage) -> None:
    await stage.lit()
    await stage.pilot.press(*to("app.lamps"))
    await shows(stage, "lamps: ")
    assert top_name(stage) == "lamps"


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now(SIZES))
async def test_from_map_to_board_to_game_to_proof_by_keys(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = demo()
    async with open_app(map_, map_, size=size, config=ROOM) as stage:
        await to_lamps(stage)
        await shows(stage, "95 rows", "Launch arrow")
        await stage.pilot.press(*to("app.board"))
        await shows(stage, "the board holds no table yet")
        await stage.pilot.press(*to("board.write"))
        await shows(stage, "THE SAME", "written, read back")
        assert stage.board.store.held is not None
        await stage.pilot.press(*to("app.prove"))
        await shows(stage, "lamp 1 Launch arrow", "LIT", "0 of 73 proved", "Under the glass: Launch arrow")
        assert {place for place, _ in stage.board.lit()} == {"launch-arrow"}
        await stage.pilot.press("enter")
        await shows(stage, "lamp 2 Right outlane pearl", "1 of 73 proved")
        await stage.pilot.press("f2")
        await shows(stage, "lamp 3", "1 wrong")
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert top_name(stage) == "lamps"
        on_disk = load_map(stage.path)
        assert [(proof.lamp, proof.verdict.value, proof.by_table) for proof in on_disk.proofs] == [
            (1, "right", True), (2, "wrong", True),
        ]  # fmt: skip
        await stage.pilot.press("escape", *to("app.table"))
        await stage.pilot.pause()
        await shows(stage, "108 of 108 pixels", "proved 1/73")
        await stage.pilot.press(*to("table.findings"))
        await shows(stage, "1 of 73 proved since the last change, 1 wrong")


@pytest.mark.slow
async def test_the_whole_proof_by_one_key(open_app: OpenApp) -> None:
    map_ = demo()
    async with open_app(map_, map_, config=ROOM) as stage:
        await to_lamps(stage)
        await stage.pilot.press(*to("app.prove"))
        for _ in range(73):
            await shows(stage, "LIT")
            await stage.pilot.press("y")
        await shows(stage, "all proved since the last change", "73 of 73")
        found = load_map(stage.path)
        assert tally(found).proved == 73
        assert {row.state for row in standings(found)} == {Standing.PROVED}
        assert not any(proof.by_table for proof in found.proofs), "the board held no table"


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now(SIZES))
async def test_what_changed_fills_a_lamp_number(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = demo()
    target = next(place for place in map_.places if place.label == "Kelp target 3")
    map_ = update_place(map_, target.model_copy(update={"lamps": ()}))
    async with open_app(map_, map_, size=size, config=ROOM) as stage:
        await to_lamps(stage)
        await stage.pilot.press(*to("app.watch"))
        await shows(stage, "lamp inputs", "what changed")
        stage.port.set_input(21, True)
        await shows(stage, "21", "Kelp target 3: on")
        await stage.pilot.press("enter")
        await shows(stage, "Which place is that lamp?")
        await stage.pilot.press("enter")
        await shows(stage, "Kelp target 3 is lamp 21")
        assert load_map(stage.path).place_by_id[target.id].lamps == (21,)
        stage.port.set_input(30, True)
        await shows(stage, "30 Wreck flasher")
        await stage.pilot.press(*to("watch.mismatch"))
        await shows(stage, "noted", "what did you see?")
        await stage.pilot.pause(0.1)
        await stage.pilot.press(*"both on")
        await stage.pilot.press("enter")
        await stage.pilot.pause()
        await shows(stage, "lamp inputs")
        seen = load_map(stage.path).observations
        assert [(o.lamp, o.seen) for o in seen] == [(30, "both on")]
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert top_name(stage) == "lamps"
        assert work(stage).map.observations == seen


@pytest.mark.slow
async def test_rows_are_added_changed_moved_and_taken_out(open_app: OpenApp) -> None:
    map_ = demo()
    async with open_app(map_, map_, size=(120, 40), config=ROOM) as stage:
        await to_lamps(stage)
        await stage.pilot.press(*to("lamps.add"))
        await shows(stage, "A new row")
        await stage.pilot.press(*"70", "enter")
        await shows(stage, "every lamp needs one")
        await stage.pilot.press(*"Apron", "enter")
        await shows(stage, "Apron added", "96 rows")
        assert work(stage).map.lamps[1].name == "Apron"
        await stage.pilot.press("enter")
        await shows(stage, "A row of the lamp list")
        await stage.pilot.press("backspace", "backspace", "up", "up", *"[/x] always", "enter")
        await shows(stage, "Apron changed", "[/x] always")
        await stage.pilot.press(*to("lamps.move_row.1"), "escape")
        await stage.pilot.pause()
        assert [lamp.name for lamp in work(stage).map.lamps[:3]] == ["Launch arrow", "Shooter lane glow 1", "Apron"]
        await stage.pilot.press("f8")
        await shows(stage, "taken out", "95 rows")
        await stage.pilot.press("ctrl+z", "ctrl+z", "ctrl+z", "ctrl+z")
        await shows(stage, "undone", "95 rows")
        assert load_map(stage.path).lamps == map_.lamps


def unjoined() -> PlayfieldMap:
    """The demo as somebody left it who named places in a hurry."""
    map_ = demo()
    for place in map_.places:
        label = place.label.upper().replace("LEFT", "L").replace("TARGET", "tgt") if place.lamps else place.label
        map_ = update_place(map_, place.model_copy(update={"lamps": (), "group": "", "label": label}))
    return map_


@pytest.mark.slow
async def test_places_join_by_name_all_sure_ones_at_once(open_app: OpenApp) -> None:
    map_ = unjoined()
    async with open_app(map_, map_, config=ROOM) as stage:
        await to_lamps(stage)
        await stage.pilot.press(*to("lamps.skip"))
        await shows(stage, "proposals", "Is the place")
        await stage.pilot.press(*to("lamps.all_sure"))
        await shows(stage, "joined")
        for _ in range(40):
            if not work(stage).matches:
                break
            await stage.pilot.press("enter")
            await stage.pilot.pause()
        wanted = {row.number: row.pixels for row in lamp_table(demo()).lamps}
        assert {row.number: row.pixels for row in lamp_table(work(stage).map).lamps} == wanted
        assert not [f for f in check_map(work(stage).map) if f.code in ("pixel-without-job", "lamp-without-place")]


async def test_a_row_joins_to_a_place_picked_by_hand(open_app: OpenApp) -> None:
    map_ = unjoined()
    async with open_app(map_, map_, config=ROOM) as stage:
        await to_lamps(stage)
        await stage.pilot.press(*to("lamps.join"))
        await shows(stage, "Which place does Launch arrow light?")
        await stage.pilot.press(*"whirl", "enter")
        await shows(stage, "WHIRLPOOL joined to Launch arrow")
        assert next(p for p in work(stage).map.places if p.label == "WHIRLPOOL").lamps == (1,)
        await stage.pilot.press(*to("lamps.unjoin"))
        await shows(stage, "1 place taken off")


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now(SIZES))
async def test_hostile_labels_do_no_harm(open_app: OpenApp, size: tuple[int, int]) -> None:
    map_ = hostile()
    async with open_app(map_, map_, size=size, config=ROOM) as stage:
        await to_lamps(stage)
        text = await shows(stage, f"{len(HOSTILE)} rows", "[/x]")
        assert "\x1b" not in text
        await stage.pilot.press(*to("lamps.join"))
        await shows(stage, "Which place does", "[bold]not bold")
        await stage.pilot.press("escape", "enter")
        await shows(stage, "A row of the lamp list")
        await stage.pilot.press("escape", *to("app.board"))
        await shows(stage, "no table")
        await stage.pilot.press(*to("board.write"))
        await shows(stage, "THE SAME")
        await stage.pilot.press(*to("app.watch"))
        await shows(stage, "lamp inputs")
        for number in range(1, len(HOSTILE)):
            stage.port.set_input(number, True)
        await shows(stage, "[@cli", "on, ")
        await stage.pilot.press(*to("watch.mismatch"))
        await shows(stage, "what did you see?")
        await stage.pilot.press("escape")
        stage.port.set_input(1, False)  # changed within the last five seconds, however slow the machine is
        await shows(stage, "off, ")
        await stage.pilot.press("enter")
        await shows(stage, "Which place is that lamp?")
        await stage.pilot.press("escape", *to("app.prove"))
        await stage.pilot.pause()
        await stage.pilot.press("escape", *to("app.prove"))
        for _ in HOSTILE:
            await shows(stage, "LIT")
            await stage.pilot.press("n")
        await shows(stage, "wrong")


@pytest.mark.slow
async def test_a_lost_board_is_a_state_not_an_end(open_app: OpenApp) -> None:
    map_ = demo()
    async with open_app(map_, map_, config=ROOM) as stage:
        await to_lamps(stage)
        for screen in ("board", "watch", "prove"):
            await stage.pilot.press(*to(f"app.{screen}"))
            await stage.pilot.pause(0.2)
            assert top_name(stage) == screen, text_of(stage.app)
            stage.port.unplug()
            await stage.pilot.pause(0.2)
            await stage.pilot.press("f2", *(() if screen == "prove" else ("f5", "g", "escape")))
            stage.port.plug()
            for _ in range(100):
                await stage.pilot.pause(0.05)
                if "simulated 1.0" in text_of(stage.app):
                    break
            assert "simulated 1.0" in text_of(stage.app)
            for _ in range(3):
                if screen == "prove" or top_name(stage) == "lamps":
                    break
                await stage.pilot.press("escape")
                await stage.pilot.pause(0.1)
        await shows(stage, "LIT")


@pytest.mark.slow
async def test_paper_needs_no_board(open_app: OpenApp) -> None:
    map_ = demo()
    async with open_app(map_, map_, paper=True) as stage:
        await stage.pilot.pause(0.2)
        await stage.pilot.press(*to("app.lamps"))
        await stage.pilot.pause(0.1)
        assert top_name(stage) == "lamps"
        for screen in ("board", "watch", "prove"):
            await stage.pilot.press(*to(f"app.{screen}"))
            await stage.pilot.pause(0.1)
            await stage.pilot.press("f2", "enter", "escape")
            await stage.pilot.pause(0.1)
        assert load_map(stage.path).proofs == ()
