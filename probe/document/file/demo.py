"""The demonstration maps that come with the program, in a checkout and in an installed package alike."""

from __future__ import annotations

from pathlib import Path

import probe

COMPLETE = "kelp_forest.json"
HALF = "kelp_forest_half.json"
LAMPS = "kelp_forest_lamps.csv"
_PACKAGE = Path(probe.__file__).parent


def demo_map_path(name: str = COMPLETE) -> Path:
    """The path of a demonstration file. Raises FileNotFoundError naming the places that were searched."""
    searched = [_PACKAGE / "demo_maps" / name, _PACKAGE.parent / "demo_maps" / name]
    for path in searched:
        if path.is_file():
            return path
    places = " and ".join(str(path.parent) for path in searched)
    raise FileNotFoundError(f"no demonstration file {name!r} in {places}: install the program again")
