"""Good orders of seats on the wire of one or several chains: construction, local search, and kicks that go on improving.

A `Network` is what has to be visited; a `SeatOrder` a list of seats for each chain. Costs are millimetres of wire, penalties
included. Moves: a run turned round (2-opt, Croes 1958), a run of up to three moved elsewhere (Or-opt, Or 1976), the ends of
two chains exchanged; kicks (a few runs near each other taken out and put in again seat by seat, Christiaens and Vanden Berghe 2020; two
neighbouring runs exchanged, Martin, Otto and Felten 1991), after which the neighbourhood is searched again. A chain has a fixed start and a free end. Deterministic for a seed; effort is counted, never timed.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
SeatOrder = tuple[tuple[int, ...], ...]
_Run = tuple[int, int, int, int, int, float, int]
"""Where a run begins and stops on the line, its far seat, what is before and after it, wire saved without it, seats."""

NEVER_MM = 1e7
"""Cost of what must not be: no real plan has so much wire."""
NEIGHBOURS = 8
_LONGEST_RUN = 3
_KICK_REACH = 30
_RUIN = (0.8, 0.9)
"""Share of kicks that ruin, on one chain and on several."""
_STRING, _STRINGS, _BLINK = 8, 3, 0.02
_WORSE = 0.3
"""Of a mean stretch: how much worse an order may be, in the mean of what is drawn, to be gone on from."""
_PATIENCE = 1_000


@dataclass(frozen=True)
class Network:
    """Seats and the chains that visit them.

    `between_mm`: cost of a stretch between two seats, symmetric, shape (seats, seats). `enter_mm`: cost of the first
    stretch, shape (chains, seats). `largest`: most seats of a chain.
    """

    between_mm: Array
    enter_mm: Array
    largest: int

    def __post_init__(self) -> None:
        """Raises ValueError if no order can be: more chains than seats, or more seats than the chains may carry."""
        seats, chains = self.seats, self.chains
        if self.between_mm.shape != (seats, seats) or self.enter_mm.shape != (chains, seats):
            raise ValueError("the distances do not fit the seats")
        if not 1 <= chains <= seats:
            raise ValueError(f"{chains} chains for {seats} seats: there have to be as many seats as chains, or more")
        if chains * self.largest < seats:
            raise ValueError(
                f"{seats} seats are more than {chains} chains of {self.largest} carry: plan more chains, or let them carry more"
            )

    @property
    def seats(self) -> int:
        """How many seats there are."""
        return len(self.between_mm)

    @property
    def chains(self) -> int:
        """How many chains there are."""
        return len(self.enter_mm)

    def cost_mm(self, order: SeatOrder) -> float:
        """What an order costs."""
        total = 0.0
        for chain, seats in enumerate(order):
            total += float(self.enter_mm[chain, seats[0]])
            total += sum(float(self.between_mm[a, b]) for a, b in pairwise(seats))
        return total

    def allows(self, order: SeatOrder) -> bool:
        """Whether every seat is visited once, and no chain is empty or too long."""
        visited = sorted(seat for seats in order for seat in seats)
        return (
            len(order) == self.chains
            and visited == list(range(self.seats))
            and all(1 <= len(seats) <= self.largest for seats in order)
        )

    @cached_property
    def _table(self) -> list[list[float]]:
        """Costs as the search reads them: seats, then the chains' starts, then the end. Into a start or the end costs 0."""
        seats, chains = self.seats, self.chains
        table = np.zeros((seats + chains + 1, seats + chains + 1))
        table[:seats, :seats] = self.between_mm
        table[seats : seats + chains, :seats] = self.enter_mm
        table[seats:, seats:] = NEVER_MM  # an empty chain
        rows: list[list[float]] = table.tolist()
        return rows

    @cached_property
    def _near(self) -> list[list[int]]:
        """The nearest seats of each seat and start, nearest first."""
        near: list[list[int]] = []
        for row in (*self.between_mm, *self.enter_mm):
            nearest = np.argsort(row, kind="stable")[: NEIGHBOURS + 1].tolist()
            near.append([seat for seat in nearest if seat != len(near)][:NEIGHBOURS])
        return near


