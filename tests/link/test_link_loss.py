"""A link whose board restarts, hangs, goes dark unheard, is unplugged, or comes back under another path."""

from __future__ import annotations

import asyncio
import time

import pytest

from device_protocol.orders import (
    Darken,
    DarkNotice,
    Done,
    LightPixel,
    RestartCause,
    RestartNotice,
    SetupOutput,
    Silence,
)
from probe.link import (
    BoardLink,
    Connected,
    ConnectReason,
    LinkError,
    LinkErrorKind,
    LinkLost,
    Lost,
    NoticeArrived,
    PortOpening,
    PortSpec,
    RetryPolicy,
    WireNote,
)
from tests.link.conftest import until
from tests.link.recorder import QUICK, RED, Recorder, board, link_to, places_lit, port

pytestmark = pytest.mark.usefixtures("nothing_is_left")


async def test_a_restart_voids_orders_and_connects_anew() -> None:
    told, where = Recorder(), port(latency_s=0.05)
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(SetupOutput(output=0, count=20, byte_order="GRB", ceiling_ma=500))
        await link.do(LightPixel(0, 3, RED))
        tasks = [asyncio.create_task(link.do(LightPixel(0, pixel, RED))) for pixel in (4, 5, 6)]
        for _ in range(5):  # sent, and not answered yet however slow this machine is
            await asyncio.sleep(0)
        where.restart(RestartCause.BROWNOUT)
        results = await asyncio.gather(*tasks, return_exceptions=True)
        kinds = [result.kind if isinstance(result, LinkLost) else "done" for result in results]
        assert kinds == [LinkErrorKind.RESTARTED] * 3
        await until(lambda: len(told.of(Connected)) == 2)
        assert link.identity is not None
        assert link.identity.cause is RestartCause.BROWNOUT
        assert await link.do(LightPixel(0, 30, RED)) == Done()
    lost = told.of(Lost)
    assert [event.error.kind for event in lost] == [LinkErrorKind.RESTARTED]
    assert "supply" in lost[0].error.likely_cause
    assert told.of(Connected)[1].reason is ConnectReason.RESTARTED
    assert NoticeArrived(RestartNotice(RestartCause.BROWNOUT)) in told.events
    assert len(told.of(PortOpening)) == 1, "the port stays open"


async def test_a_restart_whose_notice_was_damaged_is_found_out() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(SetupOutput(output=0, count=20, byte_order="GRB", ceiling_ma=500))
        await link.do(LightPixel(0, 3, RED))
        notice = where.board.restart(RestartCause.WATCHDOG, time.monotonic() * 1000)
        assert where._wire is not None
        where._wire.say(notice.replace(b"rest", b"rest\xff"))
        await until(lambda: len(told.of(Connected)) == 2)
    assert told.of(WireNote)
    assert told.of(Connected)[1].reason is ConnectReason.RESTARTED


async def test_unplugged_and_plugged_in_again() -> None:
    told, where = Recorder(), port(latency_s=0.05)
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        waiting = [asyncio.create_task(link.do(LightPixel(0, pixel, RED))) for pixel in (1, 2)]
        await asyncio.sleep(0.01)
        pulled_at = time.monotonic()
        where.unplug()
        results = await asyncio.gather(*waiting, return_exceptions=True)
        assert time.monotonic() - pulled_at < 1, "promptly"
        assert all(isinstance(r, LinkLost) and r.kind is LinkErrorKind.VANISHED for r in results)
        with pytest.raises(LinkLost):
            await link.do(Darken())
        await until(lambda: len(told.of(PortOpening)) >= 3)
        where.plug()
        await until(lambda: len(told.of(Connected)) == 2)
        assert await link.do(LightPixel(0, 7, RED)) == Done()
        assert places_lit(where.board) == ["0.7"]
    kinds = [event.error.kind for event in told.of(Lost)]
    assert kinds[0] is LinkErrorKind.VANISHED
    assert set(kinds[1:]) == {LinkErrorKind.NO_SUCH_PORT}
    assert all(event.retry_in_s is not None for event in told.of(Lost))
    assert [event.attempt for event in told.of(PortOpening)][:3] == [1, 2, 3]
    assert told.of(Connected)[1].reason is ConnectReason.AGAIN


