"""Lines of SPEC section 2: cut the byte stream into lines, and lines into their parts.

`LineReader` is fed bytes as they arrive; the split is the same byte by byte as in one piece, and its memory is bounded.
`encode_*` write the four shapes of a line (order, reply, error, notice), LF included; `parse_*` read a line without LF.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from device_protocol.errors import BoardFault, ErrorCode, HostFault

LF = 0x0A
CR = 0x0D
LEAST_LINE_LIMIT = 64
"""Every board accepts lines of at least so many bytes (SPEC 2.4)."""
REPLY_LIMIT = 255
"""No reply or notice is longer, in bytes without LF (SPEC 2.4)."""
HAND_IDENTIFY = b"?"
"""The line a person types by hand (SPEC 5.2)."""

_PART = rb"[!-)+-~]+"  # 0x21 to 0x7E without "*"
_ORDER = re.compile(rb">([0-9A-F]{2}) ([a-z]{1,12})((?: " + _PART + rb")*)\*([0-9A-F]{4})")
_FROM_BOARD = re.compile(rb"([<!~])([0-9A-F]{2}|--) ([!-)+-~]+(?: " + _PART + rb")*)\*([0-9A-F]{4})")
_WORD = re.compile(r"[a-z]{1,12}")
_CODE = re.compile(r"[0-9]{2}")


_CRC_INITIAL = 0xFFFF


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 of `data` (SPEC 2.6): polynomial 0x1021, initial 0xFFFF, not reflected, no final XOR.

    Check value 0x29B1 for b"123456789" (catalogue of parametrised CRC algorithms, CRC-16/IBM-3740).
    """
    return crc_hqx(data, _CRC_INITIAL)


@dataclass(frozen=True, slots=True)
class RawLine:
    """One line as it came, without LF and without one CR before it.

    `fault` is None, or what is wrong with the bytes themselves: OVERLONG, FORBIDDEN_BYTE or LOST_BYTES.
    `data` of an over-long line is cut at the limit.
    """

    data: bytes
    fault: ErrorCode | None = None


