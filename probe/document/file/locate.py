"""Where in a JSON text a value stands: for error messages that name a line."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from json.decoder import scanstring  # type: ignore[attr-defined]

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
