"""The walk: one pixel lit at a time, the person says what it lights. A task: frozen state, pure step.

While a board is there an answer counts only if the board has confirmed this very pixel; without one the walk goes on paper.
A label that is finished before its pixel is lit waits for the light, and those typed after it wait in their order: each is
for the pixel that follows. Whatever breaks that order (loss, restart, undo, moving) puts the first of them back into the entry
line and names the others; none of them ever lands on another pixel. One-key answers never wait: a key that is held down
repeats itself, and would answer for pixels that nobody has seen.
"""

from __future__ import annotations

from dataclasses import replace

from probe.document.model import (
    MAX_PIXELS,
    MAX_TEXT,
    Kind,
    PixelState,
    Place,
    PlayfieldMap,
    Position,
    shown_number,
)
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
from probe.document.revisions import changed_in, is_verified, next_number
from probe.frozen import frozen
from probe.mapping.offers import Offer
from probe.mapping.walk_end import ALL_ANSWERED, end_of_chain, end_of_walk, end_step
from probe.mapping.walk_keys import (
    ChangeKind,
    GoTo,
    Move,
    PutAt,
    Say,
    SetUpChain,
    ToggleBlink,
    TogglePaper,
    UseLine,
)
from probe.mapping.walk_state import OneKey, TypedAhead, Walk, WalkEntry, next_unseen, settled, start
from probe.mapping.walk_view import COMMANDS, view
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Light
from probe.task.task import Next, Opened, Task
from probe.task.views import TaskView

LEVELS = (4, 8, 16, 32, 64, 128, 255)
PACE_ANSWERS = 20

_STATES = {
    OneKey.NOTHING_LIT: PixelState.DARK,
    OneKey.HIDDEN: PixelState.HIDDEN,
    OneKey.SPARE: PixelState.SPARE,
    OneKey.REPEATER: PixelState.REPEATER,
}
_N = Next[Walk]


@frozen
class WalkFacts:
    """What the walk may be opened with: words to begin with, and the pixel (chain, number), if not where the last one stopped;
    the chain "" is the first.

    `paper`: without a board.
    """

    welcome: str = ""
    at: tuple[str, int] | None = None
    paper: bool = False


