"""From what a person says in a recheck to an answer of the inference. An answer counts only for what is lit.

Every answer goes into the map before it is thought about, so that nothing more is asked or lit over one that is not on
disk.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from probe.document.model import MAX_TEXT
from probe.document.model.open_recheck import OpenRecheck
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    Probe,
)
from probe.recheck.kept import names_after, row_of, with_recheck
from probe.recheck.keys import Quick
from probe.recheck.light import ASKING, is_lit
from probe.recheck.outcome import Name
from probe.recheck.state import Does, Item, Rechecking, Stage
from probe.recheck.thinking import answered, thinking
from probe.task.steps import Effect, RingBell, SaveMap

_Next = tuple[Rechecking, tuple[Effect, ...]]


def at_list(state: Rechecking) -> Rechecking:
    """Back from a place's colours to the list of places."""
    return replace(state, stage=Stage.LOOK, pointed=None) if state.stage is Stage.COLOUR else state


def say(state: Rechecking, answer: Quick) -> _Next:
    """An answer of one key."""
    if state.stage not in ASKING:
        return state, ()
    if why := _refusal(state):
        return replace(state, message=why), (RingBell(),)
    if state.stage is Stage.COLOUR:
        if answer is Quick.NOTHING_LIT:
            return taken(state, Item(Does.COLOUR, "dark", colours=(UNLIT,)))
        return at_list(state), ()
    match answer, state.stage:
        case Quick.NOT_SURE, _:
            return taken(state, Item(Does.NOT_SURE, ""))
        case Quick.NOTHING_LIT, Stage.PROBE:
            return taken(state, Item(Does.NOTHING_LIT, ""))
        case Quick.EXTRA_LIGHT, Stage.LOOK:
            return taken(state, Item(Does.EXTRA_LIGHT, ""))
        case Quick.EXTRA_LIGHT, _:
            return replace(state, message="type the name of the new place, then Enter"), ()
        case _:
            return replace(state, message="point to the first place that differs, then say: dark"), (RingBell(),)


def taken(state: Rechecking, item: Item) -> _Next:
    """An item of the list."""
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
            return _tell(state, NothingLit())
        case Does.DIFFERS:
            return _differs(state, item)
        case Does.COLOUR:
            return _coloured(state, item.colours[0])
        case Does.AT_PLACE:
            return _at_place(state, item)
        case Does.NEW_PLACE:
            return _new_place(state, item)
        case _:
            return state, ()


def _refusal(state: Rechecking) -> str:
    if is_lit(state):
        return ""
    return "it is not lit yet: wait for it, then answer" if state.board.here else "no board, so nothing is lit"


def _tell(state: Rechecking, answer: Answer, *, forced: tuple[int, ...] = (), name: Name | None = None) -> _Next:
    """Save an answer, then hand it to the inference; what was there before stays for undo.

    `name`: what the pixel that is lit is called from now on.
    """
    action, kept = state.action, state.kept
    assert action is not None
    assert kept is not None
    assert state.now is not None
    names = names_after(state.names, Observation(action=action, answer=answer), name)
    row = row_of(Observation(action=action, answer=answer), name=name, naming=state.naming, forced=forced)
    kept = kept.model_copy(update={"answers": (*kept.answers, row)})
    after = replace(
        state,
        forced=forced,
        names=names,
        answers=state.answers + (0 if state.naming else 1),
        namings=state.namings + (1 if state.naming else 0),
        past=(*state.past, at_list(state)),
    )
    after, saves = put_aside(after, kept)
    after, thinks = thinking(after, partial(answered, state.now.engine, action, answer))
    return after, (*saves, *thinks)


def put_aside(state: Rechecking, kept: OpenRecheck) -> _Next:
    """Put what is kept of this recheck on disk."""
    m = with_recheck(state.map, kept)
    return replace(state, map=m, kept=kept), (SaveMap(m),)


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
        return at_list(state), ()
    if item.numbers:
        return _tell(state, NewPlaceDiffers(item.numbers[0], colour))
    return _tell(state, Differs(item.entries[0], colour))


def _at_place(state: Rechecking, item: Item) -> _Next:
    assert state.now is not None
    assert isinstance(state.action, Probe)
    number, found = state.action.number, state.now.found
    name = state.names.get(number)
    if name is not None and item.name is not None and name.place == item.name.place:
        # the new pixel is still where it was named
        return _tell(state, AtNewPlace(), forced=state.forced[1:], name=name)
    predicted = found[number] if number < len(found) else None
    as_predicted = predicted in item.entries
    return _tell(state, AtPlace(item.entries[0]), forced=state.forced[1:] if as_predicted else ())


def _new_place(state: Rechecking, item: Item) -> _Next:
    name = item.name
    if name is None or not name.label.strip():
        return replace(state, message="type the name of the new place, then Enter"), (RingBell(),)
    if len(name.label) > MAX_TEXT:
        return replace(state, message="this label is too long: 2,000 characters at most"), (RingBell(),)
    return _tell(state, AtNewPlace(), name=name)
