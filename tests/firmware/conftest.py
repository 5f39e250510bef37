"""What the firmware tests share."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.firmware import build
from tests.firmware.host_board import HostBoard
from tests.firmware.simulated_avr import SimulatedAvr


@pytest.hookimpl(wrapper=True)
def pytest_pyfunc_call(pyfuncitem: pytest.Function) -> Iterator[None]:
    """Outside CI a test whose tool is missing is skipped by name; in CI it fails."""
    try:
        return (yield)
    except build.MissingToolError as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(str(error))


def _built(build_it: Callable[[], Path]) -> Path:
    try:
        return build_it()
    except build.MissingToolError as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(str(error))


@pytest.fixture(scope="session")
def avr_elf() -> Path:
    """The AVR firmware of the default build."""
    return _built(build.build_avr)


@pytest.fixture(scope="session")
def host_program() -> Path:
    """The board program of the default build."""
    return _built(build.build_host)


@pytest.fixture
def chip(avr_elf: Path) -> Iterator[SimulatedAvr]:
    """A paused chip, just powered up, its first notice taken."""
    _built(build.build_harness)
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
