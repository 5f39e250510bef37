"""Files of any size and depth: refused or read in a bounded time and memory, which a long run states."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from probe.cli.outcome import Exit
from probe.document.file import DamagedFileError, load_map, reading
from probe.document.file.reading import find
from probe.document.model import FORMAT_NAME, FORMAT_VERSION

ROOT = Path(__file__).resolve().parents[2]
MEMORY_BYTES = 2_000_000_000
PLACES = 400_000


def checked(path: Path) -> tuple[int, str]:
    """The exit code and the output of a check, with no more memory than `MEMORY_BYTES`."""
    done = subprocess.run(
        [sys.executable, "-m", "probe", "check", str(path)], cwd=ROOT, capture_output=True, text=True, check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES)),
    )  # fmt: skip
    print(f"{path.name}: {path.stat().st_size / 1e6:.1f} MB; {resource.getrusage(resource.RUSAGE_CHILDREN)}")
    return done.returncode, done.stdout + done.stderr


def map_of_places(path: Path, count: int, kind: str) -> Path:
    places = [{"id": f"p{number}", "label": f"Otter {number}", "kind": kind} for number in range(count)]
    chain = {"id": "c0", "name": "left", "output": 0, "count": 1, "pixels": [{"id": "x0"}]}
    content = {
        "format": FORMAT_NAME, "version": FORMAT_VERSION, "machine": {"name": "Kelp Forest"},
        "places": places, "chains": [chain],
    }  # fmt: skip
    path.write_text(json.dumps(content, indent=0), encoding="utf-8")
    return path


def test_the_first_fault_is_found_without_looking_for_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[object] = []

    def counted(text: str, path: Sequence[str | int]) -> int:
        looked.append(path)
        return find(text, path)

    monkeypatch.setattr(reading, "find", counted)
    path = map_of_places(tmp_path / "kelp.json", 5_000, "no such kind")
    with pytest.raises(DamagedFileError, match=r"places\[0\]\.kind.*4999 more"):
        load_map(path)
    assert len(looked) < 60


def test_the_fault_named_is_the_first_in_the_file(tmp_path: Path) -> None:
    path = map_of_places(tmp_path / "kelp.json", 30, "insert")
    content = json.loads(path.read_text(encoding="utf-8"))
    for number, kind in ((20, "later"), (7, "earlier")):
        content["places"][number]["kind"] = kind
    content["places"][9] = {"label": 9, **content["places"][9]}
    path.write_text(json.dumps(content, indent=0), encoding="utf-8")
    with pytest.raises(DamagedFileError, match=r"places\[7\]\.kind.*earlier"):
        load_map(path)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.timeout(1_800)  # of processor time it takes a minute; a busy machine gives it slowly
def test_great_files(tmp_path: Path) -> None:
    """By hand: `python -m pytest -s -m slow tests/hostile/test_sizes.py`."""
    great = tmp_path / "great.json"
    great.write_text('{"note": "' + "a" * 100_000_000 + '"}', encoding="utf-8")
    code, said = checked(great)
    assert code == Exit.FILE
    assert "far too long" in said
    great.unlink()
    deep = tmp_path / "deep.json"
    deep.write_text("[" * 100_000 + "]" * 100_000, encoding="utf-8")
    code, said = checked(deep)
    assert code == Exit.FILE
    assert "nested far too deep" in said
    code, said = checked(map_of_places(tmp_path / "wrong.json", PLACES, "no such kind"))
    assert code == Exit.FILE
    assert f"and {PLACES - 1} more" in said
    code, said = checked(map_of_places(tmp_path / "right.json", PLACES, "insert"))
    assert f"{PLACES} warnings" in said
