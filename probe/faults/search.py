"""The fault search: question by question to a cause, its remedy, and what follows. A frozen state and a pure step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from device_protocol.orders import RestartCause
from probe.document.model import PlayfieldMap, shown_number
from probe.faults.asking import FLIP_QUESTION, lights, next_question, relit, trials, with_tool_facts
from probe.faults.context import Context, derive, facts
from probe.faults.engine import K_PICTURES, UNSURE, FaultSession, answered, answered_by_reading, begin, not_cured
from probe.faults.explain import filled
from probe.faults.fault_patterns import stepped, ticked
from probe.faults.jobs import (
    begin_colours,
    begin_flex,
    begin_halving,
    begin_return,
    begin_soak,
    counted_again,
    flexed,
    halved,
    look_given,
    return_over,
    soak_over,
    soak_words,
)
from probe.faults.knowledge import PICTURE_QUESTION, STOP_OBSERVATION, After, Who
from probe.faults.log import kept, log, planted_lines, score
from probe.faults.meter import ReadingError
from probe.faults.state import CONTEXTS, Search, SearchMode, Solution
from probe.patterns.patterns import PatternName
from probe.task.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    ButtonPressed,
    CountChain,
    Counted,
    Effect,
    LineTrouble,
    News,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    SetUpChain,
    Shown,
    Tick,
    board_view,
)

__all__ = ["Search", "start", "start_practice", "step"]

MOST_PAST = 60
_LOADS = frozenset({PatternName.TOUR, PatternName.LOAD_STEPS, PatternName.SOAK})


@dataclass(frozen=True)
class Typed:
    """The entry line now holds this text."""

    text: str


@dataclass(frozen=True)
class Choose:
    """Move the choice among the answers."""

    by: int


@dataclass(frozen=True)
class Take:
    """Enter: the chosen answer, or what is typed. `time`: RFC 3339 UTC text, for what is kept."""

    time: str = ""


@dataclass(frozen=True)
class Unsure:
    """Not sure. `time` as for `Take`."""

    time: str = ""


@dataclass(frozen=True)
class Say:
    """Yes or no, where the answers are such. `time` as for `Take`."""

    yes: bool
    time: str = ""


@dataclass(frozen=True)
class Heat:
    """Heat, smell or ticking: stop."""


@dataclass(frozen=True)
class Step:
    """The next (1) or previous (-1) step of a pattern that waits for a key, or of the settings tried."""

    by: int


@dataclass(frozen=True)
class Back:
    """Out of a job within the search, keeping what it has so far. `time` as for `Take`."""

    time: str = ""


@dataclass(frozen=True)
class Undo:
    """Take the last answer back."""


@dataclass(frozen=True)
class Relight:
    """Show the light of this question once more, and save again if that failed."""


Key = Typed | Choose | Take | Unsure | Say | Heat | Step | Back | Undo | Relight
Result = tuple[Search, tuple[Effect, ...]]


def start(map_: PlayfieldMap, chain_id: str, *, now: str, steady_only: bool = False, paper: bool = False) -> Search:
    """A search on a chain, with the contexts that its map gives. `now`: RFC 3339 text. Raises KeyError."""
    map_.chain(chain_id)
    context = derive(facts(map_, chain_id, now=now))
    return Search(
        map_,
        chain_id,
        contexts=context.names,
        reasons=tuple(zip(context.names, context.reasons, strict=True)),
        near=context.near,
        steady_only=steady_only,
        paper=paper,
    )


def start_practice(
    map_: PlayfieldMap,
    chain_id: str,
    solution: Solution,
    answer: Callable[[str], str | None],
    *,
    steady_only: bool = False,
) -> Search:
    """A search for planted faults. `answer`: what the program would see for itself, by the observation's id."""
    search = Search(map_, chain_id, solution=solution, steady_only=steady_only)
    session = FaultSession()
    for observation in search.knowledge.observations:
        if observation.who is Who.TOOL:
            seen = answer(observation.id) or UNSURE
            session = answered(search.knowledge, session, observation=observation.id, answer=seen, by_tool=True)
    return next_question(replace(search, session=session))