class WalkTask(Task[Walk]):
    """Walk the chains of a map."""

    name = "walk"
    commands = COMMANDS
    own_revision = False

    def step(self, s: Walk, event: object, now_s: float) -> _N | None:
        """The walk after an event, and what is to be done."""
        if (found := end_step(s, event, _go)) is not None:
            return found
        match event:
            case ev.Typed(text):
                return _typed(s, text), ()
            case ev.Choose(by):
                size = len(s.offers)
                return (replace(s, chosen=(s.chosen + by) % size, sure=None), ()) if size else (s, ())
            case ev.Take():
                return self._take(s, now_s)
            case Say(answer):
                return self._say(s, answer, now_s)
            case UseLine(entry):
                text = s.pixel.note if entry is WalkEntry.NOTE else ""
                return replace(s, entry=entry, typed=text, chosen=0, message="", refused="", blind=False), ()
            case ev.Leave():
                if s.typed or s.entry is not WalkEntry.LABEL:
                    return replace(
                        s, entry=WalkEntry.LABEL, typed="", chosen=0, message="", refused="", blind=False
                    ), ()
                if s.waiting:
                    return replace(_put_back(s), typed=""), ()
                return None
            case Move(by, unseen):
                return _move(s, by, unseen=unseen)
            case GoTo(number, chain):
                return _go(s, chain or s.chain, number)
            case ev.NextChain():
                return _next_chain(s)
            case ev.StepButton(times):
                return _move(s, times)
            case ev.ChangeLevel(by):
                at = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - s.level))
                level = LEVELS[max(0, min(len(LEVELS) - 1, at + by))]
                return replace(s, level=level, message=f"level {level} of 255"), ()
            case ChangeKind(by):
                return _change_kind(s, by)
            case PutAt(x_mm, y_mm):
                position = Position(x_mm=x_mm, y_mm=y_mm)
                words = f"position {position.x_mm:.0f}, {position.y_mm:.0f} mm"
                return _edit_place(replace(s, put_at=position), {"position": position}, words)
            case ToggleBlink():
                if s.steady_only:
                    return replace(s, message="steady light only (settings): no blinking"), ()
                return replace(s, blinking=not s.blinking), ()
            case TogglePaper():
                words = "answers are taken without a board" if not s.paper else "answers wait for the board"
                return replace(s, paper=not s.paper, message=words), ()
            case SetUpChain():
                return s, (fx.Open("setup"),)
            case ev.GoOpen(task):
                return s, (fx.Open(task, (s.chain, s.number)),)
            case ev.TaskClosed():
                return self._back(s, event), ()
            case ev.SettingChanged("brightness_percent", int() as percent):
                return replace(s, level=max(1, round(255 * percent / 100))), ()
            case ev.MapChanged(words, where):
                return self._changed(s, words, where), ()
            case ev.BoardChanged():
                return self._board(s, now_s)
            case _:
                return None

    def light(self, s: Walk) -> Light:
        """The pixel that is asked about, white."""
        return s.light

    def view(self, s: Walk) -> TaskView:
        """The number, what it lights, the entry line with its offers, and the picture."""
        return view(s)

    def where(self, s: Walk) -> object:
        """The pixel that is asked about."""
        return (s.chain, s.number)

    # -- what the board reports ---------------------------------------------------------------------------------------

    def _board(self, s: Walk, now_s: float) -> _N:
        """The board shows something else: a label that waited is taken, or goes back into the line."""
        if not s.waiting:
            return (replace(s, closed=False), ()) if s.closed and s.is_lit else (s, ())
        if not s.board.here or s.board.refused:
            return _put_back(s), ()
        if not s.is_lit:
            return s, ()
        first, *rest = s.waiting
        ready = replace(s, typed=first.typed, chosen=first.chosen, waiting=(), closed=False)
        done, effects = self._label(ready, now_s)
        if not any(isinstance(effect, fx.Commit) for effect in effects):
            return _put_back(replace(s, message=done.message)), effects
        if done.end is not None:  # what was typed ahead is for no pixel
            left = [waiting.typed for waiting in rest] + ([s.typed] if s.typed.strip() else [])
            return replace(
                done, message=f"{done.message}; not taken: {', '.join(left)}" if left else done.message
            ), effects
        line = {"typed": s.typed, "chosen": s.chosen, "refused": s.refused, "blind": s.blind or bool(s.refused)}
        return replace(done, waiting=tuple(rest), closed=s.closed, **line), effects  # type: ignore[arg-type]

    def _changed(self, s: Walk, words: str, where: object) -> Walk:
        """After undo, redo or a change elsewhere: there, with what had been typed ahead back in the line."""
        s = _at(s, where)
        return replace(s, message=f"{words}; {s.message}" if s.message.startswith("not taken") else words)

    def _back(self, s: Walk, event: ev.TaskClosed) -> Walk:
        """After another task: at the pixel that it found, if it did; else where it was, also at the end."""
        there = _at(s, event.result)
        stays = s.end is not None and (there.chain, there.number) == (s.chain, s.number)
        return replace(there, end=s.end, chosen=s.chosen) if stays else there

    # -- answers ------------------------------------------------------------------------------------------------------

    def _take(self, s: Walk, now_s: float) -> _N:
        """Enter: the chosen offer or what is typed, for whatever the entry line is used for."""
        typed = s.typed.strip()
        match s.entry:
            case WalkEntry.GOTO:
                return _take_number(s, typed)
            case WalkEntry.NOTE:
                map_ = set_note(s.map, s.chain, s.number, typed[:MAX_TEXT])
                noted = replace(s, entry=WalkEntry.LABEL, typed="", message="note kept")
                return noted, (fx.Commit(map_, "note kept"),)
            case WalkEntry.AREA:
                area = s.offer.label if s.offer and (not typed or s.chosen) else typed
                s = replace(s, entry=WalkEntry.LABEL, typed="", chosen=0, area=area)
                return _edit_place(s, {"area": area}, f"area: {area or 'none'}")
            case WalkEntry.LABEL:
                return self._label(s, now_s)

    def _label(self, s: Walk, now_s: float) -> _N:
        """The chosen offer, or the label typed: taken if its pixel is lit (or on paper), held until it is, or refused."""
        if s.blind and s.typed.strip():
            words = f"Enter once more takes “{s.typed.strip()}” for {shown_number(s.number)}"
            message = f"{s.message}; {words}" if s.message.startswith("not taken") else words
            return replace(s, blind=False, refused=s.typed, message=message), (fx.Bell(),)
        if s.waiting or self._refusal(s):
            if s.typed.strip() and s.board.here and not s.board.refused and not s.closed:
                waiting = (*s.waiting, TypedAhead(s.typed, s.chosen))
                return replace(s, waiting=waiting, typed="", chosen=0, refused="", message=""), ()
            return self._refuse(s)
        offer = s.offer
        if offer is None:
            return replace(s, message="type what lights; nothing lit is F2, hidden F3, spare F5 then S"), (fx.Bell(),)
        if len(offer.label) > MAX_TEXT:
            return replace(s, message=f"this label is too long: {MAX_TEXT:,} characters at most"), (fx.Bell(),)
        map_, place = _place_for(s, offer)
        old = s.pixel.place
        map_ = assign_place(map_, s.chain, s.number, place.id)
        if old is not None and old != place.id:
            map_ = drop_unused_place(map_, old)
        if (warned := _warned(s, map_, place.label)) is not None:
            return warned
        others = [n for c, n in map_.pixels_at[place.id] if (c, n) != (s.chain, s.number)]
        also = f" (with {', '.join(map(str, others[:4]))})" if others else ""
        return self._answered(s, map_, now_s, f"{shown_number(s.number)}: {place.label}{also}")

    def _refusal(self, s: Walk) -> str:
        """Why an answer cannot be taken now; empty if it can."""
        if s.paper or s.is_lit:
            return ""
        if s.board.here:
            return s.board.refused or f"{shown_number(s.number)} is not lit yet: wait for it, then answer"
        return "no board, so nothing is lit: wait for it, or answer on paper (F10, Map)"

    def _refuse(self, s: Walk) -> _N:
        """Not taken; nothing that is typed after it is held for another pixel."""
        why = self._refusal(s) or "labels typed ahead are still waiting for their light"
        return replace(s, message=why, refused=s.typed, closed=s.board.here), (fx.Bell(),)

    def _say(self, s: Walk, answer: OneKey, now_s: float) -> _N:
        """A one-key answer: a state of the pixel, or the place before again."""
        if s.waiting or self._refusal(s):
            return self._refuse(s)
        asked = (s.chain, s.number, answer.value)
        if (s.refused or s.blind) and s.sure != asked:
            words = f"not taken: {s.typed.strip()}; once more for {answer.value} at {shown_number(s.number)}"
            return replace(s, sure=asked, message=words), (fx.Bell(),)
        if answer is OneKey.SAME_PLACE:
            last = s.last_place
            if last is None:
                return replace(s, message="no place before this one yet: type its label"), (fx.Bell(),)
            map_ = assign_place(s.map, s.chain, s.number, last.id)
            words = f"{shown_number(s.number)}: {last.label}, again"
        else:
            map_ = set_state(s.map, s.chain, s.number, _STATES[answer])
            words = f"{shown_number(s.number)}: {answer.value}"
        if (warned := _warned(s, map_, answer.value)) is not None:
            return warned
        old = s.pixel.place
        if old is not None and old != map_.chain(s.chain).pixels[s.number].place:
            map_ = drop_unused_place(map_, old)
        return self._answered(s, map_, now_s, words)

    def _answered(self, s: Walk, map_: PlayfieldMap, now_s: float, message: str) -> _N:
        """After an answer: on to the next pixel."""
        was_finished, was = s.finished, _replaced(s, map_)
        map_ = set_verified(map_, s.chain, s.number, next_number(map_) if s.is_lit else 0)
        chain = map_.chain(s.chain)
        following = s.number + 1
        where: tuple[str, int] | None = (s.chain, following)
        if chain.count is not None and following >= chain.length:
            where = next_unseen(map_, s.chain, s.number)
        map_ = set_bookmark(map_, *(where or (s.chain, s.number)))
        done = replace(
            s,
            map=map_,
            answered_s=(*s.answered_s, now_s)[-PACE_ANSWERS:],
            entry=WalkEntry.LABEL,
            typed="",
            chosen=0,
            refused="",
            blind=False,
            put_at=None,
            message="",
            sure=None,
        )
        effects: fx.Effects = (fx.Commit(map_, message, (s.chain, s.number)),)
        if done.finished and not was_finished:
            effects += (fx.MakeRevision(),)
        was = f"{shown_number(s.number)} {was}" if was else ""
        if where is None:
            ended = end_of_walk(done, _go)
            return replace(ended, message=f"{message}: {ALL_ANSWERED}", was=was), (*effects, fx.Bell())
        if s.is_lit and done.finished and not was_finished and (asked := end_of_chain(done)) is not None:
            return replace(asked, message=message, was=was), (*effects, fx.Bell())
        moved, more = _go(done, *where)
        return replace(moved, message=message, was=was), (*effects, *more)


