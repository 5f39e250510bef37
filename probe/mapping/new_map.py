"""Setting up a new map: the machine's name, then for each output of the board its chain, byte order and count.

A task like the walk. Every question is a short list of choices or one entry line. The document has no map until the first
chain is set up: until then the map being made is the state's own draft.

What the person need not know is found by two searches (`searches.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum, auto

from device_protocol.values import Colour
from probe.document.model import MAX_PIXELS, MAX_TEXT, Chain, Lamp, PlayfieldMap
from probe.document.operations import add_chain, free_output, grown, new_map, set_lamps, slug
from probe.document.plural import many
from probe.frozen import frozen
from probe.mapping.searches import SPAN, STRETCH, CountSearch, OrderSearch, SeenColour, colour_of
from probe.playfield.field import shapes_of
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means, rows_by_digit
from probe.task.light import Dark, Light, OutputSetup, Pixels, lights_something
from probe.task.screen import PickPort
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, Pane, PictureView, TaskView

ASKING_LEVEL = 16
USUAL_ORDER = "GRB"
"""The byte order of most chips of this kind (common practice, no source)."""
DEFAULT_CEILING_MA = 450
LONGEST_NAME = MAX_TEXT


# -- the task ---------------------------------------------------------------------------------------------------------


class SetupStage(Enum):
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


ENTRY_STAGES = frozenset({SetupStage.MACHINE, SetupStage.COUNT_ENTRY, SetupStage.NAME, SetupStage.CEILING})


@frozen
class Again:
    """Ask this output's questions again from the first."""


@frozen
class GoOnOnPaper:
    """Go on without a board: name and count only."""


def _has_rows(s: Setting) -> bool:
    return bool(s.choices)


def _asks(s: Setting) -> bool:
    return s.stage not in (SetupStage.BOARD, SetupStage.DONE)


def _asks_yes_or_no(s: Setting) -> bool:
    return s.stage in (SetupStage.CHAIN, SetupStage.COUNT_SEARCH)


def _can_go_on_paper(s: Setting) -> bool:
    return not s.paper and s.draft is not None and s.stage not in ENTRY_STAGES


COMMANDS = (
    Command("setup.take", Means.DO, "Take", ev.Take(), shown=_asks),
    Command("setup.choose.1", Means.DOWN, "Next answer", ev.Choose(1)),
    Command("setup.choose.-1", Means.UP, "Answer before", ev.Choose(-1)),
    Command(
        "setup.no",
        Means.NO,
        "No, nothing lights",
        ev.TakeRow(1),
        shown=True,
        when=_asks_yes_or_no,
        letter="n",
        short="No",
    ),
    Command("setup.again", Means.NOT_SURE, "This output again", Again(), shown=_has_rows, short="Show again"),
    Command("setup.retry", Means.AGAIN, "Save and light again", ev.Retry()),
    Command("setup.port", Means.NEXT_KIND, "Another port", PickPort(), shown=True),
    Command("setup.paper", Means.BY_LETTER, "On paper", GoOnOnPaper(), when=_can_go_on_paper, letter="p"),
    Command("setup.yes", Means.BY_LETTER, "Yes, something lights", ev.TakeRow(0), when=_asks_yes_or_no, letter="y"),
    *rows_by_digit("setup", 7, when=_has_rows),
    Command("setup.leave", Means.BACK, "Question before", ev.Leave(), shown=True, short="Back"),
)


@frozen
class SetupFacts:
    """What the set-up is opened with: lamps of the machine, and the facts that the walk is opened with afterwards.

    `paper_walk`: those for a walk on paper.
    """

    lamps: tuple[Lamp, ...] = ()
    walk: object = None
    paper_walk: object = None


