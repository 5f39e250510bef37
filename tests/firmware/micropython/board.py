"""The MicroPython board behind the runners' interfaces, in MicroPython itself (by node) or in CPython."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from types import ModuleType, TracebackType
from typing import Any, Protocol, Self

from filelock import FileLock

from tests.firmware.build import FIRMWARE, build_folder
from tests.support.tools import MissingToolError, require

BOARD_FILE = FIRMWARE / "micropython" / "probe_board.py"
HERE = Path(__file__).resolve().parent
PACKAGE = "@micropython/micropython-webassembly-pyscript"
VERSION = "1.27.0"
FEATURES = ("setup", "range", "silence", "paint", "button", "readback")


class Runs(Protocol):
    """Something that carries the commands of driver.py out."""

    def command(self, text: str) -> str:
        """One command, one answer."""


def interpreter() -> Path:
    """The interpreter's module, fetched once by npm. Raises MissingToolError when it cannot be had."""
    require("node", "npm")
    folder = build_folder() / f"micropython-{VERSION}"
    module = folder / "node_modules" / PACKAGE / "micropython.mjs"
    with FileLock(f"{folder}.lock"):
        if not module.exists():
            folder.mkdir(parents=True, exist_ok=True)
            done = subprocess.run(
                ["npm", "install", "--prefix", str(folder), "--no-audit", "--no-fund", f"{PACKAGE}@{VERSION}"],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            if done.returncode != 0 or not module.exists():
                raise MissingToolError(f"npm cannot install {PACKAGE}@{VERSION}: {done.stderr[-1000:]}")
    return module


class InMicroPython:
    """driver.py in the MicroPython interpreter, as a process."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            ["node", str(HERE / "run.mjs"), str(interpreter()), str(BOARD_FILE), str(HERE / "driver.py")],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.communicate()

    def command(self, text: str) -> str:
        """See Runs. Raises RuntimeError when the interpreter says so."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(text + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        if not answer or answer.startswith("error"):
            raise RuntimeError(f"{text[:60]}: {answer or self._process.communicate()[1][-2000:]}")
        return answer.rstrip("\n")


def load(name: str, path: Path) -> ModuleType:
    """A firmware file as a module of this interpreter."""
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


class InCPython:
    """driver.py in this interpreter."""

    def __init__(self) -> None:
        load("probe_board", BOARD_FILE)
        self._driver: Any = load("driver", HERE / "driver.py").Driver()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        sys.modules.pop("probe_board", None)
        sys.modules.pop("driver", None)

    def command(self, text: str) -> str:
        """See Runs."""
        return str(self._driver.command(text))


INTERPRETERS: dict[str, Callable[[], InMicroPython | InCPython]] = {
    "micropython": InMicroPython,
    "cpython": InCPython,
}


class DrivenBoard:
    """One power-up of the board: a `BoardUnderTest`, and what the board check's talk needs of a board."""

    def __init__(self, runs: Runs, config: Mapping[str, object]) -> None:
        self._runs = runs
        self._now_ms = 0.0
        self._said = bytearray()
        self._hear(f"start {json.dumps(dict(config))}")

    def _hear(self, command: str) -> None:
        self._said += bytes.fromhex(self._runs.command(command))

    def _take(self) -> bytes:
        said = bytes(self._said)
        self._said.clear()
        return said

    # --- BoardUnderTest ---

    def send(self, data: bytes) -> None:
        """See BoardUnderTest."""
        self._hear(f"in {data.hex()}")

    def receive_line(self, timeout_ms: float) -> bytes | None:
        """See BoardUnderTest."""
        if b"\n" not in self._said and timeout_ms < 100:
            self.advance(timeout_ms)
        line, found, rest = bytes(self._said).partition(b"\n")
        if not found:
            return None
        self._said = bytearray(rest)
        return line

    def advance(self, ms: float) -> None:
        """See BoardUnderTest."""
        self._now_ms += ms
        self._hear(f"tick {self._now_ms}")

    def press(self) -> None:
        """See BoardUnderTest. The contact bounces."""
        for closed, ms in ((1, 2), (0, 1), (1, 5), (1, 40), (0, 3), (1, 1), (0, 5), (0, 40)):
            self._hear(f"contact {closed}")
            self.advance(ms)
            self._hear(f"contact {closed}")

    def set_input(self, number: int, on: bool) -> None:
        """See BoardUnderTest."""
        raise NotImplementedError("this board has no lamp inputs")

    def lose_bytes(self) -> None:
        """See BoardUnderTest."""
        self._hear("lose")

    def last_frame(self, output: int) -> bytes | None:
        """See BoardUnderTest."""
        answer = self._runs.command(f"frame {output}")
        return None if answer == "none" else bytes.fromhex(answer)

    # --- for the board check ---

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        """Bytes from the host at a time; returns what the board says."""
        self.tick_to(now_ms)
        self._hear(f"in {data.hex()}")
        return self._take()

    def tick_to(self, now_ms: float) -> None:
        """The board's time."""
        self._now_ms = now_ms
        self._hear(f"tick {now_ms}")

    def tick(self, now_ms: float) -> bytes:
        """Time passes; returns what the board says."""
        self.tick_to(now_ms)
        return self._take()

    def next_deadline_ms(self) -> float | None:
        """It is asked again often enough."""
        return None
