"""Text from people, files and boards, so that it can neither control a terminal, nor reorder or split what stands around it.

Three ways for three places; which characters are unsafe is defined once. Everything that shows such text goes through here.
"""

from __future__ import annotations

import unicodedata

_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_LINE_ENDS = {"\n": "⏎", "\r": "␍", "\t": "→", "\u2028": "⏎", "\u2029": "⏎", "\x85": "⏎"}
JOINER = "\u200d"
"""Makes one sign of two, as in some emoji."""


def is_unsafe(character: str) -> bool:
    """Whether a character controls, reorders, breaks lines, is nothing, or cannot stand in XML."""
    return unicodedata.category(character) in _UNSAFE


def spaced(text: str) -> str:
    """For print, tables and XML: on one line, with a space for every unsafe character."""
    if text.isascii() and text.isprintable():  # nearly all
        return text
    return "".join(" " if is_unsafe(c) else c for c in text)


def escaped(text: str) -> str:
    """For plain lines on a terminal: unsafe characters as Python writes them, such as `\\x1b`."""
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode("ascii") for c in text
    )


def visible(text: str) -> str:
    """For screens: on one line, with a sign for every control character, and none left that moves or reorders others."""
    if text.isprintable():  # then no character of it is of the unsafe categories
        return text
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    code = ord(character)
    if character in _LINE_ENDS:
        return _LINE_ENDS[character]
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "␡"
    if not is_unsafe(character) or character == JOINER:
        return character
    if unicodedata.category(character) == "Cf" and character not in _BIDI:
        return ""
    return f"‹{code:X}›"
