"""An activity at a simulated board, without an event loop: what a step asks for is carried out at once, in order.

Time stands still unless `pass_s` moves it; then the board ticks, its notices become news, and each half second is told.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.events import Identified, OrderAnswered, Refused
from device_protocol.orders import (
    DarkNotice,
    Identity,
    InputsNotice,
    Order,
    PlayNotice,
    Reply,
)
from device_protocol.session import HostSession
from probe.cli.screens import wiring_of
from probe.document.model import PlayfieldMap
from probe.runtime.orders import Limits, setup_orders, showing_orders
from probe.runtime.words import refusal
from probe.task.steps import (
    Answered,
    BoardDark,
    BoardGone,
    BoardHere,
    Effect,
    GameHasPixels,
    GiveOrders,
    InputsTold,
    NotAnswered,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    SetUpChain,
    Shown,
    Tick,
)


class RefusedError(Exception):
    """The board refused."""

    def __init__(self, event: Refused) -> None:
        super().__init__(str(event))
        self.code = event.code


def board_for(m: PlayfieldMap, **config: Any) -> SimulatedBoard:
    """A board wired as the map says, with every feature, 64 lamp inputs and room for its table."""
    wanted = {
        "outputs": max(1, len(m.chains)),
        "pixels": 300,
        "inputs": 64,
        "table_bytes": 1_000,
        "play_pixels": 300,
    } | config
    return SimulatedBoard(BoardConfig(**wanted), [wiring_of(m, chain) for chain in m.chains])


class Desk:
    """`state` is the activity's; `saved` the maps put on disk; `bells` how often it rang; `orders` all that were sent."""

    def __init__(
        self, state: Any, step: Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]], board: SimulatedBoard
    ) -> None:
        self.state = state
        self.step = step
        self.board = board
        self.now_ms = 10_000.0
        self.saved: list[PlayfieldMap] = []
        self.bells = 0
        self.orders: list[Order] = []
        self.cut_after: int | None = None
        """After so many more orders the board is lost."""
        self.disk_full = False
        self._session = HostSession()
        self._limits: dict[int, Limits] = {}
        self._news: deque[Any] = deque()
        self.identity: Identity | None = None

    def plug(self) -> None:
        """The board answers."""
        self._session = HostSession()
        self._hear(self.board.tick(self.now_ms))
        events = self._hear(self.board.receive_data(self._session.connect(self.now_ms), self.now_ms))
        self.identity = next(event.identity for event in events if isinstance(event, Identified))
        self._limits.clear()
        self.give(BoardHere(self.identity))

    def unplug(self) -> None:
        """The board is lost."""
        self.identity = None
        self.give(BoardGone("unplugged"))

    def give(self, *inputs: Any) -> None:
        """Keys or news; everything that follows from each is done before the next."""
        for given in inputs:
            self._news.append(given)
            while self._news:
                self.state, effects = self.step(self.state, self._news.popleft(), self.now_ms / 1000)
                for effect in effects:
                    if not self._run(effect):
                        break

    def pass_s(self, seconds: float) -> None:
        """Time passes, in steps of 50 ms; the line is kept alive."""
        until = self.now_ms + seconds * 1000
        while self.now_ms < until:
            self.now_ms += 50
            self._hear(self.board.tick(self.now_ms))
            due = self._session.keep_alive_due_ms()
            if self.identity is not None and due is not None and self.now_ms >= due:
                self._do(self._session.keep_alive_order())
            if self.now_ms % 500 == 0:
                self.give(Tick())
            self.give()
            while self._news:
                self.give(self._news.popleft())

    def input(self, number: int, on: bool) -> None:
        """The game switches a lamp."""
        self._hear(self.board.set_input(number, on, self.now_ms))
        while self._news:
            self.give(self._news.popleft())

    def _hear(self, data: bytes) -> list[Any]:
        events: list[Any] = self._session.receive_data(data, self.now_ms)
        for event in events:
            match event:
                case InputsNotice(first, on):
                    self._news.append(InputsTold(first, on))
                case PlayNotice():
                    self._news.append(GameHasPixels())
                case DarkNotice():
                    self._news.append(BoardDark())
        return events

    def _do(self, order: Order) -> Reply:
        if self.identity is None:
            raise ConnectionError("no board")
        if self.cut_after is not None:
            if self.cut_after <= 0:
                self.identity = None
                self._news.append(BoardGone("the plug was pulled"))
                raise ConnectionError("the plug was pulled")
            self.cut_after -= 1
        self.orders.append(order)
        self._session.check(order)
        data = self._session.send(order, self.now_ms)
        for event in self._hear(self.board.receive_data(data, self.now_ms)):
            match event:
                case OrderAnswered(_, reply):
                    return reply
                case Refused():
                    raise RefusedError(event)
        raise AssertionError(f"no answer to {order}")

    def _run(self, effect: Effect) -> bool:
        match effect:
            case SaveMap(m):
                if self.disk_full:
                    self._news.append(NotSaved("the disk is full"))
                    return False
                self.saved.append(m)
                self._news.append(Saved())
            case RingBell():
                self.bells += 1
            case SetUpChain(chain) if self.identity is not None:
                for order in setup_orders(effect, self.identity):
                    self._do(order)
                    self._limits[chain.output] = Limits(effect.count or chain.length, chain.ceiling_ma)
            case GiveOrders(orders, tag):
                return self._give_orders(orders, tag)
            case SetUpChain():
                return False
            case _:
                return self._show(effect)
        return True

    def _give_orders(self, orders: tuple[Order, ...], tag: str) -> bool:
        replies: list[Reply] = []
        try:
            for order in orders:
                replies.append(self._do(order))
        except RefusedError as exc:
            self._news.append(NotAnswered(tag, refusal(exc.code, str(exc)), exc.code, tuple(replies)))
            return False
        except ConnectionError as exc:
            self._news.append(NotAnswered(tag, str(exc), None, tuple(replies)))
            return False
        self._news.append(Answered(tag, tuple(replies)))
        return True

    def _show(self, effect: Any) -> bool:
        if self.identity is None:
            self._news.append(NotShown(effect, "no board"))
            return False
        try:
            limits = self._limits.get(effect.output) if effect.output is not None else None
            for order in showing_orders(effect, self.identity, limits):
                self._do(order)
        except (RefusedError, ConnectionError) as exc:
            self._news.append(NotShown(effect, str(exc)))
            return False
        self._news.append(Shown(effect))
        return True
