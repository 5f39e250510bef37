"""The state of a fault search, and the answers it offers."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum

from device_protocol.orders import Identity
from device_protocol.values import Colour
from probe.document.model import Chain, PlayfieldMap
from probe.faults.byte_order import Candidate, ColourLook, separating_drive
from probe.faults.context import TEXTS
from probe.faults.engine import ENOUGH, UNSURE, FaultSession
from probe.faults.explain import Diagnosis, row_words
from probe.faults.flexlog import FlexLog
from probe.faults.joint import Suspected
from probe.faults.knowledge import After, ChainPower, FaultObservation, Hazard, Knowledge
from probe.faults.light import Running, begin, set_up_beside, showing, trials
from probe.faults.locate import BreakSearch, ReturnWire
from probe.faults.tables import load, part_of
from probe.patterns.patterns import HOLDS_THROUGH_SILENCE, Pattern, PatternName, pattern
from probe.patterns.pictures import BLUE, GREEN, RED
from probe.task.effects import TryAgain
from probe.task.light import Dark, HandsOff, Light, OutputSetup, Pixels
from probe.task.task import Next, TaskState

CONTEXTS = tuple(TEXTS)
ORDER_CAUSES = frozenset({"order-wrong", "order-batch", "rgbw-as-rgb", "rgb-as-rgbw", "odd-width", "rgb-among-rgbw"})
WARM_CAUSE = "fails-warm"
SURE_ENOUGH = 0.6
"""Below this the first suspect's repair is not what Enter takes while its look-alikes can still be told apart."""
SEPARATED_ON = 24
"""Pixels on which orders are told apart."""
FLIP_QUESTION = "settings-flip"
COUNT_QUESTION = "raise-count"
MORE_PIXELS = 10
"""So many more are sent when the count is doubted."""
HALVING_COLOUR = Colour(0, 32, 0)
HALVED = frozenset({"to-k-dark", "to-k-odd", "tail-dark", "swap-to-end", "shifted"})
"""Pictures that are right up to one edge and wrong beyond it, so that halving finds the edge."""


class SearchMode(StrEnum):
    """What the screen is about."""

    CONTEXT = "context"
    QUESTION = "question"
    LAST_GOOD = "last good pixel"
    HALVING = "halving"
    FINDING = "finding"
    REPAIR = "repair"
    COLOURS = "colours"
    FLEX = "flex"
    RETURN = "return wire"
    SOAK = "soak"
    DONE = "done"


@dataclass(frozen=True)
class Solution:
    """What a practice round hides: its causes, and for each the pixel after which it sits (-1 before the first, None:
    no place)."""

    causes: tuple[str, ...]
    places: tuple[int | None, ...]


@dataclass(frozen=True)
class SearchItem:
    """One thing that can be chosen. `key` is what the step knows it by, `text` what is shown."""

    key: str
    text: str


HEAT_ROW = SearchItem("heat-now", "Heat, a smell or a ticking supply: stop, off and unplug")
"""The first row of every list, so that nobody has to know a key for it."""


