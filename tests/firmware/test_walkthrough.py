"""The walk-through is followed literally: its blocks make a program, its commands build, start and check it."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.firmware.build import FIRMWARE
from tests.protocol.conversation import sealed
from tests.support.tools import require

PAGE = FIRMWARE / "WALKTHROUGH.md"


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)


def built(folder: Path) -> str:
    """The program is made; returns the command that starts it."""
    require("cc", "socat")
    (folder / "board.c").write_text("\n".join(blocks("c")), encoding="utf-8")
    build, start = blocks("sh")[0].strip().splitlines()
    done = subprocess.run(shlex.split(build), cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return start


@contextmanager
def started(command: str, folder: Path) -> Iterator[Path]:
    with subprocess.Popen(shlex.split(command), cwd=folder, stderr=subprocess.PIPE) as running:
        port = folder / "board-port"
        try:
            for _ in range(100):
                if port.exists():
                    break
                time.sleep(0.05)
            assert port.exists(), "socat made no port"
            yield port
        finally:
            running.terminate()
            running.communicate()


@pytest.mark.slow
@pytest.mark.long
def test_the_board_of_the_page_passes_the_check_with_the_words_of_the_page(tmp_path: Path) -> None:
    with started(built(tmp_path), tmp_path):
        command, *arguments = shlex.split(blocks("sh")[1])
        assert command == "playfield-probe"
        done = subprocess.run(
            [sys.executable, "-m", "probe", *arguments], cwd=tmp_path, capture_output=True, text=True, check=False,
            env={**os.environ, "PYTHONPATH": str(FIRMWARE.parents[1])},
        )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.splitlines()[-1] == blocks("text")[0].strip()
    assert "FAIL" not in done.stdout


def test_the_check_value_and_the_worked_answers(tmp_path: Path) -> None:
    """The program alone, its standard streams as the line."""
    built(tmp_path)
    orders = [">01 light 0 14 200000", ">02 light 0 50 200000", ">03 light 0 0 FFFFFF", ">04 setup 0 1 GRB 300 1"]
    with subprocess.Popen(
        [tmp_path / "board"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as program:
        said, shown = program.communicate(b"".join(sealed(order) + b"\n" for order in orders), timeout=20)
    assert said.decode().splitlines() == [
        sealed(body).decode()
        for body in (
            "~00 restarted power",
            "<01 ok",
            "!02 31 no-such-pixel",
            "!03 32 ceiling need=110 ceiling=100",
            "!04 23 no-such-feature",
        )
    ]
    assert shown.decode().splitlines() == ["a frame: 0 lit", "a frame: 1 lit"]


@pytest.mark.parametrize("name", ["id", "light", "dark", "alive"])
def test_the_page_has_every_order_that_every_board_has(name: str) -> None:
    assert f'{{"{name}", ' in "".join(blocks("c"))
