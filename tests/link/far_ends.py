"""Things to talk to for the tests: boards behind a pseudo-terminal, a TCP server, an RFC 2217 server; other devices."""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
import tty
from collections.abc import AsyncIterator, Callable

import serial
from serial import rfc2217

from device_protocol.board import BoardConfig, ProtocolBoard


def now_ms() -> float:
    return time.monotonic() * 1000


Answer = Callable[[bytes], bytes]
"""What a far end sends back for bytes that reach it."""


def board_answers(board: ProtocolBoard | None = None) -> Answer:
    half = board or ProtocolBoard(BoardConfig(pixels=60), now_ms=now_ms())
    return lambda data: half.receive_data(data, now_ms())


class PtyEnd:
    """A pseudo-terminal whose slave is a serial port. All on the loop of the test; no thread."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.path = os.ttyname(self.slave)
        self.heard = bytearray()
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(self.master, self._readable)
        self.closed = False

    def say(self, data: bytes) -> None:
        if not self.closed:
            os.write(self.master, data)

    def hang_up(self) -> None:
        """As pulling a USB plug: both ends go."""
        if not self.closed:
            self.closed = True
            self._loop.remove_reader(self.master)
            os.close(self.slave)
            os.close(self.master)

    def _readable(self) -> None:
        with contextlib.suppress(BlockingIOError):
            data = os.read(self.master, 4096)
            self.heard += data
            self.say(self.answer(data))


@contextlib.asynccontextmanager
async def tcp_board(answer: Answer | None = None) -> AsyncIterator[tuple[str, Callable[[], None]]]:
    """A board behind a TCP server on this computer. Yields host:port, and a function that cuts all connections."""
    reply = answer or board_answers()
    writers: set[asyncio.StreamWriter] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.add(writer)
        with contextlib.suppress(ConnectionError):
            while data := await reader.read(4096):
                writer.write(reply(data))
        writers.discard(writer)
        writer.close()

    def cut() -> None:
        for writer in list(writers):
            writer.transport.abort()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    host, port = server.sockets[0].getsockname()[:2]
    try:
        yield f"{host}:{port}", cut
    finally:
        server.close()
        cut()
        await asyncio.sleep(0)


@contextlib.asynccontextmanager
async def rfc2217_board(answer: Answer | None = None) -> AsyncIterator[tuple[str, serial.Serial]]:
    """A board behind an RFC 2217 server. Yields host:port and the object that takes the line settings."""
    reply = answer or board_answers()
    settings = serial.serial_for_url("loop://")

    class Connection:
        def __init__(self, writer: asyncio.StreamWriter) -> None:
            self.writer = writer

        def write(self, data: bytes) -> None:
            self.writer.write(data)

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        manager = rfc2217.PortManager(settings, Connection(writer))  # type: ignore[arg-type]  # the stubs are too narrow
        with contextlib.suppress(ConnectionError):
            while data := await reader.read(4096):
                plain = b"".join(manager.filter(data))
                if plain:
                    writer.write(b"".join(manager.escape(reply(plain))))
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    host, port = server.sockets[0].getsockname()[:2]
    try:
        yield f"{host}:{port}", settings
    finally:
        server.close()
        settings.close()
        await asyncio.sleep(0)
