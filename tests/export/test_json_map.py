"""The JSON export: follows its schema, says the same as the map, the same map gives the same bytes."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from jsonschema import Draft202012Validator

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.export import write_json
from probe.export.json_map import ExportedMap
from probe.export.schema import EXPORT_SCHEMA, export_schema, schema_text
from tests.document.strategies import maps

VALIDATOR = Draft202012Validator(json.loads(EXPORT_SCHEMA.read_text(encoding="utf-8")))
DEMO = load_map(demo_map_path("kelp_forest.json"))


def test_the_published_schema_is_the_models() -> None:
    assert EXPORT_SCHEMA.read_text(encoding="utf-8") == schema_text(), "run: python -m probe.export.schema"
    Draft202012Validator.check_schema(export_schema())


@pytest.mark.slow
@given(maps())
def test_any_map_follows_the_schema_and_is_all_there(map_: PlayfieldMap) -> None:
    text = write_json(map_)
    data = json.loads(text, parse_constant=lambda name: 1 / 0)
    VALIDATOR.validate(data)
    ExportedMap.model_validate_json(text)
    assert text.splitlines() == text[:-1].split("\n")
    assert data["machine"]["name"] == map_.machine.name
    for chain, exported in zip(map_.chains, data["chains"], strict=True):
        assert {name: exported[name] for name in ("id", "name", "output", "count", "order", "chip", "note")} == {
            name: getattr(chain, name) for name in ("id", "name", "output", "count", "order", "chip", "note")
        }
        assert [pixel["number"] for pixel in exported["pixels"]] == list(range(len(chain.pixels)))
        for pixel, out in zip(chain.pixels, exported["pixels"], strict=True):
            place = map_.place_of(pixel)
            assert (out["id"], out["state"], out["note"]) == (pixel.id, pixel.state, pixel.note)
            assert (out["place"], out["name"]) == (pixel.place, place.label if place else None)
            spot = place.position if place else None
            assert (out["x_mm"], out["y_mm"]) == ((spot.x_mm, spot.y_mm) if spot else (None, None))
    for place, out in zip(map_.places, data["places"], strict=True):
        assert out["name"] == place.label
        addresses = tuple((pixel["chain"], pixel["number"]) for pixel in out["pixels"])
        assert addresses == map_.pixels_at.get(place.id, ())
    for lamp, out in zip(map_.lamps, data["lamps"], strict=True):
        assert out["places"] == [place.id for place in map_.places if lamp.number in place.lamps]


@pytest.mark.slow
def test_schema_refuses_what_is_not_an_export() -> None:
    good = json.loads(write_json(DEMO))
    for damage in ({"format": "x"}, {"version": 2}, {"machine": None}, {"extra": 1}, {"chains": [{"id": "a"}]}):
        assert not VALIDATOR.is_valid(good | damage)
    for key in good:
        assert not VALIDATOR.is_valid({name: value for name, value in good.items() if name != key})


def test_another_program_finds_its_way() -> None:
    data = json.loads(write_json(DEMO))
    lamp = next(lamp for lamp in data["lamps"] if lamp["name"] == "Anemone bumper")
    pixels = {chain["id"]: chain["pixels"] for chain in data["chains"]}
    assert len(lamp["pixels"]) == 2
    for address in lamp["pixels"]:
        assert pixels[address["chain"]][address["number"]]["name"] == "Anemone bumper"
    assert data["revision"] == {"number": 2, "time": "2025-03-16T10:05:00Z", "reason": "One more insert lit"}


def test_the_same_map_gives_the_same_bytes() -> None:
    assert write_json(DEMO) == write_json(PlayfieldMap.model_validate_json(DEMO.model_dump_json()))
