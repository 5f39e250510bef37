"""Coloured plastics: the list says what will be seen, and its words are those that the plastic leaves."""

from __future__ import annotations

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.model import Kind, Lamp, Place, PlayfieldMap, Position
from probe.lighting.plastics import Tint
from probe.recheck.colours import LOOK_COLOURS, UNKNOWN, behind, colours_words, look_spots, seen_at
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import Prior
from probe.recheck.entries import entries_of
from probe.recheck.state import RecheckStage
from probe.task.events import Take
from tests.recheck.test_recheck import BOARD, Bench
from tests.support.rechecker import wiring_of_chain

RED, YELLOW, BLUE, WHITE = range(4)


def test_behind_a_red_insert_red_yellow_and_white_look_red_and_blue_looks_dark() -> None:
    """An RGB pixel behind red plastic: common practice, no source; by the model of plastics here."""
    red = behind(Tint.RED)
    assert red.words == (RED, RED, UNLIT, RED)
    assert red.names == ("red", "red", "dark", "red")


def test_an_rgb_pixel_cannot_look_amber_behind_amber() -> None:
    """No light lies between its red and its green: common practice, no source; by the model of plastics here."""
    assert "amber" not in behind(Tint.AMBER).names
    assert behind(Tint.AMBER).names[BLUE] == "dark"


def test_behind_blue_red_is_dark_and_blue_and_white_are_one_word() -> None:
    blue = behind(Tint.BLUE)
    assert blue.names[RED] == "dark"
    assert blue.words[BLUE] == blue.words[WHITE]


@pytest.mark.parametrize("tint", [None, *Tint])
def test_one_word_is_one_answer_and_two_words_are_two(tint: Tint | None) -> None:
    at = behind(tint)
    for one in range(len(LOOK_COLOURS)):
        for other in range(len(LOOK_COLOURS)):
            assert (at.words[one] == at.words[other]) == (at.names[one] == at.names[other])
        assert (at.words[one] == UNLIT) == (at.names[one] == "dark")
        if at.words[one] != UNLIT:
            assert at.words[at.words[one]] == at.words[one]


def test_a_sign_stands_for_what_is_seen() -> None:
    assert colours_words((WHITE,), at=behind(Tint.RED)) == "◆ red"
    assert colours_words((BLUE,), at=behind(Tint.RED)) == "· dark"
    assert colours_words((YELLOW,), at=behind(Tint.GREEN)) == "○ green"
    assert colours_words((YELLOW,), at=behind(Tint.GREEN), plain_ascii=True) == "O green"


def test_the_picture_has_the_sign_of_what_is_seen_not_of_what_is_sent() -> None:
    at = Position(x_mm=10.0, y_mm=20.0)
    map_ = _map("red", "clear")
    map_ = map_.model_copy(update={"places": tuple(one.model_copy(update={"position": at}) for one in map_.places)})
    spots = look_spots(map_, {"p1": (WHITE,), "p2": (WHITE,)}, plain_ascii=True)
    assert [spot.sign for spot in spots] == [LOOK_COLOURS[RED].letter, LOOK_COLOURS[WHITE].letter]
    dark, _ = look_spots(map_, {"p1": (BLUE,), "p2": (BLUE,)}, plain_ascii=True)
    assert dark.sign == "."


def _map(*colours: str) -> PlayfieldMap:
    lamps = tuple(Lamp(number=n, name=f"L{n}", insert_colour=colour) for n, colour in enumerate(colours, 1))
    places = tuple(Place(id=f"p{n}", label=f"P{n}", kind=Kind.INSERT, lamps=(n,)) for n in range(1, len(colours) + 1))
    return load_map(demo_map_path()).model_copy(update={"lamps": lamps, "places": places})


def test_an_insert_of_unknown_plastic_may_show_anything_where_others_are_known() -> None:
    map_ = _map("red", "", "clear")
    assert [seen_at(map_, place) for place in map_.places] == [behind(Tint.RED), UNKNOWN, behind(Tint.CLEAR)]
    general = map_.places[1].model_copy(update={"kind": Kind.GENERAL})
    assert seen_at(map_, general) == behind(None)  # no insert: nothing coloured is over it
    bare = _map("", "")
    assert [seen_at(bare, place) for place in bare.places] == [behind(None)] * 2


def test_a_place_that_may_show_anything_is_not_on_the_list_of_a_picture() -> None:
    map_ = load_map(demo_map_path())
    chain = map_.chains[0]
    placed = [place for pixel in chain.pixels if (place := map_.place_of(pixel)) is not None]
    known = {lamp.number for lamp in map_.lamps if lamp.insert_colour}
    insert = next(place for place in placed if place.kind is Kind.INSERT and known & set(place.lamps))
    lamps = [
        lamp.model_copy(update={"insert_colour": ""}) if lamp.number in insert.lamps else lamp for lamp in map_.lamps
    ]
    bare = map_.model_copy(update={"lamps": tuple(lamps)})
    assert seen_at(bare, insert) is UNKNOWN

    def listed(map_: PlayfieldMap) -> set[int]:
        bench = Bench(map_, wiring_of_chain(map_, chain), BOARD)
        bench(Take())
        assert bench.state.stage is RecheckStage.LOOK
        return {entry for item in bench.state.items for entry in item.entries}

    here = {entry for entry, pixel in enumerate(chain.pixels) if pixel.place == insert.id}
    assert here
    assert listed(map_) - listed(bare) == here


@pytest.mark.parametrize("declared", [False, True])
def test_what_was_stated_leaves_fewer_changes_to_expect(declared: bool) -> None:
    map_ = load_map(demo_map_path())
    prior = entries_of(map_, map_.chains[0].id, ()).setup(declared=declared, most_numbers=None).prior
    assert prior == (Prior.after_declaration() if declared else Prior())
    assert prior.another == (0.25 if declared else 0.6)


def test_the_recheck_is_told_what_is_seen_at_each_place() -> None:
    map_ = load_map(demo_map_path())
    chain = map_.chains[0]
    setup = entries_of(map_, chain.id, ()).setup(declared=False, most_numbers=None)
    for entry, pixel in enumerate(chain.pixels):
        place = map_.place_by_id.get(pixel.place or "")
        if place is not None and setup.has_place[entry]:
            assert setup.words[entry] == seen_at(map_, place).words
