"""Orders for a light, carried out by a board that speaks the protocol through the program's own link."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.orders import PatternKeep, PatternKind, PatternLine
from device_protocol.values import Colour
from probe.link import BoardLink
from probe.link.simulated_wire import SimulatedPort
from probe.runtime.light_orders import Part, part_orders, setup_order
from probe.task.light import BoardPattern, OutputSetup, Pixels

RED, BLUE, DARK, WHITE = Colour(9, 0, 0), Colour(0, 0, 9), Colour(0, 0, 0), Colour(255, 255, 255)


@asynccontextmanager
async def lit(part: Part, setup: OutputSetup | None = None) -> AsyncIterator[SimulatedBoard]:
    """A board with forty pixels on its output that was asked for this part."""
    board = SimulatedBoard(BoardConfig(outputs=1, pixels=40), [ChainWiring.of_places(f"p{n}" for n in range(40))])
    link = BoardLink(SimulatedPort(board).open, on_event=lambda event: None)
    try:
        identity = await link.connect()
        if setup is not None:
            await link.do(setup_order(0, setup))
        for order in part_orders(part, identity, setup):
            await link.do(order)
        yield board
    finally:
        await link.close()


@pytest.mark.parametrize("set_up", [True, False])
async def test_a_picture_that_says_less_than_the_whole_chain_is_dark_behind(set_up: bool) -> None:
    setup = OutputSetup(20, "GRB", 400, 300) if set_up else None
    async with lit(Pixels(0, 0, (RED, BLUE, DARK, BLUE, RED)), setup) as board:
        shown = dict(board.lit())
        assert set(shown) == {"p0", "p1", "p3", "p4"}
        assert shown["p0"].blue == 0
        assert shown["p1"].red == 0


async def test_a_pattern_runs_on_the_boards_own_clock() -> None:
    async with lit(BoardPattern(0, (RED, BLUE), 400, line="once", hold=True)) as board:
        running = board.outputs[0].pattern
        assert running is not None
        assert (running.kind, running.sending, running.keep) == (PatternKind.WHOLE, PatternLine.ONCE, PatternKeep.HOLD)
        assert {sighting.colour for sighting in board.lit()} == {RED}


async def test_a_walk_lights_one_pixel() -> None:
    async with lit(BoardPattern(0, (RED,), 400, walk=True)) as board:
        assert [sighting.place for sighting in board.lit()] == ["p0"]


async def test_the_ceiling_of_an_output_limits_its_pattern() -> None:
    async with lit(BoardPattern(0, (WHITE,), 1_000), OutputSetup(20, "GRB", 60, 300)) as board:
        shown = {sighting.colour for sighting in board.lit()}
        assert len(shown) == 1
        assert 0 < shown.pop().total < 200
