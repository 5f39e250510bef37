"""Boards and lines that never do right, against the whole program: it says so, keeps to its memory, and leaves when told.

`HOSTILE_S` is how long each goes on (20 s): `python -m tests.hostile --long boards` takes ten minutes for each.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import random
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.framing import seal
from device_protocol.orders import RestartCause
from probe.cli.outcome import Exit
from probe.document.file import load_map
from tests.cli.test_endings import GRACE_S, QUIT, Launch, Program, program
from tests.link.far_ends import now_ms
from tests.support.blank import blank_map_file

SECONDS = float(os.environ.get("HOSTILE_S", "20"))
SETTLED_S = 5.0
FILLING_BYTES = 8_000_000
GROWTH_BYTES = 1_000_000
LEAVES_S = 2.0
PIXELS = 12

Talk = Callable[[socket.socket, threading.Event], None]


def board() -> SimulatedBoard:
    return SimulatedBoard(
        BoardConfig(pixels=PIXELS), [ChainWiring.of_places([f"spot {number}" for number in range(PIXELS)])]
    )


def answering(peer: socket.socket, stop: threading.Event, bend: Callable[[SimulatedBoard, bytes], bytes]) -> None:
    """A board whose every turn of 20 ms goes through `bend` (with what has come, often nothing)."""
    behind = board()
    peer.settimeout(0.02)
    while not stop.is_set():
        data = b""
        with contextlib.suppress(TimeoutError):
            data = peer.recv(4096)
            if not data:
                return
        if said := bend(behind, data):
            peer.sendall(said)


def restarts_for_ever(peer: socket.socket, stop: threading.Event) -> None:
    last = [0.0]

    def bend(behind: SimulatedBoard, data: bytes) -> bytes:
        said = behind.receive_data(data, now_ms())
        if now_ms() - last[0] > 120:
            last[0] = now_ms()
            said += behind.restart(RestartCause.BROWNOUT, now_ms())
        return said

    answering(peer, stop, bend)


def restarts_with_each_reply(peer: socket.socket, stop: threading.Event) -> None:
    def bend(behind: SimulatedBoard, data: bytes) -> bytes:
        said = behind.receive_data(data, now_ms())
        return said + behind.restart(RestartCause.WATCHDOG, now_ms()) if said else said

    answering(peer, stop, bend)


def talks_nonsense(peer: socket.socket, stop: threading.Event) -> None:
    """A megabyte a second."""
    dice = random.Random(3)
    while not stop.is_set():
        peer.sendall(dice.randbytes(20_000))
        stop.wait(0.02)


def one_byte_a_second(peer: socket.socket, stop: threading.Event) -> None:
    for byte in seal("<01 ok proto=1 board=slow build=1 ") * 1000:
        if stop.wait(1.0):
            return
        peer.sendall(bytes([byte]))


def notices_without_end(peer: socket.socket, stop: threading.Event) -> None:
    """As many as a line of 115,200 baud carries."""

    def bend(behind: SimulatedBoard, data: bytes) -> bytes:
        flood = b"".join(
            seal(f"~{number % 256:02X} {word}")
            for number in range(5)
            for word in ("sparkle 7", "inputs 1 FF", "button 1")
        )
        return flood + behind.receive_data(data, now_ms())

    answering(peer, stop, bend)


def wrong_checksums(peer: socket.socket, stop: threading.Event) -> None:
    def bend(behind: SimulatedBoard, data: bytes) -> bytes:
        said = behind.receive_data(data, now_ms())
        return b"".join(line[:-4] + b"0000\n" for line in said.split(b"\n")[:-1])

    answering(peer, stop, bend)


def half_open(peer: socket.socket, stop: threading.Event) -> None:
    """Takes nothing and says nothing, and the connection stays."""
    stop.wait()


def sound(peer: socket.socket, stop: threading.Event) -> None:
    answering(peer, stop, lambda behind, data: behind.receive_data(data, now_ms()) if data else behind.tick(now_ms()))


BOARDS: dict[str, tuple[Talk, str]] = {
    "sound": (sound, "LIT"),
    "restarts every 120 ms": (restarts_for_ever, "restarted"),
    "restarts in the same write as each reply": (restarts_with_each_reply, "restarted"),
    "a megabyte of noise a second": (talks_nonsense, "waiting for the board|nothing answers|no sense|not a board"),
    "one byte a second": (one_byte_a_second, "waiting for the board|nothing answers"),
    "notices without end": (notices_without_end, "LIT"),
    "wrong checksums for ever": (wrong_checksums, "waiting for the board|nothing answers|damaged"),
    "half-open": (half_open, "waiting for the board|nothing answers"),
}


@contextlib.contextmanager
def server(talk: Talk) -> Iterator[str]:
    """The URL of a port behind which `talk` speaks to each that connects."""
    stop = threading.Event()

    def serve(peer: socket.socket) -> None:
        with contextlib.suppress(OSError), peer:
            talk(peer, stop)

    def accept(listening: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while True:
                peer, _ = listening.accept()
                threading.Thread(target=serve, args=(peer,), daemon=True).start()

    with socket.create_server(("127.0.0.1", 0)) as listening:
        threading.Thread(target=accept, args=(listening,), daemon=True).start()
        try:
            yield f"socket://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            stop.set()
            listening.shutdown(socket.SHUT_RDWR)


def memory_bytes(started: Program) -> int:
    """What the program holds in memory now (Linux)."""
    pages = int(Path(f"/proc/{started.process.pid}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def until_one(started: Program, words: str) -> None:
    for _ in range(400):
        shown = started.read(0.05)
        if any(word in shown for word in words.split("|")):
            return
    raise AssertionError(f"none of {words!r} on the screen:\n{shown}")


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.timeout(7_200)
@pytest.mark.parametrize("name", BOARDS)
def test_a_state_on_the_screen_the_same_memory_and_gone_when_told(name: str, tmp_path: Path) -> None:
    talk, words = BOARDS[name]
    path = blank_map_file(tmp_path / "kelp.json", pixels=PIXELS)
    with server(talk) as port, program(tmp_path, Launch(("walk", str(path), "--port", port))) as started:
        until_one(started, words)
        started.read(SETTLED_S)
        held = [memory_bytes(started)]
        for read_s in (0.05, 0.2):  # what is read late and caches that fill belong to the first half: quick keys
            end = time.monotonic() + SECONDS / 2
            while time.monotonic() < end:
                started.send("\x1b[B\x1b[A")
                started.read(read_s)
            held.append(memory_bytes(started))
        grown = [after - before for before, after in itertools.pairwise(held)]
        print(f"{name}: {grown[0] / 1e6:+.1f} MB, then {grown[1] / 1e6:+.1f} MB, in {SECONDS:.0f} s")
        assert grown[0] < FILLING_BYTES
        assert grown[1] < GROWTH_BYTES
        until_one(started, words)
        assert "Traceback" not in started.said
        started.send(QUIT)
        assert started.ends(LEAVES_S + GRACE_S) == Exit.FINE
    assert load_map(path).chains[0].length == PIXELS
