"""Events of a link for the floor above, as frozen values. They come in the order in which they happened."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from device_protocol.orders import Identity, Notice
from probe.link.errors import LinkError


class ConnectReason(StrEnum):
    """Why a board is newly connected. In every case its settings and what it shows must be taken as unknown."""

    FIRST = "first"
    AGAIN = "again"
    """The line was lost and is back; the port's path may have changed."""
    RESTARTED = "restarted"
    """The line held, but the board restarted."""


@dataclass(frozen=True, slots=True)
class PortOpening:
    """The port is being opened. `attempt` counts from 1 since the last time a board was connected."""

    port: str
    attempt: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """The port is open; `what` is awaited for at most `left_s` seconds more. Comes about twice a second."""

    what: str
    left_s: float


@dataclass(frozen=True, slots=True)
class Connected:
    """The board has identified itself. Make it dark, set its outputs up, and light anew what should be lit."""

    identity: Identity
    port: str
    reason: ConnectReason


@dataclass(frozen=True, slots=True)
class Lost:
    """The board cannot be reached, or restarted. Orders raise `LinkLost` until the next `Connected`.

    `retry_in_s`: when the link tries again by itself; None when it does not (closed, or a first attempt that failed).
    """

    error: LinkError
    retry_in_s: float | None


@dataclass(frozen=True, slots=True)
class NoticeArrived:
    """A notice from the board, copies left out. `WentDark` also comes when the board may have gone dark unheard."""

    notice: Notice


class WireTrouble(StrEnum):
    """Kinds of trouble on the wire that were mended without help."""

    ASKED_AGAIN = "asked-again"
    DAMAGED = "damaged"


@dataclass(frozen=True, slots=True)
class WireNote:
    """Trouble on the wire that was mended without help, for a quality display and the log. `text` is not markup."""

    trouble: WireTrouble
    text: str


LinkEvent = PortOpening | Waiting | Connected | Lost | NoticeArrived | WireNote
