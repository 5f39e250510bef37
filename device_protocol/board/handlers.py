"""How the board carries out each order, once its arguments have been read (`Order.read`): the board's state is looked
at, then it changes (SPEC 3.5). HANDLERS is the one table: order → what it does; the feature stands on the order."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

from device_protocol.board.outputs import BoardOutput, RunningPattern
from device_protocol.errors import ErrorCode, Refusal
from device_protocol.framing import crc16
from device_protocol.lamp_table import TableFormatError, TableGroup, TableLamp, decode_table
from device_protocol.orders import (
    EDGES_A_REPLY,
    INPUTS_A_REPLY,
    Alive,
    BytesStaged,
    ChainCount,
    CommitTable,
    Committed,
    CountChain,
    Darken,
    Done,
    EdgeCounts,
    EraseTable,
    Identify,
    Identity,
    InputStates,
    LightGroup,
    LightLamp,
    LightPixel,
    LightRange,
    Linger,
    LingerSet,
    NoPattern,
    Order,
    OutputSettings,
    OutputState,
    Paint,
    Palette,
    PatternState,
    PixelBytes,
    PixelsLit,
    Play,
    Player,
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
    TableState,
    WatchInputs,
    WriteTable,
)
from device_protocol.values import DARK

if TYPE_CHECKING:
    from device_protocol.board.protocol_board import ProtocolBoard

OrderT = TypeVar("OrderT", bound=Order)
Handler = Callable[["ProtocolBoard", Any], Reply]


# --- the board itself ---


def _identify(board: ProtocolBoard, _order: Identify) -> Identity:
    return board.identity()


def _alive(_board: ProtocolBoard, _order: Alive) -> Done:
    return Done()


def _silence(board: ProtocolBoard, order: Silence) -> SilenceSet:
    board.silence_ms = order.silence_ms
    return SilenceSet(board.silence_ms)


# --- light ---


def _light_pixel(board: ProtocolBoard, order: LightPixel) -> Done:
    board.check_ready()
    picture = [DARK] * board.outputs[order.output].count
    picture[order.pixel] = order.colour
    board.light_up(order.output, picture)
    return Done()


def _light_range(board: ProtocolBoard, order: LightRange) -> Done:
    board.check_ready()
    picture = [DARK] * board.outputs[order.output].count
    picture[order.first : order.first + order.count] = [order.colour] * order.count
    board.light_up(order.output, picture)
    return Done()


def _darken(board: ProtocolBoard, order: Darken) -> Done:
    board.check_ready()
    for number in range(len(board.outputs)) if order.output is None else (order.output,):
        board.make_dark(number)
    return Done()


def _setup(board: ProtocolBoard, order: SetupOutput) -> OutputSettings:
    board.check_ready()
    board.make_dark(order.output)
    output = board.outputs[order.output] = BoardOutput.of(order.settings, board.config)
    return output.settings


def _state(board: ProtocolBoard, order: ReadOutputState) -> OutputState:
    output = board.outputs[order.output]
    return OutputState(settings=output.settings, lit=output.lit, need_ma=output.need_ma)


def _palette(board: ProtocolBoard, order: Palette) -> Done:
    board.check_ready()
    board.take_pixels()
    output = board.outputs[order.output]
    output.palette[order.first : order.first + len(order.colours)] = order.colours
    output.forget_staged(palette_too=False)
    output.shown = None
    return Done()


def _paint(board: ProtocolBoard, order: Paint) -> Staged:
    board.check_ready()
    output = board.outputs[order.output]
    if order.offset > len(output.staged):
        raise Refusal(ErrorCode.OUT_OF_STEP, f"staged={len(output.staged)}")
    board.take_pixels()
    output.staged[order.offset :] = order.entries
    output.shown = None
    return Staged(len(output.staged))


def _show(board: ProtocolBoard, order: Show) -> Done:
    board.check_ready()
    output = board.outputs[order.output]
    if len(output.staged) < output.count:
        raise Refusal(ErrorCode.INCOMPLETE, f"staged={len(output.staged)}")
    picture = [output.palette[entry] for entry in output.staged]
    output.check_ceiling(picture)
    board.take_pixels()
    output.pattern = None
    board.clock_picture(order.output, picture)
    return Done()


def _read_back(board: ProtocolBoard, order: ReadBack) -> PixelBytes:
    return PixelBytes(board.outputs[order.output].bytes_shown(order.pixel))


# --- patterns and the return wire ---


def _run(board: ProtocolBoard, order: RunPattern) -> Done:
    board.check_ready()
    pattern = RunningPattern(
        order.kind, order.sending, order.keep, order.step_ms, order.colours, board.now_ms + order.step_ms
    )
    board.run_pattern(order.output, pattern)
    return Done()


def _running(board: ProtocolBoard, order: ReadPattern) -> PatternState | NoPattern:
    pattern = board.outputs[order.output].pattern
    return NoPattern() if pattern is None else pattern.state


def _count(board: ProtocolBoard, order: CountChain) -> ChainCount:
    board.check_ready()
    return ChainCount(*board.count_chain(order.output, order.sent, order.times))


# --- the lamp table ---


def _table(board: ProtocolBoard, _order: ReadTableState) -> TableState:
    return board.store.state


def _write(board: ProtocolBoard, order: WriteTable) -> BytesStaged:
    board.check_ready()
    staged = board.store.staged
    if order.offset > len(staged):
        raise Refusal(ErrorCode.OUT_OF_STEP, f"staged={len(staged)}")
    staged[order.offset :] = order.data
    return BytesStaged(len(staged))


def _read(board: ProtocolBoard, order: ReadTable) -> TableBytes:
    return TableBytes(board.store.image[order.offset : order.offset + order.count])


def _commit(board: ProtocolBoard, order: CommitTable) -> Committed:
    board.check_ready()
    store = board.store
    held = store.held
    if held is not None and (len(held.image), held.crc, held.revision) == (order.length, order.crc, order.revision):
        store.staged.clear()
        return Committed(order.revision)
    if len(store.staged) < order.length:
        raise Refusal(ErrorCode.INCOMPLETE, f"staged={len(store.staged)}")
    image = bytes(store.staged[: order.length])
    if crc16(image) != order.crc:
        raise Refusal(ErrorCode.MISMATCH)
    try:
        decode_table(image, board.table_limits)
    except TableFormatError as error:
        raise Refusal(ErrorCode.BAD_TABLE, f"at={error.at}") from None
    board.change_table(lambda: store.commit(image, order.revision))
    return Committed(order.revision)


def _erase(board: ProtocolBoard, _order: EraseTable) -> Done:
    board.check_ready()
    board.change_table(board.store.erase)
    return Done()


# --- the game's lamps and inputs ---


def _play(board: ProtocolBoard, order: Play) -> PlayState:
    if order.player is not None:
        board.check_ready()
        if order.player is Player.GAME and board.store.held is None:
            raise Refusal(ErrorCode.NOT_IN_TABLE)
        board.give_pixels(order.player)
    limits = board.table_limits
    player = Player.GAME if board.game_has_pixels else Player.HOST
    return PlayState(player=player, lamps=limits.lamps, groups=limits.groups, pixels=limits.pixels)


def _light_whose(
    board: ProtocolBoard, kind: type[TableLamp | TableGroup], number: int, most: int, level: int
) -> PixelsLit:
    board.check_ready()
    held = board.store.held
    if held is None or number > most:
        raise Refusal(ErrorCode.NOT_IN_TABLE)
    whose = kind(number)
    entries = held.table.of(whose)
    if not entries:
        raise Refusal(ErrorCode.NOT_IN_TABLE)
    board.light_whose(whose, level)
    return PixelsLit(len(entries))


def _lamp(board: ProtocolBoard, order: LightLamp) -> PixelsLit:
    return _light_whose(board, TableLamp, order.lamp, board.table_limits.lamps, order.level)


def _group(board: ProtocolBoard, order: LightGroup) -> PixelsLit:
    return _light_whose(board, TableGroup, order.group, board.table_limits.groups - 1, order.level)


def _inputs(board: ProtocolBoard, order: ReadInputs) -> InputStates:
    start = order.first - 1
    return InputStates(order.first, len(board.inputs), tuple(board.inputs.on[start : start + INPUTS_A_REPLY]))


def _edges(board: ProtocolBoard, order: ReadEdges) -> EdgeCounts:
    start = order.first - 1
    return EdgeCounts(order.first, tuple(board.inputs.edges[start : start + EDGES_A_REPLY]))


def _linger(board: ProtocolBoard, order: Linger) -> LingerSet:
    board.inputs.linger_ms = order.linger_ms
    return LingerSet(board.inputs.linger_ms)


def _watch(board: ProtocolBoard, order: WatchInputs) -> Done:
    board.inputs.watch(order.on)
    return Done()


def _row(kind: type[OrderT], handler: Callable[[ProtocolBoard, OrderT], Reply]) -> tuple[type[Order], Handler]:
    return kind, handler


HANDLERS: dict[type[Order], Handler] = dict(
    (
        _row(Identify, _identify),
        _row(Alive, _alive),
        _row(Silence, _silence),
        _row(LightPixel, _light_pixel),
        _row(LightRange, _light_range),
        _row(Darken, _darken),
        _row(SetupOutput, _setup),
        _row(ReadOutputState, _state),
        _row(Palette, _palette),
        _row(Paint, _paint),
        _row(Show, _show),
        _row(ReadBack, _read_back),
        _row(RunPattern, _run),
        _row(ReadPattern, _running),
        _row(CountChain, _count),
        _row(ReadTableState, _table),
        _row(WriteTable, _write),
        _row(ReadTable, _read),
        _row(CommitTable, _commit),
        _row(EraseTable, _erase),
        _row(Play, _play),
        _row(LightLamp, _lamp),
        _row(LightGroup, _group),
        _row(ReadInputs, _inputs),
        _row(ReadEdges, _edges),
        _row(Linger, _linger),
        _row(WatchInputs, _watch),
    )
)
