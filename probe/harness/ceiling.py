"""The current ceiling, reckoned as the board reckons it (protocol clause 4.4), so that no order is sent it must refuse.

need_uA = count x idle + ceil(channel x (sum of colour values) / 255); exceeded when need_uA > ceiling_mA x 1000. A dark
picture is always allowed. Integers throughout: host and board agree to the last microampere.
"""

from __future__ import annotations

from collections.abc import Sequence

from probe.harness.base import PowerError


def need_ua(*, count: int, idle_ua: int, channel_ua: int, colour_sum: int) -> int:
    """Current of a picture in uA. colour_sum: all colour values of all pixels added up (0 to 255 each)."""
    if min(count, idle_ua, channel_ua, colour_sum) < 0:
        raise PowerError("count, currents and colour values must be 0 or more.")
    return count * idle_ua + -(-channel_ua * colour_sum // 255)


def need_ma(*, count: int, idle_ua: int, channel_ua: int, colour_sum: int) -> int:
    """The same in mA, rounded up."""
    return -(-need_ua(count=count, idle_ua=idle_ua, channel_ua=channel_ua, colour_sum=colour_sum) // 1000)


def within_ceiling(*, count: int, idle_ua: int, channel_ua: int, colour_sum: int, ceiling_ma: int) -> bool:
    """Whether the board will show the picture."""
    need = need_ua(count=count, idle_ua=idle_ua, channel_ua=channel_ua, colour_sum=colour_sum)
    return colour_sum == 0 or need <= ceiling_ma * 1000


def largest_colour_sum(*, count: int, idle_ua: int, channel_ua: int, ceiling_ma: int) -> int:
    """Greatest sum of colour values that stays within the ceiling; 0 if only darkness does."""
    left_ua = ceiling_ma * 1000 - count * idle_ua
    if left_ua <= 0 or channel_ua <= 0:
        return 0 if left_ua <= 0 else 255 * 4 * count
    return left_ua * 255 // channel_ua


def dim_to_ceiling(
    colours: Sequence[Sequence[int]], *, count: int, idle_ua: int, channel_ua: int, ceiling_ma: int
) -> tuple[tuple[int, ...], ...]:
    """The picture dimmed evenly, just enough for the ceiling; unchanged if it fits.

    Every value becomes floor(value x allowed sum / sum), so the result never exceeds the ceiling. Raises PowerError if
    even one step of light does not fit.
    """
    total = sum(sum(colour) for colour in colours)
    if within_ceiling(count=count, idle_ua=idle_ua, channel_ua=channel_ua, colour_sum=total, ceiling_ma=ceiling_ma):
        return tuple(tuple(colour) for colour in colours)
    allowed = largest_colour_sum(count=count, idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma)
    dimmed = tuple(tuple(value * allowed // total for value in colour) for colour in colours)
    if not any(any(colour) for colour in dimmed):
        raise PowerError(
            f"the ceiling of {ceiling_ma} mA leaves no light for this picture on {count} pixels. "
            "Light fewer pixels, correct the pixel count, or raise the ceiling."
        )
    return dimmed
