"""Where to cut into a chain: places without a pixel, a pixel that is dead, and whether the wire is long enough.

For places that lack a pixel the whole frontier is worked out exactly: for every choice of how many numbers stay as they
are, and of how many places the chain is cut at, the least wire. A table over gaps and subsets (dynamic programming, Bellman
1962): what a gap costs with a subset of the places spliced into it comes from the best way through these (Held and Karp 1962).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Any

import numpy as np
import numpy.typing as npt

from probe.document.chosen import repair_in_work, splice_in_work
from probe.document.edits import Edit, Insert, MoveRun, Remove, Replace, apply_edits
from probe.document.model import PixelState, PlayfieldMap, shown_number
from probe.document.model.planning import ChosenCut, ChosenRepair, ChosenSplice, PlanRules, RepairWay
from probe.document.operations import assign_place
from probe.document.wiring import joint_at, joints_in_order, put_joint
from probe.planning.plan import PlanError, cut_mm, entry_of, part_of
from probe.planning.routes import routes

MOST_PLACES = 8


@dataclass(frozen=True)
class SpliceCut:
    """Places spliced in after a number (None: before the first pixel), in the order of the wire."""

    after: int | None
    places: tuple[str, ...]


@dataclass(frozen=True)
class Splice:
    """One way to splice: where, the wire it takes beyond what is there, joints to solder, and pixels whose number changes."""

    chain: str
    cuts: tuple[SpliceCut, ...]
    wire_mm: float
    joints: int
    shifted: int
    before: int
    """Numbers below this one stay as they are."""


def frontier(map_: PlayfieldMap, chain_id: str, places: Sequence[str]) -> tuple[Splice, ...]:
    """All ways to splice these places into a chain of which no other is better in wire, joints and shifted numbers; least wire first.

    Raises PlanError for a place without a position or with a pixel, and for more than `MOST_PLACES`.
    """
    chain = map_.chain(chain_id)
    if not places:
        return ()
    if len(places) > MOST_PLACES:
        raise PlanError(
            f"{len(places)} places at once are too many: splice {MOST_PLACES} at a time, those of one area together"
        )
    for name in places:
        if map_.place_by_id[name].position is None:
            raise PlanError(f"{map_.place_by_id[name].label} has no position: put it into the picture first")
    spots = [_at(map_, name) for name in places]
    known = [(n, _at(map_, p.place)) for n, p in enumerate(chain.pixels) if p.place is not None and _has(map_, p.place)]
    if not known:
        raise PlanError(f"no pixel of {chain.name} has a position: put its places into the picture first")
    entry = _entry_of(map_, chain_id, places[0])
    points = [*spots, entry, *(point for _, point in known)]
    length = routes(points, map_.keep_outs).length_mm
    count = len(places)
    # Gaps: before pixel 0 (if its position is known), between neighbours of known position, after the last pixel.
    gaps: list[tuple[int | None, int, int | None]] = []  # after number, row of what is before, row of what is after
    rows = {number: count + 1 + at for at, (number, _) in enumerate(known)}
    if 0 in rows:
        gaps.append((None, count, rows[0]))
    gaps += [(a, rows[a], rows[a + 1]) for a in sorted(rows) if a + 1 in rows]
    last = len(chain.pixels) - 1
    gaps.append((last, rows[max(rows)], None))
    return _swept(chain_id, len(chain.pixels), tuple(places), _Gaps(length, count, gaps))


def _has(map_: PlayfieldMap, place: str) -> bool:
    return map_.place_by_id[place].position is not None


def _at(map_: PlayfieldMap, place: str) -> tuple[float, float]:
    position = map_.place_by_id[place].position
    assert position is not None
    return position.x_mm, position.y_mm


def _entry_of(map_: PlayfieldMap, chain_id: str, place: str) -> tuple[float, float]:
    return entry_of(map_, map_.plan_rules or PlanRules(), chain_id, part_of(map_, place))


_Table = npt.NDArray[Any]


class _Gaps:
    """What each gap of a chain costs with each subset of the places spliced into it, and in which order they come there.

    `gaps`: after which number, the row of what is before and of what is after it (None: nothing) in `length`.
    """

    def __init__(self, length: _Table, count: int, gaps: Sequence[tuple[int | None, int, int | None]]) -> None:
        subsets = 1 << count
        self.after = [after for after, _, _ in gaps]
        self._within = np.full((subsets, count, count), inf)
        self._order: dict[tuple[int, int, int], tuple[int, ...]] = {}
        self._members = [[k for k in range(count) if some >> k & 1] for some in range(subsets)]
        for some, members in enumerate(self._members):
            for last in members:
                rest = some ^ (1 << last)
                if not rest:
                    self._within[some, last, last] = 0.0
                    self._order[some, last, last] = (last,)
                for first in self._members[rest]:
                    cost, k = min(
                        (float(self._within[rest, first, k] + length[k, last]), k) for k in self._members[rest]
                    )
                    if cost < inf:
                        self._within[some, first, last] = cost
                        self._order[some, first, last] = (*self._order[rest, first, k], last)
        self._into = length[[row for _, row, _ in gaps]][:, :count]
        self._out = np.array([np.zeros(count) if row is None else length[row, :count] for _, _, row in gaps])
        there = np.array([0.0 if after is None else length[before, after] for _, before, after in gaps])
        self.costs = np.full((len(gaps), subsets), inf)
        self.costs[:, 0] = 0.0
        for some in range(1, subsets):
            members = self._members[some]
            inner = self._within[some][np.ix_(members, members)]
            whole = self._into[:, members, None] + inner[None] + self._out[:, None, members]
            self.costs[:, some] = whole.reshape(len(gaps), -1).min(axis=1) - there

    def order(self, gap: int, some: int) -> tuple[int, ...]:
        """The best order of a subset in a gap."""
        members = self._members[some]
        pairs = [(first, last) for first in members for last in members if (some, first, last) in self._order]
        best = min(
            pairs, key=lambda ends: self._into[gap, ends[0]] + self._within[some][ends] + self._out[gap, ends[1]]
        )
        return self._order[some, *best]


def _swept(chain: str, pixels: int, places: tuple[str, ...], gaps: _Gaps) -> tuple[Splice, ...]:
    """The frontier, from the end of the chain to its start.

    least[c, S]: the least wire for subset S with c cuts between pixels; at the end nothing is cut.
    """
    count = len(places)
    subsets = 1 << count
    whole, part = _pairs(subsets)
    rest = whole ^ part
    starts = np.flatnonzero(np.r_[True, whole[1:] != whole[:-1]])
    names = whole[starts]
    end = len(gaps.after) - 1
    least = np.full((count + 1, subsets), inf)
    least[0] = gaps.costs[end]
    picked: dict[int, _Table] = {}
    found: list[tuple[float, int, int, int]] = [(float(least[0, -1]), 0, 0, end)]  # wire, cuts, shifted, gap
    best = np.full(count + 1, inf)
    best[0] = least[0, -1]
    for gap in range(end - 1, -1, -1):
        offered = np.take(least[:-1], rest, axis=1) + np.take(gaps.costs[gap], part)
        better = np.minimum.reduceat(offered, starts, axis=1)
        improves = better < least[1:, names] - 1e-9
        if not improves.any():
            continue
        picks = np.zeros((count + 1, subsets), dtype=np.int32)
        least = least.copy()
        for cuts, column in zip(*np.nonzero(improves), strict=True):
            stop = starts[column + 1] if column + 1 < len(starts) else len(whole)
            pick = starts[column] + int(offered[cuts, starts[column] : stop].argmin())
            picks[cuts + 1, names[column]] = part[pick]
            least[cuts + 1, names[column]] = offered[cuts, pick]
        picked[gap] = picks
        after = gaps.after[gap]
        shifted = pixels if after is None else pixels - 1 - after
        for cuts in range(1, count + 1):
            if least[cuts, -1] < best[cuts] - 1e-6:
                best[cuts] = least[cuts, -1]
                found.append((float(best[cuts]), cuts, shifted, gap))
    kept: list[tuple[float, int, int, int]] = []
    for one in sorted(found):  # what beats another has no more wire, and comes before it, or just after
        if not any(_beats(other, one) for other in kept):
            kept = [other for other in kept if not _beats(one, other)]
            kept.append(one)
    made = []
    for wire, cuts, shifted, gap in sorted(kept):
        line: list[SpliceCut] = []
        left, some = cuts, subsets - 1
        for at in range(gap, end):
            pick = int(picked[at][left, some]) if at in picked else 0
            if pick:
                line.append(SpliceCut(gaps.after[at], tuple(places[k] for k in gaps.order(at, pick))))
                some, left = some ^ pick, left - 1
        if some:
            line.append(SpliceCut(gaps.after[end], tuple(places[k] for k in gaps.order(end, some))))
        made.append(Splice(chain, tuple(line), wire, count + cuts, shifted, pixels - shifted))
    return tuple(made)


def _beats(one: tuple[float, int, int, int], other: tuple[float, int, int, int]) -> bool:
    """Whether one way is no worse in wire, cuts and shifted numbers, and better in one of them (or found first)."""
    if one is other:
        return False
    no_worse = one[0] <= other[0] + 1e-6 and one[1] <= other[1] and one[2] <= other[2]
    return no_worse and (one[0] < other[0] - 1e-6 or one[1:3] != other[1:3])


def _pairs(subsets: int) -> tuple[_Table, _Table]:
    """Every (set, non-empty part of it), sets in order."""
    whole, part = [], []
    for some in range(1, subsets):
        piece = some
        while piece:
            whole.append(some)
            part.append(piece)
            piece = (piece - 1) & some
    return np.array(whole), np.array(part)


# -- the change, declared ------------------------------------------------------------------------------------------


def spliced(map_: PlayfieldMap, splice: Splice, *, made_on: str = "") -> PlayfieldMap:
    """The map after the soldering: numbers, joints and feeds follow, the new pixels have their places and their wire.

    Nothing of it was seen yet: a recheck proves it.
    """
    inserts = [Insert(chain=splice.chain, after=cut.after, count=len(cut.places)) for cut in reversed(splice.cuts)]
    map_ = apply_edits(map_, inserts, made_on=made_on)
    moved = 0
    for cut in splice.cuts:
        first = (0 if cut.after is None else cut.after + 1) + moved
        for at, place in enumerate(cut.places):
            map_ = assign_place(map_, splice.chain, first + at, place)
        moved += len(cut.places)
        map_ = _with_lengths(map_, splice.chain, first, first + len(cut.places))
    return map_


def _with_lengths(map_: PlayfieldMap, chain_id: str, first: int, last: int) -> PlayfieldMap:
    """Note the wire of the joints at numbers first..last from the way between their places, where both are known."""
    chain = map_.chain(chain_id)
    for number in range(max(1, first), min(last, len(chain.pixels) - 1) + 1):
        ends = [map_.place_of(chain.pixels[n]) for n in (number - 1, number)]
        spots = [None if place is None else place.position for place in ends]
        if spots[0] is None or spots[1] is None:
            continue
        way = routes([(spot.x_mm, spot.y_mm) for spot in spots if spot is not None], map_.keep_outs).length_mm[0, 1]
        joint = joint_at(map_.chain(chain_id), number).model_copy(
            update={"length_mm": cut_mm(map_.plan_rules or PlanRules(), float(way))}
        )
        map_ = put_joint(map_, chain_id, joint)
    return map_


def with_chosen(map_: PlayfieldMap, splice: Splice | None) -> PlayfieldMap:
    """The map that remembers the splice being soldered, or (None) none."""
    chosen = splice and ChosenSplice(
        chain=splice.chain,
        pixels=map_.chain(splice.chain).length,
        cuts=tuple(ChosenCut(after=cut.after, places=cut.places) for cut in splice.cuts),
        wire_mm=round(splice.wire_mm, 2),
    )
    rules = (map_.plan_rules or PlanRules()).model_copy(update={"splice": chosen})
    return map_.model_copy(update={"plan_rules": rules})


def chosen_splice(map_: PlayfieldMap) -> Splice | None:
    """The splice being soldered; None if there is none, or the map has changed so that it no longer fits."""
    kept = splice_in_work(map_)
    if kept is None:
        return None
    numbers = [-1 if cut.after is None else cut.after for cut in kept.cuts]
    last = numbers[-1] == kept.pixels - 1
    joints = sum(len(cut.places) for cut in kept.cuts) + len(numbers) - last  # one more for each cut between two pixels
    cuts = tuple(SpliceCut(cut.after, cut.places) for cut in kept.cuts)
    before = numbers[0] + 1
    return Splice(kept.chain, cuts, kept.wire_mm, joints, kept.pixels - before, before)


def declared_words(splice: Splice, *, of: str = "") -> tuple[str, ...]:
    """The change as a person would declare it, cut by cut from the end, so that each number is the one before all of it.

    `of`: the chain's name, where the map has several.
    """
    return tuple(
        (f"{of}: " if of else "")
        + f"{len(cut.places)} new "
        + ("at the start" if cut.after is None else f"after #{cut.after}")
        for cut in reversed(splice.cuts)
    )


def splice_words(map_: PlayfieldMap, splice: Splice) -> tuple[str, ...]:
    """Where to cut, in words, along the wire."""
    chain = map_.chain(splice.chain)
    lines = []
    for cut in splice.cuts:
        names = ", then ".join(map_.place_by_id[name].label for name in cut.places)
        if cut.after is None:
            where = "before the first pixel"
        elif cut.after == len(chain.pixels) - 1:
            where = f"after the last pixel, {shown_number(cut.after)}"
        else:
            where = f"between {_pixel_words(map_, splice.chain, cut.after)} and {_pixel_words(map_, splice.chain, cut.after + 1)}"
        lines.append(f"{where}: {names}")
    return tuple(lines)


def _pixel_words(map_: PlayfieldMap, chain_id: str, number: int) -> str:
    pixel = map_.chain(chain_id).pixels[number]
    place = map_.place_of(pixel)
    return f"{shown_number(number)} {place.label if place is not None else pixel.state.value}"


def missing_places(map_: PlayfieldMap, chain_id: str) -> tuple[str, ...]:
    """Places without a pixel in the part that a chain serves, in the map's order."""
    parts = {part_of(map_, p.place) for p in map_.chain(chain_id).pixels if p.place is not None}
    return tuple(
        p.id for p in map_.places if p.id not in map_.pixels_at and (not parts or part_of(map_, p.id) in parts)
    )


