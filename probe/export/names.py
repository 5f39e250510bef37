"""Names for constants in C and Python, made from labels: valid, unlike each other, and the same every time.

C11 5.2.4.1 promises 31 significant characters of a name with external linkage and 63 of others; names made here differ
within 31. They begin with a prefix of ours, in capitals, so none is a keyword or reserved (C11 7.1.3).
"""

from __future__ import annotations

import re
import unicodedata
import zlib
from collections import Counter
from collections.abc import Mapping

SIGNIFICANT = 31
_MARK = 7


def plain_part(label: str) -> str:
    """What of a label may stand in a name: ASCII capitals, digits and single underscores; perhaps nothing."""
    plain = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode().upper()
    return re.sub(r"[^A-Z0-9]+", "_", plain).strip("_")


def numbered_name(prefix: str, number: int, label: str) -> str:
    """A name that the number alone keeps apart from others: `LAMP_14_REEF_LANE_2`. Other lamps never change it."""
    head = f"{prefix}_{number}"
    return f"{head}_{plain_part(label)}"[:SIGNIFICANT].rstrip("_")


def labelled_names(prefix: str, labels: Mapping[str, str]) -> dict[str, str]:
    """For each key: a name made from its label.

    A label that is too long, or that would give the name of another one, gets six digits reckoned from its key, so that
    the order of the labels does not matter.
    """
    whole = {key: f"{prefix}_{plain_part(label)}".rstrip("_") for key, label in labels.items()}
    count = Counter(whole.values())
    made: dict[str, str] = {}
    for key, name in whole.items():
        if len(name) <= SIGNIFICANT and count[name] == 1:
            made[key] = name
    taken = set(made.values())
    for key in sorted(key for key in whole if key not in made):
        turn = 0
        while True:
            digits = f"{zlib.crc32(f'{key}{chr(0) * turn}'.encode('utf-8', 'surrogatepass')) & 0xFFFFFF:06X}"
            name = f"{whole[key][: SIGNIFICANT - _MARK].rstrip('_')}_{digits}"
            if name not in taken:
                break
            turn += 1
        taken.add(name)
        made[key] = name
    return {key: made[key] for key in labels}


_IN_COMMENT = re.compile(r"[^A-Za-z0-9 .,:;()+=_'#<>!@|~^&$%-]")


def comment_text(label: str, limit: int = 60) -> str:
    """A label inside a comment: one line of plain ASCII in which nothing ends a comment, joins lines or forms a trigraph."""
    text = unicodedata.normalize("NFKD", label)
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = " ".join(_IN_COMMENT.sub("_", text).split())
    return text if len(text) <= limit else text[: limit - 3] + "..."
