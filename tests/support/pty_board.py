"""A Python board behind a pseudo-terminal, so that another process can open it as a serial port."""

from __future__ import annotations

import os
import select
import threading
import time
import tty
from types import TracebackType
from typing import Self

from device_protocol.board import ProtocolBoard


class PtyBoard:
    """Serves a board on a thread. `path` is the port; `light_times_s` when the last byte of each `light` order came."""

    def __init__(self, board: ProtocolBoard) -> None:
        self.board = board
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)
        self.light_times_s: list[float] = []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="pty-board", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._master)
        os.close(self._slave)

    def _serve(self) -> None:
        line = b""
        while not self._stop.is_set():
            ready, _, _ = select.select([self._master], [], [], 0.05)
            now = time.monotonic()
            said = self.board.tick(now * 1000)
            if ready:
                data = os.read(self._master, 4096)
                line += data
                while b"\n" in line:
                    whole, line = line.split(b"\n", 1)
                    if b" light " in whole:
                        self.light_times_s.append(now)
                said += self.board.receive_data(data, now * 1000)
            if said:
                os.write(self._master, said)
