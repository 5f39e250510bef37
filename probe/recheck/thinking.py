"""The recheck's inference as jobs that run beside the keys, and what comes of them: the next question, or the result."""

from __future__ import annotations

from dataclasses import replace

from probe.document.model import shown_number
from probe.document.model.open_recheck import OpenRecheck
from probe.recheck.engine import Options, Recheck
from probe.recheck.engine import Step as EngineStep
from probe.recheck.engine.model import (
    Action,
    AllAsShown,
    Answer,
    AtPlace,
    Differs,
    Look,
    NothingLit,
    Observation,
    Setup,
)
from probe.recheck.kept import KeptError, given_in, with_recheck
from probe.recheck.light import set_up, show
from probe.recheck.state import Advanced, Rechecking, Replayed, Stage, Thinking, Unusable
from probe.task.steps import Effect, RingBell, Think

_Next = tuple[Rechecking, tuple[Effect, ...]]
DOUBT = 0.3
"""An answer is told to be in doubt from this chance of being wrong on."""


def thinking(state: Rechecking, job: Thinking) -> _Next:
    """Think, and let nothing be asked meanwhile."""
    tag = state.tag + 1
    state = replace(state, stage=Stage.THINK, tag=tag, job=job, typed="", chosen=0, pointed=None, message="")
    return state, (Think(tag, job),)


# -- jobs -----------------------------------------------------------------------------------------------------------


def first(setup: Setup, options: Options) -> Advanced:
    """Nothing asked yet."""
    return advanced(Recheck.start(setup, options))


def answered(engine: Recheck, action: Action, answer: Answer) -> Advanced:
    """One more answer."""
    return advanced(engine.answered(action, answer))


def advanced(engine: Recheck, following: EngineStep | None = None) -> Advanced:
    """What the inference asks next and what is known; `following`: what it did ask, if that is known."""
    if following is None:
        following = engine.next_step()
    return Advanced(
        engine=engine,
        step=following,
        found=tuple(engine.best_map.tolist()),
        confidence=engine.confidence,
        doubts=tuple(doubt.index for doubt in engine.doubts(least=DOUBT)) if engine.observations else (),
        result=engine.result() if following.action is None else None,
    )


def replayed(setup: Setup, options: Options, kept: OpenRecheck) -> Replayed | Unusable:
    """Kept answers given again, each to the question that it answered; then the next question is chosen anew."""
    try:
        given = given_in(kept, setup)
        engine = Recheck.start(setup, options)
        found: list[Advanced] = []
        for one in given:
            found.append(advanced(engine, EngineStep(action=one.seen.action, naming=one.naming)))
            engine = engine.answered(one.seen.action, one.seen.answer)
    except (KeptError, ValueError) as error:
        return Unusable(str(error))
    return Replayed(given, (*found, advanced(engine)))


# -- what came of them ----------------------------------------------------------------------------------------------


def thought(state: Rechecking, now: Advanced) -> _Next:
    """Ask what the inference wants to know, or show what was found."""
    before = state.now
    state = replace(state, now=now, job=None)
    stage = _stage(state, now)
    known = before.doubts if before is not None else ()
    fresh = [index for index in now.doubts if index not in known]
    words = f"This does not fit the rest: {_told(state, now.engine.observations[fresh[0]])}. " if fresh else ""
    words += "It is asked again." if fresh and stage is not Stage.DONE else ""
    state = replace(state, stage=stage, message=words or state.message, lit=None)
    new_reach = before is None or before.engine.evidence.numbers != now.engine.evidence.numbers
    return state, (*(set_up(state) if new_reach else ()), *show(state), *((RingBell(),) if fresh else ()))


def went_on(state: Rechecking, replay: Replayed) -> _Next:
    """Where the kept answers lead; each of them can be taken back."""
    kept, words = state.kept, state.message
    assert kept is not None
    for index, (one, now) in enumerate(zip(replay.given, replay.advanced, strict=False)):
        m = with_recheck(state.map, kept.model_copy(update={"answers": kept.answers[:index]}))
        asked = replace(state, map=m, kept=m.rechecks[-1], now=now, job=None, message="")
        asked = replace(asked, stage=Stage.LOOK if isinstance(asked.action, Look) else Stage.PROBE)
        state = replace(
            asked,
            forced=one.forced,
            names=one.names,
            answers=state.answers + (not asked.naming),
            namings=state.namings + asked.naming,
            past=(*asked.past, asked),
        )
    m = with_recheck(state.map, kept)
    state = replace(state, map=m, kept=kept, stage=Stage.THINK, now=replay.advanced[-2], message=words)
    after, effects = thought(state, replay.advanced[-1])
    return after, (*set_up(after), *effects)


def _stage(state: Rechecking, now: Advanced) -> Stage:
    if state.forced:
        return Stage.PROBE
    if now.step.action is None:
        return Stage.DONE
    return Stage.LOOK if isinstance(now.step.action, Look) else Stage.PROBE


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
