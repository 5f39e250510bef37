"""What a recheck needs to be lit for its question, and whether the board has said that it is."""

from __future__ import annotations

from dataclasses import replace

from device_protocol.values import Colour
from probe.recheck.colours import light_of
from probe.recheck.engine.model import Look, Probe
from probe.recheck.state import Rechecking, Stage
from probe.task.steps import Effect, SetUpChain, ShowDark, Showing, ShowPicture, ShowPixel

LEVELS = (4, 8, 16, 24, 32, 64, 128, 255)
ASKING = frozenset({Stage.LOOK, Stage.COLOUR, Stage.PROBE})


def wanted(state: Rechecking) -> Showing | None:
    """What the question needs to be lit; None if nothing."""
    if state.stage not in ASKING:
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
    showing = wanted(state)
    return showing is not None and state.lit == showing


def level_beside(level: int, by: int) -> int:
    """So many steps brighter, or dimmer, than the step nearest to a level; of 255."""
    at = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - level))
    return LEVELS[max(0, min(len(LEVELS) - 1, at + by))]


def show(state: Rechecking) -> tuple[Effect, ...]:
    """Light what is asked about, or make the output dark; nothing without a board."""
    if not state.board.here:
        return ()
    return (wanted(state) or ShowDark(state.here.output),)


def lit_again(state: Rechecking) -> tuple[Rechecking, tuple[Effect, ...]]:
    """Light it, whatever the board showed before."""
    return replace(state, lit=None), show(state)


def set_up(state: Rechecking) -> tuple[Effect, ...]:
    """The board is told of enough pixels to reach every number that may be asked about."""
    if state.board.identity is None:
        return ()
    reach = state.here.length
    if state.now is not None:
        reach = max(reach, state.now.engine.evidence.numbers)
    return (SetUpChain(state.here, min(reach, state.board.identity.pixels)),)
