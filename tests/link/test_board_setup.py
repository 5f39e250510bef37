"""Setting up outputs as planned, as far as a board allows."""

from __future__ import annotations

import pytest

from device_protocol.orders import Done, LightPixel
from probe.link import (
    LinkLost,
    OutputPlan,
    set_up_outputs,
)
from tests.link.conftest import until
from tests.link.recorder import RED, Recorder, board, link_to, places_lit, port

pytestmark = pytest.mark.usefixtures("nothing_is_left")


class TestSettingUp:
    async def test_as_planned(self) -> None:
        async with link_to(port(board(outputs=2)), Recorder()) as link:
            await until(lambda: link.identity)
            plans = [
                OutputPlan(output=0, count=12, byte_order="RGB", ceiling_ma=800),
                OutputPlan(output=1, count=30, byte_order="GRBW", latch_us=500),
            ]
            first, second = await set_up_outputs(link, plans)
            assert first.settings is not None
            assert (first.settings.count, first.settings.byte_order, first.settings.ceiling_ma) == (12, "RGB", 800)
            assert second.settings is not None
            assert (second.settings.latch_us, second.settings.ceiling_ma) == (500, 2000), "the build's own ceiling"
            assert first.shortfall is second.shortfall is None

    async def test_what_the_build_does_not_allow_is_lowered_and_said(self) -> None:
        async with link_to(port(), Recorder()) as link:
            await until(lambda: link.identity)
            plans = [
                OutputPlan(output=0, count=300, byte_order="RGB", ceiling_ma=9000),
                OutputPlan(output=3, count=10, byte_order="RGB"),
            ]
            first, second = await set_up_outputs(link, plans)
            assert first.settings is not None
            assert (first.settings.count, first.settings.ceiling_ma) == (40, 2000)
            assert "40 pixels" in (first.shortfall or "")
            assert "2000 mA" in (first.shortfall or "")
            assert second.settings is None
            assert "none numbered 3" in (second.shortfall or "")

    async def test_a_board_that_cannot_be_set_up_still_walks(self) -> None:
        where = port(board(features="none"))
        async with link_to(where, Recorder()) as link:
            await until(lambda: link.identity)
            fits, beyond = await set_up_outputs(
                link,
                [OutputPlan(output=0, count=40, byte_order="GRB"), OutputPlan(output=0, count=50, byte_order="GRB")],
            )
            assert fits.settings is None
            assert "byte order" in (fits.shortfall or "")
            assert "10 pixels of the chain cannot be reached" in (beyond.shortfall or "")
            assert await link.do(LightPixel(0, 39, RED)) == Done()
            assert places_lit(where.board) == ["0.39"]

    async def test_without_a_board_it_says_why(self) -> None:
        link = link_to(port(), Recorder())
        with pytest.raises(LinkLost):
            await set_up_outputs(link, [OutputPlan(output=0, count=40, byte_order="GRB")])
