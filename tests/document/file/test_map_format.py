"""The map file's text: reads back exactly, follows its schema, and changes one line for one change."""

from __future__ import annotations

import difflib
import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from probe.document import operations as op
from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import Renderer, UnsoundRecordError, blocks_of, render_map
from probe.document.file.reading import _members, parse_map
from probe.document.file.schema import MAP_SCHEMA, map_schema, schema_text
from probe.document.json_text import json_line, quoted
from probe.document.model import FORMAT_VERSION, Chain, Pixel, PixelState, Place, PlayfieldMap
from tests.document.strategies import maps, texts
from tests.support.examples import first_now

VALIDATOR = Draft202012Validator(json.loads(MAP_SCHEMA.read_text(encoding="utf-8")))
DEMO = load_map(demo_map_path())


def parsed(content: bytes) -> PlayfieldMap:
    return parse_map(Path("kelp.json"), content, "")


@pytest.mark.slow
@given(maps())
def test_any_map_reads_back_equal_and_follows_the_schema(map_: PlayfieldMap) -> None:
    content = render_map(map_)
    assert parsed(content) == map_
    assert render_map(parsed(content)) == content
    VALIDATOR.validate(json.loads(content))


@pytest.mark.slow
@given(maps())
def test_one_record_a_line_and_nothing_that_upsets_one(map_: PlayfieldMap) -> None:
    text = render_map(map_).decode()
    assert text.endswith("\n")
    lines = text[:-1].split("\n")
    assert text.splitlines() == lines
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)
    records = sum(len(getattr(map_, name)) for name in blocks_of(PlayfieldMap))
    records += sum(len(getattr(chain, name)) for chain in map_.chains for name in blocks_of(Chain))
    opened = [line for line in lines if line.startswith("{") and line != "{"]
    assert len(opened) == records
    for line in opened:
        if not line.endswith("["):
            json.loads(line.removesuffix(","))


@pytest.mark.slow
@given(maps())
def test_the_quick_look_for_doubled_keys_counts_all_of_them(map_: PlayfieldMap) -> None:
    content = render_map(map_)
    pairs: list[int] = []
    again = json.loads(content, object_pairs_hook=lambda found: pairs.append(len(found)))
    assert again is None
    assert _members(parsed(content)) == sum(pairs)


def test_blocks_are_what_holds_many_records() -> None:
    assert {"chains", "places", "lamps", "revisions"} <= set(blocks_of(PlayfieldMap))
    assert set(blocks_of(Chain)) >= {"pixels", "joints"}
    assert blocks_of(Place) == ()


@pytest.mark.slow
@given(maps(), st.data())
def test_a_cached_line_is_the_line(map_: PlayfieldMap, data: st.DataObject) -> None:
    renderer = Renderer()
    for _ in range(4):
        assert renderer.render(map_) == render_map(map_)
        map_, place = op.add_place(map_, data.draw(texts.filter(bool)))
        if map_.chains:
            map_ = op.assign_place(map_, map_.chains[0].id, data.draw(st.integers(0, 8)), place.id)


@pytest.mark.slow
def test_the_cache_lets_go_of_old_records() -> None:
    renderer = Renderer()
    map_ = DEMO
    for turn in range(2_000):
        map_ = op.set_note(map_, "playfield", turn % 84, f"turn {turn}")
        renderer.render(map_)
    live = len(map_.places) + len(map_.lamps) + len(map_.revisions) + 84 + 24
    assert len(renderer._lines) <= 2 * live + 300


def test_one_answer_changes_the_lines_it_is_about_and_no_other() -> None:
    map_ = load_map(demo_map_path("kelp_forest_half.json"))
    m2, place = op.add_place(map_, "Wreck mast", area="Wreck")
    m2 = op.assign_place(m2, "playfield", 43, place.id)
    before, after = render_map(map_).decode().split("\n"), render_map(m2).decode().split("\n")
    changed = [
        line for line in difflib.unified_diff(before, after, n=0) if line[:1] in "+-" and line[:3] not in ("+++", "---")
    ]
    # the pixel's line, the place's, and the comma of the place before
    assert len(changed) == 5
    assert '+{"id": "wreck-mast", "label": "Wreck mast", "area": "Wreck", "kind": "insert"}' in changed
    assert '+{"id": "playfield-43", "state": "placed", "place": "wreck-mast"},' in changed


