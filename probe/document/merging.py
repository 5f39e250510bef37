"""Two people's work on one map made one, field by field: what only one changed is taken, what both changed is asked.

Records are known by their ids, a pixel by its id within its chain. `merge` is a plain three-way merge of what two maps
hold; `merge_maps` finds the map that both began from, makes a revision of the outcome, and carries over what theirs says of
revisions ("verified", proofs) only as far as it still holds here. Joints are known by the two pixels that they lie
between; where the merged chain has neighbours that neither side had, or a side opened a joint that the other noted
something of, that is told beside the map. Pure.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import takewhile
from typing import Any

from probe.document.diff import ALONE, JOINTS, LISTS, PIXELS, RecordList, diff, keyed
from probe.document.follow import joints_following, moved_feed
from probe.document.model import MAX_TEXT, Chain, Machine, Pixel, Place, PlayfieldMap, Record, shown_number, storable
from probe.document.model.change import What
from probe.document.model.harness import Feed, JoinedTo, Joint
from probe.document.model.planning import PlanRules
from probe.document.operations import folded, slug
from probe.document.plural import many
from probe.document.revisions import (
    NoRevisionError,
    at_revision,
    changed_in,
    next_number,
    revised,
    rewired,
    session_closed,
)
from probe.document.wiring import is_blank, joints_in_order

_TOGETHER: Mapping[str, frozenset[str]] = {"state": frozenset({"place"})}
"""Fields that mean something only with another: they are taken from one side together."""
_LOGS = ("proofs", "observations", "readings", "meter")
_MISSING = object()


class Side(StrEnum):
    """Whose version is taken."""

    OURS = "ours"
    THEIRS = "theirs"


@dataclass(frozen=True)
class Conflict:
    """What both sides changed, each otherwise. `about` names it; the others say what stood there, and what stands there now."""

    about: str
    base: str
    ours: str
    theirs: str


class ToldOf(StrEnum):
    """What is told beside the map, in words that follow a count of joints; feeds are few, and told one by one."""

    GONE = "noted by one side and no longer there"
    OPENED = "noted by one side and opened by the other, to be looked at again"
    NEW = "in neither map, where nobody has looked yet"
    EARLY = "noted before they were there"
    FEED = ""


@dataclass(frozen=True)
class Merged:
    """The map, and every conflict in a fixed order that does not depend on how they were decided.

    `told`: what neither version says, or what one noted and the map cannot keep, a line each; `told_of`: of each line, what it is.
    """

    map: PlayfieldMap
    conflicts: tuple[Conflict, ...]
    told: tuple[str, ...] = ()
    told_of: tuple[ToldOf, ...] = ()


@dataclass
class _Judge:
    """Collects conflicts and decides each: as chosen by its place in the list from 0, else for ours; and what is told."""

    choices: Mapping[int, Side]
    conflicts: list[Conflict] = field(default_factory=list)
    told: list[tuple[str, ToldOf]] = field(default_factory=list)

    def tell(self, of: ToldOf, line: str) -> None:
        self.told.append((line[:MAX_TEXT], of))

    def takes_theirs(self, about: str, base: object, ours: object, theirs: object) -> bool:
        at = len(self.conflicts)
        self.conflicts.append(Conflict(about[:MAX_TEXT], _words(base), _words(ours), _words(theirs)))
        return self.choices.get(at, Side.OURS) is Side.THEIRS

    def value(self, about: str, base: Any, ours: Any, theirs: Any) -> Any:
        """One value of three."""
        if ours == theirs or theirs == base:
            return ours
        if ours == base:
            return theirs
        return theirs if self.takes_theirs(about, base, ours, theirs) else ours


def merge(
    base: PlayfieldMap | None, ours: PlayfieldMap, theirs: PlayfieldMap, *, choices: Mapping[int, Side] | None = None
) -> Merged:
    """Three-way merge of what the maps hold; revisions and what is pending stay ours.

    `base` is what both began from; None: nobody knows, so that all in which they differ is asked. `choices` decides
    conflicts, by their place in the list from 0; the others go to ours. `merge(base, a, base)` is `a`.
    """
    judge = _Judge(choices or {})
    theirs = _with_unlike_names(base, ours, theirs)
    update: dict[str, object] = {
        "machine": _record(judge, "the machine", Machine, base and base.machine, ours.machine, theirs.machine),
        "chains": _chains(judge, base, ours, theirs),
    }
    for kind in LISTS:
        lists = (
            () if base is None else getattr(base, kind.field),
            getattr(ours, kind.field),
            getattr(theirs, kind.field),
        )
        update[kind.field] = _list(judge, kind, "", *lists)
    for what, name, model in ALONE:
        update[name] = _one(judge, what.value, model, *(getattr(map_, name, None) for map_ in (base, ours, theirs)))
    for name in _LOGS:
        update[name] = _log(() if base is None else getattr(base, name), getattr(ours, name), getattr(theirs, name))
    open_now = [{} if map_ is None else {kept.chain: kept for kept in map_.rechecks} for map_ in (base, ours, theirs)]
    update["rechecks"] = tuple(
        kept
        for chain in dict.fromkeys([*open_now[1], *open_now[2]])
        if (
            kept := judge.value(
                f"the recheck of {chain} that is not finished", *(open_.get(chain) for open_ in open_now)
            )
        )
    )
    marks = None if base is None else base.bookmark, ours.bookmark, theirs.bookmark
    update["bookmark"] = marks[2] if marks[1] == marks[0] else marks[1]
    made = _with_what_is_named(judge, ours.model_copy(update=update), ours, theirs)
    return Merged(
        made, tuple(judge.conflicts), tuple(line for line, _ in judge.told), tuple(of for _, of in judge.told)
    )


def _with_what_is_named(judge: _Judge, made: PlayfieldMap, *sources: PlayfieldMap) -> PlayfieldMap:
    """The map with places back that one side took out while pixels of the other name them, feeds where the pixel that
    the other took out was, and no bookmark to nowhere."""
    held = set(made.place_by_id)
    back: list[Place] = []
    for _, _, pixel in made.walk_pixels():
        if pixel.place is not None and pixel.place not in held:
            held.add(pixel.place)
            back.append(next(map_.place_by_id[pixel.place] for map_ in sources if pixel.place in map_.place_by_id))
    if made.bookmark is not None and made.bookmark.chain not in made.chain_by_id:
        made = made.model_copy(update={"bookmark": None})
    feeds = tuple(_feed(judge, feed, made, sources) for feed in made.feeds)
    return made.model_copy(update={"places": (*made.places, *back), "feeds": feeds})


def _feed(judge: _Judge, feed: Feed, made: PlayfieldMap, sources: Sequence[PlayfieldMap]) -> Feed:
    new = made.chain_by_id.get(feed.chain)
    for map_ in sources:
        old = map_.chain_by_id.get(feed.chain)
        if new is not None and old is not None and any(pixel.id == feed.pixel for pixel in old.pixels):
            moved = moved_feed(feed, old, new)
            if moved is not feed:
                judge.tell(
                    ToldOf.FEED, f"Feed {feed.name}: one side took out the pixel that it is at: look where it is now"
                )
            return moved
    return feed


# -- one record -----------------------------------------------------------------------------------------------------


def _record(
    judge: _Judge, about: str, model: type[Record], base: Any, ours: Any, theirs: Any, *, leave: Iterable[str] = ()
) -> Any:
    """One record of three, field by field. `leave`: fields that are merged by their own rules, and stay ours here."""
    if ours == theirs or theirs == base:
        return ours
    if ours == base and not leave:
        return theirs
    skipped = set(leave) | {name for group in _TOGETHER.values() for name in group if name in model.model_fields}
    update: dict[str, Any] = {}
    for name in model.model_fields:
        if name in skipped and name not in _TOGETHER:
            continue
        names = (name, *sorted(_TOGETHER.get(name, frozenset()) & set(model.model_fields)))
        three = [
            _MISSING if record is None else tuple(getattr(record, n) for n in names) for record in (base, ours, theirs)
        ]
        if name == "verified" and three[1] != three[0] and three[2] != three[0]:
            taken = (max(ours.verified, theirs.verified),)
        else:
            title = f"{about}: {' and '.join(names)}".replace("_", " ")
            taken = judge.value(title, *three)
        update |= dict(zip(names, taken, strict=True))
    return ours.model_copy(update=update)


def _one(judge: _Judge, about: str, model: type[Record], base: Any, ours: Any, theirs: Any) -> Any:
    """A record that may be missing on any side."""
    if ours is None or theirs is None:
        return judge.value(about, base, ours, theirs)
    return _record(judge, about, model, base, ours, theirs)


# -- lists ----------------------------------------------------------------------------------------------------------


def _list(
    judge: _Judge,
    kind: RecordList,
    where: str,
    base: Sequence[Record],
    ours: Sequence[Record],
    theirs: Sequence[Record],
) -> tuple[Any, ...]:
    """A list of records, merged record by record, in an order that agrees with both sides where they agree."""
    if ours == theirs or theirs == base:
        return tuple(ours)
    if ours == base:
        return tuple(theirs)
    before, mine, other = keyed(kind, base), keyed(kind, ours), keyed(kind, theirs)
    found: dict[str, Any] = {}
    for key in dict.fromkeys([*before, *mine, *other]):
        if key not in mine and key not in other:
            continue
        found[key] = _one(
            judge, _title(kind, where, key, mine, other), kind.model, before.get(key), mine.get(key), other.get(key)
        )
    asked = f"{where}order of {kind.field}" if kind is PIXELS else ""
    order = _order(
        judge,
        asked,
        list(before),
        list(mine),
        list(other),
        {key for key in mine | other if _stays(key, before, mine, other)},
    )
    return tuple(found[key] for key in order if found[key] is not None)


def _stays(key: str, base: Mapping[str, Record], ours: Mapping[str, Record], theirs: Mapping[str, Record]) -> bool:
    """Whether a record is in the merged list, or may be, if a conflict is decided so."""
    if key in ours and key in theirs:
        return True
    there = ours.get(key) or theirs.get(key)
    return key not in base or there != base[key]


def _title(kind: RecordList, where: str, key: str, ours: Mapping[str, Any], theirs: Mapping[str, Any]) -> str:
    record = ours.get(key) or theirs.get(key)
    if kind is PIXELS:
        at = f"pixel {list(ours).index(key)}" if key in ours else f"pixel {list(theirs).index(key)} of theirs"
        return f"{where}{at}"
    name = next((said for said in (getattr(record, n, None) for n in ("label", "name", "file")) if said), None)
    return f"{where}{kind.what.value} {key}" + (f" “{name}”" if name and name != key else "")


def _order(judge: _Judge, asked: str, base: list[str], ours: list[str], theirs: list[str], kept: set[str]) -> list[str]:
    """The kept keys in one order. `asked` empty: an order that nobody relies on, decided without asking."""
    both = kept & set(ours) & set(theirs)
    mine, other = [k for k in ours if k in both], [k for k in theirs if k in both]
    spine = mine
    if mine != other:
        was = [k for k in base if k in both]
        known = set(was)
        mine_moved = [k for k in mine if k in known] != was
        other_moved = [k for k in other if k in known] != was
        if mine_moved == other_moved:
            wants_theirs = (
                judge.takes_theirs(
                    asked, "the order that both began with", *(f"{_moved(was, k)} moved" for k in (mine, other))
                )
                if asked
                else other < mine
            )
            spine = other if wants_theirs else mine
        elif other_moved:
            spine = other
    runs, others = _runs_after(ours, both, kept), _runs_after(theirs, both, kept)
    theirs_first: set[str | None] = set()
    for anchor in (None, *mine):
        first, second = runs.get(anchor), others.get(anchor)
        if not first or not second:
            continue
        if asked:
            words = [f"{len(run)} new of {side} first" for run, side in ((first, "ours"), (second, "theirs"))]
            turned = judge.takes_theirs(
                f"{asked}: new ones of both sides after {anchor or 'the start'}", "none of them", *words
            )
        else:
            turned = second < first
        if turned:
            theirs_first.add(anchor)
    made: list[str] = []
    for anchor in (None, *spine):
        made += [anchor] if anchor is not None else []
        two = [runs.get(anchor, []), others.get(anchor, [])]
        made += [key for run in (reversed(two) if anchor in theirs_first else two) for key in run]
    return made


def _moved(was: Sequence[str], now: Sequence[str]) -> str:
    """How many stand elsewhere: the fewest that, taken out, leave the others in the order that they had."""
    at = {key: number for number, key in enumerate(was)}
    tails: list[int] = []
    for number in (at[key] for key in now if key in at):
        where = bisect_left(tails, number)
        tails[where : where + 1] = [number]
    return many(sum(key in at for key in now) - len(tails), "pixel")


def _runs_after(order: Sequence[str], anchors: set[str], kept: set[str]) -> dict[str | None, list[str]]:
    """Kept keys that are no anchors, by the anchor before them."""
    found: dict[str | None, list[str]] = {}
    anchor: str | None = None
    for key in order:
        if key in anchors:
            anchor = key
        elif key in kept:
            found.setdefault(anchor, []).append(key)
    return found


def _log(base: Sequence[Any], ours: Sequence[Any], theirs: Sequence[Any]) -> tuple[Any, ...]:
    """Entries of a log: nothing that either side wrote is lost; by time where both wrote."""
    if theirs == base or ours == theirs:
        return tuple(ours)
    if ours == base:
        return tuple(theirs)
    counts = [Counter(entries) for entries in (base, ours, theirs)]
    wanted = Counter(
        {
            entry: mine if other in (was, mine) else other if mine == was else max(mine, other)
            for entry in counts[1] | counts[2]
            for was, mine, other in [tuple(count[entry] for count in counts)]
        }
    )
    return tuple(sorted(wanted.elements(), key=lambda entry: (entry.time, entry.model_dump_json())))


# -- chains ---------------------------------------------------------------------------------------------------------

_CHAIN_LIST = RecordList(What.CHAIN, "chains", Chain, lambda chain: str(chain.id))


def _chains(judge: _Judge, base: PlayfieldMap | None, ours: PlayfieldMap, theirs: PlayfieldMap) -> tuple[Chain, ...]:
    before = {} if base is None else base.chain_by_id
    mine, other = ours.chain_by_id, theirs.chain_by_id
    found: dict[str, Chain | None] = {}
    for key in dict.fromkeys([*before, *mine, *other]):
        one, two, was = mine.get(key), other.get(key), before.get(key)
        name = (one or two or before[key]).name
        if one is None or two is None:
            found[key] = judge.value(f"chain {name}", was, one, two)
        else:
            found[key] = _chain(judge, was, one, two)
    kept = {key for key in {**mine, **other} if _stays(key, before, mine, other)}
    order = _order(judge, "", list(before), list(mine), list(other), kept)
    return tuple(chain for key in order if (chain := found[key]) is not None)


def _chain(judge: _Judge, base: Chain | None, ours: Chain, theirs: Chain) -> Chain:
    """One chain. Its count follows its pixels where all sides counted what they hold."""
    if theirs in (base, ours):
        return ours
    if ours == base:
        return theirs
    sides = [chain for chain in (base, ours, theirs) if chain is not None]
    counted = all(chain.count == len(chain.pixels) for chain in sides)
    leave = {"pixels", "joints", *(["count"] if counted else [])}
    made: Chain = _record(judge, ours.name, Chain, base, ours, theirs, leave=leave)
    pixels = _list(judge, PIXELS, f"{ours.name}, ", () if base is None else base.pixels, ours.pixels, theirs.pixels)
    made = made.model_copy(update={"pixels": pixels, "joints": ()})
    update: dict[str, object] = {"joints": _joints(judge, made, base, ours, theirs)}
    if counted:
        update["count"] = len(pixels) or None
    return made.model_copy(update=update)


# -- joints ---------------------------------------------------------------------------------------------------------

_Ends = tuple[str | None, str]


def _ends(joint: Joint) -> _Ends:
    return joint.after, joint.before


def _joints(judge: _Judge, made: Chain, base: Chain | None, ours: Chain, theirs: Chain) -> tuple[Joint, ...]:
    """The joints of the merged chain, `made` without any, by the two pixels that each lies between.

    Neighbours on both sides: merged field by field. On one side: as that side has it; unchecked and told if both began
    with it and the other opened it. On neither: what the wires of both make of it, unchecked and told.
    """
    if [p.id for p in ours.pixels] == [p.id for p in theirs.pixels] and theirs.joints in (
        ours.joints,
        () if base is None else base.joints,
    ):
        return ours.joints
    was, mine, other = ({} if chain is None else _laid(chain) for chain in (base, ours, theirs))
    found: dict[_Ends, Joint] = {}
    begun = [
        {} if base is None else {_ends(j): j for j in joints_following(base, side.model_copy(update={"joints": ()}))}
        for side in (ours, theirs)
    ]
    for ends in mine:
        if ends in other:
            blank = Joint(after=ends[0], before=ends[1])
            two = [known.get(ends, blank) for known in begun]
            before = None if base is None else was.get(ends) or (two[0] if two[0] == two[1] else blank)
            found[ends] = _joint(judge, f"{ours.name}, {_between(ours, ends)}", before, mine[ends], other[ends])
    placed: list[_Ends] = []
    follows: list[dict[_Ends, Joint]] | None = None
    for ends in _laid(made):
        placed.append(ends)
        where = f"{made.name}, {_between(made, ends)}"
        if ends in found:
            continue
        if ends in mine or ends in other:
            found[ends] = mine[ends] if ends in mine else other[ends]
            if ends in was:
                found[ends] = found[ends].model_copy(update=_UNCHECKED)
                opened_by = Side.THEIRS if ends in mine else Side.OURS
                judge.tell(ToldOf.OPENED, f"{where}: {opened_by} had opened it. Look at it again")
            continue
        if follows is None:
            follows = [
                {} if chain is None else {_ends(joint): joint for joint in joints_following(chain, made)}
                for chain in (base, ours, theirs)
            ]
        found[ends] = _new_to_both(
            judge, where, *(follow.get(ends, Joint(after=ends[0], before=ends[1])) for follow in follows)
        )
    for side, chain, laid in ((Side.OURS, ours, mine), (Side.THEIRS, theirs, other)):
        for joint in chain.joints:
            ends = _ends(joint)
            if ends in laid and ends not in found and joint != was.get(ends):
                where = f"{chain.name}, {_between(chain, ends)} as {side} counts"
                judge.tell(ToldOf.GONE, f"{where}: no longer there; {side} noted {_noted(joint)}")
            elif ends not in laid and ends in found:
                judge.tell(
                    ToldOf.EARLY,
                    f"{made.name}, {_between(made, ends)}: {side} noted {_noted(joint)} before it was there",
                )
    strays = [
        [] if chain is None else [j for j in chain.joints if _ends(j) not in {*_laid(chain), *found}]
        for chain in (base, ours, theirs)
    ]
    lost = _list(judge, JOINTS, f"{made.name}, ", *strays)
    return (*(found[ends] for ends in placed if not is_blank(found[ends])), *lost)


_UNCHECKED: Mapping[str, object] = {
    "checked": False,
    "five_volt_to": JoinedTo.NOT_LOOKED,
    "ground_to": JoinedTo.NOT_LOOKED,
    "data_to": JoinedTo.NOT_LOOKED,
}


def _laid(chain: Chain) -> dict[_Ends, Joint]:
    """The joint between any two neighbours, blank where nothing is noted."""
    return {_ends(joint): joint for joint in joints_in_order(chain)}


def _joint(judge: _Judge, about: str, base: Joint | None, ours: Joint, theirs: Joint) -> Joint:
    if base is None and (is_blank(ours) or is_blank(theirs)):
        return theirs if is_blank(ours) else ours
    merged: Joint = _record(judge, about, Joint, base, ours, theirs)
    return merged


def _new_to_both(judge: _Judge, where: str, base: Joint, ours: Joint, theirs: Joint) -> Joint:
    """A joint that neither side has, from what follows from the wires of each: nothing where both differ."""
    update: dict[str, object] = {}
    unclear: list[str] = []
    for name in Joint.model_fields:
        was, one, two = (getattr(joint, name) for joint in (base, ours, theirs))
        if one == two or two == was:
            update[name] = one
        elif one == was:
            update[name] = two
        else:
            unclear.append(
                f"; {name.removesuffix('_mm').replace('_', ' ')}: by ours {_measured(name, one)}, by theirs {_measured(name, two)}"
            )
    judge.tell(ToldOf.NEW, f"{where}: in neither map, and nobody has looked at it" + "".join(unclear))
    return Joint(after=ours.after, before=ours.before).model_copy(update=update)


def _between(chain: Chain, ends: _Ends) -> str:
    at = {pixel.id: number for number, pixel in enumerate(chain.pixels)}
    first = "the board" if ends[0] is None else shown_number(at[ends[0]])
    return f"joint from {first} to {shown_number(at[ends[1]])}"


def _noted(joint: Joint) -> str:
    """What is noted of a joint, in words."""
    parts = joint.model_dump(mode="json", exclude_defaults=True, exclude={"after", "before"})
    return ", ".join(
        f"{name.removesuffix('_mm').replace('_', ' ')} {_measured(name, part)}" for name, part in parts.items()
    )


def _measured(name: str, value: object) -> str:
    return f"{value:g} mm" if name.endswith("_mm") and isinstance(value, float) else _words(value)


# -- the same name for two things -----------------------------------------------------------------------------------


def _with_unlike_names(base: PlayfieldMap | None, ours: PlayfieldMap, theirs: PlayfieldMap) -> PlayfieldMap:
    """`theirs` with other ids for what is new on both sides under one id, and is not the same thing.

    New places are one if label and area agree. New pixels of one id are one if they are the same step beyond a pixel that
    both know, at the chain's end or in runs of one length.
    """
    old = set() if base is None else set(base.place_by_id)
    taken = set(ours.place_by_id) | set(theirs.place_by_id)
    renamed: dict[str, str] = {}
    for place in theirs.places:
        mine = ours.place_by_id.get(place.id)
        if place.id not in old and mine is not None and _name_of(mine) != _name_of(place):
            renamed[place.id] = slug(place.label, taken)
            taken.add(renamed[place.id])
    theirs = _with_place_ids(theirs, renamed)
    for chain in theirs.chains:
        one = ours.chain_by_id.get(chain.id)
        was = None if base is None else base.chain_by_id.get(chain.id)
        if one is not None:
            theirs = _with_pixel_ids(theirs, chain, _new_pixel_ids(was, one, chain))
    for name, says in _NUMBERED.items():
        theirs = _with_unlike_ids(name, says, base, ours, theirs)
    return theirs


_NUMBERED: Mapping[str, tuple[str, ...]] = {
    "worklist": ("words", "about"),
    "photos": ("file", "place", "chain", "pixel"),
}
"""Lists whose ids say nothing, so that two people give one to two things; and what tells whether they are one."""


def _with_unlike_ids(
    name: str, says: Sequence[str], base: PlayfieldMap | None, ours: PlayfieldMap, theirs: PlayfieldMap
) -> PlayfieldMap:
    """`theirs` with other ids in a list for what is new on both sides under one id, and says something else."""
    known, mine = ({} if map_ is None else {r.id: r for r in getattr(map_, name)} for map_ in (base, ours))
    taken = {*known, *mine, *(record.id for record in getattr(theirs, name))}
    made = []
    for record in getattr(theirs, name):
        one = mine.get(record.id)
        if one is not None and record.id not in known and any(getattr(one, n) != getattr(record, n) for n in says):
            record = record.model_copy(update={"id": slug(record.id, taken)})
            taken.add(record.id)
        made.append(record)
    return theirs.model_copy(update={name: tuple(made)})


def _name_of(place: Place) -> tuple[str, str]:
    return folded(place.label), folded(place.area)


def _new_pixel_ids(base: Chain | None, ours: Chain, theirs: Chain) -> dict[str, str]:
    old = set() if base is None else {pixel.id for pixel in base.pixels}
    mine, other = _spots(ours.pixels, old), _spots(theirs.pixels, old)
    taken = {pixel.id for chain in (ours, theirs) for pixel in chain.pixels} | old
    renamed = {}
    for key in other:
        if key in mine and mine[key] != other[key]:
            renamed[key] = slug(f"{theirs.id}-{len(taken)}", taken)
            taken.add(renamed[key])
    return renamed


def _spots(pixels: Sequence[Pixel], old: set[str]) -> dict[str, tuple[str, int, int]]:
    """For each new pixel: the old one before it, its step from there, and the length of its run (0 at the chain's end)."""
    found: dict[str, tuple[str, int, int]] = {}
    anchor, at = "", 0
    while at < len(pixels):
        run = list(takewhile(lambda pixel: pixel.id not in old, pixels[at:]))
        length = 0 if at + len(run) == len(pixels) else len(run)
        found |= {pixel.id: (anchor, step, length) for step, pixel in enumerate(run)}
        at += len(run)
        if at < len(pixels):
            anchor = pixels[at].id
            at += 1
    return found


def _with_place_ids(map_: PlayfieldMap, renamed: Mapping[str, str]) -> PlayfieldMap:
    if not renamed:
        return map_
    update: dict[str, object] = {
        "places": tuple(p.model_copy(update={"id": renamed.get(p.id, p.id)}) for p in map_.places),
        "chains": tuple(
            c.model_copy(
                update={
                    "pixels": tuple(
                        p.model_copy(update={"place": renamed.get(p.place or "", p.place)}) for p in c.pixels
                    )
                }
            )
            for c in map_.chains
        ),
        "observations": tuple(
            o.model_copy(update={"place": renamed.get(o.place or "", o.place)}) for o in map_.observations
        ),
        "readings": tuple(
            r.model_copy(update={"place": renamed.get(r.place, r.place), "to": renamed.get(r.to or "", r.to)})
            for r in map_.readings
        ),
        "photos": tuple(p.model_copy(update={"place": renamed.get(p.place or "", p.place)}) for p in map_.photos),
    }
    if map_.plan_rules is not None:
        update["plan_rules"] = _with_places(map_.plan_rules, renamed)
    return map_.model_copy(update=update)


def _with_places(rules: PlanRules, renamed: Mapping[str, str]) -> PlanRules:
    update: dict[str, object] = {
        name: tuple((renamed.get(one, one), renamed.get(other, other)) for one, other in getattr(rules, name))
        for name in ("pinned", "forbidden")
    }
    if rules.splice is not None:
        cuts = tuple(
            cut.model_copy(update={"places": tuple(renamed.get(place, place) for place in cut.places)})
            for cut in rules.splice.cuts
        )
        update["splice"] = rules.splice.model_copy(update={"cuts": cuts})
    return rules.model_copy(update=update)


def _with_pixel_ids(map_: PlayfieldMap, chain: Chain, renamed: Mapping[str, str]) -> PlayfieldMap:
    if not renamed:
        return map_
    pixels = tuple(p.model_copy(update={"id": renamed.get(p.id, p.id)}) for p in chain.pixels)
    joints = tuple(
        j.model_copy(update={"after": renamed.get(j.after or "", j.after), "before": renamed.get(j.before, j.before)})
        for j in chain.joints
    )
    made = chain.model_copy(update={"pixels": pixels, "joints": joints})
    feeds = tuple(
        f.model_copy(update={"pixel": renamed.get(f.pixel, f.pixel)}) if f.chain == chain.id else f for f in map_.feeds
    )
    photos = tuple(
        p.model_copy(update={"pixel": renamed.get(p.pixel or "", p.pixel)}) if p.chain == chain.id else p
        for p in map_.photos
    )
    chains = tuple(made if c.id == made.id else c for c in map_.chains)
    return map_.model_copy(update={"chains": chains, "feeds": feeds, "photos": photos})


# -- with their revisions -------------------------------------------------------------------------------------------


def shared_base(ours: PlayfieldMap, theirs: PlayfieldMap) -> PlayfieldMap | None:
    """What both began from, by the revisions that they share; None if they share none and began otherwise.

    Logs of it are what both hold. Raises NoRevisionError if a revision since then does not say what it changed.
    """
    pairs = zip(ours.revisions, theirs.revisions, strict=False)
    shared = [one for one, _ in takewhile(lambda pair: pair[0] == pair[1], pairs)]
    number = shared[-1].number if shared else 0
    try:
        found = at_revision(ours, number)
        if not shared and diff(found, at_revision(theirs, 0)):
            return None
    except NoRevisionError:
        if shared:
            raise
        return None
    update: dict[str, object] = {
        name: tuple((Counter(getattr(ours, name)) & Counter(getattr(theirs, name))).elements()) for name in _LOGS
    }
    update["rechecks"] = tuple(kept for kept in ours.rechecks if kept in theirs.rechecks)
    update["bookmark"] = ours.bookmark if ours.bookmark == theirs.bookmark else None
    return found.model_copy(update=update)


def merge_maps(
    ours: PlayfieldMap,
    theirs: PlayfieldMap,
    *,
    base: PlayfieldMap | None,
    time: str,
    name: str,
    choices: Mapping[int, Side] | None = None,
) -> Merged:
    """`merge` as one revision on top of ours. `name`: how theirs is called. Open sessions are closed first.

    A pixel or lamp that theirs saw to be right counts only if ours has not rewired its chain since.
    """
    ours, theirs = session_closed(ours, time=time), session_closed(theirs, time=time)
    since = base.revisions[-1].number if base is not None and base.revisions else 0
    number = next_number(ours)
    merged = merge(base, ours, _renumbered(base, ours, theirs, since=since, number=number), choices=choices)
    made = revised(ours, merged.map, time=time, reason=f"Merged {storable(name)}"[:MAX_TEXT])
    if made is ours:
        same = merged.map.model_copy(update={"revisions": ours.revisions, "pending": ()})
        return replace(merged, map=same)
    lines = tuple(f"theirs, {r.time}: {r.reason}"[:MAX_TEXT] for r in theirs.revisions if r.number > since)
    last = made.revisions[-1]
    last = last.model_copy(update={"changes": (*lines, *merged.told, *last.changes)})
    return replace(merged, map=made.model_copy(update={"revisions": (*made.revisions[:-1], last)}))


def _renumbered(
    base: PlayfieldMap | None, ours: PlayfieldMap, theirs: PlayfieldMap, *, since: int, number: int
) -> PlayfieldMap:
    """`theirs` with every mention of a revision of its own as one of the merge, or of the base where it does not hold."""
    ours_rewired = set(rewired(diff(base, ours))) if base is not None else set(ours.chain_by_id)
    chains = []
    for chain in theirs.chains:
        was = (
            {}
            if base is None or chain.id not in base.chain_by_id
            else {p.id: p.verified for p in base.chain(chain.id).pixels}
        )
        holds = max(since + 1, changed_in(theirs, chain.id))
        pixels = tuple(
            pixel
            if pixel.verified <= since
            else pixel.model_copy(
                update={
                    "verified": number
                    if chain.id not in ours_rewired and pixel.verified >= holds
                    else was.get(pixel.id, 0)
                }
            )
            for pixel in chain.pixels
        )
        chains.append(chain.model_copy(update={"pixels": pixels}))
    last_rewired = max((changed_in(theirs, chain.id) for chain in theirs.chains), default=0)

    def moved(entry: Any) -> Any:
        if entry.revision <= since:
            return entry
        holds = not ours_rewired and entry.revision >= last_rewired
        return entry.model_copy(update={"revision": number if holds else since})

    update = {
        "chains": tuple(chains),
        "proofs": tuple(map(moved, theirs.proofs)),
        "observations": tuple(map(moved, theirs.observations)),
    }
    return theirs.model_copy(update=update)


def _words(value: object) -> str:
    """A value of a conflict in words."""
    if value is None or value is _MISSING:
        return "not there"
    if isinstance(value, tuple):
        return ", ".join(_words(part) for part in value) if value else "none"
    if isinstance(value, Record):
        name = getattr(value, "label", None) or getattr(value, "name", None)
        parts = value.model_dump(mode="json", exclude_defaults=True)
        fields = ", ".join(
            f"{key} {part}" for key, part in parts.items() if not isinstance(part, (list, dict)) and key != "id"
        )
        return (fields or str(name or "there"))[:200]
    words = str(value)
    return words if words else "empty"
