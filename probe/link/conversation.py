"""One board over one wire after another: orders in a queue, their replies, deadlines, keep-alive, and what was lost.

All of it runs on the event loop and is never re-entered: data and timers come one at a time.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from device_protocol.errors import ErrorCode, HostFault
from device_protocol.events import (
    GaveUp,
    GaveUpReason,
    Identified,
    Interrupted,
    Misanswered,
    OrderAnswered,
    Refused,
    SessionEvent,
    Unreadable,
)
from device_protocol.framing import LineVerdict
from device_protocol.orders import (
    ButtonNotice,
    DarkNotice,
    Identity,
    InputsNotice,
    Order,
    PlayNotice,
    Reply,
    RestartNotice,
    SilenceSet,
    UnknownNotice,
)
from device_protocol.session import CONNECT_MS, HostSession, Phase
from probe.link.errors import (
    HANG_UP_FAMILIES,
    LinkError,
    LinkErrorKind,
    LinkLost,
    fold,
    link_error,
    restart_error,
)
from probe.link.events import Connected, ConnectReason, LinkEvent, Lost, NoticeArrived, Waiting, WireNote, WireTrouble
from probe.link.refusal import OrderRefused
from probe.link.wire import Wire

_WAITING_EVERY_S = 0.5
_KEPT = 2048
_SHOWN = 40
_ENOUGH_NOISE = 4
"""So many senseless bytes are more than the spike of a plug being pushed in. Judgement, no source."""

Transcript = Callable[[float, str, bytes], None]


@dataclass(slots=True, eq=False)
class _QueuedOrder:
    """An order and whoever waits for its reply; None for the link's own orders."""

    order: Order
    future: asyncio.Future[Reply] | None
    first_sent_s: float = 0.0

    @property
    def given_up(self) -> bool:
        return self.future is not None and self.future.done()


