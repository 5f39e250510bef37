"""A link keeps one board in reach: opens its port, knows the board, sends orders, finds it again after a loss."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Self, overload

from device_protocol.orders import (
    Alive,
    Darken,
    Done,
    Identify,
    Identity,
    LightPixel,
    LightRange,
    Order,
    OutputSettings,
    OutputState,
    Paint,
    Palette,
    ReadOutputState,
    Reply,
    SetupOutput,
    Show,
    Silence,
    SilenceSet,
    Staged,
)
from probe.link.conversation import Conversation, Transcript
from probe.link.errors import HANG_UP_FAMILIES, LinkError, LinkErrorKind, LinkLost, fold, link_error
from probe.link.events import Connected, LinkEvent, Lost, PortOpening
from probe.link.refusal import OrderRefused
from probe.link.wire import DEFAULT_BAUD, OpenWire, PortSpec

_DARK_WITHIN_S = 1.0
"""How long closing waits for the board to say that it is dark; after that its own silence rule sees to it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RetryPolicy:
    """Pauses between attempts to find a lost board, s: `first_s`, then each time twice as long, at most `most_s`."""

    first_s: float = 0.25
    most_s: float = 2.0

    def pause_s(self, failures: int) -> float:
        """Pause after so many failed attempts in a row, from 1."""
        return float(min(self.first_s * 2 ** min(failures - 1, 16), self.most_s))


class BoardLink:
    """See the package's page. Make it, and use it, on one running event loop."""

    def __init__(
        self,
        open_wire: PortSpec | OpenWire,
        *,
        on_event: Callable[[LinkEvent], None],
        transcript: Transcript | None = None,
        retry: RetryPolicy | None = None,
    ) -> None:
        spec = open_wire if isinstance(open_wire, PortSpec) else None
        self._open_wire: OpenWire = spec.open if spec is not None else _as_opener(open_wire)
        self._name = spec.address if spec is not None else _name_of(open_wire)
        self._on_event = on_event
        self._retry = retry or RetryPolicy()
        self._talk = Conversation(
            port=self._name,
            baud=spec.baud if spec is not None else DEFAULT_BAUD,
            emit=self._emit,
            transcript=transcript,
        )
        self._task: asyncio.Task[None] | None = None
        self._first: asyncio.Future[Identity] | None = None
        self._failures = 0
        self._closed = False

    async def __aenter__(self) -> Self:
        self.start()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.close()

    @property
    def identity(self) -> Identity | None:
        """The board now connected, or None."""
        return self._talk.identity

    @property
    def port(self) -> str:
        """Address in use now, or last."""
        return self._talk.port

    def start(self) -> None:
        """Begin in the background and never give up. Harmless when already begun."""
        if self._closed:
            raise link_error(LinkErrorKind.CLOSED, port=self.port)
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._run(), name=f"link to {self._name}")

    async def connect(self) -> Identity:
        """One attempt. Raises LinkError, and may be called again. Once connected the link reconnects by itself."""
        if self.identity is not None:
            return self.identity
        if self._closed:
            raise link_error(LinkErrorKind.CLOSED, port=self.port)
        await self._stop()
        first: asyncio.Future[Identity] = asyncio.get_running_loop().create_future()
        self._first = first
        self._task = asyncio.create_task(self._run(), name=f"link to {self._name}")
        try:
            return await first
        except asyncio.CancelledError:
            await self._stop()
            raise

    @overload
    async def do(self, order: Identify) -> Identity: ...
    @overload
    async def do(self, order: SetupOutput) -> OutputSettings: ...
    @overload
    async def do(self, order: ReadOutputState) -> OutputState: ...
    @overload
    async def do(self, order: Silence) -> SilenceSet: ...
    @overload
    async def do(self, order: Paint) -> Staged: ...
    @overload
    async def do(self, order: LightPixel | Darken | LightRange | Palette | Show | Alive) -> Done: ...
    @overload
    async def do(self, order: Order) -> Reply: ...
    async def do(self, order: Order) -> Reply:
        """Send an order, or queue it behind those given before, and wait for its reply.

        Raises LinkLost as soon as the board is lost or restarted, or at once while it is; OrderRefused when the board
        refuses. Cancelling it withdraws an order that was not yet sent.
        """
        if self._closed:
            raise LinkLost.because(link_error(LinkErrorKind.CLOSED, port=self.port))
        return await self._talk.do(order)

    async def close(self, *, dark: bool = True) -> None:
        """Make the board dark if that can be done within a second, then let go. No task and no thread is left."""
        if self._closed:
            return
        self._closed = True
        self._talk.drop_queue(link_error(LinkErrorKind.CLOSED, port=self.port))
        if dark and self.identity is not None:
            with contextlib.suppress(LinkLost, OrderRefused, TimeoutError):
                await asyncio.wait_for(self._talk.do(Darken()), _DARK_WITHIN_S)
        await self._stop()

    # --- within ---

    async def _stop(self) -> None:
        task, self._task = self._task, None
        if task is not None:
            task.cancel()
            await asyncio.wait([task])
        if self._first is not None and not self._first.done():
            self._first.cancel()
        self._first = None

    async def _run(self) -> None:
        while True:
            self._emit(PortOpening(self._name, self._failures + 1))
            try:
                wire = await self._open_wire()
            except HANG_UP_FAMILIES as error:
                lost = fold(error, port=self._name, opening=True)
            except LinkError as error:
                lost = error
            else:
                lost = await self._talk.hold(wire)
            self._failures += 1
            if self._first is not None:
                self._emit(Lost(lost, None))
                if not self._first.done():
                    self._first.set_exception(lost)
                self._first = None
                return
            pause_s = self._retry.pause_s(self._failures)
            self._emit(Lost(lost, pause_s))
            await asyncio.sleep(pause_s)

    def _emit(self, event: LinkEvent) -> None:
        if isinstance(event, Connected):
            self._failures = 0
            if self._first is not None and not self._first.done():
                self._first.set_result(event.identity)
                self._first = None
        try:
            self._on_event(event)
        except Exception as error:
            # A fault of the listener must not take the line down; the loop's handler reports it.
            asyncio.get_running_loop().call_exception_handler(
                {"message": f"listener failed on {event!r}", "exception": error}
            )


def _as_opener(open_wire: PortSpec | OpenWire) -> OpenWire:
    assert not isinstance(open_wire, PortSpec)
    return open_wire


def _name_of(open_wire: PortSpec | OpenWire) -> str:
    owner = getattr(open_wire, "__self__", None)
    name = getattr(owner, "name", None)
    return name if isinstance(name, str) else "the board's port"