def step(search: Search, given: Key | News, now_s: float) -> Result:
    """The search after a key or some news, and what is to be done. `now_s`: seconds on any steady clock."""
    match given:
        case Typed(text):
            return replace(search, typed=text, chosen=0, message=""), ()
        case Choose(by):
            size = len(search.items)
            return (replace(search, chosen=(search.chosen + by) % size), ()) if size else (search, ())
        case Take(time):
            return _take(search, search.item.key if search.item is not None else "", time, now_s)
        case Unsure(time):
            return _take_if_there(search, UNSURE, time, now_s)
        case Say(yes, time):
            return _take_if_there(search, "yes" if yes else "no", time, now_s)
        case Heat():
            return _heat(search, now_s)
        case Step(by):
            return _stepped(search, by, now_s)
        case Back(time):
            return _take(search, search.way_back, time, now_s)
        case Undo():
            return _undone(search, now_s)
        case Relight():
            search, effects = relit(replace(search, message=""), now_s)
            return search, ((SaveMap(search.map), *effects) if search.unsaved else effects)
        case _:
            return _news(search, given, now_s)


# News


def _news(search: Search, news: News, now_s: float) -> Result:
    match news:
        case BoardHere(identity):
            lit_before = search.was_lit and search.solution is None
            search = replace(search, board=board_view(search.board, news))
            loaded = search.running is not None and search.running.pattern.name in _LOADS
            causes = (RestartCause.BROWNOUT, RestartCause.WATCHDOG, *((RestartCause.POWER,) if loaded else ()))
            if lit_before and identity.cause in causes:
                search = _told(search, "restarted", "yes")
            if search.mode is not SearchMode.CONTEXT:
                search = with_tool_facts(search)
            setups = tuple(SetUpChain(c) for c in search.map.chains if c.output < identity.outputs)
            if search.returned is not None:
                search = replace(search, returned=replace(search.returned, waiting=False))
            search, effects = lights(search, now_s)
            return search, setups + effects
        case BoardGone():
            return replace(search, board=board_view(search.board, news), lit=None), (RingBell(),)
        case BoardDark():
            return relit(replace(search, lit=None), now_s)
        case Shown(what):
            return replace(search, lit=what, was_lit=search.was_lit or search.running is not None), ()
        case NotShown(CountChain(), why):
            back = search.returned
            held = None if back is None else replace(back, waiting=False)
            return replace(search, returned=held, message=why), ()
        case NotShown(_, why):
            return replace(search, lit=None, message=why), ()
        case Counted(_, least, most, _):
            if search.returned is None:
                return search, ()
            return replace(search, returned=search.returned.counted(least=least, most=most)), ()
        case LineTrouble():
            return (replace(search, troubles=search.troubles + 1), ()) if search.running is not None else (search, ())
        case ButtonPressed(times):
            size = len(search.items)
            return (replace(search, chosen=(search.chosen + times) % size), ()) if size else (search, ())
        case Tick():
            return _ticked(search, now_s)
        case Saved():
            return replace(search, unsaved=""), ()
        case NotSaved(why):
            return replace(search, unsaved=why), (RingBell(),)
        case _:
            return replace(search, board=board_view(search.board, news)), ()


def _ticked(search: Search, now_s: float) -> Result:
    if search.mode is SearchMode.RETURN:
        return counted_again(search)
    if search.mode is SearchMode.SOAK:
        search = replace(search, message=f"running for {soak_words(search, now_s)}")
    if search.running is None or not search.board.here:
        return search, ()
    running, effects = ticked(search.running, search.board.identity, now_s)
    return (search, ()) if running is search.running else (replace(search, running=running), effects)


def _told(search: Search, observation: str, answer: str) -> Search:
    session = answered(search.knowledge, search.session, observation=observation, answer=answer, by_tool=True)
    return replace(search, session=session)


# Keys


