"""Tables by lamp, by pixel and by place: what they say is what the map says, read by another reader."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given

from probe.document.file import demo_map_path, load_map
from probe.document.lamp_table import lamp_table, light_of
from probe.document.model import Chain, Lamp, PlayfieldMap
from probe.document.model.game import Group
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_lamps, update_place
from probe.export.tables import (
    LAMP_COLUMNS,
    PIXEL_COLUMNS,
    PLACE_COLUMNS,
    write_by_lamp,
    write_by_pixel,
    write_by_place,
)
from tests.document.strategies import maps


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def demo() -> PlayfieldMap:
    return load_map(demo_map_path("kelp_forest.json"))


def test_by_lamp_every_row_of_the_list_has_the_pixels_of_its_number() -> None:
    map_ = demo()
    found = rows(write_by_lamp(map_))
    assert [row["name"] for row in found] == [lamp.name for lamp in map_.lamps]
    table = lamp_table(map_)
    for row in found:
        if row["lamp"]:
            wanted = table.lamp(int(row["lamp"]))
            assert wanted is not None
            assert row["pixels"] == " ".join(f"{p.output}:{p.number}" for p in wanted.pixels)
    assert {row["name"]: row["pixels"] for row in found}["Anemone bumper"] == "0:56 0:57"


def test_by_pixel_every_number_is_there_in_order() -> None:
    map_ = demo()
    found = rows(write_by_pixel(map_))
    assert [(row["output"], row["number"]) for row in found] == [
        (str(chain.output), str(number)) for chain in map_.chains for number in range(len(chain.pixels))
    ]
    for row, (_, _, pixel) in zip(found, map_.walk_pixels(), strict=True):
        place = map_.place_of(pixel)
        assert row["place"] == (place.label if place else "")
        assert row["lamps"] == (" ".join(map(str, place.lamps)) if place else "")
        assert row["state"] == pixel.state.value


def test_by_place_every_place_is_there_once() -> None:
    map_ = demo()
    found = rows(write_by_place(map_))
    assert [(row["place"], row["area"], row["group"]) for row in found] == [
        (p.label, p.area, p.group) for p in map_.places
    ]
    assert all(row["lamps"] or row["group"] for row in found)


def test_level_and_colour_come_from_the_place_then_its_group_then_the_default() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, count=3))
    for number, label in enumerate(("Glow 1", "Glow 2", "Glow 3")):
        map_, place = add_place(map_, label, group="Reef " if number < 2 else "")
        map_ = assign_place(map_, "a", number, place.id)
    map_ = update_place(map_, map_.places[1].model_copy(update={"level": 255}))
    map_ = map_.model_copy(update={"groups": (Group(name="reef", level=128, colour="FF8000"),)})
    assert [light_of(map_, place)[0] for place in map_.places] == [128, 255, 255]
    assert [light_of(map_, place)[1].text for place in map_.places] == ["FF8000", "FF8000", "FFFFFF"]
    found = rows(write_by_place(map_))
    # CIE 15: L* 50.2 is 18.6 % of the light, 47 of 255
    assert [row["duty"] for row in found] == ["2F1800", "FF8000", "FFFFFF"]


def test_lamps_and_groups_that_only_places_name_are_there_too() -> None:
    map_, _ = add_place(new_map("Kelp Forest"), "Reef lane 1", lamps=(9,))
    map_, _ = add_place(map_, "Reef glow", group="=always on")
    map_ = set_lamps(map_, [Lamp(number=4, name="-cmd")])
    found = rows(write_by_lamp(map_))
    assert [(row["lamp"], row["name"], row["group"]) for row in found] == [
        ("4", "'-cmd", ""), ("9", "", ""), ("", "", "'=always on"),
    ]  # fmt: skip


@pytest.mark.slow
@given(maps())
def test_any_map_makes_square_tables_that_start_no_formula(map_: PlayfieldMap) -> None:
    for write, columns in (
        (write_by_lamp, LAMP_COLUMNS), (write_by_pixel, PIXEL_COLUMNS), (write_by_place, PLACE_COLUMNS),
    ):  # fmt: skip
        text = write(map_)
        assert text == write(map_)
        read = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert tuple(read[0]) == columns
        for row in read:
            assert len(row) == len(columns)
            for cell in row:
                assert not cell.startswith(("=", "+", "@", "\t", "\r"))
                assert not cell.startswith("-") or cell[1:2].isdigit()
