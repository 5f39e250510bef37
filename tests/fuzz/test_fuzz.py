"""A short run each time; FUZZ_INPUTS=1000000 makes it long. What is reached of each reader is held too."""

from __future__ import annotations

import os

import pytest

from tests.fuzz.run import coverage, fuzz, shares
from tests.fuzz.targets import TARGETS, Target
from tests.support.examples import examples

INPUTS = int(os.environ.get("FUZZ_INPUTS", examples(12_000)))
SEED = int(os.environ.get("FUZZ_SEED", "1"))
LEAST_REACHED = 0.6
"""Of the lines in functions of each reader's modules; what is left is mostly what writes, not reads."""


@pytest.mark.slow
@pytest.mark.timeout(7_200)
@pytest.mark.parametrize(("target", "inputs"), list(shares(INPUTS)), ids=[target.name for target in TARGETS])
def test_nothing_from_outside_breaks_a_reader(target: Target, inputs: int) -> None:
    fuzz(target, inputs=inputs, seed=SEED)


@pytest.mark.slow
@pytest.mark.parametrize("target", [t for t in TARGETS if t.modules], ids=lambda target: target.name)
def test_the_inputs_reach_the_readers(target: Target) -> None:
    reached, there = coverage(target, inputs=1_500, seed=SEED, enough=LEAST_REACHED)
    print(f"{target.name}: {reached} of {there} lines")
    assert reached / there > LEAST_REACHED
