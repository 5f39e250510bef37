"""Whole labels from the beginnings of their words: `w f` → `Wreck flasher`.

Words come from the labels of this map, the newest first, and from what playfield parts are commonly called. What a word
may be depends on the word before it: after `return` rather `lane` than `launch`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import pairwise

from probe.frozen import frozen

NEWEST = 400
"""Labels whose words are counted: what was named lately is what is named next."""
_EACH_WORD, _WHOLE = 4, 6
_SEEN_TOGETHER = NEWEST
"""Two words that followed each other before outweigh a newer one that did not."""
_WORD = re.compile(r"[^\W\d_]+")

TRADE = (
    "arrow", "bumper", "target", "lane", "jackpot", "bonus", "spinner", "flasher", "saucer",
    "left outlane", "right outlane", "left return lane", "right return lane", "left flipper", "right flipper",
    "upper flipper", "left sling", "right sling", "slingshot", "inlane", "shooter lane", "launch", "ball in play", "game over",
    "tilt", "match", "shoot again", "extra ball", "high score", "player", "credit", "bonus multiplier",
    "super jackpot", "special", "double", "triple", "pop bumper", "drop target",
    "standing target", "target bank", "rollover", "top lane", "orbit", "left orbit", "right orbit", "left ramp",
    "right ramp", "ramp arrow", "spinner value", "scoop", "kickback", "kicker", "lock", "multiball",
    "plunger", "apron", "backbox", "topper", "loop", "skill shot", "advance", "mystery", "lower", "inner", "outer",
)  # fmt: skip
"""What parts and lamps of a playfield are commonly called. Common practice, no source."""


@frozen
class Vocabulary:
    """Words that labels are made of. `rank`: how near at hand a word is, the higher the nearer; `after`: the same for a
    pair of words that follow each other; `shown`: how a word is written amid a label, `first` at its begin; `numbered`:
    words that always have a number behind them; `numbers`: labels without their number, folded → the highest one."""

    rank: dict[str, int]
    after: dict[tuple[str, str], int]
    shown: dict[str, str]
    first: dict[str, str]
    numbered: frozenset[str]
    numbers: dict[tuple[str, ...], int]
    capitals: bool

    def ending(self, begun: str, before: str) -> list[str]:
        """Words with that beginning, the likeliest first: those that were seen after the word before, then the newest."""
        found = [word for word in self.rank if word.startswith(begun)]
        found.sort(key=lambda word: (self.after.get((before, word), 0), self.rank[word]), reverse=True)
        return found[:_EACH_WORD]


@lru_cache(maxsize=4)
def vocabulary(labels: tuple[str, ...]) -> Vocabulary:
    """The words of labels, in the order in which they were given, and the trade's."""
    rank: dict[str, int] = {}
    after: dict[tuple[str, str], int] = {}
    shown: dict[str, str] = {}
    first: dict[str, str] = {}
    plain: set[str] = set()
    with_number: set[str] = set()
    numbers: dict[tuple[str, ...], int] = {}
    for phrase in TRADE:
        words = phrase.split()
        rank.update(dict.fromkeys(words, 0))
        for pair in pairwise(("", *words)):
            after.setdefault(pair, 1)
    capitals = True
    for age, label in enumerate(labels, start=2):
        parts = label.split()
        words = [part for part in parts if _WORD.fullmatch(part)]
        folded = tuple(word.casefold() for word in words)
        for at, (word, key) in enumerate(zip(words, folded, strict=True)):
            rank[key] = age
            (shown if at else first)[key] = word
        for pair in pairwise(("", *folded)):
            after[pair] = age
        if folded and len(words) == len(parts):
            plain.add(folded[-1])
        elif folded and len(parts) == len(words) + 1 and parts[-1].isdecimal():
            with_number.add(folded[-1])
            numbers[folded] = max(numbers.get(folded, 0), int(parts[-1][:9]))
        if parts:
            capitals = parts[0][:1].upper() == parts[0][:1]
    return Vocabulary(rank, after, shown, first, frozenset(with_number - plain), numbers, capitals)


def completed(words: Vocabulary, typed: str) -> list[str]:
    """Labels that the typed beginnings of words stand for, the likeliest first; none where every word is whole.

    A word that is known, a number, a single capital and a word nobody has used stand for themselves: `starfish b` is
    `Starfish bumper`, `rollover A` stays. Where such a label always had a number, the next number is added.
    """
    parts = typed.split()
    if not parts or len("".join(parts)) < 2:
        return []
    ways: list[tuple[int, tuple[str, ...]]] = [(0, ())]
    begun = False
    for at, part in enumerate(parts):
        key = part.casefold()
        stands = not _WORD.fullmatch(part) or key in words.rank or (at > 0 and len(part) == 1 and part.isupper())
        grown = []
        for score, way in ways:
            before = way[-1].casefold() if way else ""
            found = [] if stands else words.ending(key, before)
            begun = begun or bool(found)
            for word in found or [part]:
                pair = words.after.get((before, word), 0) if before else 0
                worth = words.rank.get(word, 0) + (pair and pair + _SEEN_TOGETHER)
                grown.append((score + worth, (*way, word)))
        ways = sorted(grown, key=lambda scored: -scored[0])[:_WHOLE]
    if not begun:
        return []
    return list(dict.fromkeys(label for _, way in ways for label in _written(words, way)))


def _written(words: Vocabulary, way: tuple[str, ...]) -> Iterable[str]:
    """A label as labels of this map are written; with the next number where it has to have one."""
    text = [words.shown.get(word, words.first.get(word, word) if at == 0 else word) for at, word in enumerate(way)]
    head = words.first.get(way[0], text[0])
    text[0] = head[:1].upper() + head[1:] if words.capitals else head
    if way[-1] in words.numbered:
        yield " ".join((*text, str(words.numbers.get(tuple(word.casefold() for word in way), 0) + 1)))
    yield " ".join(text)


def next_of_rows(words: Vocabulary, labels: Sequence[str], limit: int) -> list[str]:
    """What goes on with the rows of numbered labels that were named last: after `Cove glow 2` and others, `Cove glow 3`."""
    found: dict[tuple[str, ...], str] = {}
    for label in reversed(labels):
        *head, number = label.split() or [""]
        key = tuple(word.casefold() for word in head)
        if number.isdecimal() and key in words.numbers and key not in found:
            found[key] = " ".join((*head, str(words.numbers[key] + 1)))
            if len(found) == limit:
                break
    return list(found.values())
