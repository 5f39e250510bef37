"""The check as a person runs it: on a simulated port, on the C firmware built for this computer, on the compiled AVR."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import threading
import tty
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from device_protocol.board import SimulatedBoard
from device_protocol.orders import Identity
from device_protocol.values import Colour
from probe.boardcheck import ClauseOutcome, ClauseResult, Dialogue, verdict
from probe.cli.board_check import board_check, check_wire
from probe.cli.outcome import Exit
from probe.link import PortSpec
from probe.link.simulated_wire import SimulatedPort
from tests.boardcheck.test_sound_boards import IMAGE
from tests.firmware.simulated_avr import SimulatedAvr


def outcomes(port: str) -> dict[str, str]:
    async def run() -> dict[str, str]:
        wire = await PortSpec(address=port).open()
        try:
            _, results = await check_wire(wire, ())
        finally:
            await wire.close()
        return {r.clause: r.words for r in results if r.outcome is ClauseOutcome.FAILED}

    return asyncio.run(run())


@pytest.mark.slow
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
@pytest.mark.long
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
@pytest.mark.long
def test_the_firmware_built_for_this_computer_passes(host_program: Path) -> None:
    with behind_a_pty(host_program) as port:
        assert outcomes(port) == {}


def test_a_board_out_of_bounds_is_lit_by_no_check(capsys: pytest.CaptureFixture[str]) -> None:
    class OutOfBounds(SimulatedBoard):
        lightings = 0

        def identity(self) -> Identity:
            return replace(super().identity(), pixels=999_999_999)

        def light_up(self, number: int, picture: list[Colour]) -> None:
            self.lightings += 1

    board = OutOfBounds()

    async def run() -> tuple[Dialogue, tuple[ClauseResult, ...]]:
        wire = await SimulatedPort(board).open()
        try:
            return await check_wire(wire, ())
        finally:
            await wire.close()

    dialogue, results = asyncio.run(run())
    (result,) = results
    assert (result.clause, result.outcome) == ("5.3", ClauseOutcome.FAILED)
    assert "states a limit that no board may have: pixels of the identity 999999999: 1 to 65535" in result.words
    assert board.lightings == 0
    report = verdict(dialogue, results, checked_at="2026-01-02", took_s=1, tool="x", with_table=False, complete=True)
    assert not report["conforms"]
    assert "does not conform" in report["badge"]


def test_the_verdict_can_be_published(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = {"baud": 115_200, "only": ("5.20", "2.6"), "as_json": True}
    assert board_check("simulated://?pixels=20", **arguments) == Exit.FINE  # type: ignore[arg-type]
    report = json.loads(capsys.readouterr().out)
    assert report["badge"].startswith(
        f"{report['board']} {report['build']}: probe line protocol 1 (1.1): 2 clauses kept"
    )
    assert report["badge"].endswith(report["checked_at"][:10])
    assert not report["complete"]
    assert not report["conforms"]
    assert report["with_table"] is False
    by_clause = {each["clause"]: each for each in report["clauses"]}
    assert "--table FILE" in by_clause["5.20"]["words"], "what was not tried is said"


def test_the_persons_table_is_kept_and_put_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    board = SimulatedBoard()
    board.store.commit(bytes.fromhex(IMAGE), 7)
    held = board.store.held
    monkeypatch.setattr(PortSpec, "open", lambda self: SimulatedPort(board).open())
    kept = tmp_path / "mine.json"
    arguments = {"baud": 115_200, "only": ("5.18",), "as_json": False}
    assert board_check("x", table=str(kept), **arguments) == Exit.FINE  # type: ignore[arg-type]
    assert board.store.held == held
    assert not kept.exists(), "only while the board has another"
    # a line that is cut in the middle leaves the file, which is then not overwritten, and can be written back
    kept.write_text(json.dumps({"revision": 7, "image": IMAGE}))
    assert board_check("x", table=str(kept), **arguments) == Exit.FILE  # type: ignore[arg-type]
    board.store.erase()
    assert board_check("x", restore=str(kept), **arguments) == Exit.FINE  # type: ignore[arg-type]
    assert board.store.held == held
    kept.write_text("{}")
    assert board_check("x", restore=str(kept), **arguments) == Exit.FILE  # type: ignore[arg-type]


@pytest.mark.slow
@pytest.mark.long
def test_eight_checks_at_once_pass(host_program: Path) -> None:
    """Eight boards and eight checks want this machine at the same time: their lateness is not the boards'."""

    async def run() -> list[dict[str, str]]:
        async def one(port: str) -> dict[str, str]:
            wire = await PortSpec(address=port).open()
            try:
                _, results = await check_wire(wire, ())
            finally:
                await wire.close()
            return {r.clause: r.words for r in results if r.outcome is ClauseOutcome.FAILED}

        return await asyncio.gather(*(one(port) for port in ports))

    with ExitStack() as stack:
        ports = [stack.enter_context(behind_a_pty(host_program)) for _ in range(8)]
        assert asyncio.run(run()) == [{}] * 8
