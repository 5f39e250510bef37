"""What light suits an insert or a kind of place: common practice and taste, from a table that names its sources."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from device_protocol.values import Colour
from probe.document.model import Place, PlayfieldMap
from probe.document.operations import folded
from probe.lighting.plastics import Tint, insert_tint

TABLE = Path(__file__).with_name("data") / "advice.csv"


@dataclass(frozen=True, slots=True)
class Advice:
    """A row of the table. `about`: insert, kind or warmth. `colour` at full level; `level` None: as it is."""

    about: str
    match: str
    colour: Colour
    level: int | None
    advice: str
    provenance: str


@cache
def table() -> tuple[Advice, ...]:
    """Every row, in order. Raises ValueError with the line for a table that cannot be read."""
    rows = []
    with TABLE.open(encoding="utf-8", newline="") as file:
        for line, row in enumerate(csv.DictReader(file), start=2):
            try:
                level = int(row["level"]) if row["level"] else None
                rows.append(
                    Advice(
                        row["about"],
                        row["match"],
                        Colour.from_text(row["colour"]),
                        level,
                        row["advice"],
                        row["provenance"],
                    )
                )
            except (KeyError, TypeError, ValueError) as error:
                raise ValueError(f"{TABLE.name}, line {line}: {error}") from error
    return tuple(rows)


def warmths() -> tuple[Advice, ...]:
    """Whites from warm to cool."""
    return tuple(row for row in table() if row.about == "warmth")


def tint_at(map_: PlayfieldMap, place: Place) -> Tint | None:
    """The plastic over a place, by the insert colours of its lamps; None where they say nothing or disagree."""
    return insert_tint(lamp.insert_colour for lamp in map_.lamps if lamp.number in place.lamps)


def advise(map_: PlayfieldMap, place: Place) -> Advice:
    """What suits a place: by the colour of its insert where a lamp of the list has one, else by its kind."""
    colours = {folded(lamp.insert_colour) for lamp in map_.lamps if lamp.number in place.lamps and lamp.insert_colour}
    rows = table()
    for colour in sorted(colours):
        words = set(colour.split())
        for row in rows:
            if row.about == "insert" and row.match in words:
                return row
    return next(row for row in rows if row.about == "kind" and row.match == place.kind.value)
