"""A game beside a simulated board: its lamp test, and targets that can be pressed, so that all can be tried without hardware."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

from probe.link.simulated_wire import SimulatedPort

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
