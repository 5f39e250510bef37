"""A task at a simulated board, without an event loop: its light is sent as orders, its questions are put, both at once.

Time stands still unless `pass_s` moves it; then the board ticks, its notices become events, and each half second is told.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Generic, TypeVar

from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.events import Identified, OrderAnswered, Refused
from device_protocol.orders import (
    Darken,
    DarkNotice,
    Identity,
    InputsNotice,
    Order,
    Play,
    Player,
    PlayNotice,
    Reply,
)
from device_protocol.session import HostSession
from probe.cli.screens import wiring_of
from probe.document.model import PlayfieldMap
from probe.link.refusal import OrderRefused
from probe.runtime.light_orders import outputs_of, part_orders, parts_of, setup_for, setup_order, table_order, why_not
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import ByTable, Dark, Game, HandsOff, Light, Outputs, Pixels
from probe.task.task import BoardView, Task, TaskState
from tests.support.played import Played

S = TypeVar("S", bound=TaskState)


def board_for(map_: PlayfieldMap, **config: Any) -> SimulatedBoard:
    """A board wired as the map says, with every feature, 64 lamp inputs and room for its table."""
    wanted = {
        "outputs": max(1, len(map_.chains)),
        "pixels": 300,
        "inputs": 64,
        "table_bytes": 1_000,
        "play_pixels": 300,
    } | config
    return SimulatedBoard(BoardConfig(**wanted), [wiring_of(map_, chain) for chain in map_.chains])


class Desk(Played[S], Generic[S]):
    """`state` is the task's; `saved` the maps committed; `bells` how often it rang; `orders` all that were sent."""

    def __init__(self, made: tuple[Task[S], S], board: SimulatedBoard) -> None:
        self.device = board
        self.now_ms = 10_000.0
        self.saved: list[PlayfieldMap] = []
        self.orders: list[Order] = []
        self.cut_after: int | None = None
        """After so many more orders the board is lost."""
        self._session = HostSession()
        self._heard: list[object] = []
        self._refused: Light | None = None
        super().__init__(*made)
        self.now_s = self.now_ms / 1000
        self.answer = self._put

    @property
    def bells(self) -> int:
        """How often it rang."""
        return sum(isinstance(effect, fx.Bell) for effect in self.effects)

    # -- what happens to the board --------------------------------------------------------------------------------

    def plug_in(self) -> None:
        """The board answers."""
        self._session = HostSession()
        self._hear(self.device.tick(self.now_ms))
        events = self._hear(self.device.receive_data(self._session.connect(self.now_ms), self.now_ms))
        self.plug(next(event.identity for event in events if isinstance(event, Identified)))
        self._settle()

    def unplug(self) -> None:
        """The board is lost."""
        self.lose("unplugged")

    def give(self, *events: object) -> None:
        """Events; everything that follows from each is done before the next."""
        for event in events:
            self.now_s = self.now_ms / 1000
            before = self.document.version
            self._event(event)
            self._light()
            self._settle()
            if self.document.version != before:
                self.saved.append(self.map)

    def pass_s(self, seconds: float) -> None:
        """Time passes, in steps of 50 ms; the line is kept alive."""
        until = self.now_ms + seconds * 1000
        while self.now_ms < until:
            self.now_ms += 50
            self._hear(self.device.tick(self.now_ms))
            due = self._session.keep_alive_due_ms()
            if self.board.here and due is not None and self.now_ms >= due:
                self._do(self._session.keep_alive_order())
            if self.now_ms % 500 == 0:
                self.give(ev.Tick())
            self._settle()

    def input(self, number: int, on: bool) -> None:
        """The game switches a lamp."""
        self._hear(self.device.set_input(number, on, self.now_ms))
        self._settle()

    def game_takes_pixels(self) -> None:
        """The board gives the pixels to the game by itself, and says so."""
        self.device.give_pixels(Player.GAME)
        self._heard.append(ev.GameTookPixels())
        self._settle()

    # -- orders -----------------------------------------------------------------------------------------------------

    def _settle(self) -> None:
        while self._heard:
            event = self._heard.pop(0)
            if isinstance(event, (ev.WentDarkByItself, ev.GameTookPixels)):
                self.board = replace(self.board, lit=None)
            self.give(event)

    def _hear(self, data: bytes) -> list[Any]:
        events: list[Any] = self._session.receive_data(data, self.now_ms)
        for event in events:
            match event:
                case InputsNotice(first, on):
                    self._heard.append(ev.GameInputs(first, on))
                case PlayNotice():
                    self._heard.append(ev.GameTookPixels())
                case DarkNotice():
                    self._heard.append(ev.WentDarkByItself())
        return events

    def _do(self, order: Order) -> Reply:
        if not self.board.here:
            raise ConnectionError("no board")
        if self.cut_after is not None:
            if self.cut_after <= 0:
                self.board = BoardView(None, "the plug was pulled", "the plug was pulled")
                self._heard.append(ev.BoardChanged())
                raise ConnectionError("the plug was pulled")
            self.cut_after -= 1
        self.orders.append(order)
        self._session.check(order)
        data = self._session.send(order, self.now_ms)
        for event in self._hear(self.device.receive_data(data, self.now_ms)):
            match event:
                case OrderAnswered(_, reply):
                    return reply
                case Refused():
                    raise OrderRefused.by_board(event)
        raise AssertionError(f"no answer to {order}")

    def _put(self, ask: fx.Ask) -> ev.Answered | ev.NotAnswered:
        self._light()  # as the runtime does: first the light, then a question
        replies: list[Reply] = []
        try:
            for order in ask.orders:
                replies.append(self._do(order))
        except OrderRefused as exc:
            return ev.NotAnswered(ask.tag, why_not(exc), exc.code, tuple(replies))
        except ConnectionError as exc:
            return ev.NotAnswered(ask.tag, str(exc), None, tuple(replies))
        return ev.Answered(ask.tag, tuple(replies))

    def _confirm(self) -> bool:
        wanted, identity = self.wanted, self.board.identity
        if identity is None or isinstance(wanted, HandsOff) or self.board.lit == wanted:
            return False
        if self.board.refused and self._refused == wanted:
            return False
        try:
            for order in self._orders(wanted, identity):
                self._do(order)
        except OrderRefused as exc:
            self._refused = wanted
            self.board = replace(self.board, lit=None, refused=why_not(exc))
        except ConnectionError:
            return False
        else:
            self.board = replace(self.board, lit=wanted, refused="")
            self.lights.append(wanted)
        self._event(ev.BoardChanged())
        return True

    def _orders(self, light: Light, identity: Identity) -> list[Order]:
        orders: list[Order] = [Darken()]
        match light:
            case ByTable() | Game():
                orders += [setup_order(output, setup) for output, setup in outputs_of(self.map, identity).items()]
                orders.append(table_order(light) if isinstance(light, ByTable) else Play(Player.GAME))
            case Dark() | Pixels() | Outputs():
                for output, part in parts_of(light).items():
                    setup = setup_for(output, self.map, identity, part)
                    orders += [setup_order(output, setup)] if setup is not None else []
                    orders += part_orders(part, identity, setup)
        return orders
