"""Planning on screen: the order of a part's pixels, where to splice what lacks one, and whether the wire is long enough.

A task that lights nothing. A plan is there at once; jobs go on improving it and raise the bound until it is proved, the task is
left, or the order was changed by hand. Pins and bans are rules of the map, and undone as any change. A splice that was soldered
is declared with one key: the map is renumbered, and the recheck opens to prove it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from math import hypot

from probe.document.model import PixelState, PlayfieldMap, shown_number
from probe.document.model.planning import KeepOutShape, PlanRules, WireEntry
from probe.document.model.playfield import Position
from probe.document.plural import many
from probe.planning.keys import (
    COMMANDS,
    DragSeat,
    ForbidStretch,
    GiveUpSplice,
    KeepToCompare,
    LiftRules,
    MakeChains,
    MoveInOrder,
    NextEntry,
    OneMoreChain,
    PlanAnew,
    PlanMode,
    SeatAt,
    ShowPlanMode,
    TakeInHand,
    TidyOrLeast,
)
from probe.planning.plan import (
    BEYOND,
    Improver,
    Plan,
    PlanError,
    Stretch,
    brief_of,
    compared,
    first_plan,
    part_of,
    parts_of,
    plan_now,
    with_plan,
)
from probe.planning.search import SeatOrder
from probe.planning.splice import (
    Repair,
    Slack,
    Splice,
    chosen_repair,
    chosen_splice,
    frontier,
    missing_places,
    repaired,
    repairs,
    slacks,
    splice_words,
    spliced,
    with_chosen,
    with_repair,
)
from probe.planning.words import (
    CAUTION,
    goodness,
    headline,
    repair_line,
    slack_line,
    splice_figures,
    splice_row,
    thinned,
)
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import CannotOpenError, Next, Opened, Task, TaskState
from probe.task.views import Line, Pane, PictureView, Spot, TaskView

MOST_PIECES = 600
"""Pieces of work until a plan is left as it is."""
_MOST_CHAINS = 4
_ACROSS_MM, _UP_MM = 9.0, 18.0
_MOST_POINTS = 30
_PROOF = "what the recheck has not proved yet stands in the worklist"
_SOLDER = (
    "kept, also if you leave: power off, then solder it as it says above; once it is done, Enter renumbers the map and the recheck "
    "proves it. F8: another one"
)


@dataclass(frozen=True, kw_only=True)
class ChainPlanning(TaskState):
    """The state. `tag` names the job whose answer counts; `pieces`: work done on this plan; `asked`: the splice that is soldered now, `mending`: the only one of `repairs` is.

    `now`: the chains as they are; `kept`: the plan to compare with. `trouble`: why there is no plan. `hand`: the seat in hand.
    """

    part: str
    chains: int | None = None
    tidy: bool = True
    mode: PlanMode = PlanMode.ORDER
    plan: Plan | None = None
    now: Plan | None = None
    kept: Plan | None = None
    by_hand: bool = False
    tag: int = 0
    pieces: int = 0
    working: bool = False
    trouble: str = ""
    chosen: int = 0
    chain: str = ""
    splices: tuple[Splice, ...] = ()
    slack: tuple[Slack, ...] = ()
    asked: Splice | None = None
    repairs: tuple[tuple[int, Repair], ...] = ()
    mending: bool = False
    hand: int | None = None

    @property
    def rules(self) -> PlanRules:
        """The rules that hold."""
        return self.map.plan_rules or PlanRules()

    @property
    def rows(self) -> int:
        """How many rows there are to choose from."""
        if self.mode is PlanMode.ORDER:
            return len(self.plan.stretches) if self.plan else 0
        return len({PlanMode.SPLICE: self.splices, PlanMode.DEAD: self.repairs}.get(self.mode, self.slack))

    @property
    def stretch(self) -> Stretch | None:
        """The marked stretch."""
        if self.plan is None or self.mode is not PlanMode.ORDER:
            return None
        return self.plan.stretches[min(self.chosen, self.rows - 1)]


_N = Next[ChainPlanning]


@dataclass(frozen=True)
class _Begun:
    """What the first job comes to."""

    plan: Plan
    now: Plan | None
    improver: Improver


@dataclass(frozen=True)
class _Better:
    """What a later job comes to."""

    plan: Plan
    improver: Improver


def _begin_plan(
    map_: PlayfieldMap, part: str, chains: int | None, tidy: bool, order: SeatOrder | None, progress: fx.Progress
) -> _Begun | PlanError:
    progress.step(0)
    try:
        brief = brief_of(map_, part, chains=chains, tidy=tidy)
    except PlanError as error:
        return error
    progress.step()
    plan = first_plan(brief) if order is None else Plan(brief, order)
    progress.step()
    return _Begun(plan, plan_now(brief), Improver(plan))


def _go_on(improver: Improver, progress: fx.Progress) -> _Better:
    progress.step(0)
    plan = improver.work()
    progress.step()
    return _Better(plan, improver)


def _splices_of(map_: PlayfieldMap, chain: str) -> tuple[Splice, ...] | PlanError:
    try:
        return thinned(frontier(map_, chain, missing_places(map_, chain)))
    except PlanError as error:
        return error


class PlanTask(Task[ChainPlanning]):
    """Order, splices, and slack of the wire."""

    name = "plan"
    commands = COMMANDS

    def begin(self, s: ChainPlanning, now_s: float) -> _N:
        """Plan at once."""
        return _anew(s)

    def step(self, s: ChainPlanning, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.JobStopped():
                kept = "the best so far is kept" if s.plan is not None else "there is no plan yet"
                return replace(s, working=False, tag=s.tag + 1, message=f"stopped: {kept}"), ()
            case ev.JobDone(tag, result):
                return _computed(s, result) if tag == s.tag else (s, ())
            case ev.Choose(by) if s.rows:
                at = (s.chosen + by) % s.rows if abs(by) == 1 else max(0, min(s.rows - 1, s.chosen + by))
                return replace(s, chosen=at, message=s.message if s.hand is not None else ""), ()
            case ev.TakeRow(row) if row < s.rows:
                return _put_down(replace(s, chosen=row, message="")), ()
            case SeatAt(x_mm, y_mm):
                return _pointed(s, x_mm, y_mm), ()
            case DragSeat(x_mm, y_mm, to_x_mm, to_y_mm):
                return _pointed(_in_hand(_pointed(replace(s, hand=None), x_mm, y_mm)), to_x_mm, to_y_mm), ()
            case TakeInHand():
                return _in_hand(s), ()
            case NextEntry():
                return _next_entry(s)
            case ev.Take(time):
                return _take(s, time)
            case ev.NextChain():
                return _next(s)
            case ShowPlanMode(mode):
                return _show(replace(s, chain=s.chain or _first_chain(s), chosen=0), mode)
            case MoveInOrder(by):
                return _moved(s, by), ()
            case ForbidStretch():
                return _ruled(s, "forbidden")
            case LiftRules():
                return _lifted(s)
            case TidyOrLeast():
                return _anew(replace(s, tidy=not s.tidy, message=""))
            case OneMoreChain():
                count = len(s.plan.order) if s.plan is not None else 1
                return _anew(replace(s, chains=count % _MOST_CHAINS + 1, message=""))
            case KeepToCompare() if s.plan is not None:
                return replace(
                    s, kept=replace(s.plan, name="kept"), message="kept: the next plans are compared with it"
                ), ()
            case PlanAnew():
                return _anew(replace(s, message=""))
            case MakeChains():
                return _make(s)
            case ev.MapChanged(words):
                return _anew(replace(s, message=words))
            case ev.Leave() if s.hand is not None:
                return replace(s, hand=None, message=""), ()
            case GiveUpSplice() if s.asked is not None or s.mending:
                return _not_so(s)
            case ev.Leave() if s.mode is not PlanMode.ORDER:
                return replace(s, mode=PlanMode.ORDER, chosen=0, message=""), ()
            case ev.TaskClosed():
                after, effects = _show(s, s.mode)
                return replace(after, message=after.message or s.message), effects
            case _:
                return None

    def view(self, s: ChainPlanning) -> TaskView:
        """The rows, what is known of the plan, and the picture."""
        return _view(s)


def make(opened: Opened) -> tuple[PlanTask, ChainPlanning]:
    """Planning of the open map. Facts: chain and number of the walk (a dead pixel: what to do about it), chain and `splice`, or
    a part. Raises CannotOpenError without positions.
    """
    assert opened.map is not None, "planning is opened with a map"
    parts = parts_of(opened.map)
    if not parts:
        raise CannotOpenError("no place has a position yet: put places into the picture first, then plan")
    part, chain, mode = parts[0], "", PlanMode.ORDER
    chosen = 0
    match opened.facts:
        case (str() as chain, int() as number):
            pixels = opened.map.chain(chain).pixels
            lit = [p.place for p in pixels if p.place is not None]
            part = part_of(opened.map, lit[0]) if lit else part
            if number < len(pixels) and pixels[number].state is PixelState.DEAD:
                mode = PlanMode.DEAD
                ways = [n for n, p in enumerate(pixels[:number]) if p.state is PixelState.DEAD]
                chosen = sum(len(repairs(opened.map, chain, n)) for n in ways)
        case (str() as chain, PlanMode.SPLICE.value):
            mode = PlanMode.SPLICE
            lacking = [one.id for one in opened.map.chains if missing_places(opened.map, one.id)]
            chain = chain if chain in lacking else (*lacking, chain)[0]
        case str() as named if named in parts:
            part = named
    part = part if part in parts else parts[0]
    return PlanTask(), ChainPlanning(map=opened.map, part=part, chain=chain, mode=mode, chosen=chosen)


def _first_chain(s: ChainPlanning) -> str:
    return s.map.chains[0].id if s.map.chains else ""


def _anew(s: ChainPlanning) -> _N:
    """Plan from the rules; an answer that is out counts no more."""
    s = replace(s, by_hand=False, trouble="", plan=None, hand=None)
    s = s if s.mode is PlanMode.DEAD else replace(s, chosen=0)
    s, effects = _work(s)
    if s.mode is PlanMode.ORDER:
        return s, effects
    after, more = _show(s, s.mode)
    return after, (*effects, *more)


def _work(s: ChainPlanning, order: SeatOrder | None = None) -> _N:
    """A job that plans by the rules of now, from that order or from none."""
    s = replace(s, tag=s.tag + 1, pieces=0, working=True)
    begin = partial(_begin_plan, s.map, s.part, s.chains, s.tidy, order)
    return s, (fx.Job(s.tag, begin, "planning", fx.Progress(3)),)


def _computed(s: ChainPlanning, result: object) -> _N:
    match result:
        case PlanError():
            return replace(s, working=False, trouble=str(result), plan=None), ()
        case _Begun(plan, now, improver):
            s = replace(s, plan=plan, now=now)
        case _Better(plan, improver):
            s = replace(s, plan=plan, pieces=s.pieces + 1)
        case _:
            return s, ()
    assert s.plan is not None
    if s.plan.proved or s.pieces >= MOST_PIECES:
        return replace(s, working=False), ()
    progress = fx.Progress(MOST_PIECES, s.pieces)
    return s, (fx.Job(s.tag, partial(_go_on, improver), "improving the plan", progress),)


def _next(s: ChainPlanning) -> _N:
    """The next part; of splices and slack the next chain."""
    if s.mode is PlanMode.ORDER:
        parts = parts_of(s.map)
        after = parts[(parts.index(s.part) + 1) % len(parts)] if s.part in parts else s.part
        return _anew(replace(s, part=after, chains=None, kept=None, message=""))
    names = [chain.id for chain in s.map.chains]
    at = names.index(s.chain) if s.chain in names else -1
    return _show(replace(s, chain=names[(at + 1) % len(names)] if names else "", chosen=0, asked=None), s.mode)


def _show(s: ChainPlanning, mode: PlanMode) -> _N:
    """Show the order, the splices or the slack. Both are there in no time: they are computed in the step."""
    s = replace(s, mode=mode, message="")
    if mode is PlanMode.ORDER:
        return s, ()
    asked = chosen_splice(s.map)
    s = replace(s, asked=asked, hand=None)
    if mode is PlanMode.SPLICE and asked is not None:
        s = replace(s, chain=asked.chain)
    mended = chosen_repair(s.map) if mode is PlanMode.DEAD else None
    if mended is not None:
        chain, number, repair = mended
        return replace(s, chain=chain, repairs=((number, repair),), mending=True, chosen=0, message=_SOLDER), ()
    if s.chain not in s.map.chain_by_id:
        return replace(s, mode=PlanMode.ORDER, message="the map has no chain yet: plan one first"), (fx.Bell(),)
    if mode is PlanMode.SLACK:
        return replace(s, slack=tuple(sorted(slacks(s.map, s.chain), key=lambda one: one.slack_mm))), ()
    if mode is PlanMode.DEAD:
        dead = [n for n, p in enumerate(s.map.chain(s.chain).pixels) if p.state is PixelState.DEAD]
        ways = tuple((n, one) for n in dead for one in repairs(s.map, s.chain, n))
        return replace(s, repairs=ways, mending=False, chosen=min(s.chosen, max(0, len(ways) - 1))), ()
    if asked is not None:
        return replace(s, splices=(asked,), chosen=0, message=_SOLDER), ()
    found = _splices_of(s.map, s.chain)
    if isinstance(found, PlanError):
        return replace(s, splices=(), message=str(found)), (fx.Bell(),)
    return replace(s, splices=found), ()


def _take(s: ChainPlanning, time: str) -> _N:
    if s.hand is not None:
        return _put_down(s), ()
    if s.mode is PlanMode.ORDER:
        return _ruled(s, "pinned")
    if s.mode is PlanMode.DEAD and s.repairs:
        return _mend(s, time)
    if s.mode is not PlanMode.SPLICE or not s.splices:
        return s, ()
    splice = s.splices[min(s.chosen, len(s.splices) - 1)]
    if s.asked != splice:
        map_ = with_chosen(s.map, splice)
        kept = fx.Commit(map_, f"Splice chosen: {splice_figures(splice)}"[:200])
        return replace(s, asked=splice, splices=(splice,), chosen=0, message=_SOLDER), (kept,)
    map_ = spliced(with_chosen(s.map, None), splice, made_on=time[:10])
    names = [s.map.place_by_id[name].label for cut in splice.cuts for name in cut.places]
    words = f"Spliced in: {', '.join(names)}"
    effects = (
        fx.Commit(map_, words),
        fx.MakeRevision(words[:200]),
        fx.Open("recheck", (splice.chain, words)),
    )
    return replace(s, asked=None, message=f"{words}; {_PROOF}"), effects


def _mend(s: ChainPlanning, time: str) -> _N:
    """Choose the marked repair of a dead pixel; once it is soldered the map is renumbered, and the recheck opens."""
    number, repair = s.repairs[min(s.chosen, len(s.repairs) - 1)]
    if not s.mending:
        kept = fx.Commit(
            with_repair(s.map, s.chain, number, repair), f"Repair chosen: {shown_number(number)}, {repair.what}"[:200]
        )
        return replace(s, repairs=((number, repair),), chosen=0, mending=True, message=_SOLDER), (kept,)
    map_ = repaired(with_repair(s.map, s.chain, number, None), s.chain, number, repair, made_on=time[:10])
    words = f"Dead pixel {shown_number(number)} mended: {repair.what.partition(':')[0]}"
    effects = (fx.Commit(map_, words), fx.MakeRevision(words), fx.Open("recheck", (s.chain, words)))
    return replace(s, repairs=(), mending=False, chosen=0, message=f"{words}; {_PROOF}"), effects


def _not_so(s: ChainPlanning) -> _N:
    """What is being soldered is given up: others can be chosen again."""
    if s.mode is PlanMode.DEAD:
        map_ = with_repair(s.map, s.chain, s.repairs[0][0], None)
        after, effects = _show(replace(s, map=map_, chosen=0), PlanMode.DEAD)
        return after, (fx.Commit(map_, "Repair no longer chosen"), *effects)
    map_ = with_chosen(s.map, None)
    after, effects = _show(replace(s, map=map_, asked=None, chosen=0), PlanMode.SPLICE)
    return after, (fx.Commit(map_, "Splice no longer chosen"), *effects)


def _put_down(s: ChainPlanning) -> ChainPlanning:
    """Put the seat in hand behind the marked one, as planned by hand; nothing if none is in hand."""
    plan, stretch = s.plan, s.stretch
    if s.hand is None or plan is None or stretch is None:
        return s
    target = plan.order[plan.brief.chains.index(stretch.chain)][stretch.number]
    if target == s.hand:
        return replace(s, hand=None, message="")
    lines = [[seat for seat in line if seat != s.hand] for line in plan.order]
    line = next(line for line in lines if target in line)
    if not all(lines) or len(line) >= plan.brief.network.largest:
        return replace(s, hand=None, message="it cannot go there: a chain would be empty, or too long for its output")
    line.insert(line.index(target) + 1, s.hand)
    flat = [seat for line in lines for seat in line]
    seats = plan.brief.seats
    words = f"{seats[s.hand].label} goes behind {seats[target].label}"
    return replace(_by_hand(s, tuple(map(tuple, lines))), hand=None, chosen=flat.index(s.hand), message=words)


def _by_hand(s: ChainPlanning, order: SeatOrder) -> ChainPlanning:
    """That order; from now on nothing improves it unasked."""
    assert s.plan is not None
    proved = s.plan.brief.network.cost_mm(order) <= s.plan.bound_mm + 1e-6
    plan = replace(s.plan, order=order, proved=proved)
    return replace(s, plan=plan, by_hand=True, tag=s.tag + 1, working=False, message="")


def _in_hand(s: ChainPlanning) -> ChainPlanning:
    stretch, plan = s.stretch, s.plan
    if stretch is None or plan is None:
        return s
    if s.hand is not None:
        return _put_down(s)
    seat = plan.order[plan.brief.chains.index(stretch.chain)][stretch.number]
    words = f"{stretch.seat.label} in hand: click the seat it goes behind, or mark that one and press Space again"
    return replace(s, hand=seat, message=words)


def _pointed(s: ChainPlanning, x_mm: float, y_mm: float) -> ChainPlanning:
    """The row of the seat nearest a point is marked; a seat in hand goes behind it."""
    if s.mode is not PlanMode.ORDER or s.plan is None:
        return s
    near = [hypot(one.seat.x_mm - x_mm, one.seat.y_mm - y_mm) for one in s.plan.stretches]
    return _put_down(replace(s, chosen=near.index(min(near)), message=""))


def _next_entry(s: ChainPlanning) -> _N:
    """The wire of the marked chain comes in at the next of the edges' middles and corners; the plan is made anew."""
    stretch, plan = s.stretch, s.plan
    if stretch is None or plan is None:
        return s, ()
    wide, deep = s.map.machine.width_mm, s.map.machine.length_mm
    low = deep if s.part == BEYOND else 0.0
    ends = [(wide / 2, deep, "the far edge"), (wide, deep, "the far right corner"), (wide, deep / 2, "the right edge"),
            (wide, low, "the near right corner"), (wide / 2, low, "the near edge"), (0.0, low, "the near left corner"),
            (0.0, deep / 2, "the left edge"), (0.0, deep, "the far left corner")]  # fmt: skip
    if s.part == BEYOND:
        ends = [
            (wide / 2, deep, "the neck"),
            (0.0, deep, "the left of the neck"),
            (wide, deep, "the right of the neck"),
        ]
    now = plan.brief.entries[plan.brief.chains.index(stretch.chain)]
    at = next((k for k, (x, y, _) in enumerate(ends) if hypot(x - now[0], y - now[1]) < 1), -1)
    x_mm, y_mm, words = ends[(at + 1) % len(ends)]
    entries = (
        *(one for one in s.rules.entries if one.chain != stretch.chain),
        WireEntry(chain=stretch.chain, x_mm=x_mm, y_mm=y_mm),
    )
    map_ = s.map.model_copy(update={"plan_rules": s.rules.model_copy(update={"entries": entries})})
    words = f"{stretch.chain}: the wire comes in at {words}"
    after, effects = _anew(replace(s, map=map_))
    return replace(after, message=words), (fx.Commit(map_, words), *effects)


