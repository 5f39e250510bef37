"""What a `HostSession` returns to its owner. Notices of the board (`orders.Notice`) are events as they stand."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from device_protocol.errors import (
    Blame,
    BoardFault,
    ErrorCode,
    blame_of,
)
from device_protocol.framing import ErrorLine, LineStatistics
from device_protocol.orders import (
    Identity,
    Notice,
    Order,
    Reply,
)


@dataclass(frozen=True, slots=True)
class Identified:
    """The board has identified itself. Its settings and what is lit are not known: set it up."""

    identity: Identity


@dataclass(frozen=True, slots=True)
class OrderAnswered:
    """The board has carried out the order; what it lights is lit (SPEC 3.7). `asks`: how often it was sent."""

    order: Order
    reply: Reply
    asks: int = 1


@dataclass(frozen=True, slots=True)
class Refused:
    """The board has refused the order; nothing changed (SPEC 3.5)."""

    order: Order
    error: ErrorLine

    @property
    def code(self) -> ErrorCode | None:
        """None for a code that this version does not know."""
        return self.error.code

    @property
    def blame(self) -> Blame:
        """Where to look first."""
        return blame_of(self.error.code)

    def field(self, key: str) -> int | None:
        """Number of a `key=NUMBER` field: `need`, `ceiling` (mA) with 32, `staged` (pixels) with 35 and 36."""
        for text in self.error.fields:
            name, _, value = text.partition("=")
            if name == key and value.isascii() and value.isdecimal():
                return int(value)
        return None


@dataclass(frozen=True, slots=True)
class Misanswered:
    """The answer bears the order's number but makes no sense. Whether the order was carried out is not known."""

    order: Order
    fault: BoardFault


class GaveUpReason(Enum):
    """Why a session gave up."""

    NO_ANSWER = "no answer"
    DAMAGED = "lines damaged"
    OTHER_VERSION = "other protocol version"
    BEYOND_LIMITS = "limits that no board may have"


@dataclass(frozen=True, slots=True)
class GaveUp:
    """No answer that could be used, however often the order was sent. The board counts as lost: `connect` anew.

    Whether the order was carried out is not known. `statistics` says what came over the line instead; `fault` what was
    wrong with an answer to `id`, if there was one.
    """

    order: Order
    reason: GaveUpReason
    statistics: LineStatistics
    asks: int
    fault: BoardFault | None = None


class InterruptReason(Enum):
    """Why an order in flight will get no answer."""

    RESTARTED = "board restarted"
    CLOSED = "line closed"


@dataclass(frozen=True, slots=True)
class Interrupted:
    """The order in flight is void: the board restarted under it, or the line was closed."""

    order: Order
    reason: InterruptReason


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A line came that is damaged or not of this protocol; `length` in bytes without LF."""

    reason: str
    length: int


SessionEvent = Identified | OrderAnswered | Refused | Misanswered | GaveUp | Interrupted | Unreadable | Notice
