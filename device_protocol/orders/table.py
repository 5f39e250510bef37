"""The lamp table in the board: staged, read, committed, erased (SPEC 5.14 to 5.18)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from device_protocol.errors import BoardFault, ErrorCode, Refusal
from device_protocol.framing import crc16
from device_protocol.orders.base import (
    ANY_NUMBER,
    FROM_ONE,
    ArgumentReader,
    Fields,
    Order,
    Reply,
    check_within,
    exactly,
    read_limit,
    read_number,
)
from device_protocol.values import MOST_NUMBER, REVISION, TABLE_BYTES, Bounds, parse_bytes, parse_crc

WRITE_BYTES = Bounds(1, 16)
"""Bytes in one `write` (SPEC 5.15)."""
READ_BYTES = Bounds(1, 64)
"""Bytes in one `read` (SPEC 5.16)."""
IMAGE_LEAST = 5
"""An image has a head of so many bytes (SPEC 12.2)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableState(Reply):
    """The lamp table that a board holds (SPEC 5.14). `revision` 0: none. Sizes in bytes."""

    revision: int
    length: int
    crc: int
    capacity: int
    staged: int

    def fields(self) -> Fields:
        return (str(self.revision), str(self.length), f"{self.crc:04X}", str(self.capacity), str(self.staged))


@dataclass(frozen=True, slots=True)
class ReadTableState(Order):
    """`table` (SPEC 5.14): revision, length and checksum of the lamp table held. Reply: TableState."""

    WORD: ClassVar[str] = "table"
    FEATURE: ClassVar[str | None] = "table"

    def parse_reply(self, fields: Fields) -> TableState:
        revision, length, crc, capacity_text, staged = exactly(fields, "REVISION LENGTH CRC CAPACITY STAGED")
        capacity = read_limit(capacity_text, "capacity of the table", TABLE_BYTES)
        try:
            checksum = parse_crc(crc)
        except ValueError as error:
            raise BoardFault(str(error)) from None
        return TableState(
            revision=read_number(revision, "revision", REVISION),
            length=read_number(length, "length", Bounds(0, capacity)),
            crc=checksum,
            capacity=capacity,
            staged=read_number(staged, "staged", Bounds(0, capacity)),
        )


@dataclass(frozen=True, slots=True)
class BytesStaged(Reply):
    """How many bytes of a table are staged (SPEC 5.15)."""

    staged: int


@dataclass(frozen=True, slots=True)
class WriteTable(Order):
    """`write` (SPEC 5.15): stages 1 to 16 bytes of an image from `offset`. Reply: BytesStaged."""

    offset: int
    data: bytes
    WORD: ClassVar[str] = "write"
    FEATURE: ClassVar[str | None] = "table"
    TAKES: ClassVar[Bounds] = Bounds(2, 2)

    def __post_init__(self) -> None:
        check_within(self.offset, ANY_NUMBER, "offset")
        check_within(len(self.data), WRITE_BYTES, "bytes in one piece")

    def arguments(self) -> Fields:
        return (str(self.offset), self.data.hex().upper())

    @classmethod
    def read(cls, arguments: ArgumentReader) -> WriteTable:
        offset, data = arguments.number(), arguments.data(WRITE_BYTES.most)
        if offset + len(data) > arguments.limits.table_capacity:
            raise Refusal(ErrorCode.BAD_VALUE)
        return cls(offset, data)

    def parse_reply(self, fields: Fields) -> BytesStaged:
        staged = read_number(exactly(fields, "STAGED")[0], "staged")
        if staged != self.offset + len(self.data):
            raise BoardFault(f"the board staged {staged} bytes, {self.offset + len(self.data)} were sent")
        return BytesStaged(staged)


@dataclass(frozen=True, slots=True)
class TableBytes(Reply):
    """Part of the table in force (SPEC 5.16)."""

    data: bytes

    def fields(self) -> Fields:
        return (self.data.hex().upper(),)


@dataclass(frozen=True, slots=True)
class ReadTable(Order):
    """`read` (SPEC 5.16): 1 to 64 bytes of the table in force. Reply: TableBytes."""

    offset: int
    count: int
    WORD: ClassVar[str] = "read"
    FEATURE: ClassVar[str | None] = "table"
    TAKES: ClassVar[Bounds] = Bounds(2, 2)

    def __post_init__(self) -> None:
        check_within(self.offset, ANY_NUMBER, "offset")
        check_within(self.count, READ_BYTES, "bytes in one piece")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> ReadTable:
        offset, count = arguments.number(), arguments.number(READ_BYTES)
        if offset + count > arguments.limits.table_length:
            raise Refusal(ErrorCode.BAD_VALUE)
        return cls(offset, count)

    def parse_reply(self, fields: Fields) -> TableBytes:
        text = exactly(fields, "BYTES")[0]
        try:
            data = parse_bytes(text)
        except ValueError as error:
            raise BoardFault(str(error)) from None
        if len(data) != self.count:
            raise BoardFault(f"the board read {len(data)} bytes, {self.count} were asked")
        return TableBytes(data)


@dataclass(frozen=True, slots=True)
class Committed(Reply):
    """The revision in force (SPEC 5.17)."""

    revision: int


@dataclass(frozen=True, slots=True)
class CommitTable(Order):
    """`commit` (SPEC 5.17): the staged bytes become the table in force. Reply: Committed."""

    length: int
    crc: int
    revision: int
    WORD: ClassVar[str] = "commit"
    FEATURE: ClassVar[str | None] = "table"
    TAKES: ClassVar[Bounds] = Bounds(3, 3)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.length, Bounds(IMAGE_LEAST, MOST_NUMBER), "length")
        check_within(self.crc, Bounds(0, 0xFFFF), "checksum")
        check_within(self.revision, FROM_ONE, "revision")

    def arguments(self) -> Fields:
        return (str(self.length), f"{self.crc:04X}", str(self.revision))

    @classmethod
    def read(cls, arguments: ArgumentReader) -> CommitTable:
        length = arguments.number(Bounds(IMAGE_LEAST, arguments.limits.table_capacity))
        return cls(length, arguments.crc(), arguments.number(FROM_ONE))

    def parse_reply(self, fields: Fields) -> Committed:
        revision = read_number(exactly(fields, "REVISION")[0], "revision")
        if revision != self.revision:
            raise BoardFault(f"the board committed revision {revision}, {self.revision} was asked")
        return Committed(revision)


@dataclass(frozen=True, slots=True)
class EraseTable(Order):
    """`erase` (SPEC 5.18): no table is held."""

    WORD: ClassVar[str] = "erase"
    FEATURE: ClassVar[str | None] = "table"
    CLOCKS_OUT: ClassVar[bool] = True


def table_orders(image: bytes, revision: int) -> list[Order]:
    """The orders that put an image (`lamp_table.encode_table`) into a board, with that revision."""
    pieces = range(0, len(image), WRITE_BYTES.most)
    return [
        *(WriteTable(offset, image[offset : offset + WRITE_BYTES.most]) for offset in pieces),
        CommitTable(len(image), crc16(image), revision),
    ]


def table_read_orders(length: int) -> list[Order]:
    """The orders that read a table of so many bytes back."""
    most = READ_BYTES.most
    return [ReadTable(offset, min(most, length - offset)) for offset in range(0, length, most)]
