"""Where one more feed helps most."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from probe.harness.circuit import FeedTap
from probe.harness.network import solve
from probe.harness.plan import LoadState, PowerPlan, circuit
from probe.harness.report import solve_circuit
from probe.harness.results import Spot

COARSE_PLACES: Final = 17


@dataclass(frozen=True, slots=True)
class FeedSuggestion:
    """One more feed: where, from which supply, and the lowest pixel of that chain before and after."""

    chain: str
    pixel: int
    supply: str
    before: Spot
    after: Spot


def suggest_feed(
    plan: PowerPlan,
    *,
    state: LoadState = LoadState.CEILING,
    lead_ohm: float | None = None,
) -> FeedSuggestion | None:
    """Best place for one more feed on the chain with the lowest pixel; None if no place gains a millivolt.

    The new feed's wires take `lead_ohm` each, by default as the best feed of that chain. It comes from the supply of
    the nearest feed on the same unbroken piece of 5 V wire, so that two supplies are never joined. Evenly spaced
    places are tried first, then those between the best one's neighbours: exact for chains of up to 17 pixels and for a
    gain with one peak along the chain. Raises PowerError if the plan makes no circuit.
    """
    net = circuit(plan, state)
    before = solve_circuit(net)
    lows = [float(rail.volt.min()) for rail in before.rails]
    number = int(np.argmin(lows))
    chain, volt = plan.chains[number], before.rails[number].volt
    lowest = Spot(chain=chain.name, pixel=int(np.argmin(volt)), volt=lows[number])
    cuts = sorted(chain.plus_cut_after)
    first = max((cut + 1 for cut in cuts if cut < lowest.pixel), default=0)
    last = min((cut for cut in cuts if cut >= lowest.pixel), default=chain.count - 1)
    own = [tap for tap in net.taps if tap.chain == number and first <= tap.pixel <= last]
    leads = [(lead_ohm, lead_ohm)] if lead_ohm is not None else [(tap.plus_ohm, tap.ground_ohm) for tap in own]
    plus_ohm, ground_ohm = min(leads, key=sum)
    tried: dict[int, tuple[float, float, Spot, FeedTap]] = {}

    def score(pixel: int) -> tuple[float, float]:
        if pixel not in tried:
            nearest = min(own, key=lambda tap: abs(tap.pixel - pixel))
            tap = FeedTap(chain=number, pixel=pixel, supply=nearest.supply, plus_ohm=plus_ohm, ground_ohm=ground_ohm)
            answer = solve(rails=net.rails, taps=(*net.taps, tap), sources=net.sources, links=net.links)
            new = answer.rails[number].volt
            spot = Spot(chain=chain.name, pixel=int(np.argmin(new)), volt=float(new.min()))
            tried[pixel] = (spot.volt, float(new.mean()), spot, tap)
        return tried[pixel][:2]

    low, high = first, last
    while True:
        places = sorted({round(p) for p in np.linspace(low, high, min(COARSE_PLACES, high - low + 1))})
        best = max(places, key=score)
        if len(places) == high - low + 1:
            break
        at = places.index(best)
        low, high = places[max(at - 1, 0)], places[min(at + 1, len(places) - 1)]
    best = max(tried, key=lambda p: tried[p][:2])
    _, _, spot, tap = tried[best]
    if spot.volt - lowest.volt < 1e-3:
        return None
    return FeedSuggestion(
        chain=chain.name,
        pixel=best,
        supply=plan.supplies[tap.supply].name,
        before=lowest,
        after=replace(spot),
    )
