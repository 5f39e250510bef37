"""How the board reads the arguments of orders, and what a rule for an order is (SPEC 2.7, 3.5)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from device_protocol.board.outputs import BoardOutput, Refusal
from device_protocol.errors import ErrorCode
from device_protocol.values import Colour, parse_number

if TYPE_CHECKING:
    from device_protocol.board.protocol_board import ProtocolBoard

Fields = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OrderRule:
    """How many arguments an order takes, the feature it belongs to (None: every board), and what it does."""

    least: int
    most: int
    carry_out: Callable[[ProtocolBoard, Sequence[str]], Fields]
    feature: str | None = None


def read_number(text: str, least: int = 0, most: int = 999_999_999) -> int:
    """A number within limits; else 22."""
    try:
        value = parse_number(text)
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None
    if not least <= value <= most:
        raise Refusal(ErrorCode.BAD_VALUE)
    return value


def read_output(board: ProtocolBoard, text: str) -> int:
    """The number of an output; else 22 or 30."""
    number = read_number(text)
    if number >= len(board.outputs):
        raise Refusal(ErrorCode.NO_SUCH_OUTPUT)
    return number


def read_pixel(output: BoardOutput, text: str) -> int:
    """The number of a pixel of that output's chain; else 22 or 31."""
    number = read_number(text)
    if number >= output.count:
        raise Refusal(ErrorCode.NO_SUCH_PIXEL)
    return number


def read_colour(output: BoardOutput, text: str) -> Colour:
    """A colour that the chain can show; else 22."""
    try:
        colour = Colour.from_text(text)
    except ValueError:
        raise Refusal(ErrorCode.BAD_VALUE) from None
    if colour.white and output.colours_of_pixel == 3:
        raise Refusal(ErrorCode.BAD_VALUE)
    return colour