# -- a dead pixel ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Repair:
    """A way to deal with a dead pixel: what, in words, and its wire, joints, shifted numbers and whether its place stays lit.

    `edits`: the change of the wiring, as it is declared once it is soldered. `seat`: the number that then lights the dead
    one's place, if it is a spare.
    """

    what: str
    wire_mm: float | None
    joints: int
    shifted: int
    place_lit: bool
    edits: tuple[Edit, ...]
    seat: int | None = None

    @property
    def way(self) -> RepairWay:
        """Which of the three it is."""
        if self.seat is not None:
            return RepairWay.SPARE
        return RepairWay.REPLACE if self.place_lit else RepairWay.LEAVE_OUT


def repairs(map_: PlayfieldMap, chain_id: str, number: int) -> tuple[Repair, ...]:
    """What to do about a dead pixel, best first: replace it, use a spare nearby, or bypass it. Wire None: positions are not known."""
    chain = map_.chain(chain_id)
    count = len(chain.pixels)
    at = _spot_of(map_, chain_id, number)
    last = number == count - 1
    new = Replace(chain=chain_id, number=number)
    found = [Repair("replace it: a new pixel in its seat", 0.0, 1 if last else 2, 0, True, (new,))]
    spares = [n for n, pixel in enumerate(chain.pixels) if pixel.state is PixelState.SPARE]
    if spares:
        spare = min(spares, key=lambda n: (_apart(map_, at, _spot_near(map_, chain_id, n)) or inf, abs(n - number)))
        wire = _apart(map_, at, _spot_near(map_, chain_id, spare))
        before = int(spare < number)
        out = Remove(chain=chain_id, first=number, last=number)
        if abs(spare - number) == 1:
            words = f"use the spare {shown_number(spare)} beside it on the wire: move it into the seat, leave the dead one out"
            shifted = count - 1 - min(spare, number)
            found.append(Repair(words, wire, 1, shifted, True, (out,), number - before))
        else:
            words = f"use the spare {shown_number(spare)}: cut it out, join its neighbours, and put it into the seat"
            moved = MoveRun(chain=chain_id, first=spare, last=spare, after=number)
            out = Remove(chain=chain_id, first=number - before, last=number - before)
            found.append(Repair(words, 0.0, 3, count - 1 - spare, True, (moved, out), number - before))
    if count > 1:
        out = Remove(chain=chain_id, first=number, last=number)
        if last:
            found.append(Repair("leave it out: it is the last one, the place stays dark", 0.0, 0, 0, False, (out,)))
        else:
            wire = _apart(
                map_, _spot_near(map_, chain_id, number - 1) if number else None, _spot_of(map_, chain_id, number + 1)
            )
            words = "bypass it: join its neighbours, the place stays dark"
            found.append(Repair(words, wire, 1, count - 1 - number, False, (out,)))
    return tuple(found)


