"""Lines for the boards under test, and what the pixels ought to be sent."""

from __future__ import annotations

import re
from dataclasses import dataclass

from device_protocol.framing import crc16


def order(seq: int, text: str) -> bytes:
    """The order as bytes on the line, with CRC and LF."""
    body = f">{seq:02X} {text}".encode("ascii")
    return b"%b*%04X\n" % (body, crc16(body))


@dataclass(frozen=True)
class Answer:
    """A line of a board, its CRC checked."""

    kind: str
    seq: str
    fields: tuple[str, ...]

    @property
    def good(self) -> bool:
        """An `ok` reply."""
        return self.kind == "<" and self.fields[0] == "ok"

    @property
    def code(self) -> str:
        """Code of an error reply, empty for others."""
        return self.fields[0] if self.kind == "!" else ""


def read_answer(line: bytes) -> Answer:
    """Take a line without LF apart. Raises AssertionError when it is damaged."""
    found = re.fullmatch(rb"([<!~])([0-9A-F]{2}|--) ([!-)+-~]+(?: [!-)+-~]+)*)\*([0-9A-F]{4})", line)
    assert found is not None, f"not a line of the protocol: {line!r}"
    assert crc16(line[:-5]) == int(found[4], 16), f"wrong checksum: {line!r}"
    assert len(line) <= 255
    return Answer(found[1].decode(), found[2].decode(), tuple(found[3].decode().split(" ")))


def lone_pixel(count: int, pixel: int, wire: bytes) -> bytes:
    """The frame of a chain with one pixel lit."""
    dark = bytes(len(wire))
    return dark * pixel + wire + dark * (count - pixel - 1)
