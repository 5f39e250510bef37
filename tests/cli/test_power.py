"""`playfield-probe power` and `playfield-probe harness`."""

from __future__ import annotations

import itertools
import json
import shutil
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.document.file import demo_map_path, load_map, save_copy
from probe.document.file.layout import render_map
from probe.document.model import PlayfieldMap
from probe.document.model.harness import JoinedTo
from probe.document.wiring import joint_at, put, put_joint
from tests.document.strategies import HOSTILE
from tests.support.examples import first_now, in_groups


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return Path(shutil.copy(demo_map_path(), tmp_path / "kelp.json"))


def saved(path: Path, map_: PlayfieldMap) -> str:
    save_copy(path, render_map(map_))
    return str(path)


def test_the_report_of_a_sound_plan(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["power", str(demo)]) == Exit.FINE
    out = capsys.readouterr().out
    assert out.startswith("Findings: nothing to mend")
    assert "4.50 ┤" in out
    assert "▲Board end@0" in out
    assert "Never connect the computer's USB 5 V" in out
    assert max(map(len, out.splitlines())) <= 100
    assert main(["power", str(demo), "--ascii"]) == Exit.FINE
    assert "┤" not in capsys.readouterr().out


def test_a_fuse_that_protects_nothing_is_exit_code_1(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    map_ = load_map(demo)
    path = saved(demo, put(map_, map_.feeds[0].model_copy(update={"fuse_a": 20.0})))
    assert main(["power", path]) == Exit.FINDINGS
    assert "STOP  Board end: the 20 A fuse does not protect" in capsys.readouterr().out
    assert main(["power", path, "--json"]) == Exit.FINDINGS
    data = json.loads(capsys.readouterr().out)
    assert data["must_stop"] is True
    assert data["findings"][0]["code"] == "fuse-too-large"


@pytest.mark.slow
def test_the_sheet_and_a_joint_of_unlike_functions(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["harness", str(demo)]) == Exit.FINE
    out = capsys.readouterr().out
    assert out.index("plug out of the wall") < out.index("joint board to 0"), "cautions first"
    flat = " ".join(out.split())
    assert "join data out of pixel 78 (its blue) to data in of pixel 79 (its yellow)" in flat
    map_ = load_map(demo)
    joint = joint_at(map_.chain("playfield"), 79).model_copy(update={"data_to": JoinedTo.GROUND})
    path = saved(demo, put_joint(map_, "playfield", joint))
    assert main(["harness", path]) == Exit.FINDINGS
    assert "1 refused." in capsys.readouterr().out
    assert main(["harness", path, "--json"]) == Exit.FINDINGS
    assert json.loads(capsys.readouterr().out)["refused"] == 1


@pytest.mark.parametrize("texts", first_now(in_groups(HOSTILE, of=6)), ids=str)
def test_hostile_names_stay_names(texts: tuple[str, ...], demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    each = itertools.cycle(texts)
    map_ = load_map(demo)
    map_ = put(map_, map_.feeds[0].model_copy(update={"name": next(each)}))
    map_ = put(map_, map_.supplies[0].model_copy(update={"name": next(each)}))
    map_ = put(map_, map_.batches[0].model_copy(update={"name": next(each), "data_out": next(each)}))
    chains = tuple(c.model_copy(update={"name": next(each)}) for c in map_.chains)
    places = tuple(p.model_copy(update={"label": next(each)}) for p in map_.places)
    path = saved(demo, map_.model_copy(update={"chains": chains, "places": places}))
    for words in (["power", path], ["harness", path], ["power", path, "--json"], ["harness", path, "--json"]):
        assert main(words) == Exit.FINE
        out = capsys.readouterr().out
        assert all(character == "\n" or character.isprintable() for character in out)


def test_a_map_without_pixels(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "empty.json"
    path.write_text('{"format": "playfield-probe map", "version": 2, "machine": {"name": "Kelp Forest"}}', "utf-8")
    assert main(["power", str(path)]) == Exit.FINDINGS
    assert "no chain with pixels" in capsys.readouterr().out
    assert main(["harness", str(path)]) == Exit.FINE
