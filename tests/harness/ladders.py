"""Building textbook ladders for the tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from probe.harness.network import Circuit, FeedTap, Floats, Ladder, PixelLoads, SolvedCircuit, Source, solve


@dataclass(frozen=True)
class Distributor:
    """A solved two-wire line: load positions in m, volts at each, ampere from each end."""

    at_m: Floats
    volt: Floats
    end_a: Floats
    solution: SolvedCircuit

    def at(self, place_m: float) -> float:
        """Volts at the load there."""
        return float(self.volt[int(np.argmin(np.abs(self.at_m - place_m)))])

    @property
    def sections_a(self) -> list[float]:
        """Ampere in each stretch from the first end, feed wires included."""
        state = self.solution.ladders[0]
        inner = [float(a) for a in state.plus_section_a]
        last = [-float(self.end_a[1])] if len(self.end_a) > 1 else []
        return [float(self.end_a[0]), *inner, *last]


def distributor(
    *,
    loads: Sequence[tuple[float, float]],
    length_m: float,
    loop_ohm_per_m: float,
    end_volt: Sequence[float],
    ground_share: float = 0.5,
) -> Distributor:
    """Solve a line with (position m, A) loads, fed at 0 and, with two voltages, also at `length_m`.

    `ground_share` of the loop resistance lies in the return wire: the answer must not depend on it.
    """
    places = sorted(loads)
    at_m = np.array([p for p, _ in places])
    current_a = np.array([a for _, a in places])
    gaps = np.diff(at_m) * loop_ohm_per_m
    ladder = Ladder(
        loads=PixelLoads.constant(current_a),
        plus_ohm=gaps * (1 - ground_share),
        ground_ohm=gaps * ground_share,
        name="line",
    )
    leads = [(0, at_m[0] * loop_ohm_per_m), (len(places) - 1, (length_m - at_m[-1]) * loop_ohm_per_m)]
    taps = [
        FeedTap(
            chain=0,
            pixel=pixel,
            supply=end,
            plus_ohm=float(ohm) * (1 - ground_share),
            ground_ohm=float(ohm) * ground_share,
        )
        for end, (pixel, ohm) in enumerate(leads[: len(end_volt)])
    ]
    solution = solve(Circuit(ladders=[ladder], taps=taps, sources=[Source(volt=v) for v in end_volt]))
    return Distributor(at_m=at_m, volt=solution.ladders[0].volt, end_a=solution.feed_plus_a, solution=solution)


def spread(*, amp_per_m: float, from_m: float, to_m: float, step_m: float) -> list[tuple[float, float]]:
    """A uniform load as many small ones, each in the middle of its piece."""
    pieces = round((to_m - from_m) / step_m)
    return [(from_m + (k + 0.5) * step_m, amp_per_m * step_m) for k in range(pieces)]
