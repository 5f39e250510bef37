"""Lamp lists, tables out and the board's table, from the command line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.cli.parser import EXPORTS
from probe.document.file import MapFile, demo_map_path, load_map
from probe.document.lamp_table import lamp_table
from probe.document.operations import update_place
from probe.export import WRITERS

BOARD = "simulated://?outputs=2&pixels=300&play_pixels=300&inputs=64"


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    path = tmp_path / "kelp.json"
    shutil.copy(demo_map_path(), path)
    return path


@pytest.mark.slow
def test_every_format_is_written_the_same_twice(demo: Path, tmp_path: Path) -> None:
    assert set(EXPORTS) == set(WRITERS)
    for to in EXPORTS:
        out = [tmp_path / f"{to}-{turn}" for turn in range(2)]
        for path in out:
            assert main(["export", str(demo), "--to", to, "-o", str(path)]) == Exit.FINE
        assert out[0].read_bytes() == out[1].read_bytes() != b""


def test_a_lamp_list_is_read_shown_and_merged(demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = tmp_path / "lamps.csv"
    listed.write_text("Nr;What;Strobe;Row\n12;Otter bonus six;2;4\n70;New \x1b[31mlamp;;\n", encoding="utf-8")
    before = demo.read_bytes()
    arguments = ["lamps", str(demo), "--from", str(listed), "--columns", "name=What"]
    assert main([*arguments, "--dry-run"]) == Exit.FINE
    shown = capsys.readouterr().out
    assert "~ lamp 12 “Otter bonus 6”: name: “Otter bonus 6” → “Otter bonus six”" in shown
    assert "+ lamp 70 “New \\x1b[31mlamp”" in shown
    assert "Nothing was written." in shown
    assert demo.read_bytes() == before
    assert main(arguments) == Exit.FINE
    map_ = load_map(demo)
    assert {lamp.number: lamp.name for lamp in map_.lamps}[12] == "Otter bonus six"
    assert len(map_.lamps) == 96
    assert "2 changes, 94 of the map kept" in capsys.readouterr().out
    assert main([*arguments, "--replace"]) == Exit.FINE
    assert len(load_map(demo).lamps) == 2


def test_what_is_wrong_with_a_list_is_told_and_nothing_written(
    demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = demo.read_bytes()
    listed = tmp_path / "lamps.csv"
    listed.write_text("no,name\n1,Reef lane 1\nx,Reef lane 2\n")
    assert main(["lamps", str(demo), "--from", str(listed)]) == Exit.FILE
    assert "line 3, column A (number): 'x' is not a whole number" in capsys.readouterr().err
    assert main(["lamps", str(demo), "--from", str(listed), "--columns", "number"]) == Exit.USAGE
    assert "FIELD=HEADING" in capsys.readouterr().err
    assert main(["lamps", str(demo), "--from", str(tmp_path / "none.csv")]) == Exit.FILE
    assert demo.read_bytes() == before


@pytest.mark.slow
def test_places_are_joined_by_name(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = load_map(demo)
    map_ = whole
    for place in map_.places:
        map_ = update_place(map_, place.model_copy(update={"lamps": (), "group": "", "label": place.label.lower()}))
    with MapFile.open(demo) as file:
        file.save(map_)
    assert main(["check", str(demo), "--strict"]) == Exit.FINDINGS
    assert "pixel-without-job" in capsys.readouterr().out
    assert main(["lamps", str(demo), "--join"]) == Exit.FINE
    assert "95 joined, 0 to be confirmed" in capsys.readouterr().out
    assert lamp_table(load_map(demo)).lamps == lamp_table(whole).lamps
    assert main(["check", str(demo), "--strict"]) == Exit.FINE
    assert main(["lamps", str(demo)]) == Exit.FINE
    assert "95 rows." in capsys.readouterr().out


def test_the_table_goes_into_a_board(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["table", str(demo), "--port", BOARD]) == Exit.FINDINGS
    assert "the board holds no table yet" in capsys.readouterr().out
    assert main(["table", str(demo), "--port", BOARD, "--write"]) == Exit.FINE
    assert "written, read back, the same" in capsys.readouterr().out
    assert main(["table", str(demo), "--port", BOARD, "--read"]) == Exit.FINE
    assert "board: no table" in capsys.readouterr().out, "each opening makes a board of its own"


def test_boards_that_cannot_are_told(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    small = "simulated://?outputs=2&pixels=300&play_pixels=40"
    assert main(["table", str(demo), "--port", small, "--write"]) == Exit.BOARD
    assert "lights 0 to 39 there" in capsys.readouterr().err
    assert main(["table", str(demo), "--port", "/dev/no-such-port"]) == Exit.BOARD
    assert main(["table", str(demo)]) == Exit.USAGE
    assert "--port" in capsys.readouterr().err
