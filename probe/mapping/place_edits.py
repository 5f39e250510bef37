"""Changing the place that a pixel lights: its kind, its area, its position."""

from __future__ import annotations

from dataclasses import replace

from probe.document.model import Kind, Position
from probe.document.operations import update_place
from probe.mapping.walk_state import Moment, Walk
from probe.task.steps import MOST_UNDO, Effect, SaveMap


def change_kind(walk: Walk, by: int) -> tuple[Walk, tuple[Effect, ...]]:
    """The place's kind, so many on in the list of kinds."""
    kinds = list(Kind)
    place = walk.place
    current = place.kind if place else walk.next_kind
    kind = kinds[(kinds.index(current) + by) % len(kinds)]
    return _edit_place(replace(walk, kind=kind), {"kind": kind}, f"kind: {kind.value}")


def change_area(walk: Walk, area: str) -> tuple[Walk, tuple[Effect, ...]]:
    """The place's area; empty for none."""
    return _edit_place(replace(walk, area=area), {"area": area}, f"area: {area or 'none'}")


def put_at(walk: Walk, position: Position) -> tuple[Walk, tuple[Effect, ...]]:
    """The place's position, in mm from the front left corner."""
    words = f"position {position.x_mm:.0f}, {position.y_mm:.0f} mm"
    return _edit_place(replace(walk, put_at=position), {"position": position}, words)


def _edit_place(walk: Walk, update: dict[str, object], words: str) -> tuple[Walk, tuple[Effect, ...]]:
    """Change the place that this pixel lights, if it has one; else the change waits for the place named next."""
    place = walk.place
    if place is None:
        return replace(walk, message=f"{words}, for the next new place"), ()
    m = update_place(walk.map, place.model_copy(update=update))
    moment = Moment(walk.map, walk.chain, walk.number)
    return replace(walk, map=m, past=(*walk.past, moment)[-MOST_UNDO:], future=(), message=words), (SaveMap(m),)
