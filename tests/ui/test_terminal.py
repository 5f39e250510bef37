"""Writing to a terminal that takes nothing, or is gone: nobody waits, nothing spins."""

from __future__ import annotations

import asyncio
import os
import pty
import select
import signal
import sys
import threading
import time
from collections.abc import Iterator

import pytest
from textual.app import App

from probe.ui.terminal import MOST_WAITING, Outlet, TerminalDriver


class Pipe:
    """Somewhere to write to, and what was heard of it."""

    def __init__(self) -> None:
        self.read_end, self.write_end = os.pipe()
        self.gone, self.relieved = threading.Event(), threading.Event()
        self.outlet = Outlet(self.write_end, encoding="utf-8", on_gone=self.gone.set, on_relief=self.relieved.set)

    def read(self, size: int) -> bytes:
        data = b""
        while len(data) < size:
            data += os.read(self.read_end, size - len(data))
        return data


@pytest.fixture
def pipe() -> Iterator[Pipe]:
    made = Pipe()
    yield made
    made.outlet.close()
    os.close(made.read_end)
    made.outlet.drain(1)
    os.close(made.write_end)


def test_what_is_put_is_written_in_order(pipe: Pipe) -> None:
    words = [f"Kelp Forest {number} ✓\n" for number in range(500)]
    for word in words:
        pipe.outlet.put(word)
    assert pipe.read(len("".join(words).encode())) == "".join(words).encode()
    assert pipe.outlet.drain(1)


def test_a_terminal_that_takes_nothing_holds_nobody_up_and_is_drawn_anew_later(pipe: Pipe) -> None:
    begin = time.monotonic()
    piece = "k" * 100_000
    for _ in range(3 * MOST_WAITING // len(piece)):
        pipe.outlet.put(piece)
    assert time.monotonic() - begin < 1
    assert not pipe.outlet.drain(0.05)
    assert not pipe.relieved.is_set()
    taken, end = 0, time.monotonic() + 10
    while not (pipe.relieved.is_set() and pipe.outlet.drain(0)):
        if select.select([pipe.read_end], [], [], 0.05)[0]:
            taken += len(os.read(pipe.read_end, 1 << 20))
        assert time.monotonic() < end, "the terminal takes text again, and nobody was told"
    assert taken <= MOST_WAITING + 2 * len(piece)
    assert not pipe.gone.is_set()


def test_a_terminal_that_is_gone_is_told_once_and_takes_the_rest_in_silence(pipe: Pipe) -> None:
    os.close(pipe.read_end)
    pipe.read_end = os.open(os.devnull, os.O_RDONLY)
    pipe.outlet.put("anybody there?")
    assert pipe.gone.wait(2)
    pipe.gone.clear()
    for _ in range(100):
        pipe.outlet.put("anybody there?")
    assert pipe.outlet.drain(1)
    assert not pipe.gone.is_set()


def test_a_descriptor_that_somebody_made_non_blocking(pipe: Pipe) -> None:
    os.set_blocking(pipe.write_end, False)
    text = "m" * 300_000
    pipe.outlet.put(text)
    assert pipe.read(len(text)) == text.encode()
    assert not pipe.gone.is_set()


class Hearer(App[None]):
    """Counts how often it hears that the terminal is gone."""

    is_ending = False
    times = 0

    def terminal_gone(self) -> None:
        self.times += 1


async def test_the_reading_thread_ends_where_its_input_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = pty.openpty()
    with os.fdopen(slave) as terminal:
        monkeypatch.setattr(signal, "signal", lambda *given: None)  # the driver sets handlers for a stop
        monkeypatch.setattr(sys, "__stdin__", terminal)
        app = Hearer()
        driver = TerminalDriver(app)
        reading = asyncio.create_task(asyncio.to_thread(driver.run_input_thread))
        await asyncio.sleep(0.05)
        assert not reading.done()
        os.close(master)
        try:
            await asyncio.wait_for(reading, 3)
        finally:
            driver.exit_event.set()
        await asyncio.sleep(0.01)
        assert driver.gone
        assert app.times == 1
        driver.run_input_thread()  # read again, it is no news
        await asyncio.sleep(0.01)
        assert app.times == 1