def _take_if_there(search: Search, key: str, time: str, now_s: float) -> Result:
    if any(item.key == key for item in search.items):
        return _take(search, key, time, now_s)
    return search, (RingBell(),)


def _heat(search: Search, now_s: float) -> Result:
    if search.session.stopped:
        return search, ()
    search = _remembered(search)
    session = answered(search.knowledge, search.session, observation=STOP_OBSERVATION, answer="yes")
    search, effects = lights(next_question(replace(search, session=session, splitting=False)), now_s)
    return replace(search, message=""), (*effects, RingBell())


def _stepped(search: Search, by: int, now_s: float) -> Result:
    asked = search.question.id if search.question is not None and search.mode is SearchMode.QUESTION else ""
    if asked == FLIP_QUESTION:
        return lights(replace(search, trial=(search.trial + by) % len(trials(search.here))), now_s)
    if search.running is None:
        return search, ()
    running, effects = stepped(search.running, by, search.board.identity, now_s)
    return replace(search, running=running), effects


def _undone(search: Search, now_s: float) -> Result:
    if not search.past:
        return replace(search, message="nothing to undo"), (RingBell(),)
    before = search.past[-1]
    back = replace(
        before,
        past=search.past[:-1],
        board=search.board,
        troubles=search.troubles,
        was_lit=search.was_lit,
        running=search.running,
        unsaved=search.unsaved,
        message="undone",
    )
    back, effects = lights(back, now_s)
    return back, ((SaveMap(back.map), *effects) if back.map != search.map else effects)


def _remembered(search: Search) -> Search:
    before = replace(search, past=(), message="", running=None, lit=None)
    return replace(search, past=(*search.past, before)[-MOST_PAST:])


def _take(search: Search, key: str, time: str, now_s: float) -> Result:
    if not key:
        return search, ()
    moved = _remembered(search)
    match search.mode:
        case SearchMode.CONTEXT:
            return _context(moved, key, now_s)
        case SearchMode.QUESTION:
            return _question(search, moved, key, now_s)
        case SearchMode.LAST_GOOD:
            return _last_good(search, moved, key, now_s)
        case SearchMode.HALVING:
            return halved(moved, key, now_s)
        case SearchMode.FINDING:
            return _finding(moved, key, time, now_s)
        case SearchMode.REPAIR:
            return _repair(moved, key, time, now_s)
        case SearchMode.COLOURS:
            looked, effects = look_given(moved, key, now_s)
            refused = looked.looks == search.looks and looked.mode is SearchMode.COLOURS
            return replace(looked, past=search.past) if refused else looked, effects
        case SearchMode.FLEX:
            return flexed(moved, key, time, now_s)
        case SearchMode.RETURN:
            return return_over(moved, key, time, now_s)
        case SearchMode.SOAK:
            return soak_over(moved, key, time, now_s)
        case SearchMode.DONE:
            return search, ()


def _context(search: Search, key: str, now_s: float) -> Result:
    if key == "flex":
        return begin_flex(search, now_s)
    if key == "return":
        return begin_return(search, now_s)
    if key == "soak":
        return begin_soak(search, now_s)
    if key != "start":
        on = set(search.contexts) ^ {key}
        return replace(search, contexts=tuple(name for name in CONTEXTS if name in on)), ()
    session = begin(Context(search.contexts, (), search.near))
    search = with_tool_facts(replace(search, session=session, message=""))
    return lights(next_question(search), now_s)


