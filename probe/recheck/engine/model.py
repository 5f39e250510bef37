"""What a recheck knows and assumes: the old chain, priors, what answers mean.

Old numbers are 0..old_count-1; each has one place of its own, or none that can be seen (dark, spare, repeater, hidden).
New numbers are 0..; a *map* gives for every new number the old number that it used to be, or NEW for a pixel spliced
in, or END for a number behind the end of the chain.  An old number in no new number is *removed*.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from probe.recheck.engine.codes import UNLIT

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

NEW = -1
"""Map value: a pixel that was spliced in."""
END = -2
"""Map value: behind the end of the chain."""


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What changes are expected before anything was asked.  Rates are expected counts for the whole chain.

    The defaults are judgement, not field data.  After declared changes use `Prior.after_declaration()`.
    """

    insertion_sites: float = 2.0
    removal_sites: float = 1.0
    swap: float = 0.05
    reversal: float = 0.05
    move: float = 0.05
    insertion_goes_on: float = 0.5
    """Chance that a run of new pixels has one more; runs are geometric, mean 1 / (1 - this)."""
    removal_goes_on: float = 0.15
    """Chance that a removed run has one more, for the short kind of removal."""
    long_removal: float = 0.1
    """Share of removals that are of the long kind: any length up to the band, all alike."""
    went_dark: float = 1e-4
    """Chance that one pixel stopped giving light but still passes data."""
    new_is_dark: float = 0.01
    """Chance that a new pixel gives no light."""
    longest_run: int = 20
    """Longest reversed or moved run that is considered."""

    @staticmethod
    def after_declaration() -> Prior:
        """The change was stated; what is left is the chance of a mistake in the statement."""
        return Prior(insertion_sites=0.3, removal_sites=0.2, swap=0.01, reversal=0.01, move=0.01)

    @property
    def rearranged(self) -> float:
        """Chance that something was swapped, reversed or moved."""
        return self.swap + self.reversal + self.move


@dataclass(frozen=True, kw_only=True)
class Person:
    """How often a person's answer is wrong.  Chances."""

    answer_wrong: float = 0.005
    """Any answer is wrong altogether."""
    look_miss: float = 0.05
    """One wrong place is overlooked in a look frame; also one light where no place is known."""


@dataclass(frozen=True, kw_only=True)
class Setup:
    """The chain as it is believed to be now, before the recheck.

    order: entries of the old chain in the order now predicted; values 0..entries-1, normally 0, 1, 2, ….
    has_place: for each entry, whether its light is seen at a place of its own.
    declared_new: entries that stand for pixels declared as spliced in; they shine, but their place is not named yet.
    new_count: length of the new chain, or None when it is not known.
    most_numbers: the board lights no numbers from here on, or None.
    alike: groups of entries whose light is seen at one and the same place; a probe cannot tell those of a group apart.
    """

    order: tuple[int, ...]
    has_place: tuple[bool, ...]
    declared_new: frozenset[int] = frozenset()
    new_count: int | None = None
    most_numbers: int | None = None
    alike: tuple[tuple[int, ...], ...] = ()
    prior: Prior = field(default_factory=Prior)
    person: Person = field(default_factory=Person)

    def __post_init__(self) -> None:
        entries = len(self.has_place)
        if not self.order:
            raise ValueError("the predicted chain is empty: survey it instead of rechecking it")
        if len(set(self.order)) != len(self.order):
            raise ValueError("an entry stands twice in the predicted order")
        if min(self.order) < 0 or max(self.order) >= entries:
            raise ValueError(f"the predicted order names an entry outside 0..{entries - 1}")
        if self.new_count is not None and self.new_count < 1:
            raise ValueError(f"a chain has at least 1 pixel, not {self.new_count}")

    @staticmethod
    def unchanged(
        old_count: int,
        *,
        dark: Sequence[int] = (),
        new_count: int | None = None,
        most_numbers: int | None = None,
        prior: Prior | None = None,
        person: Person | None = None,
    ) -> Setup:
        """Nothing declared: the chain is predicted to be as it was.  dark: old numbers that have no place."""
        gone = set(dark)
        return Setup(
            order=tuple(range(old_count)),
            has_place=tuple(i not in gone for i in range(old_count)),
            new_count=new_count,
            most_numbers=most_numbers,
            prior=prior or Prior(),
            person=person or Person(),
        )

    @staticmethod
    def declared(
        old_count: int,
        expected: Sequence[int],
        *,
        dark: Sequence[int] = (),
        new_count: int | None = None,
        most_numbers: int | None = None,
        prior: Prior | None = None,
        person: Person | None = None,
    ) -> Setup:
        """Changes were stated.  expected: for every new number the old number, or NEW for a declared new pixel."""
        gone = set(dark)
        order: list[int] = []
        fresh: list[int] = []
        for value in expected:
            if value == NEW:
                fresh.append(old_count + len(fresh))
                order.append(fresh[-1])
            elif 0 <= value < old_count:
                order.append(value)
            else:
                raise ValueError(f"the declared chain names old number {value}; it has 0..{old_count - 1}")
        return Setup(
            order=tuple(order),
            has_place=(*(i not in gone for i in range(old_count)), *(False for _ in fresh)),
            declared_new=frozenset(fresh),
            new_count=new_count,
            most_numbers=most_numbers,
            prior=prior or Prior.after_declaration(),
            person=person or Person(),
        )

    def like(self, entry: int) -> tuple[int, ...]:
        """The entries whose light is seen where this one's is, this one among them."""
        return next((group for group in self.alike if entry in group), (entry,))

    @property
    def entries(self) -> int:
        """Count of old numbers plus declared new pixels."""
        return len(self.has_place)


