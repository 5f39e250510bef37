"""From the plan to the proof on the compiled firmware: the chain is planned from places alone and soldered so; places that were
forgotten are spliced in as planned; one key renumbers, the recheck proves it; the table is written; the final check is kept."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from device_protocol.board import ChainWiring
from probe.__main__ import main
from probe.document.document import Document
from probe.document.file import MapFile, load_map
from probe.document.model import PlayfieldMap
from probe.document.model.game import Verdict
from probe.document.proving import Standing, standings
from probe.game.keys import SayVerdict
from probe.game.prove import GoToLamp
from probe.game.prove import make as make_prove
from probe.link import BoardLink, PortSpec
from probe.planning.keys import MakeChains, PlanMode, ShowPlanMode
from probe.planning.plan import bare_of, brief_of
from probe.planning.task import ChainPlanning
from probe.planning.task import make as make_plan
from probe.recheck.state import Rechecking, RecheckStage
from probe.recheck.task import make as make_recheck
from probe.runtime.runtime import Maker, Runtime
from probe.task import events as ev
from tests.end_to_end.test_compiled_board import playfield_only
from tests.end_to_end.test_recheck import seen_on_pin
from tests.firmware import build
from tests.firmware.simulated_avr import SimulatedAvr
from tests.firmware.test_game import KELP
from tests.support.rechecker import agrees, keys_for, wiring_of_chain

NOW = "2026-03-01T19:30:00Z"
CHAIN = "playfield"
FORGOTTEN = ("reef-lane-2", "kelp-target-3", "urchin-glow-3")


def places_alone() -> PlayfieldMap:
    """The playfield's places, and no pixel yet."""
    map_ = playfield_only().model_copy(update={"revisions": (), "proofs": (), "feeds": ()})
    return bare_of(map_, brief_of(map_))


class Evening:
    """The runtime with its tasks on a board, and waiting for what happens."""

    def __init__(self, document: Document, port: str) -> None:
        self.changed = asyncio.Event()
        makers: dict[str, Maker] = {"plan": make_plan, "recheck": make_recheck, "prove": make_prove}
        self.runtime = Runtime(document, makers, on_change=self.changed.set)
        self.link = BoardLink(PortSpec(address=port), on_event=self.runtime.link_event)

    def state(self) -> object:
        assert self.runtime.top is not None
        return self.runtime.seen(self.runtime.top)

    async def until(self, holds: object) -> None:
        async with asyncio.timeout(120):
            while not holds():  # type: ignore[operator]
                self.changed.clear()
                await self.changed.wait()


@pytest.mark.slow
async def test_planned_soldered_spliced_rechecked_and_proved(tmp_path: Path) -> None:
    whole = places_alone()
    begun = whole.model_copy(update={"places": tuple(p for p in whole.places if p.id not in FORGOTTEN)})
    path = tmp_path / "kelp.json"
    with MapFile.create(path, begun):
        pass
    with SimulatedAvr(build.build_avr(KELP), outputs=2) as chip:
        document = Document.open(path)
        evening = Evening(document, chip.pty)
        runtime = evening.runtime
        runtime.start()
        try:
            # 1: planned, taken over, and soldered like that
            runtime.open("plan")

            def planning() -> ChainPlanning:
                state = evening.state()
                assert isinstance(state, ChainPlanning)
                return state

            await evening.until(lambda: planning().plan is not None)
            runtime.dispatch(MakeChains())
            await runtime.settled()
            assert document.map.chain(CHAIN).length == len(brief_of(begun).seats)
            # 2: three places were forgotten; they are in the lamp list
            forgotten = tuple(p for p in whole.places if p.id in FORGOTTEN)
            document.commit(document.map.model_copy(update={"places": (*document.map.places, *forgotten)}), "places")
            runtime.dispatch(ev.MapChanged("three places more"))
            runtime.dispatch(ShowPlanMode(PlanMode.SPLICE))
            await runtime.settled()
            assert planning().splices
            runtime.attach(evening.link)
            evening.link.start()
            # 3: soldered as it says, and declared with one key
            runtime.dispatch(ev.Take(NOW))
            runtime.dispatch(ev.Take(NOW))
            await evening.until(lambda: isinstance(evening.state(), Rechecking))
            assert {p.place for p in document.map.chain(CHAIN).pixels} >= set(FORGOTTEN)
            wiring: ChainWiring = wiring_of_chain(document.map, document.map.chain(CHAIN))
            # 4: the recheck sees the pins and proves it
            asked = 0
            while True:
                state = evening.state()
                assert isinstance(state, Rechecking)
                if state.stage is RecheckStage.SAVED:
                    break
                if state.stage in (RecheckStage.OFFER, RecheckStage.DECLARE, RecheckStage.DONE) or state.is_lit:
                    asked += 1
                    for given in keys_for(state, seen_on_pin(chip, wiring)):
                        runtime.dispatch(given)
                    await runtime.settled()
                    continue
                evening.changed.clear()
                async with asyncio.timeout(60):
                    await evening.changed.wait()
            assert asked < 60
            runtime.dispatch(ev.Leave())
            await runtime.settled()
        finally:
            await runtime.end()
            await evening.link.close()
            document.release()
        proved = load_map(path)
        assert agrees(proved, CHAIN, wiring) == []
        for name in FORGOTTEN:
            ((_, number),) = proved.pixels_at[name]
            assert proved.chain(CHAIN).pixels[number].verified, name
        # 5: the table
        assert await asyncio.to_thread(main, ["table", str(path), "--port", chip.pty, "--write"]) == 0
        assert await asyncio.to_thread(main, ["table", str(path), "--port", chip.pty, "--compare"]) == 0
        # 6: the final check, by the board's own table
        document = Document.open(path)
        evening = Evening(document, chip.pty)
        runtime = evening.runtime
        runtime.start()
        runtime.open("prove")
        runtime.attach(evening.link)
        evening.link.start()
        try:
            rows = evening.state().rows  # type: ignore[attr-defined]
            for at in range(len(rows)):
                runtime.dispatch(GoToLamp(at))
                await evening.until(lambda: evening.state().is_lit)  # type: ignore[attr-defined]
                runtime.dispatch(SayVerdict(Verdict.RIGHT, NOW))
                await runtime.settled()
        finally:
            await runtime.end()
            await evening.link.close()
            document.release()
    lamps = [row for row in standings(load_map(path)) if row.pixels]
    assert lamps
    assert all(row.state is Standing.PROVED for row in lamps)
