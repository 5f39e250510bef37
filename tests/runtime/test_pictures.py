"""Pictures that say less than the whole chain: what is behind them is dark, and the board takes them."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.orders import SetupOutput
from device_protocol.values import Colour
from probe.link import BoardLink
from probe.link.simulated_wire import SimulatedPort
from probe.runtime.orders import Limits, showing_orders
from probe.task.steps import ShowPicture

RED, BLUE, DARK = Colour(9, 0, 0), Colour(0, 0, 9), Colour(0, 0, 0)


@pytest.mark.parametrize("set_up", [True, False])
async def test_a_short_picture_is_shown(set_up: bool) -> None:
    board = SimulatedBoard(BoardConfig(outputs=1, pixels=40), [ChainWiring.of_places(f"p{n}" for n in range(40))])
    link = BoardLink(SimulatedPort(board).open, on_event=lambda event: None)
    try:
        identity = await link.connect()
        limits = None
        if set_up:
            order = SetupOutput(0, 20, "GRB", 400, 300)
            await link.do(order)
            limits = Limits.after(order, identity)
        for order_ in showing_orders(ShowPicture(0, (RED, BLUE, DARK, BLUE, RED)), identity, limits):
            await link.do(order_)
        lit = dict(board.lit())
        assert set(lit) == {"p0", "p1", "p3", "p4"}
        assert lit["p0"].blue == 0
        assert lit["p1"].red == 0
    finally:
        await link.close()
