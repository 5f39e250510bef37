"""Pure operations on what a map notes of wiring: joints by number, feeds, supplies, batches."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeVar

from probe.document.model import Chain, PlayfieldMap
from probe.document.model.harness import Batch, Feed, Joint, Supply
from probe.document.operations import folded, grown, replace_chain, slug

Listed = TypeVar("Listed", Batch, Feed, Supply)
_LISTS = {Batch: "batches", Feed: "feeds", Supply: "supplies"}


def joint_ends(chain: Chain, number: int) -> tuple[str | None, str]:
    """Ids of the pixels a joint lies between; None is the board. Raises IndexError for a pixel the map does not hold."""
    return (chain.pixels[number - 1].id if number else None), chain.pixels[number].id


def joint_at(chain: Chain, number: int) -> Joint:
    """What is noted of the joint arriving at a pixel; a blank one if nothing is. Raises IndexError as `joint_ends`."""
    after, before = joint_ends(chain, number)
    for joint in chain.joints:
        if (joint.after, joint.before) == (after, before):
            return joint
    return Joint(after=after, before=before)


def joints_in_order(chain: Chain) -> Iterator[Joint]:
    """The joint arriving at each pixel the map holds, blank where nothing is noted."""
    noted = {(joint.after, joint.before): joint for joint in chain.joints}
    after: str | None = None
    for pixel in chain.pixels:
        yield noted.get((after, pixel.id)) or Joint(after=after, before=pixel.id)
        after = pixel.id


def is_blank(joint: Joint) -> bool:
    """Whether nothing is noted of it."""
    return joint == Joint(after=joint.after, before=joint.before)


def put_joint(map_: PlayfieldMap, chain_id: str, joint: Joint) -> PlayfieldMap:
    """Note a joint, in place of what was noted of it; a blank one is taken off the list."""
    chain = map_.chain(chain_id)
    ends = (joint.after, joint.before)
    there = any((old.after, old.before) == ends for old in chain.joints)
    if is_blank(joint):
        joints = tuple(old for old in chain.joints if (old.after, old.before) != ends)
    elif there:
        joints = tuple(joint if (old.after, old.before) == ends else old for old in chain.joints)
    else:
        joints = (*chain.joints, joint)
    return replace_chain(map_, chain.model_copy(update={"joints": in_chain_order(chain, joints)}))


def in_chain_order(chain: Chain, joints: tuple[Joint, ...]) -> tuple[Joint, ...]:
    """Joints sorted along the chain; those at pixels that are no longer there come last."""
    at = {pixel.id: number for number, pixel in enumerate(chain.pixels)}
    return tuple(sorted(joints, key=lambda joint: at.get(joint.before, len(at))))


def put(map_: PlayfieldMap, record: Listed) -> PlayfieldMap:
    """Replace the supply, feed or batch of that id, or add it at the end."""
    name = _LISTS[type(record)]
    held: tuple[Listed, ...] = getattr(map_, name)
    if any(old.id == record.id for old in held):
        return map_.model_copy(update={name: tuple(record if old.id == record.id else old for old in held)})
    return map_.model_copy(update={name: (*held, record)})


def take_out(map_: PlayfieldMap, record: Listed) -> PlayfieldMap:
    """The map without that supply, feed or batch."""
    name = _LISTS[type(record)]
    return map_.model_copy(update={name: tuple(old for old in getattr(map_, name) if old.id != record.id)})


def add_supply(map_: PlayfieldMap, name: str, **fields: object) -> tuple[PlayfieldMap, Supply]:
    """One more supply. Raises pydantic.ValidationError."""
    identifier = slug(name, {supply.id for supply in map_.supplies}, "supply")
    supply = Supply.model_validate({"id": identifier, "name": name, **fields})
    return put(map_, supply), supply


def add_batch(map_: PlayfieldMap, name: str, **fields: object) -> tuple[PlayfieldMap, Batch]:
    """One more batch. Raises pydantic.ValidationError."""
    batch = Batch.model_validate({"id": slug(name, {b.id for b in map_.batches}, "batch"), "name": name, **fields})
    return put(map_, batch), batch


def batch_named(map_: PlayfieldMap, name: str) -> Batch | None:
    """The batch of that name, as names are compared; None if there is none."""
    return next((batch for batch in map_.batches if folded(batch.name) == folded(name)), None)


def add_feed(
    map_: PlayfieldMap, chain_id: str, number: int, *, supply: str, name: str, **fields: object
) -> tuple[PlayfieldMap, Feed]:
    """A feed at a pixel; the map grows up to it with unseen pixels if it has to. Raises pydantic.ValidationError."""
    chain = grown(map_.chain(chain_id), number + 1)
    map_ = replace_chain(map_, chain)
    identifier = slug(name, {feed.id for feed in map_.feeds}, "feed")
    given = {"id": identifier, "name": name, "chain": chain_id, "pixel": chain.pixels[number].id, "supply": supply}
    feed = Feed.model_validate({**given, **fields})
    return put(map_, feed), feed


def feed_number(map_: PlayfieldMap, feed: Feed) -> int | None:
    """The number of the pixel a feed is at; None if that pixel or chain is no longer there."""
    chain = map_.chain_by_id.get(feed.chain)
    if chain is None:
        return None
    return next((number for number, pixel in enumerate(chain.pixels) if pixel.id == feed.pixel), None)
