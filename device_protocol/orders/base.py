"""What all orders, replies and arguments share (SPEC 2.7, 3.5 and section 5)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from enum import Enum
from typing import ClassVar, Self, TypeVar

from device_protocol.errors import BeyondLimitsFault, BoardFault, ErrorCode, HostFault, Refusal
from device_protocol.framing import OrderLine
from device_protocol.values import MOST_NUMBER, Bounds, Colour, is_byte_order, parse_bytes, parse_crc, parse_number

Fields = tuple[str, ...]
Word = TypeVar("Word", bound=Enum)
ANY_NUMBER = Bounds(0, MOST_NUMBER)
FROM_ONE = Bounds(1, MOST_NUMBER)


def check_within(value: int, bounds: Bounds, what: str) -> None:
    """Raise HostFault naming `what` unless the value is within the bounds."""
    if value not in bounds:
        raise HostFault(f"{what} {value}: {bounds}")


def words(value: object) -> Fields:
    """A value as it stands on a line: numbers, colours, words of an enumeration; none for None, several for a tuple."""
    match value:
        case None:
            return ()
        case Enum():
            return (str(value.value),)
        case Colour():
            return (value.text,)
        case tuple():
            return tuple(word for each in value for word in words(each))
        case _:
            return (str(value),)


def _words_of_fields(value: Order | Reply) -> Fields:
    return words(tuple(getattr(value, each.name) for each in fields(value)))


# --- replies ---


@dataclass(frozen=True, slots=True)
class Reply:
    """What all replies share: the FIELDS after `ok`. Each order reads its own (`Order.parse_reply`)."""

    def fields(self) -> Fields:
        """FIELDS as on the line: those of the value in their order, unless a reply says otherwise."""
        return _words_of_fields(self)


@dataclass(frozen=True, slots=True)
class Done(Reply):
    """A reply without fields."""


def exactly(fields: Fields, names: str) -> Fields:
    """The fields, when there are as many as `names` has words. Raises BoardFault."""
    wanted = names.split()
    if len(fields) != len(wanted):
        raise BoardFault(f"reply with {len(fields)} fields where {len(wanted)} belong ({names})")
    return fields


def read_number(text: str, what: str, bounds: Bounds = ANY_NUMBER) -> int:
    """A number in a reply. Raises BoardFault naming `what`, also when it is beyond what the SPEC allows."""
    try:
        value = parse_number(text)
    except ValueError as error:
        raise BoardFault(f"{what}: {error}") from None
    if value not in bounds:
        raise BoardFault(f"{what} {value}: {bounds}")
    return value


def read_limit(text: str, what: str, bounds: Bounds, *, digits: int = 9) -> int:
    """A limit that the board states of itself. Raises BeyondLimitsFault when it is a number out of bounds."""
    if text.isascii() and text.isdigit() and (len(text) > digits or int(text) not in bounds):
        raise BeyondLimitsFault(f"{what} {text[:20]}: {bounds}")
    if digits != 9 and text.isascii() and text.isdigit() and (text == "0" or text[0] != "0"):
        return int(text)
    return read_number(text, what, bounds)


def read_word(words: type[Word], text: str, what: str) -> Word:
    """One of the words of an enumeration. Raises BoardFault."""
    for word in words:
        if word.value == text:
            return word
    raise BoardFault(f"{what} {text!r}: none of {', '.join(str(word.value) for word in words)}")


# --- arguments, as a board reads them ---


@dataclass(frozen=True, slots=True, kw_only=True)
class ArgumentLimits:
    """What the board in hand allows in arguments. `chains`: count and colours of a pixel on each output; the ceiling in
    mA, sizes of the table in bytes."""

    chains: tuple[tuple[int, int], ...]
    pixels: int
    ceiling_ma: int
    table_capacity: int
    table_length: int
    inputs: int


class ArgumentReader:
    """The ARGUMENTS of one order, read from left to right; the first that does not fit raises Refusal (SPEC 3.5)."""

    def __init__(self, texts: Sequence[str], limits: ArgumentLimits) -> None:
        self._texts = list(reversed(texts))
        self.limits = limits

    @property
    def left(self) -> int:
        """How many arguments are not read yet."""
        return len(self._texts)

    def text(self) -> str:
        """The next argument as it stands."""
        return self._texts.pop()

    def skip(self, word: str) -> bool:
        """True, and past it, when the next argument is this word."""
        if self._texts[-1] != word:
            return False
        self._texts.pop()
        return True

    def number(self, bounds: Bounds = ANY_NUMBER) -> int:
        """A number within bounds; else 22."""
        try:
            value = parse_number(self.text())
        except ValueError:
            raise Refusal(ErrorCode.BAD_VALUE) from None
        if value not in bounds:
            raise Refusal(ErrorCode.BAD_VALUE)
        return value

    def output(self) -> int:
        """The number of an output; else 22 or 30."""
        number = self.number()
        if number >= len(self.limits.chains):
            raise Refusal(ErrorCode.NO_SUCH_OUTPUT)
        return number

    def pixel(self, output: int) -> int:
        """The number of a pixel of that output's chain; else 22 or 31."""
        number = self.number()
        if number >= self.limits.chains[output][0]:
            raise Refusal(ErrorCode.NO_SUCH_PIXEL)
        return number

    def check_run(self, output: int, end: int) -> None:
        """Refuse with 31 when pixels up to `end` (not included) are more than the chain has."""
        if end > self.limits.chains[output][0]:
            raise Refusal(ErrorCode.NO_SUCH_PIXEL)

    def pixel_count(self) -> int:
        """A count that the board can clock out; else 22 or 33."""
        count = self.number(FROM_ONE)
        if count > self.limits.pixels:
            raise Refusal(ErrorCode.TOO_MANY_PIXELS)
        return count

    def byte_order(self) -> str:
        """A permutation of RGB or RGBW; else 22."""
        text = self.text()
        if not is_byte_order(text):
            raise Refusal(ErrorCode.BAD_VALUE)
        return text

    def colours(self, output: int) -> tuple[Colour, ...]:
        """All that is left as colours that the chain can show; else 22."""
        return tuple(self.colour(output) for _ in range(self.left))

    def colour(self, output: int) -> Colour:
        """A colour that the chain can show; else 22."""
        try:
            colour = Colour.from_text(self.text())
        except ValueError:
            raise Refusal(ErrorCode.BAD_VALUE) from None
        if colour.white and self.limits.chains[output][1] == 3:
            raise Refusal(ErrorCode.BAD_VALUE)
        return colour

    def word(self, words: type[Word]) -> Word:
        """One of the words of an enumeration; else 22."""
        try:
            return words(self.text())
        except ValueError:
            raise Refusal(ErrorCode.BAD_VALUE) from None

    def data(self, most: int) -> bytes:
        """1 to `most` bytes; else 22."""
        try:
            data = parse_bytes(self.text())
        except ValueError:
            raise Refusal(ErrorCode.BAD_VALUE) from None
        if len(data) > most:
            raise Refusal(ErrorCode.BAD_VALUE)
        return data

    def crc(self) -> int:
        """A checksum; else 22."""
        try:
            return parse_crc(self.text())
        except ValueError:
            raise Refusal(ErrorCode.BAD_VALUE) from None


