"""The fault search: question by question to a cause, its remedy, and what follows. A task: frozen state, pure step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from device_protocol.orders import ChainCount, RestartCause
from probe.document.model import PlayfieldMap, shown_number
from probe.faults.asking import next_question, with_tool_facts
from probe.faults.commands import COMMANDS, Heat, SayYesNo, StepPattern, Unsure
from probe.faults.context import FOUR_COLOUR, HISTORIES, Context, derive, facts
from probe.faults.engine import (
    UNSURE,
    FaultSession,
    answered,
    answered_by_reading,
    begin,
    may_power,
    names_place,
    not_cured,
    stop_steps,
)
from probe.faults.explain import filled
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
from probe.faults.knowledge import CLEARED_BY, PICTURE_QUESTION, STOP_OBSERVATION, After, Who
from probe.faults.light import again, stepped, ticked, trials
from probe.faults.log import kept, log, planted_lines, score
from probe.faults.meter import ReadingError
from probe.faults.state import CONTEXTS, FLIP_QUESTION, HEAT_ROW, FaultSearch, SearchMode, Solution, lights, with_light
from probe.faults.view import view
from probe.patterns.patterns import PatternName
from probe.task import events as ev
from probe.task.effects import Bell, Close, Commit, Effects, Instead, Open, TakeBack, TryAgain
from probe.task.light import Light
from probe.task.task import Next, Opened, Task
from probe.task.views import Line, TaskView

MOST_PAST = 60
_LOADS = frozenset({PatternName.TOUR, PatternName.LOAD_STEPS, PatternName.SOAK})

Result = Next[FaultSearch]


@dataclass(frozen=True)
class Hidden:
    """A practice round as the search needs it: what is planted, what one would answer to a question (None: not sure), and
    lines that stand in for eyes and meter."""

    solution: Solution
    answer: Callable[[str], str | None]
    sight: Callable[[FaultSearch], tuple[str, ...]]


@dataclass(frozen=True)
class FaultFacts:
    """What a fault search is opened with: the chain; `alone`, if no walk is below; `hidden` in a practice round.

    `dark_from`: the pixel from which the chain was seen dark before, so that this need not be asked; None if nobody looked.
    """

    chain: str
    dark_from: int | None = None
    alone: bool = False
    hidden: Hidden | None = None


class FaultSearchTask(Task[FaultSearch]):
    """Find the cause of a fault on one chain. `sight` gives lines that stand in for eyes and meter in a practice round."""

    name = "faults"
    commands = COMMANDS
    ticks = True

    def __init__(self, sight: Callable[[FaultSearch], tuple[str, ...]] = lambda _: ()) -> None:
        self._sight = sight

    def begin(self, s: FaultSearch, now_s: float) -> Result:
        """The board may be there already."""
        return _board(s, now_s)

    def step(self, s: FaultSearch, event: object, now_s: float) -> Result | None:
        """The search after an event, and what is to be done."""
        return step(s, event, now_s)

    def light(self, s: FaultSearch) -> Light:
        """The light that belongs to the question."""
        return s.light

    def view(self, s: FaultSearch) -> TaskView:
        """The question, its light, its answers, and the suspects so far."""
        return view(s, tuple(Line(line) for line in self._sight(s)))

    def where(self, s: FaultSearch) -> object:
        """The whole search: a step that is taken back leads to the answers before it."""
        return s


def make(opened: Opened) -> tuple[FaultSearchTask, FaultSearch]:
    """The fault finder on a chain of the open map. Raises TypeError if no chain is named."""
    assert opened.map is not None, "the fault finder is opened with a map"
    match opened.facts:
        case FaultFacts() as found:
            pass
        case (str() as chain, "dark from", int() as number):
            found = FaultFacts(chain, dark_from=number)
        case (str() as chain, *_):
            found = FaultFacts(chain)
        case _:
            raise TypeError(f"the fault finder is opened on a chain, not on {opened.facts!r}")
    hidden = found.hidden
    if hidden is None:
        return FaultSearchTask(), start(
            opened.map,
            found.chain,
            now=opened.now,
            steady_only=opened.steady_only,
            paper=opened.paper,
            alone=found.alone,
            dark_from=found.dark_from,
        )
    search = start_practice(opened.map, found.chain, hidden.solution, hidden.answer, steady_only=opened.steady_only)
    return FaultSearchTask(hidden.sight), search


def start(
    map_: PlayfieldMap,
    chain_id: str,
    *,
    now: str,
    steady_only: bool = False,
    paper: bool = False,
    alone: bool = False,
    dark_from: int | None = None,
) -> FaultSearch:
    """A search on a chain, with the contexts that its map gives. `now`: RFC 3339 text. `alone`: no walk is
    below. `dark_from`: as in `FaultFacts`. Raises KeyError."""
    map_.chain(chain_id)
    context = derive(facts(map_, chain_id, now=now))
    return FaultSearch(
        map=map_,
        chain=chain_id,
        contexts=context.names,
        reasons=tuple(zip(context.names, context.reasons, strict=True)),
        near=context.near,
        steady_only=steady_only,
        paper=paper,
        alone=alone,
        dark_from=dark_from,
    )


def start_practice(
    map_: PlayfieldMap,
    chain_id: str,
    solution: Solution,
    answer: Callable[[str], str | None],
    *,
    steady_only: bool = False,
) -> FaultSearch:
    """A search for planted faults. `answer`: what the program would see for itself, by the observation's id."""
    search = FaultSearch(map=map_, chain=chain_id, solution=solution, steady_only=steady_only)
    session = FaultSession((FOUR_COLOUR,) if len(search.here.order) == 4 else ())
    for observation in search.knowledge.observations:
        if observation.who is Who.TOOL:
            seen = answer(observation.id) or UNSURE
            session = answered(search.knowledge, session, observation=observation.id, answer=seen, by_tool=True)
    return next_question(replace(search, session=session))