@dataclass(frozen=True, kw_only=True)
class Look:
    """A look frame as it was shown.

    colours: shape (numbers,): the colour each number was lit in, or UNLIT.
    places: entries in the order in which the person goes through them; expected: the colour of each, or UNLIT for a
    place that should be dark.  named: numbers whose new place was on the list too.
    """

    colours: tuple[int, ...]
    places: tuple[int, ...]
    expected: tuple[int, ...]
    named: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Probe:
    """One number lit, everything else dark."""

    number: int


Action = Look | Probe


@dataclass(frozen=True)
class AllAsShown:
    """Look: every listed place as on the screen and no other light."""


@dataclass(frozen=True)
class Differs:
    """Look: the first place that differs, by entry, and the colour it has (UNLIT: dark)."""

    place: int
    colour: int


@dataclass(frozen=True)
class NewPlaceDiffers:
    """Look: the first place that differs is the new place named for this number."""

    number: int
    colour: int


@dataclass(frozen=True)
class ExtraLight:
    """Look: all listed places as shown, but there is a light where no place is known."""


@dataclass(frozen=True)
class AtPlace:
    """Probe: the light is at the place of this entry."""

    place: int


@dataclass(frozen=True)
class AtNewPlace:
    """Probe: the light is at a place that was not known; it has been named."""


@dataclass(frozen=True)
class NothingLit:
    """Probe: nothing is lit."""


@dataclass(frozen=True)
class NotSure:
    """Either: no telling."""


Answer = AllAsShown | Differs | NewPlaceDiffers | ExtraLight | AtPlace | AtNewPlace | NothingLit | NotSure


@dataclass(frozen=True, kw_only=True)
class Observation:
    """One question and its answer."""

    action: Action
    answer: Answer

    def __post_init__(self) -> None:
        look_answers = (AllAsShown, Differs, NewPlaceDiffers, ExtraLight, NotSure)
        probe_answers = (AtPlace, AtNewPlace, NothingLit, NotSure)
        fits = look_answers if isinstance(self.action, Look) else probe_answers
        if not isinstance(self.answer, fits):
            raise TypeError(f"{type(self.answer).__name__} does not answer a {type(self.action).__name__}")


IMPOSSIBLE = -60.0
"""Natural logarithm used for 'cannot be'; a wrong answer is always likelier than this."""


@dataclass(frozen=True)
class LookTerms:
    """A look's likelihood, one factor per place (natural logarithms).

    at_entry: shape (entries, colours + 1): factor when the pixel at that place has colour c; the last column is dark.
    new_noticed: shape (numbers,): factor when the number is a new pixel without a name.
    tail_new, tail_none: factor when the chain ends in a new pixel without a name, and when it does not.
    void: logarithm of the chance of this answer when it is wrong altogether, chance of being wrong included.
    """

    at_entry: Floats
    new_noticed: Floats
    tail_new: float
    tail_none: float
    void: float


