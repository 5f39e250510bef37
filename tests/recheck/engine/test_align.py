"""The alignment against brute force: every edit script of the model enumerated, posteriors equal to 1e-9."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.recheck.engine.align import chance_of_map, forward, marginals, missing_run, steps
from probe.recheck.engine.codes import UNLIT, look_code
from probe.recheck.engine.evidence import Evidence, Variant
from probe.recheck.engine.model import (
    END,
    NEW,
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NothingLit,
    Observation,
    Probe,
    Setup,
)
from probe.recheck.engine.sampling import sample_paths
from tests.support.examples import examples

HALF = 9


class Brute:
    """All scripts of the model for one order, written down from the model's description, not from its code."""

    def __init__(self, setup: Setup, observations: list[Observation], *, numbers: int, half: int) -> None:
        self.setup, self.observations, self.numbers, self.half = setup, observations, numbers, half
        prior, length = setup.prior, len(setup.order)
        self.insert = min(0.3, prior.insertion_sites / (length + 1))
        self.remove = min(0.3, prior.removal_sites / length)
        self.run = missing_run(prior, longest=2 * half)

    def take(self, missing: int) -> float:
        """Chance that so many old pixels are missing at one spot."""
        return 1.0 - self.remove if missing == 0 else float(self.remove * self.run[missing])

    def maps(self, order: tuple[int, ...], count: int) -> dict[tuple[int, ...], float]:
        """Every map of `count` numbers over this order with the chance of its script."""
        go_on = self.setup.prior.insertion_goes_on
        found: dict[tuple[int, ...], float] = {}
        for fresh in itertools.product((False, True), repeat=count):
            olds = fresh.count(False)
            for chosen in itertools.combinations(range(len(order)), olds):
                chance, previous_new, position = 1.0, False, 0
                values: list[int] = []
                olds_left = iter(chosen)
                for is_new in fresh:
                    begins = go_on if previous_new else self.insert
                    if is_new:
                        chance *= begins
                        values.append(NEW)
                    else:
                        at = next(olds_left)
                        chance *= (1.0 - begins) * self.take(at - position)
                        position = at + 1
                        values.append(order[at])
                    previous_new = is_new
                begins = go_on if previous_new else self.insert
                chance *= (1.0 - begins) * self.take(len(order) - position)
                found[tuple(values)] = chance
        return found

    def likelihood(self, found: tuple[int, ...], order: tuple[int, ...], *, moved: tuple[int, ...] = ()) -> float:
        """Chance of all answers under a map; each matched pixel but the last of the order, and of a moved run, may have
        gone dark."""
        last_ones = {order[-1], *moved[-1:]}
        total = 0.0
        matched = [n for n, v in enumerate(found) if v >= 0]
        p_dark = self.setup.prior.went_dark
        for dark in itertools.product((False, True), repeat=len(matched)):
            gone = {n for n, d in zip(matched, dark, strict=True) if d}
            share = 1.0
            for n in matched:
                last = found[n] in last_ones
                share *= (1e-30 if last else p_dark) if n in gone else 1.0 - p_dark
            if share < 1e-18:
                continue
            total += share * math.prod(self.one(found, gone, o) for o in self.observations)
        return total

    def one(self, found: tuple[int, ...], gone: set[int], observation: Observation) -> float:
        """Chance of one answer (a look's being wrong altogether is no part of a script)."""
        person, action, answer = self.setup.person, observation.action, observation.answer
        if isinstance(action, Probe):
            return self.probe(found, gone, action.number, answer)
        assert isinstance(action, Look)
        colour = {v: (UNLIT if n in gone else action.colours[n]) for n, v in enumerate(found) if v >= 0}
        chance = 1.0
        places = list(zip(action.places, action.expected, strict=True))
        stop = len(places)
        if isinstance(answer, Differs):
            stop = action.places.index(answer.place)
            right = colour.get(answer.place, UNLIT) == answer.colour
            chance *= (1.0 - person.look_miss) if right else math.exp(-60.0)
        for place, expected in places[:stop]:
            if colour.get(place, UNLIT) != expected:
                chance *= person.look_miss
        fresh = [n for n, v in enumerate(found) if v == NEW and action.colours[n] != UNLIT]
        if isinstance(answer, AllAsShown):
            chance *= person.look_miss ** len(fresh)
        if isinstance(answer, ExtraLight):
            chance *= (1.0 - person.look_miss) if found[-1] == NEW else math.exp(-60.0)
        return chance

    def probe(self, found: tuple[int, ...], gone: set[int], number: int, answer: Answer) -> float:
        wrong = self.setup.person.answer_wrong
        other = wrong / (self.setup.entries + 1)
        value = found[number] if number < len(found) else END
        truth: Answer = NothingLit()
        if value == NEW:
            p_dark = self.setup.prior.new_is_dark
            lit = 1.0 - wrong if isinstance(answer, AtNewPlace) else other
            dark = 1.0 - wrong if isinstance(answer, NothingLit) else other
            return (1.0 - p_dark) * lit + p_dark * dark
        if value >= 0 and number not in gone and self.setup.has_place[value]:
            truth = AtPlace(value)
        return 1.0 - wrong if answer == truth else other


