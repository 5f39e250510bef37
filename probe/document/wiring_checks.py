"""What is wrong with the references between wiring and pixels, as (code, what, what to do, where). Used by `check_map`."""

from __future__ import annotations

from collections.abc import Iterator

from probe.document.model import PlayfieldMap
from probe.document.wiring import feed_number


def wiring_faults(m: PlayfieldMap) -> Iterator[tuple[str, str, str, str | None]]:
    """Feeds, joints and batches that lead nowhere. The last item is the chain's id, None if there is no such chain."""
    supplies = {supply.id for supply in m.supplies}
    batches = {batch.id for batch in m.batches}
    for feed in m.feeds:
        chain = feed.chain if feed.chain in m.chain_by_id else None
        if feed_number(m, feed) is None:
            what = f"the feed {feed.id} is at a pixel that is no longer there"
            yield "feed-lost", what, "Look where the feed is, and enter the pixel's number in the power plan", chain
        if feed.supply not in supplies:
            what = f"the feed {feed.id} comes from a supply that the map does not have"
            yield "feed-without-supply", what, "Choose its supply in the power plan", chain
    for chain_record in m.chains:
        pixels = {pixel.id: number for number, pixel in enumerate(chain_record.pixels)}
        for joint in chain_record.joints:
            here = pixels.get(joint.before)
            expected = None if here is None else -1 if joint.after is None else pixels.get(joint.after)
            if here is None or expected is None or expected != here - 1:
                what = f"a joint is noted between {joint.after or 'the board'} and {joint.before}, which are not neighbours"
                yield "joint-lost", what, "Look at the wiring there, and note the joint anew", chain_record.id
        unknown = sorted({p.batch for p in chain_record.pixels if p.batch is not None and p.batch not in batches})
        for name in unknown:
            what = f"pixels are said to be of the batch {name}, which the map does not have"
            yield "batch-unknown", what, "Enter the batch, or choose another for these pixels", chain_record.id
