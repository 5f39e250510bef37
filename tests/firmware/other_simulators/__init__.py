"""Compiled boards in simulators that npm brings, independent of simavr: an ATmega328P in avr8js, an RP2040 in rp2040js."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from filelock import FileLock

from tests.firmware import build
from tests.support.tools import MissingToolError, require

HERE = Path(__file__).resolve().parent
PACKAGES = {"avr8js": "0.21.1", "rp2040js": "1.4.1"}
PRESS_MS = 60


def _modules() -> Path:
    """The folder with both packages, fetched once by npm. Raises MissingToolError when they cannot be had."""
    require("node", "npm")
    named = [f"{name}@{version}" for name, version in PACKAGES.items()]
    folder = build.build_folder() / "-".join(named)
    with FileLock(f"{folder}.lock"):
        if not all((folder / "node_modules" / name / "package.json").exists() for name in PACKAGES):
            folder.mkdir(parents=True, exist_ok=True)
            done = subprocess.run(
                ["npm", "install", "--prefix", str(folder), "--no-audit", "--no-fund", *named],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            if done.returncode != 0:
                raise MissingToolError(f"npm cannot install {' '.join(named)}: {done.stderr[-1000:]}")
    return folder


class SecondSimulator:
    """A board just powered up, as `tests.protocol.conversation.BoardUnderTest`. `kind`: avr or rp2040."""

    def __init__(self, kind: str, config: Mapping[str, object]) -> None:
        image = build.build_avr_image(config) if kind == "avr" else build.build_rp2040(config)
        self._process = subprocess.Popen(
            ["node", str(HERE / "run.mjs"), kind, str(image), str(_modules())],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.communicate()

    def command(self, text: str) -> dict[str, Any]:
        """One command of run.mjs."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(text + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline())
        return answer

    def send(self, data: bytes) -> None:
        """See BoardUnderTest. The bytes take their time on the line."""
        self.command(f"feed {data.hex()}")

    def receive_line(self, timeout_ms: float) -> bytes | None:
        """See BoardUnderTest."""
        line = self.command(f"line {timeout_ms}")["line"]
        return None if line is None else bytes.fromhex(line)

    def advance(self, ms: float) -> None:
        """See BoardUnderTest."""
        self.command(f"run {ms}")

    def press(self) -> None:
        """See BoardUnderTest."""
        self.command(f"press {PRESS_MS}")

    def set_shift_registers(self, levels: bytes) -> None:
        """See SimulatedAvr; avr only, on C0 C1 C2."""
        self.command(f"shift {levels.hex()}")

    def set_input(self, number: int, on: bool) -> None:
        """See BoardUnderTest; no conversation played here uses it."""
        raise NotImplementedError

    def lose_bytes(self) -> None:
        """See BoardUnderTest; no conversation played here uses it."""
        raise NotImplementedError

    def last_frame(self, output: int) -> bytes | None:
        """See BoardUnderTest."""
        frame = self.command(f"frame {output}")
        assert frame["spare"] == 0
        return bytes.fromhex(frame["hex"]) if frame["frames"] else None
