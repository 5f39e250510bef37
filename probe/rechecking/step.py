"""The recheck's pure step: say what changed, answer looks and probes, keep the map that was found.

The inference itself runs as a `Think` of its own, so that keys and the picture never wait for it. An answer counts only
if the board has said that what is asked about is lit.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from device_protocol.values import Colour
from probe.maps.edit_text import parse_edit
from probe.maps.edits import EditError, apply_edits
from probe.maps.model import MAX_TEXT, PixelState, PlayfieldMap, shown_number
from probe.recheck import Options, Recheck
from probe.recheck.codes import UNLIT
from probe.recheck.model import (
    Action,
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    Probe,
    Setup,
)
from probe.rechecking.colours import light_of
from probe.rechecking.entries import entries_of
from probe.rechecking.keys import (
    ChangeLevel,
    Choose,
    Key,
    Leave,
    NextChain,
    Quick,
    Retry,
    Say,
    Singles,
    Take,
    Typed,
    Undo,
)
from probe.rechecking.outcome import finished
from probe.rechecking.state import Advanced, Does, Item, Rechecking, Stage
from probe.steps import (
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
    SetUpChain,
    ShowDark,
    Showing,
    Shown,
    ShowPicture,
    ShowPixel,
    Think,
    Thought,
    board_view,
)

LEVELS = (4, 8, 16, 24, 32, 64, 128, 255)
LEAST_PLACED = 2
_ASKING = frozenset({Stage.LOOK, Stage.COLOUR, Stage.PROBE})
_Next = tuple[Rechecking, tuple[Effect, ...]]


def start(m: PlayfieldMap, chain: str, *, said: tuple[str, ...] = ()) -> Rechecking:
    """A recheck of one chain, nothing asked yet. The map has no session open.

    `said`: known changes in words; one that is not understood stays in the entry line, with why. Raises KeyError for an
    unknown chain.
    """
    m.chain(chain)
    state = Rechecking(m, chain)
    for words in said:
        state, _ = _declare(replace(state, typed=words))
        if state.message:
            break
    return state


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
            return _say(state, answer)
        case Leave():
            return replace(_back(state), typed="", chosen=0, message=""), ()
        case NextChain():
            return _next_chain(state)
        case ChangeLevel(by):
            at = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - state.level))
            level = LEVELS[max(0, min(len(LEVELS) - 1, at + by))]
            return _relit(replace(state, level=level, message=f"level {level} of 255"))
        case Singles():
            return _singles(state)
        case Undo():
            return _undo(state)
        case Retry():
            saves = (SaveMap(state.map),) if state.unsaved else ()
            after, effects = _relit(replace(state, message=""))
            return after, (*saves, *effects)
        case _:
            return _news(state, given)


def _back(state: Rechecking) -> Rechecking:
    return replace(state, stage=Stage.LOOK, pointed=None) if state.stage is Stage.COLOUR else state


def _news(state: Rechecking, news: News) -> _Next:
    match news:
        case BoardHere():
            state = replace(state, board=board_view(state.board, news), lit=None)
            return state, (*_set_up(state), *_showing(state))
        case BoardGone():
            return replace(state, board=board_view(state.board, news), lit=None), (RingBell(),)
        case BoardDark():
            return _relit(state)
        case Shown(what):
            return replace(state, lit=what), ()
        case NotShown(what, why):
            hint = " (F8: go on with single pixels)" if isinstance(what, ShowPicture) and state.board.here else ""
            return replace(state, lit=None, message=why + hint), (RingBell(),)
        case Thought(tag, result) if tag == state.tag and isinstance(result, Advanced):
            return _thought(state, result)
        case Saved():
            return replace(state, unsaved=""), ()
        case NotSaved(why):
            return replace(state, unsaved=why), (RingBell(),)
        case _:
            return replace(state, board=board_view(state.board, news)), ()


# -- light ----------------------------------------------------------------------------------------------------------


def showing(state: Rechecking) -> Showing | None:
    """What the question needs to be lit; None if nothing."""
    if state.stage not in _ASKING:
        return None
    output = state.here.output
    match state.action:
        case Look(colours=colours):
            return ShowPicture(output, light_of(colours, state.level))
        case Probe(number=number):
            return ShowPixel(output, number, Colour(state.level, state.level, state.level))
        case _:
            return None


def is_lit(state: Rechecking) -> bool:
    """Whether the board has said that it shows what is asked about."""
    wanted = showing(state)
    return wanted is not None and state.lit == wanted


def _showing(state: Rechecking) -> tuple[Effect, ...]:
    if not state.board.here:
        return ()
    wanted = showing(state)
    if wanted is not None:
        return (wanted,)
    return (ShowDark(state.here.output),)


def _relit(state: Rechecking) -> _Next:
    return replace(state, lit=None), _showing(state)


def _set_up(state: Rechecking) -> tuple[Effect, ...]:
    """The board is told of enough pixels to reach every number that may be asked about."""
    if state.board.identity is None:
        return ()
    reach = state.here.length
    if state.now is not None:
        reach = max(reach, state.now.engine.evidence.numbers)
    return (SetUpChain(state.here, min(reach, state.board.identity.pixels)),)


# -- declaring ------------------------------------------------------------------------------------------------------


def _take(state: Rechecking, time: str) -> _Next:
    match state.stage:
        case Stage.DECLARE:
            return _declare(state) if state.typed.strip() else _begin(state)
        case Stage.LOOK | Stage.COLOUR | Stage.PROBE:
            item = state.item
            if item is None:
                return replace(state, message="no place fits what is typed: Esc empties the line"), (RingBell(),)
            return _taken(state, item)
        case Stage.DONE:
            return _keep(state, time)
        case _:
            return state, ()


def _declare(state: Rechecking) -> _Next:
    try:
        m = apply_edits(state.map, state.edits)
        edit = parse_edit(_only(m, state.chain), state.typed)
        apply_edits(m, (edit,))
    except EditError as error:
        return replace(state, message=str(error)), (RingBell(),)
    said = (*state.said, " ".join(state.typed.split()))
    after = replace(state, edits=(*state.edits, edit), said=said, typed="", message="")
    return replace(after, past=(*state.past, state)), ()


def _only(m: PlayfieldMap, chain: str) -> PlayfieldMap:
    """The map with just this chain: that is the one that is spoken of."""
    kept = m.bookmark if m.bookmark is not None and m.bookmark.chain == chain else None
    return m.model_copy(update={"chains": (m.chain(chain),), "bookmark": kept})


def _next_chain(state: Rechecking) -> _Next:
    if state.stage is not Stage.DECLARE or state.edits:
        return replace(state, message="this chain first: its recheck has begun"), (RingBell(),)
    ids = [chain.id for chain in state.map.chains]
    following = ids[(ids.index(state.chain) + 1) % len(ids)]
    return replace(state, chain=following, typed="", message=""), (ShowDark(state.here.output),)


def _begin(state: Rechecking) -> _Next:
    identity = state.board.identity
    if identity is None:
        return replace(state, message="no board: a recheck needs light. Plug it in, or pick its port"), (RingBell(),)
    if state.here.output >= identity.outputs:
        return replace(state, message=f"this board has no output {state.here.output}"), (RingBell(),)
    entries = entries_of(state.map, state.chain, state.edits)
    placed = sum(p.state is PixelState.PLACED for p in entries.chain.pixels)
    if placed < LEAST_PLACED:
        return replace(state, message="too few pixels of this chain have a place: walk it first"), (RingBell(),)
    looks = state.looks and identity.has("paint")
    setup = entries.setup(declared=bool(state.edits), most_numbers=identity.pixels)
    state = replace(state, entries=entries, looks=looks, past=(*state.past, state))
    after, effects = _thinking(state, partial(_first, setup, Options(looks=looks)))
    return after, (ShowDark(state.here.output), *effects)


# -- thinking -------------------------------------------------------------------------------------------------------


def _thinking(state: Rechecking, job: partial[Advanced]) -> _Next:
    tag = state.tag + 1
    state = replace(state, stage=Stage.THINK, tag=tag, typed="", chosen=0, pointed=None, message="")
    return state, (Think(tag, job),)


def _first(setup: Setup, options: Options) -> Advanced:
    return _advanced(Recheck.start(setup, options))


def _answered(engine: Recheck, action: Action, answer: Answer) -> Advanced:
    return _advanced(engine.answered(action, answer))


def _advanced(engine: Recheck) -> Advanced:
    following = engine.next_step()
    return Advanced(
        engine=engine,
        step=following,
        found=tuple(engine.best_map.tolist()),
        confidence=engine.confidence,
        doubts=tuple(doubt.index for doubt in engine.doubts(least=0.3)) if engine.observations else (),
        result=engine.result() if following.action is None else None,
    )


def _thought(state: Rechecking, now: Advanced) -> _Next:
    before = state.now
    state = replace(state, now=now)
    if state.forced:
        stage = Stage.PROBE
    elif now.step.action is None:
        stage = Stage.DONE
    else:
        stage = Stage.LOOK if isinstance(now.step.action, Look) else Stage.PROBE
    known = before.doubts if before is not None else ()
    fresh = [index for index in now.doubts if index not in known]
    words = f"This does not fit the rest: {_told(state, now.engine.observations[fresh[0]])}. " if fresh else ""
    words += "It is asked again." if fresh and stage is not Stage.DONE else ""
    state = replace(state, stage=stage, message=words or state.message, lit=None)
    first = before is None or before.engine.evidence.numbers != now.engine.evidence.numbers
    return state, (*(_set_up(state) if first else ()), *_showing(state), *((RingBell(),) if fresh else ()))


def _told(state: Rechecking, seen: Observation) -> str:
    """An earlier answer in words."""
    what = "the picture" if isinstance(seen.action, Look) else f"pixel {shown_number(seen.action.number)}"
    match seen.answer:
        case AtPlace(place=entry) | Differs(place=entry) if state.entries is not None:
            place = state.entries.place(entry)
            label = place.label if place is not None else f"pixel {entry}"
            return f"{what}, {label}" + (" differed" if isinstance(seen.answer, Differs) else "")
        case NothingLit():
            return f"{what}, nothing lit"
        case AllAsShown():
            return f"{what}, all as shown"
        case _:
            return f"{what}, as answered"


# -- answers --------------------------------------------------------------------------------------------------------


def _refusal(state: Rechecking) -> str:
    if is_lit(state):
        return ""
    return "it is not lit yet: wait for it, then answer" if state.board.here else "no board, so nothing is lit"


def _tell(state: Rechecking, answer: Answer, *, forced: tuple[int, ...] = ()) -> _Next:
    """Hand an answer to the inference; what was there before is kept for undo."""
    action = state.action
    assert action is not None
    assert state.now is not None
    after = replace(
        state,
        forced=forced,
        answers=state.answers + (0 if state.naming else 1),
        namings=state.namings + (1 if state.naming else 0),
        past=(*state.past, _back(state)),
    )
    return _thinking(after, partial(_answered, state.now.engine, action, answer))


def _say(state: Rechecking, answer: Quick) -> _Next:
    if state.stage not in _ASKING:
        return state, ()
    if why := _refusal(state):
        return replace(state, message=why), (RingBell(),)
    if state.stage is Stage.COLOUR:
        if answer is Quick.NOTHING_LIT:
            return _taken(state, Item(Does.COLOUR, "dark", colours=(UNLIT,)))
        return _back(state), ()
    match answer, state.stage:
        case Quick.NOT_SURE, _:
            return _taken(state, Item(Does.NOT_SURE, ""))
        case Quick.NOTHING_LIT, Stage.PROBE:
            return _taken(state, Item(Does.NOTHING_LIT, ""))
        case Quick.EXTRA_LIGHT, Stage.LOOK:
            return _taken(state, Item(Does.EXTRA_LIGHT, ""))
        case Quick.EXTRA_LIGHT, _:
            return replace(state, message="type the name of the new place, then Enter"), ()
        case _:
            return replace(state, message="point to the first place that differs, then say: dark"), (RingBell(),)


def _taken(state: Rechecking, item: Item) -> _Next:
    if why := _refusal(state):
        return replace(state, message=why), (RingBell(),)
    match item.does:
        case Does.AS_SHOWN:
            return _tell(state, AllAsShown())
        case Does.EXTRA_LIGHT:
            return _tell(state, ExtraLight())
        case Does.NOT_SURE:
            return _tell(state, NotSure(), forced=state.forced[1:])
        case Does.NOTHING_LIT:
            return _tell(_unnamed(state), NothingLit())
        case Does.DIFFERS:
            return _differs(state, item)
        case Does.COLOUR:
            return _coloured(state, item.colours[0])
        case Does.AT_PLACE:
            return _at_place(state, item)
        case Does.NEW_PLACE:
            return _new_place(state, item)
        case Does.SAVE:
            return state, ()


def _differs(state: Rechecking, item: Item) -> _Next:
    if len(item.entries) + len(item.numbers) < 2:
        return replace(state, stage=Stage.COLOUR, pointed=item, typed="", chosen=0, message=""), ()
    # Several pixels light this place and nobody can tell which of them is wrong: they are asked one by one.
    assert state.now is not None
    numbers = [n for n, entry in enumerate(state.now.found) if entry in item.entries]
    return _tell(state, NotSure(), forced=tuple(sorted({*numbers, *item.numbers})))


def _coloured(state: Rechecking, colour: int) -> _Next:
    item = state.pointed
    if item is None:
        return _back(state), ()
    if item.numbers:
        return _tell(state, NewPlaceDiffers(item.numbers[0], colour))
    return _tell(state, Differs(item.entries[0], colour))


def _at_place(state: Rechecking, item: Item) -> _Next:
    assert state.now is not None
    assert isinstance(state.action, Probe)
    number, found = state.action.number, state.now.found
    name = state.names.get(number)
    if name is not None and item.name is not None and name.place == item.name.place:
        return _tell(state, AtNewPlace(), forced=state.forced[1:])  # the new pixel is still where it was named
    predicted = found[number] if number < len(found) else None
    as_predicted = predicted in item.entries
    return _tell(_unnamed(state), AtPlace(item.entries[0]), forced=state.forced[1:] if as_predicted else ())


def _new_place(state: Rechecking, item: Item) -> _Next:
    assert isinstance(state.action, Probe)
    name = item.name
    if name is None or not name.label.strip():
        return replace(state, message="type the name of the new place, then Enter"), (RingBell(),)
    if len(name.label) > MAX_TEXT:
        return replace(state, message="this label is too long: 2,000 characters at most"), (RingBell(),)
    after, effects = _tell(state, AtNewPlace())
    return replace(after, names={**state.names, state.action.number: name}), effects


def _unnamed(state: Rechecking) -> Rechecking:
    """The number that is asked about has no name of its own (any more)."""
    number = state.action.number if isinstance(state.action, Probe) else None
    if number not in state.names:
        return state
    return replace(state, names={n: name for n, name in state.names.items() if n != number})


def _singles(state: Rechecking) -> _Next:
    if not state.looks:
        return replace(state, message="single pixels it is already"), ()
    if state.now is None:
        return replace(state, looks=False, message="single pixels only, no pictures"), ()
    engine = replace(state.now.engine, options=replace(state.now.engine.options, looks=False))
    return _thinking(replace(state, looks=False, past=(*state.past, state)), partial(_advanced, engine))


# -- the end --------------------------------------------------------------------------------------------------------


def outcome(state: Rechecking, time: str) -> PlayfieldMap:
    """The map that the recheck came to, as a revision at that time. The state is DONE."""
    assert state.entries is not None
    assert state.now is not None
    assert state.now.result is not None
    sure = f"{100 * state.now.confidence:.2f} %"
    counted = f"{state.answers} answer{'' if state.answers == 1 else 's'}"
    counted += f", {state.namings} new pixel{'' if state.namings == 1 else 's'} named" if state.namings else ""
    said = f"; said: {'; '.join(state.said)}" if state.said else ""
    reason = f"Rechecked {state.here.name}: {counted}, {sure} sure{said}"[:MAX_TEXT]
    return finished(state.entries, state.now.result, state.names, time=time, reason=reason)


def _keep(state: Rechecking, time: str) -> _Next:
    m = outcome(state, time)
    number = m.revisions[-1].number if m.revisions else 0
    words = f"revision {number}" if m is not state.map else "nothing to save: nothing was changed or seen"
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
    return back, (*saves, *_showing(back))
