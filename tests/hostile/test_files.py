"""Hostile files and names: refused with a sentence that speaks of the file, or used; never a fault of this program."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document.file import FileInUseError, StorageError, demo_map_path, load_map
from probe.document.file.lock import ExclusiveLock
from tests.support.examples import first_now

DEEP = "[" * 100_000 + "]" * 100_000
LONG = "9" * 5_000


def refused(words: list[str], capsys: pytest.CaptureFixture[str], *codes: Exit) -> str:
    """What a command says that refuses, in one line and in words of the file, not of the interpreter."""
    assert main(words) in (codes or (Exit.FILE,))
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "sys." not in said
    assert "Exceeds" not in said
    return said


@pytest.mark.parametrize("command", first_now(["check", "undo", "power"], now=2))
def test_a_link_that_leads_nowhere_is_named_as_one(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    link = tmp_path / "kelp.json"
    link.symlink_to(tmp_path / "gone" / "kelp.json")
    assert f"{link}: there is no such file. It is a link to" in refused([command, str(link)], capsys)
    assert [path.name for path in tmp_path.iterdir()] == ["kelp.json"]


@pytest.mark.parametrize("name", ["k" * 256, "loop", "kelp.json/inside"])
def test_a_name_that_no_file_can_have(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(demo_map_path(), tmp_path / "kelp.json")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert "Check the spelling" in refused(["check", str(tmp_path / name)], capsys)


@pytest.mark.parametrize("note", [DEEP, '{"process": ' + LONG + "}", "\0", '{"process": true}'])
def test_a_hostile_note_of_who_holds_a_map(note: str, tmp_path: Path) -> None:
    path = Path(shutil.copy(demo_map_path(), tmp_path / "kelp.json"))
    held = ExclusiveLock(path)
    (tmp_path / ".kelp.json.holder").write_text(note, encoding="utf-8")
    with pytest.raises(FileInUseError, match="it is open in another program"):
        ExclusiveLock(path)
    held.release()


@pytest.mark.parametrize("kept", [DEEP, '{"revision": ' + LONG + ', "image": ""}', "[]", '{"revision": "x"}', "é"])
def test_a_hostile_file_with_a_board_s_table(kept: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "table.json"
    path.write_text(kept, encoding="utf-8")
    assert "no table kept by" in refused(["board-check", "simulated://", "--restore", str(path)], capsys)


@pytest.mark.parametrize("text", first_now(['{"brightness_percent": ' + LONG + "}", '{"keys": {"a": ' + DEEP + "}}"]))
def test_hostile_settings(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "settings.json"
    path.write_text(text, encoding="utf-8")
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(path))
    assert "remove the file to have the usual settings" in refused(
        ["walk", str(tmp_path / "m.json"), "--paper"], capsys
    )


@pytest.mark.parametrize("words", [f"took out #{LONG}", f"{LONG} new after #1", f"00001{LONG} new after #1"])
def test_a_change_with_a_number_without_end(words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = Path(shutil.copy(demo_map_path(), tmp_path / "kelp.json"))
    refused(["renumber", str(path), "--change", f"Playfield: {words}"], capsys, Exit.USAGE)
    assert load_map(path) == load_map(demo_map_path())


@pytest.mark.parametrize("length", [230, 245, 250, 255])
def test_a_map_whose_name_is_as_long_as_the_system_allows_is_changed_and_saved(length: int, tmp_path: Path) -> None:
    path = tmp_path / ("é" * ((length - 5) // 2) + "k" * ((length - 5) % 2) + ".json")
    shutil.copy(demo_map_path(), path)
    assert main(["renumber", str(path), "--change", "Playfield: took out #1"]) == Exit.FINE
    assert len(load_map(path).revisions) == len(load_map(demo_map_path()).revisions) + 1
    assert main(["undo", str(path)]) == Exit.FINE


def test_a_map_that_an_editor_saved_with_a_mark_of_utf_8_is_read(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(b"\xef\xbb\xbf" + demo_map_path().read_bytes())
    assert load_map(path) == load_map(demo_map_path())


def test_what_is_wrong_in_a_map_with_a_mark_of_utf_8_is_said_and_not_the_mark(tmp_path: Path) -> None:
    path, sound = tmp_path / "kelp.json", demo_map_path().read_bytes()
    path.write_bytes(b"\xef\xbb\xbf" + sound.replace(b'"version": 2', b'"version": 2.5', 1))
    with pytest.raises(StorageError, match="version"):
        load_map(path)
    path.write_bytes(b"\xef\xbb\xbf" + sound[:-20])
    with pytest.raises(StorageError, match=f"line {sound[:-20].count(10) + 1}: "):
        load_map(path)