def evidence_of(setup: Setup, observations: list[Observation], *, half: int = HALF) -> Evidence:
    evidence = Evidence(setup, half=half)
    for observation in observations:
        evidence = evidence.with_answer(observation)
    return evidence


def plain(setup: Setup) -> Variant:
    return Variant(
        order=np.array(setup.order), floating=np.array([], dtype=np.int64), spot_chance=0.0, void=frozenset()
    )


def a_look(old_count: int, answer: Answer, *, seed: int = 0, numbers: int = 20, shift: int = 0) -> Observation:
    code = look_code(length=numbers, seed=seed)
    look = Look(
        colours=tuple(code.tolist()),
        places=tuple(range(old_count)),
        expected=tuple(code[shift : shift + old_count].tolist()),
    )
    return Observation(action=look, answer=answer)


def probe(number: int, answer: Answer) -> Observation:
    return Observation(action=Probe(number=number), answer=answer)


def other_colour(old_count: int, place: int, *, seed: int = 0, shift: int = 0, step: int = 1) -> int:
    return int((look_code(length=20, seed=seed)[place + shift] + step) % 4)


SCENES: list[tuple[str, int, int, list[Observation]]] = [
    ("no answer", 5, 5, []),
    ("one longer", 5, 6, []),
    ("shorter", 6, 4, []),
    ("probe", 6, 7, [probe(3, AtPlace(2))]),
    ("contradiction", 5, 6, [probe(2, AtPlace(1)), probe(2, AtPlace(3)), probe(4, AtNewPlace())]),
    ("nothing lit", 6, 6, [probe(2, NothingLit()), probe(5, AtPlace(4))]),
    ("clean look", 7, 7, [a_look(7, AllAsShown())]),
    ("dark place", 7, 6, [a_look(7, Differs(3, UNLIT))]),
    ("differs", 6, 8, [a_look(6, Differs(2, other_colour(6, 2)))]),
    ("extra light", 5, 6, [a_look(5, ExtraLight(), seed=1)]),
    (
        "mixed",
        6,
        7,
        [
            a_look(6, Differs(2, other_colour(6, 2, step=2))),
            probe(2, AtNewPlace()),
            a_look(6, AllAsShown(), seed=4),
            probe(6, AtPlace(0)),
        ],
    ),
    ("eight", 8, 8, [a_look(8, Differs(5, UNLIT), seed=2), probe(7, AtPlace(7))]),
]


@pytest.mark.parametrize(
    ("old_count", "new_count", "observations"), [s[1:] for s in SCENES], ids=[s[0] for s in SCENES]
)
def test_posteriors_equal_brute_force(old_count: int, new_count: int, observations: list[Observation]) -> None:
    setup = Setup.unchanged(old_count, new_count=new_count)
    check_known_length(setup, observations)


def test_old_pixels_without_a_place() -> None:
    setup = Setup.unchanged(5, dark=(2,), new_count=6)
    code = look_code(length=20, seed=0)
    look = Look(colours=tuple(code.tolist()), places=(0, 1, 3, 4), expected=tuple(code[[0, 1, 3, 4]].tolist()))
    check_known_length(setup, [Observation(action=look, answer=Differs(3, int(code[4]))), probe(2, NothingLit())])


