"""Many steps without a restart: every one lit and answered, memory flat on both ends. SOAK_STEPS=100000 makes it long."""

from __future__ import annotations

import os
import random
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from device_protocol.events import Identified, OrderAnswered
from device_protocol.orders import (
    Identify,
    LightPixel,
    LightRange,
    Order,
    ReadOutputState,
    SetupOutput,
)
from device_protocol.session import HostSession
from device_protocol.values import Colour
from tests.firmware.adapters import AvrUnderTest, HostUnderTest
from tests.firmware.host_board import HostBoard
from tests.firmware.simulated_avr import SimulatedAvr

STEPS = int(os.environ.get("SOAK_STEPS", "1500"))
PIXELS = 84
WARM_UP = 400
NOISE = (b"\n", b"\x00\xff\x80\n", b">00 light 0 1 000000*0000\n", b"x" * 300 + b"\n", b">4")


def orders(rng: random.Random) -> tuple[Order, bytes | None]:
    """The next order, and the frame it brings about."""
    colour = Colour(rng.choice((16, 32)), 0, rng.choice((0, 16)))
    kind = rng.random()
    if kind < 0.03:
        return Identify(), None
    if kind < 0.06:
        return ReadOutputState(0), None
    if kind < 0.1:
        first = rng.randrange(PIXELS)
        count = rng.randrange(1, PIXELS - first + 1)
        lit = colour.wire("GRB") * count
        return LightRange(0, first, count, colour), bytes(3 * first) + lit + bytes(3 * (PIXELS - first - count))
    at = rng.randrange(PIXELS)
    return LightPixel(0, at, colour), bytes(3 * at) + colour.wire("GRB") + bytes(3 * (PIXELS - at - 1))


class Soak:
    """A session on a board that takes bytes and gives lines."""

    def __init__(self, board: AvrUnderTest | HostUnderTest) -> None:
        self.board = board
        self.rng = random.Random(17)
        self.now = 0.0
        self.session = HostSession()
        self.noises = 0
        self.ask(self.session.connect(self.now))
        self.order(SetupOutput(0, PIXELS, "GRB", 2000))

    def ask(self, data: bytes) -> list[object]:
        """Send and hear until something comes of it."""
        self.board.send(data)
        heard: list[object] = []
        for _ in range(50):
            line = self.board.receive_line(400)
            self.now += 400 if line is None else 3
            told = [] if line is None else self.session.receive_data(line + b"\n", self.now)
            heard.append((line, *told))
            if done := [each for each in told if isinstance(each, (Identified, OrderAnswered))]:
                return list(done)
            again, _ = self.session.tick(self.now)
            if again:
                self.board.send(again)
        raise AssertionError(f"no answer: {heard[:6]}")

    def order(self, order: Order) -> None:
        """Give an order; it is answered."""
        (told,) = self.ask(self.session.send(order, self.now))
        assert isinstance(told, OrderAnswered), told

    def step(self) -> None:
        """One order, now and then after noise; what comes out is what was asked for."""
        if self.rng.random() < 0.01:
            self.noises += 1
            self.board.send(self.rng.choice(NOISE))
        order, frame = orders(self.rng)
        self.order(order)
        if frame is not None and self.rng.random() < 0.1:
            assert self.board.last_frame(0) == frame


def run(soak: Soak, memory: Callable[[], int], *, most_growth: int) -> None:
    """Step on; memory in use after the first steps is memory in use after all of them."""
    for _ in range(min(WARM_UP, STEPS)):
        soak.step()
    before = memory()
    tracemalloc.start()
    ours = tracemalloc.get_traced_memory()[0]
    for _ in range(max(0, STEPS - WARM_UP)):
        soak.step()
    grown, ours = memory() - before, tracemalloc.get_traced_memory()[0] - ours
    tracemalloc.stop()
    print(f"{STEPS} steps, {soak.noises} noises: board {grown:+} bytes, this end {ours:+} bytes")
    assert grown <= most_growth
    assert ours < 300_000
    assert soak.noises or STEPS < 100


@pytest.mark.slow
@pytest.mark.timeout(7_200)
def test_the_avr_firmware_keeps_its_stack(avr_elf: Path) -> None:
    with SimulatedAvr(avr_elf, paused=True) as chip:
        assert chip.receive_line(100) is not None
        soak = Soak(AvrUnderTest(chip))
        # the stack's depth: what it has ever reached, so that it can only grow; 32 bytes for an unlucky interrupt
        run(soak, lambda: -int(chip.status()["stack_free"]), most_growth=32)
        assert chip.status()["stack_free"] >= 128


@pytest.mark.timeout(7_200)
def test_the_host_build_keeps_its_memory(host_program: Path) -> None:
    with HostBoard(host_program) as board:
        soak = Soak(HostUnderTest(board))
        process = psutil.Process(board._process.pid)
        run(soak, lambda: int(process.memory_info().rss), most_growth=2_000_000)
