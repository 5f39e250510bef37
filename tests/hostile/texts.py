"""Texts that steer a terminal, reorder or fake lines, and how to tell that none of it is left."""

from __future__ import annotations

from probe.document.outside_text import is_unsafe

FAKED = "FAKED LINE"
ESCAPES: dict[str, str] = {
    # ECMA-48 (ESC, CSI, OSC, C1) and Unicode Standard Annex 9 (bidirectional controls); OSC 8 and 52: common practice, no source
    "ESC": "a\x1bcb",
    "CSI": "a\x1b[2J\x1b[1;31mb",
    "OSC 52": "a\x1b]52;c;ZWNobyBob3N0aWxl\x07b",
    "OSC 8": "a\x1b]8;;file:///etc\x1b\\b\x1b]8;;\x1b\\",
    "C1": "a\x9b2J\x90\x9d0;title\x9cb",
    "bidi": "a\u202egnp.\u2066b\u2069\u200f",
    "NUL": "a\x00b\x08\x7f",
    "lines": f"a\r\n{FAKED}\x85{FAKED}\u2028{FAKED}\x0b\x0c{FAKED}",
}
ALL_ESCAPES = "".join(ESCAPES.values())


def unsafe_in(output: str, *, lines: bool = True) -> str:
    """What must not reach a terminal and does, as Python writes it; empty if nothing does. `lines`: faked ones too."""
    left = "".join(c for c in output if c not in "\n\t" and is_unsafe(c))
    faked = [line for line in output.split("\n") if lines and line.startswith(FAKED)]
    return ascii(left)[1:-1] + "; ".join(faked)
