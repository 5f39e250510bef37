"""From file content to a checked model, or an error that names file, line, field and what to do; where a value stands in a JSON text."""

from __future__ import annotations

import difflib
import errno
import gc
import json
import re
from codecs import BOM_UTF8
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import chain as joined
from json.decoder import scanstring  # type: ignore[attr-defined]
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from probe.document.file.atomic import previous_name
from probe.document.file.disk import Disk
from probe.document.file.errors import CannotReadError, DamagedFileError, NewerFileError
from probe.document.file.upgrade import OLDER_VERSIONS, upgraded
from probe.document.model import FORMAT_NAME, FORMAT_VERSION, PlayfieldMap, Record
from probe.frozen import frozen

MAX_BYTES = 64 * 1024 * 1024
_LOCATED = 50
"""So many faults are looked for in the text to find the first: a file of 400,000 would take hours."""
_MERGE_MARK = re.compile(r"^(<{7} |={7}\r?$|>{7} )", re.MULTILINE)
_LONG_NUMBER = re.compile(r"\d{1000,}")
_POSITION = re.compile(r"at line (\d+) column (\d+)")

Path_ = Sequence[str | int]
Checked = TypeVar("Checked", bound=BaseModel)


def read_bytes(disk: Disk, path: Path) -> bytes:
    """The content of a regular file of a sensible size. Raises CannotReadError."""
    try:
        facts = disk.facts(path)
        if facts is None:
            raise CannotReadError(path, "there is no such file", _other_names(disk, path))
        if not facts.regular:
            raise CannotReadError(path, "this is a folder or a device, not a file", "Name a file")
        if facts.size > MAX_BYTES:
            raise CannotReadError(path, f"{facts.size} bytes is far too long", "This cannot be a file of this program")
        return disk.read(path)
    except OSError as error:
        raise CannotReadError(path, f"the system says: {error.strerror or error}", reading_hint(error)) from error


def _other_names(disk: Disk, path: Path) -> str:
    if path.is_symlink():
        return (
            f"It is a link to {path.readlink()}, which is not there: mend the link, or plug the disk in that holds it"
        )
    try:
        near = difflib.get_close_matches(path.name, disk.names(path.parent), n=1, cutoff=0.6)
    except OSError:
        return f"There is no folder {path.parent} either: check the spelling, or plug the disk in that holds it"
    return f"Did you mean {near[0]!r}?" if near else "Check the spelling and the folder"


def reading_hint(error: OSError) -> str:
    """What to do about a file that the system does not hand over."""
    if isinstance(error, PermissionError):
        return "You have no right to read it: check its owner and permissions"
    if error.errno in (errno.ENAMETOOLONG, errno.ENOTDIR, errno.ELOOP):
        return "Check the spelling of the file's name and of its folder"
    return "If the disk was taken out, put it back and try again; if it fails, copy the file elsewhere first"


def decode(path: Path, data: bytes, hint: str) -> str:
    """The content as text. Raises DamagedFileError for what is not UTF-8 or is empty."""
    if not data.strip(b" \t\r\n\0"):
        raise DamagedFileError(path, "the file is empty", hint)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise DamagedFileError(path, f"byte {data[error.start]:#04x} is not UTF-8 text", hint, line=line) from error


