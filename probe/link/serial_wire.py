"""A serial port of this computer as a wire, served by the event loop.

The one file that replaces methods of the serial package (`_Transport`): a new release of it is checked against here.
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

import serial
import serial_asyncio

from probe.link.errors import HANG_UP_FAMILIES, LinkErrorKind, fold, link_error
from probe.link.threaded_wire import TROUBLE, close_quietly, open_pyserial
from probe.link.wire import Inbox, Wire

_CLOSE_WAIT_S = 1.0


class _Transport(serial_asyncio.SerialTransport):  # type: ignore[misc]  # the package has no types
    """The library's transport, which prints a traceback over the screen when a plug is pulled during a write."""

    def _fatal_error(self, exc: BaseException, message: str = "") -> None:
        self._abort(exc)

    def _call_connection_lost(self, exc: BaseException | None) -> None:
        if self._serial is None:  # lost and closed in the same turn of the loop
            return
        # The library drains here, on the loop: a device that takes no more bytes would block the whole program.
        with contextlib.suppress(*HANG_UP_FAMILIES):
            self._serial.reset_output_buffer()
        super()._call_connection_lost(exc)


class SerialWire(asyncio.Protocol):
    """A wire over a pyserial port that the event loop can wait for."""

    def __init__(self, *, address: str) -> None:
        self.port = address
        self._inbox = Inbox()
        self._ended = asyncio.Event()
        self._transport: Any = None

    def attach(self, port: serial.Serial) -> None:
        """Start reading. The port is closed by `close` or by its loss."""
        self._transport = _Transport(asyncio.get_running_loop(), self, port)

    def write(self, data: bytes) -> None:
        """As `Wire.write`."""
        if self._inbox.end is not None:
            raise self._inbox.end
        self._transport.write(data)

    async def read(self) -> bytes:
        """As `Wire.read`."""
        return await self._inbox.get()

    async def close(self) -> None:
        """As `Wire.close`."""
        self._inbox.fail(link_error(LinkErrorKind.CLOSED, port=self.port))
        if not self._ended.is_set():
            self._transport.abort()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ended.wait(), _CLOSE_WAIT_S)

    # --- called by the transport ---

    def data_received(self, data: bytes) -> None:
        """Bytes have come."""
        self._inbox.put(data)

    def connection_lost(self, exc: BaseException | None) -> None:
        """The port is gone, or `close` was called."""
        self._inbox.fail(fold(exc or OSError(), port=self.port, opening=False))
        self._ended.set()


async def open_serial_wire(address: str, *, baud: int) -> Wire:
    """Open a device path or a COM name. Raises LinkError."""
    port = await open_pyserial(address, baud=baud, timeout_s=0, write_timeout_s=0)
    wire = SerialWire(address=address)
    try:
        wire.attach(port)
    except TROUBLE as error:
        close_quietly(port)
        raise fold(error, port=address, opening=True, baud=baud) from error
    return wire
