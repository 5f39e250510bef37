"""The runtime at a board that speaks the protocol, through the program's own link: questions, refusals, facts of the game."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.errors import ErrorCode
from device_protocol.orders import (
    ChainCount,
    CountChain,
    LightLamp,
    Order,
    ReadInputs,
    ReadTableState,
    TableState,
    WatchInputs,
)
from probe.document.document import Document
from probe.document.operations import new_map
from probe.link import BoardLink
from probe.link.refusal import OrderRefused
from probe.link.simulated_wire import SimulatedPort
from probe.runtime.light_orders import refusal, why_not
from probe.runtime.runtime import Runtime
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import Next, Opened, Task, TaskState


@dataclass(frozen=True, kw_only=True)
class HeardState(TaskState):
    """All that came from the board."""

    heard: tuple[object, ...] = ()


class Hearing(Task[HeardState]):
    """Asks what it is given, and keeps what it hears."""

    name = "hearing"

    def step(self, s: HeardState, event: object, now_s: float) -> Next[HeardState] | None:
        if isinstance(event, fx.Ask):
            return s, (event,)
        if isinstance(event, (ev.Answered, ev.NotAnswered, ev.GameInputs)):
            return replace(s, heard=(*s.heard, event)), ()
        return None


@dataclass
class Desk:
    """The runtime and its board."""

    runtime: Runtime
    port: SimulatedPort

    async def heard(self, *orders: Order, tag: str = "asked") -> Any:
        """What comes of a question."""
        before = len(self._all())
        self.runtime.dispatch(fx.Ask(orders, tag))
        await self.until(lambda: len(self._all()) > before)
        (answer,) = self._all()[before:]
        assert answer.tag == tag
        return answer

    def _all(self) -> tuple[Any, ...]:
        assert self.runtime.top is not None
        heard: tuple[Any, ...] = self.runtime.top.state.heard
        return tuple(event for event in heard if not isinstance(event, ev.GameInputs))

    def inputs(self) -> list[ev.GameInputs]:
        assert self.runtime.top is not None
        return [event for event in self.runtime.top.state.heard if isinstance(event, ev.GameInputs)]

    async def until(self, holds: Callable[[], bool]) -> None:
        async with asyncio.timeout(10):
            while not holds():  # noqa: ASYNC110 - the link works by its own clock
                await asyncio.sleep(0.005)


@asynccontextmanager
async def at_board(*, count: int = 20, **config: Any) -> AsyncIterator[Desk]:
    """A board with a chain of `count` pixels whose last one answers on the return wire."""
    places = [ChainWiring.of_places([f"place {n}" for n in range(count)])]
    port = SimulatedPort(SimulatedBoard(BoardConfig(outputs=1, pixels=100, **config), places, return_wires=(0,)))

    def make(opened: Opened) -> tuple[Hearing, HeardState]:
        assert opened.map is not None
        return Hearing(), HeardState(map=opened.map)

    runtime = Runtime(Document.in_memory(new_map("Kelp Forest")), {"hearing": make})
    link = BoardLink(port.open, on_event=runtime.link_event)
    runtime.start()
    runtime.open("hearing")
    runtime.attach(link)
    desk = Desk(runtime, port)
    try:
        link.start()
        await desk.until(lambda: runtime.board.here)
        yield desk
    finally:
        await runtime.end()
        await link.close()


@pytest.mark.parametrize("length", [1, 20, 37, 60])
async def test_the_return_wire_gives_the_real_length_of_the_chain(length: int) -> None:
    async with at_board(count=length) as desk:
        answer = await desk.heard(CountChain(0, 60, 4))
        (counted,) = answer.replies
        assert isinstance(counted, ChainCount)
        assert (counted.least, counted.most) == (length, length)


async def test_a_board_without_the_feature_is_said_to_lack_it() -> None:
    async with at_board(features=("setup", "range")) as desk:
        answer = await desk.heard(CountChain(0, 60, 4))
        assert isinstance(answer, ev.NotAnswered)
        assert answer.code is ErrorCode.NO_SUCH_FEATURE
        assert answer.why == "this board cannot do that: its firmware lacks the feature"


async def test_replies_come_together_in_order() -> None:
    async with at_board(inputs=64) as desk:
        answer = await desk.heard(ReadTableState(), ReadInputs(1))
        assert isinstance(answer, ev.Answered)
        assert isinstance(answer.replies[0], TableState)
        assert len(answer.replies) == 2


async def test_a_refusal_ends_a_question_with_its_code_and_what_to_do() -> None:
    async with at_board(inputs=64) as desk:
        answer = await desk.heard(ReadTableState(), LightLamp(3), ReadTableState())
        assert isinstance(answer, ev.NotAnswered)
        assert answer.code is ErrorCode.NOT_IN_TABLE
        assert "write the table first" in answer.why
        assert len(answer.replies) == 1, "what came before it is kept, what was to follow is not asked"


async def test_a_lamp_that_the_game_lights_is_an_event() -> None:
    async with at_board(inputs=64) as desk:
        assert isinstance(await desk.heard(WatchInputs(True)), ev.Answered)
        desk.port.set_input(12, True)
        await desk.until(lambda: bool(desk.inputs()) and any(desk.inputs()[-1].on))
        lit = desk.inputs()[-1]
        assert [number for number, on in enumerate(lit.on, start=lit.first) if on] == [12]
        desk.port.set_input(12, False)
        await desk.until(lambda: not any(desk.inputs()[-1].on))


@pytest.mark.parametrize("code", list(ErrorCode), ids=lambda code: code.name.lower())
def test_every_refusal_is_said_with_its_code_or_with_what_to_do(code: ErrorCode) -> None:
    """A code that a person can do something about has a sentence of its own; any other is shown as the board wrote it."""
    raw = f"the board refuses light: {code.value:02d} {code.name.lower().replace('_', '-')}"
    words = why_not(OrderRefused(ReadTableState(), code=code, text=raw))
    assert words == refusal(code, raw)
    assert f"{code.value:02d}" in words or (words[0].islower() and " " in words and "refused" not in words)


def test_a_code_that_nobody_knows_is_shown_as_it_came() -> None:
    raw = "the board refuses light: 77 tide-out"
    assert "77 tide-out" in why_not(OrderRefused(ReadTableState(), code=None, text=raw))
