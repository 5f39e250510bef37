"""Wiring follows its pixels: joints and feeds after pixels were inserted, taken out, turned, moved, swapped or replaced.

`follow(before, after)` compares the pixels' ids in both maps, so that it serves every way of renumbering alike. A joint
whose two pixels are neighbours as before stays as it is. Every other joint is a new one: unchecked, and nobody has
looked what is joined to what. It keeps what is still true: the colours of the wires at each pixel's ends, and the
length and fixing of the stretch it comes from. An inserted pixel splits its stretch, a pixel taken out makes one of two.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from probe.document.model import Chain, PlayfieldMap
from probe.document.model.harness import Feed, Fixing, Joint
from probe.document.model.record import MAX_TEXT
from probe.document.operations import replace_chain
from probe.document.wiring import in_chain_order, is_blank, joints_in_order

MOVED_FEED: Final = "its pixel was taken out: look where it is now"


def follow(before: PlayfieldMap, after: PlayfieldMap, *, made_on: str = "") -> PlayfieldMap:
    """`after`, with joints and feeds brought in line with its pixels. `made_on`: day of the change, as 2025-03-16.

    `after` is what an operation made of `before` without touching its joints and feeds. Doing it twice changes nothing
    more.
    """
    for chain in after.chains:
        old = before.chain_by_id.get(chain.id)
        if old is None or [pixel.id for pixel in old.pixels] == [pixel.id for pixel in chain.pixels]:
            continue
        after = replace_chain(after, chain.model_copy(update={"joints": joints_following(old, chain, made_on=made_on)}))
        feeds = tuple(moved_feed(feed, old, chain) if feed.chain == chain.id else feed for feed in after.feeds)
        after = after.model_copy(update={"feeds": feeds})
    return after


@dataclass(frozen=True)
class _Ends:
    """Colours noted of the wires at each pixel's two ends; None is the board."""

    leaving: dict[str | None, Joint]
    arriving: dict[str, Joint]


def joints_following(old: Chain, new: Chain, *, made_on: str = "") -> tuple[Joint, ...]:
    """The joints of `new` that follow from those of `old`, without blank ones; what `new` notes itself stands."""
    laid = list(joints_in_order(old))
    ends = _Ends({j.after: j for j in laid if not is_blank(j)}, {j.before: j for j in laid if not is_blank(j)})
    noted = {(joint.after, joint.before): joint for joint in laid}
    # Work done since on the new order (a second call, say) stands.
    noted |= {(joint.after, joint.before): joint for joint in new.joints}
    at: dict[str | None, int] = {None: -1} | {pixel.id: number for number, pixel in enumerate(old.pixels)}
    order: list[str | None] = [None, *(pixel.id for pixel in new.pixels)]
    kept = set(order)
    places = [index for index, name in enumerate(order) if name in at]
    made: list[Joint] = []
    for first, last in pairwise([*places, None]):
        assert first is not None
        run = order[first : len(order) if last is None else last + 1]
        stretch = [] if last is None else _stretch(laid, at[run[0]], at[run[-1]], kept)
        for (after, pixel), part in zip(pairwise(run), _parts(stretch, len(run) - 1, old.spacing_mm), strict=True):
            assert pixel is not None
            same = noted.get((after, pixel))
            made.append(same if same is not None else _made(after, pixel, part, ends, made_on))
    return in_chain_order(new, tuple(joint for joint in made if not is_blank(joint)))


def _stretch(laid: list[Joint], first: int, last: int, kept: set[str | None]) -> list[Joint]:
    """The old joints between two pixels that are neighbours among those that stayed; none if wire was laid anew.

    `first` and `last` are old numbers, -1 for the board.
    """
    if last == first - 1:
        return [laid[first]]
    between = laid[first + 1 : last + 1]
    if last > first and not any(joint.before in kept for joint in between[:-1]):
        return between
    return []


@dataclass(frozen=True)
class _JointPart:
    """What a new joint has from the old ones in its stretch."""

    length_mm: float | None = None
    fixing: Fixing = Fixing.UNKNOWN
    five_volt_open: bool = False
    note: str = ""


def _parts(stretch: list[Joint], count: int, spacing_mm: float | None) -> list[_JointPart]:
    """The stretch shared out over `count` joints: one for one if it has as many, else evenly."""
    if not stretch:
        return [_JointPart()] * count
    if len(stretch) == count:
        return [_JointPart(j.length_mm, j.fixing, j.five_volt_open, j.note) for j in stretch]
    lengths = [spacing_mm if joint.length_mm is None else joint.length_mm for joint in stretch]
    known = [length for length in lengths if length is not None]
    each = sum(known) / count if len(known) == len(lengths) else None
    fixings = {joint.fixing for joint in stretch}
    fixing = fixings.pop() if len(fixings) == 1 else Fixing.UNKNOWN
    note = "; ".join(joint.note for joint in stretch if joint.note)[:MAX_TEXT]
    first = _JointPart(each, fixing, any(joint.five_volt_open for joint in stretch), note)
    return [first, *[_JointPart(each, fixing)] * (count - 1)]


def _made(after: str | None, before: str, part: _JointPart, ends: _Ends, made_on: str) -> Joint:
    leaving, arriving = ends.leaving.get(after, Joint(before=before)), ends.arriving.get(before, Joint(before=before))
    return Joint(
        after=after,
        before=before,
        leaving_5v=leaving.leaving_5v,
        leaving_ground=leaving.leaving_ground,
        leaving_data=leaving.leaving_data,
        arriving_5v=arriving.arriving_5v,
        arriving_ground=arriving.arriving_ground,
        arriving_data=arriving.arriving_data,
        five_volt_open=part.five_volt_open,
        length_mm=part.length_mm,
        fixing=part.fixing,
        made_on=made_on,
        note=part.note,
    )


def moved_feed(feed: Feed, old: Chain, new: Chain) -> Feed:
    """The feed; if its pixel is gone, at the pixel that took its place, with a note to look."""
    order = [pixel.id for pixel in new.pixels]
    if feed.pixel in order or not order:
        return feed
    before: list[str] = []
    for pixel in old.pixels:
        if pixel.id == feed.pixel:
            break
        before.append(pixel.id)
    else:
        return feed
    kept = next((order.index(name) for name in reversed(before) if name in order), -1)
    note = f"{feed.note}; {MOVED_FEED}" if feed.note else MOVED_FEED
    return feed.model_copy(update={"pixel": order[min(kept + 1, len(order) - 1)], "note": note[:MAX_TEXT]})