def repaired(map_: PlayfieldMap, chain_id: str, number: int, repair: Repair, *, made_on: str) -> PlayfieldMap:
    """The map once a repair of the pixel at `number` is soldered: numbers, joints and feeds follow; a spare has the seat's place.

    Nothing of it was seen yet: a recheck proves it.
    """
    place = map_.chain(chain_id).pixels[number].place
    map_ = apply_edits(map_, repair.edits, made_on=made_on)
    if repair.seat is not None and place is not None:
        map_ = assign_place(map_, chain_id, repair.seat, place)
    return map_


def with_repair(map_: PlayfieldMap, chain_id: str, number: int, repair: Repair | None) -> PlayfieldMap:
    """The map that remembers the repair being soldered at `number`, or (None) none."""
    pixels = map_.chain(chain_id).length
    chosen = repair and ChosenRepair(chain=chain_id, pixels=pixels, number=number, way=repair.way)
    rules = (map_.plan_rules or PlanRules()).model_copy(update={"repair": chosen})
    return map_.model_copy(update={"plan_rules": rules})


def chosen_repair(map_: PlayfieldMap) -> tuple[str, int, Repair] | None:
    """Chain, number and the repair being soldered; None if there is none, or the map has changed so that it no longer fits."""
    kept = repair_in_work(map_)
    if kept is None:
        return None
    found = (repair for repair in repairs(map_, kept.chain, kept.number) if repair.way is kept.way)
    return next(((kept.chain, kept.number, repair) for repair in found), None)


