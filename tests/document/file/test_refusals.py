"""Damaged, foreign and newer files: refused with file, line, field and a hint, and left as they are."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.file import (
    CannotReadError,
    DamagedFileError,
    MapFile,
    NewerFileError,
    StorageError,
    demo_map_path,
    load_map,
    previous_name,
)
from probe.document.file.reading import find, named, parse_map
from probe.document.model import FORMAT_VERSION
from tests.support.examples import examples, first_now

DEMO = demo_map_path().read_text(encoding="utf-8")


def line_with(text: str) -> int:
    """The line, from 1, of the demonstration that has a text in it."""
    (found,) = [number for number, line in enumerate(DEMO.split("\n"), 1) if text in line]
    return found


PIXEL_14 = line_with('{"id": "playfield-14",')
PLACE = line_with('{"id": "otter-bonus-3",')
CHAIN_2 = line_with('{"id": "backbox",')


def swap(old: str, new: str) -> Callable[[str], str]:
    def change(text: str) -> str:
        assert text.count(old) == 1, (old, text.count(old))
        return text.replace(old, new)

    return change


def in_line(number: int, old: str, new: str) -> Callable[[str], str]:
    def change(text: str) -> str:
        lines = text.split("\n")
        assert old in lines[number - 1], lines[number - 1]
        lines[number - 1] = lines[number - 1].replace(old, new, 1)
        return "\n".join(lines)

    return change


def insert_line(number: int, line: str) -> Callable[[str], str]:
    def change(text: str) -> str:
        lines = text.split("\n")
        lines.insert(number - 1, line)
        return "\n".join(lines)

    return change


def both(first: Callable[[str], str], second: Callable[[str], str]) -> Callable[[str], str]:
    return lambda text: second(first(text))


DAMAGES: dict[str, tuple[Callable[[str], str], int | None, str | None, str]] = {
    "wrong state": (in_line(PIXEL_14, "placed", "lit"), PIXEL_14, "chains[0].pixels[14].state", "'placed'"),
    "unknown key": (in_line(PIXEL_14, '"place"', '"plaze"'), PIXEL_14, "chains[0].pixels[14].plaze", "did you mean 'place'"),
    "missing id": (in_line(PIXEL_14, '"id": "playfield-14", ', ""), PIXEL_14, "chains[0].pixels[14].id", "'id' is missing"),
    "id twice": (in_line(PIXEL_14, "playfield-14", "playfield-9"), PIXEL_14, "chains[0].pixels[14].id", "used twice"),
    "no such place": (in_line(PIXEL_14, '"place": "', '"place": "no-'), PIXEL_14, "chains[0].pixels[14].place", "no place with the id"),
    "number as text": (in_line(PLACE, '"x_mm": 225.0', '"x_mm": "225"'), PLACE, "places[18].position.x_mm", "number"),
    "place id twice": (in_line(PLACE, "otter-bonus-3", "otter-bonus-2"), PLACE, "places[18].id", "used twice"),
    "output too high": (in_line(CHAIN_2, '"output": 1', '"output": 99'), CHAIN_2, "chains[1].output", "found: 99"),
    "wrong byte order": (in_line(CHAIN_2, "GRB", "GBB"), CHAIN_2, "chains[1].order", "permutation"),
    "chain id twice": (in_line(CHAIN_2, '"backbox"', '"playfield"'), CHAIN_2, "chains[1].id", "used twice"),
    "no such bookmark": (insert_line(5, '"bookmark": {"chain": "cellar", "number": 3},'), 5, "bookmark.chain", "no chain"),
    "comma gone": (in_line(PIXEL_14, "},", "}"), PIXEL_14 + 1, None, "not valid JSON"),
    "brace gone": (in_line(PIXEL_14, "{", ""), PIXEL_14, None, "not valid JSON"),
    "quote gone": (in_line(PIXEL_14, '"playfield-14"', '"playfield-14'), PIXEL_14, None, "not valid JSON"),
    "cut off": (lambda text: text[:5_000], None, None, "not valid JSON|ends too early"),
    "cut at a line": (lambda text: "\n".join(text.split("\n")[:PIXEL_14]), PIXEL_14, None, "ends too early"),
    "something after": (lambda text: text + "}\n", len(DEMO.split("\n")), None, "not valid JSON"),
    "key twice in a record": (in_line(PIXEL_14, '"state": "placed"', '"state": "dark", "state": "placed"'), PIXEL_14, "state", "there twice"),
    "key twice at the top": (insert_line(5, '"lamps": [],'), DEMO.split("\n").index('"lamps": [') + 2, "lamps", "there twice"),
    "key twice, spaced": (in_line(PIXEL_14, '"state": "placed"', '"state" :"dark","state":  "placed"'), PIXEL_14, "state", "there twice"),
    "merge mark": (insert_line(PIXEL_14, "<<<<<<< ours"), PIXEL_14, None, "unfinished merge"),
    "merge middle": (insert_line(PIXEL_14, "======="), PIXEL_14, None, "unfinished merge"),
    "empty": (lambda text: "", None, None, "empty"),
    "zeros": (lambda text: "\0" * 4_096, None, None, "empty"),
    "other program": (lambda text: '{"name": "x"}', 1, "format", "not a map file"),
    "a list": (lambda text: "[1]", 1, "format", "not a map file"),
    "a word": (lambda text: "kelp", 1, None, "not valid JSON"),
    "not a number": (in_line(PLACE, "225.0", "NaN"), PLACE, "places[18].position.x_mm", "finite|NaN"),
    "infinite": (in_line(PLACE, "225.0", "Infinity"), PLACE, "places[18].position.x_mm", "finite"),
    "deep": (lambda text: "[" * 100_000, None, None, "deep|not valid JSON"),
    "deep inside": (lambda text: '{"format": "playfield-probe map", "version": 1, "places": ' + "[" * 900 + "]" * 900 + "}", 1, None, "nested far too deep"),
    "number of 5000 digits": (in_line(PLACE, "225.0", "9" * 5_000), PLACE, None, "a number is far too long: it has 5000 digits"),
    "version of 5000 digits": (swap('"version": 2', f'"version": {"9" * 5_000}'), 3, None, "a number is far too long: it has 5000 digits"),
    "lone surrogate": (in_line(PLACE, "Otter", "\\ud800"), PLACE, None, "surrogate|JSON"),
    "raw tab": (in_line(PLACE, "Otter", "Ot\tter"), PLACE, None, "not valid JSON"),
    "version gone": (swap('"version": 2,\n', ""), 1, "version", "'version' is missing"),
    "version no number": (swap('"version": 2', '"version": "1"'), 3, "version", "a number from 1 to 2 .found: .1"),
    "version is true": (swap('"version": 2', '"version": true'), 3, "version", "a number from 1 to 2 .found: true"),
    "version too low": (swap('"version": 2', '"version": 0'), 3, "version", "a number from 1 to 2 .found: 0"),
    "version with a point": (swap('"version": 2', '"version": 1.0'), 3, "version", "a number from 1 to 2 .found: 1.0"),
    "version 1, wrong state": (both(swap('"version": 2', '"version": 1'), in_line(PIXEL_14, "placed", "lit")), PIXEL_14, "chains[0].pixels[14].state", "'placed'"),
    "version 1, no such place": (both(swap('"version": 2', '"version": 1'), in_line(PIXEL_14, '"place": "', '"place": "no-')), PIXEL_14, "chains[0].pixels[14].place", "no place with the id"),
    "version 1, key twice": (both(swap('"version": 2', '"version": 1'), in_line(PIXEL_14, '"state": "placed"', '"state": "dark", "state": "placed"')), PIXEL_14, "state", "there twice"),
    "version 1, no rechecks": (both(swap('"version": 2', '"version": 1'), insert_line(5, '"rechecks": [{"chain": "playfield", "declared": ["1 new"], "answers": [7]}],')), 5, "rechecks[0].begun", "'begun' is missing"),
}  # fmt: skip


@pytest.mark.parametrize("case", first_now(DAMAGES, now=6))
def test_a_damaged_file_is_refused_and_left_alone(case: str, tmp_path: Path) -> None:
    change, line, field, said = DAMAGES[case]
    path = tmp_path / "kelp.json"
    content = change(DEMO).encode()
    path.write_bytes(content)
    for opener in (load_map, MapFile.open):
        with pytest.raises(DamagedFileError) as caught:
            opener(path)
        error = caught.value
        assert error.path == path
        assert re.search(said, str(error)), str(error)
        assert error.hint
        if line is not None:
            assert error.line == line, str(error)
        assert error.field == field, str(error)
    assert path.read_bytes() == content
    assert [name for name in sorted(p.name for p in tmp_path.iterdir()) if "lock" not in name] == ["kelp.json"]


def test_the_message_names_everything(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_text(in_line(PIXEL_14, "placed", "lit")(DEMO), encoding="utf-8")
    previous_name(path).write_text(DEMO, encoding="utf-8")
    with pytest.raises(DamagedFileError) as caught:
        load_map(path)
    assert str(caught.value) == (
        f"{path}, line {PIXEL_14}, field chains[0].pixels[14].state: input should be 'unseen', 'placed', 'dark', "
        "'spare', 'repeater', 'hidden' or 'dead' (found: \"lit\"). Nothing was changed. Mend that line in a text editor, "
        "or copy the previous file kelp.json~ over it"
    )


def test_bytes_that_are_no_text_are_named_with_their_line(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    lines = DEMO.encode().split(b"\n")
    lines[9] = lines[9].replace(b"state", b"st\xffte")
    path.write_bytes(b"\n".join(lines))
    with pytest.raises(DamagedFileError, match="0xff is not UTF-8") as caught:
        load_map(path)
    assert caught.value.line == 10


@pytest.mark.parametrize("version", [FORMAT_VERSION + 1, 17])
def test_a_newer_file_is_refused_as_such(version: int, tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    content = DEMO.replace('"version": 2', f'"version": {version}').replace('"state"', '"condition"')
    path.write_text(content, encoding="utf-8")
    with pytest.raises(NewerFileError, match=f"version {version}.*up to {FORMAT_VERSION}.*Install a later") as caught:
        MapFile.open(path)
    assert (caught.value.line, caught.value.field) == (3, "version")
    assert path.read_text(encoding="utf-8") == content


@pytest.mark.parametrize(
    "dress",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace('": ', '":'),
        lambda text: text.replace('": ', '"  :\t'),
        lambda text: text.replace("{", "{\n  "),
        lambda text: text.replace("\n", ""),
    ],
)
def test_other_white_space_is_fine(dress: Callable[[str], str], tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(dress(DEMO).encode())
    assert load_map(path) == load_map(demo_map_path())


def test_faults_in_a_reformatted_file_are_found_too(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_text(in_line(PIXEL_14, "placed", "lit")(DEMO).replace(', "', ',\n"'), encoding="utf-8")
    with pytest.raises(DamagedFileError) as caught:
        load_map(path)
    line = path.read_text(encoding="utf-8").split("\n")[(caught.value.line or 0) - 1]
    assert line == '"state": "lit",'


@pytest.mark.slow
@settings(max_examples=examples(300))
@given(st.data())
def test_no_damage_gets_through_as_anything_but_a_storage_error(data: st.DataObject) -> None:
    content = bytearray(
        DEMO.encode()[: data.draw(st.integers(0, len(DEMO)))] if data.draw(st.booleans()) else DEMO.encode()
    )
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(st.integers(0, max(0, len(content) - 1)))
        content[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    try:
        map_ = parse_map(Path("kelp.json"), bytes(content), "hint")
    except StorageError as error:
        refusal = error
    else:
        map_.check_references()
        return
    assert refusal.hint
    assert refusal.line is None or 1 <= refusal.line <= content.count(b"\n") + 1


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CannotReadError, match="there is no such file"):
        load_map(tmp_path / "kelp.json")
    (tmp_path / "kelp_forest.json").write_text(DEMO, encoding="utf-8")
    with pytest.raises(CannotReadError, match=r"Did you mean 'kelp_forest\.json'"):
        MapFile.open(tmp_path / "kelp-forest.json")
    with pytest.raises(CannotReadError, match="There is no folder"):
        load_map(tmp_path / "nowhere" / "kelp.json")
    with pytest.raises(CannotReadError, match="not a file"):
        MapFile.open(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(CannotReadError, match="not a file"):
        load_map(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    with pytest.raises(CannotReadError):
        load_map(tmp_path / "loop")
    huge = tmp_path / "huge.json"
    with huge.open("wb") as file:
        file.truncate(65 * 1024 * 1024)
    with pytest.raises(CannotReadError, match="far too long"):
        load_map(huge)
    assert not [p for p in tmp_path.iterdir() if "lock" in p.name]


@pytest.mark.parametrize(
    ("path", "line", "name"),
    [
        ((), 1, ""),
        (("b",), 3, "b"),
        (("b", 0), 3, "b[0]"),
        (("b", 1, "c"), 4, "b[1].c"),
        (("b", 1, "none"), 4, "b[1].none"),
        (("b", 9), 3, "b[9]"),
        (("d",), 6, "d"),
        (("d", "e"), 6, "d.e"),
    ],
)
def test_values_are_found_by_line(path: tuple[str | int, ...], line: int, name: str) -> None:
    text = '{\n"a": "}{][\\"",\n"b": [1,\n{"c": []}\n],\n"d":{}}'
    assert find(text, path) == line
    assert named(path) == name
