"""A board inside this program, behind a port that can be plugged, unplugged, slow and faulty; and a game beside it."""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import fields
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.orders import RestartCause
from probe.link.errors import LinkErrorKind, link_error
from probe.link.faulty import FaultProfile, Faults, FaultyWire
from probe.link.ports import address_fault
from probe.link.wire import Inbox, Wire


class SimulatedPort:
    """A port with a board on it. `open` is what `BoardLink` takes as `open_wire`.

    `latency_s` is the delay in each direction. Whether opening restarts the board, and how long it is deaf then, is the
    board's own. With a fault profile that unplugs, the plug is back after `replug_after_s`; `unplug` is for good.
    """

    def __init__(
        self,
        board: SimulatedBoard,
        *,
        name: str = "simulated://",
        latency_s: float = 0.0,
        faults: FaultProfile | None = None,
        seed: int = 0,
    ) -> None:
        self.board = board
        self.name = name
        self.plugged = True
        self.faults = Faults(faults, seed=seed) if faults is not None else None
        self._latency_s = latency_s
        self._wire: SimulatedWire | None = None
        self._replug: asyncio.TimerHandle | None = None
        board.restart(RestartCause.POWER, now_ms())

    async def open(self) -> Wire:
        """Open the port. Raises LinkError: no such port while unplugged, busy while open elsewhere."""
        if not self.plugged:
            raise link_error(LinkErrorKind.NO_SUCH_PORT, port=self.name)
        if self._wire is not None:
            raise link_error(LinkErrorKind.BUSY, port=self.name)
        self._wire = SimulatedWire(self, latency_s=self._latency_s)
        self._wire.say(self.board.open_port(now_ms()))
        if self.faults is None:
            return self._wire
        return FaultyWire(self._wire, self.faults, on_unplug=self._unplug_for_a_while)

    def unplug(self) -> None:
        """Pull the plug: the board loses its supply and its light, an open wire is lost."""
        self.plugged = False
        self.board.restart(RestartCause.POWER, now_ms())
        if self._wire is not None:
            self._wire.pulled()

    def plug(self) -> None:
        """Plug the board in again."""
        if self._replug is not None:
            self._replug.cancel()
            self._replug = None
        if not self.plugged:
            self.plugged = True
            self.board.restart(RestartCause.POWER, now_ms())

    def restart(self, cause: RestartCause) -> None:
        """The board restarts with the port open, as after a sag of its supply or its reset button."""
        self._say(self.board.restart(cause, now_ms()))

    def press_button(self) -> None:
        """Press and release the step button."""
        if self.plugged:
            self._say(self.board.press_button(now_ms()))

    def set_input(self, number: int, on: bool) -> None:
        """The game switches a lamp on or off."""
        if self.plugged:
            self._say(self.board.set_input(number, on, now_ms()))

    def pass_time(self) -> None:
        """Let the board see what time it is, port open or not."""
        if self.plugged:
            self._say(self.board.tick(now_ms()))

    def released(self, wire: SimulatedWire) -> None:
        """Called by a wire that is closed or lost."""
        if self._wire is wire:
            self._wire = None

    def _say(self, data: bytes) -> None:
        if self._wire is not None:
            self._wire.say(data)

    def _unplug_for_a_while(self) -> None:
        self.unplug()
        if self.faults is not None:
            loop = asyncio.get_running_loop()
            self._replug = loop.call_later(self.faults.profile.replug_after_s, self.plug)


class SimulatedWire:
    """One opening of a simulated port."""

    def __init__(self, owner: SimulatedPort, *, latency_s: float) -> None:
        self.port = owner.name
        self._owner = owner
        self._latency_s = latency_s
        self._loop = asyncio.get_running_loop()
        self._inbox = Inbox()
        self._on_the_way: deque[Callable[[], None]] = deque()
        self._board_timer: asyncio.TimerHandle | None = None

    def write(self, data: bytes) -> None:
        """As `Wire.write`."""
        if self._inbox.end is not None:
            raise self._inbox.end
        self._after_latency(lambda: self.say(self._owner.board.receive_data(data, now_ms())))

    async def read(self) -> bytes:
        """As `Wire.read`."""
        return await self._inbox.get()

    async def close(self) -> None:
        """As `Wire.close`."""
        self._end(LinkErrorKind.CLOSED)

    def say(self, data: bytes) -> None:
        """The board sends `data`, perhaps nothing."""
        if data:
            self._after_latency(lambda: self._inbox.put(data))
        self._watch_board()

    def pulled(self) -> None:
        """The plug was pulled."""
        self._end(LinkErrorKind.VANISHED)

    def _after_latency(self, arrive: Callable[[], None]) -> None:
        if not self._latency_s:
            arrive()
            return
        self._on_the_way.append(arrive)  # taken from the front: bytes never overtake each other
        self._loop.call_later(self._latency_s, self._arrive)

    def _arrive(self) -> None:
        if self._on_the_way:
            self._on_the_way.popleft()()

    def _watch_board(self) -> None:
        if self._board_timer is not None:
            self._board_timer.cancel()
            self._board_timer = None
        deadline = self._owner.board.next_deadline_ms()
        if deadline is not None and self._inbox.end is None:
            wait_s = max(deadline - now_ms(), 0.0) / 1000 + 0.001
            self._board_timer = self._loop.call_later(wait_s, self._owner.pass_time)

    def _end(self, kind: LinkErrorKind) -> None:
        self._inbox.fail(link_error(kind, port=self.port))
        self._on_the_way.clear()
        if self._board_timer is not None:
            self._board_timer.cancel()
        self._owner.released(self)


