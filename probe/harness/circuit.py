"""What a power network is made of, in arrays: loads, rails, feeds, supplies. probe.harness.network solves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from probe.harness.base import PowerError

Floats = NDArray[np.float64]

SMALLEST_OHM: Final = 1e-7  # far below any crimp; keeps a wire of length 0 solvable (1 µV at 10 A)


@dataclass(frozen=True, slots=True)
class PixelLoads:
    """Currents of n pixels: arrays of length n in A and V (`light_a` at the level asked for, `idle_a` always).

    regulation_volt: full current at and above; dark_volt: no light current at and below, and lower than the first.
    """

    light_a: Floats
    idle_a: Floats
    regulation_volt: Floats
    dark_volt: Floats

    @classmethod
    def constant(cls, current_a: Floats | Sequence[float]) -> PixelLoads:
        """Loads that never leave regulation (textbook ladders): any voltage, also far below zero."""
        light = np.asarray(current_a, dtype=np.float64)
        floor = np.full(light.shape, -1e12)
        return cls(light_a=light, idle_a=np.zeros_like(light), regulation_volt=floor + 1, dark_volt=floor)

    def current_a(self, volt: Floats) -> Floats:
        """Current of every pixel at the given voltages, A."""
        light, idle = self._shares(volt)
        return self.light_a * light + self.idle_a * idle

    def slope_s(self, volt: Floats) -> Floats:
        """dI/dV in A/V; at a corner, that of the lower piece."""
        width = self.regulation_volt - self.dark_volt
        inside = (volt > self.dark_volt) & (volt <= self.regulation_volt)
        slope = np.where(inside, self.light_a / width, 0.0)
        low = (self.dark_volt > 0) & (volt > 0) & (volt <= self.dark_volt)
        return slope + np.where(low, self.idle_a / np.where(self.dark_volt > 0, self.dark_volt, 1.0), 0.0)

    def _shares(self, volt: Floats) -> tuple[Floats, Floats]:
        light = np.clip((volt - self.dark_volt) / (self.regulation_volt - self.dark_volt), 0.0, 1.0)
        idle = np.where(
            self.dark_volt > 0, np.clip(volt / np.where(self.dark_volt > 0, self.dark_volt, 1.0), 0.0, 1.0), 1.0
        )
        return light, idle

    def regulating(self, volt: Floats) -> NDArray[np.bool_]:
        """Where the drivers hold their current."""
        result: NDArray[np.bool_] = volt >= self.regulation_volt
        return result


@dataclass(frozen=True, slots=True)
class Rails:
    """One chain of n pixels. `plus_ohm` and `ground_ohm`: n-1 section resistances of ONE conductor each, in ohm;
    section k lies between pixels k and k+1. `inf` in plus_ohm is a cut 5 V wire; the ground is never cut."""

    loads: PixelLoads
    plus_ohm: Floats
    ground_ohm: Floats
    name: str = "chain"


@dataclass(frozen=True, slots=True)
class FeedTap:
    """A feed from the terminals of `supply` to `pixel` of `chain` (indices): ohm of each of its two wires."""

    chain: int
    pixel: int
    supply: int
    plus_ohm: float
    ground_ohm: float


@dataclass(frozen=True, slots=True)
class Source:
    """A supply: volts without load, internal resistance in ohm, and a constant load at its terminals (the board), A."""

    volt: float
    internal_ohm: float = 0.0
    terminal_load_a: float = 0.0


@dataclass(frozen=True, slots=True)
class GroundLink:
    """A wire between the ground terminals of two supplies."""

    first: int
    second: int
    ohm: float


@dataclass(frozen=True, slots=True)
class Circuit:
    """A whole network, in arrays."""

    rails: tuple[Rails, ...]
    taps: tuple[FeedTap, ...]
    sources: tuple[Source, ...]
    links: tuple[GroundLink, ...]


@dataclass(frozen=True, slots=True)
class RailState:
    """Solution for one chain. V and A; section currents flow from pixel k to k+1 in the plus rail and, counted the same
    way, from k to k+1 in the ground rail (so they are the negative of each other in a simple chain)."""

    plus_volt: Floats
    ground_volt: Floats
    current_a: Floats
    plus_section_a: Floats
    ground_section_a: Floats
    regulating: NDArray[np.bool_]

    @property
    def volt(self) -> Floats:
        """Voltage across every pixel."""
        return self.plus_volt - self.ground_volt


@dataclass(frozen=True, slots=True)
class Solution:
    """The solved network. Feed currents: plus out of the supply, ground back into it, in A, in the order of the taps.

    supply_a includes the terminal load; a negative figure means the supply is being fed backwards. `residual_a` is the
    largest violation of the load curve that remains.
    """

    rails: tuple[RailState, ...]
    feed_plus_a: Floats
    feed_ground_a: Floats
    supply_a: Floats
    supply_terminal_volt: Floats
    wire_loss_w: float
    steps: int
    residual_a: float


def check_circuit(
    rails: Sequence[Rails], taps: Sequence[FeedTap], sources: Sequence[Source], links: Sequence[GroundLink]
) -> None:
    """Raise PowerError for shapes, indices and values that make no network."""
    for rail in rails:
        count = len(rail.loads.light_a)
        if count == 0:
            raise PowerError(f"{rail.name}: a chain needs at least one pixel.")
        for name, ohm in (("5 V", rail.plus_ohm), ("ground", rail.ground_ohm)):
            if len(ohm) != count - 1:
                raise PowerError(f"{rail.name}: {count} pixels need {count - 1} {name} sections, not {len(ohm)}.")
            if np.isnan(ohm).any() or (ohm < 0).any():
                raise PowerError(f"{rail.name}: a {name} section has a resistance below 0 or no number.")
        if np.isinf(rail.ground_ohm).any():
            raise PowerError(f"{rail.name}: the ground wire is cut. Ground runs through the whole chain: join it.")
        if (rail.loads.regulation_volt <= rail.loads.dark_volt).any():
            raise PowerError(f"{rail.name}: regulation_volt must be above dark_volt.")
    for number, tap in enumerate(taps):
        if not 0 <= tap.chain < len(rails) or not 0 <= tap.supply < len(sources):
            raise PowerError(f"feed {number}: no such chain or supply.")
        if not 0 <= tap.pixel < len(rails[tap.chain].loads.light_a):
            raise PowerError(f"feed {number}: {rails[tap.chain].name} has no pixel {tap.pixel}.")
        if not (0 <= tap.plus_ohm < np.inf and 0 <= tap.ground_ohm < np.inf):
            raise PowerError(f"feed {number}: the resistance of each wire must be 0 or more.")
    for number, source in enumerate(sources):
        parts = (source.internal_ohm, source.terminal_load_a)
        if not 0 < source.volt < np.inf or not all(0 <= part < np.inf for part in parts):
            raise PowerError(f"supply {number}: volts above 0, internal resistance and load 0 or more are needed.")
    for link in links:
        if not (0 <= link.first < len(sources) and 0 <= link.second < len(sources)):
            raise PowerError("ground link: no such supply.")
