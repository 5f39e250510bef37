"""The check as a person runs it: on a simulated port, on the C firmware built for this computer, on the compiled AVR."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from probe.boardcheck import Outcome
from probe.cli.board_check import board_check, check_wire
from probe.cli.outcome import Exit
from probe.link import PortSpec
from tests.firmware.simulated_avr import SimulatedAvr


def outcomes(port: str) -> dict[str, str]:
    async def run() -> dict[str, str]:
        wire = await PortSpec(address=port).open()
        try:
            _, results = await check_wire(wire, (), tell=False)
        finally:
            await wire.close()
        return {r.clause: r.words for r in results if r.outcome is Outcome.FAILED}

    return asyncio.run(run())


def test_report_for_people_and_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    assert board_check("simulated://?pixels=20", baud=115_200, only=("2.6", "5.4"), as_json=False) == Exit.FINE
    shown = capsys.readouterr().out
    assert "ok   2.6" in shown
    assert "flashes a second" in shown
    assert board_check("simulated://?pixels=20", baud=115_200, only=("2.6", "5.4"), as_json=True) == Exit.FINE
    report = json.loads(capsys.readouterr().out)
    assert [c["clause"] for c in report["clauses"]] == ["2.6", "5.4"]
    assert report["counts"]["passed"] == 2


def test_no_board_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert board_check(str(tmp_path / "nothing"), baud=115_200, only=(), as_json=False) == Exit.BOARD
    assert "no port" in capsys.readouterr().err


@pytest.mark.slow
def test_the_compiled_avr_firmware_passes(avr_elf: Path) -> None:
    with SimulatedAvr(avr_elf) as chip:
        assert outcomes(chip.pty) == {}


@contextmanager
def behind_a_pty(program: Path) -> Iterator[str]:
    """A program that talks on its standard streams, reached as a port."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    with subprocess.Popen([str(program), "--raw"], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        into, out = process.stdin.fileno(), process.stdout.fileno()

        def carry(source: int, target: int) -> None:
            try:
                while data := os.read(source, 4096):
                    os.write(target, data)
            except OSError:
                return

        for source, target in ((ours, into), (out, ours)):
            threading.Thread(target=carry, args=(source, target), daemon=True).start()
        try:
            yield os.ttyname(theirs)
        finally:
            process.kill()
    os.close(theirs)


@pytest.mark.slow
def test_the_firmware_built_for_this_computer_passes(host_program: Path) -> None:
    with behind_a_pty(host_program) as port:
        assert outcomes(port) == {}
