"""Every kind of wire carries bytes both ways, fails with one error, and leaves nothing behind."""

from __future__ import annotations

import asyncio
import fcntl
import os
import termios
import threading
import time
from pathlib import Path

import pytest
import serial

from device_protocol.framing import OrderLine, encode_order
from probe.link import LinkError, LinkErrorKind
from probe.link.daemon_thread import run_in_daemon
from probe.link.ports import current_address, remembered_key
from probe.link.wire import PortSpec, Wire, open_wire
from tests.link.conftest import until
from tests.link.far_ends import PtyEnd, board_answers, rfc2217_board, tcp_board

pytestmark = pytest.mark.usefixtures("nothing_is_left")

IDENTIFY = encode_order(OrderLine(1, "id"))


async def read_line(wire: Wire) -> bytes:
    data = b""
    while not data.endswith(b"\n"):
        data += await asyncio.wait_for(wire.read(), 10)
    return data


async def identity_over(wire: Wire) -> bytes:
    wire.write(IDENTIFY)
    while not (line := await read_line(wire)).rpartition(b"<01 ok proto=1 ")[1]:
        pass
    return line


async def failure_of(wire: Wire) -> LinkErrorKind:
    try:
        while True:
            await asyncio.wait_for(wire.read(), 10)
    except LinkError as error:
        return error.kind


async def test_a_port_open_elsewhere_is_busy() -> None:
    end = PtyEnd(board_answers())
    with serial.Serial(end.path, exclusive=True), pytest.raises(LinkError) as caught:
        await open_wire(end.path)
    assert caught.value.kind is LinkErrorKind.BUSY
    end.hang_up()


async def test_a_port_that_another_program_locked_with_the_terminal_ioctl(monkeypatch: pytest.MonkeyPatch) -> None:
    end = PtyEnd(board_answers())
    fcntl.ioctl(end.slave, termios.TIOCEXCL)
    opened = os.open

    def as_a_plain_user(path: str, *args: int) -> int:  # an administrator may open it all the same
        if path == end.path:
            raise OSError(16, "Device or resource busy", path)
        return opened(path, *args)

    monkeypatch.setattr(os, "open", as_a_plain_user)
    with pytest.raises(LinkError) as caught:
        await open_wire(end.path)
    monkeypatch.undo()
    assert caught.value.kind is LinkErrorKind.BUSY
    end.hang_up()


