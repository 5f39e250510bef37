"""A practice round's board: what it clocks out goes through the model wiring before it is seen."""

from __future__ import annotations

import pytest

from probe.document.checks import check_map
from probe.faults.behaviour import Seen
from probe.faults.plant import PLANTERS, plant
from probe.faults.scene import CHAIN, PracticeBoard, Scene, practice_map, sign
from probe.faults.tables import load
from probe.patterns.pictures import Colour

K = load()


def lit(cause: str, *, byte: int = 1, seed: int = 5, level: int = 20) -> PracticeBoard:
    """A board that has sent one byte of every pixel (1: red in the order GRB) at a level."""
    planted = plant([cause], seed=seed)
    board = PracticeBoard(planted)
    order = planted.wiring.settings.order
    board.outputs[0].byte_order = order
    one = bytes(level if at == byte else 0 for at in range(len(order)))
    board.clock_out(0, one * planted.wiring.settings.count)
    return board


@pytest.mark.parametrize(
    ("cause", "signs"),
    [
        ("no-5v", "·" * 50),
        ("no-common-ground", "~" * 50),
        ("joint-open", "R" * 22 + "·" * 28),
        ("led-dead", "R" * 22 + "·" + "R" * 27),
        ("turned-away", "R" * 22 + "·" + "R" * 27),
        ("corrupts-after", "R" * 22 + "~" * 28),
    ],
)
def test_the_chain_shows_what_the_fault_makes_of_red(cause: str, signs: str) -> None:
    seen = lit(cause, seed=5).signs()
    assert seen == signs


def test_three_colours_sent_to_four_colour_pixels_repeat() -> None:
    # bytes 0 L 0 0 L 0 ... taken four at a time in the order G, R, B, W: red; green and white; blue; and again
    assert lit("rgbw-as-rgb").signs().startswith("R+BR+B")


def test_what_is_seen_beside_the_pixels_is_remarked() -> None:
    assert lit("chains-crossed").remarks() == ("another chain lights",)
    assert lit("joint-open").remarks() == ()


def test_signs_tell_colours_apart_without_colour() -> None:
    assert sign(Seen(Colour(9, 9, 0))) == "Y"
    assert sign(Seen(Colour(9, 9, 9), tinted=True)) == "w"
    assert sign(Seen(Colour(9, 1, 1))) == "R"
    assert sign(Seen(Colour(0, 0, 0))) == "·"
    assert sign(Seen(Colour(9, 0, 0), steady=False)) == "~"


@pytest.mark.parametrize("cause", sorted(PLANTERS))
def test_every_fault_has_a_map_and_a_view(cause: str) -> None:
    planted = plant([cause], seed=9)
    m = practice_map(planted)
    assert len(m.chain(CHAIN).pixels) == planted.wiring.settings.count
    assert not [finding for finding in check_map(m) if finding.severity == "fault"]
    assert len(lit(cause, seed=9).signs()) == planted.wiring.count


def test_the_same_seed_gives_the_same_scene() -> None:
    one, other = Scene(K, seed=4), Scene(K, seed=4)
    assert one.planted == other.planted
    assert one.tool == other.tool
    assert [one.told(o.id) for o in K.observations] == [other.told(o.id) for o in K.observations]
