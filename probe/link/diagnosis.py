"""What is at the other end, judged by the bytes that came while no board answered."""

from __future__ import annotations

import re

from probe.link.errors import LinkError, LinkErrorKind, link_error

_KEPT = 4096
_ENOUGH_NOISE = 4
"""So many senseless bytes are more than the spike of a plug being pushed in."""
_OWN_ORDER = re.compile(rb">[0-9A-F]{2} id\*[0-9A-F]{4}")
_BOARD_LIKE = re.compile(rb"[<!~](?:[0-9A-F]{2}|--) (?:ok |[0-9]{2} [a-z]|restarted|dark |button )")


class Heard:
    """Collects what came in, bounded, and says what it probably is."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def add(self, data: bytes) -> None:
        """More bytes; those beyond the first 4096 are not needed."""
        self._bytes += data[: _KEPT - len(self._bytes)]

    def verdict(self, *, port: str, baud: int) -> LinkError:
        """Why there was no answer: silent, wrong device, wrong speed, or a board on a very bad line."""
        data = bytes(self._bytes)
        if not data.strip(b"\x00\r\n"):
            return link_error(LinkErrorKind.SILENT, port=port)
        if _BOARD_LIKE.search(data):
            return link_error(
                LinkErrorKind.TIMEOUT,
                port=port,
                detail="a board is there, but its answers come damaged: a poor cable, or strong interference",
            )
        if _OWN_ORDER.search(data):
            return link_error(
                LinkErrorKind.WRONG_DEVICE,
                port=port,
                detail="it sends back what it is sent",
                likely_cause="send and receive are joined, this is a loop-back, or a device that echoes",
                cure="check the wires of send and receive, or pick another port",
            )
        readable = sum(0x20 <= byte <= 0x7E or byte in b"\r\n\t" for byte in data)
        if readable >= 0.9 * len(data):
            line = max(data.splitlines(), key=len).decode("ascii", "replace")
            sample = "".join(c if c.isprintable() else "·" for c in line)[:40]
            return link_error(LinkErrorKind.WRONG_DEVICE, port=port, detail=f"it says “{sample}”")
        if len(data) < _ENOUGH_NOISE:
            return link_error(LinkErrorKind.SILENT, port=port)
        return link_error(
            LinkErrorKind.WRONG_SPEED, port=port, baud=baud, detail=f"{len(data)} bytes, most of them no text"
        )
