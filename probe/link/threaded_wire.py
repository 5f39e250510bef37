"""All threads of the link: opening ports, which may block for seconds, and lines that no event loop can wait for.

pyserial's URL handlers have no file descriptor to wait for, or block when they write or close; each such line gets one
reading and one writing thread. All are daemons: a hung driver never keeps the program from ending.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import TypeVar

import serial

from probe.link.daemon_thread import run_in_daemon
from probe.link.errors import HANG_UP_FAMILIES, LinkErrorKind, fold, link_error
from probe.link.wire import Inbox, Wire

_T = TypeVar("_T")
_READ_WAIT_S = 0.1
"""How long a reading thread waits before it looks whether the line is being closed."""
_CLOSE_WAIT_S = 3.0
# A handler whose socket another thread has just closed trips over its own None.
TROUBLE: tuple[type[BaseException], ...] = (*HANG_UP_FAMILIES, AttributeError)
# pyserial slips over its own format string when it refuses an unknown option of a URL.
_OPENING_TROUBLE: tuple[type[BaseException], ...] = (*TROUBLE, LookupError)


def close_quietly(port: serial.Serial) -> None:
    """Close whatever state the port is in."""
    with contextlib.suppress(*TROUBLE):
        port.close()


async def open_pyserial(address: str, *, baud: int, timeout_s: float, write_timeout_s: float | None) -> serial.Serial:
    """Open any device or URL that pyserial knows, alone if the system can do that. Raises LinkError."""

    def work() -> serial.Serial:
        return serial.serial_for_url(
            address, baudrate=baud, exclusive=True, timeout=timeout_s, write_timeout=write_timeout_s
        )

    try:
        return await run_in_daemon(work, undo=close_quietly, name=f"opening {address}")
    except _OPENING_TROUBLE as error:
        raise fold(error, port=address, opening=True, baud=baud) from error


class ThreadedWire:
    """A wire over a pyserial object that blocks."""

    def __init__(self, port: serial.Serial, *, address: str) -> None:
        self.port = address
        self._serial = port
        self._inbox = Inbox()
        self._outbox: SimpleQueue[bytes | None] = SimpleQueue()
        self._loop = asyncio.get_running_loop()
        self._closing = threading.Event()
        self._ended = asyncio.Event()
        self._running = 2
        for body, task in ((self._read_loop, "reading"), (self._write_loop, "writing")):
            threading.Thread(target=body, name=f"{task} {address}", daemon=True).start()

    def write(self, data: bytes) -> None:
        """As `Wire.write`."""
        if self._inbox.end is not None:
            raise self._inbox.end
        self._outbox.put(data)

    async def read(self) -> bytes:
        """As `Wire.read`."""
        return await self._inbox.get()

    async def close(self) -> None:
        """As `Wire.close`; waits until both threads have ended, but not for a hung driver."""
        self._inbox.fail(link_error(LinkErrorKind.CLOSED, port=self.port))
        self._closing.set()
        self._outbox.put(None)
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ended.wait(), _CLOSE_WAIT_S)

    # --- in the threads ---

    def _read_loop(self) -> None:
        try:
            while not self._closing.is_set():
                data = self._serial.read(1)
                if data:
                    waiting = self._serial.in_waiting
                    self._call_in_loop(self._inbox.put, data + self._serial.read(waiting) if waiting else data)
        except TROUBLE as error:
            self._call_in_loop(self._inbox.fail, fold(error, port=self.port, opening=False))
        finally:
            self._outbox.put(None)
            close_quietly(self._serial)
            self._call_in_loop(self._thread_ended)

    def _write_loop(self) -> None:
        try:
            while (data := self._outbox.get()) is not None:
                self._serial.write(data)
        except TROUBLE as error:
            self._call_in_loop(self._inbox.fail, fold(error, port=self.port, opening=False))
            self._closing.set()
        finally:
            self._call_in_loop(self._thread_ended)

    def _call_in_loop(self, callback: Callable[..., None], *args: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody listens any more
            self._loop.call_soon_threadsafe(callback, *args)

    def _thread_ended(self) -> None:
        self._running -= 1
        if self._running == 0:
            self._ended.set()


async def open_threaded_wire(address: str, *, baud: int) -> Wire:
    """Open a URL that only threads can serve. Raises LinkError."""
    # rfc2217 refuses any write time-out; the writing thread may block.
    port = await open_pyserial(address, baud=baud, timeout_s=_READ_WAIT_S, write_timeout_s=None)
    return ThreadedWire(port, address=address)