def declared_repair(repair: Repair, *, of: str = "") -> tuple[str, ...]:
    """The changes as a person would declare them, one after the other. `of`: the chain's name, where the map has several."""
    said = []
    for edit in repair.edits:
        match edit:
            case MoveRun(first=first, after=after):
                said.append(f"moved #{first} after #{after}")
            case Remove(first=first):
                said.append(f"took out #{first}")
            case Replace(number=number):
                said.append(f"replaced #{number}")
    return tuple((f"{of}: " if of else "") + words for words in said)


Spot = tuple[float, float]


def _spot_of(map_: PlayfieldMap, chain_id: str, number: int) -> Spot | None:
    place = map_.place_of(map_.chain(chain_id).pixels[number])
    return None if place is None or place.position is None else (place.position.x_mm, place.position.y_mm)


def _spot_near(map_: PlayfieldMap, chain_id: str, number: int) -> Spot | None:
    """Where a pixel is, or else the nearest one before it on the wire that has a position."""
    return next((spot for n in range(number, -1, -1) if (spot := _spot_of(map_, chain_id, n)) is not None), None)


def _apart(map_: PlayfieldMap, one: Spot | None, other: Spot | None) -> float | None:
    return None if one is None or other is None else float(routes([one, other], map_.keep_outs).length_mm[0, 1])


