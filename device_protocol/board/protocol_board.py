"""The board's half of the protocol: bytes in, bytes out, and the frames it clocks out. No port, no clock.

Every call that takes `now_ms` (any steady clock, ms) returns the bytes that the board sends. What the pixels make of
the frames is the business of `simulated.SimulatedBoard`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from device_protocol.board.game import GAME_STEP_MS, GIVE_BACK_MS, LampInputs
from device_protocol.board.handlers import HANDLERS
from device_protocol.board.light import BoardLight
from device_protocol.board.outputs import BoardConfig
from device_protocol.errors import ErrorCode, Refusal
from device_protocol.framing import (
    HAND_IDENTIFY,
    ErrorLine,
    LineReader,
    OrderLineFault,
    RawLine,
    ReplyLine,
    encode_board_line,
    parse_order,
)
from device_protocol.lamp_table import TableGroup, TableLamp
from device_protocol.orders import (
    ORDER_TYPES,
    PROTOCOL_VERSION,
    ArgumentLimits,
    ArgumentReader,
    ButtonNotice,
    DarkNotice,
    Identity,
    Notice,
    PatternLine,
    PlayNotice,
    RestartCause,
    RestartNotice,
)
from device_protocol.values import SILENCE_MS_DEFAULT


class ProtocolBoard(BoardLight):
    """A board that keeps to the SPEC. Its first bytes, from the first call with a time, are the notice `restarted`."""

    def __init__(
        self,
        config: BoardConfig | None = None,
        *,
        now_ms: float = 0.0,
        cause: RestartCause = RestartCause.POWER,
    ) -> None:
        super().__init__(config if config is not None else BoardConfig())
        self.not_ready = False
        """Set by a test: orders that change something are answered with 34."""
        self.failing = False
        """Set by a test: orders that change something are answered with 40."""
        self.inputs = LampInputs(self.config.inputs)
        self._reader = LineReader(self.config.line)
        self._outbox = bytearray()
        self._begin(now_ms, cause)

    # --- what happens to a board ---

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        """Bytes from the host. Returns what the board sends."""
        self._pass_time(now_ms)
        for raw in self._reader.feed(data):
            self._outbox += encode_board_line(self._answer(raw))
        self._send_inputs()
        return self._flush()

    def tick(self, now_ms: float) -> bytes:
        """Time passes. Returns what the board sends."""
        self._pass_time(now_ms)
        return self._flush()

    def next_deadline_ms(self) -> float | None:
        """When `tick` will next have something to do; None when nothing is awaited."""
        if self._outbox:
            return self._now_ms
        return min((due_ms for due_ms, _ in self._due()), default=None)

    def press_button(self, now_ms: float) -> bytes:
        """The step button is pressed and released. A board without the feature `button` says nothing."""
        self._pass_time(now_ms)
        if "button" in self.config.features:
            self._presses += 1
            self._notify(ButtonNotice(self._presses))
        return self._flush()

    def set_input(self, number: int, on: bool, now_ms: float) -> bytes:
        """The game's lamp output at input `number` (from 1) goes on or off. Raises IndexError for another number."""
        if not 1 <= number <= len(self.inputs):
            raise IndexError(f"input {number}: 1 to {len(self.inputs)}")
        self._pass_time(now_ms)
        if self.inputs.set(number, on, self.now_ms):
            self._input_changed(number, True)
        self._send_inputs()
        return self._flush()

    def ask_lamp(self, whose: TableLamp | TableGroup, level: int, now_ms: float) -> bytes:
        """The board's own program wants a lamp or group at a level, 0 to 255 (SPEC 13.3)."""
        self._pass_time(now_ms)
        self._game.ask(whose, level)
        return self._flush()

    def restart(self, cause: RestartCause, now_ms: float) -> bytes:
        """The board restarts, without the time that booting takes. Returns the notice."""
        self._begin(now_ms, cause)
        return self._flush()

    def mark_lost_bytes(self) -> None:
        """Bytes of the line now arriving are lost (SPEC 3.8)."""
        self._reader.mark_lost()

    # --- what the handlers of orders use ---

    def identity(self) -> Identity:
        """What the board says of itself (SPEC 5.3)."""
        config = self.config
        return Identity(
            proto=PROTOCOL_VERSION,
            board=config.board,
            build=config.build,
            line=config.line,
            outputs=config.outputs,
            pixels=config.pixels,
            ceiling_ma=config.ceiling_ma,
            channel_ua=config.channel_ua,
            idle_ua=config.idle_ua,
            silence_ms=self.silence_ms,
            uptime_ms=int(self._now_ms - self._started_ms) % 2**32,
            cause=self._cause,
            table=self.store.state.revision,
            features=frozenset(config.features),
        )

    def check_ready(self) -> None:
        """Refuse with 34 or 40 when the board cannot change anything now."""
        if self.not_ready:
            raise Refusal(ErrorCode.NOT_READY)
        if self.failing:
            raise Refusal(ErrorCode.INTERNAL)

    @property
    def now_ms(self) -> float:
        """The board's time."""
        return self._now_ms

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
        self.store.staged.clear()
        self.inputs.begin()
        self._game_step_ms = now_ms + GAME_STEP_MS
        self._give_back_ms: float | None = None
        self.begin_light()
        for number in range(config.outputs):
            self.make_dark(number)
        self._notify(RestartNotice(cause))
        held = self.store.held
        if held is not None:
            self._game.begin_table(held.table)
            self._game_has = self._redraw = self._has("play")
        if self._has("inputs"):
            for number, on in enumerate(self.inputs.on, start=1):
                if on:
                    self._input_changed(number, True)

    def _has(self, feature: str) -> bool:
        return feature in self.config.features

    def _due(self) -> list[tuple[float, Callable[[], None]]]:
        """What happens by itself, and when; at the same moment in this order."""
        due: list[tuple[float, Callable[[], None]]] = []
        if self._has("inputs") and (off_ms := self.inputs.off_due_ms()) is not None:
            due.append((off_ms, self._inputs_off))
        if self._heard_ms is not None:
            due.append((self._heard_ms + self.silence_ms, self._end_silence))
        if self._give_back_ms is not None:
            due.append((self._give_back_ms, self._give_back))
        if (
            self._has("play")
            and self.store.held is not None
            and (self._game.moving or (self._game_has and self._redraw))
        ):
            self._skip_game_steps(before_ms=self._now_ms)
            due.append((self._game_step_ms, self._step_game))
        due += [
            (output.pattern.due_ms, partial(self._step_pattern, number))
            for number, output in enumerate(self.outputs)
            if output.pattern is not None
        ]
        if self._has("inputs") and (notice_ms := self.inputs.notice_due_ms()) is not None:
            due.append((notice_ms, self._send_inputs))
        return due

    def _pass_time(self, now_ms: float) -> None:
        passed = now_ms > self._now_ms
        while due := self._due():
            due_ms, act = min(due, key=lambda each: each[0])
            if due_ms > now_ms:
                break
            self._now_ms = max(due_ms, self._now_ms)
            act()
        self._now_ms = max(now_ms, self._now_ms)
        self._skip_game_steps(before_ms=self._now_ms + 1)
        if passed:
            for number, output in enumerate(self.outputs):
                if output.pattern is not None and output.pattern.sends_now:
                    self._clock(number, output.frame())

    def _skip_game_steps(self, *, before_ms: float) -> None:
        """Steps in which nothing was to do: the next one keeps to the same beat."""
        if self._game_step_ms < before_ms:
            self._game_step_ms += GAME_STEP_MS * -(-(before_ms - self._game_step_ms) // GAME_STEP_MS)

    def _end_silence(self) -> None:
        self._heard_ms = None
        self.inputs.watch(False)
        if self._game_has:
            return
        darkened = False
        for number, output in enumerate(self.outputs):
            if output.pattern is None or not output.pattern.holds:
                self.make_dark(number)
                darkened = True
        if darkened:
            self._notify(DarkNotice())
            holding = any(output.pattern is not None for output in self.outputs)
            if self._has("play") and self.store.held is not None and not holding:
                self._give_back_ms = self._now_ms + GIVE_BACK_MS

    def _give_back(self) -> None:
        self._give_back_ms = None
        self._game_has = self._redraw = True
        self._notify(PlayNotice())

    def _step_game(self) -> None:
        self._game_step_ms += GAME_STEP_MS
        held = self.store.held
        assert held is not None
        self._redraw |= self._game.step(held.table)
        if self._game_has and self._redraw:
            self._redraw = False
            self._show_table(self._game.shown)

    def _step_pattern(self, number: int) -> None:
        output = self.outputs[number]
        pattern = output.pattern
        assert pattern is not None
        pattern.steps_done += 1
        pattern.due_ms += pattern.step_ms
        picture = pattern.picture(output.count)
        if pattern.sends_now or (pattern.sending is PatternLine.ONCE and picture != output.picture):
            self.clock_picture(number, picture)

    def _inputs_off(self) -> None:
        for number in self.inputs.take_off(self._now_ms):
            self._input_changed(number, False)

    def _input_changed(self, number: int, on: bool) -> None:
        if self._has("play") and number <= self.config.lamps:
            self._game.ask(TableLamp(number), 255 if on else 0)

    def _send_inputs(self) -> None:
        notice_ms = self.inputs.notice_due_ms()
        if self._has("inputs") and notice_ms is not None and notice_ms <= self._now_ms:
            for notice in self.inputs.notices(self._now_ms):
                self._notify(notice)

    def _notify(self, notice: Notice) -> None:
        self._outbox += encode_board_line(notice.line(self._notices))
        self._notices = (self._notices + 1) % 256

    def _flush(self) -> bytes:
        sent = bytes(self._outbox)
        self._outbox.clear()
        return sent

    def _answer(self, raw: RawLine) -> ReplyLine | ErrorLine:
        if raw.fault is None and raw.data == HAND_IDENTIFY:
            return ReplyLine(0, self.identity().fields())
        try:
            order = parse_order(raw)
        except OrderLineFault as fault:
            return ErrorLine(None, fault.code, fault.code.word)
        self._heard_ms = self._now_ms
        self._give_back_ms = None
        try:
            return ReplyLine(order.seq, self._carry_out(order.word, order.arguments))
        except Refusal as refusal:
            return ErrorLine(order.seq, refusal.code, refusal.code.word, refusal.fields)

    def _carry_out(self, word: str, arguments: tuple[str, ...]) -> tuple[str, ...]:
        kind = ORDER_TYPES.get(word)
        if kind is None:
            raise Refusal(ErrorCode.UNKNOWN_ORDER)
        if kind.FEATURE is not None and not self._has(kind.FEATURE):
            raise Refusal(ErrorCode.NO_SUCH_FEATURE)
        if len(arguments) not in kind.TAKES:
            raise Refusal(ErrorCode.ARGUMENT_COUNT)
        order = kind.read(ArgumentReader(arguments, self._limits()))
        return HANDLERS[kind](self, order).fields()

    def _limits(self) -> ArgumentLimits:
        return ArgumentLimits(
            chains=tuple((output.count, output.colours_of_pixel) for output in self.outputs),
            pixels=self.config.pixels,
            ceiling_ma=self.config.ceiling_ma,
            table_capacity=self.store.capacity,
            table_length=len(self.store.image),
            inputs=len(self.inputs),
        )
