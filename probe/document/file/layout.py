"""The map as text: JSON with one record per line, in the models' own order, so that a diff shows what changed.

A field that has its default is left out, except those in `_ALWAYS`, which a reader wants to see. Defaults are part of
the format's version: they never change within it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum
from typing import Any, cast, get_args, get_origin

from pydantic import StringConstraints, ValidationError
from pydantic.fields import FieldInfo

from probe.document.json_text import json_line, quoted
from probe.document.model import Chain, Lamp, Machine, Pixel, Place, PlayfieldMap, Record
from probe.document.model.harness import Supply
from probe.document.model.record import Identifier

_ALWAYS: dict[type[Record], frozenset[str]] = {
    Machine: frozenset({"width_mm", "length_mm"}),
    Chain: frozenset({"count", "order", "chip", "latch_us", "ceiling_ma", "pixels"}),
    Pixel: frozenset({"state"}),
    Place: frozenset({"kind"}),
    Lamp: frozenset({"kind"}),
    Supply: frozenset({"volt"}),
    PlayfieldMap: frozenset({"format", "version", "chains", "places", "lamps", "revisions"}),
}
_NEVER_LEFT_OUT = object()
_PATTERN = get_args(Identifier)[1].pattern
_Writer = Callable[[Any], str]


class _Writers(dict[type[Any], _Writer]):
    """How a value of a type is written; types of records and words are added as they come."""

    def __missing__(self, kind: type[Any]) -> _Writer:
        writer: _Writer = json_line
        if issubclass(kind, Record):
            writer = _line_of
        elif issubclass(kind, str) and issubclass(kind, Enum):
            writer = {member: quoted(member.value) for member in kind}.__getitem__
        self[kind] = writer
        return writer


def _any(value: Any) -> str:
    return _WRITERS[type(value)](value)


_WRITERS = _Writers({str: quoted, int: repr, float: repr, tuple: lambda items: "[" + ", ".join(map(_any, items)) + "]"})


def blocks_of(kind: type[Record]) -> tuple[str, ...]:
    """Fields of the map or of a chain that hold many records: each of those gets a line of its own."""
    if kind not in (PlayfieldMap, Chain):
        return ()
    many = ((name, get_args(field.annotation)) for name, field in kind.model_fields.items())
    return tuple(
        name
        for name, items in many
        if get_origin(kind.model_fields[name].annotation) is tuple
        and isinstance(items[0], type)
        and issubclass(items[0], Record)
    )


def _is_identifier(field: FieldInfo) -> bool:
    """Whether a field is an identifier, or none: nothing in it has to be escaped."""
    if get_origin(field.annotation) is tuple:
        return False
    found = [
        *field.metadata,
        *(item for part in get_args(field.annotation) for item in getattr(part, "__metadata__", ())),
    ]
    return any(isinstance(item, StringConstraints) and item.pattern == _PATTERN for item in found)


class _Plans(dict[type[Record], tuple[tuple[str, str, Any, _Writer], ...]]):
    """For each field of a record: its name, its JSON key with the colon, the value at which it is left out, its writer.

    Fields that are blocks are not among them: the renderer writes those.
    """

    def __missing__(self, kind: type[Record]) -> tuple[tuple[str, str, Any, _Writer], ...]:
        always = _ALWAYS.get(kind, frozenset())
        blocks = blocks_of(kind)
        plan: list[tuple[str, str, Any, _Writer]] = []
        for name, field in kind.model_fields.items():
            if name not in blocks:
                left_out = _NEVER_LEFT_OUT if field.is_required() or name in always else field.default
                bare = cast("type[Any]", field.annotation)
                known = isinstance(bare, type) and (bare in _WRITERS or issubclass(bare, Enum))
                writer = '"%s"'.__mod__ if _is_identifier(field) else _WRITERS[bare] if known else _any
                plan.append((name, f'"{name}": ', left_out, writer))
        self[kind] = tuple(plan)
        return self[kind]


_PLANS = _Plans()


def _fields(record: Record) -> list[str]:
    held = record.__dict__
    # None is recognised by identity: comparing a model with it costs more than writing the line.
    return [
        key + write(value)
        for name, key, left_out, write in _PLANS[type(record)]
        if (value := held[name]) is not left_out and (left_out is None or value != left_out)
    ]


def _line_of(record: Record) -> str:
    return "{" + ", ".join(_fields(record)) + "}"


_TOP_BLOCKS = blocks_of(PlayfieldMap)
_CHAIN_BLOCKS = blocks_of(Chain)


class UnsoundRecordError(ValueError):
    """A record that a reader would refuse or read differently."""


class Renderer:
    """Turns maps into file content. Lines of records that did not change since the last map are used again.

    Records are frozen, so the same object always has the same line; the cache holds the objects, so that no identity is
    reused meanwhile. Every record that was not seen before is checked the way a reader would check it.
    """

    def __init__(self) -> None:
        self._lines: dict[int, tuple[Record, str]] = {}
        self._blocks: dict[int, tuple[tuple[Record, ...], str]] = {}

    def render(self, map_: PlayfieldMap, *, check: bool = True) -> bytes:
        """The file's content, UTF-8, ending in a line feed.

        `check=False` is for a map that was just read. Raises UnsoundRecordError for a record that breaks its model's
        rules, ValueError for references that lead nowhere.
        """
        parts = []
        for name, field in PlayfieldMap.model_fields.items():
            value = getattr(map_, name)
            if name not in _ALWAYS[PlayfieldMap] and not field.is_required() and value in (None, ()):
                continue
            if name == "chains":
                text = self._list([self._chain(chain, check) for chain in map_.chains])
            elif name in _TOP_BLOCKS:
                text = self._block(value, check)
            else:
                text = self._line(value, check) if isinstance(value, Record) else _any(value)
            parts.append(f'"{name}": {text}')
        if check:
            map_.check_references()
        self._forget(map_)
        return ("{\n" + ",\n".join(parts) + "\n}\n").encode()

    @staticmethod
    def _list(lines: Sequence[str]) -> str:
        return "[\n" + ",\n".join(lines) + "\n]" if lines else "[]"

    def _chain(self, chain: Chain, check: bool) -> str:
        fields = _fields(chain)
        if check:
            _checked(chain.model_copy(update=dict.fromkeys(_CHAIN_BLOCKS, ())), "{" + ", ".join(fields) + "}")
        for name in _CHAIN_BLOCKS:
            if getattr(chain, name) or name in _ALWAYS[Chain]:
                fields.append(f'"{name}": {self._block(getattr(chain, name), check)}')
        return "{" + ", ".join(fields) + "}"

    def _block(self, records: tuple[Record, ...], check: bool) -> str:
        found = self._blocks.get(id(records))
        if found is not None and found[0] is records:
            return found[1]
        text = self._list([self._line(record, check) for record in records])
        self._blocks[id(records)] = (records, text)
        return text

    def _line(self, record: Record, check: bool) -> str:
        found = self._lines.get(id(record))
        if found is not None and found[0] is record:
            return found[1]
        line = _line_of(record)
        if check:
            _checked(record, line)
        self._lines[id(record)] = (record, line)
        return line

    def _forget(self, map_: PlayfieldMap) -> None:
        """Let go of records and blocks that this map does not have, once they are many."""
        blocks: list[tuple[Record, ...]] = [getattr(chain, name) for chain in map_.chains for name in _CHAIN_BLOCKS]
        blocks += [getattr(map_, name) for name in _TOP_BLOCKS if name != "chains"]
        self._blocks = {id(block): self._blocks[id(block)] for block in blocks if block}
        live = sum(map(len, blocks)) + 2
        if len(self._lines) > 2 * live + 200:
            keep = [id(record) for block in blocks for record in block]
            self._lines = {key: self._lines[key] for key in keep if key in self._lines}


def _checked(record: Record, line: str) -> None:
    try:
        same = type(record).model_validate_json(line, strict=True) == record
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise UnsoundRecordError(f"{type(record).__name__} {line[:80]}: {where}: {first['msg']}") from error
    if not same:
        raise UnsoundRecordError(f"{type(record).__name__} {line[:80]} would be read back differently")


def render_map(map_: PlayfieldMap) -> bytes:
    """The file content of one map."""
    return Renderer().render(map_)