def make(opened: Opened) -> tuple[WalkTask, Walk]:
    """The walk of the open map."""
    facts = opened.facts if isinstance(opened.facts, WalkFacts) else WalkFacts()
    assert opened.map is not None, "the walk is opened with a map"
    walk = start(
        opened.map,
        paper=opened.paper or facts.paper,
        steady_only=opened.steady_only,
        level=opened.level,
        message=facts.welcome,
    )
    if facts.at is not None:
        chain = opened.map.chain_by_id.get(facts.at[0]) if facts.at[0] else opened.map.chains[0]
        if chain is not None and facts.at[1] < chain.length:
            walk = settled(replace(walk, chain=chain.id, number=facts.at[1]))
    return WalkTask(), walk


def _replaced(s: Walk, map_: PlayfieldMap) -> str:
    """What was answered before at the pixel in hand, where the map after the answer says otherwise; else empty."""
    before, after = s.pixel, map_.chain(s.chain).pixels[s.number]
    if before.state is PixelState.UNSEEN or (before.state, before.place) == (after.state, after.place):
        return ""
    return f"was {s.place.label if s.place is not None else before.state.value} · Ctrl+Z"


def _warned(s: Walk, map_: PlayfieldMap, answer: str) -> _N | None:
    """A verified pixel is changed by the second press only: the warning of the first; None where there is none to give."""
    asked = (s.chain, s.number, answer)
    if s.sure == asked or not _replaced(s, map_) or not is_verified(s.pixel, changed_in(s.map, s.chain)):
        return None
    held = s.place.label if s.place is not None else s.pixel.state.value
    words = f"{shown_number(s.number)} is verified as {held}. The same answer once more makes it {answer}"
    return replace(s, sure=asked, message=words), (fx.Bell(),)