def parse_json(path: Path, text: str, hint: str) -> Any:
    """The JSON value, keys checked to be unique. Raises DamagedFileError with the line."""
    doubled: list[str] = []

    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        members = dict(pairs)
        if len(members) != len(pairs):
            seen: set[str] = set()
            doubled.extend(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        return members

    try:
        data = json.loads(text, object_pairs_hook=unique)
    except json.JSONDecodeError as error:
        if mark := _MERGE_MARK.search(text):
            what = f"{mark.group().strip()!r} is the mark of an unfinished merge"
            todo = (
                "Open it in an editor, keep one of the two versions, remove the lines with <<<<<<<, ======= and >>>>>>>"
            )
            raise DamagedFileError(path, what, todo, line=line_of(text, mark.start())) from error
        what = f"this is not valid JSON at column {error.colno}: {error.msg}"
        if error.pos >= len(text.rstrip()):
            what = "the file ends too early: its end is missing"
        raise DamagedFileError(path, what, hint, line=error.lineno) from error
    except RecursionError as error:
        raise DamagedFileError(path, "brackets are nested far too deep", hint) from error
    except ValueError as error:  # the one left is of whole numbers that are too long to be made into one
        long = _LONG_NUMBER.search(text)
        what = "a number is far too long" + (f": it has {len(long[0])} digits" if long else "")
        raise DamagedFileError(path, what, hint, line=line_of(text, long.start()) if long else None) from error
    if doubled:
        what = f"the key {doubled[0]!r} is there twice in one record"
        raise DamagedFileError(path, what, hint, line=_line_of_second(text, doubled[0]), field=doubled[0])
    return data


def _line_of_second(text: str, key: str) -> int | None:
    """The line, from 1, where a key stands a second time in one record, if that is plain to see."""
    member = re.compile(re.escape(json.dumps(key)) + r"\s*:")
    leading = 0
    for number, line in enumerate(text.split("\n"), 1):
        leading += member.match(line.lstrip(" \t{") if number == 1 else line.lstrip(" \t")) is not None
        if leading > 1 or len(member.findall(line)) > 1:
            return number
    return None


def _message_of(error: dict[str, Any], model: type[BaseModel]) -> str:
    """One pydantic error in words."""
    if error["type"] == "extra_forbidden":
        known = _fields_at(model, error["loc"][:-1])
        near = difflib.get_close_matches(str(error["loc"][-1]), known, n=1)
        guess = f" (did you mean {near[0]!r}?)" if near else ""
        return f"{error['loc'][-1]!r} is not known here{guess}; known are {', '.join(known)}"
    if error["type"] == "missing":
        return f"{error['loc'][-1]!r} is missing"
    text: str = error["msg"].removeprefix("Value error, ")
    value = error.get("input")
    if isinstance(value, str | int | float | bool | None):
        shown = json.dumps(value)
        text += f" (found: {shown if len(shown) <= 60 else shown[:57] + '...'})"
    return text[:1].lower() + text[1:]


def _fields_at(model: Any, loc: Path_) -> list[str]:
    """Names of the fields of the model at a place in the tree."""
    for step in loc:
        if isinstance(step, str) and hasattr(model, "model_fields") and step in model.model_fields:
            model = model.model_fields[step].annotation
            while not hasattr(model, "model_fields"):
                inner = [a for a in getattr(model, "__args__", ()) if a not in (type(None), Ellipsis)]
                if not inner:
                    return []
                model = inner[-1]
    return sorted(model.model_fields) if hasattr(model, "model_fields") else []


def validated(path: Path, model: type[Checked], text: str, hint: str) -> Checked:
    """The text as a model. Raises DamagedFileError naming line and field of the first fault."""
    try:
        return model.model_validate_json(text, strict=True)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        if faults[0]["type"] != "json_invalid":
            parse_json(path, text, hint)
        raise _refusal(path, model, text, faults, hint) from error


def _refusal(path: Path, model: type[BaseModel], text: str, faults: Sequence[Any], hint: str) -> DamagedFileError:
    first = faults[0]
    if first["type"] == "json_invalid":
        parse_json(path, text, hint)
        place = _POSITION.search(first["msg"])
        what = "brackets are nested far too deep" if "recursion" in first["msg"] else first["msg"]
        return DamagedFileError(path, what, hint, line=int(place.group(1)) if place else None)
    line, first = min(((find(text, fault["loc"]), fault) for fault in _earliest(faults)), key=itemgetter(0))
    what = _message_of(first, model)
    if len(faults) > 1:
        what += f" (and {len(faults) - 1} more)"
    return DamagedFileError(path, what, hint, line=line, field=named(first["loc"]) or None)


def _earliest(faults: Sequence[Any]) -> list[Any]:
    """Those that may stand first in the file: of each field the one of the lowest index, and not more than are found in no time."""
    lowest: dict[tuple[str, ...], Any] = {}
    for fault in faults:
        field = tuple(step for step in fault["loc"] if isinstance(step, str))
        held = lowest.setdefault(field, fault)
        if _indices(fault) < _indices(held):
            lowest[field] = fault
    return list(lowest.values())[:_LOCATED]


def _indices(fault: Any) -> tuple[int, ...]:
    return tuple(step for step in fault["loc"] if isinstance(step, int))


def map_hint(disk: Disk, path: Path) -> str:
    """What to do about a damaged map."""
    previous = previous_name(path)
    try:
        kept = disk.facts(previous) is not None
    except OSError:
        kept = False
    mend = "Nothing was changed. Mend that line in a text editor"
    return f"{mend}, or copy the previous file {previous.name} over it" if kept else f"{mend}, or fetch a copy"


def _dangling(data: Any) -> Iterator[tuple[Path_, str]]:
    """References of a map that lead nowhere or twice, with their paths. `data` has the right shape otherwise."""
    places: set[str] = set()
    for index, place in enumerate(data.get("places", ())):
        if place["id"] in places:
            yield ("places", index, "id"), f"the place id {place['id']!r} is used twice"
        places.add(place["id"])
    chains: set[str] = set()
    for index, chain in enumerate(data.get("chains", ())):
        if chain["id"] in chains:
            yield ("chains", index, "id"), f"the chain id {chain['id']!r} is used twice"
        chains.add(chain["id"])
        pixels: set[str] = set()
        for number, pixel in enumerate(chain.get("pixels", ())):
            at = ("chains", index, "pixels", number)
            if pixel["id"] in pixels:
                yield (*at, "id"), f"the pixel id {pixel['id']!r} is used twice in chain {chain['id']!r}"
            pixels.add(pixel["id"])
            if pixel.get("place") is not None and pixel["place"] not in places:
                yield (*at, "place"), f"there is no place with the id {pixel['place']!r}"
    for kind, singular in (
        ("supplies", "supply"),
        ("feeds", "feed"),
        ("batches", "batch"),
        ("worklist", "work line"),
        ("photos", "photo"),
    ):
        ids: set[str] = set()
        for index, record in enumerate(data.get(kind, ())):
            if record["id"] in ids:
                yield (kind, index, "id"), f"the {singular} id {record['id']!r} is used twice"
            ids.add(record["id"])
    mark = data.get("bookmark")
    if mark is not None and mark["chain"] not in chains:
        yield ("bookmark", "chain"), f"there is no chain with the id {mark['chain']!r}"


_BIG_BYTES = 500_000
"""A file from which on what was read is worth being counted as old: asking whether that may be done has its price too."""


@contextmanager
def _without_collector(size_bytes: int) -> Iterator[None]:
    """No garbage collection meanwhile: a big map is thousands of new objects and no garbage; it doubles the time.

    Nor at once afterwards: what was read from a big file counts as old, so that only a full collection looks through it.
    """
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            if size_bytes >= _BIG_BYTES and gc.get_freeze_count() == 0:  # else what somebody froze would be unfrozen
                gc.freeze()
                gc.unfreeze()
            gc.enable()


class _Holding(dict[type[Record], tuple[tuple[str, type[Any]], ...]]):
    """Names of the fields of a kind of record that hold something of a type, one, a row or none of it, and of which kind."""

    def __init__(self, wanted: type[Any]) -> None:
        self._wanted = wanted

    def __missing__(self, kind: type[Record]) -> tuple[tuple[str, type[Any]], ...]:
        held = ((name, _held(field.annotation, self._wanted)) for name, field in kind.model_fields.items())
        self[kind] = tuple((name, one) for name, one in held if one is not None)
        return self[kind]


def _held(annotation: Any, wanted: type[Any]) -> type[Any] | None:
    bare = get_origin(annotation) or annotation
    if isinstance(bare, type) and issubclass(bare, wanted):
        return bare
    return next((one for part in get_args(annotation) if (one := _held(part, wanted)) is not None), None)


def _keys(value: Any) -> int:
    """How many keys a free JSON value has, those inside of it too."""
    if isinstance(value, dict):
        return len(value) + sum(map(_keys, value.values()))
    return sum(map(_keys, value)) if isinstance(value, list | tuple) else 0


_NESTED = _Holding(Record)
_FREE = _Holding(dict)


_SET_FIELDS = attrgetter("__pydantic_fields_set__")


def _members(map_: PlayfieldMap) -> int:
    """How many keys stood in the file that this map was read from, if each was there once."""
    found = 0
    waiting: list[tuple[type[Record], Sequence[Any]]] = [(PlayfieldMap, (map_,))]
    # grows while it is walked; one turn for many records of a kind, as there are thousands
    for kind, records in waiting:
        found += sum(map(len, map(_SET_FIELDS, records)))
        for name, _ in _FREE[kind]:
            found += sum(_keys(getattr(record, name)) for record in records)
        for name, inner in _NESTED[kind]:
            values: Sequence[Any] = list(map(attrgetter(name), records))
            if isinstance(values[0], tuple):
                values = values[0] if len(values) == 1 else list(joined.from_iterable(values))
            if held := list(filter(None, values)):
                waiting.append((inner, held))
    return found


def _may_have_doubles(data: bytes, map_: PlayfieldMap) -> bool:
    """Whether a key may stand twice in a record; if not, it surely does not. Ten times as fast as looking.

    A colon ends every key: with as many colons as keys none is there twice. Other colons are in texts. In a file as we write
    it a quote and a colon end every key. Elsewhere they only meet where a text starts with a colon, or behind a backslash,
    so that the sum cannot come out too low.
    """
    members, colons = _members(map_), data.count(b":")
    if colons == members:
        return False
    keys = data.count(b'":')
    if keys != colons and any(space in data for space in (b" :", b"\t:", b"\n:", b"\r:")):
        return True
    escaped = data.count(b'\\":') if b"\\" in data else 0
    return keys - escaped != members


@frozen
class ReadMap:
    """A map as it was read. `version`: of the format of its file; `notices`: what had to be changed, in sentences."""

    map: PlayfieldMap
    version: int = FORMAT_VERSION
    notices: tuple[str, ...] = ()


def parse_map(path: Path, data: bytes, hint: str) -> PlayfieldMap:
    """The map in a file's content. Raises as `read_map`."""
    return read_map(path, data, hint).map


def read_map(path: Path, data: bytes, hint: str) -> ReadMap:
    """The map in a file's content, of this version of the format or an earlier one.

    Raises DamagedFileError, or NewerFileError for a version this program does not know.
    """
    try:
        with _without_collector(len(data)):
            map_ = PlayfieldMap.model_validate_json(data.removeprefix(BOM_UTF8), strict=True)
            doubtful = _may_have_doubles(data, map_)
    except ValidationError as error:
        text = decode(path, data, hint)
        raw = parse_json(path, text, hint)
        _refuse_other_formats(path, raw, text)
        if raw["version"] in OLDER_VERSIONS:
            return _read_older(path, raw, text, hint)
        raise _first_fault(path, raw, error, text, hint) from error
    if doubtful or not {"format", "version"} <= map_.model_fields_set:
        text = decode(path, data, hint)
        _refuse_other_formats(path, parse_json(path, text, hint), text)
    return ReadMap(map_)


def _read_older(path: Path, raw: dict[str, Any], text: str, hint: str) -> ReadMap:
    made, notices = upgraded(raw)
    try:
        with _without_collector(len(text)):
            map_ = PlayfieldMap.model_validate_json(json.dumps(made), strict=True)
    except ValidationError as error:
        raise _first_fault(path, raw, error, text, hint) from error
    return ReadMap(map_, raw["version"], notices)


def _first_fault(path: Path, raw: Any, error: ValidationError, text: str, hint: str) -> DamagedFileError:
    faults = error.errors(include_url=False)
    if any(fault["loc"] for fault in faults):
        faults = [fault for fault in faults if fault["loc"]]
    elif faults[0]["type"] == "value_error":
        for at, what in _dangling(raw):
            return DamagedFileError(path, what, hint, line=find(text, at), field=named(at))
    return _refusal(path, PlayfieldMap, text, faults, hint)


def _refuse_other_formats(path: Path, raw: Any, text: str) -> None:
    """Raise if the file is not a map at all, or one of a later version."""
    if not isinstance(raw, dict) or raw.get("format") != FORMAT_NAME:
        what = f'this is not a map file: it does not say "format": "{FORMAT_NAME}"'
        raise DamagedFileError(path, what, "Choose another file; this one was left as it is", line=1, field="format")
    version = raw.get("version")
    if version is None:
        todo = f'Add "version": {FORMAT_VERSION}'
        raise DamagedFileError(path, "'version' is missing", todo, line=1, field="version")
    if type(version) is not int or version < min(OLDER_VERSIONS):
        what = f"'version' has to be a number from {min(OLDER_VERSIONS)} to {FORMAT_VERSION} (found: {json.dumps(version)[:60]})"
        todo = "Mend it if you know what the file is; it was left as it is"
        raise DamagedFileError(path, what, todo, line=find(text, ("version",)), field="version")
    if version > FORMAT_VERSION:
        what = f"the map has version {version}, and this program knows versions up to {FORMAT_VERSION}"
        todo = "Install a later playfield-probe; the file was left as it is"
        raise NewerFileError(path, what, todo, line=find(text, ("version",)), field="version")


_SPACE = re.compile(r"[ \t\r\n]*")
_DECODER = json.JSONDecoder()


def _skip(text: str, at: int) -> int:
    found = _SPACE.match(text, at)
    return found.end() if found else at


def _child(text: str, at: int, step: str | int) -> int | None:
    """Offset of a member or item of the container at `at`; of the key, for a member. None if there is none."""
    opening = text[at : at + 1]
    if opening not in ("{", "["):
        return None
    at = _skip(text, at + 1)
    index = 0
    while text[at] not in "}]":
        here, matches = at, index == step
        if opening == "{":
            key, at = scanstring(text, at + 1, True)
            matches = key == step
        if matches:
            return here
        if opening == "{":
            at = _skip(text, _skip(text, at) + 1)
        _, at = _DECODER.raw_decode(text, at)
        at = _skip(text, at)
        if text[at] == ",":
            at = _skip(text, at + 1)
        index += 1
    return None


def line_of(text: str, offset: int) -> int:
    """The line, from 1, an offset is on."""
    return text.count("\n", 0, offset) + 1


def find(text: str, path: Sequence[str | int]) -> int:
    """The line, from 1, where the value at a path starts; of the nearest container there is, if it is missing.

    `text` must be valid JSON. A path is keys and indices from the outermost value: `("chains", 0, "pixels", 14)`.
    """
    at = _skip(text, 0)
    for step in path:
        below = _child(text, at, step)
        if below is None:
            break
        at = below
        if isinstance(step, str):
            _, after = scanstring(text, at + 1, True)
            value = _skip(text, _skip(text, after) + 1)
            if step is path[-1]:
                break
            at = value
    return line_of(text, at)


def named(path: Sequence[str | int]) -> str:
    """A path as people write it: `chains[0].pixels[14].state`."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else (f".{step}" if text else str(step))
    return text
