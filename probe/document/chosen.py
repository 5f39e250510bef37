"""The splice or the repair that was chosen in the plan and is being soldered, as long as it fits the map. Pure."""

from __future__ import annotations

from probe.document.model import PixelState, PlayfieldMap
from probe.document.model.planning import ChosenRepair, ChosenSplice


def splice_in_work(map_: PlayfieldMap) -> ChosenSplice | None:
    """The splice being soldered; None if there is none, or the map has changed so that it no longer fits."""
    kept = map_.plan_rules.splice if map_.plan_rules is not None else None
    chain = None if kept is None else map_.chain_by_id.get(kept.chain)
    if kept is None or chain is None or chain.length != kept.pixels:
        return None
    places = [name for cut in kept.cuts for name in cut.places]
    fits = len(set(places)) == len(places) and all(n in map_.place_by_id and n not in map_.pixels_at for n in places)
    numbers = [-1 if cut.after is None else cut.after for cut in kept.cuts]
    return kept if fits and numbers == sorted(set(numbers)) and numbers[-1] < kept.pixels else None


def repair_in_work(map_: PlayfieldMap) -> ChosenRepair | None:
    """The repair of a dead pixel being soldered; None if there is none, or the map has changed so that it no longer fits."""
    kept = map_.plan_rules.repair if map_.plan_rules is not None else None
    chain = None if kept is None else map_.chain_by_id.get(kept.chain)
    if kept is None or chain is None or chain.length != kept.pixels or kept.number >= chain.length:
        return None
    return kept if chain.pixels[kept.number].state is PixelState.DEAD else None
