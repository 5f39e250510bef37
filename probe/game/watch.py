"""The game's lamp inputs live: which are on, which changed lately, and what the map says they light.

Two things come of it. "Tell me what changed": press a target or run the game's lamp test, and the inputs that changed in
the last seconds give their number to a place. And: what is seen is not what the map predicts; one key notes it.

Input n is lamp n (SPEC 14.4). A change shorter than a notice shows in the edge counts, which are asked for now and then.
A frozen state and a pure step; times are seconds on a steady clock, except where a date is kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property

from device_protocol.orders import (
    EDGES_A_REPLY,
    INPUTS_A_REPLY,
    EdgeCounts,
    InputStates,
    Linger,
    LingerSet,
    Order,
    Play,
    Player,
    PlayState,
    ReadEdges,
    ReadInputs,
    Reply,
    WatchInputs,
)
from probe.document.joining import has_job, join
from probe.document.lamp_table import LampTable, lamp_table
from probe.document.model import Lamp, Place, PlayfieldMap
from probe.document.operations import set_lamps
from probe.document.proving import add_observation, drop_observation
from probe.task.steps import (
    MOST_UNDO,
    Answered,
    BoardGone,
    BoardHere,
    BoardView,
    Effect,
    GameHasPixels,
    GiveOrders,
    InputsTold,
    NotAnswered,
    NotSaved,
    RingBell,
    Saved,
    SaveMap,
    Tick,
    board_view,
)

RECENT_S = 5.0
EDGES_EVERY_S = 2.0
LINGERS_MS = (5, 12, 25, 40, 60, 100, 250)
DEFAULT_LINGER_MS = 25
NOT_YET_SAID = "something else"


@dataclass(frozen=True, slots=True)
class Change:
    """An input that changed. `on` is how it is now, `times` how many edges were counted since it was first told here."""

    number: int
    on: bool
    at_s: float
    times: int = 1


@dataclass(frozen=True)
class Choose:
    """Another of the recent changes."""

    by: int


@dataclass(frozen=True)
class Learn:
    """Give the number of the chosen input (or of `number`) to this place."""

    place: str
    number: int | None = None


@dataclass(frozen=True)
class Mismatch:
    """What is seen is not what the map predicts for the chosen input. `time` is now, RFC 3339 UTC."""

    time: str
    seen: str = ""


@dataclass(frozen=True)
class Forget:
    """Forget the changes so far: the next press stands alone."""


@dataclass(frozen=True)
class ChangeLinger:
    """A longer (+1) or shorter (-1) hold-on time."""

    by: int


@dataclass(frozen=True)
class HandOver:
    """Let the game light its lamps by the board's table."""


@dataclass(frozen=True)
class Stop:
    """The screen is left: no more notices."""


@dataclass(frozen=True)
class Undo:
    """Take the last change of the map back."""


@dataclass(frozen=True)
class Watch:
    """The state. `total` inputs, 0 while not known; `on` their states, the first for input 1."""

    map: PlayfieldMap
    board: BoardView = field(default_factory=BoardView)
    total: int = 0
    on: tuple[bool, ...] = ()
    changes: tuple[Change, ...] = ()
    edges: tuple[tuple[int, int], ...] = ()
    edges_asked_s: float | None = None
    chosen: int = 0
    linger_ms: int = DEFAULT_LINGER_MS
    game_plays: bool = False
    message: str = ""
    unsaved: str = ""
    now_s: float = 0.0
    past: tuple[PlayfieldMap, ...] = ()

    @cached_property
    def table(self) -> LampTable:
        """What the map says each lamp lights."""
        return lamp_table(self.map)

    @cached_property
    def names(self) -> dict[int, str]:
        """Names of lamps by number, from the list, else from their places."""
        found: dict[int, str] = {}
        for place in self.map.places:
            for number in place.lamps:
                found.setdefault(number, place.label)
        found |= {row.number: " / ".join(row.names) for row in self.table.lamps if row.names}
        return found

    @property
    def recent(self) -> tuple[Change, ...]:
        """Inputs that changed in the last seconds, the newest first."""
        return tuple(c for c in self.changes if self.now_s - c.at_s <= RECENT_S)

    @property
    def choice(self) -> Change | None:
        """The chosen recent change."""
        recent = self.recent
        return recent[min(self.chosen, len(recent) - 1)] if recent else None

    @property
    def without_lamp(self) -> tuple[Place, ...]:
        """Places that no lamp and no group has, with pixels first."""
        free = [place for place in self.map.places if not has_job(place)]
        return tuple(sorted(free, key=lambda place: place.id not in self.map.pixels_at))

    def predicted(self, number: int) -> str:
        """What the map says an input lights."""
        row = self.table.lamp(number)
        places = [place.label for place in self.map.places if number in place.lamps]
        if row is None and not places:
            return "nothing: the map has no such lamp"
        pixels = " ".join(f"{p.output}:{p.number}" for p in row.pixels) if row is not None else ""
        return f"{', '.join(places) or 'no place'} ({'pixels ' + pixels if pixels else 'no pixel'})"


