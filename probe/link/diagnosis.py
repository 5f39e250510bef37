"""Why a board could not be identified, from what the session gave up on and a sample of what came in."""

from __future__ import annotations

from device_protocol.events import GaveUp, GaveUpReason
from device_protocol.framing import LineVerdict
from probe.link.errors import LinkError, LinkErrorKind, link_error

_KEPT = 2048
_SHOWN = 40
_ENOUGH_NOISE = 4
"""So many senseless bytes are more than the spike of a plug being pushed in. Judgement, no source."""


class LineSample:
    """Keeps the first 2048 bytes that came in, for a sample to show."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def add(self, data: bytes) -> None:
        """More bytes have come."""
        self._bytes += data[: _KEPT - len(self._bytes)]

    def text(self) -> str:
        """The longest line that came in, cut to 40 characters, all of them printable."""
        line = max(bytes(self._bytes).splitlines(), key=len, default=b"").decode("ascii", "replace")
        return "".join(c if c.isprintable() else "·" for c in line)[:_SHOWN]


def why_not_identified(gave_up: GaveUp, sample: LineSample, *, port: str, baud: int) -> LinkError:
    """The error for a port on which no board could be identified."""
    if gave_up.reason is GaveUpReason.OTHER_VERSION:
        return link_error(LinkErrorKind.OTHER_VERSION, port=port, detail="it is not version 1")
    if gave_up.reason is GaveUpReason.BEYOND_LIMITS:
        return link_error(LinkErrorKind.BEYOND_LIMITS, port=port, detail=str(gave_up.fault))
    if gave_up.reason is GaveUpReason.DAMAGED:
        return _poor_line(port, "a board is there, but says that what it hears is damaged")
    counts = gave_up.statistics
    match counts.verdict:
        case LineVerdict.SILENT:
            return link_error(LinkErrorKind.SILENT, port=port)
        case LineVerdict.ECHO:
            return link_error(
                LinkErrorKind.WRONG_DEVICE,
                port=port,
                detail="it sends back what it is sent",
                likely_cause="send and receive are joined, this is a loop-back, or a device that echoes",
                cure="check the wires of send and receive, or pick another port",
            )
        case LineVerdict.OTHER_DEVICE:
            return link_error(LinkErrorKind.WRONG_DEVICE, port=port, detail=f"it sends “{sample.text()}”")
        case LineVerdict.WRONG_SPEED:
            if counts.bytes_received < _ENOUGH_NOISE:
                return link_error(LinkErrorKind.SILENT, port=port)
            detail = f"{counts.bytes_received} bytes, {counts.bytes_received - counts.text_bytes} of them no text"
            return link_error(LinkErrorKind.WRONG_SPEED, port=port, baud=baud, detail=detail)
        case LineVerdict.NOISY:
            return _poor_line(port, "a board is there, but most of what it says comes damaged")
        case LineVerdict.SOUND:
            how = str(gave_up.fault) if gave_up.fault else "it does not answer `id`"
            return link_error(LinkErrorKind.UNREADABLE_IDENTITY, port=port, detail=how)


def why_lost(gave_up: GaveUp, *, port: str) -> LinkError:
    """The error for a board that was there and stopped answering."""
    if gave_up.reason is GaveUpReason.DAMAGED:
        return _poor_line(port, f"the order was sent {gave_up.asks} times and came damaged each time")
    return link_error(LinkErrorKind.TIMEOUT, port=port)


def _poor_line(port: str, what_is_known: str) -> LinkError:
    return link_error(
        LinkErrorKind.TIMEOUT,
        port=port,
        detail=f"{what_is_known}: a poor or long cable, or strong interference nearby",
        cure="use a short USB cable, keep it away from coils and their wiring, join the grounds, then try again",
    )
