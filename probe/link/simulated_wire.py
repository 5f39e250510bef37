"""A board inside this program, behind a port that can be plugged, unplugged, slow and faulty."""

from __future__ import annotations

import asyncio
import time
from collections import deque
from dataclasses import fields
from typing import Any, Protocol
from urllib.parse import parse_qsl, urlsplit

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.messages import RestartCause
from probe.link.errors import LinkErrorKind, link_error
from probe.link.faulty import FaultProfile, Faults, FaultyWire
from probe.link.wire import Inbox, Wire


class BoardHalf(Protocol):
    """What a simulated port needs of a board: `ProtocolBoard`, or anything that behaves like it."""

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        """Bytes from the host; returns what the board sends."""

    def tick(self, now_ms: float) -> bytes:
        """Time passes; returns what the board sends."""

    def next_deadline_ms(self) -> float | None:
        """When `tick` has something to do."""

    def restart(self, cause: RestartCause, now_ms: float) -> bytes:
        """The board restarts; returns its notice."""

    def press_button(self, now_ms: float) -> bytes:
        """The step button; returns what the board sends."""


class SimulatedPort:
    """A port with a board on it. `open` is what `BoardLink` takes as `open_wire`.

    `latency_s` is the delay in each direction. With `resets_on_open` the board restarts when the port opens, deaf and
    mute for `boot_s`. `replug_after_s` of the fault profile plugs it in again by itself; `unplug` does not.
    """

    def __init__(
        self,
        board: BoardHalf,
        *,
        name: str = "simulated://",
        latency_s: float = 0.0,
        resets_on_open: bool = False,
        boot_s: float = 0.0,
        faults: FaultProfile | None = None,
        seed: int = 0,
    ) -> None:
        self.board = board
        self.name = name
        self.plugged = True
        self.faults = Faults(faults, seed=seed) if faults is not None else None
        self._latency_s = latency_s
        self._resets_on_open = resets_on_open
        self._boot_s = boot_s
        self._wire: SimulatedWire | None = None
        self._powered = False
        self._replug: asyncio.TimerHandle | None = None

    async def open(self) -> Wire:
        """Open the port. Raises LinkError: no such port while unplugged, busy while open elsewhere."""
        if not self.plugged:
            raise link_error(LinkErrorKind.NO_SUCH_PORT, port=self.name)
        if self._wire is not None:
            raise link_error(LinkErrorKind.BUSY, port=self.name)
        boot_s = self._boot_s if self._resets_on_open or not self._powered else 0.0
        self._wire = SimulatedWire(self, latency_s=self._latency_s, boot_s=boot_s)
        if not self._powered:
            self.restart(RestartCause.POWER)
        elif self._resets_on_open:
            self.restart(RestartCause.EXTERNAL)
        if self.faults is None:
            return self._wire
        return FaultyWire(self._wire, self.faults, on_unplug=self._unplug_for_a_while)

    def unplug(self) -> None:
        """Pull the plug: the board loses its supply, an open wire is lost."""
        self.plugged = self._powered = False
        if self._wire is not None:
            self._wire.pulled()

    def plug(self) -> None:
        """Plug the board in again. It restarts when the port is opened."""
        self.plugged = True
        if self._replug is not None:
            self._replug.cancel()
            self._replug = None

    def restart(self, cause: RestartCause) -> None:
        """The board restarts now; its notice comes after the boot time, if the port is open."""
        self._powered = True
        notice = self.board.restart(cause, now_ms())
        if self._wire is not None:
            self._wire.begin_boot(notice)

    def press_button(self) -> None:
        """Press and release the step button."""
        said = self.board.press_button(now_ms())
        if self._wire is not None:
            self._wire.say(said)

    def pass_time(self) -> None:
        """Let the board see what time it is, port open or not."""
        said = self.board.tick(now_ms())
        if self._wire is not None:
            self._wire.say(said)

    def released(self, wire: SimulatedWire) -> None:
        """Called by a wire that is closed or lost."""
        if self._wire is wire:
            self._wire = None

    def _unplug_for_a_while(self) -> None:
        self.unplug()
        if self.faults is not None:
            loop = asyncio.get_running_loop()
            self._replug = loop.call_later(self.faults.profile.replug_after_s, self.plug)


