"""A link to a simulated board, without a port or a clock, in which anything can happen at any order.

What happens is scripted by the number of the order (from 1), before it reaches the board or after it was carried out.
It checks what the runtime promises, at every single order: nothing is sent that may light something while the map is not on
disk.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from enum import Enum

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.errors import ErrorCode
from device_protocol.events import Identified, OrderAnswered, Refused
from device_protocol.orders import (
    Darken,
    DarkNotice,
    Identify,
    Identity,
    LightGroup,
    LightLamp,
    LightPixel,
    LightRange,
    Order,
    Play,
    Reply,
    RestartCause,
    RunPattern,
    Show,
)
from device_protocol.session import HostSession
from probe.link import Connected, LinkEvent, Lost, NoticeArrived
from probe.link.errors import LinkErrorKind, LinkLost, link_error
from probe.link.events import ConnectReason
from probe.link.refusal import OrderRefused

LIGHTING = (LightPixel, LightRange, LightLamp, LightGroup, RunPattern, Show)


class Trouble(Enum):
    """What happens at an order."""

    LOSS = "the cable is pulled; it comes back later"
    RESTART = "the board restarts and says so"
    REFUSAL = "the board refuses the order"
    WENT_DARK = "the board goes dark by itself"


def may_light(order: Order) -> bool:
    """Whether an order can light a pixel."""
    if isinstance(order, (LightPixel, LightRange)):
        return not order.colour.is_dark
    return isinstance(order, LIGHTING) or (isinstance(order, Play) and order.player is not None)


class ScriptedBoard:
    """What the runtime sees as its link. `on_event` is the runtime's `link_event`; `saved` tells whether all is on disk."""

    def __init__(
        self,
        wirings: tuple[ChainWiring, ...],
        *,
        config: BoardConfig,
        script: Mapping[int, tuple[Trouble, bool]] | None = None,
    ) -> None:
        self.device = SimulatedBoard(config, wirings)
        self.on_event: Callable[[LinkEvent], None] = lambda event: None
        self.saved: Callable[[], bool] = lambda: True
        self.script = dict(script or {})
        self.orders: list[Order] = []
        self.broken: list[str] = []
        self.pause_s = 0.0
        self._now_ms = 0.0
        self._here: Identity | None = None
        self._session = HostSession()
        self.happened: list[Trouble] = []

    @property
    def identity(self) -> Identity | None:
        """The board, while it is there."""
        return self._here

    def connect(self, reason: ConnectReason = ConnectReason.FIRST) -> None:
        """The board answers; what it showed before is unknown to the host."""
        self._session = HostSession()
        data = self._session.connect(self._now_ms)
        for _ in range(8):
            self._now_ms += 50
            events = self._session.receive_data(self.device.receive_data(data, self._now_ms), self._now_ms)
            found = next((event for event in events if isinstance(event, Identified)), None)
            if found is not None:
                self._here = found.identity
                self.on_event(Connected(found.identity, "scripted", reason))
                return
            data, _ = self._session.tick(self._now_ms)
        raise AssertionError("the simulated board did not answer")

    def lose(self, kind: LinkErrorKind = LinkErrorKind.VANISHED) -> None:
        """The line is lost."""
        self._here = None
        self.on_event(Lost(link_error(kind, port="scripted"), 0.25))

    def restart(self) -> None:
        """The board restarts: dark, and nothing that it was told holds."""
        self._now_ms += 10
        self.device.restart(RestartCause.WATCHDOG, self._now_ms)
        self.lose(LinkErrorKind.RESTARTED)
        self.connect(ConnectReason.RESTARTED)

    def go_dark(self) -> None:
        """The board goes dark by itself, and says so."""
        self._quietly(Darken())
        self.on_event(NoticeArrived(DarkNotice()))

    async def do(self, order: Order) -> Reply:
        """Carry out one order, as a link does. Raises LinkLost or OrderRefused."""
        self.orders.append(order)
        number = len(self.orders)
        if may_light(order) and not self.saved():
            self.broken.append(f"order {number} {order} lights while the map is not on disk")
        await asyncio.sleep(self.pause_s)
        trouble, after = self.script.get(number, (None, False))
        if trouble is not None and not after:
            self._happen(trouble, order)
        if self._here is None:
            raise LinkLost.because(link_error(LinkErrorKind.VANISHED, port="scripted"))
        reply = self._quietly(order)
        if trouble is not None and after:
            self._happen(trouble, order)
        await asyncio.sleep(0)
        return reply

    def _happen(self, trouble: Trouble, order: Order) -> None:
        self.happened.append(trouble)
        match trouble:
            case Trouble.LOSS:
                self.lose()
                asyncio.get_running_loop().call_later(0.005, self.connect, ConnectReason.AGAIN)
                raise LinkLost.because(link_error(LinkErrorKind.VANISHED, port="scripted"))
            case Trouble.RESTART:
                self.restart()
                raise LinkLost.because(link_error(LinkErrorKind.RESTARTED, port="scripted"))
            case Trouble.REFUSAL:
                raise OrderRefused(order, code=ErrorCode.NOT_READY, text="the board refuses: 40 not-ready")
            case Trouble.WENT_DARK:
                self.go_dark()

    def _quietly(self, order: Order) -> Reply:
        self._now_ms += 5
        data = self._session.send(order, self._now_ms)
        said = self.device.receive_data(data, self._now_ms) + self.device.tick(self._now_ms)
        for event in self._session.receive_data(said, self._now_ms):
            if isinstance(event, OrderAnswered):
                return event.reply
            if isinstance(event, Identified) and isinstance(order, Identify):
                return event.identity
            if isinstance(event, Refused):
                raise OrderRefused.by_board(event)
        raise AssertionError(f"no answer to {order}")
