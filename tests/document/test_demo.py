"""The demonstration files are what their tables say, and what the program's own words promise."""

from __future__ import annotations

import runpy
from collections import Counter
from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.joining import open_rows, places_of_lamp
from probe.document.model import Kind, PixelState, PlayfieldMap
from probe.export import read_csv, read_lamp_list, write_csv

FOLDER = Path(__file__).parents[2] / "demo_maps"


@pytest.fixture(scope="module")
def complete() -> PlayfieldMap:
    return load_map(FOLDER / "kelp_forest.json")


@pytest.fixture(scope="module")
def half() -> PlayfieldMap:
    return load_map(FOLDER / "kelp_forest_half.json")


def test_the_files_are_what_the_tables_make() -> None:
    made = runpy.run_path(str(FOLDER / "build_demo.py"))["files"]()
    assert set(made) == {"kelp_forest.json", "kelp_forest_half.json", "kelp_forest_lamps.csv"}
    for name, content in made.items():
        assert (FOLDER / name).read_bytes() == content, f"run: python demo_maps/build_demo.py ({name})"


def test_the_machine_is_whole(complete: PlayfieldMap) -> None:
    playfield, backbox = complete.chains
    assert (playfield.id, playfield.output, playfield.count, len(playfield.pixels)) == ("playfield", 0, 84, 84)
    assert (backbox.id, backbox.output, backbox.count, len(backbox.pixels)) == ("backbox", 1, 24, 24)
    assert 85 <= len(complete.places) <= 100
    assert set(Counter(place.kind for place in complete.places)) >= {
        Kind.INSERT, Kind.BUMPER, Kind.GENERAL, Kind.FLASHER, Kind.BACKBOX,
    }  # fmt: skip
    states = {pixel.state for _, _, pixel in complete.walk_pixels()}
    assert states == {PixelState.PLACED, PixelState.SPARE, PixelState.REPEATER, PixelState.DEAD, PixelState.HIDDEN}
    bumpers = [place for place in complete.places if place.kind is Kind.BUMPER]
    assert bumpers
    assert all(len(complete.pixels_at[place.id]) == 2 for place in bumpers)


def test_every_place_is_where_its_kind_says(complete: PlayfieldMap) -> None:
    spots = Counter((place.position.x_mm, place.position.y_mm) for place in complete.places if place.position)
    assert len(spots) == len(complete.places)
    for place in complete.places:
        assert place.position is not None
        assert (place.position.y_mm > complete.machine.length_mm) is (place.kind is Kind.BACKBOX)


def test_lamps_are_joined_and_the_rest_is_in_groups(complete: PlayfieldMap) -> None:
    lamps = read_lamp_list((FOLDER / "kelp_forest_lamps.csv").read_bytes())
    assert lamps == complete.lamps
    switched = [lamp for lamp in lamps if lamp.number is not None]
    assert 60 <= len(switched) <= 64
    assert {number for place in complete.places for number in place.lamps} == {lamp.number for lamp in switched}
    assert all(bool(place.lamps) != bool(place.group) for place in complete.places)
    # eight rows by eight columns, each crossing used once
    assert len({(lamp.row, lamp.column) for lamp in switched}) == len(switched)
    assert all(lamp.row and lamp.column and lamp.row <= 8 and lamp.column <= 8 for lamp in switched)
    assert all(len(places_of_lamp(complete, lamp)) == 1 for lamp in lamps)
    assert not open_rows(complete)


def test_the_half_mapped_one_goes_on_where_it_stopped(complete: PlayfieldMap, half: PlayfieldMap) -> None:
    assert half.bookmark is not None
    assert half.bookmark.chain == "playfield"
    stop = half.bookmark.number
    assert 30 < stop < 60
    for number, (whole, part) in enumerate(zip(complete.chains[0].pixels, half.chains[0].pixels, strict=True)):
        assert whole.id == part.id
        assert part.state is (whole.state if number < stop else PixelState.UNSEEN)
        assert part.place == (whole.place if number < stop else None)
    assert all(pixel.state is PixelState.UNSEEN for pixel in half.chains[1].pixels)
    assert half.lamps == complete.lamps
    assert all(place in complete.places for place in half.places)


@pytest.mark.parametrize("name", ["kelp_forest.json", "kelp_forest_half.json"])
def test_the_table_of_a_demonstration_gives_it_back(name: str) -> None:
    map_ = load_map(demo_map_path(name))
    assert read_csv(write_csv(map_)) == map_


def test_a_missing_demonstration_says_where_it_was_searched() -> None:
    with pytest.raises(FileNotFoundError, match=r"no demonstration file 'squid.json' in .*demo_maps"):
        demo_map_path("squid.json")
