"""The non-volatile memory of a board in Python: the lamp table in force, and what is staged (SPEC section 12)."""

from __future__ import annotations

from dataclasses import dataclass, field

from device_protocol.framing import crc16
from device_protocol.lamp_table import BoardLampTable, decode_table

NO_CRC = 0xFFFF
"""CRC of no bytes, stated when there is no table (SPEC 5.14)."""


@dataclass(frozen=True, slots=True)
class StoredTable:
    """A table in force."""

    revision: int
    image: bytes
    table: BoardLampTable

    @property
    def crc(self) -> int:
        """Checksum of the image."""
        return crc16(self.image)


@dataclass(slots=True)
class TableStore:
    """Room for one image of `capacity` bytes twice. What is in force outlasts a restart, what is staged does not."""

    capacity: int
    held: StoredTable | None = None
    staged: bytearray = field(default_factory=bytearray)

    def commit(self, image: bytes, revision: int) -> None:
        """`image`, which has been checked, comes into force."""
        self.held = StoredTable(revision, image, decode_table(image))
        self.staged.clear()

    def erase(self) -> None:
        """No table."""
        self.held = None
        self.staged.clear()

    def fields(self) -> tuple[str, ...]:
        """FIELDS of the reply to `table` (SPEC 5.14)."""
        held = self.held
        revision, length, crc = (0, 0, NO_CRC) if held is None else (held.revision, len(held.image), held.crc)
        return (str(revision), str(length), f"{crc:04X}", str(self.capacity), str(len(self.staged)))
