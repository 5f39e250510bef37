"""The package opens nothing, reads no clock and starts nothing: what it imports shows it."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import device_protocol

FOLDER = Path(device_protocol.__file__).parent
SOURCES = [*FOLDER.glob("*.py"), *FOLDER.glob("orders/*.py"), *FOLDER.glob("board/*.py")]
FORBIDDEN = {
    "asyncio",
    "datetime",
    "multiprocessing",
    "os",
    "probe",
    "random",
    "select",
    "selectors",
    "serial",
    "serial_asyncio",
    "signal",
    "socket",
    "subprocess",
    "textual",
    "threading",
    "time",
}
LOADED_NEVER = ("serial", "serial_asyncio", "asyncio", "socket", "selectors", "subprocess", "textual", "probe")


def test_no_file_imports_a_port_a_clock_or_a_thread() -> None:
    files = sorted(SOURCES)
    assert len(files) >= 10
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{file.name}: imports by full name only"
                names = [node.module or ""]
            for name in names:
                assert name.split(".")[0] not in FORBIDDEN, f"{file.name} imports {name}"


def test_a_clean_interpreter_loads_none_of_them() -> None:
    modules = [
        ".".join(file.relative_to(FOLDER.parent).with_suffix("").parts)
        for file in sorted(SOURCES)
        if file.stem != "__init__"
    ]
    program = (
        "import sys\n"
        f"sys.path.insert(0, {str(FOLDER.parent)!r})\n"
        "before = set(sys.modules)\n"
        f"import device_protocol, {', '.join(modules)}\n"
        "print(*sorted(set(sys.modules) - before))\n"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", program], check=True, capture_output=True, text=True, timeout=60
    )
    loaded = set(done.stdout.split())
    assert "device_protocol.session" in loaded
    assert not {name for name in loaded if name.split(".")[0] in LOADED_NEVER}
