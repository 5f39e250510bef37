"""The fault finder's commands: what they open, and the joint's sheet on standard output."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.cli.faults import chain_of, practise
from probe.cli.parser import build_parser
from probe.cli.run import run
from probe.document.file import MapFile
from probe.document.model import Bookmark, Chain, PlayfieldMap
from probe.document.model.harness import Batch
from probe.document.operations import add_chain, new_map, replace_chain, set_count
from probe.ui.launch import LaunchOptions


def two_chains() -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0))
    map_ = add_chain(map_, Chain(id="b", name="Backbox", output=1))
    map_ = set_count(set_count(map_, "a", 6), "b", 4)
    chain = map_.chain("a")
    pixels = tuple(pixel.model_copy(update={"batch": "bag"}) for pixel in chain.pixels)
    map_ = replace_chain(map_, chain.model_copy(update={"pixels": pixels}))
    batch = Batch(id="bag", name="First bag", five_volt="red", ground="white", data_in="green", data_out="blue")
    return map_.model_copy(update={"batches": (batch,)})


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "map.json"
    MapFile.create(path, two_chains()).close()
    return path


def test_the_chain_is_found_by_id_name_or_bookmark() -> None:
    map_ = two_chains()
    assert chain_of(map_, "b") == chain_of(map_, "Backbox") == "b"
    assert chain_of(map_, None) == "a"
    assert chain_of(map_.model_copy(update={"bookmark": Bookmark(chain="b", number=1)}), None) == "b"
    with pytest.raises(ValueError, match="there are a, b"):
        chain_of(map_, "c")
    with pytest.raises(ValueError, match="no chain yet"):
        chain_of(new_map("Kelp Forest"), None)


def test_the_sheet_of_a_joint_is_printed(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(build_parser().parse_args(["faults", str(file), "--joint", "3"])) == 0
    lines = capsys.readouterr().out
    assert "Joint between 2 (3rd) and 3 (4th)" in lines
    assert "data: the wire leaving 2 (3rd) (pad DOUT, blue) to the wire arriving at 3 (4th) (pad DIN, green)" in lines
    assert "unplugged" in lines


@pytest.mark.parametrize(
    "words", [["--joint", "6"], ["--joint", "-1"], ["--joint", "1", "--chain", "c"], ["--chain", "c"]]
)
def test_wrong_joints_and_chains_are_refused(file: Path, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(build_parser().parse_args(["faults", str(file), "--paper", *words])) == 2
    assert capsys.readouterr().err.startswith("playfield-probe: ")


def test_a_map_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(build_parser().parse_args(["faults", str(tmp_path / "none.json"), "--paper"])) == 2
    assert "walk" in capsys.readouterr().err
    assert not (tmp_path / "none.json").exists()


def test_practice_gives_the_same_fault_for_the_same_seed() -> None:
    rounds = [practise(LaunchOptions(), seed=seed, in_words=True) for seed in (7, 7, 8)]
    planted = [options.practice.planted.causes for options, _ in rounds if options.practice is not None]
    assert planted[0] == planted[1]
    assert all(session.make_link is not None and options.faults_on for options, session in rounds)
    assert practise(LaunchOptions(), seed=None, in_words=False)[0].in_words is False
