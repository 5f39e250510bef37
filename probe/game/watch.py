"""The game's lamp inputs live: which are on, which changed lately, and what they light by the map.

Two things come of it. "Tell me what changed": press a target or run the game's lamp test, and the inputs that changed in
the last seconds give their number to a place. And: what is seen is not what the map predicts; one key notes it.

Input n is lamp n (SPEC 14.4). A change shorter than a notice shows in the edge counts, which are asked for now and then.
A task: frozen state, pure step; times are seconds on a steady clock, except where a date is kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property, partial

from device_protocol.orders import (
    EDGES_A_REPLY,
    INPUTS_A_REPLY,
    EdgeCounts,
    InputStates,
    Linger,
    LingerSet,
    ReadEdges,
    ReadInputs,
    Reply,
    WatchInputs,
)
from probe.cautions import GAME_ON
from probe.document.joining import has_job, join, lamps_lighting
from probe.document.lamp_table import LampTable, lamp_table
from probe.document.model import Lamp, Place, PlayfieldMap, shown_number
from probe.document.operations import set_lamps
from probe.document.plural import many
from probe.document.proving import add_observation, drop_observation
from probe.game.keys import WATCH, ChangeLinger, ForgetChanges, HandOver, LampTest, Mismatch, PressTarget
from probe.game.pick import PickFacts
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Dark, Game, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import LIT_SIGN, Line, Pane, PictureView, Spot, TaskView

RECENT_S = 5.0
COUNTED_S = 20.0
"""So long after a change the next one of that input is counted with it."""
EDGES_EVERY_S = 2.0
LINGERS_MS = (5, 12, 25, 40, 60, 100, 250)
DEFAULT_LINGER_MS = 25
NOT_YET_SAID = "something else"


@dataclass(frozen=True, slots=True)
class InputChange:
    """An input that changed. `on` is how it is now, `times` how many edges were counted without a long pause between them."""

    number: int
    on: bool
    at_s: float
    times: int = 1


@dataclass(frozen=True)
class WatchFacts:
    """What it may be opened with: whether the game has the pixels already."""

    game_plays: bool = False


@dataclass(frozen=True)
class LearnLamp:
    """Give the number of the chosen input (or of `number`) to this place."""

    place: str
    number: int | None = None


@dataclass(frozen=True, kw_only=True)
class Watch(TaskState):
    """The state. `total` inputs, 0 while not known; `on` their states, the first for input 1. `changes` holds the last change
    of each input, the newest first.

    `subscribed`: the board has been asked to report every change. `to_game`: the game shall have the pixels. `typed`: what
    was seen, while that is typed, else None. `learning`: the input that a place is being picked for; `pressing`:
    one is picked to be pressed in the simulated game, if there is one (`simulated`).
    """

    total: int = 0
    on: tuple[bool, ...] = ()
    changes: tuple[InputChange, ...] = ()
    edges: tuple[tuple[int, int], ...] = ()
    edges_asked_s: float | None = None
    chosen: int = 0
    linger_ms: int = DEFAULT_LINGER_MS
    subscribed: bool = False
    to_game: bool = False
    typed: str | None = None
    learning: int | None = None
    pressing: bool = False
    simulated: bool = False
    now_s: float = 0.0

    @cached_property
    def table(self) -> LampTable:
        """What each lamp lights, by the map."""
        return lamp_table(self.map)

    @cached_property
    def lighting(self) -> dict[str, tuple[int, ...]]:
        """The lamps that light each place."""
        return lamps_lighting(self.map)

    @cached_property
    def names(self) -> dict[int, str]:
        """Names of lamps by number, from the list, else from their places."""
        found: dict[int, str] = {}
        for place in self.map.places:
            for number in self.lighting[place.id]:
                found.setdefault(number, place.label)
        found |= {row.number: " / ".join(row.names) for row in self.table.lamps if row.names}
        return found

    @property
    def game_plays(self) -> bool:
        """Whether the board has confirmed that the game has the pixels."""
        return self.to_game and self.board.here and self.board.lit == Game()

    @property
    def recent(self) -> tuple[InputChange, ...]:
        """Inputs that changed in the last seconds, the newest first."""
        return tuple(c for c in self.changes if self.now_s - c.at_s <= RECENT_S)

    @property
    def never_seen(self) -> tuple[int, ...]:
        """Lamps of the map whose input was neither on nor changed since this was opened or begun anew."""
        seen = {change.number for change in self.changes}
        on = {number for number, is_on in enumerate(self.on, start=1) if is_on}
        return tuple(number for number in sorted(self.names) if number <= self.total and number not in seen | on)

    @property
    def choice(self) -> InputChange | None:
        """The chosen recent change."""
        recent = self.recent
        return recent[min(self.chosen, len(recent) - 1)] if recent else None

    @property
    def without_lamp(self) -> tuple[Place, ...]:
        """Places that no lamp and no group has, with pixels first."""
        free = [place for place in self.map.places if not has_job(place)]
        return tuple(sorted(free, key=lambda place: place.id not in self.map.pixels_at))

    def predicted(self, number: int) -> str:
        """What an input lights, by the map."""
        row = self.table.lamp(number)
        places = [place.label for place in self.map.places if number in self.lighting[place.id]]
        if row is None and not places:
            return "nothing: the map has no such lamp"
        chains = {chain.output: chain.name for chain in self.map.chains}
        pixels = [f"{chains[p.output]} {shown_number(p.number)}" for p in row.pixels] if row is not None else []
        return f"{', '.join(places) or 'no place'} ({', '.join(pixels) or 'no pixel'})"


_N = Next[Watch]


class WatchTask(Task[Watch]):
    """The game's lamp inputs, live."""

    name = "watch"
    commands = WATCH
    ticks = True

    def begin(self, s: Watch, now_s: float) -> _N:
        """Ask for the inputs if there is a board."""
        return _board(replace(s, now_s=now_s))

    def step(self, s: Watch, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        s = replace(s, now_s=now_s)
        match event:
            case ev.Choose(by):
                size = len(s.recent)
                return (replace(s, chosen=max(0, min(size - 1, s.chosen + by))), ()) if size else (s, ())
            case ev.Typed(text):
                return (replace(s, typed=text), ()) if s.typed is not None else (s, ())
            case ev.Take(time):
                return _pick(s) if s.typed is None else _seen(s, time)
            case LearnLamp(place, number):
                return _learn(s, place, number)
            case Mismatch(time, seen):
                return _mismatch(s, time, seen)
            case ForgetChanges():
                return replace(s, changes=(), chosen=0, message="now press the target"), ()
            case ChangeLinger(by):
                return _linger(s, by)
            case HandOver():
                if not s.board.has("play"):
                    return replace(s, message="this board lights no lamps of the game by itself"), (fx.Bell(),)
                return replace(s, to_game=True, message=""), (fx.TryAgain(),) if s.board.refused else ()
            case ev.Leave():
                if s.typed is not None:
                    return replace(s, typed=None), ()
                # carried out after it is left: the answer matters to nobody
                stop = (fx.Ask((WatchInputs(False),), "watch-off"),) if s.board.has("inputs") else ()
                return s, (*stop, fx.Close())
            case PressTarget() if s.simulated:
                lit = tuple(place.id for place in s.map.places if s.lighting[place.id])
                facts = PickFacts("Demo: press which target? (those with a lamp come first)", first=lit)
                return replace(s, pressing=True, message=""), (fx.Open("pick", facts),)
            case LampTest() if s.simulated:
                return replace(s, message="the simulated game's lamp test: once more ends it"), (fx.PlayGame(),)
            case ev.TaskClosed(_, place) if s.pressing:
                return _pressed(s, place)
            case ev.TaskClosed(_, place):
                # what the board reported meanwhile went to the task on top
                number = s.learning
                s, effects = _board(replace(s, subscribed=False, edges=(), edges_asked_s=None, learning=None))
                if not isinstance(place, str):
                    return s, effects
                s, more = _learn(s, place, number)
                return s, (*effects, *more)
            case ev.MapChanged(words):
                return replace(s, message=words), ()
            case _:
                return _fact(s, event)

    def light(self, s: Watch) -> Light:
        """The game's own, once it has the pixels, else dark."""
        return Game() if s.to_game else Dark()

    def view(self, s: Watch) -> TaskView:
        """A panel of inputs, and what changed lately."""
        return _view(s)


def make(opened: Opened) -> tuple[WatchTask, Watch]:
    """The lamp inputs beside the open map."""
    assert opened.map is not None, "the lamp inputs are watched with a map"
    facts = opened.facts if isinstance(opened.facts, WatchFacts) else WatchFacts()
    return WatchTask(), Watch(map=opened.map, to_game=facts.game_plays, simulated=opened.simulated_game)


# -- what the board reports ----------------------------------------------------------------------------------------


def _board(s: Watch) -> _N:
    """The board came, went, or took or refused the light."""
    if not s.board.here:
        return replace(s, total=0, on=(), edges=(), edges_asked_s=None, subscribed=False), ()
    if s.to_game and s.board.refused:
        s = replace(s, to_game=False, message=s.board.refused)
    if s.subscribed:
        return s, ()
    s = replace(s, subscribed=True)
    if not s.board.has("inputs"):
        return replace(s, message="this board reads no lamp inputs of the game"), ()
    return s, (fx.Ask((ReadInputs(1), WatchInputs(True)), "watch-on", "asking for the lamp inputs"),)


def _fact(s: Watch, event: object) -> _N | None:
    match event:
        case ev.BoardChanged():
            return _board(s)
        case ev.GameInputs(first, on):
            return _input(s, first, on), ()
        case ev.Answered(tag, replies) if tag in _TAGS:
            return _answered(s, replies)
        case ev.NotAnswered(tag=tag, why=why, code=code) if tag in _TAGS:
            # not heard: it is asked again when the board is dark anew; a refusal stands
            return replace(s, message=why, subscribed=s.subscribed and (tag != "watch-on" or code is not None)), ()
        case ev.GameTookPixels():
            return replace(s, to_game=True), ()
        case ev.Tick():
            return _tick(s)
        case _:
            return None


_TAGS = frozenset({"watch-on", "watch-more", "watch-edges", "watch-linger"})


def _answered(s: Watch, replies: tuple[Reply, ...]) -> _N:
    rest: fx.Effects = ()
    for reply in replies:
        match reply:
            case InputStates(first, total, on):
                if s.total == total:  # read again: what differs has changed meanwhile
                    s = _input(s, first, on)
                states = list(s.on) + [False] * (total - len(s.on))
                states[first - 1 : first - 1 + len(on)] = on
                s = replace(s, total=total, on=tuple(states[:total]))
                if first == 1 and total > INPUTS_A_REPLY:
                    more = tuple(ReadInputs(at) for at in range(1 + INPUTS_A_REPLY, total + 1, INPUTS_A_REPLY))
                    rest = (fx.Ask(more, "watch-more"),)
            case EdgeCounts(first, counts):
                s = _counted(s, first, counts)
            case LingerSet(linger_ms):
                s = replace(s, linger_ms=linger_ms, message=f"hold-on time {linger_ms} ms")
    return s, rest


def _input(s: Watch, first: int, on: tuple[bool, ...]) -> Watch:
    count = s.total or first - 1 + len(on)
    states = list(s.on) + [False] * (count - len(s.on))
    for number, now in enumerate(on, start=first):
        if number <= count and states[number - 1] != now:
            states[number - 1] = now
            s = _changed(s, number, now, times=0)
    return replace(s, on=tuple(states))


def _changed(s: Watch, number: int, on: bool, *, times: int) -> Watch:
    """The newest change first; the choice stays on what it was on."""
    chosen = s.choice
    before = next((c for c in s.changes if c.number == number and s.now_s - c.at_s <= COUNTED_S), None)
    counted = (before.times if before is not None else 0) + times
    change = InputChange(number, on, s.now_s, counted)
    s = replace(s, changes=(change, *(c for c in s.changes if c.number != number)))
    if chosen is not None and s.chosen:
        at = next((i for i, c in enumerate(s.recent) if c.number == chosen.number), 0)
        s = replace(s, chosen=at)
    return s


def _counted(s: Watch, first: int, counts: tuple[int, ...]) -> Watch:
    known = dict(s.edges)
    for number, count in enumerate(counts, start=first):
        before = known.get(number)
        if before is not None and count != before:
            s = _pulsed(s, number, (count - before) % 65_536)
        known[number] = count
    return replace(s, edges=tuple(sorted(known.items())))


def _pulsed(s: Watch, number: int, times: int) -> Watch:
    """Edges of a change that is listed already belong to it; others are a change of their own, though unseen."""
    listed = next((c for c in s.changes if c.number == number and s.now_s - c.at_s <= EDGES_EVERY_S + 1), None)
    if listed is not None:
        counted = replace(listed, times=listed.times + times)
        return replace(s, changes=tuple(counted if c is listed else c for c in s.changes))
    on = s.on[number - 1] if number <= len(s.on) else False
    return _changed(s, number, on, times=times)


def _tick(s: Watch) -> _N:
    asked = s.edges_asked_s
    if not s.total or not s.board.has("inputs") or (asked is not None and s.now_s - asked < EDGES_EVERY_S):
        return s, ()
    orders = tuple(ReadEdges(first) for first in range(1, s.total + 1, EDGES_A_REPLY))
    return replace(s, edges_asked_s=s.now_s), (fx.Ask(orders, "watch-edges"),)


def _linger(s: Watch, by: int) -> _N:
    if not s.board.has("inputs"):
        return replace(s, message="this board reads no lamp inputs of the game"), (fx.Bell(),)
    at = min(range(len(LINGERS_MS)), key=lambda i: abs(LINGERS_MS[i] - s.linger_ms))
    wanted = LINGERS_MS[max(0, min(len(LINGERS_MS) - 1, at + by))]
    return s, (fx.Ask((Linger(wanted),), "watch-linger"),)


def _commit(s: Watch, map_: PlayfieldMap, words: str) -> _N:
    return replace(s, map=map_, message=words), (fx.Commit(map_, words),)


def _pressed(s: Watch, place_id: object) -> _N:
    """The target that was picked is pressed in the simulated game."""
    s, effects = _board(replace(s, subscribed=False, edges=(), edges_asked_s=None, pressing=False))
    place = s.map.place_by_id.get(place_id) if isinstance(place_id, str) else None
    if place is None:
        return s, effects
    lamps = lamps_lighting(s.map)[place.id]
    if not lamps:
        return replace(s, message=f"{place.label} has no lamp in the map: nothing changes"), effects
    pressed = tuple(fx.PlayGame(lamp) for lamp in lamps)
    return replace(s, message=f"pressed: {place.label}"), (*effects, *pressed)


def _pick(s: Watch) -> _N:
    """Ask which place the chosen input is."""
    choice = s.choice
    if choice is None:
        return _learn(s, "", None)
    free = tuple(place.id for place in s.without_lamp)
    question = f"Input {choice.number} changed. Which place is that lamp?"
    facts = PickFacts(question, like=s.names.get(choice.number, ""), first=free)
    return replace(s, learning=choice.number, message=""), (fx.Open("pick", facts),)


def _learn(s: Watch, place_id: str, number: int | None) -> _N:
    if number is None and s.choice is not None:
        number = s.choice.number
    if number is None:
        return replace(s, message="nothing changed lately: press the target, then choose it here"), (fx.Bell(),)
    place = s.map.place_by_id.get(place_id)
    if place is None:
        return s, (fx.Bell(),)
    changed, effects = _commit(s, learned(s.map, place, number), f"{place.label} is lamp {number}")
    return replace(changed, changes=tuple(c for c in s.changes if c.number != number), chosen=0), effects


def learned(map_: PlayfieldMap, place: Place, number: int) -> PlayfieldMap:
    """The map with a place on lamp `number`; a row for it is put into the list if there is none."""
    row = next((lamp for lamp in map_.lamps if lamp.number == number), None)
    if row is None:
        row = Lamp(number=number, name=place.label, area=place.area, kind=place.kind)
        map_ = set_lamps(map_, _in_order((*map_.lamps, row)))
    return join(map_, place.id, row)


def _in_order(lamps: Iterable[Lamp]) -> tuple[Lamp, ...]:
    """A new last row moved before the first row of a higher number, so that a list by number stays one."""
    *rest, new = lamps
    at = next((i for i, lamp in enumerate(rest) if lamp.number is not None and lamp.number > (new.number or 0)), None)
    return (*rest, new) if at is None else (*rest[:at], new, *rest[at:])


def _seen(s: Watch, time: str) -> _N:
    """What was typed of the last mismatch; nothing typed leaves it as it is."""
    seen = (s.typed or "").strip()
    s = replace(s, typed=None)
    return _mismatch(s, time, seen) if seen else (s, ())


def _mismatch(s: Watch, time: str, seen: str) -> _N:
    choice = s.choice
    map_ = s.map
    if seen and map_.observations and map_.observations[-1].seen == NOT_YET_SAID:
        last = map_.observations[-1]
        map_ = drop_observation(map_, len(map_.observations) - 1)
        map_ = add_observation(map_, time=last.time, lamp=last.lamp, predicted=last.predicted, seen=seen)
        return _commit(s, map_, "noted")
    if choice is None:
        return replace(s, message="nothing changed lately: choose the input that misbehaves"), (fx.Bell(),)
    predicted = s.predicted(choice.number)
    map_ = add_observation(map_, time=time, lamp=choice.number, predicted=predicted, seen=seen or NOT_YET_SAID)
    s = s if seen else replace(s, typed="")
    return _commit(s, map_, f"lamp {choice.number} noted; type what you saw, if you like")


# -- what is to be seen --------------------------------------------------------------------------------------------

_ACROSS = 8
_MOST_ROWS = 16


def _view(s: Watch) -> TaskView:
    plays = "the game lights them" if s.game_plays else "only watched"
    recent = s.recent
    changes = tuple(_change(s, change) for change in recent)
    waiting = s.message or "asking the board for its inputs"
    head = Line("Press one target, or run the lamp test: what changed in the last 5 seconds", "bold", wrap=True)
    return TaskView(
        head=f"{s.map.machine.name} · lamp inputs · hold-on {s.linger_ms} ms · {plays}",
        board=s.board.words,
        cells=_panel(s),
        across=_ACROSS,
        above=(head,) if s.total else (Line(waiting), head),
        prompt="what did you see? (Enter keeps it)" if s.typed is not None else "",
        typed=s.typed,
        items=changes,
        chosen=min(s.chosen, max(0, len(recent) - 1)),
        empty=(Line("  nothing", "dim"),),
        details=() if recent else tuple(Line(caution, "dim") for caution in GAME_ON),
        message=s.message or s.board.refused,
        unsaved=s.unsaved,
        picture=_picture(s),
        panes=partial(_panes, s),
    )


def _picture(s: Watch) -> PictureView:
    """The places whose lamps are on, and that of the chosen change; it is ringed as lit only where the game lights it."""
    chosen = s.choice.number if s.choice is not None else None
    spots = []
    for place in s.map.places:
        lamps = s.lighting[place.id]
        is_on = any(number <= len(s.on) and s.on[number - 1] for number in lamps)
        if place.position is not None and chosen in lamps:
            look = "lit" if is_on and s.game_plays else "offered"
            spots.append(Spot(place.position, LIT_SIGN if is_on else "?", look, place.label))
        elif place.position is not None and is_on:
            spots.append(Spot(place.position, LIT_SIGN, "held"))
    return PictureView(
        tuple(spots), roomy=True, seen_on_request=True, legend=f"{LIT_SIGN} lamp input on; ringed: the chosen change"
    )


def _panes(s: Watch, rows: int) -> tuple[Pane, ...]:
    """What changed longer ago, and the lamps that have not been seen yet."""
    before = [c for c in s.changes if c not in s.recent]
    never = s.never_seen
    cut = len(never) > rows
    shown = [Line(f"{number:>3}  {s.names[number]}") for number in never[: rows - cut]]
    more = (Line(f"and {many(len(never) - rows + 1, 'more lamp')}", "dim"),) if cut else ()
    none = Line("Every lamp of the map was seen." if s.total else "The inputs are not known yet.", "dim")
    return (
        Pane("Changed before", tuple(_before(s, change) for change in before[:rows]) or (Line("nothing yet", "dim"),)),
        Pane(f"Not seen on yet ({len(never)})" if never else "Not seen on yet", (*shown, *more) or (none,)),
    )


def _before(s: Watch, change: InputChange) -> Line:
    name = s.names.get(change.number, "no such lamp in the map")
    return Line(f"{change.number:>3}  {name}: {'on' if change.on else 'off'}", note=_ago(s.now_s - change.at_s))


def _ago(seconds: float) -> str:
    return f"{seconds:.0f} s ago" if seconds < 120 else f"{seconds // 60:.0f} min ago"


def _change(s: Watch, change: InputChange) -> Line:
    word = "on" if change.on else "off"
    times = f", {change.times} changes" if change.times > 1 else ""
    age = _ago(max(0.0, s.now_s - change.at_s))
    name = s.names.get(change.number, "no such lamp in the map")
    lights = s.predicted(change.number)
    own = f"{name} ("  # its name is that of its only place: it stands there once
    what = lights.removeprefix(own).removesuffix(")") if lights.startswith(own) else f"lights {lights}"
    return Line(f"{change.number:>3} {name}: {word}, {age}{times}; {what}")


def _panel(s: Watch) -> tuple[Line, ...]:
    """Inputs eight across: in a strobed game by column and row, else by number."""
    strobed = any(lamp.row and lamp.column for lamp in s.map.lamps) and s.total <= 8 * _ACROSS
    chosen = s.choice.number if s.choice is not None else 0
    recent = {change.number for change in s.recent}
    cells = []
    for row in range(min(_MOST_ROWS, 8 if strobed else -(-s.total // _ACROSS)) if s.total else 0):
        for column in range(_ACROSS):
            number = column * 8 + row + 1 if strobed else row * _ACROSS + column + 1
            if number > s.total:
                cells.append(Line(""))
                continue
            on = s.on[number - 1]
            mark = ">" if number == chosen else "+" if number in recent else " "
            style = "bold reverse" if on else "bold" if number in recent else "dim"
            cells.append(Line(f"{mark}{number:>2}{'●' if on else '·'}", style, s.names.get(number, "-")))
    return tuple(cells)
