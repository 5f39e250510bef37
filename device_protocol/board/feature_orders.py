"""How the board carries out the orders of `table`, `play`, `pattern`, `inputs` and `count` (SPEC 5.14 to 5.28)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import Enum
from typing import TYPE_CHECKING, TypeVar

from device_protocol.board.arguments import Fields, OrderRule, read_colour, read_number, read_output
from device_protocol.board.inputs import INPUTS_A_LINE, bits_text
from device_protocol.board.outputs import Refusal
from device_protocol.board.pattern import RunningPattern
from device_protocol.errors import ErrorCode
from device_protocol.framing import crc16
from device_protocol.lamp_table import (
    TableFormatError,
    TableGroup,
    TableLamp,
    decode_table,
)
from device_protocol.orders import (
    COUNT_TIMES_MOST,
    EDGES_A_REPLY,
    LINGER_MS_MOST,
    READ_MOST,
    STEP_MS_LEAST,
    STEP_MS_MOST,
    WRITE_MOST,
    PatternKeep,
    PatternKind,
    PatternLine,
    Player,
)

if TYPE_CHECKING:
    from device_protocol.board.protocol_board import ProtocolBoard

_BYTES = re.compile(r"(?:[0-9A-F]{2})+")
_CRC = re.compile(r"[0-9A-F]{4}")
_IMAGE_LEAST = 5
Word = TypeVar("Word", bound=Enum)


def _word(words: type[Word], text: str) -> Word:
    try:
        return words(text)
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None


def _table(board: ProtocolBoard, _arguments: Sequence[str]) -> Fields:
    return board.store.fields()


def _write(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    store = board.store
    offset = read_number(arguments[0])
    if not _BYTES.fullmatch(arguments[1]) or len(arguments[1]) > 2 * WRITE_MOST:
        raise Refusal(ErrorCode.BAD_VALUE)
    data = bytes.fromhex(arguments[1])
    if offset + len(data) > store.capacity:
        raise Refusal(ErrorCode.BAD_VALUE)
    board.check_ready()
    if offset > len(store.staged):
        raise Refusal(ErrorCode.OUT_OF_STEP, f"staged={len(store.staged)}")
    store.staged[offset:] = data
    return (str(len(store.staged)),)


def _read(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    offset, count = read_number(arguments[0]), read_number(arguments[1], 1, READ_MOST)
    image = board.store.held.image if board.store.held is not None else b""
    if offset + count > len(image):
        raise Refusal(ErrorCode.BAD_VALUE)
    return (image[offset : offset + count].hex().upper(),)


def _commit(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    store = board.store
    length = read_number(arguments[0], _IMAGE_LEAST, store.capacity)
    if not _CRC.fullmatch(arguments[1]):
        raise Refusal(ErrorCode.BAD_VALUE)
    crc = int(arguments[1], 16)
    revision = read_number(arguments[2], 1)
    board.check_ready()
    held = store.held
    if held is not None and (len(held.image), held.crc, held.revision) == (length, crc, revision):
        store.staged.clear()
        return (str(revision),)
    if len(store.staged) < length:
        raise Refusal(ErrorCode.INCOMPLETE, f"staged={len(store.staged)}")
    image = bytes(store.staged[:length])
    if crc16(image) != crc:
        raise Refusal(ErrorCode.MISMATCH)
    try:
        decode_table(image, board.table_limits)
    except TableFormatError as error:
        raise Refusal(ErrorCode.BAD_TABLE, f"at={error.at}") from None
    board.change_table(lambda: store.commit(image, revision))
    return (str(revision),)


def _erase(board: ProtocolBoard, _arguments: Sequence[str]) -> Fields:
    board.check_ready()
    board.change_table(board.store.erase)
    return ()


def _play(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    if arguments:
        player = _word(Player, arguments[0])
        board.check_ready()
        if player is Player.GAME and board.store.held is None:
            raise Refusal(ErrorCode.NOT_IN_TABLE)
        board.give_pixels(player)
    limits = board.table_limits
    player = Player.GAME if board.game_has_pixels else Player.HOST
    return (player.value, str(limits.lamps), str(limits.groups), str(limits.pixels))


def _light_whose(board: ProtocolBoard, arguments: Sequence[str], kind: type[TableLamp | TableGroup]) -> Fields:
    number, level = read_number(arguments[0]), read_number(arguments[1], 0, 255)
    board.check_ready()
    held = board.store.held
    most = board.table_limits.lamps if kind is TableLamp else board.table_limits.groups - 1
    if held is None or number > most:
        raise Refusal(ErrorCode.NOT_IN_TABLE)
    whose = kind(number)
    entries = held.table.of(whose)
    if not entries:
        raise Refusal(ErrorCode.NOT_IN_TABLE)
    board.light_whose(whose, level)
    return (str(len(entries)),)


def _lamp(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    return _light_whose(board, arguments, TableLamp)


def _group(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    return _light_whose(board, arguments, TableGroup)


def _run(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = read_output(board, arguments[0])
    output = board.outputs[number]
    kind = _word(PatternKind, arguments[1])
    if kind is PatternKind.WALK and len(arguments) > 6:
        raise Refusal(ErrorCode.ARGUMENT_COUNT)
    sending, keep = _word(PatternLine, arguments[2]), _word(PatternKeep, arguments[3])
    step_ms = read_number(arguments[4], STEP_MS_LEAST, STEP_MS_MOST)
    colours = tuple(read_colour(output, text) for text in arguments[5:])
    board.check_ready()
    board.run_pattern(number, RunningPattern(kind, sending, keep, step_ms, colours, board.now_ms + step_ms))
    return ()


def _running(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    pattern = board.outputs[read_output(board, arguments[0])].pattern
    return ("none",) if pattern is None else pattern.fields()


def _first_input(board: ProtocolBoard, text: str) -> int:
    return read_number(text, 1, len(board.inputs))


def _inputs(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    first = _first_input(board, arguments[0])
    return (str(len(board.inputs)), bits_text(board.inputs.on[first - 1 : first - 1 + INPUTS_A_LINE]))


def _edges(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    first = _first_input(board, arguments[0])
    return tuple(map(str, board.inputs.edges[first - 1 : first - 1 + EDGES_A_REPLY]))


def _linger(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    board.inputs.linger_ms = read_number(arguments[0], 1, LINGER_MS_MOST)
    return (str(board.inputs.linger_ms),)


def _watch(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    if arguments[0] not in ("on", "off"):
        raise Refusal(ErrorCode.BAD_VALUE)
    board.inputs.watch(arguments[0] == "on")
    return ()


def _count(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = read_output(board, arguments[0])
    sent = read_number(arguments[1], 1)
    if sent > board.config.pixels:
        raise Refusal(ErrorCode.TOO_MANY_PIXELS)
    times = read_number(arguments[2], 1, COUNT_TIMES_MOST)
    board.check_ready()
    return tuple(map(str, board.count_chain(number, sent, times)))


FEATURE_RULES: dict[str, OrderRule] = {
    "table": OrderRule(0, 0, _table, "table"),
    "write": OrderRule(2, 2, _write, "table"),
    "read": OrderRule(2, 2, _read, "table"),
    "commit": OrderRule(3, 3, _commit, "table"),
    "erase": OrderRule(0, 0, _erase, "table"),
    "play": OrderRule(0, 1, _play, "play"),
    "lamp": OrderRule(2, 2, _lamp, "play"),
    "group": OrderRule(2, 2, _group, "play"),
    "run": OrderRule(6, 9, _run, "pattern"),
    "running": OrderRule(1, 1, _running, "pattern"),
    "inputs": OrderRule(1, 1, _inputs, "inputs"),
    "edges": OrderRule(1, 1, _edges, "inputs"),
    "linger": OrderRule(1, 1, _linger, "inputs"),
    "watch": OrderRule(1, 1, _watch, "inputs"),
    "count": OrderRule(3, 3, _count, "count"),
}
