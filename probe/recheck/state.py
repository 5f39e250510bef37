"""The state of a recheck: what it waits for, what Enter could take, what should be lit, what is believed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, auto
from functools import cached_property
from itertools import combinations

from device_protocol.values import Colour
from probe.document.edits import Edit
from probe.document.model import MAX_TEXT, Chain, PlayfieldMap, shown_number
from probe.document.model.open_recheck import OpenRecheck, answers_words, counted
from probe.document.operations import folded
from probe.mapping.offers import abbreviates, next_in_pattern
from probe.recheck.colours import DARK_WORD, PLAIN, START_LEVEL, UNKNOWN, Behind, light_of
from probe.recheck.engine import Recheck, RecheckStep
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import END, MOST_NAMED, Action, AskStop, Look, PlaceSeen, Probe
from probe.recheck.engine.result import Result
from probe.recheck.entries import Entries, Name, finished, without_recheck
from probe.task.light import Dark, Light, OutputSetup, Pixels
from probe.task.task import TaskState

NEAR = 12
"""Places near a pixel that are listed before anything is typed."""
DOUBT = 0.3
"""An answer is said to be in doubt from this chance of being wrong on."""


class RecheckStage(Enum):
    """What the recheck waits for."""

    OFFER = auto()
    DECLARE = auto()
    THINK = auto()
    LOOK = auto()
    COLOUR = auto()
    PROBE = auto()
    STOP = auto()
    DONE = auto()
    SAVED = auto()


ASKING = frozenset({RecheckStage.LOOK, RecheckStage.COLOUR, RecheckStage.PROBE, RecheckStage.STOP})


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
    THAT_IS_ALL = auto()
    OTHER_CHAIN = auto()
    AREA_DIFFERS = auto()
    DATA_STOP = auto()
    TAKEN_OUT = auto()
    SAVE = auto()
    GO_ON = auto()
    ANEW = auto()


@dataclass(frozen=True)
class RecheckItem:
    """One line that Enter can take. `colours`: what its place shows in the look (several pixels: several).

    `entries` and `numbers`: the pixels of that place (of OTHER_CHAIN: which other chain), those of the old chain and new ones named in this recheck. `at`: what
    is seen of colours there.
    """

    does: Does
    words: str
    entries: tuple[int, ...] = ()
    colours: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    name: Name | None = None
    at: Behind = PLAIN


@dataclass(frozen=True)
class Advanced:
    """The inference after an answer: what it asks next, and what is to be said of it.

    `found`: the most likely entry at each number. `doubts`: answers that are in doubt, by index. `result` is there once
    nothing is asked any more.
    """

    engine: Recheck
    step: RecheckStep
    found: tuple[int, ...]
    confidence: float
    doubts: tuple[int, ...] = ()
    result: Result | None = None


def advanced(engine: Recheck, following: RecheckStep | None = None) -> Advanced:
    """What the inference asks next and what is known; `following`: what it did ask, if that is known."""
    if following is None:
        following = engine.next_step()
    return Advanced(
        engine=engine,
        step=following,
        found=tuple(engine.best_map.tolist()),
        confidence=engine.confidence,
        doubts=tuple(engine.doubts(least=DOUBT)),
        result=engine.result() if following.action is None else None,
    )


@dataclass(frozen=True, kw_only=True)
class Rechecking(TaskState):
    """The whole state.

    `opened_at`: the number of the pixel that was walked on this chain, if it is known. `declared`: the changes that were said, in words, and
    `edits` the same as edits. `kept` is what the map keeps of this recheck so far, or in stage OFFER of the one that can be
    gone on with. `gathered`: places of this look named as differing so far. `tag` names the job that is out. `past`: the states that undo goes back to, each with the map of then.
    """

    chain: str
    opened_at: int | None = None
    stage: RecheckStage = RecheckStage.DECLARE
    edits: tuple[Edit, ...] = ()
    declared: tuple[str, ...] = ()
    kept: OpenRecheck | None = None
    entries: Entries | None = None
    now: Advanced | None = None
    gathered: tuple[PlaceSeen, ...] = ()
    pointed: RecheckItem | None = None
    names: Mapping[int, Name] = field(default_factory=dict)
    typed: str = ""
    chosen: int = 0
    answers: int = 0
    namings: int = 0
    level: int = START_LEVEL
    looks: bool = True
    plain_ascii: bool = False
    tag: int = 0
    past: tuple[Rechecking, ...] = ()

    @property
    def here(self) -> Chain:
        """The chain as the map has it."""
        return self.map.chain(self.chain)

    @property
    def action(self) -> Action | None:
        """What is asked now."""
        return self.now.step.action if self.now is not None else None

    @property
    def naming(self) -> bool:
        """Whether what is asked now has to be asked anyhow: the name of a new pixel."""
        return self.now is not None and self.now.step.naming

    @property
    def light(self) -> Light:
        """What is asked about: the whole chain in its colours, or one pixel, white. The board reaches every number asked about."""
        if self.stage not in ASKING or self.action is None:
            return Dark()
        chain = self.here
        reach = chain.length if self.now is None else max(chain.length, self.now.engine.numbers)
        setup = OutputSetup.of(chain, count=reach)
        if isinstance(self.action, Look | AskStop):
            return Pixels(chain.output, 0, light_of(self.action.colours, self.level), setup)
        white = Colour(self.level, self.level, self.level)
        return Pixels.one(chain.output, self.action.number, white, setup=setup)

    @property
    def is_lit(self) -> bool:
        """Whether the board has said that it shows what is asked about."""
        return self.stage in ASKING and self.board.here and self.board.lit == self.light

    def outcome(self, time: str) -> PlayfieldMap:
        """The map that the recheck came to, as a revision at that time; its answers are kept no longer. The stage is DONE."""
        assert self.entries is not None
        assert self.now is not None
        assert self.now.result is not None
        sure = f"{100 * self.now.confidence:.2f} %"
        answers = answers_words(self.answers, self.namings)
        said = f"; said: {'; '.join(self.declared)}" if self.declared else ""
        reason = f"Rechecked {self.here.name}: {answers}, {sure} sure{said}"[:MAX_TEXT]
        map_ = finished(self.entries, self.now.result, self.names, time=time, reason=reason)
        return without_recheck(map_, self.chain)

    @cached_property
    def preview(self) -> PlayfieldMap:
        """The map as it would be kept; only the time of its revision is not yet known."""
        return self.outcome(self.kept.begun if self.kept is not None else "")

    @property
    def question(self) -> str:
        """What is asked, in a sentence."""
        match self.stage:
            case RecheckStage.OFFER:
                return "A recheck was not finished. Go on with it?"
            case RecheckStage.DECLARE:
                return "What was changed? (Enter alone: nothing, or nobody knows)"
            case RecheckStage.THINK:
                return "thinking …"
            case RecheckStage.LOOK:
                if self.gathered:
                    return "The next one on the list that differs? Enter alone: that is all that I say."
                return "Is every place lit as listed? If not: the first one on the list that differs."
            case RecheckStage.COLOUR:
                return f"What does {self.pointed.words if self.pointed else 'it'} show?"
            case RecheckStage.PROBE:
                number = self.action.number if isinstance(self.action, Probe) else 0
                what = "New pixel: what" if self.naming else "What"
                return f"{what} does pixel {shown_number(number)} light?"
            case RecheckStage.STOP:
                number = self.action.number if isinstance(self.action, AskStop) else 0
                return f"From pixel {shown_number(number)} on nothing shines. Were those pixels taken out, or are they there?"
            case RecheckStage.DONE:
                return "This is what was found. Enter keeps it as a new revision."
            case RecheckStage.SAVED:
                return (
                    "Saved. Enter goes to the fault finder." if self.stops_at is not None else "Saved. Enter goes back."
                )

    @cached_property
    def items(self) -> tuple[RecheckItem, ...]:
        """What Enter can take; the chosen one is `items[chosen]`."""
        match self.stage:
            case RecheckStage.OFFER:
                return self._offer_items()
            case RecheckStage.LOOK:
                return self._look_items()
            case RecheckStage.COLOUR:
                return self._colour_items()
            case RecheckStage.PROBE:
                return self._probe_items()
            case RecheckStage.STOP:
                return (
                    RecheckItem(Does.TAKEN_OUT, "They were taken out"),
                    RecheckItem(Does.DATA_STOP, "They are there: the data stop here"),
                    RecheckItem(Does.NOT_SURE, "Not sure"),
                )
            case RecheckStage.DONE:
                return (RecheckItem(Does.SAVE, "Keep this map"),)
            case _:
                return ()

    @property
    def item(self) -> RecheckItem | None:
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

    def _offer_items(self) -> tuple[RecheckItem, ...]:
        if self.kept is None:
            return ()
        return (
            RecheckItem(Does.GO_ON, f"Go on: {counted(self.kept)}"),
            RecheckItem(Does.ANEW, "Begin anew, and give up what was answered"),
        )

    def _look_items(self) -> tuple[RecheckItem, ...]:
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
        items: list[RecheckItem] = []
        for at, colours in colours_at.items():
            numbers = tuple(numbers_at.get(at, ()))
            several = f" ×{len(colours)}" if len(colours) > 1 else ""
            label = self._label(at, numbers)
            here = entries_at.get(at, [])
            seen = entries.seen[here[0]] if here else PLAIN
            if seen is UNKNOWN:
                continue  # it may show anything, so it is not asked about
            items.append(
                RecheckItem(Does.DIFFERS, label + several, tuple(here), tuple(colours), numbers=numbers, at=seen)
            )
        typed = self.typed.strip()
        if typed:
            return tuple(i for i in items if _fits(typed, i.words))
        if self.gathered:
            said = {one.place for one in self.gathered}
            return (RecheckItem(Does.THAT_IS_ALL, "That is all"), *(i for i in items if not said & set(i.entries)))
        return (RecheckItem(Does.AS_SHOWN, "All as shown, and no other light"), *items)

    def _label(self, at: str, numbers: tuple[int, ...]) -> str:
        """What a place on the list is called: one of the map, or one that was named just now."""
        place = self.map.place_by_id.get(at)
        if place is not None:
            return place.label
        name = self.names.get(numbers[0]) if numbers else None
        return name.label if name is not None else at.removeprefix("#")

    def _colour_items(self) -> tuple[RecheckItem, ...]:
        """What the place may show instead: one colour, dark, or several pixels' colours at once."""
        expected = self.pointed.colours if self.pointed is not None else ()
        at = self.pointed.at if self.pointed is not None else PLAIN
        usual = set(at.seen(expected)) - {UNLIT}
        words = sorted(set(at.words) - {UNLIT})
        most = min(MOST_NAMED, len(expected) + 1)
        found = [
            set[int](),
            *(set(some) for size in range(1, most + 1) for some in combinations(words, size)),
        ]
        found.sort(key=lambda some: (len(some) != 1, len(some)))
        items = [
            RecheckItem(
                Does.COLOUR,
                "+".join(at.name(c) for c in sorted(some)) or DARK_WORD,
                colours=tuple(sorted(some)) or (UNLIT,),
                at=at,
            )
            for some in found
            if some != usual
        ]
        if self.entries is not None and self.pointed is not None and self.pointed.entries and not self.gathered:
            for index, chain in enumerate(self.entries.other_chains):
                name = self.map.chain(chain).name
                says = f"{name} is lit instead, from here on"
                items.append(RecheckItem(Does.OTHER_CHAIN, says, numbers=(index,)))
            place = self.entries.place(self.pointed.entries[0])
            if place is not None and isinstance(self.action, Look) and self.entries.of_an_area(self.action, place):
                items.append(RecheckItem(Does.AREA_DIFFERS, f"most of {place.area} differs, from here on"))
        typed = folded(self.typed)
        return tuple(i for i in items if folded(i.words).startswith(typed)) or tuple(items)

    @property
    def stops_at(self) -> int | None:
        """The number from which the data stop, once that was said and nothing is asked any more."""
        return self.now.result.stops_at if self.now is not None and self.now.result is not None else None

    def _probe_items(self) -> tuple[RecheckItem, ...]:
        entries = self.entries
        if entries is None or self.now is None or not isinstance(self.action, Probe):
            return ()
        number, found = self.action.number, self.now.found
        predicted = found[number] if number < len(found) else END
        places: list[RecheckItem] = []
        for pairs in entries.at_place.values():
            place = entries.place(pairs[0])
            if place is not None:
                places.append(RecheckItem(Does.AT_PLACE, place.label, pairs, name=Name(place.label, place.id)))
        typed = self.typed.strip()
        if typed:
            return self._typed_items(typed, places)
        nothing = RecheckItem(Does.NOTHING_LIT, "Nothing lit")
        unsure = RecheckItem(Does.NOT_SURE, "Not sure")
        first = [i for i in places if predicted in i.entries]
        if not first:
            suggestion = self._suggestion(number)
            first = [suggestion] if suggestion is not None else [nothing]
        near = sorted(places, key=lambda i: min(abs(entry - number) for entry in i.entries))
        rest = [i for i in (nothing, *near[:NEAR], unsure) if i not in first]
        return (*first, *rest)

    def _suggestion(self, number: int) -> RecheckItem | None:
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
        return RecheckItem(Does.NEW_PLACE, f"{following}  (new)", name=Name(following))

    def _typed_items(self, typed: str, places: list[RecheckItem]) -> tuple[RecheckItem, ...]:
        exact = [i for i in places if folded(i.words) == folded(typed)]
        alike = [i for i in places if i not in exact and _fits(typed, i.words)]
        taken = {i.name.place for i in places if i.name is not None}
        others = [p for p in self.map.places if p.id not in taken and _fits(typed, p.label)]
        known = [
            RecheckItem(Does.NEW_PLACE, f"{p.label}  (new on this chain)", name=Name(p.label, p.id)) for p in others[:4]
        ]
        again = [
            RecheckItem(Does.NEW_PLACE, f"{i.words}  (one more pixel there, new)", name=i.name)
            for i in (*exact, *alike[:1])
        ]
        fresh: list[RecheckItem] = []
        if not exact and not any(folded(p.label) == folded(typed) for p in others):
            fresh = [RecheckItem(Does.NEW_PLACE, f"{typed}  (new place)", name=Name(typed))]
        return (*exact, *alike[:8], *known, *fresh, *again)


def _fits(typed: str, label: str) -> bool:
    return abbreviates(typed, label) or folded(typed) in folded(label)