def _question(search: Search, moved: Search, key: str, now_s: float) -> Result:
    asked = search.question
    if asked is None:
        return search, ()
    if key == "flex":
        return begin_flex(moved, now_s)
    session = search.session
    words = ""
    if key == "typed":
        if not search.typed.strip():
            return replace(search, message="type the reading first, or choose not sure"), (RingBell(),)
        try:
            session, verdict = answered_by_reading(search.knowledge, session, observation=asked.id, typed=search.typed)
        except ReadingError as exc:
            return replace(search, message=str(exc)), (RingBell(),)
        meaning = [f"{asked.answer(a).text} {share:.0%}" for a, share in verdict.shares]
        plain = asked.answer(verdict.answer).text if verdict.answer else ", ".join(meaning)
        words = f"{search.typed.strip()}: {plain or 'in no known range, it settles nothing'}"
    else:
        session = answered(search.knowledge, session, observation=asked.id, answer=key)
    moved = replace(moved, session=session, message="")
    if asked.id == PICTURE_QUESTION:
        moved = with_tool_facts(moved)
        if key in K_PICTURES:
            return lights(replace(moved, mode=SearchMode.LAST_GOOD, chosen=0, typed=""), now_s)
    moved = next_question(moved)
    stopped = moved.session.stopped and not search.session.stopped
    moved, effects = lights(replace(moved, message=moved.message or words), now_s)
    return moved, ((*effects, RingBell()) if stopped else effects)


def _last_good(search: Search, moved: Search, key: str, now_s: float) -> Result:
    if key == "halve":
        return begin_halving(moved, now_s)
    k: int | None = None
    if key == "none":
        k = -1
    elif key == "typed":
        text = search.typed.strip()
        if not text.isdecimal() or not 0 <= int(text[:9]) < search.length:
            words = f"type the number of the last good pixel, 0 to {search.length - 1}, or choose below"
            return replace(search, message=words), (RingBell(),)
        k = int(text)
    moved = next_question(replace(moved, session=replace(moved.session, k=k)))
    words = f"last good: {shown_number(k)}" if k is not None and k >= 0 else ""
    return lights(replace(moved, message=words), now_s)


def _finding(search: Search, key: str, time: str, now_s: float) -> Result:
    search = replace(search, message="")
    if key == "split":
        return lights(next_question(replace(search, splitting=True)), now_s)
    if key == "halve":
        return begin_halving(search, now_s)
    if key == "colours":
        return begin_colours(search, now_s)
    if key == "soak":
        return begin_soak(search, now_s)
    if key == "reveal":
        return _done(search, ("Not found this time.", *planted_lines(search), score(search, found=False)), now_s)
    if key == "keep":
        map_ = kept(
            search.map,
            search.chain,
            time=time,
            reason=f"fault search on {search.here.name}, not finished",
            lines=log(search),
        )
        return replace(search, map=map_, message="kept in the map's log"), (SaveMap(map_),)
    return lights(replace(search, mode=SearchMode.REPAIR, repairing=key.removeprefix("repair:"), chosen=0), now_s)


def _repair(search: Search, key: str, time: str, now_s: float) -> Result:
    search = replace(search, message="")
    if key == "colours":
        return begin_colours(search, now_s)
    if key == "back":
        return lights(replace(search, mode=SearchMode.FINDING, chosen=0, repairing=""), now_s)
    cause = search.knowledge.cause(search.repairing)
    if search.solution is not None and cause.id in search.solution.causes:
        then = {
            After.RENUMBER: ("After such a repair in earnest, numbers may have shifted: recheck the chain.",),
            After.RECHECK: ("After such a repair in earnest, recheck the places near it.",),
        }.get(cause.after, ())
        lines = ("That was it: the trouble is gone.", *planted_lines(search), *then, score(search, found=True))
        return _done(search, lines, now_s)
    if key != "cured":
        session = not_cured(search.knowledge, search.session, cause.id)
        search = next_question(replace(search, session=session, repairing="", splitting=False))
        return lights(replace(search, message="the trouble is still there: that was not it, or not all"), now_s)
    name = filled(cause.name, search.session.k)
    map_ = kept(
        search.map, search.chain, time=time, reason=f"fault repaired on {search.here.name}: {name}", lines=log(search)
    )
    lines = (f"Repaired: {name}.", "It is in the map's log, with the date and the answers.")
    search, effects = _done(replace(search, map=map_, follow_up=cause.after), lines, now_s)
    return search, (SaveMap(map_), *effects)


def _done(search: Search, lines: tuple[str, ...], now_s: float) -> Result:
    return lights(replace(search, mode=SearchMode.DONE, outcome=lines, chosen=0), now_s)
