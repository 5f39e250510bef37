"""Effects as orders: what to send to a board for what a step wants to be seen. Pure."""

from __future__ import annotations

from device_protocol.messages import Dark, Identity, Light, Order, Range, Setup
from device_protocol.picture import picture_orders
from probe.steps import SetUpChain, ShowDark, Showing, ShowPicture, ShowPixel, ShowRange


def setup_orders(effect: SetUpChain, identity: Identity) -> list[Order]:
    """The order that sets a chain up; none if the board cannot be set up or has no such output.

    A count or ceiling beyond the board's own is lowered to it: the board would refuse it.
    """
    chain = effect.chain
    if not identity.has("setup") or chain.output >= identity.outputs:
        return []
    count = effect.count or chain.length or identity.pixels
    return [
        Setup(
            chain.output,
            max(1, min(count, identity.pixels)),
            chain.order,
            min(chain.ceiling_ma, identity.ceiling_ma),
            chain.latch_us,
        )
    ]


def showing_orders(effect: Showing, identity: Identity) -> list[Order]:
    """The orders that show what an effect asks for.

    A board without `range` lights the first pixel of a range. Raises HostFault if a picture needs more than it has.
    """
    match effect:
        case ShowPixel(output, number, colour):
            return [Light(output, number, colour)]
        case ShowRange(output, first, count, colour):
            if count == 1 or not identity.has("range"):
                return [Light(output, first, colour)]
            return [Range(output, first, count, colour)]
        case ShowPicture(output, colours):
            return picture_orders(output, colours, line_limit=identity.line, features=identity.features)
        case ShowDark(output):
            return [Dark(output)]


def replaces(later: Showing, earlier: Showing) -> bool:
    """Whether showing `later` leaves nothing of `earlier` to be seen, so that `earlier` need not be sent at all."""
    if isinstance(later, ShowDark) and later.output is None:
        return True
    return later.output == earlier.output
