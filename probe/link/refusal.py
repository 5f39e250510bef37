"""An order that the board cannot or will not carry out; the line is sound."""

from __future__ import annotations

from device_protocol.errors import Blame, ErrorCode, blame_of
from device_protocol.events import Refused
from device_protocol.orders import Order


class OrderRefused(Exception):  # noqa: N818 - what happened, in the words of the protocol
    """The board refused an order, lacks what it needs, or gave an answer that makes no sense. Nothing is lost.

    `code` is None for a code or an answer that this version does not understand. `fields` are numbers that came with
    it: `need`, `ceiling` (mA) with CEILING; `staged` (pixels) with INCOMPLETE and OUT_OF_STEP.
    """

    def __init__(
        self, order: Order, *, code: ErrorCode | None, text: str, fields: dict[str, int] | None = None
    ) -> None:
        super().__init__(text)
        self.order = order
        self.code = code
        self.text = text
        self.fields = fields or {}

    @property
    def blame(self) -> Blame:
        """Where to look first."""
        return blame_of(self.code)

    @classmethod
    def by_board(cls, refused: Refused) -> OrderRefused:
        """From the session's event."""
        line = refused.error
        fields = {key: value for key in ("need", "ceiling", "staged") if (value := refused.field(key)) is not None}
        reply = " ".join((f"{line.number:02d}", line.name, *line.fields))
        return cls(
            refused.order, code=refused.code, text=f"the board refuses {refused.order.WORD}: {reply}", fields=fields
        )
