"""The records of a map: machine, chains, pixels, places, lamps, and what is noted of wiring, light and the game.

Every record is frozen and refuses a field it does not know. Nothing here reads or writes a file. Annotations are no texts in
this room (no `from __future__`): evaluating them one by one took a fifth of the time to load the records.
"""

from probe.document.model.playfield import (
    BYTE_ORDERS,
    FORMAT_NAME,
    FORMAT_VERSION,
    MAX_PIXELS,
    MAX_TEXT,
    Bookmark,
    ByteOrder,
    Chain,
    Kind,
    Lamp,
    Machine,
    Pixel,
    PixelState,
    Place,
    PlayfieldMap,
    Position,
    Record,
    Revision,
    shown_number,
    storable,
)
from probe.document.model.record import once_for_each
from probe.document.model.shape import Shape, ShapeKind

__all__ = [
    "BYTE_ORDERS",
    "FORMAT_NAME",
    "FORMAT_VERSION",
    "MAX_PIXELS",
    "MAX_TEXT",
    "Bookmark",
    "ByteOrder",
    "Chain",
    "Kind",
    "Lamp",
    "Machine",
    "Pixel",
    "PixelState",
    "Place",
    "PlayfieldMap",
    "Position",
    "Record",
    "Revision",
    "Shape",
    "ShapeKind",
    "once_for_each",
    "shown_number",
    "storable",
]
