"""Settings of somebody who has run the program before."""

from __future__ import annotations

from pathlib import Path


def settings_in(folder: Path | str, name: str = "settings.json") -> str:
    """The path of a settings file in a folder, in which the question of the first run is answered if there was none."""
    path = Path(folder) / name
    if not path.exists():
        path.write_text('{"signs": "fine"}\n', encoding="utf-8")
    return str(path)
