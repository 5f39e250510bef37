"""A Python board behind a pseudo-terminal or a TCP port, so that another process can open it."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
import time
import tty
from abc import ABC, abstractmethod
from collections.abc import Callable
from types import TracebackType
from typing import Self

from device_protocol.board import ProtocolBoard


class ServedBoard(ABC):
    """Serves a board on a thread. `path` is its port; `light_times_s` when the last byte of each `light` order came."""

    path: str

    def __init__(self, board: ProtocolBoard) -> None:
        self.board = board
        self.light_times_s: list[float] = []
        self.order_came: Callable[[bytes], None] = lambda order: None  # for each whole line, before the board sees it
        self._line = b""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="served-board", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        self.close()

    @abstractmethod
    def read(self, wait_s: float) -> bytes:
        """What has come within so long; empty if nothing did."""

    @abstractmethod
    def write(self, data: bytes) -> None:
        """Send, if somebody is there."""

    @abstractmethod
    def close(self) -> None:
        """Give the port back."""

    def _serve(self) -> None:
        while not self._stop.is_set():
            data = self.read(0.05)
            now = time.monotonic()
            said = self.board.tick(now * 1000)
            if data:
                *whole, self._line = (self._line + data).split(b"\n")
                for line in whole:
                    if b" light " in line:
                        self.light_times_s.append(now)
                    self.order_came(line)
                said += self.board.receive_data(data, now * 1000)
            if said:
                self.write(said)


class PtyBoard(ServedBoard):
    """A board whose port is a pseudo-terminal, as a serial port."""

    def __init__(self, board: ProtocolBoard) -> None:
        super().__init__(board)
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)

    def read(self, wait_s: float) -> bytes:
        """As `ServedBoard.read`."""
        return os.read(self._master, 4096) if select.select([self._master], [], [], wait_s)[0] else b""

    def write(self, data: bytes) -> None:
        """As `ServedBoard.write`."""
        os.write(self._master, data)

    def close(self) -> None:
        """As `ServedBoard.close`."""
        os.close(self._master)
        os.close(self._slave)


class TcpBoard(ServedBoard):
    """A board behind a TCP port of this computer, for one at a time."""

    def __init__(self, board: ProtocolBoard) -> None:
        super().__init__(board)
        self._server = socket.create_server(("127.0.0.1", 0))
        self._peer: socket.socket | None = None
        self.path = f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def read(self, wait_s: float) -> bytes:
        """As `ServedBoard.read`."""
        ready = select.select([self._server, *([self._peer] if self._peer else [])], [], [], wait_s)[0]
        if self._server in ready:
            self._hang_up()
            self._peer, _ = self._server.accept()
            self._line = b""
        elif ready and self._peer is not None:
            with contextlib.suppress(ConnectionError):
                if data := self._peer.recv(4096):
                    return data
            self._hang_up()
        return b""

    def write(self, data: bytes) -> None:
        """As `ServedBoard.write`."""
        if self._peer is not None:
            with contextlib.suppress(ConnectionError):
                self._peer.sendall(data)

    def close(self) -> None:
        """As `ServedBoard.close`."""
        self._hang_up()
        self._server.close()

    def _hang_up(self) -> None:
        if self._peer is not None:
            self._peer.close()
            self._peer = None
