"""How many keys the demo takes, for a person who looks at the offers first."""

from __future__ import annotations

from probe.document.file import demo_map_path, load_map
from probe.document.joining import open_rows
from probe.document.model import PixelState, PlayfieldMap
from probe.mapping.walk import WalkTask
from probe.mapping.walk_state import start
from tests.support.person import Person, same_answers
from tests.support.played import Played
from tests.support.walker import blank_copy


def walked(truth: PlayfieldMap, *, lamps: bool) -> tuple[float, PlayfieldMap]:
    """Keys for each pixel, and the map that came of it."""
    walk = Played(WalkTask(), start(blank_copy(truth, lamps=lamps), paper=True))
    person = Person(truth)
    while any(pixel.state is PixelState.UNSEEN for _, _, pixel in walk.map.walk_pixels()):
        walk(*person.inputs(walk.state))
    return person.count.keys / person.count.answers, walk.map


def test_with_the_lamp_list_most_answers_are_one_key() -> None:
    truth = load_map(demo_map_path("kelp_forest.json"))
    keys, map_ = walked(truth, lamps=True)
    assert keys <= 1.5
    assert not same_answers(map_, truth)
    assert [lamp.name for lamp in open_rows(map_)] == ["Trench eel 3"], "all joined on the way, but the dead one"
    by_label = {place.label: place for place in truth.places}
    for place in map_.places:
        assert (place.lamps, place.group, place.kind) == (
            by_label[place.label].lamps, by_label[place.label].group, by_label[place.label].kind,
        )  # fmt: skip


def test_without_it_the_map_is_the_same_in_few_keys() -> None:
    truth = load_map(demo_map_path("kelp_forest.json"))
    keys, map_ = walked(truth, lamps=False)
    assert keys <= 5
    assert not same_answers(map_, truth)
