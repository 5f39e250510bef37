"""The state of a recheck, and what a screen may read from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, auto
from functools import cached_property, partial

from probe.document.edits import Edit
from probe.document.model import Chain, PlayfieldMap, shown_number
from probe.document.model.open_recheck import OpenRecheck, counted
from probe.document.operations import folded
from probe.mapping.offers import abbreviates, next_in_pattern
from probe.recheck.colours import LOOK_COLOURS, colour_word
from probe.recheck.engine import Recheck
from probe.recheck.engine import Step as EngineStep
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import END, Action, Look, Probe
from probe.recheck.engine.result import Result
from probe.recheck.entries import Entries
from probe.recheck.kept import Given
from probe.recheck.outcome import Name
from probe.task.steps import BoardView, Showing

START_LEVEL = 24
NEAR = 12


class Stage(Enum):
    """What the recheck waits for."""

    OFFER = auto()
    DECLARE = auto()
    THINK = auto()
    LOOK = auto()
    COLOUR = auto()
    PROBE = auto()
    DONE = auto()
    SAVED = auto()


class Does(Enum):
    """What taking an item says."""

    AS_SHOWN = auto()
    DIFFERS = auto()
    COLOUR = auto()
    AT_PLACE = auto()
    NEW_PLACE = auto()
    NOTHING_LIT = auto()
    EXTRA_LIGHT = auto()
    NOT_SURE = auto()
    SAVE = auto()
    GO_ON = auto()
    ANEW = auto()


@dataclass(frozen=True)
class Item:
    """One line that Enter can take. `colours`: what its place shows in the look (several pixels: several).

    `entries` and `numbers`: the pixels of that place, those of the old chain and new ones named in this recheck.
    """

    does: Does
    words: str
    entries: tuple[int, ...] = ()
    colours: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    name: Name | None = None


@dataclass(frozen=True)
class Advanced:
    """What a Think came to: the inference, what it asks next, and what a screen says of it."""

    engine: Recheck
    step: EngineStep
    found: tuple[int, ...]
    confidence: float
    doubts: tuple[int, ...] = ()
    result: Result | None = None


@dataclass(frozen=True)
class Replayed:
    """What a Think over kept answers came to: the inference before the first of them and after each."""

    given: tuple[Given, ...]
    advanced: tuple[Advanced, ...]


@dataclass(frozen=True)
class Unusable:
    """Kept answers that cannot be given again, and why."""

    why: str


Thinking = partial[Advanced] | partial[Replayed | Unusable]


@dataclass(frozen=True)
class Rechecking:
    """The whole state. `map` is what is on disk, or about to be. `lit` is what the board has said it shows.

    `kept` is what the map keeps of this recheck so far, or in stage OFFER of the one that can be gone on with. `job` is
    what is being thought about.
    """

    map: PlayfieldMap
    chain: str
    stage: Stage = Stage.DECLARE
    edits: tuple[Edit, ...] = ()
    said: tuple[str, ...] = ()
    kept: OpenRecheck | None = None
    entries: Entries | None = None
    job: Thinking | None = None
    now: Advanced | None = None
    forced: tuple[int, ...] = ()
    pointed: Item | None = None
    names: Mapping[int, Name] = field(default_factory=dict)
    typed: str = ""
    chosen: int = 0
    answers: int = 0
    namings: int = 0
    level: int = START_LEVEL
    looks: bool = True
    board: BoardView = field(default_factory=BoardView)
    lit: Showing | None = None
    tag: int = 0
    message: str = ""
    unsaved: str = ""
    past: tuple[Rechecking, ...] = ()

    @property
    def here(self) -> Chain:
        """The chain as it is on disk."""
        return self.map.chain(self.chain)

    @property
    def action(self) -> Action | None:
        """What is asked now."""
        if self.forced:
            return Probe(number=self.forced[0])
        return self.now.step.action if self.now is not None else None

    @property
    def naming(self) -> bool:
        """Whether what is asked now has to be asked anyhow: the name of a new pixel."""
        return not self.forced and self.now is not None and self.now.step.naming

    @property
    def question(self) -> str:
        """What is asked, in a sentence."""
        match self.stage:
            case Stage.OFFER:
                return "A recheck was not finished. Go on with it?"
            case Stage.DECLARE:
                return "What was changed? (Enter alone: nothing, or nobody knows)"
            case Stage.THINK:
                return "thinking …"
            case Stage.LOOK:
                return "Is every place lit as listed? If not: the first one on the list that differs."
            case Stage.COLOUR:
                return f"What does {self.pointed.words if self.pointed else 'it'} show?"
            case Stage.PROBE:
                number = self.action.number if isinstance(self.action, Probe) else 0
                what = "New pixel: what" if self.naming else "What"
                return f"{what} does pixel {shown_number(number)} light?"
            case Stage.DONE:
                return "This is what was found. Enter keeps it as a new revision."
            case Stage.SAVED:
                return "Saved. Enter goes back to the walk."

    @cached_property
    def items(self) -> tuple[Item, ...]:
        """What Enter can take; the chosen one is `items[chosen]`."""
        match self.stage:
            case Stage.OFFER:
                return self._offer_items()
            case Stage.LOOK:
                return self._look_items()
            case Stage.COLOUR:
                return self._colour_items()
            case Stage.PROBE:
                return self._probe_items()
            case Stage.DONE:
                return (Item(Does.SAVE, "Keep this map"),)
            case _:
                return ()

    @property
    def item(self) -> Item | None:
        """What Enter takes now."""
        return self.items[min(self.chosen, len(self.items) - 1)] if self.items else None

    @property
    def look(self) -> Look | None:
        """The look that is shown, while there is one."""
        return self.action if isinstance(self.action, Look) else None

    @cached_property
    def shown(self) -> dict[str, tuple[int, ...]]:
        """In a look: the colours that every place should show, by place id."""
        found: dict[str, list[int]] = {}
        if self.look is not None and self.entries is not None:
            for entry, colour in zip(self.look.places, self.look.expected, strict=True):
                place = self.entries.pixels[entry].place
                if place is not None:
                    found.setdefault(place, []).append(colour)
            for number in self.look.named:
                name = self.names.get(number)
                if name is not None and name.place is not None:
                    found.setdefault(name.place, []).append(self.look.colours[number])
        return {place: tuple(colours) for place, colours in found.items()}

    def _offer_items(self) -> tuple[Item, ...]:
        if self.kept is None:
            return ()
        return (
            Item(Does.GO_ON, f"Go on: {counted(self.kept)}"),
            Item(Does.ANEW, "Begin anew, and give up what was answered"),
        )

    def _look_items(self) -> tuple[Item, ...]:
        look, entries = self.look, self.entries
        if look is None or entries is None:
            return ()
        entries_at: dict[str, list[int]] = {}
        numbers_at: dict[str, list[int]] = {}
        colours_at: dict[str, list[int]] = {}
        for entry, colour in zip(look.places, look.expected, strict=True):
            at = entries.pixels[entry].place or f"#{entry}"
            entries_at.setdefault(at, []).append(entry)
            colours_at.setdefault(at, []).append(colour)
        for number in sorted(look.named):
            name = self.names.get(number)
            at = f"#new {number}" if name is None else name.place or f"#new {folded(name.label)}"
            numbers_at.setdefault(at, []).append(number)
            colours_at.setdefault(at, []).append(look.colours[number])
        items: list[Item] = []
        for at, colours in colours_at.items():
            numbers = tuple(numbers_at.get(at, ()))
            several = f" ×{len(colours)}" if len(colours) > 1 else ""
            label = self._label(at, numbers)
            items.append(
                Item(Does.DIFFERS, label + several, tuple(entries_at.get(at, ())), tuple(colours), numbers=numbers)
            )
        typed = self.typed.strip()
        if typed:
            return tuple(i for i in items if _fits(typed, i.words))
        return (Item(Does.AS_SHOWN, "All as shown, and no other light"), *items)

    def _label(self, at: str, numbers: tuple[int, ...]) -> str:
        """What a place on the list is called: one of the map, or one that was named just now."""
        place = self.map.place_by_id.get(at)
        if place is not None:
            return place.label
        name = self.names.get(numbers[0]) if numbers else None
        return name.label if name is not None else at.removeprefix("#")

    def _colour_items(self) -> tuple[Item, ...]:
        expected = self.pointed.colours if self.pointed is not None else ()
        items = [
            Item(Does.COLOUR, colour_word(c), colours=(c,))
            for c in (*range(len(LOOK_COLOURS)), UNLIT)
            if c not in expected
        ]
        return tuple(i for i in items if i.words.startswith(folded(self.typed))) or tuple(items)

    def _probe_items(self) -> tuple[Item, ...]:
        entries = self.entries
        if entries is None or self.now is None or not isinstance(self.action, Probe):
            return ()
        number, found = self.action.number, self.now.found
        predicted = found[number] if number < len(found) else END
        places: list[Item] = []
        for pairs in entries.at_place.values():
            place = entries.place(pairs[0])
            if place is not None:
                places.append(Item(Does.AT_PLACE, place.label, pairs, name=Name(place.label, place.id)))
        typed = self.typed.strip()
        if typed:
            return self._typed_items(typed, places)
        nothing = Item(Does.NOTHING_LIT, "Nothing lit")
        unsure = Item(Does.NOT_SURE, "Not sure")
        first = [i for i in places if predicted in i.entries]
        if not first:
            suggestion = self._suggestion(number)
            first = [suggestion] if suggestion is not None else [nothing]
        near = sorted(places, key=lambda i: min(abs(entry - number) for entry in i.entries))
        rest = [i for i in (nothing, *near[:NEAR], unsure) if i not in first]
        return (*first, *rest)

    def _suggestion(self, number: int) -> Item | None:
        """A name for a new pixel by the pattern of the one before it."""
        if self.now is None or self.entries is None or number == 0:
            return None
        before = self.now.found[number - 1] if number - 1 < len(self.now.found) else END
        label = None
        if number - 1 in self.names:
            label = self.names[number - 1].label
        elif 0 <= before < len(self.entries.pixels):
            place = self.entries.place(before)
            label = place.label if place is not None else None
        following = next_in_pattern(label) if label is not None else None
        known = {folded(place.label) for place in self.map.places}
        if following is None or folded(following) in known:
            return None
        return Item(Does.NEW_PLACE, f"{following}  (new)", name=Name(following))

    def _typed_items(self, typed: str, places: list[Item]) -> tuple[Item, ...]:
        exact = [i for i in places if folded(i.words) == folded(typed)]
        alike = [i for i in places if i not in exact and _fits(typed, i.words)]
        taken = {i.name.place for i in places if i.name is not None}
        others = [p for p in self.map.places if p.id not in taken and _fits(typed, p.label)]
        known = [Item(Does.NEW_PLACE, f"{p.label}  (new on this chain)", name=Name(p.label, p.id)) for p in others[:4]]
        again = [
            Item(Does.NEW_PLACE, f"{i.words}  (one more pixel there, new)", name=i.name) for i in (*exact, *alike[:1])
        ]
        fresh: list[Item] = []
        if not exact and not any(folded(p.label) == folded(typed) for p in others):
            fresh = [Item(Does.NEW_PLACE, f"{typed}  (new place)", name=Name(typed))]
        return (*exact, *alike[:8], *known, *fresh, *again)


def _fits(typed: str, label: str) -> bool:
    return abbreviates(typed, label) or folded(typed) in folded(label)
