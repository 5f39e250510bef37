"""A wire: bytes out, bytes in, and one way to fail. Opening one by device path, URL or key."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Protocol

from probe.link.errors import LinkError, LinkErrorKind, link_error
from probe.link.ports import address_fault, current_address

DEFAULT_BAUD = 115_200


class Wire(Protocol):
    """An open line to something. Used from one event loop only."""

    @property
    def port(self) -> str:
        """Device path or URL, for texts."""

    def write(self, data: bytes) -> None:
        """Hand all bytes on at once, without waiting. Raises LinkError when the line is known to be gone."""

    async def read(self) -> bytes:
        """Wait for at least one byte. Raises LinkError once the line is gone and all bytes before that were read.

        Cancelling it loses no byte. One reader at a time.
        """

    async def close(self) -> None:
        """Let go of the line; what was not yet sent may be dropped. Never raises; may be called again."""


OpenWire = Callable[[], Awaitable[Wire]]
"""Opens a wire, or raises LinkError."""


class Inbox:
    """Bytes on their way from a transport's callbacks to `Wire.read`; ends with one LinkError."""

    def __init__(self) -> None:
        self._chunks: deque[bytes] = deque()
        self._end: LinkError | None = None
        self._arrived = asyncio.Event()

    @property
    def end(self) -> LinkError | None:
        """Why nothing more will come, or None while the line holds."""
        return self._end

    def put(self, data: bytes) -> None:
        """Bytes have arrived. Ignored after `fail`."""
        if data and self._end is None:
            self._chunks.append(data)
            self._arrived.set()

    def fail(self, error: LinkError) -> None:
        """Nothing more will come. The first error stays."""
        if self._end is None:
            self._end = error
            self._arrived.set()

    async def get(self) -> bytes:
        """As `Wire.read`."""
        while not self._chunks:
            if self._end is not None:
                raise self._end
            self._arrived.clear()
            await self._arrived.wait()
        data = b"".join(self._chunks)
        self._chunks.clear()
        return data


@dataclass(frozen=True, slots=True)
class PortSpec:
    """What to open: an address (device path or URL), its remembered key if there is one, and the speed in baud.

    With a key the port is looked up anew each time, so that it is found under another path after replugging. The
    address alone is used as it stands.
    """

    address: str
    key: str | None = None
    baud: int = DEFAULT_BAUD

    async def open(self) -> Wire:
        """Open it now. Raises LinkError."""
        address = self.address
        if self.key is not None:
            from probe.link.daemon_thread import run_in_daemon

            key = self.key
            found = await run_in_daemon(lambda: current_address(key), undo=lambda _: None, name="looking for ports")
            if found is None:
                raise link_error(LinkErrorKind.NO_SUCH_PORT, port=address)
            address = found
        return await open_wire(address, baud=self.baud)


async def open_wire(address: str, *, baud: int = DEFAULT_BAUD) -> Wire:
    """Open a device path or a URL (`socket://`, `rfc2217://`, `loop://`, `simulated://`, `replay://`). Raises LinkError.

    Other URLs are refused. The loop is not blocked meanwhile. A board may restart because its port is opened.
    """
    if (fault := address_fault(address)) is not None:
        raise link_error(LinkErrorKind.BAD_ADDRESS, port=address, detail=fault)
    scheme = address.partition("://")[0].lower() if "://" in address else ""
    if scheme == "simulated":
        from probe.link.simulated_wire import simulated_port  # only the demo needs the board's half

        return await simulated_port(address).open()
    if scheme == "replay":
        from probe.link.replay import replay_port

        return await replay_port(address).open()
    if scheme:
        from probe.link.threaded_wire import open_threaded_wire

        return await open_threaded_wire(address, baud=baud)
    from probe.link.serial_wire import open_serial_wire

    return await open_serial_wire(address, baud=baud)
