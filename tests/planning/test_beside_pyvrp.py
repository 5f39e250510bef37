"""Plans of 1 to 4 chains beside those of PyVRP (Wouda, Lan and Kool 2024), a solver of vehicle routing written by others.

A chain is a vehicle's route: all from one depot, one seat of load each, and the way back costs nothing. PyVRP counts whole
numbers: hundredths of a millimetre here. It is a heuristic too: neither has to be the best, our bound says how far ours can be
from it. PyVRP may leave a vehicle unused where a plan of ours may not; the draws are so tight that all are needed.
"""

from __future__ import annotations

import numpy as np
import pytest
from pyvrp import Model
from pyvrp.stop import MaxIterations

from probe.planning.bound import proved
from probe.planning.search import Network, SeatOrder, TourSearch, first_order
from tests.planning.networks import drawn
from tests.support.examples import first_now

_PARTS = 100
"""Of a millimetre, that PyVRP counts in."""


def by_pyvrp(network: Network, *, iterations: int, seed: int) -> SeatOrder:
    """The order of seats that PyVRP finds. All chains have to begin at the same point."""
    assert np.ptp(network.enter_mm, axis=0).max() == 0
    model = Model()
    points = [model.add_location(0, 0) for _ in range(network.seats + 1)]
    depot = model.add_depot(points[0])
    model.add_vehicle_type(network.chains, capacity=network.largest, start_depot=depot, end_depot=depot)
    for point in points[1:]:
        model.add_client(point, delivery=1)
    enter = np.rint(network.enter_mm[0] * _PARTS).astype(int).tolist()
    between = np.rint(network.between_mm * _PARTS).astype(int).tolist()
    for seat in range(network.seats):
        model.add_edge(points[0], points[1 + seat], distance=enter[seat])
        model.add_edge(points[1 + seat], points[0], distance=0)
        for other in range(network.seats):
            if other != seat:
                model.add_edge(points[1 + seat], points[1 + other], distance=between[seat][other])
    found = model.solve(MaxIterations(iterations), seed=seed, display=False)
    assert found.is_feasible()
    return tuple(tuple(stop.idx for stop in route if stop.is_client()) for route in found.best.routes())


def draw(seats: int, chains: int, seed: int) -> Network:
    """Chains that carry a tenth more than their share, from one start: fewer than all of them do not carry the seats."""
    largest = seats if chains == 1 else -(-seats // chains) * 11 // 10
    assert (chains - 1) * largest < seats
    return drawn(seats, chains, seed, largest=largest, one_start=True)


@pytest.mark.parametrize(
    ("chains", "within"),
    first_now([(1, 0.0), (2, 0.02), (3, 0.03), (4, 0.03)], several=True),
)
def test_a_plan_is_within_so_much_of_what_pyvrp_finds(chains: int, within: float) -> None:
    network = draw(40, chains, chains)
    theirs = by_pyvrp(network, iterations=1_000, seed=1)
    assert network.allows(theirs)
    search = TourSearch(network, first_order(network))
    search.improve(1_500)
    proof = proved(network, search.order, rounds=40)
    assert network.allows(proof.order)
    assert proof.cost_mm <= network.cost_mm(theirs) * (1 + within) + 0.5
    assert proof.bound_mm <= network.cost_mm(theirs) + 0.5


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seats", "chains", "within"), [(108, 1, 0.005), (100, 2, 0.02), (100, 4, 0.03), (200, 1, 0.005), (280, 1, 0.01)]
)
def test_large_plans_are_within_so_much_of_what_pyvrp_finds(seats: int, chains: int, within: float) -> None:
    network = draw(seats, chains, 3)
    theirs = network.cost_mm(by_pyvrp(network, iterations=2_000, seed=1))
    search = TourSearch(network, first_order(network))
    search.improve(3_000)
    proof = proved(network, search.order, rounds=12)
    assert proof.cost_mm <= theirs * (1 + within)
    assert proof.bound_mm <= theirs + 0.5