def _ruled(s: ChainPlanning, field: str) -> _N:
    """Pin or forbid the marked stretch, or take that back; the plan is made anew with it."""
    stretch = s.stretch
    if stretch is None or stretch.before is None or stretch.before.place == stretch.seat.place:
        return replace(s, message="a stretch between two places can be pinned or forbidden, this one cannot"), (
            fx.Bell(),
        )
    pair = (stretch.before.place, stretch.seat.place)
    held: tuple[tuple[str, str], ...] = getattr(s.rules, field)
    rest = tuple(one for one in held if set(one) != set(pair))
    added = len(rest) == len(held)
    other = "forbidden" if field == "pinned" else "pinned"
    update = {
        field: (*rest, pair) if added else rest,
        other: tuple(one for one in getattr(s.rules, other) if set(one) != set(pair)),
    }
    rules = s.rules.model_copy(update=update)
    words = f"{stretch.before.label} to {stretch.seat.label}: {field if added else 'no longer ' + field}"
    map_ = s.map.model_copy(update={"plan_rules": rules})
    if s.by_hand:
        return replace(s, message=words), (fx.Commit(map_, words),)
    if field == "pinned":
        # the order stands: a pin holds what is there, and what improves it has to know of it
        assert s.plan is not None
        if added and s.plan.proved:
            return replace(s, message=words), (fx.Commit(map_, words),)
        after, effects = _work(replace(s, map=map_), s.plan.order)
        return replace(after, message=words), (fx.Commit(map_, words), *effects)
    after, effects = _anew(replace(s, map=map_))
    return replace(after, message=words), (fx.Commit(map_, words), *effects)


