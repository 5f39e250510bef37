"""Renumber, undo, revisions and diff on the command line."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.parser import build_parser
from probe.cli.screens import Opening
from probe.document.diff import diff
from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.local_time import local_minute
from probe.document.model.open_recheck import OpenRecheck
from probe.document.revisions import undo
from probe.document.settings import Settings
from tests.support.tools import require


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A copy of the demo's map."""
    copy = tmp_path / "kelp_forest.json"
    shutil.copy(demo_map_path(), copy)
    return copy


def said(capsys: pytest.CaptureFixture[str]) -> str:
    return capsys.readouterr().out


def test_a_dry_run_shows_the_diff_and_writes_nothing(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = path.read_bytes()
    assert main(["renumber", str(path), "--change", "3 new after Launch arrow", "--dry-run"]) == 0
    shown = said(capsys)
    assert "Playfield: new: 4–6 after Launch arrow" in shown
    assert "Playfield: 4–83 → 7–86" in shown
    assert "Dry run" in shown
    assert path.read_bytes() == before


@pytest.mark.slow
def test_renumber_undo_and_redo_across_runs(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = load_map(path)
    changes = ["--change", "2 new after Launch arrow", "--change", "took out Dive again"]
    assert main(["renumber", str(path), *changes, "--reason", "new inserts"]) == 0
    changed = load_map(path)
    assert changed.chain("playfield").count == before.chain("playfield").count + 1  # type: ignore[operator]
    assert changed.revisions[-1].reason == "new inserts"
    assert "revision" in said(capsys)
    assert main(["undo", str(path)]) == 0
    assert diff(load_map(path), before) == ()
    assert main(["undo", str(path), "--redo"]) == 0
    assert diff(load_map(path), changed) == ()
    said(capsys)
    assert main(["revisions", str(path), "--json"]) == 0
    listed = json.loads(said(capsys))
    assert [r["undoes"] for r in listed["revisions"]][-3:] == [
        None,
        changed.revisions[-1].number,
        listed["revisions"][-2]["number"],
    ]
    assert listed["chains"][0]["verified_since"] == 0


def test_undo_stops_at_what_it_does_not_know(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = path.read_bytes()
    assert main(["undo", str(path)]) == 1
    assert "cannot be undone" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_a_change_that_is_not_understood_changes_nothing(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = path.read_bytes()
    for words in ("took out Lauch arow 7", "swapped Launch arrow", "#3", "took out 3", "", "\x1b[31m"):
        assert main(["renumber", str(path), "--change", words]) == 2
        error = capsys.readouterr().err
        assert "nothing was changed" in error
        assert "\x1b" not in error
    assert path.read_bytes() == before


@pytest.mark.slow
def test_revisions_and_files_are_compared(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old = path.with_name("old.json")
    shutil.copy(path, old)
    number = load_map(path).revisions[-1].number
    assert main(["renumber", str(path), "--change", "reversed Launch arrow to Right return lane"]) == 0
    assert main(["renumber", str(path), "--change", "backbox: 1 new at the end"]) == 0
    said(capsys)
    assert main(["diff", str(path), str(old)]) == 1
    both = said(capsys)
    assert "turned around" in both
    assert main(["diff", str(path), "--from", str(number), "--to", str(number + 1), "--json"]) == 1
    found = json.loads(said(capsys))
    assert {c["chain"] for c in found["changes"]} == {"playfield"}
    assert main(["diff", str(path), "--to", str(number + 2)]) == 1
    assert "Backbox" in said(capsys)
    assert main(["diff", str(old), str(old)]) == 0
    assert "No difference" in said(capsys)
    assert main(["diff", str(path), "--from", "99"]) == 3
    assert "there is no revision 99" in capsys.readouterr().err
    assert main(["diff", str(path)]) == 2
    assert main(["diff", str(path), str(old), "--from", "1"]) == 2


def test_the_file_differs_only_where_the_map_does(path: Path, tmp_path: Path) -> None:
    old = tmp_path / "old.json"
    shutil.copy(path, old)
    assert main(["renumber", str(path), "--change", "took out Dive again"]) == 0
    require("git")
    done = subprocess.run(
        ["git", "diff", "--no-index", "--numstat", str(old), str(path)], capture_output=True, text=True, check=False
    )
    added, removed, _ = done.stdout.split(maxsplit=2)
    assert int(added) + int(removed) < 12, done.stdout


@pytest.mark.slow
def test_an_imported_lamp_list_is_a_revision(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = load_map(path)
    (tmp_path / "more.csv").write_text("number,name\n70,Otter\n", encoding="utf-8")
    assert main(["lamps", str(path), "--from", str(tmp_path / "more.csv")]) == 0
    after = load_map(path)
    assert after.pending == ()
    assert after.revisions[-1].reason == "Lamps imported from more.csv"
    said(capsys)
    assert main(["revisions", str(path)]) == 0
    listed = said(capsys)
    assert "Lamps imported from more.csv" in listed
    assert "lamp Otter: new" in listed
    number = after.revisions[-1].number
    assert main(["diff", str(path), "--from", str(number - 1), "--to", str(number)]) == 1
    assert "lamp Otter: new" in said(capsys)
    assert main(["undo", str(path)]) == 0
    assert diff(load_map(path), before) == ()


@pytest.mark.slow
def test_lamps_at_opening_are_a_revision_and_a_recheck_left_open_is_told(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    listed = tmp_path / "few.csv"
    listed.write_text("number,name\n70,Otter\n", encoding="utf-8")
    map_ = load_map(path)
    kept = OpenRecheck(
        chain="playfield", begun="2026-03-01T19:30:00Z", rests_on="0" * 16, declared=("took out #3", "[/x]")
    )
    path.write_bytes(render_map(map_.model_copy(update={"rechecks": (kept,)})))
    arguments = build_parser().parse_args(["walk", str(path), "--paper", "--lamps", str(listed)])
    session = Opening(arguments, Settings()).open_file(str(path))
    session.close()
    after = load_map(path)
    assert after.revisions[-1].reason == "Lamps imported from few.csv"
    assert len(after.revisions) == len(map_.revisions) + 1
    assert after.pending == ()
    assert diff(undo(after, time="2026-03-01T19:30:00Z"), map_) == ()
    assert session.welcome == (
        "A recheck of Playfield is not finished (0 answers, 2 changes said): "
        "F10, Light, “Recheck after a change” goes on with it."
    )
    session = Opening(arguments, Settings()).open_file(str(path))
    session.close()
    assert len(load_map(path).revisions) == len(after.revisions), "the same list again changes nothing"
    assert main(["revisions", str(path)]) == 0
    begun = local_minute("2026-03-01T19:30:00Z")
    assert f"A recheck of Playfield is not finished, begun {begun}: 0 answers" in said(capsys)
