"""The conductor: takes inputs, runs the pure step, carries the effects out in order, and feeds back what came of them.

Effects of one step form a batch. Within a batch the next effect waits for the one before; a map that cannot be saved
stops its batch, so that no later pixel lights over an answer that is not on disk. A picture that a later batch replaces
is not sent at all: fast stepping never queues up stale light.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Any, Generic, Protocol, TypeVar

from device_protocol.errors import HostFault, ProtocolFault
from device_protocol.orders import (
    ButtonNotice,
    ChainCount,
    DarkNotice,
    Identity,
    InputsNotice,
    Order,
    PlayNotice,
    Reply,
    SetupOutput,
)
from device_protocol.orders import CountChain as CountOrder
from probe.document.file.errors import StorageError
from probe.document.model import PlayfieldMap
from probe.link import Connected, LinkError, LinkEvent, Lost, NoticeArrived, PortOpening, Waiting, WireNote
from probe.link.refusal import OrderRefused
from probe.link.threaded_wire import run_in_daemon
from probe.runtime.ending import run_blocking
from probe.runtime.orders import Limits, replaces, setup_orders, showing_orders
from probe.runtime.words import refusal
from probe.task.steps import (
    Answered,
    BoardAwaited,
    BoardDark,
    BoardGone,
    BoardHere,
    ButtonPressed,
    CountChain,
    Counted,
    Effect,
    GameHasPixels,
    GiveOrders,
    InputsTold,
    LineTrouble,
    News,
    NotAnswered,
    NotSaved,
    NotShown,
    RingBell,
    RunPattern,
    Saved,
    SaveMap,
    SetUpChain,
    ShowDark,
    Showing,
    Shown,
    ShowPicture,
    ShowPixel,
    ShowRange,
    Think,
    Thought,
    Tick,
)

log = logging.getLogger(__name__)
S = TypeVar("S")
Step = Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]]
BLINK_HALF_S = 0.5


class Board(Protocol):
    """What the conductor needs of a link."""

    @property
    def identity(self) -> Identity | None:
        """The board now connected."""

    async def do(self, order: Order) -> Reply:
        """Carry out one order."""


class MapStore(Protocol):
    """Where maps are saved. `save` blocks until the map is on disk, or raises OSError with plain words."""

    def save(self, m: PlayfieldMap) -> None:
        """Put the map on disk."""


class Activity(Generic[S]):
    """A state and its step, and who wants to know of a new state."""

    def __init__(self, state: S, step: Step, on_change: Callable[[S], None]) -> None:
        self.state = state
        self.step = step
        self.on_change = on_change
        self.told = True


class Conductor:
    """Owns no thread and no port: it is given a link and a store. All methods run on the event loop.

    `now_s` is any steady clock in seconds, `bell` sounds the terminal's bell, `on_fault` is told of an exception that no
    effect may raise; without it the conductor stops at one.
    """

    def __init__(
        self,
        *,
        store: MapStore | None = None,
        bell: Callable[[], None] = lambda: None,
        now_s: Callable[[], float] = time.monotonic,
        on_fault: Callable[[Exception], None] | None = None,
    ) -> None:
        self.board: Board | None = None
        self.store = store
        self._bell = bell
        self._now_s = now_s
        self._on_fault = on_fault
        self._activity: Activity[Any] | None = None
        self._batches: deque[tuple[Effect, ...]] = deque()
        self._wake = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()
        self._worker: asyncio.Task[None] | None = None
        self._ticker: asyncio.Task[None] | None = None
        self.unsaved: PlayfieldMap | None = None
        self._presses = 0
        self._presence: News | None = None
        self._limits: dict[int, Limits] = {}

    def begin(self, activity: Activity[Any]) -> None:
        """Make this the activity that gets inputs from now on; it is told at once whether a board is here."""
        self._activity = activity
        self._forget_showing()
        if self._worker is None:
            self._worker = asyncio.create_task(self._work(), name="conductor")
            self._ticker = asyncio.create_task(self._tick(), name="conductor-tick")
        if self._presence is not None:
            self.take(self._presence)
        else:
            self._tell_soon(activity)

    def take(self, given: object) -> None:
        """Give the activity an input: a key's meaning or news. Its effects are queued; returns at once."""
        if self._activity is not None:
            self.give(self._activity, given)

    def give(self, activity: Activity[Any], given: object) -> None:
        """Give an input to an activity, whether it is the one that gets keys now or not."""
        before = activity.state
        activity.state, effects = activity.step(before, given, self._now_s())
        if effects:
            maps = [effect.map for effect in effects if isinstance(effect, SaveMap)]
            if maps and self.store is not None:
                self.unsaved = maps[-1]
            self._batches.append(effects)
            self._idle.clear()
            self._wake.set()
        if activity.state is not before:
            self._tell_soon(activity)

    def _tell_soon(self, activity: Activity[Any]) -> None:
        """Tell of the new state after the queued effects have had their turn: light goes out before it is drawn."""
        if activity.told:
            activity.told = False
            asyncio.get_running_loop().call_soon(self._tell_now, activity)

    def _tell_now(self, activity: Activity[Any]) -> None:
        activity.told = True
        activity.on_change(activity.state)

    @property
    def running(self) -> bool:
        """Whether inputs are still carried out: between `begin` and `stop`."""
        return self._worker is not None

    async def settled(self) -> None:
        """Wait until every effect has been carried out."""
        await self._idle.wait()

    async def stop(self) -> None:
        """Carry out what is queued, then stop."""
        if self._worker is not None:
            try:
                await asyncio.wait_for(self.settled(), timeout=5)
            except TimeoutError:
                log.warning("stopped with effects still queued: %s", self._batches)
        for task in (self._worker, self._ticker):
            if task is not None:
                task.cancel()
        await asyncio.gather(*(t for t in (self._worker, self._ticker) if t is not None), return_exceptions=True)
        self._worker = self._ticker = None
        self._activity = None

    async def save_unsaved(self) -> None:
        """Carry out what is queued; a map whose save failed is saved once more."""
        await self.stop()
        if self.unsaved is not None:
            await self._save(self.unsaved)

    def link_event(self, event: LinkEvent) -> None:
        """Pass this to the link as its `on_event`."""
        match event:
            case PortOpening(port, attempt):
                again = f", attempt {attempt}" if attempt > 1 else ""
                self._tell(BoardAwaited(f"opening {port}{again}"))
            case Waiting(what, left_s):
                self._tell(BoardAwaited(f"waiting for {what} ({left_s:.0f} s left)"))
            case Connected(identity, _, _):
                self._presses = 0
                self._limits.clear()
                self._forget_showing()
                self._batches.append((ShowDark(),))  # a board that only hung may still show its old picture
                self._tell(BoardHere(identity))
            case Lost(error, _):
                self._forget_showing()
                self._tell(BoardGone(str(error)))
            case NoticeArrived(ButtonNotice(total)):
                times, self._presses = max(1, total - self._presses), total
                self.take(ButtonPressed(times))
            case NoticeArrived(DarkNotice()):
                self.take(BoardDark())
            case NoticeArrived(InputsNotice(first, on)):
                self.take(InputsTold(first, on))
            case NoticeArrived(PlayNotice()):
                self.take(GameHasPixels())
            case WireNote():
                log.info("link: %s", event)
                self.take(LineTrouble())
            case _:
                log.info("link: %s", event)

    def _tell(self, presence: News) -> None:
        self._presence = presence
        self.take(presence)

    def _forget_showing(self) -> None:
        """Drop queued light: it was meant for a board that is gone or has restarted. Saves and what is being reckoned stay queued."""
        kept = (tuple(e for e in batch if isinstance(e, (SaveMap, RingBell, Think))) for batch in self._batches)
        self._batches = deque(batch for batch in kept if batch)

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(BLINK_HALF_S)
            self.take(Tick())

    async def _work(self) -> None:
        while True:
            while self._batches:
                try:
                    await self._run(self._batches.popleft())
                except Exception as exc:
                    self._fault(exc)
            self._wake.clear()
            self._idle.set()
            await self._wake.wait()

    def _fault(self, exc: Exception) -> None:
        """A fault of this program in an effect: told, and the effects after it are still carried out."""
        log.error("an effect failed", exc_info=exc)
        if self._on_fault is None:
            raise exc
        self._on_fault(exc)

    async def _run(self, batch: tuple[Effect, ...]) -> None:
        for place, effect in enumerate(batch):
            if self._replaced(effect, batch[place + 1 :]):
                continue
            match effect:
                case SaveMap(m):
                    if not await self._save(m):
                        return
                case RingBell():
                    self._bell()
                case SetUpChain():
                    await self._set_up(effect)
                case Think(tag, job):
                    self.take(Thought(tag, await run_in_daemon(job, undo=lambda _: None, name="computing")))
                case CountChain():
                    await self._count(effect)
                case GiveOrders():
                    if not await self._give(effect):
                        return
                case _:
                    await self._show(effect)

    def _replaced(self, effect: Effect, rest: tuple[Effect, ...]) -> bool:
        """Whether something queued later makes this effect needless."""
        later = [*rest, *(e for batch in self._batches for e in batch)]
        if isinstance(effect, SaveMap):
            return any(isinstance(e, SaveMap) for e in later)
        showing = (ShowPixel, ShowRange, ShowPicture, ShowDark, RunPattern)
        if isinstance(effect, showing):
            return any(isinstance(e, showing) and replaces(e, effect) for e in later)
        return False

    async def _save(self, m: PlayfieldMap) -> bool:
        if self.store is None:
            return True
        try:
            await run_blocking(partial(self.store.save, m), what="the map")
        except (StorageError, OSError) as exc:
            log.exception("saving failed")
            self.take(NotSaved(str(exc)))
            return False
        if self.unsaved is m:
            self.unsaved = None
        self.take(Saved())
        return True

    async def _set_up(self, effect: SetUpChain) -> None:
        board = self.board
        if board is None or board.identity is None:
            return
        try:
            for order in setup_orders(effect, board.identity):
                await board.do(order)
                if isinstance(order, SetupOutput):
                    self._limits[order.output] = Limits.after(order, board.identity)
        except (LinkError, OrderRefused, ProtocolFault) as exc:
            self.take(NotShown(effect, _why(exc)))

    async def _count(self, effect: CountChain) -> None:
        board = self.board
        if board is None or board.identity is None:
            self.take(NotShown(effect, "no board: nothing is counted"))
            return
        try:
            reply = await board.do(CountOrder(effect.output, effect.sent, effect.times))
        except (LinkError, OrderRefused, ProtocolFault) as exc:
            self.take(NotShown(effect, _why(exc)))
        else:
            if isinstance(reply, ChainCount):
                self.take(Counted(effect, reply.least, reply.most, reply.edges))

    async def _give(self, effect: GiveOrders) -> bool:
        replies: list[Reply] = []
        board = self.board
        if board is None or board.identity is None:
            self.take(NotAnswered(effect.tag, "no board: plug it in, or pick its port"))
            return False
        try:
            for order in effect.orders:
                replies.append(await board.do(order))
        except (LinkError, OrderRefused, ProtocolFault) as exc:
            code = exc.code if isinstance(exc, OrderRefused) else None
            self.take(NotAnswered(effect.tag, _why(exc), code, tuple(replies)))
            return False
        self.take(Answered(effect.tag, tuple(replies)))
        return True

    async def _show(self, effect: Showing) -> None:
        board = self.board
        if board is None or board.identity is None:
            self.take(NotShown(effect, "no board: nothing is lit"))
            return
        try:
            limits = self._limits.get(effect.output) if effect.output is not None else None
            for order in showing_orders(effect, board.identity, limits):
                await board.do(order)
        except (LinkError, OrderRefused, ProtocolFault) as exc:
            self.take(NotShown(effect, _why(exc)))
        else:
            self.take(Shown(effect))


def _why(exc: LinkError | OrderRefused | ProtocolFault) -> str:
    if isinstance(exc, OrderRefused):
        return refusal(exc.code, str(exc))
    if isinstance(exc, HostFault):
        return f"this cannot be shown: {exc}"
    return str(exc)