def _lifted(s: ChainPlanning) -> _N:
    pins, bans = len(s.rules.pinned), len(s.rules.forbidden)
    if not pins + bans:
        return replace(s, message="nothing is pinned or forbidden"), (fx.Bell(),)
    map_ = s.map.model_copy(update={"plan_rules": s.rules.model_copy(update={"pinned": (), "forbidden": ()})})
    words = f"{many(pins, 'pin')} taken off, {many(bans, 'forbidden stretch', 'forbidden stretches')} allowed again"
    after, effects = _anew(replace(s, map=map_))
    return replace(after, message=words), (fx.Commit(map_, words), *effects)


def _moved(s: ChainPlanning, by: int) -> ChainPlanning:
    """The marked seat one further along its chain, by hand; from now on nothing improves this order unasked."""
    stretch, plan = s.stretch, s.plan
    if stretch is None or plan is None:
        return s
    chain = plan.brief.chains.index(stretch.chain)
    line = list(plan.order[chain])
    at, to = stretch.number, stretch.number + by
    if not 0 <= to < len(line):
        return replace(s, message="it is at the end of its chain")
    line[at], line[to] = line[to], line[at]
    order = (*plan.order[:chain], tuple(line), *plan.order[chain + 1 :])
    return replace(_by_hand(s, order), chosen=s.chosen + by)


