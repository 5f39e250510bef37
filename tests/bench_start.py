"""Start-up, as ratios: `--version` to a bare interpreter, the demo's first picture to that of an empty Textual program.

Each pair is measured by turns on the same terminal, bytecode warm, and its medians are compared: a busy machine slows both.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable

import pexpect

from tests.support.settings import settings_in

_EMPTY_APP = """
from textual.app import App
from textual.widgets import Static
class Empty(App):
    def compose(self):
        yield Static("ready-to-see")
Empty().run()
"""


def _environment() -> dict[str, str]:
    """This program's, where compiled modules are kept: both sides are started with warm bytecode."""
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def _ended_ms(*arguments: str) -> float:
    begun = time.monotonic()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, env=_environment())
    return (time.monotonic() - begun) * 1000


def _first_picture_ms(folder: str, text: str, *arguments: str) -> float:
    environment = {
        **_environment(),
        "PLAYFIELD_PROBE_SETTINGS": settings_in(folder),
        "TERM": "xterm-256color",
        "COLUMNS": "80",
        "LINES": "24",
    }
    begun = time.monotonic()
    child = pexpect.spawn(
        sys.executable, list(arguments), env=environment, dimensions=(24, 80), encoding="utf-8", timeout=30
    )
    child.expect_exact(text)
    taken = (time.monotonic() - begun) * 1000
    child.sendcontrol("q")
    child.expect(pexpect.EOF)
    child.close()
    return taken


AIMS_EMPTY_MS = 160
"""What the empty Textual program took on the machine on which aims in milliseconds were set: measured there once."""


def _beside(name: str, ours: Callable[[], float], other: str, theirs: Callable[[], float], rounds: int) -> float:
    ours()  # bytecode
    theirs()
    pairs = [(ours(), theirs()) for _ in range(rounds)]
    mine, base = (statistics.median(values) for values in zip(*pairs, strict=True))
    print(f"{name:<40} {mine:6.0f} ms   {other:<28} {base:6.0f} ms   ratio {mine / base:.2f}   n={rounds}")
    return float(base)


def run(argv: list[str]) -> int:
    """Print both ratios."""
    rounds = 3 if "--quick" in argv else 9
    with tempfile.TemporaryDirectory() as folder:
        _beside(
            "--version",
            lambda: _ended_ms("-m", "probe", "--version"),
            "bare interpreter",
            lambda: _ended_ms("-c", "pass"),
            rounds,
        )
        empty_ms = _beside(
            "first picture of the demo",
            lambda: _first_picture_ms(folder, "What lights?", "-m", "probe", "demo"),
            "empty Textual program",
            lambda: _first_picture_ms(folder, "ready-to-see", "-c", _EMPTY_APP),
            rounds,
        )
    print(
        f"aims in ms are for a machine with {AIMS_EMPTY_MS} ms there: this one takes {empty_ms / AIMS_EMPTY_MS:.1f} × as long"
    )
    return 0
