"""What the screen shows as an SVG file, for posts and logs: no outside font, no network reference."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from textual.app import App

from probe.document.file import save_copy

_FONT_FACE = re.compile(r"@font-face\s*\{.*?\}", re.DOTALL)
MOST = 1_000


def screen_svg(app: App[Any]) -> str:
    """The screen as an SVG document that opens anywhere, offline."""
    svg = _FONT_FACE.sub("", app.export_screenshot(title="playfield-probe"))
    return svg.replace("Fira Code,", "").replace("Fira Code", "monospace")


def free_name(beside: Path) -> Path:
    """`kelp-screen-1.svg` beside `kelp.json`, or the next number that is free. Raises FileExistsError after 1,000."""
    for number in range(1, MOST + 1):
        path = beside.with_name(f"{beside.stem}-screen-{number}.svg")
        if not path.exists():
            return path
    raise FileExistsError(f"{MOST} pictures lie beside {beside}: move some away")


def save_screen(app: App[Any], *, beside: str) -> Path:
    """Save the screen beside a map file (in the working folder if there is none). Raises OSError or StorageError."""
    where = free_name(Path(beside) if beside else Path.cwd() / "playfield-probe.json")
    save_copy(where, screen_svg(app).encode("utf-8"))
    return where
