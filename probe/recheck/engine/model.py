"""What a recheck knows, asks and hears.

Entries are the old pixels, 0..entries-1; each has a place where its light is seen, or none.  A *whole map* gives for
every number of the chain as it is now one value:

    0 ≤ v < entries            the old pixel v, which shines
    entries ≤ v < 2 entries    the old pixel v − entries, which passes the data on but gives no light any more
    NEW                        a pixel spliced in, at a place that nobody has named yet
    SILENT                     a pixel spliced in whose light is not seen: repeater, spare, hidden, or dead
    FURTHER − v                a pixel spliced in whose light is seen at the place of the old pixel v as well
    END                        nothing: the chain ends before, or the data stop before

Old pixels in no number are *removed*.  Pixels of other chains are entries too (`Setup.foreign`); they are in no map
until ends or outputs were exchanged.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from probe.recheck.engine.codes import UNLIT

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

NEW = -1
END = -2
SILENT = -3
FURTHER = -10
COLOURS = 4
PLAIN = (0, 1, 2, 3)
"""Words for the four colours where nothing tints them."""
MOST_NAMED = 3
"""So many differing places can be named in one answer."""


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What changes are expected.  All of it is judgement, no source.

    The count of edits is negative binomial with one success, a Poisson count whose rate is itself unknown: each edit
    found makes a further one as likely as the first was, and no likelier (`another`).  `kinds`: how edits share out.
    """

    another: float = 0.6
    insertion: float = 0.44
    removal: float = 0.2
    replaced: float = 0.06
    swapped: float = 0.04
    """Two single pixels exchanged, half of the time near each other."""
    moved: float = 0.08
    """Two runs side by side exchanged: the same as one run moved."""
    exchanged: float = 0.04
    """Two runs apart exchanged, as when two plugs are put in each other's place."""
    reversed: float = 0.06
    dead: float = 0.06
    stops: float = 0.03
    other_end: float = 0.03
    """The chain goes on as another chain: ends or outputs exchanged."""
    goes_on: float = 0.5
    """Chance that a run of new pixels has one more."""
    further: float = 0.08
    silent: float = 0.04
    """Shares of new pixels that are at a known place, or give no visible light."""
    long: float = 0.15
    """Share of removed or rearranged runs of any length; the others are short."""

    @staticmethod
    def after_declaration() -> Prior:
        """The change was stated; what is left is the chance of a mistake in the statement."""
        return Prior(another=0.25)


@dataclass(frozen=True, kw_only=True)
class Person:
    """How often a person's answer is wrong.  Chances; judgement, no source."""

    answer_wrong: float = 0.01
    """Any answer is wrong altogether."""
    neighbour: float = 0.5
    """Share of wrong answers to a single light that name a place two or less away."""
    look_miss: float = 0.06
    """One wrong place is overlooked in a look; also one light where no place is known."""


@dataclass(frozen=True, kw_only=True)
class Setup:
    """The chain as it is believed to be now, before the recheck.

    order: entries in the order now predicted.  has_place: whether an entry's light is seen at a place.
    declared_new: entries that stand for pixels declared as spliced in; they shine, but their place is not named yet.
    most_numbers: the board lights no numbers from here on, or None.  alike: groups of entries seen at one place.
    words: for each entry the word for each of the four colours as seen there, UNLIT where it looks dark; colours with
    the same word look the same.  Empty: every place shows all four.  foreign: the entries of other chains, by chain.
    areas: the entries of each area of the playfield, where places have one.
    """

    order: tuple[int, ...]
    has_place: tuple[bool, ...]
    declared_new: frozenset[int] = frozenset()
    most_numbers: int | None = None
    alike: tuple[tuple[int, ...], ...] = ()
    words: tuple[tuple[int, ...], ...] = ()
    foreign: tuple[tuple[int, ...], ...] = ()
    areas: tuple[tuple[int, ...], ...] = ()
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
        if self.words and len(self.words) != entries:
            raise ValueError("words are for every entry or for none")

    @property
    def entries(self) -> int:
        """Count of old numbers plus declared new pixels plus pixels of other chains."""
        return len(self.has_place)


# -- what is asked ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Look:
    """A picture as it was shown: the whole chain at once.

    colours: shape (numbers,): the colour each number was lit in, or UNLIT.  places: entries in the order in which the
    person goes through them, a place once for every pixel that shines there; expected: the colour of each, or UNLIT.
    named: numbers whose new place was on the list too.
    """

    colours: tuple[int, ...]
    places: tuple[int, ...]
    expected: tuple[int, ...]
    named: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Probe:
    """One number lit, everything else dark."""

    number: int


@dataclass(frozen=True, kw_only=True)
class AskStop:
    """From this number on nothing shines: were the pixels taken out, or do the data stop here?  No light tells.

    colours: the picture that is shown with the question, as in `Look`.
    """

    number: int
    colours: tuple[int, ...]


Action = Look | Probe | AskStop


# -- what is answered -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class AllAsShown:
    """Look: every listed place as on the screen and no other light."""


@dataclass(frozen=True)
class PlaceSeen:
    """A place, by entry, and the words of the colours that it shows (none: dark)."""

    place: int
    colours: tuple[int, ...] = ()


@dataclass(frozen=True)
class Differs:
    """Look: the first places that differ, in the order of the list, one to three.  What comes behind the last is not said."""

    seen: tuple[PlaceSeen, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.seen) <= MOST_NAMED:
            raise ValueError(f"one to {MOST_NAMED} places are named in an answer, not {len(self.seen)}")

    @staticmethod
    def at(place: int, *colours: int) -> Differs:
        """One place; UNLIT stands for dark."""
        return Differs((PlaceSeen(place, tuple(sorted(c for c in colours if c != UNLIT))),))


@dataclass(frozen=True)
class NewPlaceDiffers:
    """Look: the first place that differs is the new place named for this number."""

    number: int
    colour: int


@dataclass(frozen=True)
class ExtraLight:
    """Look: all listed places as shown, but there is a light where no place is known."""


@dataclass(frozen=True)
class OtherChain:
    """Look: the list is as shown up to `place` (None: to its end), from there the light is at that chain's places."""

    chain: int
    place: int | None = None


@dataclass(frozen=True)
class AreaDiffers:
    """Look: the list is as shown up to `place`, which is in an area that differs from there on: most of its places do."""

    place: int


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
class Stops:
    """AskStop: the pixels are still there, so the data stop."""


@dataclass(frozen=True)
class TakenOut:
    """AskStop: the pixels were taken out."""


@dataclass(frozen=True)
class NotSure:
    """Any: no telling."""


Answer = (
    AllAsShown
    | Differs
    | NewPlaceDiffers
    | ExtraLight
    | OtherChain
    | AreaDiffers
    | AtPlace
    | AtNewPlace
    | NothingLit
    | Stops
    | TakenOut
    | NotSure
)
_FITTING: dict[type, tuple[type, ...]] = {
    Look: (AllAsShown, Differs, NewPlaceDiffers, ExtraLight, OtherChain, AreaDiffers, NotSure),
    Probe: (AtPlace, AtNewPlace, NothingLit, NotSure),
    AskStop: (Stops, TakenOut, NotSure),
}


@dataclass(frozen=True, kw_only=True)
class Observation:
    """One question and its answer."""

    action: Action
    answer: Answer

    def __post_init__(self) -> None:
        if not isinstance(self.answer, _FITTING[type(self.action)]):
            raise TypeError(f"{type(self.answer).__name__} does not answer a {type(self.action).__name__}")
