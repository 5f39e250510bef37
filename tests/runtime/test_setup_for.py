"""How far a board is told that a chain reaches."""

from __future__ import annotations

import pytest

from device_protocol.orders import LightPixel
from device_protocol.values import Colour
from probe.document.model import Chain
from probe.document.operations import add_chain, new_map, set_count
from probe.runtime.light_orders import outputs_of, part_orders, setup_for
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


def test_what_the_board_does_not_allow_is_lowered() -> None:
    chain = Chain(id="a", name="Long", output=0, order="RGB", ceiling_ma=9_000)
    map_ = set_count(add_chain(new_map("Kelp Forest"), chain), "a", 300)
    setup = setup_for(0, map_, identity(pixels=40, ceiling_ma=2_000))
    assert setup is not None
    assert (setup.count, setup.order, setup.ceiling_ma) == (40, "RGB", 2_000)


def test_what_cannot_be_set_up_is_left_as_it_is() -> None:
    """An output that the board does not have, and a board without `setup`, whose byte order and count are fixed."""
    map_ = set_count(add_chain(new_map("Kelp Forest"), Chain(id="a", name="Third", output=3)), "a", 10)
    assert outputs_of(map_, identity()) == {}
    map_ = set_count(add_chain(new_map("Kelp Forest"), Chain(id="a", name="First", output=0)), "a", 10)
    assert outputs_of(map_, identity(features=frozenset({"range"}))) == {}
    part = Pixels.one(0, 39, Colour(9, 0, 0))
    assert part_orders(part, identity(features=frozenset(), pixels=40), None) == [LightPixel(0, 39, Colour(9, 0, 0))]
