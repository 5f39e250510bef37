"""What storage needs beside its code comes along in the wheel, and is found there."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
LOOK = """
import json, sys
from pathlib import Path
from probe.export import read_lamp_list
from probe.export.schema import EXPORT_SCHEMA
from probe.document.file import demo_map_path, load_map
from probe.document.file.schema import MAP_SCHEMA
home = Path(sys.argv[1]).resolve()
for name in ("kelp_forest.json", "kelp_forest_half.json"):
    path = demo_map_path(name)
    assert path.is_relative_to(home), path
    assert len(load_map(path).chains) == 2
assert len(read_lamp_list(demo_map_path("kelp_forest_lamps.csv").read_bytes())) >= 60
for path in (MAP_SCHEMA, EXPORT_SCHEMA):
    assert path.is_relative_to(home), path
    json.loads(path.read_text(encoding="utf-8"))
print("found")
"""


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel's content in a folder of its own."""
    built = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(built)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 0, f"the wheel cannot be built (is hatchling installed?): {done.stdout}{done.stderr}"
    (wheel,) = built.glob("*.whl")
    home = tmp_path_factory.mktemp("home")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(home)
    return home


@pytest.mark.slow
def test_demonstrations_and_schemas_are_found_in_the_wheel(unpacked: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(unpacked)!r})\n{LOOK}", str(unpacked)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stdout) == (0, "found\n"), done.stderr


def test_nothing_slips_into_the_demonstrations(unpacked: Path) -> None:
    assert {path.name for path in (unpacked / "probe" / "demo_maps").iterdir()} == {
        "kelp_forest.json", "kelp_forest_half.json", "kelp_forest_lamps.csv",
    }  # fmt: skip
