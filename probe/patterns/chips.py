"""What chips in a row make of a byte stream.

Each chip keeps the first bytes that reach it after a pause, as many as it has colours, in its own order, and passes the
rest on. Everything about wrong colours, skipped places and lost tails follows from that one rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import permutations

from device_protocol.values import Colour

ORDERS_RGB = tuple("".join(letters) for letters in permutations("RGB"))
ORDERS_RGBW = tuple("".join(letters) for letters in permutations("RGBW"))


def check_order(order: str) -> str:
    """The order itself. Raises ValueError unless it is a permutation of RGB or of RGBW."""
    if order not in ORDERS_RGB and order not in ORDERS_RGBW:
        raise ValueError(f"{order!r} is not a byte order: it has to be a permutation of RGB or of RGBW")
    return order


def stream(picture: Iterable[Colour], order: str) -> bytes:
    """The bytes a board sends for a picture when it is set to `order`, first pixel first."""
    check_order(order)
    return b"".join(colour.wire(order) for colour in picture)


def shown(data: bytes, orders: Sequence[str]) -> tuple[Colour | None, ...]:
    """What chips of the given orders, in a row, show after one frame. None: not enough bytes reached the chip, it keeps
    what it had."""
    out: list[Colour | None] = []
    at = 0
    for order in orders:
        part = data[at : at + len(order)]
        at += len(order)
        if len(part) < len(order):
            out.append(None)
            continue
        levels = dict(zip(order, part, strict=True))
        out.append(Colour(*(levels.get(letter, 0) for letter in "RGBW")))
    return tuple(out)
