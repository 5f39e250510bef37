"""Pictures: a colour for every number of a chain, so that a wrong map shows.

The whole chain is lit at once.  A place is wrong when the number that really shines there has another colour than the
number predicted there, so pictures are good when a wrong alignment brings unlike colours together soon and often.
One colour everywhere proves nothing; cycling through the colours is blind to a shift by its period.

Pictures come in families of four, drawn anew for each seed.  The colours that a number has in the first two make its
*word*, one of sixteen, and the words are chosen one after the other:

* neighbours differ in each of the two, so a shift by one shows at once in either;
* words differ within WINDOW numbers, so a shift, a reversed run or a swap of near pixels changes one of the two;
* up to PAIRS_ONCE numbers no two neighbouring words come again in the same order (of 144 such pairs), beyond that no
  three if it can be helped: so two runs of two pixels (three) or more that are exchanged anywhere, or moved, change
  one of the two.

Sixteen words cannot be different for more than sixteen numbers: **two single pixels far apart** have the same word with
a chance of 5.4 % at 108, and exchanging them changes neither picture.  The third picture splits the numbers of a word
(0.8 % left at 108), the fourth splits those again: then every number up to about 250 has a word of its own.

An edit behind the last number moves nothing that has a known place.  A picture therefore lights a few numbers beyond
the predicted end as well, and "a light where no place is known" is an answer.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Codes = npt.NDArray[np.int8]

UNLIT = -1
"""Colour of a number that a picture leaves dark, and of a place that shows nothing."""
COLOURS = 4
WINDOW = 10
"""Numbers closer together than this have different words."""
PAIRS_ONCE = 120
FAMILY = 4


def frame_code(*, length: int, turn: int, seed: int = 0) -> Codes:
    """The colours 0..3 of the `turn`-th picture (0-based) of a seed; shape (length,).

    The same arguments give the same picture on every machine, and a longer one begins like a shorter one.  Raises
    ValueError on a negative length or turn.
    """
    if length < 0 or turn < 0:
        raise ValueError(f"a picture has no fewer than 0 numbers and turns, not {length} and {turn}")
    whole = -(-max(length, 1) // PAIRS_ONCE) * PAIRS_ONCE
    return np.frombuffer(_pictures(whole, seed * 1000 + turn // FAMILY, turn % FAMILY)[-1], dtype=np.int8)[:length]


@lru_cache(maxsize=256)
def _pictures(length: int, seed: int, turn: int) -> tuple[bytes, ...]:
    """The pictures of one family up to this one; each is made when it is first shown."""
    if turn < 2:
        word = divmod(np.frombuffer(_words(length, seed), dtype=np.int8), COLOURS)
        return tuple(one.tobytes() for one in word[: turn + 1])
    before = _pictures(length, seed, turn - 1)
    return (*before, _split([*zip(*before, strict=True)], np.random.default_rng([seed, turn])))


_FOLLOW = [
    [b for b in range(16) if a // COLOURS != b // COLOURS and a % COLOURS != b % COLOURS] for a in range(COLOURS**2)
]
"""The words that may stand behind each word."""


@lru_cache(maxsize=64)
def _words(length: int, seed: int) -> bytes:
    """Words for the first two pictures, the rarest used first; where none fits, back by one number and on with another."""
    luck = np.random.default_rng([seed, 0]).random((length, COLOURS**2)).tolist()
    pairs = [[0] * COLOURS**2 for _ in range(COLOURS**2 + 1)]  # how often each word follows each, and the beginning
    triples: dict[tuple[int, ...], list[int]] = {}
    uses = [0] * COLOURS**2
    words: list[int] = []
    tries: list[list[int]] = []

    def fitting() -> list[int]:
        number, last = len(words), words[-1] if words else -1
        recent = words[-(WINDOW - 1) :]
        lucky, after, then = luck[number], pairs[last], triples.get(tuple(words[-2:]), _NONE)
        cost = [
            (-(lucky[w] + uses[w] + 100 * then[w] + 9 * (after[w] > 0)), w)
            for w in (_FOLLOW[last] if words else range(COLOURS**2))
            if w not in recent and (number >= PAIRS_ONCE or not after[w])
        ]
        return [w for _, w in sorted(cost)]

    def count(by: int) -> None:
        *before, word = words[-3:]
        uses[word] += by
        pairs[before[-1] if before else -1][word] += by
        triples.setdefault(tuple(before), [0] * COLOURS**2)[word] += by

    while len(words) < length:
        if len(tries) == len(words):
            tries.append(fitting())
        if tries[-1]:
            words.append(tries[-1].pop())
            count(1)
            continue
        tries.pop()
        count(-1)
        words.pop()
    return bytes(words)


_NONE = [0] * COLOURS**2


def _split(words: list[tuple[int, ...]], rng: np.random.Generator) -> bytes:
    """A further picture: neighbours unlike, and numbers of one word as different as can be."""
    used: dict[tuple[int, ...], list[float]] = {}
    found: list[int] = []
    last = -1
    for word, luck in zip(words, rng.random((len(words), COLOURS)).tolist(), strict=True):
        counts = used.setdefault(word, [0.0] * COLOURS)
        _, last = min((counts[colour] + luck[colour], colour) for colour in range(COLOURS) if colour != last)
        counts[last] += 1.0
        found.append(last)
    return bytes(found)