@dataclass(frozen=True, kw_only=True)
class Setting(TaskState):
    """State of the set-up. `draft` is the map as far as it is made; None until the machine has a name.

    `like_last`: byte order and ceiling are those of the chain before. `before`: the question before this one, as it stood.
    `had`: the chains that there were, where it sets up another one, over the walk; None for a new map.
    """

    map: PlayfieldMap = field(default_factory=lambda: new_map("A new map"))
    draft: PlayfieldMap | None = None
    had: tuple[str, ...] | None = None
    stage: SetupStage = SetupStage.MACHINE
    typed: str = ""
    chosen: int = 0
    output: int = 0
    order: OrderSearch = field(default_factory=OrderSearch)
    count: CountSearch | None = None
    found_order: str = USUAL_ORDER
    found_count: int | None = None
    name: str = ""
    paper: bool = False
    like_last: bool = False
    before: Setting | None = field(default=None, repr=False, compare=False)
    facts: SetupFacts = field(default_factory=SetupFacts)

    @property
    def question(self) -> str:
        """What is asked, in one or two sentences."""
        where = f"Output {self.output}"
        match self.stage:
            case SetupStage.MACHINE:
                return "Which machine is this? Type its name."
            case SetupStage.BOARD:
                return "Waiting for a board: plug it in, and this goes on by itself. F6: another port. P: on paper."
            case SetupStage.CHAIN:
                return f"{where}: the first pixels are lit dimly. Does anything light?"
            case SetupStage.ORDER:
                turn = len(self.order.answers) + 1
                return f"{where}: the first {STRETCH} pixels show test colour {turn}. Which colour do you see? Look at several places, or under clear plastic."
            case SetupStage.COUNT:
                return f"{where}: do you know how many pixels this chain has?"
            case SetupStage.COUNT_ENTRY:
                return f"{where}: type the number of pixels."
            case SetupStage.COUNT_SEARCH if self.count is not None:
                last = self.count.first + self.count.lit - 1
                return f"{where}: only pixels {self.count.first} to {last} are lit. Does anything light?"
            case SetupStage.NAME:
                return f"{where}: {many(self.found_count, 'pixel') if self.found_count else 'unknown number of pixels'}, colours in the order {self.found_order}. Its name?"
            case SetupStage.CEILING:
                return f"{where}: how many mA may this chain draw at most? (The board allows {self._board_ceiling} mA.)"
            case _:
                return "The map is set up."

    @property
    def choices(self) -> tuple[str, ...]:
        """Answers to choose from; empty where the entry line is used or nothing can be answered."""
        match self.stage:
            case SetupStage.CHAIN if self.last_chain is not None:
                last = self.last_chain
                same = f"Yes, and its pixels are like those of {last.name}: {last.order}, {last.ceiling_ma} mA"
                return ("Yes, something lights", "No, nothing lights", same)
            case SetupStage.CHAIN | SetupStage.COUNT_SEARCH:
                return ("Yes, something lights", "No, nothing lights")
            case SetupStage.ORDER:
                return (*(seen.value.capitalize() for seen in SeenColour), f"Not sure: take {USUAL_ORDER}")
            case SetupStage.COUNT:
                return ("Yes: I type the number", "No: find it now", "Leave it open: I walk until nothing lights")
            case _:
                return ()

    @property
    def last_chain(self) -> Chain | None:
        """The chain that was set up before this one."""
        return self.draft.chains[-1] if self.draft is not None and self.draft.chains else None

    @property
    def suggestion(self) -> str:
        """What the entry line holds to begin with."""
        match self.stage:
            case SetupStage.NAME:
                return ("Playfield", "Backbox")[self.output] if self.output < 2 else f"Chain {self.output + 1}"
            case SetupStage.CEILING:
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
            order=self.order.sent if self.stage is SetupStage.ORDER else self.found_order,
            ceiling_ma=max(1, self._board_ceiling),
        )

    @property
    def light(self) -> Light:
        """What the question is about, dimly; dark between questions."""
        identity = self.board.identity
        if identity is None:
            return Dark()
        dim = Colour(ASKING_LEVEL, ASKING_LEVEL, ASKING_LEVEL)
        match self.stage:
            case SetupStage.CHAIN:
                first, count, colour = 0, min(SPAN, identity.pixels), dim
            case SetupStage.ORDER:
                first, count, colour = 0, min(STRETCH, identity.pixels), colour_of(self.order.shown)
            case SetupStage.COUNT_SEARCH if self.count is not None:
                first, count, colour = self.count.first, self.count.lit, dim
            case _:
                return Dark()
        if not identity.has("range"):
            count = 1
        setup = OutputSetup.of(self.chain, count=first + count)
        return Pixels.run(self.output, first, count, colour, setup=setup)

    @property
    def is_lit(self) -> bool:
        """Whether the board has confirmed what the question is about."""
        return self.board.here and self.board.lit == self.light


