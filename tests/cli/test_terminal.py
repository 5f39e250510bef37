"""The real program in a real pseudo-terminal."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pexpect
import pyte
import pytest

from probe.cli.leaving import LIMIT_S
from probe.document.file import load_map
from tests.support.settings import settings_in

ROOT = Path(__file__).resolve().parent.parent.parent


def listen_to_signals() -> None:
    """In the program's process: signals as a shell in the foreground leaves them, whatever the tests were started from."""
    for number in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)


class Terminal:
    """The program, and what its terminal shows."""

    def __init__(self, arguments: list[str], folder: Path, size: tuple[int, int], **more: str) -> None:
        columns, rows = size
        environment = {
            **os.environ,
            "PLAYFIELD_PROBE_SETTINGS": settings_in(folder),
            "PYTHONPATH": str(ROOT),
            "TERM": "xterm-256color",
            **more,
        }
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.raw = b""
        self.child = pexpect.spawn(
            sys.executable,
            self.command(arguments),
            cwd=str(folder),
            env=environment,
            dimensions=(rows, columns),
            timeout=20,
            preexec_fn=listen_to_signals,
        )

    def command(self, arguments: list[str]) -> list[str]:
        """What Python is started with."""
        return ["-m", "probe", *arguments]

    def read(self, seconds: float = 0.2) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                data = self.child.read_nonblocking(65_536, timeout=0.05)
            except (pexpect.TIMEOUT, pexpect.EOF):
                if not self.child.isalive():
                    break
                continue
            self.raw += data
            self.stream.feed(data)
        return "\n".join(self.screen.display)

    def until(self, text: str, seconds: float = 20) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            shown = self.read(0.1)
            if text in shown:
                return shown
        raise AssertionError(f"{text!r} did not appear:\n" + "\n".join(self.screen.display))


@contextmanager
def opened(arguments: list[str], folder: Path, size: tuple[int, int] = (80, 24), **more: str) -> Iterator[Terminal]:
    terminal = Terminal(arguments, folder, size, **more)
    try:
        yield terminal
    finally:
        if terminal.child.isalive():
            terminal.child.kill(signal.SIGKILL)
        terminal.child.close()


def test_demo_opens_answers_and_leaves(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "kept.json"], tmp_path) as terminal:
        shown = terminal.until("LIT")
        assert "44 (45th) of 84" in shown
        terminal.child.send("\r")
        terminal.until("45 (46th) of 84   ● LIT")
        terminal.child.sendcontrol("q")
        terminal.child.expect(pexpect.EOF)
        terminal.child.wait()
        assert terminal.child.exitstatus == 0
    map_ = load_map(tmp_path / "kept.json")
    assert map_.bookmark is not None
    assert map_.bookmark.number == 45


def test_no_colour_when_it_is_not_wanted(tmp_path: Path) -> None:
    with opened(["demo"], tmp_path, NO_COLOR="1") as terminal:
        terminal.until("LIT")
        colours = {cell.fg for line in terminal.screen.buffer.values() for cell in line.values()}
        grey = {c for c in colours if c == "default" or (len(c) == 6 and c[0:2] == c[2:4] == c[4:6])}
        assert colours <= grey | {"white", "black"}, colours


@pytest.mark.slow
def test_a_hang_up_loses_nothing(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "kept.json"], tmp_path) as terminal:
        terminal.until("LIT")
        terminal.child.send("Otter grotto\r")
        terminal.until("45 (46th)")
        terminal.child.kill(signal.SIGHUP)
        terminal.child.expect(pexpect.EOF)  # a terminal that hangs up takes what is still written to it
        terminal.child.wait()
    map_ = load_map(tmp_path / "kept.json")
    assert any(place.label == "Otter grotto" for place in map_.places)


@pytest.mark.slow
def test_a_tiny_terminal_and_back(tmp_path: Path) -> None:
    with opened(["demo"], tmp_path) as terminal:
        terminal.until("LIT")
        terminal.child.setwinsize(5, 20)
        terminal.screen.resize(5, 20)
        terminal.read(0.5)
        terminal.child.setwinsize(24, 80)
        terminal.screen.resize(24, 80)
        shown = terminal.until("LIT")
        assert "Traceback" not in shown
        assert terminal.child.isalive()


@pytest.mark.slow
def test_a_port_that_is_not_there_is_told_on_screen(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "kept.json"], tmp_path) as terminal:
        terminal.until("LIT")
        terminal.child.sendcontrol("q")
        terminal.child.expect(pexpect.EOF)
    with opened(["walk", "kept.json", "--port", str(tmp_path / "no-such-port")], tmp_path) as terminal:
        shown = terminal.until("there is no port")
        assert "LIT" not in shown
        assert "Traceback" not in shown


def test_what_is_gone_on_with_inside_is_not_ended_by_the_watch_over_what_was_left(tmp_path: Path) -> None:
    with opened(["demo", "--new"], tmp_path) as terminal:
        terminal.until("Which machine")
        terminal.child.send("\x1b")
        terminal.until("Home")
        terminal.read(LIMIT_S + 1.0)
        assert terminal.child.isalive(), "it ended, and left its picture on the terminal"
        terminal.child.kill(signal.SIGHUP)  # and a signal is heard in it as before
        terminal.child.expect(pexpect.EOF)
        terminal.child.wait()
        assert terminal.child.exitstatus == 128 + signal.SIGHUP
