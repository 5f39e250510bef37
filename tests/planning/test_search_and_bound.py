"""Orders of seats: nothing better is left, nothing is proved that is not so, and no order is below a bound."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.planning.bound import Prover, proved
from probe.planning.search import NEVER_MM, Network, TourSearch, first_order, improved, nearest_neighbour
from tests.planning.networks import brute_force, drawn, least_cost
from tests.support.examples import examples


def _small(seats: int, chains: int, seed: int) -> Network:
    room = -(-seats // chains) + seed % 3
    return drawn(seats, chains, seed, largest=min(room, seats), one_start=seed % 2 == 0)


def test_the_two_ways_of_trying_all_agree() -> None:
    for seed in range(6):
        network = _small(5, 1 + seed % 3, seed)
        cost, order = brute_force(network)
        assert network.allows(order)
        assert cost == pytest.approx(least_cost(network), abs=1e-6)


@pytest.mark.slow
@settings(max_examples=examples(60), deadline=None)
@given(st.integers(1, 9), st.integers(1, 3), st.integers(0, 10_000))
def test_up_to_nine_seats_on_one_to_three_chains_the_proved_order_is_the_best_of_all(
    seats: int, chains: int, seed: int
) -> None:
    network = _small(max(seats, chains), chains, seed)
    proof = proved(network, first_order(network))
    assert proof.proved
    assert network.allows(proof.order)
    assert network.cost_mm(proof.order) == pytest.approx(proof.cost_mm)
    assert proof.cost_mm == pytest.approx(least_cost(network), abs=1e-4)


@settings(max_examples=examples(40), deadline=None)
@given(st.integers(2, 40), st.integers(1, 4), st.integers(0, 10_000), st.integers(0, 60))
def test_a_search_keeps_every_seat_and_its_own_account(seats: int, chains: int, seed: int, kicks: int) -> None:
    chains = min(chains, seats)
    network = drawn(seats, chains, seed, largest=-(-seats // chains) + seed % 3)
    order = first_order(network)
    assert network.allows(order)
    search = TourSearch(network, order, seed=seed)
    begun = search.cost_mm
    search.improve(kicks)
    assert network.allows(search.order)
    assert search.cost_mm == pytest.approx(network.cost_mm(search.order))
    assert search.cost_mm <= begun + 1e-6
    assert begun <= network.cost_mm(order) + 1e-6


@pytest.mark.slow
@settings(max_examples=examples(15), deadline=None)
@given(st.integers(10, 30), st.integers(1, 3), st.integers(0, 10_000))
def test_a_bound_only_rises_and_no_order_ever_found_is_below_it(seats: int, chains: int, seed: int) -> None:
    network = drawn(seats, chains, seed, largest=-(-seats // chains) + 1)
    best = improved(network, first_order(network), kicks=200, seed=seed)
    prover = Prover(network, first_order(network))
    last = 0.0
    for _ in range(60):
        prover.step()
        assert prover.bound_mm >= last - 1e-9
        last = prover.bound_mm
        assert prover.proof.bound_mm <= min(network.cost_mm(best), prover.cost_mm) + 1e-3
        if prover.proved:
            break


def test_the_nearest_neighbour_is_what_it_says() -> None:
    network = drawn(30, 1, 5)
    (order,) = nearest_neighbour(network)
    assert order[0] == int(network.enter_mm[0].argmin())
    for at, seat in enumerate(order[:-1]):
        rest = [other for other in range(30) if other not in order[: at + 1]]
        assert network.between_mm[seat, order[at + 1]] == network.between_mm[seat, rest].min()


def test_a_forbidden_stretch_is_not_taken_and_a_pinned_one_is() -> None:
    network = drawn(12, 1, 3)
    (order,) = proved(network, first_order(network)).order
    never = network.between_mm.copy()
    never[order[3], order[4]] = never[order[4], order[3]] = NEVER_MM
    (other,) = proved(Network(never, network.enter_mm, 12), (order,)).order
    assert abs(other.index(order[3]) - other.index(order[4])) > 1
    far = int(network.between_mm[order[0]].argmax())
    pinned = network.between_mm.copy()
    pinned[order[0], far] = pinned[far, order[0]] = -100_000.0
    found = proved(Network(pinned, network.enter_mm, 12), (order,))
    assert found.proved
    assert abs(found.order[0].index(order[0]) - found.order[0].index(far)) == 1


@pytest.mark.parametrize(
    ("seats", "chains", "largest", "words"),
    [(2, 3, 9, "as many seats as chains"), (9, 2, 4, "more than 2 chains of 4 carry")],
)
def test_what_no_order_can_be_is_refused_in_words(seats: int, chains: int, largest: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Network(np.zeros((seats, seats)), np.zeros((chains, seats)), largest)
