"""What is loaded by the time something is seen: the rest of the program waits until it is asked for."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pexpect
import pytest

from tests.support.settings import settings_in

ROOT = Path(__file__).resolve().parents[2]
NOT_YET = (
    *("numpy", "scipy", "serial", "serial_asyncio", "rapidfuzz", "shtab"),
    *("device_protocol.board", "device_protocol.orders", "device_protocol.session"),
    *("probe.boardcheck", "probe.export", "probe.faults", "probe.game", "probe.harness", "probe.inference"),
    *("probe.lighting", "probe.link.link", "probe.patterns", "probe.practice", "probe.program", "probe.recheck"),
    *("probe.mapping.history", "probe.mapping.table"),
)
"""Parts and packages that the first screen of the demo does not need."""

_AT_THE_FIRST_PICTURE = """
import pathlib, sys
from probe.ui.terminal import TerminalDriver

def write(self, data, write=TerminalDriver.write):
    found = pathlib.Path("modules.txt")
    if "What lights?" in data and not found.exists():
        found.write_text("\\n".join(sys.modules))
    write(self, data)

TerminalDriver.write = write
sys.argv = ["playfield-probe", "demo"]
from probe.__main__ import main
sys.exit(main())
"""


def parts_in(loaded: list[str], parts: tuple[str, ...]) -> set[str]:
    """Those of `parts` that are loaded, or of which something is."""
    return {part for part in parts for name in loaded if name == part or name.startswith(f"{part}.")}


def test_the_first_screen_loads_nothing_that_it_does_not_show(tmp_path: Path) -> None:
    if sys.platform == "win32":
        pytest.skip("no pseudo-terminal there")
    child = pexpect.spawn(
        sys.executable, ["-c", _AT_THE_FIRST_PICTURE], cwd=str(tmp_path), timeout=60, dimensions=(24, 80), encoding="utf-8",
        env={**os.environ, "PYTHONPATH": str(ROOT), "PLAYFIELD_PROBE_SETTINGS": settings_in(tmp_path),
             "TERM": "xterm-256color", "XDG_STATE_HOME": str(tmp_path), "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    try:
        child.expect_exact("What lights?")
        child.expect_exact("LIT")  # what was put off is there in the end
        child.sendcontrol("q")
        child.expect(pexpect.EOF)
    finally:
        child.close(force=True)
    loaded = (tmp_path / "modules.txt").read_text().split()
    assert "probe.mapping.walk" in loaded
    assert not parts_in(loaded, NOT_YET)


def test_the_version_is_said_without_loading_anything() -> None:
    code = "import sys; from probe.__main__ import main; main(['--version']); print(*sys.modules, sep='\\n', file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("playfield-probe ")
    ours = {name for name in done.stderr.split() if name.split(".")[0] in ("probe", "device_protocol")}
    assert ours == {"probe", "probe.__main__"}
    assert not parts_in(done.stderr.split(), ("argparse", "asyncio", "pydantic", "textual", "rich", "typing"))
