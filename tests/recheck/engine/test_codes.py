"""What the look codes promise, exhaustively on chains of up to 40 numbers and by property on longer ones."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.recheck.engine.codes import COLOURS, PAIRS_ONCE, WINDOW, Codes, frame_code
from tests.support.examples import first_now

LENGTHS = (5, 12, 25, 40)


def pictures(old_count: int, seed: int, extra: int = 8) -> list[Codes]:
    return [frame_code(length=old_count + extra, turn=turn, seed=seed) for turn in (0, 1)]


def words_of(length: int, seed: int, turns: int) -> list[tuple[int, ...]]:
    """The colours of each number in the first pictures."""
    codes = [frame_code(length=length, turn=turn, seed=seed).tolist() for turn in range(turns)]
    return list(zip(*codes, strict=True))


def shown(code: Codes, wiring: list[int], old_count: int) -> list[int]:
    """Colour at each old place, -1 dark."""
    seen = [-1] * old_count
    for number, place in enumerate(wiring):
        if 0 <= place < old_count:
            seen[place] = int(code[number])
    return seen


def differing(code: Codes, wiring: list[int], old_count: int) -> int:
    right = shown(code, list(range(old_count)), old_count)
    return sum(a != b for a, b in zip(right, shown(code, wiring, old_count), strict=True))


def changes(wiring: list[int], old_count: int, seed: int) -> list[int]:
    return [differing(code, wiring, old_count) for code in pictures(old_count, seed)]


@given(st.integers(1, 1200), st.integers(0, 500), st.integers(0, 9))
def test_neighbours_are_unlike_in_every_picture(length: int, seed: int, turn: int) -> None:
    code = frame_code(length=length, turn=turn, seed=seed)
    assert code.shape == (length,)
    assert np.all(code[1:] != code[:-1])
    assert code.min() >= 0
    assert code.max() < COLOURS


@given(st.integers(2, 1200), st.integers(0, 500))
def test_words_differ_within_the_window(length: int, seed: int) -> None:
    a, b = (frame_code(length=length, turn=turn, seed=seed) for turn in (0, 1))
    for distance in range(1, min(WINDOW, length)):
        assert not np.any((a[distance:] == a[:-distance]) & (b[distance:] == b[:-distance]))


@given(st.integers(0, 5000), st.integers(1, PAIRS_ONCE))
@settings(max_examples=40)
def test_no_two_neighbouring_words_come_twice(seed: int, length: int) -> None:
    words = words_of(length, seed, 2)
    pairs = list(itertools.pairwise(words))
    assert len(set(pairs)) == len(pairs)


@given(st.integers(0, 5000))
@settings(max_examples=10)
def test_of_a_thousand_numbers_hardly_three_neighbouring_words_come_twice(seed: int) -> None:
    words = words_of(1000, seed, 2)
    triples = list(zip(words, words[1:], words[2:], strict=False))
    assert len(triples) - len(set(triples)) < 100


@pytest.mark.parametrize(("turns", "most"), [(2, 0.056), (3, 0.009), (4, 0.0)])
def test_so_many_pairs_of_single_pixels_stay_alike(turns: int, most: float) -> None:
    """The least that counting allows: 108 numbers in 16 words leave 5.4 % of pairs alike, in 64 words 0.76 %."""
    for seed in range(5):
        sizes = np.unique(words_of(108, seed, turns), return_counts=True, axis=0)[1]
        assert (sizes * (sizes - 1)).sum() / (108 * 107) <= most


@given(st.data(), st.integers(0, 100))
def test_two_runs_exchanged_anywhere_change_one_of_two_pictures(data: st.DataObject, seed: int) -> None:
    n = 108
    p, q = (data.draw(st.integers(2, 20)) for _ in range(2))
    a = data.draw(st.integers(0, n - p - q))
    c = data.draw(st.integers(a + p, n - q))
    old = list(range(n))
    assert max(changes([*old[:a], *old[c : c + q], *old[a + p : c], *old[a : a + p], *old[c + q :]], n, seed)) >= 1


def test_a_longer_picture_begins_like_a_shorter_one() -> None:
    for turn in range(6):
        whole = frame_code(length=900, turn=turn, seed=2)
        for length in (1, 119, 120, 121, 500):
            assert np.array_equal(whole[:length], frame_code(length=length, turn=turn, seed=2))


@pytest.mark.parametrize("seed", range(5))
def test_no_shift_is_a_period(seed: int) -> None:
    for code in (frame_code(length=400, turn=turn, seed=seed) for turn in (0, 1)):
        for shift in range(1, 200):
            assert np.mean(code[shift:] != code[:-shift]) > 0.5


@pytest.mark.parametrize("old_count", LENGTHS)
def test_every_insertion_changes_a_picture_unless_it_is_behind_the_last(old_count: int) -> None:
    for seed, at, size in itertools.product(range(3), range(old_count), range(1, 7)):
        wiring = list(range(old_count))
        wiring[at:at] = [-1] * size
        assert max(changes(wiring, old_count, seed)) > 0
    wiring = [*range(old_count), -1]
    assert changes(wiring, old_count, 0) == [0, 0]  # nothing follows: a light off the list, or a probe, must show it


@pytest.mark.parametrize("old_count", LENGTHS)
def test_every_removed_run_changes_both_pictures(old_count: int) -> None:
    for seed, at, size in itertools.product(range(3), range(old_count), range(1, 5)):
        wiring = [p for p in range(old_count) if not at <= p < at + size]
        assert min(changes(wiring, old_count, seed)) >= 1


@pytest.mark.parametrize("old_count", LENGTHS)
def test_near_swaps_show_at_both_places(old_count: int) -> None:
    for seed in range(3):
        for a, distance in itertools.product(range(old_count), range(1, WINDOW)):
            if a + distance >= old_count:
                continue
            wiring = list(range(old_count))
            wiring[a], wiring[a + distance] = wiring[a + distance], wiring[a]
            assert max(changes(wiring, old_count, seed)) == 2
            if distance == 1:
                assert changes(wiring, old_count, seed) == [2, 2]


@pytest.mark.parametrize("old_count", LENGTHS)
def test_every_reversed_run_changes_a_picture(old_count: int) -> None:
    for seed in range(3):
        for start, stop in itertools.combinations(range(old_count + 1), 2):
            if stop - start < 2:
                continue
            wiring = list(range(old_count))
            wiring[start:stop] = wiring[start:stop][::-1]
            seen = changes(wiring, old_count, seed)
            assert max(seen) >= 2
            if (stop - start) % 2 == 0:
                assert min(seen) >= 2  # the two in the middle are neighbours and trade places


@pytest.mark.parametrize("old_count", first_now([5, 12, 25], now=2))
def test_every_moved_run_changes_a_picture(old_count: int) -> None:
    for seed in range(2):
        for start, stop in itertools.combinations(range(old_count + 1), 2):
            rest = [p for p in range(old_count) if not start <= p < stop]
            for target in range(len(rest) + 1):
                wiring = [*rest[:target], *range(start, stop), *rest[target:]]
                if wiring != list(range(old_count)):
                    assert max(changes(wiring, old_count, seed)) >= 2


def test_plain_ways_fail_where_the_docstring_says_so() -> None:
    cycling = np.arange(60) % 4
    wiring = list(range(40))
    wiring[7:7] = [-1] * 4
    assert differing(cycling.astype(np.int8), wiring, 40) == 0
    two = (np.arange(60) % 2).astype(np.int8)
    flipped = list(range(40))
    flipped[10:15] = flipped[10:15][::-1]
    assert differing(two, flipped, 40) == 0


def test_frames_are_the_same_everywhere_and_new_each_time() -> None:
    assert frame_code(length=16, turn=0, seed=1).tolist() == [int(c) for c in "3120201313023012"]
    turns = [tuple(frame_code(length=60, turn=t, seed=3).tolist()) for t in range(8)]
    assert len(set(turns)) == 8


def test_bad_arguments_are_refused() -> None:
    with pytest.raises(ValueError, match="fewer than 0"):
        frame_code(length=-1, turn=0)
    with pytest.raises(ValueError, match="fewer than 0"):
        frame_code(length=1, turn=-1)