def _typed(s: Walk, text: str) -> Walk:
    """What is typed. Text that was finished and refused stays apart from what is typed after it."""
    if s.refused and text.startswith(s.refused) and len(text) > len(s.refused):
        words = f"not taken: {s.refused}"
        return replace(s, typed=text[len(s.refused) :], chosen=0, refused="", blind=True, message=words, sure=None)
    message = s.message if s.blind and text else ""
    return replace(s, typed=text, chosen=0, refused="", blind=s.blind and bool(text), message=message, sure=None)


def _put_back(s: Walk) -> Walk:
    """Labels that waited for light, back in the line: the first to be finished again, the others named in the message."""
    if not s.waiting:
        return s
    first, *rest = s.waiting
    others = [waiting.typed for waiting in rest] + ([s.typed] if s.typed.strip() else [])
    words = f"not taken: {', '.join(others)}" if others else s.message
    line = {
        "entry": WalkEntry.LABEL,
        "typed": first.typed,
        "chosen": first.chosen,
        "refused": first.typed,
        "blind": False,
    }
    return replace(s, waiting=(), closed=False, message=words, **line)  # type: ignore[arg-type]


def _at(s: Walk, where: object) -> Walk:
    """At a pixel (chain, number) if the map has it, else as near as can be to where it was. No number: on that chain."""
    s = _put_back(settled(replace(s, message="", end=None, was="", sure=None)))
    match where:
        case (str() as chain, None) if chain in s.map.chain_by_id and chain != s.chain:
            return _go(s, chain, 0)[0]
        case (str() as chain, int() as number) if chain in s.map.chain_by_id and (chain, number) != (s.chain, s.number):
            moved = _go(s, chain, number)[0]
            if s.entry is not WalkEntry.LABEL or not s.typed:
                return moved
            return replace(moved, typed=s.typed, chosen=s.chosen, refused=s.typed, blind=True, message=s.message)
    return s


