"""What is loaded by the time something is seen: the rest of the program waits until it is asked for."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path

import pexpect
import pytest

from probe.cli.parser import COMMANDS, build_parser
from tests.support.examples import first_now
from tests.support.settings import settings_in

ROOT = Path(__file__).resolve().parents[2]
NOT_YET = (
    *("numpy", "scipy", "serial", "serial_asyncio", "rapidfuzz", "shtab", "email", "importlib.metadata"),
    *("probe.document.checks", "probe.document.needs", "probe.document.proving", "probe.document.lamp_table"),
    *("device_protocol.board", "device_protocol.orders", "device_protocol.session"),
    *("probe.boardcheck", "probe.export", "probe.faults", "probe.game", "probe.harness", "probe.inference"),
    *("probe.lighting", "probe.link.link", "probe.patterns", "probe.practice", "probe.program", "probe.recheck"),
    *("probe.mapping.history", "probe.mapping.new_map", "probe.mapping.table"),
)
"""Parts and packages that the first screen of the demo does not need."""

MOST_MODULES = 95
"""Modules of ours that the first screen loads, at most: each costs as much as a part of the picture."""
MOST_COMPILED = 8
"""Dataclasses among them that the library compiles when they are loaded, at most (those that others derive from)."""

_AT_THE_FIRST_PICTURE = """
import pathlib, sys
from probe.ui.terminal import TerminalDriver

def write(self, data, write=TerminalDriver.write):
    found = pathlib.Path("modules.txt")
    if "What lights?" in data and not found.exists():
        found.write_text("\\n".join(sys.modules))
        compiled = [
            f"{name}.{kind.__qualname__}"
            for name, module in list(sys.modules.items()) if name.startswith(("probe.", "device_protocol."))
            for kind in vars(module).values()
            if isinstance(kind, type) and kind.__module__ == name and "__dataclass_params__" in vars(kind)
            if kind.__dataclass_params__.init
        ]
        pathlib.Path("compiled.txt").write_text("\\n".join(compiled))
    write(self, data)

TerminalDriver.write = write
sys.argv = ["playfield-probe", "demo"]
from probe.__main__ import main
sys.exit(main())
"""


def parts_in(loaded: list[str], parts: tuple[str, ...]) -> set[str]:
    """Those of `parts` that are loaded, or of which something is."""
    return {part for part in parts for name in loaded if name == part or name.startswith(f"{part}.")}


@pytest.mark.slow
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
    ours = [name for name in loaded if name.partition(".")[0] in ("probe", "device_protocol")]
    assert len(ours) <= MOST_MODULES, ours
    compiled = (tmp_path / "compiled.txt").read_text().split()
    assert len(compiled) <= MOST_COMPILED, f"`probe.frozen` serves here, and is compiled when it is used: {compiled}"


def test_the_version_is_said_without_loading_anything() -> None:
    code = "import sys; from probe.__main__ import main; main(['--version']); print(*sys.modules, sep='\\n', file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("playfield-probe ")
    ours = {name for name in done.stderr.split() if name.split(".")[0] in ("probe", "device_protocol")}
    assert ours == {"probe", "probe.__main__"}
    assert not parts_in(done.stderr.split(), ("argparse", "asyncio", "pydantic", "textual", "rich", "typing"))


@pytest.mark.parametrize("command", first_now(COMMANDS, now=11))
def test_a_command_s_grammar_alone_is_the_same_as_among_all(command: str) -> None:
    def grammar(of: argparse.ArgumentParser) -> str:
        commands = next(a for a in of._actions if isinstance(a, argparse._SubParsersAction))
        return str(commands.choices[command].format_help())

    alone = build_parser(command)
    assert grammar(alone) == grammar(build_parser())
    assert alone.format_usage() == build_parser().format_usage()


@pytest.mark.slow
def test_no_plugin_of_pydantic_is_looked_for_yet_its_loader_is_there_when_asked() -> None:
    code = """
import sys
from probe.__main__ import _leave_plugins_out
_leave_plugins_out()
from probe.document.file import demo_map_path, load_map
load_map(demo_map_path())
assert "importlib.metadata" not in sys.modules
from pydantic.plugin._loader import PYDANTIC_ENTRY_POINT_GROUP, get_plugins
assert (PYDANTIC_ENTRY_POINT_GROUP, get_plugins()) == ("pydantic", ())
"""
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)