def _make(s: ChainPlanning) -> _N:
    if s.plan is None:
        return s, ()
    try:
        map_ = with_plan(s.map, s.plan)
    except PlanError as error:
        return replace(s, message=str(error)), (fx.Bell(),)
    words = f"Planned: {', '.join(map_.chain(name).name for name in s.plan.brief.chains)}"
    return replace(s, message=words), (fx.Commit(map_, words),)


# -- what is to be seen --------------------------------------------------------------------------------------------


_LEGENDS = {
    PlanMode.ORDER: "░ keep-out  E wire comes in  1–3 what follows",
    PlanMode.SPLICE: "░ keep-out  1, 2 … splice here",
    PlanMode.DEAD: "░ keep-out  ◆ the dead pixel",
    PlanMode.SLACK: "░ keep-out",
}


def _view(s: ChainPlanning) -> TaskView:
    what = f"plan · {s.part}" if s.mode is PlanMode.ORDER else f"plan · {s.mode.value} · {_chain_name(s)}"
    items, empty = _rows(s)
    return TaskView(
        head=f"{s.map.machine.name} · {what}",
        above=_above(s),
        items=items,
        chosen=min(s.chosen, max(0, len(items) - 1)),
        empty=empty,
        details=_details(s),
        long=s.mode in (PlanMode.SPLICE, PlanMode.DEAD),
        below=_below(s),
        panes=lambda _: _panes(s),
        message=s.message or s.trouble,
        unsaved=s.unsaved,
        progress=f" {_progress(s)}" if s.mode is PlanMode.ORDER else "",
        picture=PictureView(
            _spots(s),
            point=lambda x_mm, y_mm: SeatAt(x_mm, y_mm) if s.mode is PlanMode.ORDER else None,
            drag=DragSeat if s.mode is PlanMode.ORDER else None,
            legend=_LEGENDS[s.mode],
        ),
    )


