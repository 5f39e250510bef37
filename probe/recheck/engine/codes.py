"""Look frames: colours for every number so that a wrong map shows.

The whole chain is lit at once.  A place is wrong when the number that really shines there has another colour than the
number predicted there, so a code is good when a wrong alignment brings unlike colours together soon and often.

Why not something simpler
* One colour everywhere proves nothing: every alignment gives the same picture.
* Plain cycling 0 1 2 3 0 1 2 3 is blind to a shift by its period (four pixels spliced in), to swaps at a distance of
  four, and with two colours to every reversed run of odd length.
* Independent random colours give neighbours the same colour a quarter of the time: a swap of such a pair, or a shift
  that begins there, is not seen where it begins.

The construction
* Blocks of four numbers carry four unlike colours in cyclic order; each block starts at an offset of its own that
  moves on by 0, 1 or 2 (never 3) from block to block.  Inside a block unlike colours follow each other; at a border
  the last colour is offset + 3 and the next is offset + {0, 1, 2}: unlike again.  So **neighbours always differ**, and a
  shift by 1, 2 or 3 is seen within at most four numbers of where it begins.  The offsets follow a pseudo-random walk,
  so there is **no period**: a shift by a multiple of four is seen as soon as the walk has moved (two times in three
  per block), and a run of new pixels, a missing run, a reversed run or a moved run brings together numbers from
  different blocks.
* The **complement** of a frame is built number by number: it too has unlike neighbours, and the pair (colour in the
  first, colour in the second) is different for all numbers within WINDOW of each other.  Hence every swap of two
  pixels up to WINDOW - 1 apart, every reversed run of up to WINDOW numbers and every block exchange within a window
  changes at least one of the two pictures, and a swap is seen at both of its places.  With two frames of four
  colours there are only sixteen words, so no pair of frames can tell *all* pairs of a long chain apart: what is left
  over (far swaps, one in sixteen at most on average) is for further frames, which are drawn anew each time.
* An edit behind the last number (a new pixel at the tail) moves nothing that has a known place.  A frame therefore
  lights a few numbers beyond the predicted end as well, and "a light where no place is known" is an answer; if that
  answer is not to be relied on, probe the first number beyond the end.

With three colours the blocks are of three, offsets move on by 0 or 1, and there are nine words; WINDOW shrinks.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Codes = npt.NDArray[np.int8]

UNLIT = -1
"""Colour of a number that a frame leaves dark, and of a place that shows nothing."""

WINDOW = {4: 10, 3: 5}
"""Numbers closer together than this have different words in a frame and its complement; by count of colours."""


def _check(length: int, colours: int) -> None:
    if length < 0:
        raise ValueError(f"a chain has no fewer than 0 numbers, not {length}")
    if colours not in WINDOW:
        raise ValueError(f"look frames use 3 or 4 colours, not {colours}")


@lru_cache(maxsize=512)
def _first(length: int, seed: int, colours: int) -> bytes:
    rng = np.random.default_rng([seed, colours, 1])
    phase = int(rng.integers(colours))
    blocks = (length + phase) // colours + 1
    offsets = np.cumsum(rng.integers(0, colours - 1, size=blocks))
    at = np.arange(length) + phase
    return ((at + offsets[at // colours]) % colours).astype(np.int8).tobytes()


def look_code(*, length: int, seed: int = 0, colours: int = 4) -> Codes:
    """One frame: shape (length,), colours 0..colours-1, neighbours unlike, no period.

    The same arguments give the same frame on every machine.  Raises ValueError on a negative length or a count of
    colours other than 3 or 4.
    """
    _check(length, colours)
    return np.frombuffer(_first(length, seed, colours), dtype=np.int8)


@lru_cache(maxsize=512)
def _complement(length: int, seed: int, colours: int) -> bytes:
    first = np.frombuffer(_first(length, seed, colours), dtype=np.int8).tolist()
    rng = np.random.default_rng([seed, colours, 2])
    window = WINDOW[colours]
    order = [rng.permutation(colours).tolist() for _ in range(length)]
    second: list[int] = []
    tried: list[int] = []  # how many colours of order[i] have been used up at number i
    while len(second) < length:
        at = len(second)
        if len(tried) == at:
            tried.append(0)
        used = {second[k] for k in range(max(0, at - window + 1), at) if first[k] == first[at]}
        if at:
            used.add(second[-1])
        while tried[at] < colours and order[at][tried[at]] in used:
            tried[at] += 1
        if tried[at] < colours:
            second.append(order[at][tried[at]])
            continue
        tried.pop()  # nothing fits here: go back one number and take its next colour
        if not second:
            raise RuntimeError(f"no complement exists for {length} numbers, seed {seed}, {colours} colours")
        second.pop()
        tried[-1] += 1
    return np.array(second, dtype=np.int8).tobytes()


def complement_code(*, length: int, seed: int = 0, colours: int = 4) -> Codes:
    """The frame that goes with `look_code` of the same arguments: shape (length,).

    Neighbours are unlike, and the two colours together differ for all numbers less than WINDOW[colours] apart.
    """
    _check(length, colours)
    return np.frombuffer(_complement(length, seed, colours), dtype=np.int8)


def frame_code(*, length: int, turn: int, seed: int = 0, colours: int = 4) -> Codes:
    """The code for the `turn`-th look (0-based): pairs of a frame and its complement, each pair drawn anew."""
    pair = seed * 1000 + turn // 2
    make = complement_code if turn % 2 else look_code
    return make(length=length, seed=pair, colours=colours)
