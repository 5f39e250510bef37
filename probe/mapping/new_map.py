"""Setting up a new map: the machine's name, then for each output of the board its chain, byte order and count.

A frozen state and a pure step, like the walk. Every question is a short list of choices or one entry line.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum, auto

from device_protocol.values import Colour
from probe.document.model import MAX_PIXELS, MAX_TEXT, Chain, Lamp, PlayfieldMap
from probe.document.operations import add_chain, grown, new_map, set_lamps, slug
from probe.mapping.colour_order import STRETCH, OrderSearch, Seen, colour_of
from probe.mapping.count_search import SPAN, CountSearch
from probe.task.steps import (
    BoardGone,
    BoardHere,
    BoardView,
    Effect,
    News,
    NotSaved,
    NotShown,
    RingBell,
    SaveMap,
    SetUpChain,
    ShowDark,
    Shown,
    ShowRange,
    board_view,
)

ASKING_LEVEL = 16
USUAL_ORDER = "GRB"
"""The byte order of most chips of this kind (common practice, no source)."""
DEFAULT_CEILING_MA = 450
LONGEST_NAME = MAX_TEXT


class Stage(Enum):
    """Which question is asked."""

    MACHINE = auto()
    BOARD = auto()
    CHAIN = auto()
    ORDER = auto()
    COUNT = auto()
    COUNT_ENTRY = auto()
    COUNT_SEARCH = auto()
    NAME = auto()
    CEILING = auto()
    DONE = auto()


ENTRY_STAGES = frozenset({Stage.MACHINE, Stage.COUNT_ENTRY, Stage.NAME, Stage.CEILING})


@dataclass(frozen=True)
class Pick:
    """Choose one of `choices`."""

    index: int


@dataclass(frozen=True)
class Enter:
    """Enter, with the entry line's text."""

    text: str


@dataclass(frozen=True)
class Back:
    """Ask this output's questions again from the first."""


Key = Pick | Enter | Back


@dataclass(frozen=True)
class Setting:
    """State of the set-up. `lit` says whether the board has confirmed what the question is about."""

    stage: Stage = Stage.MACHINE
    map: PlayfieldMap | None = None
    board: BoardView = field(default_factory=BoardView)
    output: int = 0
    order: OrderSearch = field(default_factory=OrderSearch)
    count: CountSearch | None = None
    found_order: str = USUAL_ORDER
    found_count: int | None = None
    name: str = ""
    lit: bool = False
    message: str = ""
    paper: bool = False
    lamps: tuple[Lamp, ...] = ()

    @property
    def question(self) -> str:
        """What is asked, in one or two sentences."""
        where = f"Output {self.output}"
        match self.stage:
            case Stage.MACHINE:
                return "Which machine is this? Type its name."
            case Stage.BOARD:
                return "No board yet. This goes on as soon as one answers."
            case Stage.CHAIN:
                return f"{where}: the first pixels are lit dimly. Does anything light?"
            case Stage.ORDER:
                turn = len(self.order.answers) + 1
                return f"{where}: the first {STRETCH} pixels show test colour {turn}. Which colour do you see?"
            case Stage.COUNT:
                return f"{where}: how many pixels has this chain?"
            case Stage.COUNT_ENTRY:
                return f"{where}: type the number of pixels."
            case Stage.COUNT_SEARCH if self.count is not None:
                last = self.count.first + self.count.lit - 1
                return f"{where}: only pixels {self.count.first} to {last} are lit. Does anything light?"
            case Stage.NAME:
                return f"{where}: {self.found_count or 'unknown number of'} pixels, byte order {self.found_order}. Its name?"
            case Stage.CEILING:
                return f"{where}: how many mA may this chain draw at most? (The board allows {self._board_ceiling} mA.)"
            case _:
                return "The map is set up."

    @property
    def choices(self) -> tuple[str, ...]:
        """Answers to choose from; empty where the entry line is used or nothing can be said."""
        match self.stage:
            case Stage.CHAIN | Stage.COUNT_SEARCH:
                return ("Yes, something lights", "No, nothing lights")
            case Stage.ORDER:
                return (*(seen.value.capitalize() for seen in Seen), f"Not sure: take {USUAL_ORDER}")
            case Stage.COUNT:
                return ("I know it", "Find it now", "Leave it open: I walk until nothing lights")
            case _:
                return ()

    @property
    def suggestion(self) -> str:
        """What the entry line holds to begin with."""
        match self.stage:
            case Stage.NAME:
                return ("Playfield", "Backbox")[self.output] if self.output < 2 else f"Chain {self.output + 1}"
            case Stage.CEILING:
                return str(min(DEFAULT_CEILING_MA, self._board_ceiling))
            case _:
                return ""

    @property
    def _board_ceiling(self) -> int:
        return self.board.identity.ceiling_ma if self.board.identity else DEFAULT_CEILING_MA

    @property
    def chain(self) -> Chain:
        """The chain as far as it is known."""
        return Chain(
            id=f"chain-{self.output}",
            name=self.name or f"Output {self.output}",
            output=self.output,
            count=self.found_count,
            order=self.order.sent if self.stage is Stage.ORDER else self.found_order,
            ceiling_ma=max(1, self._board_ceiling),
        )


