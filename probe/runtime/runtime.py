"""The runtime: events in, effects out, and what a task wants lit is lit, as far as the board confirms it.

It owns the one document, a stack of tasks, the board of a link, and nothing that is drawn. Four promises hold here and
nowhere else:

1. Saved, then lit: an order that may light something is sent only while every change of the map is on disk. Darkening is
   never held back. The check stands in `_order`, before each single order, so no path leads round it.
2. Lit means confirmed: what is believed lit is set after the board's reply to the last order of exactly that light, and
   forgotten at every sign that it may not hold: loss, restart, silence, refusal. An *epoch* counts those signs; a reply
   that comes in another epoch than its order went out in counts for nothing.
3. Light is a value: one worker compares what the task in hand wants with what is confirmed, sets outputs up, orders,
   and asks again. A light that is wanted no more by the time its turn comes is never sent.
4. Nothing is dropped: see `end`.

A question (`Ask`) is answered exactly once: by its replies, or by why there are none.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol

from device_protocol.errors import ProtocolFault
from probe.document.document import Document, Scope, Unsaved
from probe.document.file.errors import StorageError
from probe.link.daemon_thread import run_in_daemon
from probe.runtime.ending import run_blocking, save_document
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import (
    Alternate,
    AsBelow,
    BoardPattern,
    ByTable,
    Dark,
    Game,
    HandsOff,
    Light,
    OutputSetup,
    Pixels,
    lights_something,
)
from probe.task.task import AnyTask, BoardView, CannotOpenError, Opened, TaskState, by_default

# Link and orders are imported where a board is spoken to: the first screen is drawn before that.
if TYPE_CHECKING:
    from device_protocol.orders import Identity, Order, Reply
    from probe.link import LinkEvent
    from probe.task.screen import ScreenEvent

log = logging.getLogger(__name__)

TICK_S = 0.5
SHOWN_AFTER_S = 0.3
"""What takes longer is shown."""
LEAST_HALF_S = 0.17
"""Two pictures in turn change at most three times a second, whatever a task asks for."""

Maker = Callable[[Opened], tuple[AnyTask, TaskState]]
"""Makes a task and its first state."""


class Board(Protocol):
    """What the runtime needs of a link."""

    @property
    def identity(self) -> Identity | None:
        """The board now connected."""

    async def do(self, order: Order) -> Reply:
        """Carry out one order. Raises LinkError or OrderRefused."""


@dataclass(eq=False)
class OpenTask:
    """A task on the stack, its state, and the document's scope that ends with it."""

    name: str
    task: AnyTask
    state: Any
    scope: Scope | None = None
    withheld: str = ""
    """The message to show once the map is on disk."""


@dataclass(eq=False)
class _OpenQuestion:
    layer: OpenTask
    ask: fx.Ask
    epoch: int
    begun_s: float
    done: int = 0
    stopped: bool = False


@dataclass(frozen=True)
class Work:
    """Something that a task waits for: what, for how long already, how far it is (`total` 0: nobody knows), and whether Esc
    stops it."""

    words: str
    for_s: float
    done: int = 0
    total: int = 0
    can_stop: bool = False


class _Stale(Exception):  # noqa: N818 - no fault: the world changed meanwhile
    """The board was lost, restarted or went dark while an order was out."""


class _Held(Exception):  # noqa: N818 - no fault
    """The order would light something while an answer is not on disk."""


class _CannotShow(Exception):  # noqa: N818 - no fault
    """This board cannot show what is wanted. The text says why."""


_FACTS = (
    ev.BoardChanged,
    ev.Answered,
    ev.NotAnswered,
    ev.JobDone,
    ev.JobStopped,
    ev.MapChanged,
    ev.MapSaved,
    ev.MapNotSaved,
    ev.TaskClosed,
    ev.GameInputs,
    ev.GameTookPixels,
    ev.WentDarkByItself,
    ev.LineTrouble,
    ev.SettingChanged,
    ev.Tick,
)


def forgets_question(event: object) -> bool:
    """Whether after this event undo and redo beyond the session ask again: every key but those two."""
    return not isinstance(event, (*_FACTS, ev.Undo, ev.Redo))


def travel(document: Document, where: object | None, *, redo: bool) -> ev.MapChanged | str:
    """Undo or redo on the document: the event for the task, or why nothing changed."""
    travelled = document.redo(where) if redo else document.undo(where)
    if not travelled.changed:
        return travelled.words
    words = travelled.words if travelled.where is None else "done again" if redo else "undone"
    return ev.MapChanged(words, travelled.where)


