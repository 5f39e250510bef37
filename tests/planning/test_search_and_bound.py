"""Orders of seats: nothing better is left, nothing is proved that is not so, and no order is below a bound."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import OptimizeResult, linprog

from probe.planning.bound import Ints, Prover, _Cut, proved
from probe.planning.search import NEVER_MM, Network, SeatOrder, TourSearch, first_order, improved, nearest_neighbour
from tests.planning.networks import Array, brute_force, drawn, least_cost
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


def _as_answer(prover: Prover, order: SeatOrder) -> Array:
    """An order as the linear programme's variables over all pairs: pairs, first seats, ends."""
    network = prover.network
    table = np.zeros((network.seats, network.seats))
    first, ends = np.zeros((network.chains, network.seats)), np.zeros(network.seats)
    for chain, seats in enumerate(order):
        first[chain, seats[0]] = 1
        ends[seats[-1]] += 1
        for a, b in pairwise(seats):
            table[min(a, b), max(a, b)] = 1
    return np.concatenate((table[np.triu_indices(network.seats, 1)], first.ravel(), ends))


@pytest.mark.parametrize(("seats", "chains", "seed"), [(30, 1, 1), (60, 1, 2), (24, 2, 3), (24, 3, 4)])
def test_every_constraint_that_is_added_holds_for_every_order(seats: int, chains: int, seed: int) -> None:
    # constraints that cut off an order would make a bound that is too high
    network = drawn(seats, chains, seed, largest=-(-seats // chains) + 1)
    prover = Prover(network, first_order(network))
    chance = random.Random(seed)
    held: set[object] = set()
    for _ in range(25):
        prover.step()
        if prover.proved or prover.stuck:
            break
        _, equal, right, cuts, most = prover._programme(np.arange(seats * (seats - 1) // 2))
        held |= set(prover._cuts)
        orders = [prover.order, *(_drawn_order(network, prover.order, chance) for _ in range(40))]
        for order in orders:
            assert network.allows(order)
            answer = _as_answer(prover, order)
            assert np.allclose(equal @ answer, right)  # type: ignore[operator]
            assert cuts is None or (cuts @ answer <= most + 1e-6).all()  # type: ignore[operator]
    assert held


@pytest.mark.parametrize(("seats", "chains", "seed"), [(40, 1, 1), (60, 1, 3), (30, 2, 3)])
def test_teeth_of_a_comb_do_not_touch_each_other(seats: int, chains: int, seed: int) -> None:
    # Grötschel and Padberg 1979: else the wire across their rims is counted twice
    network = drawn(seats, chains, seed, largest=seats)
    prover = Prover(network, first_order(network))
    (line,) = prover.order[:1]
    for size in (3, 4):
        for at in range(len(line) - size + 1):
            prover._add(
                _Cut(frozenset(line[at : at + size]), size - 1)
            )  # each is entered once: all of them may be teeth
    one, other = np.triu_indices(seats, 1)
    prover._add_wide_combs(one, other, _as_answer(prover, prover.order))
    for _ in range(12):
        prover.step()
    for cut in prover._cuts.values():
        if cut.wide:
            teeth = [seat for tooth in cut.wide for seat in tooth]
            teeth += {seat for pair in cut.teeth for seat in pair if 0 <= seat < seats}
            assert len(set(teeth)) == len(teeth)


def _worst_handle(network: Network, share: Array, first: Array, ends: Array) -> float:
    """The least that pairs out of a handle lack to be whole or none with an odd number of them whole, over all handles."""
    seats, chains = network.seats, network.chains
    weight = np.zeros((seats + chains + 1, seats + chains + 1))
    weight[:seats, :seats] = share
    weight[seats : seats + chains, :seats] = first
    weight[:seats, -1] = ends
    weight[seats : seats + chains, -1] = 1.0
    weight = np.triu(np.maximum(weight, weight.T), 1)
    least = np.inf
    for some in range(1, 1 << (seats + chains)):
        inside = np.array([bool(some >> node & 1) for node in range(seats + chains)] + [False])
        across = weight[np.logical_xor.outer(inside, inside)]
        total = np.minimum(across, 1 - across).sum()
        if (across > 0.5).sum() % 2 == 0:
            total += np.abs(1 - 2 * across).min()
        least = min(least, float(total))
    return least


@pytest.mark.parametrize("chains", [1, 2])
def test_a_handle_with_an_odd_number_of_pairs_out_of_it_is_found_wherever_there_is_one(chains: int) -> None:
    # against all handles of seats and starts; what is found must hold for orders
    seats, found, chance = 8, 0, random.Random(chains)
    one, other = np.triu_indices(seats, 1)
    for seed in range(24):
        price = np.random.default_rng(seed).uniform(1, 100, (seats, seats))  # no playfield: answers are broken more
        price += price.T
        network = Network(price, np.random.default_rng(seed).uniform(1, 50, (chains, seats)), seats)
        prover = Prover(network, first_order(network))
        values = np.asarray(prover._solved(np.arange(len(one))).x)  # with no constraint yet but two neighbours for each
        share = np.zeros((seats, seats))
        share[one, other] = values[: len(one)]
        first = values[len(one) : len(one) + chains * seats].reshape(chains, seats)
        worst = _worst_handle(network, share, first, values[len(one) + chains * seats :])
        prover._cuts.clear()
        prover._add_blossoms(one, other, values)
        assert bool(prover._cuts) == (worst < 0.98), (seed, worst)
        found += bool(prover._cuts)
        if prover._cuts:
            *_, cuts, most = prover._programme(np.arange(len(one)))
            assert (cuts @ values > most + 1e-3).all()
            for _ in range(60):
                answer_of = _as_answer(prover, _drawn_order(network, prover.order, chance))
                assert (cuts @ answer_of <= most + 1e-6).all()  # type: ignore[operator]
    assert found


@settings(max_examples=examples(20), deadline=None)
@given(st.integers(2, 8), st.integers(0, 10_000))
def test_the_tree_alone_finds_the_best_of_all(seats: int, seed: int) -> None:
    network = drawn(seats, 1, seed)
    prover = Prover(network, (tuple(range(seats)),))
    prover.stuck, prover._open = True, [(0.0, 0, ())]  # nothing is known of the whole
    setattr(prover, "_try", lambda *_: None)  # noqa: B010 and no search finds by chance what the tree has lost
    for _ in range(400):
        if prover.proved:
            break
        prover.step()
        assert prover.bound_mm <= least_cost(network) + 1e-4
    assert prover.proved
    assert prover.cost_mm == pytest.approx(least_cost(network), abs=1e-4)


@pytest.mark.parametrize("seed", [8, 10, 16])
def test_a_tree_that_has_to_branch_loses_no_order(seed: int) -> None:
    """Costs by chance; constraints are looked for only in answers in whole numbers: every broken one is taken in two."""
    chance, seats = np.random.default_rng(seed), 12
    costs = np.triu(chance.uniform(1, 100, (seats, seats)), 1)
    network = Network(costs + costs.T, chance.uniform(0, 50, (1, seats)), seats)
    prover = Prover(network, (tuple(range(seats)),))
    prover.stuck, prover._open = True, [(0.0, 0, ())]
    prover._in[:] = True  # then what both ways cost at least is told by the parts themselves
    violated = prover._violated

    def only_of_whole(pairs: Ints, values: Array) -> int:
        return violated(pairs, values) if np.abs(values - np.rint(values)).max() < 1e-6 else 0

    setattr(prover, "_try", lambda *_: None)  # noqa: B010
    setattr(prover, "_violated", only_of_whole)  # noqa: B010
    least = least_cost(network)
    for _ in range(100):
        if prover.proved:
            break
        prover.step()
        assert prover.bound_mm <= least + 1e-4
    assert prover.proved
    assert prover._parts >= 2, "it branched"
    assert prover.cost_mm == pytest.approx(least, abs=1e-4)


def _drawn_order(network: Network, near: SeatOrder, chance: random.Random) -> SeatOrder:
    """An order that is like a good one, or like none: seats exchanged, and chains joined up and cut otherwise."""
    line = [seat for seats in near for seat in seats]
    for _ in range(chance.choice((0, 1, 2, 5, 200))):
        a, b = sorted(chance.sample(range(len(line) + 1), 2))
        line[a:b] = line[a:b][::-1]
    sizes = [1] * network.chains
    while sum(sizes) < len(line):
        at = chance.randrange(network.chains)
        sizes[at] += sizes[at] < network.largest
    cuts = np.cumsum([0, *sizes]).tolist()
    return tuple(tuple(line[a:b]) for a, b in pairwise(cuts))


# -- what the solver says ------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("chains", [1, 3])
def test_the_bound_that_the_solver_states_follows_from_its_prices(chains: int) -> None:
    # A linear programme's dual prices y bound it from below whatever their size: b·y + the least of (c - A'y)·x within x's
    # bounds (Neumaier and Shcherbina, Safe bounds in linear and mixed-integer linear programming, 2004)
    for seed in range(3):
        network = drawn(24, chains, seed, largest=24, one_start=False)
        prover = Prover(network, first_order(network))
        while not prover.stuck and not prover.proved:
            prover.step()
        pairs = np.flatnonzero(prover._in & prover._allowed)
        costs, equal, right, cuts, most = prover._programme(pairs)
        found = prover._solved(pairs)
        left = costs - equal.T @ found.eqlin.marginals  # type: ignore[attr-defined]
        follows = right @ found.eqlin.marginals
        if cuts is not None:
            prices = np.minimum(found.ineqlin.marginals, 0.0)
            left = left - cuts.T @ prices  # type: ignore[attr-defined]
            follows += most @ prices
        follows += np.minimum(left, 0.0) @ prover._most(pairs, len(costs))
        assert follows == pytest.approx(found.fun, abs=1e-6 * network.seats), seed


def test_what_no_plan_can_keep_to_is_said_at_the_first_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []
    monkeypatch.setattr("scipy.optimize.linprog", _answering(asked, gives_up=0))
    prover = Prover(network := drawn(8, 1, 1, largest=8), first_order(network))
    pairs = np.arange(len(prover._one))
    three_at_one_seat = tuple((int(prover._number_of[0, other]), 1) for other in (1, 2, 3))
    assert prover._solved(pairs, three_at_one_seat) is None
    assert asked == [False], "asked once, and not simplified first"


def test_a_programme_that_the_solver_gives_up_is_tried_once_more_and_then_said(monkeypatch: pytest.MonkeyPatch) -> None:
    prover = Prover(network := drawn(8, 1, 1, largest=8), first_order(network))
    pairs = np.arange(len(prover._one))
    sound = prover._solved(pairs).fun
    asked: list[bool] = []
    monkeypatch.setattr("scipy.optimize.linprog", _answering(asked, gives_up=1))
    assert prover._solved(pairs).fun == pytest.approx(sound)
    assert asked == [False, True]
    monkeypatch.setattr("scipy.optimize.linprog", _answering([], gives_up=2))
    with pytest.raises(ArithmeticError, match="was not solved: out of breath"):
        prover.step()


def _answering(asked: list[bool], *, gives_up: int) -> Callable[..., OptimizeResult]:
    """The solver, that gives up the first so many times."""

    def answer(*given: Any, options: dict[str, bool], **named: Any) -> OptimizeResult:
        asked.append(options["presolve"])
        if len(asked) <= gives_up:
            return OptimizeResult(status=4, message="out of breath")
        return linprog(*given, options=options, **named)

    return answer


def test_a_programme_without_an_answer_is_no_bound() -> None:
    prover = Prover(network := drawn(8, 1, 1, largest=8), first_order(network))
    prover._allowed[:] = False  # though there is a plan
    with pytest.raises(ArithmeticError, match="has no answer, and there is a plan"):
        prover.step()
    assert not prover.proved
    assert prover.bound_mm == 0


def test_whole_numbers_that_are_no_plan_are_no_proof(monkeypatch: pytest.MonkeyPatch) -> None:
    prover = Prover(network := drawn(6, 1, 1, largest=6), first_order(network))
    monkeypatch.setattr(prover, "_violated", lambda *_: 0)  # as if a ring beside the chain went unnoticed
    pairs = np.arange(len(prover._one))
    values = np.zeros(len(pairs) + 2 * network.seats)
    for one, other in ((0, 1), (1, 2), (3, 4), (3, 5), (4, 5)):
        values[prover._number_of[one, other]] = 1
    values[len(pairs)] = values[len(pairs) + network.seats + 2] = 1
    prover._part = (0.0, 0, ())
    with pytest.raises(ArithmeticError, match="in whole numbers is no plan"):
        prover._two_ways(pairs, values, 0.0)
    assert not prover.proved
