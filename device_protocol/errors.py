"""Error codes of SPEC section 8, the two kinds of fault (the host's own and the board's), and a board's refusal."""

from __future__ import annotations

from enum import Enum, IntEnum, unique


@unique
class ErrorCode(IntEnum):
    """A code of SPEC section 8. `error_codes.csv` is the same list for other languages."""

    MALFORMED = 10
    CHECKSUM = 11
    OVERLONG = 12
    FORBIDDEN_BYTE = 13
    LOST_BYTES = 14
    UNKNOWN_ORDER = 20
    ARGUMENT_COUNT = 21
    BAD_VALUE = 22
    NO_SUCH_FEATURE = 23
    NO_SUCH_OUTPUT = 30
    NO_SUCH_PIXEL = 31
    CEILING = 32
    TOO_MANY_PIXELS = 33
    NOT_READY = 34
    INCOMPLETE = 35
    OUT_OF_STEP = 36
    MISMATCH = 37
    BAD_TABLE = 38
    NOT_IN_TABLE = 39
    INTERNAL = 40

    @property
    def word(self) -> str:
        """The NAME that stands beside the code on the line."""
        return self.name.lower().replace("_", "-")

    @property
    def line_damaged(self) -> bool:
        """True for 10 to 14: the board could not trust the line; its SEQ is `--` (SPEC 8.1)."""
        return self < 20


@unique
class Blame(Enum):
    """Where to look first when the board has refused an order."""

    LINE = "line"  # damaged on the way: ask again
    HOST = "host"  # we asked for something that no board can do
    SETTINGS = "settings"  # count or ceiling as set do not allow it
    BOARD = "board"  # the board is older, newer, smaller or failing


_BLAME = {
    ErrorCode.UNKNOWN_ORDER: Blame.BOARD,
    ErrorCode.ARGUMENT_COUNT: Blame.HOST,
    ErrorCode.BAD_VALUE: Blame.HOST,
    ErrorCode.NO_SUCH_FEATURE: Blame.BOARD,
    ErrorCode.NO_SUCH_OUTPUT: Blame.SETTINGS,
    ErrorCode.NO_SUCH_PIXEL: Blame.SETTINGS,
    ErrorCode.CEILING: Blame.SETTINGS,
    ErrorCode.TOO_MANY_PIXELS: Blame.SETTINGS,
    ErrorCode.NOT_READY: Blame.BOARD,
    ErrorCode.INCOMPLETE: Blame.HOST,
    ErrorCode.OUT_OF_STEP: Blame.HOST,
    ErrorCode.MISMATCH: Blame.LINE,
    ErrorCode.BAD_TABLE: Blame.SETTINGS,
    ErrorCode.NOT_IN_TABLE: Blame.SETTINGS,
    ErrorCode.INTERNAL: Blame.BOARD,
}


def blame_of(code: ErrorCode | None) -> Blame:
    """Whose fault a refusal is; an unknown code (None) is the board's."""
    if code is None:
        return Blame.BOARD
    return Blame.LINE if code.line_damaged else _BLAME[code]


class ProtocolFault(Exception):  # noqa: N818 - a fault of one side, as HostFault and BoardFault
    """Something broke the protocol. Either a `HostFault` or a `BoardFault`."""


class HostFault(ProtocolFault):
    """Our side asked for what the protocol, or this board, does not allow. Nothing was sent."""


class BoardFault(ProtocolFault):
    """The board's side sent something that the protocol does not allow."""


class BeyondLimitsFault(BoardFault):
    """The board states a limit that no board may have (SPEC 5.3, 5.14, 5.19, 5.24): it is not to be used."""


class Refusal(Exception):  # noqa: N818 - an answer, not a failure of this program
    """The board's side answers an order with `code` and `fields`; nothing changes (SPEC 3.5)."""

    def __init__(self, code: ErrorCode, *fields: str) -> None:
        super().__init__(code.word)
        self.code = code
        self.fields = fields
