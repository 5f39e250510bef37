"""Pictures: the orders that show them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from device_protocol.errors import HostFault
from device_protocol.framing import LEAST_LINE_LIMIT
from device_protocol.orders.base import Order
from device_protocol.orders.identity import FEATURES
from device_protocol.orders.light import COLOURS_A_LINE, Darken, LightPixel, LightRange, Paint, Palette, Show
from device_protocol.values import PALETTE_LAST, Colour, run_text, split_runs

_CRC_BYTES = len("*0000")


def palette_of(colours: Iterable[Colour]) -> list[Colour]:
    """The colours other than dark, each once, in order of appearance."""
    return list(dict.fromkeys(colour for colour in colours if not colour.is_dark))


def _one_run(colours: Sequence[Colour]) -> tuple[int, int] | None:
    """(first, count) when what is lit is one run of one colour."""
    lit = [number for number, colour in enumerate(colours) if not colour.is_dark]
    first, last = lit[0], lit[-1]
    run = colours[first : last + 1]
    return (first, len(run)) if all(colour == run[0] for colour in run) else None


def _paint_orders(output: int, entries: Sequence[int], line_limit: int) -> list[Order]:
    orders: list[Order] = []
    offset = 0
    taken: list[int] = []
    room = 0
    for entry, length in split_runs(entries):
        text = run_text(entry, length)
        if taken and len(text) > room:
            orders.append(Paint(output, offset, tuple(taken)))
            offset += len(taken)
            taken = []
        if not taken:
            room = line_limit - len(f">00 paint {output} {offset} ") - _CRC_BYTES
        taken += [entry] * length
        room -= len(text)
    orders.append(Paint(output, offset, tuple(taken)))
    return orders


def picture_orders(
    output: int,
    colours: Sequence[Colour],
    *,
    line_limit: int = LEAST_LINE_LIMIT,
    features: Iterable[str] = FEATURES,
) -> list[Order]:
    """The fewest orders that show `colours` (a colour for each pixel of the chain) on `output`.

    `line_limit`: the board's `line`; `features`: what it has. The picture is shown when the last order is answered.
    Raises HostFault for more than 15 colours besides dark, or when the board lacks the feature that the picture needs.
    """
    if not colours:
        raise HostFault("a picture needs at least one pixel")
    if line_limit < LEAST_LINE_LIMIT:
        raise HostFault(f"line limit {line_limit}: a board accepts at least {LEAST_LINE_LIMIT} (SPEC 2.4)")
    has = frozenset(features)
    palette = palette_of(colours)
    if not palette:
        return [Darken(output)]
    run = _one_run(colours)
    if run is not None and run[1] == 1:
        return [LightPixel(output, run[0], palette[0])]
    if run is not None and "range" in has:
        return [LightRange(output, run[0], run[1], palette[0])]
    if "paint" not in has:
        raise HostFault("this picture needs the feature paint, which the board lacks")
    if len(palette) > PALETTE_LAST:
        raise HostFault(f"{len(palette)} colours in one picture: at most {PALETTE_LAST} besides dark")
    entry_of = {colour: number for number, colour in enumerate(palette, start=1)}
    orders: list[Order] = [
        Palette(output, first, tuple(palette[first - 1 : first - 1 + COLOURS_A_LINE.most]))
        for first in range(1, len(palette) + 1, COLOURS_A_LINE.most)
    ]
    entries = [entry_of.get(colour, 0) for colour in colours]
    return [*orders, *_paint_orders(output, entries, line_limit), Show(output)]
