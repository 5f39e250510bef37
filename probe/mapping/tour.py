"""A tour of the walk in a few sentences: each stays until what it speaks of has been tried, or is passed over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Sight:
    """What the tour looks at: where the walk stands, how much is answered, and the name of the screen on top."""

    chain: str
    number: int
    answered: int
    screen: str


@dataclass(frozen=True, slots=True)
class TourStop:
    """One sentence or two, and whether its matter has been tried, from what was seen when it began and now."""

    words: str
    tried: Callable[[Sight, Sight], bool]


def _opened(*screens: str) -> Callable[[Sight, Sight], bool]:
    return lambda then, now: now.screen in screens


STOPS: tuple[TourStop, ...] = (
    TourStop(
        "One pixel is lit; the line under the picture says what you would see on the playfield."
        " Type the first letters of what lights, or take an offer with Enter.",
        lambda then, now: now.answered > then.answered,
    ),
    TourStop(
        "Saved, and the next pixel is lit already. Nothing to be seen? F2. Hidden from above? F3. Answer two more.",
        lambda then, now: now.answered >= then.answered + 2,
    ),
    TourStop(
        "A wrong answer does no harm: PageUp goes back and a new answer replaces it; Ctrl+Z takes the last one back."
        " Try one of them.",
        lambda then, now: now.answered < then.answered or (now.chain, now.number) < (then.chain, then.number),
    ),
    TourStop("F1 says the keys of the screen you are on, and the cautions. Esc closes it.", _opened("HelpScreen")),
    TourStop(
        "Ctrl+T is the whole map as a table, with what does not agree in it. Esc comes back.", _opened("RowsScreen")
    ),
    TourStop(
        "Once a pixel has been spliced in, all later numbers are off. Esc here, then 3 and R, the recheck, finds where with a few"
        " questions instead of a new walk.",
        lambda then, now: now.screen not in ("WalkScreen", "HelpScreen", "RowsScreen"),
    ),
    TourStop(
        "Power plan, harness sheet, fault finder and the game's lamps are in that menu as well (Esc here, F10 everywhere). With a board of your own:"
        " playfield-probe walk FILE. That was the tour.",
        lambda then, now: False,
    ),
)


@dataclass(frozen=True, slots=True)
class Tour:
    """Where the tour stands; over once `at` is beyond the last stop. `since` is what was seen when the stop began."""

    at: int = 0
    since: Sight | None = None
    tried: bool = False

    @property
    def over(self) -> bool:
        """Whether nothing is left to say."""
        return self.at >= len(STOPS)

    @property
    def words(self) -> str:
        """What to say now; empty when it is over."""
        return "" if self.over else f"Tour {self.at + 1} of {len(STOPS)}: {STOPS[self.at].words}"


def look(tour: Tour, sight: Sight) -> Tour:
    """The tour after a look. What was tried on another screen is passed when the walk is back on top."""
    if tour.over:
        return tour
    if tour.since is None:
        return replace(tour, since=sight)
    if not tour.tried and STOPS[tour.at].tried(tour.since, sight):
        tour = replace(tour, tried=True)
    if tour.tried and sight.screen == "WalkScreen":
        return Tour(tour.at + 1, sight)
    return tour


def skip(tour: Tour) -> Tour:
    """To the next stop, tried or not."""
    return Tour(tour.at + 1)