@dataclass(frozen=True, kw_only=True)
class FaultSearch(TaskState):
    """The whole state of a fault search on one chain.

    `question` is what is asked now, `over` why nothing more is, `handed_over` lines for whoever goes on
    from there. `contexts` are those that hold, `reasons` why, by name.
    `splitting`: the tests that tell the faults at one joint apart come first. `repairing` is a cause's id. `looks` are
    answers about colours, `fits` the chains that explain them, `narrowed` those that an earlier look left. `trial` counts
    the settings tried. `flex_from` is the map before the flex log, `soaking_s` when the soak began. `solution` is that of a
    practice round. `running` is the pattern that belongs to the question, `begun`
    how many were begun, `known` the board that they run on. `past` are the
    answers before, the last one last. `alone`: no walk is below. `dark_from`: the first dark pixel, seen before this was opened. `withdrawn`: hazards that only a report of heat opened
    which was taken back since: a plain "none of it" closes them.
    """

    chain: str
    session: FaultSession = field(default_factory=FaultSession)
    mode: SearchMode = SearchMode.CONTEXT
    question: FaultObservation | None = None
    over: str = ""
    handed_over: tuple[str, ...] = ()
    stop: tuple[str, ...] = ()
    diagnosis: Diagnosis | None = None
    contexts: tuple[str, ...] = ()
    reasons: tuple[tuple[str, str], ...] = ()
    near: int | None = None
    splitting: bool = False
    halving: BreakSearch | None = None
    flex: FlexLog | None = None
    flex_from: PlayfieldMap | None = None
    looks: tuple[ColourLook, ...] = ()
    fits: tuple[Candidate, ...] = ()
    narrowed: tuple[Candidate, ...] = ()
    trial: int = 0
    returned: ReturnWire | None = None
    soaking_s: float | None = None
    repairing: str = ""
    outcome: tuple[str, ...] = ()
    follow_up: After = After.NONE
    chosen: int = 0
    typed: str = ""
    running: Running | None = None
    begun: int = 0
    known: Identity | None = None
    troubles: int = 0
    was_lit: bool = False
    steady_only: bool = False
    solution: Solution | None = None
    paper: bool = False
    alone: bool = False
    dark_from: int | None = None
    withdrawn: frozenset[Hazard] = frozenset()
    past: tuple[FaultSearch, ...] = ()

    @property
    def knowledge(self) -> Knowledge:
        """The package's own tables, for the chain's kind of pixel."""
        return load(part_of(self.here.chip))

    @property
    def here(self) -> Chain:
        """The chain that is searched."""
        return self.map.chain(self.chain)

    @property
    def length(self) -> int:
        """Its length, or the board's most where the map does not say."""
        if self.here.length:
            return self.here.length
        return self.board.identity.pixels if self.board.identity is not None else 1

    @property
    def asked(self) -> str:
        """The id of the question that is put now; empty in between."""
        return self.question.id if self.question is not None and self.mode is SearchMode.QUESTION else ""

    @property
    def tried(self) -> tuple[str, Chain]:
        """The settings being tried now: (what is tried, the chain with it)."""
        made = trials(self.here)
        return made[self.trial % len(made)]

    @property
    def light(self) -> Light:
        """What the board should show now."""
        identity = self.board.identity
        if identity is None or self.session.unsafe:
            return Dark()
        if self.mode is SearchMode.RETURN:
            return HandsOff()
        number = None if self.halving is None else self.halving.pixel
        if self.mode is SearchMode.HALVING and number is not None:
            return Pixels.one(self.here.output, number, HALVING_COLOUR)
        return Dark() if self.running is None else showing(self.running, identity)

    @property
    def needs_power(self) -> bool:
        """Whether what is put now can only be done with the chain powered."""
        if self.mode is SearchMode.QUESTION:
            return self.question is not None and self.question.power is ChainPower.ON
        return self.mode in _POWERED

    @property
    def is_lit(self) -> bool:
        """Whether the board has confirmed that it shows the light of this question."""
        return self.board.here and self.board.lit == self.light

    @property
    def reads_meter(self) -> bool:
        """Whether a reading is to be typed."""
        return self.mode is SearchMode.QUESTION and self.question is not None and bool(self.question.meter)

    @property
    def types(self) -> bool:
        """Whether the entry line is used."""
        return self.reads_meter or self.mode in (SearchMode.LAST_GOOD, SearchMode.COLOURS)

    @property
    def items(self) -> tuple[SearchItem, ...]:
        """What can be chosen now."""
        offered = _ITEMS[self.mode](self)
        if self.session.unsafe:
            offered = [item for item in offered if item.key not in _POWERED_JOBS]
        return (HEAT_ROW, *offered)

    @property
    def place(self) -> int:
        """The row of `items` that Enter takes: `chosen` counts from the row below the one for heat."""
        return (self.chosen + 1) % len(self.items)

    @property
    def item(self) -> SearchItem:
        """What Enter takes."""
        return self.items[self.place]

    @property
    def way_back(self) -> str:
        """The answer that leads out of a job within the search; empty where Back leaves the search itself."""
        keys = {item.key for item in self.items}
        if self.mode in (SearchMode.FLEX, SearchMode.HALVING):
            return "end"
        if self.mode in (SearchMode.REPAIR, SearchMode.COLOURS, SearchMode.RETURN, SearchMode.SOAK) and "back" in keys:
            return "back"
        return ""

    @property
    def suspected_at_joint(self) -> tuple[Suspected, ...]:
        """Faults of one joint among the first suspects: they look alike."""
        if self.diagnosis is None:
            return ()
        names = {suspect.cause.id for suspect in self.diagnosis.suspects}
        return tuple(fault for fault in Suspected if fault.value in names)


def _context_items(search: FaultSearch) -> list[SearchItem]:
    why = dict(search.reasons)
    items = [SearchItem("start", "Start: ask the first question")]
    for name in CONTEXTS:
        sign = "[x]" if name in search.contexts else "[ ]"
        items.append(SearchItem(name, f"{sign} {TEXTS[name]}" + (f" (the map: {why[name]})" if name in why else "")))
    items.append(SearchItem("flex", "Flex log: touch joint after joint, note what reacts"))
    items.append(SearchItem("return", "Return wire: count the chain from its far end"))
    items.append(SearchItem("soak", "Long soak: slow colours at the ceiling, note when it goes wrong"))
    return items


