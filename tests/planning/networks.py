"""Networks to plan, drawn at random, and the best order of a small one by trying all of them."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
import numpy.typing as npt

from probe.planning.search import Network, SeatOrder

Array = npt.NDArray[np.float64]


def network_of(points: Array, starts: Array, largest: int | None = None) -> Network:
    """Straight distances between points, shape (n, 2), and from the starts of the chains."""
    between = np.hypot(*(points[:, None] - points[None, :]).transpose(2, 0, 1))
    enter = np.hypot(*(starts[:, None] - points[None, :]).transpose(2, 0, 1))
    return Network(between, enter, len(points) if largest is None else largest)


def drawn(seats: int, chains: int, seed: int, *, largest: int | None = None, one_start: bool = False) -> Network:
    """Seats on a playfield of 500 × 1,000 mm, drawn evenly."""
    rng = np.random.default_rng(seed)
    points = rng.uniform((0, 0), (500, 1_000), (seats, 2))
    starts = rng.uniform((0, 0), (500, 1_000), (chains, 2))
    if one_start:
        starts[:] = starts[0]
    return network_of(points, starts, largest)


def brute_force(network: Network) -> tuple[float, SeatOrder]:
    """The best order, by trying all of them."""
    sizes = _all_sizes(network.seats, network.chains, network.largest)
    best = float("inf")
    found: SeatOrder = ()
    for seats in permutations(range(network.seats)):
        for counts in sizes:
            cuts = np.cumsum([0, *counts]).tolist()
            order = tuple(seats[a:b] for a, b in pairwise(cuts))
            cost = network.cost_mm(order)
            if cost < best:
                best, found = cost, order
    return best, found


def least_cost(network: Network) -> float:
    """What the best order costs, over subsets of the seats (Bellman 1962, Held and Karp 1962): up to about nine seats."""
    seats, chains = network.seats, network.chains
    full = 1 << seats
    of_chain = []
    for chain in range(chains):
        ends = np.full((full, seats), np.inf)
        for seat in range(seats):
            ends[1 << seat, seat] = network.enter_mm[chain, seat]
        for some in range(1, full):
            for last in np.flatnonzero(np.isfinite(ends[some])).tolist():
                for seat in range(seats):
                    if not some >> seat & 1:
                        cost = ends[some, last] + network.between_mm[last, seat]
                        ends[some | 1 << seat, seat] = min(ends[some | 1 << seat, seat], cost)
        least = ends.min(axis=1)
        least[[some.bit_count() > network.largest for some in range(full)]] = np.inf
        of_chain.append(least)
    total = of_chain[0]
    for least in of_chain[1:]:
        joined = np.full(full, np.inf)
        for some in range(1, full):
            part = some
            while part:
                joined[some] = min(joined[some], total[some ^ part] + least[part])
                part = (part - 1) & some
        total = joined
    return float(total[full - 1])


def _all_sizes(seats: int, chains: int, largest: int) -> list[tuple[int, ...]]:
    if chains == 1:
        return [(seats,)] if 1 <= seats <= largest else []
    return [
        (size, *rest)
        for size in range(1, min(largest, seats - chains + 1) + 1)
        for rest in _all_sizes(seats - size, chains - 1, largest)
    ]