def now_ms() -> float:
    """The simulated boards' clock: steady, ms."""
    return time.monotonic() * 1000


_BOARD_SETTINGS = frozenset(
    {"pixels", "outputs", "line", "ceiling_ma", "table_bytes", "lamps", "groups", "play_pixels", "inputs"}
)
_FAULT_SETTINGS = {f.name: f.type for f in fields(FaultProfile)}


def simulated_port(url: str) -> SimulatedPort:
    """A port from `simulated://?setting=number&…`. Raises LinkError.

    Settings: `pixels`, `outputs`, `line`, `ceiling_ma`, `table_bytes`, `lamps`, `groups`, `play_pixels`, `inputs` of the
    board; `latency_ms`; `boot_ms` (the board restarts when
    the port is opened); the names of `FaultProfile` (yes is 1, no is 0) and `seed`.
    """
    if (fault := address_fault(url)) is not None:
        raise link_error(LinkErrorKind.BAD_ADDRESS, port=url, detail=fault)
    board: dict[str, Any] = {}
    port: dict[str, Any] = {}
    faults: dict[str, Any] = {}
    boot_ms: float | None = None
    for key, text in parse_qsl(urlsplit(url).query, keep_blank_values=True):
        try:
            if key in _BOARD_SETTINGS:
                board[key] = int(text)
            elif key == "latency_ms":
                port["latency_s"] = float(text) / 1000
            elif key == "boot_ms":
                boot_ms = float(text)
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
    chain = ChainWiring.of_places([f"pixel {number}" for number in range(config.pixels)], byte_order=config.byte_order)
    made = SimulatedBoard(config, [chain] * config.outputs, resets_on_open=boot_ms is not None, boot_ms=boot_ms or 0.0)
    return SimulatedPort(made, name=url, faults=FaultProfile(**faults) if faults else None, **port)


PRESSED_S = 1.5
"""How long a lamp stays on after its target is pressed."""
TEST_STEP_S = 0.4
"""How long the lamp test keeps each lamp on."""


class SimulatedGame:
    """Switches the board's inputs as a game's lamp outputs would. `lamps`: the numbers of its lamps, in the test's order.

    Use it on one running event loop.
    """

    def __init__(self, port: SimulatedPort, lamps: Iterable[int]) -> None:
        inputs = port.board.config.inputs
        self._port = port
        self._lamps = tuple(lamp for lamp in lamps if 1 <= lamp <= inputs)
        self._off: dict[int, asyncio.TimerHandle] = {}
        self._test: asyncio.TimerHandle | None = None

    def press(self, lamp: int) -> None:
        """The target with this lamp is pressed: its lamp is on for a while. A lamp the game does not have changes nothing."""
        if lamp not in self._lamps:
            return
        if (running := self._off.pop(lamp, None)) is not None:
            running.cancel()
        self._port.set_input(lamp, True)
        self._off[lamp] = asyncio.get_running_loop().call_later(PRESSED_S, self._release, lamp)

    def lamp_test(self) -> None:
        """Every lamp on and off, one after another; called again while it runs, it stops."""
        if self._test is not None:
            self.stop()
        else:
            self._step(0)

    def stop(self) -> None:
        """All lamps off, and nothing more happens by itself."""
        if self._test is not None:
            self._test.cancel()
            self._test = None
        for handle in self._off.values():
            handle.cancel()
        self._off.clear()
        for lamp in self._lamps:
            self._port.set_input(lamp, False)

    def _release(self, lamp: int) -> None:
        self._off.pop(lamp, None)
        self._port.set_input(lamp, False)

    def _step(self, at: int) -> None:
        if at:
            self._port.set_input(self._lamps[at - 1], False)
        if at >= len(self._lamps):
            self._test = None
            return
        self._port.set_input(self._lamps[at], True)
        self._test = asyncio.get_running_loop().call_later(TEST_STEP_S, self._step, at + 1)