def _take_number(s: Walk, typed: str) -> _N:
    if not typed:
        return replace(s, entry=WalkEntry.LABEL), ()
    if not typed.isdecimal():
        return replace(s, message=f"{typed[:20]!r} is not a number: type a pixel's number, from 0"), (fx.Bell(),)
    return _go(s, s.chain, int(typed[:9]))


def _place_for(s: Walk, offer: Offer) -> tuple[PlayfieldMap, Place]:
    """The place that an offer means: one that exists, or a new one with what it inherits."""
    map_ = s.map
    if offer.place is not None and offer.place in map_.place_by_id:
        place = map_.place_by_id[offer.place]
        if s.put_at is not None:
            place = place.model_copy(update={"position": s.put_at})
            map_ = update_place(map_, place)
        elif place.position is None:
            place = place.model_copy(update={"position": s.guess_for(offer)})
            map_ = update_place(map_, place)
        return map_, place
    area = offer.area if offer.area is not None else s.next_area
    for place in map_.places:
        same = folded(place.label) == folded(offer.label) and (folded(place.area) == folded(area) or not place.area)
        if same and place.id not in map_.pixels_at:
            lamps = place.lamps or offer.lamps
            known = {
                "lamps": lamps,
                "group": place.group or offer.group,
                "position": s.put_at or place.position or s.guess_for(offer),
            }
            place = place.model_copy(update=known)
            return update_place(map_, place), place
    return add_place(
        map_,
        offer.label,
        area=area,
        kind=offer.kind if offer.kind is not None and s.kind is None else s.next_kind,
        position=s.put_at or s.guess_for(offer),
        lamps=offer.lamps,
        group=offer.group,
    )


def _change_kind(s: Walk, by: int) -> _N:
    """The place's kind, so many on in the list of kinds."""
    kinds = list(Kind)
    current = s.place.kind if s.place else s.next_kind
    kind = kinds[(kinds.index(current) + by) % len(kinds)]
    return _edit_place(replace(s, kind=kind), {"kind": kind}, f"kind: {kind.value}")


def _edit_place(s: Walk, update: dict[str, object], words: str) -> _N:
    """Change the place that this pixel lights, if it has one; else the change waits for the place named next."""
    place = s.place
    if place is None:
        return replace(s, message=f"{words}, for the next new place"), ()
    map_ = update_place(s.map, place.model_copy(update=update))
    return replace(s, message=words), (fx.Commit(map_, words),)


def _go(s: Walk, chain_id: str, number: int) -> _N:
    """To a pixel, which is asked about from now on; a number out of the chain stays where it is."""
    chain = s.map.chain_by_id.get(chain_id)
    if chain is None:
        return replace(s, message=f"there is no chain {chain_id!r}"), ()
    top = chain.length - 1 if chain.count is not None else MAX_PIXELS - 1
    identity = s.board.identity
    if identity is not None and chain.count is None:
        top = min(top, identity.pixels - 1)
    if not 0 <= number <= top:
        end = "the first pixel is 0" if number < 0 else f"the last pixel is {shown_number(top)}"
        return replace(s, message=end), (fx.Bell(),)
    s = replace(s, chain=chain_id, number=number, put_at=None, message="", end=None, was="", sure=None)
    if s.waiting:
        return replace(_put_back(s), blind=True), ()
    return replace(s, entry=WalkEntry.LABEL, typed="", chosen=0, refused="", blind=False), ()


def _move(s: Walk, by: int, *, unseen: bool = False) -> _N:
    """So many pixels on, or to the next one that nobody has answered."""
    if not unseen:
        return _go(s, s.chain, s.number + by)
    found = next_unseen(s.map, s.chain, s.number)
    if found is None:
        return replace(end_of_walk(s, _go), message=ALL_ANSWERED), ()
    return _go(s, *found)


def _next_chain(s: Walk) -> _N:
    """On to the next chain, at its first unseen pixel."""
    chains = s.map.chains
    at = next(i for i, chain in enumerate(chains) if chain.id == s.chain)
    chain = chains[(at + 1) % len(chains)]
    unseen = next((i for i, p in enumerate(chain.pixels) if p.state is PixelState.UNSEEN), 0)
    return _go(s, chain.id, unseen)
