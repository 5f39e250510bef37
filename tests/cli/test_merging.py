"""`merge` and the map for another owner, on the command line."""

from __future__ import annotations

import io
import json
import shlex
import shutil
import sys
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document.edits import Insert, Remove, Reverse, Swap, renumber
from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.model import PlayfieldMap
from probe.document.operations import set_note
from probe.document.revisions import revised
from probe.document.wiring import joint_at, put_joint
from tests.support.examples import first_now

NOW = "2026-03-01T19:30:00Z"


def noted(path: Path, number: int, note: str) -> None:
    map_ = load_map(path)
    path.write_bytes(render_map(revised(map_, set_note(map_, "playfield", number, note), time=NOW, reason=note)))


@pytest.fixture
def sides(tmp_path: Path) -> tuple[Path, Path]:
    """Two copies of the demo's map: each with a note of its own, and one pixel noted by both."""
    ours, theirs = (Path(shutil.copy(demo_map_path(), tmp_path / f"{name}.json")) for name in ("ours", "theirs"))
    for path, number, words in ((ours, 3, "anna"), (theirs, 5, "ben"), (ours, 9, "cold"), (theirs, 9, "hot \x1b[31m")):
        noted(path, number, words)
    return ours, theirs


def notes(map_: PlayfieldMap) -> list[str]:
    pixels = map_.chain("playfield").pixels
    return [pixels[number].note for number in (3, 5, 9)]