class Conversation:
    """The board as far as one link knows it. `emit` takes the events; `baud` is for texts only."""

    def __init__(
        self, *, port: str, baud: int, emit: Callable[[LinkEvent], None], transcript: Transcript | None
    ) -> None:
        self.port = port
        self.identity: Identity | None = None
        """The board now connected; None while there is none that could take orders."""
        self._baud = baud
        self._emit = emit
        self._transcript = transcript
        self._loop = asyncio.get_running_loop()
        self._session = HostSession()
        self._queue: deque[_QueuedOrder] = deque()
        self._flight: _QueuedOrder | None = None
        self._loss: LinkError = link_error(LinkErrorKind.CLOSED, port=port)
        self._wire: Wire | None = None
        self._ended: asyncio.Future[LinkError] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._reason = ConnectReason.FIRST
        self._sample = LineSample()
        self._identify_when_ready = False
        self._connect_until_s = self._next_waiting_s = 0.0
        self._silence_s = 0.0
        self._surely_lit_s = 0.0  # when the board last had an order, at the earliest, by a clock that counts sleep
        self._dark_is_known = False
        self._dark_heard_s = 0.0

    # --- what the link does ---

    async def hold(self, wire: Wire) -> LinkError:
        """Talk over `wire` until it is lost; closes it and returns why. When cancelled, too."""
        self._wire = wire
        self.port = wire.port
        self._note("open", self.port.encode("utf-8", "replace"))
        if self._reason is ConnectReason.RESTARTED:
            self._reason = ConnectReason.AGAIN
        self._ended = self._loop.create_future()
        reader = asyncio.create_task(self._read(wire, self._ended), name=f"reading {wire.port}")
        error = link_error(LinkErrorKind.CLOSED, port=self.port)
        try:
            self._begin_identifying()
            error = await self._ended
        finally:
            self._note("end", error.kind.encode())
            reader.cancel()
            if self._timer is not None:
                self._timer.cancel()
            self._wire = None
            self._session.close()
            self._fail_orders(error)
            with contextlib.suppress(asyncio.CancelledError):
                await reader
            await wire.close()
        return error

    async def do(self, order: Order) -> Reply:
        """Queue an order and wait for its reply. Raises LinkLost or OrderRefused."""
        if self.identity is None:
            raise LinkLost.because(self._loss)
        try:
            self._session.check(order)
        except HostFault as fault:
            lacks = not self.identity.has(order.FEATURE)
            code = ErrorCode.NO_SUCH_FEATURE if lacks else ErrorCode.OVERLONG
            raise OrderRefused(order, code=code, text=str(fault)) from fault
        job = _QueuedOrder(order, self._loop.create_future())
        assert job.future is not None
        self._queue.append(job)
        self._go_on()
        return await job.future

    def drop_queue(self, error: LinkError) -> None:
        """Orders not yet sent get no reply any more."""
        self._fail(self._queue, error)
        self._queue.clear()

    # --- the wire ---

    async def _read(self, wire: Wire, ended: asyncio.Future[LinkError]) -> None:
        try:
            while True:
                data = await wire.read()
                self._note("in", data)
                if self.identity is None:
                    self._sample.add(data)
                self._handle(self._session.receive_data(data, self._now_ms()))
                self._go_on()
        except Exception as error:
            if not ended.done():
                ended.set_result(self._as_link_error(error))

    def _as_link_error(self, error: Exception) -> LinkError:
        if isinstance(error, HANG_UP_FAMILIES):
            return fold(error, port=self.port, opening=False)
        if isinstance(error, LinkError):
            return error
        # A fault of this program: reported as one, and the link begins anew instead of standing still for ever.
        self._loop.call_exception_handler({"message": f"reading {self.port} failed", "exception": error})
        return link_error(LinkErrorKind.FAILED, port=self.port, detail=f"a fault of this program: {error!r}")

    def _write(self, data: bytes) -> None:
        if data and self._wire is not None:
            self._note("out", data)
            with contextlib.suppress(LinkError):  # `read` raises the same
                self._wire.write(data)

    def _note(self, direction: str, data: bytes) -> None:
        if self._transcript is not None:
            self._transcript(self._loop.time(), direction, data)

    def _now_ms(self) -> float:
        return self._loop.time() * 1000

    # --- going on ---

    def _go_on(self) -> None:
        """Send what can be sent now, and wake when the next thing is due."""
        if self._identify_when_ready and self._session.ready:
            self._begin_identifying()
            return
        while self._session.ready and self._queue:
            job = self._queue.popleft()
            if not job.given_up:
                self._launch(job)
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        due = [
            ms / 1000 for ms in (self._session.next_deadline_ms(), self._session.keep_alive_due_ms()) if ms is not None
        ]
        if self._session.phase is Phase.CONNECTING:
            due.append(self._next_waiting_s)
        if due and self._wire is not None:
            self._timer = self._loop.call_at(min(due), self._wake)

    def _launch(self, job: _QueuedOrder) -> None:
        self._flight = job
        job.first_sent_s = _clock_that_counts_sleep()
        self._write(self._session.send(job.order, self._now_ms()))

    def _wake(self) -> None:
        self._timer = None
        data, events = self._session.tick(self._now_ms())
        self._write(data)
        self._handle(events)
        if self._session.phase is Phase.CONNECTING:
            self._report_waiting()
        due_ms = self._session.keep_alive_due_ms()
        if due_ms is not None and not self._queue and self._now_ms() >= due_ms:
            self._queue.append(_QueuedOrder(self._session.keep_alive_order(), None))
        self._go_on()

    def _report_waiting(self) -> None:
        now = self._loop.time()
        if now >= self._next_waiting_s:
            self._next_waiting_s = now + _WAITING_EVERY_S
            self._emit(Waiting("the board to answer", max(self._connect_until_s - now, 0.0)))

    def _begin_identifying(self) -> None:
        self._identify_when_ready = False
        self._sample = LineSample()
        self._connect_until_s = self._loop.time() + CONNECT_MS / 1000
        self._next_waiting_s = 0.0
        self._write(self._session.connect(self._now_ms()))
        self._report_waiting()
        self._go_on()

    # --- events of the session ---

    def _handle(self, events: list[SessionEvent]) -> None:
        for event in events:
            match event:
                case Identified(identity):
                    self._connected(identity)
                case OrderAnswered():
                    self._answered(event)
                case Refused():
                    self._refused(OrderRefused.by_board(event))
                case Misanswered(order, fault):
                    text = f"the board's answer to {order.WORD} makes no sense: {fault}"
                    self._refused(OrderRefused(order, code=None, text=text))
                case GaveUp():
                    self._gave_up(event)
                case Interrupted():
                    self._finish_flight(LinkLost.because(self._loss))
                case Unreadable(reason):
                    if self.identity is not None:
                        self._emit(WireNote(WireTrouble.DAMAGED, reason))
                case RestartNotice(cause):
                    self._emit(NoticeArrived(event))
                    self._restarted(restart_error(cause, port=self.port))
                case DarkNotice():
                    self._dark_is_known = True
                    self._dark_heard_s = _clock_that_counts_sleep()
                    self._emit(NoticeArrived(event))
                case ButtonNotice() | InputsNotice() | PlayNotice() | UnknownNotice():
                    self._emit(NoticeArrived(event))

    def _connected(self, identity: Identity) -> None:
        self.identity = identity
        self._silence_s = identity.silence_ms / 1000
        self._surely_lit_s = _clock_that_counts_sleep()
        self._dark_is_known = False
        reason, self._reason = self._reason, ConnectReason.AGAIN
        self._emit(Connected(identity, self.port, reason))

    def _answered(self, event: OrderAnswered) -> None:
        job, reply = self._flight, event.reply
        if event.asks > 1:
            self._emit(WireNote(WireTrouble.ASKED_AGAIN, f"{event.order.WORD} was sent {event.asks} times"))
        if self.identity is not None:
            self.identity = self._session.identity  # which table it holds changes while it is connected
        self._flight = None
        self._look_for_a_gap(job)
        if isinstance(reply, Identity | SilenceSet):
            self._silence_s = reply.silence_ms / 1000
        self._resolve(job, reply)

    def _look_for_a_gap(self, job: _QueuedOrder | None) -> None:
        """After a pause as long as the silence time the board has gone dark, though its notice may have been lost."""
        if job is None:
            return
        now = _clock_that_counts_sleep()
        gap_s = now - self._surely_lit_s
        self._surely_lit_s = max(job.first_sent_s, self._dark_heard_s)  # it answers after it said that it is dark
        if gap_s >= self._silence_s and not self._dark_is_known:
            self._surely_lit_s = now  # what is lit after this notice is lit by later orders
            self._emit(NoticeArrived(DarkNotice()))
        self._dark_is_known = False

    def _refused(self, refusal: OrderRefused) -> None:
        self._look_for_a_gap(self._flight)
        self._finish_flight(refusal)

    def _gave_up(self, event: GaveUp) -> None:
        if self._flight is None:  # it was identifying
            error = why_not_identified(event, self._sample, port=self.port, baud=self._baud)
            if self._ended is not None and not self._ended.done():
                self._ended.set_result(error)
            return
        self._lose(why_lost(event, port=self.port))

    def _restarted(self, error: LinkError) -> None:
        """The line holds: begin anew on it as soon as nothing is in flight; until then no order."""
        self._fail_queue_and_report(error)  # what is in flight is settled by the session's next event
        self._reason = ConnectReason.RESTARTED
        self._identify_when_ready = True

    def _lose(self, error: LinkError) -> None:
        """The board does not answer, but the wire holds: begin anew on it, as reopening may restart the board."""
        self._fail_queue_and_report(error)
        self._finish_flight(LinkLost.because(error))
        self._reason = ConnectReason.AGAIN
        self._begin_identifying()

    def _fail_queue_and_report(self, error: LinkError) -> None:
        self.identity = None
        self._loss = error
        self.drop_queue(error)
        self._emit(Lost(error, 0.0))

    # --- settling what waits ---

    def _fail_orders(self, error: LinkError) -> None:
        self.identity = None
        self._loss = error
        self._finish_flight(LinkLost.because(error))
        self.drop_queue(error)

    def _finish_flight(self, error: Exception) -> None:
        job, self._flight = self._flight, None
        if job is not None and job.future is not None and not job.future.done():
            job.future.set_exception(error)

    @staticmethod
    def _resolve(job: _QueuedOrder | None, reply: Reply) -> None:
        if job is not None and job.future is not None and not job.future.done():
            job.future.set_result(reply)

    @staticmethod
    def _fail(jobs: deque[_QueuedOrder], error: LinkError) -> None:
        for job in jobs:
            if job.future is not None and not job.future.done():
                job.future.set_exception(LinkLost.because(error))


