"""How the board carries out each order: arguments checked from left to right, then the board's state (SPEC 3.5).

`ORDER_RULES` is the dispatch table; `board_feature_orders` has the later features' part of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from device_protocol.board.arguments import Fields, OrderRule, read_colour, read_number, read_output, read_pixel
from device_protocol.board.feature_orders import FEATURE_RULES
from device_protocol.board.outputs import BoardOutput, Refusal
from device_protocol.errors import ErrorCode
from device_protocol.orders import decode_runs, expand_runs
from device_protocol.values import (
    DARK,
    LATCH_US_LEAST,
    LATCH_US_MOST,
    PALETTE_LAST,
    SILENCE_MS_LEAST,
    SILENCE_MS_MOST,
    is_byte_order,
)

if TYPE_CHECKING:
    from device_protocol.board.protocol_board import ProtocolBoard


def _id(board: ProtocolBoard, _arguments: Sequence[str]) -> Fields:
    return board.identity_fields()


def _alive(_board: ProtocolBoard, _arguments: Sequence[str]) -> Fields:
    return ()


def _light(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = read_output(board, arguments[0])
    output = board.outputs[number]
    pixel = read_pixel(output, arguments[1])
    colour = read_colour(output, arguments[2])
    board.check_ready()
    picture = [DARK] * output.count
    picture[pixel] = colour
    board.light_up(number, picture)
    return ()


def _range(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = read_output(board, arguments[0])
    output = board.outputs[number]
    first = read_pixel(output, arguments[1])
    count = read_number(arguments[2], 1)
    if first + count > output.count:
        raise Refusal(ErrorCode.NO_SUCH_PIXEL)
    colour = read_colour(output, arguments[3])
    board.check_ready()
    picture = [DARK] * output.count
    picture[first : first + count] = [colour] * count
    board.light_up(number, picture)
    return ()


def _dark(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    numbers = range(len(board.outputs)) if arguments[0] == "all" else (read_output(board, arguments[0]),)
    board.check_ready()
    for number in numbers:
        board.make_dark(number)
    return ()


def _settings_fields(output: BoardOutput) -> Fields:
    return (str(output.count), output.byte_order, str(output.latch_us), str(output.ceiling_ma))


def _setup(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = read_output(board, arguments[0])
    count = read_number(arguments[1], 1)
    if count > board.config.pixels:
        raise Refusal(ErrorCode.TOO_MANY_PIXELS)
    if not is_byte_order(arguments[2]):
        raise Refusal(ErrorCode.BAD_VALUE)
    latch_us = read_number(arguments[3], LATCH_US_LEAST, LATCH_US_MOST)
    ceiling_ma = read_number(arguments[4], 1, board.config.ceiling_ma)
    board.check_ready()
    board.make_dark(number)
    board.outputs[number] = BoardOutput(
        count=count,
        byte_order=arguments[2],
        latch_us=latch_us,
        ceiling_ma=ceiling_ma,
        channel_ua=board.config.channel_ua,
        idle_ua=board.config.idle_ua,
    )
    return _settings_fields(board.outputs[number])


def _state(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    output = board.outputs[read_output(board, arguments[0])]
    return (*_settings_fields(output), str(output.lit), str(output.need_ma))


def _silence(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    board.silence_ms = read_number(arguments[0], SILENCE_MS_LEAST, SILENCE_MS_MOST)
    return (str(board.silence_ms),)


def _palette(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    output = board.outputs[read_output(board, arguments[0])]
    first = read_number(arguments[1], 1, PALETTE_LAST)
    if first + len(arguments) - 3 > PALETTE_LAST:
        raise Refusal(ErrorCode.BAD_VALUE)
    colours = [read_colour(output, text) for text in arguments[2:]]
    board.check_ready()
    board.take_pixels()
    output.palette[first : first + len(colours)] = colours
    output.forget_staged(palette_too=False)
    return ()


def _paint(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    output = board.outputs[read_output(board, arguments[0])]
    offset = read_pixel(output, arguments[1])
    try:
        runs = decode_runs(arguments[2])
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None
    if offset + sum(length for _, length in runs) > output.count:
        raise Refusal(ErrorCode.NO_SUCH_PIXEL)
    board.check_ready()
    if offset > len(output.staged):
        raise Refusal(ErrorCode.OUT_OF_STEP, f"staged={len(output.staged)}")
    board.take_pixels()
    output.staged[offset:] = expand_runs(runs)
    return (str(len(output.staged)),)


def _show(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = read_output(board, arguments[0])
    output = board.outputs[number]
    board.check_ready()
    if len(output.staged) < output.count:
        raise Refusal(ErrorCode.INCOMPLETE, f"staged={len(output.staged)}")
    picture = [output.palette[entry] for entry in output.staged]
    output.check_ceiling(picture)
    board.take_pixels()
    output.pattern = None
    board.clock_picture(number, picture)
    return ()


ORDER_RULES: dict[str, OrderRule] = {
    "id": OrderRule(0, 0, _id),
    "light": OrderRule(3, 3, _light),
    "dark": OrderRule(1, 1, _dark),
    "alive": OrderRule(0, 0, _alive),
    "setup": OrderRule(5, 5, _setup, "setup"),
    "state": OrderRule(1, 1, _state, "setup"),
    "range": OrderRule(4, 4, _range, "range"),
    "silence": OrderRule(1, 1, _silence, "silence"),
    "palette": OrderRule(3, 6, _palette, "paint"),
    "paint": OrderRule(3, 3, _paint, "paint"),
    "show": OrderRule(1, 1, _show, "paint"),
    **FEATURE_RULES,
}
