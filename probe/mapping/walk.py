"""The walk: one pixel lit at a time, the person says what it lights. A frozen state and a pure step.

An answer saves the map first and lights the next pixel only then (the effects' order). While a board is there, an
answer counts only if the board has said that this pixel is lit; without one the walk goes on paper.
"""

from __future__ import annotations

from dataclasses import replace

from device_protocol.values import Colour
from probe.document.model import Position
from probe.document.operations import set_bookmark
from probe.mapping.answers import say, take
from probe.mapping.keys import (
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
from probe.mapping.moving import go, light, move, relit, set_count_for
from probe.mapping.place_edits import change_kind, put_at
from probe.mapping.walk_state import Moment, Walk, start
from probe.task.steps import (
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

LEVELS = (4, 8, 16, 32, 64, 128, 255)

__all__ = ["Walk", "start", "step"]


def step(walk: Walk, given: Key | News, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    """The walk after a key or some news, and what is to be done. `now_s`: seconds on any steady clock."""
    match given:
        case Typed(text):
            return replace(walk, typed=text, chosen=0, message=""), ()
        case Choose(by):
            size = len(walk.offers)
            return (replace(walk, chosen=(walk.chosen + by) % size), ()) if size else (walk, ())
        case Take():
            return take(walk, now_s)
        case Ask(entry):
            text = walk.pixel.note if entry is Entry.NOTE else ""
            return replace(walk, entry=entry, typed=text, chosen=0, message=""), ()
        case Leave():
            return replace(walk, entry=Entry.LABEL, typed="", chosen=0, message=""), ()
        case Say(answer):
            return say(walk, answer, now_s)
        case Move(by, unseen):
            return move(walk, by, unseen=unseen)
        case GoTo(number, chain):
            return go(walk, chain or walk.chain, number)
        case ChangeLevel(by):
            at = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - walk.level))
            level = LEVELS[max(0, min(len(LEVELS) - 1, at + by))]
            return relit(replace(walk, level=level, message=f"level {level} of 255"))
        case ChangeKind(by):
            return change_kind(walk, by)
        case PutAt(x_mm, y_mm):
            return put_at(walk, Position(x_mm=x_mm, y_mm=y_mm))
        case ToggleBlink():
            if walk.steady_only:
                return replace(walk, message="steady light only (settings): no blinking"), ()
            return relit(replace(walk, blinking=not walk.blinking, blink_on=True))
        case TogglePaper():
            words = "answers are taken without a board" if not walk.paper else "answers wait for the board"
            return replace(walk, paper=not walk.paper, message=words), ()
        case Undo():
            return _travel(walk, back=True)
        case Redo():
            return _travel(walk, back=False)
        case Retry():
            return replace(walk, message=""), (SaveMap(walk.map), *light(walk))
        case _:
            return _news(walk, given, now_s)


def _news(walk: Walk, news: News, now_s: float) -> tuple[Walk, tuple[Effect, ...]]:
    match news:
        case BoardHere(identity):
            walk = replace(walk, board=board_view(walk.board, news), lit=None)
            setups = tuple(
                SetUpChain(c, set_count_for(walk, c)) for c in walk.map.chains if c.output < identity.outputs
            )
            return walk, setups + light(walk)
        case BoardGone():
            bell = (RingBell(),) if walk.board.here else ()  # once, not at every attempt to find it again
            return replace(walk, board=board_view(walk.board, news), lit=None), bell
        case BoardDark():
            return relit(replace(walk, lit=None))
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
            return move(walk, times)
        case Tick():
            if not (walk.blinking and walk.board.here):
                return walk, ()
            walk = replace(walk, blink_on=not walk.blink_on)
            return walk, (light(walk) if walk.blink_on else (ShowDark(walk.here.output),))
        case _:
            return replace(walk, board=board_view(walk.board, news)), ()


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
    moved, effects = go(walk, moment.chain, moment.number)
    return replace(moved, message="undone" if back else "done again"), (SaveMap(m), *effects)