# --- orders ---


@dataclass(frozen=True, slots=True)
class Order:
    """What all orders share. Making one checks what holds for every board; what depends on the board in hand (outputs,
    count, ceiling) is the board's to refuse."""

    WORD: ClassVar[str] = ""
    FEATURE: ClassVar[str | None] = None
    """The feature it belongs to; None: every board has it."""
    TAKES: ClassVar[Bounds] = Bounds(0, 0)
    """How many arguments it takes."""
    CLOCKS_OUT: ClassVar[bool] = False
    """True when carrying it out sends a frame, so that the reply comes later."""

    def arguments(self) -> Fields:
        """ARGUMENTS as on the line: the fields of the value in their order, unless an order says otherwise."""
        return _words_of_fields(self)

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Self:
        """The order from its ARGUMENTS, as a board takes it. Raises Refusal."""
        return cls()

    def parse_reply(self, fields: Fields) -> Reply:
        """Read the FIELDS of this order's `ok`. Raises BoardFault."""
        exactly(fields, "")
        return Done()

    def line(self, seq: int) -> OrderLine:
        """The order as a line with sequence number `seq`."""
        return OrderLine(seq, self.WORD, self.arguments())


@dataclass(frozen=True, slots=True)
class OutputOrder(Order):
    """What orders for one output share."""

    output: int
    TAKES: ClassVar[Bounds] = Bounds(1, 1)

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> Self:
        return cls(arguments.output())
