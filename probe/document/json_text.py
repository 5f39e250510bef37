"""JSON text as every file of ours has it: one spelling for one value, nothing that upsets a line or a terminal.

Plain RFC 8259 JSON in UTF-8. Besides what the standard asks for, these are written as escapes: DEL and the C1 controls
(terminals act on them), U+2028 and U+2029 (editors break lines there) and the marks that turn the direction of the text
after them (they would disorder the line in a diff). Letters of every script and emoji stay legible.
"""

from __future__ import annotations

import json
import re
from json.encoder import encode_basestring
from typing import Any

_AWKWARD = re.compile("[\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def _escape(match: re.Match[str]) -> str:
    return f"\\u{ord(match.group()):04x}"


def quoted(text: str) -> str:
    """A JSON string literal for the text."""
    literal = encode_basestring(text)
    if literal.isascii() and "\x7f" not in literal:
        return literal
    return _AWKWARD.sub(_escape, literal)


def json_line(value: Any) -> str:
    """Any JSON value on one line. Raises ValueError for NaN and infinities, which JSON does not have."""
    return _AWKWARD.sub(_escape, json.dumps(value, ensure_ascii=False, allow_nan=False))
