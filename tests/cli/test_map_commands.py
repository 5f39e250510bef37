"""Commands that change a map file lock it before they read it: no revision made meanwhile is ever overwritten."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document import operations as op
from probe.document.document import Document
from probe.document.file import demo_map_path, load_map, map_file
from probe.document.file.layout import render_map
from probe.document.file.lock import ExclusiveLock
from probe.document.revisions import revised, undo
from tests.support.examples import first_now

NOW = "2026-03-01T19:30:00Z"
COMMANDS: dict[str, Sequence[str]] = {
    "lamps": ["lamps", "{map}", "--from", "{lamps}"],
    "lamps joined": ["lamps", "{map}", "--from", "{lamps}", "--join"],
    "renumber": ["renumber", "{map}", "--change", "2 new after Launch arrow"],
    "undo": ["undo", "{map}"],
    "redo": ["undo", "{map}", "--redo"],
    "walk with lamps": ["walk", "{map}", "--paper", "--lamps", "{lamps}"],
}
WITHOUT_SCREENS = pytest.mark.parametrize(
    "name", first_now((name for name in COMMANDS if "walk" not in name), now=3), indirect=True
)
"""Commands that are done at once; a screen goes on, and asks."""
HOLDER = """
import sys
from probe.document.document import Document
document = Document.open(sys.argv[1])
print("open", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    copy = Path(shutil.copy(demo_map_path(), tmp_path / "kelp.json"))
    (tmp_path / "lamps.csv").write_text("number,name\n77,Otter gate\n", encoding="utf-8")
    map_ = revised(load_map(copy), op.set_note(load_map(copy), "playfield", 3, "one"), time=NOW, reason="One")
    copy.write_bytes(render_map(map_))
    return copy


def ready_for(name: str, path: Path) -> None:
    if name == "redo":
        path.write_bytes(render_map(undo(load_map(path), time=NOW)))


def run(name: str, path: Path, *more: str) -> int:
    words = [word.format(map=path, lamps=path.with_name("lamps.csv")) for word in COMMANDS[name]]
    return main([*words, *more])


@pytest.fixture(params=first_now(COMMANDS, now=3))
def name(request: pytest.FixtureRequest, path: Path) -> str:
    ready_for(request.param, path)
    return str(request.param)


def test_a_command_changes_the_map_as_a_revision(name: str, path: Path) -> None:
    before = load_map(path)
    run(name, path)
    after = load_map(path)
    assert after.revisions[: len(before.revisions)] == before.revisions
    assert len(after.revisions) == len(before.revisions) + 1
    assert after.pending == ()
    Document.open(path).release()  # nobody holds it any more


def test_a_map_that_another_program_has_open_is_left_alone(
    name: str, path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = path.read_bytes()
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        assert run(name, path) == Exit.FILE
        assert f"open in process {other.pid}" in capsys.readouterr().err
        other.kill()
    assert path.read_bytes() == before


@pytest.mark.slow
def test_a_revision_made_before_the_lock_was_free_is_kept(
    name: str, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class LateLock(ExclusiveLock):
        """Gets the lock when another program has just made a revision and let go."""

        def __init__(self, where: Path, **more: Any) -> None:
            map_ = load_map(where)
            theirs = revised(map_, op.set_note(map_, "playfield", 5, "theirs"), time=NOW, reason="Theirs")
            if name == "redo":
                theirs = undo(theirs, time=NOW)
            where.write_bytes(render_map(theirs))
            super().__init__(where, **more)

    monkeypatch.setattr(map_file, "ExclusiveLock", LateLock)
    run(name, path)
    assert "Theirs" in [r.reason for r in load_map(path).revisions]


@pytest.mark.slow
@WITHOUT_SCREENS
def test_what_a_program_without_a_lock_wrote_meanwhile_is_kept(
    name: str, path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    theirs = render_map(op.set_note(load_map(path), "playfield", 5, "theirs"))
    save_now = Document.save_now

    def late(document: Document) -> None:
        path.write_bytes(theirs)
        save_now(document)

    monkeypatch.setattr(Document, "save_now", late)
    assert run(name, path) == Exit.FILE
    done = capsys.readouterr()
    assert "Run the command again: nothing was saved" in done.err
    assert path.read_bytes() == theirs
    Document.open(path).release()


@WITHOUT_SCREENS
def test_a_dry_run_locks_and_writes_nothing(name: str, path: Path) -> None:
    before = path.read_bytes()
    held = Document.open(path)
    assert run(name, path, "--dry-run") == Exit.FINE
    held.release()
    assert path.read_bytes() == before


@pytest.mark.slow
def test_an_import_makes_a_file_and_overwrites_none(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, made = path.with_name("map.csv"), path.with_name("made.json")
    assert main(["export", str(path), "--to", "csv", "--output", str(table)]) == Exit.FINE
    assert main(["import", str(table), "--output", str(made)]) == Exit.FINE
    before = made.read_bytes()
    assert load_map(made).chain("playfield").count == load_map(path).chain("playfield").count
    assert main(["import", str(table), "--output", str(made)]) == Exit.FILE
    assert "there is a file already" in capsys.readouterr().err
    assert made.read_bytes() == before
    Document.open(made).release()