def _question_items(search: FaultSearch) -> list[SearchItem]:
    question = search.question
    if question is None:
        return []
    if question.meter:
        return [
            SearchItem("typed", "take the reading that is typed"),
            SearchItem(UNSURE, "not sure, or cannot measure"),
        ]
    items = [SearchItem(a.id, row_words(a.text, search.session.k)) for a in question.answers]
    items.append(SearchItem(UNSURE, "not sure"))
    if question.pattern is not None and question.pattern.name in ("hold-one", "march") and question.id != "hold-game":
        items.append(SearchItem("flex", "go joint by joint, with a log"))
    return items


def _last_good_items(search: FaultSearch) -> list[SearchItem]:
    items = [SearchItem("typed", "take the number that is typed")]
    if search.session.answer_to("look") in HALVED:
        items.append(SearchItem("halve", "find it by halving: the board lights one pixel at a time"))
    items += [SearchItem("none", "not even the first one is right"), SearchItem(UNSURE, "not sure: go on without")]
    return items


def _halving_items(_: FaultSearch) -> list[SearchItem]:
    return [
        SearchItem("yes", "yes, it lights as it should"),
        SearchItem("no", "no"),
        SearchItem(UNSURE, "not sure"),
        SearchItem("end", "stop here"),
    ]


def _finding_items(search: FaultSearch) -> list[SearchItem]:
    found = search.diagnosis
    items = []
    for suspect in found.suspects if found is not None else ():
        words = row_words(suspect.cause.name, search.session.k)
        items.append(SearchItem(f"repair:{suspect.cause.id}", f"Repair: {words} ({suspect.word})"))
    if len(search.suspected_at_joint) > 1 and not search.splitting and search.session.k is not None:
        split = SearchItem("split", "Tell the faults at this joint apart: readings and jumpers")
        sure = found is not None and found.suspects[0].probability >= SURE_ENOUGH
        items.insert(len(items) if sure else 0, split)
    if search.session.k is None and search.session.answer_to("look") in HALVED:
        items.append(SearchItem("halve", "Find the place by halving"))
    if found is not None and any(s.cause.id in ORDER_CAUSES for s in found.suspects):
        items.append(SearchItem("colours", "Find the exact byte order from the colours you see"))
    if any(s.cause.id == WARM_CAUSE for s in (found.suspects if found is not None else ())):
        items.append(SearchItem("soak", "Long soak: slow colours at the ceiling, note when it goes wrong"))
    if search.over == ENOUGH:
        items.append(SearchItem("more", "Ask some more questions"))
    if search.solution is not None:
        items.append(SearchItem("reveal", "Give up: show what was planted"))
    else:
        items.append(SearchItem("keep", "Keep this in the map's log, to go on later"))
    return items


def _repair_items(search: FaultSearch) -> list[SearchItem]:
    back = SearchItem("back", "Back to the suspects")
    if search.session.unsafe and search.solution is None:
        return [SearchItem("safe", "Done, all still off: take the reading that shows it is safe"), back]
    items = [
        SearchItem("cured", "Repaired, and the trouble is gone"),
        SearchItem("not-cured", "Done, but the trouble is still there"),
    ]
    if search.solution is not None:
        unsafe = search.session.unsafe
        safe = "Do this repair, take the reading that shows it is safe, and look again"
        items = [SearchItem("try", safe if unsafe else "Do this repair and look again")]
    if search.repairing in ORDER_CAUSES:
        items.append(SearchItem("colours", "Find the exact byte order from the colours you see"))
    return [*items, back]


def _colour_items(search: FaultSearch) -> list[SearchItem]:
    if not search.fits and len(search.looks) < len(search.here.order):
        return [SearchItem("typed", "take what is typed"), SearchItem(UNSURE, "not sure"), SearchItem("back", "back")]
    items = []
    orders = {fit.order for fit in search.fits if fit.odd_number is None}
    if len(orders) == 1 and orders != {search.here.order}:
        items.append(SearchItem("set-order", f"Set the chain to {orders.copy().pop()} and keep it in the map"))
    if len(orders) > 1 and (drive := separating_drive(search.fits, count=SEPARATED_ON)) not in (
        None,
        search.here.order,
    ):
        items.append(SearchItem(f"drive:{drive}", f"Set the chain to {drive} for a second look that tells them apart"))
    return [*items, SearchItem("back", "Back to the suspects")]


def _flex_items(_: FaultSearch) -> list[SearchItem]:
    return [
        SearchItem("no", "no change"),
        SearchItem("yes", "something changed"),
        SearchItem(UNSURE, "pass this joint over"),
        SearchItem("end", "stop here and keep the log"),
    ]


def _return_items(_: FaultSearch) -> list[SearchItem]:
    return [SearchItem("end", "Keep this in the map's log"), SearchItem("back", "Back")]


