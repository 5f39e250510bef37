"""How the board carries out each order: arguments checked from left to right, then the board's state (SPEC 3.5).

`ORDER_RULES` is the dispatch table. A later feature adds its words here and its name to `messages.FEATURES`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from device_protocol.board_output import BoardOutput, Refusal
from device_protocol.errors import ErrorCode
from device_protocol.runs import decode_runs, expand_runs
from device_protocol.values import (
    DARK,
    LATCH_US_LEAST,
    LATCH_US_MOST,
    PALETTE_LAST,
    SILENCE_MS_LEAST,
    SILENCE_MS_MOST,
    Colour,
    is_byte_order,
    parse_number,
)

if TYPE_CHECKING:
    from device_protocol.board import ProtocolBoard

Fields = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OrderRule:
    """How many arguments an order takes, the feature it belongs to (None: every board), and what it does."""

    least: int
    most: int
    carry_out: Callable[[ProtocolBoard, Sequence[str]], Fields]
    feature: str | None = None


def _number(text: str, least: int = 0, most: int = 999_999_999) -> int:
    try:
        value = parse_number(text)
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None
    if not least <= value <= most:
        raise Refusal(ErrorCode.BAD_VALUE)
    return value


def _output(board: ProtocolBoard, text: str) -> int:
    number = _number(text)
    if number >= len(board.outputs):
        raise Refusal(ErrorCode.NO_SUCH_OUTPUT)
    return number


def _pixel(output: BoardOutput, text: str) -> int:
    number = _number(text)
    if number >= output.count:
        raise Refusal(ErrorCode.NO_SUCH_PIXEL)
    return number


def _colour(output: BoardOutput, text: str) -> Colour:
    try:
        colour = Colour.from_text(text)
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None
    if colour.white and output.colours_of_pixel == 3:
        raise Refusal(ErrorCode.BAD_VALUE)
    return colour


def _id(board: ProtocolBoard, _arguments: Sequence[str]) -> Fields:
    return board.identity_fields()


def _alive(_board: ProtocolBoard, _arguments: Sequence[str]) -> Fields:
    return ()


def _light(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = _output(board, arguments[0])
    output = board.outputs[number]
    pixel = _pixel(output, arguments[1])
    colour = _colour(output, arguments[2])
    board.check_ready()
    picture = [DARK] * output.count
    picture[pixel] = colour
    board.light_up(number, picture)
    return ()


def _range(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = _output(board, arguments[0])
    output = board.outputs[number]
    first = _pixel(output, arguments[1])
    count = _number(arguments[2], 1)
    if first + count > output.count:
        raise Refusal(ErrorCode.NO_SUCH_PIXEL)
    colour = _colour(output, arguments[3])
    board.check_ready()
    picture = [DARK] * output.count
    picture[first : first + count] = [colour] * count
    board.light_up(number, picture)
    return ()


def _dark(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    numbers = range(len(board.outputs)) if arguments[0] == "all" else (_output(board, arguments[0]),)
    board.check_ready()
    for number in numbers:
        board.make_dark(number)
    return ()


def _settings_fields(output: BoardOutput) -> Fields:
    return (str(output.count), output.byte_order, str(output.latch_us), str(output.ceiling_ma))


def _setup(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = _output(board, arguments[0])
    count = _number(arguments[1], 1)
    if count > board.config.pixels:
        raise Refusal(ErrorCode.TOO_MANY_PIXELS)
    if not is_byte_order(arguments[2]):
        raise Refusal(ErrorCode.BAD_VALUE)
    latch_us = _number(arguments[3], LATCH_US_LEAST, LATCH_US_MOST)
    ceiling_ma = _number(arguments[4], 1, board.config.ceiling_ma)
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
    output = board.outputs[_output(board, arguments[0])]
    return (*_settings_fields(output), str(output.lit), str(output.need_ma))


def _silence(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    board.silence_ms = _number(arguments[0], SILENCE_MS_LEAST, SILENCE_MS_MOST)
    return (str(board.silence_ms),)


def _palette(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    output = board.outputs[_output(board, arguments[0])]
    first = _number(arguments[1], 1, PALETTE_LAST)
    if first + len(arguments) - 3 > PALETTE_LAST:
        raise Refusal(ErrorCode.BAD_VALUE)
    colours = [_colour(output, text) for text in arguments[2:]]
    board.check_ready()
    output.palette[first : first + len(colours)] = colours
    output.forget_staged(palette_too=False)
    return ()


def _paint(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    output = board.outputs[_output(board, arguments[0])]
    offset = _pixel(output, arguments[1])
    try:
        runs = decode_runs(arguments[2])
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None
    if offset + sum(length for _, length in runs) > output.count:
        raise Refusal(ErrorCode.NO_SUCH_PIXEL)
    board.check_ready()
    if offset > len(output.staged):
        raise Refusal(ErrorCode.OUT_OF_STEP, f"staged={len(output.staged)}")
    output.staged[offset:] = expand_runs(runs)
    return (str(len(output.staged)),)


def _show(board: ProtocolBoard, arguments: Sequence[str]) -> Fields:
    number = _output(board, arguments[0])
    output = board.outputs[number]
    board.check_ready()
    if len(output.staged) < output.count:
        raise Refusal(ErrorCode.INCOMPLETE, f"staged={len(output.staged)}")
    picture = [output.palette[entry] for entry in output.staged]
    output.check_ceiling(picture)
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
}
