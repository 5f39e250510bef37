"""Voltage at every pixel: the two-rail resistive ladder solved by nodal analysis.

Both wires are there: every pixel has a 5 V node and a ground node, every section a resistance in each rail, and a feed
two wires with resistances of their own. A loop resistance is exact only when both rails carry the same current. With
several feeds that need not be so; this solution still holds.

Method. With the rail nodes interleaved (plus 0, ground 0, plus 1, ground 1 ...) Kirchhoff's current law is a symmetric
positive definite system two diagonals wide on each side: sparse Cholesky in the banded form, linear in the number of
pixels. The few supply terminals are eliminated into a small dense system.

Loads. `PixelLoads` draw a constant current while regulating and less below (see probe.harness.pixels.PixelKind); that
curve never falls with rising voltage, so the solution is unique and minimises a convex function. It is found by Newton
steps with a line search; the curve is made of straight pieces, so the last step is exact.

Ground reference: the ground terminal of one supply in each group of supplies that share a ground is 0 V.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

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
class Ladder:
    """One chain of n pixels. `plus_ohm` and `ground_ohm`: n-1 section resistances of ONE conductor each, in ohm;
    section k lies between pixels k and k+1. `inf` in plus_ohm is a cut 5 V wire; the ground is never cut."""

    loads: PixelLoads
    plus_ohm: Floats
    ground_ohm: Floats
    name: str = "chain"


@dataclass(frozen=True, slots=True)
class FeedTap:
    """A feed from the terminals of `supply` to `pixel` of `chain` (indices): ohm of each of its two wires.

    `inf` in plus_ohm: its fuse is open. The ground wire stays."""

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
    """A whole network, in arrays. Raises PowerError for shapes, indices and values that make none."""

    ladders: Sequence[Ladder]
    taps: Sequence[FeedTap]
    sources: Sequence[Source]
    links: Sequence[GroundLink] = ()

    def __post_init__(self) -> None:
        for ladder in self.ladders:
            count = len(ladder.loads.light_a)
            if count == 0:
                raise PowerError(f"{ladder.name}: a chain needs at least one pixel.")
            for name, ohm in (("plus", ladder.plus_ohm), ("ground", ladder.ground_ohm)):
                if len(ohm) != count - 1:
                    raise PowerError(f"{ladder.name}: {count} pixels need {count - 1} {name} sections, not {len(ohm)}.")
                if np.isnan(ohm).any() or (ohm < 0).any():
                    raise PowerError(f"{ladder.name}: a {name} section has a resistance below 0 or no number.")
            if np.isinf(ladder.ground_ohm).any():
                raise PowerError(
                    f"{ladder.name}: the ground wire is cut. Ground runs through the whole chain: join it."
                )
            if (ladder.loads.regulation_volt <= ladder.loads.dark_volt).any():
                raise PowerError(f"{ladder.name}: regulation_volt must be above dark_volt.")
        for number, tap in enumerate(self.taps):
            if not 0 <= tap.chain < len(self.ladders) or not 0 <= tap.supply < len(self.sources):
                raise PowerError(f"feed {number}: no such chain or supply.")
            if not 0 <= tap.pixel < len(self.ladders[tap.chain].loads.light_a):
                raise PowerError(f"feed {number}: {self.ladders[tap.chain].name} has no pixel {tap.pixel}.")
            if not (tap.plus_ohm >= 0 and 0 <= tap.ground_ohm < np.inf):
                raise PowerError(f"feed {number}: the resistance of each wire must be 0 or more.")
        for number, source in enumerate(self.sources):
            parts = (source.internal_ohm, source.terminal_load_a)
            if not 0 < source.volt < np.inf or not all(0 <= part < np.inf for part in parts):
                raise PowerError(f"supply {number}: volts above 0, internal resistance and load 0 or more are needed.")
        for link in self.links:
            if not (0 <= link.first < len(self.sources) and 0 <= link.second < len(self.sources)):
                raise PowerError("ground link: no such supply.")


@dataclass(frozen=True, slots=True)
class LadderState:
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
class SolvedCircuit:
    """The solved network. Feed currents: plus out of the supply, ground back into it, in A, in the order of the taps.

    supply_a includes the terminal load; a negative figure means the supply is being fed backwards. `residual_a` is the
    largest violation of the load curve that remains.
    """

    ladders: tuple[LadderState, ...]
    feed_plus_a: Floats
    feed_ground_a: Floats
    supply_a: Floats
    supply_terminal_volt: Floats
    supply_ground_volt: Floats
    wire_loss_w: float
    steps: int
    residual_a: float


# -- solving -----------------------------------------------------------------------------------------------------

NEWTON_LIMIT: Final = 100
LEVEL_ENOUGH: Final = 1e-6  # share of the first slope at which no line search is needed
SHARE_ENOUGH: Final = 1e-7  # how closely a line search finds its place along the step
NEARLY: Final = 1e-6  # residual over the largest current from where whole steps are taken: rounding misleads a search


def solve(circuit: Circuit) -> SolvedCircuit:
    """Solve the network. Raises PowerError for pixels with no feed."""
    return _NodalSystem(circuit).solve()


class _NodalSystem:
    """Arrays of one network; rail node 2k is plus of pixel k, 2k+1 its ground, pixels of all chains in one row."""

    def __init__(self, circuit: Circuit) -> None:
        self.ladders, self.taps = circuit.ladders, circuit.taps
        self.sources, self.links = circuit.sources, circuit.links
        self.start = np.cumsum([0, *(len(r.loads.light_a) for r in self.ladders)])
        self.count = int(self.start[-1])
        self.loads = PixelLoads(
            light_a=_join([r.loads.light_a for r in self.ladders]),
            idle_a=_join([r.loads.idle_a for r in self.ladders]),
            regulation_volt=_join([r.loads.regulation_volt for r in self.ladders]),
            dark_volt=_join([r.loads.dark_volt for r in self.ladders]),
        )
        # Conductance from pixel k to k+1 in each rail; 0 between chains.
        self.plus_s, self.ground_s = np.zeros(max(self.count - 1, 0)), np.zeros(max(self.count - 1, 0))
        for rail, start in zip(self.ladders, self.start, strict=False):
            sections = len(rail.plus_ohm)
            self.plus_s[start : start + sections] = 1 / np.maximum(rail.plus_ohm, SMALLEST_OHM)
            self.ground_s[start : start + sections] = 1 / np.maximum(rail.ground_ohm, SMALLEST_OHM)
        self.tap_pixel = np.array([self.start[t.chain] + t.pixel for t in self.taps], dtype=np.intp)
        self.tap_supply = np.array([t.supply for t in self.taps], dtype=np.intp)
        self.tap_plus_s = np.array([1 / max(t.plus_ohm, SMALLEST_OHM) for t in self.taps])
        self.tap_ground_s = np.array([1 / max(t.ground_ohm, SMALLEST_OHM) for t in self.taps])
        self._check_fed()
        self.band = self._band()
        self.coupling = self._coupling()
        self.pinned = self._pinned()

    def _check_fed(self) -> None:
        """Every unbroken piece of 5 V wire needs a feed; otherwise its voltage is not defined."""
        piece = np.concatenate(([0], np.cumsum(self.plus_s == 0))) if self.count else np.zeros(0, dtype=np.intp)
        fed = np.zeros(int(piece[-1]) + 1 if self.count else 0, dtype=np.bool_)
        fed[piece[self.tap_pixel[self.tap_plus_s > 0]]] = True
        if fed.all():
            return
        lost = np.flatnonzero(piece == int(np.flatnonzero(~fed)[0]))
        chain = int(np.searchsorted(self.start, lost[0], side="right")) - 1
        first, last = lost[0] - self.start[chain], lost[-1] - self.start[chain]
        raise PowerError(
            f"{self.ladders[chain].name}: pixels {first} to {last} have no feed on their plus wire. "
            "Add a feed there, or join the plus wire."
        )

    def _band(self) -> Floats:
        """Upper band form of the rail matrix without load slopes: superdiagonals 2 and 1, then the diagonal."""
        band = np.zeros((3, 2 * self.count))
        band[0, 2::2] = -self.plus_s
        band[0, 3::2] = -self.ground_s
        diagonal = band[2]
        diagonal[:-2:2] += self.plus_s
        diagonal[2::2] += self.plus_s
        diagonal[1:-2:2] += self.ground_s
        diagonal[3::2] += self.ground_s
        np.add.at(diagonal, 2 * self.tap_pixel, self.tap_plus_s)
        np.add.at(diagonal, 2 * self.tap_pixel + 1, self.tap_ground_s)
        return band

    def _coupling(self) -> Floats:
        """Rail nodes x supply terminals (plus of each supply, then ground of each): conductances, positive."""
        supplies = len(self.sources)
        coupling = np.zeros((2 * self.count, 2 * supplies))
        np.add.at(coupling, (2 * self.tap_pixel, self.tap_supply), self.tap_plus_s)
        np.add.at(coupling, (2 * self.tap_pixel + 1, supplies + self.tap_supply), self.tap_ground_s)
        return coupling

    def _pinned(self) -> list[int]:
        """One supply in each group joined by ground wires: its ground terminal is 0 V."""
        group = list(range(len(self.sources)))

        def root(k: int) -> int:
            while group[k] != k:
                k = group[k]
            return k

        first_of_chain: dict[int, int] = {}
        for tap in self.taps:
            group[root(tap.supply)] = root(first_of_chain.setdefault(tap.chain, tap.supply))
        for link in self.links:
            group[root(link.first)] = root(link.second)
        return [k for k in range(len(self.sources)) if root(k) == k]

    def _terminal_system(self, response: Floats, forced: Floats) -> tuple[Floats, Floats]:
        """Small dense system for [plus terminals, ground terminals, source currents] with the rails eliminated."""
        supplies = len(self.sources)
        size = 3 * supplies
        matrix, right = np.zeros((size, size)), np.zeros(size)
        terminals = np.diag(self.coupling.sum(axis=0)) - self.coupling.T @ response
        for link in self.links:
            a, b, s = supplies + link.first, supplies + link.second, 1 / max(link.ohm, SMALLEST_OHM)
            terminals[a, a] += s
            terminals[b, b] += s
            terminals[a, b] -= s
            terminals[b, a] -= s
        matrix[: 2 * supplies, : 2 * supplies] = terminals
        right[: 2 * supplies] = self.coupling.T @ forced
        for k, source in enumerate(self.sources):
            plus, ground, current = k, supplies + k, 2 * supplies + k
            matrix[plus, current] -= 1  # current out of the plus terminal into the network
            matrix[ground, current] += 1
            # E - r (network current + terminal load) across the terminals
            matrix[current, plus], matrix[current, ground] = 1, -1
            matrix[current, current] = source.internal_ohm
            right[current] = source.volt - source.internal_ohm * source.terminal_load_a
        for k in self.pinned:
            row = supplies + k
            matrix[row, :] = 0
            matrix[row, row] = 1
            right[row] = 0
        return matrix, right

    def _linear(self, slope_s: Floats, offset_a: Floats) -> tuple[Floats, Floats]:
        """Solve with load k drawing offset + slope x voltage. Returns rail nodes and [terminals, source currents]."""
        band = self.band.copy()
        if slope_s.any():
            band[2, 0::2] += slope_s
            band[2, 1::2] += slope_s
            band[1, 1::2] -= slope_s
        right = np.empty((2 * self.count, 1 + self.coupling.shape[1]), order="F")
        right[0::2, 0], right[1::2, 0] = -offset_a, offset_a
        right[:, 1:] = self.coupling
        factor = cholesky_banded(band, check_finite=False, overwrite_ab=True)
        solved = cho_solve_banded((factor, False), right, check_finite=False, overwrite_b=True)
        forced, response = solved[:, 0], solved[:, 1:]
        matrix, small_right = self._terminal_system(response, forced)
        terminals: Floats = np.linalg.solve(matrix, small_right).astype(np.float64)
        nodes = forced + response @ terminals[: self.coupling.shape[1]]
        return nodes, terminals

    def _wires_along(self, nodes: Floats, terminals: Floats, step: Floats, terminal_step: Floats) -> float:
        """Derivative of the convex function along a step, without the loads: KCL residual times step, linear in the nodes."""
        supplies = len(self.sources)
        total = 0.0
        for part, conductance in ((0, self.plus_s), (1, self.ground_s)):
            total += float((np.diff(nodes[part::2]) * conductance) @ np.diff(step[part::2]))
        for part, conductance in ((0, self.tap_plus_s), (1, self.tap_ground_s)):
            terminal = self.tap_supply + part * supplies
            node = 2 * self.tap_pixel + part
            total += float(((nodes[node] - terminals[terminal]) * conductance) @ (step[node] - terminal_step[terminal]))
        for link in self.links:
            a, b, s = supplies + link.first, supplies + link.second, 1 / max(link.ohm, SMALLEST_OHM)
            total += (terminals[a] - terminals[b]) * s * (terminal_step[a] - terminal_step[b])
        for k, source in enumerate(self.sources):
            across, across_step = terminals[k] - terminals[supplies + k], terminal_step[k] - terminal_step[supplies + k]
            if source.internal_ohm > 0:
                drive = (source.volt - across) / source.internal_ohm - source.terminal_load_a
                total -= drive * across_step
        return total

    def solve(self) -> SolvedCircuit:
        """Newton steps from the all-regulating solution."""
        if self.count == 0:
            nodes = np.zeros(0)
            terminals = np.zeros(3 * len(self.sources))
            for k, source in enumerate(self.sources):
                terminals[k] = source.volt - source.internal_ohm * source.terminal_load_a
            return self._result(nodes, terminals, steps=0, residual=0.0)
        drawn = self.loads.light_a + self.loads.idle_a
        nodes, terminals = self._linear(np.zeros(self.count), drawn)
        scale = max(float(np.abs(drawn).max()), 1e-12)
        for steps in range(1, NEWTON_LIMIT + 1):
            volt = nodes[0::2] - nodes[1::2]
            wanted = self.loads.current_a(volt)
            residual = float(np.abs(wanted - drawn).max(initial=0.0))
            if residual <= 1e-9 * scale:
                return self._result(nodes, terminals, steps=steps, residual=residual)
            slope = self.loads.slope_s(volt)
            offset = wanted - slope * volt
            target, terminal_target = self._linear(slope, offset)
            step, terminal_step = target - nodes, terminal_target - terminals
            nearly = residual <= NEARLY * scale
            share = 1.0 if nearly else self._share(nodes, terminals, step, terminal_step)
            nodes, terminals = nodes + share * step, terminals + share * terminal_step
            # Kirchhoff's law is linear, so the currents it now balances are the same mixture.
            drawn = drawn + share * (offset + slope * (target[0::2] - target[1::2]) - drawn)
        raise PowerError(
            f"the voltages did not settle in {NEWTON_LIMIT} steps (off by {residual:.2e} A). "
            "Check the resistances of the plan for extreme values."
        )

    def _share(self, nodes: Floats, terminals: Floats, step: Floats, terminal_step: Floats) -> float:
        """Line search: 1 if the function still falls at the end of the step, else where it stops falling.

        Its slope along the step is a rising broken line, so there is one zero.
        """

        volt, volt_step = nodes[0::2] - nodes[1::2], step[0::2] - step[1::2]
        at_first = self._wires_along(nodes, terminals, step, terminal_step)
        at_last = self._wires_along(nodes + step, terminals + terminal_step, step, terminal_step)

        def slope(share: float) -> float:
            loads = float(self.loads.current_a(volt + share * volt_step) @ volt_step)
            return loads + at_first + share * (at_last - at_first)

        at_start = slope(0.0)
        if at_start >= 0 or slope(1.0) <= LEVEL_ENOUGH * abs(at_start):
            return 1.0
        from scipy.optimize import brentq  # heavy to load, and needed only where pixels leave regulation

        return float(brentq(slope, 0.0, 1.0, xtol=SHARE_ENOUGH))

    def _result(self, nodes: Floats, terminals: Floats, *, steps: int, residual: float) -> SolvedCircuit:
        supplies = len(self.sources)
        plus, ground = nodes[0::2], nodes[1::2]
        volt = plus - ground
        current = self.loads.current_a(volt)
        plus_section, ground_section = -np.diff(plus) * self.plus_s, -np.diff(ground) * self.ground_s
        states = []
        for k in range(len(self.ladders)):
            a, b = int(self.start[k]), int(self.start[k + 1])
            sections = slice(a, max(b - 1, a))
            here = slice(a, b)
            states.append(
                LadderState(
                    plus_volt=plus[here],
                    ground_volt=ground[here],
                    current_a=current[here],
                    plus_section_a=plus_section[sections],
                    ground_section_a=ground_section[sections],
                    regulating=self.loads.regulating(volt)[here],
                )
            )
        feed_plus = (terminals[self.tap_supply] - plus[self.tap_pixel]) * self.tap_plus_s
        feed_ground = (ground[self.tap_pixel] - terminals[supplies + self.tap_supply]) * self.tap_ground_s
        loss = float(
            np.sum(np.diff(plus) ** 2 * self.plus_s)
            + np.sum(np.diff(ground) ** 2 * self.ground_s)
            + np.sum((terminals[self.tap_supply] - plus[self.tap_pixel]) * feed_plus)
            + np.sum(feed_ground**2 / self.tap_ground_s)
        ) if self.count else 0.0  # fmt: skip
        supply_a = np.array([s.terminal_load_a for s in self.sources], dtype=np.float64)
        np.add.at(supply_a, self.tap_supply, feed_plus)
        return SolvedCircuit(
            ladders=tuple(states),
            feed_plus_a=feed_plus,
            feed_ground_a=feed_ground,
            supply_a=supply_a,
            supply_terminal_volt=terminals[:supplies] - terminals[supplies : 2 * supplies],
            supply_ground_volt=terminals[supplies : 2 * supplies],
            wire_loss_w=loss,
            steps=steps,
            residual_a=residual,
        )


def _join(parts: Sequence[Floats]) -> Floats:
    return np.concatenate([np.zeros(0), *parts])