class LineReader:
    """Cuts a byte stream into lines. `limit`: longest line in bytes, LF (and a CR directly before it) not counted."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self._held = bytearray()  # never more than limit + 1 bytes: the limit and one CR
        self._too_long = False
        self._lost = False

    def feed(self, data: bytes) -> list[RawLine]:
        """Take bytes; return the lines they complete. Empty lines are left out (SPEC 2.3)."""
        lines = []
        start = 0
        while (end := data.find(b"\n", start)) >= 0:
            self._hold(data[start:end])
            line = self._end_line()
            if line is not None:
                lines.append(line)
            start = end + 1
        self._hold(data[start:])
        return lines

    def mark_lost(self) -> None:
        """Bytes of the line now arriving were lost; if none is pending, the next LF ends the lost line (SPEC 3.8)."""
        self._lost = True

    def clear(self) -> None:
        """Forget the unfinished line."""
        self._held.clear()
        self._too_long = self._lost = False

    @property
    def pending(self) -> int:
        """Bytes held of an unfinished line."""
        return len(self._held)

    def _hold(self, piece: bytes) -> None:
        room = self.limit + 1 - len(self._held)
        self._held += piece[:room]
        if len(piece) > room:
            self._too_long = True

    def _end_line(self) -> RawLine | None:
        data = bytes(self._held).removesuffix(b"\r")
        too_long, lost = self._too_long, self._lost
        self.clear()
        if lost:
            return RawLine(data, ErrorCode.LOST_BYTES)
        if too_long or len(data) > self.limit:
            return RawLine(data[: self.limit], ErrorCode.OVERLONG)
        if not data:
            return None
        if not all(0x20 <= byte <= 0x7E for byte in data):
            return RawLine(data, ErrorCode.FORBIDDEN_BYTE)
        return RawLine(data)


@dataclass(frozen=True, slots=True)
class OrderLine:
    """`>SEQ WORD ARGUMENTS*CRC`, taken apart."""

    seq: int
    word: str
    arguments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReplyLine:
    """`<SEQ ok FIELDS*CRC`, taken apart."""

    seq: int
    fields: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ErrorLine:
    """`!SEQ CODE NAME FIELDS*CRC`, taken apart. `seq` is None for `--`; `number` is the CODE as sent."""

    seq: int | None
    number: int
    name: str
    fields: tuple[str, ...] = ()

    @property
    def code(self) -> ErrorCode | None:
        """The code, or None when this version does not know it."""
        try:
            return ErrorCode(self.number)
        except ValueError:
            return None


@dataclass(frozen=True, slots=True)
class NoticeLine:
    """`~NSEQ WORD FIELDS*CRC`, taken apart."""

    seq: int
    word: str
    fields: tuple[str, ...] = ()


BoardLine = ReplyLine | ErrorLine | NoticeLine


class OrderLineFault(Exception):  # noqa: N818 - a fault of the line, not of this program
    """A line that a board cannot take for an order; `code` says why."""

    def __init__(self, code: ErrorCode) -> None:
        super().__init__(code.word)
        self.code = code


def seal(body: str) -> bytes:
    """The line for `body` (everything before `*`), with CRC and LF."""
    data = body.encode("ascii")
    return b"%b*%04X\n" % (data, crc16(data))


def _check_parts(parts: Iterable[str]) -> None:
    for part in parts:
        if not part or not part.isascii() or not re.fullmatch(_PART, part.encode("ascii")):
            raise HostFault(f"part {part!r} of a line: 1 or more of 0x21 to 0x7E except '*' (SPEC 2.5)")


def encode_order(line: OrderLine) -> bytes:
    """The order as bytes with LF. Raises HostFault when a part cannot stand on a line."""
    if not 0 <= line.seq <= 0xFF:
        raise HostFault(f"sequence number {line.seq}: 0 to 255 (SPEC 2.5)")
    if not _WORD.fullmatch(line.word):
        raise HostFault(f"order word {line.word!r}: 1 to 12 of a-z (SPEC 2.5)")
    _check_parts(line.arguments)
    return seal(" ".join((f">{line.seq:02X}", line.word, *line.arguments)))


def encode_board_line(line: BoardLine) -> bytes:
    """A reply, error or notice as bytes with LF."""
    match line:
        case ReplyLine(seq, fields):
            return seal(" ".join((f"<{seq:02X}", "ok", *fields)))
        case ErrorLine(error_seq, number, name, fields):
            tag = "--" if error_seq is None else f"{error_seq:02X}"
            return seal(" ".join((f"!{tag}", f"{number:02d}", name, *fields)))
        case NoticeLine(seq, word, fields):
            return seal(" ".join((f"~{seq:02X}", word, *fields)))


def parse_order(raw: RawLine) -> OrderLine:
    """Take an order line apart, in the order of checks of SPEC 3.5. Raises OrderLineFault (14, 12, 13, 10 or 11)."""
    if raw.fault is not None:
        raise OrderLineFault(raw.fault)
    found = _ORDER.fullmatch(raw.data)
    if found is None:
        raise OrderLineFault(ErrorCode.MALFORMED)
    if crc16(raw.data[:-5]) != int(found[4], 16):
        raise OrderLineFault(ErrorCode.CHECKSUM)
    return OrderLine(int(found[1], 16), found[2].decode(), tuple(found[3].decode().split()))


def parse_board_line(raw: RawLine) -> BoardLine:
    """Take a line from the board apart. Raises BoardFault when it is damaged or has no shape of SPEC 2.5."""
    if raw.fault is not None:
        raise BoardFault(f"a line of {len(raw.data)} bytes is damaged: {raw.fault.word}")
    found = _FROM_BOARD.fullmatch(raw.data)
    if found is None:
        raise BoardFault(f"not a line of this protocol: {raw.data[:40]!r}")
    if crc16(raw.data[:-5]) != int(found[4], 16):
        raise BoardFault("a line's checksum is wrong")
    kind, tag = found[1], found[2]
    first, *rest = found[3].decode().split(" ")
    seq = None if tag == b"--" else int(tag, 16)
    if kind == b"!" and _CODE.fullmatch(first) and rest:
        return ErrorLine(seq, int(first), rest[0], tuple(rest[1:]))
    if kind == b"<" and seq is not None and first == "ok":
        return ReplyLine(seq, tuple(rest))
    if kind == b"~" and seq is not None and _WORD.fullmatch(first):
        return NoticeLine(seq, first, tuple(rest))
    raise BoardFault(f"not a line of this protocol: {raw.data[:40]!r}")


class LineVerdict(Enum):
    """What the counts look like. A guess for the person to start from, not a proof."""

    SILENT = "silent"  # not one byte
    WRONG_SPEED = "wrong speed"  # bytes, many of them no text, no line that could be read
    OTHER_DEVICE = "other device"  # text, but not of this protocol
    ECHO = "echo"  # our own orders come back: a loop, or a terminal program at the far end
    NOISY = "noisy"  # the board is there, one line in five or more is damaged
    SOUND = "sound"


@dataclass(frozen=True, slots=True)
class LineStatistics:
    """Counts since the session last connected."""

    bytes_received: int = 0
    text_bytes: int = 0
    readable_lines: int = 0
    unreadable_lines: int = 0
    echoed_lines: int = 0
    asked_again: int = 0
    damaged_orders: int = 0

    @property
    def verdict(self) -> LineVerdict:
        """See LineVerdict. Limits (a quarter no text; one line in five) are judgement, no source."""
        if self.bytes_received == 0:
            return LineVerdict.SILENT
        if self.readable_lines == 0:
            if self.echoed_lines:
                return LineVerdict.ECHO
            strange = self.bytes_received - self.text_bytes
            return LineVerdict.WRONG_SPEED if strange * 4 > self.bytes_received else LineVerdict.OTHER_DEVICE
        damaged = self.unreadable_lines + self.damaged_orders
        return LineVerdict.NOISY if damaged * 4 > self.readable_lines else LineVerdict.SOUND


def count_text_bytes(data: bytes) -> int:
    """Bytes that can stand in a text line: 0x20 to 0x7E, CR, LF, tab."""
    return sum(0x20 <= byte <= 0x7E or byte in (0x09, 0x0A, 0x0D) for byte in data)