def first_order(network: Network, *, likely: Array | None = None, likely_first: Array | None = None) -> SeatOrder:
    """An order at once: the cheapest free stretch first (greedy edges), pieces joined up, then chains cut to length.

    `likely`, `likely_first`: how surely (0 to 1) a stretch or a first seat is part of it; what is sure costs nothing.
    """
    seats, chains = network.seats, network.chains
    between = network.between_mm if likely is None else network.between_mm * (1.001 - likely)
    one, other = np.triu_indices(seats, 1)
    by_cost = np.argsort(between[one, other], kind="stable")
    if likely_first is not None and chains > 1:
        return _grown_from_starts(network, between, network.enter_mm * (1.001 - likely_first))
    degree, head = [0] * seats, list(range(seats))
    ties: list[list[int]] = [[] for _ in range(seats)]

    def piece(seat: int) -> int:
        while head[seat] != seat:
            head[seat] = head[head[seat]]
            seat = head[seat]
        return seat

    left = seats - 1
    for a, b in zip(one[by_cost].tolist(), other[by_cost].tolist(), strict=True):
        if not left:
            break
        if degree[a] == 2 or degree[b] == 2:
            continue
        first, second = piece(a), piece(b)
        if first != second:
            head[first] = second
            ties[a].append(b)
            ties[b].append(a)
            degree[a] += 1
            degree[b] += 1
            left -= 1
    ends = [seat for seat in range(seats) if degree[seat] < 2]
    enter = network.enter_mm if likely_first is None else network.enter_mm * (1.001 - likely_first)
    begin = min(ends, key=lambda seat: float(enter[:, seat].min()))
    line, last = [begin], -1
    while len(line) < seats:
        ahead = next(seat for seat in ties[line[-1]] if seat != last)
        last = line[-1]
        line.append(ahead)
    cuts = [round(seats * k / chains) for k in range(chains + 1)]
    pieces = [tuple(line[a:b]) for a, b in pairwise(cuts)]
    if chains == 1:
        return (pieces[0],)
    costs = [[float(min(row[p[0]], row[p[-1]])) for p in pieces] for row in network.enter_mm]
    chosen = list(range(chains))
    better = True
    while better:  # two chains exchange their pieces while that helps
        better = False
        for a, b in combinations(range(chains), 2):
            there, exchanged = costs[a][chosen[a]] + costs[b][chosen[b]], costs[a][chosen[b]] + costs[b][chosen[a]]
            if exchanged < there - 1e-9:
                chosen[a], chosen[b] = chosen[b], chosen[a]
                better = True
    order = []
    for row, at in zip(network.enter_mm, chosen, strict=True):
        taken = pieces[at]
        order.append(taken if row[taken[0]] <= row[taken[-1]] else taken[::-1])
    return tuple(order)


def _grown_from_starts(network: Network, between: Array, enter: Array) -> SeatOrder:
    """Several chains by the cheapest free stretch first, none longer than may be; seats left over go in where they cost least."""
    seats, chains = network.seats, network.chains
    room_of = [1] * seats + [0] * chains  # seats of a piece
    head = list(range(seats + chains))
    ties: list[list[int]] = [[] for _ in range(seats + chains)]

    def piece(node: int) -> int:
        while head[node] != node:
            head[node] = head[head[node]]
            node = head[node]
        return node

    one, other = np.triu_indices(seats, 1)
    begins = [*one.tolist(), *(seats + chain for chain in range(chains) for _ in range(seats))]
    stops = [*other.tolist(), *(list(range(seats)) * chains)]
    by_cost = np.argsort(np.concatenate((between[one, other], enter.ravel())), kind="stable").tolist()
    for at in by_cost:
        a, b = begins[at], stops[at]
        if len(ties[b]) == 2 or len(ties[a]) == (2 if a < seats else 1):
            continue
        first, second = piece(a), piece(b)
        if (
            first == second
            or (first >= seats and second >= seats)
            or room_of[first] + room_of[second] > network.largest
        ):
            continue
        if second >= seats:
            first, second = second, first
        head[second] = first  # a start stays the head of its piece
        room_of[first] += room_of[second]
        ties[a].append(b)
        ties[b].append(a)
    order: list[list[int]] = []
    visited = [False] * seats
    for chain in range(chains):
        line, last = [], seats + chain
        here = next(iter(ties[last]), -1)
        while here >= 0:
            line.append(here)
            visited[here] = True
            here, last = next((node for node in ties[here] if node != last), -1), here
        order.append(line)
    for seat in (seat for seat in range(seats) if not visited[seat]):
        _put_in(network, order, seat)
    for line in order:
        if not line:  # every chain has a seat at the least
            longest = max(order, key=len)
            line.append(longest.pop())
    return tuple(map(tuple, order))


