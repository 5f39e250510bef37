"""A chain of the map as the recheck's entries: the pixels in the order now predicted, then those said to be gone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from probe.document.edits import Edit, apply_edits
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap
from probe.recheck.engine.model import Prior, Setup

SHINING = frozenset({PixelState.PLACED})


@dataclass(frozen=True)
class Entries:
    """What the recheck starts from.

    `before` is the map on disk, `map` the same with the stated changes. Entry n is pixel n of the chain in `map`; the
    entries behind are pixels that were stated to be taken out and may be there yet.
    """

    before: PlayfieldMap
    map: PlayfieldMap
    chain_id: str

    @property
    def chain(self) -> Chain:
        """The chain with the stated changes."""
        return self.map.chain(self.chain_id)

    @cached_property
    def pixels(self) -> tuple[Pixel, ...]:
        """The pixel of each entry."""
        here = {pixel.id for pixel in self.chain.pixels}
        places = {pixel.place for pixel in self.chain.pixels}
        gone = (p for p in self.before.chain(self.chain_id).pixels if p.id not in here and p.place not in places)
        return (*self.chain.pixels, *gone)

    @cached_property
    def at_place(self) -> dict[str, tuple[int, ...]]:
        """For each place id where light is seen, its entries in order."""
        found: dict[str, list[int]] = {}
        for entry, pixel in enumerate(self.pixels):
            if pixel.place is not None and pixel.state in SHINING:
                found.setdefault(pixel.place, []).append(entry)
        return {place: tuple(entries) for place, entries in found.items()}

    def place(self, entry: int) -> Place | None:
        """Where an entry's light is seen; None if it is not seen."""
        pixel = self.pixels[entry]
        return self.map.place_of(pixel) if pixel.state in SHINING else None

    def like(self, entry: int) -> tuple[int, ...]:
        """The entries of the same place, this one among them."""
        place = self.pixels[entry].place
        return self.at_place.get(place or "", (entry,))

    def setup(self, *, declared: bool, most_numbers: int | None) -> Setup:
        """What the recheck is told. Pixels that nobody has named yet shine at places to be named."""
        length = len(self.chain.pixels)
        return Setup(
            order=tuple(range(length)),
            has_place=tuple(p.place is not None and p.state in SHINING for p in self.pixels),
            declared_new=frozenset(n for n, p in enumerate(self.chain.pixels) if p.state is PixelState.UNSEEN),
            most_numbers=most_numbers,
            alike=tuple(entries for entries in self.at_place.values() if len(entries) > 1),
            prior=Prior.after_declaration() if declared else Prior(),
        )


def entries_of(m: PlayfieldMap, chain_id: str, edits: Sequence[Edit]) -> Entries:
    """The entries of a chain after stated changes. Raises EditError."""
    return Entries(m, apply_edits(m, edits), chain_id)
