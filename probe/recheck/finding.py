"""Which number is at this place? The person looks at one place and says its colour; four colours quarter what is left.

The search itself is `probe.recheck.engine.Locate`: ⌈log4 N⌉ looks for N numbers, numbers that are out stay dark. A board
without pictures halves with a range instead: ⌈log2 N⌉. A place that is dark though its number was kept says that an
answer was wrong, or that no pixel of this chain is there.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum, auto

from device_protocol.values import Colour
from probe.document.model import Chain, PlayfieldMap, shown_number
from probe.inference.entropy import questions_needed
from probe.recheck.colours import LOOK_COLOURS, light_of
from probe.recheck.engine import UNLIT, Locate
from probe.recheck.keys import ChangeLevel, Choose, NextChain, Quick, Retry, Say, Take, Undo
from probe.recheck.light import level_beside
from probe.recheck.state import START_LEVEL
from probe.task.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    BoardView,
    Effect,
    News,
    NotShown,
    RingBell,
    SetUpChain,
    ShowDark,
    Showing,
    Shown,
    ShowPicture,
    ShowPixel,
    ShowRange,
    board_view,
)

_Next = tuple["Finding", tuple[Effect, ...]]


class Split(Enum):
    """How a look tells candidates apart."""

    COLOURS = auto()
    RANGE = auto()
    NONE = auto()


@dataclass(frozen=True)
class Finding:
    """The whole state. `search` knows which numbers are left."""

    map: PlayfieldMap
    chain: str
    search: Locate
    chosen: int = 0
    level: int = START_LEVEL
    board: BoardView = field(default_factory=BoardView)
    lit: Showing | None = None
    message: str = ""
    past: tuple[Finding, ...] = ()

    @property
    def here(self) -> Chain:
        """The chain that is searched."""
        return self.map.chain(self.chain)

    @property
    def candidates(self) -> tuple[int, ...]:
        """The numbers that are left."""
        return self.search.candidates

    @property
    def looks(self) -> int:
        """Looks so far."""
        return self.search.looks

    @property
    def split(self) -> Split:
        """What the board can show."""
        identity = self.board.identity
        if identity is None or identity.has("paint"):
            return Split.COLOURS
        return Split.RANGE if identity.has("range") else Split.NONE

    @property
    def found(self) -> int | None:
        """The number at the place, once there is only one."""
        return self.search.found

    @property
    def answers(self) -> tuple[int, ...]:
        """Colours to choose from: those that are lit, then UNLIT."""
        if self.found is not None:
            return ()
        return (*sorted(set(self.colours().values())), UNLIT)

    @property
    def left(self) -> int:
        """Looks that are still needed at most."""
        ways = len(LOOK_COLOURS) if self.split is Split.COLOURS else 2
        return questions_needed(candidates=max(1, len(self.candidates)), answers_per_question=ways)

    def colours(self) -> dict[int, int]:
        """The colour of each number that is lit now."""
        if self.split is Split.COLOURS:
            frame = self.search.frame()
            return {number: frame[number] for number in self.candidates}
        return dict.fromkeys(self.candidates[: (len(self.candidates) + 1) // 2], 3)


def start(m: PlayfieldMap, chain: str, *, level: int = START_LEVEL) -> Finding:
    """Nothing asked yet. Raises KeyError for an unknown chain."""
    return Finding(m, chain, Locate.start(max(1, m.chain(chain).length)), level=level)


def _fresh(state: Finding) -> Finding:
    length = state.here.length
    identity = state.board.identity
    if identity is not None:
        length = min(length or identity.pixels, identity.pixels)
    return replace(state, search=Locate.start(max(1, length)), chosen=0, lit=None)


def step(state: Finding, given: object, now_s: float) -> _Next:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Choose(by):
            size = max(1, len(state.answers))
            return replace(state, chosen=max(0, min(size - 1, state.chosen + by))), ()
        case Take():
            return _answer(state, state.answers[state.chosen]) if state.answers else (state, ())
        case Say(Quick.NOTHING_LIT):
            return _answer(state, UNLIT)
        case Say(Quick.NOT_SURE):
            return _not_sure(state)
        case NextChain():
            ids = [chain.id for chain in state.map.chains]
            following = ids[(ids.index(state.chain) + 1) % len(ids)]
            dark = ShowDark(state.here.output)
            after = _fresh(replace(state, chain=following, past=(), message=""))
            return after, (dark, *_set_up(after), *_light(after))
        case ChangeLevel(by):
            level = level_beside(state.level, by)
            return _relit(replace(state, level=level, message=f"level {level} of 255"))
        case Undo():
            if not state.past:
                return replace(state, message="nothing to undo"), (RingBell(),)
            old = replace(state.past[-1], board=state.board, level=state.level, message="undone")
            return _relit(old)
        case Retry():
            return _relit(replace(state, message=""))
        case _:
            return _news(state, given)  # type: ignore[arg-type]


def _news(state: Finding, news: News) -> _Next:
    match news:
        case BoardHere():
            state = replace(state, board=board_view(state.board, news), lit=None)
            if not state.past:
                state = _fresh(state)
            return state, (*_set_up(state), *_light(state))
        case BoardGone():
            return replace(state, board=board_view(state.board, news), lit=None), (RingBell(),)
        case BoardDark():
            return _relit(state)
        case Shown(what):
            return replace(state, lit=what), ()
        case NotShown(_, why):
            return replace(state, lit=None, message=why), (RingBell(),)
        case _:
            return replace(state, board=board_view(state.board, news)), ()


def showing(state: Finding) -> Showing | None:
    """What has to be lit now; None if the board cannot show what is needed or nothing is left."""
    output = state.here.output
    white = Colour(state.level, state.level, state.level)
    if state.found is not None:
        return ShowPixel(output, state.found, white)
    if state.split is Split.NONE:
        return None
    colours = state.colours()
    if state.split is Split.RANGE:
        return ShowRange(output, min(colours), len(colours), white)
    return ShowPicture(output, light_of(state.search.frame(), state.level))


def is_lit(state: Finding) -> bool:
    """Whether the board has said that it shows what is asked about."""
    wanted = showing(state)
    return wanted is not None and state.lit == wanted


def _light(state: Finding) -> tuple[Effect, ...]:
    wanted = showing(state)
    return (wanted,) if wanted is not None and state.board.here else ()


def _relit(state: Finding) -> _Next:
    return replace(state, lit=None), _light(state)


def _set_up(state: Finding) -> tuple[Effect, ...]:
    return (SetUpChain(state.here, state.search.numbers),) if state.board.here else ()


def _refused(state: Finding) -> str:
    if state.split is Split.NONE:
        return "this board lights one pixel at a time only: step through the chain on the walk"
    if is_lit(state):
        return ""
    return "it is not lit yet: wait for it, then answer" if state.board.here else "no board, so nothing is lit"


def _answer(state: Finding, colour: int) -> _Next:
    if why := _refused(state):
        return replace(state, message=why), (RingBell(),)
    if state.found is not None:
        if colour != UNLIT:
            return state, ()
        again = _fresh(replace(state, past=(*state.past, state)))
        return replace(again, message="then an answer was wrong: once more from the start"), _light(again)
    after = replace(state, search=_narrowed(state, colour), chosen=0, message="", past=(*state.past, state))
    if not after.search.lost:
        return _relit(after)
    words = "then an answer was wrong: once more from the start"
    if state.looks == 0:
        words = f"no pixel of {state.here.name} is there, or it gives no light"
    return _relit(replace(_fresh(after), message=words))


def _narrowed(state: Finding, colour: int) -> Locate:
    if state.split is Split.COLOURS:
        return state.search.answered(colour)
    lit = state.colours()
    kept = tuple(n for n in state.candidates if (n in lit) == (colour != UNLIT))
    return replace(state.search, candidates=kept, looks=state.looks + 1)


def _not_sure(state: Finding) -> _Next:
    """The same question with the colours handed on by one; a range is asked again as it is."""
    if why := _refused(state):
        return replace(state, message=why), (RingBell(),)
    turned = replace(state, search=state.search.answered(None), past=(*state.past, state))
    return _relit(replace(turned, message="once more, in other colours" if state.split is Split.COLOURS else "again"))


def found_words(state: Finding) -> str:
    """What is known of the number that was found."""
    if state.found is None:
        return ""
    pixels = state.here.pixels
    pixel = pixels[state.found] if state.found < len(pixels) else None
    place = state.map.place_of(pixel) if pixel is not None else None
    known = f"the map says {place.label}" if place is not None else "the map has no place for it"
    if pixel is not None and place is None and pixel.state.value != "unseen":
        known = f"the map says {pixel.state.value}"
    return f"pixel {shown_number(state.found)} of {state.here.name}; {known}"