class Runtime:
    """See the module's page. Make it and use it on one running event loop; it owns no port and starts threads only to save
    and for jobs.

    `makers`: task by name. `options`: what every task's maker is given beside map and facts. `bell` sounds the terminal's
    bell, `notify` shows a passing message, `on_change` is called (once for any number of events) when something may have to be
    drawn again, `on_fault` is given an exception that no effect may raise; without it the worker stops at one. `on_bottom` is
    called when the last task is left, with what it came to, `on_not_saved` when a save fails that a person asked for again.
    `on_setting` puts a setting into effect, and remembers it; `on_game` plays a simulated game, `on_table`
    remembers what the board holds; `on_screen` does what only screens can.
    """

    def __init__(
        self,
        document: Document,
        makers: Mapping[str, Maker],
        *,
        options: Callable[[], Mapping[str, object]] = dict,
        bell: Callable[[], None] = lambda: None,
        notify: Callable[[str], None] = lambda _: None,
        on_change: Callable[[], None] = lambda: None,
        on_bottom: Callable[[object], None] = lambda _: None,
        on_not_saved: Callable[[], None] = lambda: None,
        on_setting: Callable[[str, object], None] = lambda name, value: None,
        on_table: Callable[[int], None] = lambda crc: None,
        on_game: Callable[[int | None], None] = lambda lamp: None,
        on_screen: Callable[[ScreenEvent], None] = lambda event: None,
        on_fault: Callable[[Exception], None] | None = None,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.document = document
        self.layers: list[OpenTask] = []
        self._makers = makers
        self._options = options
        self._bell = bell
        self._notify = notify
        self._on_change = on_change
        self._on_bottom = on_bottom
        self._on_not_saved = on_not_saved
        self._on_setting = on_setting
        self._on_game = on_game
        self._on_screen = on_screen
        self._on_table = on_table
        self._on_fault = on_fault
        self._now_s = now_s
        self._events: deque[tuple[OpenTask | None, object]] = deque()
        self._draining = False
        self._change_due = False
        self._workers: list[asyncio.Task[None]] = []
        self._jobs: dict[asyncio.Task[None], tuple[OpenTask, fx.Job, float]] = {}
        self._asked: _OpenQuestion | None = None
        self._work_timer: asyncio.TimerHandle | None = None
        self._unlit_since_s: float | None = None
        self._woken = False
        self._waiter: asyncio.Future[None] | None = None
        self._save_due = asyncio.Event()
        self._idle = asyncio.Event()
        self._saving = False
        self._asked_again = False
        self._outcomes: list[asyncio.Future[None]] = []
        self._paused = False
        self._ending = False

        self._board: Board | None = None
        self._words = "no board"
        self._trouble = ""
        self._epoch = 0
        self._presses = 0
        self._questions: deque[_OpenQuestion] = deque()
        self._setups: dict[int, OutputSetup] = {}
        self._shown: dict[int, object] = {}
        self._unknown = True
        self._confirmed: Light | None = None
        self._refused: tuple[Light, str] | None = None
        self._alternating: Alternate | None = None
        self._half = 0
        self._half_at_s = 0.0
        self._halves_seen: set[int] = set()
        self._view = BoardView()

    # -- the stack of tasks ---------------------------------------------------------------------------------------------

    @property
    def top(self) -> OpenTask | None:
        """The task in hand."""
        return self.layers[-1] if self.layers else None

    @property
    def board(self) -> BoardView:
        """The board as it is now."""
        return self._view

    @property
    def running(self) -> bool:
        """Whether events are still carried out: between `start` and `end`."""
        return bool(self._workers)

    def start(self) -> None:
        """Begin to work."""
        if not self._workers and not self._ending:
            self._workers = [
                asyncio.create_task(self._keep(), name="runtime: light and questions"),
                asyncio.create_task(self._tick(), name="runtime: ticks"),
                asyncio.create_task(self._save(), name="runtime: saving"),
            ]

    def open(self, name: str, facts: object = None) -> None:
        """Open a task on top of the others."""
        self._events.append((None, fx.Open(name, facts)))
        self._drain()

    def dispatch(self, event: object, layer: OpenTask | None = None) -> None:
        """Give the task in hand (or the one of a layer that is still there) an event. Returns at once."""
        if forgets_question(event):
            self.document.forget_question()
        self._events.append((layer, event))
        self._drain()

    def seen(self, layer: OpenTask) -> Any:
        """A layer's state with map and board as they are now."""
        document = self.document
        map_ = document.map if document.has_map else None
        unsaved = document.save.why if isinstance(document.save, Unsaved) else ""
        return layer.task.seen(layer.state, map_, self._view, unsaved)

    def _drain(self) -> None:
        if self._draining or self._ending:
            return
        self._draining = True
        try:
            while self._events:
                layer, event = self._events.popleft()
                if isinstance(event, fx.Open):
                    self._open(event.task, event.facts)
                else:
                    self._handle(layer, event)
        finally:
            self._draining = False
        if not self.document.is_saved:
            self._save_due.set()
        else:
            self._say_saved()
        self._poke()

    def _say_saved(self) -> None:
        """All is on disk: what was done may be announced now."""
        for layer in self.layers:
            if layer.withheld:
                layer.state = replace(layer.state, message=layer.state.message or layer.withheld)
                layer.withheld = ""

    def _poke(self) -> None:
        """Something changed: look again at what should be lit, and draw."""
        self._idle.clear()
        self._rouse()
        self._redraw_soon()

    def _redraw_soon(self) -> None:
        """Draw after the worker has had its turn: light goes out before it is drawn."""
        if not self._change_due:
            self._change_due = True
            asyncio.get_running_loop().call_soon(self._redraw)

    def _redraw(self) -> None:
        self._change_due = False
        self._on_change()

    def _handle(self, layer: OpenTask | None, event: object) -> None:
        target = layer or self.top
        if target is None or target not in self.layers:
            return
        if isinstance(event, ev.Leave) and self._stop_work(target):
            return
        state = self.seen(target)
        found = target.task.step(state, event, self._now_s())
        if found is not None:
            self._became(target, found)
            return
        if isinstance(event, ev.GoOpen):
            self._open(event.task, None)
            return
        target.state, effects = by_default(state, event)
        for effect in effects:
            self._perform(target, effect, state)

    def _became(self, layer: OpenTask, found: tuple[Any, fx.Effects]) -> None:
        before, layer.state = layer.state, found[0]
        version = self.document.version
        if layer.state.message:
            layer.withheld = ""
        for effect in found[1]:
            self._perform(layer, effect, before)
        if self.document.version != version:
            # that an answer is taken is shown when it is on disk, not before
            layer.withheld = layer.state.message
            layer.state = replace(layer.state, message="")

    def _perform(self, layer: OpenTask, effect: fx.Effect, before: Any) -> None:
        match effect:
            case fx.Commit(map_, words, where):
                self.document.commit(map_, words, layer.task.where(before) if where is None else where)
            case fx.Ask():
                self._questions.append(_OpenQuestion(layer, effect, self._epoch, self._now_s()))
                self._show_work_later()
            case fx.Bell():
                self._bell()
            case fx.NoteTable(crc):
                self._on_table(crc)
            case fx.PlayGame(lamp):
                self._on_game(lamp)
            case fx.OnScreen(event):
                self._on_screen(event)
            case fx.ChangeSetting(name, value):
                self._on_setting(name, value)
                self._events.extend((other, ev.SettingChanged(name, value)) for other in self.layers)
            case fx.Notify(words):
                self._notify(words)
            case fx.Job():
                job = asyncio.get_running_loop().create_task(self._compute(layer, effect))
                self._jobs[job] = (layer, effect, self._now_s())
                job.add_done_callback(lambda done: self._jobs.pop(done, None))
                self._show_work_later()
            case fx.MakeRevision(reason):
                self._revise(layer, reason)
            case fx.TakeBack(redo):
                self._travel(layer, redo=redo)
            case fx.TryAgain():
                self.try_again()
            case fx.Open():
                self._events.append((None, effect))
            case fx.Instead(task, facts):
                self._pop(layer)
                self._events.append((None, fx.Open(task, facts)))
            case fx.Below(event):
                at = self.layers.index(layer)
                if at:
                    self._events.append((self.layers[at - 1], event))
            case fx.Close(result):
                self._close(layer, result)

    def _revise(self, layer: OpenTask, reason: str) -> None:
        """What is pending becomes a revision; of a task with revisions of its own, what it did since the last."""
        if layer.scope is None:
            self.document.close(reason)
        else:
            layer.scope.end(reason or layer.task.reason(layer.state))
            layer.scope = self.document.scope(layer.name)

    def _travel(self, layer: OpenTask, *, redo: bool) -> None:
        event = travel(self.document, layer.task.where(layer.state), redo=redo)
        if isinstance(event, ev.MapChanged):
            self._events.append((layer, event))
        else:
            layer.state = replace(layer.state, message=event)
            self._bell()

    def _open(self, name: str, facts: object) -> None:
        """Put a task on top; one that is open already is gone back to."""
        if any(layer.name == name for layer in self.layers):
            closed = None
            while self.layers[-1].name != name:
                closed = self.layers[-1]
                self._pop(closed)
            if closed is not None:
                self._events.append((self.top, ev.TaskClosed(closed.name, None)))
            return
        map_ = self.document.map if self.document.has_map else None
        facts = self._pixel_in_hand() if facts is None else facts
        try:
            task, state = self._makers[name](Opened(map=map_, facts=facts, **self._options()))  # type: ignore[arg-type]
        except CannotOpenError as error:
            if not self.layers:
                raise
            below = self.layers[-1]
            below.state = replace(below.state, message=str(error))
            self._bell()
            return
        scope = self.document.scope(name) if task.own_revision else None
        layer = OpenTask(name, task, state, scope)
        self.layers.append(layer)
        self._became(layer, task.begin(self.seen(layer), self._now_s()))

    def _pixel_in_hand(self) -> tuple[str, int | None] | None:
        """Chain and number where the person is, by the uppermost task that knows them."""
        if not self.document.has_map:
            return None
        for layer in reversed(self.layers):
            match layer.task.where(self.seen(layer)):
                case (str() as chain, (int() | None) as number) if chain in self.document.map.chain_by_id:
                    return chain, number
        return None

    def _pop(self, layer: OpenTask) -> None:
        self.layers.remove(layer)
        if layer.scope is not None:
            layer.scope.end(layer.task.reason(layer.state))

    def _close(self, layer: OpenTask, result: object) -> None:
        if len(self.layers) == 1:
            self._on_bottom(result)
            return
        self._pop(layer)
        self._events.append((self.top, ev.TaskClosed(layer.name, result)))

    def close_last(self) -> None:
        """Close the only task there is: what it lies over is no task."""
        if len(self.layers) == 1:
            self._pop(self.layers[-1])
            self._poke()

    def try_again(self) -> None:
        """Save again if the last save failed, and light again what should be lit."""
        self._asked_again = isinstance(self.document.save, Unsaved)
        self.document.retry()
        self._refused = None
        self._forget()

    # -- the board ------------------------------------------------------------------------------------------------------

    def attach(self, board: Board | None) -> None:
        """From now on this is the link; None: there is none."""
        self._board = board
        self._new_epoch("no board" if board is None else self._words, "")

    def link_event(self, event: LinkEvent) -> None:
        """Pass this to the link as its `on_event`."""
        from device_protocol.orders import ButtonNotice, DarkNotice, InputsNotice, PlayNotice
        from probe.link import Connected, Lost, NoticeArrived, PortOpening, Waiting, WireNote

        match event:
            case PortOpening(port, attempt):
                again = f", attempt {attempt}" if attempt > 1 else ""
                self._words = f"opening {port}{again}"
                self._board_changed()
            case Waiting(what, left_s):
                self._words = f"waiting for {what} ({left_s:.0f} s left)"
                self._board_changed()
            case Connected(identity, _, _):
                self._presses = 0
                self._new_epoch(f"{identity.board} {identity.build}", "")
            case Lost(error, _):
                here = self._view.here
                self._new_epoch(error.what, str(error))
                if here:
                    self._bell()  # once, not at every attempt to find it again
            case NoticeArrived(ButtonNotice(total)):
                times, self._presses = max(1, total - self._presses), total
                self.dispatch(ev.StepButton(times))
            case NoticeArrived(DarkNotice()):
                self._forget()
                self.dispatch(ev.WentDarkByItself())
            case NoticeArrived(InputsNotice(first, on)):
                self.dispatch(ev.GameInputs(first, on))
            case NoticeArrived(PlayNotice()):
                self._forget()
                self.dispatch(ev.GameTookPixels())
            case WireNote():
                log.info("link: %s", event)
                self.dispatch(ev.LineTrouble())
            case _:
                log.info("link: %s", event)

    def _new_epoch(self, words: str, trouble: str) -> None:
        """The board is another one, or none: nothing that was known of it holds, and no question is out any more."""
        self._words, self._trouble = words, trouble
        self._setups.clear()
        self._refused = None
        # what is asked of the new board, as soon as it is known to be there, is not among these
        void, self._questions = self._questions, deque()
        self._forget()
        for question in void:
            self._not_answered(question, trouble or "the board restarted before it was asked")
        self._board_changed()

    def _forget(self) -> None:
        """What is lit is not known any more."""
        self._epoch += 1
        self._confirmed = None
        self._unknown = True
        self._shown.clear()
        self._alternating = None
        self._board_changed()

    def _board_changed(self) -> None:
        """Dispatch `BoardChanged` to the task in hand if its view of the board differs now."""
        identity = self._board.identity if self._board is not None else None
        refused = self._refused[1] if self._refused is not None else ""
        view = BoardView(identity, self._words, self._trouble, self._confirmed if identity else None, refused)
        if view != self._view:
            self._view = view
            self._events.append((None, ev.BoardChanged()))
            self._drain()

    # -- light and questions: one order at a time -------------------------------------------------------------------------

    def _wanted(self) -> Light:
        for layer in () if self._ending or self._paused else reversed(self.layers):
            light = layer.task.light(self.seen(layer))
            if not isinstance(light, AsBelow):
                return light
        return Dark()

    async def _keep(self) -> None:
        while True:
            self._woken = False
            busy = False
            try:
                busy = await self._once()
            except Exception as exc:
                self._fault(exc)
            if busy or self._woken:
                continue
            self._idle.set()
            await self._pause(self._until_next_half_s())

    async def _pause(self, most_s: float | None) -> None:
        """Until something changes, or for so long. A bare future: the order goes out before anything is drawn."""
        loop = asyncio.get_running_loop()
        self._waiter = loop.create_future()
        timer = loop.call_later(most_s, self._rouse) if most_s is not None else None
        try:
            await self._waiter
        finally:
            self._waiter = None
            if timer is not None:
                timer.cancel()

    def _rouse(self) -> None:
        self._woken = True
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    def _fault(self, exc: Exception) -> None:
        log.error("an effect failed", exc_info=exc)
        if self._on_fault is None:
            raise exc
        self._on_fault(exc)

    async def _once(self) -> bool:
        """One thing: bring the light nearer to what is wanted, else ask a question. False if there is nothing to do."""
        if await self._light_once():
            return True
        if self._questions:
            self._asked = self._questions.popleft()
            try:
                await self._put(self._asked)
            finally:
                self._asked = None
            return True
        return False

    async def _light_once(self) -> bool:
        board = self._board
        identity = board.identity if board is not None else None
        since, self._unlit_since_s = self._unlit_since_s, None
        if board is None or identity is None:
            return False
        from probe.link import LinkError, OrderRefused
        from probe.runtime.light_orders import why_not

        wanted = self._wanted()
        if isinstance(wanted, HandsOff):
            if self._confirmed is not None or not self._unknown:
                self._forget()
            return False
        if self._refused is not None:
            if self._refused[0] == wanted:
                return False
            self._refused = None
        self._forget_what_is_driven_otherwise(identity)
        if isinstance(wanted, Alternate):
            if wanted == self._alternating and self._now_s() < self._half_at_s:
                return False
        elif wanted == self._confirmed:
            return False
        epoch = self._epoch
        if lights_something(wanted) and not isinstance(wanted, Alternate):
            self._unlit_since_s = self._now_s() if since is None else since
            self._show_work_later()
        try:
            await self._show(board, identity, wanted)
        except (_Stale, _Held) as exc:
            return isinstance(exc, _Stale)
        except (LinkError, OrderRefused, ProtocolFault, _CannotShow) as exc:
            if self._epoch == epoch:
                self._cannot(wanted, why_not(exc))
            return True
        return True

    def _cannot(self, wanted: Light, why: str) -> None:
        """The board did not show it: nothing is believed lit, and it is not asked again until something else is wanted."""
        self._unlit_since_s = None
        self._forget()
        self._refused = (wanted, why)
        self._bell()
        self._board_changed()

    async def _order(self, board: Board, order: Order, *, lights: bool) -> Reply:
        """Send one order; raises _Held if it may light something while the map is not on disk, _Stale if it is void."""
        if lights and not self.document.is_saved:
            raise _Held
        epoch = self._epoch
        reply = await board.do(order)
        if self._epoch != epoch:
            raise _Stale
        return reply

    async def _change(self, board: Board, order: Order, wanted: Light, *, lights: bool = False) -> None:
        """Send an order that changes what is lit: from here on what was confirmed before does not hold."""
        if lights and not self.document.is_saved:
            raise _Held
        if self._confirmed is not None and self._confirmed != wanted:
            self._confirmed = None
            self._board_changed()
        await self._order(board, order, lights=lights)

    async def _show(self, board: Board, identity: Identity, wanted: Light) -> None:
        """Bring the board to this light, output by output; stops early if something else is wanted meanwhile."""
        from device_protocol.orders import Darken
        from probe.runtime.light_orders import part_orders, parts_of, setup_for

        target: Light = wanted
        if isinstance(wanted, Alternate):
            if wanted != self._alternating:
                self._alternating, self._half = wanted, 0
                self._halves_seen.clear()
            target = wanted.b if self._half else wanted.a
        else:
            self._alternating = None
        if self._unknown or any(
            isinstance(shown, (ByTable, Game)) and shown != target for shown in self._shown.values()
        ):
            await self._change(board, Darken(), wanted)
            self._shown.clear()
            self._unknown = False
        if isinstance(target, (ByTable, Game)):
            await self._show_whole(board, identity, target)
        elif not isinstance(target, (Alternate, HandsOff, AsBelow)):
            parts = parts_of(target)
            for output in [output for output in self._shown if output not in parts]:
                await self._change(board, Darken(output), wanted)
                self._shown.pop(output, None)
            for output, part in parts.items():
                if self._shown.get(output) == part:
                    continue
                if output >= identity.outputs:
                    raise _CannotShow(f"the board has no output {output}: it has {identity.outputs}")
                setup = await self._set_up(board, wanted, output, setup_for(output, self._map(), identity, part))
                for order in part_orders(part, identity, setup):
                    await self._change(board, order, wanted, lights=True)
                self._shown[output] = part
                if self._wanted() != wanted:
                    return
        self._done(wanted)

    async def _show_whole(self, board: Board, identity: Identity, target: ByTable | Game) -> None:
        from device_protocol.orders import Play, Player
        from probe.runtime.light_orders import outputs_of, table_order

        for output, setup in outputs_of(self._map(), identity).items():
            await self._set_up(board, target, output, setup)
        order = table_order(target) if isinstance(target, ByTable) else Play(Player.GAME)
        await self._change(board, order, target, lights=True)
        self._shown = {-1: target}

    async def _set_up(self, board: Board, wanted: Light, output: int, setup: OutputSetup | None) -> OutputSetup | None:
        known = self._setups.get(output)
        if setup is None or setup == known:
            return known
        from probe.runtime.light_orders import setup_order

        await self._change(board, setup_order(output, setup), wanted)
        self._setups[output] = setup
        return setup

    def _forget_what_is_driven_otherwise(self, identity: Identity) -> None:
        """Where by now the map has an output driven otherwise, its pixels do not show what was sent."""
        from probe.runtime.light_orders import setup_for

        stale = [
            output
            for output, part in self._shown.items()
            if isinstance(part, (Pixels, BoardPattern))
            and setup_for(output, self._map(), identity, part) not in (None, self._setups.get(output))
        ]
        for output in stale:
            self._shown[output] = None  # something of unknown colour, still to be darkened
        if stale:
            self._confirmed = self._alternating = None
            self._board_changed()

    def _map(self) -> Any:
        return self.document.map if self.document.has_map else None

    def _done(self, wanted: Light) -> None:
        """The board has confirmed the whole of it."""
        if isinstance(wanted, Alternate):
            self._halves_seen.add(self._half)
            self._half_at_s = self._now_s() + max(LEAST_HALF_S, wanted.half_s)
            self._half = 1 - self._half
            if len(self._halves_seen) < 2:
                return
        self._unlit_since_s = None
        if self._confirmed != wanted:
            self._confirmed = wanted
            self._board_changed()

    def _until_next_half_s(self) -> float | None:
        if not self._view.here or not isinstance(self._wanted(), Alternate) or self._refused is not None:
            return None
        return max(0.0, self._half_at_s - self._now_s())

    async def _put(self, question: _OpenQuestion) -> None:
        """Ask the board; the answer, or why there is none, goes to the task that asked."""
        board, ask = self._board, question.ask
        replies: list[Reply] = []
        if board is None or board.identity is None:
            self._not_answered(question, "no board: plug it in, or pick its port")
            return
        from probe.link import LinkError, OrderRefused
        from probe.runtime.light_orders import why_not

        try:
            for order in ask.orders:
                if question.stopped:
                    return
                replies.append(await self._order(board, order, lights=False))
                question.done += 1
                self._board_changed()
        except (LinkError, OrderRefused, ProtocolFault) as exc:
            if question.stopped:
                return
            code = exc.code if isinstance(exc, OrderRefused) else None
            self.dispatch(ev.NotAnswered(ask.tag, why_not(exc), code, tuple(replies)), question.layer)
        except _Stale:
            if question.stopped:
                return
            why = self._trouble or "the board restarted meanwhile"
            self.dispatch(ev.NotAnswered(ask.tag, why, None, tuple(replies)), question.layer)
        else:
            if question.stopped:
                return
            self.dispatch(ev.Answered(ask.tag, tuple(replies)), question.layer)

    def _not_answered(self, question: _OpenQuestion, why: str) -> None:
        self._events.append((question.layer, ev.NotAnswered(question.ask.tag, why)))
        self._drain()

    # -- what takes long ----------------------------------------------------------------------------------------------------

    def work(self, layer: OpenTask) -> Work | None:
        """What a task waits for, longest first, if it takes long enough to be shown."""
        now_s = self._now_s()
        asked = [question for question, _ in self._foreground(layer)]
        found = [(question.begun_s, self._asking_work(question, now_s)) for question in asked]
        found += [(begun_s, _job_work(job, now_s - begun_s)) for of, job, begun_s in self._jobs.values() if of is layer]
        if self._unlit_since_s is not None and layer is self.top and self._refused is None:
            waited_s = now_s - self._unlit_since_s
            found.append((self._unlit_since_s, Work("waiting for the board to light it", waited_s)))
        long = [(begun_s, work) for begun_s, work in found if work.for_s >= SHOWN_AFTER_S]
        return min(long, key=lambda each: each[0])[1] if long else None

    def _foreground(self, layer: OpenTask) -> list[tuple[_OpenQuestion, bool]]:
        """A task's questions with words, each with whether it is being asked."""
        found = [(self._asked, True)] if self._asked is not None else []
        found += [(question, False) for question in self._questions]
        return [(q, out) for q, out in found if q.layer is layer and q.ask.words and not q.stopped]

    @staticmethod
    def _asking_work(question: _OpenQuestion, now_s: float) -> Work:
        ask = question.ask
        total = ask.of or len(ask.orders)
        return Work(ask.words, now_s - question.begun_s, ask.before + question.done, total, can_stop=True)

    def _stop_work(self, layer: OpenTask) -> bool:
        """Stop what a task waits for, if it is shown and can be stopped: Esc does that before it leaves anything."""
        work = self.work(layer)
        if work is None or not work.can_stop:
            return False
        for question, out in self._foreground(layer):
            question.stopped = True
            if not out:
                self._questions.remove(question)
            self._events.append((layer, ev.NotAnswered(question.ask.tag, f"stopped: {question.ask.words}")))
        for task, (of, job, _) in list(self._jobs.items()):
            if of is layer:
                job.progress.stopped = True
                task.cancel()
                self._jobs.pop(task, None)
                self._events.append((layer, ev.JobStopped(job.tag)))
        return True

    def _show_work_later(self) -> None:
        """Draw again while something takes long, so that it is seen to go on."""
        if self._work_timer is None:
            self._work_timer = asyncio.get_running_loop().call_later(SHOWN_AFTER_S, self._show_work)

    def _show_work(self) -> None:
        self._work_timer = None
        if self._jobs or self._questions or self._asked is not None or self._unlit_since_s is not None:
            self._redraw_soon()
            self._work_timer = asyncio.get_running_loop().call_later(TICK_S, self._show_work)

    # -- saving, jobs, ticks ----------------------------------------------------------------------------------------------

    async def _save(self) -> None:
        while True:
            await self._save_due.wait()
            self._save_due.clear()
            while (job := self.document.save_job()) is not None:
                self._saving = True
                error: Exception | None = None
                try:
                    await run_blocking(job.run, what="the map")
                except (StorageError, OSError) as exc:
                    log.exception("saving failed")
                    error = exc
                except Exception as exc:
                    error = exc
                    self._fault(exc)
                finally:
                    self._saving = False
                self.document.finished(job, error)
                asked, self._asked_again = self._asked_again, False
                if error is not None:
                    self._bell()
                    self.dispatch(ev.MapNotSaved(str(error)))
                    if asked:
                        self._on_not_saved()
                elif self.document.is_saved:
                    self.dispatch(ev.MapSaved())
            outcomes, self._outcomes = self._outcomes, []
            for outcome in outcomes:
                if not outcome.done():
                    outcome.set_result(None)
            self._poke()

    async def saved_within(self, seconds: float) -> bool | None:
        """Try the save again now; whether all is on disk then. None if the disk has not answered by then."""
        if self.running and not self.document.is_saved:
            self._asked_again = False
            self.document.retry()
            outcome = asyncio.get_running_loop().create_future()
            self._outcomes.append(outcome)
            self._save_due.set()
            await asyncio.wait([outcome], timeout=seconds)
            if not outcome.done():
                return None
        return self.document.is_saved

    async def save_as(self, path: str, seconds: float) -> bool | None:
        """Go on in a new file; as `saved_within`. Raises StorageError if no new file can be there."""
        file = await run_blocking(lambda: self.document.claim(path), what=path)
        self.document.go_on_in(file)
        return await self.saved_within(seconds)

    async def save_over(self, seconds: float) -> bool | None:
        """Save over what somebody else wrote, theirs kept beside it; as `saved_within`. Raises StorageError."""
        self.document.save_over()
        return await self.saved_within(seconds)

    async def _compute(self, layer: OpenTask, job: fx.Job) -> None:
        try:
            result = await run_in_daemon(
                partial(job.run, job.progress), undo=lambda _: None, name=f"computing {job.tag}"
            )
        except fx.StoppedError:
            return
        except Exception as exc:
            self._fault(exc)
            return
        self.dispatch(ev.JobDone(job.tag, result), layer)

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TICK_S)
            top = self.top
            if top is not None and top.task.ticks:
                self.dispatch(ev.Tick())

    async def settled(self) -> None:
        """Wait until nothing is left to do: all saved or known not to be, the light as wanted or known not to be."""
        while True:
            await asyncio.sleep(0)
            if not self._workers:
                return
            busy = self._save_due.is_set() or self._saving or self._jobs or self._events
            if not busy and self._idle.is_set() and not self._woken:
                return
            if busy and self._idle.is_set():
                await asyncio.sleep(0.002)
                continue
            await self._idle.wait()

    # -- the end ----------------------------------------------------------------------------------------------------------

    async def prepare_to_leave(self, dark_within_s: float) -> None:
        """Everything dark, then what every task did is a revision; all is still open, and `stay` lights it again."""
        self._paused = True
        self._unknown = True  # so that everything is ordered dark, whatever is believed lit
        self._confirmed = self._alternating = None
        self._board_changed()
        self._poke()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._idle.wait(), dark_within_s)
        for layer in reversed(self.layers):
            if layer.scope is not None:
                self._revise(layer, "")
        self.document.close()

    def stay(self) -> None:
        """It is not left after all."""
        self._paused = False
        self._poke()

    async def darken(self) -> None:
        """Nothing lights any more from now on, no event counts, and the board is dark."""
        self._ending = True
        if self._work_timer is not None:
            self._work_timer.cancel()
        for worker in (*self._workers[:-1], *self._jobs):
            worker.cancel()
        await asyncio.gather(*self._workers[:-1], *self._jobs, return_exceptions=True)
        self._forget()
        board = self._board
        if board is not None and board.identity is not None:
            from device_protocol.orders import Darken
            from probe.link import LinkError, OrderRefused

            with contextlib.suppress(LinkError, OrderRefused, ProtocolFault):
                await board.do(Darken())

    async def save(self) -> None:
        """Close every task as if it had been left, and save. Cancel it where it takes too long.

        What could not be saved is still in the document: `probe.runtime.ending` sees to that.
        """
        self._ending = True
        while self.layers:
            self._pop(self.layers[-1])
        try:
            await save_document(self.document)
        finally:
            for worker in self._workers:
                worker.cancel()
            self._workers = []
            self._idle.set()

    async def end(self) -> None:
        """Dark, then saved."""
        await self.darken()
        await self.save()


def _job_work(job: fx.Job, for_s: float) -> Work:
    return Work(job.words, for_s, job.progress.done, job.progress.total, can_stop=True)