def start(m: PlayfieldMap) -> Watch:
    """The state before a board is there."""
    return Watch(m)


def step(watch: Watch, given: object, now_s: float) -> tuple[Watch, tuple[Effect, ...]]:
    """The state after a key or some news, and what is to be done."""
    watch = replace(watch, now_s=now_s)
    match given:
        case Choose(by):
            size = len(watch.recent)
            return (replace(watch, chosen=max(0, min(size - 1, watch.chosen + by))), ()) if size else (watch, ())
        case Learn(place, number):
            return _learn(watch, place, number)
        case Mismatch(time, seen):
            return _mismatch(watch, time, seen)
        case Forget():
            return replace(watch, changes=(), chosen=0, message="now press the target"), ()
        case ChangeLinger(by):
            return _linger(watch, by)
        case HandOver():
            if not _has(watch, "play"):
                return replace(watch, message="this board lights no lamps of the game by itself"), (RingBell(),)
            return watch, (GiveOrders((Play(Player.GAME),), "watch-play"),)
        case Stop():
            return watch, ((GiveOrders((WatchInputs(False),), "watch-off"),) if _has(watch, "inputs") else ())
        case Undo():
            if not watch.past:
                return replace(watch, message="nothing to undo"), (RingBell(),)
            m = watch.past[-1]
            return replace(watch, map=m, past=watch.past[:-1], message="undone"), (SaveMap(m),)
        case _:
            return _news(watch, given)


def _has(watch: Watch, feature: str) -> bool:
    return watch.board.identity is not None and watch.board.identity.has(feature)


def _news(watch: Watch, news: object) -> tuple[Watch, tuple[Effect, ...]]:
    match news:
        case BoardHere(identity):
            fresh = {"total": 0, "on": (), "edges": (), "edges_asked_s": None, "game_plays": False}
            watch = replace(watch, board=board_view(watch.board, news), **fresh)  # type: ignore[arg-type]
            if not identity.has("inputs"):
                return replace(watch, message="this board reads no lamp inputs of the game"), ()
            orders: list[Order] = [ReadInputs(1), WatchInputs(True)]
            if identity.has("play"):
                orders.append(Play())
            return watch, (GiveOrders(tuple(orders), "watch-on"),)
        case BoardGone():
            return replace(watch, board=board_view(watch.board, news), total=0, on=(), edges=()), ()
        case InputsTold(first, on):
            return _told(watch, first, on), ()
        case Answered(tag, replies):
            return _answered(watch, tag, replies)
        case NotAnswered(tag, why) if tag.startswith("watch"):
            return replace(watch, message=why), ()
        case GameHasPixels():
            return replace(watch, game_plays=True), ()
        case Saved():
            return replace(watch, unsaved=""), ()
        case NotSaved(why):
            return replace(watch, unsaved=why), (RingBell(),)
        case Tick():
            return _tick(watch)
        case _:
            return replace(watch, board=board_view(watch.board, news)), ()  # type: ignore[arg-type]


def _answered(watch: Watch, tag: str, replies: tuple[Reply, ...]) -> tuple[Watch, tuple[Effect, ...]]:
    if not tag.startswith("watch"):
        return watch, ()
    rest: tuple[Effect, ...] = ()
    for reply in replies:
        match reply:
            case InputStates(first, total, on):
                states = list(watch.on) + [False] * (total - len(watch.on))
                states[first - 1 : first - 1 + len(on)] = on
                watch = replace(watch, total=total, on=tuple(states[:total]))
                if first == 1 and total > INPUTS_A_REPLY:
                    more = tuple(ReadInputs(at) for at in range(1 + INPUTS_A_REPLY, total + 1, INPUTS_A_REPLY))
                    rest = (GiveOrders(more, "watch-more"),)
            case EdgeCounts(first, counts):
                watch = _counted(watch, first, counts)
            case PlayState():
                watch = replace(watch, game_plays=reply.player is Player.GAME)
            case LingerSet(linger_ms):
                watch = replace(watch, linger_ms=linger_ms, message=f"hold-on time {linger_ms} ms")
    return watch, rest


def _told(watch: Watch, first: int, on: tuple[bool, ...]) -> Watch:
    count = watch.total or first - 1 + len(on)
    states = list(watch.on) + [False] * (count - len(watch.on))
    for number, now in enumerate(on, start=first):
        if number <= count and states[number - 1] != now:
            states[number - 1] = now
            watch = _changed(watch, number, now, times=0)
    return replace(watch, on=tuple(states))


