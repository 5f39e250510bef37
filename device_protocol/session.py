"""The host's half of the protocol: orders in, events out; one order in flight. No port, no clock, no thread.

    session = HostSession()
    wire(session.connect(now_ms))                      # asks `id` until the board answers, 5 s at most
    wire(session.send(LightPixel(0, 14, Colour(32, 0, 0)), now_ms))
    for event in session.receive_data(data, now_ms): ...
    data, events = session.tick(now_ms)                # when next_deadline_ms() has come

`now_ms` is any steady clock in ms. `OrderAnswered` comes only for an `ok` with the number of the order in flight, its
checksum right and its fields as they have to be.
"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum, auto

from device_protocol.errors import BeyondLimitsFault, BoardFault, ErrorCode, HostFault
from device_protocol.events import (
    GaveUp,
    GaveUpReason,
    Identified,
    Interrupted,
    InterruptReason,
    Misanswered,
    OrderAnswered,
    Refused,
    SessionEvent,
    Unreadable,
)
from device_protocol.framing import (
    REPLY_LIMIT,
    BoardLine,
    ErrorLine,
    LineReader,
    LineStatistics,
    NoticeLine,
    OrderLineFault,
    RawLine,
    ReplyLine,
    count_text_bytes,
    encode_order,
    parse_board_line,
    parse_order,
)
from device_protocol.known_board import KnownBoard
from device_protocol.orders import (
    Alive,
    Identify,
    Identity,
    Order,
    OtherVersionFault,
    OutputSettings,
    Reply,
    RestartNotice,
)

ANSWER_MS = 250.0
"""An answer is awaited so long (SPEC 3.9) ..."""
PIXEL_MS = 0.05
"""... and so much longer for each pixel that may have to be clocked out."""
SILENT_ASKS = 3
"""So often an order is asked again after silence before the board counts as lost (SPEC 3.9)."""
MOST_ASKS = 12
"""So often an order is sent at most, when the board keeps saying that it came damaged. Judgement, no source."""
CONNECT_MS = 5_000.0
"""Silence so long after connecting does not yet mean that there is no board (SPEC 3.10)."""
SETTLE_MS = 20.0
"""Pause before asking again a damaged order: the answer to an earlier copy may be on its way."""
NOT_READY_MS = 250.0
"""Pause before asking again after 34."""


class Phase(Enum):
    """Where a session stands."""

    CLOSED = auto()
    CONNECTING = auto()  # `id` in flight, no board known yet
    READY = auto()
    ASKING = auto()  # an order in flight
    LOST = auto()  # gave up


class _Input(Enum):
    CONNECT = auto()
    SEND = auto()
    FINISHED = auto()  # the order in flight has its answer, or will get none
    GAVE_UP = auto()
    CLOSE = auto()


_NEXT: dict[tuple[Phase, _Input], Phase] = {
    (Phase.CLOSED, _Input.CONNECT): Phase.CONNECTING,
    (Phase.READY, _Input.CONNECT): Phase.CONNECTING,
    (Phase.LOST, _Input.CONNECT): Phase.CONNECTING,
    (Phase.CONNECTING, _Input.FINISHED): Phase.READY,
    (Phase.CONNECTING, _Input.GAVE_UP): Phase.LOST,
    (Phase.READY, _Input.SEND): Phase.ASKING,
    (Phase.ASKING, _Input.FINISHED): Phase.READY,
    (Phase.ASKING, _Input.GAVE_UP): Phase.LOST,
    **{(phase, _Input.CLOSE): Phase.CLOSED for phase in Phase},
}
_WHY_NOT = {
    Phase.CLOSED: "not connected: call connect first",
    Phase.CONNECTING: "the board has not answered yet: wait for Identified",
    Phase.READY: "nothing is in flight",
    Phase.ASKING: "an order is in flight: one at a time (SPEC 3.2)",
    Phase.LOST: "the board is lost: call connect again",
}


class _Flight:
    """The order in flight: its bytes, and how often and why it was sent."""

    __slots__ = ("asks", "damaged", "deadline_ms", "fault", "line", "order", "seq", "silences")

    def __init__(self, order: Order, seq: int, line: bytes) -> None:
        self.order = order
        self.seq = seq
        self.line = line
        self.asks = 0
        self.silences = 0  # deadlines that passed without a word
        self.damaged = False  # the board asked for it again; not counted as silence
        self.fault: BoardFault | None = None  # what was wrong with the last answer to `id` while connecting
        self.deadline_ms = 0.0


class HostSession:
    """One board on one line. `first_seq`: number of the first order, 0 to 255."""

    def __init__(self, *, first_seq: int = 1) -> None:
        self.phase = Phase.CLOSED
        self.statistics = LineStatistics()
        self._seq = first_seq
        self._reader = LineReader(REPLY_LIMIT)
        self._flight: _Flight | None = None
        self._connect_until_ms = 0.0
        self._last_sent_ms: float | None = None
        self._board = KnownBoard()

    # --- what the owner does ---

    def connect(self, now_ms: float) -> bytes:
        """Begin to ask who is there; for 5 s, as the board may be starting. Returns bytes to send.

        Ends with the event Identified or GaveUp. Raises HostFault while an order is in flight.
        """
        self._step(_Input.CONNECT)
        self._reader.clear()
        self._board = KnownBoard()
        self.statistics = LineStatistics()
        self._connect_until_ms = now_ms + CONNECT_MS
        return self._launch(Identify(), now_ms, after_noise=True)

    def check(self, order: Order) -> None:
        """Raise HostFault when this board cannot take `order` at all: a feature it lacks, a line too long for it."""
        if self.identity is None:
            raise HostFault(_WHY_NOT[Phase.CLOSED])
        if not self.identity.has(order.FEATURE):
            raise HostFault(f"the board lacks the feature {order.FEATURE}, which the order {order.WORD} needs")
        length = len(encode_order(order.line(0))) - 1
        if length > self.identity.line:
            raise HostFault(f"the order {order.WORD} is {length} bytes long, the board takes {self.identity.line}")

    @property
    def identity(self) -> Identity | None:
        """What the board last stated of itself; None until Identified."""
        return self._board.identity

    @property
    def settings(self) -> dict[int, OutputSettings]:
        """Settings of outputs that were set up since the board's last restart."""
        return self._board.settings

    @property
    def ready(self) -> bool:
        """True when `send` may be called."""
        return self.phase is Phase.READY

    def send(self, order: Order, now_ms: float) -> bytes:
        """Send an order. Returns bytes to send. Raises HostFault when it is not the time or not for this board."""
        if (self.phase, _Input.SEND) not in _NEXT:
            raise HostFault(_WHY_NOT[self.phase])
        self.check(order)
        self._step(_Input.SEND)
        return self._launch(order, now_ms, after_noise=False)

    def receive_data(self, data: bytes, now_ms: float) -> list[SessionEvent]:
        """Take bytes from the board. What has to be sent because of them comes from `tick`."""
        self._count(bytes_received=len(data), text_bytes=count_text_bytes(data))
        events: list[SessionEvent] = []
        for raw in self._reader.feed(data):
            events += self._handle_line(raw, now_ms)
        return events

    def next_deadline_ms(self) -> float | None:
        """When `tick` will next have something to do; None when no order is in flight."""
        return None if self._flight is None else self._flight.deadline_ms

    def tick(self, now_ms: float) -> tuple[bytes, list[SessionEvent]]:
        """Time passes: asks again, or gives up. Returns bytes to send, and events. Harmless when called too early."""
        flight = self._flight
        if flight is None or now_ms < flight.deadline_ms:
            return b"", []
        if not flight.damaged:
            flight.silences += 1
        if self.phase is Phase.CONNECTING:
            spent = now_ms >= self._connect_until_ms
        else:
            spent = flight.silences > SILENT_ASKS or flight.asks >= MOST_ASKS
        if spent:
            reason = GaveUpReason.DAMAGED if flight.damaged else GaveUpReason.NO_ANSWER
            return b"", [self._give_up(flight, reason, flight.fault)]
        self._count(asked_again=1)
        return self._ask(flight, now_ms, after_noise=not flight.damaged), []

    def close(self) -> list[SessionEvent]:
        """The line is gone. The order in flight, if any, is void."""
        flight = self._flight
        self._flight = None
        self._step(_Input.CLOSE)
        self._reader.clear()
        return [] if flight is None else [Interrupted(flight.order, InterruptReason.CLOSED)]

    def keep_alive_due_ms(self) -> float | None:
        """When `keep_alive_order` should be sent (SPEC section 9: a third of the silence time); None unless ready."""
        if self.phase is not Phase.READY or self._last_sent_ms is None:
            return None
        return self._last_sent_ms + (SETTLE_MS if self._board.doubtful else self._board.silence_ms / 3)

    def keep_alive_order(self) -> Order:
        """`alive`; or, when a line was lost that may have been the notice of a restart, an order whose answer shows it."""
        return self._board.sign_of_life()

    # --- asking ---

    def _step(self, what: _Input) -> None:
        try:
            self.phase = _NEXT[self.phase, what]
        except KeyError:
            raise HostFault(_WHY_NOT[self.phase]) from None

    def _launch(self, order: Order, now_ms: float, *, after_noise: bool) -> bytes:
        line = encode_order(order.line(self._seq))
        self._flight = _Flight(order, self._seq, line)
        self._seq = (self._seq + 1) % 256
        return self._ask(self._flight, now_ms, after_noise=after_noise)

    def _ask(self, flight: _Flight, now_ms: float, *, after_noise: bool) -> bytes:
        flight.asks += 1
        flight.damaged = False
        flight.deadline_ms = now_ms + ANSWER_MS + self._board.pixels_to_clock(flight.order) * PIXEL_MS
        self._last_sent_ms = now_ms
        # an LF first ends whatever is left of a damaged line (SPEC 2.3)
        return b"\n" + flight.line if after_noise else flight.line

    def _give_up(self, flight: _Flight, reason: GaveUpReason, fault: BoardFault | None) -> GaveUp:
        self._flight = None
        self._step(_Input.GAVE_UP)
        return GaveUp(flight.order, reason, self.statistics, flight.asks, fault)

    def _finish(self) -> None:
        self._flight = None
        self._step(_Input.FINISHED)

    # --- hearing ---

    def _handle_line(self, raw: RawLine, now_ms: float) -> list[SessionEvent]:
        try:
            line: BoardLine = parse_board_line(raw)
        except BoardFault as fault:
            self._count(unreadable_lines=1, echoed_lines=int(_is_order(raw)))
            self._board.doubtful = True
            return [Unreadable(str(fault), len(raw.data))]
        self._count(readable_lines=1)
        match line:
            case NoticeLine():
                return self._handle_notice(line, now_ms)
            case ReplyLine():
                return self._handle_reply(line, now_ms)
            case ErrorLine():
                return self._handle_error(line, now_ms)

    def _handle_reply(self, line: ReplyLine, now_ms: float) -> list[SessionEvent]:
        flight = self._flight
        if flight is None or line.seq != flight.seq:
            return []  # an answer to an earlier copy (SPEC 3.3)
        try:
            reply = flight.order.parse_reply(line.fields)
        except BoardFault as fault:
            if self.phase is Phase.CONNECTING:
                if isinstance(fault, OtherVersionFault):
                    return [self._give_up(flight, GaveUpReason.OTHER_VERSION, fault)]
                if isinstance(fault, BeyondLimitsFault):
                    return [self._give_up(flight, GaveUpReason.BEYOND_LIMITS, fault)]
                # perhaps left over from another host's orders: ours is still to be answered
                flight.fault = fault
                return []
            self._finish()
            return [Misanswered(flight.order, fault)]
        if self.phase is Phase.CONNECTING:
            return self._handle_identity(reply, now_ms)
        self._finish()
        answered = OrderAnswered(flight.order, reply, flight.asks)
        restart = self._board.handle_reply(flight.order, reply, now_ms)
        return [answered] if restart is None else [restart, answered]

    def _handle_identity(self, reply: Reply, now_ms: float) -> list[SessionEvent]:
        assert isinstance(reply, Identity)
        self._finish()
        self._board.handle_identity(reply, now_ms)
        return [Identified(reply)]

    def _handle_error(self, line: ErrorLine, now_ms: float) -> list[SessionEvent]:
        flight = self._flight
        if flight is None:
            return []
        if line.seq is None:
            self._count(damaged_orders=1)
            flight.damaged = True
            flight.deadline_ms = min(
                flight.deadline_ms, now_ms + SETTLE_MS + self._board.pixels_to_clock(flight.order) * PIXEL_MS
            )
            return []
        if line.seq != flight.seq or self.phase is Phase.CONNECTING:
            return []
        if line.code is ErrorCode.NOT_READY and flight.asks <= SILENT_ASKS:
            flight.damaged = True
            flight.deadline_ms = now_ms + NOT_READY_MS
            return []
        self._finish()
        return [Refused(flight.order, line)]

    def _handle_notice(self, line: NoticeLine, now_ms: float) -> list[SessionEvent]:
        notice = self._board.handle_notice(line)
        if notice is None:
            return []
        return self._handle_restart(notice, now_ms) if isinstance(notice, RestartNotice) else [notice]

    def _handle_restart(self, notice: RestartNotice, now_ms: float) -> list[SessionEvent]:
        flight = self._flight
        if self.phase is Phase.CONNECTING:
            assert flight is not None
            flight.deadline_ms = now_ms  # it hears now: ask at once
            flight.damaged = True
            return []
        events: list[SessionEvent] = [notice]
        if flight is None:
            return events
        if isinstance(flight.order, Identify | Alive):  # no setting matters to these
            flight.deadline_ms = now_ms
            flight.damaged = True
            return events
        self._finish()
        return [*events, Interrupted(flight.order, InterruptReason.RESTARTED)]

    def _count(self, **more: int) -> None:
        old = self.statistics
        self.statistics = replace(old, **{name: getattr(old, name) + value for name, value in more.items()})


def _is_order(raw: RawLine) -> bool:
    try:
        parse_order(raw)
    except OrderLineFault:
        return False
    return True
