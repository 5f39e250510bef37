"""A link with a sound wire: identify, orders, keep-alive, restart, loss, return, closing."""

from __future__ import annotations

import asyncio
import time

import pytest

from device_protocol.errors import Blame, ErrorCode
from device_protocol.messages import (
    ButtonPressed,
    Dark,
    Done,
    Identify,
    Light,
    Paint,
    Palette,
    Range,
    RestartCause,
    Restarted,
    Setup,
    Show,
    Silence,
    State,
    WentDark,
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
    Opening,
    OrderRefused,
    OutputPlan,
    PortSpec,
    RetryPolicy,
    Waiting,
    WireNote,
    set_up_outputs,
)
from probe.link.simulated_wire import SimulatedPort
from tests.link.conftest import until
from tests.link.recorder import Recorder, board, places_lit, port

pytestmark = pytest.mark.usefixtures("nothing_is_left")

RED = Colour(32, 0, 0)
QUICK = RetryPolicy(first_s=0.02, most_s=0.1)


def link_to(where: SimulatedPort, recorder: Recorder) -> BoardLink:
    return BoardLink(where.open, on_event=recorder, transcript=recorder.transcript, retry=QUICK)


async def test_from_opening_to_closing() -> None:
    told, where = Recorder(), port(board(outputs=2))
    link = link_to(where, told)
    assert link.identity is None
    identity = await link.connect()
    assert (identity.outputs, identity.pixels) == (2, 40)
    assert link.identity is identity
    assert told.kinds == ["Opening", "Waiting", "Connected"]
    assert told.events[-1] == Connected(identity, "simulated://", ConnectReason.FIRST)
    assert await link.do(Light(1, 14, RED)) == Done()
    assert places_lit(where.board) == ["1.14"]
    assert (await link.do(State(1))).lit == 1
    assert await link.connect() is identity, "already connected"
    await link.close()
    assert places_lit(where.board) == [], "closing leaves the board dark"
    assert b"light 1 14 200000*" in told.bytes["out"]
    assert told.bytes["in"].startswith(b"<01 ok proto=1")
    with pytest.raises(LinkLost) as lost:
        await link.do(Dark())
    assert lost.value.kind is LinkErrorKind.CLOSED
    await link.close()
    with pytest.raises(LinkError):
        await link.connect()
    with pytest.raises(LinkError):
        link.start()


async def test_orders_before_the_board_is_known_are_refused_at_once() -> None:
    link = link_to(port(), Recorder())
    with pytest.raises(LinkLost):
        await link.do(Dark())


async def test_orders_queue_in_the_order_given_and_can_be_withdrawn() -> None:
    told, where = Recorder(), port(latency_s=0.01)
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        tasks = [asyncio.create_task(link.do(Light(0, pixel, RED))) for pixel in range(6)]
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
        first = asyncio.create_task(link.do(Light(0, 1, RED)))
        await asyncio.sleep(0.005)
        first.cancel()
        assert await link.do(Light(0, 2, RED)) == Done()
        assert places_lit(where.board) == ["0.2"]


async def test_all_kinds_of_orders() -> None:
    where = port()
    async with link_to(where, Recorder()) as link:
        await until(lambda: link.identity)
        settings = await link.do(Setup(output=0, count=20, byte_order="GRB", ceiling_ma=1500))
        assert (settings.count, settings.ceiling_ma) == (20, 1500)
        await link.do(Range(0, 3, 4, RED))
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
            await link.do(Light(0, 40, RED))
        assert refused.value.code is ErrorCode.NO_SUCH_PIXEL
        assert refused.value.blame is Blame.SETTINGS
        with pytest.raises(OrderRefused) as refused:
            await link.do(Silence(1000))
        assert refused.value.code is ErrorCode.NO_SUCH_FEATURE
        assert "silence" in refused.value.text
        await link.do(Setup(output=0, count=40, byte_order="GRB", ceiling_ma=100))
        with pytest.raises(OrderRefused) as refused:
            await link.do(Range(0, 0, 40, Colour(255, 255, 255)))
        assert refused.value.code is ErrorCode.CEILING
        assert refused.value.fields == {"need": 40 + 40 * 60, "ceiling": 100}
        where.board.failing = True
        with pytest.raises(OrderRefused) as refused:
            await link.do(Dark())
        assert refused.value.code is ErrorCode.INTERNAL
        where.board.failing = False
        assert await link.do(Dark()) == Done()


async def test_an_idle_link_keeps_the_board_awake_and_a_busy_one_does_not_ask() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(Silence(500))
        await link.do(Light(0, 3, RED))
        for _ in range(12):
            await asyncio.sleep(0.1)
            where.pass_time()
            assert places_lit(where.board) == ["0.3"]
        asked = told.bytes["out"].count(b" alive*")
        assert 5 <= asked <= 9, "every third of 500 ms for 1.2 s"
        told.bytes["out"].clear()
        for pixel in range(20):
            await link.do(Light(0, pixel, RED))
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
    assert [event.notice for event in told.of(NoticeArrived)] == [ButtonPressed(1), ButtonPressed(2)]


