"""Answers of the walk: a label, a state or the same place again; what a new place inherits; on to the next pixel."""

from __future__ import annotations

from dataclasses import replace

from probe.document.model import MAX_TEXT, PixelState, Place, PlayfieldMap, Position, shown_number
from probe.document.operations import (
    add_place,
    assign_place,
    drop_unused_place,
    folded,
    set_bookmark,
    set_note,
    set_state,
    set_verified,
    update_place,
)
from probe.document.revisions import next_number
from probe.mapping.keys import Answer, Entry
from probe.mapping.moving import ALL_ANSWERED, go
from probe.mapping.offers import Offer, Surroundings
from probe.mapping.place_edits import change_area
from probe.mapping.walk_state import Moment, Walk, next_unseen
from probe.task.steps import MOST_UNDO, Effect, RingBell, SaveMap

PACE_ANSWERS = 20

_STATES = {
    Answer.NOTHING_LIT: PixelState.DARK,
    Answer.HIDDEN: PixelState.HIDDEN,
    Answer.SPARE: PixelState.SPARE,
    Answer.REPEATER: PixelState.REPEATER,
}


def take(walk: Walk, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    """Enter: the chosen offer or what is typed, for whatever the entry line is used for."""
    typed = walk.typed.strip()
    match walk.entry:
        case Entry.GOTO:
            return _take_number(walk, typed)
        case Entry.NOTE:
            m = set_note(walk.map, walk.chain, walk.number, typed[:MAX_TEXT])
            moment = Moment(walk.map, walk.chain, walk.number)
            walk = replace(
                walk, map=m, entry=Entry.LABEL, typed="", past=(*walk.past, moment)[-MOST_UNDO:], message="note kept"
            )
            return walk, (SaveMap(m),)
        case Entry.AREA:
            chosen = walk.offer.label if walk.offer and (not typed or walk.chosen) else typed
            return change_area(replace(walk, entry=Entry.LABEL, typed="", chosen=0), chosen)
        case Entry.LABEL:
            pass
    offer = walk.offer
    if offer is None:
        return replace(walk, message="type what lights, or press a key for nothing lit, spare …"), (RingBell(),)
    if why := _refusal(walk):
        return replace(walk, message=why), (RingBell(),)
    if len(offer.label) > MAX_TEXT:
        return replace(walk, message=f"this label is too long: {MAX_TEXT:,} characters at most"), (RingBell(),)
    m, place = _place_for(walk, offer)
    old = walk.pixel.place
    m = assign_place(m, walk.chain, walk.number, place.id)
    if old is not None and old != place.id:
        m = drop_unused_place(m, old)
    others = [n for c, n in m.pixels_at[place.id] if (c, n) != (walk.chain, walk.number)]
    also = f" (with {', '.join(map(str, others[:4]))})" if others else ""
    return _answered(walk, m, now_s, f"{shown_number(walk.number)}: {place.label}{also}")


def say(walk: Walk, answer: Answer, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    """A one-key answer: a state of the pixel, or the place before again."""
    if why := _refusal(walk):
        return replace(walk, message=why), (RingBell(),)
    if answer is Answer.SAME_PLACE:
        last = walk.last_place
        if last is None:
            return replace(walk, message="no place before this one yet: type its label"), (RingBell(),)
        m = assign_place(walk.map, walk.chain, walk.number, last.id)
        words = f"{shown_number(walk.number)}: {last.label}, again"
    else:
        m = set_state(walk.map, walk.chain, walk.number, _STATES[answer])
        words = f"{shown_number(walk.number)}: {answer.value}"
    old = walk.pixel.place
    if old is not None and old != m.chain(walk.chain).pixels[walk.number].place:
        m = drop_unused_place(m, old)
    return _answered(walk, m, now_s, words)


def _take_number(walk: Walk, typed: str) -> tuple[Walk, tuple[Effect, ...]]:
    if not typed:
        return replace(walk, entry=Entry.LABEL), ()
    if not typed.isdecimal():
        return replace(walk, message=f"{typed[:20]!r} is not a number: type a pixel's number, from 0"), (RingBell(),)
    return go(walk, walk.chain, int(typed[:9]))


def _place_for(walk: Walk, offer: Offer) -> tuple[PlayfieldMap, Place]:
    """The place that an offer means: one that exists, or a new one with what it inherits."""
    m = walk.map
    if offer.place is not None and offer.place in m.place_by_id:
        place = m.place_by_id[offer.place]
        if walk.put_at is not None:
            place = place.model_copy(update={"position": walk.put_at})
            m = update_place(m, place)
        return m, place
    area = offer.area if offer.area is not None else walk.next_area
    for place in m.places:
        same = folded(place.label) == folded(offer.label) and (folded(place.area) == folded(area) or not place.area)
        if same and place.id not in m.pixels_at:
            lamps = place.lamps or offer.lamps
            known = {"lamps": lamps, "group": place.group or offer.group, "position": walk.put_at or place.position}
            place = place.model_copy(update=known)
            return update_place(m, place), place
    return add_place(
        m,
        offer.label,
        area=area,
        kind=offer.kind if offer.kind is not None and walk.kind is None else walk.next_kind,
        position=walk.put_at or _guessed_position(walk, offer),
        lamps=offer.lamps,
        group=offer.group,
    )


def _guessed_position(walk: Walk, offer: Offer) -> Position | None:
    """Where a new place may be: on by one step if it continues a row, else beside the last one. Marked as a guess."""
    last, before = Surroundings(walk.map, walk.chain, walk.number).neighbours()
    if last is None or last.position is None:
        return None
    here = last.position
    if offer.position_of == last.id and before is not None and before.position is not None:
        x, y = 2 * here.x_mm - before.position.x_mm, 2 * here.y_mm - before.position.y_mm
        machine = walk.map.machine
        if 0 <= x <= machine.width_mm and 0 <= y <= machine.length_mm * 1.5:
            return Position(x_mm=x, y_mm=y, guessed=True)
    return Position(x_mm=here.x_mm, y_mm=here.y_mm, guessed=True)


def _refusal(walk: Walk) -> str:
    """Why an answer cannot be taken now; empty if it can."""
    if walk.paper or walk.is_lit:
        return ""
    if walk.board.here:
        if walk.blinking:
            return ""
        return f"{shown_number(walk.number)} is not lit yet: wait for it, then answer"
    return "no board, so nothing is lit: wait for it, or enter from paper (=)"


def _answered(walk: Walk, m: PlayfieldMap, now_s: float, message: str) -> tuple[Walk, tuple[Effect, ...]]:
    """After an answer: on to the next pixel, the old state kept for undo, the map saved before light moves on."""
    moment = Moment(walk.map, walk.chain, walk.number)
    seen = walk.board.here and not (walk.paper and not walk.is_lit)
    m = set_verified(m, walk.chain, walk.number, next_number(m) if seen else 0)
    chain = m.chain(walk.chain)
    following = walk.number + 1
    where: tuple[str, int] | None = (walk.chain, following)
    if chain.count is not None and following >= chain.length:
        where = next_unseen(m, walk.chain, walk.number)
    m = set_bookmark(m, *(where or (walk.chain, walk.number)))
    done = replace(
        walk,
        map=m,
        past=(*walk.past, moment)[-MOST_UNDO:],
        future=(),
        answered_s=(*walk.answered_s, now_s)[-PACE_ANSWERS:],
        entry=Entry.LABEL,
        typed="",
        chosen=0,
        put_at=None,
    )
    if where is None:
        done = replace(done, message=f"{message}: {ALL_ANSWERED}")
        return done, (SaveMap(m), RingBell())
    moved, effects = go(done, *where)
    return replace(moved, message=message), (SaveMap(m), *effects)
