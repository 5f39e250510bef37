"""What a map needs next, most useful first, and all that is left as a worklist: computed from the map alone."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from dataclasses import field

from probe.document.checks import Severity, check_map
from probe.document.chosen import repair_in_work, splice_in_work
from probe.document.joining import open_rows
from probe.document.lamp_table import lamp_table
from probe.document.local_time import local_date
from probe.document.model import Kind, PixelState, Place, PlayfieldMap, shown_number
from probe.document.model.evenings import WorkLine, WorkMoment
from probe.document.model.game import Verdict
from probe.document.model.harness import Fixing
from probe.document.model.light import Rating
from probe.document.model.planning import RepairWay
from probe.document.model.record import MAX_TEXT, storable
from probe.document.plural import many
from probe.document.proving import tally
from probe.document.revisions import changed_in
from probe.frozen import frozen


@frozen
class Need:
    """One thing to do: what in words, with figures in `detail`; the task that does it, on which chain and pixel.

    `moment` and `area`: when and where it is done. `key` and `state`: what a tick names it by, and until when it counts.
    """

    task: str
    words: str
    detail: str = ""
    chain: str | None = None
    number: int | None = None
    moment: WorkMoment = field(default=WorkMoment.POWER_ON, compare=False)
    area: str = field(default="", compare=False)
    key: str = field(default="", compare=False)
    state: str = field(default="", compare=False)

    @property
    def name(self) -> str:
        """What a tick names it by."""
        return self.key or f"{self.task} {self.chain or ''} {self.words}"[:MAX_TEXT]

    @property
    def holds(self) -> str:
        """What it was computed from: a tick counts only while this is the same."""
        return (self.state or self.detail)[:MAX_TEXT]


def needs(map_: PlayfieldMap) -> tuple[Need, ...]:
    """Unfinished rechecks; faults; chains changed but not looked at since; pixels unseen; places that lack a pixel; lamps without a place; proof.

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
        words = f"Mend {many(len(faults), 'fault')} in the map"
        yield Need("table", words, faults[0].what, first.chain, first.number, moment=WorkMoment.BEFORE_POWER)
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
    lit = map_.pixels_at
    lacking = [place for place in map_.places if place.position is not None and place.id not in lit]
    if lacking and not any(chain.length > len(chain.pixels) for chain in map_.chains):
        names = ", ".join(place.label for place in lacking[:2]) + (" …" if len(lacking) > 2 else "")
        words, detail = f"Plan where to splice {many(len(lacking), 'pixel')}", f"no pixel yet: {names}"
        chosen = splice_in_work(map_)
        if chosen is not None:
            count = sum(len(cut.places) for cut in chosen.cuts)
            words, detail = f"Solder the chosen splice of {many(count, 'pixel')}", f"{detail}; {_SAY_SO}"
        yield Need("plan", words, detail, moment=WorkMoment.BEFORE_POWER)
    rows = open_rows(map_)
    if rows:
        detail = f"{many(len(rows), 'lamp')} to join"
        yield Need("lamps", "Join lamps to places", detail)
    counts = tally(map_)
    if counts.proved < counts.total:
        detail = f"{counts.proved} of {counts.total} proved"
        yield Need("prove", "Prove that each lamp lights its places", detail, moment=WorkMoment.GAME_ON)


# -- the worklist -----------------------------------------------------------------------------------------------------

_MOMENTS = tuple(WorkMoment)
_MOST_NAMED = 4
_SAY_SO = "chosen; say so in the plan once it is soldered"
_DEAD = {
    RepairWay.REPLACE: "Replace the dead",
    RepairWay.SPARE: "Put a spare in for the dead",
    RepairWay.LEAVE_OUT: "Bypass the dead",
}


@frozen
class WorkItem:
    """A line of the worklist. `own`: id of the line a person wrote; None: computed. `done`: when it was ticked off, or ""."""

    need: Need
    own: str | None = None
    done: str = ""


def worklist(
    map_: PlayfieldMap, more: Iterable[Need] = (), *, in_board: int | None = None, seen: str = ""
) -> tuple[WorkItem, ...]:
    """All that is left: open lines by moment and area, then those ticked off. `more`: what others computed of this map.

    `in_board`: the checksum of the table that the map's board was last seen to hold, and `seen` when (RFC 3339); None if
    nobody has looked.
    """
    ticks = {line.about: line for line in map_.worklist if line.about}
    items = []
    for need in (*needs(map_), *_details(map_, in_board, seen), *more):
        tick = ticks.get(need.name)
        items.append(WorkItem(need, done=tick.done if tick is not None and tick.state == need.holds else ""))
    for line in map_.worklist:
        if not line.about:
            items.append(WorkItem(Need("", line.words, moment=line.moment, area=line.area), line.id, line.done))
    areas = {area: at for at, area in enumerate(dict.fromkeys(["", *(p.area for p in map_.places)]))}
    last = len(areas)
    return tuple(
        sorted(
            items,
            key=lambda item: (
                bool(item.done),
                _MOMENTS.index(item.need.moment),
                areas.get(item.need.area, last),
                item.need.area,
            ),
        )
    )


