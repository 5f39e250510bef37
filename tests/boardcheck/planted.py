"""Boards that are sound but for one fault, planted behind the line: in what the board does, not in what passes by.

`FAULTS` has a row for each: its name, the clause that has to fail, whether a table is needed, and the board. Faults of one
output are planted on the last of two.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from dataclasses import fields as fields_of
from typing import Any

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.board.handlers import HANDLERS
from device_protocol.board.outputs import BoardOutput
from device_protocol.errors import ErrorCode, Refusal
from device_protocol.framing import RawLine, crc16
from device_protocol.lamp_table import TableGroup, TableLamp
from device_protocol.orders import (
    Alive,
    ButtonNotice,
    CommitTable,
    CountChain,
    Darken,
    DarkNotice,
    Done,
    EraseTable,
    Identify,
    LightGroup,
    LightLamp,
    LightPixel,
    LightRange,
    Linger,
    LingerSet,
    NoPattern,
    Order,
    Paint,
    Palette,
    PatternKeep,
    PixelBytes,
    PixelsLit,
    Play,
    Player,
    PlayNotice,
    PlayState,
    ReadBack,
    ReadEdges,
    ReadInputs,
    ReadOutputState,
    ReadPattern,
    ReadTable,
    ReadTableState,
    Reply,
    RunPattern,
    SetupOutput,
    Show,
    Silence,
    SilenceSet,
    Staged,
    TableBytes,
    WatchInputs,
    WriteTable,
)
from device_protocol.values import DARK, Colour

OUTPUTS = 2
LAST = OUTPUTS - 1
Change = Callable[["Planted", Any, Callable[[], Reply]], Reply]


class Planted(ProtocolBoard):
    """`changes`: what happens for an order instead; the third argument of each carries the order out soundly."""

    changes: dict[type[Order], Change]

    def __init__(self) -> None:
        super().__init__(BoardConfig(outputs=OUTPUTS, pixels=120))

    def _answer(self, raw: RawLine) -> Any:
        # the handlers of this board, for the time of this line
        sound = {kind: HANDLERS[kind] for kind in self.changes}

        def changed(kind: type[Order], change: Change) -> Callable[[ProtocolBoard, Any], Reply]:
            return lambda board, order: change(self, order, lambda: sound[kind](board, order))

        HANDLERS.update({kind: changed(kind, change) for kind, change in self.changes.items()})
        try:
            return super()._answer(raw)
        finally:
            HANDLERS.update(sound)


def on(*rows: tuple[type[Order], Change], base: type[Planted] = Planted) -> Callable[[], Planted]:
    return type("Made", (base,), {"changes": dict(rows)})


def of(**overridden: Any) -> Callable[[], Planted]:
    """A board some of whose methods differ."""
    return type("Made", (Planted,), {"changes": {}, **overridden})


@dataclass(frozen=True)
class Fault:
    clause: str
    make: Callable[[], ProtocolBoard]
    table: bool = False


# --- pieces ---


def only_last(change: Change) -> Change:
    """The fault on the last output only."""
    return lambda board, order, sound: change(board, order, sound) if order.output == LAST else sound()


def no_ceiling(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
    output = board.outputs[order.output]
    held, output.ceiling_ma = output.ceiling_ma, 4_000_000
    try:
        return sound()
    finally:
        board.outputs[order.output].ceiling_ma = held


class _WhiteFree(BoardOutput):
    __slots__ = ()

    def check_ceiling(self, picture: list[Colour]) -> None:
        super().check_ceiling([replace(colour, white=0) for colour in picture])


def white_free(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
    reply = sound()
    board.outputs[order.output].__class__ = _WhiteFree
    return reply


def answer(reply: Reply) -> Change:
    """Nothing happens, and this is the reply."""
    return lambda board, order, sound: reply


def refuse(code: ErrorCode) -> Change:
    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        raise Refusal(code)

    return change


def instead(code: ErrorCode, new: ErrorCode | None) -> Change:
    """A refusal with another code, or as if carried out."""

    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        try:
            return sound()
        except Refusal as refusal:
            if refusal.code is not code:
                raise
            if new is None:
                return Done()
            raise Refusal(new, *refusal.fields) from None

    return change


def without_fields(code: ErrorCode) -> Change:
    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        try:
            return sound()
        except Refusal as refusal:
            raise Refusal(refusal.code) if refusal.code is code else refusal from None

    return change


def then(act: Callable[[Planted, Any], None]) -> Change:
    """Carried out, then this happens too."""

    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        reply = sound()
        act(board, order)
        return reply

    return change


def before(act: Callable[[Planted, Any], None]) -> Change:
    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        act(board, order)
        return sound()

    return change


def reply_with(make: Callable[[Any, Any], Reply]) -> Change:
    """Carried out; the reply is made from the order and the sound reply."""
    return lambda board, order, sound: make(order, sound())


def other(**fields: Any) -> Change:
    """The order carried out with other values of some fields, each made from the old value."""

    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        made = object.__new__(type(order))
        for name in (each.name for each in fields_of(order)):
            value = getattr(order, name)
            object.__setattr__(made, name, fields[name](value) if name in fields else value)
        return HANDLED[type(order)](board, made)

    return change


HANDLED = dict(HANDLERS)
"""The sound handlers, whatever is planted at the moment."""


def revive(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
    """The pattern of the last output goes on after the order."""
    pattern = board.outputs[LAST].pattern
    reply = sound()
    board.outputs[LAST].pattern = pattern
    return reply


def keeps(*names: str) -> Change:
    """`setup` keeps these of the output's old state."""

    def change(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
        old = board.outputs[order.output]
        kept = {name: list(getattr(old, name)) for name in names}
        reply = sound()
        for name, value in kept.items():
            setattr(board.outputs[order.output], name, value)
        return reply

    return change


# --- the board's own time ---


def _silence_leaves_last_lit(self: Planted) -> None:
    kept = list(self.outputs[LAST].picture), self.outputs[LAST].shown
    ProtocolBoard._end_silence(self)
    self.outputs[LAST].picture, self.outputs[LAST].shown = kept


def _silence_ends_hold(self: Planted) -> None:
    for output in self.outputs:
        if output.pattern is not None:
            output.pattern.keep = PatternKeep.LIVE
    ProtocolBoard._end_silence(self)


def _silence_spares_live(self: Planted) -> None:
    for output in self.outputs:
        if output.pattern is not None:
            output.pattern.keep = PatternKeep.HOLD
    ProtocolBoard._end_silence(self)
    if all(output.pattern is not None for output in self.outputs):
        self._notify(DarkNotice())


def _silence_notice_though_all_hold(self: Planted) -> None:
    ProtocolBoard._end_silence(self)
    if all(output.pattern is not None for output in self.outputs):
        self._notify(DarkNotice())


def _bad_crc_counts(self: Planted, raw: RawLine) -> Any:
    self._heard_ms = self._now_ms
    return Planted._answer(self, raw)


def _hand_counts(self: Planted, raw: RawLine) -> Any:
    if raw.data == b"?":
        self._heard_ms = self._now_ms
    return Planted._answer(self, raw)


def _refused_does_not_count(self: Planted, raw: RawLine) -> Any:
    heard = self._heard_ms
    answered = Planted._answer(self, raw)
    if getattr(answered, "code", None) is not None:
        self._heard_ms = heard
    return answered


def _slow_to_dark(self: Planted) -> list[Any]:
    if self._heard_ms is None:
        return Planted._due(self)
    self._heard_ms += self.silence_ms
    try:
        return Planted._due(self)
    finally:
        self._heard_ms -= self.silence_ms


def _early_dark(self: Planted) -> list[Any]:
    if self._heard_ms is None:
        return Planted._due(self)
    self._heard_ms -= self.silence_ms * 0.3
    try:
        return Planted._due(self)
    finally:
        self._heard_ms += self.silence_ms * 0.3


def _fast_steps(self: Planted, number: int) -> None:
    pattern = self.outputs[number].pattern
    assert pattern is not None
    Planted._step_pattern(self, number)
    pattern.due_ms -= pattern.step_ms - 50


def _frozen_steps(self: Planted, number: int) -> None:
    pattern = self.outputs[number].pattern
    assert pattern is not None
    done = pattern.steps_done
    Planted._step_pattern(self, number)
    if number == LAST:
        pattern.steps_done = done


def _no_give_back(self: Planted) -> None:
    ProtocolBoard._end_silence(self)
    self._give_back_ms = None


def _gives_back_at_once(self: Planted) -> None:
    ProtocolBoard._end_silence(self)
    if self._give_back_ms is not None:
        self._give_back_ms = self._now_ms + 100


def _gives_back_unsaid(self: Planted) -> None:
    self._give_back_ms = None
    self._game_has = self._redraw = True


def _gives_back_in_vain(self: Planted) -> None:
    self._give_back_ms = None
    self._notify(PlayNotice())


def _order_does_not_stop_giving_back(self: Planted, raw: RawLine) -> Any:
    due = self._give_back_ms
    answered = Planted._answer(self, raw)
    self._give_back_ms = due
    return answered


def _notice_first(self: Planted, raw: RawLine) -> Any:
    """Its notice goes out before the reply."""
    answered = Planted._answer(self, raw)
    if raw.data.find(b" dark all") > 0:
        self._presses += 1
        self._notify(ButtonNotice(self._presses))
    return answered


def _inputs_first(self: Planted, order: WatchInputs, sound: Callable[[], Reply]) -> Reply:
    reply = sound()
    self._send_inputs()
    return reply


def _flood(self: Planted) -> None:
    if self.inputs.watched:
        for notice in self.inputs.notices(self._now_ms):
            self._notify(notice)


def _uptime(make: Callable[[int], int]) -> Callable[[Planted], Any]:
    def identity(self: Planted) -> Any:
        sound = ProtocolBoard.identity(self)
        return replace(sound, uptime_ms=make(sound.uptime_ms))

    return identity


def _identity(**fields: Any) -> Callable[[Planted], Any]:
    return lambda self: replace(ProtocolBoard.identity(self), **fields)


def _restart_lit(self: Planted, now_ms: float, cause: Any) -> None:
    ProtocolBoard._begin(self, now_ms, cause)
    self.outputs[LAST].picture[3] = Colour(9, 9, 9)


def _restart_other_order(self: Planted, now_ms: float, cause: Any) -> None:
    ProtocolBoard._begin(self, now_ms, cause)
    self.outputs[LAST].byte_order = "RGB"


# --- the table ---


def _adds_lamps(self: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
    pictures = [list(output.picture) for output in self.outputs]
    reply = sound()
    for output, old in zip(self.outputs, pictures, strict=True):
        output.picture = [
            new if old_one.is_dark else old_one
            for new, old_one in zip(output.picture, (*old, *[DARK] * 999), strict=False)
        ]
    return reply


def _no_levels(self: Planted, order: LightLamp, sound: Callable[[], Reply]) -> Reply:
    return other(level=lambda level: 255 if level else 0)(self, order, sound)


def _scaled_wrong(self: Planted, levels: Any) -> None:
    for chain in self.store.held.table.outputs if self.store.held else ():
        object.__setattr__(chain, "ceiling_ma", 60_000)
    Planted._show_table(self, levels)


def _setup_ceiling_ignored(self: Planted, levels: Any) -> None:
    held = [output.ceiling_ma for output in self.outputs]
    for output in self.outputs:
        output.ceiling_ma = self.config.ceiling_ma
    Planted._show_table(self, levels)
    for output, ceiling_ma in zip(self.outputs, held, strict=True):
        output.ceiling_ma = ceiling_ma


def _entry_level_ignored(self: Planted, levels: Any) -> None:
    for entry in self.store.held.table.entries if self.store.held else ():
        object.__setattr__(entry, "level", 255)
    Planted._show_table(self, levels)


def _last_entry_counts(self: Planted, levels: Any) -> None:
    """Where a pixel has several entries the last one wins."""
    assert self.store.held is not None
    table = self.store.held.table
    seen: dict[tuple[int, int], Any] = {}
    for entry in table.entries:
        if levels(entry.whose):
            seen[entry.output, entry.pixel] = entry
    entries = table.entries
    object.__setattr__(table, "entries", tuple(seen.values()))
    Planted._show_table(self, levels)
    object.__setattr__(table, "entries", entries)


def _groups_start_dark(self: Planted, change: Callable[[], None]) -> None:
    Planted.change_table(self, change)
    for number in range(64):
        self._game.ask(TableGroup(number), 0)
        self._game._shown[True, number] = 0


def _dark_groups_start_lit(self: Planted, change: Callable[[], None]) -> None:
    Planted.change_table(self, change)
    for number in range(2):
        self._game.ask(TableGroup(number), 255)
        self._game._shown[True, number] = 255


def _groups_rise(self: Planted, change: Callable[[], None]) -> None:
    Planted.change_table(self, change)
    self._game._shown.clear()


def _game_keeps_pixels(self: Planted, change: Callable[[], None]) -> None:
    had = self._game_has
    Planted.change_table(self, change)
    self._game_has = had


def _leaves_table_light(self: Planted) -> None:
    self._table_lit = False
    Planted._darken_table_picture(self)


def _image_ok(rule: Callable[[bytes], bytes]) -> Change:
    """Commits an image that breaks a rule: the rule is mended before it is looked at."""

    def change(board: Planted, order: CommitTable, sound: Callable[[], Reply]) -> Reply:
        image = rule(bytes(board.store.staged[: order.length]))
        board.store.staged[: order.length] = image
        return HANDLED[CommitTable](board, replace(order, crc=crc16(image)))

    return change


def _byte(at: int, make: Callable[[int], int], *, when: Callable[[bytes], bool] = lambda image: True) -> Change:
    def rule(image: bytes) -> bytes:
        if len(image) <= at or not when(image):
            return image
        return image[:at] + bytes((make(image[at]),)) + image[at + 1 :]

    return _image_ok(rule)


def _one_chain(image: bytes) -> bool:
    return image[1] >= 1 and len(image) >= 12


FAULTS: dict[str, Fault] = {
    # light, ceiling
    **{
        f"no ceiling for {kind.WORD}": Fault("4.4", on((kind, no_ceiling)))
        for kind in (LightPixel, LightRange, Show, RunPattern)
    },
    **{
        f"no ceiling for {kind.WORD} on the last output": Fault("4.4", on((kind, only_last(no_ceiling))))
        for kind in (LightPixel, LightRange, Show, RunPattern)
    },
    "white is not counted": Fault("4.4", on((SetupOutput, white_free))),
    "white is not counted on the last output": Fault("4.4", on((SetupOutput, only_last(white_free)))),
    "a refused show is forgotten": Fault(
        "4.5",
        on((Show, lambda board, order, sound: _forgets_refused(board, order, sound))),
    ),
    "figures of 32 missing for range": Fault("4.5", on((LightRange, without_fields(ErrorCode.CEILING)))),
    "figures of 32 missing for show": Fault("4.5", on((Show, without_fields(ErrorCode.CEILING)))),
    "figures of 32 missing for run": Fault("4.5", on((RunPattern, without_fields(ErrorCode.CEILING)))),
    "a refused light darkens": Fault("4.5", on((LightPixel, lambda b, o, s: _darkens_on_refusal(b, o, s)))),
    "a refused range darkens": Fault("4.5", on((LightRange, lambda b, o, s: _darkens_on_refusal(b, o, s)))),
    "setup raises the ceiling of the last output": Fault(
        "5.8",
        on((SetupOutput, then(lambda b, o: setattr(b.outputs[LAST], "ceiling_ma", b.config.ceiling_ma + 1)))),
    ),
    "the last output keeps its light": Fault(
        "4.6", on((LightPixel, lambda b, o, s: _adds(b, o, s)))
    ),
    "light touches another output": Fault(
        "4.6", on((LightPixel, then(lambda b, o: b.clock_picture(1 - o.output, [DARK] * b.outputs[1 - o.output].count))))
    ),
    "red and green swapped": Fault(
        "4.7", of(clock_picture=lambda self, number, picture: _swapped(self, number, picture))
    ),
    "white is sent first whatever the order": Fault(
        "4.7", on((ReadBack, reply_with(lambda o, r: PixelBytes(r.data[-1:] + r.data[:-1]) if r.data and len(r.data) == 4 else r)))
    ),
    "lit after a restart": Fault("4.1", of(_begin=_restart_lit)),
    "another byte order after a restart": Fault("4.1", of(_begin=_restart_other_order)),
    # silence
    "silence leaves the last output lit": Fault("4.2", of(_end_silence=_silence_leaves_last_lit)),
    "silence is restarted by a bad CRC": Fault("4.2", of(_answer=_bad_crc_counts)),
    "silence is restarted by ?": Fault("4.2", of(_answer=_hand_counts)),
    "a refused order does not count": Fault("4.2", of(_answer=_refused_does_not_count)),
    "silence ends a pattern that holds": Fault("4.2", of(_end_silence=_silence_ends_hold)),
    "silence spares a live pattern": Fault("4.2", of(_end_silence=_silence_spares_live)),
    "twice the silence time": Fault("4.2", of(_due=_slow_to_dark)),
    "dark too early": Fault("4.2", of(_due=_early_dark)),
    "silence sends no notice": Fault("4.2", of(_notify=lambda self, notice: None if isinstance(notice, DarkNotice) else ProtocolBoard._notify(self, notice))),
    "another word in its notice": Fault("7.4", of(_notify=lambda self, notice: ProtocolBoard._notify(self, _Mistaken() if isinstance(notice, DarkNotice) else notice))),
    # section 5
    "steps of 50 ms": Fault("5.23", of(_step_pattern=_fast_steps)),
    "steps of 50 ms break the flash rule": Fault("4.11", of(_step_pattern=_fast_steps)),
    "the last output's steps do not count": Fault("5.23", of(_step_pattern=_frozen_steps)),
    **{
        f"a pattern goes on after {kind.WORD}": Fault("5.22", on((kind, revive)))
        for kind in (LightPixel, LightRange, Show, Darken, CountChain, SetupOutput)
    },
    "a refused run ends the pattern": Fault("5.22", of(_carry_out=lambda self, word, texts: _run_ends_first(self, word, texts))),
    "walk starts at the second pixel": Fault("5.23", on((RunPattern, then(lambda b, o: _rotate(b, o))))),
    "running says none": Fault("5.23", on((ReadPattern, answer(NoPattern())))),
    "setup keeps the palette": Fault("5.7", on((SetupOutput, keeps("palette")))),
    "setup keeps the palette of the last output": Fault("5.7", on((SetupOutput, only_last(keeps("palette"))))),
    "setup keeps what is staged": Fault("5.7", on((SetupOutput, keeps("staged")))),
    "setup keeps what the last output has staged": Fault("5.7", on((SetupOutput, only_last(keeps("staged"))))),
    "setup keeps the light": Fault("5.7", on((SetupOutput, keeps("picture")))),
    "setup of one output is of both": Fault("5.7", on((SetupOutput, then(lambda b, o: b.outputs.__setitem__(1 - o.output, BoardOutput.of(o.settings, b.config)))))),
    "setup forgets the latch time": Fault("5.7", on((SetupOutput, then(lambda b, o: setattr(b.outputs[o.output], "latch_us", 300))))),
    "setup forgets the latch time of the last output": Fault("5.7", on((SetupOutput, only_last(then(lambda b, o: setattr(b.outputs[o.output], "latch_us", 300)))))),
    "setup forgets the lower ceiling": Fault("5.7", on((SetupOutput, then(lambda b, o: setattr(b.outputs[o.output], "ceiling_ma", b.config.ceiling_ma))))),
    "dark 0 darkens all": Fault("5.5", on((Darken, lambda b, o, s: HANDLED[Darken](b, Darken())))),
    "dark all leaves the last output": Fault("5.5", on((Darken, lambda b, o, s: HANDLED[Darken](b, Darken(0)) if o.output is None else s()))),
    "dark of the last output does nothing": Fault("5.5", on((Darken, lambda b, o, s: Done() if o.output == LAST else s()))),
    "dark keeps what is staged": Fault("5.5", on((Darken, lambda b, o, s: _keeps_staged(b, s)))),
    "light is one pixel too far": Fault("5.4", on((LightPixel, lambda b, o, s: _one_too_far(b, o, s)))),
    "light is one pixel too far on the last output": Fault("5.4", on((LightPixel, only_last(lambda b, o, s: _one_too_far(b, o, s))))),
    "light has red for green": Fault("5.4", on((LightPixel, other(colour=lambda c: Colour(c.green, c.red, c.blue, c.white))))),
    "light goes to the other output": Fault("5.4", on((LightPixel, other(output=lambda n: 1 - n)))),
    "light on the last output does nothing": Fault("5.4", on((LightPixel, only_last(answer(Done()))))),
    "range is one pixel short": Fault("5.9", on((LightRange, other(count=lambda n: n - 1)))),
    "range is one pixel short on the last output": Fault("5.9", on((LightRange, only_last(other(count=lambda n: n - 1))))),
    "range begins one pixel late": Fault("5.9", on((LightRange, lambda b, o, s: HANDLED[LightRange](b, replace(o, first=min(o.first + 1, b.outputs[o.output].count - o.count)))))),
    "range in another colour": Fault("5.9", on((LightRange, other(colour=lambda c: Colour(c.blue, c.green, c.red, c.white))))),
    "count leaves light": Fault("5.28", on((CountChain, lambda b, o, s: _keeps_picture(b, o, s)))),
    "count leaves light on the last output": Fault("5.28", on((CountChain, only_last(lambda b, o, s: _keeps_picture(b, o, s))))),
    "count finds more than it sent": Fault("5.28", on((CountChain, reply_with(lambda o, r: replace(r, most=o.sent + 1))))),
    "uptime is stuck": Fault("5.3", of(identity=_uptime(lambda ms: 7))),
    "uptime runs twice as fast": Fault("5.3", of(identity=_uptime(lambda ms: ms * 2))),
    "uptime is in seconds": Fault("5.3", of(identity=_uptime(lambda ms: ms // 1000))),
    "999,999,999 outputs": Fault("5.3", of(identity=_identity(outputs=999_999_999))),
    "a million pixels": Fault("5.3", of(identity=_identity(pixels=1_000_000))),
    "a ceiling of 5 kA": Fault("5.3", of(identity=_identity(ceiling_ma=5_000_000))),
    "a silence time of an hour": Fault("5.3", of(identity=_identity(silence_ms=3_600_000))),
    "a name with capitals": Fault("5.3", of(identity=_identity(board="Board"))),
    "state of the last output is that of the first": Fault("5.8", on((ReadOutputState, other(output=lambda n: 0)))),
    "state counts dark pixels as lit": Fault("5.8", on((ReadOutputState, reply_with(lambda o, r: replace(r, lit=r.settings.count if not r.lit else r.lit))))),
    "state forgets the idle current": Fault("5.8", on((ReadOutputState, reply_with(lambda o, r: replace(r, need_ma=max(0, r.need_ma - r.settings.count)))))),
    "silence is not kept": Fault("5.10", on((Silence, reply_with(lambda o, r: SilenceSet(5_000))))),
    "id has another silence time": Fault("5.10", of(identity=_identity(silence_ms=5_000))),
    "palette is one entry off": Fault("5.11", on((Palette, lambda b, o, s: _palette_off(b, o, s)))),
    "palette keeps what is staged": Fault("5.11", on((Palette, lambda b, o, s: _keeps_staged(b, s)))),
    "palette keeps what is staged on the last output": Fault("5.11", on((Palette, only_last(lambda b, o, s: _keeps_staged(b, s))))),
    "palette darkens": Fault("5.11", on((Palette, then(lambda b, o: setattr(b.outputs[o.output], "picture", [DARK] * b.outputs[o.output].count))))),
    "paint shows at once": Fault("5.12", on((Paint, then(lambda b, o: _shows(b, o))))),
    "paint counts its line only": Fault("5.12", on((Paint, reply_with(lambda o, r: Staged(len(o.entries)))))),
    "paint does not go back": Fault("5.12", on((Paint, lambda b, o, s: _appends(b, o, s)))),
    "show leaves out the last pixel": Fault("5.13", on((Show, then(lambda b, o: _last_pixel_dark(b, o))))),
    "show leaves out the last pixel of the last output": Fault("5.13", on((Show, only_last(then(lambda b, o: _last_pixel_dark(b, o)))))),
    "show only once": Fault("5.13", on((Show, then(lambda b, o: b.outputs[o.output].staged.clear())))),
    "show of the last output shows the first": Fault("5.13", on((Show, only_last(lambda b, o, s: HANDLED[Show](b, Show(0)))))),
    "an incomplete picture is shown": Fault("5.13", on((Show, lambda b, o, s: _fills(b, o, s)))),
    "readback is always dark": Fault("5.29", on((ReadBack, answer(PixelBytes(bytes(3)))))),
    "readback of the last output is of the first": Fault("5.29", on((ReadBack, other(output=lambda n: 0)))),
    "readback invents a picture after setup": Fault("5.29", on((ReadBack, reply_with(lambda o, r: r if r.data else PixelBytes(bytes(3)))))),
    "inputs gives too many": Fault("5.24", on((ReadInputs, reply_with(lambda o, r: replace(r, total=9))))),
    "edges gives one": Fault("5.25", on((ReadEdges, reply_with(lambda o, r: replace(r, counts=r.counts[:1]))))),
    "linger is fixed": Fault("5.26", on((Linger, answer(LingerSet(25))))),
    "watch does nothing": Fault("5.27", on((WatchInputs, answer(Done())))),
    "alive twice as long": Fault("5.6", on((Alive, answer(SilenceSet(1))))),
    "commit mismatch as bad table": Fault("5.17", on((CommitTable, instead(ErrorCode.MISMATCH, ErrorCode.BAD_TABLE)))),
    "write gaps": Fault("5.15", on((WriteTable, instead(ErrorCode.OUT_OF_STEP, None)))),
    "play lets anybody have the pixels": Fault("5.19", on((Play, reply_with(lambda o, r: replace(r, player=Player.GAME))), ), table=True),
    "a notice before the reply": Fault("7.1", of(_answer=_notice_first)),
    "inputs before the reply to watch": Fault("7.1", on((WatchInputs, _inputs_first))),
    # the table
    "table has another length": Fault("5.14", on((ReadTableState, reply_with(lambda o, r: replace(r, length=max(0, r.length - 1))))), True),
    "table has another CRC": Fault("5.14", on((ReadTableState, reply_with(lambda o, r: replace(r, crc=r.crc ^ 1)))), True),
    "id forgets the revision": Fault("5.14", of(identity=_identity(table=0)), True),
    "staging changes the table in force": Fault("5.15", on((WriteTable, then(lambda b, o: _spoils_table(b, o)))), True),
    "read is one byte off": Fault("5.16", on((ReadTable, lambda b, o, s: TableBytes((b.store.image + b"\0")[o.offset + 1 : o.offset + o.count + 1]))), True),
    "the same commit keeps what is staged": Fault("5.17", on((CommitTable, lambda b, o, s: _same_commit(b, o, s))), True),
    "a refused commit forgets what is staged": Fault("5.17", on((CommitTable, lambda b, o, s: _forgets_staged_table(b, s))), True),
    "commit takes more than its length": Fault("5.17", on((CommitTable, lambda b, o, s: _takes_all(b, o, s))), True),
    "commit checks no CRC": Fault("5.17", on((CommitTable, lambda b, o, s: HANDLED[CommitTable](b, replace(o, crc=crc16(bytes(b.store.staged[: o.length])))))), True),
    "erase keeps what is staged": Fault("5.18", on((EraseTable, lambda b, o, s: _keeps_staged_table(b, s))), True),
    "erase does nothing": Fault("5.18", on((EraseTable, answer(Done()))), True),
    "play game is only said": Fault("5.19", on((Play, lambda b, o, s: _play_said(b, o, s))), True),
    "play host leaves light": Fault("5.19", of(give_pixels=lambda self, player: _gives_without_dark(self, player)), True),
    "lamp says how many pixels, not entries": Fault("5.20", on((LightLamp, reply_with(lambda o, r: PixelsLit(1)))), True),
    "lamp lights the next lamp": Fault("5.20", on((LightLamp, lambda b, o, s: HANDLED[LightLamp](b, replace(o, lamp=o.lamp % 3 + 1)) if 1 <= o.lamp <= 3 else s())), True),
    "lamp adds to what is lit": Fault("5.20", on((LightLamp, _adds_lamps)), True),
    "lamp knows no levels": Fault("5.20", on((LightLamp, _no_levels)), True),
    "lamp does nothing": Fault("5.20", on((LightLamp, lambda b, o, s: PixelsLit(len(b.store.held.table.of(TableLamp(o.lamp)))) if b.store.held and b.store.held.table.of(TableLamp(o.lamp)) else s())), True),
    "an unknown lamp is dark": Fault("5.20", on((LightLamp, instead(ErrorCode.NOT_IN_TABLE, None))), True),
    "lamp leaves the first output out": Fault("5.20", of(_clock_table=lambda self, chain, picture: ProtocolBoard._clock_table(self, chain, picture if chain.output else [DARK] * len(picture))), True),
    "lamp leaves the last output out": Fault("5.20", of(_clock_table=lambda self, chain, picture: ProtocolBoard._clock_table(self, chain, [DARK] * len(picture) if chain.output else picture)), True),
    "group lights the other group": Fault("5.21", on((LightGroup, lambda b, o, s: HANDLED[LightGroup](b, replace(o, group=1 - o.group)) if o.group < 2 else s())), True),
    "group knows no levels": Fault("5.21", on((LightGroup, other(level=lambda level: 255))), True),
    "an unknown group is dark": Fault("5.21", on((LightGroup, instead(ErrorCode.NOT_IN_TABLE, None))), True),
    "any format": Fault("12.2", on((CommitTable, _byte(0, lambda _: 1))), True),
    "any count in a record": Fault("12.3", on((CommitTable, _image_ok(lambda i: i[:7] + b"\0\6" + i[9:] if _one_chain(i) and i[7:9] == b"\0\0" else i))), True),
    "a ceiling of nothing in a record": Fault("12.3", on((CommitTable, _image_ok(lambda i: i[:9] + b"\0\1" + i[11:] if _one_chain(i) and i[9:11] == b"\0\0" else i))), True),
    "any latch time in a record": Fault("12.3", on((CommitTable, _byte(11, lambda v: min(250, max(70, v)), when=_one_chain))), True),
    "unused bits in a record": Fault("12.3", on((CommitTable, _byte(6, lambda v: v & 0x3F, when=lambda i: _one_chain(i) and i[5] >> 4 == 3))), True),
    "bit 6 of a group": Fault("12.5", on((CommitTable, _byte(13, lambda v: v & 0xBF, when=lambda i: len(i) > 13 and i[12] == 0xCF))), True),
    "no offset with 38": Fault("12.2", on((CommitTable, without_fields(ErrorCode.BAD_TABLE))), True),
    "an image that ends early is filled up": Fault("12.7", on((CommitTable, lambda b, o, s: _filled_up(b, o, s))), True),
    "any lamp number": Fault("12.6", on((CommitTable, lambda b, o, s: _with_limits(b, s, lamps=65_535))), True),
    "any group number": Fault("12.6", on((CommitTable, lambda b, o, s: _with_limits(b, s, groups=64))), True),
    "any pixel for the game": Fault("12.6", on((CommitTable, lambda b, o, s: _with_limits(b, s, pixels=4_096))), True),
    **{
        f"{kind.WORD} leaves the pixels to the game": Fault("13.2", on((kind, lambda b, o, s: _game_stays(b, s))), True)
        for kind in (LightPixel, LightRange, Darken, SetupOutput, Palette, Paint, RunPattern, CountChain)
    },
    "state takes the pixels": Fault("13.2", on((ReadOutputState, before(lambda b, o: b.take_pixels()))), True),
    "id takes the pixels": Fault("13.2", on((Identify, before(lambda b, o: b.take_pixels()))), True),
    "the table's light stays": Fault("13.2", of(_darken_table_picture=_leaves_table_light), True),
    "groups start dark": Fault("13.3", of(change_table=_groups_start_dark), True),
    "groups that start dark are lit": Fault("13.3", of(change_table=_dark_groups_start_lit), True),
    "groups rise slowly at first": Fault("13.3", of(change_table=_groups_rise), True),
    "the game keeps the pixels without a table": Fault("13.4", of(change_table=_game_keeps_pixels), True),
    "the game never has the pixels again": Fault("13.5", of(_end_silence=_no_give_back), True),
    "the game has the pixels at once": Fault("13.5", of(_end_silence=_gives_back_at_once), True),
    "no notice that the game has the pixels": Fault("13.5", of(_give_back=_gives_back_unsaid), True),
    "a notice in vain that the game has the pixels": Fault("13.5", of(_give_back=_gives_back_in_vain), True),
    "an order does not keep the pixels": Fault("13.5", of(_answer=_order_does_not_stop_giving_back), True),
    "the table's ceiling is ignored": Fault("13.7", of(_show_table=_scaled_wrong), True),
    "the ceiling of setup is ignored by the table": Fault("13.7", of(_show_table=_setup_ceiling_ignored), True),
    "an entry's level is ignored": Fault("5.20", of(_show_table=_entry_level_ignored), True),
    "the last entry of a pixel counts": Fault("5.20", of(_show_table=_last_entry_counts), True),
}  # fmt: skip


class _Mistaken(DarkNotice):
    def fields(self) -> tuple[str, ...]:
        return ("quiet",)


def _forgets_refused(board: Planted, order: Show, sound: Callable[[], Reply]) -> Reply:
    try:
        return sound()
    except Refusal:
        if len(board.outputs[order.output].staged) == board.outputs[order.output].count:
            board.outputs[order.output].staged.clear()
        raise


def _darkens_on_refusal(board: Planted, order: Any, sound: Callable[[], Reply]) -> Reply:
    try:
        return sound()
    except Refusal:
        board.make_dark(order.output)
        raise


def _adds(board: Planted, order: LightPixel, sound: Callable[[], Reply]) -> Reply:
    old = list(board.outputs[order.output].picture)
    reply = sound()
    if order.output == LAST and not order.colour.is_dark:
        output = board.outputs[LAST]
        output.picture = [a if b.is_dark else b for a, b in zip(old, output.picture, strict=True)]
    return reply


def _swapped(board: Planted, number: int, picture: list[Colour]) -> None:
    ProtocolBoard.clock_picture(board, number, picture)
    output = board.outputs[number]
    frame = b"".join(Colour(c.green, c.red, c.blue, c.white).wire(output.byte_order) for c in picture)
    output.shown = (frame, output.colours_of_pixel)


def _run_ends_first(board: Planted, word: str, texts: tuple[str, ...]) -> tuple[str, ...]:
    if word == "run" and texts and texts[0] in ("0", "1"):
        board.outputs[int(texts[0])].pattern = None
    return ProtocolBoard._carry_out(board, word, texts)


def _rotate(board: Planted, order: RunPattern) -> None:
    output = board.outputs[order.output]
    board.clock_picture(order.output, output.picture[-1:] + output.picture[:-1])


def _keeps_staged(board: Planted, sound: Callable[[], Reply]) -> Reply:
    kept = [list(output.staged) for output in board.outputs]
    reply = sound()
    for output, staged in zip(board.outputs, kept, strict=True):
        output.staged = staged
    return reply


def _one_too_far(board: Planted, order: LightPixel, sound: Callable[[], Reply]) -> Reply:
    return HANDLED[LightPixel](board, replace(order, pixel=(order.pixel + 1) % board.outputs[order.output].count))


def _keeps_picture(board: Planted, order: CountChain, sound: Callable[[], Reply]) -> Reply:
    old = list(board.outputs[order.output].picture)
    reply = sound()
    board.outputs[order.output].picture = old
    return reply


def _palette_off(board: Planted, order: Palette, sound: Callable[[], Reply]) -> Reply:
    reply = sound()
    palette = board.outputs[order.output].palette
    palette[:] = [DARK, *palette[2:], DARK]
    return reply


def _shows(board: Planted, order: Paint) -> None:
    output = board.outputs[order.output]
    picture = [output.palette[entry] for entry in output.staged]
    output.picture = picture + [DARK] * (output.count - len(picture))


def _appends(board: Planted, order: Paint, sound: Callable[[], Reply]) -> Reply:
    output = board.outputs[order.output]
    if 0 < order.offset < len(output.staged):
        raise Refusal(ErrorCode.OUT_OF_STEP, f"staged={len(output.staged)}")
    return sound()


def _last_pixel_dark(board: Planted, order: Show) -> None:
    picture = list(board.outputs[order.output].picture)
    picture[-1] = DARK
    board.clock_picture(order.output, picture)


def _fills(board: Planted, order: Show, sound: Callable[[], Reply]) -> Reply:
    output = board.outputs[order.output]
    output.staged += [0] * (output.count - len(output.staged))
    return sound()


def _spoils_table(board: Planted, order: WriteTable) -> None:
    held = board.store.held
    if held is not None and len(board.store.staged) > 16:
        board.store.held = replace(held, image=bytes(board.store.staged)[: len(held.image)])


def _same_commit(board: Planted, order: CommitTable, sound: Callable[[], Reply]) -> Reply:
    held = board.store.held
    if held is not None and (held.crc, held.revision) == (order.crc, order.revision):
        return _keeps_staged_table(board, sound)
    return sound()


def _keeps_staged_table(board: Planted, sound: Callable[[], Reply]) -> Reply:
    staged = bytes(board.store.staged)
    reply = sound()
    board.store.staged[:] = staged
    return reply


def _forgets_staged_table(board: Planted, sound: Callable[[], Reply]) -> Reply:
    try:
        return sound()
    except Refusal as refusal:
        if refusal.code is ErrorCode.MISMATCH:
            board.store.staged.clear()
        raise


def _takes_all(board: Planted, order: CommitTable, sound: Callable[[], Reply]) -> Reply:
    if crc16(bytes(board.store.staged[: order.length])) != order.crc:
        return sound()
    image = bytes(board.store.staged)
    try:
        return HANDLED[CommitTable](board, CommitTable(len(image), crc16(image), order.revision))
    except Refusal:
        return sound()


def _play_said(board: Planted, order: Play, sound: Callable[[], Reply]) -> Reply:
    if order.player is Player.GAME and board.store.held is not None:
        state = HANDLED[Play](board, Play(None))
        assert isinstance(state, PlayState)
        return replace(state, player=Player.GAME)
    return sound()


def _gives_without_dark(board: Planted, player: Player) -> None:
    if player is Player.GAME:
        ProtocolBoard.give_pixels(board, player)
    else:
        board._table_lit = False
        board._game_has = False


def _filled_up(board: Planted, order: CommitTable, sound: Callable[[], Reply]) -> Reply:
    try:
        return sound()
    except Refusal as refusal:
        if refusal.code is not ErrorCode.BAD_TABLE:
            raise
        image = bytes(board.store.staged[: order.length]) + bytes(4)
        for end in range(order.length, order.length + 5):
            try:
                board.store.staged[:] = image[:end]
                return HANDLED[CommitTable](board, CommitTable(end, crc16(image[:end]), order.revision))
            except Refusal:
                continue
        raise


def _with_limits(board: Planted, sound: Callable[[], Reply], **limits: int) -> Reply:
    kept = board.table_limits
    board.table_limits = replace(kept, **limits)
    try:
        return sound()
    finally:
        board.table_limits = kept


def _game_stays(board: Planted, sound: Callable[[], Reply]) -> Reply:
    had = board._game_has
    reply = sound()
    board._game_has = had
    return reply
