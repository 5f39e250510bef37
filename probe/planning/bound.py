"""How far a plan can be from the best: lower bounds and proofs by linear and integer programming (HiGHS, in scipy).

Variables: whether two seats are neighbours, whether a seat is the first of a chain, and whether it is an end. Each seat has
two of these, each chain one first seat. Added as they are violated, for sets S of seats:

- neighbours within S ≤ |S| - (chains that S needs at the least, from the most seats of a chain): no ring, no chain too long
  (Dantzig, Fulkerson and Johnson 1954; rounded capacities as Laporte and Nobert 1983);
- wire into S ≥ 1: with several chains, no piece without a start;
- combs, of pairs (all of them: Padberg and Rao 1982) and of sets that are entered only once (Edmonds 1965, Grötschel and Padberg 1979).

Any linear programme with some of these constraints is a lower bound. It begins with few pairs of neighbours; the others are
priced by its dual values, and those that would lower it come in, so that the bound holds for all pairs. What is too dear to be in any
better plan is left out for good (reduced cost above the gap). What is still open then, one chain proves in a tree of its own: a broken
variable is 0 or 1, and each way has constraints added until its bound is above what the best plan costs. Several chains, whose starts may be
exchanged in such a tree, go to the integer programme, again with constraints added until the answer is a plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import pairwise
from math import ceil
from typing import Any

import numpy as np
import numpy.typing as npt

from probe.planning.search import NEVER_MM, Network, SeatOrder, first_order, improved

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int_]

_Fixed = tuple[tuple[int, int], ...]
"""Variables and what they are fixed at: a pair's number, or -1 and below for first seats and ends."""

_EPSILON = 1e-6
_CANDIDATES = 4
_FEW_PAIRS = 8
_ROUNDS, _TIRED_AFTER, _TIRED = 12, 5, 0.04
"""A programme is tired when so many rounds raised its bound by less than this share of what is open."""
_NEIGHBOURS = 6
_SUPPORT = 1e-6
_IDLE = 8
_MOST_GROWN = 25
_LEAST_COMB = 0.02
_PARTS = 1_000_000
_LARGEST_HANDLE = 30
_MOST_HANDLES = 2_500
_SLOW = 0.05
_FIRST_NODES = 500
_INFEASIBLE = 2
_GUIDED_KICKS = 20
_EXACT, _LOOSE = 1e-9, 0.3
"""The gap down to which an integer programme is solved; at first a share of what is open, for what it violates is wanted soon."""
_WORTH_TRYING = 0.002


@dataclass(frozen=True)
class OrderProof:
    """What is known of the best: its cost is at least `bound_mm`. `order` is the best found, `cost_mm` what it costs.

    `proved`: no other costs less (by more than a millionth of a millimetre for each seat).
    """

    order: SeatOrder
    cost_mm: float
    bound_mm: float
    proved: bool

    @property
    def gap(self) -> float:
        """How much more than the bound the order costs at the most, as a share of the bound."""
        return max(0.0, self.cost_mm / self.bound_mm - 1) if self.bound_mm > 0 else 0.0


@dataclass(eq=False)
class _Cut:
    """A constraint: pairs within `seats`, within the sets `wide`, and `teeth`, are at most `limit`; or, `entered`: wire gets in at all.

    The start of a chain may be in a set, as the number after the seats' plus the chain: its first seat is a neighbour then. A tooth (-1 - chain, seat) is a first seat, (seat, number of seats) an end. `idle`: answers since it last mattered.
    """

    seats: frozenset[int]
    limit: float
    teeth: frozenset[tuple[int, int]] = frozenset()
    wide: frozenset[frozenset[int]] = frozenset()
    entered: bool = False
    idle: int = 0

    @property
    def key(self) -> object:
        """What it is known by."""
        return self.seats, self.teeth, self.wide, self.entered