def _chain_name(s: ChainPlanning) -> str:
    return s.map.chain(s.chain).name if s.chain in s.map.chain_by_id else "no chain"


def _progress(s: ChainPlanning) -> str:
    if s.plan is None:
        return "planning …" if s.working else ""
    state = "by hand" if s.by_hand else "improving …" if s.working else "done"
    return f"{state} · {goodness(s.plan)}"


def _above(s: ChainPlanning) -> tuple[Line, ...]:
    if s.mode is PlanMode.ORDER:
        if s.plan is None:
            return ()
        words = ["tidy by area" if s.tidy else "least wire"]
        words += [f"{many(len(s.rules.pinned), 'pin')}"] if s.rules.pinned else []
        words += [f"{len(s.rules.forbidden)} forbidden"] if s.rules.forbidden else []
        words += [_beside(s.plan, other, there) for other, there in ((s.now, "now"), (s.kept, "kept")) if other]
        return (Line(headline(s.plan), "bold", wrap=True), Line(", ".join(words), "dim", wrap=True))
    if s.mode is PlanMode.SPLICE:
        missing = len(missing_places(s.map, s.chain))
        if not missing or s.asked is not None:
            return ()  # the list or the message says so
        return (
            Line(
                f"{many(missing, 'place')} without a pixel. Least wire first:",
                "bold",
                wrap=True,
            ),
        )
    if s.mode is PlanMode.DEAD:
        if not s.repairs or s.mending:
            return ()  # the list or the message says so
        dead = len({number for number, _ in s.repairs})
        return (Line(f"{many(dead, 'dead pixel')}. What can be done, best first:", "bold", wrap=True),)
    if not s.slack:
        return ()  # the list says so
    short = sum(one.slack_mm < 0 for one in s.slack)
    return (
        Line(
            f"{short} stretch{'es are' if short > 1 else ' is'} too short" if short else "the wire reaches everywhere",
            "bold",
        ),
    )