async def test_a_device_that_comes_back_under_another_path(monkeypatch: pytest.MonkeyPatch) -> None:
    ends = {"simulated://?pixels=7": True, "simulated://?pixels=8": False}
    monkeypatch.setattr(
        "probe.link.wire.current_address", lambda key: next((path for path, here in ends.items() if here), None)
    )
    told = Recorder()
    spec = PortSpec("simulated://?pixels=7", key="usb:0403:6001:A50285BI")
    async with BoardLink(spec, on_event=told, retry=QUICK) as link:
        await until(lambda: link.identity)
        wire = link._talk._wire
        assert wire is not None
        ends.update({"simulated://?pixels=7": False})
        wire._owner.unplug()  # type: ignore[attr-defined]
        await until(lambda: any(event.error.kind is LinkErrorKind.NO_SUCH_PORT for event in told.of(Lost)))
        ends.update({"simulated://?pixels=8": True})
        await until(lambda: len(told.of(Connected)) == 2)
        assert link.identity is not None
        assert link.identity.pixels == 8
        assert link.port == "simulated://?pixels=8"


async def test_a_board_that_goes_dark_unheard_is_told() -> None:
    """Host and board lose sight of each other for longer than the silence time, and the notice is lost with it."""
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(Silence(500))
        await link.do(LightPixel(0, 3, RED))
        hearing, saying = where.board.receive_data, where.board.tick
        where.board.receive_data = lambda data, now_ms: b""  # type: ignore[method-assign]
        where.board.tick = lambda now_ms: saying(now_ms) and b""  # type: ignore[method-assign]
        await asyncio.sleep(0.6)
        where.pass_time()
        assert places_lit(where.board) == []
        where.board.receive_data = hearing  # type: ignore[method-assign]
        await until(lambda: NoticeArrived(DarkNotice()) in told.events)
        await link.do(LightPixel(0, 3, RED))
        await asyncio.sleep(0.4)
    assert told.events.count(NoticeArrived(DarkNotice())) == 1
    assert not told.of(Lost)


async def test_a_board_that_says_that_it_went_dark_is_told_once() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(Silence(500))
        await link.do(LightPixel(0, 3, RED))
        hearing = where.board.receive_data
        where.board.receive_data = lambda data, now_ms: b""  # type: ignore[method-assign]
        await until(lambda: NoticeArrived(DarkNotice()) in told.events)
        where.board.receive_data = hearing  # type: ignore[method-assign]
        await link.do(LightPixel(0, 3, RED))
        await link.do(LightPixel(0, 4, RED))
    assert told.events.count(NoticeArrived(DarkNotice())) == 1
    assert not told.of(Lost)


async def test_a_board_that_hangs_is_lost_and_found_on_the_same_line() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        hearing = where.board.receive_data
        where.board.receive_data = lambda data, now_ms: b""  # type: ignore[method-assign]
        with pytest.raises(LinkLost) as lost:
            await link.do(LightPixel(0, 3, RED))
        assert lost.value.kind is LinkErrorKind.TIMEOUT
        where.board.receive_data = hearing  # type: ignore[method-assign]
        await until(lambda: len(told.of(Connected)) == 2)
    assert len(told.of(PortOpening)) == 1
    assert told.of(Connected)[1].reason is ConnectReason.AGAIN


@pytest.mark.usefixtures("short_identify")
async def test_closing_does_not_wait_for_a_dead_board() -> None:
    where = port()
    link = link_to(where, Recorder())
    await link.connect()
    where.board.receive_data = lambda data, now_ms: b""  # type: ignore[method-assign]
    began = time.monotonic()
    await link.close()
    assert time.monotonic() - began < 2


async def test_connect_may_be_cancelled_and_called_again() -> None:
    told, where = Recorder(), port(board(resets_on_open=True, boot_ms=400))
    link = link_to(where, told)
    attempt = asyncio.create_task(link.connect())
    await asyncio.sleep(0.1)
    attempt.cancel()
    with pytest.raises(asyncio.CancelledError):
        await attempt
    assert (await link.connect()).pixels == 40
    await link.close()


async def test_connect_tells_why_it_failed_and_start_keeps_trying() -> None:
    told, where = Recorder(), port()
    where.unplug()
    link = link_to(where, told)
    with pytest.raises(LinkError) as failed:
        await link.connect()
    assert failed.value.kind is LinkErrorKind.NO_SUCH_PORT
    assert told.events[-1] == Lost(failed.value, None)
    link.start()
    link.start()
    await until(lambda: len(told.of(PortOpening)) >= 3)
    where.plug()
    await until(lambda: link.identity)
    await link.close()


def test_pauses_between_attempts_double_up_to_the_longest() -> None:
    pauses = [RetryPolicy(first_s=0.25, most_s=2.0).pause_s(failures) for failures in (1, 2, 3, 4, 5, 100)]
    assert pauses == [0.25, 0.5, 1.0, 2.0, 2.0, 2.0]
