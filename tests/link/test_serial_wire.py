"""The serial wire over a pseudo-terminal and over socat's, before a board behind TCP: bytes, plugs pulled, far ends that take nothing.

The wire replaces private methods of pyserial-asyncio, whose releases are rare: that they are there and are called is tested here too.
"""

from __future__ import annotations

import asyncio
import contextlib
import inspect
import os
import signal
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
import serial
import serial_asyncio

from device_protocol.framing import OrderLine, encode_order
from probe.link import LinkError, LinkErrorKind
from probe.link.serial_wire import SerialWire, open_serial_wire
from probe.link.wire import open_wire
from tests.link.conftest import until
from tests.link.far_ends import PtyEnd, board_answers, tcp_board
from tests.support.tools import require

pytestmark = pytest.mark.usefixtures("nothing_is_left")

IDENTIFY = encode_order(OrderLine(1, "id"))


@dataclass(frozen=True)
class FarEnd:
    """A port with a board behind it, and what pulls its plug."""

    path: str
    pull: Callable[[], None]


@contextlib.asynccontextmanager
async def pseudo_terminal() -> AsyncIterator[FarEnd]:
    end = PtyEnd(board_answers())
    yield FarEnd(end.path, end.hang_up)
    end.hang_up()


@contextlib.asynccontextmanager
async def socat_before_tcp(folder: Path) -> AsyncIterator[FarEnd]:
    require("socat")
    port = folder / "port"
    async with tcp_board() as (address, _):
        socat = await asyncio.create_subprocess_exec(
            "socat", f"PTY,link={port},raw,echo=0", f"TCP:{address}", stderr=asyncio.subprocess.DEVNULL
        )
        await until(port.exists)
        yield FarEnd(str(port), lambda: socat.send_signal(signal.SIGKILL))
        with contextlib.suppress(ProcessLookupError):
            socat.kill()
        await socat.wait()


@pytest.fixture(params=["pseudo-terminal", "socat"])
async def far_end(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[FarEnd]:
    async with pseudo_terminal() if request.param == "pseudo-terminal" else socat_before_tcp(tmp_path) as end:
        yield end


async def line_of(wire: SerialWire) -> bytes:
    data = b""
    while not data.endswith(b"\n"):
        data += await asyncio.wait_for(wire.read(), 10)
    return data


async def end_of(wire: SerialWire) -> LinkErrorKind:
    try:
        while True:
            await asyncio.wait_for(wire.read(), 10)
    except LinkError as error:
        return error.kind


async def opened(path: str) -> SerialWire:
    wire = await open_serial_wire(path, baud=115200)
    assert isinstance(wire, SerialWire)
    return wire


async def test_a_device_path_is_served_by_this_wire(far_end: FarEnd) -> None:
    wire = await open_wire(far_end.path)
    assert isinstance(wire, SerialWire)
    await wire.close()


async def test_bytes_go_both_ways_and_nothing_after_closing(far_end: FarEnd) -> None:
    wire = await opened(far_end.path)
    wire.write(IDENTIFY)
    while b"board=simulated" not in await line_of(wire):
        pass
    await wire.close()
    await wire.close()
    with pytest.raises(LinkError) as caught:
        wire.write(b"x")
    assert caught.value.kind is LinkErrorKind.CLOSED


async def test_a_plug_pulled_while_reading_and_writing(far_end: FarEnd, capfd: pytest.CaptureFixture[str]) -> None:
    wire = await opened(far_end.path)
    wire.write(IDENTIFY)
    await asyncio.sleep(0.02)
    far_end.pull()
    for _ in range(3):
        with contextlib.suppress(LinkError):  # `read` raises it again
            wire.write(IDENTIFY * 50)
        await asyncio.sleep(0.01)
    assert await end_of(wire) is LinkErrorKind.VANISHED
    await wire.close()
    assert capfd.readouterr().err == "", "no traceback over the screen"


async def test_a_plug_pulled_with_a_close_in_the_same_turn(far_end: FarEnd, capfd: pytest.CaptureFixture[str]) -> None:
    wire = await opened(far_end.path)
    far_end.pull()
    await wire.close()
    assert capfd.readouterr().err == ""


async def test_a_far_end_that_takes_no_bytes_blocks_neither_writing_nor_closing() -> None:
    master, slave = os.openpty()
    wire = await opened(os.ttyname(slave))
    began = time.monotonic()
    for _ in range(100):
        wire.write(b"x" * 4096)
        await asyncio.sleep(0)
    await wire.close()
    assert time.monotonic() - began < 5
    os.close(master)
    os.close(slave)


def test_the_replaced_methods_are_there_with_the_same_parameters() -> None:
    for name, parameters in {
        "_fatal_error": ["self", "exc", "message"],
        "_call_connection_lost": ["self", "exc"],
        "_abort": ["self", "exc"],
    }.items():
        assert list(inspect.signature(getattr(serial_asyncio.SerialTransport, name)).parameters) == parameters


async def test_the_package_calls_the_replaced_methods(monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that fails, and a transport that ends, come through the methods that this wire replaces."""
    called: list[str] = []
    transport = type(await _transport_of_a_wire())
    for name in ("_fatal_error", "_call_connection_lost"):
        replaced = getattr(transport, name)

        def seen(self: object, *args: object, _name: str = name, _replaced: Callable[..., None] = replaced) -> None:
            called.append(_name)
            _replaced(self, *args)

        monkeypatch.setattr(transport, name, seen)

    def pulled(port: serial.Serial, data: bytes) -> int:
        raise serial.SerialException("write failed: [Errno 5] Input/output error")

    end = PtyEnd(lambda data: b"")
    wire = await opened(end.path)
    monkeypatch.setattr(serial.Serial, "write", pulled)
    with contextlib.suppress(LinkError):
        wire.write(IDENTIFY)
    with pytest.raises(LinkError):
        await asyncio.wait_for(wire.read(), 10)
    monkeypatch.undo()
    await wire.close()
    end.hang_up()
    assert called == ["_fatal_error", "_call_connection_lost"]


async def _transport_of_a_wire() -> object:
    end = PtyEnd(lambda data: b"")
    wire = await opened(end.path)
    transport = wire._transport
    await wire.close()
    end.hang_up()
    return transport


async def test_what_was_not_sent_is_dropped_before_the_package_waits_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    for name in ("reset_output_buffer", "flush"):
        monkeypatch.setattr(serial.Serial, name, lambda _, name=name: done.append(name))
    async with pseudo_terminal() as end:
        wire = await open_serial_wire(end.path, baud=115_200)
        await wire.close()
    assert done[-2:] == ["reset_output_buffer", "flush"]
