"""A link with a sound wire: identify, orders, keep-alive, the button, closing."""

from __future__ import annotations

import asyncio
import time

import pytest

from device_protocol.errors import Blame, ErrorCode
from device_protocol.orders import (
    ButtonNotice,
    Darken,
    Done,
    Identify,
    LightPixel,
    LightRange,
    Paint,
    Palette,
    ReadOutputState,
    RestartCause,
    SetupOutput,
    Show,
    Silence,
)
from device_protocol.values import Colour
from probe.link import (
    BoardLink,
    Connected,
    ConnectReason,
    LinkError,
    LinkErrorKind,
    LinkLost,
    Lost,
    NoticeArrived,
    OrderRefused,
    Waiting,
)
from tests.link.conftest import until
from tests.link.recorder import RED, Recorder, board, link_to, places_lit, port

pytestmark = pytest.mark.usefixtures("nothing_is_left")


async def test_from_opening_to_closing() -> None:
    told, where = Recorder(), port(board(outputs=2))
    link = link_to(where, told)
    assert link.identity is None
    identity = await link.connect()
    assert (identity.outputs, identity.pixels) == (2, 40)
    assert link.identity is identity
    assert told.kinds == ["PortOpening", "Waiting", "Connected"]
    assert told.events[-1] == Connected(identity, "simulated://", ConnectReason.FIRST)
    assert await link.do(LightPixel(1, 14, RED)) == Done()
    assert places_lit(where.board) == ["1.14"]
    assert (await link.do(ReadOutputState(1))).lit == 1
    assert await link.connect() is identity, "already connected"
    await link.close()
    assert places_lit(where.board) == [], "closing leaves the board dark"
    assert b"light 1 14 200000*" in told.bytes["out"]
    assert told.bytes["in"].startswith(b"<01 ok proto=1")
    with pytest.raises(LinkLost) as lost:
        await link.do(Darken())
    assert lost.value.kind is LinkErrorKind.CLOSED
    await link.close()
    with pytest.raises(LinkError):
        await link.connect()
    with pytest.raises(LinkError):
        link.start()


async def test_orders_before_the_board_is_known_are_refused_at_once() -> None:
    link = link_to(port(), Recorder())
    with pytest.raises(LinkLost):
        await link.do(Darken())


async def test_orders_queue_in_the_order_given_and_can_be_withdrawn() -> None:
    told, where = Recorder(), port(latency_s=0.01)
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        tasks = [asyncio.create_task(link.do(LightPixel(0, pixel, RED))) for pixel in range(6)]
        await asyncio.sleep(0)
        tasks[3].cancel()
        replies = await asyncio.gather(*tasks, return_exceptions=True)
        assert [isinstance(reply, Done) for reply in replies] == [True, True, True, False, True, True]
        assert places_lit(where.board) == ["0.5"]
    lines = [line.split()[3] for line in bytes(told.bytes["out"]).splitlines() if b" light " in line]
    assert lines == [b"0", b"1", b"2", b"4", b"5"], "one in flight, in the order given, the withdrawn one never sent"


async def test_an_order_in_flight_that_is_withdrawn_does_not_upset_the_next() -> None:
    where = port(latency_s=0.02)
    async with link_to(where, Recorder()) as link:
        await until(lambda: link.identity)
        first = asyncio.create_task(link.do(LightPixel(0, 1, RED)))
        await asyncio.sleep(0.005)
        first.cancel()
        assert await link.do(LightPixel(0, 2, RED)) == Done()
        assert places_lit(where.board) == ["0.2"]


async def test_all_kinds_of_orders() -> None:
    where = port()
    async with link_to(where, Recorder()) as link:
        await until(lambda: link.identity)
        settings = await link.do(SetupOutput(output=0, count=20, byte_order="GRB", ceiling_ma=1500))
        assert (settings.count, settings.ceiling_ma) == (20, 1500)
        await link.do(LightRange(0, 3, 4, RED))
        assert places_lit(where.board) == ["0.3", "0.4", "0.5", "0.6"]
        await link.do(Palette(0, 1, (RED,)))
        staged = await link.do(Paint(0, 0, (0,) * 19 + (1,)))
        assert staged.pixels == 20
        await link.do(Show(0))
        assert places_lit(where.board) == ["0.19"]
        assert (await link.do(Identify())).pixels == 40