def step(search: FaultSearch, event: object, now_s: float) -> Result | None:
    """The search after an event, and what is to be done. `now_s`: seconds on any steady clock.

    Whatever led there, nothing leaves here that needs power while a hazard is open.
    """
    found = _stepped_by(search, event, now_s)
    if found is None or may_power(found[0].session, needs_power=found[0].needs_power):
        return found
    after, effects = lights(next_question(found[0]), now_s)
    return after, (*(effect for effect in found[1] if isinstance(effect, Commit | Bell)), *effects)


def _stepped_by(search: FaultSearch, event: object, now_s: float) -> Result | None:
    match event:
        case ev.Typed(text):
            return (replace(search, typed=text, chosen=0, message=""), ()) if search.types else (search, ())
        case ev.Choose(by) | ev.StepButton(by):
            size = len(search.items)
            return (replace(search, chosen=(search.chosen + by) % size), ()) if size else (search, ())
        case ev.Take(time):
            return _take(search, search.item.key, time, now_s)
        case Unsure(time):
            return _take_if_there(search, UNSURE, time, now_s)
        case SayYesNo(yes, time):
            return _take_if_there(search, "yes" if yes else "no", time, now_s)
        case Heat():
            return _heat(search, now_s)
        case StepPattern(by):
            return _stepped(search, by, now_s)
        case ev.Leave():
            return _take(search, search.way_back, "", now_s) if search.way_back else None
        case ev.Undo():
            return _undo(search, now_s)
        case ev.Retry():
            return with_light(replace(search, message=""), now_s), (TryAgain(),)
        case _:
            return _fact(search, event, now_s)


def _fact(search: FaultSearch, event: object, now_s: float) -> Result | None:
    match event:
        case ev.BoardChanged():
            return _board(search, now_s)
        case ev.WentDarkByItself():
            running = None if search.running is None else again(search.running, now_s)
            return replace(search, running=running), ()
        case ev.Answered("count", (ChainCount(least, most),)):
            back = search.returned
            return replace(search, returned=None if back is None else back.counted(least=least, most=most)), ()
        case ev.NotAnswered("count", why):
            back = search.returned
            return replace(search, returned=None if back is None else replace(back, waiting=False), message=why), ()
        case ev.LineTrouble():
            return (replace(search, troubles=search.troubles + 1), ()) if search.running is not None else (search, ())
        case ev.MapChanged(words, where):
            return _travelled(search, words, where, now_s), ()
        case ev.Tick():
            return _ticked(search, now_s)
        case _:
            return None


def _board(search: FaultSearch, now_s: float) -> Result:
    """The board arrived, was lost, or shows something else."""
    identity = search.board.identity
    if identity is None or identity is search.known:
        lit = search.was_lit or (search.running is not None and search.is_lit)
        return replace(search, known=identity, was_lit=lit), ()
    if search.was_lit and search.solution is None:
        loaded = search.running is not None and search.running.pattern.name in _LOADS
        causes = (RestartCause.BROWNOUT, RestartCause.WATCHDOG, *((RestartCause.POWER,) if loaded else ()))
        if identity.cause in causes:
            session = answered(search.knowledge, search.session, observation="restarted", answer="yes", by_tool=True)
            search = replace(search, session=session)
    if search.mode is not SearchMode.CONTEXT:
        search = with_tool_facts(search)
    back = search.returned
    search = replace(search, known=identity, returned=None if back is None else replace(back, waiting=False))
    return with_light(search, now_s), ()


