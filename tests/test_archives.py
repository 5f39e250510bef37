"""Wheel and source archive: the licence is inside, tests and CI are not, and the archive builds the same wheel."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from email import message_from_string
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LICENCE = ROOT / "probe" / "LICENSE"
pytestmark = pytest.mark.slow


def build(kind: str, source: Path, into: Path) -> Path:
    command = [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", str(into)]
    done = subprocess.run(command, cwd=source, capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    (made,) = into.glob("*.whl" if kind == "wheel" else "*.tar.gz")
    return made


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The source archive's content."""
    home = tmp_path_factory.mktemp("unpacked")
    with tarfile.open(build("sdist", ROOT, tmp_path_factory.mktemp("sdist"))) as archive:
        archive.extractall(home, filter="data")
    (inside,) = home.iterdir()
    return inside


def test_the_source_archive_holds_what_builds_the_wheel_and_no_more(unpacked: Path) -> None:
    entries = {path.name for path in unpacked.iterdir()}
    own = {"probe", "device_protocol", "demo_maps", "README.md", "DEVELOPERS.md", "pyproject.toml"}
    assert own <= entries <= own | {"PKG-INFO", ".gitignore"}  # which hatchling adds
    assert (unpacked / "probe" / "LICENSE").read_bytes() == LICENCE.read_bytes()
    assert not [path for path in unpacked.rglob("*") if path.name in ("tests", ".ci", "conftest.py", "__pycache__")]


def test_the_source_archive_builds_the_wheel_that_the_sources_build(unpacked: Path, tmp_path: Path) -> None:
    contents = []
    for source, folder in ((ROOT, "ours"), (unpacked, "theirs")):
        (tmp_path / folder).mkdir()
        with zipfile.ZipFile(build("wheel", source, tmp_path / folder)) as archive:
            contents.append({name: archive.read(name) for name in archive.namelist() if not name.endswith("RECORD")})
    ours, theirs = contents
    assert ours == theirs
    (licence,) = [name for name in ours if ".dist-info/licenses/" in name]
    assert ours[licence] == LICENCE.read_bytes()
    (about,) = [ours[name].decode() for name in ours if name.endswith(".dist-info/METADATA")]
    assert message_from_string(about)["License-Expression"] == "MIT"
    assert b"Permission is hereby granted, free of charge" in ours[licence]
    assert not [name for name in ours if name.startswith(("tests", ".ci", "."))]
