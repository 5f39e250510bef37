"""Orders that a step gives: their replies as one piece of news, or why not; notices of the game's lamps."""

from __future__ import annotations

import asyncio
from typing import Any

from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.errors import ErrorCode
from device_protocol.orders import (
    LightLamp,
    ReadInputs,
    ReadTableState,
    TableState,
    WatchInputs,
)
from probe.link import BoardLink
from probe.link.simulated_wire import SimulatedPort
from probe.runtime import Activity, Conductor
from probe.task.steps import Answered, BoardHere, Effect, GiveOrders, InputsTold, NotAnswered, RingBell


async def news_of(*effects: Effect, after: int = 2, press: int | None = None, plugged: bool = True) -> list[Any]:
    """What an activity is told that asks for these effects once the board is here (or at once without one)."""
    heard: list[Any] = []
    first, enough = asyncio.Event(), asyncio.Event()

    def step(state: int, given: Any, now_s: float) -> tuple[int, tuple[Effect, ...]]:
        heard.append(given)
        wanted = isinstance(given, BoardHere) if plugged else given == "go"
        if isinstance(given, (Answered, NotAnswered)):
            first.set()
        if len([n for n in heard if isinstance(n, (Answered, NotAnswered, InputsTold))]) >= after:
            enough.set()
        return state + 1, effects if wanted else ()

    port = SimulatedPort(SimulatedBoard(BoardConfig(inputs=64)))
    rings: list[int] = []
    conductor = Conductor(bell=lambda: rings.append(1))
    link = BoardLink(port.open, on_event=conductor.link_event)
    conductor.board = link
    conductor.begin(Activity(0, step, lambda state: None))
    try:
        if plugged:
            link.start()
            async with asyncio.timeout(10):
                await first.wait()
                if press is not None:
                    port.set_input(press, True)
                await enough.wait()
        else:
            conductor.take("go")
            await enough.wait()
        await conductor.settled()
    finally:
        await conductor.stop()
        await link.close()
    heard += [RingBell()] * len(rings)
    return heard


async def test_replies_come_together_in_order() -> None:
    heard = await news_of(GiveOrders((ReadTableState(), ReadInputs(1)), "last"), after=1)
    (answer,) = [news for news in heard if isinstance(news, Answered)]
    assert answer.tag == "last"
    assert isinstance(answer.replies[0], TableState)
    assert len(answer.replies) == 2


async def test_a_refusal_ends_them_and_what_was_to_follow() -> None:
    heard = await news_of(GiveOrders((ReadTableState(), LightLamp(3), ReadTableState()), "lit"), RingBell(), after=1)
    (refused,) = [news for news in heard if isinstance(news, NotAnswered)]
    assert refused.code is ErrorCode.NOT_IN_TABLE
    assert "write the table first" in refused.why
    assert len(refused.replies) == 1
    assert RingBell() not in heard


async def test_without_a_board_it_says_so() -> None:
    heard = await news_of(GiveOrders((ReadTableState(),), "table"), after=1, plugged=False)
    (answer,) = [news for news in heard if isinstance(news, NotAnswered)]
    assert "no board" in answer.why


async def test_the_games_lamps_are_told() -> None:
    heard = await news_of(GiveOrders((WatchInputs(True),), "last"), after=3, press=12)
    told = [news for news in heard if isinstance(news, InputsTold)]
    assert told[-1].first == 1
    assert [number for number, on in enumerate(told[-1].on, start=1) if on] == [12]
