"""Building look frames for a predicted map, and what each of many maps would show in them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from probe.recheck.engine.codes import UNLIT, frame_code
from probe.recheck.engine.evidence import COLOURS
from probe.recheck.engine.model import END, NEW, Bools, Ints, Look, Setup

LOOK_CLEAN, LOOK_EXTRA = -1, -2
"""Outcomes of a look: all as shown; a light where no place is known."""
TAIL_NUMBERS = 6
"""A look lights this many numbers beyond the predicted end, so that a pixel added there is seen."""


def build_look(
    setup: Setup,
    found: Ints,
    *,
    order: tuple[int, ...],
    named: Mapping[int, object],
    dark: Bools,
    turn: int,
    seed: int,
) -> Look:
    """The look frame for a predicted map.

    found: shape (numbers,), the predicted map; order: the entries in predicted order, so that a missing place is
    listed where it used to be; named: new pixels that have been named (listed); dark: shape (numbers,), matched pixels expected to give no light; turn: how many looks
    came before (each has a code of its own).  Numbers predicted as new and not named yet stay dark, so that any light
    off the list is news.
    """
    numbers = len(found)
    matched = np.flatnonzero(found != END)
    end = int(matched[-1]) + 1 if matched.size else 0
    lit_until = numbers if setup.new_count is not None else min(numbers, end + TAIL_NUMBERS)
    colours = frame_code(length=numbers, turn=turn, seed=seed).astype(np.int64)
    colours[lit_until:] = UNLIT
    places: list[int] = []
    expected: list[int] = []
    position = {entry: at for at, entry in enumerate(order)}
    present = set(found[found >= 0].tolist())
    missing = [e for e in order if e not in present and setup.has_place[e]]
    missing_at = 0
    for number in range(end):
        entry = int(found[number])
        if entry == NEW:
            if number not in named:
                colours[number] = UNLIT
            continue
        if entry < 0:
            continue
        while missing_at < len(missing) and position[missing[missing_at]] < position.get(entry, -1):
            places.append(missing[missing_at])
            expected.append(UNLIT)
            missing_at += 1
        if setup.has_place[entry]:
            places.append(entry)
            expected.append(UNLIT if dark[number] else int(colours[number]))
    places += missing[missing_at:]
    expected += [UNLIT] * (len(missing) - missing_at)
    listed = set(places)
    gone = [e for e in range(setup.entries) if setup.has_place[e] and e not in listed]
    places += gone  # declared as taken out: should be dark
    expected += [UNLIT] * len(gone)
    return Look(
        colours=tuple(colours.tolist()),
        places=tuple(places),
        expected=tuple(expected),
        named=frozenset(n for n in named if n < numbers),
    )


def numbers_at(maps: Ints, entries: int) -> Ints:
    """For each map of shape (S, J) the number at each entry's place, or -1; shape (S, entries)."""
    at = np.full((len(maps), entries + 1), -1, dtype=np.int64)
    rows = np.broadcast_to(np.arange(len(maps))[:, None], maps.shape)
    columns = np.where(maps >= 0, maps, entries)
    at[rows, columns] = np.broadcast_to(np.arange(maps.shape[1])[None, :], maps.shape)
    return at[:, :entries]


def look_outcomes(look: Look, maps: Ints, at: Ints) -> Ints:
    """What an attentive person would answer under each map, as one whole number per map; shape (S,).

    Equal numbers mean equal answers; LOOK_CLEAN and LOOK_EXTRA stand for themselves.  maps: shape (S, J); at: from
    `numbers_at`.  A look that was shown before more numbers were considered left the further ones dark.
    """
    numbers = maps.shape[1]
    colour = np.full(numbers + 1, UNLIT, dtype=np.int64)  # the last stands for "no number is there"
    given = look.colours[:numbers]
    colour[: len(given)] = given
    places = np.array(look.places, dtype=np.int64)
    expected = np.array(look.expected, dtype=np.int64)
    shown = colour[at[:, places]]
    differs: npt.NDArray[np.bool_] = shown != expected[None, :]
    first = differs.argmax(axis=1)
    rows = np.arange(len(maps))
    any_differs = differs[rows, first]
    lit = colour[:numbers] != UNLIT
    lit[sorted(n for n in look.named if n < numbers)] = False
    extra = ((maps == NEW) & lit[None, :]).any(axis=1)
    code = first * (COLOURS + 1) + shown[rows, first] + 1
    return np.where(any_differs, code, np.where(extra, LOOK_EXTRA, LOOK_CLEAN)).astype(np.int64)