def _changed(watch: Watch, number: int, on: bool, *, times: int) -> Watch:
    """The newest change first; the choice stays on what it was on."""
    chosen = watch.choice
    before = next((change for change in watch.changes if change.number == number), None)
    counted = (before.times if before is not None else 0) + times
    change = Change(number, on, watch.now_s, counted)
    rest = tuple(c for c in watch.changes if c.number != number and watch.now_s - c.at_s <= RECENT_S * 4)
    watch = replace(watch, changes=(change, *rest))
    if chosen is not None and watch.chosen:
        at = next((i for i, c in enumerate(watch.recent) if c.number == chosen.number), 0)
        watch = replace(watch, chosen=at)
    return watch


def _counted(watch: Watch, first: int, counts: tuple[int, ...]) -> Watch:
    known = dict(watch.edges)
    for number, count in enumerate(counts, start=first):
        before = known.get(number)
        if before is not None and count != before:
            watch = _pulsed(watch, number, (count - before) % 65_536)
        known[number] = count
    return replace(watch, edges=tuple(sorted(known.items())))


def _pulsed(watch: Watch, number: int, times: int) -> Watch:
    """Edges of a change that was told already belong to it; others are a change of their own, though unseen."""
    told = next((c for c in watch.changes if c.number == number and watch.now_s - c.at_s <= EDGES_EVERY_S + 1), None)
    if told is not None:
        counted = replace(told, times=told.times + times)
        return replace(watch, changes=tuple(counted if c is told else c for c in watch.changes))
    on = watch.on[number - 1] if number <= len(watch.on) else False
    return _changed(watch, number, on, times=times)


def _tick(watch: Watch) -> tuple[Watch, tuple[Effect, ...]]:
    asked = watch.edges_asked_s
    if not watch.total or not _has(watch, "inputs") or (asked is not None and watch.now_s - asked < EDGES_EVERY_S):
        return watch, ()
    orders = tuple(ReadEdges(first) for first in range(1, watch.total + 1, EDGES_A_REPLY))
    return replace(watch, edges_asked_s=watch.now_s), (GiveOrders(orders, "watch-edges"),)


def _linger(watch: Watch, by: int) -> tuple[Watch, tuple[Effect, ...]]:
    if not _has(watch, "inputs"):
        return replace(watch, message="this board reads no lamp inputs of the game"), (RingBell(),)
    at = min(range(len(LINGERS_MS)), key=lambda i: abs(LINGERS_MS[i] - watch.linger_ms))
    wanted = LINGERS_MS[max(0, min(len(LINGERS_MS) - 1, at + by))]
    return watch, (GiveOrders((Linger(wanted),), "watch-linger"),)


def _with_map(watch: Watch, m: PlayfieldMap, message: str) -> tuple[Watch, tuple[Effect, ...]]:
    return replace(watch, map=m, past=(*watch.past, watch.map)[-MOST_UNDO:], message=message), (SaveMap(m),)


def _learn(watch: Watch, place_id: str, number: int | None) -> tuple[Watch, tuple[Effect, ...]]:
    if number is None and watch.choice is not None:
        number = watch.choice.number
    if number is None:
        return replace(watch, message="nothing changed lately: press the target, then choose it here"), (RingBell(),)
    place = watch.map.place_by_id.get(place_id)
    if place is None:
        return watch, (RingBell(),)
    changed, effects = _with_map(watch, learned(watch.map, place, number), f"{place.label} is lamp {number}")
    return replace(changed, changes=tuple(c for c in watch.changes if c.number != number), chosen=0), effects


def learned(m: PlayfieldMap, place: Place, number: int) -> PlayfieldMap:
    """The map with a place on lamp `number`; a row for it is put into the list if there is none."""
    row = next((lamp for lamp in m.lamps if lamp.number == number), None)
    if row is None:
        row = Lamp(number=number, name=place.label, area=place.area, kind=place.kind)
        m = set_lamps(m, _in_order((*m.lamps, row)))
    return join(m, place.id, row)


def _in_order(lamps: Iterable[Lamp]) -> tuple[Lamp, ...]:
    """A new last row moved before the first row of a higher number, so that a list by number stays one."""
    *rest, new = lamps
    at = next((i for i, lamp in enumerate(rest) if lamp.number is not None and lamp.number > (new.number or 0)), None)
    return (*rest, new) if at is None else (*rest[:at], new, *rest[at:])


def _mismatch(watch: Watch, time: str, seen: str) -> tuple[Watch, tuple[Effect, ...]]:
    choice = watch.choice
    m = watch.map
    if seen and m.observations and m.observations[-1].seen == NOT_YET_SAID:
        last = m.observations[-1]
        m = drop_observation(m, len(m.observations) - 1)
        m = add_observation(m, time=last.time, lamp=last.lamp, predicted=last.predicted, seen=seen)
        return _with_map(watch, m, "noted")
    if choice is None:
        return replace(watch, message="nothing changed lately: choose the input that misbehaves"), (RingBell(),)
    predicted = watch.predicted(choice.number)
    m = add_observation(m, time=time, lamp=choice.number, predicted=predicted, seen=seen or NOT_YET_SAID)
    return _with_map(watch, m, f"lamp {choice.number} noted; type what you saw, if you like")
