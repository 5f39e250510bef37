"""How far a board is told that a chain reaches."""

from __future__ import annotations

import pytest

from device_protocol.values import Colour
from probe.document.model import Chain
from probe.document.operations import add_chain, new_map, set_count
from probe.runtime.light_orders import outputs_of, setup_for
from probe.task.light import Pixels
from tests.support.boards import identity


@pytest.mark.parametrize("number", [0, 1, 62, 63, 64, 65, 127, 128, 200])
def test_an_open_chain_is_set_up_to_beyond_the_pixel_lit(number: int) -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Open", output=0))
    setup = setup_for(0, map_, identity(), Pixels.one(0, number, Colour(1, 1, 1)))
    assert setup is not None
    assert setup.count > number


def test_never_for_more_than_the_board_has() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Open", output=0))
    setup = setup_for(0, map_, identity(pixels=100), Pixels.one(0, 99, Colour(1, 1, 1)))
    assert setup is not None
    assert setup.count == 100


def test_a_chain_without_pixels_is_not_set_up_for_the_table() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Open", output=0))
    map_ = set_count(add_chain(map_, Chain(id="b", name="Six", output=1)), "b", 6)
    assert set(outputs_of(map_, identity())) == {1}