def _beside(plan: Plan, other: Plan, there: str) -> str:
    """`26 % less way than now`."""
    share = round(100 * (1 - plan.way_mm / other.way_mm)) if other.way_mm else 0
    return f"{abs(share)} % {'less' if share > 0 else 'more'} way than {there}" if share else f"as much way as {there}"


def _rows(s: ChainPlanning) -> tuple[tuple[Line, ...], tuple[Line, ...]]:
    if s.mode is PlanMode.ORDER:
        pinned = {frozenset(pair) for pair in s.rules.pinned}
        stretches = s.plan.stretches if s.plan is not None else ()
        return tuple(
            Line(
                f"{shown_number(one.number):>9} {one.cut_mm:4.0f} mm  {one.seat.label}",
                note=("pinned · " if one.before and frozenset((one.before.place, one.seat.place)) in pinned else "") + one.seat.area,
            )
            for one in stretches
        ), (Line(s.trouble or "planning …", wrap=True),)  # fmt: skip
    if s.mode is PlanMode.SPLICE:
        return tuple(Line(splice_row(splice)) for splice in s.splices), (
            Line("every place has a pixel: nothing to splice"),
        )
    if s.mode is PlanMode.DEAD:
        return tuple(Line(f"{shown_number(number)}: {one.what}", wrap=True) for number, one in s.repairs), (
            Line("no pixel of this chain is dead"),
        )
    return tuple(
        Line(f"{abs(one.slack_mm):4.0f} mm {'short' if one.slack_mm < 0 else 'left'}  {_ends(s, one)}")
        for one in s.slack
    ), (Line("no stretch has both its wire and its positions noted", wrap=True),)


