"""Finding the byte order and the count of a chain from answers of a person who need not know them.

Byte order, and RGB or RGBW, from the colours seen (`OrderSearch`): a stretch is shown one dim colour; each pixel takes
its own 24 or 32 bits of the stream and passes the rest on, so a four-colour chain driven as a three-colour one shows a run of colours that repeats every three pixels (it follows from the
byte stream, and people have seen it), and a three-colour chain driven as four repeats every four. The count, from "does
anything light?" (`CountSearch`): galloping, then halving. A question lights a few pixels from `n` on, not one, so that a
single dark pixel does not pass for the end. Galloping to a count c takes about log2(c) questions and halving as many
again: 2·⌈log2 c⌉ + 1 at most (Bentley and Yao 1976, an almost optimal algorithm for unbounded searching; from memory).
"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum
from functools import cache
from itertools import permutations

from device_protocol.values import Colour
from probe.frozen import frozen

SPAN = 8
"""How many pixels a question of the count lights."""
STRETCH = 12
SHOWN_LEVEL = 24

RGB_ORDERS = tuple("".join(p) for p in permutations("RGB"))
RGBW_ORDERS = tuple("".join(p) for p in permutations("RGBW"))


# -- byte order -------------------------------------------------------------------------------------------------------


class SeenColour(Enum):
    """What the person sees of a stretch that was meant to show one colour. The value is the word for it."""

    RED = "red"
    GREEN = "green"
    BLUE = "blue"
    WHITE = "white"
    SEVERAL = "several colours, repeating"
    NOTHING = "nothing"


_BY_LETTER = {"R": SeenColour.RED, "G": SeenColour.GREEN, "B": SeenColour.BLUE, "W": SeenColour.WHITE}


def stream(colour: Colour, count: int, sent: str) -> bytes:
    """The bytes of `count` pixels of one colour, as a board set to the order `sent` clocks them out."""
    return colour.wire(sent) * count


def pixels_from(data: bytes, real: str) -> list[str]:
    """What each pixel of a chain of order `real` makes of the bytes: the letters that glow, `` for dark."""
    width = len(real)
    whole = range(0, len(data) - width + 1, width)
    return ["".join(sorted(letter for letter, v in zip(real, data[i : i + width], strict=True) if v)) for i in whole]


@cache
def expected(meant: SeenColour, sent: str, real: str, count: int = STRETCH) -> SeenColour:
    """What a chain of order `real` shows when the board, set to `sent`, is asked for one colour all along."""
    shown = set(pixels_from(stream(colour_of(meant), count, sent), real))
    if len(shown) > 1:
        return SeenColour.SEVERAL
    letters = next(iter(shown))
    return _BY_LETTER.get(letters, SeenColour.SEVERAL) if letters else SeenColour.NOTHING


@frozen
class OrderSearch:
    """Orders that fit all answers so far. `sent` is what the board is set to, `shown` the colour asked for next."""

    sent: str = "GRB"
    left: tuple[str, ...] = RGB_ORDERS + RGBW_ORDERS
    answers: tuple[tuple[str, SeenColour, SeenColour], ...] = ()
    contradicted: bool = False

    @property
    def found(self) -> str | None:
        """The order, once one is left and it has been shown rightly."""
        if len(self.left) != 1 or not self.answers:
            return None
        sent, meant, seen = self.answers[-1]
        return self.left[0] if sent == self.left[0] and meant is seen else None

    @property
    def shown(self) -> SeenColour:
        """The colour to ask for now: one not asked yet with this order, preferring those that part most orders."""
        asked = {meant for sent, meant, _ in self.answers if sent == self.sent}
        choices = [SeenColour.RED, SeenColour.GREEN, SeenColour.BLUE] + (
            [SeenColour.WHITE] if len(self.sent) == 4 else []
        )
        open_ones = [c for c in choices if c not in asked] or choices
        return max(open_ones, key=lambda c: len({expected(c, self.sent, real) for real in self.left}))

    def answered(self, seen: SeenColour) -> OrderSearch:
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


def colour_of(seen: SeenColour, level: int = SHOWN_LEVEL) -> Colour:
    """The colour to order for one of the four."""
    return {
        SeenColour.RED: Colour(level, 0, 0),
        SeenColour.GREEN: Colour(0, level, 0),
        SeenColour.BLUE: Colour(0, 0, level),
        SeenColour.WHITE: Colour(0, 0, 0, level),
    }[seen]


# -- count ------------------------------------------------------------------------------------------------------------


@frozen
class CountSearch:
    """At least `least` pixels are there; at most `most`, once something past the end was asked for.

    `limit` is the board's own largest count; `span` how many pixels a question lights (1 for a board without `range`).
    """

    limit: int
    least: int = 1
    most: int | None = None
    span: int = SPAN

    @property
    def count(self) -> int | None:
        """The count, when it is found."""
        return self.least if self.most is not None and self.least >= self.most else None

    @property
    def first(self) -> int:
        """The first pixel that the next question lights."""
        if self.most is None:
            return min(self.least * 2, self.limit - 1)
        return (self.least + self.most) // 2

    @property
    def lit(self) -> int:
        """How many pixels it lights."""
        return max(1, min(self.span, self.limit - self.first))

    def answered(self, *, something_lit: bool) -> CountSearch:
        """The search after an answer."""
        if self.count is not None:
            return self
        if something_lit:
            least = self.first + 1
            return replace(self, least=least, most=self.limit if least >= self.limit else self.most)
        return replace(self, most=max(self.first, self.least))
