"""What the terminal can show, as far as its environment tells."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping

_ASCII_TERMINALS = ("linux", "dumb", "vt52", "vt100", "vt102", "vt220", "cons25", "ansi")
"""Consoles whose fonts lack our signs, and terminals older than Unicode."""


def draws_unicode(environment: Mapping[str, str], *, system: str = os.name) -> bool:
    """Whether signs beyond ASCII can be drawn. An environment that says nothing is taken for a terminal of today.

    Python itself turns a C locale into LC_CTYPE=C.UTF-8 at its start (PEP 538); what was meant is then in LANG.
    """
    if system == "nt":
        return True
    if environment.get("TERM", "") in _ASCII_TERMINALS:
        return False
    named = [environment.get(name, "") for name in ("LC_ALL", "LC_CTYPE", "LANG")]
    coerced = not named[0] and named[1] in ("C.UTF-8", "C.utf8", "UTF-8") and named[2] in ("C", "POSIX")
    said = next((name for name in (named if not coerced else named[2:]) if name), "")
    return not said or "utf" in said.lower()


def on_a_terminal() -> bool:
    """Whether the full-screen program has a keyboard and a screen. It draws on the error stream, as Textual does."""
    return all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stderr__))
