"""The walk: one pixel lit at a time, the person says what it lights. A frozen state and a pure step.

An answer saves the map first and lights the next pixel only then (the effects' order). While a board is there, an
answer counts only if the board has said that this pixel is lit; without one the walk goes on paper.
"""

from __future__ import annotations

from dataclasses import replace

from device_protocol.messages import Identity
from device_protocol.values import Colour
from probe.maps.model import Chain, Kind, PixelState, Place, PlayfieldMap, Position, shown_number
from probe.maps.operations import (
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
from probe.maps.revisions import next_number
from probe.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    ButtonPressed,
    Effect,
    News,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    SetUpChain,
    ShowDark,
    Shown,
    ShowPixel,
    Tick,
    board_view,
)
from probe.survey.keys import (
    Answer,
    Ask,
    ChangeKind,
    ChangeLevel,
    Choose,
    Entry,
    GoTo,
    Key,
    Leave,
    Move,
    PutAt,
    Redo,
    Retry,
    Say,
    Take,
    ToggleBlink,
    TogglePaper,
    Typed,
    Undo,
)
from probe.survey.offers import Offer, Surroundings
from probe.survey.walk_state import Moment, Walk, next_unseen, start

LEVELS = (4, 8, 16, 32, 64, 128, 255)
COUNT_STEP = 64
PACE_ANSWERS = 20


__all__ = ["LEVELS", "Walk", "level_under", "set_count_for", "start", "step"]

_STATES = {
    Answer.NOTHING_LIT: PixelState.DARK,
    Answer.HIDDEN: PixelState.HIDDEN,
    Answer.SPARE: PixelState.SPARE,
    Answer.REPEATER: PixelState.REPEATER,
}


def step(walk: Walk, given: Key | News, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    """The walk after a key or some news, and what is to be done. `now_s`: seconds on any steady clock."""
    match given:
        case Typed(text):
            return replace(walk, typed=text, chosen=0, message=""), ()
        case Choose(by):
            size = len(walk.offers)
            return (replace(walk, chosen=(walk.chosen + by) % size), ()) if size else (walk, ())
        case Take():
            return _take(walk, now_s)
        case Ask(entry):
            text = walk.pixel.note if entry is Entry.NOTE else ""
            return replace(walk, entry=entry, typed=text, chosen=0, message=""), ()
        case Leave():
            return replace(walk, entry=Entry.LABEL, typed="", chosen=0, message=""), ()
        case Say(answer):
            return _say(walk, answer, now_s)
        case Move(by, unseen):
            return _move(walk, by, unseen=unseen)
        case GoTo(number, chain):
            return _go(walk, chain or walk.chain, number)
        case ChangeLevel(by):
            at = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - walk.level))
            level = LEVELS[max(0, min(len(LEVELS) - 1, at + by))]
            return _relit(replace(walk, level=level, message=f"level {level} of 255"))
        case ChangeKind(by):
            return _change_kind(walk, by)
        case PutAt(x_mm, y_mm):
            return _put_at(walk, Position(x_mm=x_mm, y_mm=y_mm))
        case ToggleBlink():
            if walk.steady_only:
                return replace(walk, message="steady light only (settings): no blinking"), ()
            return _relit(replace(walk, blinking=not walk.blinking, blink_on=True))
        case TogglePaper():
            words = "answers are taken without a board" if not walk.paper else "answers wait for the board"
            return replace(walk, paper=not walk.paper, message=words), ()
        case Undo():
            return _travel(walk, back=True)
        case Redo():
            return _travel(walk, back=False)
        case Retry():
            return replace(walk, message=""), (SaveMap(walk.map), *_light(walk))
        case _:
            return _news(walk, given, now_s)