def look_terms(setup: Setup, observation: Observation, *, numbers: int, colours: int = 4) -> LookTerms:
    """Likelihood of a look's answer as a product over places.

    The person goes through the list.  A place before the one pointed at (all places, when nothing was pointed at) is
    as shown, or was overlooked with `look_miss`.  The place pointed at has the colour named.  Places behind it say
    nothing.  So the likelihood is a product with one factor per place and fits into an alignment cell by cell.
    That the answer is wrong altogether is not a product; it is carried as a hypothesis of its own (`void`).
    """
    look, answer = observation.action, observation.answer
    if not isinstance(look, Look):
        raise TypeError("only a look has look terms")
    person = setup.person
    miss, seen = np.log(person.look_miss), np.log1p(-person.look_miss)
    table = np.zeros((setup.entries, colours + 1))
    noticed = np.zeros(numbers)
    tail_new = tail_none = 0.0
    stop = len(look.places)
    void = np.log(person.answer_wrong) + np.log(0.5 / max(1, len(look.places) * (colours + 1)))
    if isinstance(answer, Differs):
        if answer.place not in look.places:
            raise ValueError(f"place {answer.place} was not on the list of this look")
        stop = look.places.index(answer.place)
        shown = answer.colour if answer.colour != UNLIT else colours
        table[answer.place, :] = IMPOSSIBLE
        if answer.colour != look.expected[stop]:
            table[answer.place, shown] = seen
    elif isinstance(answer, NewPlaceDiffers):
        stop = 0  # the place is defined by its number: such an answer can only be a mistake and says nothing
        tail_new = tail_none = IMPOSSIBLE
    elif isinstance(answer, ExtraLight):
        tail_new, tail_none = seen, IMPOSSIBLE
    elif isinstance(answer, AllAsShown):
        void = np.log(person.answer_wrong) + np.log(0.5)
        lit = np.array(look.colours[:numbers] + (UNLIT,) * (numbers - len(look.colours))) != UNLIT
        lit[[n for n in look.named if n < numbers]] = False
        noticed[lit] = miss
    if not isinstance(answer, NotSure):
        for place, colour in zip(look.places[:stop], look.expected[:stop], strict=True):
            table[place, :] = miss
            table[place, colour if colour != UNLIT else colours] = 0.0
    return LookTerms(at_entry=table, new_noticed=noticed, tail_new=tail_new, tail_none=tail_none, void=float(void))


@dataclass(frozen=True)
class ProbeTerms:
    """A probe's likelihood (natural logarithms) for its number.

    at_entry: shape (entries,): the number is this entry and gives light; dark: it gives no light; new: it is a new
    pixel; end: it is behind the end.
    """

    at_entry: Floats
    dark: float
    new: float
    end: float


def probe_terms(setup: Setup, observation: Observation) -> ProbeTerms:
    """Likelihood of a probe's answer: right with 1 - answer_wrong, else any other answer alike."""
    answer, entries = observation.answer, setup.entries
    if isinstance(answer, NotSure):
        return ProbeTerms(at_entry=np.zeros(entries), dark=0.0, new=0.0, end=0.0)
    right = float(np.log1p(-setup.person.answer_wrong))
    wrong = float(np.log(setup.person.answer_wrong / (entries + 1)))
    at_entry = np.full(entries, wrong)
    dark = new = wrong
    unseen = np.array([not p for p in setup.has_place])
    if len(setup.declared_new):
        unseen[sorted(setup.declared_new)] = False
    if isinstance(answer, AtPlace):
        if not 0 <= answer.place < entries or not setup.has_place[answer.place]:
            raise ValueError(f"entry {answer.place} has no place that a probe could be seen at")
        at_entry[list(setup.like(answer.place))] = right
    elif isinstance(answer, AtNewPlace):
        new = right
        at_entry[sorted(setup.declared_new)] = right
    else:
        dark = right
        at_entry[unseen] = right
    p_dark = setup.prior.new_is_dark
    new = float(np.logaddexp(np.log1p(-p_dark) + new, np.log(p_dark) + dark))
    return ProbeTerms(at_entry=at_entry, dark=dark, new=new, end=dark)