def open_items(items: Iterable[WorkItem]) -> tuple[WorkItem, ...]:
    """Those that are not ticked off."""
    return tuple(item for item in items if not item.done)


def _details(map_: PlayfieldMap, in_board: int | None, seen: str) -> Iterator[Need]:
    """What `needs` does not say in one line: pixels missing or dark, joints to redo, readings, table, papers."""
    if not map_.chains:
        return
    yield from _pixels(map_)
    yield from _joints(map_)
    yield from _light(map_)
    yield from _seen_otherwise(map_)
    yield from _papers(map_, in_board, seen)


def _by_area(places: Iterable[Place]) -> Iterator[tuple[str, list[Place]]]:
    found: dict[str, list[Place]] = {}
    for place in places:
        found.setdefault(place.area, []).append(place)
    yield from found.items()


def _names(places: list[Place]) -> str:
    more = f" and {len(places) - _MOST_NAMED} more" if len(places) > _MOST_NAMED else ""
    return ", ".join(place.label for place in places[:_MOST_NAMED]) + more


def _pixels(map_: PlayfieldMap) -> Iterator[Need]:
    walked = all(
        len(chain.pixels) >= chain.length and not any(p.state is PixelState.UNSEEN for p in chain.pixels)
        for chain in map_.chains
    )
    if walked:
        for area, places in _by_area(place for place in map_.places if place.id not in map_.pixels_at):
            words = f"Fit {many(len(places), 'missing pixel')}"
            yield Need("table", words, _names(places), moment=WorkMoment.BEFORE_POWER, area=area, key=f"missing {area}")
    repair = "plan" if any(place.position is not None for place in map_.places) else "walk"
    chosen = repair_in_work(map_)
    for chain_id, number, pixel in map_.walk_pixels():
        if pixel.state not in (PixelState.DEAD, PixelState.DARK):
            continue
        place = map_.place_of(pixel)
        where = f"{map_.chain(chain_id).name} {shown_number(number)}"
        is_chosen = chosen is not None and (chosen.chain, chosen.number) == (chain_id, number)
        way = chosen.way if chosen is not None and is_chosen else RepairWay.REPLACE
        said = (place.label if place is not None else "", pixel.note, _SAY_SO if is_chosen else "")
        yield Need(
            "faults" if pixel.state is PixelState.DARK else repair,
            f"{_DEAD[way] if pixel.state is PixelState.DEAD else 'See why it is dark:'} pixel {where}",
            ": ".join(words for words in said if words),
            chain_id,
            number,
            moment=WorkMoment.BEFORE_POWER if pixel.state is PixelState.DEAD else WorkMoment.POWER_ON,
            area=place.area if place is not None else "",
            key=f"{pixel.state.value} {chain_id} {pixel.id}",
        )


def _joints(map_: PlayfieldMap) -> Iterator[Need]:
    for chain in map_.chains:
        at = {pixel.id: number for number, pixel in enumerate(chain.pixels)}
        for joint in chain.joints:
            number = at.get(joint.before)
            why = [f"{joint.extra_mohm:g} mΩ too much"] if joint.extra_mohm else []
            why += ["its wire hangs loose"] if joint.fixing is Fixing.LOOSE else []
            if number is None or not why:
                continue
            place = map_.place_of(chain.pixels[number])
            yield Need(
                "harness",
                f"Redo the joint that arrives at {chain.name} {shown_number(number)}",
                ", ".join(why) + (f": {joint.note}" if joint.note else ""),
                chain.id,
                number,
                moment=WorkMoment.BEFORE_POWER,
                area=place.area if place is not None else "",
                key=f"joint {chain.id} {joint.after or ''}>{joint.before}",
            )


def _light(map_: PlayfieldMap) -> Iterator[Need]:
    last = max((reading.round for reading in map_.readings), default=0)
    now = [reading for reading in map_.readings if reading.round == last]
    for rating, words in ((Rating.DARK, "Lighten"), (Rating.HOT, "Dim")):
        spots = {r.place for r in now if r.rating is rating} & set(map_.place_by_id)
        for area, places in _by_area(place for place in map_.places if place.id in spots):
            what = f"{words} {many(len(places), f'{rating.value} spot')}"
            yield Need(
                "evenness",
                what,
                _names(places),
                area=area,
                key=f"{rating.value} {area}",
                state=f"{last} {_names(places)}",
            )
    lit = [p for p in map_.places if p.kind is Kind.GENERAL and p.id in map_.pixels_at]
    taken = {reading.place for reading in now}
    left = [place for place in lit if place.id not in taken]
    if left and not any(need.task == "walk" for need in needs(map_)):
        detail = f"{len(left)} of {many(len(lit), 'place')} of general light have none"
        yield Need("evenness", "Take readings of evenness", detail, key="readings")


