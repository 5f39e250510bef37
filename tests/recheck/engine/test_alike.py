"""Several pixels at one place: a probe cannot tell them apart, and need not."""

from __future__ import annotations

import pytest

from probe.recheck.engine import Options, Probe, Recheck, Setup
from probe.recheck.engine.model import NEW, AtNewPlace, AtPlace, NothingLit
from tests.support.examples import first_now

LENGTH = 40


def setup() -> Setup:
    return Setup(order=tuple(range(LENGTH)), has_place=(True,) * LENGTH, alike=((10, 11), (20, 21, 22)))


def test_a_group_is_found_from_each_of_its_pixels() -> None:
    assert [setup().like(n) for n in (9, 10, 11, 22)] == [(9,), (10, 11), (10, 11), (20, 21, 22)]


@pytest.mark.parametrize("spliced_at", first_now([11, 5, 21, 30]))
def test_probes_alone_find_a_splice_through_groups(spliced_at: int) -> None:
    """The person always names the first pixel of a group, whichever it is."""
    truth = [*range(spliced_at), NEW, *range(spliced_at, LENGTH)]
    state = Recheck.start(setup(), Options(looks=False))
    for _ in range(120):
        action = state.next_step().action
        if action is None:
            break
        assert isinstance(action, Probe)
        entry = truth[action.number] if action.number < len(truth) else None
        if entry is None:
            state = state.answered(action, NothingLit())
        elif entry == NEW:
            state = state.answered(action, AtNewPlace())
        else:
            state = state.answered(action, AtPlace(setup().like(entry)[0]))
    found = state.result()
    order = [f.old if f.old is not None else NEW for f in found.numbers]
    places = [e if e == NEW else setup().like(e)[0] for e in order]
    assert places == [e if e == NEW else setup().like(e)[0] for e in truth]
    assert not state.doubts(least=0.3)
