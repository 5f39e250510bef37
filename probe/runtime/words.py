"""Plain sentences for what went wrong: what, and what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from device_protocol.errors import ErrorCode

if TYPE_CHECKING:
    from device_protocol.orders import Identity

_REFUSALS = {
    ErrorCode.NO_SUCH_OUTPUT: "the board has no such output: the map was made with another board or build",
    ErrorCode.NO_SUCH_PIXEL: "the board says there is no such pixel: is the count set too small?",
    ErrorCode.CEILING: "this needs more current than the ceiling allows: lower the level or light fewer pixels",
    ErrorCode.TOO_MANY_PIXELS: "the board cannot drive that many pixels on one output",
    ErrorCode.NO_SUCH_FEATURE: "this board cannot do that: its firmware lacks the feature",
    ErrorCode.UNKNOWN_ORDER: "the board does not know this order: it speaks an older version of the protocol",
    ErrorCode.MISMATCH: "the board's memory does not hold what was sent: write the table again; if that fails, the chip is worn",
    ErrorCode.BAD_TABLE: "this board cannot keep such a table: it has fewer lamps, groups or pixels than the map asks for",
    ErrorCode.NOT_IN_TABLE: "the board's table has no such lamp or group, or the board holds no table: write the table first",
    ErrorCode.NOT_READY: "the board is busy: try again",
}


def refusal(code: ErrorCode | None, raw: str) -> str:
    """What a refused order means for the person. `raw` is the board's own word, shown if the code alone is not enough."""
    if code is not None and code in _REFUSALS:
        return _REFUSALS[code]
    return f"the board refused: {raw}"


def greeting(identity: Identity) -> str:
    """One line about a board that has answered."""
    outputs = "1 output" if identity.outputs == 1 else f"{identity.outputs} outputs"
    return f"{identity.board} {identity.build}: {outputs}, up to {identity.pixels} pixels each"