async def test_a_restart_voids_orders_and_connects_anew() -> None:
    told, where = Recorder(), port(latency_s=0.01)
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(Setup(output=0, count=20, byte_order="GRB", ceiling_ma=500))
        await link.do(Light(0, 3, RED))
        tasks = [asyncio.create_task(link.do(Light(0, pixel, RED))) for pixel in (4, 5, 6)]
        await asyncio.sleep(0.002)
        where.restart(RestartCause.BROWNOUT)
        results = await asyncio.gather(*tasks, return_exceptions=True)
        kinds = [result.kind if isinstance(result, LinkLost) else "done" for result in results]
        assert kinds == [LinkErrorKind.RESTARTED] * 3
        await until(lambda: len(told.of(Connected)) == 2)
        assert link.identity is not None
        assert link.identity.cause is RestartCause.BROWNOUT
        assert await link.do(Light(0, 30, RED)) == Done()
    lost = told.of(Lost)
    assert [event.error.kind for event in lost] == [LinkErrorKind.RESTARTED]
    assert "supply" in lost[0].error.likely_cause
    assert told.of(Connected)[1].reason is ConnectReason.RESTARTED
    assert NoticeArrived(Restarted(RestartCause.BROWNOUT)) in told.events
    assert len(told.of(Opening)) == 1, "the port stays open"


async def test_a_restart_whose_notice_was_damaged_is_found_out() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        await link.do(Setup(output=0, count=20, byte_order="GRB", ceiling_ma=500))
        await link.do(Light(0, 3, RED))
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
        waiting = [asyncio.create_task(link.do(Light(0, pixel, RED))) for pixel in (1, 2)]
        await asyncio.sleep(0.01)
        pulled_at = time.monotonic()
        where.unplug()
        results = await asyncio.gather(*waiting, return_exceptions=True)
        assert time.monotonic() - pulled_at < 1, "promptly"
        assert all(isinstance(r, LinkLost) and r.kind is LinkErrorKind.VANISHED for r in results)
        with pytest.raises(LinkLost):
            await link.do(Dark())
        await until(lambda: len(told.of(Opening)) >= 3)
        where.plug()
        await until(lambda: len(told.of(Connected)) == 2)
        assert await link.do(Light(0, 7, RED)) == Done()
        assert places_lit(where.board) == ["0.7"]
    kinds = [event.error.kind for event in told.of(Lost)]
    assert kinds[0] is LinkErrorKind.VANISHED
    assert set(kinds[1:]) == {LinkErrorKind.NO_SUCH_PORT}
    assert all(event.retry_in_s is not None for event in told.of(Lost))
    assert [event.attempt for event in told.of(Opening)][:3] == [1, 2, 3]
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
        await link.do(Light(0, 3, RED))
        hearing, saying = where.board.receive_data, where.board.tick
        where.board.receive_data = lambda data, now_ms: b""  # type: ignore[method-assign]
        where.board.tick = lambda now_ms: saying(now_ms) and b""  # type: ignore[method-assign]
        await asyncio.sleep(0.6)
        where.pass_time()
        assert places_lit(where.board) == []
        where.board.receive_data = hearing  # type: ignore[method-assign]
        await until(lambda: NoticeArrived(WentDark()) in told.events)
        await link.do(Light(0, 3, RED))
        await asyncio.sleep(0.4)
    assert told.events.count(NoticeArrived(WentDark())) == 1
    assert not told.of(Lost)


async def test_a_board_that_hangs_is_lost_and_found_on_the_same_line() -> None:
    told, where = Recorder(), port()
    async with link_to(where, told) as link:
        await until(lambda: link.identity)
        hearing = where.board.receive_data
        where.board.receive_data = lambda data, now_ms: b""  # type: ignore[method-assign]
        with pytest.raises(LinkLost) as lost:
            await link.do(Light(0, 3, RED))
        assert lost.value.kind is LinkErrorKind.TIMEOUT
        where.board.receive_data = hearing  # type: ignore[method-assign]
        await until(lambda: len(told.of(Connected)) == 2)
    assert len(told.of(Opening)) == 1
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


async def test_closing_fails_what_waits() -> None:
    where = port(latency_s=0.05)
    link = link_to(where, Recorder())
    await link.connect()
    waiting = [asyncio.create_task(link.do(Light(0, pixel, RED))) for pixel in (1, 2, 3)]
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
    await link.do(Light(0, 3, RED))
    await link.close(dark=False)
    assert places_lit(where.board) == ["0.3"]


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
    await until(lambda: len(told.of(Opening)) >= 3)
    where.plug()
    await until(lambda: link.identity)
    await link.close()


async def test_a_listener_that_fails_is_reported_and_does_not_stop_the_link() -> None:
    reports: list[dict[str, object]] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: reports.append(context))

    def listener(event: object) -> None:
        raise RuntimeError(f"cannot draw {type(event).__name__}")

    link = BoardLink(port().open, on_event=listener)
    assert (await link.connect()).pixels == 40
    assert await link.do(Light(0, 1, RED)) == Done()
    await link.close()
    assert [str(report["exception"]) for report in reports] == [
        "cannot draw Opening",
        "cannot draw Waiting",
        "cannot draw Connected",
    ]


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
            assert await link.do(Light(0, 39, RED)) == Done()
            assert places_lit(where.board) == ["0.39"]

    async def test_without_a_board_it_says_why(self) -> None:
        link = link_to(port(), Recorder())
        with pytest.raises(LinkLost):
            await set_up_outputs(link, [OutputPlan(output=0, count=40, byte_order="GRB")])
