"""Byte order, RGB/RGBW mix-ups and odd pixels, decided from what is seen for dim red, green and blue.

Every candidate is run through the byte stream (`chips`); those whose pixels would look as reported stay. Where looks
cannot tell candidates apart, `separating_drive` names the order to set for the next look.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from device_protocol.values import DARK, Colour
from probe.patterns.chips import ORDERS_RGB, ORDERS_RGBW, check_order, shown, stream

Letters = frozenset[str]
_SENT = {"R": Colour(9, 0, 0), "G": Colour(0, 9, 0), "B": Colour(0, 0, 9), "W": Colour(0, 0, 0, 9)}


@dataclass(frozen=True)
class ColourLook:
    """The whole chain was sent one colour (`sent`: R, G, B or W); `seen[i]` are the lit letters of pixel i, empty for
    dark, None where nothing is reported. `first` is the number of the first pixel in `seen`."""

    sent: str
    seen: tuple[Letters | None, ...]
    first: int = 0


@dataclass(frozen=True)
class Candidate:
    """A chain that explains the looks: all pixels in `order`, except pixel `odd_number` in `odd_order` if given."""

    order: str
    odd_number: int | None = None
    odd_order: str | None = None

    def orders(self, count: int) -> tuple[str, ...]:
        """The order of each of `count` pixels."""
        orders = [self.order] * count
        if self.odd_number is not None and self.odd_order is not None and self.odd_number < count:
            orders[self.odd_number] = self.odd_order
        return tuple(orders)


def predict(candidate: Candidate, *, sent: str, driven: str, count: int) -> tuple[Letters, ...]:
    """Lit letters of each of `count` pixels when the whole chain is sent one colour by a board set to `driven`.

    Pixels that too few bytes reach stay dark. Raises ValueError for an unknown colour or order.
    """
    if sent not in _SENT:
        raise ValueError(f"{sent!r} is none of R, G, B, W")
    return _predict(candidate, sent, check_order(driven), count)


@cache
def _predict(candidate: Candidate, sent: str, driven: str, count: int) -> tuple[Letters, ...]:
    data = stream((_SENT[sent],) * count, driven)
    return tuple((colour or DARK).letters for colour in shown(data, candidate.orders(count)))


def _fits(candidate: Candidate, looks: Sequence[ColourLook], driven: str, count: int) -> bool:
    for look in looks:
        expected = _predict(candidate, look.sent, driven, count)[look.first :]
        if any(seen is not None and seen != wanted for seen, wanted in zip(look.seen, expected, strict=False)):
            return False
    return True


def _all_candidates(driven: str, count: int) -> Iterator[Candidate]:
    for order in (*ORDERS_RGB, *ORDERS_RGBW):
        yield Candidate(order)
    for number in range(count):
        for odd in (*ORDERS_RGB, *ORDERS_RGBW):
            if odd != driven:
                yield Candidate(driven, number, odd)


def decide(looks: Sequence[ColourLook], *, driven: str, count: int) -> tuple[Candidate, ...]:
    """All chains of `count` pixels that look as reported while the board is set to `driven`: one order throughout, or
    the driven order with one odd pixel. Uniform chains come first and hide odd ones that look the same.

    Raises ValueError when a look goes beyond the chain or the order is unknown.
    """
    check_order(driven)
    for look in looks:
        if look.first < 0 or look.first + len(look.seen) > count:
            raise ValueError(f"a look reports pixels {look.first} to {look.first + len(look.seen) - 1} of {count}")
    found = tuple(c for c in _all_candidates(driven, count) if _fits(c, looks, driven, count))
    uniform = tuple(c for c in found if c.odd_number is None)
    return uniform or found


def sees_the_same(one: Candidate, two: Candidate, *, driven: str, count: int) -> bool:
    """Whether red, green, blue (and white, if four colours are driven) look the same on both chains."""
    return all(
        _predict(one, sent, driven, count) == _predict(two, sent, driven, count)
        for sent in ("RGBW" if len(driven) == 4 else "RGB")
    )


def separating_drive(candidates: Sequence[Candidate], *, count: int) -> str | None:
    """The order to set so that the next red, green, blue look tells the most candidates apart; None if none helps."""
    best, best_groups = None, 1
    for driven in ("GRB", "RGBW"):
        groups: list[Candidate] = []
        for candidate in candidates:
            if not any(sees_the_same(candidate, known, driven=driven, count=count) for known in groups):
                groups.append(candidate)
        if len(groups) > best_groups:
            best, best_groups = driven, len(groups)
    return best