def test_an_undecided_conflict_is_listed_and_nothing_written(
    sides: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = [path.read_bytes() for path in sides]
    out = tmp_path / "both.json"
    assert main(["merge", *map(str, sides), "-o", str(out)]) == Exit.FINDINGS
    said = capsys.readouterr().out
    assert "1  Playfield, pixel 9: note: not decided" in said
    assert "    ours: cold" in said
    assert "  theirs: hot \\x1b[31m" in said
    assert "--choose 1=theirs" in said
    assert not out.exists()
    assert [path.read_bytes() for path in sides] == before


@pytest.mark.parametrize(
    ("choose", "wanted"),
    first_now([(["1=theirs"], "hot \x1b[31m"), (["ours"], "cold"), (["1=ours", "theirs"], "cold")], several=True),
)
def test_a_decided_one_is_written_as_a_new_revision(
    sides: tuple[Path, Path], tmp_path: Path, choose: list[str], wanted: str
) -> None:
    before = [path.read_bytes() for path in sides]
    out = tmp_path / "both.json"
    words = [word for side in choose for word in ("--choose", side)]
    assert main(["merge", *map(str, sides), "-o", str(out), *words]) == Exit.FINE
    made = load_map(out)
    assert notes(made) == ["anna", "ben", wanted]
    assert made.revisions[-1].reason == "Merged theirs.json"
    assert [path.read_bytes() for path in sides] == before
    assert main(["merge", *map(str, sides), "-o", str(out), *words]) == Exit.USAGE


@pytest.mark.slow
def test_in_a_terminal_it_is_asked(
    sides: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Typed(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    out = tmp_path / "both.json"
    monkeypatch.setattr(sys, "stdin", Typed(""))
    assert main(["merge", *map(str, sides), "-o", str(out)]) == Exit.FINDINGS
    assert not out.exists()
    monkeypatch.setattr(sys, "stdin", Typed("what?\nT\n"))
    assert main(["merge", *map(str, sides), "-o", str(out)]) == Exit.FINE
    assert capsys.readouterr().out.count("Which one holds?") == 3
    assert notes(load_map(out))[2] == "hot \x1b[31m"


@pytest.mark.slow
def test_what_neither_map_says_of_a_joint_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ours, theirs = (Path(shutil.copy(demo_map_path(), tmp_path / f"{name}.json")) for name in ("ours", "theirs"))
    for path, edit in (
        (ours, Insert(chain="playfield", after=9)),
        (theirs, Remove(chain="playfield", first=9, last=9)),
    ):
        map_ = load_map(path)
        path.write_bytes(render_map(renumber(map_, [edit], time=NOW, reason="Soldered")))
    words = ["merge", str(ours), str(theirs), "-o", str(tmp_path / "both.json"), "--choose", "ours"]
    assert main([*words, "--dry-run", "--json"]) == Exit.FINE
    told = json.loads(capsys.readouterr().out)["told"]
    assert any("joint from 8 (9th) to 9 (10th): in neither map, and nobody has looked at it" in line for line in told)
    assert main(words) == Exit.FINE
    said = capsys.readouterr().out
    assert all(line in said for line in told)
    assert "lines in all" not in said, "few lines are printed one by one"


@pytest.mark.slow
def test_many_joints_that_are_told_of_are_summed_up_with_where_each_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ours, theirs, both = (str(tmp_path / f"{name}.json") for name in ("ours", "theirs", "both its"))
    map_ = load_map(demo_map_path())
    mine = renumber(map_, [Reverse(chain="playfield", first=30, last=50)], time=NOW, reason="Turned around")
    Path(ours).write_bytes(render_map(mine))
    for number in range(8, 60):
        joint = joint_at(map_.chain("playfield"), number)
        map_ = put_joint(map_, "playfield", joint.model_copy(update={"note": f"theirs {number}"}))
    swaps = [Swap(chain="playfield", one=12, other=44), Swap(chain="playfield", one=35, other=65)]
    Path(theirs).write_bytes(render_map(renumber(map_, swaps, time=NOW, reason="Exchanged")))
    assert main(["merge", ours, theirs, "-o", both]) == Exit.FINDINGS
    asked = capsys.readouterr().out
    assert "was: the order that both began with\n    ours: 20 pixels moved\n  theirs: 4 pixels moved\n" in asked
    assert "1 conflict is not decided: nothing was written." in asked
    assert "the same with --json prints each" in asked
    assert main(["merge", ours, theirs, "-o", both, "--choose", "ours"]) == Exit.FINE
    said = capsys.readouterr().out.splitlines()
    sums = [line for line in said if " joints noted by one side" in line or " joints in neither map" in line]
    (last,) = (line for line in said if "lines in all" in line)
    assert len(said) < 20
    assert f"playfield-probe revisions {shlex.quote(both)} prints each." in last
    assert main(["revisions", both]) == Exit.FINE
    told = [line for line in capsys.readouterr().out.splitlines() if "joint from" in line]
    assert int(last.split()[2]) == len(told)
    single = [line for line in said if line.startswith("Playfield, joint from")]
    assert sum(int(line.split()[0]) for line in sums) + len(single) == len(told), "none is left out of the count"
    assert all(any(line.partition("; the first: ")[2] in one for one in told) for line in sums)


@pytest.mark.parametrize("words", first_now(["3", "0=ours", "x=ours", "1=mine", "7=ours", "²=ours"], now=2))
def test_a_choice_that_is_none_is_refused(
    sides: tuple[Path, Path], tmp_path: Path, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "both.json"
    assert main(["merge", *map(str, sides), "-o", str(out), "--choose", words]) == Exit.USAGE
    if words == "7=ours":
        assert "there is 1 conflict\n" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.slow
def test_base_json_and_dry_run(sides: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["merge", *map(str, sides), "--base", str(demo_map_path()), "--dry-run", "--json"]) == Exit.FINDINGS
    said = json.loads(capsys.readouterr().out)
    assert [(c["number"], c["ours"], c["taken"]) for c in said["conflicts"]] == [(1, "cold", None)]
    assert said["written"] is None
    assert main(["merge", *map(str, sides)]) == Exit.USAGE


def test_a_shared_map_holds_nothing_of_our_wiring_and_can_be_merged_back(tmp_path: Path) -> None:
    ours, shared, out = (tmp_path / name for name in ("ours.json", "shared.json", "out.json"))
    shutil.copy(demo_map_path(), ours)
    noted(ours, 3, "a private note")
    assert main(["export", str(ours), "--to", "shared-map", "-o", str(shared)]) == Exit.FINE
    map_, whole = load_map(shared), load_map(ours)
    assert "note" not in shared.read_text(encoding="utf-8")
    assert [(p.id, p.label, p.position) for p in map_.places] == [(p.id, p.label, p.position) for p in whole.places]
    assert map_.shapes == whole.shapes
    assert [lamp.name for lamp in map_.lamps] == [lamp.name for lamp in whole.lamps]
    held = {name for name in PlayfieldMap.model_fields if getattr(map_, name)}
    assert held == {"format", "version", "machine", "places", "shapes", "keep_outs", "lamps"}
    words = ["merge", str(ours), str(shared), "-o", str(out), "--choose", "ours"]
    assert main(words) == Exit.FINE
    assert load_map(out).chains == whole.chains