def _ticked(search: FaultSearch, now_s: float) -> Result:
    if search.mode is SearchMode.RETURN:
        return counted_again(search)
    if search.mode is SearchMode.SOAK:
        search = replace(search, message=f"running for {soak_words(search, now_s)}")
    if search.running is None or not search.board.here:
        return search, ()
    return replace(search, running=ticked(search.running, now_s)), ()


def _take_if_there(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    if any(item.key == key for item in search.items):
        return _take(search, key, time, now_s)
    return search, (Bell(),)


def _heat(search: FaultSearch, now_s: float) -> Result:
    if search.session.answer_to(STOP_OBSERVATION) == "yes" and search.session.unsafe:
        return search, ()
    search = _remembered(search)
    session = answered(search.knowledge, search.session, observation=STOP_OBSERVATION, answer="yes")
    search = replace(search, session=session, splitting=False, repairing="")
    search, effects = lights(next_question(search), now_s)
    return replace(search, message=""), (*effects, Bell())


def _stepped(search: FaultSearch, by: int, now_s: float) -> Result:
    if search.asked == FLIP_QUESTION:
        return lights(replace(search, trial=(search.trial + by) % len(trials(search.here))), now_s)
    if search.running is None:
        return search, ()
    return replace(search, running=stepped(search.running, by, now_s)), ()


# Back and forth


def _remembered(search: FaultSearch) -> FaultSearch:
    before = replace(search, past=(), message="", running=None)
    return replace(search, past=(*search.past, before)[-MOST_PAST:])


def _undo(search: FaultSearch, now_s: float) -> Result | None:
    """One answer back. What it changed in the map is taken back there, and leads back here (`MapChanged`)."""
    if not search.past:
        return None
    before = search.past[-1]
    if before.map != search.map:
        return search, (TakeBack(),)
    return _at(search, replace(before, past=search.past[:-1]), "undone", now_s), ()


def _travelled(search: FaultSearch, words: str, where: object, now_s: float) -> FaultSearch:
    """After undo or redo in the map: where the person was then, if it was in this search."""
    if isinstance(where, FaultSearch) and (where.chain, where.solution) == (search.chain, search.solution):
        return _at(search, where, words, now_s)
    if search.chain not in search.map.chain_by_id:
        return replace(search, message=words)
    return with_light(replace(search, message=words), now_s)


def _at(search: FaultSearch, there: FaultSearch, words: str, now_s: float) -> FaultSearch:
    """Back there, with the world as it is now. A danger that is taken back still wants the reading that shows it is safe:
    whoever mistyped takes it with all off. A report of heat that is taken back is asked about once more."""
    heat = search.session.answer_to(STOP_OBSERVATION) == "yes" != there.session.answer_to(STOP_OBSERVATION)
    left = search.session.hazards - there.session.hazards
    withdrawn = search.withdrawn | (left if heat else frozenset())
    session = replace(there.session, hazards=there.session.hazards | left)
    there = replace(there, session=session, withdrawn=withdrawn & session.hazards)
    if heat and there.withdrawn:
        asked = search.knowledge.observation(STOP_OBSERVATION)
        there = replace(
            there,
            mode=SearchMode.QUESTION,
            question=asked,
            stop=stop_steps(session),
            splitting=False,
            chosen=0,
            typed="",
        )
    elif left and there.mode is not SearchMode.CONTEXT:
        there = next_question(there)
    back = replace(
        there,
        map=search.map,
        board=search.board,
        unsaved=search.unsaved,
        known=search.known,
        begun=search.begun,
        troubles=search.troubles,
        was_lit=search.was_lit,
        running=search.running,
        message=words,
    )
    return with_light(back, now_s)


# Answers


def _take(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    if key == HEAT_ROW.key:
        return _heat(search, now_s)
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
            return search, _follow_up(search) if key == "follow" else (Close(key),)


def _context(search: FaultSearch, key: str, now_s: float) -> Result:
    if key == "flex":
        return begin_flex(search, now_s)
    if key == "return":
        return begin_return(search, now_s)
    if key == "soak":
        return begin_soak(search, now_s)
    if key != "start":
        on = set(search.contexts) ^ {key}
        if key in HISTORIES and key in on:  # a chain has one history
            on -= HISTORIES - {key}
        return replace(search, contexts=tuple(name for name in CONTEXTS if name in on)), ()
    hazards = search.session.hazards
    session = replace(begin(Context(search.contexts, (), search.near)), hazards=hazards)
    if search.dark_from is not None:
        seen = "to-k-dark" if search.dark_from else "nothing"
        last_good = search.dark_from - 1
        session = answered(search.knowledge, session, observation=PICTURE_QUESTION, answer=seen, k=last_good)
    search = with_tool_facts(replace(search, session=session, message=""))
    return lights(next_question(search), now_s)


def _question(search: FaultSearch, moved: FaultSearch, key: str, now_s: float) -> Result:
    asked = search.question
    if asked is None:
        return search, ()
    if key == "flex":
        return begin_flex(moved, now_s)
    session = search.session
    words = ""
    if key == "typed":
        if not search.typed.strip():
            return replace(search, message="type the reading first, or choose not sure"), (Bell(),)
        try:
            session, verdict = answered_by_reading(search.knowledge, session, observation=asked.id, typed=search.typed)
        except ReadingError as exc:
            return replace(search, message=str(exc)), (Bell(),)
        meaning = [f"{asked.answer(a).text} {share:.0%}" for a, share in verdict.shares]
        plain = asked.answer(verdict.answer).text if verdict.answer else ", ".join(meaning)
        words = f"{search.typed.strip()}: {plain or 'in no known range, it settles nothing'}"
    else:
        session = answered(search.knowledge, session, observation=asked.id, answer=key)
        if asked.id == STOP_OBSERVATION and key == "no":
            session = replace(session, hazards=session.hazards - search.withdrawn)
            moved = replace(moved, withdrawn=frozenset())
    moved = replace(moved, session=session, message="")
    if search.repairing:
        return lights(replace(moved, mode=SearchMode.REPAIR, chosen=0, typed="", message=words), now_s)
    if asked.id == PICTURE_QUESTION:
        moved = with_tool_facts(moved)
    dead = moved.session.answer_to("link-answers") == "no"
    if names_place(asked.id, key) and not dead:
        return lights(replace(moved, mode=SearchMode.LAST_GOOD, chosen=0, typed=""), now_s)
    moved = next_question(moved)
    stopped = moved.session.unsafe and not search.session.unsafe
    moved, effects = lights(replace(moved, message=moved.message or words), now_s)
    return moved, ((*effects, Bell()) if stopped else effects)


def _last_good(search: FaultSearch, moved: FaultSearch, key: str, now_s: float) -> Result:
    if key == "halve":
        return begin_halving(moved, now_s)
    k: int | None = None
    if key == "none":
        k = -1
    elif key == "typed":
        text = search.typed.strip()
        if not text.isdecimal() or not 0 <= int(text[:9]) < search.length:
            words = f"type the number of the last good pixel, 0 to {search.length - 1}, or choose below"
            return replace(search, message=words), (Bell(),)
        k = int(text)
    moved = next_question(replace(moved, session=replace(moved.session, k=k)))
    words = f"last good: {shown_number(k)}" if k is not None and k >= 0 else ""
    return lights(replace(moved, message=words), now_s)


def _finding(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    search = replace(search, message="")
    if key == "split":
        return lights(next_question(replace(search, splitting=True)), now_s)
    if key == "more":
        session = replace(search.session, rounds=search.session.rounds + 1)
        return lights(next_question(replace(search, session=session)), now_s)
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
        words = "kept in the map's log"
        return replace(search, map=map_, message=words), (Commit(map_, words),)
    return lights(replace(search, mode=SearchMode.REPAIR, repairing=key.removeprefix("repair:"), chosen=0), now_s)


def _repair(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    search = replace(search, message="")
    if key == "colours":
        return begin_colours(search, now_s)
    if key == "back":
        return lights(replace(search, mode=SearchMode.FINDING, chosen=0, repairing=""), now_s)
    if key == "safe":
        asked = search.knowledge.observation(
            next(question for hazard, question in CLEARED_BY.items() if hazard in search.session.hazards)
        )
        return lights(replace(search, mode=SearchMode.QUESTION, question=asked, chosen=0, typed=""), now_s)
    cause = search.knowledge.cause(search.repairing)
    planted = search.solution.causes if search.solution is not None else ()
    if cause.repair in {search.knowledge.cause(name).repair for name in planted}:
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
    return search, (Commit(map_, lines[0]), *effects)


def _done(search: FaultSearch, lines: tuple[str, ...], now_s: float) -> Result:
    return lights(replace(search, mode=SearchMode.DONE, outcome=lines, chosen=0), now_s)


def _follow_up(search: FaultSearch) -> Effects:
    """What follows a repair: a recheck of the chain, which also finds shifted numbers; with the walk to come back to."""
    facts = (search.chain, ())
    return (Instead("walk"), Open("recheck", facts)) if search.alone else (Instead("recheck", facts),)
