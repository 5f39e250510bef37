"""Several pixels at one place: a probe cannot tell them apart, and need not."""

from __future__ import annotations

import pytest

from probe.recheck.engine import Options, Probe, Recheck, Setup
from probe.recheck.engine.model import NEW, AtNewPlace, AtPlace, NothingLit
from probe.recheck.engine.world import World
from tests.support.examples import first_now

LENGTH = 40


def setup() -> Setup:
    return Setup(order=tuple(range(LENGTH)), has_place=(True,) * LENGTH, alike=((10, 11), (20, 21, 22)))


def place(entry: int) -> int:
    """The first pixel of its group."""
    return next((group[0] for group in setup().alike if entry in group), entry)


def test_every_pixel_of_a_group_is_seen_where_its_first_one_is() -> None:
    assert World(setup()).spot[[9, 10, 11, 20, 22, 23]].tolist() == [9, 10, 10, 20, 20, 23]


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
            state = state.answered(action, AtPlace(place(entry)))
    found = state.result()
    order = [f.old if f.old is not None else NEW for f in found.numbers]
    places = [e if e == NEW else place(e) for e in order]
    assert places == [e if e == NEW else place(e) for e in truth]
    assert not state.doubts(least=0.3)
