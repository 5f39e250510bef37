"""A whole recheck from the screen by scripted keys on the compiled firmware, whose frames are decoded from its pin."""

from __future__ import annotations

from pathlib import Path

import pytest

from device_protocol.board import ChainWiring, PixelChain
from probe.cli.screens import document_at
from probe.document.file import load_map
from probe.document.model import PlayfieldMap
from probe.link import BoardLink, PortSpec
from probe.recheck.state import Rechecking, RecheckStage
from probe.ui.app import ProbeApp
from probe.ui.launch import LaunchOptions, Session
from tests.end_to_end.test_compiled_board import playfield_only
from tests.firmware.simulated_avr import SimulatedAvr
from tests.recheck.test_recheck import CHAIN, REWIRED
from tests.support.examples import first_now
from tests.support.keys import to
from tests.support.rechecker import agrees, keys_for, seen, wiring_of_chain
from tests.ui.conftest import NoOpener, text_of
from tests.ui.test_recheck_screen import presses


def seen_on_pin(chip: SimulatedAvr, wiring: ChainWiring) -> dict[str, list[int]]:
    """What a person sees: the last frame on the pin, taken by chips that are wired like this."""
    chain = PixelChain(wiring)
    chain.take_frame(chip.frame(0).data)
    return seen((pixel.place, light) for pixel, light in chain.shown())


def session_on(map_: PlayfieldMap, path: Path, port: str) -> Session:
    document = document_at(path)
    document.commit(map_)
    document.save_now()
    return Session(document=document, make_link=lambda on_event: BoardLink(PortSpec(address=port), on_event=on_event))


@pytest.mark.parametrize("rewire", first_now(["nothing", "one at each of three", "a run reversed"]))
async def test_recheck_on_the_compiled_firmware(avr_elf: Path, tmp_path: Path, rewire: str) -> None:
    map_ = playfield_only()
    wiring = REWIRED[rewire](wiring_of_chain(map_, map_.chain(CHAIN)))
    path = tmp_path / "map.json"
    asked: list[str] = []
    with SimulatedAvr(avr_elf) as chip:
        app = ProbeApp(LaunchOptions(), session_on(map_, path, chip.pty), NoOpener())
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(600):
                await pilot.pause(0.02)
                if app.walk is not None and app.walk.is_lit:
                    break
            await pilot.press(*to("app.recheck"))
            for _ in range(6000):
                await pilot.pause(0.02)
                top = app.runtime.top
                if top is None or top.name != "recheck":
                    continue
                state: Rechecking = app.runtime.seen(top)
                if state.stage is RecheckStage.SAVED:
                    break
                if state.stage in (RecheckStage.DECLARE, RecheckStage.DONE) or state.is_lit:
                    await app.settled()
                    asked.append(state.stage.name)
                    for given in keys_for(state, seen_on_pin(chip, wiring)):
                        await pilot.press(*presses(given))
                    await pilot.pause()
            assert state.stage is RecheckStage.SAVED, (asked, text_of(app))
            await app.settled()
    assert agrees(load_map(path), CHAIN, wiring) == [], asked
