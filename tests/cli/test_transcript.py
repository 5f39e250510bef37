"""`--transcript` on the commands that open a port, and a walk of the real program played back to the same map."""

from __future__ import annotations

from pathlib import Path

import pexpect
import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.operations import set_bookmark
from probe.link.replay import read_transcript
from tests.cli.test_terminal import Terminal, opened
from tests.support.person import same_answers

ANSWERS = ("Otter grotto", "Kelp bed left", "Anglerfish eye")


def answer(terminal: Terminal) -> None:
    terminal.until("LIT")
    for number, label in enumerate(ANSWERS, start=45):
        terminal.child.send(label + "\r")
        terminal.until(f"{number} ({number + 1}th) of 84   ● LIT")
    terminal.child.sendcontrol("q")
    terminal.child.expect(pexpect.EOF)
    terminal.child.wait()


@pytest.mark.slow
def test_a_walk_is_played_back_in_the_program(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "first.json", "--transcript", "wire.log"], tmp_path) as terminal:
        answer(terminal)
        assert terminal.child.exitstatus == Exit.FINE
    entries = read_transcript(tmp_path / "wire.log")
    assert entries[0].direction == "open"
    assert entries[-1].direction == "end"
    half = set_bookmark(load_map(demo_map_path("kelp_forest_half.json")), "playfield", 44)  # where the demo begins
    (tmp_path / "second.json").write_bytes(render_map(half))
    with opened(["walk", "second.json", "--port", "replay://wire.log?speed=4"], tmp_path) as terminal:
        answer(terminal)
        assert terminal.child.exitstatus == Exit.FINE
    first, second = load_map(tmp_path / "first.json"), load_map(tmp_path / "second.json")
    assert same_answers(second, first) == []
    assert {place.label for place in second.places} >= set(ANSWERS)


@pytest.mark.slow
def test_another_walk_than_then_is_told_on_screen(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "first.json", "--transcript", "wire.log"], tmp_path) as terminal:
        answer(terminal)
    with opened(["walk", "first.json", "--port", "replay://wire.log?speed=0"], tmp_path) as terminal:
        shown = terminal.until("transcript")
        assert "Traceback" not in shown


def test_the_board_check_writes_one(tmp_path: Path) -> None:
    log = tmp_path / "wire.log"
    arguments = ["board-check", "simulated://?pixels=20", "--only", "5.4", "--transcript", str(log)]
    assert main(arguments) == Exit.FINE
    assert any(b"light 0" in entry.data for entry in read_transcript(log))


@pytest.mark.parametrize("command", [["walk", "m.json", "--port", "simulated://"], ["board-check", "simulated://"]])
def test_a_transcript_that_cannot_be_written_is_told(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))
    assert main([*command, "--transcript", str(tmp_path / "no" / "wire.log")]) == Exit.FILE
    assert "wire.log" in capsys.readouterr().err


@pytest.mark.parametrize("clause", ["5.44", "", "5"])
def test_a_clause_that_is_not_there_is_no_board_without_faults(clause: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["board-check", "simulated://", "--only", "5.4", "--only", clause]) == Exit.USAGE
    said = capsys.readouterr()
    assert f"no check has the number {clause!r}" in said.err
    assert not said.out