def step(state: Setting, given: Key | News, now_s: float) -> tuple[Setting, tuple[Effect, ...]]:
    """The state after an answer or some news, and what is to be done."""
    del now_s
    match given:
        case Enter(text):
            return _entered(state, text.strip())
        case Pick(index):
            return _picked(state, index)
        case Back():
            if state.map is None or state.stage is Stage.DONE:
                return state, ()
            return _open_output(state, state.output)
        case BoardHere():
            known = replace(state, board=board_view(state.board, given), message="", lit=False)
            return _ask(known) if known.stage is not Stage.BOARD else _open_output(known, 0)
        case BoardGone(why):
            return replace(state, board=board_view(state.board, given), lit=False, message=why), (RingBell(),)
        case Shown(what):
            return replace(state, lit=not isinstance(what, ShowDark)), ()
        case NotShown(_, why) | NotSaved(why):
            return replace(state, lit=False, message=why), (RingBell(),)
        case _:
            return replace(state, board=board_view(state.board, given)), ()


def _entered(state: Setting, text: str) -> tuple[Setting, tuple[Effect, ...]]:
    match state.stage:
        case Stage.MACHINE:
            if not text or len(text) > LONGEST_NAME:
                return replace(state, message=f"type a name of 1 to {LONGEST_NAME:,} characters"), (RingBell(),)
            named = replace(state, map=set_lamps(new_map(text), state.lamps), stage=Stage.BOARD, message="")
            if named.paper:
                return replace(named, stage=Stage.COUNT_ENTRY), ()
            return _open_output(named, 0) if named.board.here else (named, ())
        case Stage.COUNT_ENTRY:
            limit = state.board.identity.pixels if state.board.identity else MAX_PIXELS
            if not text.isdecimal() or not 1 <= int(text[:9]) <= limit:
                return replace(state, message=f"type a number from 1 to {limit}"), (RingBell(),)
            return replace(state, found_count=int(text), stage=Stage.NAME, message=""), (ShowDark(state.output),)
        case Stage.NAME:
            name = text or state.suggestion
            if len(name) > LONGEST_NAME:
                return replace(state, message=f"this name is too long: {LONGEST_NAME:,} characters at most"), (
                    RingBell(),
                )
            return replace(state, name=name, stage=Stage.CEILING, message=""), ()
        case Stage.CEILING:
            top = state._board_ceiling
            text = text or state.suggestion
            if not text.isdecimal() or not 1 <= int(text[:9]) <= top:
                return replace(state, message=f"type a current from 1 to {top} mA: the board refuses more"), (
                    RingBell(),
                )
            return _keep_chain(state, int(text))
        case _:
            return state, ()


