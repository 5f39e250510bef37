"""The floors hold: what may import what, and what the protocol and the pure parts must never pull in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.tools import require

ROOT = Path(__file__).resolve().parent.parent
IO_MODULES = ("serial", "serial_asyncio", "asyncio", "threading", "socket", "textual", "time", "subprocess")
PURE = (
    "document",
    "task",
    "mapping",
    "planning",
    "game",
    "inference",
    "recheck",
    "harness",
    "faults",
    "patterns",
    "lighting",
    "boardcheck",
    "evenings",
    "playfield",
    "practice",
    "program",
)


@pytest.mark.slow
@pytest.mark.parametrize("given", [None, "2"])
def test_numpy_keeps_to_one_thread_unless_it_is_told_otherwise(given: str | None) -> None:
    """Its threads spin while they wait: planning took twice the processor time with two."""
    code = (
        "import probe, numpy, os; one = numpy.ones((600, 600)); one @ one; "
        "print(os.environ['OPENBLAS_NUM_THREADS'], len(os.listdir('/proc/self/task')))"
    )
    environment = {key: value for key, value in os.environ.items() if key != "OPENBLAS_NUM_THREADS"}
    environment |= {} if given is None else {"OPENBLAS_NUM_THREADS": given}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    told, threads = done.stdout.split()
    assert told == (given or "1")
    assert given is not None or threads == "1"


def test_import_contracts_hold() -> None:
    done = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports"))], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("package", PURE)
def test_pure_parts_name_no_ports_clocks_or_screens(package: str) -> None:
    """Their own source imports none of these (libraries they use may)."""
    here = ROOT / "probe" / package
    impure = {here / "file", here / "settings.py"}
    files = [file for file in sorted(here.rglob("*.py")) if not impure & {file, *file.parents}]
    assert files
    for file in files:
        for line in file.read_text(encoding="utf-8").splitlines():
            words = line.split()
            if len(words) >= 2 and words[0] in ("import", "from"):
                assert words[1].split(".")[0] not in IO_MODULES, f"{file}: {line}"


def test_the_protocol_loads_in_a_clean_interpreter_without_ports_clocks_or_threads() -> None:
    code = (
        "import sys, pkgutil, importlib, device_protocol\n"
        "before = set()\n"
        "for found in pkgutil.walk_packages(device_protocol.__path__, 'device_protocol.'):\n"
        "    importlib.import_module(found.name)\n"
        "bad = [m for m in ('serial', 'serial_asyncio', 'asyncio', 'socket', 'textual', 'pydantic', 'numpy', 'probe')"
        " if m in sys.modules]\n"
        "sys.exit(','.join(bad) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "arguments", [["--version"], ["--help"], ["ports", "--json"], ["check", "demo_maps/kelp_forest.json"]]
)
def test_textual_is_not_imported_without_a_screen(arguments: list[str]) -> None:
    code = (
        "import sys\n"
        "from probe.__main__ import main\n"
        "try:\n"
        f"    main({arguments!r})\n"
        "except SystemExit:\n"
        "    pass\n"
        "sys.exit('textual' if 'textual' in sys.modules else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_only_the_fixed_entries_at_the_top() -> None:
    require("git")
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout: git does not know what belongs to the project")
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in listed if name}
    fixed = {"pyproject.toml", "README.md", "DEVELOPERS.md", "probe", "device_protocol", "tests", "demo_maps"}
    assert {name for name in top if not name.startswith(".")} <= fixed
