"""RUNS of `paint`: palette entries, run-length coded (SPEC 5.12). `a12bc3`: 12 dark, one of entry 1, 3 of entry 2."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

RUN_MOST = 65_535
_RUN = re.compile(r"([a-p])([0-9]{0,9})")
_RUNS = re.compile(r"(?:[a-p](?:[1-9][0-9]{0,4})?)+")


def split_runs(entries: Sequence[int]) -> Iterator[tuple[int, int]]:
    """(palette entry, how many) for each run; none is longer than RUN_MOST."""
    for entry, group in groupby(entries):
        length = sum(1 for _ in group)
        while length > 0:
            yield entry, min(length, RUN_MOST)
            length -= RUN_MOST


def run_text(entry: int, length: int) -> str:
    """One run as on the line."""
    letter = chr(ord("a") + entry)
    return letter if length == 1 else f"{letter}{length}"


def encode_runs(entries: Sequence[int]) -> str:
    """Palette entries (0 to 15) as RUNS."""
    return "".join(run_text(entry, length) for entry, length in split_runs(entries))


def decode_runs(text: str) -> list[tuple[int, int]]:
    """(palette entry, how many) for each run in RUNS. Raises ValueError on a wrong form."""
    if not _RUNS.fullmatch(text):
        raise ValueError(f"runs {text[:20]!r}: letters a to p, each with a number 2 to {RUN_MOST} or none")
    runs = []
    for letter, digits in _RUN.findall(text):
        length = int(digits) if digits else 1
        if length > RUN_MOST or digits == "1":
            raise ValueError(f"run {letter}{digits}: a number is 2 to {RUN_MOST}")
        runs.append((ord(letter) - ord("a"), length))
    return runs


def expand_runs(runs: Iterable[tuple[int, int]]) -> list[int]:
    """One palette entry for each pixel."""
    return [entry for entry, length in runs for _ in range(length)]