def _soak_items(_: FaultSearch) -> list[SearchItem]:
    return [
        SearchItem("end", "Stop, and keep how long it ran without trouble"),
        SearchItem("yes", "It went wrong just now: keep the time"),
        SearchItem("back", "Back, keep nothing"),
    ]


def _done_items(search: FaultSearch) -> list[SearchItem]:
    items = []
    if search.solution is not None:
        return [SearchItem("again", "Another round"), SearchItem("leave", "Leave the practice")]
    if search.follow_up is After.RENUMBER:
        items.append(SearchItem("follow", "Recheck the chain: its numbers may have shifted"))
    elif search.follow_up is After.RECHECK:
        items.append(SearchItem("follow", "Recheck the chain: prove the map right after the repair"))
    return [*items, SearchItem("leave", "Back")]


_POWERED = frozenset(
    {
        SearchMode.LAST_GOOD,
        SearchMode.HALVING,
        SearchMode.COLOURS,
        SearchMode.FLEX,
        SearchMode.RETURN,
        SearchMode.SOAK,
    }
)
_POWERED_JOBS = frozenset({"halve", "colours", "flex", "return", "soak", "split"})
"""Answers that lead to work with the chain powered: not offered while a hazard is open."""
_SENT = {"R": RED, "G": GREEN, "B": BLUE, "W": Colour(0, 0, 0, 255)}
_ITEMS = {
    SearchMode.CONTEXT: _context_items,
    SearchMode.QUESTION: _question_items,
    SearchMode.LAST_GOOD: _last_good_items,
    SearchMode.HALVING: _halving_items,
    SearchMode.FINDING: _finding_items,
    SearchMode.REPAIR: _repair_items,
    SearchMode.COLOURS: _colour_items,
    SearchMode.FLEX: _flex_items,
    SearchMode.RETURN: _return_items,
    SearchMode.SOAK: _soak_items,
    SearchMode.DONE: _done_items,
}


# The light that belongs to a question


def wanted(search: FaultSearch) -> Pattern | None:
    """The pattern that belongs to what is asked; None for darkness."""
    question = search.question
    match search.mode:
        case SearchMode.QUESTION if (
            question is not None and question.pattern is not None and question.power in (ChainPower.ON, ChainPower.ANY)
        ):
            return pattern(question.pattern.name, dict(question.pattern.arguments))
        case SearchMode.LAST_GOOD:
            return pattern(PatternName.WALK)
        case SearchMode.FLEX if search.flex is not None and search.flex.joint is not None:
            return pattern(search.flex.pattern)
        case SearchMode.SOAK:
            return pattern(PatternName.SOAK)
        case SearchMode.COLOURS if not search.fits and len(search.looks) < len(search.here.order):
            return replace(pattern(PatternName.ALL_DIM), colour=_SENT["RGBW"[len(search.looks)]])
        case _:
            return None


def with_light(search: FaultSearch, now_s: float) -> FaultSearch:
    """The search with the pattern that belongs to it begun; none where nothing has to run."""
    identity, before = search.board.identity, search.running
    made = wanted(search)
    if identity is None or made is None or search.session.unsafe:
        return replace(search, running=None)
    chain, setup, extra = search.here, None, 0
    if search.asked == COUNT_QUESTION:
        extra = MORE_PIXELS
        setup = OutputSetup.of(chain, count=search.length + extra)
    elif search.asked == FLIP_QUESTION:
        chain = search.tried[1]
        setup = OutputSetup.of(chain)
    running = begin(
        made,
        chain,
        identity,
        now_s=now_s,
        steady_only=search.steady_only,
        from_here=search.mode is SearchMode.LAST_GOOD,
        extra=extra,
        setup=setup,
    )
    if before is not None and not before.by_board and not running.by_board:
        # one limit over all that is shown, not one for each question
        running = replace(running, limiter=before.limiter)
        if not running.limiter.wait_ms(round(now_s * 1000)):
            running = replace(running, limiter=running.limiter.changed(round(now_s * 1000)))
    if made.name is PatternName.ALL_OUTPUTS:
        running = replace(running, beside=set_up_beside(chain, running.chain.count, search.map.chains, identity))
    begun = search.begun + 1
    return replace(search, running=replace(running, start=begun), begun=begun)


def lights(search: FaultSearch, now_s: float) -> Next[FaultSearch]:
    """The search with its light begun. A picture that is held to show what disturbed it is sent anew if it is the same."""
    after = with_light(search, now_s)
    running = after.running
    held = running is not None and not running.by_board and running.pattern.name in HOLDS_THROUGH_SILENCE
    return after, (TryAgain(),) if held and after.light == search.light else ()
