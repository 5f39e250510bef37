"""Session and board over a line that damages, loses, doubles and delays: what is answered was done, and all gets done."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, ChainWiring
from device_protocol.orders import SetupOutput, picture_orders
from device_protocol.session import HostSession
from device_protocol.values import DARK, Colour
from tests.protocol.faulty_line import CarefulOwner, Faults, Job, Line, LoggingBoard, Outcome
from tests.support.examples import examples, first_now

PIXELS = 12
COLOURS = [DARK, DARK, Colour(32, 0, 0), Colour(0, 32, 0), Colour(0, 0, 32)]


def _jobs(rng: random.Random, number: int, pixels: int) -> list[Job]:
    jobs = []
    for _ in range(number):
        if rng.random() < 0.6:
            picture = [DARK] * pixels
            picture[rng.randrange(pixels)] = rng.choice(COLOURS[2:])
        else:
            picture = [rng.choice(COLOURS) for _ in range(pixels)]
        jobs.append(Job(tuple(picture_orders(0, picture, line_limit=64)), tuple(picture)))
    return jobs


def run(faults: Faults, *, seed: int, jobs: int, limit_ms: float, pixels: int = PIXELS) -> tuple[Outcome, Line]:
    rng = random.Random(seed)
    config = BoardConfig(pixels=pixels, line=64, ceiling_ma=20_000)
    board = LoggingBoard(config, [ChainWiring.of_places(map(str, range(pixels)))])
    line = Line(board, HostSession(first_seq=rng.randrange(256)), faults, rng)
    owner = CarefulOwner(line, SetupOutput(0, pixels, "GRB", 20_000), _jobs(rng, jobs, pixels))
    return owner.run(limit_ms=limit_ms), line


@pytest.mark.slow
def test_a_clean_line_asks_nothing_twice() -> None:
    outcome, line = run(Faults(), seed=1, jobs=300, limit_ms=60_000)
    assert outcome.done == 300
    assert line.session.statistics.asked_again == 1  # `id`, at once when the board said that it had started
    assert line.session.statistics.unreadable_lines == 0


@pytest.mark.slow
@given(
    seed=st.integers(0, 2**32),
    flip_bit=st.sampled_from([0, 1e-4, 1e-3]),
    lose_byte=st.sampled_from([0, 1e-3, 5e-3]),
    add_byte=st.sampled_from([0, 1e-3, 5e-3]),
    double_line=st.sampled_from([0, 0.05, 0.5]),
    lose_line=st.sampled_from([0, 0.02, 0.1]),
    delay_ms=st.sampled_from([0.0, 5.0, 100.0]),
)
@settings(max_examples=examples(60), deadline=None)
def test_what_is_answered_was_done_and_all_gets_done(
    seed: int,
    flip_bit: float,
    lose_byte: float,
    add_byte: float,
    double_line: float,
    lose_line: float,
    delay_ms: float,
) -> None:
    faults = Faults(
        flip_bit=flip_bit,
        lose_byte=lose_byte,
        add_byte=add_byte,
        double_line=double_line,
        lose_line=lose_line,
        delay_ms=delay_ms,
    )
    outcome, _ = run(faults, seed=seed, jobs=8, limit_ms=600_000)
    assert outcome.done == 8


@given(seed=st.integers(0, 2**32), lose_line=st.sampled_from([0, 0.1]), delay_ms=st.sampled_from([0.0, 5.0]))
@settings(max_examples=examples(40), deadline=None)
def test_a_board_that_keeps_restarting_is_set_up_anew(seed: int, lose_line: float, delay_ms: float) -> None:
    faults = Faults(restart=0.1, lose_line=lose_line, delay_ms=delay_ms)
    outcome, line = run(faults, seed=seed, jobs=8, limit_ms=600_000)
    assert outcome.done == 8
    assert outcome.restarts_heard <= line.board.restarts


@pytest.mark.slow
@given(seed=st.integers(0, 2**32))
@settings(max_examples=examples(20), deadline=None)
def test_a_hopeless_line_is_given_up_and_nothing_is_claimed(seed: int) -> None:
    outcome, _ = run(Faults(flip_bit=0.05), seed=seed, jobs=2, limit_ms=30_000)
    assert outcome.done == 0
    assert outcome.gave_up >= 4


@pytest.mark.slow
@pytest.mark.parametrize("delay_ms", first_now([300.0, 0.0, 20.0]))
def test_damage_does_not_start_a_chain_of_asking_again(delay_ms: float) -> None:
    """About as many orders are asked again as were damaged, not more and more of them.

    An order asked again while the board clocks out a frame (9 ms here) loses bytes and so is asked for again itself.
    Delays beyond the time that an answer is awaited make a copy or two of many orders, but no more than that.
    """
    faults = Faults(lose_byte=2e-4, delay_ms=delay_ms)
    outcome, line = run(faults, seed=7, jobs=100, limit_ms=2_000_000, pixels=300)
    assert outcome.done == 100
    again = line.session.statistics.asked_again
    first = line.sent_lines - again
    damaged_at_most = first * 80 * 2e-4 * 4  # an order and its reply have up to 80 bytes; four times the mean
    late_at_most = 2 * first if delay_ms > 250 else 0
    assert again <= damaged_at_most + late_at_most