class Prover:
    """Works out a bound for a network, and raises it step by step. Every call of `step` does one round of work."""

    def __init__(self, network: Network, order: SeatOrder) -> None:
        self.network = network
        self.order, self.cost_mm = order, network.cost_mm(order)
        self.bound_mm = 0.0
        self.proved = False
        self.stuck = False
        """Whether the linear bound is as high as it gets: what follows is integer work."""
        self._reduced: tuple[float, Array, Array] | None = None
        """The last linear bound over all pairs, and what each pair and first seat costs beyond it."""
        self._nodes = _FIRST_NODES
        self._loose = _LOOSE * 0.01
        self._guided = 0.0
        self._raised: list[float] = []
        """The bound after each linear programme of the whole."""
        self._open: list[tuple[float, int, _Fixed]] = []
        """Parts of the tree that are open: bound, number, what is fixed there."""
        self._part: tuple[float, int, _Fixed] | None = None
        """The part in work, and how its bound rose."""
        self._risen: list[float] = []
        self._parts = 0
        self._slow = False
        """Whether the last answer raised the bound by little of what is open."""
        self._cuts: dict[object, _Cut] = {}
        self._one, self._other = np.triu_indices(network.seats, 1)
        self._price = network.between_mm[self._one, self._other]
        self._number_of = np.zeros((network.seats, network.seats), dtype=int)
        self._number_of[self._one, self._other] = np.arange(len(self._one))
        self._in = self._begin_with()
        self._allowed = self._price < NEVER_MM / 2
        self._enter_allowed = network.enter_mm < NEVER_MM / 2
        if network.chains > 1 and network.chains * network.largest < network.seats + network.largest:
            self._add(_Cut(frozenset(range(network.seats)), network.seats - network.chains))

    @property
    def proof(self) -> OrderProof:
        """What is known now."""
        return OrderProof(self.order, self.cost_mm, min(self.bound_mm, self.cost_mm), self.proved)

    def improve_with(self, order: SeatOrder) -> None:
        """Take another order if it costs less."""
        cost = self.network.cost_mm(order)
        if cost < self.cost_mm - 1e-9:
            self.order, self.cost_mm = order, cost
            self._leave_out()
            self._done_if_closed()

    def step(self) -> None:
        """One round: the linear programme with its cuts and prices, or, once that is stuck, the integer programme."""
        if self.proved:
            return
        if self.network.seats == 1:
            self.bound_mm, self.proved = self.cost_mm, True
            return
        self._forget()
        if self.stuck:
            self._tree_round() if self.network.chains == 1 else self._integer_round()
        else:
            self._linear_round()
        self._done_if_closed()

    def _done_if_closed(self) -> None:
        if self.bound_mm >= self.cost_mm - _EPSILON * self.network.seats:
            self.proved = True

    # -- the linear programme ------------------------------------------------------------------------------------------

    def _begin_with(self) -> npt.NDArray[np.bool_]:
        seats = self.network.seats
        chosen = np.zeros((seats, seats), dtype=bool)
        near = np.argsort(self.network.between_mm + np.diag(np.full(seats, np.inf)), axis=1)[:, :_NEIGHBOURS]
        np.put_along_axis(chosen, near, True, axis=1)
        for chain in self.order:
            for a, b in pairwise(chain):
                chosen[a, b] = True
        chosen |= chosen.T
        return np.asarray(chosen[self._one, self._other])

    def _programme(self, pairs: Ints) -> tuple[Array, object, Array, object, Array]:
        """Costs, equalities and inequalities of the programme with these pairs: x (pairs), first (chains × seats), ends."""
        from scipy.sparse import coo_array, csr_array

        network = self.network
        seats, chains, count = network.seats, network.chains, len(pairs)
        firsts, ends = count, count + chains * seats
        width = ends + seats
        one, other = self._one[pairs], self._other[pairs]
        costs = np.concatenate((self._price[pairs], network.enter_mm.ravel(), np.zeros(seats)))
        every = np.arange(seats)
        rows = [one, other, np.tile(every, chains), every]
        columns = [np.arange(count), np.arange(count), np.arange(firsts, ends), np.arange(ends, width)]
        rows += [seats + np.repeat(np.arange(chains), seats), np.full(seats, seats + chains)]
        columns += [np.arange(firsts, ends), np.arange(ends, width)]
        row, column = np.concatenate(rows), np.concatenate(columns)
        equal = csr_array(coo_array((np.ones(len(row)), (row, column)), shape=(seats + chains + 1, width)))
        right = np.concatenate((np.full(seats, 2.0), np.ones(chains), [float(chains)]))
        cuts = list(self._cuts.values())
        if not cuts:
            return costs, equal, right, None, np.zeros(0)
        table = np.zeros((len(cuts), width))
        member, of_cut = self._members(cuts)
        starts = np.searchsorted(of_cut, np.arange(len(cuts)))
        entered = np.array([cut.entered for cut in cuts])
        table[:, :count] = np.add.reduceat((member[:, one] & member[:, other]).astype(float), starts, axis=0)
        for chain in range(chains):
            begins = firsts + chain * seats
            within = member[:, :seats] & member[:, seats + chain, None]
            table[:, begins : begins + seats] = np.add.reduceat(within.astype(float), starts, axis=0)
        crossed = member[starts[entered], :seats]
        table[entered, :count] = -1.0 * (crossed[:, one] ^ crossed[:, other])
        if entered.any():
            table[entered, firsts:ends] = -1.0 * np.tile(crossed, chains)
        column = np.full(len(self._one), -1)
        column[pairs] = np.arange(count)
        for at, cut in enumerate(cuts):
            for a, b in cut.teeth:
                where = (
                    firsts + (-1 - a) * seats + b
                    if a < 0
                    else ends + a
                    if b == seats
                    else column[self._number_of[a, b]]
                )
                if where >= 0:
                    table[at, where] += 1.0
        return costs, equal, right, csr_array(table), np.array([cut.limit for cut in cuts], dtype=float)

    def _members(self, cuts: list[_Cut]) -> tuple[npt.NDArray[np.bool_], Ints]:
        """Who is in each set of the constraints, and which constraint each set belongs to: its seats first, then the wide ones."""
        sets = [(at, some) for at, cut in enumerate(cuts) for some in (cut.seats, *cut.wide)]
        member = np.zeros((len(sets), self.network.seats + self.network.chains), dtype=bool)
        for row, (_, some) in zip(member, sets, strict=True):
            row[list(some)] = True
        return member, np.array([at for at, _ in sets])

    def _solved(self, pairs: Ints, fixed: _Fixed = (), *, programme: Any = None) -> Any:
        """The answer of the linear programme; None if there is none. Counts how long each constraint did nothing.

        `programme`: one made before, whose constraints are some of these.
        """
        from scipy.optimize import linprog

        costs, equal, right, cuts, most = self._programme(pairs) if programme is None else programme
        least, largest = np.zeros(len(costs)), self._most(pairs, len(costs))
        for variable, value in fixed:
            at = self._column(pairs, variable)
            if at >= 0:
                least[at] = largest[at] = value
            elif value:
                return None
        for presolve in (False, True):  # these are small: to simplify them takes longer than to solve them
            found = linprog(
                costs, A_ub=cuts, b_ub=most if cuts is not None else None, A_eq=equal, b_eq=right,
                bounds=np.column_stack((least, largest)), method="highs", options={"presolve": presolve},
            )  # fmt: skip
            if found.status in (0, _INFEASIBLE):
                break
        else:
            raise ArithmeticError(f"the linear programme was not solved: {found.message}")
        if found.status == _INFEASIBLE:
            return None
        if cuts is not None and programme is None:
            for cut, slack in zip(list(self._cuts.values()), found.ineqlin.residual, strict=True):
                cut.idle = cut.idle + 1 if slack > 1e-9 else 0
        return found

    def _column(self, pairs: Ints, variable: int) -> int:
        """Where a variable is in the programme with these pairs: a pair's number, or (below 0) a first seat or an end; -1 if nowhere."""
        if variable < 0:
            return len(pairs) - 1 - variable
        at = int(np.searchsorted(pairs, variable))
        return at if at < len(pairs) and pairs[at] == variable else -1

    def _most(self, pairs: Ints, width: int) -> Array:
        """Upper bounds of the variables."""
        most = np.ones(width)
        most[len(pairs) : len(pairs) + self._enter_allowed.size] = self._enter_allowed.ravel()
        return most

    def _forget(self) -> None:
        """Drop constraints that did not matter for long; they are found again where they do."""
        for key in [key for key, cut in self._cuts.items() if cut.idle > _IDLE]:
            del self._cuts[key]

    def _linear_round(self) -> None:
        last = self.bound_mm
        found = self._answer()
        if found is None:
            raise ArithmeticError("the linear programme has no answer, and there is a plan")
        pairs, values, bound, whole, reduced, first = found
        self._slow = bound - last < _SLOW * (self.cost_mm - bound)
        self.bound_mm = max(last, bound)
        if whole:
            self._reduced = (bound, reduced, first)
            self._leave_out()
        fresh = self._violated(pairs, values)
        if bound > self._guided + _WORTH_TRYING * self.cost_mm:
            self._guided = bound
            self._try(pairs, values)
        self._raised.append(self.bound_mm)
        tired = (
            self.network.chains == 1
            and len(self._raised) > _ROUNDS
            and (self.bound_mm - self._raised[-_TIRED_AFTER] < _TIRED * (self.cost_mm - self.bound_mm))
        )
        if whole and (tired or not fresh):
            self.stuck = True
            self._open = [(self.bound_mm, 0, ())]
            if self._allowed.sum() <= _FEW_PAIRS * self.network.seats:
                self._in |= self._allowed

    def _answer(self, fixed: _Fixed = ()) -> tuple[Ints, Array, float, bool, Array, Array] | None:
        """One linear programme: pairs, values, bound, whether no pair outside would lower it, and what pairs and firsts cost beyond.

        Pairs that would lower it come in. None if no plan keeps to what is `fixed`.
        """
        while True:
            pairs = np.flatnonzero(self._in & self._allowed)
            found = self._solved(pairs, fixed)
            if found is not None:
                break
            if len(pairs) == int(self._allowed.sum()):
                return None
            self._in |= self._allowed  # too few pairs for a plan: take all of them
        reduced = self._reduced_costs(found)
        cheap = np.flatnonzero(~self._in & self._allowed & (reduced < -1e-7))
        bound = float(found.fun) + float(reduced[cheap].sum())  # each pair outside is taken at most once
        if len(cheap):
            self._in[cheap[np.argsort(reduced[cheap])[: 10 * self.network.seats]]] = True
        firsts = np.asarray(found.lower.marginals[len(pairs) : len(pairs) + self._enter_allowed.size])
        return pairs, np.asarray(found.x), bound, not len(cheap), reduced, firsts.reshape(self._enter_allowed.shape)

    def _try(self, pairs: Ints, values: Array) -> None:
        """An order near an answer that is none: what it takes wholly is cheap, and a search goes on from there."""
        network = self.network
        seats, chains, count = network.seats, network.chains, len(pairs)
        share = np.zeros((seats, seats))
        share[self._one[pairs], self._other[pairs]] = values[:count]
        first = values[count : count + chains * seats].reshape(chains, seats)
        order = first_order(network, likely=np.maximum(share, share.T), likely_first=first)
        self.improve_with(improved(network, order, kicks=_GUIDED_KICKS))

    def _leave_out(self) -> None:
        """Leave out for good what is too dear to be in a better plan than the one there is."""
        if self._reduced is not None:
            bound, pairs, firsts = self._reduced
            gap = self.cost_mm - bound + 1e-6
            self._allowed &= ~(pairs > gap)
            self._enter_allowed &= firsts <= gap

    def _reduced_costs(self, found: object) -> Array:
        """Of every pair, from the dual values."""
        seats = self.network.seats
        dual = np.asarray(found.eqlin.marginals)[:seats]  # type: ignore[attr-defined]
        reduced = self._price - dual[self._one] - dual[self._other]
        prices = np.asarray(found.ineqlin.marginals) if self._cuts else np.zeros(0)  # type: ignore[attr-defined]
        cuts = [cut for cut, value in zip(self._cuts.values(), prices.tolist(), strict=True) if value]
        if cuts:
            of_each = prices[prices != 0]
            sets, of_cut = self._members(cuts)
            member, values = sets[:, :seats].astype(float), of_each[of_cut]
            entered = np.array([cut.entered for cut in cuts])[of_cut]
            within, crossed = member[~entered], member[entered]
            both = within.T @ (within * values[~entered, None])
            for cut, value in zip(cuts, of_each.tolist(), strict=True):
                for a, b in cut.teeth:
                    if a >= 0 and b < seats:
                        both[a, b] += value
            reduced -= both[self._one, self._other]
            if len(crossed):
                total = crossed.T @ (crossed * values[entered, None])
                alone = np.diag(total)
                crossing = alone[:, None] + alone[None, :] - 2 * total
                reduced += crossing[self._one, self._other]
        return np.asarray(reduced)

    # -- constraints that are violated ------------------------------------------------------------------------------

    def _add(self, cut: _Cut) -> None:
        self._cuts.setdefault(cut.key, cut)

    def _least_chains(self, size: int) -> int:
        return max(1, ceil(size / self.network.largest))

    def _violated(self, pairs: Ints, values: Array) -> int:
        """Add what this answer violates; gives how many were added."""
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        seats, chains, count = self.network.seats, self.network.chains, len(pairs)
        one, other = self._one[pairs], self._other[pairs]
        x = values[:count]
        first = values[count : count + chains * seats].reshape(chains, seats).sum(axis=0)
        ends = values[count + chains * seats :]
        before = len(self._cuts)
        for threshold in (_SUPPORT, 0.5 - 1e-6, 0.95):
            strong = x > threshold
            if not strong.any():
                continue
            graph = coo_array((x[strong], (one[strong], other[strong])), shape=(seats, seats))
            parts, label = connected_components(graph, directed=False)
            if parts > 1:
                self._add_sets((np.flatnonzero(label == part) for part in range(parts)), one, other, x, first)
        if len(self._cuts) == before:
            self._add_sets(self._small_cuts(one, other, x, first + ends), one, other, x, first)
        if len(self._cuts) == before or chains > 1:
            self._add_grown(one, other, x, first)
        if len(self._cuts) == before or self._slow:
            self._add_combs(one, other, values)
            if chains == 1:  # with several, room is what costs
                self._add_wide_combs(one, other, values)
        if len(self._cuts) == before:
            self._add_blossoms(one, other, values)
        return len(self._cuts) - before

    def _add_sets(self, sets: Iterable[Ints], one: Ints, other: Ints, x: Array, first: Array) -> None:
        for some in sets:
            if len(some) < 2 and self.network.chains == 1:
                continue
            member = np.zeros(self.network.seats, dtype=bool)
            member[some] = True
            inside = float(x[member[one] & member[other]].sum())
            limit = len(some) - self._least_chains(len(some))
            key = frozenset(some.tolist())
            if len(some) > 1 and inside > limit + 1e-5:
                self._add(_Cut(key, limit))
            if self.network.chains > 1:
                entering = float(x[member[one] != member[other]].sum() + first[member].sum())
                if entering < 1 - 1e-5:
                    self._add(_Cut(key, -1, entered=True))

    def _add_grown(self, one: Ints, other: Ints, x: Array, first: Array) -> None:
        """Sets grown from each seat by the one that is tied to them most: where too much wire is within, it is a constraint."""
        seats = self.network.seats
        weight = np.zeros((seats, seats))
        weight[one, other] = x
        weight += weight.T
        member = np.eye(seats, dtype=bool)
        tied = weight.copy()
        inside = np.zeros(seats)
        every = np.arange(seats)
        worst: dict[frozenset[int], float] = {}
        for size in range(2, seats + 1):
            taken = np.where(member, -1.0, tied).argmax(axis=1)
            inside += tied[every, taken]
            member[every, taken] = True
            tied += weight[taken]
            beyond = inside - (size - self._least_chains(size))
            for seed in np.flatnonzero(beyond > 0.05).tolist():
                worst[frozenset(np.flatnonzero(member[seed]).tolist())] = float(beyond[seed])
        best = sorted(worst, key=lambda some: (-worst[some], sorted(some)))[:_MOST_GROWN]
        self._add_sets((np.array(sorted(some)) for some in best), one, other, x, first)

    def _add_combs(self, one: Ints, other: Ints, values: Array) -> None:
        """Handles with an odd number of pairs out of them, nearly whole: at most half of these pairs can be beyond |handle|.

        Two-matching constraints (Edmonds 1965), searched for among the pieces that hang together by broken pairs
        (Padberg and Hong 1980).
        """
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        seats, chains, count = self.network.seats, self.network.chains, len(one)
        x = values[:count]
        first = values[count : count + chains * seats].reshape(chains, seats)
        ends = values[count + chains * seats :]
        for low in (_SUPPORT, 0.1, 0.3):
            for high in (1 - _SUPPORT, 0.8):
                broken = (x > low) & (x < high)
                if not broken.any():
                    continue
                graph = coo_array((np.ones(int(broken.sum())), (one[broken], other[broken])), shape=(seats, seats))
                parts, label = connected_components(graph, directed=False)
                for part in range(parts):
                    member = label == part
                    if member.sum() >= 3:
                        self._comb(member, one, other, x, first, ends)

    def _comb(self, member: npt.NDArray[np.bool_], one: Ints, other: Ints, x: Array, first: Array, ends: Array) -> None:
        seats = self.network.seats
        outward = [
            (float(x[k]), (int(one[k]), int(other[k])))
            for k in np.flatnonzero((member[one] != member[other]) & (x > _SUPPORT)).tolist()
        ]
        outward += [
            (float(first[chain, seat]), (-1 - int(chain), int(seat)))
            for chain, seat in np.argwhere(first * member > _SUPPORT)
        ]
        outward += [
            (float(ends[seat]), (int(seat), seats)) for seat in np.flatnonzero(ends * member > _SUPPORT).tolist()
        ]
        outward.sort(reverse=True)
        inside = float(x[member[one] & member[other]].sum()) - float(member.sum())
        best, found, total = 1e-4, 0, 0.0
        for taken, (value, _) in enumerate(outward, start=1):
            total += value
            if taken % 2 and inside + total - taken // 2 > best:
                best, found = inside + total - taken // 2, taken
        if found:
            teeth = frozenset(pair for _, pair in outward[:found])
            seats_in = frozenset(np.flatnonzero(member).tolist())
            self._add(_Cut(seats_in, len(seats_in) + len(teeth) // 2, teeth))

    def _add_blossoms(self, one: Ints, other: Ints, values: Array) -> None:
        """All handles with an odd number of pairs out of them, starts among the seats: none that is violated enough is missed.

        The least cuts between all nodes (Gomory and Hu 1961, as Gusfield 1990) where a pair weighs what it lacks to be
        whole or none: a violated constraint, if there is one, is among them (Padberg and Rao 1982; Letchford, Reinelt and Theis 2008).
        """
        seats, chains, count = self.network.seats, self.network.chains, len(one)
        sink = seats + chains
        x = values[:count]
        first = values[count : count + chains * seats].reshape(chains, seats)
        ends = values[count + chains * seats :]
        chain, seat = np.nonzero(first > _SUPPORT)
        (last,) = np.nonzero(ends > _SUPPORT)
        (taken,) = np.nonzero(x > _SUPPORT)
        begun = np.arange(seats, sink)  # from each start back to where chains end: the wire is a ring
        a = np.concatenate((one[taken], seat, last, begun))
        b = np.concatenate((other[taken], seats + chain, np.full(len(last), sink), np.full(chains, sink)))
        share = np.concatenate((x[taken], first[chain, seat], ends[last], np.ones(chains)))
        lacks = np.minimum(share, 1 - share)
        for member in _least_cuts(sink + 1, a, b, lacks):
            if member[sink]:
                member = ~member
            across = np.flatnonzero(member[a] != member[b])
            teeth = share[across] > 0.5
            total = float(lacks[across].sum())
            if teeth.sum() % 2 == 0:
                turned = int(np.abs(1 - 2 * share[across]).argmin()) if len(across) else 0
                total += float(np.abs(1 - 2 * share[across]).min()) if len(across) else 1.0
                if len(across):
                    teeth[turned] = not teeth[turned]
            if total > 1 - _LEAST_COMB:
                continue
            handle = np.flatnonzero(member)
            pairs = set()
            for k in across[teeth].tolist():
                low, high = int(a[k]), int(b[k])
                if low < seats:
                    pairs.add(
                        (low, high) if high < seats else (low, seats) if high == sink else (seats - 1 - high, low)
                    )
            whole = int(teeth.sum())
            starts = int((handle >= seats).sum())
            limit = len(handle) + (whole - 1) // 2 - starts
            self._add(_Cut(frozenset(handle.tolist()), limit, frozenset(pairs)))

    def _add_wide_combs(self, one: Ints, other: Ints, values: Array) -> None:
        """Handles, grown from each seat, with an odd number of teeth: pairs, and sets that the answer enters only once.

        For a handle and k (odd) teeth that do not touch each other, each partly in the handle, the wire across all their rims
        is at least 3k + 1 (Grötschel and Padberg 1979).
        """
        seats, chains, count = self.network.seats, self.network.chains, len(one)
        x = values[:count]
        first = values[count : count + chains * seats].reshape(chains, seats)
        outward = first.sum(axis=0) + values[count + chains * seats :]
        weight = np.zeros((seats + 1, seats + 1))
        weight[one, other] = x
        weight[:seats, seats] = outward
        weight += weight.T
        teeth = self._teeth(weight)
        if seats < 3 or len(teeth) < 3:
            return
        rim = self._rims(weight, teeth) - 3.0
        size = teeth.sum(axis=1)
        by_worth = np.lexsort((size, np.round(rim, 6)))
        useful = by_worth[rim[by_worth] < -1e-9]
        teeth, rim, size = teeth[useful], rim[useful], size[useful].astype(np.float32)
        in_teeth = teeth.T.astype(np.float32)
        touching = _as_bits(in_teeth.T @ in_teeth > 0)
        handles = self._handles(weight)
        shared = handles.astype(np.float32) @ in_teeth[:seats]
        crossing = (shared > 0) & (shared < size)
        around = self._rims(weight, np.column_stack((handles, np.zeros(len(handles), dtype=bool))))
        hope = around + crossing @ rim
        found: list[tuple[float, _Cut]] = []
        for at in np.argsort(hope, kind="stable")[: _MOST_HANDLES + 1].tolist():
            if hope[at] > 1 - _LEAST_COMB:
                break
            chosen: list[int] = []
            (free,) = _as_bits(crossing[at : at + 1])
            while free:
                best = (free & -free).bit_length() - 1
                chosen.append(best)
                free &= ~(touching[best] | 1 << best)
            if len(chosen) % 2 == 0:
                chosen = chosen[:-1]
            if len(chosen) < 3:
                continue
            total = float(around[at] + rim[chosen].sum())
            if total < 1 - _LEAST_COMB:
                found.append((total, self._comb_of(handles[at], teeth[chosen])))
        found.sort(key=lambda one: one[0])
        for _, cut in found[:_MOST_GROWN]:
            self._add(cut)

    @staticmethod
    def _comb_of(handle: npt.NDArray[np.bool_], teeth: npt.NDArray[np.bool_]) -> _Cut:
        seats = len(handle)
        pairs: set[tuple[int, int]] = set()
        wide: set[frozenset[int]] = set()
        for tooth in teeth:
            inside = np.flatnonzero(tooth).tolist()
            if inside[-1] == seats:
                pairs |= {(-1, inside[0]), (inside[0], seats)}
            elif len(inside) == 2:
                pairs.add((inside[0], inside[1]))
            else:
                wide.add(frozenset(inside))
        limit = float(handle.sum() + teeth.sum()) - (3 * len(teeth) + 1) / 2
        return _Cut(frozenset(np.flatnonzero(handle).tolist()), limit, frozenset(pairs), wide=frozenset(wide))

    def _teeth(self, weight: Array) -> npt.NDArray[np.bool_]:
        """Pairs that are more than half taken, and sets of the constraints that are entered once; outside is the last column."""
        seats = self.network.seats
        shown = weight if self.network.chains == 1 else weight[:seats, :seats]
        a, b = np.nonzero(np.triu(shown > 0.5 + 1e-6))
        pairs = np.zeros((len(a), seats + 1), dtype=bool)
        pairs[np.arange(len(a)), a] = pairs[np.arange(len(a)), b] = True
        tight = {cut.seats for cut in self._cuts.values() if not cut.entered and not cut.teeth and not cut.wide}
        sets = np.zeros((len(tight), seats + 1), dtype=bool)
        for row, some in zip(sets, tight, strict=True):
            row[list(some)] = True
        sets = sets[self._rims(weight, sets) < 2.5]
        return np.concatenate((pairs, sets))

    @staticmethod
    def _rims(weight: Array, sets: npt.NDArray[np.bool_]) -> Array:
        """The wire across the rim of each set."""
        there = sets.astype(float)
        return np.asarray(((there @ weight) * (1 - there)).sum(axis=1))

    def _handles(self, weight: Array) -> npt.NDArray[np.bool_]:
        """Sets grown from each seat by the one that is tied to them most, pairs that are whole left for last; each set once."""
        seats = self.network.seats
        within = weight[:seats, :seats]
        grown = []
        for liking in (within, np.where(within > 1 - 1e-6, 0.01, within)):
            member = np.eye(seats, dtype=bool)
            tied = liking.copy()
            every = np.arange(seats)
            for _ in range(min(seats - 2, _LARGEST_HANDLE)):
                taken = np.where(member, -1.0, tied).argmax(axis=1)
                member[every, taken] = True
                tied += liking[taken]
                grown.append(member.copy())
        every_one = np.concatenate(grown)
        packed = np.packbits(every_one, axis=1)
        _, first = np.unique(packed.view(f"V{packed.shape[1]}").ravel(), return_index=True)
        return every_one[np.sort(first)]

    def _small_cuts(self, one: Ints, other: Ints, x: Array, outward: Array) -> list[Ints]:
        """Sets of seats with less than 2 of wire across, ends and firsts (`outward`) included.

        Pairs that are whole are drawn together first (Padberg and Rinaldi 1990), then one node after the other (Stoer and Wagner 1997):
        the least cut of all is among those found on the way.
        """
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        seats = self.network.seats
        tied = x > 1 - 1e-7
        graph = coo_array((np.ones(int(tied.sum())), (one[tied], other[tied])), shape=(seats, seats))
        parts, label = connected_components(graph, directed=False)
        weight = np.zeros((parts + 1, parts + 1))
        np.add.at(weight, (label[one], label[other]), x)
        weight += weight.T
        np.add.at(weight[parts], label, outward)
        weight[:parts, parts] = weight[parts, :parts]
        np.fill_diagonal(weight, 0.0)
        member = np.zeros((parts + 1, seats), dtype=bool)
        member[label, np.arange(seats)] = True
        alive = np.ones(parts + 1, dtype=bool)
        found: list[Ints] = []
        for _ in range(parts):
            reach = np.where(alive, 0.0, -1.0)
            reach[parts] = 0.0
            last = parts  # outside, which is never drawn into another
            before = parts
            reach += np.where(alive, weight[parts], 0.0)
            reach[parts] = -1.0
            cut = 0.0
            for _ in range(int(alive.sum()) - 1):
                before, last = last, int(reach.argmax())
                cut = float(reach[last])
                reach[last] = -1.0
                open_ = reach >= 0
                reach[open_] += weight[last][open_]
            if cut < 2 - 1e-5 and member[last].sum() >= 1:
                found.append(np.flatnonzero(member[last]))
            weight[before] += weight[last]
            weight[:, before] += weight[:, last]
            weight[before, before] = 0.0
            weight[last] = weight[:, last] = 0.0
            member[before] |= member[last]
            alive[last] = False
        return found

    # -- both ways -------------------------------------------------------------------------------------------------------

    def _tree_round(self) -> None:
        """One round at the part of the tree with the lowest bound: its programme and constraints, or, if those are tired, two parts of it."""
        if self._part is None:
            if not self._open or self._open[0][0] >= self._enough_mm:
                self.bound_mm, self.proved = self.cost_mm, True
                return
            self._part, self._risen = heappop(self._open), []
        low, _, fixed = self._part
        found = self._answer(fixed)
        if found is None or found[2] >= self._enough_mm:
            self._part = None
        else:
            pairs, values, bound, whole, *_ = found
            self._part = (max(low, bound), self._part[1], fixed)
            self._risen.append(bound)
            tired = len(self._risen) > 2 and bound - self._risen[-3] < _TIRED * (self.cost_mm - bound)
            self._slow = False
            fresh = 0 if tired else self._violated(pairs, values)
            if whole and not fresh:
                self._two_ways(pairs, values, bound)
        lows = [part[0] for part in (self._part, *self._open[:1]) if part is not None]
        self.bound_mm = max(self.bound_mm, min(self.cost_mm, *lows) if lows else self.cost_mm)

    @property
    def _enough_mm(self) -> float:
        """From this bound on nothing better is there."""
        return self.cost_mm - _EPSILON * self.network.seats

    def _two_ways(self, pairs: Ints, values: Array, bound: float) -> None:
        """Part of the tree in two, by the broken variable whose either way raises the bound most."""
        assert self._part is not None
        low, _, fixed = self._part
        broken = np.flatnonzero(np.abs(values - np.rint(values)) > _SUPPORT)
        if not len(broken):
            if self._violated(pairs, values):
                return
            order = self._as_order(pairs, np.rint(values))
            if order is None:
                raise ArithmeticError("the linear programme's answer in whole numbers is no plan")
            self.improve_with(order)
            self._part = None
            return
        self._try(pairs, values)
        costs = np.concatenate((self._price[pairs], self.network.enter_mm.ravel(), np.ones(self.network.seats)))
        worth = np.minimum(values[broken], 1 - values[broken]) * np.maximum(costs[broken], 1.0)
        kept = self._cuts
        self._cuts = {key: cut for key, cut in kept.items() if not cut.idle}
        programme = self._programme(pairs)
        best: tuple[float, int, list[float]] | None = None
        for at in broken[np.argsort(-worth, kind="stable")[:_CANDIDATES]].tolist():
            variable = int(pairs[at]) if at < len(pairs) else len(pairs) - 1 - at
            ways = [self._solved(pairs, (*fixed, (variable, value)), programme=programme) for value in (0, 1)]
            bounds = [self.cost_mm if way is None else min(float(way.fun), self.cost_mm) for way in ways]
            score = max(min(bounds) - bound, 1e-3) * max(max(bounds) - bound, 1e-3)
            if best is None or score > best[0]:
                best = (score, variable, bounds)
        self._cuts = kept
        assert best is not None
        self._part = None
        known = not (self._allowed & ~self._in).any()  # else pairs that are not in may lower these bounds
        for value in (0, 1):
            least = max(low, best[2][value]) if known else low
            if least < self._enough_mm:
                self._parts += 1
                heappush(self._open, (least, self._parts, (*fixed, (best[1], value))))

    # -- the integer programme --------------------------------------------------------------------------------------

    def _integer_round(self) -> None:
        """The integer programme on the pairs that are left, over so many nodes: its bound, and what its answer violates.

        An answer that violates nothing is a plan, and the best. Where it was cut short, the next one goes on for longer.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp

        pairs = np.flatnonzero(self._allowed)
        costs, equal, right, cuts, most = self._programme(pairs)
        better = self.cost_mm - _EPSILON * self.network.seats
        constraints = [LinearConstraint(equal, right, right), LinearConstraint(costs[None, :], -np.inf, better)]
        if cuts is not None:
            constraints.append(LinearConstraint(cuts, -np.inf, most))
        found = milp(
            costs, integrality=np.ones(len(costs)), bounds=Bounds(0, self._most(pairs, len(costs))),
            constraints=constraints, options={"mip_rel_gap": self._loose, "node_limit": self._nodes},
        )  # fmt: skip
        if found.status == _INFEASIBLE:  # every pair of a better plan was among them
            self.bound_mm, self.proved = self.cost_mm, True
            return
        if found.mip_dual_bound is not None and np.isfinite(found.mip_dual_bound):
            self.bound_mm = max(self.bound_mm, min(float(found.mip_dual_bound), self.cost_mm))
        if found.x is None:
            self._nodes *= 4
            return
        values = np.rint(found.x)
        fresh = self._violated(pairs, values)
        order = None if fresh else self._as_order(pairs, values)
        if order is not None:
            self.improve_with(order)
        else:
            self._try(pairs, values)
        if not fresh:
            self._nodes *= 1 if found.status == 0 else 4
            self._loose = _EXACT
        elif self._loose > _EXACT:
            self._loose = max(_EXACT, _LOOSE * (1 - self.bound_mm / self.cost_mm))

    def _as_order(self, pairs: Ints, values: Array) -> SeatOrder | None:
        """The order that an answer in whole numbers means; None if it is none."""
        seats, chains, count = self.network.seats, self.network.chains, len(pairs)
        ties: list[list[int]] = [[] for _ in range(seats)]
        for at in np.flatnonzero(values[:count] > 0.5).tolist():
            a, b = int(self._one[pairs[at]]), int(self._other[pairs[at]])
            ties[a].append(b)
            ties[b].append(a)
        first = values[count : count + chains * seats].reshape(chains, seats)
        order = []
        for chain in range(chains):
            at, last, line = int(first[chain].argmax()), -1, []
            while at >= 0:
                line.append(at)
                if len(line) > seats:
                    return None
                last, at = at, next((seat for seat in ties[at] if seat != last), -1)
            order.append(tuple(line))
        found = tuple(order)
        return found if self.network.allows(found) else None


def _as_bits(rows: npt.NDArray[np.bool_]) -> list[int]:
    """Each row as a whole number whose bit k is its value in column k."""
    return [int.from_bytes(row.tobytes(), "little") for row in np.packbits(rows, axis=1, bitorder="little")]


def _least_cuts(nodes: int, a: Ints, b: Ints, weight: Array) -> Iterator[npt.NDArray[np.bool_]]:
    """One side of each least cut of a tree of them between all nodes of a graph, among those that hang together, and each piece."""
    from scipy.sparse import coo_array, csr_array
    from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

    whole = np.rint(weight * _PARTS).astype(np.int32)
    there = whole > 0
    rows, columns, room = np.concatenate((a, b)), np.concatenate((b, a)), np.concatenate((whole, whole))
    keep = np.concatenate((there, there))
    graph = csr_array(coo_array((room[keep], (rows[keep], columns[keep])), shape=(nodes, nodes)))
    pieces, label = connected_components(graph, directed=False)
    for piece in range(pieces):
        yield label == piece
    parent = np.array([np.flatnonzero(label == label[node])[0] for node in range(nodes)])
    for node in range(nodes):
        if parent[node] == node:
            continue
        flow = maximum_flow(graph, node, int(parent[node])).flow
        left = csr_array(graph - flow)
        left.data[left.data < 0] = 0
        left.eliminate_zeros()
        side = np.zeros(nodes, dtype=bool)
        side[breadth_first_order(left, node, return_predecessors=False)] = True
        later = np.arange(nodes) > node
        parent[later & side & (parent == parent[node])] = node
        yield side


def proved(network: Network, order: SeatOrder, *, rounds: int = 500) -> OrderProof:
    """The proof after at most so many rounds."""
    prover = Prover(network, order)
    for _ in range(rounds):
        if prover.proved:
            break
        prover.step()
    return prover.proof