def _picked(state: Setting, index: int) -> tuple[Setting, tuple[Effect, ...]]:
    if not 0 <= index < len(state.choices):
        return state, ()
    if not state.lit and state.stage is not Stage.COUNT:
        return replace(state, message="wait: the board has not lit it yet"), (RingBell(),)
    state = replace(state, message="")
    match state.stage:
        case Stage.CHAIN:
            if index == 1:
                return _open_output(state, state.output + 1)
            identity = state.board.identity
            after = Stage.ORDER if identity is not None and identity.has("setup") else Stage.COUNT
            return _ask(replace(state, stage=after))
        case Stage.ORDER if index == len(Seen):
            return _ask(replace(state, found_order=USUAL_ORDER, stage=Stage.COUNT))
        case Stage.ORDER:
            search = state.order.answered(tuple(Seen)[index])
            words = "these answers fit no byte order: once more from the start" if search.contradicted else ""
            state = replace(state, order=search, message=words)
            if search.found is not None:
                return _ask(replace(state, found_order=search.found, stage=Stage.COUNT))
            return _ask(state)
        case Stage.COUNT:
            return _count_picked(state, index)
        case Stage.COUNT_SEARCH if state.count is not None:
            search_count = state.count.answered(something_lit=index == 0)
            state = replace(state, count=search_count)
            if search_count.count is not None:
                done = replace(state, found_count=search_count.count, stage=Stage.NAME)
                return done, (ShowDark(state.output),)
            return _ask(state)
        case _:
            return state, ()


def _count_picked(state: Setting, index: int) -> tuple[Setting, tuple[Effect, ...]]:
    identity = state.board.identity
    if index == 0:
        return replace(state, stage=Stage.COUNT_ENTRY), ()
    if index == 1 and identity is not None:
        span = SPAN if identity.has("range") else 1
        search = CountSearch(limit=identity.pixels, span=span)
        return _ask(replace(state, stage=Stage.COUNT_SEARCH, count=search))
    return replace(state, found_count=None, stage=Stage.NAME), (ShowDark(state.output),)


def _open_output(state: Setting, output: int) -> tuple[Setting, tuple[Effect, ...]]:
    identity = state.board.identity
    if identity is None:
        return replace(state, stage=Stage.BOARD), ()
    if output >= identity.outputs:
        if state.map is not None and not state.map.chains:
            again = replace(state, message="nothing lights on any output: check power and wiring, then answer again")
            return _open_output(again, 0) if output else (again, ())
        return replace(state, stage=Stage.DONE, lit=False), (ShowDark(),)
    fresh = Setting(Stage.CHAIN, state.map, state.board, output, message=state.message)
    return _ask(fresh)


def _ask(state: Setting) -> tuple[Setting, tuple[Effect, ...]]:
    """Set the output up as the question needs it, and light what it is about."""
    identity = state.board.identity
    if identity is None:
        return state, ()
    dim = Colour(ASKING_LEVEL, ASKING_LEVEL, ASKING_LEVEL)
    match state.stage:
        case Stage.CHAIN:
            first, count, colour = 0, min(SPAN, identity.pixels), dim
        case Stage.ORDER:
            first, count, colour = 0, min(STRETCH, identity.pixels), colour_of(state.order.shown)
        case Stage.COUNT_SEARCH if state.count is not None:
            first, count, colour = state.count.first, state.count.lit, dim
        case _:
            return state, ()
    wanted = replace(state, lit=False)
    if not identity.has("range"):
        count = 1
    setup = (SetUpChain(state.chain, first + count),) if identity.has("setup") else ()
    return wanted, (*setup, ShowRange(state.output, first, count, colour))


def _keep_chain(state: Setting, ceiling_ma: int) -> tuple[Setting, tuple[Effect, ...]]:
    if state.map is None:
        return state, ()
    chain = state.chain.model_copy(
        update={
            "id": slug(state.name, state.map.chain_by_id, fallback="chain"),
            "name": state.name,
            "ceiling_ma": ceiling_ma,
        }
    )
    m = add_chain(state.map, grown(chain, chain.count or 0))
    if state.paper:
        return replace(state, map=m, stage=Stage.DONE), (SaveMap(m),)
    state, effects = _open_output(replace(state, map=m), state.output + 1)
    return state, (SaveMap(m), *effects)
