"""What a power plan comes to, as frozen records. probe.harness.report makes them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from probe.harness.circuit import Floats
from probe.harness.data_line import LogicLevel, Reminder, UsbAlone
from probe.harness.plan import LoadState
from probe.harness.protection import FuseChoice


@dataclass(frozen=True, slots=True)
class Spot:
    """A pixel and its voltage."""

    chain: str
    pixel: int
    volt: float


@dataclass(frozen=True, slots=True)
class JointLoss:
    """Voltage lost in the joints between `after_pixel` and the next, both wires together, V, and heat there, W.

    `section_volt` adds the wire between them."""

    chain: str
    after_pixel: int
    joint_volt: float
    joint_watt: float
    section_volt: float


@dataclass(frozen=True, slots=True)
class ChainVolts:
    """One chain in one load state: arrays of one figure per pixel, V and A."""

    name: str
    volt: Floats
    current_a: Floats
    regulating: int  # how many pixels hold their current

    @property
    def total_a(self) -> float:
        """Current of all its pixels."""
        return float(self.current_a.sum())

    @property
    def lowest(self) -> Spot:
        """The pixel with the least voltage (the first such)."""
        pixel = int(np.argmin(self.volt))
        return Spot(chain=self.name, pixel=pixel, volt=float(self.volt[pixel]))


@dataclass(frozen=True, slots=True)
class FeedCurrent:
    """Current in the two wires of a feed, A."""

    name: str
    plus_a: float
    ground_a: float


@dataclass(frozen=True, slots=True)
class SupplyLoad:
    """Current drawn from a supply, A (below 0: it is fed backwards), and volts at its terminals."""

    name: str
    load_a: float
    terminal_volt: float


@dataclass(frozen=True, slots=True)
class StateReport:
    """The plan in one load state."""

    state: LoadState
    chains: tuple[ChainVolts, ...]
    feeds: tuple[FeedCurrent, ...]
    supplies: tuple[SupplyLoad, ...]
    lowest: Spot
    worst_joint: JointLoss | None
    wire_loss_w: float

    @property
    def total_a(self) -> float:
        """Current of all supplies."""
        return sum(s.load_a for s in self.supplies)

    def chain(self, name: str) -> ChainVolts:
        """The chain of that name."""
        return next(c for c in self.chains if c.name == name)


@dataclass(frozen=True, slots=True)
class FeedReport:
    """Fuse and wire of one feed. `fault_a`: all full white without sag. Wire temperature estimated at full white, C;
    `wire_c` may be `inf` (above the model's 200 C). `thinnest` names the wire that limits the fuse."""

    name: str
    planned_a: float
    fault_a: float
    wire_rating_a: float | None
    thinnest: str
    fuse: FuseChoice
    wire_c: float


@dataclass(frozen=True, slots=True)
class SupplyReport:
    """Size of one supply. `size_a`: common size with the ceiling load at most 80 %; None above the largest."""

    name: str
    planned_a: float
    fault_a: float
    size_a: float | None
    fault_size_a: float | None
    load_share: float | None  # of the rating, if given


@dataclass(frozen=True, slots=True)
class ChainReport:
    """Timing and head of one chain. `largest_pixels`: longest chain of its slowest kind for the wished frame rate."""

    name: str
    frame_s: float
    frames_per_s: float
    largest_pixels: int
    logic: LogicLevel
    reminders: tuple[Reminder, ...]
    usb: UsbAlone
    hottest_wire_c: float


class Weight(StrEnum):
    """How serious a finding is."""

    STOP = "stop"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to tell the person: weight, a short fixed code, where, and the text."""

    weight: Weight
    code: str
    where: str
    text: str


@dataclass(frozen=True, slots=True)
class PowerReport:
    """Everything reckoned. Findings are sorted, the most serious first."""

    states: dict[LoadState, StateReport]
    feeds: tuple[FeedReport, ...]
    supplies: tuple[SupplyReport, ...]
    chains: tuple[ChainReport, ...]
    findings: tuple[Finding, ...] = ()

    def state(self, state: LoadState) -> StateReport:
        """Figures of one load state."""
        return self.states[state]