async def test_refusals_name_the_reason_and_lose_nothing() -> None:
    where = port(board(features="setup range"))
    async with link_to(where, Recorder()) as link:
        await until(lambda: link.identity)
        with pytest.raises(OrderRefused) as refused:
            await link.do(LightPixel(0, 40, RED))
        assert refused.value.code is ErrorCode.NO_SUCH_PIXEL
        assert refused.value.blame is Blame.SETTINGS
        with pytest.raises(OrderRefused) as refused:
            await link.do(Silence(1000))
        assert refused.value.code is ErrorCode.NO_SUCH_FEATURE
        assert "silence" in refused.value.text
        await link.do(SetupOutput(output=0, count=40, byte_order="GRB", ceiling_ma=100))
        with pytest.raises(OrderRefused) as refused:
            await link.do(LightRange(0, 0, 40, Colour(255, 255, 255)))
        assert refused.value.code is ErrorCode.CEILING
        assert refused.value.fields == {"need": 40 + 40 * 60, "ceiling": 100}
        where.board.failing = True
        with pytest.raises(OrderRefused) as refused:
            await link.do(Darken())
        assert refused.value.code is ErrorCode.INTERNAL
        where.board.failing = False
        assert await link.do(Darken()) == Done()


async def test_an_idle_link_keeps_the_board_awake_and_a_busy_one_does_not_ask() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(Silence(500))
        await link.do(LightPixel(0, 3, RED))
        for _ in range(12):
            await asyncio.sleep(0.1)
            where.pass_time()
            assert places_lit(where.board) == ["0.3"]
        asked = told.bytes["out"].count(b" alive*")
        assert 5 <= asked <= 9, "every third of 500 ms for 1.2 s"
        told.bytes["out"].clear()
        for pixel in range(20):
            await link.do(LightPixel(0, pixel, RED))
            await asyncio.sleep(0.02)
        assert b" alive*" not in told.bytes["out"]
    assert not told.of(Lost)


async def test_a_board_that_restarts_when_its_port_opens() -> None:
    told = Recorder()
    link = link_to(port(board(resets_on_open=True, boot_ms=1_500)), told)
    began = time.monotonic()
    identity = await link.connect()
    took = time.monotonic() - began
    await link.close()
    assert identity.cause is RestartCause.EXTERNAL
    assert 1.4 < took < 3, "as soon as it says that it restarted"
    waits = told.of(Waiting)
    assert len(waits) >= 3
    assert waits[0].left_s > waits[-1].left_s > 0
    assert len(told.of(Connected)) == 1
    assert not told.of(NoticeArrived), "the restart that was expected is no news"


async def test_the_step_button() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        where.press_button()
        where.press_button()
        await until(lambda: len(told.of(NoticeArrived)) == 2)
    assert [event.notice for event in told.of(NoticeArrived)] == [ButtonNotice(1), ButtonNotice(2)]


async def test_closing_fails_what_waits() -> None:
    where = port(latency_s=0.05)
    link = link_to(where, Recorder())
    await link.connect()
    waiting = [asyncio.create_task(link.do(LightPixel(0, pixel, RED))) for pixel in (1, 2, 3)]
    await asyncio.sleep(0.01)
    await link.close()
    results = await asyncio.gather(*waiting, return_exceptions=True)
    assert results[0] == Done()
    assert all(isinstance(r, LinkLost) and r.kind is LinkErrorKind.CLOSED for r in results[1:])
    assert places_lit(where.board) == []


async def test_closing_without_dark_leaves_the_light_to_the_silence_rule() -> None:
    where = port()
    link = link_to(where, Recorder())
    await link.connect()
    await link.do(LightPixel(0, 3, RED))
    await link.close(dark=False)
    assert places_lit(where.board) == ["0.3"]


async def test_a_listener_that_fails_is_reported_and_does_not_stop_the_link() -> None:
    reports: list[dict[str, object]] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: reports.append(context))

    def listener(event: object) -> None:
        raise RuntimeError(f"cannot draw {type(event).__name__}")

    link = BoardLink(port().open, on_event=listener)
    assert (await link.connect()).pixels == 40
    assert await link.do(LightPixel(0, 1, RED)) == Done()
    await link.close()
    assert [str(report["exception"]) for report in reports] == [
        "cannot draw PortOpening",
        "cannot draw Waiting",
        "cannot draw Connected",
    ]
