"""What the firmware tests share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.firmware import build
from tests.firmware.host_board import HostBoard
from tests.firmware.simulated_avr import SimulatedAvr


@pytest.fixture(scope="session")
def avr_elf() -> Path:
    """The AVR firmware of the conversations' usual board."""
    return build.build_avr(build.ONE_OUTPUT)


@pytest.fixture(scope="session")
def host_program() -> Path:
    """The board program of the conversations' usual board."""
    return build.build_host(build.ONE_OUTPUT)


@pytest.fixture
def chip(avr_elf: Path) -> Iterator[SimulatedAvr]:
    """A paused chip, just powered up, its first notice taken."""
    build.build_harness()
    with SimulatedAvr(avr_elf, paused=True) as chip:
        assert chip.receive_line(100) == b"~00 restarted power*73EF"
        yield chip


@pytest.fixture
def host_board(host_program: Path) -> Iterator[HostBoard]:
    """A board program, just powered up, its first notice taken."""
    with HostBoard(host_program) as board:
        board.start()
        board.take_sent()
        yield board