_N = Next[Setting]


class SetupTask(Task[Setting]):
    """Ask for machine, chains, byte order and count."""

    name = "setup"
    commands = COMMANDS

    def step(self, s: Setting, event: object, now_s: float) -> _N | None:
        """The state after an answer, and what is to be done."""
        found = self._step(s, event)
        if found is None:
            return None
        after, effects = found
        answered = isinstance(event, ev.Take | ev.TakeRow | GoOnOnPaper) and _question(after) != _question(s)
        if answered:
            after = replace(after, before=s)
        elif after.before is None and not isinstance(event, ev.Leave):
            after = replace(after, before=s.before)
        return after, effects

    def _step(self, s: Setting, event: object) -> _N | None:
        match event:
            case ev.Typed(text):
                return replace(s, typed=text, message=""), ()
            case ev.Choose(by):
                size = len(s.choices)
                return (replace(s, chosen=(s.chosen + by) % size), ()) if size else (s, ())
            case ev.Take():
                return _entered(s, s.typed.strip()) if s.stage in ENTRY_STAGES else _picked(s, s.chosen)
            case ev.TakeRow(row):
                return _picked(s, row)
            case ev.Leave() if s.stage in ENTRY_STAGES and s.typed:
                return replace(s, typed="", message=""), ()
            case ev.Leave() if s.before is not None and s.stage is not SetupStage.DONE:
                return _question_before(s, s.before)
            case GoOnOnPaper() if _can_go_on_paper(s):
                return replace(s, paper=True, stage=SetupStage.COUNT_ENTRY, typed="", chosen=0, message=""), ()
            case Again():
                return (s, ()) if s.draft is None or s.stage is SetupStage.DONE else _open_output(s, s.output)
            case ev.BoardChanged():
                return _board(s)
            case ev.MapChanged(words):
                return _map_changed(s, words)
            case _:
                return None

    def light(self, s: Setting) -> Light:
        """What the question is about."""
        return s.light

    def view(self, s: Setting) -> TaskView:
        """The question with its answers, or a line to type in."""
        board = s.board.words
        if s.choices and lights_something(s.light):
            board += "   ● lit" if s.is_lit else "   ○ not lit yet"
        entry = s.stage in ENTRY_STAGES
        unit = " mA" if s.stage is SetupStage.CEILING else ""
        hint = f"Enter alone takes: {s.suggestion}{unit}" if entry and s.suggestion else ""
        return TaskView(
            head=f"{s.draft.machine.name} · Set-up" if s.draft is not None else "A new map",
            board=board,
            above=(Line(""), Line(s.question, "bold", wrap=True)),
            typed=s.typed if entry else None,
            items=tuple(Line(f"{_letter(s, n)}  {words}") for n, words in enumerate(s.choices)),
            chosen=s.chosen,
            empty=(Line(hint, "dim"),) if hint else (),
            details=_so_far(s),
            panes=lambda rows: (Pane("Why this is asked", _why(s)), Pane("What comes", _what_comes(s))),
            picture=PictureView(roomy=True, shapes=shapes_of(s.draft or s.map)),
            message=s.message or s.board.refused,
            unsaved=s.unsaved,
        )


def _letter(s: Setting, row: int) -> str:
    """What stands beside a row, and takes it."""
    return "YN"[row] if _asks_yes_or_no(s) and row < 2 else str(row + 1)