def _ends(s: ChainPlanning, one: Slack) -> str:
    """`14 (15th) Reef lane 1 to Reef lane 2`."""
    pixels = s.map.chain(one.chain).pixels
    names = [place.label if (place := s.map.place_of(pixels[n])) is not None else "?" for n in (one.first, one.last)]
    return f"{shown_number(one.last)} {' to '.join(names)}"


def _details(s: ChainPlanning) -> tuple[Line, ...]:
    """All of the marked splice or repair, and what to heed."""
    if s.mode is PlanMode.SPLICE and s.splices:
        splice = s.splices[min(s.chosen, len(s.splices) - 1)]
        words = (f"{splice_figures(splice)}:", *splice_words(s.map, splice), CAUTION)
        return tuple(Line(line, wrap=True) for line in words)
    if s.mode is PlanMode.DEAD and s.repairs:
        number, repair = s.repairs[min(s.chosen, len(s.repairs) - 1)]
        place = s.map.place_of(s.map.chain(s.chain).pixels[number])
        where = f"{shown_number(number)} {place.label if place is not None else ''}".strip()
        return (Line(f"{where}: {repair_line(repair)}", wrap=True), Line(CAUTION, wrap=True))
    return ()


def _below(s: ChainPlanning) -> tuple[Line, ...]:
    if s.mode is PlanMode.SLACK and s.slack:
        return (Line(slack_line(s.map, s.slack[min(s.chosen, len(s.slack) - 1)]), wrap=True),)
    return ()