def check_known_length(setup: Setup, observations: list[Observation]) -> None:
    assert setup.new_count is not None
    numbers = setup.new_count
    brute = Brute(setup, observations, numbers=numbers, half=HALF)
    order = setup.order
    joint = {m: p * brute.likelihood(m, order) for m, p in brute.maps(order, numbers).items()}
    total = sum(joint.values())

    evidence = evidence_of(setup, observations)
    cells, constant, rows = evidence.cells([plain(setup)])
    run = forward(cells, steps(setup.prior, expected_length=len(order), half=HALF))
    assert math.exp(run.log_total[rows[0]] + constant[0]) == pytest.approx(total, rel=1e-9)

    states, ended = marginals(run)
    assert ended == pytest.approx(np.zeros(numbers), abs=1e-9)
    width = 2 * HALF + 1
    for number in range(numbers):
        for entry in [NEW, *order]:
            expected = sum(p for m, p in joint.items() if m[number] == entry) / total
            if entry == NEW:
                got = float(states[number, width:].sum())
            else:
                got = float(states[number, :width][cells.index[0][number] == entry].sum())
            assert got == pytest.approx(expected, abs=1e-9)

    nothing = np.array([], dtype=np.int64)
    for found in sorted(joint, key=lambda m: -joint[m])[:20]:
        chance = chance_of_map(run, np.array(found), counts_as_new=nothing)
        assert math.exp(chance[0]) == pytest.approx(joint[found] / total, abs=1e-9)

    paths = sample_paths(run, row=0, count=300, rng=np.random.default_rng(1))
    for drawn, log_chance in zip(paths.maps.tolist(), paths.log_chance.tolist(), strict=True):
        assert math.exp(log_chance) == pytest.approx(joint[tuple(drawn)] / total, abs=1e-9, rel=1e-7)


def test_unknown_length_sums_over_all_lengths() -> None:
    setup = Setup.unchanged(4, most_numbers=7)
    observations = [probe(4, NothingLit()), probe(1, AtPlace(0))]
    brute = Brute(setup, observations, numbers=7, half=HALF)
    joint: dict[tuple[int, ...], float] = {}
    for count in range(1, 8):
        for found, chance in brute.maps(setup.order, count).items():
            joint[found] = chance * brute.likelihood(found, setup.order)
    total = sum(joint.values())
    evidence = evidence_of(setup, observations)
    assert evidence.numbers == 7
    cells, constant, _ = evidence.cells([plain(setup)])
    run = forward(cells, steps(setup.prior, expected_length=4, half=HALF))
    assert math.exp(run.log_total[0] + constant[0]) == pytest.approx(total, rel=1e-9)
    _, ended = marginals(run)
    for number in range(7):
        expected = sum(p for m, p in joint.items() if len(m) <= number) / total
        assert ended[number] == pytest.approx(expected, abs=1e-9)


def test_a_moved_run_is_summed_over_every_spot() -> None:
    """The row pair for a floating run equals the sum of one plain alignment for each spot."""
    setup = Setup.unchanged(7, new_count=7)
    observations = [a_look(7, Differs(2, other_colour(7, 2)), seed=0), probe(2, AtPlace(4))]
    evidence = evidence_of(setup, observations)
    moves = steps(setup.prior, expected_length=7, half=HALF)
    rest, run_entries = (0, 1, 4, 5, 6), (2, 3)
    floating = Variant(
        order=np.array(rest), floating=np.array(run_entries), spot_chance=math.log(1 / 6), void=frozenset()
    )
    cells, constant, rows = evidence.cells([floating])
    run = forward(cells, moves)
    got = math.exp(run.log_total[rows[0]] + constant[0])

    # by hand: a run stands anywhere as one block, nothing is spliced into it or taken out of it
    brute = Brute(setup, observations, numbers=7, half=HALF)
    block = 99
    total = 0.0
    joint: dict[tuple[int, ...], float] = {}
    for spot in range(len(rest) + 1):
        for size in range(6, 7):
            for fresh in itertools.product((False, True), repeat=size):
                for values, chance in block_scripts(brute, rest, spot, fresh, block):
                    found = tuple(itertools.chain.from_iterable(run_entries if v == block else (v,) for v in values))
                    joint[found] = joint.get(found, 0.0) + chance / 6 * brute.likelihood(found, rest, moved=run_entries)
    total = sum(joint.values())
    assert got == pytest.approx(total, rel=1e-9)
    paths = sample_paths(run, row=int(rows[0]), count=400, rng=np.random.default_rng(2))
    shares: dict[tuple[int, ...], float] = {}
    for drawn, log_chance in zip(paths.maps.tolist(), paths.log_chance.tolist(), strict=True):
        shares[tuple(drawn)] = shares.get(tuple(drawn), 0.0) or math.exp(log_chance)
    assert max(joint, key=lambda m: joint[m]) in shares
    for found in joint:
        chance = chance_of_map(run, np.array(found), counts_as_new=np.array([], dtype=np.int64))[rows[0]]
        assert math.exp(chance) == pytest.approx(joint[found] / total, abs=1e-9)
    for found, share in shares.items():
        assert share <= joint[found] / total + 1e-9


