"""A wire with faults on purpose: for tests, and for showing what the program does about them. The same seed gives the
same faults, as long as the same bytes pass."""

from __future__ import annotations

import asyncio
import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from probe.link.errors import LinkError
from probe.link.wire import Wire

_LF = 0x0A


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultProfile:
    """What goes wrong. Rates are probabilities from 0 to 1 and hold for both directions alike."""

    one_byte_at_a_time: bool = False
    lost_byte_rate: float = 0.0
    """For each byte."""
    flipped_bit_rate: float = 0.0
    """For each bit."""
    duplicated_line_rate: float = 0.0
    """For each line: it comes twice."""
    silence_every_lines: int = 0
    """After so many orders nothing passes for `silence_s`; 0: never."""
    silence_s: float = 2.0
    silence_holds_back: bool = False
    """True: bytes of a silence come late, all at once; False: they are lost."""
    unplug_every_lines: int = 0
    """In the middle of each so-many-th order the plug is pulled; 0: never."""
    replug_after_s: float = 0.5


class Faults:
    """The course of the faults over all wires of one port: its chances and counts go on after a replug."""

    def __init__(self, profile: FaultProfile, *, seed: int = 0) -> None:
        self.profile = profile
        self._chance = {way: random.Random(f"{seed} {way}") for way in ("in", "out")}
        self._lines = 0
        self._line = {"in": bytearray(), "out": bytearray()}
        self.silent_until_s = 0.0
        self.count = 0
        """Faults made so far."""

    def spoil(self, way: str, data: bytes) -> bytes:
        """What comes out for `data` in direction `way` ("in" is towards the host)."""
        chance, profile, held = self._chance[way], self.profile, self._line[way]
        out = bytearray()
        for byte in data:
            if profile.lost_byte_rate and chance.random() < profile.lost_byte_rate:
                self.count += 1
                continue
            spoilt = byte
            if profile.flipped_bit_rate:
                for bit in range(8):
                    if chance.random() < profile.flipped_bit_rate:
                        self.count += 1
                        spoilt ^= 1 << bit
            out.append(spoilt)
            held.append(spoilt)
            if spoilt == _LF:
                if profile.duplicated_line_rate and chance.random() < profile.duplicated_line_rate:
                    self.count += 1
                    out += held
                held.clear()
        return bytes(out)

    def order_passes(self, data: bytes, now_s: float) -> bool:
        """Count the orders in `data`, begin a silence when it is due. True: the plug is to be pulled in this order."""
        profile = self.profile
        if now_s < self.silent_until_s:
            return False  # else asking again would make the silence endless
        before, self._lines = self._lines, self._lines + data.count(b">")

        def due(every: int) -> bool:
            return bool(every) and self._lines // every > before // every

        if due(profile.silence_every_lines):
            self.count += 1
            self.silent_until_s = now_s + profile.silence_s
        if due(profile.unplug_every_lines):
            self.count += 1
            return True
        return False


class FaultyWire:
    """`inner` with faults. `on_unplug` is called in the middle of an order when the profile asks for it."""

    def __init__(self, inner: Wire, faults: Faults, *, on_unplug: Callable[[], None] | None = None) -> None:
        self._inner = inner
        self._faults = faults
        self._on_unplug = on_unplug
        self._pieces: deque[bytes] = deque()
        self._late: deque[bytes] = deque()
        self._late_timer: asyncio.TimerHandle | None = None
        self._loop = asyncio.get_running_loop()

    @property
    def port(self) -> str:
        """As the wire within."""
        return self._inner.port

    def write(self, data: bytes) -> None:
        """As `Wire.write`, with faults."""
        now = self._loop.time()
        if self._faults.order_passes(data, now) and self._on_unplug is not None:
            self._hand_on(self._faults.spoil("out", data[: len(data) // 2]))
            self._on_unplug()
            return
        data = self._faults.spoil("out", data)
        if now < self._faults.silent_until_s:
            if self._faults.profile.silence_holds_back:
                self._late.append(data)
                if self._late_timer is None:
                    self._late_timer = self._loop.call_at(self._faults.silent_until_s, self._send_late)
            return
        self._hand_on(data)

    async def read(self) -> bytes:
        """As `Wire.read`, with faults."""
        while not self._pieces:
            data = self._faults.spoil("in", await self._inner.read())
            left_s = self._faults.silent_until_s - self._loop.time()
            if left_s > 0:
                if not self._faults.profile.silence_holds_back:
                    continue
                self._pieces.append(data)  # kept here, so that cancelling loses nothing
                await asyncio.sleep(left_s)
            elif self._faults.profile.one_byte_at_a_time:
                self._pieces.extend(data[i : i + 1] for i in range(len(data)))
            elif data:
                self._pieces.append(data)
        return self._pieces.popleft()

    async def close(self) -> None:
        """As `Wire.close`."""
        if self._late_timer is not None:
            self._late_timer.cancel()
        await self._inner.close()

    def _hand_on(self, data: bytes) -> None:
        if self._faults.profile.one_byte_at_a_time:
            for i in range(len(data)):
                self._inner.write(data[i : i + 1])
        elif data:
            self._inner.write(data)

    def _send_late(self) -> None:
        self._late_timer = None
        try:
            while self._late:
                self._hand_on(self._late.popleft())
        except LinkError:  # raised by `read`
            self._late.clear()
