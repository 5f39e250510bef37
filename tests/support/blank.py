"""A map on disk of which nothing is known yet, for programs that are started on it."""

from __future__ import annotations

from pathlib import Path

from probe.document import operations as op
from probe.document.file import MapFile
from probe.document.model import Chain


def blank_map_file(path: Path, *, pixels: int) -> Path:
    """The file, with one chain `playfield` of that many unseen pixels on output 0."""
    map_ = op.add_chain(op.new_map("Kelp Forest"), Chain(id="playfield", name="Playfield", output=0))
    MapFile.create(path, op.set_count(map_, "playfield", pixels)).close()
    return path
