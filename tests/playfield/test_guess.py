"""Where a newly named place may be: always somewhere, always marked as a guess, near what its words name."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document import operations as op
from probe.document.file import demo_map_path, load_map
from probe.document.model import Kind, PlayfieldMap, Position
from probe.playfield import guess_position
from tests.document.strategies import labels


def empty() -> PlayfieldMap:
    return op.new_map("Any machine")


def near(found: Position, x_mm: float, y_mm: float, within_mm: float) -> bool:
    return math.dist((found.x_mm, found.y_mm), (x_mm, y_mm)) <= within_mm


@pytest.mark.parametrize(
    ("label", "x_mm", "y_mm"),
    [
        ("Left sling", 112, 240),
        ("Right slingshot 1", 383, 240),
        ("Left flipper", 150, 160),
        ("Right flipper glow", 345, 160),
        ("Bumper", 190, 875),
        ("Pop bumper right", 312, 875),
        ("Lane 3", 274, 985),
        ("Top rollover 1", 170, 985),
        ("Right outlane", 430, 275),
        ("Left return lane", 102, 270),
        ("Shooter lane", 485, 150),
    ],
)
def test_words_name_shapes(label: str, x_mm: float, y_mm: float) -> None:
    found = guess_position(empty(), label)
    assert found.guessed
    assert near(found, x_mm, y_mm, 40), found


def test_a_second_bumper_takes_a_free_one() -> None:
    map_ = empty()
    spots = []
    for _ in range(3):
        found = guess_position(map_, "Bumper", kind=Kind.BUMPER)
        spots.append((found.x_mm, found.y_mm))
        map_, _ = op.add_place(map_, f"Bumper {len(spots)}", kind=Kind.BUMPER, position=found)
    assert sorted(spots) == [(190, 875), (250, 790), (312, 875)]


def test_a_row_goes_on_before_words_are_looked_at() -> None:
    before = (Position(x_mm=200, y_mm=300), Position(x_mm=180, y_mm=290))
    assert guess_position(empty(), "Lane 3", before=before, continues_row=True) == Position(
        x_mm=220, y_mm=310, guessed=True
    )


def test_without_words_it_is_a_step_along_the_wire() -> None:
    before = (Position(x_mm=200, y_mm=300), Position(x_mm=100, y_mm=300))
    found = guess_position(empty(), "Otter", before=before, spacing_mm=80)
    assert (found.x_mm, found.y_mm) == (260, 300)


def test_in_the_backbox_it_is_above_the_field() -> None:
    map_ = empty()
    assert guess_position(map_, "Left bumper lights", kind=Kind.BACKBOX).y_mm > map_.machine.length_mm


@given(
    labels, st.lists(st.tuples(st.floats(0, 514), st.floats(0, 1066)), max_size=3), st.sampled_from(Kind), st.booleans()
)
def test_there_is_always_a_guess_on_the_machine(
    label: str, spots: list[tuple[float, float]], kind: Kind, row: bool
) -> None:
    before = tuple(Position(x_mm=x, y_mm=y) for x, y in spots)
    found = guess_position(empty(), label, kind=kind, before=before, continues_row=row)
    assert found.guessed
    assert 0 <= found.x_mm <= 514.35
    assert (found.y_mm > 1066.8) == (kind is Kind.BACKBOX)


def test_two_guesses_do_not_lie_on_each_other() -> None:
    map_ = empty()
    for number in range(40):
        map_, _ = op.add_place(map_, f"Eel {number}", position=guess_position(map_, f"Eel {number}"))
    spots = [(p.position.x_mm, p.position.y_mm) for p in map_.places if p.position is not None]
    assert len(set(spots)) >= 20


def test_kelp_forest_walked_anew_is_guessed_near_where_it_is() -> None:
    """How near the guesses come on an invented machine whose field is not drawn: half of them within a hand's width."""
    kelp = load_map(demo_map_path())
    map_ = empty()
    off = []
    chain = kelp.chain("playfield")
    walked: list[Position] = []
    for pixel in chain.pixels:
        place = kelp.place_of(pixel)
        if place is None or place.position is None:
            continue
        found = guess_position(map_, place.label, kind=place.kind, area=place.area, before=tuple(reversed(walked[-2:])))
        off.append(math.dist((found.x_mm, found.y_mm), (place.position.x_mm, place.position.y_mm)))
        map_, _ = op.add_place(map_, place.label, area=place.area, kind=place.kind, position=place.position)
        walked.append(place.position)
    assert statistics.median(off) < 80