def _seen_otherwise(map_: PlayfieldMap) -> Iterator[Need]:
    for seen in map_.observations:
        lamp = "a lamp" if seen.lamp is None else f"lamp {seen.lamp}"
        words = f"Clear up what {lamp} did"
        yield Need(
            "watch",
            words,
            f"seen: {seen.seen}",
            moment=WorkMoment.GAME_ON,
            key=f"seen {seen.time} {seen.lamp}"[:MAX_TEXT],
        )
    wrong = [proof for proof in map_.proofs if proof.verdict is Verdict.WRONG]
    if wrong:
        names = ", ".join(proof.group or f"lamp {proof.lamp}" for proof in wrong[:_MOST_NAMED])
        detail = names + (f" and {len(wrong) - _MOST_NAMED} more" if len(wrong) > _MOST_NAMED else "")
        yield Need(
            "prove", f"Mend {many(len(wrong), 'lamp')} proved wrong", detail, moment=WorkMoment.GAME_ON, key="wrong"
        )


def _papers(map_: PlayfieldMap, in_board: int | None, seen: str) -> Iterator[Need]:
    """Table and sheet: where nobody has looked into the board, only the person knows whether they are as new as the map, and a
    tick says it."""
    table = lamp_table(map_)
    if (table.lamps or table.groups) and (in_board is None or not _is_table_of(map_, in_board)):
        pixels = [row.pixels for row in table.lamps] + [row.pixels for row in table.groups]
        state = f"{zlib.crc32(repr(pixels).encode()):08x}"
        detail = "tick it off once the board has this table"
        if in_board is not None:
            detail = f"the map has changed since the board was looked at{f' on {local_date(seen)}' if seen else ''}"
        yield Need("board", "Put the table into the board", detail, key="table", state=state)
    number = map_.revisions[-1].number if map_.revisions else 0
    detail = (
        f"a sheet from before revision {number} is older than the map" if number else "tick it off once it is printed"
    )
    yield Need(
        "",
        "Print the sheet for the cabinet",
        detail,
        moment=WorkMoment.GAME_ON,
        key="sheet",
        state=f"revision {number}",
    )


# -- what a person writes -----------------------------------------------------------------------------------------------


def write_line(map_: PlayfieldMap, words: str, *, moment: WorkMoment, area: str = "") -> PlayfieldMap:
    """The map with one more line. Raises pydantic.ValidationError for an empty or over-long one."""
    line = WorkLine(id=_fresh_id(map_), words=storable(words.strip()), moment=moment, area=storable(area))
    return map_.model_copy(update={"worklist": (*map_.worklist, line)})


def tick(map_: PlayfieldMap, item: WorkItem, *, time: str) -> PlayfieldMap:
    """The map with this line ticked off, or (if it is) open again."""
    done = "" if item.done else time
    if item.own is not None:
        lines = [line.model_copy(update={"done": done}) if line.id == item.own else line for line in map_.worklist]
        return map_.model_copy(update={"worklist": tuple(lines)})
    kept = tuple(line for line in map_.worklist if line.about != item.need.name)
    if not done:
        return map_.model_copy(update={"worklist": kept})
    line = WorkLine(
        id=_fresh_id(map_),
        words=item.need.words[:MAX_TEXT],
        moment=item.need.moment,
        area=item.need.area,
        about=item.need.name,
        state=item.need.holds,
        done=done,
    )
    return map_.model_copy(update={"worklist": (*kept, line)})


def take_out_line(map_: PlayfieldMap, own: str) -> PlayfieldMap:
    """The map without a line that a person wrote."""
    return map_.model_copy(update={"worklist": tuple(line for line in map_.worklist if line.id != own)})


def _fresh_id(map_: PlayfieldMap) -> str:
    taken = {line.id for line in map_.worklist}
    number = len(taken) + 1
    while f"line-{number}" in taken:
        number += 1
    return f"line-{number}"


def _is_table_of(map_: PlayfieldMap, crc: int) -> bool:
    """Whether the table of the map has this checksum; one too large for any board is nothing to write."""
    from probe.document.board_table import TableTooLargeError, board_table  # only where a board was looked at

    try:
        return board_table(map_).crc == crc
    except TableTooLargeError:
        return True
