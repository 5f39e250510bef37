"""What all orders share (SPEC section 5)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from device_protocol.errors import HostFault
from device_protocol.framing import OrderLine
from device_protocol.orders.feature_replies import (
    BytesStaged,
    ChainCount,
    Committed,
    EdgeCounts,
    InputStates,
    LingerSet,
    NoPattern,
    PatternState,
    PixelsLit,
    PlayState,
    TableBytes,
    TableState,
)
from device_protocol.orders.replies import Done, Identity, OutputSettings, OutputState, SilenceSet, Staged, exactly

MOST_NUMBER = 999_999_999
"""Numbers on a line have at most 9 digits (SPEC 2.7)."""

Reply = (
    Done
    | Identity
    | OutputSettings
    | OutputState
    | SilenceSet
    | Staged
    | TableState
    | BytesStaged
    | TableBytes
    | Committed
    | PlayState
    | PixelsLit
    | PatternState
    | NoPattern
    | InputStates
    | EdgeCounts
    | LingerSet
    | ChainCount
)


def between(value: int, least: int, most: int, what: str) -> None:
    """Raise HostFault naming `what` unless least <= value <= most."""
    if not least <= value <= most:
        raise HostFault(f"{what} {value}: {least} to {most}")


@dataclass(frozen=True, slots=True)
class Order:
    """What all orders share. `words` gives the WORD and its ARGUMENTS as on the line."""

    WORD: ClassVar[str] = ""
    FEATURE: ClassVar[str | None] = None
    CLOCKS_OUT: ClassVar[bool] = False
    """True when carrying it out sends a frame, so that the reply comes later."""

    def arguments(self) -> tuple[str, ...]:
        """ARGUMENTS as on the line."""
        return ()

    def parse_reply(self, fields: tuple[str, ...]) -> Reply:
        """Read the FIELDS of this order's `ok`. Raises BoardFault."""
        exactly(fields, "")
        return Done()

    def line(self, seq: int) -> OrderLine:
        """The order as a line with sequence number `seq`."""
        return OrderLine(seq, self.WORD, self.arguments())