def _news(walk: Walk, news: News, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    match news:
        case BoardHere(identity):
            walk = replace(walk, board=board_view(walk.board, news), lit=None)
            setups = tuple(
                SetUpChain(c, set_count_for(walk, c)) for c in walk.map.chains if c.output < identity.outputs
            )
            return walk, setups + _light(walk)
        case BoardGone():
            bell = (RingBell(),) if walk.board.here else ()  # once, not at every attempt to find it again
            return replace(walk, board=board_view(walk.board, news), lit=None), bell
        case BoardDark():
            return _relit(replace(walk, lit=None))
        case Shown(ShowPixel(output, number, colour)) if output == walk.here.output:
            off = colour == Colour(0, 0, 0)
            return replace(walk, lit=None if off else (walk.chain, number)), ()
        case Shown():
            return (replace(walk, lit=None), ()) if not walk.blinking else (walk, ())
        case NotShown(_, why):
            return replace(walk, lit=None, message=why), (RingBell(),)
        case Saved():
            return replace(walk, unsaved=""), ()
        case NotSaved(why):
            return replace(walk, unsaved=why), (RingBell(),)
        case ButtonPressed(times):
            return _move(walk, times)
        case Tick():
            if not (walk.blinking and walk.board.here):
                return walk, ()
            walk = replace(walk, blink_on=not walk.blink_on)
            return walk, (_light(walk) if walk.blink_on else (ShowDark(walk.here.output),))
        case _:
            return replace(walk, board=board_view(walk.board, news)), ()


def set_count_for(walk: Walk, chain: Chain) -> int | None:
    """What the board is told of a chain's count: the map's, or enough to reach the pixel asked for if nobody knows."""
    if chain.count is not None and chain.count >= len(chain.pixels):
        return None
    reach = max(len(chain.pixels), walk.number + 1 if chain.id == walk.chain else 1)
    wanted = (reach // COUNT_STEP + 1) * COUNT_STEP
    identity = walk.board.identity
    return min(wanted, identity.pixels) if identity else wanted


def level_under(ceiling_ma: int, count: int, wanted: int, identity: Identity) -> int:
    """The highest level up to `wanted` at which one white pixel of `count` keeps under the ceiling; 1 at least."""
    spare_ua = min(ceiling_ma, identity.ceiling_ma) * 1000 - count * identity.idle_ua
    return max(1, min(wanted, spare_ua * 255 // (3 * identity.channel_ua) if identity.channel_ua else wanted))


def _light(walk: Walk) -> tuple[Effect, ...]:
    identity = walk.board.identity
    if identity is None:
        return ()
    chain = walk.here
    if chain.output >= identity.outputs:
        return ()
    told = set_count_for(walk, chain)
    level = level_under(chain.ceiling_ma, told or chain.length, walk.level, identity)
    return (ShowPixel(chain.output, walk.number, Colour(level, level, level)),)


def _relit(walk: Walk) -> tuple[Walk, tuple[Effect, ...]]:
    return walk, _light(walk)


def _go(walk: Walk, chain_id: str, number: int) -> tuple[Walk, tuple[Effect, ...]]:
    chain = walk.map.chain_by_id.get(chain_id)
    if chain is None:
        return replace(walk, message=f"there is no chain {chain_id!r}"), ()
    top = chain.length - 1 if chain.count is not None else 65_534
    identity = walk.board.identity
    if identity is not None and chain.count is None:
        top = min(top, identity.pixels - 1)
    if not 0 <= number <= top:
        end = "the first pixel is 0" if number < 0 else f"the last pixel is {shown_number(top)}"
        return replace(walk, message=end), (RingBell(),)
    before = walk
    walk = replace(
        walk,
        chain=chain_id,
        number=number,
        entry=Entry.LABEL,
        typed="",
        chosen=0,
        put_at=None,
        lit=None,
        blink_on=True,
        message="",
    )
    effects: tuple[Effect, ...] = ()
    if before.here.output != chain.output and before.board.here:
        effects += (ShowDark(before.here.output),)
    if set_count_for(walk, chain) != set_count_for(before, chain) and walk.board.here:
        effects += (SetUpChain(chain, set_count_for(walk, chain)),)
    return walk, effects + _light(walk)


def _move(walk: Walk, by: int, *, unseen: bool = False) -> tuple[Walk, tuple[Effect, ...]]:
    if not unseen:
        return _go(walk, walk.chain, walk.number + by)
    found = next_unseen(walk.map, walk.chain, walk.number)
    if found is None:
        return replace(walk, message="every pixel has been answered"), (RingBell(),)
    return _go(walk, *found)


def _refusal(walk: Walk) -> str:
    """Why an answer cannot be taken now; empty if it can."""
    if walk.paper or walk.is_lit:
        return ""
    if walk.board.here:
        if walk.blinking:
            return ""
        return f"{shown_number(walk.number)} is not lit yet: wait for it, then answer"
    return "no board, so nothing is lit: wait for it, or switch to paper entry"


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
        past=(*walk.past, moment)[-500:],
        future=(),
        answered_s=(*walk.answered_s, now_s)[-PACE_ANSWERS:],
        entry=Entry.LABEL,
        typed="",
        chosen=0,
        put_at=None,
    )
    if where is None:
        done = replace(done, message=f"{message}: every pixel has been answered")
        return done, (SaveMap(m), RingBell())
    moved, effects = _go(done, *where)
    return replace(moved, message=message), (SaveMap(m), *effects)


def _take(walk: Walk, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    typed = walk.typed.strip()
    match walk.entry:
        case Entry.GOTO:
            return _take_number(walk, typed)
        case Entry.NOTE:
            m = set_note(walk.map, walk.chain, walk.number, typed[:2000])
            moment = Moment(walk.map, walk.chain, walk.number)
            walk = replace(walk, map=m, entry=Entry.LABEL, typed="", past=(*walk.past, moment), message="note kept")
            return walk, (SaveMap(m),)
        case Entry.AREA:
            chosen = walk.offer.label if walk.offer and (not typed or walk.chosen) else typed
            return _change_area(replace(walk, entry=Entry.LABEL, typed="", chosen=0), chosen)
        case Entry.LABEL:
            pass
    offer = walk.offer
    if offer is None:
        return replace(walk, message="type what lights, or press a key for nothing lit, spare …"), (RingBell(),)
    if why := _refusal(walk):
        return replace(walk, message=why), (RingBell(),)
    if len(offer.label) > 2000:
        return replace(walk, message="this label is too long: 2,000 characters at most"), (RingBell(),)
    m, place = _place_for(walk, offer)
    old = walk.pixel.place
    m = assign_place(m, walk.chain, walk.number, place.id)
    if old is not None and old != place.id:
        m = drop_unused_place(m, old)
    others = [n for c, n in m.pixels_at[place.id] if (c, n) != (walk.chain, walk.number)]
    also = f" (with {', '.join(map(str, others[:4]))})" if others else ""
    return _answered(walk, m, now_s, f"{shown_number(walk.number)}: {place.label}{also}")


def _take_number(walk: Walk, typed: str) -> tuple[Walk, tuple[Effect, ...]]:
    if not typed:
        return replace(walk, entry=Entry.LABEL), ()
    if not typed.isdecimal():
        return replace(walk, message=f"{typed[:20]!r} is not a number: type a pixel's number, from 0"), (RingBell(),)
    return _go(walk, walk.chain, int(typed[:9]))


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


def _say(walk: Walk, answer: Answer, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
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


def _travel(walk: Walk, *, back: bool) -> tuple[Walk, tuple[Effect, ...]]:
    source = walk.past if back else walk.future
    if not source:
        words = "nothing to undo" if back else "nothing to redo"
        return replace(walk, message=words), (RingBell(),)
    here = Moment(walk.map, walk.chain, walk.number)
    moment = source[-1]
    m = set_bookmark(moment.map, moment.chain, moment.number)
    walk = replace(
        walk,
        map=m,
        past=walk.past[:-1] if back else (*walk.past, here),
        future=(*walk.future, here) if back else walk.future[:-1],
    )
    moved, effects = _go(walk, moment.chain, moment.number)
    return replace(moved, message="undone" if back else "done again"), (SaveMap(m), *effects)


def _change_kind(walk: Walk, by: int) -> tuple[Walk, tuple[Effect, ...]]:
    kinds = list(Kind)
    place = walk.place
    current = place.kind if place else walk.next_kind
    kind = kinds[(kinds.index(current) + by) % len(kinds)]
    return _edit_place(replace(walk, kind=kind), {"kind": kind}, f"kind: {kind.value}")


def _change_area(walk: Walk, area: str) -> tuple[Walk, tuple[Effect, ...]]:
    return _edit_place(replace(walk, area=area), {"area": area}, f"area: {area or 'none'}")


def _put_at(walk: Walk, position: Position) -> tuple[Walk, tuple[Effect, ...]]:
    words = f"position {position.x_mm:.0f}, {position.y_mm:.0f} mm"
    return _edit_place(replace(walk, put_at=position), {"position": position}, words)


def _edit_place(walk: Walk, update: dict[str, object], words: str) -> tuple[Walk, tuple[Effect, ...]]:
    """Change the place that this pixel lights, if it has one; else the change waits for the place named next."""
    place = walk.place
    if place is None:
        return replace(walk, message=f"{words}, for the next new place"), ()
    m = update_place(walk.map, place.model_copy(update=update))
    moment = Moment(walk.map, walk.chain, walk.number)
    return replace(walk, map=m, past=(*walk.past, moment), future=(), message=words), (SaveMap(m),)