async def test_a_forbidden_port(monkeypatch: pytest.MonkeyPatch) -> None:
    end = PtyEnd(board_answers())

    def forbidden(*args: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("serial.serialposix.os.open", forbidden)
    with pytest.raises(LinkError) as caught:
        await open_wire(end.path)
    monkeypatch.undo()
    assert caught.value.kind is LinkErrorKind.FORBIDDEN
    assert "group" in caught.value.cure
    end.hang_up()


async def test_loop() -> None:
    wire = await open_wire("loop://")
    wire.write(b"there and back\n")
    assert await read_line(wire) == b"there and back\n"
    await wire.close()
    assert await failure_of(wire) is LinkErrorKind.CLOSED


async def test_socket() -> None:
    async with tcp_board() as (address, cut):
        wire = await open_wire(f"socket://{address}")
        assert b"board=simulated" in await identity_over(wire)
        cut()
        assert await failure_of(wire) is LinkErrorKind.VANISHED
        await wire.close()


@pytest.mark.filterwarnings("ignore:setDaemon:DeprecationWarning", "ignore:setName:DeprecationWarning")
async def test_rfc2217_sets_the_far_ports_speed() -> None:
    async with rfc2217_board() as (address, settings):
        wire = await open_wire(f"rfc2217://{address}", baud=57_600)
        assert b"board=simulated" in await identity_over(wire)
        assert settings.baudrate == 57_600
        await wire.close()


async def test_simulated() -> None:
    wire = await open_wire("simulated://?pixels=84&outputs=2&latency_ms=3")
    line = await identity_over(wire)
    assert b"outputs=2 pixels=84" in line
    await wire.close()
    assert await failure_of(wire) is LinkErrorKind.CLOSED


@pytest.mark.parametrize(
    ("address", "baud", "kind"),
    [
        ("/dev/ttyNOSUCH0", 115_200, LinkErrorKind.NO_SUCH_PORT),
        ("/dev/null", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("socket://127.0.0.1:1", 115_200, LinkErrorKind.UNREACHABLE),
        ("socket://nothing-after-the-host", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("socket://127.0.0.1:99999", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("telegraph://office", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("loop://?no=such", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("loop://", 0, LinkErrorKind.BAD_ADDRESS),
        ("loop://", -5, LinkErrorKind.BAD_ADDRESS),
        ("simulated://?pixels=many", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("simulated://?pixels=0", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("simulated://?colour=1", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("simulated://[", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("socket://[", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("/dev/tty\0S0", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("/dev/tty\udcffS0", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("replay://\0", 115_200, LinkErrorKind.BAD_ADDRESS),
        ("socket://\ud800:1", 115_200, LinkErrorKind.BAD_ADDRESS),
    ],
)
async def test_addresses_that_cannot_be_opened(address: str, baud: int, kind: LinkErrorKind) -> None:
    with pytest.raises(LinkError) as caught:
        await open_wire(address, baud=baud)
    assert caught.value.kind is kind


SCHEMES_OF_THE_PACKAGE = ("spy", "SPY", "hwgrep", "alt", "cp2110")
"""What else the serial package opens: pyserial 3.5, documentation, "URL Handlers"."""


@pytest.mark.parametrize("scheme", SCHEMES_OF_THE_PACKAGE)
@pytest.mark.parametrize("key", ["", "path:"])
async def test_no_other_scheme_is_opened_given_or_remembered(scheme: str, key: str, tmp_path: Path) -> None:
    address = f"{scheme}:///dev/null?file={tmp_path / 'written'}"
    for spec in (
        PortSpec(address),
        PortSpec(address, key=remembered_key(address, ())),
        PortSpec(address, key + address),
    ):
        with pytest.raises(
            LinkError, match=rf"{scheme.lower()}:// is not used here, only a device or socket://"
        ) as caught:
            await spec.open()
        assert caught.value.kind is LinkErrorKind.BAD_ADDRESS
    assert list(tmp_path.iterdir()) == []  # noqa: ASYNC240 - a look into an empty folder


async def test_the_serial_package_may_not_log_over_the_screen() -> None:
    with pytest.raises(LinkError, match="--transcript FILE"):
        await open_wire("loop://?logging=debug")


@pytest.mark.parametrize("address", ["/dev/tty\0", "/dev/\ud800", "socket://a\0b:1"])
def test_an_address_that_no_system_takes_is_remembered_as_it_is(address: str) -> None:
    assert current_address(remembered_key(address)) == address


async def test_a_remembered_device_that_is_not_plugged_in() -> None:
    with pytest.raises(LinkError) as caught:
        await PortSpec("/dev/ttyUSB0", key="usb:0403:6001:NOTHERE").open()
    assert caught.value.kind is LinkErrorKind.NO_SUCH_PORT


async def test_an_opening_that_is_given_up_is_undone() -> None:
    go_on = threading.Event()
    undone: list[str] = []

    def slow() -> str:
        go_on.wait(5)
        return "port"

    task = asyncio.create_task(run_in_daemon(slow, undo=undone.append, name="slow opening"))
    await asyncio.sleep(0.02)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    go_on.set()
    await until(lambda: undone)
    assert undone == ["port"]


async def test_an_opening_that_is_given_up_as_it_succeeds_is_undone() -> None:
    undone: list[str] = []
    task = asyncio.create_task(run_in_daemon(lambda: "port", undo=undone.append, name="quick opening"))
    await asyncio.sleep(0)
    time.sleep(0.1)  # noqa: ASYNC251 - the loop stands still while the thread delivers
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    await until(lambda: undone)
    assert undone == ["port"]
