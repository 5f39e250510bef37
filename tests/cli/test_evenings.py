"""Worklist, log and photos on the command line, and photos on the sheet."""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document.file import MapFile, demo_map_path, load_map
from probe.document.needs import tick
from probe.evenings.worklist import all_left

PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return Path(shutil.copy(demo_map_path(), tmp_path / "kelp.json"))


@pytest.mark.slow
def test_the_worklist_is_printed_and_added_to(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["worklist", str(path), "--add", "order fuses\x1b[31m", "--moment", "game on"]) == Exit.FINE
    assert load_map(path).worklist[0].words == "order fuses\x1b[31m"
    assert load_map(path).revisions[-1].reason == "1 line of the worklist written or ticked off"
    capsys.readouterr()
    assert main(["worklist", str(path)]) == Exit.FINE
    said = capsys.readouterr().out
    assert "Before power\n  Trench\n  ☐ Replace the dead pixel Playfield 77 (78th)" in said
    assert "☐ order fuses\\x1b[31m" in said
    assert main(["worklist", str(path), "--json"]) == Exit.FINE
    data = json.loads(capsys.readouterr().out)
    assert data["left"] == len(data["lines"]) == 6
    assert [line["own"] for line in data["lines"]].count("line-1") == 1
    assert main(["worklist", str(path), "--add", "  "]) == Exit.USAGE


def test_what_was_ticked_off_shows_the_local_date(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    map_ = load_map(path)
    item = next(item for item in all_left(map_) if not item.done)
    with MapFile.open(path) as file:
        file.save(tick(map_, item, time="2026-03-01T23:30:00Z"))
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    time.tzset()
    try:
        assert main(["worklist", str(path)]) == Exit.FINE
        assert "(ticked off 2 Mar 2026)" in capsys.readouterr().out
    finally:
        monkeypatch.undo()
        time.tzset()


def test_the_log_is_printed(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", str(path)]) == Exit.FINE
    assert "One more insert lit" in capsys.readouterr().out
    assert main(["log", str(path), "--json"]) == Exit.FINE
    assert json.loads(capsys.readouterr().out)["evenings"][-1]["revisions"] == [2]


@pytest.mark.slow
def test_a_photo_beside_the_map_is_on_the_sheet_and_nothing_else_is(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "eel.png").write_bytes(PNG)
    (tmp_path / "no picture.png").write_bytes(b"<script>alert(1)</script>")
    outside = tmp_path / "elsewhere"
    outside.mkdir()
    (outside / "secret.png").write_bytes(PNG + b"secret")
    (tmp_path / "link.png").symlink_to(outside / "secret.png")
    for name in ("eel.png", "no picture.png", "link.png", "missing.png"):
        assert main(["photo", str(path), name, "--place", "Trench eel 3"]) == Exit.FINE
    assert "it is not beside the map yet" in capsys.readouterr().out
    out = tmp_path / "sheet.html"
    assert main(["sheet", str(path), "-o", str(out)]) == Exit.FINE
    html = out.read_text(encoding="utf-8")
    assert html.count("<img ") == 1
    assert "img-src data:" in html
    assert "default-src 'none'" in html
    assert "alert(1)" not in html
    assert "no picture.png</bdi> (not beside the map file" in html
    assert main(["photo", str(path), "eel.png", "--remove"]) == Exit.FINE
    assert (tmp_path / "eel.png").read_bytes() == PNG
    capsys.readouterr()
    assert main(["photo", str(path), "--json"]) == Exit.FINE
    assert {row["file"] for row in json.loads(capsys.readouterr().out)["photos"]} == {
        "no picture.png",
        "link.png",
        "missing.png",
    }


@pytest.mark.parametrize("name", ["../x.jpg", "x.svg", "/tmp/x.jpg", "a\x1b.jpg"])
def test_a_hostile_name_changes_nothing(path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    before = path.read_bytes()
    assert main(["photo", str(path), name, "--place", "Trench eel 3"]) == Exit.USAGE
    assert "\x1b" not in capsys.readouterr().err
    assert path.read_bytes() == before
    assert main(["photo", str(path), "x.jpg", "--place", "Nowhere"]) == Exit.USAGE
