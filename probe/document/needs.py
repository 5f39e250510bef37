"""What a map needs next, most useful first: computed from the map alone."""

from __future__ import annotations

from collections.abc import Iterator

from probe.document.checks import Severity, check_map
from probe.document.joining import open_rows
from probe.document.model import PixelState, PlayfieldMap
from probe.document.plural import many
from probe.document.proving import tally
from probe.document.revisions import changed_in
from probe.frozen import frozen


@frozen
class Need:
    """One thing to do: what in words, with figures in `detail`; the task that does it, on which chain and pixel."""

    task: str
    words: str
    detail: str = ""
    chain: str | None = None
    number: int | None = None


def needs(map_: PlayfieldMap) -> tuple[Need, ...]:
    """Unfinished rechecks; faults; chains changed but not looked at since; pixels unseen; lamps without a place; proof.

    Empty for a map without chains: it has to be set up first.
    """
    return tuple(_needs(map_)) if map_.chains else ()


def _needs(map_: PlayfieldMap) -> Iterator[Need]:
    begun = {kept.chain for kept in map_.rechecks}
    for kept in map_.rechecks:
        if kept.chain in map_.chain_by_id:
            words = f"Go on with the recheck of {map_.chain(kept.chain).name}"
            yield Need("recheck", words, many(len(kept.answers), "answer") + " kept", kept.chain)
    faults = [finding for finding in check_map(map_) if finding.severity is Severity.FAULT]
    if faults:
        first = faults[0].where
        yield Need("table", f"Mend {many(len(faults), 'fault')} in the map", faults[0].what, first.chain, first.number)
    for chain in map_.chains:
        changed = changed_in(map_, chain.id)
        left = sum(pixel.verified < changed for pixel in chain.pixels if pixel.place is not None)
        if left and chain.id not in begun:
            detail = f"{many(left, 'pixel')} not looked at since it was changed"
            yield Need("recheck", f"Recheck {chain.name}", detail, chain.id)
    for chain in map_.chains:
        unseen = [
            number
            for number in range(chain.length)
            if number >= len(chain.pixels) or chain.pixels[number].state is PixelState.UNSEEN
        ]
        if unseen:
            yield Need("walk", f"Walk {chain.name}", f"{many(len(unseen), 'pixel')} unseen", chain.id, unseen[0])
    rows = open_rows(map_)
    if rows:
        yield Need("lamps", "Join lamps to places", f"{many(len(rows), 'lamp')} without a pixel")
    counts = tally(map_)
    if counts.proved < counts.total:
        detail = f"{counts.proved} of {counts.total} proved since the last change"
        yield Need("prove", "Prove that each lamp lights its places", detail)
