"""The conductor hands patterns and counts to a board that speaks the protocol, through the app's own link."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.orders import PatternKeep, PatternKind, PatternLine
from device_protocol.values import Colour
from probe.document.model import Chain
from probe.link import BoardLink
from probe.link.simulated_wire import SimulatedPort
from probe.runtime import Activity, Conductor
from probe.runtime.orders import Limits, under_ceiling
from probe.task.steps import BoardHere, CountChain, Counted, Effect, NotShown, RunPattern, SetUpChain, Shown
from tests.runtime.test_ceiling import identity

RED = Colour(12, 0, 0)


@dataclass
class Told:
    """What an activity was told; effects are asked for by giving them as inputs."""

    news: list[object] = field(default_factory=list)

    def step(self, state: int, given: object, now_s: float) -> tuple[int, tuple[Effect, ...]]:
        del now_s
        if isinstance(given, (RunPattern, CountChain, SetUpChain)):
            return state, (given,)
        self.news.append(given)
        return state + 1, ()

    async def until(self, kind: type | tuple[type, ...]) -> object:
        for _ in range(300):
            found = [one for one in self.news if isinstance(one, kind)]
            if found:
                return found[-1]
            await asyncio.sleep(0.01)
        raise AssertionError(f"{kind} was not told within 3 s: {self.news}")


@asynccontextmanager
async def linked(board: SimulatedBoard) -> AsyncIterator[tuple[Conductor, Told]]:
    told = Told()
    conductor = Conductor()
    link = BoardLink(SimulatedPort(board).open, on_event=conductor.link_event)
    conductor.board = link
    conductor.begin(Activity(0, told.step, _ignore))
    link.start()
    await told.until(BoardHere)
    yield conductor, told
    await conductor.stop()
    await link.close()


_ignore: Callable[[int], None] = lambda _: None  # noqa: E731


def board(count: int = 20, features: tuple[str, ...] | None = None) -> SimulatedBoard:
    config = BoardConfig(pixels=100) if features is None else BoardConfig(pixels=100, features=features)
    return SimulatedBoard(config, [ChainWiring.of_places([f"place {n}" for n in range(count)])], return_wires=(0,))


async def test_a_pattern_runs_on_the_boards_own_clock() -> None:
    simulated = board()
    async with linked(simulated) as (conductor, told):
        conductor.take(RunPattern(0, (RED, Colour(0, 12, 0)), 400, line="once", hold=True))
        await told.until(Shown)
        running = simulated.outputs[0].pattern
        assert running is not None
        assert (running.kind, running.sending, running.keep) == (PatternKind.WHOLE, PatternLine.ONCE, PatternKeep.HOLD)
        assert {sighting.colour for sighting in simulated.lit()} == {RED}


async def test_a_walk_lights_one_pixel() -> None:
    simulated = board()
    async with linked(simulated) as (conductor, told):
        conductor.take(RunPattern(0, (RED,), 400, walk=True))
        await told.until(Shown)
        assert [sighting.place for sighting in simulated.lit()] == ["place 0"]


async def test_the_return_wire_tells_the_length_of_the_chain() -> None:
    async with linked(board(count=37)) as (conductor, told):
        conductor.take(CountChain(0, 60, 4))
        counted = await told.until(Counted)
        assert isinstance(counted, Counted)
        assert (counted.least, counted.most) == (37, 37)


async def test_a_board_without_the_feature_refuses_in_words() -> None:
    async with linked(board(features=("setup", "range"))) as (conductor, told):
        conductor.take(CountChain(0, 60, 4))
        refused = await told.until(NotShown)
        assert isinstance(refused, NotShown)
        assert refused.why


def test_a_pattern_is_dimmed_to_the_ceiling_of_its_output() -> None:
    white = Colour(255, 255, 255)
    limits = Limits(50, 500)
    asked = RunPattern(0, (white, RED), 1_000)
    dimmed = under_ceiling(asked, identity(), limits)
    assert isinstance(dimmed, RunPattern)
    assert dimmed.colours[1] == RED
    assert 0 < dimmed.colours[0].total < white.total
    walk = under_ceiling(RunPattern(0, (white,), 400, walk=True), identity(), limits)
    assert isinstance(walk, RunPattern)
    assert walk.colours == (white,)


async def test_a_set_up_chain_limits_its_pattern() -> None:
    simulated = board()
    async with linked(simulated) as (conductor, told):
        conductor.take(SetUpChain(Chain(id="a", name="Playfield", output=0, ceiling_ma=60), 20))
        conductor.take(RunPattern(0, (Colour(255, 255, 255),), 1_000))
        await told.until(Shown)
        lit = {sighting.colour for sighting in simulated.lit()}
        assert len(lit) == 1
        assert 0 < lit.pop().total < 200