class SimulatedWire:
    """One opening of a simulated port."""

    def __init__(self, owner: SimulatedPort, *, latency_s: float, boot_s: float) -> None:
        self.port = owner.name
        self._owner = owner
        self._latency_s = latency_s
        self._boot_s = boot_s
        self._loop = asyncio.get_running_loop()
        self._inbox = Inbox()
        self._deaf_until = 0.0
        self._to_board: deque[bytes] = deque()
        self._timers: set[asyncio.TimerHandle] = set()
        self._board_timer: asyncio.TimerHandle | None = None

    def write(self, data: bytes) -> None:
        """As `Wire.write`."""
        if self._inbox.end is not None:
            raise self._inbox.end
        self._to_board.append(data)
        if self._latency_s:
            self._later(self._latency_s, self._reach_board)
        else:
            self._reach_board()

    async def read(self) -> bytes:
        """As `Wire.read`."""
        return await self._inbox.get()

    async def close(self) -> None:
        """As `Wire.close`."""
        self._end(LinkErrorKind.CLOSED)

    # --- the board's side ---

    def say(self, data: bytes) -> None:
        """The board sends."""
        if data:
            if self._latency_s:
                self._later(self._latency_s, self._inbox.put, data)
            else:
                self._inbox.put(data)
        self._watch_board()

    def begin_boot(self, notice: bytes) -> None:
        """The board has restarted: it hears and says nothing for the boot time, then sends its notice."""
        self._to_board.clear()
        if self._boot_s:
            self._deaf_until = self._loop.time() + self._boot_s
            self._later(self._boot_s, self.say, notice)
        else:
            self.say(notice)

    def pulled(self) -> None:
        """The plug was pulled."""
        self._end(LinkErrorKind.VANISHED)

    # --- within ---

    def _reach_board(self) -> None:
        if self._to_board and self._inbox.end is None:
            data = self._to_board.popleft()
            if self._loop.time() >= self._deaf_until:
                self.say(self._owner.board.receive_data(data, now_ms()))

    def _watch_board(self) -> None:
        if self._board_timer is not None:
            self._board_timer.cancel()
            self._board_timer = None
        deadline = self._owner.board.next_deadline_ms()
        if deadline is not None and self._inbox.end is None:
            wait_s = max(deadline - now_ms(), 0.0) / 1000 + 0.001
            self._board_timer = self._loop.call_later(wait_s, self._owner.pass_time)

    def _later(self, delay_s: float, callback: object, *args: bytes) -> None:
        assert callable(callback)

        def run() -> None:
            self._timers.discard(handle)
            callback(*args)

        handle = self._loop.call_later(delay_s, run)
        self._timers.add(handle)

    def _end(self, kind: LinkErrorKind) -> None:
        self._inbox.fail(link_error(kind, port=self.port))
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
        if self._board_timer is not None:
            self._board_timer.cancel()
        self._owner.released(self)


def now_ms() -> float:
    """The simulated boards' clock: steady, ms."""
    return time.monotonic() * 1000


_BOARD_SETTINGS = frozenset({"pixels", "outputs", "line", "ceiling_ma"})
_PORT_SETTINGS = {"latency_ms": "latency_s", "boot_ms": "boot_s"}
_FAULT_SETTINGS = {f.name: f.type for f in fields(FaultProfile)}


def simulated_port(url: str) -> SimulatedPort:
    """A port from `simulated://?setting=number&…`. Raises LinkError.

    Settings: `pixels`, `outputs`, `line`, `ceiling_ma` of the board; `latency_ms`; `boot_ms` (the board restarts when
    the port is opened); the names of `FaultProfile` (yes is 1, no is 0) and `seed`.
    """
    board: dict[str, Any] = {}
    port: dict[str, Any] = {}
    faults: dict[str, Any] = {}
    for key, text in parse_qsl(urlsplit(url).query, keep_blank_values=True):
        try:
            if key in _BOARD_SETTINGS:
                board[key] = int(text)
            elif key in _PORT_SETTINGS:
                port[_PORT_SETTINGS[key]] = float(text) / 1000
            elif key == "seed":
                port[key] = int(text)
            elif key in _FAULT_SETTINGS:
                faults[key] = float(text) if _FAULT_SETTINGS[key] == "float" else int(text)
            else:
                raise link_error(LinkErrorKind.BAD_ADDRESS, port=url, detail=f"there is no setting {key!r}")
        except ValueError:
            raise link_error(LinkErrorKind.BAD_ADDRESS, port=url, detail=f"{key}={text!r} is not a number") from None
    try:
        config = BoardConfig(**board)
    except ValueError as error:
        raise link_error(LinkErrorKind.BAD_ADDRESS, port=url, detail=str(error)) from error
    return SimulatedPort(
        ProtocolBoard(config),
        name=url,
        resets_on_open="boot_s" in port,
        faults=FaultProfile(**faults) if faults else None,
        **port,
    )
