"""The demo's machine after an evening at the soldering iron: two pixels more than its finished map knows of."""

from __future__ import annotations

from probe.document.edit_text import parse_edits
from probe.document.edits import apply_edits
from probe.document.model import Kind, PlayfieldMap, Position
from probe.document.operations import add_place, assign_place

AFTER = "Reef lane 2"
NEW = ("Reef pearl", "Reef arrow")
CHAIN = "playfield"


def spliced(map_: PlayfieldMap) -> PlayfieldMap:
    """The complete map with `NEW` spliced in after `AFTER`, so that every later number of that chain is two higher."""
    at = next(p.position for p in map_.places if p.label == AFTER) or Position(x_mm=0.0, y_mm=0.0)
    made = apply_edits(map_, parse_edits(map_, [f"{len(NEW)} new after {AFTER}"]), made_on="")
    known = {pixel.id for chain in map_.chains for pixel in chain.pixels}
    fresh = [n for n, pixel in enumerate(made.chain_by_id[CHAIN].pixels) if pixel.id not in known]
    for row, (number, label) in enumerate(zip(fresh, NEW, strict=True), start=1):
        where = Position(x_mm=at.x_mm, y_mm=at.y_mm - 30.0 * row)
        made, place = add_place(made, label, area="Reef", kind=Kind.INSERT, position=where)
        made = assign_place(made, CHAIN, number, place.id)
    return made
