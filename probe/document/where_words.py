"""Where a finding is, in words."""

from __future__ import annotations

from probe.document.checks import Where
from probe.document.model import PlayfieldMap, shown_number


def where_words(m: PlayfieldMap, where: Where) -> str:
    """`Playfield 14 (15th), Reef lane 2, lamp 8`, as far as the finding says; `the map` if it is about all of it."""
    words = []
    chain = m.chain_by_id.get(where.chain) if where.chain is not None else None
    name = chain.name if chain is not None else where.chain
    if where.number is not None:
        words.append(f"{name or 'pixel'} {shown_number(where.number)}")
    elif name is not None:
        words.append(name)
    if where.place is not None:
        place = m.place_by_id.get(where.place)
        words.append(place.label if place is not None else where.place)
    if where.lamp is not None:
        words.append(f"lamp {where.lamp}")
    return ", ".join(words) or "the map"
