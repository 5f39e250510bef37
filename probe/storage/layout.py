"""The map as text: JSON with one record per line, in the models' own order, so that a diff shows what changed.

A field that has its default is left out, except those in `_ALWAYS`, which a reader wants to see. Defaults are part of
the format's version: they never change within it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, cast

from pydantic import ValidationError

from probe.maps.harness import Batch, Feed, Fixing, JoinedTo, Joint, Power, Supply
from probe.maps.json_text import json_line, quoted
from probe.maps.model import (
    Bookmark,
    Chain,
    Kind,
    Lamp,
    Machine,
    Pixel,
    PixelState,
    Place,
    PlayfieldMap,
    Position,
    Record,
    Revision,
)

_ALWAYS: dict[type[Record], frozenset[str]] = {
    Machine: frozenset({"width_mm", "length_mm"}),
    Bookmark: frozenset(),
    Chain: frozenset({"count", "order", "chip", "latch_us", "ceiling_ma"}),
    Pixel: frozenset({"state"}),
    Place: frozenset({"kind"}),
    Lamp: frozenset({"kind"}),
    Supply: frozenset({"volt"}),
    Joint: frozenset({"after"}),
}
_IDENTIFIERS = frozenset({"id", "place", "chain", "chip"})
_NEVER_LEFT_OUT = object()
_Writer = Callable[[Any], str]


def _any(value: Any) -> str:
    return _WRITERS[type(value)](value)


_WRITERS: dict[type[Any], _Writer] = {
    str: quoted,
    int: repr,
    bool: json_line,
    type(None): json_line,
    float: repr,
    tuple: lambda items: "[" + ", ".join(map(_any, items)) + "]",
    Position: lambda position: _line_of(position),
    PixelState: {state: f'"{state}"' for state in PixelState}.__getitem__,
    Kind: {kind: f'"{kind}"' for kind in Kind}.__getitem__,
    JoinedTo: {target: f'"{target}"' for target in JoinedTo}.__getitem__,
    Fixing: {fixing: f'"{fixing}"' for fixing in Fixing}.__getitem__,
}


def _plan(kind: type[Record]) -> tuple[tuple[str, str, Any, _Writer], ...]:
    """For each field: its name, its JSON key with the colon, the value at which it is left out, how it is written."""
    always = _ALWAYS.get(kind, frozenset())
    plan: list[tuple[str, str, Any, _Writer]] = []
    for name, field in kind.model_fields.items():
        if kind is Chain and name in ("pixels", "joints"):
            continue  # one line each: the renderer writes them
        left_out = _NEVER_LEFT_OUT if field.is_required() or name in always else field.default
        writer = '"%s"'.__mod__ if name in _IDENTIFIERS else _WRITERS.get(cast("type[Any]", field.annotation), _any)
        plan.append((name, f'"{name}": ', left_out, writer))
    return tuple(plan)


_KINDS: tuple[type[Record], ...] = (
    Machine, Bookmark, Chain, Pixel, Position, Place, Lamp, Revision, Power, Supply, Feed, Batch, Joint,
)  # fmt: skip
_PLANS: dict[type[Record], tuple[tuple[str, str, Any, _Writer], ...]] = {kind: _plan(kind) for kind in _KINDS}


def _fields(record: Record) -> list[str]:
    held = record.__dict__
    # None is told by identity: comparing a model with it costs more than writing the line.
    return [
        key + write(value)
        for name, key, left_out, write in _PLANS[type(record)]
        if (value := held[name]) is not left_out and (left_out is None or value != left_out)
    ]


def _line_of(record: Record) -> str:
    return "{" + ", ".join(_fields(record)) + "}"


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

    def render(self, m: PlayfieldMap, *, check: bool = True) -> bytes:
        """The file's content, UTF-8, ending in a line feed.

        `check=False` is for a map that was just read. Raises UnsoundRecordError for a record that breaks its model's
        rules, ValueError for references that lead nowhere.
        """
        parts = [f'{{\n"format": {quoted(m.format)},\n"version": {m.version},\n']
        parts.append(f'"machine": {self._line(m.machine, check)},\n')
        if m.bookmark is not None:
            parts.append(f'"bookmark": {self._line(m.bookmark, check)},\n')
        parts.append(f'"chains": {self._list([self._chain(chain, check) for chain in m.chains])},\n')
        parts.append(f'"places": {self._block(m.places, check)},\n')
        parts.append(f'"lamps": {self._block(m.lamps, check)},\n')
        if m.power is not None:
            parts.append(f'"power": {self._line(m.power, check)},\n')
        for name, records in (("supplies", m.supplies), ("feeds", m.feeds), ("batches", m.batches)):
            if records:
                parts.append(f'"{name}": {self._block(records, check)},\n')
        parts.append(f'"revisions": {self._block(m.revisions, check)}\n}}\n')
        if check:
            m.check_references()
        self._forget(m)
        return "".join(parts).encode()

    @staticmethod
    def _list(lines: Sequence[str]) -> str:
        return "[\n" + ",\n".join(lines) + "\n]" if lines else "[]"

    def _chain(self, chain: Chain, check: bool) -> str:
        fields = _fields(chain)
        if check:
            _checked(chain.model_copy(update={"pixels": (), "joints": ()}), "{" + ", ".join(fields) + "}")
        fields.append(f'"pixels": {self._block(chain.pixels, check)}')
        if chain.joints:
            fields.append(f'"joints": {self._block(chain.joints, check)}')
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

    def _forget(self, m: PlayfieldMap) -> None:
        """Let go of records and blocks that this map does not have, once they are many."""
        blocks: list[tuple[Record, ...]] = [chain.pixels for chain in m.chains]
        blocks += [chain.joints for chain in m.chains]
        blocks += [m.places, m.lamps, m.revisions, m.supplies, m.feeds, m.batches]
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


def render_map(m: PlayfieldMap) -> bytes:
    """The file content of one map."""
    return Renderer().render(m)
