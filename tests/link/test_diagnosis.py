"""What is at the other end when no board answers: each case says what it is, why, and what to do."""

from __future__ import annotations

import asyncio
import random

import pytest

from device_protocol.framing import ReplyLine, encode_board_line
from device_protocol.orders import LightPixel
from device_protocol.values import Colour
from probe.link import (
    BoardLink,
    Connected,
    LinkError,
    LinkErrorKind,
    LinkLost,
    Lost,
    PortOpening,
    PortSpec,
    RetryPolicy,
)
from probe.link.conversation import LineSample
from tests.link.conftest import until
from tests.link.far_ends import Answer, PtyEnd, board_answers, rfc2217_board, tcp_board
from tests.link.recorder import Recorder

pytestmark = pytest.mark.usefixtures("nothing_is_left", "short_identify")

NMEA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"


async def failure(end: PtyEnd, *, chatter: bytes = b"") -> LinkError:
    link = BoardLink(PortSpec(end.path), on_event=Recorder())

    async def talk() -> None:
        while True:
            end.say(chatter)
            await asyncio.sleep(0.05)

    talking = asyncio.create_task(talk()) if chatter else None
    with pytest.raises(LinkError) as caught:
        await link.connect()
    if talking is not None:
        talking.cancel()
    await link.close()
    end.hang_up()
    return caught.value


def mute(data: bytes) -> bytes:
    return b""


async def test_a_silent_device() -> None:
    error = await failure(PtyEnd(mute))
    assert error.kind is LinkErrorKind.SILENT
    assert "reset" in error.cure


async def test_another_device_is_quoted() -> None:
    error = await failure(PtyEnd(mute), chatter=NMEA)
    assert error.kind is LinkErrorKind.WRONG_DEVICE
    assert "$GPGGA,123519" in error.what


async def test_what_another_device_says_cannot_steer_the_terminal() -> None:
    error = await failure(PtyEnd(mute), chatter=b"hello \x1b]0;mine\x07 [/x] there, a long line of text\r\n")
    assert error.kind is LinkErrorKind.WRONG_DEVICE
    assert error.what.isprintable()


@pytest.mark.parametrize("seed", range(3))
async def test_a_wrong_speed(seed: int) -> None:
    noise = random.Random(seed).randbytes(200)
    error = await failure(PtyEnd(mute), chatter=noise)
    assert error.kind is LinkErrorKind.WRONG_SPEED
    assert "--baud" in error.cure
    assert "115200" in error.likely_cause


async def test_a_spike_at_plugging_in_is_not_taken_for_a_wrong_speed() -> None:
    once = [b"\xff\x00"]
    error = await failure(PtyEnd(lambda data: once.pop() if once else b""))
    assert error.kind is LinkErrorKind.SILENT


async def test_a_far_end_that_sends_everything_back() -> None:
    error = await failure(PtyEnd(lambda data: data))
    assert error.kind is LinkErrorKind.WRONG_DEVICE
    assert "sends back" in error.what


async def test_the_loop_url_is_such_a_far_end() -> None:
    link = BoardLink(PortSpec("loop://"), on_event=Recorder())
    with pytest.raises(LinkError) as caught:
        await link.connect()
    await link.close()
    assert caught.value.kind is LinkErrorKind.WRONG_DEVICE


IDENTITY = (
    "proto=1 board=x build=1 line=96 outputs=1 pixels=10 ceiling=100 channel=1 idle=1 silence=5000 uptime=1 cause=power"
    " table=0 features=none"
)


def identifies_as(fields: str) -> PtyEnd:
    sound = board_answers()

    def answer(data: bytes) -> bytes:
        if b" id*" not in data:
            return sound(data)
        sequence = int(data.split(b">")[-1][:2], 16)
        return encode_board_line(ReplyLine(sequence, tuple(fields.split())))

    return PtyEnd(answer)


async def test_a_board_of_another_protocol_version() -> None:
    error = await failure(identifies_as(IDENTITY.replace("proto=1", "proto=2")))
    assert error.kind is LinkErrorKind.OTHER_VERSION


