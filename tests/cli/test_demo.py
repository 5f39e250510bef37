"""The program as a new user meets it: the spliced demo, a simulated board to look at, no terminal, the last words."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from device_protocol.orders import LightPixel
from device_protocol.values import Colour
from probe.cli.parser import build_parser
from probe.cli.screens import SPLICED_IN, Opening, lit_begin, spliced
from probe.document.file import demo_map_path, load_map
from probe.document.file.errors import CannotSaveError
from probe.document.file.map_file import save_copy
from probe.document.model import Chain, PixelState
from probe.document.operations import add_chain, grown, new_map
from probe.document.settings import Settings, load_settings
from probe.mapping.walk import WalkFacts, make
from probe.task.task import Opened
from probe.ui.app import ProbeApp
from probe.ui.launch import LaunchOptions
from probe.ui.start import PortChoice
from tests.cli.test_terminal import ROOT, opened
from tests.support.examples import first_now

COMPLETE = demo_map_path("kelp_forest.json")


@pytest.fixture
def opening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Opening:
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))
    arguments = build_parser().parse_args(["demo", "--spliced", "--keep", str(tmp_path / "kept.json")])
    return Opening(arguments, Settings())


def test_the_spliced_machine_has_two_pixels_more() -> None:
    before = load_map(COMPLETE)
    after = spliced(before)
    old, new = before.chain("playfield").pixels, after.chain("playfield").pixels
    assert len(new) == len(old) + len(SPLICED_IN)
    at = next(n for n, pixel in enumerate(new) if pixel.id not in {p.id for p in old})
    labels = [after.place_by_id[new[at + k].place or ""].label for k in range(len(SPLICED_IN))]
    assert labels == list(SPLICED_IN)
    assert after.place_by_id[new[at - 1].place or ""].label == "Reef lane 2"
    assert [p.place for p in new[at + len(SPLICED_IN) :]] == [p.place for p in old[at:]]
    assert after.chain("backbox") == before.chain("backbox")


def test_the_spliced_demo_has_the_old_map_and_the_new_wiring(opening: Opening) -> None:
    session = opening.open_demo()
    try:
        assert session.map is not None
        assert session.truth is not None
        assert session.map == load_map(COMPLETE)
        assert session.truth == spliced(session.map)
        assert "demo --spliced --keep" in session.goodbye
        assert "kept.json" in session.goodbye
    finally:
        session.close()


async def test_what_a_simulated_port_shows_can_be_seen(opening: Opening, tmp_path: Path) -> None:
    session = opening.open_file(str(tmp_path / "new.json"))
    session = opening.with_port(PortChoice("simulated://?pixels=9", ""), session)
    make = session.make_link
    assert make is not None
    assert session.eyes is not None
    assert session.truth is not None
    link = make(lambda event: None)
    await link.connect()
    try:
        await link.do(LightPixel(output=0, pixel=4, colour=Colour(255, 255, 255)))
        assert session.eyes() == (("pixel 4", "white"),)
    finally:
        await link.close()
    session = opening.with_port(PortChoice("/dev/ttyNONE", ""), session)
    assert session.eyes is None
    assert session.truth is None


def test_a_wrong_simulated_address_is_left_to_the_link(opening: Opening, tmp_path: Path) -> None:
    session = opening.open_file(str(tmp_path / "new.json"))
    session = opening.with_port(PortChoice("simulated://?pixels=many", ""), session)
    assert session.make_link is not None
    assert session.eyes is None


@pytest.mark.slow
@pytest.mark.parametrize("words", first_now([["demo"], ["walk", "new.json"], []]))
def test_without_a_terminal_it_says_so(words: list[str], tmp_path: Path) -> None:
    environment = {**os.environ, "PLAYFIELD_PROBE_SETTINGS": str(tmp_path / "settings.json"), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "probe", *words],
        cwd=tmp_path,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "this needs a terminal" in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.slow
def test_leaving_the_demo_says_where_its_map_is(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "my map.json"], tmp_path) as terminal:
        terminal.until("LIT")
        terminal.child.sendcontrol("q")
        terminal.child.expect("demo --keep 'my map.json'")


def test_an_export_into_no_folder_says_nothing_of_a_map(tmp_path: Path) -> None:
    with pytest.raises(CannotSaveError) as caught:
        save_copy(tmp_path / "none" / "map.csv", b"x")
    assert "no such folder" in str(caught.value)
    assert "in memory" not in str(caught.value)


@pytest.mark.parametrize("options", first_now([[], ["--complete"], ["--spliced"]]))
async def test_every_demo_begins_on_a_pixel_that_is_seen(
    options: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))
    arguments = build_parser().parse_args(["demo", *options, "--keep", str(tmp_path / "kept.json")])
    session = Opening(arguments, Settings()).open_demo()
    app = ProbeApp(LaunchOptions(), session, Opening(arguments, Settings()))
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(200):
                await pilot.pause(0.02)
                await app.settled()
                if app.walk is not None and app.walk.is_lit:
                    break
            assert app.walk is not None
            assert app.walk.is_lit
            assert app.seen(), "the tour speaks of what is under the glass"
    finally:
        app.session.close()


def test_a_new_map_of_the_demo_begins_on_a_pixel_that_is_seen_too(tmp_path: Path) -> None:
    truth = load_map(COMPLETE)
    assert truth.chains[0].pixels[0].state is not PixelState.PLACED, "else nothing is tried here"
    chain, number = lit_begin(None, truth) or ("none", 0)
    assert truth.chains[0].pixels[number].state is PixelState.PLACED
    assert lit_begin(new_map("Night Ferry"), truth) == (chain, number)
    made = add_chain(new_map("Night Ferry"), grown(Chain(id="upper", name="Upper", output=0, count=84), 84))
    walk = make(Opened(map=made, facts=WalkFacts(at=(chain, number))))[1]
    assert (walk.chain, walk.number) == ("upper", number), "the first chain, whatever its name"
    short = add_chain(new_map("Night Ferry"), grown(Chain(id="upper", name="Upper", output=0, count=number), number))
    assert make(Opened(map=short, facts=WalkFacts(at=(chain, number))))[1].number == 0


@pytest.mark.slow
async def test_a_port_is_remembered_only_after_its_board_has_answered(opening: Opening, tmp_path: Path) -> None:
    path = str(tmp_path / "new.json")
    session = opening.with_port(PortChoice("simulated://?pixels=9", ""), opening.open_file(path))
    assert load_settings().port_for(path) is None
    app = ProbeApp(LaunchOptions(), session, opening)
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(200):
                await pilot.pause(0.02)
                if app.runtime.board.here:
                    break
            assert load_settings().port_for(path) is not None
    finally:
        app.session.close()
