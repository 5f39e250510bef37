"""Finding a chain's byte order and whether it is RGB or RGBW, from the colours that a person sees.

The whole stretch is shown one dim colour. Each pixel takes its own 24 or 32 bits of the stream and passes the rest on,
so a four-colour chain driven as a three-colour one shows a run of colours that repeats every three pixels (the byte
stream says so, and people have seen it), and a three-colour chain driven as four repeats every four.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from itertools import permutations

from device_protocol.values import Colour

STRETCH = 12
SHOWN_LEVEL = 24

RGB_ORDERS = tuple("".join(p) for p in permutations("RGB"))
RGBW_ORDERS = tuple("".join(p) for p in permutations("RGBW"))


class Seen(Enum):
    """What the person sees of a stretch that was meant to show one colour. The value is the word for it."""

    RED = "red"
    GREEN = "green"
    BLUE = "blue"
    WHITE = "white"
    SEVERAL = "several colours, repeating"
    NOTHING = "nothing"


_BY_LETTER = {"R": Seen.RED, "G": Seen.GREEN, "B": Seen.BLUE, "W": Seen.WHITE}


def stream(colour: Colour, count: int, sent: str) -> bytes:
    """The bytes of `count` pixels of one colour, as a board set to the order `sent` clocks them out."""
    return colour.wire(sent) * count


def pixels_from(data: bytes, real: str) -> list[str]:
    """What each pixel of a chain of order `real` makes of the bytes: the letters that glow, `` for dark."""
    width = len(real)
    whole = range(0, len(data) - width + 1, width)
    return ["".join(sorted(letter for letter, v in zip(real, data[i : i + width], strict=True) if v)) for i in whole]


def expected(meant: Seen, sent: str, real: str, count: int = STRETCH) -> Seen:
    """What a chain of order `real` shows when the board, set to `sent`, is asked for one colour all along."""
    shown = set(pixels_from(stream(colour_of(meant), count, sent), real))
    if len(shown) > 1:
        return Seen.SEVERAL
    letters = next(iter(shown))
    return _BY_LETTER.get(letters, Seen.SEVERAL) if letters else Seen.NOTHING


@dataclass(frozen=True)
class OrderSearch:
    """Orders that fit all answers so far. `sent` is what the board is set to, `shown` the colour asked for next."""

    sent: str = "GRB"
    left: tuple[str, ...] = RGB_ORDERS + RGBW_ORDERS
    answers: tuple[tuple[str, Seen, Seen], ...] = ()
    contradicted: bool = False

    @property
    def found(self) -> str | None:
        """The order, once one is left and it has been shown rightly."""
        if len(self.left) != 1 or not self.answers:
            return None
        sent, meant, seen = self.answers[-1]
        return self.left[0] if sent == self.left[0] and meant is seen else None

    @property
    def shown(self) -> Seen:
        """The colour to ask for now: one not asked yet with this order, preferring those that tell most."""
        asked = {meant for sent, meant, _ in self.answers if sent == self.sent}
        choices = [Seen.RED, Seen.GREEN, Seen.BLUE] + ([Seen.WHITE] if len(self.sent) == 4 else [])
        open_ones = [c for c in choices if c not in asked] or choices
        return max(open_ones, key=lambda c: len({expected(c, self.sent, real) for real in self.left}))

    def answered(self, seen: Seen) -> OrderSearch:
        """The search after an answer. Answers that fit no order start it again, marked `contradicted`."""
        meant = self.shown
        left = tuple(real for real in self.left if expected(meant, self.sent, real) is seen)
        answers = (*self.answers, (self.sent, meant, seen))
        if not left:
            return OrderSearch(sent=self.sent, contradicted=True)
        sent = self.sent
        if len(left) == 1:
            sent = left[0]
        elif all(len(real) == 4 for real in left) and len(sent) == 3:
            sent = "GRBW" if "GRBW" in left else left[0]
        return replace(self, sent=sent, left=left, answers=answers, contradicted=False)


def colour_of(seen: Seen, level: int = SHOWN_LEVEL) -> Colour:
    """The colour to order for one of the four."""
    return {
        Seen.RED: Colour(level, 0, 0),
        Seen.GREEN: Colour(0, level, 0),
        Seen.BLUE: Colour(0, 0, level),
        Seen.WHITE: Colour(0, 0, 0, level),
    }[seen]