def block_scripts(
    brute: Brute, rest: tuple[int, ...], spot: int, fresh: tuple[bool, ...], block: int
) -> list[tuple[tuple[int, ...], float]]:
    """Scripts in which the block is taken when `spot` old pixels have been passed (taken or missing)."""
    go_on = brute.setup.prior.insertion_goes_on
    made: list[tuple[tuple[int, ...], float]] = []
    olds = fresh.count(False) - 1
    if olds < 0:
        return made
    for where in [i for i, f in enumerate(fresh) if not f]:
        for chosen in itertools.combinations(range(len(rest)), olds):
            before = sum(1 for i in range(where) if not fresh[i])
            position, chance, previous_new = 0, 1.0, False
            values: list[int] = []
            taken = iter(chosen)
            for i, is_new in enumerate(fresh):
                begins = go_on if previous_new else brute.insert
                if is_new:
                    chance *= begins
                    values.append(NEW)
                elif i == where:
                    if position != spot:
                        chance = 0.0
                        break
                    chance *= 1.0 - begins
                    values.append(block)
                else:
                    at = next(taken)
                    chance *= (1.0 - begins) * brute.take(at - position)
                    position = at + 1
                    values.append(rest[at])
                previous_new = is_new
            if chance > 0.0 and before >= 0:
                begins = go_on if previous_new else brute.insert
                chance *= (1.0 - begins) * brute.take(len(rest) - position)
                made.append((tuple(values), chance))
    return made


@settings(max_examples=examples(25), deadline=None)
@given(st.integers(2, 6), st.integers(-2, 2), st.integers(0, 2**31), st.data())
def test_random_scenes_equal_brute_force(old_count: int, longer: int, seed: int, data: st.DataObject) -> None:
    new_count = max(1, old_count + longer)
    setup = Setup.unchanged(old_count, new_count=new_count)
    rng = np.random.default_rng(seed)
    observations: list[Observation] = []
    for _ in range(data.draw(st.integers(0, 3))):
        number = int(rng.integers(new_count))
        kind = data.draw(st.sampled_from(["place", "new", "dark", "look", "clean"]))
        if kind == "place":
            observations.append(probe(number, AtPlace(int(rng.integers(old_count)))))
        elif kind == "new":
            observations.append(probe(number, AtNewPlace()))
        elif kind == "dark":
            observations.append(probe(number, NothingLit()))
        elif kind == "clean":
            observations.append(a_look(old_count, AllAsShown(), seed=seed % 50))
        else:
            place = int(rng.integers(old_count))
            observations.append(
                a_look(old_count, Differs(place, other_colour(old_count, place, seed=seed % 50)), seed=seed % 50)
            )
    check_known_length(setup, observations)


def test_answers_can_be_taken_in_any_order() -> None:
    setup = Setup.unchanged(30)
    observations = [
        a_look(30, Differs(9, other_colour(30, 9)), numbers=40),
        probe(9, AtNewPlace()),
        a_look(30, AllAsShown(), seed=7, numbers=40),
        probe(20, AtPlace(19)),
    ]
    moves = steps(setup.prior, expected_length=30, half=6)
    totals = []
    for arranged in itertools.permutations(observations):
        cells, constant, _ = evidence_of(setup, list(arranged), half=6).cells([plain(setup)])
        totals.append(float(forward(cells, moves).log_total[0] + constant[0]))
    assert totals == pytest.approx([totals[0]] * len(totals), abs=1e-9)


def test_declared_and_undeclared_new_pixels_make_the_same_map() -> None:
    setup = Setup.declared(4, [0, 1, NEW, 2, 3], new_count=6)
    observations = [probe(2, AtNewPlace()), probe(5, AtPlace(3))]
    cells, _, _ = evidence_of(setup, observations).cells([plain(setup)])
    run = forward(cells, steps(setup.prior, expected_length=5, half=HALF))
    declared = np.array(sorted(setup.declared_new))
    drawn = sample_paths(run, row=0, count=4000, rng=np.random.default_rng(3))
    chances = {tuple(m): math.exp(c) for m, c in zip(drawn.maps.tolist(), drawn.log_chance.tolist(), strict=True)}
    joined: dict[tuple[int, ...], float] = {}
    for found, chance in chances.items():
        key = tuple(NEW if v in setup.declared_new else v for v in found)
        joined[key] = joined.get(key, 0.0) + chance
    best = max(joined, key=lambda m: joined[m])
    got = math.exp(chance_of_map(run, np.array(best), counts_as_new=declared)[0])
    assert got == pytest.approx(joined[best], abs=1e-6)
    assert got >= max(chances.values())