def _put_in(network: Network, order: list[list[int]], seat: int) -> None:
    """Put a seat where it costs least, into a chain that has room."""
    best, where = float("inf"), (0, 0)
    row = network.between_mm[seat]
    for chain, line in enumerate(order):
        if len(line) >= network.largest:
            continue
        into = float(network.enter_mm[chain, seat])
        for at in range(len(line) + 1):
            more = (into if at == 0 else float(row[line[at - 1]])) + (float(row[line[at]]) if at < len(line) else 0.0)
            if at < len(line):
                there = network.enter_mm[chain, line[0]] if at == 0 else network.between_mm[line[at - 1], line[at]]
                more -= float(there)
            if more < best:
                best, where = more, (chain, at)
    order[where[0]].insert(where[1], seat)


def nearest_neighbour(network: Network) -> SeatOrder:
    """The order of somebody who always goes to the nearest seat left; one chain after the other."""
    free = np.ones(network.seats, dtype=bool)
    order = []
    for chain in range(network.chains):
        share = -(-int(free.sum()) // (network.chains - chain))
        seats: list[int] = []
        row = network.enter_mm[chain]
        for _ in range(share):
            seat = int(np.where(free, row, np.inf).argmin())
            seats.append(seat)
            free[seat] = False
            row = network.between_mm[seat]
        order.append(tuple(seats))
    return tuple(order)


class TourSearch:
    """A search that can be gone on with. `order` and `cost_mm` are the best so far; `improve` goes on by so many kicks."""

    def __init__(self, network: Network, order: SeatOrder, *, seed: int = 0) -> None:
        self.network = network
        self._cost = network._table
        self._near = network._near
        self._seats = network.seats
        self._random = random.Random(seed)
        self._at = [0] * (network.seats + network.chains + 1)
        self._size = [0] * network.chains
        self._of = [0] * (network.seats + network.chains + 1)
        self._line: list[int] = []
        self._lay([seat for chain, seats in enumerate(order) for seat in (self._seats + chain, *seats)])
        self._settle(list(range(self._seats)))
        self.cost_mm = self._here = self._total()
        self._best = self._line[:]
        self._waited = 0

    @property
    def order(self) -> SeatOrder:
        """The best order so far."""
        order: list[list[int]] = []
        for node in self._best[:-1]:
            if node >= self._seats:
                order.append([])
            else:
                order[-1].append(node)
        return tuple(map(tuple, order))

    def improve(self, kicks: int) -> None:
        """Try so many kicks. A little worse is gone on from (a threshold that is drawn), the best is kept."""
        count = self._seats
        if count < 5:
            return
        for _ in range(kicks):
            line, at, of, size = self._line[:], self._at[:], self._of[:], self._size[:]
            kick = self._ruined if self._random.random() < _RUIN[self.network.chains > 1] else self._kick
            gain, touched = kick()
            if not touched:
                continue
            gain += self._settle(touched)
            self._waited += 1
            allowed = _WORSE * self._here / count * self._random.expovariate(1.0)
            if self._here - gain > self._here + allowed:
                self._line, self._at, self._of, self._size = line, at, of, size
            else:
                self._here -= gain
                if self._here < self.cost_mm - 1e-7:
                    self.cost_mm, self._best, self._waited = self._here, self._line[:], 0
            if self._waited > _PATIENCE:
                self._lay(self._best[:])
                self._here, self._waited = self.cost_mm, 0
        self._here = self._total()

    def _total(self) -> float:
        return sum(self._cost[a][b] for a, b in pairwise(self._line))

    def _lay(self, line: list[int]) -> None:
        """Take a line of starts and seats as it is."""
        end = self._seats + self.network.chains
        self._line = [*line, end] if line[-1] != end else line
        chain = -1
        self._size = [0] * self.network.chains
        for at, node in enumerate(self._line):
            self._at[node] = at
            if node >= self._seats:
                chain += 1
                if node < end:
                    chain = node - self._seats
            else:
                self._size[chain] += 1
            self._of[node] = chain

    def _kick(self) -> tuple[float, list[int]]:
        """Exchange two neighbouring runs of one chain, or the ends of two chains. Gives the gain and what it touched."""
        line, cost = self._line, self._cost
        if self.network.chains > 1 and self._random.random() < 0.3:
            a = self._random.randrange(self._seats)
            others = [c for c in self._near[a] if self._of[c] != self._of[a]]
            if others:
                return self._swap_tails(a, self._random.choice(others), always=True)
        begin = self._random.randrange(1, len(line) - 1)
        if line[begin] >= self._seats:
            begin += 1
        stop = begin
        while stop < len(line) and line[stop] < self._seats and stop - begin < _KICK_REACH:
            stop += 1
        if stop - begin < 2:
            return 0.0, []
        first, second = (
            sorted(self._random.sample(range(begin + 1, stop + 1), 2)) if stop - begin > 2 else (begin + 1, stop)
        )
        p, a, b = line[begin - 1], line[begin], line[first - 1]
        c, d, s = line[first], line[second - 1], line[second]
        gain = cost[p][a] + cost[b][c] + cost[d][s] - cost[p][c] - cost[d][a] - cost[b][s]
        if gain < -NEVER_MM / 2:
            return 0.0, []
        line[begin:second] = line[first:second] + line[begin:first]
        at = self._at
        for k in range(begin, second):
            at[line[k]] = k
        return gain, [node for node in (p, a, b, c, d, s) if node < self._seats]

    def _ruined(self) -> tuple[float, list[int]]:
        """Take out a few runs that lie near each other, and put their seats in again one by one where each costs least.

        After Christiaens and Vanden Berghe (2020), slack induction by string removals. Gives the gain and what it touched.
        """
        line, cost, of, at, chance = self._line, self._cost, self._of, self._at, self._random
        seats = self._seats
        seed = chance.randrange(seats)
        out: list[int] = []
        gone: set[int] = set()
        strings = 0
        for seat in (seed, *self._near[seed]):
            if seat in gone:
                continue
            length = chance.randint(1, _STRING)
            begin = at[seat] - chance.randrange(length)
            run = [node for node in line[max(1, begin) : begin + length] if node < seats and of[node] == of[seat]]
            run = [node for node in run if node not in gone]
            out += run
            gone.update(run)
            strings += 1
            if strings == _STRINGS:
                break
        ahead = [-1] * (seats + self.network.chains + 1)
        behind = ahead[:]
        kept = [node for node in line if node not in gone]
        for a, b in pairwise(kept):
            ahead[a], behind[b] = b, a
        size = self._size[:]
        for node in out:
            size[of[node]] -= 1
        before = sum(cost[a][b] for a, b in pairwise(line))
        largest = self.network.largest
        chance.shuffle(out)
        starts = range(seats, seats + self.network.chains)
        touched = list(out)
        for node in out:
            own = cost[node]
            best, where = float("inf"), -1
            nearby = [c for c in self._near[node] if ahead[c] >= 0]
            for c in (*nearby, *(behind[c] for c in nearby), *starts):
                if size[of[c]] >= largest:
                    continue
                after = ahead[c]
                more = cost[c][node] + own[after] - cost[c][after]
                if more < best and chance.random() > _BLINK:
                    best, where = more, c
            if where < 0:
                for c in range(seats + self.network.chains):
                    if ahead[c] >= 0 and size[of[c]] < largest:
                        more = cost[c][node] + own[ahead[c]] - cost[c][ahead[c]]
                        if more < best:
                            best, where = more, c
            after = ahead[where]
            ahead[where] = behind[after] = node
            ahead[node], behind[node] = after, where
            of[node] = of[where]
            size[of[node]] += 1
            touched += [where, after]
        fresh, node = [], line[0]
        while node >= 0:
            fresh.append(node)
            node = ahead[node]
        self._lay(fresh)
        return before - self._total(), [node for node in touched if node < seats]

    def _settle(self, waiting: list[int]) -> float:
        """Search around these seats until nothing gets better; gives the gain."""
        queued = [False] * (self._seats + self.network.chains + 1)
        for node in waiting:
            queued[node] = True
        total = 0.0
        while waiting:
            node = waiting.pop()
            queued[node] = False
            while True:
                gain, touched = self._better(node)
                if not touched:
                    break
                total += gain
                for other in touched:
                    if not queued[other] and other < self._seats:
                        queued[other] = True
                        waiting.append(other)
        return total

    def _better(self, a: int) -> tuple[float, list[int]]:
        """Make the first move around a seat that gains; nothing touched if there is none."""
        line, at, cost, of = self._line, self._at, self._cost, self._of
        own = cost[a]
        i = at[a]
        before, after = line[i - 1], line[i + 1]
        to_after, to_before = own[after], cost[before][a]
        largest_saving = to_after if to_after > to_before else to_before
        runs: list[_Run] | None = None
        for c in self._near[a]:
            near = own[c]
            if near >= largest_saving:
                break
            j = at[c]
            p, s = line[j - 1], line[j + 1]
            same = of[a] == of[c]
            if near < to_after:
                if same:
                    # a-after, c-s  ->  a-c, after-s
                    gain = to_after + cost[c][s] - near - (cost[after][s] if i < j else cost[s][after])
                    if i < j:
                        if gain > 1e-7:
                            self._turn(i + 1, j)
                            return gain, [a, c, after, s]
                    else:
                        gain = to_after + cost[c][s] - near - cost[s][after]
                        if gain > 1e-7:
                            self._turn(j + 1, i)
                            return gain, [a, c, after, s]
                else:
                    moved = self._swap_tails(a, c)
                    if moved[1]:
                        return moved
            if near < to_before and same:
                # before-a, p-c  ->  a-c, before-p
                if i < j:
                    gain = to_before + cost[p][c] - near - cost[before][p]
                    if gain > 1e-7 and p != a:
                        self._turn(i, j - 1)
                        return gain, [a, c, before, p]
                else:
                    gain = to_before + cost[p][c] - near - cost[p][before]
                    if gain > 1e-7 and before != c:
                        self._turn(j, i - 1)
                        return gain, [a, c, before, p]
            if runs is None:
                runs = self._runs(a)
            if runs:
                moved = self._move_run(a, c, runs)
                if moved[1]:
                    return moved
        return 0.0, []

    def _turn(self, first: int, last: int) -> None:
        """Turn the line round from one position to another, both included."""
        line, at = self._line, self._at
        line[first : last + 1] = line[first : last + 1][::-1]
        for k in range(first, last + 1):
            at[line[k]] = k

    def _runs(self, a: int) -> list[_Run]:
        """The runs of up to three seats that begin or end with `a`, and save wire where they are taken out."""
        line, cost, seats = self._line, self._cost, self._seats
        i = self._at[a]
        found = []
        for length in range(1, _LONGEST_RUN + 1):
            for first, last in ((i, i + length - 1), (i - length + 1, i)) if length > 1 else ((i, i),):
                if (
                    last >= len(line)
                    or line[first] >= seats
                    or line[last] >= seats
                    or (length == 3 and line[first + 1] >= seats)
                ):
                    continue
                before, after = line[first - 1], line[last + 1]
                if before >= seats and after >= seats:
                    continue  # the whole chain
                freed = cost[before][line[first]] + cost[line[last]][after] - cost[before][after]
                if freed > 1e-7:
                    found.append((first, last, line[last] if i == first else line[first], before, after, freed, length))
        return found

    def _move_run(self, a: int, c: int, runs: list[_Run]) -> tuple[float, list[int]]:
        """Move one of the runs to beside `c`, so that `a` and `c` are neighbours, if that gains. (Turning a run where it is: see `_better`.)"""
        line, at, of = self._line, self._at, self._of
        i, j = at[a], at[c]
        p, s = line[j - 1], line[j + 1]
        own = self._cost[c]
        near, to_p, to_s = own[a], self._cost[p][c], own[s]
        room = self.network.largest - self._size[of[c]] if of[c] != of[a] else _LONGEST_RUN
        for first, last, far, before, after, freed, length in runs:
            if first <= j <= last or length > room:
                continue
            rim = self._cost[far]
            # after c: c, a … far, s
            gain = freed + to_s - near - rim[s]
            if gain > 1e-7 and c != before:
                self._carry(first, last, j + 1, turned=i != first)
                return gain, [a, c, far, before, after, s]
            # before c: p, far … a, c
            gain = freed + to_p - near - self._cost[p][far]
            if gain > 1e-7 and c != after:
                self._carry(first, last, j, turned=i == first and length > 1)
                return gain, [a, c, far, before, after, p]
        return 0.0, []

    def _carry(self, first: int, last: int, to: int, *, turned: bool) -> None:
        """Take out the positions first..last and put them before position `to` (counted before taking out)."""
        line = self._line
        run = line[first : last + 1]
        if turned:
            run.reverse()
        if to <= first:
            low, high = to, last + 1
            line[low:high] = run + line[to:first]
        else:
            low, high = first, to
            line[low:high] = line[last + 1 : to] + run
        at = self._at
        for k in range(low, high):
            at[line[k]] = k
        source, target = self._of[run[0]], self._of[line[at[run[0]] - 1]]
        if target != source:
            for node in run:
                self._of[node] = target
            self._size[source] -= len(run)
            self._size[target] += len(run)

    def _swap_tails(self, a: int, c: int, *, always: bool = False) -> tuple[float, list[int]]:
        """Let chain of `a` go on with `c` and what follows, and the chain of `c` with what followed `a`, if that gains."""
        line, at, cost, of = self._line, self._at, self._cost, self._of
        i, j = at[a], at[c]
        after, p = line[i + 1], line[j - 1]
        gain = cost[a][after] + cost[p][c] - cost[a][c] - cost[p][after]
        if gain <= 1e-7 and (not always or gain < -NEVER_MM / 2):
            return 0.0, []
        starts = [at[self._seats + k] for k in range(self.network.chains)]
        ends = {of[a]: 0, of[c]: 0}
        for chain in ends:
            ends[chain] = min((s for s in (*starts, len(line) - 1) if s > at[self._seats + chain]), default=0)
        tail_a, tail_c = line[i + 1 : ends[of[a]]], line[j : ends[of[c]]]
        grown = len(tail_c) - len(tail_a)
        if max(self._size[of[a]] + grown, self._size[of[c]] - grown) > self.network.largest:
            return 0.0, []
        if i < j:
            line = line[: i + 1] + tail_c + line[ends[of[a]] : j] + tail_a + line[ends[of[c]] :]
        else:
            line = line[:j] + tail_a + line[ends[of[c]] : i + 1] + tail_c + line[ends[of[a]] :]
        self._lay(line)
        return gain, [node for node in (a, c, after, p) if node < self._seats]


def improved(network: Network, order: SeatOrder, *, kicks: int, seed: int = 0) -> SeatOrder:
    """The order after a search of so many kicks from the one given; never worse."""
    search = TourSearch(network, order, seed=seed)
    search.improve(kicks)
    return search.order if search.cost_mm < network.cost_mm(order) else order