_WHY = {
    SetupStage.MACHINE: "The name stands in the map, on the sheet for the cabinet and on every screen.",
    SetupStage.BOARD: "The board says how many outputs it has and what they can do. A map can be begun without it, from paper.",
    SetupStage.CHAIN: "An output may have no chain, or one without power. Only its first pixels are lit, and dimly.",
    SetupStage.ORDER: "Parts differ in the order in which they take their colours. Two or three colours seen are enough to know it,"
    " and then red is red.",
    SetupStage.COUNT: "The walk goes from the first pixel to the last. Too small a count is noticed at its end, and can be"
    " changed at any time.",
    SetupStage.COUNT_ENTRY: "The walk goes from the first pixel to the last. Too small a count is noticed at its end, and can be"
    " changed at any time.",
    SetupStage.COUNT_SEARCH: "Each answer halves what the number of pixels may be. Look for any light, in the backbox too.",
    SetupStage.NAME: "The chain is called so on every screen: by where it runs, such as Playfield or Backbox.",
    SetupStage.CEILING: "The board dims whatever would draw more, so that neither supply nor wire is asked for too much. For one"
    " pixel at a time the usual is plenty; a fuse is needed all the same.",
}
_STEPS = (
    ("machine", (SetupStage.MACHINE,)),
    ("board", (SetupStage.BOARD,)),
    ("does anything light?", (SetupStage.CHAIN,)),
    ("order of colours", (SetupStage.ORDER,)),
    ("number of pixels", (SetupStage.COUNT, SetupStage.COUNT_ENTRY, SetupStage.COUNT_SEARCH)),
    ("name of the chain", (SetupStage.NAME,)),
    ("most current", (SetupStage.CEILING,)),
)


def _why(s: Setting) -> tuple[Line, ...]:
    return (Line(_WHY.get(s.stage, ""), wrap=True),)


def _what_comes(s: Setting) -> tuple[Line, ...]:
    """The questions in their order, this one marked; then what they lead to."""
    at = next((n for n, (_, stages) in enumerate(_STEPS) if s.stage in stages), len(_STEPS))
    lines = [
        Line(f"{'▸' if n == at else ' '} {words}", "bold" if n == at else "dim" if n < at else "")
        for n, (words, _) in enumerate(_STEPS)
    ]
    outputs = s.board.identity.outputs if s.board.identity is not None else 1
    again = (
        (Line(f"  the same for output {s.output + 1}" + (f" to {outputs - 1}" if s.output + 2 < outputs else "")),)
        if s.output + 1 < outputs
        else ()
    )
    return (*lines, *again, Line("  then the walk"))


def _so_far(s: Setting) -> tuple[Line, ...]:
    """What was answered up to here."""
    if s.draft is None:
        return ()
    chains = [
        f"Output {chain.output}: {chain.name}, {many(chain.count, 'pixel') if chain.count is not None else 'count open'}, {chain.order}"
        for chain in s.draft.chains
    ]
    here = _of_this_output(s)
    lines = (f"Machine: {s.draft.machine.name}", *chains, *((f"Output {s.output}: {here}",) if here else ()))
    return (Line("Answered so far", "dim"), *(Line(line) for line in lines))


def _of_this_output(s: Setting) -> str:
    """What is known of the output that is asked about."""
    seen = [f"test colour {n}: {seen.value}" for n, (_, _, seen) in enumerate(s.order.answers, start=1)]
    known = {
        SetupStage.ORDER: ["something lights", *seen],
        SetupStage.COUNT: [s.found_order],
        SetupStage.COUNT_ENTRY: [] if s.paper else [s.found_order],
        SetupStage.COUNT_SEARCH: [s.found_order],
        SetupStage.CEILING: [s.name, many(s.found_count, "pixel") if s.found_count else "count open", s.found_order],
    }
    return ", ".join(known.get(s.stage, []))