# -- is the wire long enough ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Slack:
    """Wire noted between two pixels of known position, what is needed, and what is left over (negative: too short).

    `noted`: every joint of it has a length of its own; else the chain's spacing was used.
    """

    chain: str
    first: int
    last: int
    wire_mm: float
    needed_mm: float
    noted: bool

    @property
    def slack_mm(self) -> float:
        """What is left over."""
        return self.wire_mm - self.needed_mm


def slacks(map_: PlayfieldMap, chain_id: str) -> tuple[Slack, ...]:
    """The slack of every stretch whose wire and positions are known: the way round keep-outs, and the seats at both ends of each joint."""
    rules = map_.plan_rules or PlanRules()
    chain = map_.chain(chain_id)
    spots = [(n, spot) for n in range(len(chain.pixels)) if (spot := _spot_of(map_, chain_id, n)) is not None]
    if len(spots) < 2:
        return ()
    length = routes([spot for _, spot in spots], map_.keep_outs).length_mm
    joints = list(joints_in_order(chain))
    found = []
    for at, ((first, _), (last, _)) in enumerate(pairwise(spots)):
        between = joints[first + 1 : last + 1]
        lengths = [chain.spacing_mm if joint.length_mm is None else joint.length_mm for joint in between]
        known = [one for one in lengths if one is not None]
        if len(known) == len(lengths):
            needed = float(length[at, at + 1]) + 2 * rules.seating_mm * (last - first)
            noted = all(joint.length_mm is not None for joint in between)
            found.append(Slack(chain_id, first, last, sum(known), needed, noted))
    return tuple(found)
