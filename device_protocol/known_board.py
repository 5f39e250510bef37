"""What the host knows of the board at the other end: identity, settings, counters, and signs of a restart not heard."""

from __future__ import annotations

from dataclasses import replace

from device_protocol.framing import NoticeLine
from device_protocol.orders import (
    Alive,
    ButtonNotice,
    Committed,
    CountChain,
    EraseTable,
    Identify,
    Identity,
    Notice,
    Order,
    OutputSettings,
    OutputState,
    ReadOutputState,
    Reply,
    RestartCause,
    RestartNotice,
    SetupOutput,
    SilenceSet,
    parse_notice,
)
from device_protocol.values import SILENCE_MS_DEFAULT

UPTIME_SLACK_MS = 2_000.0
"""How far a board's uptime may lag behind our clock before it means a restart that was not heard of."""
CLOCK_TOLERANCE = 0.05
"""A board's clock may run so much slower than ours. Judgement, no source: far more than a ceramic resonator needs."""


class KnownBoard:
    """Starts knowing nothing. `settings`: of outputs that were set up since the board's last restart."""

    def __init__(self) -> None:
        self.identity: Identity | None = None
        self.settings: dict[int, OutputSettings] = {}
        self.silence_ms = float(SILENCE_MS_DEFAULT)
        self.doubtful = False
        """A line could not be read: it may have been the notice of a restart."""
        self._identified_ms = 0.0
        self._last_notice: int | None = None
        self._presses = 0

    def handle_notice(self, line: NoticeLine) -> Notice | None:
        """The notice on a line; None for a copy (SPEC 7.1)."""
        notice = parse_notice(line)
        if isinstance(notice, RestartNotice):
            self._forget_settings()
            self._last_notice = line.seq
            self.doubtful = False
            return notice
        if line.seq == self._last_notice:
            return None
        self._last_notice = line.seq
        if isinstance(notice, ButtonNotice):
            new = notice.total - self._presses
            self._presses = notice.total
            return replace(notice, presses=new if new > 0 else 1)
        return notice

    def handle_identity(self, identity: Identity, now_ms: float) -> None:
        """The board has identified itself."""
        self.identity = identity
        self._identified_ms = now_ms
        self.silence_ms = float(identity.silence_ms)
        self.doubtful = False

    def handle_reply(self, order: Order, reply: Reply, now_ms: float) -> RestartNotice | None:
        """Keep what a reply states. Returns a restart when it shows one whose notice was lost."""
        match order, reply:
            case _, Identity():
                restart = self._inferred_restart(reply.cause) if self._uptime_fell(reply, now_ms) else None
                self.handle_identity(reply, now_ms)
                return restart
            case ReadOutputState(), OutputState():
                self.doubtful = False
                held = self.settings.get(order.output)
                if held is not None and held != reply.settings:
                    return self._inferred_restart(RestartCause.UNKNOWN)
            case SetupOutput(), OutputSettings():
                self.settings[order.output] = reply
            case _, Committed() if self.identity is not None:
                self.identity = replace(self.identity, table=reply.revision)
            case EraseTable(), _ if self.identity is not None:
                self.identity = replace(self.identity, table=0)
            case _, SilenceSet():
                self.silence_ms = float(reply.silence_ms)
            case _:
                pass
        return None

    def sign_of_life(self) -> Order:
        """`alive`; in doubt an order whose answer shows a restart that was not heard of."""
        if not self.doubtful:
            return Alive()
        return ReadOutputState(min(self.settings)) if self.settings else Identify()

    def pixels_to_clock(self, order: Order) -> int:
        """Most pixels that the board may have to clock out before it answers `order`."""
        if self.identity is None or not order.CLOCKS_OUT:
            return 0
        whole = sum(self._count_of(output) for output in range(self.identity.outputs))
        # what the table lit goes dark first (SPEC 13.2)
        before = whole if self.identity.has("play") and self.identity.table else 0
        if isinstance(order, CountChain):
            return before + order.sent * order.times
        number = getattr(order, "output", None)
        return before + (self._count_of(number) if isinstance(number, int) else whole)

    def _count_of(self, output: int) -> int:
        held = self.settings.get(output)
        if held is not None:
            return held.count
        return 0 if self.identity is None else self.identity.pixels

    def _forget_settings(self) -> None:
        self.settings.clear()
        self.silence_ms = float(SILENCE_MS_DEFAULT)
        self._presses = 0

    def _inferred_restart(self, cause: RestartCause) -> RestartNotice:
        self._forget_settings()
        self._last_notice = None
        return RestartNotice(cause, inferred=True)

    def _uptime_fell(self, identity: Identity, now_ms: float) -> bool:
        before = self.identity
        if before is None:
            return False
        expected = before.uptime_ms + (now_ms - self._identified_ms)
        # past 2^32 it may have wrapped (SPEC 5.3)
        return expected < 2**32 and identity.uptime_ms + UPTIME_SLACK_MS < expected * (1 - CLOCK_TOLERANCE)