def _question(s: Setting) -> tuple[object, ...]:
    """What tells one question from another."""
    return (s.stage, s.output, s.order, s.count, s.paper)


def _question_before(s: Setting, before: Setting) -> _N:
    """The question before this one, with its answer open again. A chain that was kept stays until it is answered otherwise."""
    return replace(before, map=s.map, board=s.board, unsaved=s.unsaved, message=""), ()


def make(opened: Opened) -> tuple[SetupTask, Setting]:
    """The set-up of a new map, of one that has no chain yet, or of another chain: then without facts, over the walk."""
    facts = opened.facts if isinstance(opened.facts, SetupFacts) else SetupFacts()
    if opened.map is None:
        return SetupTask(), Setting(paper=opened.paper, facts=facts)
    had = None if isinstance(opened.facts, SetupFacts) else tuple(opened.map.chain_by_id)
    stage = SetupStage.COUNT_ENTRY if opened.paper else SetupStage.BOARD
    kept = {"map": opened.map, "draft": opened.map, "paper": opened.paper, "facts": facts, "had": had}
    return SetupTask(), Setting(stage=stage, output=free_output(opened.map), **kept)  # type: ignore[arg-type]


def _board(s: Setting) -> _N:
    """The board came, or shows something else."""
    if s.board.here and s.stage is SetupStage.BOARD:
        return _open_output(replace(s, message=""), 0)
    return s, ()


def _map_changed(s: Setting, words: str) -> _N:
    """A chain was taken back, or set up again: on from there."""
    if s.stage is SetupStage.DONE:
        return replace(s, message=words), ()
    if s.draft is not None and [c.id for c in s.draft.chains] == [c.id for c in s.map.chains]:
        return replace(s, draft=s.map, message=words), ()
    s = replace(s, draft=s.map, message=words)
    if s.paper:
        return replace(s, stage=SetupStage.COUNT_ENTRY, typed="", chosen=0), ()
    return _open_output(s, 0)


def _entered(s: Setting, text: str) -> _N:
    match s.stage:
        case SetupStage.MACHINE:
            if not text or len(text) > LONGEST_NAME:
                return replace(s, message=f"type a name of 1 to {LONGEST_NAME:,} characters"), (fx.Bell(),)
            draft = set_lamps(new_map(text), s.facts.lamps)
            named = replace(s, draft=draft, stage=SetupStage.BOARD, typed="", message="")
            if named.paper:
                return replace(named, stage=SetupStage.COUNT_ENTRY), ()
            return _open_output(named, 0) if named.board.here else (named, ())
        case SetupStage.COUNT_ENTRY:
            limit = s.board.identity.pixels if s.board.identity else MAX_PIXELS
            if not text.isdecimal() or not 1 <= int(text[:9]) <= limit:
                return replace(s, message=f"type a number from 1 to {limit:,}"), (fx.Bell(),)
            return replace(s, found_count=int(text), stage=SetupStage.NAME, typed="", message=""), ()
        case SetupStage.NAME:
            name = text or s.suggestion
            if len(name) > LONGEST_NAME:
                return replace(s, message=f"this name is too long: {LONGEST_NAME:,} characters at most"), (fx.Bell(),)
            s = replace(s, name=name, typed="", message="")
            if s.like_last and s.last_chain is not None:
                return _keep_chain(s, min(s.last_chain.ceiling_ma, s._board_ceiling))
            return replace(s, stage=SetupStage.CEILING), ()
        case SetupStage.CEILING:
            top = s._board_ceiling
            text = text or s.suggestion
            if not text.isdecimal() or not 1 <= int(text[:9]) <= top:
                return replace(s, message=f"type a current from 1 to {top} mA: the board refuses more"), (fx.Bell(),)
            return _keep_chain(s, int(text))
        case _:
            return s, ()


