"""The board's half of the protocol: bytes in, bytes out, and the frames it clocks out. No port, no clock.

Every call that takes `now_ms` (any steady clock, ms) returns the bytes that the board sends. What the pixels make of
the frames is the business of `simulated.SimulatedBoard`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from device_protocol.board_orders import ORDER_RULES
from device_protocol.board_output import BoardOutput, Refusal
from device_protocol.errors import ErrorCode
from device_protocol.framing import (
    HAND_IDENTIFY,
    ErrorLine,
    LineReader,
    NoticeLine,
    OrderLineFault,
    RawLine,
    ReplyLine,
    encode_board_line,
    parse_order,
)
from device_protocol.messages import FEATURES, PROTOCOL_VERSION, RestartCause
from device_protocol.values import LATCH_US_DEFAULT, SILENCE_MS_DEFAULT, Colour

FRAMES_KEPT = 64
"""So many frames of each output are kept for whoever looks at them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardConfig:
    """What a build fixes (SPEC 5.3). `byte_order` is what holds after a restart."""

    outputs: int = 1
    pixels: int = 1000
    line: int = 96
    ceiling_ma: int = 2000
    channel_ua: int = 20_000
    idle_ua: int = 1_000
    features: tuple[str, ...] = FEATURES
    board: str = "simulated"
    build: str = "1.0"
    byte_order: str = "GRB"

    def __post_init__(self) -> None:
        limits = {"outputs": (1, 16), "pixels": (1, 65_535), "line": (64, 255)}
        for name, (least, most) in limits.items():
            if not least <= getattr(self, name) <= most:
                raise ValueError(f"{name} {getattr(self, name)}: {least} to {most} (SPEC 5.3)")