@pytest.mark.slow
def test_the_published_schema_is_the_models() -> None:
    assert MAP_SCHEMA.read_text(encoding="utf-8") == schema_text(map_schema()), (
        "run: python -m probe.document.file.schema"
    )
    Draft202012Validator.check_schema(map_schema())


@pytest.mark.parametrize("name", ["kelp_forest.json", "kelp_forest_half.json"])
def test_demonstrations_follow_the_schema(name: str) -> None:
    VALIDATOR.validate(json.loads(demo_map_path(name).read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    "damage",
    first_now(
        [
            {"version": 3},
            {"version": True},
            {"format": "something else"},
            {"machine": {}},
            {"machine": {"name": "x", "width": 3}},
            {"bookmark": {"chain": "Playfield", "number": 0}},
            {"chains": [{"id": "a", "name": "A", "output": 16}]},
            {"chains": [{"id": "a", "name": "A", "output": 0, "order": "RBB"}]},
            {"chains": [{"id": "a", "name": "A", "output": "0"}]},
            {"places": [{"id": "a", "label": ""}]},
            {"places": [{"id": "a", "label": "A", "position": {"x_mm": 1}}]},
            {"lamps": [{"number": -1, "name": "x"}]},
            {"unknown": 1},
        ],
        now=9,
    ),
)
def test_schema_and_reader_refuse_the_same(damage: dict[str, object]) -> None:
    content = {"format": "playfield-probe map", "version": FORMAT_VERSION, "machine": {"name": "Kelp Forest"}}
    VALIDATOR.validate(content)
    parsed(json.dumps(content).encode())
    wrong = content | damage
    assert not VALIDATOR.is_valid(wrong)
    with pytest.raises(Exception, match=r"kelp\.json"):
        parsed(json.dumps(wrong).encode())


@pytest.mark.parametrize("key", ["format", "version", "machine"])
def test_the_head_is_needed(key: str) -> None:
    content = {"format": "playfield-probe map", "version": FORMAT_VERSION, "machine": {"name": "Kelp Forest"}}
    del content[key]
    assert not VALIDATOR.is_valid(content)
    with pytest.raises(Exception, match=key):
        parsed(json.dumps(content).encode())


@given(texts)
def test_quoted_text_is_json(text: str) -> None:
    assert json.loads(quoted(text)) == text
    assert quoted(text) == json_line(text)
    assert json.loads(json_line({"a": [text, None, 1.5]})) == {"a": [text, None, 1.5]}


def test_not_a_number_is_no_json() -> None:
    with pytest.raises(ValueError, match="Out of range"):
        json_line(float("nan"))


@pytest.mark.parametrize(
    "map_",
    [
        op.add_chain(DEMO, Chain.model_construct(**{**dict(DEMO.chains[0]), "id": "Bad id!", "output": 2})),
        DEMO.model_copy(update={"places": (*DEMO.places, Place.model_construct(**{**dict(DEMO.places[0]), "id": "x", "label": ""}))}),
        op.set_pixel(DEMO, "playfield", 5, Pixel(id="x").model_copy(update={"verified": -1})),
        op.set_pixel(DEMO, "playfield", 5, Pixel(id="x").model_copy(update={"note": "lone \ud800"})),
        op.set_pixel(DEMO, "playfield", 5, Pixel(id="x").model_copy(update={"note": "x" * 2_001})),
    ],
)  # fmt: skip
def test_a_record_that_could_not_be_read_again_is_not_written(map_: PlayfieldMap) -> None:
    with pytest.raises(UnsoundRecordError):
        render_map(map_)


@pytest.mark.parametrize(
    ("map_", "said"),
    [
        (op.set_pixel(DEMO, "playfield", 5, Pixel(id="x", state=PixelState.PLACED, place="nowhere")), "no place"),
        (op.set_pixel(DEMO, "playfield", 5, Pixel(id="playfield-6")), "used twice"),
        (DEMO.model_copy(update={"places": DEMO.places * 2}), "used twice"),
        (DEMO.model_copy(update={"chains": DEMO.chains * 2}), "used twice"),
    ],
)
def test_a_map_whose_references_do_not_hold_is_not_written(map_: PlayfieldMap, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        render_map(map_)
