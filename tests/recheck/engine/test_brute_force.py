"""The engine against an independent tiny one: short chains, every script of up to two edits, every answer.

The tiny one knows nothing of arrays, codes or tables: a map is a list, a picture is rendered number by number, and the
chance of an answer is multiplied out place by place.  Slow, because it is exhaustive.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import pytest

from probe.recheck.engine import Look, Options, Probe, Recheck
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    END,
    FURTHER,
    NEW,
    SILENT,
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    NothingLit,
    Observation,
    PlaceSeen,
)
from probe.recheck.engine.world import IMPOSSIBLE, Maps, World, answer_of, log_likelihood
from tests.recheck.engine.test_engine import play, visible
from tests.recheck.engine.worlds import Chain, Pixel, unchanged

COUNTS = (5, 7)
WIDTH = 18
Map = tuple[int, ...]


def one_edit(map_: Map, count: int) -> Iterator[Map]:
    """Everything that one edit makes of a map."""
    n = len(map_)
    for a in range(n + 1):
        for new in ([NEW], [NEW, NEW], [SILENT], *([FURTHER - x] for x in range(count))):
            yield (*map_[:a], *new, *map_[a:])
        for b in range(a + 1, n + 1):
            yield (*map_[:a], *map_[b:])
            yield (*map_[:a], *map_[a:b][::-1], *map_[b:])
            for c in range(b, n + 1):
                for d in range(c + 1, n + 1):
                    yield (*map_[:a], *map_[c:d], *map_[b:c], *map_[a:b], *map_[d:])
    for a in range(n):
        if 0 <= map_[a] < count:
            yield (*map_[:a], map_[a] + count, *map_[a + 1 :])
            yield (*map_[:a], NEW, *map_[a + 1 :])


@lru_cache
def scripts(count: int) -> list[Map]:
    """Every map of up to two edits, each once; some light is left."""
    start = tuple(range(count))
    once = dict.fromkeys((start, *one_edit(start, count)))
    twice = dict.fromkeys(itertools.chain(once, *(one_edit(map_, count) for map_ in once)))
    return [map_ for map_ in twice if any(0 <= v < count for v in map_)]


def place_of(value: int, count: int) -> int | None:
    """Where a pixel is seen: a known place, -1 for a new one, None for nowhere."""
    if value <= FURTHER:
        return FURTHER - value
    if value == NEW:
        return -1
    return value if 0 <= value < count else None


def rendered(map_: Map, look: Look) -> tuple[dict[int, frozenset[int]], bool]:
    """The colours at every known place, and whether there is a light where no place is known."""
    count = len(set(look.places))
    at: dict[int, set[int]] = {place: set() for place in range(count)}
    extra = False
    for value, colour in zip(map_, look.colours, strict=False):
        place = place_of(value, count)
        if colour == UNLIT or place is None:
            continue
        if place < 0:
            extra = True
        else:
            at[place].add(colour)
    return {place: frozenset(colours) for place, colours in at.items()}, extra


def tiny_answer(map_: Map, action: Look | Probe, count: int) -> Answer:
    """What an attentive person says."""
    if isinstance(action, Probe):
        place = place_of(map_[action.number], count) if action.number < len(map_) else None
        return NothingLit() if place is None else AtNewPlace() if place < 0 else AtPlace(place)
    at, extra = rendered(map_, action)
    for place, colour in zip(action.places, action.expected, strict=True):
        if at[place] != ({colour} - {UNLIT}):
            return Differs((PlaceSeen(place, tuple(sorted(at[place]))),))
    return ExtraLight() if extra else AllAsShown()


def tiny_chance(map_: Map, look: Look, answer: Answer, *, miss: float, wrong: float) -> float:
    """Chance that this is said and meant."""
    at, extra = rendered(map_, look)
    chance = 1 - wrong
    for place, colour in zip(look.places, look.expected, strict=True):
        differs = at[place] != ({colour} - {UNLIT})
        if isinstance(answer, Differs) and place == answer.seen[0].place:
            said = frozenset(answer.seen[0].colours)
            return chance * (1 - miss) if differs and at[place] == said else 0.0
        chance *= miss if differs else 1.0
    lights = sum(v == NEW and c != UNLIT for v, c in zip(map_, look.colours, strict=False))
    if isinstance(answer, ExtraLight):
        return chance * (1 - miss) if extra else 0.0
    return float(chance * miss**lights)


def rows(maps: list[Map]) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
    found = np.full((len(maps), WIDTH), END, dtype=np.int64)
    for row, map_ in zip(found, maps, strict=True):
        row[: len(map_)] = map_
    return found


def pictures(count: int) -> list[Look]:
    """Pictures of the unchanged chain, and of a chain with two new pixels and one out."""
    state = Recheck.start(unchanged(count), Options(seed=3))
    changed = np.full(state.numbers, END, dtype=np.int64)
    changed[: count + 1] = (0, NEW, NEW, *range(2, count))
    return [state.look(turn=0), state.look(turn=1), state.look(turn=2, of=changed)]


@pytest.mark.slow
@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("turn", range(3))
def test_every_map_of_two_edits_answers_a_picture_as_the_tiny_one_says(turn: int, count: int) -> None:
    world, look, every = World(unchanged(count)), pictures(count)[turn], scripts(count)
    codes = answer_of(look, Maps(world, rows(every))).tolist()
    meant: dict[int, Answer] = {}
    for map_, code in zip(every, codes, strict=True):
        answer = tiny_answer(map_, look, count)
        assert meant.setdefault(code, answer) == answer, map_
    assert len(set(map(repr, meant.values()))) == len(meant)  # two numbers are two answers


@pytest.mark.slow
@pytest.mark.parametrize("count", COUNTS)
def test_every_map_of_two_edits_answers_a_single_light_as_the_tiny_one_says(count: int) -> None:
    all_rows = Maps(World(unchanged(count)), rows(scripts(count)))
    for number in range(8):
        found = answer_of(Probe(number=number), all_rows).tolist()
        said = [tiny_answer(map_, Probe(number=number), count) for map_ in scripts(count)]
        wanted = [s.place if isinstance(s, AtPlace) else -1 if isinstance(s, AtNewPlace) else -2 for s in said]
        assert found == wanted


@pytest.mark.slow
@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("turn", range(3))
def test_every_answer_is_as_likely_as_multiplied_out_place_by_place(turn: int, count: int) -> None:
    """Every answer, under every so manieth map."""
    setup = unchanged(count)
    look, some = pictures(count)[turn], scripts(count)[:: 7 if count == 5 else 101]
    all_rows = Maps(World(setup), rows(some))
    answers: list[Answer] = [AllAsShown(), ExtraLight()]
    for place, colours in itertools.product(
        look.places, itertools.chain(*(itertools.combinations(range(4), k) for k in range(3)))
    ):
        answers.append(Differs((PlaceSeen(place, colours),)))
    for answer in answers:
        found, _ = log_likelihood(Observation(action=look, answer=answer), all_rows)
        person = setup.person
        for map_, one in zip(some, found.tolist(), strict=True):
            chance = tiny_chance(map_, look, answer, miss=person.look_miss, wrong=person.answer_wrong)
            if chance == 0.0:
                assert one <= IMPOSSIBLE + 1, (map_, answer)
            else:
                assert one == pytest.approx(math.log(chance)), (map_, answer)


@pytest.mark.slow
@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("part", range(2))
def test_scripts_of_two_edits_end_with_the_class_that_was_wired(part: int, count: int) -> None:
    """Every so many of them, an attentive person: right, or not stated as settled.

    One of them all may be: a further pixel that shows the colour of its place in every picture shown is as rare as it
    is stated, but here every script counts alike.
    """
    wrong = []
    every = scripts(count)
    for map_ in every[part :: len(every) // 30]:
        fresh = itertools.count(count)
        pixels = [Pixel(v % count if v >= 0 else None, next(fresh) if v == NEW else place_of(v, count)) for v in map_]
        chain = Chain(count, pixels=pixels)
        state, _ = play(chain, chain.setup(), seed=part)
        if visible(state, chain) != chain.visible() and state.settled:
            wrong.append(map_)
    assert len(wrong) <= 1, wrong
