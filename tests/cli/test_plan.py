"""`playfield-probe plan`: orders, splices, repairs and whether the wire is long enough."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document.edits import Remove, apply_edits
from probe.document.file import demo_map_path, load_map, save_copy
from probe.document.file.layout import render_map
from probe.document.wiring import joint_at, put_joint


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return Path(shutil.copy(demo_map_path(), tmp_path / "kelp.json"))


@pytest.mark.slow
def test_a_plan_in_words_as_json_and_as_a_table(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = demo.read_bytes()
    assert main(["plan", str(demo), "--effort", "quick"]) == Exit.FINE
    out = capsys.readouterr().out
    assert out.startswith("Plan of the playfield: 80 pixels, way 5.")
    assert "plug out of the wall" in out
    assert "as it is" in out
    assert main(["plan", str(demo), "--effort", "quick", "--least", "--json"]) == Exit.FINE
    data = json.loads(capsys.readouterr().out)
    assert data["as_it_is"]["way_mm"] == pytest.approx(7_231.46, abs=0.1)
    assert data["way_mm"] < 0.75 * data["as_it_is"]["way_mm"]
    assert len(data["stretches"]) == 80
    assert main(["plan", str(demo), "--effort", "quick", "--part", "backbox", "--chains", "2", "--csv"]) == Exit.FINE
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert {row["chain"] for row in rows} == {"backbox", "backbox-2"}
    assert demo.read_bytes() == before


def test_where_to_splice_what_lacks_a_pixel(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    map_ = load_map(demo)
    number = map_.pixels_at["reef-lane-2"][0][1]
    save_copy(demo, render_map(apply_edits(map_, [Remove(chain="playfield", first=number, last=number)])))
    assert main(["plan", str(demo), "--splice"]) == Exit.FINE
    out = capsys.readouterr().out
    assert "between 50 (51st) Reef lane 1 and 51 (52nd) Reef lane 3: Reef lane 2" in out
    assert "'Playfield: 1 new after #50'" in out
    assert "no number shifts" in out
    assert main(["plan", str(demo), "--splice", "REEF lane 2", "--json"]) == Exit.FINE
    found = json.loads(capsys.readouterr().out)
    assert found[0]["cuts"] == [{"after": 50, "places": ["reef-lane-2"]}]


@pytest.mark.slow
def test_a_dead_pixel_and_short_wire(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(demo), "--dead", "77"]) == Exit.FINE
    out = capsys.readouterr().out
    assert "replace it: a new pixel in its seat" in out
    lit = f"lights {load_map(demo).place_by_id['trench-eel-3'].label}: say so in the walk"
    assert [lit in line for line in out.splitlines() if "--change" in line] == [False, True, False]
    assert main(["plan", str(demo), "--slack"]) == Exit.FINE
    assert "long enough everywhere" in capsys.readouterr().out
    map_ = load_map(demo)
    joint = joint_at(map_.chain("playfield"), 10).model_copy(update={"length_mm": 90.0})
    save_copy(demo, render_map(put_joint(map_, "playfield", joint)))
    assert main(["plan", str(demo), "--slack", "--chain", "Playfield"]) == Exit.FINDINGS
    out = capsys.readouterr().out
    assert "Dive again: 90 mm noted" in out.splitlines()[0]
    assert "too short" in out.splitlines()[0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--dead", "84"], "has no pixel 84: its last one is 83"),
        (["--splice", "Nowhere"], "there is no place 'Nowhere'"),
        (["--slack", "--chain", "x"], "there is no chain 'x'"),
        (["--chains", "0"], "0 chains for 80 seats"),
    ],
)
def test_what_cannot_be_said_why(
    demo: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    assert main(["plan", str(demo), *arguments]) == Exit.USAGE
    assert words in capsys.readouterr().err
