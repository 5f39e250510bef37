"""kill -9 at random moments: no acknowledged label is lost, and the file always loads."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
KILLS = 250


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_no_acknowledged_label_is_lost(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tests.document.file.kill_walk", str(KILLS), str(tmp_path / "kelp.json"), "7"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    sums = json.loads(done.stdout)
    assert sums["kills"] == KILLS
    assert sums["answers"] > KILLS // 2  # it did work between the kills
    assert sums["leftovers"] > 0  # some of them hit a save in the middle
    assert sums["left"] == []