class ProtocolBoard:
    """A board that keeps to the SPEC. Its first bytes, from the first call with a time, are the notice `restarted`."""

    def __init__(
        self,
        config: BoardConfig | None = None,
        *,
        now_ms: float = 0.0,
        cause: RestartCause = RestartCause.POWER,
    ) -> None:
        self.config = config if config is not None else BoardConfig()
        self.outputs: list[BoardOutput] = []
        self.frames: list[deque[bytes]] = [deque(maxlen=FRAMES_KEPT) for _ in range(self.config.outputs)]
        self.frames_clocked = 0
        self.not_ready = False
        """Set by a test: orders that change something are answered with 34."""
        self.failing = False
        """Set by a test: orders that change something are answered with 40."""
        self._reader = LineReader(self.config.line)
        self._outbox = bytearray()
        self._begin(now_ms, cause)

    # --- what happens to a board ---

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        """Bytes from the host. Returns what the board sends."""
        self._pass_time(now_ms)
        for raw in self._reader.feed(data):
            self._outbox += encode_board_line(self._answer(raw))
        return self._flush()

    def tick(self, now_ms: float) -> bytes:
        """Time passes. Returns what the board sends."""
        self._pass_time(now_ms)
        return self._flush()

    def next_deadline_ms(self) -> float | None:
        """When `tick` will next have something to do; None when nothing is awaited."""
        if self._outbox:
            return self._now_ms
        return None if self._heard_ms is None else self._heard_ms + self.silence_ms

    def press_button(self, now_ms: float) -> bytes:
        """The step button is pressed and released. A board without the feature `button` says nothing."""
        self._pass_time(now_ms)
        if "button" in self.config.features:
            self._presses += 1
            self._notify("button", str(self._presses))
        return self._flush()

    def restart(self, cause: RestartCause, now_ms: float) -> bytes:
        """The board restarts, without the time that booting takes. Returns the notice."""
        self._begin(now_ms, cause)
        return self._flush()

    def mark_lost_bytes(self) -> None:
        """Bytes of the line now arriving are lost (SPEC 3.8)."""
        self._reader.mark_lost()

    # --- what the handlers of orders use ---

    def identity_fields(self) -> tuple[str, ...]:
        """FIELDS of the reply to `id` (SPEC 5.3)."""
        config = self.config
        values: dict[str, object] = {
            "proto": PROTOCOL_VERSION,
            "board": config.board,
            "build": config.build,
            "line": config.line,
            "outputs": config.outputs,
            "pixels": config.pixels,
            "ceiling": config.ceiling_ma,
            "channel": config.channel_ua,
            "idle": config.idle_ua,
            "silence": self.silence_ms,
            "uptime": int(self._now_ms - self._started_ms) % 2**32,
            "cause": self._cause.value,
            "table": 0,
            "features": ",".join(name for name in FEATURES if name in config.features) or "none",
        }
        return tuple(f"{key}={value}" for key, value in values.items())

    def check_ready(self) -> None:
        """Refuse with 34 or 40 when the board cannot change anything now."""
        if self.not_ready:
            raise Refusal(ErrorCode.NOT_READY)
        if self.failing:
            raise Refusal(ErrorCode.INTERNAL)

    def light_up(self, number: int, picture: list[Colour]) -> None:
        """Show a picture that was not staged, if the ceiling allows it."""
        output = self.outputs[number]
        output.check_ceiling(picture)
        output.forget_staged(palette_too=True)
        self.clock_picture(number, picture)

    def make_dark(self, number: int) -> None:
        """Show a dark picture of the present count."""
        output = self.outputs[number]
        output.forget_staged(palette_too=True)
        self.clock_picture(number, [Colour(0, 0, 0)] * output.count)

    def clock_picture(self, number: int, picture: list[Colour]) -> None:
        """Make `picture` the one that is lit, and clock it out."""
        output = self.outputs[number]
        output.picture = picture
        frame = output.frame()
        self.frames[number].append(frame)
        self.frames_clocked += 1
        self.clock_out(number, frame)

    def clock_out(self, number: int, frame: bytes) -> None:
        """A frame leaves output `number`. Boards with something on the wire override this."""

    # --- within ---

    def _begin(self, now_ms: float, cause: RestartCause) -> None:
        config = self.config
        self._now_ms = self._started_ms = now_ms
        self._cause = cause
        self._heard_ms: float | None = None  # last order that passed its CRC; None: none since restart or dark
        self._presses = 0
        self._notices = 0
        self.silence_ms = SILENCE_MS_DEFAULT
        self._reader.clear()
        self._outbox.clear()
        self.outputs = [
            BoardOutput(
                count=config.pixels,
                byte_order=config.byte_order,
                latch_us=LATCH_US_DEFAULT,
                ceiling_ma=config.ceiling_ma,
                channel_ua=config.channel_ua,
                idle_ua=config.idle_ua,
            )
            for _ in range(config.outputs)
        ]
        for number in range(config.outputs):
            self.make_dark(number)
        self._notify("restarted", cause.value)

    def _pass_time(self, now_ms: float) -> None:
        self._now_ms = max(now_ms, self._now_ms)
        if self._heard_ms is not None and self._now_ms >= self._heard_ms + self.silence_ms:
            self._heard_ms = None
            for number in range(len(self.outputs)):
                self.make_dark(number)
            self._notify("dark", "silence")

    def _notify(self, word: str, *fields: str) -> None:
        self._outbox += encode_board_line(NoticeLine(self._notices, word, fields))
        self._notices = (self._notices + 1) % 256

    def _flush(self) -> bytes:
        sent = bytes(self._outbox)
        self._outbox.clear()
        return sent

    def _answer(self, raw: RawLine) -> ReplyLine | ErrorLine:
        if raw.fault is None and raw.data == HAND_IDENTIFY:
            return ReplyLine(0, self.identity_fields())
        try:
            order = parse_order(raw)
        except OrderLineFault as fault:
            return ErrorLine(None, fault.code, fault.code.word)
        self._heard_ms = self._now_ms
        try:
            return ReplyLine(order.seq, self._carry_out(order.word, order.arguments))
        except Refusal as refusal:
            return ErrorLine(order.seq, refusal.code, refusal.code.word, refusal.fields)

    def _carry_out(self, word: str, arguments: tuple[str, ...]) -> tuple[str, ...]:
        rule = ORDER_RULES.get(word)
        if rule is None:
            raise Refusal(ErrorCode.UNKNOWN_ORDER)
        if rule.feature is not None and rule.feature not in self.config.features:
            raise Refusal(ErrorCode.NO_SUCH_FEATURE)
        if not rule.least <= len(arguments) <= rule.most:
            raise Refusal(ErrorCode.ARGUMENT_COUNT)
        return rule.carry_out(self, arguments)
