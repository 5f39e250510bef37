"""The recheck's pure step: say what changed, answer looks and probes, keep the map that was found.

The inference itself runs as a `Think` of its own, so that keys and the picture never wait for it. A recheck that was not
finished is offered again, as long as the chain is still what its answers were given about.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from probe.document.edit_text import parse_edit
from probe.document.edits import EditError, apply_edits
from probe.document.model import MAX_TEXT, PixelState, PlayfieldMap, storable
from probe.document.model.open_recheck import OpenRecheck, answers_words, begun_words, counted
from probe.recheck.answering import at_list, put_aside, say, taken
from probe.recheck.engine import Options
from probe.recheck.entries import Entries, entries_of
from probe.recheck.kept import digest, open_recheck, without_recheck
from probe.recheck.keys import (
    ChangeLevel,
    Choose,
    Key,
    Leave,
    NextChain,
    Retry,
    Say,
    Singles,
    Take,
    Typed,
    Undo,
)
from probe.recheck.light import level_beside, lit_again, set_up, show
from probe.recheck.outcome import finished
from probe.recheck.state import Advanced, Does, Rechecking, Replayed, Stage, Unusable
from probe.recheck.thinking import advanced, first, replayed, thinking, thought, went_on
from probe.task.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    Effect,
    News,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    ShowDark,
    Shown,
    ShowPicture,
    Think,
    Thought,
    board_view,
)

LEAST_PLACED = 2
_Next = tuple[Rechecking, tuple[Effect, ...]]


def start(m: PlayfieldMap, chain: str, *, said: tuple[str, ...] = ()) -> Rechecking:
    """A recheck of one chain, nothing asked yet. The map has no session open.

    `said`: known changes in words; one that is not understood stays in the entry line, with why. If the map keeps answers
    of a recheck of this chain that still fit, going on with them is offered first. Raises KeyError for an unknown chain.
    """
    m.chain(chain)
    state = _opened(Rechecking(m, chain))
    if state.stage is Stage.OFFER:
        return replace(state, said=said)
    return _all_said(state, said)


def step(state: Rechecking, given: Key | News, now_s: float) -> _Next:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Typed(text):
            return replace(state, typed=text, chosen=0, message=""), ()
        case Choose(by):
            size = len(state.items)
            return (replace(state, chosen=max(0, min(size - 1, state.chosen + by))), ()) if size else (state, ())
        case Take(time):
            return _take(state, time)
        case Say(answer):
            return say(state, answer)
        case Leave():
            return replace(at_list(state), typed="", chosen=0, message=""), ()
        case NextChain():
            return _next_chain(state)
        case ChangeLevel(by):
            level = level_beside(state.level, by)
            return lit_again(replace(state, level=level, message=f"level {level} of 255"))
        case Singles():
            return _singles(state)
        case Undo():
            return _undo(state)
        case Retry():
            return _retry(state)
        case _:
            return _news(state, given)


def _news(state: Rechecking, news: News) -> _Next:
    match news:
        case BoardHere():
            state = replace(state, board=board_view(state.board, news), lit=None)
            return state, (*set_up(state), *show(state))
        case BoardGone():
            return replace(state, board=board_view(state.board, news), lit=None), (RingBell(),)
        case BoardDark():
            return lit_again(state)
        case Shown(what):
            return replace(state, lit=what), ()
        case NotShown(what, why):
            hint = " (F8: go on with single pixels)" if isinstance(what, ShowPicture) and state.board.here else ""
            return replace(state, lit=None, message=why + hint), (RingBell(),)
        case Thought(tag, Advanced() as result) if tag == state.tag:
            return thought(state, result)
        case Thought(tag, Replayed() as result) if tag == state.tag:
            return went_on(state, result)
        case Thought(tag, Unusable(why)) if tag == state.tag:
            blank = replace(state, stage=Stage.DECLARE, kept=None, entries=None, job=None, edits=(), said=())
            return replace(blank, message=f"The answers kept cannot be used: {why}. They are left out."), (RingBell(),)
        case Saved():
            return replace(state, unsaved=""), ()
        case NotSaved(why):
            return replace(state, unsaved=why), (RingBell(),)
        case _:
            return replace(state, board=board_view(state.board, news)), ()


def _retry(state: Rechecking) -> _Next:
    """Save again, and what waited for that: the thought, then the light."""
    saves: tuple[Effect, ...] = (SaveMap(state.map),) if state.unsaved else ()
    if saves and state.job is not None:
        saves = (*saves, Think(state.tag, state.job))
    after, effects = lit_again(replace(state, message=""))
    return after, (*saves, *effects)


# -- going on -------------------------------------------------------------------------------------------------------


def _opened(state: Rechecking) -> Rechecking:
    """With the offer to go on with what the map keeps of this chain, or with a sentence on why that cannot be."""
    kept = open_recheck(state.map, state.chain)
    if kept is None or not (kept.answers or kept.declared):
        return state
    again = _all_said(state, kept.declared)
    fits = len(again.edits) == len(kept.declared) and digest(_entries(again)) == kept.rests_on
    if fits:
        return replace(state, stage=Stage.OFFER, kept=kept, message=f"It was {begun_words(kept)}.")
    words = f"Left out: {counted(kept)}, {begun_words(kept)}. The chain was changed since then."
    return replace(state, message=words)


def _go_on(state: Rechecking) -> _Next:
    kept = state.kept
    assert kept is not None
    if kept.answers and (why := _no_light(state)):
        return replace(state, message=why), (RingBell(),)
    blank = replace(state, stage=Stage.DECLARE, said=(), chosen=0, message="", past=(*state.past, state))
    state = _all_said(blank, kept.declared)
    if not kept.answers:
        return state, ()
    entries = _entries(state)
    setup = entries.setup(declared=bool(state.edits), most_numbers=kept.most_numbers)
    looks = kept.looks and _has_pictures(state)
    state = replace(state, entries=entries, looks=looks, past=(*state.past, state))
    after, effects = thinking(state, partial(replayed, setup, Options(looks=looks), kept))
    return replace(after, message=f"going on after {counted(kept)}"), effects


def _anew(state: Rechecking) -> _Next:
    m = without_recheck(state.map, state.chain)
    blank = replace(state, map=m, stage=Stage.DECLARE, kept=None, said=(), chosen=0, message="")
    return _all_said(replace(blank, past=(*state.past, state)), state.said), (SaveMap(m),)


# -- declaring ------------------------------------------------------------------------------------------------------


def _take(state: Rechecking, time: str) -> _Next:
    match state.stage:
        case Stage.OFFER:
            return _go_on(state) if state.item is not None and state.item.does is Does.GO_ON else _anew(state)
        case Stage.DECLARE:
            return _declare(state, time) if state.typed.strip() else _begin(state, time)
        case Stage.LOOK | Stage.COLOUR | Stage.PROBE:
            item = state.item
            if item is None:
                return replace(state, message="no place fits what is typed: Esc empties the line"), (RingBell(),)
            return taken(state, item)
        case Stage.DONE:
            return _keep(state, time)
        case _:
            return state, ()


def _declare(state: Rechecking, time: str) -> _Next:
    after = _said(state)
    if after.message:
        return after, (RingBell(),)
    return put_aside(after, _kept_of(after, _entries(after), time))


def _said(state: Rechecking) -> Rechecking:
    """The state after the words in the entry line; if they are not understood, the same with why."""
    words = storable(" ".join(state.typed.split()))
    if len(words) > MAX_TEXT:
        return replace(state, message="this is too long: 2,000 characters at most")
    try:
        m = apply_edits(state.map, state.edits)
        edit = parse_edit(_only(m, state.chain), state.typed)
        apply_edits(m, (edit,))
    except EditError as error:
        return replace(state, message=str(error))
    said, past = (*state.said, words), (*state.past, state)
    return replace(state, edits=(*state.edits, edit), said=said, typed="", message="", past=past)


def _all_said(state: Rechecking, said: tuple[str, ...]) -> Rechecking:
    """After several lines of words, up to the first that is not understood."""
    for words in said:
        state = _said(replace(state, typed=words))
        if state.message:
            break
    return state


def _entries(state: Rechecking) -> Entries:
    return entries_of(state.map, state.chain, state.edits)


def _kept_of(state: Rechecking, entries: Entries, time: str) -> OpenRecheck:
    """What there is to keep of a recheck before its first answer."""
    begun = state.kept.begun if state.kept is not None else time
    identity = state.board.identity
    return OpenRecheck(
        chain=state.chain,
        begun=begun,
        rests_on=digest(entries),
        declared=state.said,
        most_numbers=identity.pixels if identity is not None else None,
        looks=state.looks,
    )


def _only(m: PlayfieldMap, chain: str) -> PlayfieldMap:
    """The map with just this chain: that is the one that is spoken of."""
    kept = m.bookmark if m.bookmark is not None and m.bookmark.chain == chain else None
    return m.model_copy(update={"chains": (m.chain(chain),), "bookmark": kept})


def _next_chain(state: Rechecking) -> _Next:
    if state.stage not in (Stage.OFFER, Stage.DECLARE) or state.edits:
        return replace(state, message="this chain first: its recheck has begun"), (RingBell(),)
    ids = [chain.id for chain in state.map.chains]
    following = ids[(ids.index(state.chain) + 1) % len(ids)]
    blank = replace(state, chain=following, stage=Stage.DECLARE, kept=None, said=(), typed="", chosen=0, message="")
    return _opened(blank), (ShowDark(state.here.output),)


def _no_light(state: Rechecking) -> str:
    """Why nothing of this chain can be lit; empty if it can."""
    identity = state.board.identity
    if identity is None:
        return "no board: a recheck needs light. Plug it in, or pick its port"
    return f"this board has no output {state.here.output}" if state.here.output >= identity.outputs else ""


def _has_pictures(state: Rechecking) -> bool:
    identity = state.board.identity
    return identity is not None and identity.has("paint")


def _begin(state: Rechecking, time: str) -> _Next:
    identity = state.board.identity
    why = _no_light(state)
    if identity is None or why:
        return replace(state, message=why), (RingBell(),)
    entries = _entries(state)
    placed = sum(p.state is PixelState.PLACED for p in entries.chain.pixels)
    if placed < LEAST_PLACED:
        return replace(state, message="too few pixels of this chain have a place: walk it first"), (RingBell(),)
    setup = entries.setup(declared=bool(state.edits), most_numbers=identity.pixels)
    looks = state.looks and _has_pictures(state)
    state = replace(state, entries=entries, looks=looks, past=(*state.past, state))
    state = replace(state, kept=_kept_of(state, entries, time))
    after, effects = thinking(state, partial(first, setup, Options(looks=looks)))
    return after, (ShowDark(state.here.output), *effects)


def _singles(state: Rechecking) -> _Next:
    if not state.looks:
        return replace(state, message="single pixels it is already"), ()
    if state.now is None or state.kept is None:
        return replace(state, looks=False, message="single pixels only, no pictures"), ()
    engine = replace(state.now.engine, options=replace(state.now.engine.options, looks=False))
    after = replace(state, looks=False, past=(*state.past, state))
    after, saves = put_aside(after, state.kept.model_copy(update={"looks": False}))
    after, thinks = thinking(after, partial(advanced, engine))
    return after, (*saves, *thinks)


# -- the end --------------------------------------------------------------------------------------------------------


def outcome(state: Rechecking, time: str) -> PlayfieldMap:
    """The map that the recheck came to, as a revision at that time; its answers are kept no longer. The state is DONE."""
    assert state.entries is not None
    assert state.now is not None
    assert state.now.result is not None
    sure = f"{100 * state.now.confidence:.2f} %"
    answers = answers_words(state.answers, state.namings)
    said = f"; said: {'; '.join(state.said)}" if state.said else ""
    reason = f"Rechecked {state.here.name}: {answers}, {sure} sure{said}"[:MAX_TEXT]
    m = finished(state.entries, state.now.result, state.names, time=time, reason=reason)
    return without_recheck(m, state.chain)


def _keep(state: Rechecking, time: str) -> _Next:
    m = outcome(state, time)
    fresh = len(m.revisions) > len(state.map.revisions)
    words = f"revision {m.revisions[-1].number}" if fresh else "nothing to save: nothing was changed or seen"
    kept = replace(state, map=m, stage=Stage.SAVED, message=words, past=(*state.past, state))
    return kept, (SaveMap(m), ShowDark(state.here.output))


def _undo(state: Rechecking) -> _Next:
    if not state.past:
        return replace(state, message="nothing to undo"), (RingBell(),)
    old = state.past[-1]
    back = replace(
        old, board=state.board, tag=state.tag + 1, level=state.level, lit=None, message="undone", unsaved=state.unsaved
    )
    saves = (SaveMap(old.map),) if old.map is not state.map else ()
    return back, (*saves, *show(back))
