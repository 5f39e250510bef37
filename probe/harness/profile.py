"""What a picture of the voltage along a chain shows, free of any medium."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from probe.harness.base import PowerError
from probe.harness.circuit import Floats
from probe.harness.plan import LoadState, PowerPlan
from probe.harness.results import PowerReport


@dataclass(frozen=True, slots=True)
class Mark:
    """A named pixel."""

    pixel: int
    name: str


@dataclass(frozen=True, slots=True)
class VoltProfile:
    """Volts of each pixel of a chain (array of n), the line to stay above, feeds and places to name."""

    title: str
    volt: Floats
    low_line_volt: float
    top_volt: float
    feeds: tuple[Mark, ...] = ()
    places: tuple[Mark, ...] = ()

    def __post_init__(self) -> None:
        if len(self.volt) == 0 or not np.isfinite(self.volt).all():
            raise PowerError(f"{self.title}: there are no voltages to draw.")

    @property
    def lowest(self) -> Mark:
        """The pixel with the least voltage, named by its volts."""
        pixel = int(np.argmin(self.volt))
        return Mark(pixel=pixel, name=f"{self.volt[pixel]:.2f} V")

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest voltage of the axis: the line, the supply and the curve fit in, with a little air."""
        low = min(float(self.volt.min()), self.low_line_volt)
        high = max(float(self.volt.max()), self.top_volt)
        air = max(0.05 * (high - low), 0.02)
        return low - air, high + air

    @classmethod
    def of(cls, plan: PowerPlan, report: PowerReport, *, chain: str, state: LoadState) -> Self:
        """The profile of one chain of a reckoned plan."""
        wanted = plan.chain(chain)
        feeds = tuple(Mark(pixel=feed.pixel, name=feed.name) for feed in plan.feeds if feed.chain == chain)
        names = {feed.supply for feed in plan.feeds if feed.chain == chain}
        return cls(
            title=f"{chain}, {state}",
            volt=report.state(state).chain(chain).volt,
            low_line_volt=max(kind.low_line_volt for kind, _ in wanted.kinds),
            top_volt=max(supply.volt for supply in plan.supplies if supply.name in names),
            feeds=feeds,
            places=tuple(Mark(pixel=place.pixel, name=place.name) for place in wanted.places),
        )
