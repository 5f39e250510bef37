"""Test patterns: what they show when, that none flashes too fast or exceeds the ceiling."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.current import current_ua
from device_protocol.values import DARK, Colour
from probe.patterns.flash import MOST_CHANGES, MOST_FLASHES, WINDOW_MS, flashes_per_second
from probe.patterns.patterns import (
    Advance,
    DataLine,
    Frame,
    Pattern,
    PatternChain,
    PatternError,
    PatternName,
    frame,
    pattern,
    steady,
    step_at,
    steps,
)
from probe.patterns.pictures import BLUE, GREEN, RED, Picture

CHAIN = PatternChain(count=10, ceiling_ma=450, channel_ua=20_000, idle_ua=1_000)
names = st.sampled_from(list(PatternName))
chains = st.builds(
    PatternChain,
    count=st.integers(1, 60),
    output=st.integers(0, 15),
    ceiling_ma=st.integers(1, 3_000),
    channel_ua=st.integers(1_000, 20_000),
    idle_ua=st.integers(0, 1_000),
)


def frame_at(made: Pattern, chain: PatternChain, *, at_ms: int) -> Frame:
    """The frame shown `at_ms` after the start, by the clock."""
    return frame(made, chain, step_at(made, at_ms=at_ms))


def flash_rate(made: Pattern, chain: PatternChain) -> float:
    """The most flashes in any second while the pattern runs by itself, strictly counted: any change is half a flash."""
    if made.advance is Advance.KEY:
        return 0.0
    looked_at = steps(made, chain) + max(MOST_CHANGES + 1, WINDOW_MS // made.step_ms + 1)
    before = frame(made, chain, 0).picture
    changes = []
    for step in range(1, looked_at + 1):
        picture = frame(made, chain, step).picture
        if picture != before:
            changes.append(step * made.step_ms)
        before = picture
    return flashes_per_second(changes)


def need_ua(picture: Picture, *, channel_ua: int, idle_ua: int) -> int:
    total = sum(colour.total for colour in picture)
    return current_ua(count=len(picture), colour_sum=total, channel_ua=channel_ua, idle_ua=idle_ua)


@given(names, chains, st.integers(0, 200))
def test_no_frame_exceeds_the_ceiling_unless_it_is_dark(name: PatternName, chain: PatternChain, step: int) -> None:
    picture = frame(pattern(name), chain, step).picture
    assert len(picture) == chain.count
    need = need_ua(picture, channel_ua=chain.channel_ua, idle_ua=chain.idle_ua)
    assert need <= chain.ceiling_ma * 1_000 or all(colour == DARK for colour in picture)


@given(names, st.integers(1, 40), st.integers(1, 3_000))
def test_no_pattern_flashes_more_than_three_times_a_second(name: PatternName, count: int, step_ms: int) -> None:
    made = pattern(name, {"step_ms": str(step_ms)})
    assert flash_rate(made, PatternChain(count=count)) <= MOST_FLASHES


@given(names, st.integers(1, 20))
def test_steady_only_changes_nothing_by_itself(name: PatternName, count: int) -> None:
    assert flash_rate(steady(pattern(name)), PatternChain(count=count)) == 0.0


@given(names)
def test_steady_patterns_show_the_same_frames_key_by_key(name: PatternName) -> None:
    usual, quiet = pattern(name), steady(pattern(name))
    for step in range(steps(usual, CHAIN)):
        assert frame(quiet, CHAIN, step) == frame(usual, CHAIN, step)


def test_steady_patterns_refuse_the_clock() -> None:
    with pytest.raises(PatternError, match="waits for a key"):
        step_at(steady(pattern("march")), at_ms=0)


def test_three_colours_follow_each_other() -> None:
    seen = [frame_at(pattern("three-colours"), CHAIN, at_ms=at).picture[0].letters for at in (0, 1_999, 2_000, 4_000)]
    assert seen == [RED.letters, RED.letters, GREEN.letters, BLUE.letters]
    assert frame_at(pattern("three-colours"), CHAIN, at_ms=6_000).picture[0].letters == RED.letters


def test_walk_lights_one_pixel_after_the_other_and_starts_over() -> None:
    made = pattern("walk")
    lit = [
        [n for n, colour in enumerate(frame(made, CHAIN, step).picture) if colour != DARK]
        for step in range(CHAIN.count + 1)
    ]
    assert lit == [[n] for n in (*range(CHAIN.count), 0)]


def test_load_steps_rise_to_the_ceiling() -> None:
    needs = [
        need_ua(frame(pattern("load-steps"), CHAIN, step).picture, channel_ua=20_000, idle_ua=1_000)
        for step in range(4)
    ]
    assert needs == sorted(needs)
    assert 0.95 * 450_000 < needs[-1] <= 450_000


def test_send_and_idle_are_dark_and_three_seconds_each() -> None:
    made = pattern("send-idle")
    frames = [frame_at(made, CHAIN, at_ms=at) for at in (0, 2_999, 3_000, 5_999, 6_000)]
    assert [f.line for f in frames] == [
        DataLine.SENDING,
        DataLine.SENDING,
        DataLine.LOW,
        DataLine.LOW,
        DataLine.SENDING,
    ]
    assert all(colour == DARK for f in frames for colour in f.picture)


def test_hold_sends_one_frame_and_never_changes() -> None:
    frames = {frame_at(pattern("hold-one"), CHAIN, at_ms=at) for at in (0, 10_000, 3_600_000)}
    assert {f.line for f in frames} == {DataLine.ONCE}
    assert len(frames) == 1


def test_all_numbers_gives_neighbours_different_colours() -> None:
    picture = frame(pattern("all-numbers"), CHAIN, 0).picture
    assert all(one != two for one, two in itertools.pairwise(picture))


def test_outputs_differ_in_colour() -> None:
    shown = {frame(pattern("all-outputs"), PatternChain(count=2, output=o), 0).picture[0] for o in range(4)}
    assert len(shown) == 4


def test_arguments_are_taken_and_bad_ones_named() -> None:
    made = pattern("all-dim", {"level": "20", "colour": "00FF00"})
    assert frame(made, CHAIN, 0).picture[0] == Colour(0, 20, 0)
    assert pattern("walk", {"step_ms": "1"}).step_ms == 167
    assert steady(pattern("soak")).advance is Advance.KEY
    for name, arguments, text in (
        ("no-such", {}, "no pattern 'no-such'"),
        ("walk", {"speed": "3"}, "no argument 'speed'"),
        ("walk", {"step_ms": "-3"}, "not a whole number"),
        ("walk", {"level": "300"}, "from 1 to 255"),
        ("walk", {"colour": "pink"}, "none of red"),
    ):
        with pytest.raises(PatternError, match=text):
            pattern(name, arguments)


def test_a_step_before_the_first_is_refused() -> None:
    with pytest.raises(PatternError):
        frame(pattern("walk"), CHAIN, -1)
    with pytest.raises(PatternError):
        step_at(pattern("walk"), at_ms=-1)
    with pytest.raises(PatternError, match="at least one pixel"):
        PatternChain(count=0)