def _panes(s: ChainPlanning) -> tuple[Pane, ...]:
    panes = []
    if s.plan is not None:
        for other in (s.now, s.kept):
            if other is not None:
                rows, there = compared(s.plan, other), "now" if other is s.now else "kept"
                lines = tuple(Line(f"{what}: {mine} ({there} {theirs})", wrap=True) for what, mine, theirs in rows)
                panes.append(Pane(f"This plan, and {'as it is' if other is s.now else 'the kept one'}", lines))
        doubts = (*s.plan.brief.doubts, *s.plan.broken_rules)
        if doubts:
            panes.append(Pane("To look at", tuple(Line(doubt, wrap=True) for doubt in doubts)))
    if s.mode in (PlanMode.ORDER, PlanMode.SLACK):  # the others say it among what is to be read
        panes.append(Pane("Before you cut", (Line(CAUTION, wrap=True),)))
    return tuple(panes)


def _spots(s: ChainPlanning) -> tuple[Spot, ...]:
    spots = (
        [Spot(Position(x_mm=x, y_mm=y), "░", "off") for x, y in _keep_out_points(s.map)]
        if s.part == "playfield"
        else []
    )
    if s.mode is PlanMode.SPLICE and s.splices:
        splice = s.splices[min(s.chosen, len(s.splices) - 1)]
        for number, name in enumerate((name for cut in splice.cuts for name in cut.places), start=1):
            position = s.map.place_by_id[name].position
            if position is not None:
                spots.append(Spot(position, str(number), "offered", s.map.place_by_id[name].label))
    if s.mode is PlanMode.ORDER and s.plan is not None:
        spots += [Spot(Position(x_mm=x, y_mm=y), "E", "mark") for x, y in dict.fromkeys(s.plan.brief.entries)]
    if s.mode is PlanMode.DEAD and s.repairs:
        number, _ = s.repairs[min(s.chosen, len(s.repairs) - 1)]
        place = s.map.place_of(s.map.chain(s.chain).pixels[number])
        if place is not None and place.position is not None:
            spots.append(Spot(place.position, "◆", "held", place.label))
    stretch, plan = s.stretch, s.plan
    if stretch is not None and plan is not None:
        own = [one for one in plan.stretches if one.chain == stretch.chain]
        for step in (3, 2, 1):
            if stretch.number + step < len(own):
                seat = own[stretch.number + step].seat
                spots.append(Spot(Position(x_mm=seat.x_mm, y_mm=seat.y_mm), str(step), "mark"))
        if stretch.before is not None:
            spots.append(Spot(Position(x_mm=stretch.before.x_mm, y_mm=stretch.before.y_mm), "·", "offered"))
        here = Position(x_mm=stretch.seat.x_mm, y_mm=stretch.seat.y_mm)
        spots.append(Spot(here, "◆", "held", stretch.seat.label))
    return tuple(spots)


def _keep_out_points(map_: PlayfieldMap) -> list[tuple[float, float]]:
    """Points that fill the keep-outs, so that they are seen."""
    points = []
    for keep_out in map_.keep_outs:
        if keep_out.kind is KeepOutShape.CIRCLE:
            reach = keep_out.radius_mm or 0.0
            low_x, low_y, wide, deep = keep_out.x_mm - reach, keep_out.y_mm - reach, 2 * reach, 2 * reach
        else:
            low_x, low_y, wide, deep = keep_out.x_mm, keep_out.y_mm, keep_out.width_mm or 0.0, keep_out.height_mm or 0.0
        across, up = (
            max(1, min(_MOST_POINTS, round(size / step))) for size, step in ((wide, _ACROSS_MM), (deep, _UP_MM))
        )
        for i in range(across):
            for j in range(up):
                x, y = low_x + (i + 0.5) * wide / across, low_y + (j + 0.5) * deep / up
                if abs(x) < 5_000 and abs(y) < 5_000:
                    points.append((x, y))
    return points