def _clock_that_counts_sleep() -> float:
    """Seconds by a steady clock that goes on while the computer sleeps, where the system has one."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.clock_gettime(boottime) if boottime is not None else time.monotonic()


# -- why a board could not be identified, or was lost -----------------------------------------------------------------


class LineSample:
    """Keeps the first 2048 bytes that came in, for a sample to show."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def add(self, data: bytes) -> None:
        """More bytes have come."""
        self._bytes += data[: _KEPT - len(self._bytes)]

    def text(self) -> str:
        """The longest line that came in, cut to 40 characters, all of them printable."""
        line = max(bytes(self._bytes).splitlines(), key=len, default=b"").decode("ascii", "replace")
        return "".join(c if c.isprintable() else "·" for c in line)[:_SHOWN]


def why_not_identified(gave_up: GaveUp, sample: LineSample, *, port: str, baud: int) -> LinkError:
    """The error for a port on which no board could be identified."""
    if gave_up.reason is GaveUpReason.OTHER_VERSION:
        return link_error(LinkErrorKind.OTHER_VERSION, port=port, detail="it is not version 1")
    if gave_up.reason is GaveUpReason.BEYOND_LIMITS:
        return link_error(LinkErrorKind.BEYOND_LIMITS, port=port, detail=str(gave_up.fault))
    if gave_up.reason is GaveUpReason.DAMAGED:
        return _poor_line(port, "a board is there, but says that what it hears is damaged")
    counts = gave_up.statistics
    match counts.verdict:
        case LineVerdict.SILENT:
            return link_error(LinkErrorKind.SILENT, port=port)
        case LineVerdict.ECHO:
            return link_error(
                LinkErrorKind.WRONG_DEVICE,
                port=port,
                detail="it sends back what it is sent",
                likely_cause="send and receive are joined, this is a loop-back, or a device that echoes",
                cure="check the wires of send and receive, or pick another port",
            )
        case LineVerdict.OTHER_DEVICE:
            return link_error(LinkErrorKind.WRONG_DEVICE, port=port, detail=f"it sends “{sample.text()}”")
        case LineVerdict.WRONG_SPEED:
            if counts.bytes_received < _ENOUGH_NOISE:
                return link_error(LinkErrorKind.SILENT, port=port)
            detail = f"{counts.bytes_received} bytes, {counts.bytes_received - counts.text_bytes} of them no text"
            return link_error(LinkErrorKind.WRONG_SPEED, port=port, baud=baud, detail=detail)
        case LineVerdict.NOISY:
            return _poor_line(port, "a board is there, but most of what it says comes damaged")
        case LineVerdict.SOUND:
            how = str(gave_up.fault) if gave_up.fault else "it does not answer `id`"
            return link_error(LinkErrorKind.UNREADABLE_IDENTITY, port=port, detail=how)


def why_lost(gave_up: GaveUp, *, port: str) -> LinkError:
    """The error for a board that was there and stopped answering."""
    if gave_up.reason is GaveUpReason.DAMAGED:
        return _poor_line(port, f"the order was sent {gave_up.asks} times and came damaged each time")
    return link_error(LinkErrorKind.TIMEOUT, port=port)


def _poor_line(port: str, what_is_known: str) -> LinkError:
    return link_error(
        LinkErrorKind.TIMEOUT,
        port=port,
        detail=f"{what_is_known}: a poor or long cable, or strong interference nearby",
        cure="use a short USB cable, keep it away from coils and their wiring, join the grounds, then try again",
    )