def _picked(s: Setting, index: int) -> _N:
    if not 0 <= index < len(s.choices):
        return s, ()
    if not s.is_lit and s.stage is not SetupStage.COUNT:
        return replace(s, message="wait: the board has not lit it yet"), (fx.Bell(),)
    s = replace(s, chosen=0, message="")
    match s.stage:
        case SetupStage.CHAIN:
            if index == 1:
                return _open_output(s, s.output + 1)
            identity = s.board.identity
            if index == 2 and s.last_chain is not None:
                return replace(s, like_last=True, found_order=s.last_chain.order, stage=SetupStage.COUNT), ()
            after = SetupStage.ORDER if identity is not None and identity.has("setup") else SetupStage.COUNT
            return replace(s, stage=after), ()
        case SetupStage.ORDER if index == len(SeenColour):
            return replace(s, found_order=USUAL_ORDER, stage=SetupStage.COUNT), ()
        case SetupStage.ORDER:
            search = s.order.answered(tuple(SeenColour)[index])
            words = "No order of colours gives these answers: asked again from the first" if search.contradicted else ""
            s = replace(s, order=search, message=words)
            if search.found is not None:
                return replace(s, found_order=search.found, stage=SetupStage.COUNT), ()
            return s, ()
        case SetupStage.COUNT:
            return _count_picked(s, index)
        case SetupStage.COUNT_SEARCH if s.count is not None:
            search_count = s.count.answered(something_lit=index == 0)
            s = replace(s, count=search_count)
            if search_count.count is not None:
                return replace(s, found_count=search_count.count, stage=SetupStage.NAME), ()
            return s, ()
        case _:
            return s, ()


def _count_picked(s: Setting, index: int) -> _N:
    identity = s.board.identity
    if index == 0:
        return replace(s, stage=SetupStage.COUNT_ENTRY), ()
    if index == 1 and identity is not None:
        span = SPAN if identity.has("range") else 1
        search = CountSearch(limit=identity.pixels, span=span)
        return replace(s, stage=SetupStage.COUNT_SEARCH, count=search), ()
    return replace(s, found_count=None, stage=SetupStage.NAME), ()


def _open_output(s: Setting, output: int) -> _N:
    """Ask about the next output, from `output` on, that has no chain yet."""
    identity = s.board.identity
    if identity is None:
        return replace(s, stage=SetupStage.BOARD), ()
    output = free_output(s.draft, output) if s.draft is not None else output
    if output >= identity.outputs:
        if s.draft is not None and not s.draft.chains:
            again = replace(s, message="nothing lights on any output: check power and wiring, then answer again")
            return _open_output(again, 0) if output else (again, ())
        return _to_walk(s, s.facts.walk)
    kept = {"had": s.had, "map": s.map, "draft": s.draft, "board": s.board, "unsaved": s.unsaved, "message": s.message}
    return Setting(stage=SetupStage.CHAIN, output=output, paper=s.paper, facts=s.facts, **kept), ()  # type: ignore[arg-type]


def _to_walk(s: Setting, walk: object) -> _N:
    """To the walk: the one below, at the chain that was set up last; else a new one."""
    done = replace(s, stage=SetupStage.DONE)
    if s.had is None:
        return done, (fx.Instead("walk", walk),)
    new = s.last_chain if s.last_chain is not None and s.last_chain.id not in s.had else None
    return done, (fx.Close((new.id, 0) if new is not None else None),)


def _keep_chain(s: Setting, ceiling_ma: int) -> _N:
    if s.draft is None:
        return s, ()
    chain = s.chain.model_copy(
        update={
            "id": slug(s.name, s.draft.chain_by_id, fallback="chain"),
            "name": s.name,
            "ceiling_ma": ceiling_ma,
        }
    )
    draft = add_chain(s.draft, grown(chain, chain.count or 0))
    commit = fx.Commit(draft, f"{s.name}: set up")
    if s.paper:
        s, effects = _to_walk(replace(s, draft=draft), s.facts.paper_walk or s.facts.walk)
        return s, (commit, *effects)
    s, effects = _open_output(replace(s, draft=draft), s.output + 1)
    return s, (commit, *effects)
