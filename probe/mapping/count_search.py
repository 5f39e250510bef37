"""Finding how many pixels a chain has: galloping, then halving, on "does anything light?".

A question lights a few pixels from `n` on, not one, so that a single dark pixel does not pass for the end. Galloping to
a count c takes about log2(c) questions and halving as many again: 2·⌈log2 c⌉ + 1 at most (Bentley and Yao 1976, an
almost optimal algorithm for unbounded searching; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

SPAN = 8


@dataclass(frozen=True)
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
