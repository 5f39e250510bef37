"""The current that a picture needs (SPEC 4.4), and how far it is dimmed for the ceiling."""

from __future__ import annotations

from collections.abc import Sequence

from device_protocol.errors import HostFault
from device_protocol.values import DARK, Colour

FULL = 255
"""A colour at its full value."""


def current_ua(*, count: int, colour_sum: int, idle_ua: int, channel_ua: int) -> int:
    """Current of a chain in uA: `count` x idle + channel x `colour_sum` / 255, the division rounded up (SPEC 4.4).

    `colour_sum`: all colour values (0 to 255 each) of all its pixels added up. Raises HostFault for a negative one.
    """
    if min(count, colour_sum, idle_ua, channel_ua) < 0:
        raise HostFault("count, currents and colour values must be 0 or more")
    return count * idle_ua - (-channel_ua * colour_sum // FULL)


def most_colour_sum(*, count: int, idle_ua: int, channel_ua: int, ceiling_ma: int) -> int:
    """The greatest `colour_sum` whose current stays within the ceiling: the inverse of `current_ua`.

    0 where the dark chain alone is above it; every colour of every pixel where colours draw nothing.
    """
    room_ua = ceiling_ma * 1000 - count * idle_ua
    if room_ua < 0:
        return 0
    # channel x sum / 255 rounded up is within the room exactly when sum is at most room x 255 / channel
    return room_ua * FULL // channel_ua if channel_ua > 0 else 4 * FULL * count


def need_ua(colours: Sequence[Colour], *, idle_ua: int, channel_ua: int) -> int:
    """Current of a picture in uA, a colour for each pixel of the chain."""
    total = sum(colour.total for colour in colours)
    return current_ua(count=len(colours), colour_sum=total, idle_ua=idle_ua, channel_ua=channel_ua)


def need_ma(colours: Sequence[Colour], *, idle_ua: int, channel_ua: int) -> int:
    """The same in mA, rounded up."""
    return -(-need_ua(colours, idle_ua=idle_ua, channel_ua=channel_ua) // 1000)


def exceeds_ceiling(colours: Sequence[Colour], *, idle_ua: int, channel_ua: int, ceiling_ma: int) -> bool:
    """True when a board would refuse the picture with 32 (SPEC 4.4). A dark picture never does."""
    return any(not colour.is_dark for colour in colours) and (
        need_ua(colours, idle_ua=idle_ua, channel_ua=channel_ua) > ceiling_ma * 1000
    )


def _brightest_only(colour: Colour) -> Colour:
    values = [colour.red, colour.green, colour.blue, colour.white]
    top = values.index(max(values))
    return Colour(*(int(place == top) for place in range(4)))


def _scaled(colour: Colour, base: Colour, numerator: int, denominator: int) -> Colour:
    def part(value: int, least: int) -> int:
        return least + (value - least) * numerator // denominator

    return Colour(
        part(colour.red, base.red),
        part(colour.green, base.green),
        part(colour.blue, base.blue),
        part(colour.white, base.white),
    )


def dim_to_ceiling(colours: Sequence[Colour], *, idle_ua: int, channel_ua: int, ceiling_ma: int) -> tuple[Colour, ...]:
    """The picture, dimmed evenly as far as the ceiling asks; unchanged when it fits.

    Every lit pixel keeps at least 1 of its strongest colour. Raises HostFault when even that is above the ceiling.
    """
    if not exceeds_ceiling(colours, idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma):
        return tuple(colours)
    allowed = most_colour_sum(count=len(colours), idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma)
    total = sum(colour.total for colour in colours)
    lit = sum(not colour.is_dark for colour in colours)
    if allowed < lit:
        least = need_ma(
            [DARK if colour.is_dark else _brightest_only(colour) for colour in colours],
            idle_ua=idle_ua,
            channel_ua=channel_ua,
        )
        raise HostFault(
            f"{lit} lit pixels of {len(colours)} need {least} mA at their dimmest, the ceiling is {ceiling_ma} mA: "
            "light fewer pixels, or raise the ceiling within what the feeds carry"
        )
    numerator, denominator = allowed - lit, total - lit
    return tuple(
        colour if colour.is_dark else _scaled(colour, _brightest_only(colour), numerator, denominator)
        for colour in colours
    )
