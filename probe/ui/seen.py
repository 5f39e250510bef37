"""In the demo: what a person would see under the glass, in words."""

from __future__ import annotations

from textual.content import Content

from probe.document.model import PlayfieldMap
from probe.document.plural import many
from probe.ui.text import plain

MOST_NAMES = 3


def under_the_glass(truth: PlayfieldMap | None, seen: tuple[tuple[str, str], ...], at: str | None = None) -> Content:
    """A line about what is lit; empty with a real board. `seen` holds (place id, colour word) pairs.

    `at`: the place of the marked row, if there is one: then what is lit there comes first.
    """
    if truth is None:
        return Content("")
    place = truth.place_by_id.get(at) if at is not None else None
    if place is not None:
        colours = " and ".join(word for place_id, word in seen if place_id == at) or "dark"
        others = len({place_id for place_id, _ in seen} - {at})
        rest = f"; {many(others, 'other place')} lit" if others else "; nothing else is lit"
        return plain(f"Under the glass, {place.label}: {colours}{rest}")
    if not seen:
        return Content("Under the glass: nothing lit")
    words = []
    for place_id, colour in seen[:MOST_NAMES]:
        place = truth.place_by_id.get(place_id)
        words.append(f"{place.label if place else place_id} ({colour})")
    head = "Under the glass: "
    if len(seen) > MOST_NAMES:  # how many comes first: the names may be cut off
        head = f"Under the glass ({len(seen)} lit): "
        words.append("…")
    return plain(head + ", ".join(words))
