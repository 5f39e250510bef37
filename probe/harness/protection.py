"""Supply size and fuses.

Sources
 [1] NEC 210.20(A): overcurrent device at least 125 % of the continuous load (Schneider data bulletin); its inverse,
     load at most 80 %, is also the trade's rule for supplies.
 [2] Blade fuse ratings and colours: SAE J1284 as listed by onallcylinders and procarmanuals; 35 and 40 A after
     ISO 8820-3, from memory.
 [3] Common sizes of enclosed supplies: common practice, no source.

A fuse protects the wire behind it. It is sized for the moment when data goes wrong and everything lights full white.
Local rules and licensed practice go before anything here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from probe.harness.base import PowerError, require_not_negative, require_positive

BLADE_FUSES: Final[dict[float, str]] = {
    0.5: "dark blue", 1.0: "black", 2.0: "grey", 3.0: "violet", 4.0: "pink", 5.0: "tan", 7.5: "brown", 10.0: "red",
    15.0: "blue", 20.0: "yellow", 25.0: "clear", 30.0: "green", 35.0: "blue-green", 40.0: "orange",
}  # fmt: skip
CONTINUOUS_FACTOR: Final = 1.25
LARGEST_LOAD_SHARE: Final = 0.8
SUPPLY_SIZES_A: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0)


def smallest_supply_a(*, load_a: float) -> float:
    """Rated current a supply needs so that the load is at most 80 % of it [1], A (not rounded to a size)."""
    require_not_negative(load_a, what="load in A")
    return load_a / LARGEST_LOAD_SHARE


def supply_size_a(*, load_a: float) -> float:
    """Smallest common supply [3] with the load at most 80 %. Raises PowerError above the largest."""
    needed = smallest_supply_a(load_a=load_a)
    for size in SUPPLY_SIZES_A:
        if size >= needed * (1 - 1e-9):
            return size
    raise PowerError(
        f"{load_a:.1f} A needs a supply above {SUPPLY_SIZES_A[-1]:g} A. Use several supplies, 5 V kept apart."
    )


class FuseVerdict(StrEnum):
    """What a fuse choice covers."""

    FITS = "fits"  # protects the wire and carries full white
    CEILING_ONLY = "ceiling only"  # protects the wire; full white would open it
    NONE = "none"  # nothing both protects the wire and carries the planned load
    UNKNOWN = "unknown"  # the wire's rating is not known


@dataclass(frozen=True, slots=True)
class FuseChoice:
    """A fuse for one feed: rating in A and blade colour (None if there is none), verdict and the reason in words."""

    rating_a: float | None
    colour: str | None
    verdict: FuseVerdict
    reason: str


def choose_fuse(*, planned_a: float, fault_a: float, wire_rating_a: float) -> FuseChoice:
    """Fuse for a feed: wire rating > fuse >= 1.25 x continuous load [1][2].

    planned_a: load at the ceiling. fault_a: load with everything full white, at least as much. wire_rating_a: that of
    the thinnest wire behind the fuse. If no size carries 1.25 x fault_a the largest that protects the wire is taken,
    provided it carries 1.25 x planned_a: then wrong data opens the fuse, which is the safe way to fail.
    """
    require_not_negative(planned_a, what="planned load in A")
    require_positive(wire_rating_a, what="wire rating in A")
    fault_a = max(fault_a, planned_a)
    allowed = [rating for rating in BLADE_FUSES if rating < wire_rating_a]
    wire = f"the thinnest wire behind it is good for {wire_rating_a:.2g} A"
    if not allowed:
        return FuseChoice(
            None, None, FuseVerdict.NONE,
            f"No blade fuse is small enough: {wire}, the smallest fuse is {min(BLADE_FUSES):g} A. Use thicker wire.",
        )  # fmt: skip
    for rating in allowed:
        if rating >= CONTINUOUS_FACTOR * fault_a * (1 - 1e-9):
            return FuseChoice(
                rating, BLADE_FUSES[rating], FuseVerdict.FITS,
                f"{rating:g} A: above 125 % of {fault_a:.2f} A (all full white), and {wire}.",
            )  # fmt: skip
    rating = allowed[-1]
    if rating >= CONTINUOUS_FACTOR * planned_a * (1 - 1e-9):
        return FuseChoice(
            rating, BLADE_FUSES[rating], FuseVerdict.CEILING_ONLY,
            f"{rating:g} A protects the wire and carries the {planned_a:.2f} A planned. If data goes wrong "
            f"and all light full white ({fault_a:.2f} A) it may open: never put in a larger one. "
            "Thicker wire or one more feed cures it.",
        )  # fmt: skip
    return FuseChoice(
        None, None, FuseVerdict.NONE,
        f"No fuse fits: the planned {planned_a:.2f} A needs {CONTINUOUS_FACTOR * planned_a:.2f} A or more, but {wire}, "
        f"so at most {rating:g} A. Use thicker wire, one more feed, or a lower ceiling.",
    )  # fmt: skip
