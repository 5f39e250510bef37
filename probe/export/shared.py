"""A map for another owner of the same machine: where light is seen and which lamp means it, nothing of our own wiring."""

from __future__ import annotations

from probe.document.file.layout import render_map
from probe.document.model import PlayfieldMap


def shared_copy(map_: PlayfieldMap) -> PlayfieldMap:
    """Machine, lamp list, places with their positions, the drawing, and what wire keeps clear of; no chain, power, light, note, proof or history."""
    places = tuple(
        place.model_copy(update={"note": "", "level": None, "colour": "", "depth_mm": None, "diffuser": False})
        for place in map_.places
    )
    return PlayfieldMap(
        machine=map_.machine.model_copy(update={"note": ""}),
        places=places,
        shapes=map_.shapes,
        keep_outs=map_.keep_outs,
        lamps=tuple(lamp.model_copy(update={"note": ""}) for lamp in map_.lamps),
    )


def write_shared(map_: PlayfieldMap) -> str:
    """That copy as the content of a map file."""
    return render_map(shared_copy(map_)).decode("utf-8")