async def test_a_board_that_states_more_than_the_protocol_allows() -> None:
    error = await failure(identifies_as(IDENTITY.replace("outputs=1", "outputs=999999999")))
    assert error.kind is LinkErrorKind.BEYOND_LIMITS
    assert "states a limit that no board may have: outputs of the identity 999999999: 1 to 16" in error.what


async def test_a_board_whose_identity_cannot_be_read() -> None:
    error = await failure(identifies_as(IDENTITY.replace("board=x", "board=X")))
    assert error.kind is LinkErrorKind.UNREADABLE_IDENTITY
    assert "board 'X' of the identity" in error.what


async def test_a_board_whose_every_line_is_damaged() -> None:
    sound = board_answers()
    error = await failure(PtyEnd(lambda data: sound(data).replace(b"ok", b"ko")))
    assert error.kind in (LinkErrorKind.TIMEOUT, LinkErrorKind.WRONG_DEVICE)


async def test_a_board_that_hears_only_damage() -> None:
    sound = board_answers()
    error = await failure(PtyEnd(lambda data: sound(data.replace(b"id", b"di"))))
    assert error.kind is LinkErrorKind.TIMEOUT
    assert "cable" in error.likely_cause


async def test_a_board_behind_a_pseudo_terminal_that_hangs_up_in_mid_order_and_comes_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    first = PtyEnd(board_answers())
    now_at = {"path": first.path}
    monkeypatch.setattr("probe.link.wire.current_address", lambda key: now_at["path"])
    told = Recorder()
    spec = PortSpec(first.path, key="usb:0403:6001:A50285BI")
    async with BoardLink(spec, on_event=told, retry=RetryPolicy(first_s=0.02, most_s=0.1)) as link:
        await until(lambda: link.identity)

        def pull(data: bytes) -> bytes:
            first.hang_up()
            return b""

        first.answer = pull
        with pytest.raises(LinkLost) as lost:
            await asyncio.wait_for(link.do(LightPixel(0, 3, Colour(1, 2, 3))), 5)
        assert lost.value.kind is LinkErrorKind.VANISHED
        await until(lambda: len(told.of(PortOpening)) >= 2)
        second = PtyEnd(board_answers())
        now_at["path"] = second.path
        await until(lambda: len(told.of(Connected)) == 2)
        await link.do(LightPixel(0, 3, Colour(1, 2, 3)))
        assert b"light 0 3 010203" in second.heard
    assert told.of(Lost)[0].error.kind is LinkErrorKind.VANISHED
    assert b"dark all" in second.heard
    second.hang_up()


@pytest.mark.filterwarnings("ignore:setDaemon:DeprecationWarning", "ignore:setName:DeprecationWarning")
@pytest.mark.parametrize("scheme", ["socket", "rfc2217"])
async def test_a_board_behind_a_network_server(scheme: str) -> None:
    server = tcp_board if scheme == "socket" else rfc2217_board
    answers: Answer = board_answers()
    async with server(answers) as (address, _):
        link = BoardLink(PortSpec(f"{scheme}://{address}"), on_event=Recorder())
        assert (await link.connect()).pixels == 60
        for pixel in range(10):
            await link.do(LightPixel(0, pixel, Colour(1, 2, 3)))
        await link.close()


async def test_a_port_that_is_forbidden_says_whom_to_ask(monkeypatch: pytest.MonkeyPatch) -> None:
    end = PtyEnd(mute)

    def forbidden(*args: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("serial.serialposix.os.open", forbidden)
    told = Recorder()
    link = BoardLink(PortSpec(end.path), on_event=told)
    with pytest.raises(LinkError) as caught:
        await link.connect()
    monkeypatch.undo()
    await link.close()
    assert caught.value.kind is LinkErrorKind.FORBIDDEN
    assert told.kinds == ["PortOpening", "Lost"]
    end.hang_up()


def test_of_a_line_that_never_ends_only_the_beginning_is_kept() -> None:
    sample = LineSample()
    for _ in range(1_000):
        sample.add(b"kelp\n")
    sample.add(b"a longer line that comes late\n")
    assert sample.text() == "kelp"
